package pitch

import (
	"math"
	"math/rand/v2"
	"testing"
)

var edgeRate = 11025.0 // Hz

// tone is n samples of ten harmonics of f hertz.
func tone(f float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		for h := 1; h <= 10 && float64(h)*f < edgeRate/2; h++ {
			x[i] += .1 / float64(h) * math.Sin(2*math.Pi*float64(h)*f*float64(i)/edgeRate+float64(h*h))
		}
	}
	return x
}

// What a note is at its edges: from 24 dB under itself on, by the gain of a ramp.
func TestEdgesOfRamps(t *testing.T) {
	for _, f := range []float64{65, 98, 147, 220, 330, 660, 1100} {
		const start, end = .1, .5
		x := tone(f, int(.7*edgeRate))
		for i := range x {
			at := float64(i) / edgeRate
			x[i] *= math.Max(0, math.Min(1, math.Min((at-start)/.020, (end-at)/.020)))
		}
		for _, c := range []struct {
			name string
			at   float64
			want bool
			does func([]float64, int, float64, float64) bool
		}{
			{"8 ms before it begins", start - .008, false, begins},
			{"12 ms after it began", start + .012, true, begins},
			{"18 ms after it began", start + .018, true, begins},
			{"8 ms after it ended", end + .008, false, lasts},
			{"10 ms before it ends", end - .010, true, lasts},
			{"in its middle", .3, false, lasts}, // it does not end there
		} {
			if got := c.does(x, int(c.at*edgeRate), edgeRate/f, edgeRate); got != c.want {
				t.Errorf("%g Hz, %s: %v, want %v", f, c.name, got, c.want)
			}
		}
	}
}

// A room's tail repeats with the period of the note, and falls by 60 dB in its
// reverberation time (ISO 3382-2): it is not the note, from 0.25 s on.
func TestEdgesOfRooms(t *testing.T) {
	for _, f := range []float64{65, 147, 330, 1100} {
		for _, rt60 := range []float64{.25, .4, .8, 2} {
			x := tone(f, int(.7*edgeRate))
			end := int(.4 * edgeRate)
			for i := end; i < len(x); i++ {
				x[i] *= math.Pow(10, -3*float64(i-end)/edgeRate/rt60)
			}
			for ms := 5; ms < 60; ms++ {
				if lasts(x, end+int(float64(ms)*edgeRate/1000), edgeRate/f, edgeRate) {
					t.Errorf("%g Hz, RT60 %g s: sung %d ms after its end", f, rt60, ms)
				}
			}
		}
	}
}

// Noise does not begin a note.
func TestEdgesOfNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, int(.3*edgeRate))
	found, n := 0, 0
	for range 200 {
		for i := range x {
			x[i] = r.NormFloat64()
		}
		for _, f := range []float64{65, 110, 220, 440, 880} {
			n++
			if begins(x, int(.1*edgeRate), edgeRate/f, edgeRate) {
				found++
			}
		}
	}
	if found > n/200 {
		t.Errorf("%d of %d places in noise begin a note", found, n)
	}
}

// A note cut out of a recording, as a gate or an editor leaves it: in all frames that lie
// in it whole, and in none that lie outside.
func TestCutNotes(t *testing.T) {
	for _, reading := range []Reading{Settled, Offline} {
		for _, f := range []float64{70, 110, 196, 392, 784} {
			for ms := 0; ms < 10; ms += 3 {
				x := make([]float64, 44100)
				from, to := 13230+ms*44, 30870+ms*44
				for i := from; i < to; i++ {
					for h := 1; h <= 20 && float64(h)*f < 20000; h++ {
						x[i] += .1 / float64(h) * math.Sin(2*math.Pi*float64(h)*f*float64(i)/44100)
					}
				}
				cfg := DefaultConfig(44100)
				cfg.Reading = reading
				tr, err := NewTracker(cfg)
				if err != nil {
					t.Fatal(err)
				}
				for _, p := range tr.Flush(tr.Push(nil, x)) {
					lo, hi := int(p.Index)-221, int(p.Index)+221
					switch {
					case lo >= from && hi <= to && !p.Voiced:
						t.Errorf("%v, %g Hz, cut at %d ms: %.0f ms inside is not voiced", reading, f, ms, 1000*float64(p.Index-int64(from))/44100)
					case (hi < from || lo >= to) && p.Voiced:
						t.Errorf("%v, %g Hz, cut at %d ms: %.0f ms before it, %.0f ms after it, is voiced", reading, f, ms,
							1000*float64(int64(from)-p.Index)/44100, 1000*float64(p.Index-int64(to))/44100)
					case p.Voiced && math.Abs(1200*math.Log2(p.F0/f)) > max(5, 1400/f): // a window of 60 ms holds four periods of 70 Hz
						t.Errorf("%v, %g Hz, cut at %d ms: %.2f Hz", reading, f, ms, p.F0)
					}
				}
			}
		}
	}
}

// A note that rises out of digital silence is shown within three of its periods, or 20 ms
// where that is longer. Bursts of noise are not; of struck things whose one partial rings for
// 2 to 8 ms less than half are, for a frame or two.
func TestLiveOutOfSilence(t *testing.T) {
	const rate, start = 44100, 13230
	live := func(x []float64) (first Point, ready int) {
		cfg := DefaultConfig(rate)
		cfg.Reading = Live
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i+16 <= len(x); i += 16 {
			for _, p := range tr.Push(nil, x[i:i+16]) {
				if p.Voiced {
					return p, i + 16
				}
			}
		}
		return Point{}, len(x)
	}
	for _, f := range []float64{70, 98, 131, 196, 262, 392, 784} {
		x := make([]float64, rate/2)
		for i := start; i < len(x); i++ {
			for h := 1; h <= 20 && float64(h)*f < 20000; h++ {
				x[i] += .1 / float64(h) * math.Sin(2*math.Pi*float64(h)*f*float64(i)/rate+float64(h*h))
			}
			x[i] *= math.Min(1, float64(i-start)/(.02*rate))
		}
		p, ready := live(x)
		if after := 1000 * float64(ready-start) / rate; after > math.Max(21, 3000/f+10) || math.Abs(1200*math.Log2(p.F0/f)) > 50 {
			t.Errorf("%g Hz: %.2f Hz after %.1f ms", f, p.F0, after)
		}
	}
	r := rand.New(rand.NewPCG(3, 4))
	var shown [2]int // of strokes, of bursts
	const n = 200
	for k := range n {
		x := make([]float64, start+4410)
		fall := math.Exp(-1 / (rate * (.002 + .006*r.Float64())))
		ring, b := 1.0, 0.0
		w := 2 * math.Pi * (200 + 2000*r.Float64()) / rate
		for i := start; i < len(x); i++ {
			if ring *= fall; k%2 == 0 {
				b = r.NormFloat64()
			} else {
				b = math.Sin(w * float64(i-start))
			}
			x[i] = .2 * ring * b
		}
		if p, _ := live(x); p.Voiced {
			shown[(k+1)%2]++
		}
	}
	if shown[1] > 0 || shown[0] > n/4 {
		t.Errorf("%d of %d bursts of noise and %d strokes are shown as sung", shown[1], n/2, shown[0])
	}
}
