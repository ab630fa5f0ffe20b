package session

import (
	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/internal/synth"
	"singback/theory"
)

// Event is something that happened in a run. Events come in the order in which
// they happened, from one goroutine; a view renders them, a log writes them.
// The types below are all there are.
type Event interface{ event() }

// KeySet tells that the key is being sounded. It comes before the sound.
type KeySet struct {
	Key     theory.Key
	Tuning  theory.Tuning
	Tonic   theory.Pitch
	Setting synth.KeySetting
	Again   bool // the key had been set before and is refreshed
	// Octaves is how far what sounds was moved so that none of its tones is an
	// answer; 0 where it sounds about Tonic.
	Octaves int
}

// Prompted tells that an item is being asked. It comes before the sound of the
// degree to start from, if there is one.
type Prompted struct {
	Index, Of int // 1-based; Of is 0 where the number of questions is not known
	Attempt   int // 1, or 2 for the retry
	Item      exercise.Item
	Target    theory.Pitch
	Folded    bool // moved by an octave to fit the voice
	Tolerance exercise.Tolerance

	Part, Parts int // as in Question
}

// DictationAsked tells that chords are to be heard. It comes before the sound.
type DictationAsked struct {
	Index, Of int // as in Prompted
	Dictation compose.Dictation
	Again     bool // it is played once more
}

// Naming tells that the singer is asked to name what was heard.
type Naming struct{ Dictation compose.Dictation }

// Named carries what was named, and what of it is right.
type Named struct {
	Index     int
	Dictation compose.Dictation
	Item      exercise.Item    // key, tuning and register
	Names     []exercise.Skill // one for each chord; none: given up
	Right     []bool           // one for each chord
	Again     bool             // it was heard more than once before
	Answer    float64          // seconds from the end of the sound to the names
	Feedback  practice.Feedback
	Hidden    bool    // the singer is not told, it is only noted
	Seconds   float64 // as in Judged
}

// Waiting tells that the singer should hear the note inwardly now: the tool is
// silent and does not judge yet.
type Waiting struct{}

// Listening tells that the window is open.
type Listening struct{}

// Heard reports the level a few times a second while the window is open.
type Heard struct {
	Level   float64 // dBFS
	Singing bool
	Held    float64 // seconds of the note being held, 0 if none
	F0      float64 // hertz at this moment, in a line; else 0
}

// Judged carries the verdict of one attempt.
type Judged struct {
	Index   int
	Attempt int
	Item    exercise.Item
	Verdict exercise.Verdict
	Counts  bool // it is the first measured answer to the item, the one in the tally

	Tolerance exercise.Tolerance
	Feedback  practice.Feedback
	Hidden    bool             // the singer is not told, it is only noted
	Guess     exercise.Outcome // what the singer took it for; NotMeasured: no guess
	Seconds   float64          // of sound played and heard in the run up to it
}

// Guessing tells that the singer is asked whether the answer was flat, sharp or
// in tune, before the verdict.
type Guessing struct{}

// Notice is a line from outside the drill that the singer should see, like that
// the record cannot be written.
type Notice struct{ Text string }

// Standing says in a line where the singer stands: what is learnt, what is due, what
// time is left. It comes before a question.
type Standing struct{ Text string }

// Sounding tells that the right note is being sounded for comparison.
type Sounding struct {
	Item   exercise.Item
	Target theory.Pitch
}

// Rest tells, once in a run, that the singer has sung long enough to need a
// rest.
type Rest struct {
	Sung float64 // seconds of voiced sound heard so far
}

// Finished ends a run that was completed or interrupted.
type Finished struct {
	Tally       exercise.Tally
	Interrupted bool
}

func (KeySet) event()    {}
func (Prompted) event()  {}
func (Waiting) event()   {}
func (Listening) event() {}
func (Heard) event()     {}
func (Judged) event()    {}
func (Sounding) event()  {}
func (Rest) event()      {}
func (Finished) event()  {}
func (Guessing) event()  {}
func (Notice) event()    {}
func (Standing) event()  {}

// LineGraded tells how a melody among other questions was sung. Whoever grades it
// emits it, since sessions do not put things into words.
type LineGraded struct {
	Index  int
	Lines  []string // what is to be said, the first line by itself; for people
	Hidden bool     // the singer is not told, it is only noted
}

func (LineGraded) event()     {}
func (DictationAsked) event() {}
func (Naming) event()         {}
func (Named) event()          {}
