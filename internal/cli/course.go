package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/report"
)

func newCourse(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "course",
		Short: "The course: show it, check one of your own, export one to begin with",
		Long: `A course says what singback today practises and in which order: stages with
their keys, tolerances, series and goals. It is a plain text file (TOML) with
comments, which a teacher writes and hands over. The one that comes along is the
example: singback course export writes it out.`,
		Example: `  singback course show`,
		Args:    noArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },

		SuggestionsMinimumDistance: 2,
	}
	cmd.AddCommand(newCourseCheck(e), newCourseShow(e), newCourseExport(e))
	return cmd
}

func completeCourse(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return []string{"toml"}, cobra.ShellCompDirectiveFilterFileExt
}

func newCourseCheck(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE",
		Short: "See whether a course can be practised",
		Long: `Check reads a course and says what is in it, or at which line and column which
word is wrong, and what would be right.`,
		Example:           `  singback course check mine.toml`,
		Args:              oneArg("the file of a course"),
		ValidArgsFunction: completeCourse,
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := readCourse(args[0])
			if err != nil {
				return err
			}
			n := 0
			for _, s := range c.Stages {
				n += len(s.Skills)
			}
			_, err = fmt.Fprintf(e.stdout, "%s: fine; %s, %s to practise\n", args[0], many(len(c.Stages), "stage"), many(n, "thing"))
			return err
		},
	}
}

// courseShown is what course show prints with --format json.
type courseShown struct {
	Schema  int           `json:"schema"`
	Name    string        `json:"name"`
	Minutes float64       `json:"minutes"`
	New     int           `json:"new"`
	Stages  []courseStage `json:"stages"`

	Standing *report.Standing `json:"standing"` // of the singer; null: the record has no practice of a course
}

type courseStage struct {
	Name           string     `json:"name"`
	Keys           []string   `json:"keys"`
	Skills         []string   `json:"skills"` // as the record has them
	Series         [][]string `json:"series"` // of skills, sung whole
	ToleranceCents float64    `json:"tolerance_cents"`
	SetEvery       int        `json:"set_every"`
	Right          float64    `json:"right_percent"`
	Of             int        `json:"of"`
	Days           int        `json:"days"`
	InKeys         int        `json:"in_keys"`
}

