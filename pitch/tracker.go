package pitch

import (
	"fmt"
	"math"
	"slices"
)

// Reading says how long a [Tracker] may wait before it gives out a point.
type Reading int8

const (
	// Settled decides a frame 60 ms after it is complete: about 90 ms behind
	// its centre. It differs from Offline only where more than 60 ms of what
	// follows would have changed the choice of candidate, and is what a drill
	// is judged on.
	Settled Reading = iota
	// Offline decides a frame by the path through at least three seconds of
	// what follows, or the end of the signal.
	Offline
	// Live decides a frame as soon as the evidence is clear, and 50 ms after
	// it is complete at the latest. Its windows end 10 ms after the centre, so
	// that a note is found within two or three of its periods; the price is
	// noise: its points scatter up to three times as much.
	Live
)

// Config says how a [Tracker] and a [Segmenter] read a signal. [DefaultConfig]
// has the values that fit singing.
type Config struct {
	// SampleRate of the signal in hertz, 8000 … 192000, both allowed.
	SampleRate int
	// MinHz and MaxHz are the search range of F0: 50 ≤ MinHz < MaxHz ≤ 2000.
	MinHz, MaxHz float64
	// Hop is the distance of frames in samples, 1 … 25 ms.
	Hop int
	// MinLevel is the RMS in dBFS under which a frame is not voiced,
	// −120 … 0.
	MinLevel float64
	// Known lists the frequencies, in hertz, of partials that the program
	// itself is sounding while it listens. They are not taken for a voice.
	Known []float64
	// Low and High are the singer's range in hertz, both 0 where it is not
	// known. It is a soft prior: a pitch an octave outside must be e^outside
	// times as likely by its sound, and is never ruled out.
	Low, High float64
	// Reading says how soon points come out.
	Reading Reading
	// Estimates asks for Point.Estimate, which costs a few percent of the time.
	Estimates bool
}

// outside is what an octave outside the singer's range costs, as a natural
// logarithm.
const outside = 3.0

// DefaultConfig is for singers from a low bass (C2, 65.4 Hz) to a high soprano
// or a child (F6, 1397 Hz): a range of 62 to 1450 Hz, where the floor keeps the
// 60 Hz of the mains outside; a hop of 10 ms, to the nearest sample; a level of
// at least −75 dBFS; a settled reading.
func DefaultConfig(sampleRate int) Config {
	return Config{
		SampleRate: sampleRate,
		MinHz:      62, MaxHz: 1450,
		Hop:      (sampleRate + 50) / 100,
		MinLevel: -75,
	}
}

func (c Config) check() error {
	switch {
	case c.SampleRate < 8000 || c.SampleRate > 192000:
		return fmt.Errorf("pitch: sample rate %d Hz, want 8000 to 192000", c.SampleRate)
	case !(c.MinHz >= 50 && c.MinHz < c.MaxHz && c.MaxHz <= 2000):
		return fmt.Errorf("pitch: search range %g to %g Hz, want 50 ≤ lowest < highest ≤ 2000", c.MinHz, c.MaxHz)
	case c.Hop < c.SampleRate/1000 || c.Hop > c.SampleRate/40:
		return fmt.Errorf("pitch: hop of %d samples, want 1 to 25 ms: %d to %d at %d Hz", c.Hop, c.SampleRate/1000, c.SampleRate/40, c.SampleRate)
	case !(c.MinLevel >= MinLevel && c.MinLevel <= 0):
		return fmt.Errorf("pitch: lowest level %g dBFS, want %g to 0", c.MinLevel, float64(MinLevel))
	case c.Reading < Settled || c.Reading > Live:
		return fmt.Errorf("pitch: reading %d, want Settled, Offline or Live", c.Reading)
	case !(c.Low == 0 && c.High == 0 || c.Low >= 20 && c.Low < c.High && c.High <= 5000):
		return fmt.Errorf("pitch: singer's range %g to %g Hz, want 20 ≤ lowest < highest ≤ 5000, or both 0", c.Low, c.High)
	case slices.ContainsFunc(c.Known, func(f float64) bool { return !(f > 0 && f < 1e6) }):
		return fmt.Errorf("pitch: known partials %v, want frequencies in hertz", c.Known)
	}
	return nil
}

