package training

import (
	"math"
	"math/rand/v2"
)

// noiseShaped gives unit-rms noise between two frequencies (soft edges).
func noiseShaped(r *rand.Rand, n, rate int, lo, hi float64) []float64 {
	x := make([]float64, n)
	a := math.Exp(-2 * math.Pi * lo / float64(rate))
	b := 1 - math.Exp(-2*math.Pi*math.Min(hi, .4*float64(rate))/float64(rate))
	var h, l, l2, e float64
	var px float64
	for i := range x {
		w := r.NormFloat64()
		h = a * (h + w - px)
		px = w
		l += b * (h - l)
		l2 += b * (l - l2)
		x[i] = l2
		e += l2 * l2
	}
	g := 1 / math.Sqrt(e/float64(n)+1e-30)
	for i := range x {
		x[i] *= g
	}
	return x
}

func addNoise(x, w []float64, g float64) {
	for i := range x {
		x[i] += g * w[i]
	}
}

func reverb(r *rand.Rand, x []float64, rate int, rt, direct float64) []float64 {
	// sparse exponential noise tail
	n := int(rt * 1.1 * float64(rate))
	y := make([]float64, len(x))
	type tap struct {
		d int
		g float64
	}
	var taps []tap
	e := 0.0
	for d := rate * 4 / 1000; d < n; d += 1 + r.IntN(max(1, rate*3/2000)) {
		g := r.NormFloat64() * math.Exp(-6.9*float64(d)/(rt*float64(rate)))
		taps = append(taps, tap{d, g})
		e += g * g
	}
	q := math.Pow(10, -direct/20) / math.Sqrt(e)
	copy(y, x)
	for _, t := range taps {
		g := q * t.g
		for i := t.d; i < len(x); i++ {
			y[i] += g * x[i-t.d]
		}
	}
	return y
}

func hum(r *rand.Rand, n, rate int, rms float64) []float64 {
	f := 50.0
	if r.IntN(2) == 0 {
		f = 60
	}
	f *= 1 + .0005*r.NormFloat64()
	x := make([]float64, n)
	e := 0.0
	for h := 1; h <= 24; h++ {
		g := math.Pow(float64(h), -.7) * math.Exp(.6*r.NormFloat64())
		if h%2 == 0 && r.IntN(2) == 0 {
			g *= .4
		}
		p := 2 * math.Pi * r.Float64()
		w := 2 * math.Pi * f * float64(h) / float64(rate)
		for i := range x {
			x[i] += g * math.Sin(w*float64(i)+p)
		}
		e += g * g / 2
	}
	q := rms / math.Sqrt(e)
	for i := range x {
		x[i] *= q
	}
	return x
}

func drone(r *rand.Rand, n, rate int, root, rms float64) ([]float64, []float64) {
	x := make([]float64, n)
	var known []float64
	e := 0.0
	for _, ratio := range []float64{1, 1.5} {
		for h := 1; h <= 6; h++ {
			f := root * ratio * float64(h)
			if f > 4000 {
				break
			}
			known = append(known, f)
			g := 1 / float64(h)
			e += g * g / 2
			w := 2 * math.Pi * f / float64(rate)
			p := 2 * math.Pi * r.Float64()
			for i := range x {
				x[i] += g * math.Sin(w*float64(i)+p)
			}
		}
	}
	q := rms / math.Sqrt(e)
	for i := range x {
		x[i] *= q
	}
	return x, known
}

func quantise(x []float64) {
	for i := range x {
		x[i] = math.Round(x[i]*32767) / 32768
	}
}
