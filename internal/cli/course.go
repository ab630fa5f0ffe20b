package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"github.com/spf13/cobra"

	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/newfile"
	"singback/internal/report"
	"singback/theory"
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
			return e.print(fmt.Sprintf("%s: fine; %s, %s to practise\n", args[0], many(len(c.Stages), "stage"), many(n, "thing")))
		},
	}
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
		Args:              upToOneArg("the file of a course"),
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
				return e.printJSON(report.NewCourse(c, at))
			}
			return e.print(e.style(theory.Movable).Course(c, at, o.singer))
		},
	}
	o.addFile(cmd)
	o.addSinger(cmd, "")
	addFormat(cmd, format)
	return cmd
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
		Args:              upToOneArg("the file to write"),
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				out = args[0]
				fmt.Fprintf(e.stderr, "Note: write course export --out %s; the old spelling goes with the next release.\n", short(out))
			}
			if out == "" || out == "-" {
				return e.print(string(course.Text))
			}
			if err := e.writeFile(out, force, newfile.ForAll, func(w io.Writer) error {
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

// upToOneArg wants at most one argument, called what.
func upToOneArg(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > 1 {
			return usagef("%d arguments given, want at most one: %s", len(args), what)
		}
		return nil
	}
}
