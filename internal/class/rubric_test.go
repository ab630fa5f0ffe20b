package class

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/theory"
)

// scale is do re mi fa, sol la sol do in G major, two bars of four quarter notes, and
// a take of it in C, every note half a second long, with changes.
func scale(t *testing.T, change func(notes []grade.Sung) []grade.Sung) (grade.Line, grade.Performance) {
	t.Helper()
	k, err := theory.ParseKey("G major")
	if err != nil {
		t.Fatal(err)
	}
	line := grade.Line{Timed: true, Key: k, Bars: []float64{0, 4}}
	for i, semitones := range []float64{0, 2, 4, 5, 7, 9, 7, 0} {
		d, _ := k.Nearest(100 * semitones)
		line.Notes = append(line.Notes, grade.Due{Cents: 6700 + 100*semitones, Onset: float64(i), Length: 1})
		line.Degrees = append(line.Degrees, d)
	}
	var notes []grade.Sung
	for i, d := range line.Notes {
		notes = append(notes, grade.Sung{Cents: d.Cents - 700, Onset: 1 + 0.5*float64(i), Offset: 1 + 0.5*float64(i) + 0.45})
	}
	if change != nil {
		notes = change(notes)
	}
	return line, grade.Performance{Notes: notes}
}

func marked(t *testing.T, r Rubric, line grade.Line, take grade.Performance) Mark {
	t.Helper()
	g, err := grade.Of(line, take, grade.DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	return r.Mark(line, take, g, grade.DefaultRules())
}

// everything counts all that can be counted.
func everything() Rubric {
	r := Rubric{Name: "everything", Pass: 0.5}
	for c := range r.Weights {
		r.Weights[c] = 1
	}
	return r
}

// Every rubric that comes along is read, is named by what it counts, and is written as a
// text that is read as the same.
func TestBuiltin(t *testing.T) {
	names := map[string]bool{}
	sums := map[string]bool{}
	for _, r := range Builtin() {
		if names[r.Name] || sums[r.Sum()] {
			t.Errorf("%s comes twice", r.Name)
		}
		names[r.Name], sums[r.Sum()] = true, true
		if r.Source == "" {
			t.Errorf("%s names no source", r.Name)
		}
		if found, err := RubricNamed(r.Name); err != nil || found != r {
			t.Errorf("%s is found as %+v, %v", r.Name, found, err)
		}
		back, err := ParseRubric("", WriteRubric(r))
		if err != nil {
			t.Errorf("%s: %v", r.Name, err)
		}
		back.Text, r.Text = "", ""
		if back != r {
			t.Errorf("%+v is read back as %+v", r, back)
		}
	}
	if Default().Name != "faults" {
		t.Errorf("the default is %s", Default().Name)
	}
	if _, err := RubricNamed("pitch"); err == nil || !strings.Contains(err.Error(), `want "faults", "notes", "intervals and key"`) {
		t.Errorf("no rubric called pitch: %v", err)
	}
}

func TestParseRubric(t *testing.T) {
	r, err := ParseRubric("mine.toml", `
# Pitch before rhythm.
name = "pitch, then rhythm"
pass = 0.6
points = 20
pieces = 4

[counts]
notes = 3
segments = 2.5
`)
	want := Rubric{Name: "pitch, then rhythm", Pass: 0.6, Points: 20, Pieces: 4}
	want.Weights[Notes], want.Weights[Segments] = 3, 2.5
	r.Text = ""
	if err != nil || r != want {
		t.Errorf("%+v, %v; want %+v", r, err, want)
	}
	if got := r.Shown(0.725); got != "14.5 of 20" {
		t.Errorf("0.725 of 20 is shown as %q", got)
	}
	if r.Points = 0; r.Shown(0.725) != "72 %" {
		t.Errorf("0.725 is shown as %q", r.Shown(0.725))
	}
	for _, text := range []string{"name = \"x\"\npass = 0.5\ncounts.notes = 1", "name = \"x\"\npass = 0.5\ncounts = {notes = 1}"} {
		if r, err := ParseRubric("", text); err != nil || r.Weights[Notes] != 1 {
			t.Errorf("%q: %+v, %v", text, r, err)
		}
	}
	for text, want := range map[string]string{
		"":                              "f: line 1, column 1: there is no name",
		"name = \"x\"":                  "f: line 1, column 1: there is no pass",
		"name = \"x\"\npass = 0.5":      "f: line 2, column 11: there is no [counts]",
		"name = 3":                      `f: line 1, column 8, "3": name wants a text in quotes`,
		"name = \"\"":                   "f: line 1, column 8: a name is empty",
		"name = \"x\"\npass = 1.5":      `f: line 2, column 8, "1.5": pass is out of range: want 0 to 1`,
		"name = \"x\"\npass = nan":      `f: line 2, column 8, "nan": pass is out of range: want 0 to 1`,
		"name = \"x\"\npass = \"half\"": `f: line 2, column 8, "half": pass wants a number from 0 to 1, or "jury"`,
		"name = \"x\"\npass = true":     `f: line 2, column 8, "true": pass wants a number from 0 to 1`,
		"name = \"x\"\nmark = 1":        `f: line 2, column 1, "mark": no such key: want name, source, pass, points, pieces, and a table [counts]`,
		"points = 2.5":                  `f: line 1, column 10, "2.5": points wants a whole number from 0 to 1000`,
		"[weights]\nnotes = 1":          `f: line 1, column 2, "weights": no such table: want [counts]`,
		"[[counts]]\nnotes = 1":         `f: line 1, column 3, "counts": want it in one pair of brackets`,
		"[counts]\nnotez = 1":           `f: line 2, column 1, "notez": nothing that is called so can be counted: want faults, jury, notes`,
		"[counts]\nnotes = \"a lot\"":   `f: line 2, column 9, "a lot": notes wants a number from 0 to 1000`,
		"[counts]\nnotes = -1":          `f: line 2, column 9, "-1": notes is out of range`,
		"counts = 1":                    `f: line 1, column 10, "1": counts wants a table`,
		"name = \"x\"\npass = 0.5\n[counts]\nnotes = 0":             `f: line 3, column 2, "counts": nothing counts`,
		"name = \"x\"\npass = \"jury\"\n[counts]\nnotes = 1":        `f: line 2, column 8, "jury": wants faults alone to count`,
		"name = \"x\"\npass = 0.5\npieces = 4\n[counts]\nnotes = 1": `f: line 3, column 10, "4": pieces are those of segments`,
		"name = \"x\"\npass = 0.5\nname = \"y\"":                    "f: line 3, column 1",
		"name = \"x":                                                "f: line 1, column",
		"# " + strings.Repeat("x", MaxRubric):                       "f: line 1, column 1: the file is larger than 1048576 bytes",
	} {
		_, err := ParseRubric("f", text)
		var bad *RubricError
		if !errors.As(err, &bad) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%.60q: %v; want %s", text, err, want)
		}
	}
}

