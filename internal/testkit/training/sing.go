package training

import (
	"math"
	"math/rand/v2"
)

// env is a curve of one value a millisecond at sample i.
func env(x []float64, i, rate int) float64 {
	t := float64(i) * 1000 / float64(rate)
	k := int(t)
	if k+1 >= len(x) {
		return x[len(x)-1]
	}
	f := t - float64(k)
	return x[k] + f*(x[k+1]-x[k])
}

// sing renders curves through a voice: by a sum of harmonics or by pulses
// through resonators, with breath and consonants.
func sing(r *rand.Rand, v voice, m curves, rate int) []float64 {
	n := len(m.f0) * rate / 1000
	x := make([]float64, n)
	breath := noiseShaped(r, n, rate, 900, 5000)
	fr := noiseShaped(r, n, rate, 3000, 9000)
	if v.model == 0 || v.bright {
		singHarmonics(r, v, m, rate, x)
	} else {
		resonate(v, m, rate, pulses(r, v, m, rate, n), x)
	}
	// normalise voiced rms to 0.1
	e, c := 0.0, 0
	for i := range x {
		if env(m.amp, i, rate) > .3 {
			e += x[i] * x[i]
			c++
		}
	}
	if c > 0 && e > 0 {
		g := .1 / math.Sqrt(e/float64(c))
		for i := range x {
			x[i] *= g
		}
	}
	for i := range x {
		a := env(m.amp, i, rate)
		x[i] += .1*v.breath*breath[i]*a + .3*env(m.fric, i, rate)*fr[i]
	}
	return x
}

// sounding is the frequency at sample i, and the millisecond it lies in; false
// where the voice does not sound.
func (m *curves) sounding(i, rate int) (f0 float64, ms int, ok bool) {
	f0 = env(m.f0, i, rate)
	k := min(i*1000/rate, len(m.f0)-1)
	if m.f0[k] == 0 || m.amp[k] == 0 {
		return 0, k, false
	}
	if k+1 < len(m.f0) && m.f0[k+1] == 0 {
		f0 = m.f0[k]
	}
	return f0, k, true
}

const mostPartials = 40

// singHarmonics adds a sum of harmonics to x, whose gains follow the vowel each
// millisecond.
func singHarmonics(r *rand.Rand, v voice, m curves, rate int, x []float64) {
	phase := 0.0
	var g, gt, phi [mostPartials + 1]float64
	for h := range phi {
		phi[h] = 2 * math.Pi * r.Float64()
		if r.IntN(2) == 0 {
			phi[h] = float64(h) * .3
		}
	}
	jit, jitN, shim, sub := 0.0, 0.0, 1.0, 1.0
	cyc := 0
	per := rate / 1000
	for i := range x {
		f0, k, ok := m.sounding(i, rate)
		if !ok {
			continue
		}
		if per == 0 || i%per == 0 {
			v.gains(&gt, f0, m.vow[k], m.nasal[k], rate)
		}
		fi := f0 * (1 + jit)
		phase += fi / float64(rate)
		if phase >= 1 {
			phase -= 1
			cyc++
			jitN = v.jitter * r.NormFloat64()
			shim = 1 + v.shimmer*r.NormFloat64()
			if v.fry > 0 && cyc%2 == 0 {
				sub = 1 - v.fry
			} else {
				sub = 1
			}
		}
		jit += .02 * (jitN - jit)
		s := 0.0
		w := 2 * math.Pi * phase
		// recurrence for harmonics via complex rotation
		c1, s1 := math.Cos(w), math.Sin(w)
		c, sn := c1, s1
		for h := 1; h <= mostPartials; h++ {
			g[h] += .02 * (gt[h] - g[h])
			if gt[h] == 0 && g[h] < 1e-9 {
				break
			}
			s += g[h] * (sn*math.Cos(phi[h]) + c*math.Sin(phi[h]))
			c, sn = c*c1-sn*s1, c*s1+sn*c1
		}
		x[i] = s * shim * sub * env(m.amp, i, rate)
	}
}

// gains are the amplitudes of the harmonics of f0 hertz on a vowel.
func (v *voice) gains(gt *[mostPartials + 1]float64, f0 float64, F [3]float64, nasal float64, rate int) {
	if v.bright {
		F[0] = 2 * f0 / v.form * 1.02
	}
	for h := 1; h <= mostPartials; h++ {
		f := float64(h) * f0
		if f > 10000 || f > .47*float64(rate) {
			gt[h] = 0
			continue
		}
		q := math.Pow(float64(h), v.tilt/6.02) * formantGain(f, F, v.form)
		if h == 2 {
			q *= math.Pow(10, v.h2/20)
		}
		if nasal > 0 && f > 400 {
			q *= 1 - .85*nasal
		}
		gt[h] = q
	}
}

// pulses are Rosenberg pulses, four times oversampled in closed form by
// averaging.
func pulses(r *rand.Rand, v voice, m curves, rate, n int) []float64 {
	src := make([]float64, n)
	phase := 0.0
	cyc := 0
	jit, shim, sub := 0.0, 1.0, 1.0
	const os = 4
	prev := 0.0
	for i := range src {
		f0, _, ok := m.sounding(i, rate)
		if !ok {
			prev = 0
			continue
		}
		acc := 0.0
		for range os {
			phase += f0 * (1 + jit) / float64(rate*os)
			if phase >= 1 {
				phase -= 1
				cyc++
				jit = v.jitter * r.NormFloat64()
				shim = 1 + v.shimmer*r.NormFloat64()
				sub = 1
				if v.fry > 0 && cyc%2 == 0 {
					sub = 1 - v.fry
				}
			}
			p := phase / v.oq
			u := 0.0
			if p < .66 {
				u = .5 * (1 - math.Cos(math.Pi*p/.66))
			} else if p < 1 {
				u = math.Cos(math.Pi / 2 * (p - .66) / .34)
			}
			acc += u * shim * sub
		}
		acc /= os
		src[i] = (acc - prev) * math.Sqrt(float64(rate)/44100) * 6
		prev = acc
	}
	return src
}

// resonate puts pulses through three resonators in series, whose coefficients
// follow the vowel each millisecond, and writes x.
func resonate(v voice, m curves, rate int, src, x []float64) {
	var z1, z2 [3]float64
	var a, b, cc [3]float64
	bw := [3]float64{80, 100, 140}
	per := max(1, rate/1000)
	for i := range x {
		k := min(i*1000/rate, len(m.f0)-1)
		if i%per == 0 {
			for q := range 3 {
				F := math.Min(m.vow[k][q]*v.form, .45*float64(rate))
				B := bw[q] + .04*F
				rr := math.Exp(-math.Pi * B / float64(rate))
				b[q] = 2 * rr * math.Cos(2*math.Pi*F/float64(rate))
				cc[q] = -rr * rr
				a[q] = 1 - b[q] - cc[q]
			}
		}
		y := src[i]
		for q := range 3 {
			t := a[q]*y + b[q]*z1[q] + cc[q]*z2[q]
			z2[q], z1[q] = z1[q], t
			y = t
		}
		x[i] = y * env(m.amp, i, rate)
		if m.nasal[k] > 0 {
			x[i] *= 1 - .5*m.nasal[k]
		}
	}
}
