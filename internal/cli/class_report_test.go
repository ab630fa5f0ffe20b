package cli

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"singback/internal/drill"
	"singback/theory"
)

// namedClass makes, in a folder of its own, a class with a student for each naming and
// mode, each of whom sings a melody in that naming with the same faults: the
// sixth degree is a semitone too high each time.
func namedClass(t *testing.T) (c call, students []string) {
	t.Helper()
	t.Chdir(t.TempDir())
	c = call{data: t.TempDir(), now: func() time.Time { return time.Date(2026, 12, 8, 9, 0, 0, 0, time.UTC) }}
	c.must(t, "class", "new", "Harbour choir")
	if err := os.Mkdir("takes", 0o700); err != nil {
		t.Fatal(err)
	}
	steps := []int{1, 2, 3, 1, 6, 5, 6, 3, 6, 5, 1}
	voices := []string{"alto", "tenor", "bass", "soprano"}
	for n, names := range theory.Namings() {
		for _, word := range []string{"Eb major", "f# minor"} {
			key, err := theory.ParseKey(word)
			if err != nil {
				t.Fatal(err)
			}
			who := fmt.Sprintf("S%d%s", n, word[:1])
			students = append(students, who)
			scale := key.ScaleDegrees()
			var line []string
			var midi []float64
			for _, s := range steps {
				d := scale[s-1]
				line = append(line, names.NameASCII(key, d))
				off := 0.0
				if s == 6 {
					off = 1
				}
				midi = append(midi, float64(60+d.Semitones())+off, 0)
			}
			c.must(t, "class", "add", "student", who, "--voice", voices[n%len(voices)])
			c.must(t, "class", "add", "task", "task "+who, "--model", strings.Join(line, " "), "--key", word, "--names", names.String(), "--rubric", "notes", "--due", "2026-12-10")
			writeCurve(t, filepath.Join("takes", fmt.Sprintf("task %s of %s.csv", who, who)), 0.4, midi...)
		}
	}
	c.must(t, "class", "collect", "takes", "--mark")
	return c, students
}

// typed are the words of a command line without the program's name.
func typed(t *testing.T, line string) []string {
	words := lex(t, line)[1:]
	for i := range words {
		words[i] = strings.TrimPrefix(words[i], "\x00") // in quotes
	}
	return words
}

// TestSheetsOfAClass: each command on a sheet is one that this program takes, each
// address one that the page takes; nobody is on the sheet of another, and a sheet is
// whole, not replaced, and read by its owner alone.
func TestSheetsOfAClass(t *testing.T) {
	c, students := namedClass(t)
	out, _ := c.must(t, "class", "report", "--all")
	commands := regexp.MustCompile(`(?m)^    (singback .*)$`).FindAllStringSubmatch(out, -1)
	addresses := regexp.MustCompile(`(?m)^    on the page: #(.*)$`).FindAllStringSubmatch(out, -1)
	if len(commands) != 2*len(students) || len(addresses) != len(commands) {
		t.Fatalf("%d commands and %d addresses on %d sheets:\n%s", len(commands), len(addresses), len(students), out)
	}
	kinds := map[string]int{}
	for i, m := range commands {
		args := typed(t, m[1])
		kinds[args[0]]++
		cmd, rest, err := newRoot(&env{}).Find(args)
		if err == nil {
			err = cmd.ParseFlags(rest)
		}
		if err != nil || len(cmd.Flags().Args()) > 0 {
			t.Errorf("%s: %v", m[1], err)
		}
		address, err := drill.ReadAddress(addresses[i][1])
		if err != nil || address.Command != args[0] {
			t.Errorf("#%s: %v", addresses[i][1], err)
		}
	}
	if kinds["sing"] < len(students) {
		t.Errorf("only %v is advised, though degrees were wrong", kinds)
	}
	// One of them is begun, and asks for what was weak.
	first := typed(t, commands[0][1])
	asked, _ := c.must(t, append(first, "--input", "simulated", "--no-record", "--output", "none", "--format", "json")...)
	if !strings.Contains(asked, `"event":"verdict"`) {
		t.Errorf("%s says\n%s", commands[0][1], asked)
	}

	c.must(t, "class", "remark", students[0], "only for the first")
	paths, _ := c.must(t, "class", "report", "--all", "--out", "sheets")
	if n := strings.Count(paths, "\n"); n != len(students) {
		t.Errorf("%d sheets of %d students", n, len(students))
	}
	for _, who := range students {
		path := filepath.Join("sheets", who+".html")
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", path, info.Mode(), err)
		}
		for _, other := range students {
			// Every student has all tasks, which are called after one; the name alone is of no other.
			if other != who && regexp.MustCompile(`(?:[^k] |[^ ])\b`+other+`\b`).Match(b) {
				t.Errorf("%s is on the sheet of %s", other, who)
			}
		}
		if who != students[0] && strings.Contains(string(b), "only for the first") {
			t.Errorf("the remark to %s is on the sheet of %s", students[0], who)
		}
	}
	_, says, code := c.run(t, "class", "report", students[1], "--out", "sheets")
	if code != exitFailed || !strings.Contains(says, "it is there already") || strings.Count(strings.TrimSpace(says), "\n") > 0 {
		t.Errorf("exit %d: %s", code, says)
	}
	c.must(t, "class", "report", students[1], "--out", "sheets", "--force")
	if out, _, _ := c.run(t, "class", "forget", students[1], "--yes"); !strings.Contains(out, filepath.Join("sheets", students[1]+".html")) {
		t.Errorf("forget does not name the sheet:\n%s", out)
	}
}

