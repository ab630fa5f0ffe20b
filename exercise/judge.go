package exercise

import (
	"fmt"
	"math"
	"strings"

	"singback/pitch"
	"singback/theory"
)

// Outcome is what a judge says of an attempt.
type Outcome int8

// The outcomes. Degree comes first, tuning second, steadiness third.
const (
	NotMeasured Outcome = iota // the machine could not tell: never the singer's fault
	InTune                     // the asked degree, within the tolerance
	Flat                       // the asked degree, too low
	Sharp                      // the asked degree, too high
	OtherDegree                // another degree, or in strict octave mode another octave
	Ambiguous                  // too near the border between two degrees to say which
	Unsteady                   // the asked degree, not held steady; or the pitch moved too much to name one

	// What is no single sung degree is right or wrong; Judge never says so.
	RightAnswer // what was heard was named right, or enough notes of a line were
	WrongAnswer
)

var outcomeNames = [...]string{"not_measured", "in_tune", "flat", "sharp", "other_degree", "ambiguous", "unsteady", "right", "wrong"}

// String returns the name used in machine-readable output.
func (o Outcome) String() string {
	if o < 0 || int(o) >= len(outcomeNames) {
		return fmt.Sprintf("Outcome(%d)", int8(o))
	}
	return outcomeNames[o]
}

// decides reports whether the outcome can be right or wrong.
func (o Outcome) decides() bool { return o != NotMeasured && o != Ambiguous }

// IsRight reports whether the outcome counts as right.
func (o Outcome) IsRight() bool { return o == InTune || o == RightAnswer }

// Reason tells why nothing could be measured.
type Reason int8

// The reasons.
const (
	NoReason     Reason = iota
	TooShort            // a voice, but no note of MinHeld
	TooQuiet            // nothing above the quiet limit
	TooNoisy            // sound, but no pitch that stands out of it
	LostSamples         // the driver lost samples in the middle
	OwnSound            // a struck, decaying tone such as the keyboard sound of this program
	NotHeld             // a voice that stays on no pitch, as in speech
	SeveralTones        // several tones at once, as of a chord, and not one voice
	TooLoud             // the microphone hears too much of what the program sounds meanwhile
)

var reasonNames = [...]string{"", "too_short", "too_quiet", "too_noisy", "lost_samples", "own_sound", "not_held", "several_tones", "too_loud"}

// String returns the name used in machine-readable output; "" for NoReason.
func (r Reason) String() string {
	if r < 0 || int(r) >= len(reasonNames) {
		return fmt.Sprintf("Reason(%d)", int8(r))
	}
	return reasonNames[r]
}

// Tolerance is what a judge lets pass.
type Tolerance struct {
	Cents        theory.Cents // distance from the asked degree that is still in tune, MinTolerance … MaxTolerance
	StrictOctave bool         // only the octave of the prompt counts as right
}

// The limits of Tolerance.Cents, both allowed, and the usual values: beginner
// 50, general 35, advanced 25, expert 15 to 20 (common practice).
const (
	MinTolerance     = 5.0
	MaxTolerance     = 50.0
	DefaultTolerance = 35.0
)

// Validate reports a tolerance out of range.
func (t Tolerance) Validate() error {
	if !(t.Cents >= MinTolerance && t.Cents <= MaxTolerance) {
		return fmt.Errorf("a tolerance of %g cents is out of range: want %g to %g", t.Cents, MinTolerance, MaxTolerance)
	}
	return nil
}

// Limits of the judge, in cents unless stated otherwise. Common practice where
// no source is named.
const (
	BorderWidth   = 5.0   // this near to the middle between two degrees the degree is not decided
	unsteadyLimit = 30.0  // SD of the held part beyond which one degree is no longer held
	wanderLimit   = 50.0  // SD beyond which no degree can be named at all
	wanderShare   = 0.6   // a note of which less than this share lies near its pitch has none
	quietLimit    = -60.0 // dBFS: the level below which sound counts as silence
)