const (
	// innerRate is the highest rate, in hertz, that is looked at: harmonics to
	// 4.9 kHz are enough to tell the pitch of any voice.
	innerRate = 20000
	// How many frames a reading waits.
	settledLag = 6   // 60 ms at the usual hop
	liveLag    = 5   // 50 ms
	offlineLag = 300 // 3 s
	// blocks is how many hops the ring of levels holds.
	blocks = 16
	// offsetBlocks is how many of them before a frame's own, and itself, tell
	// what constant offset the signal has.
	offsetBlocks = 4
	// run is how many samples are taken at once, at most: a multiple of the
	// largest step.
	run = 512
	// loudest is the largest sample that is believed, 18 dB over full scale:
	// what lies beyond is no sound but a fault on the way.
	loudest = 8.0
	// fewest is how many frames in a row a sung sound has: by trial.
	fewest = 3
	// halverTaps are the one-sided taps of a half-band stage, halverLast those of the
	// last one, which is the steepest: what it folds back is heard. Kaiser's β 5 has
	// a stop band of −54 dB (Kaiser 1974).
	halverTaps, halverLast = 4, 12
	halverBeta             = 5
	// refineReach, in seconds, is more than the refiner looks to either side.
	refineReach = .04
)

// How the hops before, around and after a frame's centre weigh in its level. What comes
// after a live frame has not been heard.
var levelWeights, levelWeightsLive = [3]float64{.25, .5, .25}, [3]float64{.25, .75, 0}

// Tracker turns a stream of samples into [Point]s, one per hop: frame k is
// centred on sample k·Hop, and what lies before the first sample counts as
// silence. Any split of the signal into calls gives the same points, bit for
// bit. A Tracker is for one goroutine.
//
// For each frame it finds some candidates (the lags where the autocorrelation
// of the compressed spectrum peaks and where YIN's difference function dips),
// weighs each by what lags and harmonics say of it, against the noise of the
// room, and takes the best path through candidates and silence (Viterbi). The
// pitch of the winner is then read from the phases of its harmonics.
type Tracker struct {
	cfg     Config
	halvers []*halver
	step    int // samples pushed for each one looked at
	ev      *evidence
	ref     refiner
	costs   costs
	lag     int
	prompt  bool // a frame that is clear is given out at once
	reach   int  // samples before the centre whose loss spoils a frame
	behind  int  // inner samples kept before the oldest undecided centre

	clean       [run]float64 // samples as they are taken
	inner       []float64    // the signal at the inner rate, from sample base on
	base        int64
	pushed      int64
	sums        [blocks]block
	block, left int   // the one being filled, and how many samples it still takes
	due         int64 // samples that must have been pushed before the next frame is read
	gone        int64 // the last sample that was lost; before all frames if none
	next        int64 // frame to be read next
	singing     bool  // the path of the frame given out last was voiced
	ended       cand  // what was sung last, its frequency refined, 0 before anything was
	endedAt     int64 // in the frame about this sample
	held        int   // frames of it in a row
	bends       bends // of what was given out
	out         int64 // frame to be given out next
	frames      []frame
	path        []int8
	guess       []int8 // the candidates of the estimates

	hook func(k int64, fr *frame, e *evidence) // sees each frame; for training
}

// block sums up the samples of the hop around a frame's centre.
type block struct{ sum, squares float64 }

