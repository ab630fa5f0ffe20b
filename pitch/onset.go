package pitch

import "math"

// Onset is where a sung note begins, or begins anew on the same pitch.
type Onset struct {
	Index    int64   // sample, between frames
	Strength float64 // probability that a listener would mark a note here, MinOnset … 1
}

// MinOnset is the least Strength of an Onset that is given out.
const MinOnset = .25

// Constants without another source were chosen by trial; they come from no publication.
// Those that count frames are for the usual hop of 10 ms. What has a from and a to counts
// frames from the peak of the flux on, and does not reach its end.
const (
	onsetBefore = 46                                      // frames of the past an onset is judged by
	onsetAfter  = 13                                      // and of what follows
	onsetApart  = 9                                       // frames: of two onsets nearer than this the stronger one counts
	onsetRing   = 128                                     // frames kept: a power of two above onsetBefore + onsetAfter + onsetApart
	onsetWaits  = 4                                       // candidates that may wait for a stronger one: isPeak leaves three in onsetApart
	onsetDelay  = onsetAfter + onsetApart - placeFrom + 1 // points until an onset is known
	onsetQuiet  = -75.                                    // dBFS below which levels are alike
	onsetForget = .05                                     // dB a frame that the loudest level forgets

	peakLeast = .05 // flux of a candidate at least
	peakApart = 4   // frames to either side that have no more flux

	noteFrom, noteTo      = 3, 12   // frames of the pitch after it
	beforeFrom, beforeTo  = -13, -2 // and before
	singsFrom, singsTo    = 2, 12   // frames that may be voiced after it
	sangFrom, sangTo      = -5, 3   // and before
	lowFrom, lowTo        = -7, 2   // of the least level
	riseFrom, riseTo      = 2, 8    // of the mean level that it rises to
	sankFrom, sankTo      = -12, -4 // and falls from
	jumpFrom, jumpTo      = 1, 5    // of the mean level after
	jumpBefore, jumpUntil = -4, 0   // and before
	topFrom, topTo        = 2, 10   // of the loudest level
	leastFrom, leastTo    = -6, 6   // of the least level, about which it sinks and climbs
	sinkFrom, climbTo     = -15, 13
	pastFrom, pastTo      = -10, -3 // of the pitch before a dip
	nextFrom, nextTo      = 5, 12   // and after
	dipFrom, dipTo        = -3, 5   // and in it
	stepReach             = 4       // frames to either side of the step of pitch
	sureReach             = 4       // and of the least confidence
	fewPitches            = 3       // voiced frames that make a pitch

	fluxUsual     = .02 // flux that is added to the mean: where nothing moves, little is no peak
	mostUsual     = 6   // times the usual flux, as a feature by itself
	mostUsualOver = 8   // and in its hinges, whose knots follow
	usualKnot     = 1.5
	usualKnot2    = 3
	mostStep      = 2   // semitones that a step or a scatter counts for, at most
	intervalKnot  = .25 // semitones: of the interval, where a voice follows
	// The level: dB that count at most, and knots.
	mostOnsetRise = 30
	mostRiseSung  = 25 // where it is multiplied by how much is sung
	mostJump      = 20
	mostFall      = 20
	riseKnot      = 6
	riseKnot2     = 12
	jumpKnot      = 3
	fallKnot      = 3
)

// OnsetFinder finds the onsets of sung notes in the points of a Tracker. The
// spectrum sees an onset before the pitch does: every local maximum of the flux
// is a candidate, judged by what happens to flux, level, pitch and voicing
// around it (a logistic model). Its place is where the note has come (place.go). An onset
// is given out 220 ms after the peak.
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
	wait    [onsetWaits]onsetPeak
	waiting int
	x       [numOnset]float64
	here    [numPlace]float64
	last    float64 // sample where the last onset is
}