// Verdict is what the judge says of one attempt, with everything that is
// needed to judge it again with another tolerance.
type Verdict struct {
	Outcome Outcome
	Reason  Reason // set where Outcome is NotMeasured

	// Sung is the degree that was sung; HasSung is false where none can be
	// named. An ambiguous or right answer names the asked degree.
	Sung    theory.Degree
	HasSung bool
	// OctaveShift is the octave of the answer against the one in which the
	// prompt places the degree in Sung: 0 the same, −1 an octave below.
	OctaveShift int
	// Cents is the distance from the degree in Sung, positive when sharp.
	Cents theory.Cents
	// FromAsked is the distance from the asked degree in the nearest octave,
	// above −600 and at most 600.
	FromAsked theory.Cents
	// SE is the standard error of Cents, the measurement's own.
	SE theory.Cents

	F0           float64      // hertz, 0 where nothing was measured
	Spread       theory.Cents // SD of the held part, vibrato averaged out
	VibratoHz    float64
	VibratoCents theory.Cents // half the extent, 0 where there is no vibrato
	Scoop        theory.Cents // start of the note against its centre, negative from below
	Settle       float64      // seconds from the first sound of the answer until the pitch stayed
	Held         float64      // seconds
	Answer       float64      // seconds from the opening of the window to the first sound of the answer
	Level        float64      // dBFS

	// BySteps tells that the singer climbed or fell along the scale to the
	// answer: the degree was found, not known at once.
	BySteps bool
}

// Counts reports whether the verdict is an answer: something that was measured
// and that a tally counts as right or wrong. What was not measured, lies between two
// degrees or moved too much to name one is held against nobody.
func (v Verdict) Counts() bool {
	return v.Outcome.decides() && (v.Outcome != Unsteady || v.HasSung)
}

// Silence is the level, in dBFS, of samples that are all zero, or differ from it by
// less than any microphone's own noise.
const Silence = pitch.MinLevel

// Silent reports that nothing was measured since there was no sound whatever, as
// from a microphone that is muted or unplugged.
func (v Verdict) Silent() bool {
	return v.Outcome == NotMeasured && v.Reason == TooQuiet && v.Level <= Silence
}

// Judge compares what a window heard with what the item asked. It is a pure
// function: degree first, tuning second, then steadiness; what cannot be
// measured is never called wrong. Within BorderWidth of the middle between two
// degrees an answer is ambiguous whatever the tolerance.
func Judge(it Item, take Take, tol Tolerance) Verdict {
	if r := unmeasured(take); r != NoReason {
		v := Verdict{Reason: r, Level: take.Loudest}
		return v
	}
	n := take.Note
	seconds := func(samples int64) float64 { return float64(samples) / float64(take.SampleRate) }
	v := Verdict{
		SE: n.SE, F0: n.F0, Spread: n.Spread,
		VibratoHz: n.VibratoHz, VibratoCents: n.VibratoCents, Scoop: n.Scoop,
		Settle: seconds(n.Onset-take.Start) + n.Settle,
		Held:   seconds(n.Offset - n.Onset),
		Answer: seconds(take.Start),
		Level:  n.Level,
	}
	target, _ := it.Target()
	off := theory.CentsBetween(n.F0, it.Hz(target))
	v.OctaveShift = Octaves(off)
	v.FromAsked = off - 1200*float64(v.OctaveShift)
	away := math.Abs(v.FromAsked)
	below, border := it.Tuning.Borders(it.Asked)
	if v.FromAsked < 0 {
		border = below
	}
	near := func(o Outcome) Verdict {
		v.Outcome, v.Sung, v.HasSung, v.Cents = o, it.Asked, true, v.FromAsked
		v.BySteps = v.Counts() && bySteps(it, take.Path, n)
		return v
	}
	switch {
	case take.Wanders || n.Spread > wanderLimit || n.Near < wanderShare:
		v.Outcome = Unsteady
		return v
	case away > border+BorderWidth:
		v.Outcome, v.HasSung = OtherDegree, true
		v.Sung, v.Cents = it.Tuning.Nearest(it.Tuning.Cents(it.Asked)+v.FromAsked, it.Asked)
		v.OctaveShift = Octaves(theory.CentsBetween(n.F0, it.Hz(it.pitchOf(v.Sung))))
		return v
	case tol.StrictOctave && v.OctaveShift != 0:
		return near(OtherDegree)
	case away >= border-BorderWidth:
		return near(Ambiguous)
	case n.Spread > unsteadyLimit:
		return near(Unsteady)
	case away <= tol.Cents:
		return near(InTune)
	case v.FromAsked > 0:
		return near(Sharp)
	default:
		return near(Flat)
	}
}