// NewTracker returns a tracker for the start of a signal, or an error that says
// which field of cfg is outside its range.
func NewTracker(cfg Config) (*Tracker, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	t := &Tracker{cfg: cfg, step: 1}
	rate := float64(cfg.SampleRate)
	for ; rate >= innerRate; rate /= 2 {
		t.step *= 2
	}
	t.halvers = newHalvers(t.step)
	t.ev = newEvidence(rate, cfg.MinHz, cfg.MaxHz, cfg.Reading == Live)
	t.ev.sounding(cfg.Known)
	t.ref = newRefiner(rate, cfg.MinHz)
	t.behind = 2 * max(t.ev.half()+t.ev.tauMax, int(refineReach*rate))
	t.reach = t.ev.back * t.step
	t.costs = offlineCosts
	switch cfg.Reading {
	case Settled:
		t.lag = settledLag
	case Live:
		t.lag, t.costs, t.prompt = liveLag, liveCosts, true
	case Offline:
		t.lag = offlineLag
	}
	t.frames = make([]frame, 2*t.lag+2)
	t.path = make([]int8, len(t.frames))
	t.guess = make([]int8, len(t.frames))
	t.inner = make([]float64, 0, 1<<15+len(t.frames)*cfg.Hop/t.step+2*t.behind)
	t.Reset()
	return t, nil
}

// Reset makes the tracker ready for a new signal.
func (t *Tracker) Reset() {
	for _, h := range t.halvers {
		h.reset()
	}
	t.inner = t.inner[:t.behind]
	clear(t.inner)
	t.base = -int64(t.behind)
	t.pushed, t.next, t.out = 0, 0, 0
	clear(t.sums[:])
	t.block, t.left = 0, t.cfg.Hop/2+t.cfg.Hop%2
	t.gone = math.MinInt64 / 2
	t.singing, t.ended, t.held = false, cand{}, 0
	t.bends = bends{}
	t.ev.reset()
	t.due = t.needed(0)
}

// Push feeds mono samples in [-1, 1] and appends one Point to dst for every
// frame that is decided. The split into calls does not change the points. A
// sample that is not a number, or is beyond ±8, 18 dB over full scale, counts as
// lost. Push keeps no reference to samples and does not allocate if dst has
// room.
func (t *Tracker) Push(dst []Point, samples []float64) []Point {
	for len(samples) > 0 {
		n := min(int64(len(samples)), t.due-t.pushed, run)
		t.take(samples[:n])
		samples = samples[n:]
		dst = t.advance(dst)
	}
	return dst
}

// Lost tells that the next n samples never arrived. They count as silence, and
// the frames that touch them are not voiced and have Lost set.
func (t *Tracker) Lost(dst []Point, n int64) []Point {
	for n > 0 {
		some := min(n, t.due-t.pushed, run)
		t.take(silence[:some])
		t.gone = t.pushed - 1
		n -= some
		dst = t.advance(dst)
	}
	return dst
}

// Flush ends the signal: the frames whose centre lies in it are completed with
// silence, so that n samples give ⌈n/Hop⌉ points in all. The tracker is then
// ready for a new signal, as after Reset.
func (t *Tracker) Flush(dst []Point) []Point {
	frames := (t.pushed + int64(t.cfg.Hop) - 1) / int64(t.cfg.Hop)
	for t.next < frames {
		t.take(silence[:min(t.due-t.pushed, run)])
		dst = t.advance(dst)
	}
	if t.out < frames {
		dst = t.decide(dst, frames)
	}
	t.Reset()
	return dst
}

var silence [run]float64

// take takes at most run samples, and no more than the next frame needs.
func (t *Tracker) take(x []float64) {
	for at := 0; at < len(x); {
		if t.left == 0 { // the next block begins half a hop before its frame
			t.block = (t.block + 1) % blocks
			t.sums[t.block] = block{}
			t.left = t.cfg.Hop
		}
		n := min(t.left, len(x)-at)
		in, out := x[at:at+n], t.clean[at:at+n]
		b := t.sums[t.block]
		for i, v := range in {
			if !(v >= -loudest && v <= loudest) { // or not a number
				t.gone = t.pushed + int64(i)
				v = 0
			}
			out[i] = v
			b.sum += v
			b.squares += v * v
		}
		t.sums[t.block] = b
		t.left -= n
		t.pushed += int64(n)
		at += n
	}
	y := t.clean[:len(x)]
	for _, h := range t.halvers {
		y = h.push(y)
	}
	if len(t.inner)+len(y) > cap(t.inner) {
		t.forget()
	}
	t.inner = append(t.inner, y...)
}

