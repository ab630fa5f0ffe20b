// Package testkit makes signals whose fundamental frequency is known exactly,
// for tests only.
//
// [Tone] sings any [Curve] with any set of harmonics; [Mix] adds noise at a
// stated signal-to-noise ratio. Nothing here plays or reads sound, and nothing
// imitates a real voice closely: that is the synthesiser's job.
package testkit

import (
	"math"
	"math/rand/v2"
)

// Curve gives the fundamental frequency in hertz at t seconds. It is the truth
// that a tracker is compared with.
type Curve func(t float64) float64

// Steady is a fundamental that does not move.
func Steady(hz float64) Curve { return func(float64) float64 { return hz } }

// Glide moves evenly in cents, centsPerSecond from hz at t = 0.
func Glide(hz, centsPerSecond float64) Curve {
	return func(t float64) float64 { return hz * math.Exp2(centsPerSecond*t/1200) }
}

// Vibrato swings around hz by ±cents, rate times a second, starting upwards.
func Vibrato(hz, rate, cents float64) Curve {
	return func(t float64) float64 {
		return hz * math.Exp2(cents*math.Sin(2*math.Pi*rate*t)/1200)
	}
}

// Scoop starts cents away from hz (negative: from below) and reaches it evenly
// in cents after seconds.
func Scoop(hz, cents, seconds float64) Curve {
	return func(t float64) float64 {
		if t >= seconds {
			return hz
		}
		return hz * math.Exp2(cents*(1-t/seconds)/1200)
	}
}

// Then is a until at seconds and b, with its own time from 0, afterwards.
func Then(a Curve, at float64, b Curve) Curve {
	return func(t float64) float64 {
		if t < at {
			return a(t)
		}
		return b(t - at)
	}
}

// Harmonics gives n amplitudes that fall by slopeDB per octave from 1.
func Harmonics(n int, slopeDB float64) []float64 {
	a := make([]float64, n)
	for i := range a {
		a[i] = math.Pow(10, -slopeDB*math.Log2(float64(i+1))/20)
	}
	return a
}

// MissingFundamental is Harmonics with nothing at the fundamental.
func MissingFundamental(n int, slopeDB float64) []float64 {
	a := Harmonics(n, slopeDB)
	a[0] = 0
	return a
}

// StrongSecond is Harmonics with the second harmonic db above the fundamental.
func StrongSecond(n int, slopeDB, db float64) []float64 {
	a := Harmonics(n, slopeDB)
	a[1] = math.Pow(10, db/20)
	return a
}

// Vowel gives n amplitudes of a source that falls by 12 dB per octave, less
// 6 dB per octave for the lips, under resonances at the formants (hertz), each
// with a bandwidth of 80 Hz plus a twentieth of its frequency.
func Vowel(hz float64, n int, formants ...float64) []float64 {
	a := Harmonics(n, 6)
	for i := range a {
		f := hz * float64(i+1)
		for _, c := range formants {
			b := 80 + c/20
			a[i] *= c * c / math.Hypot(c*c-f*f, b*f)
		}
	}
	return a
}

// Tone sings curve for the given seconds with amplitude amps[h-1] at harmonic
// h. Harmonics above 0.45 of the rate are left out. The phase is the integral
// of the curve by Simpson's rule over each sample, and starts at a fixed spread
// of phases so that the crest factor is a voice's and not a pulse train's. The
// Whine returns so many seconds of a room in which something whines: white noise at
// -75 dBFS and, over it, a steady tone of hz with three overtones at level dBFS, both
// RMS.
func Whine(rate int, seconds, hz, level float64) []float64 {
	x := Scale(White(int(seconds*float64(rate)), 3), math.Pow(10, -75.0/20))
	tone := Tone(rate, seconds, Steady(hz), []float64{1, 0.5, 0.25, 0.12})
	for i, v := range Scale(tone, math.Pow(10, level/20)/RMS(tone)) {
		x[i] += v
	}
	return x
}

