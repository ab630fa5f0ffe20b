package cli

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const twoVoices = "X:1\nT:Round\nM:3/4\nL:1/4\nQ:1/4=90\nK:F\nV:high\n\"F\"f g a|\"Bb\"b2 \"C7\"g|\"F\"f3|]\nV:low\nF E D|C2 C|F3|]\n"

// formatsOf writes the two voices into a folder in every format that can be read; ABC
// has both voices.
func formatsOf(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	abc := filepath.Join(dir, "round.abc")
	if err := os.WriteFile(abc, []byte(twoVoices), 0o666); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{"abc": abc}
	for _, to := range []string{"musicxml", "mxl", "midi"} {
		files[to] = filepath.Join(dir, "round."+to)
		call{}.must(t, "melody", abc, "--part", "high", "--to", to, "--out", files[to])
	}
	files["names"] = filepath.Join(dir, "round.txt")
	text, _ := call{}.must(t, "melody", abc, "--part", "high", "--to", "names")
	if err := os.WriteFile(files["names"], []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	// By what it holds, whatever its name ends in.
	files["no ending"] = filepath.Join(dir, "round")
	if err := os.WriteFile(files["no ending"], []byte(twoVoices), 0o666); err != nil {
		t.Fatal(err)
	}
	return files
}

// A file in any format is sung, its guide track answers it right, and findkey and grade
// read it too.
func TestSeriesOfFiles(t *testing.T) {
	files := formatsOf(t)
	guide := filepath.Join(t.TempDir(), "guide.wav")
	call{}.must(t, "melody", files["musicxml"], "--output", guide)
	for name, file := range files {
		tempo := "90"
		if name == "names" { // they say none
			tempo = "72"
		}
		out, prompts := call{}.must(t, "series", file, "--input", guide, "--tempo", "90", "--format", "json")
		rs := records(t, out)
		sung := rs[len(rs)-2]
		g, _ := sung["grade"].(map[string]any)
		if sung["event"] != "sung" || g["notes_right"] != 6.0 || g["notes_written"] != 6.0 {
			t.Errorf("%s: %v", name, sung)
		}
		line := rs[0]["line"].(map[string]any)
		if line["level"] != nil || line["seed"] != nil || line["key"] != "F major" || rs[len(rs)-1]["level"] != 0.0 {
			t.Errorf("%s: %v, %v", name, line, rs[len(rs)-1])
		}
		if !strings.Contains(prompts, "no level") && !strings.Contains(prompts, "1 of 1: a melody in F major") {
			t.Errorf("%s: %s", name, prompts)
		}
		marks, _ := call{}.must(t, "grade", "--model", file, guide)
		if !strings.Contains(marks, "6 of 6 notes right; ") {
			t.Errorf("grade --model %s: %s", name, marks)
		}
		_, prompts = call{}.must(t, "series", file, "--input", "simulated", "--seed", "1", "--hear")
		if !strings.Contains(prompts, "Listen.\n") || !strings.Contains(prompts, tempo+" beats a minute") {
			t.Errorf("%s: %s", name, prompts)
		}
		if name == "names" {
			continue // read in fixed do
		}
		if key, _ := (call{}).must(t, "findkey", file, "--count", "1"); !strings.Contains(key, "F major") {
			t.Errorf("findkey %s: %s", name, key)
		}
	}
}

// The voice asked for is sung, in the key asked for, where the singer can sing it.
func TestSeriesChoosesAndMoves(t *testing.T) {
	file := formatsOf(t)["abc"]
	notes := func(args ...string) (text, prompts string) {
		out, prompts := call{}.must(t, append([]string{"series", file, "--input", "simulated", "--format", "json"}, args...)...)
		for _, n := range records(t, out)[0]["line"].(map[string]any)["notes"].([]any) {
			if name, ok := n.(map[string]any)["note"].(string); ok {
				text += name + " "
			}
		}
		return strings.TrimSpace(text), prompts
	}
	for args, want := range map[string]string{
		"--part low":                              "F4 E4 D4 C4 C4 F4",
		"--part 2 --to-key Eb":                    "Eb4 D4 C4 Bb3 Bb3 Eb4",
		"--part high --voice bass":                "F3 G3 A3 Bb3 G3 F3",
		"--part high --voice soprano --to-key Eb": "Eb4 F4 G4 Ab4 F4 Eb4",
	} {
		if got, _ := notes(strings.Fields(args)...); got != want {
			t.Errorf("%s: %s, want %s", args, got, want)
		}
	}
	if _, prompts := notes("--part", "high", "--voice", "bass"); !strings.Contains(prompts, `The melody "Round" is moved down 2 octaves, into your range.`) {
		t.Error(prompts)
	}
	wide := filepath.Join(t.TempDir(), "wide.abc")
	if err := os.WriteFile(wide, []byte("X:1\nL:1/4\nK:C\nC,, c c g'|]\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, prompts := (call{}).must(t, "series", wide, "--input", "simulated", "--voice", "alto"); !strings.Contains(prompts, "outside your range, ") || !strings.Contains(prompts, "notes of the melody, which goes from C") {
		t.Error(prompts)
	}
}

// Phrases are cut from a file one after the other; there are as many as there are.
func TestEchoOfFiles(t *testing.T) {
	file := formatsOf(t)["abc"]
	out, _ := call{}.must(t, "echo", file, "--part", "high", "--notes", "3", "--input", "simulated", "--format", "json")
	var phrases []string
	for _, r := range records(t, out) {
		if r["event"] != "line" {
			continue
		}
		text := ""
		for _, n := range r["line"].(map[string]any)["notes"].([]any) {
			text += n.(map[string]any)["note"].(string) + " "
		}
		phrases = append(phrases, text)
	}
	if got := strings.Join(phrases, "| "); got != "F5 G5 A5 | Bb5 G5 F5 " {
		t.Errorf("phrases %s", got)
	}
}

// A recording is a recording by what it holds, and nothing of a file is recorded.
func TestSeriesTellsMusicFromRecordings(t *testing.T) {
	files := formatsOf(t)
	dir := t.TempDir()
	guide, record := filepath.Join(dir, "guide.wav"), filepath.Join(dir, "r.db")
	call{}.must(t, "melody", files["abc"], "--output", guide)
	out, _ := call{}.must(t, "series", files["abc"], guide, "--record", record)
	if !strings.Contains(out, "F major, Round: score") || !strings.Contains(out, "Not recorded: a melody that is given has no level.") {
		t.Error(out)
	}
	if _, err := os.Stat(record); err == nil {
		t.Error("a record was begun")
	}
	for args, text := range map[string]string{
		"series nothere.abc":                      "nothere.abc: ",
		"series --part high":                      "--part: it is about a melody from a file",
		"series --to-key G":                       "--to-key: it is about a melody from a file",
		"series " + files["abc"] + " --part x":    `there is no voice "x"; those with notes are 1 ("high"), 2 ("low")`,
		"series " + files["abc"] + " --level 2":   "--level: it is about melodies that are made",
		"series " + files["abc"] + " --count 2":   "--count: every file of music is asked once",
		"series " + files["abc"] + " --to-key Am": "from F major to A minor",
		"echo " + files["abc"] + " --notes 7":     "has no 7 notes in a row",
		"echo " + files["abc"] + " --count 9":     "--count: 1 phrases of 4 notes can be cut from that, not 9",
		"melody " + files["abc"] + " --count-in":  "--count-in is about how it sounds",
		"melody " + files["abc"] + " --tempo 9 --output " + filepath.Join(dir, "x.wav"): "--tempo: 9 is out of range",
		"findkey " + guide + " --part 1":                                                "is a recording, which has no parts",
	} {
		stdout, stderr, code := call{}.run(t, strings.Fields(args)...)
		if code == exitDone || stdout != "" || !strings.Contains(stderr, text) || strings.Count(strings.TrimSpace(stderr), "\n") > 1 {
			t.Errorf("%s: exit %d %q, want %s", args, code, stderr, text)
		}
	}
}

// A guide track begins after its count-in, in its tempo, and has the pitches of its
// tuning: a pure third lies 386.3 cents above its tonic (5/4), not 400.
func TestGuideTrack(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct {
		args string
		want float64 // where the second note begins, in seconds
	}{
		"plain":   {"--tempo 60", 1},
		"counted": {"--tempo 120 --count-in", 2.5},
	} {
		file := filepath.Join(dir, name+".wav")
		call{}.must(t, append([]string{"melody", "| do :mi :sol :do ||", "--output", file, "--tuning", "just"}, strings.Fields(c.args)...)...)
		out, _ := call{}.must(t, "notes", file)
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if err != nil || len(rows) != 5 || rows[0][0] != "onset_s" || rows[0][2] != "f0_hz" {
			t.Fatalf("%s: %v %s", name, err, out)
		}
		number := func(row, column int) float64 {
			x, err := strconv.ParseFloat(rows[row][column], 64)
			if err != nil {
				t.Fatal(err)
			}
			return x
		}
		if at := number(2, 0); at < c.want-0.05 || at > c.want+0.05 {
			t.Errorf("%s: the second note begins at %g s, want %g", name, at, c.want)
		}
		if ratio := number(2, 2) / number(1, 2); ratio < 1.2495 || ratio > 1.2505 {
			t.Errorf("%s: a third of %g", name, ratio)
		}
	}
}
