package calib

import (
	"math"
	"slices"

	"singback/pitch"
	"singback/theory"
)

// RangeStep is a part of the range test.
type RangeStep int8

// The steps, in their order.
const (
	AtEase  RangeStep = iota // any note that comes easily
	Softly                   // the same note once more, softly
	Down                     // downwards, softly
	Up                       // upwards, softly
	AllDone                  // nothing more is asked
)

// String returns "ease", "soft", "down", "up" or "done".
func (s RangeStep) String() string { return [...]string{"ease", "soft", "down", "up", "done"}[s] }

// RangeAsk is what the singer is asked for.
type RangeAsk struct {
	Step RangeStep
	// Pitch is the note as a MIDI number; 0 AtEase, where the singer chooses.
	Pitch int
	// Rest tells that it is an easy note, asked for so that the singer can come
	// back from one that did not come.
	Rest bool
}

// Word is what the singer says of a note.
type Word int8

// The words. Unsaid leaves it to what was measured.
const (
	Unsaid Word = iota
	Comfortable
	Strain
	Stop // enough of the whole test
)

// String returns "", "comfortable", "strain" or "stop".
func (w Word) String() string { return [...]string{"", "comfortable", "strain", "stop"}[w] }

// RangeReply is what came of one ask: the notes heard, in order, and the
// singer's word.
type RangeReply struct {
	Notes []pitch.Note
	Rate  int // hertz, of the notes' samples
	Word  Word
}

// RangeHeard says what the test makes of a reply.
type RangeHeard int8

// What a reply can come to. Only Held widens the range.
const (
	Nothing   RangeHeard = iota // no note
	Held                        // the note asked, held
	Elsewhere                   // another note than asked
	Unsteady                    // too unsteady to be a held note, as fry is
	Whistle                     // above C6, where the whistle register begins
	Broke                       // the voice jumped
	Strained                    // the singer says that it strains
	Stopped                     // the singer has had enough
)

// String names it in lower case.
func (h RangeHeard) String() string {
	return [...]string{"nothing", "held", "elsewhere", "unsteady", "whistle", "broke", "strained", "stopped"}[h]
}

// What counts as a held note. Near, VoicedShare and Spread are those of
// pitch.Note: vocal fry, whose cycles are irregular, has a spread of 50 cents
// and more; a beginner holds a note within 10 to 30 (both common practice).
const (
	heldSeconds = 0.4
	heldNear    = 0.8
	heldVoiced  = 0.75
	heldSpread  = 40.0
	// reach is how far, in cents, a note may lie from the one asked and still
	// count for the range: 10 to 15 people in a hundred are off by a semitone or
	// more when they imitate (Pfordresher & Brown 2007), and that is not their
	// limit.
	reach = 150.0
	// brokeCents and brokeSeconds tell a break: another note that far off, that
	// long, within one answer.
	brokeCents   = 250.0
	brokeSeconds = 0.15
)

// The limits of what is asked, C2 and C6: below is fry for almost everybody,
// above begins the whistle register (common practice).
const (
	lowestAsk  = 36
	highestAsk = 84
)

// growingStep is the step, in semitones, of the shorter test for children and
// changing voices; the others go by one.
const growingStep = 2

// RangeTop is how far up, in hertz, the tracker should look in a range test
// (pitch.Config.MaxHz): as far as it can, so that a whistle is not taken for the
// note an octave below it.
const RangeTop = 2000.0

// easier is how many semitones back, towards the start, the easier note lies.
const easier = 4

// easeTries is how often a note at ease is asked for before the test gives up.
const easeTries = 3

