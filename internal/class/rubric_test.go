package class

import (
	"errors"
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

func TestSmoke(t *testing.T) {
	line, take := scale(t, func(n []grade.Sung) []grade.Sung { n[5].Cents -= 300; return n })
	m := marked(t, everything(), line, take)
	for _, p := range m.Parts {
		t.Logf("%-11s %.3f %s %v", p.Criterion, p.Value, p.Why, p.Places)
	}
	t.Logf("%+v", m)
	for _, r := range Builtin() {
		m := marked(t, r, line, take)
		t.Logf("%s: %.3f %v error %.3f doubt %.3f", r.Name, m.Value, m.Pass, m.Error, m.Doubt)
		back, err := ParseRubric("", WriteRubric(r))
		if err != nil {
			t.Error(err)
		}
		back.Text, r.Text = "", ""
		if back != r {
			t.Errorf("%+v is read back as %+v", r, back)
		}
	}
	var bad *RubricError
	if _, err := ParseRubric("f", "name = 3"); !errors.As(err, &bad) || !strings.Contains(err.Error(), "name wants") {
		t.Error(err)
	}
}
