package cli

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/newfile"
	"singback/internal/report"
)

func newClassRubric(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rubric",
		Short: "What counts in a mark: list, show or check rubrics",
		Long: `A rubric says what counts in a mark, how much, and where the pass is. Those that come
along are named by what they count; a task without one has the first. Your own is a
small text file (TOML): singback class rubric show NAME writes one to begin with. What
each thing comes to stands in singback help marks.

A mark is no examination mark. The machine's mark advises; the teacher decides.`,
		Example: `  singback class rubric list
  singback class rubric show notes`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },

		SuggestionsMinimumDistance: 2,
	}
	cmd.AddCommand(newClassRubricList(e), newClassRubricShow(e), newClassRubricCheck(e))
	return cmd
}

// rubricRecord is a rubric in CSV and JSON.
type rubricRecord struct {
	Name     string             `json:"name"`
	Counts   map[string]float64 `json:"counts"`
	Pass     *float64           `json:"pass"` // null where a jury is as likely to let a take pass as not
	EvenJury bool               `json:"even_jury"`
	Points   int                `json:"points"`
	Pieces   int                `json:"pieces"`
	Sum      string             `json:"sum"`
	Source   string             `json:"source"`
}

func newRubricRecord(r class.Rubric) rubricRecord {
	out := rubricRecord{Name: r.Name, Counts: map[string]float64{}, EvenJury: r.EvenJury, Points: r.Points, Pieces: r.Pieces, Sum: r.Sum(), Source: r.Source}
	for c, w := range r.Weights {
		if w > 0 {
			out.Counts[class.Criterion(c).String()] = w
		}
	}
	if !r.EvenJury {
		out.Pass = &r.Pass
	}
	return out
}

// countsText says what a rubric counts, the heaviest first: "segments 8, flow 1".
func countsText(r class.Rubric) string {
	var counted []class.Criterion
	for c, w := range r.Weights {
		if w > 0 {
			counted = append(counted, class.Criterion(c))
		}
	}
	slices.SortStableFunc(counted, func(a, b class.Criterion) int { return cmp.Compare(r.Weights[b], r.Weights[a]) })
	words := make([]string, len(counted))
	for k, c := range counted {
		words[k] = c.String() + " " + strconv.FormatFloat(r.Weights[c], 'f', -1, 64)
	}
	return strings.Join(words, ", ")
}

// passText says where a rubric passes a take.
func passText(r class.Rubric) string {
	switch {
	case r.EvenJury:
		return "where a jury is as likely to let a take pass as not"
	case r.Points > 0:
		return "at " + r.Shown(r.Pass)
	}
	return "at " + strconv.FormatFloat(r.Pass, 'f', -1, 64)
}

func newClassRubricList(e *env) *cobra.Command {
	format := newFormat("text", "json", "csv")
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the rubrics that come along",
		Long: `List names the rubrics that come along, the default first: what each counts and how
much, where the pass is, and where the way of counting comes from.`,
		Example: `  singback class rubric list
  singback class rubric list --format csv`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			all := class.Builtin()
			switch format.value {
			case "json":
				records := make([]rubricRecord, len(all))
				for k, r := range all {
					records[k] = newRubricRecord(r)
				}
				return e.printJSON(records)
			case "csv":
				rows := csv.NewWriter(e.data())
				rows.Write([]string{"name", "counts", "pass", "even_jury", "points", "pieces", "sum", "source"})
				for _, r := range all {
					rec := newRubricRecord(r)
					rows.Write([]string{r.Name, countsText(r), orEmpty(rec.Pass), strconv.FormatBool(r.EvenJury), strconv.Itoa(r.Points), strconv.Itoa(r.Pieces), rec.Sum, r.Source})
				}
				rows.Flush()
				return rows.Error()
			}
			var b strings.Builder
			for k, r := range all {
				name := r.Name
				if k == 0 {
					name += " (the default)"
				}
				fmt.Fprintf(&b, "%s\n  counts %s; pass %s\n", name, countsText(r), passText(r))
				b.WriteString(report.Hang(" ", r.Source, 2) + "\n")
			}
			b.WriteString("\nWrite one of your own: singback class rubric show NAME > mine.toml\n")
			return e.print(b.String())
		},
	}
	addFormat(cmd, format)
	return cmd
}

func newClassRubricShow(e *env) *cobra.Command {
	var out string
	var force bool
	cmd := &cobra.Command{
		Use:         "show NAME",
		Annotations: map[string]string{asData: ""},
		Short:       "Write out a rubric that comes along, to begin one of your own with",
		Long: `Show writes a rubric as a file, with comments that say what can be changed and what
else can be counted, to standard output, or with --out into a file.`,
		Example: `  singback class rubric show "segments and flow"
  singback class rubric show notes --out mine.toml`,
		Args: oneArg("the NAME of a rubric"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return rubricNames(), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := class.RubricNamed(args[0])
			if err != nil {
				return usage(err)
			}
			text := class.WriteRubric(r)
			if out == "" || out == "-" {
				return e.print(text)
			}
			if err := e.writeFile(out, force, newfile.ForAll, func(w io.Writer) error {
				_, err := io.WriteString(w, text)
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

func newClassRubricCheck(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE",
		Short: "See whether a rubric can be marked by",
		Long: `Check reads a rubric and says what it counts, or at which line and column which word
is wrong, and what would be right.`,
		Example: `  singback class rubric check mine.toml`,
		Args:    oneArg("the FILE of a rubric"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"toml"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(_ *cobra.Command, args []string) error {
			b, err := e.readUpTo(args[0], class.MaxRubric, "a rubric, a small file of TOML")
			if err != nil {
				return err
			}
			r, err := class.ParseRubric(args[0], string(b))
			var bad *class.RubricError
			if errors.As(err, &bad) {
				return err
			} else if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			return e.print(fmt.Sprintf("%s: fine; %q counts %s; pass %s\n", args[0], r.Name, countsText(r), passText(r)))
		},
	}
}
