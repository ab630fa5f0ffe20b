package testkit

import (
	"math"
	"testing"
)

// A vibrato's phase has a closed form only as a series; a glide's is exact:
// ∫f·2^(kt) = f·(2^(kt)−1)/(k·ln 2).
func TestTonePhaseIsTheIntegralOfTheCurve(t *testing.T) {
	const rate, f, cps = 44100, 220.0, 1200.0
	x := Tone(rate, 2, Glide(f, cps), []float64{1})
	k := cps / 1200
	worst := 0.0
	for i := range x {
		s := float64(i) / rate
		cycles := f * (math.Exp2(k*s) - 1) / (k * math.Ln2)
		want := 0.1 * math.Sqrt2 * math.Sin(2*math.Pi*(cycles+0.38))
		worst = math.Max(worst, math.Abs(x[i]-want))
	}
	if worst > 1e-8 {
		t.Errorf("glide is off the closed form by %g, want < 1e-8", worst)
	}
}

func TestLevels(t *testing.T) {
	x := Tone(44100, 1, Steady(220), Harmonics(10, 6))
	if got := RMS(x); math.Abs(got-0.1) > 1e-6 {
		t.Errorf("RMS of a tone = %g, want 0.1 (−20 dBFS)", got)
	}
	y := append([]float64(nil), x...)
	Mix(y, White(len(y), 1), 10)
	for i := range y {
		y[i] -= x[i]
	}
	if got := 20 * math.Log10(RMS(x)/RMS(y)); math.Abs(got-10) > 1e-9 {
		t.Errorf("Mix gives an SNR of %g dB, want 10", got)
	}
}

// White noise has equal power per hertz, pink per octave: after a first
// difference white's power doubles, pink's falls far below it.
func TestNoisesDiffer(t *testing.T) {
	diff := func(x []float64) float64 {
		d := make([]float64, len(x)-1)
		for i := range d {
			d[i] = x[i+1] - x[i]
		}
		return RMS(d) / RMS(x)
	}
	if got := diff(White(1<<16, 1)); math.Abs(got-math.Sqrt2) > 0.02 {
		t.Errorf("white: RMS of differences %g, want √2", got)
	}
	if got := diff(Pink(1<<16, 1)); got > 1 {
		t.Errorf("pink: RMS of differences %g, want < 1", got)
	}
	if a, b := White(4, 1), White(4, 1); a[3] != b[3] {
		t.Error("same seed, other noise")
	}
}
