package doctor

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// hiss is Gaussian noise of a level in dBFS (RMS).
func hiss(n int, level float64, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 7))
	x, gain := make([]float64, n), math.Pow(10, level/20)
	for i := range x {
		x[i] = gain * r.NormFloat64()
	}
	return x
}

// capture is a second of silence before the tone at -30 dBFS after a delay, changed
// by spoil, with noise over all of it.
func capture(rate int, noise float64, spoil func(tone []float64) []float64) (x, quiet []float64) {
	tone := Tone(rate, -30)
	if spoil != nil {
		tone = spoil(tone)
	}
	n := int((ToneSeconds + tailSeconds) * float64(rate))
	x = hiss(n, noise, 1)
	for i, v := range tone {
		if at := rate/5 + i; at < n {
			x[at] += v
		}
	}
	return x, hiss(rate, noise, 2)
}

// The frequency is where no usual block is nearly a whole number of periods, so that
// a block which is dropped or comes twice turns the phase by more than jump.
func TestToneFrequency(t *testing.T) {
	var seconds []float64
	for _, ms := range []float64{1, 2, 2.5, 3, 5, 10, 20, 25, 30, 40, 50, 100} {
		seconds = append(seconds, ms/1000)
	}
	for _, rate := range []float64{44100, 48000} {
		for n := 64.0; n <= 4096; n *= 2 {
			seconds = append(seconds, n/rate)
		}
	}
	for _, s := range seconds {
		if turn := math.Abs(math.Remainder(2*math.Pi*ToneHz*s, 2*math.Pi)); turn < 1.3*jump {
			t.Errorf("a block of %.4f s turns the phase by %.2f rad, want %.2f or more", s, turn, 1.3*jump)
		}
	}
}

func TestToneIsQuietAndFades(t *testing.T) {
	for _, rate := range []int{8000, 44100, 48000} {
		x := Tone(rate, -24)
		peak, step := 0.0, 0.0
		for i, v := range x {
			peak = max(peak, math.Abs(v))
			if i > 0 {
				step = max(step, math.Abs(v-x[i-1]))
			}
		}
		want := math.Pow(10, -24./20)
		if len(x) != 10*rate || peak > want || peak < .99*want || x[0] != 0 || math.Abs(x[len(x)-1]) > 1e-12 {
			t.Errorf("%d Hz: %d samples, peak %.5f, ends %g and %g; want 10 s, %.5f, and silence at the ends", rate, len(x), peak, x[0], x[len(x)-1], want)
		}
		if most := 1.01 * want * 2 * math.Sin(math.Pi*ToneHz/float64(rate)); step > most {
			t.Errorf("%d Hz: a step of %g, want none over %g: it would click", rate, step, most)
		}
	}
}

// A tone that is whole has no dropout, at any rate and in noise up to 26 dB below it
// in a frame; its level is the one that was played.
func TestWholeTone(t *testing.T) {
	for _, rate := range []int{8000, 44100, 96000} {
		for _, noise := range []float64{-120, -70, -55} {
			x, quiet := capture(rate, noise, nil)
			s := FindTone(x, quiet, rate)
			t.Logf("%d Hz, noise %g dBFS: %.1f dB over it, level %.2f, %.3f s, drift %.2f ppm", rate, noise, s.Over, s.Level, s.Seconds, s.Drift)
			if !s.Heard || math.Abs(s.Level+30) > .1 || math.Abs(s.Seconds-ToneSeconds+toneFade) > .02 {
				t.Errorf("%d Hz, noise %g: %+v, want -30 dBFS for %g s", rate, noise, s, ToneSeconds-toneFade)
			}
			if s.Judged != (s.Over >= judgedOver) || len(s.Dropouts) > 0 {
				t.Errorf("%d Hz, noise %g: %+v, want no dropout", rate, noise, s)
			}
			if s.Judged && math.Abs(s.Drift) > 5 {
				t.Errorf("%d Hz, noise %g: the clocks differ by %.2f ppm, want 0", rate, noise, s.Drift)
			}
		}
	}
}

func TestNoTone(t *testing.T) {
	for seed := range uint64(4) {
		x := hiss(11*48000, -50, 10+seed)
		if s := FindTone(x, hiss(48000, -50, 100+seed), 48000); s.Heard || s.Judged {
			t.Errorf("noise alone: %+v", s)
		}
	}
	if s := FindTone(make([]float64, 48000), make([]float64, 4800), 48000); s.Heard {
		t.Errorf("silence: %+v", s)
	}
	if s := FindTone(nil, nil, 48000); s.Heard {
		t.Errorf("nothing: %+v", s)
	}
	x := hiss(11*48000, -50, 3)
	x[1000], x[2000] = math.NaN(), math.Inf(1)
	if s := FindTone(x, x[:48000], 48000); s.Heard || math.IsNaN(s.Over) {
		t.Errorf("what is no number: %+v", s)
	}
}

// Every gap of 5 ms and more is found where it is, with its length; three in one
// tone are three.
func TestGaps(t *testing.T) {
	for _, rate := range []int{16000, 44100, 48000} {
		for _, length := range []float64{.005, .02, .1} {
			at := []float64{2.003, 4.5, 7.771}
			x, quiet := capture(rate, -75, func(tone []float64) []float64 {
				for _, s := range at {
					clear(tone[int(s*float64(rate)):][:int(length*float64(rate))])
				}
				return tone
			})
			s := FindTone(x, quiet, rate)
			if len(s.Dropouts) != len(at) {
				t.Fatalf("%d Hz, gaps of %g s: %+v, want %d", rate, length, s.Dropouts, len(at))
			}
			for i, d := range s.Dropouts {
				// The tone counts from half of its level on, half of the fade.
				if math.Abs(d.At-at[i]+toneFade/2) > .02 || math.Abs(d.Length-length) > .006 {
					t.Errorf("%d Hz: a gap of %g s at %g s is told as %+v", rate, length, at[i], d)
				}
			}
		}
	}
}

// Blocks that are dropped, and that come twice, without a gap in the sound.
func TestJumps(t *testing.T) {
	for _, n := range []int{64, 256, 480, 512, 1024, 4096} {
		for _, twice := range []bool{false, true} {
			x, quiet := capture(48000, -75, func(tone []float64) []float64 {
				at := 5 * 48000
				if twice {
					return slices.Concat(tone[:at], tone[at-n:])
				}
				return slices.Concat(tone[:at], tone[at+n:])
			})
			s := FindTone(x, quiet, 48000)
			if len(s.Dropouts) != 1 || math.Abs(s.Dropouts[0].At-5) > .06 || s.Dropouts[0].Length > .011 {
				t.Errorf("%d samples, twice %v: %+v, want one at 5 s", n, twice, s.Dropouts)
			}
		}
	}
}

// The drift of two clocks: the tone is played faster by so many parts per million.
func TestDrift(t *testing.T) {
	for _, ppm := range []float64{-2000, -20, 100} {
		const rate = 48000
		x := hiss((ToneSeconds+tailSeconds)*rate, -75, 5)
		for i := range int(ToneSeconds * rate) {
			near := float64(min(i, ToneSeconds*rate-1-i)) / rate
			x[rate/5+i] += .03 * min(1, near/toneFade) * math.Sin(2*math.Pi*ToneHz*(1+ppm*1e-6)*float64(i)/rate)
		}
		s := FindTone(x, hiss(rate, -75, 6), rate)
		if !s.Judged || math.Abs(s.Drift-ppm) > 5 || len(s.Dropouts) > 0 {
			t.Errorf("%g ppm: %+v", ppm, s)
		}
	}
}
