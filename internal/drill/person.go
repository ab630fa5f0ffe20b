package drill

import (
	"context"

	"singback/exercise"
	"singback/internal/session"
)

// Person is whoever can be asked something while a drill runs. All wait for the
// answer, or end with the context's error, or with [ErrEnough].
type Person interface {
	// Retry asks whether a missed degree is to be sung once more.
	Retry(ctx context.Context, j session.Judged) (bool, error)
	// Guess asks whether the answer was flat, sharp or in tune; NotMeasured: no guess.
	Guess(ctx context.Context) (exercise.Outcome, error)
	// Type asks for words; what check refuses is not taken, and why is told.
	Type(ctx context.Context, wanted Wanted, check func(text string) error) (string, error)
	// Study waits so many seconds, or until the singer has read the line.
	Study(ctx context.Context, seconds float64) error
	// Sung asks how to go on after a line; weak tells that an interval of it can be
	// practised.
	Sung(ctx context.Context, s session.LineSung, weak bool) (Way, error)
	// Explained waits until an explanation was read.
	Explained(ctx context.Context) error
	// Rest waits until the singer has rested.
	Rest(ctx context.Context) error
}

// Wanted says which words are asked for.
type Wanted struct {
	Text  string   // "the 3 degrees", "its quality (maj min)"
	Words []string // of which the answer may be made, for those who do not type
	Count int      // how many words
}

// Way is how to go on after a line.
type Way int8

// The ways.
const (
	GoOn Way = iota
	Again
	Practise // the weakest interval, then ask once more
)

// Nobody is a Person who is asked nothing.
type Nobody struct{}

// Retry does not.
func (Nobody) Retry(context.Context, session.Judged) (bool, error) { return false, nil }

// Guess makes none.
func (Nobody) Guess(context.Context) (exercise.Outcome, error) { return exercise.NotMeasured, nil }

// Type ends the drill.
func (Nobody) Type(context.Context, Wanted, func(string) error) (string, error) {
	return "", ErrEnough
}

// Study waits for nobody.
func (Nobody) Study(context.Context, float64) error { return nil }

// Sung goes on.
func (Nobody) Sung(context.Context, session.LineSung, bool) (Way, error) { return GoOn, nil }

// Explained waits for nobody.
func (Nobody) Explained(context.Context) error { return nil }

// Rest waits for nobody.
func (Nobody) Rest(context.Context) error { return nil }
