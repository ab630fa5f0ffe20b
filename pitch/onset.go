package pitch

import "math"

// Onset is where a sung note begins, or begins anew on the same pitch.
type Onset struct {
	Index    int64   // sample, between frames
	Strength float64 // probability that a listener would mark a note here, MinOnset … 1
}

// MinOnset is the least Strength of an Onset that is given out.
const MinOnset = .35

const (
	onsetBefore = 46  // frames of the past an onset is judged by
	onsetAfter  = 13  // and of what follows
	onsetApart  = 9   // frames: of two onsets nearer than this the stronger one counts
	onsetShift  = .02 // s from the peak of the flux to where people mark the note
	onsetRing   = 128
	onsetDelay  = onsetAfter + onsetApart + 2 // points until an onset is known
	numOnset    = 29
)

// OnsetFinder finds the onsets of sung notes in the points of a Tracker. The
// spectrum sees an onset before the pitch does: every local maximum of the flux
// is a candidate, judged by what happens to flux, level, pitch and voicing
// around it (a logistic model). An onset is given out 230 ms after its place.
type OnsetFinder struct {
	hop     float64 // samples
	seconds float64
	n       int64 // points seen
	f       [onsetRing]float64
	l       [onsetRing]float64
	st      [onsetRing]float64 // semitones above 1 Hz, NaN unvoiced
	conf    [onsetRing]float64
	loud    [onsetRing]float64
	peak    float64
	wait    [4]onsetPeak
	waiting int
	x       [numOnset]float64
}

type onsetPeak struct {
	k    int64
	off  float64
	p    float64
	dead bool
}

// NewOnsetFinder makes a finder for the points of a tracker with this cfg.
func NewOnsetFinder(cfg Config) *OnsetFinder {
	o := &OnsetFinder{hop: float64(cfg.Hop), seconds: float64(cfg.Hop) / float64(cfg.SampleRate)}
	o.Reset()
	return o
}

// Reset forgets all points.
func (o *OnsetFinder) Reset() {
	o.n, o.peak, o.waiting = 0, onsetQuiet, 0
	for i := range o.f {
		o.f[i], o.l[i], o.conf[i], o.loud[i] = 0, onsetQuiet, 0, onsetQuiet
		o.st[i] = math.NaN()
	}
}

const onsetQuiet = -75. // dBFS below which levels are alike

// Push takes points in order and appends the onsets that are certain.
func (o *OnsetFinder) Push(dst []Onset, points []Point) []Onset {
	for i := range points {
		dst = o.push(dst, &points[i])
	}
	return dst
}

// Flush gives the rest, as if silence followed, and makes o ready for another
// track.
func (o *OnsetFinder) Flush(dst []Onset) []Onset {
	quiet := Point{Level: MinLevel}
	for i := 0; i < onsetAfter+onsetApart+1; i++ {
		dst = o.push(dst, &quiet)
	}
	o.Reset()
	return dst
}

func (o *OnsetFinder) push(dst []Onset, p *Point) []Onset {
	i := o.n & (onsetRing - 1)
	o.f[i], o.l[i], o.conf[i], o.st[i] = p.Flux, math.Max(onsetQuiet, p.Level), p.Confidence, math.NaN()
	if p.Voiced {
		o.st[i] = 12 * math.Log2(p.F0)
	}
	o.peak = math.Max(o.l[i], o.peak-.05)
	o.loud[i] = o.peak
	o.n++
	k := o.n - 1 - onsetAfter
	if k < 2 {
		return dst
	}
	if o.isPeak(k) {
		q := onsetPeak{k: k, p: o.judge(k)}
		a, b, c := o.f[(k-1)&(onsetRing-1)], o.f[k&(onsetRing-1)], o.f[(k+1)&(onsetRing-1)]
		if d := a - 2*b + c; d != 0 {
			q.off = .5 * (a - c) / d
		}
		for j := 0; j < o.waiting; j++ {
			w := &o.wait[j]
			if k-w.k <= onsetApart {
				if q.p > w.p {
					w.dead = true
				} else {
					q.dead = true
				}
			}
		}
		if o.waiting < len(o.wait) {
			o.wait[o.waiting] = q
			o.waiting++
		}
	}
	for o.waiting > 0 && k-o.wait[0].k >= onsetApart {
		w := o.wait[0]
		o.waiting = copy(o.wait[:], o.wait[1:o.waiting])
		if !w.dead && w.p >= MinOnset {
			at := (float64(w.k)+w.off)*o.hop + onsetShift/o.seconds*o.hop
			dst = append(dst, Onset{Index: int64(math.Round(at)), Strength: w.p})
		}
	}
	return dst
}