// The fingerprint is that of what counts.
func TestSum(t *testing.T) {
	r := Rubric{Name: "a", Pass: 0.5}
	r.Weights[Notes], r.Weights[Rhythm] = 2, 1
	same, other := r, []Rubric{r, r, r}
	same.Name, same.Source, same.Points, same.Pieces = "b", "c", 9, 4
	same.Weights[Notes], same.Weights[Rhythm] = 4, 2
	if same.Sum() != r.Sum() {
		t.Error("a name, points and the size of weights change the fingerprint")
	}
	other[0].Pass = 0.6
	other[1].Weights[Rhythm] = 2
	other[2].Weights[Flow] = 1
	for _, o := range other {
		if o.Sum() == r.Sum() {
			t.Errorf("%+v has the fingerprint of %+v", o, r)
		}
	}
	r.Weights[Segments] = 1
	o := r
	if o.Pieces = 4; o.Sum() == r.Sum() {
		t.Error("other segments have the same fingerprint")
	}
}

// The default passes what grade's pass_probability does.
func TestPassOfTheDefault(t *testing.T) {
	n := [2]int{}
	tried(9, 40, func(rng *rand.Rand, line grade.Line, s madeSinger) {
		line.Performed = line.Timed && rng.IntN(2) == 0
		var faults []madeFault
		for i := range line.Notes {
			if rng.IntN(6) == 0 {
				faults = append(faults, madeFaultOf(line, "wrong", i, rng))
			}
		}
		m := marked(t, Default(), line, s.sing(line, faults))
		if m.Pass != (m.Probability >= 0.5) || m.Pass != (m.Value >= m.PassAt) {
			t.Errorf("value %g of %g, probability %g: passes %v", m.Value, m.PassAt, m.Probability, m.Pass)
		}
		if m.Value != m.Score || math.Abs(m.Doubt-min(m.Probability, 1-m.Probability)) > 1e-12 {
			t.Errorf("value %g, score %g, doubt %g, probability %g", m.Value, m.Score, m.Doubt, m.Probability)
		}
		n[side(m.Pass)]++
	})
	if n[0] < 5 || n[1] < 5 {
		t.Errorf("%d fail and %d pass: that says little", n[0], n[1])
	}
}

// Whatever is read is written as the same, and no text panics.
func FuzzParseRubric(f *testing.F) {
	for _, r := range Builtin() {
		f.Add(r.Text)
		f.Add(WriteRubric(r))
	}
	f.Add("name = \"x\"\npass = 1e-3\ncounts = {notes = 1, flow = 0.25}\npoints = 1_000")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseRubric("f", text)
		if err != nil {
			var bad *RubricError
			if !errors.As(err, &bad) || bad.Line < 1 || bad.Column < 1 {
				t.Fatalf("%v has no place", err)
			}
			return
		}
		if err := r.Validate(); err != nil {
			t.Fatal(err)
		}
		back, err := ParseRubric("f", WriteRubric(r))
		if err != nil {
			t.Fatal(err)
		}
		if back.Text, r.Text = "", ""; r.Weights[Segments] == 0 {
			r.Pieces = 0
		}
		if back != r || back.Sum() != r.Sum() {
			t.Fatalf("%+v is read back as %+v", r, back)
		}
	})
}
