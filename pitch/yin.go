package pitch

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Estimate is what an [Estimator] says about one frame.
type Estimate struct {
	// F0 in hertz at the centre of the frame; 0 where the frame has no dip of
	// the difference function within the search range.
	F0 float64
	// Aperiodicity is the share of the frame's power that does not repeat with
	// the period: 0 for a periodic sound, about 1 for white noise. It is d′ of
	// YIN at the period.
	Aperiodicity float64
}

// Estimator finds the fundamental frequency of single frames. It is YIN (de
// Cheveigné & Kawahara 2002, J. Acoust. Soc. Am. 111:1917; "eq." below is
// theirs) with one change: the period is the shortest dip that is nearly as
// deep as the deepest one and divides it. It is the plain method, for whoever
// wants YIN itself: in this project only make evaluate calls it, where it is a
// column beside the [Tracker], and the tests. The Tracker has the difference
// function alone of it, over windows of its own.
//
// An Estimator owns its scratch and is for one goroutine.
type Estimator struct {
	rate         float64
	minHz, maxHz float64
	window       int // W, samples summed
	maxLag       int // longest lag of the search; d is known to maxLag+1
	minLag       int

	fft          *fourier.FFT
	x            []float64 // the frame, mean removed, peak in [1, 2)
	padded       []float64
	coefA, coefB []complex128
	power        []float64 // running sum of x²
	d            []float64 // difference function, then d′
	dips         []dip
}

// windowSeconds is W of YIN. 25 ms is the paper's own value.
const windowSeconds = 0.025

// NewEstimator returns an estimator for frames sampled at rate hertz (it need
// not be whole) and fundamentals from minHz to maxHz, both inside the range.
// It wants 0 < minHz < maxHz ≤ rate/4.
func NewEstimator(rate, minHz, maxHz float64) (*Estimator, error) {
	switch {
	case !(rate > 0) || math.IsInf(rate, 0):
		return nil, fmt.Errorf("pitch: sample rate %g Hz, want a positive number", rate)
	case !(minHz > 0 && minHz < maxHz && maxHz <= rate/4):
		return nil, fmt.Errorf("pitch: search range %g to %g Hz, want 0 < lowest < highest ≤ a quarter of the sample rate (%g Hz)", minHz, maxHz, rate/4)
	case rate/minHz > 1<<16:
		return nil, fmt.Errorf("pitch: lowest frequency %g Hz is too low for a sample rate of %g Hz, want at least %g Hz", minHz, rate, rate/(1<<16))
	}
	e := &Estimator{rate: rate, minHz: minHz, maxHz: maxHz}
	e.window = int(math.Round(windowSeconds * rate))
	e.maxLag = int(math.Ceil(rate/minHz)) + 1
	e.minLag = max(2, int(math.Floor(rate/maxHz))-1)
	n := e.window + e.maxLag + 1
	n |= 1 // odd: the centre is a sample
	m := fastLength(n)
	e.fft = fourier.NewFFT(m)
	e.x = make([]float64, n)
	e.padded = make([]float64, m)
	e.coefA = make([]complex128, m/2+1)
	e.coefB = make([]complex128, m/2+1)
	e.power = make([]float64, n+1)
	e.d = make([]float64, e.maxLag+2)
	e.dips = make([]dip, 0, e.maxLag)
	return e, nil
}

// fastLength is the smallest even 2^a·3^b·5^c that is at least n: lengths that
// the transform is quick at.
func fastLength(n int) int {
	for m := n + n%2; ; m += 2 {
		r := m
		for _, p := range [...]int{2, 3, 5} {
			for r%p == 0 {
				r /= p
			}
		}
		if r == 1 {
			return m
		}
	}
}

// FrameLength is the number of samples, always odd, that Estimate wants.
func (e *Estimator) FrameLength() int { return len(e.x) }

// Estimate finds the fundamental at the middle sample of frame. It does not
// change frame, keeps no reference to it, and does not allocate. A frame of
// another length than FrameLength is a caller's bug and panics.
func (e *Estimator) Estimate(frame []float64) Estimate {
	if len(frame) != len(e.x) {
		panic(fmt.Sprintf("pitch: frame length %d, want %d", len(frame), len(e.x)))
	}
	if !e.load(frame) {
		return Estimate{Aperiodicity: 1}
	}
	e.difference()
	normalise(e.d)
	period, ap := e.choose()
	if period == 0 {
		return Estimate{Aperiodicity: ap}
	}
	f := e.rate / period
	if f < e.minHz || f > e.maxHz {
		return Estimate{Aperiodicity: 1}
	}
	return Estimate{F0: f, Aperiodicity: ap}
}