// bySteps tells that the asked degree was not known at once but found: the singer
// began on another one and climbed or fell to it. The way is the last stretch in one
// direction, of at least two notes before the answer; each move is a step of a scale,
// or one from a tone of the tonic triad to the next (do mi sol). From the tonic
// one step is a way, too: who starts at do and goes on to re has counted, while
// any other single note before the answer may be a mistake put right, which is no
// finding by steps, as a scoop or a slide is none. (Common practice.)
func bySteps(it Item, path []pitch.Note, answer pitch.Note) bool {
	if len(path) == 0 || it.degreeNear(path[0].F0) == it.Asked {
		return false
	}
	to, moves, sum := answer, 0, 0.0
	for i := len(path) - 1; i >= 0; i-- {
		c := theory.CentsBetween(to.F0, path[i].F0)
		if !scaleStep(c) && !it.triadMove(path[i].F0, to.F0) || c*sum < 0 {
			break
		}
		to = path[i]
		moves++
		sum += c
	}
	// Two semitones or less in all are a note corrected in two goes.
	if moves >= 2 {
		return math.Abs(sum) >= leastWay
	}
	return moves == 1 && it.degreeNear(to.F0) == theory.Degree{Step: 1} && scaleStep(sum)
}

// leastWay is how far, in cents, two steps lead at least: a semitone and a tone, less
// what they may be out of tune.
const leastWay = 250.0

// degreeNear returns the degree nearest to a frequency.
func (it Item) degreeNear(hz float64) theory.Degree {
	tonic := it.Hz(it.pitchOf(theory.Degree{Step: 1}))
	d, _ := it.Tuning.Nearest(theory.CentsBetween(hz, tonic), it.Asked)
	return d
}

// triadMove tells that one frequency is a tone of the tonic triad and the other the
// next one above or below.
func (it Item) triadMove(from, to float64) bool {
	third := it.Key.ScaleDegrees()[2]
	for _, hz := range [2]float64{from, to} {
		if d := it.degreeNear(hz); d != (theory.Degree{Step: 1}) && d != third && d != (theory.Degree{Step: 5}) {
			return false
		}
	}
	c := math.Abs(theory.CentsBetween(to, from))
	return c > 245 && c < 550
}

// Octaves returns the number of octaves nearest to a distance in cents; half
// an octave up rounds down, so that what remains is above −600 and at most 600.
func Octaves(c theory.Cents) int { return int(math.Ceil(c/1200 - 0.5)) }

// unmeasured returns why a take cannot be judged, NoReason if it can.
func unmeasured(take Take) Reason {
	n := take.Note
	quiet := take.Quiet
	if quiet == 0 {
		quiet = quietLimit
	}
	switch {
	case !take.Found && take.Lost, take.Found && n.Lost:
		return LostSamples
	case take.overheard() != NoReason:
		return take.overheard()
	case several(take.Beside):
		if struck(n, take.Beside) {
			return OwnSound
		}
		return SeveralTones
	case !take.Found && take.Spoken:
		return NotHeld
	case !take.Found && take.Voiced >= 0.03:
		return TooShort
	case !take.Found && take.Loudest <= quiet:
		return TooQuiet
	case !take.Found && take.Unpitched >= 0.2:
		return TooNoisy
	case !take.Found:
		return TooQuiet
	case n.Level <= quiet:
		return TooQuiet
	case scrap(take):
		return TooNoisy
	case struck(n, take.Beside):
		return OwnSound
	case mainsHum(n):
		return TooNoisy
	}
	return NoReason
}

