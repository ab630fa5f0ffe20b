package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/report"
)

// chorded is an invented tune with chord symbols, in two voices: what stands over the
// second is another harmony.
const chorded = `X:1
T:Invented
M:4/4
L:1/4
K:Am
V:1
"Am"A c "Dm/F"d2 | "E7"e2 "E7"d2 | "Am"A4 | "N.C."A2 "Amoll?"A2 |]
V:2
"C"c e "F"f2 | "G7"g2 f2 | "C"c4 | c4 |]
`

func musicFile(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Chord symbols of a file, known by what it holds, are what deduce, between and cadence
// take; a chord twice in a row is one, and what cannot be read is named.
func TestChordsOfAFile(t *testing.T) {
	path := musicFile(t, "tune.txt", chorded) // the ending says nothing
	out, errs, code := user{ascii: true}.runs(t, "deduce", path, "--style", "chorale", "--format", "json")
	var d report.Compared
	if err := json.Unmarshal([]byte(out), &d); err != nil || code != exitDone || len(d.Written) != 4 || len(d.Places) != 4 || d.Key != "A minor" {
		t.Fatalf("%v, exit %d: %s%s", err, code, out, errs)
	}
	if !strings.Contains(errs, "Amoll?") || d.Written[1].Numeral != "iv6" || d.Written[2].Rank == nil || d.Written[0].Probability < 0.5 {
		t.Errorf("%+v\n%s", d.Written, errs)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"cadence", path}, "Am   Dm/F  E7   Am"},
		{[]string{"cadence", path, "--part", "2"}, "C    F    G7   C"},
		{[]string{"cadence", path, "--to-key", "C minor"}, "Cm   Fm/Ab  G7   Cm"},
		{[]string{"cadence", path, "--key", "C", "--part", "2"}, "I    IV   V7   I"},
		{[]string{"between", path, "--part", "2"}, "C to F, in A minor"},
		{[]string{"between", path}, "Dm/F to E7, in A minor"},
		{[]string{"deduce", path, "--style", "hymn"}, "What is written is the likeliest at"},
	} {
		out, errs, code := user{ascii: true}.runs(t, c.args...)
		if code != exitDone || !strings.Contains(strings.Join(strings.Fields(out), " "), strings.Join(strings.Fields(c.want), " ")) {
			t.Errorf("%v: exit %d, no %q in\n%s%s", c.args, code, c.want, out, errs)
		}
	}
	// A chart has chords over rests, and no note.
	for name, text := range map[string]string{
		"chart.abc": "X:1\nM:4/4\nL:1/4\nK:C\n\"C\"z4|\"G7\"z4|\"C\"z4|\n",
		"chart.musicxml": `<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony><note><rest/><duration>4</duration></note></measure>
<measure number="2"><harmony><root><root-step>G</root-step></root><kind>dominant</kind></harmony><note><rest/><duration>4</duration></note></measure>
<measure number="3"><harmony><root><root-step>C</root-step></root><kind>major</kind></harmony><note><rest/><duration>4</duration></note></measure></part></score-partwise>`,
	} {
		out, errs, code := (user{}).runs(t, "cadence", musicFile(t, name, text))
		if code != exitDone || !strings.Contains(out, "C   G7  C") {
			t.Errorf("%s: exit %d\n%s%s", name, code, out, errs)
		}
	}
	plain := musicFile(t, "plain.abc", "X:1\nM:4/4\nL:1/4\nK:C\nC D E F|\n")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"cadence", plain}, "it has no chord symbols that can be read"},
		{[]string{"deduce", plain}, "it has no chord symbols that can be read"},
		{[]string{"between", plain}, "it has no chord symbols that can be read"},
		{[]string{"cadence", "missing.abc"}, "missing.abc"},
		{[]string{"cadence", "--key", "C", "full", "--part", "2"}, "--part: it is about chord symbols from a file"},
		{[]string{"cadence", path, "--to-key", "Q"}, "--to-key"},
		{[]string{"dictation", "--of", "progression", path, path}, "want one file"},
	} {
		if _, errs, code := (user{}).runs(t, c.args...); code == exitDone || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %s", c.args, code, errs)
		}
	}
}

