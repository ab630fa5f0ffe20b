package cli

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/plain"
	"singback/internal/tui"
	"singback/pitch"
)

// marking is what the flags of class mark say.
type marking struct {
	c            *classFlags
	cmd          *cobra.Command
	task         string
	rubric       string
	tolerance    float64
	strict       bool
	strictOctave bool
	try          bool
	format       *format
}

func newClassMark(e *env, c *classFlags) *cobra.Command {
	o := marking{c: c, format: newFormat("text", "csv", "json"), tolerance: grade.DefaultRules().Tolerance}
	cmd := &cobra.Command{
		Use:   "mark",
		Short: "Mark takes, and mark anew what other rules touch, without listening again",
		Long: `Mark gives every take that has none a mark by the rules of its task, and marks anew
what was marked by other rules: another rubric, tolerance or model. It works from what
was measured when a take was collected. What changed is listed; old marks and the
teacher's reviews stay beside the new ones.

--rubric, --tolerance and --strict change the tasks first, all of them or with --task
one. --try keeps nothing and only says what would change.

  value   0 to 1 by the rubric; pass from its pass line on
  doubt   the probability that the other side of that line is right, 0 to 0.5

The machine's mark advises; the teacher decides. It is no examination mark.`,
		Example: `  singback class mark
  singback class mark --task "week 1" --rubric notes --try
  singback class mark --tolerance 60 --format csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd.Context(), e) },
	}
	o.cmd = cmd
	fl := cmd.Flags()
	fl.StringVar(&o.task, "task", "", "of this task: the `NAME`, or its beginning")
	fl.StringVar(&o.rubric, "rubric", "", "what counts in a mark: the `NAME` or the file of a rubric (see singback class rubric)")
	fl.Float64Var(&o.tolerance, "tolerance", o.tolerance, "how many `CENTS` off are still right, 5 to 100")
	fl.BoolVar(&o.strict, "strict", false, "nothing is let pass: only the key of the model is right")
	fl.BoolVar(&o.strictOctave, "strict-octave", false, "only the octave asked for is right: that of the model, in its key")
	fl.BoolVar(&o.try, "try", false, "keep nothing, and say what would change")
	completed(cmd, "rubric", fixed(rubricNames()...))
	addFormat(cmd, o.format)
	return cmd
}

// rules is what the flags change in a task; nil: nothing.
func (o *marking) rules(e *env) (func(*class.Task), error) {
	said := o.cmd.Flags().Changed
	if !said("rubric") && !said("tolerance") && !said("strict") && !said("strict-octave") {
		return nil, nil
	}
	var rubric class.Rubric
	if said("rubric") {
		var err error
		if rubric, err = readRubric(e, o.rubric); err != nil {
			return nil, err
		}
	}
	if err := (grade.Rules{Tolerance: o.tolerance}).Validate(); err != nil {
		return nil, usage(fmt.Errorf("--tolerance: %w", err))
	}
	return func(t *class.Task) {
		if said("rubric") {
			t.Rubric = rubric
		}
		if said("tolerance") {
			t.Rules.Tolerance = o.tolerance
		}
		if said("strict") || said("strict-octave") {
			t.Rules.Freedom = grade.Freedom{Key: !o.strict && !o.strictOctave, Octave: !o.strictOctave}
		}
	}, nil
}

// markRecord is a mark that was made, in CSV and JSON.
type markRecord struct {
	Student    string   `json:"student"`
	Task       string   `json:"task"`
	Source     string   `json:"source"`
	Heard      string   `json:"heard"`
	Value      float64  `json:"value"`
	Pass       bool     `json:"pass"`
	Doubt      float64  `json:"doubt"`
	Error      float64  `json:"error"`
	Before     *float64 `json:"value_before"`
	PassBefore *bool    `json:"pass_before"`
	Why        string   `json:"why"`
	Trouble    string   `json:"trouble"`
}

func round4(v float64) float64 { return math.Round(v*10000)/10000 + 0 }

func newMarkRecord(r desk.Remarked) markRecord {
	m := markRecord{r.StudentName, r.TaskName, r.Source, r.New.Heard.String(), round4(r.New.Value), r.New.Pass, round4(r.New.Doubt), round4(r.New.Error), nil, nil, r.Why, r.Trouble}
	if r.Row.Mark != nil {
		before := round4(r.Row.Mark.Value)
		m.Before, m.PassBefore = &before, &r.Row.Mark.Pass
	}
	return m
}

func (o *marking) run(ctx context.Context, e *env) error {
	rules, err := o.rules(e)
	if err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	return o.c.with(!o.try, func(f *classfile.File) error {
		m := desk.Marker{File: f, Now: e.clock(), Rules: rules, Try: o.try}
		if o.task != "" {
			t, err := f.Task(o.task)
			if err == nil && t.Kind != class.Melody {
				err = fmt.Errorf("%s is an exercise: no takes are marked of it", t.Name)
			}
			if err != nil {
				return err
			}
			m.Task = t.ID
		}
		n, err := f.Totals()
		if err != nil {
			return err
		}
		if old, err := f.MeasuredBefore(pitch.Version); err != nil {
			return err
		} else if old > 0 {
			fmt.Fprintf(e.stderr, "%s measured by an older singback: singback class collect --again FOLDER listens anew.\n", wereMeasured(old))
		}
		return o.mark(ctx, e, &m, n)
	})
}

func wereMeasured(n int) string {
	if n == 1 {
		return "1 take was"
	}
	return fmt.Sprintf("%d takes were", n)
}

// mark runs the marker and says what came of it.
func (o *marking) mark(ctx context.Context, e *env, m *desk.Marker, n classfile.Totals) error {
	bar := tui.NewBar(nil, n.Takes)
	if n.Takes > 100 && e.terminal(e.stderr) {
		bar = tui.NewBar(plain.Around(e.stderr), n.Takes)
	}
	out := csv.NewWriter(e.data())
	if o.format.value == "csv" {
		out.Write([]string{"student", "task", "source", "heard", "value", "pass", "doubt", "error", "value_before", "pass_before", "why", "trouble"})
	}
	records := []markRecord{}
	var changed []desk.Remarked
	made, again, up, down, trouble := 0, 0, 0, 0, 0
	err := m.Run(ctx, func(r desk.Remarked) error {
		bar.Step()
		switch {
		case r.Trouble != "":
			trouble++
			bar.Clear()
			fmt.Fprintf(e.stderr, "%s, %s: %s\n", r.StudentName, r.TaskName, r.Trouble)
		case r.Row.Mark == nil:
			made++
		default:
			again++
			if r.Flipped() && r.New.Pass {
				up++
			} else if r.Flipped() {
				down++
			}
			if r.Flipped() || round4(r.Row.Mark.Value) != round4(r.New.Value) {
				changed = append(changed, r)
			}
		}
		rec := newMarkRecord(r)
		switch o.format.value {
		case "csv":
			return out.Write([]string{rec.Student, rec.Task, rec.Source, rec.Heard, orEmpty(&rec.Value), yesNo(&rec.Pass), orEmpty(&rec.Doubt), orEmpty(&rec.Error), orEmpty(rec.Before), yesNo(rec.PassBefore), rec.Why, rec.Trouble})
		case "json":
			records = append(records, rec)
		}
		return nil
	})
	bar.Clear()
	out.Flush()
	err = errors.Join(err, out.Error())
	switch o.format.value {
	case "json":
		err = errors.Join(err, e.printJSON(records))
	case "text":
		err = errors.Join(err, e.print(markText(made, again, up, down, n.Takes-n.Unread, changed, o.try)))
	}
	if errors.Is(err, context.Canceled) {
		return context.Canceled
	}
	if err == nil && trouble > 0 {
		err = fmt.Errorf("%s could not be marked", many(trouble, "take"))
	}
	return err
}

// mostChanged is how many changed marks the text lists.
const mostChanged = 40

func markText(made, again, up, down, takes int, changed []desk.Remarked, try bool) string {
	if made+again == 0 {
		return fmt.Sprintf("Nothing to mark: all of %s are marked by the rules of their tasks.\n", many(takes, "take"))
	}
	text := fmt.Sprintf("%s marked", many(made, "take"))
	if again > 0 {
		text += fmt.Sprintf(", %d marked anew: %d pass now that did not, %d no longer", again, up, down)
	}
	if try {
		text += " (nothing was kept)"
	}
	text += "\n"
	if len(changed) == 0 {
		return text
	}
	rows := [][]string{{"student", "task", "before", "now", ""}}
	for i, r := range changed {
		if i == mostChanged {
			break
		}
		flip := ""
		if r.Flipped() {
			flip = map[bool]string{true: "passes now", false: "passes no longer"}[r.New.Pass]
		}
		rows = append(rows, []string{r.StudentName, r.TaskName, percent(r.Row.Mark.Value), percent(r.New.Value), flip})
	}
	text += "\n" + inColumns(rows)
	if more := len(changed) - mostChanged; more > 0 {
		text += fmt.Sprintf("… and %d more: --format csv has all\n", more)
	}
	return text
}

func percent(v float64) string { return strconv.Itoa(int(100*v+0.5)) + " %" }
