package pitch

import (
	"fmt"
	"math"
)

// Config says how a [Tracker] and a [Segmenter] read a signal. [DefaultConfig]
// has the values that fit singing.
type Config struct {
	// SampleRate of the signal in hertz, 8000 … 192000, both allowed.
	SampleRate int
	// MinHz and MaxHz are the search range of F0, both inside it:
	// 20 ≤ MinHz < MaxHz ≤ 2000.
	MinHz, MaxHz float64
	// Hop is the distance of frames in samples, 1 … 25 ms.
	Hop int
	// MaxAperiodicity is how much of a voiced frame's power may fail to repeat,
	// above 0 and at most 1.
	MaxAperiodicity float64
	// MinLevel is the RMS in dBFS under which a frame is not voiced,
	// −120 … 0.
	MinLevel float64
}

// DefaultConfig is for singers from a low bass (C2, 65.4 Hz) to a high soprano
// or a child (F6, 1397 Hz): a range of 62 to 1400 Hz, where the floor keeps the
// 60 Hz of the mains outside; a hop of 10 ms, to the nearest sample; an
// aperiodicity of at most 0.25; a level of at least −60 dBFS.
func DefaultConfig(sampleRate int) Config {
	return Config{
		SampleRate: sampleRate,
		MinHz:      62, MaxHz: 1400,
		Hop:             (sampleRate + 50) / 100,
		MaxAperiodicity: 0.25,
		MinLevel:        -60,
	}
}

func (c Config) check() error {
	switch {
	case c.SampleRate < 8000 || c.SampleRate > 192000:
		return fmt.Errorf("pitch: sample rate %d Hz, want 8000 to 192000", c.SampleRate)
	case !(c.MinHz >= 20 && c.MinHz < c.MaxHz && c.MaxHz <= 2000):
		return fmt.Errorf("pitch: search range %g to %g Hz, want 20 ≤ lowest < highest ≤ 2000", c.MinHz, c.MaxHz)
	case c.Hop < c.SampleRate/1000 || c.Hop > c.SampleRate/40:
		return fmt.Errorf("pitch: hop of %d samples, want 1 to 25 ms: %d to %d at %d Hz", c.Hop, c.SampleRate/1000, c.SampleRate/40, c.SampleRate)
	case !(c.MaxAperiodicity > 0 && c.MaxAperiodicity <= 1):
		return fmt.Errorf("pitch: highest aperiodicity %g, want above 0 and at most 1", c.MaxAperiodicity)
	case !(c.MinLevel >= MinLevel && c.MinLevel <= 0):
		return fmt.Errorf("pitch: lowest level %g dBFS, want %g to 0", c.MinLevel, float64(MinLevel))
	}
	return nil
}

// Tracker turns a stream of samples into [Point]s, one per hop: frame k is
// centred on sample k·Hop, and what lies before the first sample counts as
// silence. Any split of the signal into calls gives the same points, bit for
// bit. A Tracker is for one goroutine.
//
// A point comes out once the signal has gone on for about 42 ms after its
// centre (at the default range and hop): half a frame, and two more frames that
// tell a sung pitch from a passing one.
type Tracker struct {
	cfg       Config
	resampler resampler
	estimator *Estimator

	raw    []float64 // the signal around the next frame's centre
	centre int       // of the frame in raw
	filled int       // samples of raw that have arrived
	inner  []float64 // the frame, low-passed, at the inner rate
	step   int       // new inner samples per hop
	level  int       // reach of the level's window, in raw samples

	pushed   int64 // samples since the start
	next     int64 // index of the next frame's centre
	lastLost int64 // the last sample that never arrived; before all frames if none

	run     int          // frames of one pitch that make each other voiced
	recent  []Point      // frames not emitted yet and run−1 before them
	pending int          // how many of recent are not emitted yet
	padding [256]float64 // zeros
}

// NewTracker returns a tracker for the start of a signal, or an error that says
// which field of cfg is outside its range.
func NewTracker(cfg Config) (*Tracker, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	t := &Tracker{cfg: cfg, resampler: newResampler(cfg.SampleRate, cfg.Hop)}
	r := &t.resampler
	var err error
	rate := float64(cfg.SampleRate) * float64(r.up) / float64(r.down)
	if t.estimator, err = NewEstimator(rate, cfg.MinHz, cfg.MaxHz); err != nil {
		return nil, err
	}
	t.inner = make([]float64, t.estimator.FrameLength())
	t.step = min(cfg.Hop*r.up/r.down, len(t.inner))
	t.level = int(math.Round(windowSeconds * float64(cfg.SampleRate) / 2))
	side := (len(t.inner)/2*r.down+r.up-1)/r.up + r.reach()
	t.centre = side
	t.raw = make([]float64, 2*side+1)
	t.run = max(2, int(math.Round(steadySeconds*float64(cfg.SampleRate)/float64(cfg.Hop))))
	t.recent = make([]Point, 0, 2*t.run)
	t.Reset()
	return t, nil
}

// Reset makes the tracker ready for a new signal.
func (t *Tracker) Reset() {
	clear(t.raw)
	clear(t.inner)
	t.filled = t.centre
	t.pushed, t.next = 0, 0
	t.lastLost = math.MinInt64
	t.recent = t.recent[:0]
	t.pending = 0
}

