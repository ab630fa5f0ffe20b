package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/drill"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/internal/report"
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
	f.Float64Var(&o.study, "study", 30, "`SECONDS` to read a melody in silence, 0 to 600")
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
	s.music.addKeyFlag(cmd, false, "", "the `KEY`, like \"Ab major\" or f#m (else one of the level's)")
	s.music.addFlags(cmd)
	cmd.Flags().Lookup("names").Usage += "; none shows none"
	must(cmd.Flags().MarkHidden("octave"))
	s.rec.addFlags(cmd)
	s.record.addFlags(cmd)
	f := cmd.Flags()
	f.IntVar(&o.level, "level", 1, "`LEVEL` of the melodies, 1 to 7 (see singback melody)")
	f.IntVar(&o.count, "count", 3, "how many melodies; with recordings, as many as there are")
	f.Float64Var(&o.tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (else the melody's)")
	f.StringVar(&o.setting, "set", setting.String(), "the `WAY` the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
	f.Float64Var(&o.tolerance, "tolerance", grade.DefaultRules().Tolerance, "how many `CENTS` off are still right, 5 to 50")
	f.BoolVar(&o.strictOctave, "strict-octave", false, "only the octave asked for is right: the one that is written")
	f.StringVar(&o.keep, "keep", "", "keep what was sung as WAV in this `FOLDER` (nothing is kept otherwise)")
	f.Uint64Var(&s.seed, "seed", 0, "number that draws the melodies; the same number, the same melodies")
	s.soundFlags.addFlags(cmd)
	addFormat(cmd, s.format)
	must(cmd.RegisterFlagCompletionFunc("level", fixed("1", "2", "3", "4", "5", "6", "7")))
	must(cmd.RegisterFlagCompletionFunc("set", fixed(synth.KeySettingNames()...)))
	must(cmd.MarkFlagDirname("keep"))
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
	series := o.series(cmd, e, len(recordings))
	plan, err := series.Plan()
	if err != nil {
		return err
	}
	if o.keep != "" {
		if err := os.MkdirAll(o.keep, 0o777); err != nil {
			return fmt.Errorf("--keep: %w", err)
		}
	}
	v := &seriesView{options: o, env: e, seed: plan.Seed, style: report.Style{Names: plan.Naming, ASCII: e.ascii()}}
	d := &performance{
		plan: plan, kind: kind, recordings: recordings, start: e.clock(), style: v.style, lined: true,
		summary: func(exercise.Tally) string { return v.summary(plan.Sums()) },
		view:    v.view,
	}
	if o.keep != "" {
		d.save = v.save
	}
	if o.click {
		d.sung = "Use headphones: the beat sounds while you sing."
	}
	return s.perform(cmd, e, d)
}

// series is what the flags say.
func (o *lineOptions) series(cmd *cobra.Command, e *env, recordings int) *drill.Series {
	s := &o.stage
	out := &drill.Series{
		Echo: o.echo, Level: o.level, Count: o.count, Notes: o.notes, Tempo: o.tempo, Study: o.study, Gap: o.gap,
		Free: o.free, Click: o.click, StrictOctave: o.strictOctave, Tolerance: o.tolerance, Setting: o.setting,
		Loudness: s.level, Seed: s.seed, HideNames: s.music.names == "none",
		Recordings: recordings, OwnProfile: s.music.profile != "",
	}
	if out.HideNames {
		s.music.names = theory.Movable.String()
	}
	if !cmd.Flags().Changed("seed") {
		out.Seed = e.seed()
	}
	out.Music = s.music.values()
	return out
}

// seriesView shows a series in lines.
type seriesView struct {
	options *lineOptions
	env     *env
	run     *drill.Run
	results io.Writer // nil: JSON goes there
	style   report.Style
	seed    uint64
}

func (v *seriesView) view(r *drill.Run, results io.Writer) func(session.Event) {
	v.run, v.results = r, results
	return v.event
}

func (v *seriesView) event(ev session.Event) {
	prompts := v.env.stderr
	switch ev := ev.(type) {
	case session.LinePrompted:
		m := ev.Melody
		what := "melody"
		if ev.Echo {
			what = "phrase"
		}
		skill := ""
		if m.Skill != "" {
			skill = ", " + m.Skill
		}
		fmt.Fprintf(prompts, "\n%d of %d: a %s in %s, level %d%s, %g beats a minute.\n", ev.Index, ev.Of, what, v.style.Key(m.Score.Key), m.Level, skill, ev.Tempo)
		if !ev.Echo {
			v.show(prompts, m.Score)
		}
	case session.KeySet:
		fmt.Fprintf(prompts, "%s: %s, %s, seed %d.\n", v.style.Key(ev.Key), ev.Setting, report.Tuning(ev.Tuning), v.seed)
	case session.CountIn:
		fmt.Fprintf(prompts, "%s, then sing.\n", countIn(ev.Beats))
	case session.PlayingLine:
		fmt.Fprintln(prompts, "Listen.")
	case session.Listening:
		fmt.Fprintln(prompts, "Sing now.")
	case session.Notice:
		fmt.Fprintln(prompts, ev.Text)
	case session.Heard:
		v.cursor(ev)
	case session.LineSung:
		if v.results != nil {
			v.tell(ev)
		}
	}
}

// cursor shows which degree is heard.
func (v *seriesView) cursor(h session.Heard) {
	if p, ok := v.run.Person.(*linePerson); !v.options.cursor || !ok || !p.sits() {
		return
	}
	name, item := "", v.run.Plan.Item
	if h.Singing && h.F0 > 0 {
		tonic := item.Tuning.Hz(theory.Pitch{Note: item.Key.Tonic, Octave: 4})
		d, _ := item.Tuning.Nearest(theory.CentsBetween(h.F0, tonic), theory.Degree{Step: 1})
		name = v.style.Degree(item.Key, d)
	}
	fmt.Fprintf(plain.Around(v.env.stderr), "\r%-8s\r", name)
}

// show draws a line with what stands below it, as wide as the terminal.
func (v *seriesView) show(w io.Writer, s theory.Score) {
	fmt.Fprint(w, drawStaff(s, v.options.stage.music.voice, v.style, v.run.Shown(), v.env.width(v.env.stderr)))
}

// drawStaff draws a line as text, so many columns wide.
func drawStaff(s theory.Score, voice string, style report.Style, labels bool, width int) string {
	view := notation.View{ASCII: style.ASCII, Width: width}
	if c, ok := notation.VoiceClef(voice); ok {
		view.Clef = &c
	}
	if labels {
		view.Labels = s.Labels(style.Names, style.ASCII)
	}
	text, err := notation.Text(s, view)
	if err != nil { // a made line can be shown
		text = err.Error() + "\n"
	}
	return text
}

// tell writes the result of a line.
func (v *seriesView) tell(sung session.LineSung) {
	record, asked := v.run.Sung(sung), askedOf(sung)
	head, measured := v.style.LineHead(record, asked)
	fmt.Fprintln(v.results, head)
	if !measured {
		return
	}
	if sung.Echo {
		v.show(v.results, sung.Melody.Score)
	}
	fmt.Fprintf(v.results, "%s\n%s", v.style.LineDetails(record, asked), record.Grade.NoteTable())
}

// save keeps what was sung as a recording.
func (v *seriesView) save(sung session.LineSung) (string, error) {
	for n := 1; ; n++ {
		path := filepath.Join(v.options.keep, fmt.Sprintf("seed-%d-line-%d-%d.wav", v.seed, sung.Index, n))
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, os.ErrExist) {
			continue
		}
		if err == nil {
			err = errors.Join(audio.WriteWAV(f, sung.Take.SampleRate, sung.Samples), f.Close())
		}
		if err != nil {
			return "", fmt.Errorf("--keep: %w", err)
		}
		return path, nil
	}
}

func (v *seriesView) summary(s drill.Sums) string {
	if s.Sung == 0 {
		return "\nNothing was sung that could be measured.\n"
	}
	return fmt.Sprintf("\n%d sung: %d of %d notes right, %d of %d points.\n", s.Sung, s.Right, s.Written, s.Points, s.Of)
}

// countIn says that so many beats are counted in.
func countIn(beats int) string {
	if beats == 1 {
		return "1 beat is counted"
	}
	return fmt.Sprintf("%d beats are counted", beats)
}