func TestTableOfAClass(t *testing.T) {
	c, students := namedClass(t)
	out, _ := c.must(t, "class", "table", "--format", "csv")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) != 1+len(students)*len(students) {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	marked := 0
	for _, r := range rows[1:] {
		if r[6] != "" {
			marked++
			if r[11] == "" || r[14] == "" {
				t.Errorf("a take without a mark: %v", r)
			}
		}
	}
	if marked != len(students) {
		t.Errorf("%d takes, want %d", marked, len(students))
	}
	text, _ := c.must(t, "class", "table")
	// 16 students have sung la three times each, 8 in major and 8 in minor (le), all wrong.
	for _, name := range []string{"la", "le"} {
		if !regexp.MustCompile(`(?m)^` + name + ` +0 of 24 right, 0 % \(0 to \d+ %\) +8 students`).MatchString(text) {
			t.Errorf("%s is not weak:\n%s", name, text)
		}
	}
	for _, bad := range [][]string{
		{"class", "table", "--paper", "a4"}, {"class", "table", "--html", "x.html", "--format", "csv"}, {"class", "table", "--html", "x.html", "--paper", "foolscap"},
		{"class", "report"}, {"class", "report", "S0E", "--all"}, {"class", "report", "S0E", "S1E", "--out", "x.html"}, {"class", "report", "S0E", "--staff"},
		{"class", "report", "S0E", "--out", "x.html", "--link", "file:///x"}, {"class", "hear", "S0E"}, {"class", "hear", "S0E", "task S0E", "--at", "1:75"},
		{"class", "hear", "S0E", "task S0E", "--what", "song"},
	} {
		if _, says, code := c.run(t, bad...); code != exitUsage || strings.Count(strings.TrimSpace(says), "\n") > 0 {
			t.Errorf("%v: exit %d: %s", bad, code, says)
		}
	}
	for _, bad := range [][]string{
		{"class", "report", "Nobody"}, {"class", "hear", "S0E", "task S1E", "--output", "x.wav"}, {"class", "hear", "S0E", "task S0E", "--output", "x.wav"},
	} {
		if _, says, code := c.run(t, bad...); code != exitFailed || strings.Count(strings.TrimSpace(says), "\n") > 0 {
			t.Errorf("%v: exit %d: %s", bad, code, says)
		}
	}
	c.must(t, "class", "hear", "S0E", "task S0E", "--what", "model", "--at", "0:01", "--output", "x.wav")
	if info, err := os.Stat("x.wav"); err != nil || info.Size() < 44100 {
		t.Errorf("the model: %v %v", info, err)
	}
}
