package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/tui"
)

// lineOptions are the flags of series and echo.
type lineOptions struct {
	stageOptions
	drill.Series

	cursor bool
	keep   string
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
	o.addFlags(cmd, e)
	cmd.Flags().BoolVar(&o.cursor, "cursor", false, "show while you sing which degree is heard (in a terminal)")
	return cmd
}

func newEcho(e *env) *cobra.Command {
	o := &lineOptions{Series: drill.Series{Echo: true}}
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
	o.addFlags(cmd, e)
	return cmd
}

func (o *lineOptions) addFlags(cmd *cobra.Command, e *env) {
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) }
	o.addDrill(cmd, &o.Music, o)
	o.addSung(cmd)
	cmd.Flags().StringVar(&o.keep, "keep", "", "keep what was sung as WAV in this `FOLDER` (nothing is kept otherwise)")
	complete(cmd, map[string][]string{"key": keyNames(false), "level": {"1", "2", "3", "4", "5", "6", "7"}})
	must(cmd.MarkFlagDirname("keep"))
}

func (o *lineOptions) run(cmd *cobra.Command, e *env, args []string) error {
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	if err := o.begin(cmd, e, &o.Seed); err != nil {
		return err
	}
	o.Recordings, o.OwnProfile = len(recordings), o.music.profile != ""
	plan, err := o.Plan()
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
				Run: r, Results: results, Prompts: e.stderr, Voice: o.Music.Voice, Width: e.width(e.stderr), Cursor: o.cursor && sits,
			}
			return v.Event
		},
	}
	if o.keep != "" {
		d.save = func(sung session.LineSung) (string, error) { return o.save(plan.Seed, sung) }
	}
	if o.Click {
		d.sung = "Use headphones: the beat sounds while you sing."
	}
	return o.perform(cmd, e, d)
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
