package calib

import (
	"singback/pitch"
	"singback/theory"
)

// Advice is something that the singer can do so that the microphone hears the
// voice better.
type Advice int8

// What can be advised.
const (
	Nearer Advice = iota
	TurnDown
	TurnUp
	QuieterRoom
	Hum
	Fan
	Headphones
	BeSilent
	Retune
)

// Code is the name for programs.
func (a Advice) Code() string {
	return [...]string{"nearer", "turn_down", "turn_up", "quieter_room", "hum", "fan", "headphones", "be_silent", "retune"}[a]
}

// String is what to do, as a sentence.
func (a Advice) String() string {
	return [...]string{
		"Come closer to the microphone, a hand or two away.",
		"Turn the microphone's gain down, or step back: it is overloaded.",
		"Turn the microphone's gain up, or come closer: it hears you faintly.",
		"Look for a quieter room: the noise is too near to your voice.",
		"Mains hum is heard: move the microphone and its cable away from power supplies, or run the laptop on its battery.",
		"A fan or the like is heard: switch it off, or turn the microphone away from it.",
		"Use headphones: the microphone hears what is played.",
		"Be silent while the room is measured: a voice was heard. Measure it again.",
		"The instrument's notes do not agree with each other: have it tuned, or give its pitch with --a4.",
	}[a]
}

// What advice goes by, in dB and dBFS (common practice, and for noise the
// tracker's own table: at 10 dB it hears as well as in silence, at 0 dB not).
const (
	closeToFloor = 15.0  // the voice over the floor of the room: come closer
	nearFloor    = 25.0  // a fan or hum this near is worth a word
	faint        = -45.0 // the voice at ease
	faintFloor   = -70.0 // below this floor gain does no harm
	humMatters   = -65.0
)

// Advise says what would make the room better to sing in, the most urgent first;
// nothing where all is well.
func Advise(r Room) []Advice {
	var a []Advice
	sung, measured := r.Voice < 0, r.Floor < 0
	if r.Clipped {
		a = append(a, TurnDown)
	}
	over := r.Voice - r.Floor
	switch {
	case !sung || !measured:
	case over < closeToFloor && r.Voice < faint:
		a = append(a, Nearer, QuieterRoom)
	case over < closeToFloor:
		a = append(a, QuieterRoom, Nearer)
	case r.Voice < faint && r.Floor > faintFloor:
		a = append(a, Nearer)
	case r.Voice < faint:
		a = append(a, TurnUp)
	}
	if r.Hum != 0 && r.Floor > humMatters && (!sung || over < nearFloor) {
		a = append(a, Hum)
	}
	if r.Fan && (!sung || over < nearFloor) {
		a = append(a, Fan)
	}
	if r.Leaks {
		a = append(a, Headphones)
	}
	return a
}

// NewRoom puts together what was measured; ease and echo are nil where they were
// not. Noise may be nil too: then Floor is unknown, 0, and Gate the tracker's own.
func NewRoom(on Date, noise *Noise, ease *Ease, echo *Echo) Room {
	r := Room{Date: on, Gate: pitch.DefaultConfig(minRate).MinLevel}
	if ease != nil {
		r.Voice, r.Peak, r.Clipped = ease.Level, ease.Peak, ease.Clipped()
	}
	if noise != nil {
		r.Floor, r.Hum, r.Fan = noise.Floor, noise.Hum, noise.Fan
		r.Gate = noise.Gate(r.Voice)
	}
	if echo != nil {
		r.LeakTried, r.Leaks, r.Leak, r.Delay = true, echo.Heard, echo.Level, echo.Delay
	}
	return r
}

// Cautions, in plain words. The facts: voice care as public health services and
// the societies of speech therapists and laryngologists give it; three weeks
// from NIDCD and the guideline of the AAO-HNS (2018); the weekly dose of
// listening from WHO and ITU-T H.870 (2019): 80 dB(A) for 40 hours, 75 for
// children.
const (
	// RangeCaution is shown before the range test.
	RangeCaution = "Sing softly and at ease, with a glass of water at hand and warmed up if you can. " +
		"Stop at once on pain, tightness, a sudden change of the voice, or hoarseness, and do not sing when ill. " +
		"The highest and lowest notes are not a contest: stop where it begins to strain. " +
		"Hoarse for more than three weeks: see a doctor or a laryngologist. " +
		"This is no medical advice; a voice teacher or a clinician decides."
	// GrowingCaution is added for a child's or changing voice.
	GrowingCaution = "A growing voice is never pushed: the test is short, and is done again in 6 to 8 weeks."
	// LevelCaution is shown before anything is played.
	LevelCaution = "Start with the volume low and raise it only as far as you need; " +
		"what you hear should not be louder than your own voice."
	// LongCaution is for after long singing.
	LongCaution = "Take a rest and drink some water. Stop for today on pain, tightness or hoarseness."
)

// Published is a published number to see one's own beside.
type Published struct {
	Cents  theory.Cents
	What   string
	Source string
}

// PublishedError and PublishedTolerance are what a singer's error is compared
// with.
var (
	PublishedError = Published{19, "median note error of 24 singers of mixed ability, unaccompanied",
		"Mauch, Frieler & Dixon 2014"}
	PublishedTolerance = Published{25, "from there on most listeners call a melody out of tune",
		"Larrouy-Maestri 2018"}
)