type onsetPeak struct {
	k    int64
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
	o.n, o.peak, o.waiting, o.last = 0, onsetQuiet, 0, math.Inf(-1)
	for i := range o.f {
		o.f[i], o.l[i], o.conf[i], o.loud[i] = 0, onsetQuiet, 0, onsetQuiet
		o.st[i] = math.NaN()
	}
}

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
	dst = o.rest(dst)
	o.Reset()
	return dst
}

// rest gives the rest, and forgets nothing yet.
func (o *OnsetFinder) rest(dst []Onset) []Onset {
	quiet := Point{Level: MinLevel}
	for i := 0; i < onsetAfter+onsetApart+1; i++ {
		dst = o.push(dst, &quiet)
	}
	return dst
}

func (o *OnsetFinder) push(dst []Onset, p *Point) []Onset {
	i := o.n & (onsetRing - 1)
	o.f[i], o.l[i], o.conf[i], o.st[i] = p.Flux, math.Max(onsetQuiet, p.Level), p.Confidence, math.NaN()
	if p.Voiced {
		o.st[i] = 12 * math.Log2(p.F0)
	}
	o.peak = math.Max(o.l[i], o.peak-onsetForget)
	o.loud[i] = o.peak
	o.n++
	k := o.n - 1 - onsetAfter
	if k < 2 {
		return dst
	}
	if o.isPeak(k) {
		q := onsetPeak{k: k, p: o.judge(k)}
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
		if w.dead || w.p < MinOnset {
			continue
		}
		if at := (float64(w.k) + o.place(w.k)) * o.hop; at-o.last >= placeApart*o.hop {
			o.last = at
			dst = append(dst, Onset{Index: int64(math.Round(at)), Strength: w.p})
		}
	}
	return dst
}

