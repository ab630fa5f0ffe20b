package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
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
	sing     singOptions
	minutes  float64
	singing  float64
	feedback string
	guess    bool
	course   string
	date     string
	study    float64
}

func newToday(e *env) *cobra.Command {
	o := &todayOptions{}
	o.sing.format, o.sing.window = newFormat("text", "json"), exercise.DefaultWindow()
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
the qualities of chords that are heard (see singback dictation).

What is learnt, and in which order, is the course: see singback course. The
answers of a simulated singer, or of recordings, are recorded only with --record.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback today --minutes 1 --seed 1 --input simulated
  singback today --singer Anna --minutes 1 --record choir.db --input simulated`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) },
	}
	o.sing.addFlags(cmd)
	f := cmd.Flags()
	f.Float64Var(&o.minutes, "minutes", 0, "how many `MINUTES` at most, 1 to 30 (else what the course says)")
	f.Float64Var(&o.singing, "singing", practice.DefaultSung, "end after so many `MINUTES` of singing in a day")
	f.StringVar(&o.feedback, "feedback", "fading", "how `MUCH` you are told: fading, full, none")
	f.BoolVar(&o.guess, "guess", true, "ask first, now and then, whether it was flat, right or sharp (in a terminal)")
	f.Float64Var(&o.study, "study", 20, "`SECONDS` to read a melody in silence, 0 to 600")
	f.StringVar(&o.course, "course", "", "the course in this `FILE` (else the built-in one; see singback course)")
	f.StringVar(&o.date, "date", "", "practise as on this `DAY`, like 2026-11-25")
	must(cmd.RegisterFlagCompletionFunc("feedback", fixed("fading", "full", "none")))
	return cmd
}

func (o *todayOptions) run(cmd *cobra.Command, e *env, args []string) error {
	s := &o.sing
	kind, recordings, err := s.inputs(args)
	if err != nil {
		return err
	}
	if err := s.record.who(cmd, e, &s.music.singer); err != nil {
		return err
	}
	options := &drill.Today{
		Music: s.music.values(), Manner: s.manner(), Minutes: o.minutes, Singing: o.singing, Feedback: o.feedback, Guess: o.guess,
		Study: o.study, Strict: s.tol.StrictOctave, Seed: s.seed, Course: course.BuiltIn(), Start: e.clock(),
		Typed:      len(recordings) == 0 && (kind == inputSimulated || e.terminal(e.stdin)), // not where nobody is at a keyboard
		Recordings: len(recordings), OwnProfile: s.music.profile != "",
	}
	if o.date != "" {
		if options.Start, err = drill.Day(o.date, options.Start); err != nil {
			return err
		}
	}
	if err := options.Check(); err != nil {
		return err
	}
	if o.course != "" {
		if options.Course, err = readCourse(o.course); err != nil {
			return err
		}
	}
	if err := s.record.check(); err != nil {
		return err
	}
	if !cmd.Flags().Changed("seed") {
		options.Seed = e.seed()
	}
	var trouble string
	if options.Practice, trouble, err = s.record.practice(cmd, e); err != nil {
		return err
	}
	plan, err := options.Plan()
	if err != nil {
		return err
	}
	if trouble != "" {
		fmt.Fprintln(e.stderr, trouble)
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	return s.perform(cmd, e, &performance{
		plan: plan, kind: kind, recordings: recordings, start: options.Start, style: style,
		staff: func(score theory.Score, labels bool, width int) []string {
			return tui.Rows(tui.DrawStaff(score, s.music.voice, style, labels, width))
		},
		summary: func(t exercise.Tally) string {
			sat, _ := plan.Sat()
			return todaySummary(style, sat, t)
		},
		finished: func(out io.Writer, _ *drill.Run, kept string) {
			sat, _ := plan.Sat()
			if s.format.value == "json" {
				_ = json.NewEncoder(out).Encode(drill.TodayRecord(sat, kept, s.record.singer)) // out keeps the error
				return
			}
			tellToday(out, style, sat, kept)
		},
	})
}

// todaySummary sums up a sitting.
func todaySummary(style report.Style, sat drill.Sat, tally exercise.Tally) string {
	if len(sat.Keys) == 0 {
		return "Nothing was asked.\n"
	}
	if len(sat.Keys) > 1 && style.Names != theory.Numbers {
		style.Names = theory.Movable // for names of notes, or syllables that differ between major and minor
	}
	return style.SummaryOf(sat.Keys, tally)
}

// tellToday says where the singer stands and what was recorded.
func tellToday(out io.Writer, style report.Style, sat drill.Sat, kept string) {
	if list := style.Missed(sat.Noted, sat.Missed); list != "" {
		fmt.Fprintf(out, "\n%s", list)
	}
	fmt.Fprintln(out)
	for _, line := range style.Standing(sat.Course, sat.Standing, fmt.Sprintf(" New today: %d.", len(sat.New))) {
		fmt.Fprintln(out, line)
	}
	if why := report.EndText(sat.Ended); why != "" {
		fmt.Fprintf(out, "Ended: %s.\n", why)
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
