package session

import (
	"singback/exercise"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/theory"
)

// Event is something that happened in a run. Events come in the order in which
// they happened, from one goroutine; a view renders them, a log writes them.
// Those of all tasks are below, the others stand beside their task.
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

// Waiting tells that the singer should hear the note inwardly now: the tool is
// silent, but for what sounds while the singer sings, and does not judge yet.
type Waiting struct {
	Silence // how long, where it is counted in beats
}

// Listening tells that the window is open.
type Listening struct {
	Index int // that of the task, as in what was prompted; 0 in a calibration
}

// Heard reports what an open window hears, a few times a second.
type Heard listen.State

// Rest tells, once in a run, that the singer has sung long enough to need a
// rest.
type Rest struct {
	Sung float64 // seconds of voiced sound heard so far
}

// Gone tells that a sound device has gone silent and is waited for, or is back. It comes
// from the host, as the following do.
type Gone struct{ Back bool }

// Finished ends a run that was completed or interrupted.
type Finished struct {
	Tally       exercise.Tally
	Interrupted bool
}

// The following come from the host of a run: a session does not put things into
// words.

// Notice is a line from outside the drill that the singer should see, like that
// the record cannot be written.
type Notice struct{ Text string }

// Standing says in a line where the singer stands: what is learnt, what is due, what
// time is left. It comes before a task.
type Standing struct{ Text string }

// LineGraded says how a line among other tasks was sung.
type LineGraded struct {
	Index  int
	Lines  []string // what is to be said, the first line by itself; for people
	Hidden bool     // the singer is not told, it is only noted
}

func (KeySet) event()     {}
func (Waiting) event()    {}
func (Listening) event()  {}
func (Heard) event()      {}
func (Rest) event()       {}
func (Gone) event()       {}
func (Finished) event()   {}
func (Notice) event()     {}
func (Standing) event()   {}
func (LineGraded) event() {}