// needed is how many samples must have been pushed before frame k can be read.
func (t *Tracker) needed(k int64) int64 {
	n := t.centre(k) + int64(t.ev.ahead) + 2
	for _, h := range slices.Backward(t.halvers) {
		n = h.takes(n)
	}
	if t.cfg.Reading != Live { // the block of the next frame counts in the level
		step, end := int64(t.step), (k+1)*int64(t.cfg.Hop)
		n = max(n, (end+step-1)/step*step)
	}
	return n
}

// forget drops the inner samples that no undecided frame needs.
func (t *Tracker) forget() {
	if drop := t.centre(t.out) - t.base - int64(t.behind); drop > 0 {
		t.inner = t.inner[:copy(t.inner, t.inner[drop:])]
		t.base += drop
	}
}

// centre is the inner sample nearest the centre of frame k.
func (t *Tracker) centre(k int64) int64 {
	step := int64(t.step)
	return (2*k*int64(t.cfg.Hop) + step) / (2 * step)
}

// advance reads the frame that is due, if any, and gives out what can then be
// decided.
func (t *Tracker) advance(dst []Point) []Point {
	for t.pushed >= t.due {
		t.read(t.next)
		t.next++
		t.due = t.needed(t.next)
		switch {
		case t.prompt && t.clear():
			dst = t.decide(dst, t.next)
		case t.cfg.Reading == Offline && t.next-t.out < int64(2*t.lag):
		case t.cfg.Reading == Offline:
			dst = t.decide(dst, t.out+int64(t.lag))
		case t.next-t.out > int64(t.lag):
			dst = t.decide(dst, t.out+1)
		}
	}
	return dst
}

// digitalSilence is a power under MinLevel, so that there is a level of nothing.
const digitalSilence = 1e-13

// around is the level around the centre of frame k in dBFS, less a constant
// offset.
func (t *Tracker) around(k int64) float64 {
	weights := levelWeights
	if t.cfg.Reading == Live {
		weights = levelWeightsLive
	}
	hop := float64(t.cfg.Hop)
	offset, n := 0.0, 0.0
	for j := max(0, k-offsetBlocks); j <= k; j++ {
		offset += t.sums[j%blocks].sum
		n += hop
	}
	if k < offsetBlocks {
		n -= hop / 2 // the first block is half a hop
	}
	offset /= n
	power := 0.0
	for i, w := range weights {
		if j := k - 1 + int64(i); j >= 0 && w > 0 {
			b := &t.sums[j%blocks]
			power += w * math.Max(0, b.squares-offset*(2*b.sum-offset*hop))
		}
	}
	return math.Max(MinLevel, 10*math.Log10(power/hop+digitalSilence))
}

// read works out the evidence of frame k and the best paths to it.
func (t *Tracker) read(k int64) {
	n := int64(len(t.frames))
	fr := &t.frames[k%n]
	fr.pos = t.centre(k)
	fr.level = t.around(k)
	// What comes after the frame has not been heard yet.
	fr.lost = t.gone >= k*int64(t.cfg.Hop)-int64(t.reach)
	t.ev.analyse(fr, t.inner, int(fr.pos-t.base))
	if t.hook != nil {
		t.hook(k, fr, t.ev)
	}
	t.ev.classify(fr)
	if t.cfg.Reading == Live {
		t.rises(fr)
	}
	if t.cfg.High > 0 {
		t.prior(fr)
	}
	if fr.lost || fr.level < t.cfg.MinLevel {
		fr.n, fr.uv = 0, 0 // surely not voiced
	}
	var before *frame
	if k > 0 {
		before = &t.frames[(k-1)%n]
	}
	t.costs.forward(before, fr)
	if t.cfg.Estimates {
		t.costs.forwardEstimate(before, fr)
	}
	t.ev.remember(fr)
}