// Progressions are read from lines, each in its key, and a mistake in one is told with its
// line.
func TestProgressionsOfAFile(t *testing.T) {
	path := musicFile(t, "some.txt", "# invented\n\nI IV V7 I   # here\nkey: Eb major\n1 | 6- | 57\nF# minor: i iv V i\nG: G C D7 G\n")
	out, errs, code := (user{}).runs(t, "dictation", "--of", "progression", "--progressions", path, "--input", "simulated", "--format", "json", "--key", "D")
	if code != exitDone {
		t.Fatal(errs)
	}
	var got []string
	for line := range strings.Lines(out) {
		var e struct{ Event, Key, Chords string }
		if err := json.Unmarshal([]byte(line), &e); err == nil && e.Event == "reasoned" {
			got = append(got, e.Key+": "+e.Chords)
		}
	}
	if want := "D major: I IV V7 I; Eb major: I vi V7; F# minor: i iv V i; G major: I IV V7 I"; strings.Join(got, "; ") != want {
		t.Errorf("asked %q", got)
	}
	for text, want := range map[string]string{
		"C F G":                   `line 1: "C" is a chord symbol: in which key?`,
		"I IV V\nG: G Q":          "line 2: chord 2",
		"I IV V\n\nG: G C5 D":     "line 3: chord 2: C5 has neither a third nor a suspension",
		"I I I I I I I I I":       "line 1: 9 chords: want 1 to 8 in one question",
		"# nothing\n":             "there is no progression",
		"key: Q\nI V I":           "line 1",
		"G: I IV\nF: |: F C :|\n": "line 2",
	} {
		path := musicFile(t, "wrong.txt", text)
		if _, errs, code := (user{}).runs(t, "dictation", "--of", "progression", "--progressions", path, "--input", "simulated"); code == exitDone || !strings.Contains(errs, want) {
			t.Errorf("%q: exit %d, %s, want %s", text, code, errs, want)
		}
	}
	tune := musicFile(t, "tune.abc", chorded)
	out, errs, code = (user{}).runs(t, "dictation", "--of", "quality", tune, "--length", "2", "--input", "simulated", "--format", "json")
	if code != exitDone || !strings.Contains(out, `"chords":"i iv6"`) || !strings.Contains(out, `"chords":"V7 i"`) || strings.Contains(out, "reasoned") {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
}

// The style that was stated holds where no other is said, and it is said which holds.
func TestStyleOfTheProfile(t *testing.T) {
	me := filepath.Join(t.TempDir(), "me.toml")
	u := user{}
	if _, errs, code := u.runs(t, "profile", "set", "--style", "polka"); code == exitDone || !strings.Contains(errs, "--style: not a style") {
		t.Errorf("exit %d, %s", code, errs)
	}
	made := `version = 1
name = "Otto"
made = 2026-11-01
style = "gospel"
`
	if err := os.WriteFile(me, []byte(made), 0o600); err != nil {
		t.Fatal(err)
	}
	out, errs, _ := u.runs(t, "deduce", "--profile", me, "--key", "C", "do di re")
	if !strings.HasPrefix(out, "C major, gospel") || !strings.Contains(errs, "Style: gospel, of the profile.") {
		t.Errorf("%s%s", out, errs)
	}
	if out, errs, _ = u.runs(t, "deduce", "--profile", me, "--style", "pop", "--key", "C", "do"); !strings.HasPrefix(out, "C major, pop") || errs != "" {
		t.Errorf("%s%s", out, errs)
	}
	if out, _, _ = u.runs(t, "profile", "show", "--profile", me); !strings.Contains(out, "gospel, of the harmony") {
		t.Error(out)
	}
	_, errs, _ = u.runs(t, "dictation", "--of", "progression", "--profile", me, "--count", "1", "--input", "simulated")
	if !strings.Contains(errs, "Progressions in the style gospel, of the profile; its numbers are judgement") {
		t.Error(errs)
	}
	if err := os.WriteFile(me, []byte(strings.Replace(made, "gospel", "polka", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, errs, code := u.runs(t, "deduce", "--profile", me, "--key", "C", "do"); code == exitDone || !strings.Contains(errs, "no style") {
		t.Errorf("exit %d, %s", code, errs)
	}
}