// Push feeds mono samples in [-1, 1] and appends one Point to dst for every
// frame they complete. The split into calls does not change the points. A
// sample that is not a finite number counts as lost. Push keeps no reference to
// samples and does not allocate if dst has room.
func (t *Tracker) Push(dst []Point, samples []float64) []Point {
	for len(samples) > 0 {
		n := copy(t.raw[t.filled:], samples)
		for i, v := range t.raw[t.filled : t.filled+n] {
			if v-v != 0 {
				t.raw[t.filled+i] = 0
				t.lastLost = t.pushed + int64(i)
			}
		}
		samples = samples[n:]
		dst = t.advance(dst, n)
	}
	return dst
}

// Lost tells that the next n samples never arrived. They count as silence, and
// the frames that touch them are not voiced and have Lost set.
func (t *Tracker) Lost(dst []Point, n int64) []Point {
	for n > 0 {
		k := min(n, int64(len(t.raw)-t.filled))
		clear(t.raw[t.filled : t.filled+int(k)])
		t.lastLost = t.pushed + k - 1
		n -= k
		dst = t.advance(dst, int(k))
	}
	return dst
}

// Flush ends the signal: the frames whose centre lies in it are completed with
// silence, so that n samples give ⌈n/Hop⌉ points in all. The tracker is then
// ready for a new signal, as after Reset.
func (t *Tracker) Flush(dst []Point) []Point {
	for end := t.pushed; t.next < end; {
		k := copy(t.raw[t.filled:], t.padding[:])
		dst = t.advance(dst, k)
		// Frames centred in the padding are not the signal's.
	}
	for t.pending > 0 {
		dst = t.emit(dst)
	}
	t.Reset()
	return dst
}

// advance counts n samples written to raw and, if they complete a frame, reads
// it and moves on by a hop.
func (t *Tracker) advance(dst []Point, n int) []Point {
	t.filled += n
	t.pushed += int64(n)
	if t.filled < len(t.raw) {
		return dst
	}
	p := t.analyse()
	copy(t.raw, t.raw[t.cfg.Hop:])
	t.filled -= t.cfg.Hop
	t.next += int64(t.cfg.Hop)

	if len(t.recent) == cap(t.recent) {
		t.recent = t.recent[:copy(t.recent, t.recent[1:])]
	}
	t.recent = append(t.recent, p)
	if t.pending++; t.pending == t.run {
		dst = t.emit(dst)
	}
	return dst
}

// analyse reads the frame in raw.
func (t *Tracker) analyse() Point {
	fresh := len(t.inner) - t.step
	if t.next == 0 {
		fresh = 0
	}
	copy(t.inner, t.inner[len(t.inner)-fresh:])
	for i := fresh; i < len(t.inner); i++ {
		t.inner[i] = t.resampler.at(t.raw, t.centre, (i-len(t.inner)/2)*t.resampler.down)
	}
	p := Point{
		Index: t.next,
		Level: level(t.raw[t.centre-t.level : t.centre+t.level+1]),
		// Samples after the frame's end have not been seen yet, so the last
		// lost one is in the frame unless it is before its start.
		Lost: t.lastLost >= t.next-int64(t.centre),
	}
	if p.Lost || p.Level < t.cfg.MinLevel {
		p.Confidence = 1
		return p
	}
	e := t.estimator.Estimate(t.inner)
	p.Voiced = e.F0 > 0 && e.Aperiodicity <= t.cfg.MaxAperiodicity
	if p.Voiced {
		p.F0 = e.F0
		p.Confidence = 1 - e.Aperiodicity
	} else {
		p.Confidence = e.Aperiodicity
	}
	return p
}

// level is the RMS of x about its mean in dBFS, at least MinLevel.
func level(x []float64) float64 {
	var sum, squares float64
	for _, v := range x {
		sum += v
	}
	mean := sum / float64(len(x))
	for _, v := range x {
		squares += (v - mean) * (v - mean)
	}
	return math.Max(MinLevel, 10*math.Log10(squares/float64(len(x))))
}

const (
	// A sung pitch is seen in frames over this time, each near the next.
	steadySeconds = 0.03
	// The fastest sung pitch change counted as one movement, in cents per
	// second: almost six times the steepest slope of a vibrato of ±70 c at 6 Hz
	// (2π·6·70 = 2639). pYIN allows 43 000.
	steepest = 15000
)

// emit appends the oldest pending point. It stays voiced only within a run of
// frames whose pitch moves from each to the next no faster than a voice can:
// noise, clicks and lone octave slips do not.
func (t *Tracker) emit(dst []Point) []Point {
	at := len(t.recent) - t.pending
	t.pending--
	p := t.recent[at]
	if p.Voiced {
		n := 1
		for i := at; i > 0 && n < t.run && t.linked(i-1); i-- {
			n++
		}
		for i := at; i+1 < len(t.recent) && n < t.run && t.linked(i); i++ {
			n++
		}
		if n < t.run {
			p.Voiced, p.F0, p.Confidence = false, 0, 0.5
		}
	}
	return append(dst, p)
}

// linked tells whether recent frames i and i+1 can be one sung sound.
func (t *Tracker) linked(i int) bool {
	a, b := t.recent[i], t.recent[i+1]
	limit := steepest * float64(t.cfg.Hop) / float64(t.cfg.SampleRate)
	return a.Voiced && b.Voiced && math.Abs(1200*math.Log2(b.F0/a.F0)) < limit
}
