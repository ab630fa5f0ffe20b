package exercise

import (
	"fmt"
	"math"
	"slices"

	"singback/pitch"
	"singback/theory"
)

// Window says when a listening window closes. All lengths are in seconds of
// sound heard.
type Window struct {
	Hold    float64 // a note held this long is an answer; > MinHeld
	Silence float64 // this much without voice after a note ends the answer
	Timeout float64 // nothing was begun for this long: give up; 0 = wait for the end of the recording
	Longest float64 // close at the latest after this; 0 = at the end of the recording
}

// MinHeld is the shortest note, in seconds, that is measured: two transients
// of the recommended note measurement take 240 ms of a note, and less than
// this leaves no steady middle (common practice).
const MinHeld = 0.2

// DefaultWindow is the window of a live drill.
func DefaultWindow() Window {
	return Window{Hold: 2.0, Silence: 0.5, Timeout: 8, Longest: 15}
}

// Recorded returns the same window for a recording: it has no timeouts, since
// the recording ends by itself.
func (w Window) Recorded() Window {
	w.Timeout, w.Longest = 0, 0
	return w
}

// Validate reports the first length that makes no sense.
func (w Window) Validate() error {
	switch {
	case !(w.Hold >= 0.5 && w.Hold <= 30):
		return fmt.Errorf("a hold of %g s is out of range: want 0.5 to 30", w.Hold)
	case !(w.Silence >= 0.2 && w.Silence <= 5):
		return fmt.Errorf("a closing silence of %g s is out of range: want 0.2 to 5", w.Silence)
	case !(w.Timeout >= 0) || !(w.Longest >= 0):
		return fmt.Errorf("timeouts of %g and %g s: want 0 or more", w.Timeout, w.Longest)
	}
	return nil
}

// Take is what one listening window heard: everything that [Judge] looks at.
type Take struct {
	SampleRate int
	// Note is the answer; Found tells whether there is one.
	Note  pitch.Note
	Found bool
	// Start is the sample at which the answering phrase began: the onset of
	// Note, or of the settled notes that led to it without a pause.
	Start int64
	// Path holds these notes, in order, without the answer and without those
	// shorter than 120 ms.
	Path []pitch.Note
	// Spoken tells that there was a voice that settled on no pitch, as in speech.
	Spoken bool
	// Beside is what sounded beside the answer; zero where that is not known.
	Beside Beside
	// Heard is the number of samples in the window, Loudest the highest level
	// of a frame in dBFS. What lies at or below Quiet counts as silence; 0
	// stands for the usual -60 dBFS.
	Heard   int64
	Loudest float64
	Quiet   float64
	// Voiced and Unpitched are the seconds of pitched sound, and of sound
	// above Quiet in which no pitch was found.
	Voiced, Unpitched float64
	// Amid are the seconds of sound as loud as Note, up to a second before and after it
	// and without a pause, in which no pitch was found.
	Amid float64
	// Wanders tells that the voice went on to another pitch and back without a
	// pause, and Note, a part of that, was not held.
	Wanders bool
	// Own is how loud the microphone heard what the program itself sounded in the
	// window, in dBFS; 0: it sounded nothing, or that was not measured.
	Own float64
	// OwnTones are the fundamentals of that sound in hertz.
	OwnTones []float64
	// Lost tells that the driver lost samples inside the window. Where it lost
	// some that may have belonged to the answering phrase, Note.Lost is set too.
	Lost bool
}

// Beside is what sounded beside a note all the while: the medians of what a
// [pitch.CompanyFinder] has found.
type Beside struct {
	Looks            int     // how often it has looked
	Other, Hum, Gaps float64 // as in [pitch.Company]
	Wander           float64 // how far the pitch, as its strongest harmonic tells it, strays from its median, in cents
}

// Attempt follows one listening window. Feed it the points of the tracker
// until Push says that the answer is complete, or the recording ends, then
// Close it.
type Attempt struct {
	window Window
	rate   int
	hop    int
	seg    *pitch.Segmenter
	notes  []pitch.Note // finished notes of the answering phrase
	beside []pitch.Company
	frames []frame // the last ones in which no pitch was found
	take   Take
	voice  int64 // sample index of the last voiced frame; −1: none yet
	lost   int64 // sample index of the last frame with lost samples, if take.Lost
}