// load copies the frame without its mean and scales it by a power of two so
// that its peak is in [1, 2): a constant offset costs no digits in the
// differences, and no square underflows. It reports false for a frame whose
// variation is nothing, or lost in the rounding of its offset.
func (e *Estimator) load(frame []float64) bool {
	mean := 0.0
	for _, v := range frame {
		mean += v
	}
	mean /= float64(len(frame))
	peak := 0.0
	for i, v := range frame {
		e.x[i] = v - mean
		peak = math.Max(peak, math.Abs(e.x[i]))
	}
	if !(peak > 1e-12*math.Abs(mean) && peak > 1e-100) || math.IsInf(peak, 0) {
		return false
	}
	_, exp := math.Frexp(peak)
	scale := math.Ldexp(1, 1-exp)
	for i := range e.x {
		e.x[i] *= scale
	}
	return true
}

// difference is eq. 6 by way of eq. 7: for every lag τ ≤ maxLag+1
//
//	d(τ) = Σ_{j<W} (x_j − x_{j+τ})² = Σ_{j<W} x_j² + Σ_{j<W} x_{j+τ}² − 2·Σ_{j<W} x_j·x_{j+τ}
//
// with the energies from a running sum and the last term by transforms that are
// long enough not to wrap. [differenceDirect] is the same without them.
func (e *Estimator) difference() {
	w := e.window
	for i, v := range e.x {
		e.power[i+1] = e.power[i] + v*v
	}
	clear(e.padded[copy(e.padded, e.x):])
	e.fft.Coefficients(e.coefB, e.padded)
	clear(e.padded[w:])
	e.fft.Coefficients(e.coefA, e.padded)
	for i, a := range e.coefA {
		// conj(a)·b, written out: several times faster than the operator.
		b := e.coefB[i]
		ar, ai, br, bi := real(a), imag(a), real(b), imag(b)
		e.coefA[i] = complex(ar*br+ai*bi, ar*bi-ai*br)
	}
	cross := e.fft.Sequence(e.padded, e.coefA)
	k := 2 / float64(len(e.padded)) // the transforms scale by the length
	e.d[0] = 0
	for lag := 1; lag < len(e.d); lag++ {
		energy := e.power[w] + (e.power[lag+w] - e.power[lag])
		e.d[lag] = math.Max(0, energy-k*cross[lag])
	}
}

// normalise turns d into d′ in place, eq. 8: d′(0) = 1 and
//
//	d′(τ) = d(τ) · τ / Σ_{1≤k≤τ} d(k)
//
// and 1 where that sum is 0.
func normalise(d []float64) {
	d[0] = 1
	sum := 0.0
	for lag := 1; lag < len(d); lag++ {
		sum += d[lag]
		if sum > 0 {
			d[lag] *= float64(lag) / sum
		} else {
			d[lag] = 1
		}
	}
}

// dip is a local minimum of d′.
type dip struct {
	lag   float64 // samples, interpolated
	depth float64 // d′ there
}

const (
	// A dip rivals the deepest one, depth d, when it is no shallower than
	// rivalFactor·d + rivalMargin. The absolute threshold 0.1 of the paper
	// takes the second harmonic for the fundamental wherever the odd harmonics
	// hold less than a twentieth of the power (bright vowels at 330 to 660 Hz);
	// in noise it may find nothing. The margin was 0.006 at first; on the grid of
	// TestOctaves, hum at 60 Hz and −20 dB then made a tenth of the frames come
	// out an octave down. The factor is a first choice and was not searched.
	rivalFactor = 1.35
	rivalMargin = 0.025
	// A rival must divide the deepest lag: within rivalTune of its own length.
	rivalTune = 0.06
	// Steps of d′ smaller than this may be rounding: no slope.
	levelGround = 1e-8
)

// choose returns the period in samples and its d′: the shortest dip that rivals
// the deepest and divides it. The deepest dip is the period or, as d′ of a
// periodic sound is the same at all its multiples, any multiple of it. The
// period is 0 if there is no dip in the range.
func (e *Estimator) choose() (period, aperiodicity float64) {
	e.dips = e.dips[:0]
	best := dip{depth: math.Inf(1)}
	for lag := e.minLag; lag <= e.maxLag; lag++ {
		a, b, c := e.d[lag-1], e.d[lag], e.d[lag+1]
		if !(b < a-levelGround && b <= c+levelGround) {
			continue
		}
		// Parabola through three points (step 5 of the paper).
		shift := math.Max(-1, math.Min(1, (a-c)/(2*(a-2*b+c))))
		p := dip{float64(lag) + shift, math.Max(0, b-(a-c)*shift/4)}
		e.dips = append(e.dips, p)
		if p.depth < best.depth {
			best = p
		}
	}
	if len(e.dips) == 0 {
		return 0, 1
	}
	limit := rivalFactor*best.depth + rivalMargin
	for _, p := range e.dips {
		if p.depth > limit {
			continue
		}
		times := best.lag / p.lag
		if n := math.Round(times); math.Abs(times-n) < rivalTune*math.Max(1, n/2) {
			return p.lag, math.Min(1, p.depth)
		}
	}
	return best.lag, math.Min(1, best.depth)
}
