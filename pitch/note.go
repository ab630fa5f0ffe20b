package pitch

import (
	"math"
)

// Note is one sung note. Everything in cents is relative to F0; all numbers are
// finite.
//
// The steady part is where the pitch is held: the note less 120 ms at either
// end, or its middle half where that would leave less than 150 ms (transients of
// sung notes are about 120 ms long: Dai & Dixon 2019), and less a longer way
// there, or away, of up to 0.75 s, where half a second is held.
type Note struct {
	// Onset is the sample index of the first voiced frame's centre, or of a melody's
	// onset, which may lie before it; Offset the first one after the note; Onset < Offset.
	Onset, Offset int64
	// From and To are where the steady part begins and ends, as Onset and Offset:
	// Onset ≤ From < To ≤ Offset.
	From, To int64
	// F0 is the pitch of the note in hertz, found in cents: the median of the
	// steady part, vibrato removed. The mean of its cycle is what is heard (Shonle
	// & Horan 1980).
	F0 float64
	// SE is the standard error of F0 in cents, > 0: of how the steady part scatters about
	// F0, vibrato removed, allowing for the correlation of neighbouring frames and for
	// what these may err together. A voice that wanders has a greater one. It knows
	// nothing of a wrong octave.
	SE float64
	// Spread is the standard deviation of the steady part in cents, ≥ 0, vibrato
	// removed.
	Spread float64
	// Settled is the length of the steady part in seconds where the note was held
	// for half a second; 0 where it was not.
	Settled float64
	// Slope is the trend of the steady part in cents per second, vibrato
	// removed.
	Slope float64
	// Settle is the time in seconds from the onset until the pitch first stays
	// within 50 cents of F0 (and the vibrato's extent) for 100 ms; the whole
	// length where it never does.
	Settle float64
	// Scoop is where the pitch starts, in cents: the median of the first 30 ms.
	// Negative: from below.
	Scoop float64
	// Fall is where it ends: the median of the last 30 ms.
	Fall float64
	// VibratoHz is the rate, 4 … 8, and VibratoCents the extent to either side,
	// at least 15: means from where it sets in, VibratoOnset seconds after Onset,
	// to where it ends. All are 0 without vibrato. It has at least two cycles.
	VibratoHz, VibratoCents, VibratoOnset float64
	// Level is the median level of the voiced frames in dBFS.
	Level float64
	// DecayDB is the trend of the level over the steady part in dB per second,
	// negative when it fades: a struck string fades, a voice is held. DecayFit
	// is how much of the level's variance that line explains, 0 … 1.
	DecayDB, DecayFit float64
	// VoicedShare is the share of voiced frames from onset to offset, above 0
	// and at most 1. Frames an octave off for a moment are not counted.
	VoicedShare float64
	// Near is the share of the voiced frames that lie within 50 cents (and the
	// vibrato's extent) of F0, 0 … 1: near 1 for a held note, well below for a
	// glide that has no pitch of its own, even one whose middle is slow. The way
	// to what was held, or away, does not count.
	Near float64
	// Lost tells that a lost sample lies inside the note.
	Lost bool
}

