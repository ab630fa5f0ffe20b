package training

import (
	"math"
	"math/rand/v2"
)

// Steady renders one steady note of the grid: half a second of a voice-like
// tone at f0 hertz starting at on seconds in a clip of secs, in white-ish noise
// at snr dB (+Inf none).
func Steady(f0, snr float64, seed uint64, rate int, on, secs float64) *Clip {
	r := rand.New(rand.NewPCG(seed, math.Float64bits(f0)))
	n := int(secs * float64(rate))
	c := &Clip{Name: "steady", Rate: rate, X: make([]float64, n), F0: make([]float64, int(secs*1000))}
	F := vowels[r.IntN(len(vowels))]
	tilt := -6 - 6*r.Float64()
	e := 0.0
	type hh struct{ g, p float64 }
	var hs []hh
	for h := 1; float64(h)*f0 < math.Min(8000, .45*float64(rate)); h++ {
		g := math.Pow(float64(h), tilt/6.02) * formantGain(float64(h)*f0, F, 1.05)
		hs = append(hs, hh{g, 2 * math.Pi * r.Float64()})
		e += g * g / 2
	}
	q := .1 / math.Sqrt(e)
	i0 := int(on * float64(rate))
	for i := i0; i < n; i++ {
		t := float64(i-i0) / float64(rate)
		a := math.Min(1, t/.005)
		s := 0.0
		w := 2 * math.Pi * f0 * t
		for h, k := range hs {
			s += k.g * math.Sin(float64(h+1)*w+k.p)
		}
		c.X[i] = q * a * s
	}
	for i := range c.F0 {
		if float64(i)/1000 >= on {
			c.F0[i] = f0
		}
	}
	if !math.IsInf(snr, 1) {
		g := .1 * math.Pow(10, -snr/20)
		for i := range c.X {
			c.X[i] += g * r.NormFloat64()
		}
	}
	return c
}
