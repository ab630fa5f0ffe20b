package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/fold"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/tui"
	"singback/theory"
)

// performance is a drill that the flags have been read for.
type performance struct {
	plan       *drill.Plan
	kind       string // what answers, as inputs found it
	recordings []string
	style      report.Style
	start      time.Time
	note       string                                                    // a line that the singer should see
	sung       string                                                    // another one for who sings into a microphone
	staff      func(s theory.Score, labels bool, width int) []string     // draws a melody; nil: there is none
	summary    func(exercise.Tally) string                               // as text
	finished   func(out io.Writer, r *drill.Run, kept string)            // writes what else is to be said at the end; may be nil
	view       func(r *drill.Run, results io.Writer) func(session.Event) // in lines; nil: that of single questions

	save  func(session.LineSung) (string, error) // as in drill.Run
	lined bool                                   // never on a screen
}

// readsInput tells whether standard input is a recording.
func (d *performance) readsInput() bool { return slices.Contains(d.recordings, "-") }

// perform opens what a drill runs on, runs it in the manner that suits the
// terminal, and keeps the record.
func (o *singOptions) perform(cmd *cobra.Command, e *env, d *performance) error {
	if err := o.soundFlags.check(d.kind); err != nil {
		return err
	}
	if err := o.record.check(); err != nil {
		return err
	}
	ctx, stop := e.interruptible(cmd.Context())
	defer stop()
	stage, err := o.openStage(ctx, e, d.kind, d.recordings, d.plan)
	if err != nil {
		return err
	}
	defer stage.close()
	stage.screen = stage.screen && !d.lined
	k := o.record.keeper(e, d, stage)
	defer k.Close()
	stage.note = d.note
	if _, live := stage.answers.(drill.Microphone); live && d.sung != "" {
		stage.advice = append(stage.advice, d.sung)
	}
	o.advise(e, stage, d.plan.Best, d.style)
	if k.Note != "" && stage.screen {
		stage.advice = append(stage.advice, k.Note)
	}

	var level atomic.Int64 // in hundredths of a dB
	level.Store(int64(o.level * 100))
	r := &drill.Run{
		Plan: d.plan, Style: d.style, Answers: stage.answers, Out: stage.out, Keeper: k, NotRecorded: notRecorded,
		Level:  func() float64 { return float64(level.Load()) / 100 },
		Silent: stage.silent, Screen: stage.screen, Watched: stage.watched, Pace: e.wait,
		Start: d.start, Clock: e.clock, Singer: o.music.known.Name, Save: d.save,
	}
	results := &results{out: e.stdout, failed: stop}
	louder := func(dB float64) float64 {
		l := max(drill.MinLoudness, min(drill.MaxLoudness, r.Level()+dB))
		level.Store(int64(l * 100))
		return l
	}
	var tally exercise.Tally
	if stage.screen {
		tally, err = o.onScreen(ctx, e, d, r, stage, louder)
		if b := d.plan.Best; b != nil {
			fmt.Fprintf(results, "%s\n\n", d.style.Fit(b.Fit, b.Degrees, b.Among))
		}
		fmt.Fprint(results, d.summary(tally))
	} else {
		tally, err = o.inLines(ctx, e, d, r, stage, results)
	}
	asJSON := o.format.value == "json"
	if stage.after != "" {
		end := io.Writer(results)
		if asJSON {
			end = e.stderr
		}
		fmt.Fprintf(end, "\n%s\n", stage.after)
	}
	kept := k.End()
	if d.finished != nil {
		d.finished(results, r, kept)
	} else {
		tellKept(e, o.format.value, results, kept)
	}
	return errors.Join(err, results.err, stage.close())
}

