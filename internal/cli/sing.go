package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/internal/tui"
	"singback/theory"
)

// singOptions are the flags of sing.
type singOptions struct {
	music  music
	rec    recording
	format *format

	degrees  string
	from     string
	count    int
	setting  string
	keyEvery int
	think    float64
	level    float64
	compare  bool
	retry    string
	tol      exercise.Tolerance
	window   exercise.Window
	seed     uint64

	input        []string
	device       string
	output       string
	force        bool
	outputDevice string

	record recordOptions
}

// The limits of the playback level in dBFS, both allowed.
const (
	minLevel = -60.0
	maxLevel = -3.0
)

func newSing(e *env) *cobra.Command {
	o := &singOptions{format: newFormat("text", "json"), window: exercise.DefaultWindow()}
	cmd := &cobra.Command{
		Use:   "sing [RECORDING.wav ...]",
		Short: "The drill: hear the key, sing the degree, hear how near you were",
		Long: `Sing sets a key in your ear, asks for a degree, gives you a moment to hear it
inwardly, listens, and says what you sang: the degree first, then how many
cents off, then how steady. Then it sounds the right note. Any octave counts
unless --strict-octave is given. The first answer to each question counts.

In a church mode, as in --key "D dorian", the key is set by its scale, or with
--set tonic or drone; there is no cadence in it.

With --from a degree is sounded first, and you sing from it to the one asked.

With a profile (see singback profile) the questions lie in your working range, in
the tuning of your instrument; the key is set in an octave where it does not sound
the note that is asked; the microphone is heard with your noise gate. Flags come
before the profile. --key best takes one of the keys that fit the voice: fewest
degrees moved by an octave, then most central; --seed draws among those within
two semitones of the most central one.

Without a microphone a simulated singer answers, to show how it goes. With
recordings, the n-th recording answers the n-th question.

With --format json standard output has one object a line: the events key,
prompt, verdict and summary. The same seed gives the same series, and with
recordings or the simulated singer the same bytes.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet: set your headphones, then raise --level if you must. This is no medical
advice; a voice teacher or clinician decides.`,
		Example: `  singback sing --key "Ab major" --degrees "do mi sol" --count 6
  singback sing --key f#m --from la --degrees "re mi" --count 4
  singback sing --key C --degrees la --input take1.wav take2.wav --format json`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd, e, args)
		},
	}
	o.music.addKeyFlag(cmd, true, "C major", `key, like "Ab major", f#m or "D dorian"; random, or best for the voice (major, minor)`)
	o.addFlags(cmd)
	f := cmd.Flags()
	f.IntVar(&o.keyEvery, "set-every", 5, "set the key again after so many questions; 0: only at the start")
	f.StringVar(&o.degrees, "degrees", "all", `what to ask for: "do mi sol", 1-5, all, chromatic, triad`)
	f.StringVar(&o.from, "from", "", `sound one of these degrees first: "la", "do sol", any`)
	f.IntVar(&o.count, "count", 10, "how many questions; with recordings, as many as there are")
	f.Float64Var(&o.tol.Cents, "tolerance", exercise.DefaultTolerance, "how many `CENTS` off are still in tune, 5 to 50")
	f.BoolVar(&o.tol.StrictOctave, "strict-octave", false, "only the octave asked is right (see --voice, --octave)")
	must(cmd.RegisterFlagCompletionFunc("degrees", o.music.completeDegrees("all", "chromatic", "triad")))
	must(cmd.RegisterFlagCompletionFunc("from", o.music.completeDegrees("any")))
	return cmd
}

