package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestMelodyConvertsThroughEveryFormat(t *testing.T) {
	dir := t.TempDir()
	want, _, code := user{}.runs(t, "melody", "--level", "4", "--key", "D", "--seed", "5", "--to", "abc")
	if code != exitDone || !strings.Contains(want, "K:D\n") {
		t.Fatalf("%d %s", code, want)
	}
	from := filepath.Join(dir, "a.abc")
	if err := os.WriteFile(from, []byte(want), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, ending := range []string{".musicxml", ".mxl", ".mid", ".abc"} {
		to := filepath.Join(dir, "b"+ending)
		if _, stderr, code := (user{}).runs(t, "melody", from, "--out", to); code != exitDone || stderr != "" {
			t.Fatalf("%s: %d %s", ending, code, stderr)
		}
		from = to
	}
	got, stderr, code := user{}.runs(t, "melody", from, "--to", "abc")
	if got != want || stderr != "" || code != exitDone {
		t.Errorf("%d %s\n%s\nwant\n%s", code, stderr, got, want)
	}
	// From a pipe, and into another key and voice.
	got, _, _ = user{stdin: want}.runs(t, "melody", "-", "--to-key", "Eb", "--voice", "bass", "--format", "json")
	var r melodyRecord
	if err := json.Unmarshal([]byte(got), &r); err != nil || r.Key != "Eb major" || r.Schema != 1 || r.Level != nil || r.Seed != nil {
		t.Fatalf("%v %+v", err, r)
	}
	for _, n := range r.Notes {
		if n.MIDI != nil && (*n.MIDI < 41 || *n.MIDI > 64) {
			t.Errorf("%+v is no note for a bass", n)
		}
	}
}

func TestMelodyShows(t *testing.T) {
	for _, args := range [][]string{{"--names", "movable"}, {"--names", "numbers"}, {"--names", "none"}} {
		for _, ascii := range []bool{false, true} {
			out, stderr, code := user{ascii: ascii}.runs(t, append([]string{"melody", "--level", "7", "--seed", "3", "--key", "F#m"}, args...)...)
			if code != exitDone || stderr != "" {
				t.Fatalf("%d %s", code, stderr)
			}
			for _, line := range strings.Split(out, "\n") {
				if n := len([]rune(line)); n > 80 {
					t.Errorf("%v: %d columns: %s", args, n, line)
				}
				for _, r := range line {
					if ascii && r > 127 {
						t.Errorf("%q in an ASCII terminal: %s", r, line)
					}
				}
			}
			if has := strings.Contains(out, "do"); has != (args[1] == "movable") {
				t.Errorf("%v: syllables %v\n%s", args, has, out)
			}
		}
	}
	svg, _, _ := user{}.runs(t, "melody", "--level", "1", "--seed", "3", "--to", "svg", "--count", "1")
	if !strings.HasPrefix(svg, "<svg ") || !strings.Contains(svg, ">do</text>") {
		t.Errorf("%.200s", svg)
	}
	dir := filepath.Join(t.TempDir(), "five")
	if _, stderr, code := (user{}).runs(t, "melody", "--level", "2", "--count", "5", "--to", "svg", "--out", dir); code != exitDone {
		t.Fatal(stderr)
	}
	if files, err := os.ReadDir(dir); err != nil || len(files) != 5 {
		t.Errorf("%v %v", files, err)
	}
}

func TestMelodyRefusals(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--level", "8"}, exitUsage, "there is no level 8: want 1 to 7"},
		{[]string{"--count", "0"}, exitUsage, "want 1 to 1000"},
		{[]string{"--key", "H"}, exitUsage, "--key: not a key"},
		{[]string{"--range", "C4"}, exitUsage, "like C3-A4"},
		{[]string{"--range", "C4-D4"}, exitUsage, "want a wider range"},
		{[]string{"--voice", "alto", "--range", "C3-A4"}, exitUsage, "exclude each other"},
		{[]string{"--voice", "whistle"}, exitUsage, "--voice: no voice"},
		{[]string{"--names", "letters of mine"}, exitUsage, "--names: not a naming"},
		{[]string{"--to", "pdf"}, exitUsage, "want one of text, svg"},
		{[]string{"--clef", "alto"}, exitUsage, "want treble, treble-8 or bass"},
		{[]string{"--count", "2", "--to", "svg"}, exitUsage, "--out FOLDER"},
		{[]string{"--part", "2"}, exitUsage, "--part is about a line that is read"},
		{[]string{"do re", "--seed", "2"}, exitUsage, "--seed is about melodies that are made"},
		{[]string{"do re lu"}, exitUsage, "column 7"},
		{[]string{""}, exitUsage, "the melody is empty"},
		{[]string{"nothing.abc"}, exitFailed, "nothing.abc: no such file"},
		{[]string{"do re mi", "--to-key", "Am"}, exitUsage, "want a major key"},
		{[]string{"do re mi", "--pulse", "1/3"}, exitUsage, "--pulse"},
	} {
		stdout, stderr, code := user{}.runs(t, append([]string{"melody"}, c.args...)...)
		if code != c.code || stdout != "" || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("melody %q: %d, %q, %q; want %d and one line with %q", c.args, code, stdout, stderr, c.code, c.want)
		}
	}
	if _, stderr, code := (user{terminal: true}).runs(t, "melody", "--to", "midi"); code != exitUsage || !strings.Contains(stderr, "--out") {
		t.Errorf("MIDI to a terminal: %d %s", code, stderr)
	}
}