// frame is one without a pitch.
type frame struct {
	index int64
	level float64 // dBFS
}

// NewAttempt returns an Attempt for the points of a tracker with the same
// Config. Where its MinLevel is the measured level of the room, above the usual
// -60 dBFS, that is what counts as silence.
func NewAttempt(cfg pitch.Config, w Window) (*Attempt, error) {
	seg, err := pitch.NewSegmenter(cfg)
	if err != nil {
		return nil, err
	}
	return &Attempt{
		window: w, rate: cfg.SampleRate, hop: cfg.Hop, seg: seg,
		notes: make([]pitch.Note, 0, 16), beside: make([]pitch.Company, 0, 640), frames: make([]frame, 0, 1024),
		take:  Take{SampleRate: cfg.SampleRate, Loudest: pitch.MinLevel, Quiet: max(quietLimit, cfg.MinLevel)},
		voice: -1,
	}, nil
}

// Push takes the next points and reports whether the window should close now.
// Where exactly it closes depends on the points alone, not on how they are
// split into calls: points after the closing one are not looked at.
func (a *Attempt) Push(points []pitch.Point) (done bool) {
	for i := range points {
		if a.push(points[i : i+1]) {
			return true
		}
	}
	return false
}

func (a *Attempt) push(one []pitch.Point) bool {
	p := one[0]
	a.take.Heard = p.Index + int64(a.hop)
	a.take.Loudest = max(a.take.Loudest, p.Level)
	if p.Lost {
		a.take.Lost, a.lost = true, p.Index
	}
	hop := a.seconds(int64(a.hop))
	switch {
	case p.Voiced:
		a.voice = p.Index
		a.take.Voiced += hop
	case p.Level > a.take.Quiet:
		a.take.Unpitched += hop
		if len(a.frames) == cap(a.frames) {
			a.frames = a.frames[:copy(a.frames, a.frames[len(a.frames)/2:])]
		}
		a.frames = append(a.frames, frame{p.Index, p.Level})
	}
	a.notes = a.seg.Push(a.notes, one)
	onset, offset, singing := a.seg.Holding()
	if singing && a.seconds(offset-onset) >= a.window.Hold {
		return true
	}
	if singing {
		return a.window.Longest > 0 && a.seconds(a.take.Heard) >= a.window.Longest
	}
	pause := a.seconds(p.Index - a.voice)
	if len(a.notes) > 0 && pause >= a.window.Silence {
		if a.answer() >= 0 {
			return true
		}
		// Only scraps so far, or speech: not an answer, keep the window open.
		a.drop()
	}
	if a.window.Timeout > 0 && len(a.notes) == 0 && pause >= a.window.Timeout {
		return true
	}
	return a.window.Longest > 0 && a.seconds(a.take.Heard) >= a.window.Longest
}

// Beside takes in what sounded beside the voice at a place of the window.
func (a *Attempt) Beside(c pitch.Company) {
	if len(a.beside) == cap(a.beside) { // half a minute of one phrase: the last of it will do
		a.beside = a.beside[:copy(a.beside, a.beside[len(a.beside)/2:])]
	}
	a.beside = append(a.beside, c)
}

// Close ends the window and returns what it heard. The Attempt is used up.
func (a *Attempt) Close() Take {
	a.notes = a.seg.Flush(a.notes)
	i := a.answer()
	if i < 0 {
		a.drop()
		return a.take
	}
	a.take.Found = true
	a.take.Note = a.notes[i]
	a.take.Start = a.notes[i].Onset
	a.take.Amid = a.amid(a.take.Note)
	a.take.Wanders = a.wanders(i)
	// Notes that ran into the answer belong to the search for it; speech does
	// not.
	for i > 0 && a.settled(a.notes[i-1]) && a.seconds(a.notes[i].Onset-a.notes[i-1].Offset) < a.window.Silence {
		i--
		a.take.Start = a.notes[i].Onset
		if a.seconds(a.notes[i].Offset-a.notes[i].Onset) >= minStep {
			a.take.Path = append(a.take.Path, a.notes[i])
		}
	}
	slices.Reverse(a.take.Path)
	a.take.Beside = a.company(a.take.Note.Onset, a.take.Note.Offset)
	// A gap longer than the segmenter bridges cuts the note in two, and
	// what was lost may have been the better part of the answer.
	if a.take.Lost && a.seconds(a.take.Start-a.lost) < a.window.Silence {
		a.take.Note.Lost = true
	}
	return a.take
}

