package pitch

import "math"

// transform is a real discrete Fourier transform of n = 2^p ≥ 16 points with
// its tables. The complex work is a Stockham radix-4 transform of n/2 points
// (one radix-2 pass where the power is odd); gonum's is the second opinion in
// the tests.
type transform struct {
	n      int
	half   *cfft
	z      []complex128
	tw     []complex128 // e^(−2πik/n)
	cosine *transform   // n/2 points, for even
	sin    []float64
	re     []float64
	out    []complex128
}

type cfft struct {
	n    int
	tw   []complex128 // e^(−2πik/n)
	work []complex128
}

func newCfft(n int) *cfft {
	c := &cfft{n: n, tw: make([]complex128, n), work: make([]complex128, n)}
	for k := range c.tw {
		s, co := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		c.tw[k] = complex(co, s)
	}
	return c
}

// run transforms x in place.
func (c *cfft) run(x []complex128) {
	n := c.n
	a, b := x[:n], c.work[:n]
	l := n // length of the transforms still to do
	s := 1 // stride
	for l > 1 {
		if l%4 == 0 {
			q := l / 4
			if s == 1 {
				a0, a1, a2, a3 := a[:q], a[q:2*q], a[2*q:3*q], a[3*q:4*q]
				for p, x0 := range a0 {
					x1, x2, x3 := a1[p], a2[p], a3[p]
					w1, w2, w3 := c.tw[p], c.tw[2*p], c.tw[3*p]
					s02r, s02i := real(x0)+real(x2), imag(x0)+imag(x2)
					d02r, d02i := real(x0)-real(x2), imag(x0)-imag(x2)
					s13r, s13i := real(x1)+real(x3), imag(x1)+imag(x3)
					d13r, d13i := real(x1)-real(x3), imag(x1)-imag(x3)
					o := b[4*p : 4*p+4 : 4*p+4]
					o[0] = complex(s02r+s13r, s02i+s13i)
					yr, yi := d02r+d13i, d02i-d13r
					o[1] = complex(yr*real(w1)-yi*imag(w1), yr*imag(w1)+yi*real(w1))
					yr, yi = s02r-s13r, s02i-s13i
					o[2] = complex(yr*real(w2)-yi*imag(w2), yr*imag(w2)+yi*real(w2))
					yr, yi = d02r-d13i, d02i+d13r
					o[3] = complex(yr*real(w3)-yi*imag(w3), yr*imag(w3)+yi*real(w3))
				}
				l, s = q, 4
				a, b = b, a
				continue
			}
			for p := 0; p < q; p++ {
				w1 := c.tw[p*s]
				w2 := c.tw[2*p*s]
				w3 := c.tw[3*p*s]
				a0 := a[s*p : s*p+s]
				a1 := a[s*(p+q) : s*(p+q)+s]
				a2 := a[s*(p+2*q) : s*(p+2*q)+s]
				a3 := a[s*(p+3*q) : s*(p+3*q)+s]
				o := b[s*4*p : s*4*p+4*s]
				o0, o1, o2, o3 := o[:s], o[s:2*s], o[2*s:3*s], o[3*s:4*s]
				a1, a2, a3 = a1[:len(a0)], a2[:len(a0)], a3[:len(a0)]
				o0, o1, o2, o3 = o0[:len(a0)], o1[:len(a0)], o2[:len(a0)], o3[:len(a0)]
				w1r, w1i := real(w1), imag(w1)
				w2r, w2i := real(w2), imag(w2)
				w3r, w3i := real(w3), imag(w3)
				for i, x0 := range a0 {
					x1, x2, x3 := a1[i], a2[i], a3[i]
					s02r, s02i := real(x0)+real(x2), imag(x0)+imag(x2)
					d02r, d02i := real(x0)-real(x2), imag(x0)-imag(x2)
					s13r, s13i := real(x1)+real(x3), imag(x1)+imag(x3)
					d13r, d13i := real(x1)-real(x3), imag(x1)-imag(x3)
					o0[i] = complex(s02r+s13r, s02i+s13i)
					// −i·d13 = (d13i, −d13r)
					yr, yi := d02r+d13i, d02i-d13r
					o1[i] = complex(yr*w1r-yi*w1i, yr*w1i+yi*w1r)
					yr, yi = s02r-s13r, s02i-s13i
					o2[i] = complex(yr*w2r-yi*w2i, yr*w2i+yi*w2r)
					yr, yi = d02r-d13i, d02i+d13r
					o3[i] = complex(yr*w3r-yi*w3i, yr*w3i+yi*w3r)
				}
			}
			l /= 4
			s *= 4
		} else {
			q := l / 2
			for p := 0; p < q; p++ {
				w := c.tw[p*s]
				for i := 0; i < s; i++ {
					x0, x1 := a[s*p+i], a[s*(p+q)+i]
					b[s*2*p+i] = x0 + x1
					b[s*(2*p+1)+i] = (x0 - x1) * w
				}
			}
			l /= 2
			s *= 2
		}
		a, b = b, a
	}
	if &a[0] != &x[0] {
		copy(x, a)
	}
}

func newTransform(n int) *transform {
	t := newReal(n)
	t.cosine = newReal(n / 2)
	t.sin = make([]float64, n/2)
	for j := range t.sin {
		t.sin[j] = math.Sin(2 * math.Pi * float64(j) / float64(n))
	}
	t.re = make([]float64, n/2)
	t.out = make([]complex128, n/4+1)
	return t
}

func newReal(n int) *transform {
	t := &transform{n: n, half: newCfft(n / 2), z: make([]complex128, n/2), tw: make([]complex128, n/2+1)}
	for k := range t.tw {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		t.tw[k] = complex(c, s)
	}
	return t
}

// forward writes the n/2+1 coefficients of the n real samples x to dst.
func (t *transform) forward(dst []complex128, x []float64) {
	h := t.n / 2
	z := t.z
	for i := range z {
		z[i] = complex(x[2*i], x[2*i+1])
	}
	t.half.run(z)
	dst[0] = complex(real(z[0])+imag(z[0]), 0)
	dst[h] = complex(real(z[0])-imag(z[0]), 0)
	for k := 1; k <= h/2; k++ {
		a, b := z[k], z[h-k]
		er, ei := .5*(real(a)+real(b)), .5*(imag(a)-imag(b))
		or, oi := .5*(imag(a)+imag(b)), .5*(real(b)-real(a))
		w := t.tw[k]
		pr, pi := or*real(w)-oi*imag(w), or*imag(w)+oi*real(w)
		dst[k] = complex(er+pr, ei+pi)
		dst[h-k] = complex(er-pr, pi-ei)
	}
}

// even writes to dst[:n/2] the first half of the transform of the real even
// sequence c[0 … n/2]: dst[j] = c[0] + 2 Σ c[k] cos(2πjk/n) + (−1)^j c[n/2].
// It takes one real transform of half the length (Press et al., Numerical
// Recipes, cosft1).
func (t *transform) even(dst, c []float64) {
	h := t.n / 2
	y := t.re
	sum := .5 * (c[0] - c[h])
	y[0] = .5 * (c[0] + c[h])
	for j := 1; j < h; j++ {
		y[j] = .5*(c[j]+c[h-j]) - t.sin[j]*(c[j]-c[h-j])
		sum += c[j] * real(t.tw[j])
	}
	t.cosine.forward(t.out, y)
	odd := sum
	for k := 0; k < h/2; k++ {
		v := t.out[k]
		if k > 0 {
			odd -= imag(v)
		}
		dst[2*k] = 2 * real(v)
		dst[2*k+1] = 2 * odd
	}
}
