package pitch

import "math"

// transform is a real discrete Fourier transform of n = 2^p ≥ 16 points with
// its tables, as the tracker needs it: powers, and the transform of an even
// sequence. gonum's is the second opinion in the tests.
type transform struct {
	n     int
	whole *cfft        // n/2 points, for forward and power
	half  *cfft        // n/4 points, for even
	z     []complex128 // scratch
	tw    []complex128 // e^(−2πik/n), k ≤ n/2
	sin   []float64    // of 2πk/n
	odd   []float64    // scratch
}

func newTransform(n int) *transform {
	t := &transform{
		n: n, whole: newCfft(n / 2), half: newCfft(n / 4),
		z: make([]complex128, n/2), tw: make([]complex128, n/2+1), sin: make([]float64, n/2), odd: make([]float64, n/4),
	}
	for k := range t.tw {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		t.tw[k] = complex(c, s)
		if k < n/2 {
			t.sin[k] = -s
		}
	}
	return t
}

// power writes |X_k|², the power spectrum of the real samples w·x, to dst, for
// k < len(dst) ≤ n/2. Behind the end of x, at most n samples, there is silence;
// w is as long.
func (t *transform) power(dst, x, w []float64) {
	h := t.n / 2
	z := t.z[:h]
	pairs := len(x) / 2
	for i := range z[:pairs] {
		a, b := x[2*i:2*i+2:2*i+2], w[2*i:2*i+2:2*i+2]
		z[i] = complex(a[0]*b[0], a[1]*b[1])
	}
	if len(x)%2 == 1 {
		z[pairs] = complex(x[2*pairs]*w[2*pairs], 0)
		pairs++
	}
	clear(z[pairs:])
	z = t.whole.run(z)
	dst[0] = (real(z[0]) + imag(z[0])) * (real(z[0]) + imag(z[0]))
	// X_k and X_{h−k} come from Z_k and Z_{h−k}.
	last := len(dst) - 1
	for k := 1; k <= min(h/2, last); k++ {
		a, b, w := z[k], z[h-k], t.tw[k]
		er, ei := real(a)+real(b), imag(a)-imag(b)
		or, oi := imag(a)+imag(b), real(b)-real(a)
		pr, pi := or*real(w)-oi*imag(w), or*imag(w)+oi*real(w)
		ur, ui, vr, vi := er+pr, ei+pi, er-pr, ei-pi
		dst[k] = .25 * (ur*ur + ui*ui)
		if h-k <= last {
			dst[h-k] = .25 * (vr*vr + vi*vi)
		}
	}
}

// even writes to dst, at most n/2 long, the first part of the transform of the
// real even sequence c[0 … n/2]: dst[j] = c[0] + 2 Σ c[k] cos(2πjk/n) +
// (−1)^j c[n/2]. It takes one real transform of half the length (Press et al.,
// Numerical Recipes, cosft1).
func (t *transform) even(dst, c []float64) {
	h := t.n / 2
	q := h / 2
	z := t.z[:q]
	// y[j] = (c[j]+c[h−j])/2 − sin(2πj/n)(c[j]−c[h−j]), two at a time; the
	// first odd coefficient is Σ c[j] cos(2πj/n).
	sum := .5 * (c[0] - c[h])
	other := 0.0
	z[0] = complex(.5*(c[0]+c[h]), .5*(c[1]+c[h-1])-t.sin[1]*(c[1]-c[h-1]))
	other += c[1] * real(t.tw[1])
	lo, hi, sin, cos := c[:h], c[1:h+1], t.sin[:h], t.tw[:h]
	for i := 1; i < len(z); i++ {
		j := 2 * i
		a0, a1 := lo[j], lo[j+1]
		b0, b1 := hi[h-j-1], hi[h-j-2]
		z[i] = complex(.5*(a0+b0)-sin[j]*(a0-b0), .5*(a1+b1)-sin[j+1]*(a1-b1))
		sum += a0 * real(cos[j])
		other += a1 * real(cos[j+1])
	}
	z = t.half.run(z)
	// Even coefficients are twice the real parts of y's transform, odd ones
	// twice what is left of the sum without its imaginary parts so far.
	odd := t.odd[:q]
	most := (len(dst) + 1) / 2
	dst[0] = 2 * (real(z[0]) + imag(z[0]))
	odd[0] = sum + other
	for k := 1; k <= q/2; k++ {
		a, b, w := z[k], z[q-k], t.tw[2*k]
		er, ei := .5*(real(a)+real(b)), .5*(imag(a)-imag(b))
		or, oi := .5*(imag(a)+imag(b)), .5*(real(b)-real(a))
		pr, pi := or*real(w)-oi*imag(w), or*imag(w)+oi*real(w)
		if k < most {
			dst[2*k] = 2 * (er + pr)
		}
		odd[k] = -(ei + pi)
		if q-k < most {
			dst[2*(q-k)] = 2 * (er - pr)
		}
		odd[q-k] = ei - pi
	}
	acc := 0.0
	for k := range odd[:len(dst)/2] {
		acc += odd[k]
		dst[2*k+1] = 2 * acc
	}
}

