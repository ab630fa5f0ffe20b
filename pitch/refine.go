package pitch

import "math"

// refiner sharpens a fundamental that is already known to a few per cent.
//
// Two windows of the same shape lie as far before the centre of the frame as
// after it, a whole number m of periods apart. What a harmonic's phase turns
// between them, beyond whole turns, says how far off the assumed frequency is:
// δφ_h = 2π·h·δf·D with D = m/f the distance in seconds. A least-squares line
// through the phases of all harmonics, each weighted by its power, gives δf.
//
// When f is right, a periodic sound looks the same through both windows
// whatever leaks from one harmonic into the next, so the fixed point has no
// bias, between sample positions as on them. As the windows are symmetrical
// about the centre, the quadratic phase of a glide cancels: the result belongs
// to the centre and does not lag.
type refiner struct {
	rate   float64 // of the samples looked at
	stride int     // every stride-th sample of the frame is looked at
	reach  int     // samples looked at on either side of the centre
	before []float64
	after  []float64
}

const (
	// The harmonics used, by number and by frequency.
	maxHarmonics  = 10
	maxHarmonicHz = 5000
	// Frames come from a low-pass that ends at stopHz (see resample.go), so
	// this rate is enough to keep everything under maxHarmonicHz clean.
	refineRate = maxHarmonicHz + stopHz
	// Distance of the windows in the last step. A third of what is looked at
	// makes the variance least (two segments, phase difference).
	refineSeconds = 0.013
)

func newRefiner(rate float64, frame int) refiner {
	stride := max(1, int(rate/refineRate))
	reach := (frame / 2) / stride
	return refiner{
		rate: rate / float64(stride), stride: stride, reach: reach,
		before: make([]float64, 2*reach+1), after: make([]float64, 2*reach+1),
	}
}

// refine returns the fundamental at the middle of frame, in hertz, given one
// that is within 5 %. It returns f itself if the harmonics do not agree.
func (r *refiner) refine(frame []float64, f float64) float64 {
	// One period apart first: the tenth harmonic then stays within half a turn
	// for an error of 5 %. Then further apart, and once more at the result.
	g := f
	for _, periods := range [...]float64{1, math.Floor(refineSeconds * f), math.Floor(refineSeconds * f)} {
		g = r.step(frame, g, math.Max(1, periods))
		if !(math.Abs(g/f-1) < 0.06) {
			return f
		}
	}
	return g
}

// step is one least-squares step with windows the given number of periods of f
// apart.
func (r *refiner) step(frame []float64, f, periods float64) float64 {
	distance := periods / f * r.rate // samples
	length := float64(2*r.reach) - distance
	r.windowed(frame, distance, length)
	harmonics := min(maxHarmonics, int(math.Min(maxHarmonicHz, 0.45*r.rate)/f))
	var top, bottom float64
	for h := 1; h <= harmonics; h++ {
		k := float64(h)
		br, bi, ar, ai := r.harmonic(2 * math.Pi * k * f / r.rate)
		// after·conj(before): its angle is the turn, its size the power.
		re, im := ar*br+ai*bi, ai*br-ar*bi
		power := math.Hypot(re, im)
		top += k * power * math.Atan2(im, re)
		bottom += k * k * power
	}
	if bottom == 0 {
		return f
	}
	return f + top/bottom/(2*math.Pi)*f/periods
}

// windowed fills before and after with the frame under Hann windows of the
// given length, centred distance/2 before and after the middle. The windows
// are laid at their exact, fractional places.
func (r *refiner) windowed(frame []float64, distance, length float64) {
	middle := len(frame) / 2
	clear(r.before)
	clear(r.after)
	// cos(2π·u/length) along u = n + distance/2, by rotation.
	step := 2 * math.Pi / length
	sr, cr := math.Sincos(step)
	first := int(math.Ceil(-length/2 - distance/2))
	s, c := math.Sincos(step * (float64(first) + distance/2))
	for n := max(first, -r.reach); n <= r.reach && float64(n)+distance/2 <= length/2; n++ {
		w := 0.5 + 0.5*c
		// The other window is the mirror image of this one.
		r.before[r.reach+n] = w * frame[middle+n*r.stride]
		r.after[r.reach-n] = w * frame[middle-n*r.stride]
		s, c = s*cr+c*sr, c*cr-s*sr
	}
}

// harmonic is Σ x[n]·e^(−iwn), n counted from the first sample, for both
// windows up to one common phase, by Goertzel's recurrence.
func (r *refiner) harmonic(w float64) (beforeRe, beforeIm, afterRe, afterIm float64) {
	sin, cos := math.Sincos(w)
	k := 2 * cos
	var b1, b2, a1, a2 float64
	after := r.after[:len(r.before)]
	for i, v := range r.before {
		b1, b2 = v-b2+k*b1, b1
		a1, a2 = after[i]-a2+k*a1, a1
	}
	return b1 - cos*b2, sin * b2, a1 - cos*a2, sin * a2
}
