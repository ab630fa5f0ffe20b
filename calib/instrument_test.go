package calib_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"singback/calib"
	"singback/internal/synth"
	"singback/theory"
)

// equal is the frequency of a MIDI note in equal temperament (ISO 16: A4 is
// note 69).
func equal(midi int, a4 float64) float64 { return a4 * math.Exp2(float64(midi-69)/12) }

// keys plays notes on the keyboard, one after the other.
func keys(level float64, hz ...float64) []float64 {
	var p synth.Phrase
	for i, f := range hz {
		p = append(p, synth.Sound{Hz: f, Start: .1 + float64(i), Duration: .8})
	}
	return synth.Keyboard{SampleRate: rate, Level: level}.Render(p)
}

// piano plays notes as the strings of a piano do: partial n has the frequency
// n·f·√(1 + B·n²) (Fletcher, Blackham & Stratton 1962), f being that of an ideal
// string. B of an upright's middle octaves is some 2 to 10·10⁻⁴ (common
// practice). The first partial is the tuned one.
func piano(inharmonic float64, hz ...float64) []float64 {
	x := make([]float64, (len(hz)+1)*rate)
	for i, f := range hz {
		ideal := f / math.Sqrt(1+inharmonic)
		for n := 1.0; n <= 10; n++ {
			w := 2 * math.Pi * ideal * n * math.Sqrt(1+inharmonic*n*n) / rate
			for j := range 4 * rate / 5 {
				s := float64(j) / rate
				x[i*rate+rate/10+j] += .05 / n * min(1, s/.005) * min(1, (.8-s)/.05) * math.Exp(-s*n*.8) * math.Sin(w*float64(j))
			}
		}
	}
	return x
}

func off(f, ref float64) float64 { return theory.CentsBetween(f, ref) }

// Within 2 cents of how it was made, and within three of its own standard
// errors and the 0.2 cents that a note is not known better than.
func TestFindTuning(t *testing.T) {
	t.Parallel()
	scale := func(a4 float64) []float64 {
		return []float64{equal(69, a4), equal(60, a4), equal(64, a4), equal(67, a4), equal(55, a4)}
	}
	quiet := func(x []float64) []float64 { return plus(x, pink(-80, len(x), 1)) }
	small := func(x []float64) []float64 { synth.SmallMicrophone(x, rate); return x }
	flat30 := theory.Shift(440, -30)
	for _, c := range []struct {
		name  string
		x     []float64
		first *theory.Note
		a4    float64
		notes int
	}{
		{"a digital piano at 440", quiet(keys(-12, scale(440)...)), nil, 440, 5},
		{"at 442", quiet(keys(-12, scale(442)...)), nil, 442, 5},
		{"30 cents flat", quiet(keys(-12, scale(flat30)...)), nil, flat30, 5},
		{"40 cents sharp", quiet(keys(-12, scale(theory.Shift(440, 40))...)), nil, theory.Shift(440, 40), 5},
		{"415, the first said to be A", quiet(keys(-12, scale(415)...)), &theory.Note{Letter: theory.A}, 415, 5},
		{"466, the first said to be A", quiet(keys(-12, scale(466)...)), &theory.Note{Letter: theory.A}, 466, 5},
		{"the same note five times", quiet(keys(-12, equal(69, 443), equal(69, 443), equal(69, 443), equal(69, 443), equal(69, 443))), nil, 443, 5},
		{"and in a noisy room", func() []float64 {
			x := keys(-12, equal(57, 443), equal(57, 443), equal(57, 443), equal(57, 443))
			return plus(x, pink(-50, len(x), 2))
		}(), nil, 443, 4},
		{"low and high notes", quiet(keys(-12, equal(40, 442), equal(48, 442), equal(79, 442), equal(86, 442))), nil, 442, 4},
		{"20 dB over a noisy room", func() []float64 { x := keys(-12, scale(442)...); return plus(x, pink(-50, len(x), 2)) }(), nil, 442, 5},
		{"a small microphone", quiet(small(keys(-12, scale(442)...))), nil, 442, 5},
		{"an upright's strings", quiet(piano(4e-4, scale(438)...)), nil, 438, 5},
		{"stiff strings", quiet(piano(1e-3, scale(438)...)), nil, 438, 5},
		{"strings in a small microphone", quiet(small(piano(4e-4, scale(438)...))), nil, 438, 5},
		{"hum", func() []float64 {
			x := keys(-12, scale(442)...)
			return plus(x, pink(-75, len(x), 2), hum(-55, len(x), 50))
		}(), nil, 442, 5},
	} {
		got, err := calib.FindTuning(c.x, rate, c.first)
		d := off(got.A4, c.a4)
		if err != nil || math.Abs(d) > 2 || got.Notes != c.notes || got.Odd != 0 || !(got.SE > 0) || math.Abs(d) > 3*got.SE+.2 {
			t.Errorf("%s: %+v, %+.2f cents off, %v", c.name, got, d, err)
		}
		t.Logf("%s: %.2f Hz, %+.3f cents off, SE %.2f", c.name, got.A4, d, got.SE)
	}
}

