package synth

import (
	"math"
	"math/cmplx"

	"github.com/mjibson/go-dsp/fft"
)

// The instruments of these tests: they know nothing of how the sound is made.

// tone returns amplitude and phase of the component at hz in x, which lies
// around a centre: a Hann window times a pointer, divided by the window's sum.
func tone(x []float64, rate int, hz float64) complex128 {
	var sum complex128
	weight := 0.0
	for i, s := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x)))
		sum += complex(w*s, 0) * cmplx.Rect(1, -2*math.Pi*hz*float64(i)/float64(rate))
		weight += w
	}
	return 2 * sum / complex(weight, 0)
}

// measureHz returns the frequency near guess by the advance of its phase from
// one window to another gap samples later.
func measureHz(x []float64, rate, window, gap int, guess float64) float64 {
	a, b := tone(x[:window], rate, guess), tone(x[gap:gap+window], rate, guess)
	// tone's pointer starts anew in the second window.
	turn := cmplx.Phase(b/a) - 2*math.Pi*guess*float64(gap)/float64(rate)
	turn -= 2 * math.Pi * math.Round(turn/(2*math.Pi))
	return guess + turn/(2*math.Pi)*float64(rate)/float64(gap)
}

// spectrum returns the power in every bin up to half the rate, Blackman–Harris
// windowed (side lobes below −92 dB), by go-dsp.
func spectrum(x []float64) []float64 {
	y := make([]float64, len(x))
	for i, s := range x {
		p := 2 * math.Pi * (float64(i) + 0.5) / float64(len(x))
		y[i] = s * (0.35875 - 0.48829*math.Cos(p) + 0.14128*math.Cos(2*p) - 0.01168*math.Cos(3*p))
	}
	f := fft.FFTReal(y)
	power := make([]float64, len(x)/2)
	for i := range power {
		power[i] = real(f[i])*real(f[i]) + imag(f[i])*imag(f[i])
	}
	return power
}

// band returns the power of a spectrum of n samples between two frequencies.
func band(power []float64, n, rate int, from, to float64) float64 {
	bin := func(hz float64) int {
		return min(max(int(math.Ceil(hz*float64(n)/float64(rate))), 0), len(power))
	}
	sum := 0.0
	for _, p := range power[bin(from):bin(to)] {
		sum += p
	}
	return sum
}

// period returns F0 around the middle of x by the normalised cross-correlation
// of the frame with itself: the lag of the first peak that is nearly as high
// as the highest, refined by a parabola. low and high bound the search.
func period(x []float64, rate int, low, high float64) float64 {
	shortest, longest := int(float64(rate)/high), int(float64(rate)/low)+1
	n := len(x) - longest - 1
	corr := make([]float64, longest+2)
	for lag := shortest - 1; lag <= longest+1; lag++ {
		var xy, xx, yy float64
		// Both copies lie around the same centre, whatever the lag.
		start := (longest + 1 - lag) / 2
		for i := start; i < start+n; i++ {
			xy += x[i] * x[i+lag]
			xx += x[i] * x[i]
			yy += x[i+lag] * x[i+lag]
		}
		corr[lag] = xy / math.Sqrt(xx*yy)
	}
	best := 0.0
	for lag := shortest; lag <= longest; lag++ {
		best = max(best, corr[lag])
	}
	for lag := shortest; lag <= longest; lag++ {
		if corr[lag] > 0.97*best && corr[lag] >= corr[lag-1] && corr[lag] >= corr[lag+1] {
			a, b, c := corr[lag-1], corr[lag], corr[lag+1]
			return float64(rate) / (float64(lag) + (a-c)/(2*(a-2*b+c)))
		}
	}
	return math.NaN()
}

// rms returns the root of the mean square.
func rms(x []float64) float64 {
	sum := 0.0
	for _, s := range x {
		sum += s * s
	}
	return math.Sqrt(sum / float64(len(x)))
}

// peak returns the greatest absolute sample.
func peak(x []float64) float64 {
	p := 0.0
	for _, s := range x {
		p = max(p, math.Abs(s))
	}
	return p
}

// bend returns the greatest second difference: what a click makes large.
func bend(x []float64) float64 {
	b := 0.0
	for i := 1; i+1 < len(x); i++ {
		b = max(b, math.Abs(x[i+1]-2*x[i]+x[i-1]))
	}
	return b
}

func toDB(ratio float64) float64 { return 20 * math.Log10(ratio) }

func cents(f, ref float64) float64 { return 1200 * math.Log2(f/ref) }
