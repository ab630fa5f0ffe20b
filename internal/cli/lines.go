package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/review"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// lineOptions are the flags of series and echo.
type lineOptions struct {
	stage singOptions // what answers and where it sounds; key, names, voice, tuning
	echo  bool

	level, count, notes int
	tempo               float64
	study               float64
	gap                 float64
	free, click, cursor bool
	strictOctave        bool
	tolerance           float64
	setting             string
	keep                string
}

func newSeries(e *env) *cobra.Command {
	o := &lineOptions{}
	cmd := &cobra.Command{
		Use:   "series [RECORDING.wav ...]",
		Short: "Read melodies at sight and sing them: a scored series",
		Long: `Series shows a melody, gives you time to read it in silence, sets the key, counts
one bar in (two where a bar has at most two beats), and listens. It says after
you have sung which notes were right, how the rhythm was, and which interval was
weakest, and gives two marks: note by note, and points for whole bars.

With --free there is no count-in: sing in your own tempo, and the rhythm is
judged by your own beat. Feedback comes after singing; --cursor shows while you
sing which degree is heard, which makes it easier now and harder later without.

Any octave counts, unless --strict-octave. The melodies are those of singback
melody: seven levels, in your range (--voice, or your profile).

In a terminal: Enter begins before the study time is over, and goes on to the
next melody; a sings it again, p practises the weakest interval, q ends.
Without a microphone a simulated singer answers; with recordings, the n-th
recording answers the n-th melody, from the count-in's end (0.15 s before the
first beat) on. With --format json standard output has one object a line.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback series --key Eb --level 3 --count 1 --seed 5 --input simulated
  singback series --level 2 --voice tenor --free --names none --count 1 --input simulated
  singback series --key G --level 1 --count 1 --seed 4 take.wav`,
	}
	o.addFlags(cmd, e, synth.ByCadence)
	f := cmd.Flags()
	f.Float64Var(&o.study, "study", 30, "`SECONDS` to read each melody in silence, 0 to 600")
	f.BoolVar(&o.free, "free", false, "your own tempo: no count-in")
	f.BoolVar(&o.click, "click", false, "the beat goes on clicking while you sing; use headphones")
	f.BoolVar(&o.cursor, "cursor", false, "show while you sing which degree is heard (in a terminal)")
	return cmd
}

func newEcho(e *env) *cobra.Command {
	o := &lineOptions{echo: true}
	cmd := &cobra.Command{
		Use:   "echo [RECORDING.wav ...]",
		Short: "Hear a phrase and sing it back",
		Long: `Echo sets the key, plays a phrase of 2 to 7 notes, waits in silence for as long
as --gap says, and listens while you sing it back; then it says how each note
was. The longer the silence, the more you must keep in mind.

Any octave and tempo counts (--strict-octave for the octave); the phrases are
taken from the melodies of --level. In a terminal: Enter goes on, a plays it
again, p practises the weakest interval, q ends. Without a microphone a simulated
singer answers; with recordings, the n-th answers the n-th phrase. With --format
json standard output has one object a line.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback echo --key G --level 2 --notes 4 --count 1
  singback echo --level 6 --notes 7 --gap 5 --input simulated --count 1`,
	}
	o.addFlags(cmd, e, synth.ByTonic)
	f := cmd.Flags()
	f.IntVar(&o.notes, "notes", 4, "how many notes a phrase has, 2 to 7")
	f.Float64Var(&o.gap, "gap", 1, "`SECONDS` of silence before you sing, 0 to 60")
	return cmd
}

