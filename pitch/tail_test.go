package pitch

import (
	"math"
	"testing"

	"singback/internal/testkit"
)

// The line is that of least squares: levels on a line do not stray from it, and those that
// go a decibel up and down about one do so by nearly a decibel.
func TestStray(t *testing.T) {
	tr := newTracker(t, 8000)
	for k := range int64(11) {
		tr.frames[k].level = -20 - 1.7*float64(k)
	}
	if s := tr.stray(0, 10); s > 1e-6 {
		t.Errorf("a line strays by %g dB", s)
	}
	for k := range int64(11) {
		tr.frames[k].level += math.Cos(math.Pi * float64(k))
	}
	if s := tr.stray(0, 10); s < .95 || s > 1 {
		t.Errorf("a decibel up and down strays by %g dB", s)
	}
}

// Of a note whose level falls for 300 ms at the pace of a room (60 dB in the reverberation
// time, ISO 3382: 1.2 dB in 10 ms where that is half a second) what lies 10 dB under its
// end is cut off, and nothing of one that falls faster or slower, unevenly, or where falls
// were heard that no room has.
func TestOnlyTheFallOfARoomIsCut(t *testing.T) {
	for _, c := range []struct {
		name        string
		pace, shake float64
		wet         float64
		cut         bool
	}{
		{"half a second", 1.2, .3, 1, true},
		{"a second", .6, .3, 1, true},
		{"a voice that ends", 3.5, .3, 1, false},
		{"a note that grows softer", .3, .3, 1, false},
		{"uneven", 1.2, 3, 1, false},
		{"a dry room", 1.2, .3, 0, false},
	} {
		cfg := DefaultConfig(44100)
		cfg.Reading = Offline
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		const held, all = 40, 70
		tr.next = all
		for k := range all {
			fr := &tr.frames[k]
			fr.wet = c.wet
			fr.level = -20 - c.pace*max(0, float64(k-held)) + c.shake*math.Cos(math.Pi*float64(k))
		}
		tr.cutTails(all)
		for k := range all {
			down := c.pace * float64(k-held)
			switch cut := tr.path[k] < 0; {
			case cut && (!c.cut || down < tailUnder-2):
				t.Errorf("%s: frame %d is cut, %.1f dB down", c.name, k, down)
			case !cut && c.cut && down > tailUnder+2:
				t.Errorf("%s: frame %d is not cut, %.1f dB down", c.name, k, down)
			}
		}
	}
}

// A note that grows softer, and one that ends as voices do, within 50 ms, are sung to
// where they are 20 dB down, in a dry room.
func TestSoftNoteIsNoTail(t *testing.T) {
	const rate = 44100
	for _, seconds := range []float64{.05, 1.5} {
		x := testkit.Tone(rate, 2, testkit.Steady(196), testkit.Vowel(196, 20, 600, 1100, 2500))
		for i := range x {
			if left := 2 - float64(i)/rate; left < seconds {
				x[i] *= math.Pow(10, -(1-left/seconds)*24/20) // 24 dB at the end
			}
		}
		x = append(x, make([]float64, rate/2)...)
		noise := testkit.Pink(len(x), 7)
		for i := range x {
			x[i] += 2e-4 * noise[i]
		}
		for _, p := range track(t, rate, x) {
			at := float64(p.Index) / rate
			if at > .05 && at < 2-seconds/6-.01 && !p.Voiced {
				t.Errorf("softer over %.2f s: not voiced at %.2f s", seconds, at)
			}
		}
	}
}
