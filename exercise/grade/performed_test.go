package grade

import (
	"math"
	"math/rand/v2"
	"testing"
)

// played is a melody played with its notes' beginnings off by up to jitter
// beats and a little silence after each, at a tempo; a length below 0 is a
// silence.
func played(beat, jitter float64, midi []float64, lengths ...float64) []Sung {
	rng := rand.New(rand.NewPCG(1, 2))
	var out []Sung
	at := 2.0
	for k, l := range lengths {
		if midi[k] > 0 {
			off := jitter * beat * (2*rng.Float64() - 1)
			out = append(out, Sung{Cents: 100 * midi[k], Onset: at + off, Offset: at + (l-0.2)*beat})
		}
		at += l * beat
	}
	return out
}

// TestPerformedRhythm: what was played unevenly is the rhythm that was meant,
// at any tempo.
func TestPerformedRhythm(t *testing.T) {
	midi := []float64{60, 62, 64, 62, 60, 67, 65, 64, 62, 59, 60}
	lengths := []float64{1, 1, 1, 1, 2, 1.5, 0.5, 1, 1, 2, 3}
	for _, beat := range []float64{0.2, 0.37, 1.1} {
		line, err := NewPerformedLine(played(beat, 0.12, midi, lengths...))
		if err != nil {
			t.Fatal(err)
		}
		unit := line.Notes[len(line.Notes)-1].Onset / 12
		at := 0.0
		for k, n := range line.Notes {
			if math.Abs(n.Onset/unit-at) > 1e-6 {
				t.Errorf("beat %g s: note %d begins at %.3f beats, want %g", beat, k, n.Onset/unit, at)
			}
			if k+1 < len(lengths) && math.Abs(n.Length/unit-lengths[k]) > 1e-6 {
				t.Errorf("beat %g s: note %d is due for %.3f beats, want %g", beat, k, n.Length/unit, lengths[k])
			}
			at += lengths[k]
		}
		if math.Abs(unit/beat-1) > 0.05 {
			t.Errorf("beat %g s: found %g s", beat, unit)
		}
	}
}

// TestPerformedGap: a silence as long as a note stays one, and whoever sings a
// note there has sung nothing wrong; a short one belongs to the note before it.
func TestPerformedGap(t *testing.T) {
	whole := []float64{60, 64, 62, 65, 67, 69, 67, 65, 64, 62, 60}
	lengths := []float64{1, 1, 1, 1, 2, 1, 1, 1, 1, 1, 2}
	lost := append([]float64(nil), whole...)
	lost[5] = 0
	line, err := NewPerformedLine(played(0.4, 0.05, lost, lengths...))
	if err != nil {
		t.Fatal(err)
	}
	for k, n := range line.Notes[:len(line.Notes)-1] {
		gap := (line.Notes[k+1].Onset - n.Onset - n.Length) / 0.4
		if want := map[bool]float64{true: 1}[k == 4]; math.Abs(gap-want) > 0.05 {
			t.Errorf("silence of %.2f beats after note %d, want %g", gap, k, want)
		}
	}
	g, err := Of(line, Performance{Notes: played(0.5, 0.05, whole, lengths...)}, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	if g.Right != len(line.Notes) || g.Score < 0.85 {
		t.Errorf("%d of %d notes right, score %.2f, faults %+v", g.Right, len(line.Notes), g.Score, g.Faults)
	}
}

// TestPerformedFree: times without a pulse stay as they are.
func TestPerformedFree(t *testing.T) {
	at := []float64{0, 1, 1.37, 2.71, 3.02, 5.16, 5.9, 6.13, 7.77, 8.86, 9.3}
	on, places, _ := onPulse(at)
	if places != nil {
		t.Errorf("a pulse was found: %v", places)
	}
	for k := range at {
		if on[k] != at[k] {
			t.Errorf("time %d moved from %g to %g", k, at[k], on[k])
		}
	}
	for _, few := range [][]float64{{0}, {0, 1}, {0, 0, 0, 0, 0, 0}, {0, 1, 2}} {
		if on, places, _ := onPulse(few); len(on) != len(few) || places != nil {
			t.Errorf("%v: %v %v", few, on, places)
		}
	}
}