// drop forgets a phrase that answers nothing.
func (a *Attempt) drop() {
	for _, n := range a.notes {
		if a.seconds(n.Offset-n.Onset) >= MinHeld {
			a.take.Spoken = true
		}
	}
	if len(a.notes) > 0 {
		a.take.Beside = a.company(0, math.MaxInt64)
	}
	a.notes, a.beside = a.notes[:0], a.beside[:0]
}

// company sums up what sounded beside the voice in a stretch of the window.
func (a *Attempt) company(from, to int64) Beside {
	var found []pitch.Company
	for _, c := range a.beside {
		if c.Index >= from && c.Index < to {
			found = append(found, c)
		}
	}
	if len(found) == 0 {
		return Beside{}
	}
	median := func(of func(pitch.Company) float64) float64 {
		values := make([]float64, len(found))
		for i, c := range found {
			values[i] = of(c)
		}
		return pitch.Median(values)
	}
	b := Beside{
		Looks: len(found),
		Other: median(func(c pitch.Company) float64 { return c.Other }),
		Hum:   median(func(c pitch.Company) float64 { return c.Hum }),
		Gaps:  median(func(c pitch.Company) float64 { return float64(c.Gaps) }),
	}
	f0 := median(func(c pitch.Company) float64 { return c.F0 })
	b.Wander = median(func(c pitch.Company) float64 { return math.Abs(theory.CentsBetween(c.F0, f0)) })
	return b
}

// amid returns the seconds of sound around a note that is as loud and has no pitch, with no
// pause between.
func (a *Attempt) amid(n pitch.Note) float64 {
	const (
		asLoud = 6.0  // dB, so much under it at most
		pause  = 0.15 // s
	)
	count, gap := 0, int64(pause*float64(a.rate))
	// near takes a frame at so many samples from the note, after those at last.
	near := func(f frame, away, last int64) int64 {
		if away < 0 || away-last > gap || last > int64(a.rate) || f.level < n.Level-asLoud {
			return last
		}
		count++
		return away
	}
	before, after := int64(0), int64(0)
	for i := range a.frames {
		f := a.frames[len(a.frames)-1-i]
		before = near(f, n.Onset-f.index, before)
	}
	for _, f := range a.frames {
		after = near(f, f.index-n.Offset, after)
	}
	return a.seconds(int64(count * a.hop))
}

// Holding returns how long, in seconds, the note being sung at this moment has
// been held, for a live view; false if none is.
func (a *Attempt) Holding() (seconds float64, ok bool) {
	onset, offset, ok := a.seg.Holding()
	return a.seconds(offset - onset), ok
}

// What a sung note is, and speech is not: a pitch that is near one place and stays
// there, at a level that stays. Limits were chosen on syllables of a speech
// synthesiser and on notes of simulated and real singers.
const (
	settledNear   = 0.8  // share of the voiced frames within 50 cents of the pitch, at least
	settledSpread = 12.0 // cents: of what stays for half a second, enough by itself
	settledDrift  = 70.0 // cents from the beginning to the end of the steady part, at most
	briefTime     = 0.3  // s: a shorter note meets these too easily
	swell         = 30.0 // dB/s: so does one whose level moves as in a syllable
	calmNear      = 0.9  // what such notes must meet, or
	calmDrift     = 30.0
	calmest       = 15.0 // cents of drift with settledNear
	swellDrift    = 20.0
	longTime      = 0.8  // s: no syllable is so long; syllables that run together are, but
	longSpread    = 120  // cents: their pitch moves more than that of an unsteady singer,
	longest       = 2.0  // s: and so long they seldom are
	minStep       = 0.12 // s: the shortest note that somebody stops at on the way to another
)