// RMS of a steady tone is −20 dBFS.
func Tone(rate int, seconds float64, curve Curve, amps []float64) []float64 {
	n := int(math.Round(seconds * float64(rate)))
	out := make([]float64, n)
	dt := 1 / float64(rate)
	power := 0.0
	for _, a := range amps {
		power += a * a / 2
	}
	gain := 0.1 / math.Sqrt(power)
	phase := 0.0 // cycles
	for i := range out {
		t := float64(i) * dt
		f := curve(t)
		for h, a := range amps {
			k := float64(h + 1)
			if a == 0 || k*f > 0.45*float64(rate) {
				continue
			}
			out[i] += gain * a * math.Sin(2*math.Pi*(k*phase+0.38*k*k))
		}
		phase += dt / 6 * (f + 4*curve(t+dt/2) + curve(t+dt))
		phase -= math.Floor(phase)
	}
	return out
}

// White is Gaussian noise of RMS 1.
func White(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 0x5eed))
	x := make([]float64, n)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

// Pink is noise of RMS 1 that falls by 3 dB per octave (the sum of first-order
// filters after P. Kellet, within 0.05 dB above 9 Hz at 44.1 kHz; from memory).
func Pink(n int, seed uint64) []float64 {
	x := White(n, seed)
	var b [7]float64
	for i, w := range x {
		b[0] = 0.99886*b[0] + w*0.0555179
		b[1] = 0.99332*b[1] + w*0.0750759
		b[2] = 0.96900*b[2] + w*0.1538520
		b[3] = 0.86650*b[3] + w*0.3104856
		b[4] = 0.55000*b[4] + w*0.5329522
		b[5] = -0.7616*b[5] - w*0.0168980
		x[i] = b[0] + b[1] + b[2] + b[3] + b[4] + b[5] + b[6] + w*0.5362
		b[6] = w * 0.115926
	}
	return Scale(x, 1/RMS(x))
}

// Breath is noise of RMS 1 shaped like breath: white between about 700 and
// 6000 Hz, falling by 6 dB per octave on either side.
func Breath(n, rate int, seed uint64) []float64 {
	x := White(n, seed)
	lo := math.Exp(-2 * math.Pi * 700 / float64(rate))
	hi := math.Exp(-2 * math.Pi * math.Min(6000, 0.4*float64(rate)) / float64(rate))
	var slow, smooth float64
	for i, w := range x {
		slow = lo*slow + (1-lo)*w
		smooth = hi*smooth + (1-hi)*(w-slow)
		x[i] = smooth
	}
	return Scale(x, 1/RMS(x))
}

// Hum is mains hum of RMS 1: hz and its harmonics 2 to 5, falling by 6 dB each.
func Hum(n, rate int, hz float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		for h := 1.0; h <= 5; h++ {
			x[i] += math.Exp2(1-h) * math.Sin(2*math.Pi*h*hz*float64(i)/float64(rate)+h)
		}
	}
	return Scale(x, 1/RMS(x))
}

// RMS of x; 0 for nothing.
func RMS(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	var s float64
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

// Scale multiplies x by g in place and returns it.
func Scale(x []float64, g float64) []float64 {
	for i := range x {
		x[i] *= g
	}
	return x
}

// Mix adds other to x in place, snrDB below the RMS of x, and returns x.
func Mix(x, other []float64, snrDB float64) []float64 {
	g := RMS(x) / RMS(other) * math.Pow(10, -snrDB/20)
	for i := range x {
		x[i] += g * other[i]
	}
	return x
}

// Clip drives the peak of x by db above full scale, in place, and cuts at ±1.
func Clip(x []float64, db float64) []float64 {
	peak := 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
	}
	g := math.Pow(10, db/20) / peak
	for i, v := range x {
		x[i] = math.Max(-1, math.Min(1, v*g))
	}
	return x
}

// Silence is n zeros.
func Silence(n int) []float64 { return make([]float64, n) }

// Cents is how far f lies above ref, in cents.
func Cents(f, ref float64) float64 { return 1200 * math.Log2(f/ref) }