// cfft is a complex transform of n = 2^p ≥ 4 points: Stockham passes of radix 4,
// and a last one of radix 8 or 4 that needs no twiddles.
type cfft struct {
	n      int
	passes [][]twiddles
	work   []complex128
}

// twiddles are w, w² and w³ of one butterfly.
type twiddles struct{ w1, w2, w3 complex128 }

func newCfft(n int) *cfft {
	c := &cfft{n: n, work: make([]complex128, n)}
	for l := n; l > 8; l /= 4 {
		pass := make([]twiddles, l/4)
		for p := range pass {
			w := func(k int) complex128 {
				s, co := math.Sincos(-2 * math.Pi * float64(k*p) / float64(l))
				return complex(co, s)
			}
			pass[p] = twiddles{w(1), w(2), w(3)}
		}
		c.passes = append(c.passes, pass)
	}
	return c
}

// run transforms x, n long, and returns where the result is: in x, or in c's own
// scratch until the next run. x is overwritten.
func (c *cfft) run(x []complex128) []complex128 {
	a, b := x[:c.n], c.work
	s := 1 // stride
	for i, pass := range c.passes {
		if i == 0 {
			first(a, b, pass)
		} else {
			radix4(a, b, pass, s)
		}
		a, b = b, a
		s *= 4
	}
	if c.n == 8*s {
		last8(a, b)
	} else {
		last4(a, b)
	}
	return b
}

// first is a pass of stride 1.
func first(a, b []complex128, pass []twiddles) {
	q := len(pass)
	a0, a1, a2, a3 := a[:q], a[q:2*q], a[2*q:3*q], a[3*q:4*q]
	for p := range pass {
		x0, x1, x2, x3 := a0[p], a1[p], a2[p], a3[p]
		w := &pass[p]
		o := (*[4]complex128)(b[4*p:])
		sr, si := real(x0)+real(x2), imag(x0)+imag(x2)
		dr, di := real(x0)-real(x2), imag(x0)-imag(x2)
		tr, ti := real(x1)+real(x3), imag(x1)+imag(x3)
		er, ei := imag(x1)-imag(x3), real(x3)-real(x1) // −i(x1−x3)
		o[0] = complex(sr+tr, si+ti)
		o[1] = times(dr+er, di+ei, w.w1)
		o[2] = times(sr-tr, si-ti, w.w2)
		o[3] = times(dr-er, di-ei, w.w3)
	}
}

// radix4 is a pass of stride s.
func radix4(a, b []complex128, pass []twiddles, s int) {
	q := len(pass) * s
	for p := range pass {
		w := pass[p]
		a0, a1, a2, a3 := a[s*p:][:s], a[s*p+q:][:s], a[s*p+2*q:][:s], a[s*p+3*q:][:s]
		o := b[4*s*p:][:4*s]
		o0, o1, o2, o3 := o[:s], o[s:2*s], o[2*s:3*s], o[3*s:4*s]
		for i, x0 := range a0 {
			x1, x2, x3 := a1[i], a2[i], a3[i]
			sr, si := real(x0)+real(x2), imag(x0)+imag(x2)
			dr, di := real(x0)-real(x2), imag(x0)-imag(x2)
			tr, ti := real(x1)+real(x3), imag(x1)+imag(x3)
			er, ei := imag(x1)-imag(x3), real(x3)-real(x1)
			o0[i] = complex(sr+tr, si+ti)
			o1[i] = times(dr+er, di+ei, w.w1)
			o2[i] = times(sr-tr, si-ti, w.w2)
			o3[i] = times(dr-er, di-ei, w.w3)
		}
	}
}