// onScreen runs a drill under the full-screen view.
func (o *singOptions) onScreen(ctx context.Context, e *env, d *performance, r *drill.Run, s *stage, louder func(float64) float64) (tally exercise.Tally, err error) {
	person := screenPerson{}
	options := tui.Options{
		In: e.stdin, Out: fold.Under(plain.Around(e.stdout)), Environ: os.Environ(), Style: d.style,
		Alert: s.alert, Note: strings.Join(append([]string{r.Keeper.Trouble, s.note}, s.advice...), "\n"),
		Louder: louder,
		Asks:   func(ask tui.Asker) { person.ask = ask },
		Staff:  d.onStaff(r),
	}
	err = tui.Run(ctx, options, func(ctx context.Context, emit func(session.Event), retry func(context.Context, session.Judged) (bool, error)) error {
		person.retry = retry
		r.Person, r.Show = person, graded(r, emit)
		var err error
		tally, err = r.Do(ctx)
		return err
	})
	return tally, err
}

// inLines runs a drill as lines of text, or of JSON with the prompts beside it.
func (o *singOptions) inLines(ctx context.Context, e *env, d *performance, r *drill.Run, s *stage, results *results) (exercise.Tally, error) {
	s.tell(e.stderr)
	for _, line := range r.Keeper.Lines() {
		fmt.Fprintln(e.stderr, line)
	}
	_, live := s.answers.(drill.Microphone)
	person := &linePerson{env: e, live: live, asked: d.lined}
	if !d.readsInput() {
		person.keys = newKeyLines(e)
	}
	r.Person = person
	asJSON := o.format.value == "json"
	told := io.Writer(results)
	if asJSON {
		told = nil
	}
	var view func(session.Event)
	if d.view != nil {
		view = d.view(r, told)
	} else {
		lines := &lineView{results: told, prompts: e.stderr, style: d.style, seed: d.plan.Seed, staff: d.onStaff(r), width: e.width(e.stderr)}
		view = graded(r, lines.event)
	}
	aside := &lineView{results: e.stderr, prompts: e.stderr, style: d.style, seed: d.plan.Seed}
	r.Show, r.Aside = view, aside.event
	if asJSON {
		out := json.NewEncoder(results)
		r.Show = func(ev session.Event) {
			view(ev)
			if record := r.EventRecord(ev); record != nil {
				_ = out.Encode(record) // results keeps the error
			}
		}
	}
	tally, err := r.Do(ctx)
	if !asJSON {
		if d.view == nil && tally.All.Asked+tally.Bass.Of+tally.Quality.Of+tally.Lines.Of > 0 {
			fmt.Fprintln(results)
		}
		fmt.Fprint(results, d.summary(tally))
	}
	return tally, err
}

// graded puts into words how a line was sung, for views of single questions.
func graded(r *drill.Run, show func(session.Event)) func(session.Event) {
	return func(ev session.Event) {
		show(ev)
		if sung, ok := ev.(session.LineSung); ok {
			show(session.LineGraded{Index: sung.Index, Hidden: sung.Hidden, Lines: lineText(r, sung)})
		}
	}
}

// lineText says how a line was sung, without the table of its notes.
func lineText(r *drill.Run, sung session.LineSung) []string {
	record, asked := r.Sung(sung), askedOf(sung)
	text, measured := r.Style.LineHead(record, asked)
	if measured {
		text += "\n" + r.Style.LineDetails(record, asked)
	}
	return strings.Split(strings.TrimRight(text, "\n"), "\n")
}

func askedOf(s session.LineSung) report.LineAsked {
	a := report.LineAsked{
		Key: s.Melody.Score.Key, Level: s.Melody.Level, Model: s.Model, Tempo: s.Tempo, Echo: s.Echo,
		Mute: s.Take.Loudest <= exercise.Silence,
	}
	if s.Free {
		a.Tempo = 0
	}
	return a
}

// onStaff draws the melody of the last question, in the words of its feedback.
func (d *performance) onStaff(r *drill.Run) func(s theory.Score, width, height int) []string {
	if d.staff == nil {
		return nil
	}
	return func(s theory.Score, width, height int) []string {
		return fitStaff(d.style, s, d.staff(s, r.Shown(), width), width, height)
	}
}

// screenPerson is asked on the screen.
type screenPerson struct {
	ask   tui.Asker
	retry func(context.Context, session.Judged) (bool, error)
}

