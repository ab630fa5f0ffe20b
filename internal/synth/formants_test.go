package synth

import (
	"math"
	"math/cmplx"
	"slices"
)

// This file measures formants, and shares nothing with what makes them: the amplitudes of
// the partials are read off the sound, joined to a spectral envelope, and an all-pole
// filter is fitted to that (linear prediction on an interpolated spectrum, Hermansky et al.
// 1984: plain linear prediction takes partials for formants where the voice is high). The
// formants are the angles of the filter's poles.

// longPeriod returns the period of x in samples by the autocorrelation of a stretch with the
// one so many periods later as fit, so that it is exact to a small share of a sample. low
// and high bound it in hertz.
func longPeriod(x []float64, rate, low, high float64) float64 {
	n := len(x) / 2
	like := func(lag int) float64 {
		if lag < 0 || lag+n > len(x) {
			return -1
		}
		var ab, aa, bb float64
		for i := range n {
			a, b := x[i], x[i+lag]
			ab, aa, bb = ab+a*b, aa+a*a, bb+b*b
		}
		return ab / math.Sqrt(aa*bb+1e-30)
	}
	// The first of the maxima that are nearly as high as the highest, by parabolas.
	peak := func(from, to int) float64 {
		v := make([]float64, to-from+3)
		for i := range v {
			v[i] = like(from - 1 + i)
		}
		highest, at := -1.0, float64(from)
		for i := 1; i < len(v)-1; i++ {
			a, b, c := v[i-1], v[i], v[i+1]
			if b < a || b < c {
				continue
			}
			off := 0.5 * (a - c) / (a - 2*b + c - 1e-12)
			if top := b - (a-c)*off/4; top > highest+0.02 {
				highest, at = top, float64(from-1+i)+off
			}
		}
		return at
	}
	one := peak(int(rate/high), int(rate/low))
	for k := 2.0; k*one*1.02 < float64(n); k *= 1.5 { // so many periods
		m := math.Floor(k)
		one = peak(int(m*one-m/2-1), int(m*one+m/2+1)) / m
	}
	return one
}

// decimated returns every k-th sample of x, after a filter that leaves nothing to fold.
func decimated(x []float64, k int) []float64 {
	if k == 1 {
		return x
	}
	half := 24 * k
	taps := make([]float64, 2*half+1)
	for i := range taps {
		t := float64(i - half)
		v := 0.95 / float64(k)
		if t != 0 {
			v = math.Sin(math.Pi*t*0.95/float64(k)) / (math.Pi * t)
		}
		taps[i] = v * (0.5 + 0.5*math.Cos(math.Pi*t/float64(half+1)))
	}
	out := make([]float64, len(x)/k)
	for i := range out {
		for j, tap := range taps {
			if at := i*k + j - half; at >= 0 && at < len(x) {
				out[i] += tap * x[at]
			}
		}
	}
	return out
}

// partialLevels returns the amplitudes of the partials of f0 in x, up to a frequency.
func partialLevels(x []float64, rate, f0, until float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v * (0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x))))
	}
	var out []float64
	for hz := f0; hz < min(until, 0.48*rate); hz += f0 {
		turn, at, sum := cmplx.Rect(1, -2*math.Pi*hz/rate), complex(1, 0), complex(0, 0)
		for _, v := range y {
			sum += complex(v, 0) * at
			at *= turn
		}
		out = append(out, 4*cmplx.Abs(sum)/float64(len(x)))
	}
	return out
}

// formantsOf returns the formants of a steady vowel up to half the rate, from low to high,
// by so many poles.
func formantsOf(x []float64, rate, f0 float64, poles int) []float64 {
	levels := partialLevels(x, rate, f0, rate)
	const bins = 512
	power := make([]float64, bins+1)
	for i := range power {
		hz := rate / 2 * float64(i) / bins
		at := min(max(hz/f0-1, 0), float64(len(levels)-1))
		a := min(int(at), len(levels)-2)
		share := at - float64(a)
		db := 20*math.Log10(levels[a]+1e-9)*(1-share) + 20*math.Log10(levels[a+1]+1e-9)*share
		// The source falls by 6 dB an octave.
		power[i] = math.Pow(10, db/10) * (hz*hz + 100*100)
	}
	r := make([]float64, poles+1)
	for k := range r {
		for i, p := range power {
			if i == 0 || i == bins {
				p /= 2
			}
			r[k] += p * math.Cos(math.Pi*float64(i*k)/bins)
		}
	}
	r[0] *= 1 + 1e-7
	return angles(levinson(r), rate)
}

// levinson returns the prediction polynomial 1, a1, a2 … of an autocorrelation.
func levinson(r []float64) []float64 {
	a := make([]float64, len(r))
	a[0] = 1
	e := r[0]
	for m := 1; m < len(r); m++ {
		k := r[m]
		for i := 1; i < m; i++ {
			k += a[i] * r[m-i]
		}
		k = -k / e
		for i := 1; i <= m/2; i++ {
			a[i], a[m-i] = a[i]+k*a[m-i], a[m-i]+k*a[i]
		}
		a[m] = k
		e *= 1 - k*k
	}
	return a
}

// angles returns the frequencies of the resonant pairs of poles of 1/A(z): those whose
// bandwidth is less than 700 Hz.
func angles(a []float64, rate float64) []float64 {
	n := len(a) - 1
	roots := make([]complex128, n) // Durand and Kerner
	for i := range roots {
		roots[i] = cmplx.Rect(0.9, 0.4+2*math.Pi*float64(i)/float64(n))
	}
	for range 300 {
		for i := range roots {
			p, q := complex(1, 0), complex(1, 0)
			for _, c := range a[1:] {
				p = p*roots[i] + complex(c, 0)
			}
			for j := range roots {
				if j != i {
					q *= roots[i] - roots[j]
				}
			}
			roots[i] -= p / q
		}
	}
	var out []float64
	for _, z := range roots {
		hz := cmplx.Phase(z) * rate / (2 * math.Pi)
		if width := -math.Log(cmplx.Abs(z)) * rate / math.Pi; hz > 120 && width < 700 && hz < 0.48*rate {
			out = append(out, hz)
		}
	}
	slices.Sort(out)
	return out
}
