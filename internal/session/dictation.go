package session

import (
	"context"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/internal/synth"
)

// Dictation is the task to name something of chords that are heard: the degrees in
// the bass, or the qualities.
type Dictation struct {
	Dictation compose.Dictation
	Item      exercise.Item // key, tuning and register
	Credit    exercise.Skill
	SetKey    bool // set the key before it
	Feedback  practice.Feedback

	Namer Namer
}

// Namer is who names what was heard.
type Namer interface {
	// Name returns a name for each chord, none if the singer gives up, or again to
	// have it played once more, and how many seconds after the sound the names came.
	Name(ctx context.Context, d compose.Dictation) (names []exercise.Skill, again bool, seconds float64, err error)
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

func (DictationAsked) event() {}
func (Naming) event()         {}
func (Named) event()          {}

// chordLength is how long a chord of a dictation sounds, in seconds.
const chordLength = 1.2

// Skill returns what an answer is credited to: of more chords each is, by its own
// skill, too.
func (d Dictation) Skill() exercise.Skill { return d.Credit }

// Do asks what is heard, and plays it once more when it has been told.
func (d Dictation) Do(ctx context.Context, t *Turn) error {
	if err := t.NeedKey(ctx, Need{Item: d.Item, Fresh: d.SetKey}); err != nil {
		return err
	}
	heard := d.Dictation
	named := Named{Index: t.Index, Dictation: heard, Item: d.Item, Feedback: d.Feedback}
	sound := synth.Chords(heard.Key, d.Item.Tuning, heard.Voices, chordLength)
	for {
		t.Emit(DictationAsked{Index: t.Index, Of: t.Count, Dictation: heard, Again: named.Again})
		if err := t.Play(ctx, sound); err != nil {
			return err
		}
		t.Emit(Naming{heard})
		names, again, seconds, err := d.Namer.Name(ctx, heard)
		if err != nil {
			return err
		}
		if !again {
			named.Names, named.Answer = names, seconds
			break
		}
		named.Again = true
	}
	named.Right = heard.Right(named.Names)
	named.Seconds = t.Seconds()
	named.Hidden = true
	for i, skill := range heard.Skills() {
		var name *exercise.Skill
		if i < len(named.Names) {
			name = &named.Names[i]
		}
		t.Tally.AddNamed(skill, name, named.Right[i])
		o := exercise.WrongAnswer
		if named.Right[i] {
			o = exercise.RightAnswer
		}
		named.Hidden = named.Hidden && !d.Feedback.Shows(exercise.Verdict{Outcome: o})
	}
	t.Emit(named)
	if named.Hidden || !t.Compare {
		return nil
	}
	return t.Play(ctx, sound)
}