func (o *OnsetFinder) isPeak(k int64) bool {
	v := o.f[k&(onsetRing-1)]
	if v < .05 {
		return false
	}
	for j := k - 4; j <= k+4; j++ {
		if o.f[j&(onsetRing-1)] > v {
			return false
		}
	}
	return true
}

// mean and lowest over [from, to).
func (o *OnsetFinder) mean(y *[onsetRing]float64, from, to int64) float64 {
	s := 0.0
	for j := from; j < to; j++ {
		s += y[j&(onsetRing-1)]
	}
	return s / float64(to-from)
}

func (o *OnsetFinder) lowest(y *[onsetRing]float64, from, to int64) float64 {
	s := math.Inf(1)
	for j := from; j < to; j++ {
		s = math.Min(s, y[j&(onsetRing-1)])
	}
	return s
}

// pitches gathers the voiced semitones of [from, to), sorted.
func (o *OnsetFinder) pitches(buf *[16]float64, from, to int64) []float64 {
	n := 0
	for j := from; j < to; j++ {
		v := o.st[j&(onsetRing-1)]
		if math.IsNaN(v) {
			continue
		}
		i := n
		for i > 0 && buf[i-1] > v {
			buf[i] = buf[i-1]
			i--
		}
		buf[i] = v
		n++
	}
	return buf[:n]
}

func middle(s []float64) float64 {
	n := len(s)
	return .5 * (s[(n-1)/2] + s[n/2])
}

func average(s []float64) float64 {
	t := 0.0
	for _, v := range s {
		t += v
	}
	return t / float64(len(s))
}

func (o *OnsetFinder) judge(k int64) float64 {
	var ba, bb, bc [16]float64
	f := o.f[k&(onsetRing-1)]
	rel := f / (o.mean(&o.f, k-onsetBefore, k+onsetAfter+1) + .02)
	a := o.pitches(&ba, k+3, k+12)
	b := o.pitches(&bb, k-13, k-2)
	none, dp := 1.0, 0.0
	if len(a) > 2 && len(b) > 2 {
		none, dp = 0, math.Min(2, math.Abs(middle(a)-middle(b)))
	}
	spread := 2.0
	if len(a) > 3 {
		m, s := average(a), 0.0
		for _, v := range a {
			s += (v - m) * (v - m)
		}
		spread = math.Min(2, math.Sqrt(s/float64(len(a))))
	}
	va := float64(len(o.pitches(&bc, k+2, k+12))) / 10
	vb := float64(len(o.pitches(&bc, k-5, k+3))) / 8
	low := o.lowest(&o.l, k-7, k+2)
	rise := o.mean(&o.l, k+2, k+8) - low
	jump := o.mean(&o.l, k+1, k+5) - o.mean(&o.l, k-4, k)
	fall := o.mean(&o.l, k-12, k-4) - low
	top := math.Inf(-1)
	for j := k + 2; j < k+10; j++ {
		top = math.Max(top, o.l[j&(onsetRing-1)])
	}
	step := 0.0
	a = o.pitches(&ba, k, k+4)
	b = o.pitches(&bb, k-4, k)
	if len(a) > 0 && len(b) > 0 {
		step = math.Min(2, math.Abs(average(a)-average(b)))
	}
	o.x = [numOnset]float64{
		1, f, over(f, .15), over(f, .3), math.Min(rel, 6), dp, over(dp, .5), none,
		va, over(va, .5), vb, math.Min(rise, 30) / 10, over(rise, 6) / 10, jump / 10,
		over(math.Min(fall, 20), 3) / 10, spread, o.lowest(&o.conf, k-4, k+4),
		(top - o.loud[(k+9)&(onsetRing-1)]) / 10, va * math.Min(rise, 25) / 10, dp * f,
		over(math.Min(rel, 8), 1.5), over(math.Min(rel, 8), 3), over(math.Min(rise, 30), 12) / 10,
		over(math.Min(jump, 20), 3) / 10, over(dp, .25) * va, f * va, math.Min(rel, 6) * va, step, over(f, .08),
	}
	z := 0.0
	for i, v := range o.x {
		z += onsetWeights[i] * v
	}
	return 1 / (1 + math.Exp(-z))
}

// Fitted on the reference sight-singing recordings (1240 marked notes).
var onsetWeights = [numOnset]float64{-9.9937, 0.9761, 1.1682, 0.3139, 1.8460, 1.5234, -1.7471, 0.9187, 0.7315, 3.0389, -1.6264, -0.9782, -0.6829, 0.0890, 0.9181, -1.2897, -0.3219, -0.2873, 2.4568, -3.7010, -2.5115, 0.8543, -1.3514, 1.4434, 2.5057, 1.5159, 1.7388, 0.6160, 0.9906}
