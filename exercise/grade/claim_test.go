package grade

import (
	"fmt"
	"testing"
)

// A wrong note in a row on one pitch, or beside its octave, is the one that is called
// wrong, wherever it stands; a row sung right, a note held over and one left out stay what
// they are. Moved to another key and sung slower it is the same.
func TestWrongAmongItsLike(t *testing.T) {
	for _, c := range []struct {
		name    string
		written []float64 // MIDI, a quarter note each
		sung    []float64 // MIDI, one for each; 0: nothing
		wrong   int       // of the written notes, from 1; 0: none
	}{
		{"in the middle of a row", []float64{60, 64, 64, 64, 64, 62, 60}, []float64{60, 64, 64, 62, 64, 62, 60}, 4},
		{"at its beginning, a step that leads there", []float64{60, 64, 64, 64, 62, 60}, []float64{60, 62, 64, 64, 62, 60}, 2},
		{"at its end, on the pitch that comes", []float64{60, 64, 64, 66, 62, 60}, []float64{60, 64, 66, 66, 62, 60}, 3},
		{"at its beginning, on the pitch before", []float64{60, 62, 64, 64, 60, 57}, []float64{60, 62, 62, 64, 60, 57}, 3},
		{"the row is all there is", []float64{60, 60, 60, 60}, []float64{60, 60, 63, 60}, 3},
		{"before its octave", []float64{60, 64, 52, 64, 62, 60}, []float64{60, 64, 55, 64, 62, 60}, 3},
		{"nothing is wrong", []float64{60, 64, 64, 64, 64, 62, 60}, []float64{60, 64, 64, 64, 64, 62, 60}, 0},
		{"octaves, nothing is wrong", []float64{60, 64, 52, 64, 62, 60}, []float64{60, 64, 52, 64, 62, 60}, 0},
	} {
		for _, by := range []float64{0, 5} {
			for _, beat := range []float64{0.5, 1.2} {
				line := Line{Timed: true}
				for i, m := range c.written {
					line.Notes = append(line.Notes, Due{Cents: 100 * m, Onset: float64(i), Length: 1})
				}
				var take Performance
				for i, m := range c.sung {
					if m > 0 {
						take.Notes = append(take.Notes, Sung{Cents: 100*(m+by) + float64(3*(i%3)), Onset: beat * float64(i), Offset: beat * (float64(i) + 0.9)})
					}
				}
				g, err := Of(line, take, DefaultRules())
				if err != nil {
					t.Fatal(err)
				}
				got := ""
				for i, n := range g.Notes {
					if n.Finding != Right {
						got += fmt.Sprintf("%d %v ", i+1, n.Finding)
					}
				}
				want := ""
				if c.wrong > 0 {
					want = fmt.Sprintf("%d wrong ", c.wrong)
				}
				if got != want || len(g.Added) > 0 {
					t.Errorf("%s, %g semitones up, %g s a beat: %s, %d added; want %s", c.name, by, beat, got, len(g.Added), want)
				}
			}
		}
	}
	// A note that is held over the next on its pitch is still that.
	line := Line{Timed: true}
	for i, m := range []float64{60, 64, 64, 62, 60} {
		line.Notes = append(line.Notes, Due{Cents: 100 * m, Onset: float64(i), Length: 1})
	}
	take := Performance{Notes: []Sung{{6000, 0, 0.9, 0}, {6400, 1, 2.9, 0}, {6200, 3, 3.9, 0}, {6000, 4, 4.9, 0}}}
	g, err := Of(line, take, DefaultRules())
	if err != nil || !g.Notes[2].Answer.Merged || g.Right != 5 {
		t.Errorf("held over: %+v, %d right, %v", g.Notes[2], g.Right, err)
	}
}