// Lengths and distances of a note. Where no source stands, they were chosen by trial, on
// made contours (note_test.go, internal/session/held_test.go) and on the development half
// of the hard set.
const (
	maxGap      = 0.060 // s without pitch inside one note
	minNote     = 0.100 // s
	edge        = 0.120 // s dropped at either end (Dai & Dixon 2019)
	minSteady   = 0.150 // s
	startTime   = 0.030 // s whose median is the scoop, or the fall
	settleCents = 50.0
	settleTime  = 0.100 // s

	// A new note on the same breath: the track stays within holdCents for
	// holdTime, more than newLevel away from the last such stretch. A step
	// under bigStep must be held longer: up to 109 ms of every turn of a slow
	// vibrato (±50 c at 4 Hz) lie within holdCents.
	holdCents    = 40.0
	holdTime     = 0.080
	holdTimeLong = 0.130
	newLevel     = 70.0
	bigStep      = 150.0
	// A vibrato is never held in that sense: its level is the middle between
	// its highest and lowest value, when the first and the last swingPart of
	// swingTime agree about it within swingCents. A part is one cycle at 6 Hz;
	// parts that overlap by less than half a cycle cannot both see both sides
	// of a step.
	swingTime  = 0.300
	swingPart  = 0.170
	swingCents = 20.0
	widest     = 400.0

	// A frame this far from the median of its note, for a moment, is a slip of
	// the tracker: more than a scoop or a wide vibrato does.
	slipCents = 650.0

	// Where a pitch is held: a stretch of half a second, less what averaging takes
	// from it, within stayCents of a level that drifts by driftRate at most and
	// moves by less than stirs. The way there or away may take wayTime, and is
	// several times faster.
	heldTime   = 0.450 // s
	levelTime  = 0.120 // s over which the level is averaged
	stayCents  = 25.0
	driftRate  = 25.0  // c/s
	speedTime  = 0.200 // s over which its speed is taken
	stirs      = 75.0  // c/s, in the mean
	faster     = 3.0   // times
	wayTime    = 0.750 // s
	guardTime  = 0.150 // s at most that are dropped beside the way
	guardCents = 8.0   // until it is so near
	stayTimes  = 4     // times that the line is laid through what stays about it
	strayMost  = 2.0   // frames of staying that one frame far off undoes

	blockTime     = .080 // s: longer than a window of the refiner
	mostBlocks    = 24
	scatters      = 4             // times the squares of the scatter: beyond these the frames err together
	withinPart    = math.Pi/2 - 1 // of the variance within blocks
	leastSE       = .01           // cents: what the tracker rounds to
	leastTime     = 1e-12         // s²: a level over no time has no trend
	leastVariance = 1e-9          // dB²: a level that does not move is explained by nothing

	// Every second pulse early or late: see alternates. Chosen on pulses in turn 2 % and 5 %
	// of a period early and late (creak_test.go); of held notes of the reference data none
	// turns back so often.
	turnCents = 20.0  // c by which the pitch turns back
	turnShare = 0.25  // of the frames
	sureShare = 0.5   // of the frames: noise, hum and chords turn back, too
	halfSure  = 0.5   // confidence of a frame that is sure
	calmTime  = 0.110 // s whose highest and lowest pitch count

	maxKept = 30.0 // s of a note kept frame by frame

	maxMelodyGap = 0.120 // s without pitch inside a note of a melody
	minUnmarked  = 0.150 // s: a shorter voice without an onset is no note
	restTime     = 0.400 // s after an onset in which a voice without one is no new note
	dipTime      = 0.150 // s before its end in which a note may have sunk already
	sunk         = 6.0   // dB under a note's level at which it has ended

	// No voice leaps by an octave from one frame to the next: where nothing begins there,
	// it is the tracker that leaps. And what is short, within bigStep of what follows, and
	// not parted from it by an onset, is the way there (of 84 notes that a pitch alone
	// parted, the sight-singing recordings had 18 so, and 4 of them were right).
	octave     = 1200.0
	octaveWide = 100.0
	scoopTime  = 0.200 // s
)

// moment is one point of the note being gathered.
type moment struct {
	index  int64
	cents  float64 // above 1 Hz
	level  float64
	se     float64 // cents
	voiced bool
	sure   bool // of voice and pitch, by more than half
	lost   bool
}

// Segmenter turns a stream of [Point]s into sung [Note]s. A note is a stretch
// of voiced points, with gaps of up to 60 ms, at least 100 ms long. It is split
// where the pitch moves to another level and stays there; a scoop, a vibrato
// and a steady glide do not split it.
//
// Of a note longer than 30 s every second point is kept, longer than 60 s every
// fourth, and so on. A Segmenter is for one goroutine.
type Segmenter struct {
	hop     int64
	seconds float64 // per hop

	frames []moment // of the note being gathered; the first is voiced
	thin   int      // every thin-th point is kept
	skip   int      // points to leave out before the next one kept
	last   int      // index in frames of the last voiced one
	lastAt int64    // index of the last point pushed

	held  float64 // cents of the last held level
	holds bool    // there was one

	m measure

	// Of a melody's segmenter.
	onsets *OnsetFinder // nil: one held note at a time
	late   []Point      // points not read yet: their onsets are not known
	found  []Onset      // onsets not reached yet
	begin  int64        // the onset that the note being gathered began with; −1: none
	onset  int64        // the last onset reached
	read   int64        // points read, since the start or Flush
}