// RangeTest finds the comfortable range of a voice: from a note that the singer
// chooses, softly, down by semitones until one does not come with ease, then up
// from the first. A note that did not come is asked for once more, after an
// easier one; the extreme is never asked for twice in a row. Where the note at
// ease does not come again softly, another one is asked for. The range is made
// of what was sung, where that is less than what was asked. The singer's word
// ends a direction (Strain) or the test (Stop) at once. A break is passed over:
// where the note beyond comes with ease the test goes on from there. Children
// and changing voices are asked by whole tones, and nothing twice.
//
// One test understates a range: see [Voice.Widened]. The procedure is common
// practice of range profiles (conditions: Reker 1990, Schneider-Stickler 2016,
// from memory).
type RangeTest struct {
	growing bool
	tuning  theory.Tuning

	ask       RangeAsk
	tries     int
	start     int
	low, high int
	missed    int // the pitch that did not come, while it is in question; 0
	second    bool
	crossing  bool // the note beyond a break is being asked for

	errors, spreads []float64
}

// NewRangeTest begins a test. The tuning is that of the notes asked.
func NewRangeTest(t theory.Tuning, growing bool) *RangeTest {
	return &RangeTest{growing: growing, tuning: t}
}

// Next is what to ask for now; its Step is AllDone when the test is over. It
// does not change the test.
func (t *RangeTest) Next() RangeAsk { return t.ask }

// Hz is the frequency of an ask's note.
func (t *RangeTest) Hz(a RangeAsk) float64 { return hzOf(a.Pitch, t.tuning) }

// Where an answer is expected: an easy note lies near the pitch of speech or
// somewhat above, E2 … A4 (common practice); an answer within expectWithin
// semitones of the note asked.
const (
	easyLow, easyHigh = 40, 69
	expectWithin      = 2
)

// Expect is the range, in hertz, in which the answer to an ask is expected. As
// Low and High of pitch.Config it is a soft prior, which keeps noise from turning
// a harmonic into the note; another note is heard all the same.
func (t *RangeTest) Expect(a RangeAsk) (low, high float64) {
	if a.Step == AtEase {
		return hzOf(easyLow, t.tuning), hzOf(easyHigh, t.tuning)
	}
	return hzOf(a.Pitch-expectWithin, t.tuning), hzOf(a.Pitch+expectWithin, t.tuning)
}

func hzOf(midi int, t theory.Tuning) float64 { return t.A4 * math.Exp2(float64(midi-69)/12) }

// midiOf is the pitch of hz in semitones, as a MIDI number with a fraction.
func midiOf(hz float64, t theory.Tuning) float64 { return 69 + 12*math.Log2(hz/t.A4) }

// Hear takes the reply to what Next asked, and says what it made of it.
func (t *RangeTest) Hear(r RangeReply) RangeHeard {
	if t.ask.Step == AllDone {
		return Nothing
	}
	note, heard := t.judge(r)
	if heard == Held && t.ask.Step != AtEase {
		cents := 100 * (midiOf(note.F0, t.tuning) - float64(t.ask.Pitch))
		t.errors = append(t.errors, math.Abs(cents))
	}
	if heard == Held {
		t.spreads = append(t.spreads, note.Spread)
	}
	switch {
	case heard == Stopped:
		t.ask = RangeAsk{Step: AllDone}
	case t.ask.Step == AtEase:
		t.began(note, heard)
	case t.ask.Step == Softly && t.doubtful(heard):
		t.ask, t.start = RangeAsk{}, 0
	case t.ask.Step == Softly:
		t.ask = RangeAsk{Step: Down, Pitch: t.start}
		t.beyond()
	default:
		t.went(heard, int(math.Round(midiOf(note.F0, t.tuning))))
	}
	return heard
}

