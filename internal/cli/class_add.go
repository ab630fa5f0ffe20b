package cli

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/drill"
	"singback/internal/review"
	"singback/theory"
)

func newClassAdd(e *env, c *classFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Add students and tasks to a class",
		Long: `Add puts students and tasks into a class. Names are yours to choose; what students
send is sorted by them, so a name that is also in the name of the file needs no
asking.`,
		Example: `  singback class add student Cy Dora
  singback class add task "week 4" --model "do re mi fa sol" --due 2026-12-04`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },

		SuggestionsMinimumDistance: 2,
	}
	cmd.AddCommand(newAddStudent(e, c), newAddTask(e, c))
	return cmd
}

// studentFlags are what can be said of a student.
type studentFlags struct{ voice, notes, consent, consentBy, since string }

func (s *studentFlags) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&s.voice, "voice", "", "the `VOICE`: "+strings.Join(exercise.Voices(), ", "))
	f.StringVar(&s.notes, "about", "", "your `NOTES` on a student, which are on no sheet")
	f.StringVar(&s.consent, "consent", "", "the `DAY` of the consent to recordings being marked, like 2026-11-28")
	f.StringVar(&s.consentBy, "consent-by", "", "`WHO` consented, in your words")
	f.StringVar(&s.since, "joined", "", "the `DAY` on which they joined (else today)")
	completed(cmd, "voice", fixed(exercise.Voices()...))
}

// set puts what was said into a student.
func (s *studentFlags) set(cmd *cobra.Command, to *class.Student) (err error) {
	said := cmd.Flags().Changed
	if said("voice") {
		to.Voice = strings.ToLower(s.voice)
		if to.Voice != "" {
			if _, err := exercise.VoiceNamed(to.Voice); err != nil {
				return usage(fmt.Errorf("--voice: %w", err))
			}
		}
	}
	if said("about") {
		to.Notes = s.notes
	}
	if said("consent-by") {
		to.ConsentBy = s.consentBy
	}
	if said("consent") {
		if to.Consent, err = aDay("consent", s.consent); err != nil {
			return err
		}
	}
	if said("joined") {
		to.Since, err = aDay("joined", s.since)
	}
	return err
}

func newAddStudent(e *env, c *classFlags) *cobra.Command {
	var s studentFlags
	var roster string
	cmd := &cobra.Command{
		Use:   "student NAME ...",
		Short: "Add students",
		Long: `Student adds students by the names you give them: a first name or a number will
do, and the less it says, the less can be lost. --roster reads many from a file: CSV
with the columns name, and, where you like, voice, consent, consent_by, joined, about.
All of them are added, or none.`,
		Example: `  singback class add student Cy --voice soprano --consent 2026-11-28 --consent-by "her father"
  singback class add student --roster students.csv`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if (len(args) == 0) == (roster == "") {
				return usagef("say who: NAME ..., or --roster FILE")
			}
			base := class.Student{Since: class.DateOf(e.clock())}
			if err := s.set(cmd, &base); err != nil {
				return err
			}
			var students []class.Student
			for _, name := range args {
				one := base
				one.Name = name
				students = append(students, one)
			}
			if roster != "" {
				var err error
				if students, err = readRoster(e, roster, base); err != nil {
					return err
				}
			}
			for _, s := range students {
				if err := s.Validate(); err != nil {
					return usage(err)
				}
			}
			return c.with(true, func(f *classfile.File) error {
				if _, err := f.AddStudents(students); err != nil {
					return err
				}
				var without []string
				for _, s := range students {
					if s.Consent == "" {
						without = append(without, s.Name)
					}
				}
				if len(without) > 0 {
					fmt.Fprintf(e.stderr, "No consent is noted of %s: singback class change student NAME --consent DAY, when you have it.\n", listed(without))
				}
				return e.print(fmt.Sprintf("%s: %s added\n", f.Path(), many(len(students), "student")))
			})
		},
	}
	s.addFlags(cmd)
	cmd.Flags().StringVar(&roster, "roster", "", "the students are in this `FILE`: CSV")
	return cmd
}

