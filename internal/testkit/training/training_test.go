package training

import (
	"math"
	"slices"
	"testing"
)

// Every sound is made again to the sample, keeps within full scale where it is
// sung, has finite numbers, and has a truth that lies in the range of voices,
// or none where nobody sings.
func TestSoundsAndTruth(t *testing.T) {
	make := map[string]func(seed uint64) *Clip{
		"prompt": func(seed uint64) *Clip { return MakePrompt(seed, 16000, 2) },
		"steady": func(seed uint64) *Clip { return Steady(220, 20, seed, 16000, 0.1, 0.6) },
	}
	for _, c := range Conditions {
		make[c] = func(seed uint64) *Clip { return Make(c, seed, 16000, 2) }
	}
	for _, k := range Tones {
		make["tone "+k] = func(seed uint64) *Clip { return MakeTone(k, seed, 16000, 2) }
	}
	for name, f := range make {
		c := f(3)
		if !slices.Equal(c.X, f(3).X) {
			t.Errorf("%s: the same seed gives other samples", name)
		}
		if slices.Equal(c.X, f(4).X) {
			t.Errorf("%s: another seed gives the same samples", name)
		}
		for i, x := range c.X {
			if math.IsNaN(x) || math.Abs(x) > 20 {
				t.Fatalf("%s: sample %d is %v", name, i, x)
			}
		}
		sung := 0
		for i, hz := range c.F0 {
			if hz == 0 || hz == Open {
				continue
			}
			sung++
			if hz < 30 || hz > 2500 {
				t.Fatalf("%s: %v Hz at %d ms", name, hz, i)
			}
		}
		nobody := name == "prompt" || name == "tone clicks" || len(name) > 6 && name[:6] == "nobody"
		if nobody != (sung == 0) {
			t.Errorf("%s: sung for %d ms", name, sung)
		}
	}
}

// The truth of a steady tone is what its phase says: the frequency with which
// the sound repeats, found by the autocorrelation at one period and beside it.
func TestTruthIsThePeriod(t *testing.T) {
	const rate = 16000
	c := MakeTone("saw", 12, rate, 3) // even seeds sound from the start on
	checked := 0
	for ms := 100; ms < len(c.F0)-100; ms += 50 {
		hz := c.F0[ms]
		if hz == 0 || c.F0[ms-40] == 0 || c.F0[ms+40] == 0 || math.Abs(c.F0[ms+40]/c.F0[ms-40]-1) > 1e-9 {
			continue // not steady
		}
		at := ms * rate / 1000
		match := func(period float64) float64 {
			xy, xx, yy := 0.0, 0.0, 0.0
			for i := at - 400; i < at+400; i++ {
				p := float64(i) + period
				k := int(p)
				y := c.X[k] + (p-float64(k))*(c.X[k+1]-c.X[k])
				xy += c.X[i] * y
				xx += c.X[i] * c.X[i]
				yy += y * y
			}
			return xy / math.Sqrt(xx*yy)
		}
		p := rate / hz
		if m := match(p); m < 0.8 || m < match(p*1.03) || m < match(p*0.97) {
			t.Errorf("at %d ms: %.2f Hz matches %.3f, 3 %% beside it %.3f and %.3f", ms, hz, m, match(p*1.03), match(p*0.97))
		}
		checked++
	}
	if checked == 0 {
		t.Error("no steady tone to check")
	}
}
