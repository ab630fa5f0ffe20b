package engine

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/course"
	"singback/internal/drill"
	"singback/internal/kept"
	"singback/internal/report"
	"singback/pitch"
)

// drill runs the drill of an address.
func (e *Engine) drill(ctx context.Context, c Command) {
	e.mu.Lock()
	known, sound := e.known, e.sound
	e.mu.Unlock()
	at, err := e.readAddress(c.Address, known)
	if err != nil {
		e.post(textMessage{"wrong", err.Error()})
		return
	}
	if at.Command == "calibrate" {
		e.calibrate(ctx, at, known, sound)
		return
	}
	start := e.host.Clock()
	plan, err := e.plan(ctx, at, c.Touch, known, start)
	if err == nil && plan.HandToo() && (at.Command == "series" || at.Command == "echo") {
		e.post(textMessage{"wrong", "--then play: of whole lines only the terminal has it; here sing and dictation have it"})
		return
	}
	var wrong drill.Wrong
	switch {
	case errors.As(err, &wrong):
		e.post(textMessage{"wrong", err.Error()})
		return
	case err != nil:
		e.ended(err, nil, "")
		return
	}
	e.perform(ctx, plan, at, c, known, sound, start)
}

// plan reads the options of an address.
func (e *Engine) plan(ctx context.Context, at address, touch bool, known Known, start time.Time) (*drill.Plan, error) {
	if today, ok := at.Options.(*drill.Today); ok {
		c, err := courseOf(known)
		if err != nil {
			return nil, err
		}
		p, err := e.practised(ctx, known)
		if err != nil {
			// The sitting goes on without what is known, and says so.
			p = &practice.Practice{}
			e.post(textMessage{"notice", fmt.Sprintf("The practice record cannot be read, so today begins anew: %v.", err)})
		}
		today.Course, today.Practice, today.Start, today.Typed = c, p, start, touch
	}
	return at.Options.Plan()
}

// courseOf is the course that is practised.
func courseOf(known Known) (practice.Course, error) {
	if known.Course == "" {
		return course.BuiltIn(), nil
	}
	c, err := course.Read([]byte(known.Course))
	if err != nil {
		return c, fmt.Errorf("the course: %w", err)
	}
	return c, nil
}

// practised is what is known of the singer's practice.
func (e *Engine) practised(ctx context.Context, known Known) (*practice.Practice, error) {
	answers, _, err := e.all(ctx)
	if err != nil {
		return nil, err
	}
	p, _, err := kept.PracticeOf(answers, known.Singer)
	return p, err
}

// perform runs a plan.
func (e *Engine) perform(ctx context.Context, plan *drill.Plan, at address, c Command, known Known, sound Sound, start time.Time) {
	e.keys.empty()
	answers, err := e.answersFor(plan, at, sound, c.Keys)
	if err != nil {
		e.ended(err, nil, "")
		return
	}
	if err := plan.Refuses(answers.Kind(), !sound.Silent); err != nil {
		e.ended(err, nil, "")
		return
	}
	e.mu.Lock()
	e.command, e.simulated = plan.Command, at.Simulated
	e.mu.Unlock()
	e.loudness.Store(int64(at.Loudness * 100))
	k := e.keeper(plan, answers.Kind(), known, sound, start)
	v := &show{Engine: e, voice: at.Voice, width: c.Width, cursor: at.Cursor, tolerance: at.Tolerance}
	r := &drill.Run{
		Plan: plan, Style: report.Style{Names: plan.Naming}, Answers: answers, Out: sound.Speaker, Keeper: k,
		NotRecorded: func(err error) string { return "This session is not being recorded: " + err.Error() + "." },
		Level:       e.level, Person: person{e}, Silent: sound.Silent, Screen: true, Watched: true, Pace: e.Pace,
		Start: start, Clock: e.host.Clock, Singer: known.Profile.Name,
	}
	e.hand(r, plan, at.By, c.Keys)
	v.run = r
	aside := *v
	aside.quiet = true
	r.Show, r.Aside = v.event, aside.event
	if advice := plan.Advice(); advice != "" && answers.Kind() == drill.ByMicrophone {
		e.post(textMessage{"notice", advice})
	}
	for _, line := range k.Lines() {
		e.post(textMessage{"notice", line})
	}
	if plan.Note != "" {
		e.post(textMessage{"notice", plan.Note})
	}
	tally, err := r.Do(ctx)
	said := k.End()
	if sat, ok := plan.Sat(); ok {
		e.shown(drill.TodayRecord(sat, said, known.Singer), eventMessage{Said: linesSaid{Lines: sat.Told(r.Style)}})
	}
	e.ended(err, summary(r, tally), said)
}