// readRoster reads students from CSV.
func readRoster(e *env, path string, base class.Student) (students []class.Student, err error) {
	b, err := e.readUpTo(path, 8<<20, "CSV with a column name")
	if err != nil {
		return nil, err
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(b), "\ufeff")))
	r.TrimLeadingSpace, r.FieldsPerRecord = true, -1
	header, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: it is no CSV: want a first line like name,voice,consent", path)
	}
	set := map[string]func(*class.Student, string) error{
		"name":       func(s *class.Student, v string) error { s.Name = v; return nil },
		"voice":      func(s *class.Student, v string) error { s.Voice = strings.ToLower(v); return nil },
		"about":      func(s *class.Student, v string) error { s.Notes = v; return nil },
		"consent_by": func(s *class.Student, v string) error { s.ConsentBy = v; return nil },
		"consent":    func(s *class.Student, v string) (err error) { s.Consent, err = dayOrNone(v); return err },
		"joined":     func(s *class.Student, v string) (err error) { s.Since, err = dayOrNone(v); return err },
	}
	for i := range header {
		header[i] = strings.ToLower(strings.TrimSpace(header[i]))
		if set[header[i]] == nil {
			return nil, fmt.Errorf("%s: line 1: column %q is none of name, voice, consent, consent_by, joined, about", path, short(header[i]))
		}
	}
	if !slices.Contains(header, "name") {
		return nil, fmt.Errorf("%s: line 1: there is no column name", path)
	}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		line, _ := r.FieldPos(0)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		s := base
		for i, v := range row {
			if i >= len(header) {
				return nil, fmt.Errorf("%s: line %d: %d fields, the first line has %d", path, line, len(row), len(header))
			}
			if v = strings.TrimSpace(v); v == "" {
				continue
			}
			if err := set[header[i]](&s, v); err != nil {
				return nil, fmt.Errorf("%s: line %d: %s: %w", path, line, header[i], err)
			}
		}
		if err := s.Validate(); err != nil {
			return nil, fmt.Errorf("%s: line %d: %w", path, line, err)
		}
		students = append(students, s)
	}
	if students == nil {
		return nil, fmt.Errorf("%s: nobody is in it", path)
	}
	return students, nil
}

func dayOrNone(s string) (class.Date, error) {
	if s == "" {
		return "", nil
	}
	return class.ParseDate(s)
}

// taskFlags are what can be said of a task.
type taskFlags struct {
	music        music
	model        string
	tune, part   string
	exercise     string
	goal         int
	words, due   string
	given        string
	rubric       string
	tolerance    float64
	strict       bool
	strictOctave bool
	counts       string
}

