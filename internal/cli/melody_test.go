package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/exercise/compose"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/theory"
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
	var r report.Melody
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

// Names with their heading are read back as the same line in the same key and
// mode, at the same pitch, whatever the names: they need no flag but --from, and
// --pulse where it is said.
func TestNamesKeepTheLine(t *testing.T) {
	written := 0
	seeds := uint64(6)
	if raceDetector {
		seeds = 3 // every octave once
	}
	for level := 1; level <= compose.Levels; level++ {
		for seed := range seeds {
			ms, err := compose.NewMelodies(compose.MelodyOrder{Level: level, Count: 1, Seed: seed})
			if err != nil {
				t.Fatal(err)
			}
			for _, k := range theory.Keys() {
				for _, mode := range []theory.Mode{theory.Major, theory.Minor, theory.Dorian, theory.Phrygian, theory.Lydian, theory.Mixolydian, theory.Locrian} {
					if s := ms[0].Score; k.Mode != theory.Major || len(s.Changes) > 0 {
						continue
					}
					s := ms[0].Score
					s.Key.Mode = mode // the same pitches, counted on the same tonic
					if s, err = s.In(k.WithMode(mode)); err == nil {
						s, err = s.Octaves(int(seed)%3 - 1)
					}
					if err != nil {
						t.Fatal(err)
					}
					for _, naming := range theory.Namings() {
						text, err := notation.NamesOf(s, naming, middleOctave, seed%2 == 0)
						if err != nil {
							continue // lengths and octaves that have no sign
						}
						written++
						got, warnings, err := notation.Parse("typed", []byte(text), notation.Options{Naming: naming, Octave: middleOctave, Pulse: s.Meter.Pulse()})
						if err != nil {
							t.Fatalf("%v, %v: %s\n%v", naming, s.Key, text, err)
						}
						if len(warnings) > 0 || got.Key != s.Key || sounds(got) != sounds(s) {
							t.Fatalf("%v, %v: %s\n%v\ngot  %s %s\nwant %s %s", naming, s.Key, text, warnings, got.Key, sounds(got), s.Key, sounds(s))
						}
					}
				}
			}
		}
	}
	if want := 20_000 / 6 * int(seeds); written < want {
		t.Errorf("only %d lines were written as names, want %d", written, want)
	}
}

// sounds is a line from its first to its last note.
func sounds(s theory.Score) string {
	ns := s.Notes
	for ns[0].Rest {
		ns = ns[1:]
	}
	for ns[len(ns)-1].Rest {
		ns = ns[:len(ns)-1]
	}
	return fmt.Sprint(ns)
}

func TestNamesHaveTheirKey(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"do re mi sol", "--key", "G"}, "Key G. do re mi sol\n"},
		{[]string{"do re me fa", "--key", "Dm"}, "Key F, Lah is D. do re me fa\n"},
		{[]string{"do re me fa", "--key", "D dorian"}, "Key C, Ray is D. do re me fa\n"},
	} {
		out, stderr, code := user{ascii: true}.runs(t, append([]string{"melody", "--to", "names"}, c.args...)...)
		if out != c.want || stderr != "" || code != exitDone {
			t.Errorf("%v: %q, %q, %d; want %q", c.args, out, stderr, code, c.want)
			continue
		}
		if again, stderr, _ := (user{ascii: true, stdin: out}).runs(t, "melody", "-", "--to", "names"); again != out {
			t.Errorf("%q read back is %q, %q", out, again, stderr)
		}
	}
	_, stderr, _ := user{stdin: "X:1\nM:6/8\nL:1/8\nK:C\nC3 D3|"}.runs(t, "melody", "-", "--to", "names")
	if want := "singback melody: the pulse of these names is a 3/8 note: read them with --pulse 3/8\n"; stderr != want {
		t.Errorf("a pulse of 3/8: %q, want %q", stderr, want)
	}
}

// The notes of a file are counted in the key asked for, which is said.
func TestMelodyKeyOfAFile(t *testing.T) {
	tune := "X:1\nM:4/4\nL:1/4\nK:F\nD E F G|[K:C]A4|[K:F]D4|"
	out, stderr, code := user{stdin: tune, ascii: true}.runs(t, "melody", "-", "--key", "D minor", "--format", "json")
	var r report.Melody
	if err := json.Unmarshal([]byte(out), &r); err != nil || code != exitDone {
		t.Fatal(err, stderr)
	}
	if r.Key != "D minor" || *r.Notes[0].Name != "do" || *r.Notes[0].Note != "D4" || len(r.Changes) != 2 || r.Changes[0].Key != "C major" || r.Changes[1].Key != "D minor" {
		t.Errorf("%+v", r)
	}
	if want := "singback melody: the file says F major: its notes stay as they are and are counted in D minor, as asked for\n"; stderr != want {
		t.Errorf("%q, want %q", stderr, want)
	}
	if _, stderr, _ := (user{stdin: tune}).runs(t, "melody", "-", "--key", "F"); stderr != "" {
		t.Errorf("the key of the file: %q", stderr)
	}
	_, stderr, _ = user{}.runs(t, "melody", "--key", "D", "Key G. do re mi")
	if want := "singback melody: the heading says G major: it goes before D major\n"; stderr != want {
		t.Errorf("%q, want %q", stderr, want)
	}
	// From MIDI, whose notes have no letters, they are spelled in it.
	midi, _, _ := user{stdin: "X:1\nM:4/4\nL:1/4\nK:F\nD ^c d2|"}.runs(t, "melody", "-", "--to", "midi")
	out, _, _ = user{stdin: midi}.runs(t, "melody", "-", "--key", "D minor", "--to", "abc")
	if !strings.Contains(out, "K:Dm\nD2 ^c2 d4 |]") {
		t.Error(out)
	}
}
