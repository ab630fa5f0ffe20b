package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/internal/tui"
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
	d := &performance{
		plan: plan, kind: kind, recordings: recordings, start: e.clock(), style: e.style(plan.Naming), lined: true,
		view: func(r *drill.Run, results io.Writer, sits bool) func(session.Event) {
			v := &tui.Series{
				Run: r, Results: results, Prompts: e.stderr, Voice: s.music.voice, Width: e.width(e.stderr), Cursor: o.cursor && sits,
			}
			return v.Event
		},
	}
	if o.keep != "" {
		d.save = func(sung session.LineSung) (string, error) { return o.save(plan.Seed, sung) }
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

// save keeps what was sung as a recording.
func (o *lineOptions) save(seed uint64, sung session.LineSung) (string, error) {
	for n := 1; ; n++ {
		path := filepath.Join(o.keep, fmt.Sprintf("seed-%d-line-%d-%d.wav", seed, sung.Index, n))
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
