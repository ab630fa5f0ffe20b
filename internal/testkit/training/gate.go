package training

import (
	"math"
	"math/rand/v2"
)

// gate silences what lies between the notes, as an editor cuts, or as the noise gate of
// a phone or a headset: to exact zeros, or to the comfort noise of a codec. What it takes
// away nobody sings, and where it opens or shuts the edge is exact.
func (c *Clip) gate(r *rand.Rand, x []float64) []float64 {
	rate := c.Rate
	open := make([]bool, len(c.F0)) // by milliseconds
	kind := r.IntN(3)
	if kind == 0 { // cut by hand, where the note is, or a little within
		within := r.IntN(4)
		for ms := range open {
			open[ms] = c.F0[ms] != 0 && c.F0[max(0, ms-within)] != 0 && c.F0[min(len(c.F0)-1, ms+within)] != 0
		}
	} else {
		addNoise(x, noiseShaped(r, len(x), rate, 60, 2000), math.Pow(10, -(60+15*r.Float64())/20))
		threshold := math.Pow(10, -(32+18*r.Float64())/10)
		hang := 20 + r.IntN(130)
		power, last := 0.0, -1<<20
		per := 1 - math.Exp(-1/(.003*float64(rate)))
		for i, v := range x {
			power += per * (v*v - power)
			ms := min(i*1000/rate, len(open)-1)
			if power > threshold {
				last = ms
			}
			open[ms] = open[ms] || ms-last <= hang
		}
	}
	ramp := .0005 + .002*r.Float64() // s, in which it opens and shuts
	step := 1 / (ramp * float64(rate))
	gain := 0.0
	for i := range x {
		ms := min(i*1000/rate, len(open)-1)
		if open[ms] {
			gain = min(1, gain+step)
		} else {
			gain = max(0, gain-step)
		}
		x[i] *= gain
	}
	for ms := range c.F0 {
		if !open[ms] {
			c.F0[ms] = 0
		}
		if ms > 0 && open[ms] != open[ms-1] {
			c.Cuts = append(c.Cuts, float64(ms)/1000)
		}
	}
	if kind == 2 {
		addNoise(x, noiseShaped(r, len(x), rate, 60, 3000), math.Pow(10, -(70+18*r.Float64())/20))
	}
	return x
}
