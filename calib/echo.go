package calib

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// The test sound: a sine that rises evenly from 300 to 3000 Hz within half a
// second, which any loudspeaker and any microphone has, fading in and out over
// 20 ms.
const (
	probeLow, probeHigh = 300.0, 3000.0
	probeSeconds        = 0.5
	probeFade           = 0.02

	minRate = 8000 // hertz, as for the tracker
)

// Probe returns the samples of the test sound at rate hertz. No sample exceeds
// level, in dBFS. [FindEcho] looks for exactly this.
func Probe(rate int, level float64) []float64 {
	x := make([]float64, int(probeSeconds*float64(rate)))
	gain := math.Pow(10, min(level, 0)/20)
	for i := range x {
		_, sin := probe(i, len(x), rate)
		x[i] = gain * sin
	}
	return x
}

// probe returns the cosine and sine of sample i of the test sound.
func probe(i, n, rate int) (cos, sin float64) {
	t := float64(i) / float64(rate)
	sin, cos = math.Sincos(2 * math.Pi * (probeLow*t + (probeHigh-probeLow)/(2*probeSeconds)*t*t))
	edge := min(1, min(t, float64(n-1-i)/float64(rate))/probeFade)
	fade := .5 - .5*math.Cos(math.Pi*edge)
	return fade * cos, fade * sin
}

// Echo is what the microphone heard of the test sound.
type Echo struct {
	Heard bool
	// Level is how loud its strongest path came back, in dB against what was
	// played, and Delay its first one in seconds after the start of the capture.
	// Both are 0 where nothing was heard.
	Level, Delay float64
	// Ratio is how far the matched filter's highest value stands above its
	// median: at least 7 where the test sound was heard.
	Ratio float64
}

// echoRatio is the threshold of detection. In Gaussian noise the envelope of a
// matched filter is Rayleigh distributed: it exceeds r times its median with
// probability 2^(−r²), 2·10⁻¹⁵ for 7, at each of some 4000 independent places
// of a second and a half: one false alarm in 10¹¹. The test sound itself stands
// √(2·SNR·B·T)/1.18 above the median, B·T = 1280 being its band times its
// length less 5/8 of the fades: 7 where it is 16 dB below the noise of its band,
// and it is missed once in a thousand where it is 13 dB below.
const echoRatio = 7.0

// earlier and asLoud say which path is the first: the earliest peak of the
// filter within so many seconds before the highest, and at least half as high.
// The highest may be an echo in the room.
const (
	earlier = 0.06
	asLoud  = 0.5
)

// FindEcho looks for the test sound in what was captured at rate hertz from the
// moment on at which it was handed to the loudspeaker at that level, in dBFS.
// The capture must hold the whole of it, and at least a fifth of a second more.
//
// It is a matched filter: what is longer than the test sound at one frequency
// (hum, a held note) is first cut down to its surroundings, and loud moments (a
// door) to the level of the rest.
func FindEcho(x []float64, rate int, level float64) (Echo, error) {
	if rate < minRate {
		return Echo{}, fmt.Errorf("the test sound at %d Hz: want %d Hz or more", rate, minRate)
	}
	n := int(probeSeconds * float64(rate))
	lags := len(x) - n
	if lags < rate/5 {
		return Echo{}, fmt.Errorf("%.2f s after the test sound: %w: want %g s", float64(len(x))/float64(rate), ErrTooShort, probeSeconds+.2)
	}
	size := 1
	for size < len(x)+n {
		size *= 2
	}
	f := fourier.NewCmplxFFT(size)
	reference := make([]complex128, size)
	energy := 0.0
	for i := range n {
		cos, sin := probe(i, n, rate)
		reference[i] = complex(sin, -cos) // analytic: its real part is the sound
		energy += sin * sin
	}
	f.Coefficients(reference, reference)

	sound := make([]complex128, size)
	for i, v := range x {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			sound[i] = complex(v, 0)
		}
	}
	f.Coefficients(sound, sound)
	limit(sound, float64(rate))
	plain := matched(f, sound, reference, lags)
	even := f.Sequence(nil, sound)
	evenOut(even[:len(x)], float64(size), rate)
	clear(even[len(x):])
	f.Coefficients(even, even)
	filtered := matched(f, even, reference, lags)

	median := quantile(slices.Clone(filtered), .5)
	best := 0
	for i, v := range filtered {
		if v > filtered[best] {
			best = i
		}
	}
	e := Echo{}
	if median > 0 {
		e.Ratio = filtered[best] / median
	}
	if e.Ratio < echoRatio {
		return e, nil
	}
	e.Heard = true
	first := best
	for i := max(1, best-int(earlier*float64(rate))); i < best; i++ {
		if filtered[i] >= asLoud*filtered[best] && filtered[i] >= filtered[i-1] && filtered[i] >= filtered[i+1] {
			first = i
			break
		}
	}
	strongest := 0.0
	for i := max(0, first-rate/1000); i <= min(len(plain)-1, best+rate/1000); i++ {
		strongest = max(strongest, plain[i])
	}
	e.Level = 20*math.Log10(strongest/energy) - min(level, 0)
	e.Delay = (float64(first) + vertex(filtered, first)) / float64(rate)
	return e, nil
}