// prior weighs candidates outside the singer's range down.
func (t *Tracker) prior(fr *frame) {
	for i := range fr.c[:fr.n] {
		c := &fr.c[i]
		cost := outside * math.Max(0, math.Log2(math.Max(t.cfg.Low/c.f, c.f/t.cfg.High)))
		c.logp -= cost
		c.like -= cost
	}
}

// clear tells that the newest frame's best state is so far ahead that waiting
// would hardly change it.
func (t *Tracker) clear() bool {
	fr := &t.frames[(t.next-1)%int64(len(t.frames))]
	best, second := fr.uvC, math.Inf(-1)
	for i := range fr.c[:fr.n] {
		if c := fr.c[i].cost; c > best {
			best, second = c, best
		} else if c > second {
			second = c
		}
	}
	return best-second > t.costs.clear
}

// passing tells that the voiced frames from k on are too few to be sung: a
// click, or a slip.
func (t *Tracker) passing(k int64) bool {
	n := int64(len(t.frames))
	for j := k; j < k+fewest; j++ {
		if j == t.next {
			return false // who knows
		}
		if t.path[j%n] < 0 {
			return true
		}
	}
	return false
}

// decide gives out the frames up to end, by tracing back from the best state of
// the newest frame.
func (t *Tracker) decide(dst []Point, end int64) []Point {
	n := int64(len(t.frames))
	fr := &t.frames[(t.next-1)%n]
	state, best := int8(-1), fr.uvC
	for i := range fr.c[:fr.n] {
		if fr.c[i].cost > best {
			state, best = int8(i), fr.c[i].cost
		}
	}
	for k := t.next - 1; k >= t.out; k-- {
		t.path[k%n] = state
		if fr = &t.frames[k%n]; state < 0 {
			state = fr.uvB
		} else {
			state = fr.c[state].back
		}
	}
	if t.cfg.Estimates {
		t.traceEstimates()
	}
	t.cutTails(end)
	for k := t.out; k < end; k++ {
		fr := &t.frames[k%n]
		p := Point{Index: k * int64(t.cfg.Hop), Level: fr.level, Flux: fr.flux, Lost: fr.lost}
		s := t.path[k%n]
		if s >= 0 && !t.singing && t.passing(k) {
			s = -1
		}
		waits := t.cfg.Reading != Live
		if s >= 0 && waits && t.faint(k) {
			s = -1
		}
		t.singing = s >= 0
		switch sounds := waits && !fr.lost && fr.level >= t.cfg.MinLevel; {
		case !t.singing && sounds && (t.early(&p, k) || t.late(&p, k)): // at the edge of a note: p has its pitch
		case !t.singing:
			p.Confidence = math.Exp(fr.uv)
		default:
			c := &fr.c[s]
			p.Confidence = math.Exp(c.logp)
			at := int(fr.pos - t.base)
			if waits {
				at = within(t.inner, at, t.window(c.f), t.innerRate())
			}
			p.F0, p.SE = t.ref.refine(t.inner, at, c.f, c.nv, t.bending())
			p.Voiced = p.F0 >= t.cfg.MinHz && p.F0 <= t.cfg.MaxHz
			if !p.Voiced {
				p.F0, p.SE, p.Confidence = 0, 0, 1-p.Confidence
			}
			if t.held++; p.Index-t.endedAt > int64(t.cfg.Hop) {
				t.held = 1
			}
			t.ended, t.endedAt = cand{f: p.F0, logp: c.logp, nv: c.nv}, p.Index
		}
		if t.cfg.Estimates {
			if p.Estimate = p.F0; !p.Voiced {
				p.Estimate = t.estimate(k)
			}
		}
		t.bends.add(p.F0)
		dst = append(dst, p)
	}
	t.out = end
	return dst
}