// judge says what a reply is, whatever step it belongs to.
func (t *RangeTest) judge(r RangeReply) (pitch.Note, RangeHeard) {
	switch r.Word {
	case Stop:
		return pitch.Note{}, Stopped
	case Strain:
		return pitch.Note{}, Strained
	}
	best := -1
	for i, n := range r.Notes {
		if best < 0 || n.Offset-n.Onset > r.Notes[best].Offset-r.Notes[best].Onset {
			best = i
		}
	}
	if best < 0 || r.Rate <= 0 {
		return pitch.Note{}, Nothing
	}
	n := r.Notes[best]
	seconds := func(n pitch.Note) float64 { return float64(n.Offset-n.Onset) / float64(r.Rate) }
	midi := midiOf(n.F0, t.tuning)
	switch {
	case midi > highestAsk+.5:
		return n, Whistle
	case seconds(n) < heldSeconds || struck(n):
		return n, Nothing
	case !steady(n):
		return n, Unsteady
	}
	for i, o := range r.Notes {
		if i != best && seconds(o) >= brokeSeconds && math.Abs(theory.CentsBetween(o.F0, n.F0)) > brokeCents {
			return n, Broke
		}
	}
	if midi < lowestAsk-.5 || t.ask.Step != AtEase && math.Abs(100*(midi-float64(t.ask.Pitch))) > reach {
		return n, Elsewhere
	}
	return n, Held
}

func steady(n pitch.Note) bool {
	return n.Near >= heldNear && n.VoicedShare >= heldVoiced && n.Spread <= heldSpread
}

// struck tells a struck string, like the note that was asked for when it comes
// back late from the loudspeaker, from a voice: it falls by more than 6 dB a
// second along a straight line and is stiller than any voice.
func struck(n pitch.Note) bool {
	return n.DecayDB < -6 && n.DecayFit > .9 && n.Spread < 2 && n.VibratoCents == 0
}

// began takes the note at ease.
func (t *RangeTest) began(n pitch.Note, heard RangeHeard) {
	if heard != Held {
		if t.tries++; t.tries >= easeTries {
			t.ask = RangeAsk{Step: AllDone}
		}
		return
	}
	t.start = int(math.Round(midiOf(n.F0, t.tuning)))
	t.low, t.high = t.start, t.start
	t.ask = RangeAsk{Step: Softly, Pitch: t.start}
}

// doubtful tells that the note at ease was not what it seemed, since it does not
// come again, and that another one may be asked for.
func (t *RangeTest) doubtful(heard RangeHeard) bool {
	if heard != Elsewhere && heard != Whistle && heard != Strained {
		return false
	}
	t.tries++
	return t.tries < easeTries
}

// went takes the reply to a note on the way down or up: what was heard, and,
// where it was held, the pitch sung.
func (t *RangeTest) went(heard RangeHeard, sung int) {
	switch {
	case heard == Strained:
		t.turn()
	case t.ask.Rest && heard == Held:
		t.ask.Rest, t.ask.Pitch, t.second = false, t.missed, true
	case t.ask.Rest:
		t.turn() // not even the easy one: enough of this direction
	case heard == Held:
		if t.ask.Step == Down {
			t.low = min(t.low, max(sung, t.ask.Pitch))
		} else {
			t.high = max(t.high, min(sung, t.ask.Pitch))
		}
		t.missed, t.second, t.crossing = 0, false, false
		t.beyond()
	case t.growing || t.crossing:
		t.turn()
	case t.second && heard == Broke:
		t.crossing = true
		t.beyond()
	case t.second:
		t.turn()
	default:
		t.missed = t.ask.Pitch
		t.ask.Rest, t.ask.Pitch = true, t.easy()
	}
}

// easy is an easy note in the direction being tested: a few semitones back from
// the last one that came.
func (t *RangeTest) easy() int {
	if t.ask.Step == Down {
		return min(t.low+easier, t.start)
	}
	return max(t.high-easier, t.start)
}

// beyond asks for the note after the one asked now, if there is one.
func (t *RangeTest) beyond() {
	step := 1
	if t.growing {
		step = growingStep
	}
	if t.ask.Step == Down {
		step = -step
	}
	t.ask.Pitch += step
	if t.ask.Pitch < lowestAsk || t.ask.Pitch > highestAsk {
		t.turn()
	}
}