// NewSegmenter returns a segmenter for the points of a tracker with the same
// Config.
func NewSegmenter(cfg Config) (*Segmenter, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	s := &Segmenter{hop: int64(cfg.Hop), seconds: float64(cfg.Hop) / float64(cfg.SampleRate)}
	n := int(maxKept/s.seconds) + 1
	s.frames = make([]moment, 0, n)
	s.m.grow(n)
	s.reset()
	s.onset = math.MinInt64 / 2
	return s, nil
}

// NewMelodySegmenter returns a segmenter for melodies. It also begins a note
// where the spectrum says that one begins: after a consonant, on the same pitch
// again, or at a slurred change of pitch; and Onset is where people would mark it.
// A scoop of less than 0.2 s, and a leap of the tracker by an octave, begin none. It
// reads points 290 ms late.
func NewMelodySegmenter(cfg Config) (*Segmenter, error) {
	s, err := NewSegmenter(cfg)
	if err != nil {
		return nil, err
	}
	s.onsets = NewOnsetFinder(cfg)
	s.late = make([]Point, 0, 2*onsetDelay)
	s.found = make([]Onset, 0, 8)
	return s, nil
}

// Notes returns the sung notes of the whole track of a melody.
func Notes(cfg Config, points []Point) ([]Note, error) {
	s, err := NewMelodySegmenter(cfg)
	if err != nil {
		return nil, err
	}
	return s.Flush(s.Push(nil, points)), nil
}

func (s *Segmenter) reset() {
	s.frames = s.frames[:0]
	s.thin, s.skip, s.last = 1, 0, 0
	s.holds = false
	s.begin = -1
}

// Push feeds points in order and appends one Note to dst for every note that
// has ended. A point that does not stand one hop after the one before ends the
// note. Push keeps no reference to points and does not allocate if dst has
// room.
func (s *Segmenter) Push(dst []Note, points []Point) []Note {
	for i := range points {
		if s.onsets != nil {
			s.found = s.onsets.Push(s.found, points[i:i+1])
			dst = s.delayed(dst, points[i], onsetDelay)
		} else {
			dst = s.push(dst, points[i])
		}
	}
	return dst
}

// delayed takes a point of a melody and reads those that are delay points old.
func (s *Segmenter) delayed(dst []Note, p Point, delay int) []Note {
	s.late = append(s.late, p)
	for len(s.late) > delay {
		dst = s.melody(dst, s.late[0])
		s.late = s.late[:copy(s.late, s.late[1:])]
	}
	return dst
}

// melody reads a point whose onset, if it has one, is known.
func (s *Segmenter) melody(dst []Note, p Point) []Note {
	s.read++
	for len(s.found) > 0 && s.found[0].Index <= p.Index {
		before := len(dst)
		dst = s.finish(dst)
		if len(dst) > before { // its last frame may reach beyond
			n := &dst[before]
			n.Offset = min(n.Offset, s.found[0].Index)
			n.To = min(n.To, n.Offset)
		}
		s.begin, s.onset = s.found[0].Index, s.found[0].Index
		s.found = s.found[:copy(s.found, s.found[1:])]
	}
	// Shortly after a note that began with an onset, a voice without one is
	// the rest of that note.
	if s.begin < 0 && len(s.frames) == 0 && float64(p.Index-s.onset) < restTime/s.seconds*float64(s.hop) {
		return dst
	}
	return s.push(dst, p)
}

// Flush ends the track: the note being held, if any, ends with the last point.
// The segmenter is then ready for another track.
func (s *Segmenter) Flush(dst []Note) []Note {
	if s.onsets != nil {
		s.found = s.onsets.rest(s.found)
		for len(s.late) > 0 {
			dst = s.melody(dst, s.late[0])
			s.late = s.late[:copy(s.late, s.late[1:])]
		}
		s.found = s.found[:0]
	}
	dst = s.finish(dst)
	if s.onsets != nil {
		s.onsets.Reset()
		s.read = 0
	}
	s.onset = math.MinInt64 / 2
	return dst
}