func newCourseShow(e *env) *cobra.Command {
	format := newFormat("text", "json")
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "show [FILE]",
		Short: "List the stages of a course",
		Long: `Show lists the stages of a course, the built-in one without a FILE: what is new
in each, in which keys, and the goal at which the next opens; and, where you have
practised, which stage you have reached and what is in review.`,
		Example: `  singback course show
  singback course show mine.toml --format json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usagef("%d arguments given, want at most one: the file of a course", len(args))
			}
			return nil
		},
		ValidArgsFunction: completeCourse,
		RunE: func(cmd *cobra.Command, args []string) error {
			c := course.BuiltIn()
			if len(args) > 0 {
				var err error
				if c, err = readCourse(args[0]); err != nil {
					return err
				}
			}
			if err := o.whose(cmd, e); err != nil {
				return err
			}
			past, _, err := o.known(cmd, e)
			switch {
			case cmd.Context().Err() != nil:
				return cmd.Context().Err()
			case err != nil && !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, errNoPath):
				fmt.Fprintf(e.stderr, "Where you stand is not known: %v\n", err)
			}
			var at *practice.Standing
			if past.Begun() {
				standing := c.Standing(past, nil)
				at = &standing
			}
			if format.value == "json" {
				return writeCourseJSON(e.stdout, c, at)
			}
			return writeCourse(e.stdout, c, at, o.singer, report.Style{ASCII: e.ascii()})
		},
	}
	o.addFile(cmd)
	o.addSinger(cmd, "")
	addFormat(cmd, format)
	return cmd
}

func writeCourse(out io.Writer, c practice.Course, at *practice.Standing, singer string, style report.Style) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s a day, at most %s\n", c.Name, report.Many(c.Minutes, "minute"), many(c.New, "new thing"))
	seen := map[exercise.Skill]bool{}
	for i, s := range c.Stages {
		keys := make([]string, len(s.Keys))
		for j, k := range s.Keys {
			keys[j] = style.Key(k)
		}
		degrees, moves, bass, qualities, levels := []string{}, 0, []string{}, []string{}, []string{}
		for _, skill := range s.Skills {
			if seen[skill] {
				continue
			}
			seen[skill] = true
			switch skill.Kind {
			case exercise.PairSkill:
				moves++
			case exercise.BassSkill:
				bass = append(bass, style.Degree(s.Keys[0], skill.Degree))
			case exercise.QualitySkill:
				qualities = append(qualities, skill.Chord)
			case exercise.MelodySkill:
				levels = append(levels, fmt.Sprint(skill.Level))
			default:
				degrees = append(degrees, style.Degree(s.Keys[0], skill.Degree))
			}
		}
		var what []string
		if len(degrees) > 0 {
			what = append(what, strings.Join(degrees, " "))
		}
		if moves > 0 {
			what = append(what, many(moves, "move"))
		}
		if n := len(s.Chains); n > 0 {
			what = append(what, fmt.Sprintf("%d series", n))
		}
		for _, list := range []struct {
			of    string
			names []string
		}{{"bass ", bass}, {"chords ", qualities}, {"melodies of level ", levels}} {
			if len(list.names) > 0 {
				what = append(what, list.of+strings.Join(list.names, " "))
			}
		}
		in := strings.Join(keys, ", ")
		if len(keys) > 3 {
			in = fmt.Sprintf("%d keys", len(keys))
		}
		fmt.Fprintf(&b, "\n%2d  %s\n    %s\n    in %s, within %g cents\n    goal: %g %% of the last %d, on %s, in %s\n",
			i+1, s.Name, strings.Join(what, "; "), in, s.Tolerance, 100*s.Goal.Share, s.Goal.Of, many(s.Goal.Days, "day"), many(s.Goal.Keys, "key"))
	}
	if at != nil {
		fmt.Fprintf(&b, "\n%s:\n", singer)
		for _, line := range style.Standing(c, *at, "") {
			b.WriteString(line + "\n")
		}
	}
	_, err := io.WriteString(out, b.String())
	return err
}

func writeCourseJSON(out io.Writer, c practice.Course, at *practice.Standing) error {
	shown := courseShown{report.Schema, c.Name, c.Minutes, c.New, nil, nil}
	if at != nil {
		standing := report.NewStanding(c, *at)
		shown.Standing = &standing
	}
	for _, s := range c.Stages {
		stage := courseStage{s.Name, nil, nil, [][]string{}, s.Tolerance, s.Series, 100 * s.Goal.Share, s.Goal.Of, s.Goal.Days, s.Goal.Keys}
		for _, k := range s.Keys {
			stage.Keys = append(stage.Keys, k.ASCII())
		}
		for _, skill := range s.Skills {
			stage.Skills = append(stage.Skills, skill.String())
		}
		for _, c := range s.Chains {
			var skills []string
			for _, skill := range c {
				skills = append(skills, skill.String())
			}
			stage.Series = append(stage.Series, skills)
		}
		shown.Stages = append(shown.Stages, stage)
	}
	return json.NewEncoder(out).Encode(shown)
}

func newCourseExport(e *env) *cobra.Command {
	var out string
	var force bool
	cmd := &cobra.Command{
		Use:         "export",
		Annotations: map[string]string{asData: ""},
		Short:       "Write out the built-in course, to begin one of your own with",
		Long: `Export writes the built-in course, with comments that say what can be changed, to
standard output, or with --out into a file.`,
		Example: `  singback course export --out my-course.toml
  singback course export | head`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usagef("%d arguments given, want at most one: the file to write", len(args))
			}
			return nil
		},
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				out = args[0]
				fmt.Fprintf(e.stderr, "Note: write course export --out %s; the old spelling goes with the next release.\n", short(out))
			}
			if out == "" || out == "-" {
				_, err := e.stdout.Write(course.Text)
				return err
			}
			if err := e.writeFile(out, force, forAll, func(w io.Writer) error {
				_, err := w.Write(course.Text)
				return err
			}); err != nil {
				return fmt.Errorf("--out: %w", err)
			}
			return nil
		},
	}
	addOut(cmd, &out, &force, "FILE", "")
	must(cmd.MarkFlagFilename("out", "toml"))
	return cmd
}
