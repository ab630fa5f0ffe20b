package cli

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/drill"
	"singback/internal/sheet"
	"singback/internal/synth"
	"singback/internal/tui"
)

// reviewing is what the flags of class review say.
type reviewing struct {
	c             *classFlags
	task, student string
	most, lot     int
	seed          uint64
	verdict       string
	value         float64
	why           string
	back          bool
	format        *format
}

func newClassReview(e *env, c *classFlags) *cobra.Command {
	o := reviewing{c: c, value: -1, format: newFormat("text", "csv", "json")}
	cmd := &cobra.Command{
		Use:   "review",
		Short: "Hear what the machine is unsure of, and decide",
		Long: `Review shows the takes that count, one by one, those first on whose mark the machine
is least to be trusted: how likely the other side of the pass line is right, then how
near the mark lies to it. With each stands what the mark rests on, and where in the
recording. A key decides: p pass, f fail, v a mark of your own, n later; h hears the
take where the mark rests on it, from one bar before, w all of it, m the model, b both;
r a remark to the student, u takes the last one back, q ends.
Where you differ from the machine it asks why. Its mark stays beside yours.

Doubtful takes alone make the machine look worse than it is. --lot draws some by lot:
from those singback class agreement estimates what the machine is worth in this class.

With --verdict it decides one take, of --student for --task, without asking; --back
takes the last word on it back. Where no keys can be pressed it lists the takes.`,
		Example: `  singback class review --most 10
  singback class review --lot 10 --seed 4
  singback class review --student Ana --task "week 1" --verdict pass --why "the cough is not hers"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd, e) },
	}
	fl := cmd.Flags()
	fl.StringVar(&o.task, "task", "", "of this task: the `NAME`, or its beginning")
	fl.StringVar(&o.student, "student", "", "of this student: the `NAME`, or its beginning")
	fl.IntVar(&o.most, "most", 0, "no more than so many `TAKES`; 0 is all")
	fl.IntVar(&o.lot, "lot", 0, "so many `TAKES` drawn by lot, instead of the doubtful ones")
	fl.Uint64Var(&o.seed, "seed", 1, "number that draws the lot; the same number, the same takes")
	fl.StringVar(&o.verdict, "verdict", "", "decide: the `WORD` pass or fail")
	fl.Float64Var(&o.value, "value", o.value, "your `MARK`, 0 to 1, beside pass or fail")
	fl.StringVar(&o.why, "why", "", "`WHY` you decide so; it is printed on the sheet")
	fl.BoolVar(&o.back, "back", false, "take the last word back")
	addFormat(cmd, o.format)
	completed(cmd, "verdict", fixed("pass", "fail"))
	return cmd
}

func (o *reviewing) run(cmd *cobra.Command, e *env) error {
	switch {
	case o.lot < 0 || o.most < 0:
		return usagef("--most and --lot count takes: want 0 or more")
	case o.verdict != "" && o.verdict != "pass" && o.verdict != "fail":
		return usagef("--verdict: %q: want pass or fail", short(o.verdict))
	case o.value >= 0 && o.verdict == "":
		return usagef("--value: say with --verdict whether it is a pass")
	case o.value > 1:
		return usagef("--value: %g is out of range: want 0 to 1", o.value)
	case (o.verdict != "" || o.back) && (o.student == "" || o.task == ""):
		return usagef("--verdict and --back are about one take: say which with --student and --task")
	}
	if o.verdict != "" || o.back {
		return o.c.with(true, func(f *classfile.File) error { return o.one(e, f) })
	}
	asks := e.terminal(e.stdin) && e.terminal(e.stderr) && o.format.value == "text"
	return o.c.with(asks, func(f *classfile.File) error {
		task := int64(0)
		if o.task != "" {
			t, err := f.Task(o.task)
			if err != nil {
				return err
			}
			task = t.ID
		}
		most := o.most
		if o.student != "" {
			most = 0 // of which only those of the student are shown
		}
		rows, _, err := desk.Queue(f, task, o.lot, o.seed, most)
		if err != nil {
			return err
		}
		if o.student != "" {
			s, err := f.Student(o.student)
			if err != nil {
				return err
			}
			var own []classfile.Row
			for _, r := range rows {
				if r.Student == s.ID {
					own = append(own, r)
				}
			}
			rows = own
		}
		if o.most > 0 && len(rows) > o.most {
			rows = rows[:o.most]
		}
		if !asks {
			return o.list(e, rows)
		}
		return o.ask(cmd.Context(), e, f, rows)
	})
}

// one decides one take.
func (o *reviewing) one(e *env, f *classfile.File) error {
	rows, err := desk.TakesOf(f, o.student, o.task)
	if err != nil {
		return err
	}
	r := rows[0]
	if o.back {
		was, err := f.TakeBack(r.ID)
		if err == nil && !was {
			err = fmt.Errorf("%s, %s: nobody has reviewed it", r.StudentName, r.TaskName)
		}
		return err
	}
	if r.Mark == nil {
		return fmt.Errorf("%s, %s: it is not marked yet: singback class mark", r.StudentName, r.TaskName)
	}
	return o.decide(e, f, r, o.verdict == "pass", o.value, o.why)
}

// decide puts the teacher's word beside the machine's.
func (o *reviewing) decide(e *env, f *classfile.File, r classfile.Row, pass bool, value float64, why string) error {
	chosen := class.Doubt
	switch {
	case o.lot > 0:
		chosen = class.Sample
	case o.verdict != "" || o.student != "":
		chosen = class.Asked
	}
	_, err := f.AddReview(class.Review{Take: r.ID, Mark: r.Mark.ID, At: e.clock().Format(time.RFC3339), Chosen: chosen, Pass: pass, Value: value, Why: why}, "")
	return err
}

// reviewRecord is a take that waits for the teacher.
type reviewRecord struct {
	Student string  `json:"student"`
	Task    string  `json:"task"`
	Source  string  `json:"source"`
	Value   float64 `json:"value"`
	PassAt  float64 `json:"pass_at"`
	Pass    bool    `json:"pass"`
	Doubt   float64 `json:"doubt"`
}

// list lists what waits.
func (o *reviewing) list(e *env, rows []classfile.Row) error {
	records := []reviewRecord{}
	table := [][]string{{"student", "task", "mark", "pass from", "doubt", "recording"}}
	for _, r := range rows {
		m := r.Mark
		records = append(records, reviewRecord{r.StudentName, r.TaskName, r.Source, round4(m.Value), round4(m.PassAt), m.Pass, round4(m.Doubt)})
		table = append(table, []string{r.StudentName, r.TaskName, percent(m.Value) + map[bool]string{true: " pass", false: " fail"}[m.Pass], percent(m.PassAt), fmt.Sprintf("%.2f", m.Doubt), r.Source})
	}
	switch o.format.value {
	case "json":
		return e.printJSON(records)
	case "csv":
		rows := [][]string{{"student", "task", "source", "value", "pass_at", "pass", "doubt"}}
		for _, r := range records {
			rows = append(rows, []string{r.Student, r.Task, r.Source, orEmpty(&r.Value), orEmpty(&r.PassAt), yesNo(&r.Pass), orEmpty(&r.Doubt)})
		}
		return e.printCSV(rows)
	}
	if len(records) == 0 {
		return e.print("Nothing waits to be reviewed.\n")
	}
	return e.print(inColumns(table))
}

// ask goes through the takes with the teacher.
func (o *reviewing) ask(ctx context.Context, e *env, f *classfile.File, rows []classfile.Row) error {
	ctx, stop := e.interruptible(ctx)
	defer stop()
	keys := e.keys()
	line := func(question string) (string, error) {
		fmt.Fprint(e.stderr, question)
		s, err := keys.Line(ctx)
		return strings.TrimSpace(s), err
	}
	var done []decided
	for i := 0; i < len(rows); i++ {
		r := rows[i]
		if err := o.card(e, f, r, i, len(rows)); err != nil {
			return err
		}
		moved, err := o.keysOf(ctx, e, f, r, keys, line, &done)
		if errors.Is(err, drill.ErrEnough) || errors.Is(err, context.Canceled) {
			break
		}
		if err != nil {
			return err
		}
		if moved < 0 { // the one before was taken back
			i -= 2
			if i < -1 {
				i = -1
			}
		}
	}
	a, err := desk.Agreements(f)
	if err != nil {
		return err
	}
	differed := 0
	for _, d := range done {
		if d.differs {
			differed++
		}
	}
	return e.print(fmt.Sprintf("%s reviewed, %d otherwise than the machine. In this class you and the machine %s.\n", many(len(done), "take"), differed, a.All.Words()))
}

// decided is a take that was decided in this sitting.
type decided struct {
	classfile.Row
	differs bool
}

// card shows a take.
func (o *reviewing) card(e *env, f *classfile.File, r classfile.Row, i, of int) error {
	m, err := desk.Explain(f, r.ID)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stderr, "\n%d of %d  %s, %s\n", i+1, of, r.StudentName, r.TaskName)
	fmt.Fprint(e.stderr, markCard(m))
	return nil
}

// markCard is a mark with what it rests on.
func markCard(m desk.Marked) string {
	var b strings.Builder
	k := m.Row.Mark
	verdict := map[bool]string{true: "pass", false: "no pass"}[k.Pass]
	fmt.Fprintf(&b, "  the machine: %s, %s (pass from %s; doubt %.2f) by %s\n", m.Of.Rubric.Shown(k.Value), verdict, m.Of.Rubric.Shown(k.PassAt), k.Doubt, k.Rubric)
	if m.Stale != "" {
		fmt.Fprintf(&b, "  the task has %s by now: singback class mark marks anew\n", m.Stale)
	}
	for _, p := range m.Fresh.Parts {
		value := "not measured"
		if p.Measured {
			value = percent(p.Value)
		}
		fmt.Fprintf(&b, "  %s: %s", p.Criterion, value)
		if p.Why != "" {
			fmt.Fprintf(&b, "; %s", p.Why)
		}
		b.WriteByte('\n')
		for j, at := range p.Places {
			if j == 6 {
				fmt.Fprintf(&b, "    … and %d more places\n", len(p.Places)-j)
				break
			}
			fmt.Fprintf(&b, "    %s  %s\n", sheet.Clock(at.From), at.What)
		}
	}
	return b.String()
}

// keysOf takes keys until the take is decided or left: 1 goes on, -1 goes back.
func (o *reviewing) keysOf(ctx context.Context, e *env, f *classfile.File, r classfile.Row, keys *tui.Keys, line func(string) (string, error), done *[]decided) (int, error) {
	for {
		fmt.Fprint(e.stderr, "p pass, f fail, v mark, n later; hear: h take, m model, b both, w all of it; r remark, u back, q end: ")
		key, err := keys.Key(ctx)
		fmt.Fprintln(e.stderr)
		if err != nil {
			return 0, err
		}
		switch key {
		case "p", "f", "v":
			pass, value := key == "p", -1.0
			if key == "v" {
				text, err := line("your mark, 0 to 1: ")
				if err != nil {
					return 0, err
				}
				if value, err = strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err != nil || !(value >= 0 && value <= 1) {
					fmt.Fprintf(e.stderr, "%q is no mark: want a number from 0 to 1\n", text)
					continue
				}
				pass = value >= r.Mark.PassAt
			}
			why := ""
			if pass != r.Mark.Pass || value >= 0 {
				if why, err = line("why (Enter for nothing): "); err != nil {
					return 0, err
				}
			}
			if err := o.decide(e, f, r, pass, value, why); err != nil {
				return 0, err
			}
			*done = append(*done, decided{r, pass != r.Mark.Pass})
			return 1, nil
		case "n", tui.Enter, " ":
			return 1, nil
		case "h", "m", "b", "w":
			if err := o.hear(ctx, e, f, r, key); err != nil {
				fmt.Fprintln(e.stderr, oneLine(err))
			}
		case "r":
			words, err := line("to the student: ")
			if err != nil {
				return 0, err
			}
			if words == "" {
				continue
			}
			if _, err := f.AddRemark(class.Remark{Student: r.Student, Task: r.Task, At: e.clock().Format(time.RFC3339), Words: words}); err != nil {
				return 0, err
			}
		case "u":
			if len(*done) == 0 {
				fmt.Fprintln(e.stderr, "Nothing was decided yet.")
				continue
			}
			before := (*done)[len(*done)-1]
			if _, err := f.TakeBack(before.ID); err != nil {
				return 0, err
			}
			*done = (*done)[:len(*done)-1]
			fmt.Fprintf(e.stderr, "Taken back: %s, %s.\n", before.StudentName, before.TaskName)
			return -1, nil
		case "q":
			return 0, drill.ErrEnough
		default:
			fmt.Fprintf(e.stderr, "%q is no key here.\n", key)
		}
	}
}

func newClassRemark(e *env, c *classFlags) *cobra.Command {
	var task string
	cmd := &cobra.Command{
		Use:   "remark STUDENT WORDS",
		Short: "Say something to a student, which is printed on the sheet",
		Long: `Remark keeps your words to a student, about a task with --task. They are printed on
the sheet of that student and on no other.`,
		Example: `  singback class remark Ana "Breathe before fa" --task "week 1"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usagef("want a STUDENT and the WORDS, in quotes")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if err := (class.Remark{Words: args[1]}).Validate(); err != nil {
				return usage(err)
			}
			return c.with(true, func(f *classfile.File) error {
				s, err := f.Student(args[0])
				if err != nil {
					return err
				}
				r := class.Remark{Student: s.ID, At: e.clock().Format(time.RFC3339), Words: args[1]}
				if task != "" {
					t, err := f.Task(task)
					if err != nil {
						return err
					}
					r.Task = t.ID
				}
				_, err = f.AddRemark(r)
				return err
			})
		},
	}
	cmd.Flags().StringVar(&task, "task", "", "of this task: the `NAME`, or its beginning")
	return cmd
}