// turn ends a direction.
func (t *RangeTest) turn() {
	t.missed, t.second, t.crossing = 0, false, false
	if t.ask.Step == Up {
		t.ask = RangeAsk{Step: AllDone}
		return
	}
	t.ask = RangeAsk{Step: Up, Pitch: t.start}
	t.beyond()
}

// Voice is what was found so far. ok is false where not even a note at ease was
// held.
func (t *RangeTest) Voice(on Date) (v Voice, ok bool) {
	if t.start == 0 {
		return Voice{}, false
	}
	v = Voice{Date: on, Growing: t.growing, Comfortable: theory.Range{Low: t.low, High: t.high}}
	v.Tessitura = tessitura(v.Comfortable, t.start)
	v.Notes = len(t.errors)
	if v.Notes > 0 {
		v.Error = quantile(slices.Clone(t.errors), .5)
		v.Spread = quantile(slices.Clone(t.spreads), .5)
	}
	return v, true
}

// Where in a comfortable range a voice lies most at ease: the lowest fifth and
// the highest third are left out. For an unchanged child's voice, A3–F5, that
// gives C♯4–A♯4, where handbooks have about C4–B♭4 (from memory).
const (
	tessituraLow  = 1.0 / 5
	tessituraHigh = 1.0 / 3
)

// tessitura is where a voice lies most at ease; start, unless it is 0, is a
// note that the singer chose and belongs to it.
func tessitura(r theory.Range, start int) theory.Range {
	span := float64(r.High - r.Low)
	t := theory.Range{Low: r.Low + int(math.Round(span*tessituraLow)), High: r.High - int(math.Round(span*tessituraHigh))}
	if start != 0 {
		t.Low, t.High = min(t.Low, start), max(t.High, start)
	}
	return t
}

// Widened returns the voice with its comfortable range widened to take in r, as
// it is after another test or on the singer's word: one test understates.
func (v Voice) Widened(r theory.Range) Voice {
	wide := theory.Range{Low: min(v.Comfortable.Low, r.Low), High: max(v.Comfortable.High, r.High)}
	if wide != v.Comfortable {
		v.Comfortable = wide
		t := tessitura(wide, 0)
		v.Tessitura = theory.Range{Low: min(t.Low, v.Tessitura.Low), High: max(t.High, v.Tessitura.High)}
	}
	return v
}

// widestGap is the largest step, in semitones, between neighbouring notes of one
// range: what lies further off is an octave error, fry or whistle.
const widestGap = 5

// VoiceOf finds the range from the notes of a recording in which the singer goes
// down and up as far as is comfortable. Only held notes count, and only those
// that hang together with the middle one by steps of a fourth at the most. ok
// is false where there is none. Errors are not known: nothing was asked.
func VoiceOf(notes []pitch.Note, rate int, t theory.Tuning, growing bool, on Date) (v Voice, ok bool) {
	var held []int
	spread := map[int][]float64{}
	for _, n := range notes {
		midi := midiOf(n.F0, t)
		if float64(n.Offset-n.Onset) < heldSeconds*float64(rate) || !steady(n) || midi < lowestAsk-.5 || midi > highestAsk+.5 {
			continue
		}
		at := int(math.Round(midi))
		held = append(held, at)
		spread[at] = append(spread[at], n.Spread)
	}
	if len(held) == 0 {
		return Voice{}, false
	}
	slices.Sort(held)
	low, high := len(held)/2, len(held)/2
	for low > 0 && held[low]-held[low-1] <= widestGap {
		low--
	}
	for high+1 < len(held) && held[high+1]-held[high] <= widestGap {
		high++
	}
	var spreads []float64
	for at, s := range spread {
		if at >= held[low] && at <= held[high] {
			spreads = append(spreads, s...)
		}
	}
	v = Voice{Date: on, Growing: growing, Comfortable: theory.Range{Low: held[low], High: held[high]}, Notes: high - low + 1, Spread: quantile(spreads, .5)}
	v.Tessitura = tessitura(v.Comfortable, 0)
	return v, true
}