// last4 is a pass of radix 4 over what is then left, without twiddles.
func last4(a, b []complex128) {
	q := len(a) / 4
	a0, a1, a2, a3 := a[:q], a[q:2*q], a[2*q:3*q], a[3*q:4*q]
	b0, b1, b2, b3 := b[:q], b[q:2*q], b[2*q:3*q], b[3*q:4*q]
	for i, x0 := range a0 {
		x1, x2, x3 := a1[i], a2[i], a3[i]
		sr, si := real(x0)+real(x2), imag(x0)+imag(x2)
		dr, di := real(x0)-real(x2), imag(x0)-imag(x2)
		tr, ti := real(x1)+real(x3), imag(x1)+imag(x3)
		er, ei := imag(x1)-imag(x3), real(x3)-real(x1)
		b0[i] = complex(sr+tr, si+ti)
		b1[i] = complex(dr+er, di+ei)
		b2[i] = complex(sr-tr, si-ti)
		b3[i] = complex(dr-er, di-ei)
	}
}

// last8 is a pass of radix 8: two of radix 4, over even and odd points, and the
// eighth roots of one.
func last8(a, b []complex128) {
	const r = math.Sqrt2 / 2
	q := len(a) / 8
	a0, a1, a2, a3 := a[:q], a[q:2*q], a[2*q:3*q], a[3*q:4*q]
	a4, a5, a6, a7 := a[4*q:5*q], a[5*q:6*q], a[6*q:7*q], a[7*q:8*q]
	b0, b1, b2, b3 := b[:q], b[q:2*q], b[2*q:3*q], b[3*q:4*q]
	b4, b5, b6, b7 := b[4*q:5*q], b[5*q:6*q], b[6*q:7*q], b[7*q:8*q]
	for i := range a0 {
		x0, x2, x4, x6 := a0[i], a2[i], a4[i], a6[i]
		sr, si := real(x0)+real(x4), imag(x0)+imag(x4)
		dr, di := real(x0)-real(x4), imag(x0)-imag(x4)
		tr, ti := real(x2)+real(x6), imag(x2)+imag(x6)
		er, ei := imag(x2)-imag(x6), real(x6)-real(x2)
		e0r, e0i, e1r, e1i := sr+tr, si+ti, dr+er, di+ei
		e2r, e2i, e3r, e3i := sr-tr, si-ti, dr-er, di-ei
		x1, x3, x5, x7 := a1[i], a3[i], a5[i], a7[i]
		sr, si = real(x1)+real(x5), imag(x1)+imag(x5)
		dr, di = real(x1)-real(x5), imag(x1)-imag(x5)
		tr, ti = real(x3)+real(x7), imag(x3)+imag(x7)
		er, ei = imag(x3)-imag(x7), real(x7)-real(x3)
		o0r, o0i, o2r, o2i := sr+tr, si+ti, si-ti, tr-sr // the second times −i
		ur, ui, vr, vi := dr+er, di+ei, dr-er, di-ei
		o1r, o1i := r*(ur+ui), r*(ui-ur) // times e^(−iπ/4)
		o3r, o3i := r*(vi-vr), -r*(vr+vi)
		b0[i], b4[i] = complex(e0r+o0r, e0i+o0i), complex(e0r-o0r, e0i-o0i)
		b1[i], b5[i] = complex(e1r+o1r, e1i+o1i), complex(e1r-o1r, e1i-o1i)
		b2[i], b6[i] = complex(e2r+o2r, e2i+o2i), complex(e2r-o2r, e2i-o2i)
		b3[i], b7[i] = complex(e3r+o3r, e3i+o3i), complex(e3r-o3r, e3i-o3i)
	}
}

// times is (re + i·im)·w.
func times(re, im float64, w complex128) complex128 {
	return complex(re*real(w)-im*imag(w), re*imag(w)+im*real(w))
}