func (p screenPerson) Retry(ctx context.Context, j session.Judged) (bool, error) {
	return p.retry(ctx, j)
}
func (p screenPerson) Guess(ctx context.Context) (exercise.Outcome, error) { return p.ask.Guess(ctx) }
func (p screenPerson) Rest(ctx context.Context) error                      { return p.ask.Rest(ctx) }

func (p screenPerson) Type(ctx context.Context, wanted string, check func(string) error) (string, error) {
	return p.ask.Type(ctx, "type "+wanted+", then Enter", check)
}

func (p screenPerson) Study(ctx context.Context, seconds float64) error {
	return p.ask.Wait(ctx, fmt.Sprintf("read it in silence: %s; Enter begins", report.Many(seconds, "second")), seconds)
}

func (p screenPerson) Sung(ctx context.Context, s session.LineSung, _ bool) (drill.Way, error) {
	if s.Hidden {
		return drill.GoOn, nil
	}
	return drill.GoOn, p.ask.Wait(ctx, "Enter goes on", 20)
}

// linePerson is asked in lines, where there is a terminal.
type linePerson struct {
	drill.Nobody
	env   *env
	keys  *keyLines // nil: standard input is a recording
	live  bool      // somebody sings
	asked bool      // after each line how to go on
}

// sits reports whether somebody sits at a terminal.
func (p *linePerson) sits() bool {
	return p.keys != nil && p.env.terminal(p.env.stdin) && p.env.terminal(p.env.stderr)
}

func (p *linePerson) Type(ctx context.Context, wanted string, check func(string) error) (string, error) {
	if p.keys == nil {
		return "", drill.ErrEnough // nobody can answer
	}
	fmt.Fprintf(p.env.stderr, "Type %s, then Enter. Empty: hear it again; %s: give up.\n", wanted, drill.GiveUp)
	for {
		text, err := p.keys.line(ctx)
		if err != nil {
			return "", err
		}
		problem := check(text)
		if problem == nil {
			return text, nil
		}
		fmt.Fprintln(p.env.stderr, problem)
	}
}

// Study gives the singer the time to read, which Enter ends.
func (p *linePerson) Study(ctx context.Context, seconds float64) error {
	if !p.sits() {
		if !p.live {
			return nil // nobody is reading
		}
		fmt.Fprintf(p.env.stderr, "Read it: %s.\n", report.Many(seconds, "second"))
		return p.env.wait(ctx, time.Duration(seconds*float64(time.Second)))
	}
	fmt.Fprintf(p.env.stderr, "Read it: %s; Enter begins, q ends.\n", report.Many(seconds, "second"))
	late, stop := context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
	defer stop()
	for {
		key, err := p.keys.key(late)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, context.DeadlineExceeded):
			return nil
		case err != nil:
			return err
		case key == "q":
			return drill.ErrEnough
		case key == enter:
			return nil
		}
	}
}

// Sung asks how to go on after a line of a series.
func (p *linePerson) Sung(ctx context.Context, _ session.LineSung, weak bool) (drill.Way, error) {
	if !p.asked || !p.sits() {
		return drill.GoOn, nil
	}
	choices, keys := "Enter: go on, a: again, q: end", enter+"aq"
	if weak {
		choices, keys = "Enter: go on, a: again, p: practise the weakest interval, q: end", enter+"apq"
	}
	fmt.Fprintf(p.env.stderr, "\n%s\n", choices)
	key, err := p.keys.key(ctx)
	for err == nil && !strings.Contains(keys, key) {
		key, err = p.keys.key(ctx)
	}
	switch {
	case err != nil:
		return drill.GoOn, err
	case key == "a":
		return drill.Again, nil
	case key == "q":
		return drill.GoOn, drill.ErrEnough
	case key == "p":
		return drill.Practise, nil
	}
	return drill.GoOn, nil
}

// results is where a run writes its results. It keeps the first error and ends
// the run with it: nobody should sing for nothing.
type results struct {
	out    io.Writer
	failed func()
	err    error
}

func (r *results) Write(p []byte) (int, error) {
	if r.err != nil {
		return 0, r.err
	}
	n, err := r.out.Write(p)
	if err != nil {
		r.err = err
		r.failed()
	}
	return n, err
}
