package pitch

import "math"

// A halver is one linear-phase half-band stage: low-pass, then every second
// sample. Every second coefficient of a half-band filter is zero, so a stage of
// 4n−1 taps costs n multiplications a sample.
type halver struct {
	taps []float64 // one side, odd distances 1, 3, 5 …
	buf  []float64 // the last 4n−1 samples, twice over
	pos  int
	odd  bool
	skip int // outputs still to drop: their centres lie before the first sample
}

// newHalver designs a stage with n one-sided taps, Kaiser window β.
func newHalver(n int, beta float64) *halver {
	h := &halver{taps: make([]float64, n), buf: make([]float64, 2*(4*n-1)), skip: n - 1}
	sum := 0.0
	half := float64(2 * n)
	for i := range h.taps {
		d := float64(2*i + 1)
		r := d / half
		h.taps[i] = math.Sin(math.Pi*d/2) / (math.Pi * d) * bessel0(beta*math.Sqrt(1-r*r)) / bessel0(beta)
		sum += 2 * h.taps[i]
	}
	for i := range h.taps {
		h.taps[i] *= .5 / sum
	}
	return h
}

func bessel0(x float64) float64 {
	s, t := 1.0, 1.0
	for k := 1; t > 1e-12*s; k++ {
		t *= x * x / 4 / float64(k*k)
		s += t
	}
	return s
}

// next takes one sample and tells whether an output fell due.
func (h *halver) next(x float64) (float64, bool) {
	n := len(h.buf) / 2
	h.buf[h.pos], h.buf[h.pos+n] = x, x
	h.pos++
	if h.pos == n {
		h.pos = 0
	}
	h.odd = !h.odd
	if h.odd {
		return 0, false
	}
	if h.skip > 0 {
		h.skip--
		return 0, false
	}
	w := h.buf[h.pos : h.pos+n]
	c := n / 2
	y := .5 * w[c]
	i, j := c-1, c+1
	for _, g := range h.taps {
		y += g * (w[i] + w[j])
		i -= 2
		j += 2
	}
	return y, true
}

func (h *halver) reset() {
	clear(h.buf)
	h.pos = 0
	h.odd = false
	h.skip = len(h.taps) - 1
}
