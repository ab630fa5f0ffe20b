package grade

import (
	"fmt"
	"math"
	"testing"
)

// tune is a curve of notes of MIDI pitches, each for so many seconds, in steps.
func tune(step, each float64, midi ...float64) []Moment {
	var c []Moment
	n := int(each*float64(len(midi))/step + 0.5)
	for k := range n {
		at := float64(k) * step
		v := midi[min(len(midi)-1, int(at/each))]
		if v == 0 {
			c = append(c, Moment{At: at})
			continue
		}
		c = append(c, Moment{At: at, Cents: 100*v + 4*math.Sin(40*at), Voiced: true})
	}
	return c
}

func TestOfCurve(t *testing.T) {
	for _, step := range []float64{0.0029, 0.010, 0.0232, 0.05} {
		p := OfCurve(tune(step, 0.3, 60, 62, 64, 62, 0, 62, 67.3))
		want := []float64{60, 62, 64, 62, 62, 67.3}
		if len(p.Notes) != len(want) {
			t.Errorf("step %g: %d notes, want %d: %v", step, len(p.Notes), len(want), p.Notes)
			continue
		}
		for i, n := range p.Notes {
			if math.Abs(n.Cents-100*want[i]) > 10 || n.Offset-n.Onset < 0.2 {
				t.Errorf("step %g: note %d at %.0f cents, %.2f to %.2f s; want %.0f", step, i, n.Cents, n.Onset, n.Offset, 100*want[i])
			}
		}
	}
}

// A sparse curve of six hours, over all that is read as a pitch, is cut in bounded
// memory.
func TestOfCurveSparse(t *testing.T) {
	curve := []Moment{NewMoment(0, 10, 440), NewMoment(0.01, 20000, 440), NewMoment(21599, 440, 440)}
	if p := OfCurve(curve); len(p.Notes) > 3 {
		t.Errorf("%d notes of three points", len(p.Notes))
	}
}

// The time for a take of the same length does not depend on how many went
// before: nothing is kept between them.
func BenchmarkGradeCurve(b *testing.B) {
	for _, seconds := range []int{10, 60, 600} {
		b.Run(fmt.Sprintf("%ds", seconds), func(b *testing.B) {
			var midi []float64
			line := Line{Timed: true}
			for k := range 2 * seconds {
				v := 60 + float64([]int{0, 2, 4, 5, 7, 5, 4, 2}[k%8])
				midi = append(midi, v)
				line.Notes = append(line.Notes, Due{Cents: 100 * v, Onset: float64(k), Length: 1})
			}
			curve := tune(0.01, 0.5, midi...)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Of(line, OfCurve(curve), DefaultRules()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
