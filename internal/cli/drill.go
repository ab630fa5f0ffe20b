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
	"singback/internal/synth"
	"singback/internal/tui"
	"singback/theory"
)

// stageOptions are the flags of every drill that only a terminal has: whose profile,
// what answers and where it sounds, and the record.
type stageOptions struct {
	music  music
	rec    recording
	format *format
	soundFlags
	record recordOptions
}

// addDrill adds the flags of a drill about m, and with them those that every drill has.
func (o *stageOptions) addDrill(cmd *cobra.Command, m **drill.Music, options drill.Options) {
	*m = &o.music.Music
	options.AddFlags(cmd.Flags())
	for _, name := range drill.Hidden(options) {
		must(cmd.Flags().MarkHidden(name))
	}
	o.music.addSinger(cmd)
	o.record.addFlags(cmd)
	o.soundFlags.addOutput(cmd)
	o.format = newFormat("text", "json")
	addFormat(cmd, o.format)
	complete(cmd, map[string][]string{"set": synth.KeySettingNames(), "instrument": synth.InstrumentNames()})
	if cmd.Flags().Lookup("sound") != nil {
		complete(cmd, map[string][]string{"sound": soundWords})
	}
}

// addSung adds those of a drill that is sung: what answers.
func (o *stageOptions) addSung(cmd *cobra.Command) {
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return []string{"wav", "flac", "ogg", "opus", "mp3", "m4a", "webm"}, cobra.ShellCompDirectiveFilterFileExt
	}
	o.rec.addFlags(cmd)
	o.soundFlags.addInput(cmd)
}

// begin settles who sings, and draws the seed unless a flag has it.
func (o *stageOptions) begin(cmd *cobra.Command, e *env, seed *uint64) error {
	if err := o.record.who(cmd, e, &o.music.singer); err != nil {
		return err
	}
	o.music.values()
	if !cmd.Flags().Changed("seed") {
		*seed = e.seed()
	}
	return nil
}

// inputs sorts out what answers: the words of --input and, after it, the
// recordings named as arguments.
func (o *stageOptions) inputs(args []string) (kind string, recordings []string, err error) {
	words := append(append([]string{}, o.input...), args...)
	switch {
	case len(words) == 0:
		return "", nil, nil
	case len(words) == 1 && (words[0] == inputMic || words[0] == inputSimulated):
		return words[0], nil, nil
	}
	stdin := 0
	for _, w := range words {
		switch w {
		case "":
			return "", nil, usagef("--input: it is empty; want mic, simulated or a recording")
		case inputMic, inputSimulated:
			return "", nil, usagef("--input: %s cannot be mixed with recordings; a recording of that name is ./%s", w, w)
		case "-":
			stdin++
		}
	}
	if stdin > 1 {
		return "", nil, usagef("--input: standard input (-) can be read only once")
	}
	return inputFiles, words, nil
}

// performance is a drill that the flags have been read for.
type performance struct {
	plan       *drill.Plan
	kind       string // what answers, as inputs found it
	recordings []string
	style      report.Style
	start      time.Time
	note       string                                                               // a line that the singer should see
	sung       string                                                               // another one for who sings into a microphone
	staff      func(s theory.Score, labels bool, width int) []string                // draws a melody; nil: there is none
	finished   func(out io.Writer, r *drill.Run, kept string)                       // writes what else is to be said at the end; may be nil
	view       func(r *drill.Run, results io.Writer, sits bool) func(session.Event) // in lines; nil: that of single questions

	save  func(session.LineSung) (string, error) // as in drill.Run
	ready func(*stage) error                     // refuses what the stage turned out to be; nil: nothing
	also  func(session.Event) any                // another record behind that of an event; nil: none
	lined bool                                   // never on a screen
}

// readsInput tells whether standard input is a recording.
func (d *performance) readsInput() bool { return slices.Contains(d.recordings, "-") }

