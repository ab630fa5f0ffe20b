package synth

import "math"

// kWeighting returns the coefficients b0, b1, b2, a1, a2 and a1, a2 of the two filters of
// ITU-R BS.1770 at a sample rate: a shelf that lifts what lies above 1.5 kHz by 4 dB, and a
// high-pass at 38 Hz, whose b are 1, -2, 1. The standard prints them at 48 kHz; their analogue
// prototypes, here taken to any rate by the bilinear transform, are those that free meters use.
func kWeighting(rate int) (c [7]float64) {
	const high, b = 1.584864701130855, 1.258720930232562 // amplitudes
	sin, cos := math.Sincos(math.Pi * min(1681.974450955533/float64(rate), 0.49))
	k := sin / cos
	p, q := 1+k*k, k/0.7071752369554196
	n := p + q
	c[0], c[1], c[2] = (high+b*q+k*k)/n, 2*(k*k-high)/n, (high-b*q+k*k)/n
	c[3], c[4] = 2*(k*k-1)/n, (p-q)/n
	sin, cos = math.Sincos(math.Pi * 38.13547087602444 / float64(rate))
	k = sin / cos
	p, q = 1+k*k, k/0.5003270373238773
	c[5], c[6] = 2*(k*k-1)/(p+q), (p-q)/(p+q)
	return c
}

// weight returns the K-weighted power of a sine of unit power at f hertz, within 0.05 dB of
// the filters' from 40 Hz to 12 kHz: fitted to them.
func weight(f float64) float64 {
	f *= f
	x := f * f
	return x / (x + 2723.42*f + 2.29325e6) * (1 + 1.55196*x/(x+265219*f+7.23645e12))
}

// powerAt returns the K-weighted power of a loudness in LUFS.
func powerAt(lufs float64) float64 { return exp10((lufs + 0.691) / 10) }

// power returns the K-weighted power of a sound by ITU-R BS.1770: the mean over blocks of
// 400 ms, one every 100 ms, but for those more than 10 dB under the mean of the others and
// those 47 dB under the loudest, which lie under −70 LUFS where that has −23. A sound that is
// shorter counts as followed by silence. 0 where there is none.
func power(x []float64, rate int) float64 {
	k := kWeighting(rate)
	hop := max(1, rate/10)
	steps := make([]float64, max(4, len(x)/hop))
	var a, b, c, d float64 // the filters' states, direct form II transposed
	for i, v := range x {
		y := k[0]*v + a
		a, b = k[1]*v-k[3]*y+b, k[2]*v-k[4]*y
		z := y + c
		c, d = -2*y-k[5]*z+d, y-k[6]*z
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
const ceiling = -2.5 // dBFS

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