// scrap reports whether a note is no more than a moment of a sound that has no pitch else,
// as of a chord whose partials meet: it is short, and what is as loud around it lasts longer.
func scrap(take Take) bool {
	const brief = 0.6 // s
	length := float64(take.Note.Offset-take.Note.Onset) / float64(max(take.SampleRate, 1))
	return take.Amid > length && length < brief
}

// struck reports whether a note is a struck or plucked tone rather than a
// voice: its level falls along a straight line in decibels from the start and
// its pitch is steadier than any voice. A held sung note wavers by several
// cents. In noise the frames waver, too, and the pitch over longer ones tells.
func struck(n pitch.Note, b Beside) bool {
	const (
		fall     = -6.0 // dB/s
		straight = 0.9  // share of the level's variance that the line explains
		bent     = 0.6  // with the pitch of a tone: partials fall at different rates
		still    = 2.0  // cents
		steep    = -15.0
		calm     = 3.0 // cents, of what falls steeply into the noise of the room
	)
	if n.DecayDB >= fall || n.VibratoCents != 0 {
		return false
	}
	return n.DecayFit > straight && n.Spread < still || n.DecayFit > bent && (b.still(0.5) || n.DecayDB < steep && n.Spread < calm)
}

// still reports whether a pitch strays from its median by no more than so many
// cents, over windows of a quarter of a second. Held notes of real singers stray by
// 1.7 cents and more, tones by a fraction of one.
func (b Beside) still(cents float64) bool { return b.Looks >= 6 && b.Wander < cents }

// several reports whether more tones sound than those of one voice: one beside it
// that is nearly as loud; a weaker one, where the pitch is too still for a voice; or
// a pitch that is only the common measure of tones, most of its harmonics missing.
// A voice alone leaves partials 20 dB under its own and more, and has no gaps.
func several(b Beside) bool {
	const (
		loud    = -8.0 // dB
		middle  = -20.0
		weak    = -36.0
		weakHum = -40.0
		gaps    = 3
		frozen  = 0.03 // cents: not even a short note of a voice is so still
	)
	switch {
	case b.Looks == 0:
		return false
	case b.Other > loud || b.Gaps >= gaps:
		return true
	case b.Looks >= 2 && b.Wander < frozen && max(b.Other, b.Hum) > weak:
		return true
	case b.still(0.25):
		return b.Other > weak || b.Hum > weakHum
	case b.still(0.5):
		return max(b.Other, b.Hum) > middle
	}
	return b.still(1) && b.Hum > middle
}

// mainsHum reports whether a note is the hum of 50 or 60 Hz mains or one of
// its first harmonics rather than a voice: quiet, on the frequency and stiller
// than any voice.
func mainsHum(n pitch.Note) bool {
	const (
		quiet = -36.0 // dBFS
		still = 1.5   // cents
		near  = 8.0   // cents: the mains keeps within 0.4 % of its nominal frequency
	)
	if n.Level > quiet || n.Spread > still {
		return false
	}
	for _, mains := range []float64{50, 60} {
		h := math.Round(n.F0 / mains)
		if h >= 1 && h <= 6 && math.Abs(theory.CentsBetween(n.F0, h*mains)) < near {
			return true
		}
	}
	return false
}

// ParseOutcome reads what Outcome.String writes.
func ParseOutcome(s string) (Outcome, error) {
	for o, name := range outcomeNames {
		if name == s {
			return Outcome(o), nil
		}
	}
	return 0, fmt.Errorf("no outcome %.20q: want %s", s, strings.Join(outcomeNames[:], ", "))
}

// ParseReason reads what Reason.String writes.
func ParseReason(s string) (Reason, error) {
	for r, name := range reasonNames {
		if name == s {
			return Reason(r), nil
		}
	}
	return 0, fmt.Errorf("no reason %.20q: want %s", s, strings.Join(reasonNames[1:], ", "))
}