func (t *taskFlags) addFlags(cmd *cobra.Command) {
	t.tolerance = grade.DefaultRules().Tolerance
	fl := cmd.Flags()
	fl.StringVar(&t.model, "model", "", "the `MODEL`: a typed melody, a notation file, a recording or a pitch curve")
	addPart(cmd, &t.tune, &t.part)
	t.music.addKeyFlag(cmd, "", "the `KEY`, like \"Ab major\" or f#m: of a typed melody, and the one that names the degrees")
	fl.StringVar(&t.music.Names, "names", theory.Movable.String(), drill.NamesHelp())
	fl.Float64Var(&t.music.A4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, for a typed melody")
	fl.StringVar(&t.music.Tuning, "tuning", theory.Equal.String(), drill.TuningHelp+"; for a typed melody")
	fl.StringVar(&t.exercise, "exercise", "", "practise this instead of a melody: the `COMMAND` after singback, like \"sing --key C\"")
	fl.IntVar(&t.goal, "goal", 0, "of an exercise: how many `ANSWERS` are asked for")
	fl.StringVar(&t.words, "words", "", "the `WORDS` to the students")
	fl.StringVar(&t.due, "due", "", "the `DAY` on which it is due, like 2026-12-04")
	fl.StringVar(&t.given, "given", "", "the `DAY` on which it was given (else today, or the day it is due)")
	fl.StringVar(&t.rubric, "rubric", "", "what counts in a mark: the `NAME` or the file of a rubric (see singback class rubric)")
	fl.Float64Var(&t.tolerance, "tolerance", t.tolerance, "how many `CENTS` off are still right, 5 to 100")
	fl.BoolVar(&t.strict, "strict", false, "nothing is let pass: only the key of the model is right")
	fl.BoolVar(&t.strictOctave, "strict-octave", false, "only the octave asked for is right: that of the model, in its key")
	fl.StringVar(&t.counts, "counts", class.Last.String(), "`WHICH` of several takes counts: last or best")
	completed(cmd, "counts", fixed(class.Last.String(), class.Best.String()))
	completed(cmd, "rubric", fixed(rubricNames()...))
	completed(cmd, "names", fixed(namingNames()...))
	completed(cmd, "tuning", fixed(tuningWordList...))
}

func rubricNames() (names []string) {
	for _, r := range class.Builtin() {
		names = append(names, r.Name)
	}
	return names
}

// set puts what was said into a task.
func (t *taskFlags) set(ctx context.Context, e *env, cmd *cobra.Command, to *class.Task) (err error) {
	said := cmd.Flags().Changed
	if said("model") && said("exercise") {
		return usagef("--model and --exercise: a task is the one or the other")
	}
	if said("words") {
		to.Words = t.words
	}
	if said("due") {
		if to.Due, err = aDay("due", t.due); err != nil {
			return err
		}
	}
	if said("given") {
		if to.Given, err = aDay("given", t.given); err != nil {
			return err
		}
	}
	if said("counts") {
		var ok bool
		if to.Counts, ok = class.WhichNamed(t.counts); !ok {
			return usagef("--counts: %q: want last or best", short(t.counts))
		}
	}
	if said("exercise") {
		if err := checkExercise(e, t.exercise); err != nil {
			return err
		}
		to.Kind, to.Exercise = class.Exercise, strings.TrimSpace(t.exercise)
	}
	if said("goal") {
		if to.Kind != class.Exercise {
			return usagef("--goal is about an exercise: say which with --exercise")
		}
		to.Goal = t.goal
	}
	if to.Kind == class.Exercise {
		for _, flag := range []string{"rubric", "strict", "strict-octave", "tolerance", "counts", "key", "part", "tune", "names", "a4", "tuning"} {
			if said(flag) {
				return usagef("--%s is about a melody, and an exercise has none", flag)
			}
		}
		return nil
	}
	if said("tolerance") || to.Rules.Tolerance == 0 {
		to.Rules.Tolerance = t.tolerance
	}
	if said("strict") || said("strict-octave") || to.ID == 0 {
		to.Rules.Freedom = grade.Freedom{Key: !t.strict && !t.strictOctave, Octave: !t.strictOctave}
	}
	if err := to.Rules.Validate(); err != nil {
		return usage(fmt.Errorf("--tolerance: %w", err))
	}
	if said("rubric") {
		if to.Rubric, err = readRubric(e, t.rubric); err != nil {
			return err
		}
	}
	if to.Rubric.Name == "" {
		to.Rubric = class.Default()
	}
	for _, flag := range []string{"key", "part", "tune", "names", "a4", "tuning"} {
		if said(flag) && !said("model") {
			return usagef("--%s is about how the model is read: give --model again with it", flag)
		}
	}
	if !said("model") {
		return nil
	}
	to.Model, err = t.readModel(ctx, e)
	return err
}

// readModel reads the model as the class keeps it.
func (t *taskFlags) readModel(ctx context.Context, e *env) (out class.Model, err error) {
	if strings.TrimSpace(t.model) == "" || t.model == "-" {
		return out, usagef(`--model: want a typed melody like "do re mi", a notation file, a recording or a pitch curve`)
	}
	m := review.Model{Text: t.model, Part: t.part, Tune: t.tune, Octave: desk.Tonic}
	if m.Names, err = theory.ParseNaming(t.music.Names); err != nil {
		return out, usage(fmt.Errorf("--names: %w", err))
	}
	key := ""
	if t.music.Key != "" {
		k, err := t.music.readKey("--key", nil)
		if err != nil {
			return out, err
		}
		m.Key, key = &k, k.ASCII()
	}
	if m.Tuning, err = t.music.readTuning(); err != nil {
		return out, err
	}
	out, warnings, err := desk.NewModel(ctx, review.Reader{}, m, key, m.Tuning.A4)
	for _, w := range warnings {
		fmt.Fprintf(e.stderr, "%s: %s\n", t.model, w)
	}
	var asked review.ModelError
	if errors.As(err, &asked) {
		return out, usage(err)
	}
	return out, err
}

// checkExercise sees whether a command is one that can be practised.
func checkExercise(e *env, command string) error {
	words, err := splitWords(command)
	if err != nil {
		return usage(fmt.Errorf("--exercise: %w", err))
	}
	if len(words) > 0 && words[0] == "singback" {
		return usagef("--exercise: leave out singback: %q", short(strings.Join(words[1:], " ")))
	}
	practised := []string{"today", "sing", "series", "echo", "dictation", "melody", "deduce"}
	if len(words) == 0 || !slices.Contains(practised, words[0]) {
		return usagef("--exercise: want a command of practice: %s, with its options", strings.Join(practised, ", "))
	}
	cmd, _, err := newRoot(e).Find(words[:1])
	if err == nil {
		err = cmd.ParseFlags(words[1:])
	}
	if err != nil {
		return usage(fmt.Errorf("--exercise: %s: %w", words[0], err))
	}
	return nil
}

// splitWords parts a command as a shell does: blanks part words, quotes hold them
// together.
func splitWords(s string) (words []string, err error) {
	var word strings.Builder
	quote, in := rune(0), false
	for _, r := range s {
		switch {
		case quote != 0 && r == quote:
			quote = 0
		case quote != 0:
			word.WriteRune(r)
		case r == '"' || r == '\'':
			quote, in = r, true
		case r == ' ' || r == '\t':
			if in {
				words, in = append(words, word.String()), false
				word.Reset()
			}
		default:
			word.WriteRune(r)
			in = true
		}
	}
	if quote != 0 {
		return nil, fmt.Errorf("a %c is not closed", quote)
	}
	if in {
		words = append(words, word.String())
	}
	return words, nil
}

func newAddTask(e *env, c *classFlags) *cobra.Command {
	var t taskFlags
	cmd := &cobra.Command{
		Use:   "task NAME",
		Short: "Add a task: a melody to be sung, or an exercise to be practised",
		Long: `Task adds what is to be handed in. A melody is given as for singback grade: a typed
melody, a notation file, a recording or a pitch curve; the class keeps it. An exercise
is a command of practice: the students' records tell how it went.

The rubric says what counts in the mark; without one it is that of grade. How many
cents off are right, and whether the key of the model is asked for, belong to the
task, and can be changed later: singback class mark then marks anew.`,
		Example: `  singback class add task "week 4" --model "do re mi fa sol" --due 2026-12-04
  singback class add task "week 5" --model hymn.abc --rubric notes --tolerance 60
  singback class add task "degrees" --exercise "sing --key G" --goal 40`,
		Args: oneArg("the NAME of the task"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if t.model == "" && t.exercise == "" {
				return usagef("say what is to be done: --model MODEL or --exercise COMMAND")
			}
			task := class.Task{Name: args[0], Given: class.DateOf(e.clock())}
			if err := t.set(cmd.Context(), e, cmd, &task); err != nil {
				return err
			}
			if task.Due != "" && task.Due < task.Given && !cmd.Flags().Changed("given") {
				task.Given = task.Due // of a term that is over
			}
			if err := task.Validate(); err != nil {
				return usage(err)
			}
			return c.with(true, func(f *classfile.File) error {
				if _, err := f.AddTask(task); err != nil {
					return err
				}
				return e.print(fmt.Sprintf("%s: task %s added\n", f.Path(), task.Name))
			})
		},
	}
	t.addFlags(cmd)
	return cmd
}

func newClassChange(e *env, c *classFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "change",
		Short: "Change what a class says of a student or a task",
		Long: `Change sets anew what is said with its options; the rest stays. Marks stay as they
were made until singback class mark brings them to what the task says.`,
		Example: `  singback class change student Ana --consent 2026-11-28
  singback class change task "week 1" --tolerance 60`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },

		SuggestionsMinimumDistance: 2,
	}
	cmd.AddCommand(newChangeStudent(e, c), newChangeTask(e, c))
	return cmd
}

