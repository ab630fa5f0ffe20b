package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/drill"
	"singback/internal/newfile"
	"singback/internal/report"
	"singback/internal/tui"
	"singback/theory"
)

// todayOptions are the flags of today.
type todayOptions struct {
	stageOptions
	drill.Today

	course string
	date   string
}

func newToday(e *env) *cobra.Command {
	o := &todayOptions{}
	cmd := &cobra.Command{
		Use:   "today [RECORDING.wav ...]",
		Short: "Today's practice: a few minutes of what is due and what is weak",
		Long: `Today asks for what is due and what is weak, in mixed order and in one key after
another, with a few new things, and begins with something you know. It ends on
time, and earlier when errors rise or you have sung enough for one day. Every
answer goes into the practice record before the next question.

Feedback fades as you learn: on a thing's first two days it comes after each
answer, later after every second one, then only where you were outside the
tolerance; now and then you are asked first whether it was flat, right or sharp.
What you missed and were not told is listed at the end. A blind check decides
what you have mastered: at least 90 % of the last 20 answers without feedback, on
two days, in two keys. --feedback full or none and --guess=false switch that off.

Beside single degrees and moves it asks for lines of degrees from the course, sung
whole, for melodies that are read and sung, and, where you can type, for the bass degrees and
the qualities of chords that are heard, and for progressions (see singback dictation).
With --answer sing you sing the bass degrees back instead, and name the rest; with
--answer play you play what you heard on a MIDI keyboard.

With --then play each degree that was sung is then played, on a MIDI keyboard or an
instrument that the microphone hears (see singback sing).

What is learnt, and in which order, is the course: see singback course. The
answers of a simulated singer, or of recordings, are recorded only with --record.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback today --minutes 1 --seed 1 --input simulated
  singback today --singer Anna --minutes 1 --record choir.db --input simulated`,
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) },
	}
	o.addDrill(cmd, &o.Music, o)
	o.addSung(cmd)
	o.addKeys(cmd)
	oldName(cmd, "level", "loudness")
	f := cmd.Flags()
	f.StringVar(&o.course, "course", "", "the course in this `FILE` (else the built-in one; see singback course)")
	f.StringVar(&o.date, "date", "", "practise as on this `DAY`, like 2026-11-25")
	complete(cmd, map[string][]string{"retry": retries, "feedback": {"fading", "full", "none"}, "answer": {drill.ByName, drill.BySinging, drill.ByPlaying}})
	return cmd
}

func (o *todayOptions) run(cmd *cobra.Command, e *env, args []string) error {
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	plays := o.Answer == drill.ByPlaying
	if o.keys != "" && (!plays && o.Manner.Then == "" || kind == inputSimulated) {
		return usagef("--keys: no keyboard is played; want it with --answer play or --then play, and without --input simulated")
	}
	o.hands = plays && (o.keys != "" || found())
	if err := o.begin(cmd, e, &o.Seed); err != nil {
		return err
	}
	o.Course, o.Start = course.BuiltIn(), e.clock()
	o.Typed = len(recordings) == 0 && (kind == inputSimulated || e.terminal(e.stdin)) // not where nobody is at a keyboard
	o.Manner.Keyed = o.keys != ""
	o.Recordings, o.OwnProfile = len(recordings), o.music.profile != ""
	if o.date != "" {
		if o.Start, err = drill.Day(o.date, o.Start); err != nil {
			return err
		}
	}
	if err := o.Check(); err != nil {
		return err
	}
	if o.course != "" {
		if o.Course, err = readCourse(o.course); err != nil {
			return err
		}
	}
	if err := o.record.check(); err != nil {
		return err
	}
	var trouble string
	if o.Practice, trouble, err = o.record.practice(cmd, e); err != nil {
		return err
	}
	plan, err := o.Plan()
	if err != nil {
		return err
	}
	if trouble != "" {
		fmt.Fprintln(e.stderr, trouble)
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	return o.perform(cmd, e, &performance{
		plan: plan, kind: kind, recordings: recordings, start: o.Start, style: style,
		staff: func(score theory.Score, labels bool, width int) []string {
			return tui.Rows(tui.DrawStaff(score, o.Music.Voice, style, labels, width))
		},
		finished: func(out io.Writer, _ *drill.Run, kept string) {
			sat, _ := plan.Sat()
			if o.format.value == "json" {
				_ = json.NewEncoder(out).Encode(drill.TodayRecord(sat, kept, o.record.singer)) // out keeps the error
				return
			}
			tellToday(out, style, sat, kept)
		},
	})
}

// tellToday says where the singer stands and what was recorded.
func tellToday(out io.Writer, style report.Style, sat drill.Sat, kept string) {
	fmt.Fprintln(out)
	for _, line := range sat.Told(style) {
		fmt.Fprintln(out, line)
	}
	if kept != "" {
		fmt.Fprintln(out, kept)
	}
}

// readCourse reads the course in a file.
func readCourse(path string) (practice.Course, error) {
	data, err := courseText(path)
	if err != nil {
		return practice.Course{}, err
	}
	c, err := course.Read(data)
	if err != nil {
		return c, fmt.Errorf("%s: %w", path, err)
	}
	if c.Name == "" {
		c.Name = strings.TrimSuffix(path, ".toml")
	}
	return c, nil
}

// courseText reads the text of a course, a byte more at most than one may have.
func courseText(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, newfile.PathError(path, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, course.MaxSize+1))
	if err != nil {
		return nil, newfile.PathError(path, err)
	}
	return data, nil
}