// The standard error is honest: with n notes that scatter about their places,
// the result lies within t standard errors as often as Student's t with n−1
// degrees of freedom says (fiftieth and ninety-fifth percentile, Student 1908;
// any table).
func TestTuningError(t *testing.T) {
	const tries = 4000
	for _, c := range []struct {
		n        int
		half, t5 float64
	}{{4, .765, 3.182}, {6, .727, 2.571}, {12, .697, 2.201}} {
		rng := rand.New(rand.NewPCG(uint64(c.n), 4))
		half, most := 0, 0
		for range tries {
			a4 := 432 + 14*rng.Float64()
			hz := make([]float64, c.n)
			for i := range hz {
				hz[i] = theory.Shift(equal(48+rng.IntN(36), a4), 2.5*rng.NormFloat64())
			}
			got, err := calib.TunedFrom(hz, nil)
			if err != nil && !errors.Is(err, calib.ErrDetuned) {
				t.Fatal(err)
			}
			d := math.Abs(off(got.A4, a4))
			if d <= c.half*got.SE {
				half++
			}
			if d <= c.t5*got.SE {
				most++
			}
		}
		h, m := float64(half)/tries, float64(most)/tries
		t.Logf("%d notes: %.3f and %.3f", c.n, h, m)
		if math.Abs(h-.5) > .03 || math.Abs(m-.95) > .015 {
			t.Errorf("%d notes: %.3f of the results within %g standard errors, want 0.5; %.3f within %g, want 0.95", c.n, h, c.half, m, c.t5)
		}
	}
}

// One wrong key does not matter, since every key stands on the same A4. One
// string that is off is left out; several are no tuning.
func TestOddNotes(t *testing.T) {
	t.Parallel()
	at := func(cents ...float64) []float64 {
		hz := make([]float64, len(cents))
		for i, c := range cents {
			hz[i] = theory.Shift(equal(60+3*i, 441), c)
		}
		return keys(-12, hz...)
	}
	got, err := calib.FindTuning(at(0, 0, 35, 0, 0), rate, nil)
	if err != nil || got.Odd != 1 || got.Notes != 4 || math.Abs(off(got.A4, 441)) > 2 {
		t.Errorf("one string 35 cents sharp: %+v, %v", got, err)
	}
	got, err = calib.FindTuning(at(0, -30, 0), rate, nil)
	if err != nil || got.Odd != 1 || math.Abs(off(got.A4, 441)) > 2 {
		t.Errorf("one of three: %+v, %v", got, err)
	}
	for _, cents := range [][]float64{{0, 25, -30, 45, 5}, {0, 12, -12, 9, -9, 12}, {0, 20, 0, 20}, {0, 30, 60}} {
		got, err := calib.FindTuning(at(cents...), rate, nil)
		if !errors.Is(err, calib.ErrDetuned) || got.Notes+got.Odd != len(cents) {
			t.Errorf("%v: %+v, %v", cents, got, err)
		}
	}
}

func TestTuningRefuses(t *testing.T) {
	for n := range 3 {
		hz := []float64{440, 523.25}[:n]
		if _, err := calib.FindTuning(append(keys(-12, hz...), make([]float64, rate)...), rate, nil); !errors.Is(err, calib.ErrTooFewNotes) {
			t.Errorf("%d notes: %v", n, err)
		}
	}
	if _, err := calib.FindTuning(pink(-40, 3*rate, 1), rate, nil); !errors.Is(err, calib.ErrTooFewNotes) {
		t.Errorf("noise: %v", err)
	}
	x := keys(-12, 440, 440, 440)
	if _, err := calib.FindTuning(x, rate, &theory.Note{Letter: theory.E}); err == nil {
		t.Error("A was taken for E")
	}
	if _, err := calib.FindTuning(x, 100, nil); err == nil {
		t.Error("100 Hz was accepted")
	}
	got := calib.Tuned{A4: 442, SE: .3, Notes: 5}.Instrument(today)
	p := calib.Profile{Version: calib.Version, Name: "Ada", Made: today, Instrument: &got}
	if err := p.Validate(); err != nil || got != (calib.Instrument{Date: today, A4: 442, SE: .3, Notes: 5}) {
		t.Errorf("%+v: %v", got, err)
	}
}

func ExampleFindTuning() {
	played := make([]float64, rate/2)
	for _, midi := range []int{69, 60, 64, 67} {
		played = append(played, synth.NewKeyboard(rate).Render(synth.One(equal(midi, 442)))...)
	}
	got, err := calib.FindTuning(played, rate, nil)
	fmt.Printf("%.1f Hz, %d notes, %v\n", got.A4, got.Notes, err)
	// Output: 442.0 Hz, 4 notes, <nil>
}
