package pitch

import "math"

// A halver is one linear-phase half-band stage: low-pass, then every second
// sample. Every second coefficient of a half-band filter is zero, so a stage of
// 4n−1 taps costs n multiplications for each sample that comes out. Sample j
// that comes out is centred on sample 2j that goes in.
type halver struct {
	taps []float64 // one side, odd distances 1, 3, 5 …: 4 or 12
	mid  []float64 // samples with an even index, from the next centre on
	side []float64 // samples with an odd index, from n before the next centre on
	odd  bool      // the next sample has an odd index
	out  []float64
}

// newHalver designs a stage with n one-sided taps, 4 or 12, Kaiser window β,
// that takes at most longest samples at once.
func newHalver(n int, beta float64, longest int) *halver {
	h := &halver{taps: make([]float64, n)}
	h.mid = make([]float64, 0, n+longest/2+2)
	h.side = make([]float64, n, 2*n+longest/2+2)
	h.out = make([]float64, longest/2+1)
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

// newHalvers makes the stages that leave one sample of step, a power of two.
func newHalvers(step int) (stages []*halver) {
	for left := step; left > 1; left /= 2 {
		taps := halverTaps
		if left == 2 {
			taps = halverLast
		}
		stages = append(stages, newHalver(taps, halverBeta, run*left/step))
	}
	return stages
}

// bessel0 is the modified Bessel function I₀, by its series to 1e−12.
func bessel0(x float64) float64 {
	s, t := 1.0, 1.0
	for k := 1; t > 1e-12*s; k++ {
		t *= x * x / 4 / float64(k*k)
		s += t
	}
	return s
}

// push takes samples and returns those that come out, which stay valid until the
// next push.
func (h *halver) push(x []float64) []float64 {
	if len(x) == 0 {
		return nil
	}
	if h.odd {
		h.side = append(h.side, x[0])
		h.odd = false
		x = x[1:]
	}
	m, s, pairs := len(h.mid), len(h.side), len(x)/2
	h.mid, h.side = h.mid[:m+pairs], h.side[:s+pairs]
	mid, side := h.mid[m:], h.side[s:]
	side = side[:len(mid)]
	for i := range mid {
		pair := x[2*i : 2*i+2 : 2*i+2]
		mid[i], side[i] = pair[0], pair[1]
	}
	if h.odd = len(x)%2 == 1; h.odd {
		h.mid = append(h.mid, x[len(x)-1])
	}
	n := len(h.taps)
	due := max(0, len(h.side)-2*n+1)
	out := h.out[:due]
	mid, side = h.mid[:due], h.side
	if n == 12 {
		g := (*[12]float64)(h.taps)
		for j, m := range mid {
			w := (*[24]float64)(side[j:])
			out[j] = .5*m + (g[0]*(w[11]+w[12]) + g[1]*(w[10]+w[13]) + g[2]*(w[9]+w[14]) + g[3]*(w[8]+w[15])) +
				(g[4]*(w[7]+w[16]) + g[5]*(w[6]+w[17]) + g[6]*(w[5]+w[18]) + g[7]*(w[4]+w[19])) +
				(g[8]*(w[3]+w[20]) + g[9]*(w[2]+w[21]) + g[10]*(w[1]+w[22]) + g[11]*(w[0]+w[23]))
		}
	} else {
		g := (*[4]float64)(h.taps)
		for j, m := range mid {
			w := (*[8]float64)(side[j:])
			out[j] = .5*m + (g[0]*(w[3]+w[4]) + g[1]*(w[2]+w[5]) + g[2]*(w[1]+w[6]) + g[3]*(w[0]+w[7]))
		}
	}
	h.mid = h.mid[:copy(h.mid, h.mid[due:])]
	h.side = h.side[:copy(h.side, h.side[due:])]
	return out
}

// takes is how many samples must have gone in before out have come out.
func (h *halver) takes(out int64) int64 { return 2 * (out + int64(len(h.taps)) - 1) }

func (h *halver) reset() {
	h.mid = h.mid[:0]
	h.side = h.side[:len(h.taps)]
	clear(h.side)
	h.odd = false
}