// settled tells that a note came to rest on a pitch: it is sung, not spoken.
func (a *Attempt) settled(n pitch.Note) bool {
	length := a.seconds(n.Offset - n.Onset)
	drift := math.Abs(n.Slope) * max(length-0.24, length/2)
	switch {
	case n.Settled > 0 && n.Spread <= settledSpread:
		return true
	case n.Near < settledNear || drift > settledDrift:
		return false
	case math.Abs(n.DecayDB) > swell:
		return n.Near >= calmNear && drift <= swellDrift
	case length < briefTime:
		return drift <= calmest || n.Near >= calmNear && drift <= calmDrift
	}
	return true
}

// answer picks the note that answers: of the first phrase that holds a sung note of
// at least MinHeld, the longest, and the earliest of equals. A note that has not
// settled, but is longer than any syllable, is sung, too; it counts by half its
// length. Where the singer climbs or falls by steps and stays as long on a later one,
// the answer is where the way ends. A phrase ends where Silence passes without a
// note. −1 if there is none.
func (a *Attempt) answer() int {
	best, most := -1, 0.0
	end := len(a.notes)
	for i, n := range a.notes {
		if best >= 0 && a.seconds(n.Onset-a.notes[i-1].Offset) >= a.window.Silence {
			end = i
			break
		}
		length := a.seconds(n.Offset - n.Onset)
		worth := length
		if !a.settled(n) {
			if length < longTime || length < longest && n.Spread > longSpread {
				continue
			}
			worth /= 2
		}
		if length >= MinHeld && worth > most {
			best, most = i, worth
		}
	}
	for j := best + 1; best >= 0 && j < end; j++ {
		if !a.settled(a.notes[j]) || !a.stepwise(j) {
			break
		}
		if length := a.seconds(a.notes[j].Offset - a.notes[j].Onset); length >= equalLength*most {
			best, most = j, max(length, most)
		}
	}
	return best
}

// equalLength is what share of the longest note's length is as long.
const equalLength = 0.8

// stepwise tells that note i goes on, in the same direction, a way by steps of a
// scale, or begins one: the note before it lies a step away, and so does the one
// before that or the one after it.
func (a *Attempt) stepwise(i int) bool {
	step := func(i int) float64 {
		if i < 1 || i >= len(a.notes) || !a.settled(a.notes[i-1]) || !a.settled(a.notes[i]) {
			return 0
		}
		if c := theory.CentsBetween(a.notes[i].F0, a.notes[i-1].F0); scaleStep(c) {
			return c
		}
		return 0
	}
	here := step(i)
	return here*step(i-1) > 0 || here*step(i+1) > 0
}

// scaleStep tells whether an interval in cents is one between neighbours in a scale,
// from a semitone to a whole tone, as they are sung.
func scaleStep(cents float64) bool { return math.Abs(cents) >= 60 && math.Abs(cents) <= 245 }

// wanders reports whether a note that was not held is one of several without a
// pause between them, of which one comes back to the pitch of the one before
// the last, two pitches in turn or a slow wave, or which settle on no pitch for
// longer than it lasts.
func (a *Attempt) wanders(i int) bool {
	const (
		pause = 0.15 // s
		same  = 70.0 // cents: the segmenter's newLevel
	)
	if a.notes[i].Settled > 0 {
		return false
	}
	from, to := i, i+1
	for from > 0 && a.seconds(a.notes[from].Onset-a.notes[from-1].Offset) < pause {
		from--
	}
	for to < len(a.notes) && a.seconds(a.notes[to].Onset-a.notes[to-1].Offset) < pause {
		to++
	}
	length, moving := a.notes[i].Offset-a.notes[i].Onset, int64(0)
	for j := from; j < to; j++ {
		if !a.settled(a.notes[j]) {
			moving += a.notes[j].Offset - a.notes[j].Onset
		}
	}
	if moving > length && a.settled(a.notes[i]) {
		return true
	}
	for j := from; j+2 < to; j++ {
		if math.Abs(theory.CentsBetween(a.notes[j].F0, a.notes[j+2].F0)) < same {
			return true
		}
	}
	return false
}

func (a *Attempt) seconds(samples int64) float64 { return float64(samples) / float64(a.rate) }