func (o *lineOptions) addFlags(cmd *cobra.Command, e *env, setting synth.KeySetting) {
	s := &o.stage
	s.format = newFormat("text", "json")
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) }
	s.music.addKeyFlag(cmd, false, "", `key, like "Ab major" or f#m (else one of the level's)`)
	s.music.addFlags(cmd)
	cmd.Flags().Lookup("names").Usage += "; none hides them"
	must(cmd.Flags().MarkHidden("octave"))
	s.rec.addFlags(cmd)
	s.record.addFlags(cmd)
	f := cmd.Flags()
	f.IntVar(&o.level, "level", 1, "`LEVEL` of the melodies, 1 to 7 (see singback melody)")
	f.IntVar(&o.count, "count", 3, "how many; with recordings, as many as there are")
	f.Float64Var(&o.tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (else the melody's)")
	f.StringVar(&o.setting, "set", setting.String(), "how the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
	f.Float64Var(&o.tolerance, "tolerance", grade.DefaultRules().Tolerance, "how many `CENTS` off a note is still right, 5 to 50")
	f.BoolVar(&o.strictOctave, "strict-octave", false, "only the octave that is written is right")
	f.StringVar(&o.keep, "keep", "", "keep what was sung as WAV in this `FOLDER` (nothing is kept otherwise)")
	f.Float64Var(&s.level, "loudness", synth.DefaultLevel, "playback never exceeds this peak, in `DBFS`, -60 to -3")
	f.Uint64Var(&s.seed, "seed", 0, "number that draws the series; the same number, the same series")
	f.StringArrayVar(&s.input, "input", nil, "what answers: mic, simulated, or recordings `FILE.wav ...`; - is standard input")
	f.StringVar(&s.device, "device", "", "microphone: part of its `NAME` (see singback devices)")
	addForce(cmd, &s.force)
	f.StringVar(&s.output, "output", "", "where the sound goes: speaker, none or `FILE.wav`")
	f.StringVar(&s.outputDevice, "output-device", "", "loudspeaker: part of its `NAME`")
	f.Var(s.format, "format", "output: text or json")
	must(cmd.RegisterFlagCompletionFunc("level", fixed("1", "2", "3", "4", "5", "6", "7")))
	must(cmd.RegisterFlagCompletionFunc("set", fixed(synth.KeySettingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("input", orFile(inputMic, inputSimulated)))
	must(cmd.RegisterFlagCompletionFunc("output", orFile(outputSpeaker, outputNone)))
	must(cmd.RegisterFlagCompletionFunc("format", s.format.complete))
	must(cmd.MarkFlagDirname("keep"))
}

// lineRun is one series.
type lineRun struct {
	o         *lineOptions
	e         *env
	stage     *stage
	item      exercise.Item // key of the first line, tuning, register
	naming    theory.Naming
	labels    atomic.Bool // syllables stand below the notes; a screen draws them beside the run
	rules     grade.Rules
	results   *results
	keys      *keyLines                   // nil without a terminal
	melodies  map[int]compose.SightMelody // by the number of the question
	keeper    *keeper                     // nil keeps nothing
	times     map[int]int                 // how often each was sung
	seed      uint64
	live      bool
	sung      int
	right     int
	written   int
	points    int
	pointsOf  int
	weak      map[[2]theory.Degree]int
	interrupt context.CancelFunc
}

func (o *lineOptions) run(cmd *cobra.Command, e *env, args []string) error {
	s := &o.stage
	kind, recordings, err := s.inputs(args)
	if err != nil {
		return err
	}
	if err := s.record.who(cmd, e, &s.music.singer); err != nil {
		return err
	}
	r := &lineRun{o: o, e: e, seed: s.seed, weak: map[[2]theory.Degree]int{},
		melodies: map[int]compose.SightMelody{}, times: map[int]int{}}
	r.labels.Store(s.music.names != "none")
	if !r.labels.Load() {
		s.music.names = theory.Movable.String()
	}
	if !cmd.Flags().Changed("seed") {
		r.seed = e.seed()
	}
	config, err := o.plan(cmd, r, len(recordings))
	if err != nil {
		return err
	}
	if err := s.record.check(); err != nil {
		return err
	}
	ctx, stop := e.interruptible(cmd.Context())
	defer stop()
	r.interrupt = stop
	if r.stage, err = s.openStage(ctx, e, kind, recordings, plan{item: r.item, naming: r.naming, seed: r.seed}); err != nil {
		return err
	}
	defer r.stage.close()
	if o.keep != "" {
		if err := os.MkdirAll(o.keep, 0o777); err != nil {
			return fmt.Errorf("--keep: %w", err)
		}
	}
	r.results = &results{out: e.stdout, failed: stop}
	s.advise(e, r.stage, plan{}, report.Style{})
	r.stage.tell(e.stderr)
	d := &performance{command: cmd.Name(), plan: plan{item: r.item, naming: r.naming, seed: r.seed}, start: e.clock()}
	r.keeper = s.record.keeper(e, d, r.stage)
	defer r.keeper.close()
	r.keeper.tell(e.stderr)
	_, r.live = r.stage.answers.(micAnswers)
	if r.live && o.click {
		fmt.Fprintln(e.stderr, "Use headphones: the beat sounds while you sing.")
	}
	if e.terminal(e.stdin) && e.terminal(e.stderr) {
		r.keys = newKeyLines(e)
	}
	config.Read, config.After, config.Still = r.read, r.after, r.stage.still(e)
	err = session.RunLines(ctx, config, r, r.stage.out, r.event)
	if errors.Is(err, errEnough) || errors.Is(err, context.Canceled) {
		err = nil // the singer ended the series; what was sung has been summed up
	}
	r.summary(r.keeper.end())
	if r.stage.after != "" {
		end := io.Writer(r.results)
		if s.format.value == "json" {
			end = e.stderr
		}
		fmt.Fprintln(end, r.stage.after)
	}
	return errors.Join(err, r.results.err, r.stage.close())
}

// errEnough ends a series tidily.
var errEnough = errors.New("the singer has had enough")

// plan reads the flags. Every mistake in them is a usage error.
func (o *lineOptions) plan(cmd *cobra.Command, r *lineRun, recordings int) (session.Lines, error) {
	c := session.Lines{Tempo: o.tempo, Study: o.study, Free: o.free, Click: o.click, Echo: o.echo, Gap: o.gap}
	s := &o.stage
	order := compose.MelodyOrder{Level: o.level, Count: o.count, Seed: r.seed}
	if recordings > 0 && !cmd.Flags().Changed("count") {
		order.Count = recordings
	}
	switch {
	case recordings > 0 && order.Count > recordings:
		return c, usagef("--count: %s want %s, %d given", many(order.Count, "melody"), many(order.Count, "recording"), recordings)
	case o.tempo != 0 && !(o.tempo >= 30 && o.tempo <= 200):
		return c, usagef("--tempo: %g is out of range: want 30 to 200", o.tempo)
	case !(o.study >= 0 && o.study <= 600):
		return c, usagef("--study: %g s is out of range: want 0 to 600", o.study)
	case !(o.gap >= 0 && o.gap <= 60):
		return c, usagef("--gap: %g s is out of range: want 0 to 60", o.gap)
	case o.free && o.click:
		return c, usagef("--click: there is no beat with --free")
	case !(s.level >= minLevel && s.level <= maxLevel):
		return c, usagef("--loudness: %g dBFS is out of range: want %g to %g", s.level, minLevel, maxLevel)
	case cmd.Flags().Changed("octave"):
		return c, usagef("--octave: a melody lies where its notes fit: say --voice")
	}
	if err := (exercise.Tolerance{Cents: o.tolerance}).Validate(); err != nil {
		return c, usage(fmt.Errorf("--tolerance: %w", err))
	}
	var err error
	if c.Setting, err = synth.ParseKeySetting(o.setting); err != nil {
		return c, usage(fmt.Errorf("--set: %w", err))
	}
	if s.music.key != "" {
		k, err := s.music.readKey("--key", nil)
		if err != nil {
			return c, err
		}
		order.Key = &k
	}
	working, _, known, err := s.music.reach()
	if err != nil {
		return c, err
	}
	if known {
		order.Range = working
	}
	var melodies []compose.SightMelody
	if o.echo {
		melodies, err = compose.NewEchoes(order, o.notes)
	} else {
		melodies, err = compose.NewMelodies(order)
	}
	if err != nil {
		return c, usage(err)
	}
	for i, m := range melodies {
		r.melodies[i+1] = m
		c.Scores = append(c.Scores, m.Score)
	}
	key := s.music.key
	if key == "" {
		s.music.key = c.Scores[0].Key.ASCII()
	}
	if r.item, r.naming, err = s.music.base(nil); err != nil {
		return c, err
	}
	c.Tuning = r.item.Tuning
	if c.Tempo == 0 {
		c.Tempo = 72
	} else {
		for i := range c.Scores {
			c.Scores[i].Tempo = 0 // the tempo asked for
		}
	}
	c.Hearing = s.music.hearing(c.Tuning.A4, recordings == 0 || s.music.profile != "")
	if room := s.music.known.Room; room != nil {
		c.Delay = room.Delay
	}
	c.Level = func() float64 { return s.level }
	r.rules = grade.Rules{Freedom: grade.Freedom{Octave: !o.strictOctave}, Tolerance: o.tolerance}
	return c, nil
}

// LineSource is what answers a line.
func (r *lineRun) LineSource(p session.LinePrompted, lead float64) (audio.Source, bool, error) {
	switch a := r.stage.answers.(type) {
	case micAnswers:
		return a.src, true, nil
	case *fileAnswers:
		if p.Index > len(a.paths) {
			return nil, false, session.ErrNoMore
		}
		return a.open(a.paths[p.Index-1])
	case simulated:
		if lead == 0 {
			lead = 0.6
		}
		src := a.singer.Line(synth.Line(p.Score, p.Tuning, p.Quarter), lead, p.Index+100*r.sung)
		if a.paced {
			src = audio.NewPaced(src, r.e.wait)
		}
		return src, false, nil
	}
	return nil, false, session.ErrNoMore
}

// read gives the singer the time to read, which Enter ends.
func (r *lineRun) read(ctx context.Context, seconds float64) error {
	if r.keys == nil {
		if !r.live {
			return nil // nobody is reading
		}
		fmt.Fprintf(r.e.stderr, "Read it: %s.\n", report.Many(seconds, "second"))
		return r.e.wait(ctx, time.Duration(seconds*float64(time.Second)))
	}
	fmt.Fprintf(r.e.stderr, "Read it: %s; Enter begins, q ends.\n", report.Many(seconds, "second"))
	late, stop := context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
	defer stop()
	for {
		key, err := r.keys.key(late)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, context.DeadlineExceeded):
			return nil
		case err != nil:
			return err
		case key == "q":
			return errEnough
		case key == enter:
			return nil
		}
	}
}

// model is what a line is graded against.
func (r *lineRun) model(p session.LinePrompted) (grade.Line, error) {
	return grade.NewLine(p.Score, p.Tuning)
}

// event shows what happens. What was sung is dealt with in after.
func (r *lineRun) event(ev session.Event) {
	style := report.Style{Names: r.naming, ASCII: r.e.ascii()}
	prompts := r.e.stderr
	switch ev := ev.(type) {
	case session.LinePrompted:
		m := r.melodies[ev.Index]
		what := "melody"
		if ev.Echo {
			what = "phrase"
		}
		skill := ""
		if m.Skill != "" {
			skill = ", " + m.Skill
		}
		fmt.Fprintf(prompts, "\n%d of %d: a %s in %s, level %d%s, %g beats a minute.\n", ev.Index, ev.Of, what, style.Key(ev.Score.Key), m.Level, skill, ev.Tempo)
		if !ev.Echo {
			r.show(prompts, ev.Score)
		}
		if r.o.stage.format.value == "json" {
			r.record(lineEvent{"line", ev.Index, ev.Of, ev.Tempo, ev.Free, ev.Echo,
				newMelodyRecord(line{score: ev.Score, level: m.Level, skill: m.Skill, seed: &m.Seed}, r.naming, r.labels.Load())})
		}
	case session.KeySet:
		fmt.Fprintf(prompts, "%s: %s, %s, seed %d.\n", style.Key(ev.Key), ev.Setting, tuningWords(ev.Tuning), r.seed)
	case session.CountIn:
		fmt.Fprintf(prompts, "%s, then sing.\n", countIn(ev.Beats))
	case session.PlayingLine:
		fmt.Fprintln(prompts, "Listen.")
	case session.Listening:
		fmt.Fprintln(prompts, "Sing now.")
	case session.Heard:
		if r.o.cursor && r.keys != nil {
			name := ""
			if ev.Singing && ev.F0 > 0 {
				d, _ := r.item.Tuning.Nearest(theory.CentsBetween(ev.F0, r.item.Tuning.Hz(theory.Pitch{Note: r.item.Key.Tonic, Octave: 4})), theory.Degree{Step: 1})
				name = style.Degree(r.item.Key, d)
			}
			fmt.Fprintf(plain.Around(prompts), "\r%-8s\r", name)
		}
	}
}

// show draws a line with what stands below it, as wide as the terminal.
func (r *lineRun) show(w io.Writer, s theory.Score) { r.draw(w, s, r.e.width(r.e.stderr)) }

func (r *lineRun) draw(w io.Writer, s theory.Score, width int) {
	v := notation.View{ASCII: r.e.ascii(), Width: width}
	if c, ok := clefs[strings.ToLower(strings.TrimSpace(r.o.stage.music.voice))]; ok {
		v.Clef = &c
	}
	if r.labels.Load() {
		v.Labels = notation.Labels(s, r.naming, v.ASCII)
	}
	text, err := notation.Text(s, v)
	if err != nil { // a made line can be shown
		text = err.Error() + "\n"
	}
	fmt.Fprint(w, text)
}

// lineEvent is a melody that is to be sung.
type lineEvent struct {
	Event    string       `json:"event"` // "line"
	Index    int          `json:"index"`
	Of       int          `json:"of"`
	TempoBPM float64      `json:"tempo_bpm"`
	Free     bool         `json:"free"`
	Echo     bool         `json:"echo"`
	Line     melodyRecord `json:"line"`
}

// sungEvent is what became of it.
type sungEvent struct {
	Event        string       `json:"event"` // "sung"
	Index        int          `json:"index"`
	Heard        bool         `json:"heard"`          // a voice was heard
	Lost         bool         `json:"lost"`           // the device lost samples: nothing is charged
	SungTempoBPM *float64     `json:"sung_tempo_bpm"` // null where it is not known
	EntryS       *float64     `json:"entry_s"`        // first note against the count-in, late positive; null with --free and in echo
	Practise     *string      `json:"practise"`       // the command for the weakest interval
	Grade        report.Grade `json:"grade"`
}

func (r *lineRun) record(v any) {
	_ = json.NewEncoder(r.results).Encode(v) // results keeps the error
}

// gradedLine is a line as it was sung.
type gradedLine struct {
	sung    session.LineSung
	melody  compose.SightMelody
	model   grade.Line
	grading grade.Grading
	event   sungEvent
	weakest *[2]theory.Degree // nil where there is no such interval
	attempt int

	tolerance theory.Cents
}

// counts reports whether the line was heard whole.
func (l gradedLine) counts() bool { return l.event.Heard && !l.event.Lost }

// after grades what was sung, keeps it, says so, and asks how to go on.
func (r *lineRun) after(ctx context.Context, sung session.LineSung) (again bool, err error) {
	l, err := r.grade(ctx, sung)
	if err != nil {
		return false, err
	}
	if l.counts() {
		r.sung++
		r.right, r.written, r.points = r.right+l.grading.Right, r.written+len(l.grading.Notes), r.points+l.grading.Points
		r.pointsOf += l.grading.PointsOf
		if l.weakest != nil {
			r.weak[*l.weakest]++
		}
	}
	if r.keeper != nil {
		r.keeper.keepLine(l, practice.Full, func(ev session.Event) {
			if n, ok := ev.(session.Notice); ok {
				fmt.Fprintln(r.e.stderr, n.Text)
			}
		})
	}
	if r.o.stage.format.value == "json" {
		r.record(l.event)
	} else {
		r.tell(l)
	}
	return r.next(ctx, sung, l.weakest)
}

// grade grades what was sung.
func (r *lineRun) grade(ctx context.Context, sung session.LineSung) (l gradedLine, err error) {
	r.times[sung.Index]++
	l = gradedLine{sung: sung, melody: r.melodies[sung.Index], attempt: r.times[sung.Index], tolerance: r.rules.Tolerance}
	if l.model, err = r.model(sung.LinePrompted); err != nil {
		return l, err
	}
	performance, err := review.Listen(ctx, audio.NewSamples(sung.Take.SampleRate, sung.Samples))
	if err != nil {
		return l, err
	}
	if l.grading, err = grade.Of(l.model, performance, r.rules); err != nil {
		return l, err
	}
	g := l.grading
	name := fmt.Sprintf("%d", sung.Index)
	if r.o.keep != "" {
		path, err := r.save(sung)
		if err != nil {
			return l, fmt.Errorf("--keep: %w", err)
		}
		name = path
	}
	ev := sungEvent{Event: "sung", Index: sung.Index, Heard: len(performance.Notes) > 0, Lost: sung.Take.Lost,
		Grade: report.NewGrade(name, l.model, performance, g, r.naming)}
	pulse := 1.0
	if sung.Score.Meter.Valid() {
		pulse = sung.Score.Meter.Pulse().Float()
	}
	if g.Pace > 0 {
		bpm := round1(60 / (g.Pace * pulse))
		ev.SungTempoBPM = &bpm
	}
	if sung.HasDownbeat && len(g.Notes) > 0 && g.Notes[0].Answer.Count > 0 {
		due := sung.Take.Seconds(sung.Downbeat) + r.o.delay() + l.model.Notes[0].Onset*sung.Quarter
		entry := float64(int((g.Notes[0].Onset-due)*1000)) / 1000
		ev.EntryS = &entry
	}
	if l.weakest = r.weakest(l.model, g); l.weakest != nil {
		command := fmt.Sprintf("singback sing --key %q --from %s --degrees %s", sung.Score.Key.ASCII(),
			r.naming.NameASCII(l.model.Key, l.weakest[0]), r.naming.NameASCII(l.model.Key, l.weakest[1]))
		ev.Practise = &command
	}
	l.event = ev
	return l, nil
}

func (o *lineOptions) delay() float64 {
	if room := o.stage.music.known.Room; room != nil {
		return room.Delay
	}
	return 0
}

func round1(x float64) float64 { return float64(int(x*10+0.5)) / 10 }

// tell writes the result of a line.
func (r *lineRun) tell(l gradedLine) {
	w, sung, ev, model := r.results, l.sung, l.event, l.model
	style := report.Style{Names: r.naming, ASCII: r.e.ascii()}
	fmt.Fprintf(w, "%d  %s, level %d: ", sung.Index, style.Key(sung.Score.Key), l.melody.Level)
	switch {
	case ev.Lost:
		fmt.Fprintln(w, "not measured, the sound device lost samples")
		return
	case !ev.Heard:
		why := "no voice was heard"
		if sung.Take.Loudest <= exercise.Silence {
			why = report.Unheard
		}
		fmt.Fprintln(w, "not measured,", why)
		return
	}
	g := ev.Grade
	fmt.Fprintf(w, "score %.2f\n", g.Score)
	if sung.Echo {
		r.show(w, sung.Score)
	}
	var b bytes.Buffer
	_ = writeDetails(&b, g, model)
	head, notes, _ := strings.Cut(b.String(), "\n\n")
	fmt.Fprintln(w, head)
	if ev.SungTempoBPM != nil && !sung.Echo {
		asked := fmt.Sprintf(", asked %g", sung.Tempo)
		if sung.Free {
			asked = ""
		}
		fmt.Fprintf(w, "beats     %.0f a minute%s\n", *ev.SungTempoBPM, asked)
	}
	if ev.EntryS != nil {
		side := "late"
		if *ev.EntryS < 0 {
			side = "early"
		}
		fmt.Fprintf(w, "entry     %.2f s %s\n", max(*ev.EntryS, -*ev.EntryS), side)
	}
	if ev.Practise != nil {
		fmt.Fprintf(w, "practise  %s\n", *ev.Practise)
	}
	fmt.Fprintf(w, "\n%s", notes)
}

// weakest is the interval to practise: of two different degrees of one key.
func (r *lineRun) weakest(model grade.Line, g grade.Grading) *[2]theory.Degree {
	if g.Weakest == nil || model.Degrees == nil {
		return nil
	}
	pair := [2]theory.Degree{model.Degrees[g.Weakest.From], model.Degrees[g.Weakest.To]}
	if pair[0] == pair[1] {
		return nil
	}
	return &pair
}

// save keeps what was sung as a recording.
func (r *lineRun) save(sung session.LineSung) (string, error) {
	for n := 1; ; n++ {
		path := filepath.Join(r.o.keep, fmt.Sprintf("seed-%d-line-%d-%d.wav", r.seed, sung.Index, n))
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, os.ErrExist) {
			continue
		}
		if err != nil {
			return "", err
		}
		return path, errors.Join(audio.WriteWAV(f, sung.Take.SampleRate, sung.Samples), f.Close())
	}
}

// next asks how to go on, in a terminal.
func (r *lineRun) next(ctx context.Context, sung session.LineSung, weakest *[2]theory.Degree) (again bool, err error) {
	if _, files := r.stage.answers.(*fileAnswers); r.keys == nil || files {
		return false, nil
	}
	for {
		choices, keys := "Enter: go on, a: again, q: end", enter+"aq"
		if weakest != nil {
			choices, keys = "Enter: go on, a: again, p: practise the weakest interval, q: end", enter+"apq"
		}
		fmt.Fprintf(r.e.stderr, "\n%s\n", choices)
		key, err := r.keys.key(ctx)
		for err == nil && !strings.Contains(keys, key) {
			key, err = r.keys.key(ctx)
		}
		switch {
		case err != nil:
			return false, err
		case key == enter:
			return false, nil
		case key == "a":
			return true, nil
		case key == "q":
			return false, errEnough
		case key == "p":
			if err := r.practise(ctx, sung, *weakest); err != nil {
				return false, err
			}
		}
	}
}

// practise asks for the weakest interval a few times.
func (r *lineRun) practise(ctx context.Context, sung session.LineSung, pair [2]theory.Degree) error {
	item := r.item
	item.Key = sung.Score.Key
	var err error
	if item.Register, err = r.o.stage.music.register(item.Key); err != nil {
		return err
	}
	item.From, item.Asked = &pair[0], pair[1]
	tolerance := exercise.Tolerance{Cents: exercise.DefaultTolerance, StrictOctave: r.o.strictOctave}
	p := plan{item: item, naming: r.naming, seed: r.seed}
	lines := &lineView{results: r.e.stderr, prompts: r.e.stderr, style: report.Style{Names: r.naming, ASCII: r.e.ascii()}, plan: p}
	_, err = session.Run(ctx, session.Config{
		Items: []exercise.Item{item, item, item}, Setting: synth.ByTonic, Tolerance: tolerance, Window: exercise.DefaultWindow(),
		Level: func() float64 { return r.o.stage.level }, Think: 1, Compare: true, Still: r.stage.still(r.e),
		Hearing: r.o.stage.music.hearing(item.Tuning.A4, true), Delay: r.o.delay(),
	}, r.stage.answers, r.stage.out, lines.event)
	return err
}

// summaryEvent sums up a series of lines.
type linesEvent struct {
	Event        string `json:"event"` // "summary"
	Schema       int    `json:"schema"`
	Seed         uint64 `json:"seed"`
	Level        int    `json:"level"`
	Lines        int    `json:"lines"` // sung and measured
	NotesRight   int    `json:"notes_right"`
	NotesWritten int    `json:"notes_written"`
	Points       int    `json:"points"`
	PointsOf     int    `json:"points_of"`
}

func (r *lineRun) summary(kept string) {
	if r.o.stage.format.value == "json" {
		r.record(linesEvent{"summary", report.Schema, r.seed, r.o.level, r.sung, r.right, r.written, r.points, r.pointsOf})
	} else if r.sung == 0 {
		fmt.Fprintln(r.results, "\nNothing was sung that could be measured.")
	} else {
		fmt.Fprintf(r.results, "\n%d sung: %d of %d notes right, %d of %d points.\n", r.sung, r.right, r.written, r.points, r.pointsOf)
	}
	tellKept(r.e, r.o.stage.format.value, r.results, kept)
}

// countIn says that so many beats are counted in.
func countIn(beats int) string {
	if beats == 1 {
		return "1 beat is counted"
	}
	return fmt.Sprintf("%d beats are counted", beats)
}