// addFlags adds the flags of every live drill: names, voice and tuning, how it is
// asked, what answers and where it sounds, and the record.
func (o *singOptions) addFlags(cmd *cobra.Command) {
	o.music.addFlags(cmd)
	o.rec.addFlags(cmd)
	o.record.addFlags(cmd)
	f := cmd.Flags()
	f.StringVar(&o.setting, "set", synth.ByCadence.String(), "how the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
	f.Float64Var(&o.think, "think", 1, "`SECONDS` to hear the note inwardly before the microphone is heard, 0 to 30")
	f.Float64Var(&o.window.Hold, "hold", o.window.Hold, "`SECONDS` after which a held note is an answer")
	f.Float64Var(&o.window.Timeout, "timeout", o.window.Timeout, "`SECONDS` to wait for an answer from the microphone")
	f.Float64Var(&o.level, "level", synth.DefaultLevel, "playback never exceeds this peak, in `DBFS`, -60 to -3")
	f.BoolVar(&o.compare, "compare", true, "sound the right note after each answer")
	f.StringVar(&o.retry, "retry", "ask", "a second attempt after a miss: ask (in a terminal), always, never")
	f.Uint64Var(&o.seed, "seed", 0, "number that draws the series; the same number, the same series")
	f.StringArrayVar(&o.input, "input", nil, "what answers: mic, simulated, or recordings `FILE.wav ...`; - is standard input")
	f.StringVar(&o.device, "device", "", "microphone: part of its `NAME` (see singback devices)")
	addForce(cmd, &o.force)
	f.StringVar(&o.output, "output", "", "where the sound goes: speaker, none or `FILE.wav`")
	f.StringVar(&o.outputDevice, "output-device", "", "loudspeaker: part of its `NAME`")
	f.Var(o.format, "format", "output: text or json")
	must(cmd.RegisterFlagCompletionFunc("set", fixed(synth.KeySettingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("retry", fixed("ask", "always", "never")))
	must(cmd.RegisterFlagCompletionFunc("input", orFile(inputMic, inputSimulated)))
	must(cmd.RegisterFlagCompletionFunc("output", orFile(outputSpeaker, outputNone)))
	must(cmd.RegisterFlagCompletionFunc("format", o.format.complete))
}

// plan is what the flags of sing come to.
type plan struct {
	item   exercise.Item // what all items share
	naming theory.Naming
	config session.Config
	seed   uint64
	best   *choice // where the key was left to us
}

// plan reads the flags. Every mistake in them is a usage error.
func (o *singOptions) plan(cmd *cobra.Command, e *env, recordings int) (plan, error) {
	p := plan{seed: o.seed}
	if !cmd.Flags().Changed("seed") {
		p.seed = e.seed()
	}
	var err error
	if p.best, err = o.bestKey(p.seed); err != nil {
		return p, err
	}
	if p.item, p.naming, err = o.music.base(func() uint64 { return p.seed }); err != nil {
		return p, err
	}
	if p.item.Key.Mode > theory.Minor {
		if !cmd.Flags().Changed("set") {
			o.setting = synth.ByScale.String()
		} else if s, err := synth.ParseKeySetting(o.setting); err == nil && s == synth.ByCadence {
			return p, usagef("--set cadence: its chords are major or minor, and would not set %s; want scale, tonic or drone", p.item.Key.ASCII())
		}
	}
	order, err := o.order(p.item.Key, p.naming)
	if err != nil {
		return p, err
	}
	order.Seed = p.seed
	if recordings > 0 {
		if !cmd.Flags().Changed("count") {
			order.Count = recordings
		}
		if o.retry == "always" {
			return p, usagef("--retry always: a recording answers only once")
		}
		if order.Count > recordings {
			return p, usagef("--count: %s want %s, %d given", many(order.Count, "question"), many(order.Count, "recording"), recordings)
		}
	}
	c := session.Config{KeyEvery: o.keyEvery, Tolerance: o.tol}
	if order.Count < 1 || order.Count > exercise.MaxCount {
		return p, usagef("--count: %d is out of range: want 1 to %d", order.Count, exercise.MaxCount)
	}
	if c.Items, err = exercise.NewSeries(p.item, order); err != nil {
		return p, usage(err)
	}
	if err := o.manner(&c); err != nil {
		return p, err
	}
	o.suit(&c, p.item.Tuning.A4, recordings)
	if err := o.tol.Validate(); err != nil {
		return p, usage(fmt.Errorf("--tolerance: %w", err))
	}
	if o.keyEvery < 0 {
		return p, usagef("--set-every: %d is out of range: want 0 or more", o.keyEvery)
	}
	p.config = c
	return p, nil
}

// order reads --degrees and --from in a key.
func (o *singOptions) order(k theory.Key, n theory.Naming) (exercise.Order, error) {
	order := exercise.Order{Count: o.count}
	var err error
	if order.Asked, err = theory.ParseDegrees(o.degrees, k, n); err != nil {
		return order, usage(fmt.Errorf("--degrees: %w", err))
	}
	switch o.from {
	case "":
	case "any":
		scale := k.ScaleDegrees()
		order.From = scale[:]
	default:
		if order.From, err = theory.ParseDegrees(o.from, k, n); err != nil {
			return order, usage(fmt.Errorf("--from: %w", err))
		}
	}
	return order, nil
}

// choice is a key that was chosen since it fits the voice.
type choice struct {
	exercise.Fit
	degrees int          // that are asked or sounded
	among   []theory.Key // the keys that fit best
}

// bestKey chooses the key for --key best and puts it in the place of the flag;
// nil where another key was asked for.
func (o *singOptions) bestKey(seed uint64) (*choice, error) {
	word, mode, _ := strings.Cut(strings.ToLower(strings.TrimSpace(o.music.key)), " ")
	if word != "best" {
		return nil, nil
	}
	if mode = strings.TrimSpace(mode); mode != "" && mode != "major" && mode != "minor" {
		return nil, usagef("--key: %q; want best, best major or best minor", short(o.music.key))
	}
	_, tessitura, known, err := o.music.reach()
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, usagef("--key %s: no voice is known; give --voice, or once: singback profile set --range C3-G4", word)
	}
	var fits []exercise.Fit
	degrees := map[theory.Key]int{}
	for _, k := range theory.Keys() {
		if mode != "" && k.Mode.String() != mode {
			continue
		}
		o.music.key = k.ASCII()
		item, naming, err := o.music.base(nil)
		if err != nil {
			return nil, err
		}
		order, err := o.order(k, naming)
		if err != nil {
			return nil, err
		}
		all := slices.Clone(order.Asked)
		for _, d := range order.From {
			if !slices.Contains(all, d) {
				all = append(all, d)
			}
		}
		degrees[k] = len(all)
		fits = append(fits, exercise.FitOf(k, all, item.Register, tessitura))
	}
	best := exercise.Best(fits)
	c := &choice{Fit: best[rand.New(rand.NewPCG(seed, 0x62657374)).IntN(len(best))]}
	c.degrees = degrees[c.Key]
	for _, f := range best {
		c.among = append(c.among, f.Key)
	}
	o.music.key = c.Key.ASCII()
	return c, nil
}

// manner reads the flags about how it is asked into c.
func (o *singOptions) manner(c *session.Config) (err error) {
	c.Window, c.Think, c.Compare = o.window, o.think, o.compare
	if c.Setting, err = synth.ParseKeySetting(o.setting); err != nil {
		return usage(fmt.Errorf("--set: %w", err))
	}
	if err := o.window.Validate(); err != nil {
		return usage(err)
	}
	switch {
	case !(o.think >= 0 && o.think <= 30):
		return usagef("--think: %g s is out of range: want 0 to 30", o.think)
	case !(o.level >= minLevel && o.level <= maxLevel):
		return usagef("--level: %g dBFS is out of range: want %g to %g", o.level, minLevel, maxLevel)
	case o.retry != "ask" && o.retry != "always" && o.retry != "never":
		return usagef("--retry: %q: want ask, always or never", short(o.retry))
	}
	return nil
}

// suit fits c to the singer and the room of the profile, and to recordings, if
// any answer.
func (o *singOptions) suit(c *session.Config, a4 float64, recordings int) {
	c.Hearing = o.music.hearing(a4, recordings == 0 || o.music.profile != "")
	c.Apart = o.music.known.Voice != nil
	c.RestAfter = o.music.restAfter()
	if room := o.music.known.Room; room != nil {
		c.Delay = room.Delay
	}
	if recordings > 0 {
		c.Window = c.Window.Recorded() // as judge listens
		c.RestAfter = 0                // that was sung before
	}
}

// inputs sorts out what answers: the words of --input and, after it, the
// recordings named as arguments.
func (o *singOptions) inputs(args []string) (kind string, recordings []string, err error) {
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

func (o *singOptions) run(cmd *cobra.Command, e *env, args []string) error {
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	if err := o.record.who(cmd, e, &o.music.singer); err != nil {
		return err
	}
	p, err := o.plan(cmd, e, len(recordings))
	if err != nil {
		return err
	}
	style := report.Style{Names: p.naming, ASCII: e.ascii()}
	d := &performance{
		command: "sing", plan: p, kind: kind, recordings: recordings, style: style, start: e.clock(),
		summary: func(t exercise.Tally) string { return style.Summary(p.item.Key, t) },
	}
	if note := style.TuningNote(p.config.Items, p.config.Tolerance); note != "" {
		d.note = "Note: " + note + "."
	}
	return o.perform(cmd, e, d)
}

// performance is a run that the flags have been read for.
type performance struct {
	command    string
	plan       plan
	kind       string // what answers, as inputs found it
	recordings []string
	style      report.Style
	start      time.Time
	note       string // a line that the screen shows
	summary    func(exercise.Tally) string
	staff      func(s theory.Score, width, height int) []string // draws a melody; nil: there is none
	skill      func() exercise.Skill                            // of the last question; nil: the item's
	paused     time.Duration                                    // how long the singer has rested
	finished   func(out io.Writer, kept string)                 // writes what else is to be said at the end; may be nil

	// ready prepares the questions that are no single sung degree; nil where there
	// are none.
	ready func(*rig, *session.Config)
}

// rig is what a drill runs on, once it has been opened.
type rig struct {
	env     *env
	style   report.Style
	stage   *stage
	answers session.Answers // what the drill is answered by; ready may widen it
	keeper  *keeper
	results io.Writer // where results go as text; nil with --format json
	log     *jsonLog  // nil without
	ask     tui.Asker // on a screen
	keys    *keyLines // typed lines without a screen; nil with one
	emit    func(session.Event)
}

// readsInput tells whether standard input is a recording.
func (d *performance) readsInput() bool { return slices.Contains(d.recordings, "-") }

// perform opens what a drill runs on, runs it in the manner that suits the
// terminal, and keeps the record.
func (o *singOptions) perform(cmd *cobra.Command, e *env, d *performance) error {
	if o.device != "" && d.kind != "" && d.kind != inputMic {
		return usagef("--device: no microphone is used with that --input")
	}
	if o.outputDevice != "" && o.output != "" && o.output != outputSpeaker {
		return usagef("--output-device: no loudspeaker is used with --output %s", short(o.output))
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
	k := o.record.keeper(e, d, stage)
	defer k.close()
	stage.note = d.note
	o.advise(e, stage, d.plan, d.style)
	if k.note != "" && stage.screen {
		stage.advice = append(stage.advice, k.note)
	}

	var level atomic.Int64 // in hundredths of a dB
	level.Store(int64(o.level * 100))
	config := d.plan.config
	config.Still = stage.still(e)
	config.Level = func() float64 { return float64(level.Load()) / 100 }
	if o.retry == "always" {
		config.Retry = func(context.Context, session.Judged) (bool, error) { return true, nil }
	}
	keep := func(emit func(session.Event)) func(session.Judged) {
		return func(j session.Judged) {
			k.keep(j, emit)
			if d.plan.config.Keep != nil {
				d.plan.config.Keep(j)
			}
		}
	}
	results := &results{out: e.stdout, failed: stop}
	lines := &lineView{results: results, prompts: e.stderr, style: d.style, plan: d.plan, staff: d.staff, width: e.width(e.stderr)}
	r := &rig{env: e, style: d.style, stage: stage, answers: stage.answers, keeper: k, results: results}
	ready := func(emit func(session.Event)) {
		if r.emit = emit; d.ready != nil {
			d.ready(r, &config)
		}
	}
	if !stage.screen && !d.readsInput() {
		r.keys = newKeyLines(e)
	}
	var tally exercise.Tally
	switch {
	case o.format.value == "json":
		log := &jsonLog{out: results, plan: d.plan, singer: o.music.known.Name}
		lines.results = nil
		stage.tell(e.stderr)
		k.tell(e.stderr)
		emit := func(ev session.Event) {
			lines.event(ev)
			log.event(ev)
		}
		config.Keep = keep(emit)
		r.results, r.log = nil, log
		ready(emit)
		tally, err = session.Run(ctx, config, r.answers, stage.out, emit)
	case stage.screen:
		err = tui.Run(ctx, tui.Options{
			In: e.stdin, Out: unfolded(plain.Around(e.stdout)), Environ: os.Environ(), Style: d.style,
			Alert: stage.alert, Note: strings.Join(append([]string{k.trouble, stage.note}, stage.advice...), "\n"),
			Louder: func(dB float64) float64 {
				l := max(minLevel, min(maxLevel, config.Level()+dB))
				level.Store(int64(l * 100))
				return l
			},
			Asks: func(ask tui.Asker) {
				r.ask, config.Guess = ask, ask.Guess
				config.Pause = func(ctx context.Context) error {
					began := e.clock()
					defer func() { d.paused += e.clock().Sub(began) }()
					return ask.Rest(ctx)
				}
			},
			Staff: d.staff,
		}, func(ctx context.Context, emit func(session.Event), retry func(context.Context, session.Judged) (bool, error)) error {
			if o.retry == "ask" && d.kind != inputFiles {
				config.Retry = retry
			}
			config.Keep = keep(emit)
			ready(emit)
			var err error
			tally, err = session.Run(ctx, config, r.answers, stage.out, emit)
			return err
		})
		if b := d.plan.best; b != nil {
			fmt.Fprintf(results, "%s\n\n", d.style.Fit(b.Fit, b.degrees, b.among))
		}
		fmt.Fprint(results, d.summary(tally))
	default:
		stage.tell(e.stderr)
		k.tell(e.stderr)
		config.Keep = keep(lines.event)
		ready(lines.event)
		tally, err = session.Run(ctx, config, r.answers, stage.out, lines.event)
		if tally.All.Asked+tally.Bass.Of+tally.Quality.Of+tally.Lines.Of > 0 {
			fmt.Fprintln(results)
		}
		fmt.Fprint(results, d.summary(tally))
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, errEnough) || errors.Is(err, session.ErrNoMore) && d.plan.config.Next != nil {
		// The singer ended the session, or the recordings did; what was sung has
		// been summed up.
		err = nil
	}
	if stage.after != "" {
		end := io.Writer(results)
		if r.log != nil {
			end = e.stderr
		}
		fmt.Fprintf(end, "\n%s\n", stage.after)
	}
	kept := k.end()
	if d.finished != nil {
		d.finished(results, kept)
	} else {
		tellKept(e, o.format.value, results, kept)
	}
	return errors.Join(err, results.err, stage.close())
}
