package synth

import (
	"math"
	"math/cmplx"
	"testing"

	"singback/pitch"
)

// The dampers of a piano take 0.1 to 0.3 s for 60 dB, longer in the bass; above F6 there are
// none (common practice; handbooks of the instrument). The note is read over windows of 40 ms.
func TestRelease(t *testing.T) {
	const rate, held = 48000, 1.0
	last := 1.0
	for _, midi := range []int{36, 48, 60, 72, 84, 95} {
		hz := 440 * math.Exp2(float64(midi-69)/12)
		x := NewKeyboard(rate).Render(Phrase{{Hz: hz, Duration: held}})
		x = append(x, make([]float64, rate)...)
		n := 8 * int(rate/hz+0.5)
		if midi > 60 {
			n *= 4
		}
		at := func(seconds float64) float64 {
			from := int(seconds*rate) - n/2
			return toDB(cmplx.Abs(tone(x[from:from+n], rate, hz)) + 1e-12)
		}
		before := at(held - 0.1)
		s := 0.02
		for ; s < 0.9 && at(held+s) > before-40; s += 0.005 {
		}
		t60 := s * 60 / 40
		t.Logf("note %d: %.2f s", midi, t60)
		if midi < 90 && (t60 < 0.1 || t60 > 0.32 || t60 > last+0.02) || midi > 90 && t60 < 0.6 {
			t.Errorf("note %d: 60 dB take %.2f s after the key was let go", midi, t60)
		}
		last = t60
	}
}

// The upper partials of a piano are sharp as those of stiff strings are, by B of the key
// (Rigaud, Falaize, David & Daudet 2013; C4 3.27e-4, C5 9.44e-4, C6 28.5e-4), and the first
// eight, which carry the pitch, are not: a comb, a difference function and the program's own
// tracker read every note of the keyboard's middle within 0.2 cents.
func TestStretch(t *testing.T) {
	const rate = 48000
	for _, c := range []struct {
		midi int
		b    float64
	}{{60, 3.27e-4}, {72, 9.44e-4}, {84, 28.5e-4}} {
		hz := 440 * math.Exp2(float64(c.midi-69)/12)
		stretched := 0
		for j, p := range NewKeyboard(rate).partialsOf(nil, Sound{Hz: hz}) {
			n := float64(j + 1)
			want := n * hz * math.Sqrt((1+c.b*n*n)/(1+c.b))
			switch exact := math.Abs(p.hz/hz-n) < 1e-9; {
			case exact:
			case j < 8 || math.Abs(cents(p.hz, want)) > 0.5:
				t.Errorf("note %d: partial %g lies at %.1f Hz, want %.1f", c.midi, n, p.hz, want)
			default:
				stretched++
			}
		}
		t.Logf("note %d: %d partials are sharp", c.midi, stretched)
		if stretched < 2 && c.midi < 80 {
			t.Errorf("note %d: %d partials are sharp", c.midi, stretched)
		}
	}
	worst := [3]float64{}
	for midi := 36; midi <= 84; midi += 6 {
		hz := 440 * math.Exp2(float64(midi-69)/12)
		for _, in := range instruments {
			x := Keyboard{SampleRate: rate, Level: DefaultLevel, Instrument: in}.Render(Phrase{{Hz: hz, Duration: 0.6}})
			from, n := rate/20, rate/5
			reads := [3]float64{hz, difference(x[from:], rate, hz, n), hz}
			if in == Piano {
				reads[0] = comb(x[from:from+n], rate, hz)
			}
			tracker, err := pitch.NewTracker(pitch.DefaultConfig(rate))
			if err != nil {
				t.Fatal(err)
			}
			var voiced []float64
			for _, p := range tracker.Flush(tracker.Push(nil, x)) {
				if p.Voiced && p.Index > rate/10 && p.Index < rate/2 {
					voiced = append(voiced, p.F0)
				}
			}
			if len(voiced) > 0 { // below its lowest pitch it reads nothing
				reads[2] = pitch.Median(voiced)
			}
			for i, got := range reads {
				e := math.Abs(cents(got, hz))
				if worst[i] = max(worst[i], e); e > 0.2 {
					t.Errorf("%v, note %d: %s reads %.3f cents", in, midi, []string{"a comb", "a difference function", "the tracker"}[i], cents(got, hz))
				}
			}
		}
	}
	t.Logf("worst by comb, difference function, tracker: %.3f cents", worst)
}

// peakOf returns where a function has its greatest value near hz, to a few thousandths of a cent.
func peakOf(f func(float64) float64, hz float64) float64 {
	low, high := hz*math.Exp2(-20./1200), hz*math.Exp2(20./1200)
	for high/low > 1+2e-6 {
		a, b := low+(high-low)/3, high-(high-low)/3
		if f(a) < f(b) {
			low = a
		} else {
			high = b
		}
	}
	return (low + high) / 2
}

// comb returns the pitch at which a comb of twelve teeth takes most of the spectrum's power.
func comb(x []float64, rate int, hz float64) float64 {
	return peakOf(func(f float64) float64 {
		sum := 0.0
		for n := 1.0; n <= 12 && n*f < 10000; n++ {
			a := cmplx.Abs(tone(x, rate, n*f))
			sum += a * a
		}
		return sum
	}, hz)
}

// difference returns the pitch whose period has the least difference function (de Cheveigné
// and Kawahara 2002), over so many samples, by interpolation with a windowed sinc.
func difference(x []float64, rate int, hz float64, n int) float64 {
	const half = 32
	return peakOf(func(f float64) float64 {
		lag := float64(rate) / f
		whole := int(lag)
		var h [2 * half]float64
		for i := range h {
			d := lag - float64(whole+i-half+1)
			if h[i] = 0.5 + 0.5*math.Cos(math.Pi*d/(half+1)); d != 0 {
				h[i] *= math.Sin(math.Pi*d) / (math.Pi * d)
			}
		}
		sum := 0.0
		for i := half; i < half+n; i += 17 {
			y := 0.0
			for j, w := range h {
				y += w * x[i+whole+j-half+1]
			}
			sum -= (x[i] - y) * (x[i] - y)
		}
		return sum
	}, hz)
}
