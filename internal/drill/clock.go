package drill

import (
	"context"
	"fmt"
	"time"

	"singback/internal/session"
)

// How long nothing may happen in a drill before it has been asleep, like a computer that
// was shut, or a program that was stopped: a listening window tells ten times a second
// what it hears, and otherwise the longest there is are ten minutes, of a line that is
// read, or sounds.
const (
	hearsWithin = 10 * time.Second
	tellsWithin = 12 * time.Minute
)

// watch is the time of day beside the sound of a run. The sound is counted in samples,
// which a clock that jumps does not change; the clock counts what makes no sound.
type watch struct {
	begun   time.Time     // by the clock's date, which goes on while the computer sleeps
	last    time.Time     // when something happened
	passed  time.Duration // without rests, and without sleep
	latest  time.Duration // since begun, of what was told
	hearing bool          // a window told what it hears, and nothing has happened since
}

// begin sets the watch.
func (w *watch) begin(now time.Time) { *w = watch{begun: now.Round(0), last: now} }

// tick counts the time since the last tick, unless it was slept.
func (w *watch) tick(now time.Time) {
	within := tellsWithin
	if w.hearing {
		within = hearsWithin
	}
	if d := now.Sub(w.last); d > 0 && d <= within {
		w.passed += d
	}
	w.rested(now)
}

// rested leaves out the time since the last tick.
func (w *watch) rested(now time.Time) { w.last, w.hearing = now, false }

// date returns how long after the beginning it is now: as long as the date, or so many
// seconds of sound, says, and never earlier than before.
func (w *watch) date(now time.Time, seconds float64) time.Duration {
	w.latest = max(w.latest, now.Round(0).Sub(w.begun), time.Duration(seconds*float64(time.Second)))
	return w.latest
}

// Rest waits while the singer rests.
func (r *Run) Rest(ctx context.Context) error {
	r.watch.tick(r.Clock())
	defer func() { r.watch.rested(r.Clock()) }()
	return r.Person.Rest(ctx)
}

// Went says what became of a sound device that has gone silent.
func Went(g session.Gone) string {
	if g.Back {
		return "The sound is back."
	}
	return "The sound device has gone silent: waiting for it to come back."
}

// GoesOn has the drill go on after the sound device has gone silent, once back, which
// waits until it is there and opens it anew, returns nil: the question is asked again
// then. It is called before Do. Without it a drill ends there.
func (r *Run) GoesOn(back func(ctx context.Context) error) {
	r.Plan.Config.Back = func(ctx context.Context, gone error) error {
		r.watch.tick(r.Clock())
		defer func() { r.watch.rested(r.Clock()) }()
		r.Show(session.Gone{})
		if err := back(ctx); err != nil {
			if ctx.Err() != nil {
				return err
			}
			return fmt.Errorf("%w; %w", gone, err)
		}
		r.Show(session.Gone{Back: true})
		return nil
	}
}

// elapsed is how many seconds of the sitting have passed: as many as the clock, or the
// sound that was played and heard, says. Rests do not count, nor does sleep.
func (r *Run) elapsed(seconds float64) float64 {
	r.watch.tick(r.Clock())
	return max(seconds, r.watch.passed.Seconds())
}

// at is the time of an event: as much later than the start as the date, or the
// sound that was played and heard, says.
func (r *Run) at(seconds float64) time.Time { return r.Start.Add(r.watch.date(r.Clock(), seconds)) }
