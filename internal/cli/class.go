package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/classfile"
)

// classFlags hold --class: which file the class is.
type classFlags struct {
	e    *env
	file string
}

func (c *classFlags) addFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&c.file, "class", "", "the class is this `FILE` (else the only one here that ends in "+classfile.Extension+")")
	completed(cmd, "class", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return []string{strings.TrimPrefix(classfile.Extension, ".")}, cobra.ShellCompDirectiveFilterFileExt
	})
}

// path is the file of the class.
func (c *classFlags) path() (string, error) {
	if c.file != "" {
		return c.file, nil
	}
	here, err := filepath.Glob("*" + classfile.Extension)
	switch {
	case err != nil:
		return "", err
	case len(here) == 0:
		return "", usagef("no class is in this folder: name one with --class FILE, or make one with singback class new NAME")
	case len(here) > 1:
		return "", usagef("%d classes are in this folder (%s): say which with --class FILE", len(here), strings.Join(here[:min(len(here), 3)], ", "))
	}
	return here[0], nil
}

// open opens the class, for writing or only for reading.
func (c *classFlags) open(write bool) (*classfile.File, error) {
	path, err := c.path()
	if err != nil {
		return nil, err
	}
	if write {
		return classfile.Open(path)
	}
	return classfile.Read(path)
}

// with does something with the class, and closes it.
func (c *classFlags) with(write bool, do func(*classfile.File) error) error {
	f, err := c.open(write)
	if err != nil {
		return err
	}
	return errors.Join(do(f), f.Close())
}

func newClass(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "class",
		Short: "A teacher's class: students, tasks, takes, marks, sheets",
		Long: `A class is one file that can be copied: who is in it, what is to be sung, what was
measured of the takes, the machine's marks and the teacher's. Nobody needs an
account, and nothing leaves this computer.

The way of a week: add students and tasks, collect what they sent, mark it, review
what the machine is unsure of, report. Recordings stay where they are; a class keeps
what was measured of them, so that other rules mark anew without listening.

The machine's mark advises; the teacher decides. Recordings of minors, consent and
how long anything is kept are for the rules of your school and the law where you
are; singback class forget removes a student.`,
		Example: `  singback class new "Lower Street Choir"
  singback class collect takes`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },

		SuggestionsMinimumDistance: 2,
	}
	for _, make := range []func(*env, *classFlags) *cobra.Command{
		newClassNew, newClassAdd, newClassChange, newClassShow, newClassCollect, newClassMark, newClassJoin, newClassCheck,
		newClassReview, newClassDesk, newClassRemark, newClassAgreement, newClassPractice, newClassHandOut, newClassForget,
		newClassReport, newClassTable, newClassHear,
	} {
		c := &classFlags{e: e}
		sub := make(e, c)
		if sub.HasSubCommands() {
			for _, s := range sub.Commands() {
				if s.Flags().Lookup("class") == nil {
					c.addFlag(s)
				}
			}
		} else if sub.Name() != "new" {
			c.addFlag(sub)
		}
		cmd.AddCommand(sub)
	}
	cmd.AddCommand(newClassRubric(e))
	return cmd
}

func newClassNew(e *env, _ *classFlags) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "new NAME",
		Short: "Make a class",
		Long: `New makes the file of a class, called as the class, in the folder you are in; it
ends in ` + classfile.Extension + `. Only you can read it.`,
		Example: `  singback class new "Lower Street Choir"
  singback class new "Lower Street Choir" --out choirs/lower` + classfile.Extension,
		Args: oneArg("the NAME of the class"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := class.CheckName(args[0]); err != nil {
				return usage(err)
			}
			path := out
			if path == "" {
				path = fileName(args[0]) + classfile.Extension
			}
			f, err := classfile.New(path, args[0], e.clock())
			if err != nil {
				return err
			}
			if err := f.Close(); err != nil {
				return err
			}
			return e.print(fmt.Sprintf("%s: a class without students and tasks yet: singback class add student NAME, singback class add task NAME\n", path))
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "write the result into this `FILE`")
	return cmd
}

// fileName is a name as the name of a file on any system.
func fileName(name string) string {
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>|`, r) || r < ' ' {
			return '-'
		}
		return r
	}, name)
	if name = strings.Trim(name, ". "); name == "" {
		return "class"
	}
	return name
}

func newClassShow(e *env, c *classFlags) *cobra.Command {
	format := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "show",
		Short: "Who is in a class, and what is to be sung",
		Long: `Show lists the students and the tasks of a class, and counts the takes. The
teacher's notes on students are shown here, and are on no sheet.`,
		Example: `  singback class show
  singback class show --format json`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			return c.with(false, func(f *classfile.File) error {
				r, err := classRecordOf(f)
				if err != nil {
					return err
				}
				if format.value == "json" {
					return e.printJSON(r)
				}
				return e.print(r.text())
			})
		},
	}
	addFormat(cmd, format)
	return cmd
}

// classRecord is a class as show prints it.
type classRecord struct {
	Class    string          `json:"class"`
	File     string          `json:"file"`
	Made     string          `json:"made"`
	Students []studentRecord `json:"students"`
	Tasks    []taskRecord    `json:"tasks"`
	Takes    int             `json:"takes"`
	Unread   int             `json:"unread"`
	Unmarked int             `json:"unmarked"`
	Reviewed int             `json:"reviewed"`
	Answers  int             `json:"answers"`
}