// agreementRecord is how often machine and teacher say the same, by how takes were
// chosen.
type agreementRecord struct {
	Chosen    string   `json:"chosen"` // all, doubt, sample, asked, whole
	Takes     int      `json:"takes"`
	Same      int      `json:"same"`
	Share     *float64 `json:"share"`
	ShareLow  *float64 `json:"share_low"`
	ShareHigh *float64 `json:"share_high"`
	Kappa     *float64 `json:"kappa"`
	KappaLow  *float64 `json:"kappa_low"`
	KappaHigh *float64 `json:"kappa_high"`
	Note      string   `json:"note"`
}

func newClassAgreement(e *env, c *classFlags) *cobra.Command {
	format := newFormat("text", "csv", "json")
	cmd := &cobra.Command{
		Use:   "agreement",
		Short: "How often you and the machine say the same",
		Long: `Agreement compares your verdicts with the machine's: on how many takes they are the
same, and Cohen's kappa, which is 1 where they always are and 0 where they agree no
oftener than by chance; both with the interval that 95 of 100 such intervals hold the
truth in. It says nothing of fewer than ten takes.

Takes that were heard for the machine's doubt are the hardest. What it is worth in
the whole class is estimated from those that were drawn by lot: singback class review
--lot.`,
		Example: `  singback class agreement
  singback class agreement --format json`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			return c.with(false, func(f *classfile.File) error {
				a, err := desk.Agreements(f)
				if err != nil {
					return err
				}
				return printAgreement(e, format.value, a)
			})
		},
	}
	addFormat(cmd, format)
	return cmd
}

