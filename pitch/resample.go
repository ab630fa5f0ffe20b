package pitch

import "math"

// resampler low-passes a signal and changes its rate by up/down, without delay:
// sample i of the output stands at sample i·down/up of the input.
//
// The voice's pitch lies in what is under passHz. Taking the rest away keeps
// breath and hiss out of the difference function, and an inner rate of at least
// innerRate then keeps the dips of that function several samples wide, at 8 kHz
// as at 192 kHz.
type resampler struct {
	up, down int
	half     int       // reach of the filter, in steps of 1/up of an input sample
	taps     []float64 // 2·half+1, symmetrical
}

const (
	passHz    = 5000
	stopHz    = 9000
	innerRate = 32000
)

// newResampler makes the filter for an input of rate hertz that is read in hops
// of hop samples: outputs must fall on every hop-th input sample, so down
// divides hop.
func newResampler(rate, hop int) resampler {
	r := resampler{up: (innerRate + rate - 1) / rate, down: 1}
	for q := 2; rate/q >= innerRate; q++ {
		if hop%q == 0 {
			r.down = q
		}
	}
	// Windowed sinc with a Kaiser window (Kaiser 1974): for A dB in the stop
	// band, β = 0.1102·(A − 8.7) and (A − 8)/(2.285·Δω) taps.
	const stopDB = 70
	inner := float64(rate * r.up)
	pass, stop := float64(passHz), float64(stopHz)
	if r.up > 1 { // the first image starts at rate − pass
		pass = math.Min(pass, 0.44*float64(rate))
		stop = math.Min(stop, 0.56*float64(rate))
	}
	width := 2 * math.Pi * (stop - pass) / inner
	cutoff := (pass + stop) / inner // in half-cycles per sample
	r.half = int(math.Ceil((stopDB - 8) / (2.285 * width) / 2))
	r.taps = make([]float64, 2*r.half+1)
	beta := 0.1102 * (stopDB - 8.7)
	sums := make([]float64, r.up)
	for i := range r.taps {
		n := float64(i - r.half)
		u := n / float64(r.half)
		r.taps[i] = bessel0(beta*math.Sqrt(math.Max(0, 1-u*u))) * sinc(cutoff*n)
		sums[i%r.up] += r.taps[i]
	}
	// Unity gain for a constant, in every phase.
	for i := range r.taps {
		r.taps[i] /= sums[i%r.up]
	}
	return r
}

// reach is how many input samples on either side an output looks at, at most.
func (r *resampler) reach() int { return (r.half + r.up - 1) / r.up }

// at is the output at steps/up input samples after in[origin].
func (r *resampler) at(in []float64, origin, steps int) float64 {
	p := origin*r.up + steps
	first := (p - r.half + r.up - 1) / r.up
	k := first*r.up - p + r.half
	sum := 0.0
	if r.up == 1 {
		part := in[first : first+len(r.taps)]
		for i, t := range r.taps {
			sum += t * part[i]
		}
		return sum
	}
	for ; k < len(r.taps); k += r.up {
		sum += r.taps[k] * in[first]
		first++
	}
	return sum
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel0 is the modified Bessel function I₀ by its series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / 2 / k) * (x / 2 / k)
		sum += term
	}
	return sum
}
