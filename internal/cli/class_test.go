package cli

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit/invented"
)

// rowsOf reads CSV that a command printed.
func rowsOf(t *testing.T, text string) (rows []map[string]string) {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(all) == 0 {
		t.Fatalf("%v in %q", err, text)
	}
	for _, r := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = r[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// A teacher's term: 30 invented students and 8 tasks with planted faults are collected,
// marked, reviewed, overruled, marked anew, reported, and one student is forgotten. Most
// takes are pitch curves, some recordings.
func TestClassTerm(t *testing.T) {
	const students, tasks, notes = 30, 8, 12
	dir := t.TempDir()
	t.Chdir(dir)
	if err := os.Mkdir("takes", 0o777); err != nil {
		t.Fatal(err)
	}
	var c call
	c.must(t, "class", "new", "Invented")
	roster := "name,consent\n"
	for i := range students {
		roster += invented.StudentName(i) + ",2026-09-01\n"
	}
	write(t, "students.csv", roster)
	c.must(t, "class", "add", "student", "--roster", "students.csv")
	for i := range tasks {
		names, _ := invented.ClassTask(i, notes)
		c.must(t, "class", "add", "task", fmt.Sprintf("week %d", i+1), "--model", names)
	}
	planted := map[[2]string]invented.Planted{}
	for i, take := range invented.Class(students, tasks, notes, 1) {
		name := fmt.Sprintf("takes/%s week %d", invented.StudentName(take.Student), take.Task+1)
		planted[[2]string{invented.StudentName(take.Student), fmt.Sprintf("week %d", take.Task+1)}] = take.Planted
		if i%16 != 0 && take.Planted != invented.Silent {
			write(t, name+".csv", take.Curve())
			continue
		}
		f, err := os.Create(name + ".wav")
		if err != nil {
			t.Fatal(err)
		}
		if err := audio.WriteWAV(f, 16000, take.Samples(16000)); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}

	stdout, _ := c.must(t, "class", "collect", "takes")
	if want := fmt.Sprintf("%d new takes\n", students*tasks); stdout != want {
		t.Errorf("collected %q, want %q", stdout, want)
	}
	stdout, _ = c.must(t, "class", "mark", "--format", "csv")
	marks := rowsOf(t, stdout)
	if len(marks) != students*tasks {
		t.Fatalf("%d marks", len(marks))
	}
	mean, n := map[invented.Planted]float64{}, map[invented.Planted]float64{}
	for _, m := range marks {
		p := planted[[2]string{m["student"], m["task"]}]
		v, err := strconv.ParseFloat(m["value"], 64)
		if err != nil {
			t.Fatal(err)
		}
		mean[p] += v
		n[p]++
		heard := map[invented.Planted]string{invented.Silent: "nothing", invented.Speaking: "speech"}[p]
		if heard == "" {
			heard = "singing"
		}
		if m["heard"] != heard {
			t.Errorf("%s, %s, %v: heard %s", m["student"], m["task"], p, m["heard"])
		}
		if p == invented.Well && (m["pass"] != "true" || v < 0.9) {
			t.Errorf("%s, %s, sung well: %v, pass %s", m["student"], m["task"], v, m["pass"])
		}
		if slices.Contains([]invented.Planted{invented.Silent, invented.Speaking, invented.OtherLine, invented.OutOfTune, invented.Drifting}, p) && m["pass"] == "true" {
			t.Errorf("%s, %s, %v: passes with %v", m["student"], m["task"], p, v)
		}
	}
	for p := range invented.PlantedKinds {
		if n[p] == 0 {
			t.Fatalf("nothing is planted that is %v", p)
		}
		if mean[p] /= n[p]; p != invented.Well && mean[p] > mean[invented.Well]-0.005 {
			t.Errorf("%v is worth %.3f on average, sung well %.3f", p, mean[p], mean[invented.Well])
		}
	}

	// What is doubtful comes first; the teacher overrules, and says why.
	stdout, _ = c.must(t, "class", "review", "--format", "json")
	var queue []reviewRecord
	if err := json.Unmarshal([]byte(stdout), &queue); err != nil || len(queue) != students*tasks {
		t.Fatalf("%d wait: %v", len(queue), err)
	}
	if !slices.IsSortedFunc(queue, func(a, b reviewRecord) int { return -compareDoubt(a, b) }) {
		t.Error("the queue is not in the order of doubt")
	}
	for i, q := range queue[:12] {
		verdict := map[bool]string{true: "pass", false: "fail"}[q.Pass != (i < 2)] // two are overruled
		c.must(t, "class", "review", "--student", q.Student, "--task", q.Task, "--verdict", verdict, "--why", "heard it twice")
	}
	stdout, _ = c.must(t, "class", "agreement", "--format", "json")
	var agreement []agreementRecord
	if err := json.Unmarshal([]byte(stdout), &agreement); err != nil || agreement[0].Takes != 12 || agreement[0].Same != 10 || agreement[0].Share == nil {
		t.Errorf("agreement %+v (%v)", agreement, err)
	}

	// Another rubric marks anew; what the teacher said stays.
	stdout, _ = c.must(t, "class", "mark", "--rubric", "notes", "--tolerance", "60")
	if !regexp.MustCompile(`^0 takes marked, 240 marked anew: \d+ pass now that did not, \d+ no longer\n`).MatchString(stdout) {
		t.Errorf("marked anew: %q", stdout)
	}
	if stdout, _ = c.must(t, "class", "mark"); !strings.HasPrefix(stdout, "Nothing to mark") {
		t.Errorf("and again: %q", stdout)
	}
	stdout, _ = c.must(t, "class", "table", "--format", "csv")
	overruled := 0
	for _, r := range rowsOf(t, stdout) {
		if r["why"] == "heard it twice" {
			overruled++
			if i := slices.IndexFunc(queue, func(q reviewRecord) bool { return q.Student == r["student"] && q.Task == r["task"] }); r["pass"] != strconv.FormatBool(queue[i].Pass != (i < 2)) {
				t.Errorf("%s, %s: pass %s", r["student"], r["task"], r["pass"])
			}
		}
	}
	if overruled != 12 {
		t.Errorf("%d reviews are in the table, want 12", overruled)
	}

	c.must(t, "class", "remark", invented.StudentName(0), "Breathe before the leap", "--task", "week 2")
	c.must(t, "class", "report", "--all", "--out", "sheets")
	sheets, err := filepath.Glob("sheets/*.html")
	if err != nil || len(sheets) < students {
		t.Fatalf("%d sheets (%v)", len(sheets), err)
	}
	for _, path := range sheets {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		own := 0
		for i := range students {
			if strings.Contains(string(b), invented.StudentName(i)) {
				own++
			}
		}
		if own != 1 {
			t.Errorf("%s has %d students on it", path, own)
		}
	}
	gone := invented.StudentName(3)
	stdout, _ = c.must(t, "class", "forget", gone, "--yes", "--recordings", "--sheets")
	if !strings.Contains(stdout, "8 takes, 16 marks") {
		t.Errorf("forgotten: %s", stdout)
	}
	err = filepath.WalkDir(".", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || path == "students.csv" {
			return err
		}
		b, err := os.ReadFile(path)
		if strings.Contains(path, gone) || strings.Contains(string(b), gone) {
			t.Errorf("%s still has %s in it", path, gone)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

func compareDoubt(a, b reviewRecord) int {
	switch {
	case a.Doubt < b.Doubt:
		return -1
	case a.Doubt > b.Doubt:
		return 1
	}
	return 0
}

// Shares of a list, one of them interrupted and gone on with, are one after the other the
// bytes of one run, and bring the class to the same table as collecting it at once.
func TestClassShares(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	var c call
	make := func(file string) {
		c.must(t, "class", "new", "Invented", "--out", file)
		for i := range 5 {
			c.must(t, "class", "add", "student", invented.StudentName(i), "--consent", "2026-09-01", "--class", file)
		}
		for i := range 2 {
			names, _ := invented.ClassTask(i, 8)
			c.must(t, "class", "add", "task", fmt.Sprintf("week %d", i+1), "--model", names, "--class", file)
		}
	}
	make("one.sbclass")
	make("four.sbclass")
	if err := os.Mkdir("takes", 0o777); err != nil {
		t.Fatal(err)
	}
	for _, take := range invented.Class(5, 2, 8, 2) {
		write(t, fmt.Sprintf("takes/week %d %s.csv", take.Task+1, invented.StudentName(take.Student)), take.Curve())
	}
	collect := func(more ...string) (string, string, int) {
		return c.run(t, append([]string{"class", "collect", "takes", "--class", "four.sbclass"}, more...)...)
	}
	if _, stderr, code := collect("--out", "whole.jsonl"); code != exitDone {
		t.Fatal(stderr)
	}
	var joined []byte
	for i := 1; i <= 4; i++ {
		name := fmt.Sprintf("share%d.jsonl", i)
		if _, stderr, code := collect("--out", name, "--share", fmt.Sprintf("%d/4", i)); code != exitDone {
			t.Fatal(stderr)
		}
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if i == 2 { // as if the program had been ended within a line
			if err := os.WriteFile(name, b[:len(b)*2/3], 0o600); err != nil {
				t.Fatal(err)
			}
			if _, stderr, code := collect("--out", name, "--share", "2/4", "--resume"); code != exitDone {
				t.Fatal(stderr)
			}
			again, err := os.ReadFile(name)
			if err != nil || string(again) != string(b) {
				t.Errorf("what was gone on with is not the same (%v)", err)
			}
		}
		joined = append(joined, b...)
	}
	whole, err := os.ReadFile("whole.jsonl")
	if err != nil || string(whole) != string(joined) {
		t.Errorf("four shares are not one run: %d and %d bytes (%v)", len(joined), len(whole), err)
	}
	if _, stderr, code := collect("--out", "share1.jsonl", "--share", "2/4", "--resume"); code != exitFailed || !strings.Contains(stderr, "of another list or share") {
		t.Errorf("a share that is another one's: exit %d, %s", code, stderr)
	}
	c.must(t, "class", "join", "--class", "four.sbclass", "share1.jsonl", "share2.jsonl", "share3.jsonl", "share4.jsonl")
	c.must(t, "class", "collect", "takes", "--mark", "--class", "one.sbclass")
	one, _ := c.must(t, "class", "table", "--format", "csv", "--class", "one.sbclass")
	four, _ := c.must(t, "class", "table", "--format", "csv", "--class", "four.sbclass")
	if one != four {
		t.Errorf("the tables differ:\n%s\n%s", one, four)
	}
	if stdout, _ := c.must(t, "class", "mark", "--class", "four.sbclass"); !strings.HasPrefix(stdout, "Nothing to mark") {
		t.Errorf("joined takes are marked again: %s", stdout)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}
