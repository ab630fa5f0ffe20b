package drill

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/report"
	"singback/internal/session"
)

// Run is one run of a drill: the plan, and what it runs on. It is the host of the
// session, and who sings and names in it.
type Run struct {
	Plan    *Plan
	Style   report.Style
	Answers Answers
	Keys    Striking // a keyboard beside a voice; nil: what is played then is heard
	Out     audio.Sink
	Level   func() float64 // dBFS, the peak level of playback; asked before each sound
	Person  Person
	Keeper  *Keeper
	Show    func(session.Event) // views and logs
	// NotRecorded says that and why a session is not recorded.
	NotRecorded func(error) string

	Silent bool // the sound is heard nowhere
	Screen bool // a screen shows where the singer stands before each question
	// Watched tells that somebody sits there: nothing goes faster than a person, and
	// Pace waits. A person who hears the sound is asked, even if the singing is
	// simulated.
	Watched bool
	Pace    func(ctx context.Context, d time.Duration) error

	Start  time.Time        // of the session, as the singer's day has it
	Clock  func() time.Time // the time of day
	Singer string           // whose profile it is; "" without one
	// Save keeps what was sung of a line and returns its name; nil keeps nothing.
	Save func(session.LineSung) (name string, err error)
	// Aside shows the events of a short drill within the drill; nil shows none.
	Aside func(session.Event)

	watch  watch
	name   string      // of the last line that was sung
	failed error       // of Save
	labels atomic.Bool // the last line is shown with the names of its notes
	drifts []float64   // of do in the silences before answers, in cents
}

// Do runs it. That the singer, or the recordings, ended it is no error.
func (r *Run) Do(ctx context.Context) (exercise.Tally, error) {
	r.watch.begin(r.Clock())
	config := r.Plan.Config
	config.Level = r.Level
	if s, ok := r.Answers.(*Simulated); ok && r.Watched {
		s.Pace = r.Pace
		config.Still = r.still
	}
	tally, err := session.Run(ctx, config, r.Out, r)
	if errors.Is(err, context.Canceled) || errors.Is(err, ErrEnough) || errors.Is(err, session.ErrNoMore) && r.Plan.runsOut() {
		err = nil
	}
	return tally, err
}

// runsOut reports whether what answers may run out before the questions do.
func (p *Plan) runsOut() bool { return p.Command == "today" || p.Command == "dictation" }

func (r *Run) still(ctx context.Context, seconds float64) error {
	return r.Pace(ctx, time.Duration(seconds*float64(time.Second)))
}

// Next returns the next task.
func (r *Run) Next(seconds float64) (session.Task, error) { return r.Plan.asker.next(r, seconds) }

// Emit keeps what an event has to keep, and then shows it.
func (r *Run) Emit(e session.Event) {
	r.watch.tick(r.Clock())
	_, r.watch.hearing = e.(session.Heard)
	if sung, ok := e.(session.LineSung); ok && r.Save != nil {
		if r.name, r.failed = r.Save(sung); r.failed != nil {
			return
		}
	}
	if line, ok := e.(session.LinePrompted); ok {
		r.labels.Store(r.Labels(line.Feedback))
	}
	if j, ok := e.(session.Judged); ok {
		r.drifted(&j)
	}
	r.Keeper.keep(e, r)
	r.Plan.asker.kept(r, e)
	r.Show(e)
	r.Plan.asker.shown(r, e)
}

// Source returns what answers a question.
func (r *Run) Source(p session.Prompted) (audio.Source, bool, error) { return r.Answers.Source(p) }

// Retry asks whether a missed degree is to be sung once more.
func (r *Run) Retry(ctx context.Context, j session.Judged) (bool, error) {
	switch {
	case r.Plan.Retry == "always":
		return true, nil
	case r.Plan.Retry != "ask" || r.Answers.Kind() == ByRecording:
		return false, nil
	}
	return r.Person.Retry(ctx, j)
}

// Guess asks for a guess.
func (r *Run) Guess(ctx context.Context) (exercise.Outcome, error) { return r.Person.Guess(ctx) }

// BackSource returns what sings back what was heard.
func (r *Run) BackSource(d session.Dictation, index, attempt int) (audio.Source, bool, error) {
	return r.Answers.BackSource(d, index, attempt)
}

// Struck returns what was struck.
func (r *Run) Struck(ctx context.Context, d session.Dictation) ([]exercise.Strike, error) {
	p, ok := r.Answers.(session.BackPlayer)
	if !ok {
		return nil, session.ErrNoMore
	}
	strikes, err := p.Struck(ctx, d)
	if _, simulated := r.Answers.(*Simulated); simulated && err == nil && r.Watched && len(strikes) > 0 {
		err = r.still(ctx, strikes[len(strikes)-1].At)
	}
	return strikes, err
}

// LineSource returns what answers a line.
func (r *Run) LineSource(p session.LinePrompted, lead float64) (audio.Source, bool, error) {
	return r.Answers.LineSource(p, lead)
}

// Read waits while a line is studied, where anybody reads it.
func (r *Run) Read(ctx context.Context, seconds float64) error { return r.Person.Study(ctx, seconds) }

// Again asks how to go on after a line.
func (r *Run) Again(ctx context.Context, sung session.LineSung) (bool, error) {
	if r.failed != nil {
		return false, r.failed
	}
	if r.Answers.Kind() == ByRecording {
		return false, nil
	}
	pair, weak := sung.Weakest()
	for {
		way, err := r.Person.Sung(ctx, sung, weak)
		if err != nil || way != Practise || !weak {
			return way == Again, err
		}
		if err := r.practise(ctx, sung, pair); err != nil {
			return false, err
		}
	}
}

// Shown reports whether the last line is shown with the names of its notes. A screen
// may ask beside the run.
func (r *Run) Shown() bool { return r.labels.Load() }

// Labels reports whether the names of the notes stand below a line.
func (r *Run) Labels(f practice.Feedback) bool { return !r.Plan.hideNames && !f.Unaided() }

// player is who plays back what was heard: on a keyboard, or else on an instrument that
// is heard.
func (r *Run) player() (session.BackPlayer, session.BackSinger) {
	if _, ok := r.Answers.(session.BackPlayer); ok {
		return r, nil
	}
	return nil, r
}
