package synth

import (
	"math"
	"math/rand/v2"
	"testing"
)

// chorale is four lines of random notes that move together, as they sound in equal
// temperament, one second each.
func chorale(n int, seed uint64) []Phrase {
	rng := rand.New(rand.NewPCG(seed, 1))
	var out []Phrase
	for _, low := range []int{64, 57, 50, 41} {
		var line []Timed
		for i := range n {
			line = append(line, Timed{Hz: 440 * math.Exp2(float64(low+rng.IntN(9)-69)/12), Start: float64(i), Duration: 1})
		}
		out = append(out, Held(line))
	}
	return out
}

// The level of each part is what its gain says, measured as RMS, and all together are as
// loud as the level says.
func TestMix(t *testing.T) {
	k := Keyboard{SampleRate: 24000, Level: -23}
	parts := chorale(8, 3)
	rms := func(x []float64) float64 {
		sum := 0.0
		for _, v := range x {
			sum += v * v
		}
		return 10 * math.Log10(sum/float64(len(x)))
	}
	silent := math.Inf(-1)
	all := k.Mix(parts, []float64{0, 0, 0, 0})
	if got := lufs(all, k.SampleRate); math.Abs(got+23) > 0.1 {
		t.Errorf("all together have %.2f LUFS, want -23", got)
	}
	alone := make([][]float64, 4)
	for i := range parts {
		only := []float64{silent, silent, silent, silent}
		only[i] = 0
		alone[i] = k.Mix(parts, only)
		only[i] = -6
		if d := rms(k.Mix(parts, only)) - rms(alone[i]); math.Abs(d+6) > 0.01 {
			t.Errorf("part %d: 6 dB softer is %.2f dB", i, d)
		}
	}
	// One louder: the mix less that part is what the others are, 9 dB softer.
	mix := k.Mix(parts, []float64{-9, 0, -9, -9})
	var others, expected []float64
	for i := range mix {
		others = append(others, mix[i]-alone[1][i])
		expected = append(expected, alone[0][i]+alone[2][i]+alone[3][i])
	}
	if d := rms(others) - rms(expected); math.Abs(d+9) > 0.01 {
		t.Errorf("the others lie %.2f dB under the part, want 9", -d)
	}
	if all[len(all)-1] != 0 || all[0] != 0 {
		t.Error("it does not begin and end in silence")
	}
}

// More parts than four are as loud as four, and what would exceed the ceiling is turned down.
func TestMixOfMany(t *testing.T) {
	k := Keyboard{SampleRate: 8000, Level: -3}
	var parts []Phrase
	for range 12 {
		parts = append(parts, Held([]Timed{{Hz: 100, Duration: 1}, {Start: 1, Duration: 0.5}, {Hz: 100, Start: 1.5, Duration: 1}}))
	}
	x := k.Mix(parts, make([]float64, 12))
	if peak := peak(x); peak > fromDB(-2.499) || peak < fromDB(-2.6) {
		t.Errorf("a peak of %.2f dBFS, want -2.5", 20*math.Log10(peak))
	}
	if v := peak(x[8000+800 : 12000-10]); v != 0 {
		t.Errorf("a rest has a peak of %g", v)
	}
}