// Holding tells from where to where the note being held has come, as Onset and
// Offset of a [Note], once it is 100 ms long. It costs nothing.
func (s *Segmenter) Holding() (onset, offset int64, ok bool) {
	if len(s.frames) == 0 || float64(s.last+1)*s.spacing() < minNote-s.spacing()/2 {
		return 0, 0, false
	}
	return s.frames[0].index, s.frames[s.last].index + s.hop*int64(s.thin), true
}

// Current is the note being held, measured as far as it has come, once it is
// 100 ms long. It measures the whole note anew: for five seconds of it that is
// about twice the work of reading one frame.
func (s *Segmenter) Current() (Note, bool) {
	if len(s.frames) == 0 {
		return Note{}, false
	}
	return s.note(s.frames[:s.last+1])
}

func (s *Segmenter) push(dst []Note, p Point) []Note {
	if len(s.frames) > 0 && p.Index != s.lastAt+s.hop {
		dst = s.finish(dst)
	}
	s.lastAt = p.Index
	f := moment{index: p.Index, level: p.Level, lost: p.Lost}
	// What a tracker never says is not voiced.
	if p.Voiced && p.F0 >= 1 && p.F0 <= 1e5 && p.Index >= 0 && p.Index < math.MaxInt64/2 {
		f.voiced, f.sure = true, p.Confidence >= halfSure
		f.cents = 1200 * math.Log2(p.F0)
		if p.SE >= 0 && p.SE <= roughSE {
			f.se = p.SE
		}
	}
	if !(f.level >= MinLevel) || f.level > 1000 {
		f.level = MinLevel
	}
	if len(s.frames) == 0 && !f.voiced {
		return dst
	}
	if s.skip > 0 {
		s.skip--
		if f.lost {
			s.frames[len(s.frames)-1].lost = true
		}
		return dst
	}
	s.skip = s.thin - 1
	if len(s.frames) == cap(s.frames) {
		s.halve()
	}
	s.frames = append(s.frames, f)
	now := len(s.frames) - 1
	if f.voiced {
		s.last = now
		return s.split(dst)
	}
	gap := maxGap
	if s.onsets != nil {
		gap = maxMelodyGap
	}
	if float64(now-s.last)*s.spacing() > gap+s.seconds/2 {
		dst = s.finish(dst)
	}
	return dst
}

// spacing is the time between kept frames in seconds.
func (s *Segmenter) spacing() float64 { return s.seconds * float64(s.thin) }

// halve drops every second frame of a very long note.
func (s *Segmenter) halve() {
	n := 0
	for i := 0; i < len(s.frames); i += 2 {
		f := s.frames[i]
		if i+1 < len(s.frames) {
			f.lost = f.lost || s.frames[i+1].lost
		}
		s.frames[n] = f
		n++
	}
	s.frames = s.frames[:n]
	s.thin *= 2
	s.last = n - 1
	for s.last > 0 && !s.frames[s.last].voiced {
		s.last--
	}
}

// finish ends the note being gathered.
func (s *Segmenter) finish(dst []Note) []Note {
	if len(s.frames) > 0 {
		n, ok := s.note(s.frames[:s.last+1])
		if ok && s.onsets != nil {
			if m, ok := s.note(s.frames[:s.end(n)+1]); ok {
				n = m
			}
		}
		switch {
		case !ok:
		case s.onsets == nil:
			dst = append(dst, n)
		case s.begin >= 0:
			n.Onset = s.begin
			dst = append(dst, n)
		case float64(s.last+1)*s.spacing() >= minUnmarked:
			dst = append(dst, n)
		}
	}
	s.reset()
	return dst
}

// end is where a note of a melody is heard to end: where its level has sunk for
// good, though a voiced consonant or the room may carry the pitch on, or where
// it sinks shortly before the sound of the next note sets in. It is the index of
// its last frame.
func (s *Segmenter) end(n Note) int {
	low := func(i int) bool { return s.frames[i].level < n.Level-sunk || !s.frames[i].voiced }
	i := s.last
	for i > 0 && low(i) {
		i--
	}
	from := max(i/2, s.last-int(dipTime/s.spacing()))
	for j := i; j > from; j-- {
		if low(j) && low(j-1) {
			i = j
			for i > 0 && low(i) {
				i--
			}
			j = i
		}
	}
	return i
}