// called adds --called, and gives a name to what it changes where that was said.
type called struct{ name string }

func (c *called) addFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&c.name, "called", "", "it has this `NAME` from now on")
}

func (c *called) set(name *string) {
	if c.name != "" {
		*name = c.name
	}
}

func newChangeStudent(_ *env, c *classFlags) *cobra.Command {
	var s studentFlags
	var name called
	cmd := &cobra.Command{
		Use:     "student NAME",
		Short:   "Change what is said of a student",
		Long:    "Student changes what is said of a student; the beginning of a name will do.",
		Example: `  singback class change student Ana --voice alto --called "Ana M."`,
		Args:    oneArg("the NAME of a student"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.with(true, func(f *classfile.File) error {
				student, err := f.Student(args[0])
				if err == nil {
					err = s.set(cmd, &student)
				}
				if err != nil {
					return err
				}
				name.set(&student.Name)
				return f.SetStudent(student)
			})
		},
	}
	s.addFlags(cmd)
	name.addFlag(cmd)
	return cmd
}

func newChangeTask(e *env, c *classFlags) *cobra.Command {
	var t taskFlags
	var name called
	cmd := &cobra.Command{
		Use:     "task NAME",
		Short:   "Change what is said of a task",
		Long:    "Task changes a task; singback class mark then marks anew what it touches.",
		Example: `  singback class change task "week 1" --rubric notes --tolerance 60`,
		Args:    oneArg("the NAME of a task"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.with(true, func(f *classfile.File) error {
				task, err := f.Task(args[0])
				if err == nil {
					err = t.set(cmd.Context(), e, cmd, &task)
				}
				if err != nil {
					return err
				}
				name.set(&task.Name)
				return f.SetTask(task)
			})
		},
	}
	t.addFlags(cmd)
	name.addFlag(cmd)
	return cmd
}