func printAgreement(e *env, format string, a class.Agreements) error {
	rows := []struct {
		name, words string
		a           class.Agreement
	}{
		{"all", "all that you heard", a.All}, {"doubt", "chosen by doubt", a.Doubt}, {"sample", "drawn by lot", a.Sample}, {"asked", "that you went to", a.Asked},
		{"whole", "the whole class, estimated", a.Whole},
	}
	records := []agreementRecord{}
	table := [][]string{}
	for _, r := range rows {
		rec := agreementRecord{Chosen: r.name, Takes: r.a.Takes, Same: r.a.Same, Note: r.a.Note}
		if r.a.Known {
			rec.Share, rec.ShareLow, rec.ShareHigh = rounded(r.a.Share.Value), rounded(r.a.Share.Low), rounded(r.a.Share.High)
		}
		if r.a.Known && r.a.HasKappa {
			rec.Kappa, rec.KappaLow, rec.KappaHigh = rounded(r.a.Kappa.Value), rounded(r.a.Kappa.Low), rounded(r.a.Kappa.High)
		}
		records = append(records, rec)
		table = append(table, []string{r.words, r.a.Words()})
	}
	switch format {
	case "json":
		return e.printJSON(records)
	case "csv":
		out := [][]string{{"chosen", "takes", "same", "share", "share_low", "share_high", "kappa", "kappa_low", "kappa_high", "note"}}
		for _, r := range records {
			out = append(out, []string{r.Chosen, strconv.Itoa(r.Takes), strconv.Itoa(r.Same), orEmpty(r.Share), orEmpty(r.ShareLow), orEmpty(r.ShareHigh), orEmpty(r.Kappa), orEmpty(r.KappaLow), orEmpty(r.KappaHigh), r.Note})
		}
		return e.printCSV(out)
	}
	return e.print(inColumns(table))
}

func rounded(v float64) *float64 {
	v = round4(v)
	return &v
}

// hear plays the take, the model, or both, where the mark rests on a place from one bar
// before it on; with w all of the take.
func (o *reviewing) hear(ctx context.Context, e *env, f *classfile.File, r classfile.Row, key string) error {
	what := map[string]desk.What{"h": desk.HearTake, "w": desk.HearTake, "m": desk.HearModel, "b": desk.HearBoth}[key]
	m, err := desk.Explain(f, r.ID)
	if err != nil {
		return err
	}
	from, to := 0.0, 0.0
	if at, ok := firstPlace(m.Fresh); ok && key != "w" {
		from, to = m.Before(at.From), min(at.To+2, m.End())
	}
	heard, err := m.Sound(ctx, f, what, from, to, synth.DefaultLevel)
	if err != nil {
		return err
	}
	return (&hearing{}).play(ctx, e, heard)
}

// firstPlace is the place in a recording that a mark rests on most: the first of the
// first part that has one.
func firstPlace(m class.Mark) (at class.Place, ok bool) {
	for _, p := range m.Parts {
		if len(p.Places) > 0 {
			return p.Places[0], true
		}
	}
	return at, false
}