// split looks at the newest stretch. If it is held at another level than the
// last held stretch, the note ends on the way between the two and the next
// begins there.
func (s *Segmenter) split(dst []Note) []Note {
	level, steady := s.heldFor(holdTime)
	if !steady {
		var ok bool
		if level, ok = s.swinging(); !ok {
			return dst
		}
	}
	if !s.holds {
		s.held, s.holds = level, true
		return dst
	}
	step := math.Abs(level - s.held)
	if step <= newLevel {
		s.held = level // a glide, or a drift: go with it
		return dst
	}
	if steady && step < bigStep {
		var ok bool
		if level, ok = s.heldFor(holdTimeLong); !ok {
			return dst
		}
	}
	// The border is where both sides are nearest to their levels, by the sum of
	// the distances.
	rest, sum, least := len(s.frames)-1, 0.0, 0.0
	for i := len(s.frames) - 1; i > 0; i-- {
		if f := s.frames[i]; f.voiced {
			sum += math.Abs(f.cents-level) - math.Abs(f.cents-s.held)
			if sum < least {
				rest, least = i, sum
			}
		}
	}
	if s.onsets != nil {
		if s.slips(rest) {
			return dst
		}
		if step < bigStep && float64(rest)*s.spacing() < scoopTime {
			s.held = level
			return dst
		}
		rest = s.arrives(rest)
	}
	end := rest - 1
	for !s.frames[end].voiced {
		end-- // the first one is
	}
	if n, ok := s.note(s.frames[:end+1]); ok {
		if s.begin >= 0 {
			n.Onset = s.begin
		}
		dst = append(dst, n)
	}
	s.begin = -1
	s.frames = s.frames[:copy(s.frames, s.frames[rest:])]
	s.last = len(s.frames) - 1
	s.held = level
	return dst
}

// slips tells whether the track leaps by an octave at a frame, as no voice does.
func (s *Segmenter) slips(rest int) bool {
	a, b := s.frames[rest-1], s.frames[rest]
	return a.voiced && b.voiced && math.Abs(math.Abs(a.cents-b.cents)-octave) < octaveWide
}

// arrives is the frame at which people would mark the note to which the pitch moves, given
// one on the way.
func (s *Segmenter) arrives(rest int) int {
	if s.thin > 1 {
		return rest
	}
	newest := len(s.frames) - 1
	rest = max(1, min(newest, rest+s.onsets.placed(s.read-1-int64(newest-rest))))
	for !s.frames[rest].voiced {
		rest++ // the newest one is
	}
	return rest
}

// swinging is the middle of the vibrato of the newest stretch, if there is one.
func (s *Segmenter) swinging() (cents float64, ok bool) {
	n, part := int(math.Round(swingTime/s.spacing())), int(math.Round(swingPart/s.spacing()))
	if n > len(s.frames) || part < 2 {
		return 0, false
	}
	stretch := s.frames[len(s.frames)-n:]
	a, okA := middleOf(stretch[:part])
	b, okB := middleOf(stretch[n-part:])
	return (a + b) / 2, okA && okB && math.Abs(a-b) <= swingCents
}

// middleOf is half-way between the highest and the lowest voiced frame; false
// where fewer than two thirds are voiced, or they are further apart than in any
// vibrato.
func middleOf(frames []moment) (cents float64, ok bool) {
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, f := range frames {
		if f.voiced {
			low, high = math.Min(low, f.cents), math.Max(high, f.cents)
			n++
		}
	}
	return (low + high) / 2, 3*n >= 2*len(frames) && high-low <= widest
}

// heldFor tells whether the track has been voiced and within holdCents for the
// given time, and its mean there.
func (s *Segmenter) heldFor(seconds float64) (cents float64, ok bool) {
	n := max(2, int(math.Round(seconds/s.spacing())))
	if n > len(s.frames) {
		return 0, false
	}
	low, high, sum := math.Inf(1), math.Inf(-1), 0.0
	for _, f := range s.frames[len(s.frames)-n:] {
		if !f.voiced {
			return 0, false
		}
		low, high = math.Min(low, f.cents), math.Max(high, f.cents)
		sum += f.cents
	}
	return sum / float64(n), high-low <= holdCents
}