type studentRecord struct {
	Student   string     `json:"student"`
	Voice     string     `json:"voice"`
	Notes     string     `json:"notes"`
	Consent   class.Date `json:"consent"`
	ConsentBy string     `json:"consent_by"`
	Since     class.Date `json:"since"`
}

type taskRecord struct {
	Task      string     `json:"task"`
	Kind      string     `json:"kind"`
	Words     string     `json:"words"`
	Given     class.Date `json:"given"`
	Due       class.Date `json:"due"`
	Model     string     `json:"model"`
	Exercise  string     `json:"exercise"`
	Goal      int        `json:"goal"`
	Rubric    string     `json:"rubric"`
	Tolerance float64    `json:"tolerance_cents"`
	Strict    bool       `json:"strict"`
	Counts    string     `json:"counts"`
}

func newStudentRecord(s class.Student) studentRecord {
	return studentRecord{s.Name, s.Voice, s.Notes, s.Consent, s.ConsentBy, s.Since}
}

func newTaskRecord(t class.Task) taskRecord {
	return taskRecord{t.Name, t.Kind.String(), t.Words, t.Given, t.Due, t.Model.Text, t.Exercise, t.Goal, t.Rubric.Name, t.Rules.Tolerance, !t.Rules.Key, t.Counts.String()}
}

func classRecordOf(f *classfile.File) (r classRecord, err error) {
	students, err := f.Students()
	if err != nil {
		return r, err
	}
	tasks, err := f.Tasks()
	if err != nil {
		return r, err
	}
	n, err := f.Totals()
	r = classRecord{f.Name(), f.Path(), f.Made(), []studentRecord{}, []taskRecord{}, n.Takes, n.Unread, n.Unmarked, n.Reviewed, n.Answers}
	for _, s := range students {
		r.Students = append(r.Students, newStudentRecord(s))
	}
	for _, t := range tasks {
		r.Tasks = append(r.Tasks, newTaskRecord(t))
	}
	return r, err
}

func (r classRecord) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s, %s, %s", r.Class, many(len(r.Students), "student"), many(len(r.Tasks), "task"), many(r.Takes, "take"))
	for _, n := range []struct {
		n    int
		what string
	}{{r.Unread, "could not be read"}, {r.Unmarked, "not marked yet"}, {r.Reviewed, "reviewed"}} {
		if n.n > 0 {
			fmt.Fprintf(&b, ", %d %s", n.n, n.what)
		}
	}
	b.WriteString("\n")
	if len(r.Students) > 0 {
		b.WriteString("\n")
		rows := [][]string{{"student", "voice", "since", "consent", "notes"}}
		for _, s := range r.Students {
			consent := string(s.Consent)
			if s.ConsentBy != "" {
				consent = strings.TrimSpace(consent + " " + s.ConsentBy)
			}
			rows = append(rows, []string{s.Student, dash(s.Voice), dash(string(s.Since)), dash(consent), s.Notes})
		}
		b.WriteString(inColumns(rows))
	}
	if len(r.Tasks) > 0 {
		b.WriteString("\n")
		rows := [][]string{{"task", "due", "what", "rubric", "right within", "counts"}}
		for _, t := range r.Tasks {
			row := []string{t.Task, dash(string(t.Due)), short(t.Model), t.Rubric, fmt.Sprintf("%g c", t.Tolerance), t.Counts}
			if t.Kind == class.Exercise.String() {
				row = []string{t.Task, dash(string(t.Due)), short("singback " + t.Exercise), "-", fmt.Sprintf("%d answers", t.Goal), "-"}
			}
			rows = append(rows, row)
		}
		b.WriteString(inColumns(rows))
	}
	return b.String()
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// inColumns sets rows in columns.
func inColumns(rows [][]string) string {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(w, strings.Join(r, "\t"))
	}
	w.Flush()
	var out strings.Builder
	for line := range strings.Lines(b.String()) {
		out.WriteString(strings.TrimRight(line, " \n") + "\n")
	}
	return out.String()
}

// aDay reads a flag that is a day; "" is none.
func aDay(flag, s string) (class.Date, error) {
	if s == "" {
		return "", nil
	}
	d, err := class.ParseDate(s)
	if err != nil {
		return "", usage(fmt.Errorf("--%s: %w", flag, err))
	}
	return d, nil
}

// readRubric is a rubric by the name of a built-in one, or the file that it is in.
func readRubric(e *env, name string) (class.Rubric, error) {
	r, err := class.RubricNamed(name)
	if err == nil {
		return r, nil
	}
	if _, missing := os.Stat(name); missing != nil && !strings.HasSuffix(strings.ToLower(name), ".toml") {
		return r, usage(fmt.Errorf("--rubric: %w, or a file (.toml)", err))
	}
	b, err := e.readUpTo(name, class.MaxRubric, "a rubric, a small file of TOML")
	if err != nil {
		return r, err
	}
	return class.ParseRubric(name, string(b))
}
