package engrave

import (
	"strings"
	"testing"

	"singback/theory"
)

// What is heard inwardly stands in brackets, on the staff and in words, and nothing else does.
func TestSilentNotes(t *testing.T) {
	quarter := theory.NewFraction(1, 1)
	s := theory.Score{Meter: theory.Meter{Beats: 4, Unit: 4}}
	for i := range 8 {
		n := theory.Note{Letter: theory.Letter(i % 7)}
		if i == 5 {
			n.Alter = 1
		}
		s.Notes = append(s.Notes, theory.Written{Pitch: theory.Pitch{Note: n, Octave: 4 + i/7}, Length: quarter})
	}
	v := View{ASCII: true, Silent: []bool{false, false, false, false, true, true, true, true}}
	text, err := Text(s, v)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Count(text, "(*)")+strings.Count(text, "(#*)") != 4 || !strings.Contains(text, "(#*)") {
		t.Errorf("%s", text)
	}
	svg, err := SVG(s, v)
	if err != nil || strings.Count(svg, `class="silent"`) != 8 || strings.Count(svg, "[silent ") != 4 {
		t.Errorf("%v: %d brackets", err, strings.Count(svg, `class="silent"`))
	}
	v.Silent = nil
	if svg, err = SVG(s, v); err != nil || strings.Contains(svg, "silent") {
		t.Errorf("%v: brackets where nothing is silent", err)
	}
}
