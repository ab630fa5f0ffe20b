package synth

import "math"

// biquad is a filter of the second order with a0 = 1.
type biquad struct{ b0, b1, b2, a1, a2 float64 }

// kWeighting returns the two filters of ITU-R BS.1770 at a sample rate: a shelf that lifts
// what lies above 1.5 kHz by 4 dB, and a high-pass at 38 Hz. The standard prints the
// coefficients at 48 kHz; their analogue prototypes, here taken to any rate by the bilinear
// transform, are those that free meters use.
func kWeighting(rate int) (shelf, pass biquad) {
	const high, b, q = 1.584864701130855, 1.258720930232562, 0.7071752369554196 // amplitudes
	k := math.Tan(math.Pi * min(1681.974450955533/float64(rate), 0.49))
	n := 1 + k/q + k*k
	shelf = biquad{(high + b*k/q + k*k) / n, 2 * (k*k - high) / n, (high - b*k/q + k*k) / n, 2 * (k*k - 1) / n, (1 - k/q + k*k) / n}
	const low = 0.5003270373238773
	k = math.Tan(math.Pi * 38.13547087602444 / float64(rate))
	n = 1 + k/low + k*k
	return shelf, biquad{1, -2, 1, 2 * (k*k - 1) / n, (1 - k/low + k*k) / n}
}

// power returns the square of the gain at a frequency, of which turn is the share of the
// sample rate.
func (q biquad) power(turn float64) float64 {
	s1, c1 := math.Sincos(2 * math.Pi * turn)
	c2, s2 := c1*c1-s1*s1, 2*s1*c1
	over, overIm := q.b0+q.b1*c1+q.b2*c2, q.b1*s1+q.b2*s2
	under, underIm := 1+q.a1*c1+q.a2*c2, q.a1*s1+q.a2*s2
	return (over*over + overIm*overIm) / (under*under + underIm*underIm)
}

// powerAt returns the K-weighted power of a loudness in LUFS.
func powerAt(lufs float64) float64 { return exp10((lufs + 0.691) / 10) }

// power returns the K-weighted power of a sound by ITU-R BS.1770: the mean over blocks of
// 400 ms, one every 100 ms, but for those more than 10 dB under the mean of the others and
// those 47 dB under the loudest, which lie under −70 LUFS where that has −23. A sound that is
// shorter counts as followed by silence. 0 where there is none.
func power(x []float64, rate int) float64 {
	shelf, pass := kWeighting(rate)
	hop := max(1, rate/10)
	steps := make([]float64, max(4, len(x)/hop))
	var a, b, c, d float64 // the filters' states, direct form II transposed
	for i, v := range x {
		y := shelf.b0*v + a
		a, b = shelf.b1*v-shelf.a1*y+b, shelf.b2*v-shelf.a2*y
		z := y + c
		c, d = -2*y-pass.a1*z+d, y-pass.a2*z
		if i/hop < len(steps) {
			steps[i/hop] += z * z
		}
	}
	loudest := 0.0
	for i := range len(steps) - 3 {
		steps[i] = (steps[i] + steps[i+1] + steps[i+2] + steps[i+3]) / float64(4*hop)
		loudest = max(loudest, steps[i])
	}
	mean, gate := 0.0, loudest*2e-5
	for range 2 {
		sum, n := 0.0, 0.0
		for _, p := range steps[:len(steps)-3] {
			if p > gate {
				sum, n = sum+p, n+1
			}
		}
		mean = sum / max(n, 1)
		gate = mean / 10
	}
	return mean
}

// ceiling bounds every sample: so much under full scale that what lies between the samples
// stays under −1 dBTP.
const ceiling = -2.0 // dBFS

// Gain returns what brings a sound to a loudness, or to the ceiling where it would exceed it;
// 0 where there is none.
func Gain(x []float64, rate int, lufs float64) float64 {
	highest := 0.0
	for _, v := range x {
		highest = max(highest, math.Abs(v))
	}
	if highest == 0 {
		return 0
	}
	return min(math.Sqrt(powerAt(lufs)/power(x, rate)), fromDB(ceiling)/highest)
}