// isPeak tells whether the flux of frame k is the highest around.
func (o *OnsetFinder) isPeak(k int64) bool {
	v := o.f[k&(onsetRing-1)]
	if v < peakLeast {
		return false
	}
	for j := k - peakApart; j <= k+peakApart; j++ {
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

// pitchesMost is more than the frames of any stretch whose pitches are gathered.
const pitchesMost = 16

// pitches gathers the voiced semitones of [from, to), sorted.
func (o *OnsetFinder) pitches(buf *[pitchesMost]float64, from, to int64) []float64 {
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

// judge is the probability that there is an onset at frame k: see onsetFeatures.
func (o *OnsetFinder) judge(k int64) float64 {
	x := &o.x
	x[atOne] = 1
	flux := o.f[k&(onsetRing-1)]
	x[atFlux] = flux
	usual := flux / (o.mean(&o.f, k-onsetBefore, k+onsetAfter+1) + fluxUsual)
	x[atUsual] = math.Min(usual, mostUsual)
	x[atUsualOver15] = over(math.Min(usual, mostUsualOver), usualKnot)
	x[atUsualOver30] = over(math.Min(usual, mostUsualOver), usualKnot2)
	o.judgePitch(k, x)
	o.judgeLevel(k, x)
	o.judgeDips(k, x)
	x[atConfidence] = o.lowest(&o.conf, k-sureReach, k+sureReach)
	onsetPlan.fill(x[:])
	z := 0.0
	for i, v := range x {
		z += onsetWeights[i] * v
	}
	return 1 / (1 + math.Exp(-z))
}

// judgePitch fills in what pitch and voicing say.
func (o *OnsetFinder) judgePitch(k int64, x *[numOnset]float64) {
	var ba, bb, bc [pitchesMost]float64
	a := o.pitches(&ba, k+noteFrom, k+noteTo)
	b := o.pitches(&bb, k+beforeFrom, k+beforeTo)
	x[atNone], x[atInterval] = 1, 0
	if len(a) >= fewPitches && len(b) >= fewPitches {
		x[atNone], x[atInterval] = 0, math.Min(mostStep, math.Abs(middle(a)-middle(b)))
	}
	x[atScatter] = mostStep
	if len(a) > fewPitches {
		m, s := average(a), 0.0
		for _, v := range a {
			s += (v - m) * (v - m)
		}
		x[atScatter] = math.Min(mostStep, math.Sqrt(s/float64(len(a))))
	}
	x[atSings] = float64(len(o.pitches(&bc, k+singsFrom, k+singsTo))) / (singsTo - singsFrom)
	x[atSang] = float64(len(o.pitches(&bc, k+sangFrom, k+sangTo))) / (sangTo - sangFrom)
	x[atIntervalOver25TimesSings] = over(x[atInterval], intervalKnot) * x[atSings]
	x[atStep] = 0
	a = o.pitches(&ba, k, k+stepReach)
	b = o.pitches(&bb, k-stepReach, k)
	if len(a) > 0 && len(b) > 0 {
		x[atStep] = math.Min(mostStep, math.Abs(average(a)-average(b)))
	}
}

// judgeLevel fills in what the level says, once the flux and the pitch have spoken.
func (o *OnsetFinder) judgeLevel(k int64, x *[numOnset]float64) {
	low := o.lowest(&o.l, k+lowFrom, k+lowTo)
	rise := o.mean(&o.l, k+riseFrom, k+riseTo) - low
	jump := o.mean(&o.l, k+jumpFrom, k+jumpTo) - o.mean(&o.l, k+jumpBefore, k+jumpUntil)
	fall := o.mean(&o.l, k+sankFrom, k+sankTo) - low
	top := math.Inf(-1)
	for j := k + topFrom; j < k+topTo; j++ {
		top = math.Max(top, o.l[j&(onsetRing-1)])
	}
	x[atRise] = math.Min(rise, mostOnsetRise) / tenDB
	x[atRiseOver6] = over(rise, riseKnot) / tenDB
	x[atRiseOver12] = over(math.Min(rise, mostOnsetRise), riseKnot2) / tenDB
	x[atRiseTimesSings] = x[atSings] * math.Min(rise, mostRiseSung) / tenDB
	x[atJump] = jump / tenDB
	x[atJumpOver3] = over(math.Min(jump, mostJump), jumpKnot) / tenDB
	x[atFallOver3] = over(math.Min(fall, mostFall), fallKnot) / tenDB
	x[atUnderLoudest] = (top - o.loud[(k+topTo-1)&(onsetRing-1)]) / tenDB
}

// judgeDips fills in how a consonant shows: the level sinks and climbs again, and the pitch
// dips or peaks for a moment.
func (o *OnsetFinder) judgeDips(k int64, x *[numOnset]float64) {
	low, at := math.Inf(1), k
	for j := k + leastFrom; j < k+leastTo; j++ {
		if v := o.l[j&(onsetRing-1)]; v < low {
			low, at = v, j
		}
	}
	before, after := low, low
	for j := k + sinkFrom; j < at; j++ {
		before = math.Max(before, o.l[j&(onsetRing-1)])
	}
	for j := at + 1; j < k+climbTo; j++ {
		after = math.Max(after, o.l[j&(onsetRing-1)])
	}
	x[atClimb] = math.Min(mostOnsetRise, after-low) / tenDB
	x[atSink] = math.Min(mostOnsetRise, before-low) / tenDB

	x[atDips], x[atPeaks] = 0, 0
	var bp, bn, bd [pitchesMost]float64
	past, next, dip := o.pitches(&bp, k+pastFrom, k+pastTo), o.pitches(&bn, k+nextFrom, k+nextTo), o.pitches(&bd, k+dipFrom, k+dipTo)
	if len(past) > 0 && len(next) > 0 && len(dip) > 0 {
		a, b := average(past), average(next)
		x[atDips] = math.Max(0, math.Min(mostStep, math.Min(a, b)-dip[0]))
		x[atPeaks] = math.Max(0, math.Min(mostStep, dip[len(dip)-1]-math.Max(a, b)))
	}
}