// matched returns the envelope of the correlation of a sound with the analytic
// reference at lags 0 … lags, both given as spectra.
func matched(f *fourier.CmplxFFT, sound, reference []complex128, lags int) []float64 {
	c := make([]complex128, len(sound))
	for i, v := range sound {
		c[i] = v * cmplx.Conj(reference[i])
	}
	f.Sequence(c, c)
	out := make([]float64, lags+1)
	for i := range out {
		out[i] = cmplx.Abs(c[i]) / float64(len(c))
	}
	return out
}

// limit cuts the spectrum of a real sound down to the band of the test sound,
// and whatever stands out of its surroundings of 50 Hz to three times their
// median. The test sound's own spectrum is smooth.
func limit(s []complex128, rate float64) {
	step := rate / float64(len(s))
	around := int(50/step) + 1
	magnitude := make([]float64, 0, around)
	for from := 0; from <= len(s)/2; from += around {
		to := min(from+around, len(s)/2+1)
		magnitude = magnitude[:0]
		for _, v := range s[from:to] {
			magnitude = append(magnitude, cmplx.Abs(v))
		}
		most := 3 * quantile(magnitude, .5)
		for i := from; i < to; i++ {
			gain := 0.0
			if hz := float64(i) * step; hz >= probeLow && hz <= probeHigh {
				gain = 1
				if a := cmplx.Abs(s[i]); a > most {
					gain = most / a
				}
			}
			s[i] *= complex(gain, 0)
			if j := len(s) - i; i > 0 && j < len(s) && j != i {
				s[j] *= complex(gain, 0)
			}
		}
	}
}

// evenOut divides the real part of y, which is scale times too large, by its
// RMS over 20 ms.
func evenOut(y []complex128, scale float64, rate int) {
	half := rate / 100
	sum := make([]float64, len(y)+1)
	for i, v := range y {
		v := real(v) / scale
		sum[i+1] = sum[i] + v*v
	}
	for i := range y {
		from, to := max(0, i-half), min(len(y), i+half)
		rms := math.Sqrt((sum[to] - sum[from]) / float64(to-from))
		if rms < 1e-12 {
			y[i] = 0
			continue
		}
		y[i] = complex(real(y[i])/scale/rms, 0)
	}
}

// vertex returns where between its neighbours the peak of y at i lies, −½ … ½,
// by a parabola through the three.
func vertex(y []float64, i int) float64 {
	if i < 1 || i+1 >= len(y) {
		return 0
	}
	a, b, c := y[i-1], y[i], y[i+1]
	if curve := a - 2*b + c; curve < 0 {
		return max(-.5, min(.5, .5*(a-c)/curve))
	}
	return 0
}