// perform opens what a drill runs on, runs it in the manner that suits the
// terminal, and keeps the record.
func (o *stageOptions) perform(cmd *cobra.Command, e *env, d *performance) error {
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
	if d.ready != nil {
		if err := d.ready(stage); err != nil {
			return err
		}
	}
	if err := d.plan.Refuses(stage.answers.Kind(), stage.speaker); err != nil {
		return err
	}
	k := o.record.keeper(e, d, stage)
	defer k.Close()
	stage.note = d.note
	if stage.answers.Kind() == drill.ByMicrophone && d.sung != "" {
		stage.advice = append(stage.advice, d.sung)
	}
	o.advise(e, stage, d.plan.Best, d.style)
	if stage.speaker && d.plan.Loudness == synth.DefaultLevel {
		stage.advice = append(stage.advice, startsQuiet(stage.screen))
	}
	if k.Note != "" && stage.screen {
		stage.advice = append(stage.advice, k.Note)
	}

	var level atomic.Int64 // in hundredths of a dB
	level.Store(int64(d.plan.Loudness * 100))
	r := &drill.Run{
		Plan: d.plan, Style: d.style, Answers: stage.answers, Keys: stage.keys, Out: stage.out, Keeper: k, NotRecorded: notRecorded,
		Level:  func() float64 { return float64(level.Load()) / 100 },
		Silent: stage.silent, Screen: stage.screen, Watched: stage.watched, Pace: e.wait,
		Start: d.start, Clock: e.clock, Singer: o.music.known.Name, Save: d.save,
	}
	r.GoesOn(func(ctx context.Context) error { return comesBack(ctx, e.wait, stage.streams.Reopen) })
	results := &results{out: e.stdout, failed: stop}
	louder := func(dB float64) float64 {
		l := max(drill.MinLoudness, min(drill.MaxLoudness, r.Level()+dB))
		level.Store(int64(l * 100))
		return l
	}
	if stage.screen {
		var tally exercise.Tally
		tally, err = o.onScreen(ctx, e, d, r, stage, louder)
		if b := d.plan.Best; b != nil {
			fmt.Fprintf(results, "%s\n\n", d.style.Fit(b.Fit, b.Degrees, b.Among))
		}
		fmt.Fprint(results, r.Summary(tally))
	} else {
		err = o.inLines(ctx, e, d, r, stage, results)
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

// startsQuiet says how loud it begins where nobody has said so, and how that is changed.
func startsQuiet(screen bool) string {
	how := "--loudness -18 is louder."
	if screen {
		how = "the arrow keys up and down change that."
	}
	return fmt.Sprintf("It starts quiet, at %g LUFS: %s", synth.DefaultLevel, how)
}

// onScreen runs a drill under the full-screen view.
func (o *stageOptions) onScreen(ctx context.Context, e *env, d *performance, r *drill.Run, s *stage, louder func(float64) float64) (tally exercise.Tally, err error) {
	person := tui.ScreenPerson{}
	options := tui.Options{
		In: e.stdin, Out: fold.Under(plain.Around(e.stdout)), Environ: os.Environ(), Style: d.style,
		Alert: s.alert, Note: strings.Join(append([]string{r.Keeper.Trouble, s.note}, s.advice...), "\n"),
		Louder: louder,
		Asks:   func(ask tui.Asker) { person.Ask = ask },
		Staff:  d.onStaff(r),
	}
	err = tui.Run(ctx, options, func(ctx context.Context, emit func(session.Event), retry func(context.Context, session.Judged) (bool, error)) error {
		person.Again = retry
		r.Person, r.Show = person, tui.Graded(r, emit)
		var err error
		tally, err = r.Do(ctx)
		return err
	})
	return tally, err
}

// inLines runs a drill as lines of text, or of JSON with the prompts beside it.
func (o *stageOptions) inLines(ctx context.Context, e *env, d *performance, r *drill.Run, s *stage, results *results) error {
	s.tell(e.stderr)
	for _, line := range r.Keeper.Lines() {
		fmt.Fprintln(e.stderr, line)
	}
	live := s.answers.Kind() == drill.ByMicrophone
	person := &tui.LinePerson{Prompts: e.stderr, Live: live, Asked: d.lined, Wait: e.wait}
	if !d.readsInput() {
		person.Keys = e.keys()
		person.Sits = e.terminal(e.stdin) && e.terminal(e.stderr)
	}
	r.Person = person
	asJSON := o.format.value == "json"
	told := io.Writer(results)
	if asJSON {
		told = nil
	}
	var view func(session.Event)
	if d.view != nil {
		view = d.view(r, told, person.Sits)
	} else {
		lines := &tui.Lines{Results: told, Prompts: e.stderr, Style: d.style, Seed: d.plan.Seed, Staff: d.onStaff(r), Width: e.width(e.stderr)}
		view = tui.Graded(r, lines.Event)
	}
	aside := &tui.Lines{Results: e.stderr, Prompts: e.stderr, Style: d.style, Seed: d.plan.Seed}
	r.Show, r.Aside = view, aside.Event
	if asJSON {
		out := json.NewEncoder(results)
		r.Show = func(ev session.Event) {
			view(ev)
			if record := r.EventRecord(ev); record != nil {
				_ = out.Encode(record) // results keeps the error
			}
			if d.also != nil {
				if record := d.also(ev); record != nil {
					_ = out.Encode(record)
				}
			}
		}
	}
	tally, err := r.Do(ctx)
	if !asJSON {
		if d.view == nil && tally.All.Asked+tally.Bass.Of+tally.Quality.Of+tally.Lines.Of > 0 {
			fmt.Fprintln(results)
		}
		fmt.Fprint(results, r.Summary(tally))
	}
	return err
}

// onStaff draws the melody of the last question, in the words of its feedback.
func (d *performance) onStaff(r *drill.Run) func(s theory.Score, width, height int) []string {
	if d.staff == nil {
		return nil
	}
	return func(s theory.Score, width, height int) []string {
		return tui.FitStaff(d.style, s, d.staff(s, r.Shown(), width), width, height)
	}
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

// keys is what is typed.
func (e *env) keys() *tui.Keys {
	if e.raw == nil {
		return tui.NewKeys(e.stdin, nil)
	}
	return tui.NewKeys(e.stdin, func() func() { return e.raw(e.stdin) })
}