// pace takes as long as a person does.
func pace(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// lines are the lines of a text.
func lines(text string) []string {
	return strings.Split(strings.Trim(text, "\n"), "\n")
}

// summary sums up a run in sentences: of progressions all of it, since no screen draws a
// table of them.
func summary(r *drill.Run, t exercise.Tally) []string {
	text := r.Summary(t)
	if !r.Plan.Reasons() {
		return sentences(text)
	}
	var out []string
	for _, line := range lines(text) {
		if line = strings.Join(strings.Fields(line), " "); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// sentences are the lines before the tables of a summary, which screens draw
// themselves.
func sentences(text string) []string {
	text, _, _ = strings.Cut(strings.Trim(text, "\n"), "\n\n")
	return lines(text)
}

// errNoMicrophone is told where somebody should sing and cannot be heard.
var errNoMicrophone = errors.New("there is no microphone to hear you with: allow it in the browser, or plug one in, and press Start again")

// errNoSpeaker is told where nothing can sound.
var errNoSpeaker = errors.New("the browser has no sound for this page yet: press Start again")

// answersFor is what answers a plan.
func (e *Engine) answersFor(plan *drill.Plan, at address, sound Sound, keys bool) (drill.Answers, error) {
	switch {
	case sound.Speaker == nil:
		return nil, errNoSpeaker
	case at.Simulated:
		return drill.NewSimulated(plan, sound.Speaker.SampleRate()), nil
	case plan.PlayedBack():
		return e.player(plan, at.By, sound, keys)
	case plan.Command == "dictation" && !plan.SungBack():
		return drill.Typing{}, nil
	case sound.Mic == nil:
		return nil, errNoMicrophone
	}
	return drill.Microphone{Live: sound.Mic}, nil
}

// keeper keeps the answers of a drill. A page begins a record with the first answer.
func (e *Engine) keeper(plan *drill.Plan, source drill.Kind, known Known, sound Sound, start time.Time) *drill.Keeper {
	k := &drill.Keeper{Named: known.Singer != defaultSinger}
	if !k.May(drill.Keeping{There: true, Command: plan.Command, Source: source, Silent: sound.Silent}) {
		if source == drill.BySimulation {
			k.Trouble = "Not recorded: a simulated singer answers."
		}
		return k
	}
	k.Record = &record{engine: e, where: known.Record}
	k.Session = kept.NewSession(e.host.ID(), known.Singer, plan.Command, string(source), plan.Seed, pitch.Version, start)
	return k
}

// defaultSinger is what a singer is called who has given no name.
const defaultSinger = "me"

// record numbers the answers of a session and hands them to the store.
type record struct {
	engine *Engine
	where  string
	number int
}

// patience is how long a store may take, with a disk that wakes up.
const patience = 30 * time.Second

// Add keeps an answer; it is safe when Add returns. It is kept even if the drill ends
// meanwhile.
func (r *record) Add(a practice.Answer) error {
	ctx, done := context.WithTimeout(context.Background(), patience)
	defer done()
	a.Number = r.number + 1
	if err := r.engine.store.Add(ctx, a); err != nil {
		return err
	}
	r.number++
	e := r.engine
	e.mu.Lock()
	if e.read {
		e.answers = append(e.answers, a)
	}
	e.mu.Unlock()
	return nil
}

// Path says where the answers are kept.
func (r *record) Path() string { return r.where }

// Close ends it.
func (r *record) Close() error { return nil }

// ended tells how a drill ended.
func (e *Engine) ended(err error, lines []string, kept string) {
	m := endMessage{Is: "end", OK: err == nil, Lines: lines, Kept: kept}
	if m.Lines == nil {
		m.Lines = []string{}
	}
	switch {
	case errors.Is(err, audio.ErrStalled):
		m.Text = "The microphone has gone silent: it may have been unplugged, or the page was put to sleep. Press Start again. What was shown is kept."
	case err != nil:
		m.Text = sentence(err.Error()) + "."
	}
	e.state("idle")
	e.post(m)
}

// today tells whether a sitting runs.
func (e *Engine) today() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.command == "today"
}
