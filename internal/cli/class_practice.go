package cli

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/course"
	"singback/internal/desk"
	"singback/internal/engrave"
	"singback/internal/newfile"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/theory"
)

const practiceWeeks = 6

// practiceRecord is what a student practised, in CSV and JSON.
type practiceRecord struct {
	Student   string   `json:"student"`
	Answers   int      `json:"answers"`
	Right     *float64 `json:"right"`
	RightLow  *float64 `json:"right_low"`
	RightHigh *float64 `json:"right_high"`
	Days      int      `json:"days"`
	Last      string   `json:"last"`
	Weeks     []int    `json:"answers_by_week"` // the newest first
	Weakest   []string `json:"weakest"`
	Stage     string   `json:"stage"`
	Fit       string   `json:"fit"`

	worst []string // Weakest in words
}

func newPracticeRecord(p desk.Practised, style report.Style) practiceRecord {
	r := practiceRecord{Student: p.Student.Name, Answers: p.Answers, Days: p.Days, Last: string(p.Last), Weeks: p.Weeks, Weakest: []string{}, Stage: p.Stage, Fit: p.Fit.String()}
	if p.Known {
		r.Right, r.RightLow, r.RightHigh = rounded(p.Right.Value), rounded(p.Right.Low), rounded(p.Right.High)
	}
	for i, w := range p.Weakest {
		if i == 3 {
			break
		}
		r.Weakest = append(r.Weakest, w.Skill.String())
		r.worst = append(r.worst, style.Practised(theory.Key{}, w.Skill))
	}
	return r
}

func newClassPractice(e *env, c *classFlags) *cobra.Command {
	var courseFile string
	format := newFormat("text", "csv", "json")
	cmd := &cobra.Command{
		Use:   "practice [STUDENT ...]",
		Short: "What students practised, by their records",
		Long: `Practice says of every student, or of some, what their records of practice tell: how
many answers on how many days and in each of the last weeks, what goes worse than the
rest, where they stand in the course and whether it suits them: it does where most and
not nearly all of the last answers are right. Records are collected as takes are:
singback class collect. Nothing is said of too few answers.`,
		Example: `  singback class practice
  singback class practice Ana --format json`,
		RunE: func(_ *cobra.Command, args []string) error {
			of := course.BuiltIn()
			if courseFile != "" {
				var err error
				if of, err = readCourse(courseFile); err != nil {
					return err
				}
			}
			return c.with(false, func(f *classfile.File) error {
				students, err := f.Students()
				if err != nil {
					return err
				}
				if len(args) > 0 {
					students = nil
					for _, name := range args {
						s, err := f.Student(name)
						if err != nil {
							return err
						}
						students = append(students, s)
					}
				}
				records := []practiceRecord{}
				for _, s := range students {
					p, err := desk.PracticeOf(f, s, of, e.clock(), practiceWeeks)
					if err != nil {
						return err
					}
					if p.Answers > 0 || len(args) > 0 {
						records = append(records, newPracticeRecord(p, e.style(theory.Movable)))
					}
				}
				return printPractice(e, format.value, records)
			})
		},
	}
	cmd.Flags().StringVar(&courseFile, "course", "", "the course in this `FILE` (else the built-in one; see singback course)")
	must(cmd.MarkFlagFilename("course", "toml"))
	addFormat(cmd, format)
	return cmd
}

func printPractice(e *env, format string, records []practiceRecord) error {
	weeks := func(r practiceRecord) string {
		var out []string
		for _, n := range r.Weeks {
			out = append(out, strconv.Itoa(n))
		}
		return strings.Join(out, " ")
	}
	switch format {
	case "json":
		return e.printJSON(records)
	case "csv":
		rows := [][]string{{"student", "answers", "right", "right_low", "right_high", "days", "last", "answers_by_week", "weakest", "stage", "fit"}}
		for _, r := range records {
			rows = append(rows, []string{r.Student, strconv.Itoa(r.Answers), orEmpty(r.Right), orEmpty(r.RightLow), orEmpty(r.RightHigh), strconv.Itoa(r.Days), r.Last, weeks(r), strings.Join(r.Weakest, ", "), r.Stage, r.Fit})
		}
		return e.printCSV(rows)
	}
	if len(records) == 0 {
		return e.print("No practice is in the class yet: singback class collect takes records of practice too.\n")
	}
	table := [][]string{{"student", "answers", "right", "days", "last", "by week, newest first", "goes worst", "stage", "the course"}}
	for _, r := range records {
		right := "-"
		if r.Right != nil {
			right = fmt.Sprintf("%s (%s to %s)", percent(*r.Right), percent(*r.RightLow), percent(*r.RightHigh))
		}
		fit := map[string]string{}
		for _, f := range []desk.Fit{desk.FitUnknown, desk.Fits, desk.TooEasy, desk.TooHard} {
			fit[f.String()] = f.Words()
		}
		table = append(table, []string{r.Student, strconv.Itoa(r.Answers), right, strconv.Itoa(r.Days), dash(r.Last), weeks(r), dash(strings.Join(r.worst, ", ")), dash(r.Stage), fit[r.Fit]})
	}
	return e.print(inColumns(table))
}

func newClassHandOut(e *env, c *classFlags) *cobra.Command {
	var out, student string
	var force bool
	cmd := &cobra.Command{
		Use:   "hand-out [TASK] --out FILE",
		Short: "Write a task, or a course for one student, as a file to hand out",
		Long: `Hand-out writes a task as a file for the students: a page to print (.html) with the
words, the day, the melody on a staff and the command that starts it, or the melody
alone in a notation that the end of the name says (.abc, .musicxml, .mid). With
--student it writes a course (.toml) of what that student finds hardest, by the takes
and the practice in the class; where too little was sung to say, it says so.`,
		Example: `  singback class hand-out "week 1" --out week1.html
  singback class hand-out --student Ana --out ana.toml`,
		Args: upToOneArg("the NAME of a task"),
		RunE: func(_ *cobra.Command, args []string) error {
			switch {
			case out == "":
				return usagef("say where it goes: --out FILE")
			case (len(args) == 0) == (student == ""):
				return usagef("want a TASK, or --student NAME for a course")
			}
			return c.with(false, func(f *classfile.File) error {
				if student != "" {
					return handOutCourse(e, f, student, out, force)
				}
				return handOutTask(e, f, args[0], out, force)
			})
		},
	}
	cmd.Flags().StringVar(&student, "student", "", "of this student: the `NAME`, or its beginning")
	addOut(cmd, &out, &force, "FILE", "")
	return cmd
}

func handOutCourse(e *env, f *classfile.File, student, out string, force bool) error {
	s, err := f.Student(student)
	if err != nil {
		return err
	}
	text, err := desk.CourseFor(f, s)
	if err != nil {
		return err
	}
	if _, err := course.Read([]byte(text)); err != nil {
		return fmt.Errorf("the course that was made cannot be read: %w", err)
	}
	return e.writeFile(out, force, newfile.ForOwner, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
}

func handOutTask(e *env, f *classfile.File, name, out string, force bool) error {
	t, err := f.Task(name)
	if err != nil {
		return err
	}
	var score *theory.Score
	if t.Kind == class.Melody {
		l, err := desk.LineOf(t)
		if err != nil {
			return err
		}
		score = l.Score
	}
	format, written := notation.ByName(out)
	written = written && format != notation.Names // which are typed, and not written
	switch {
	case written && score == nil:
		return fmt.Errorf("%s has no written melody: want a page (.html)", t.Name)
	case written:
		return e.writeFile(out, force, newfile.ForAll, func(w io.Writer) error { return notation.Write(w, *score, format) })
	case strings.EqualFold(filepath.Ext(out), ".html"):
		page, err := taskPage(f.Name(), t, score)
		if err != nil {
			return err
		}
		return e.writeFile(out, force, newfile.ForAll, func(w io.Writer) error {
			_, err := w.Write(page)
			return err
		})
	}
	return usagef("--out: %s: want a name that ends in .html, or in one of a notation, like .abc or .musicxml", short(out))
}

// taskPage is a task on a page to print.
func taskPage(of string, t class.Task, score *theory.Score) ([]byte, error) {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>%[1]s</title>
<style>
:root { color-scheme: light dark; }
@page { margin: 18mm; }
body { font: 12pt/1.5 system-ui, sans-serif; max-width: 180mm; margin: 2em auto; padding: 0 1em; }
h1 { font-size: 1.6em; margin: 0; } .of { margin: 0 0 1em; }
svg { max-width: 100%%; height: auto; } pre { white-space: pre-wrap; border: 1px solid; padding: .5em; }
@media print { body { margin: 0; padding: 0; } }
@media (prefers-color-scheme: dark) { @media screen { figure { background: #fff; color: #000; padding: .5em; } } }
</style></head><body>
<h1>%[1]s</h1>
<p class="of">%[2]s`, html.EscapeString(t.Name), html.EscapeString(of))
	if t.Due != "" {
		fmt.Fprintf(&b, "; hand in by %s", t.Due)
	}
	b.WriteString("</p>\n")
	for line := range strings.SplitSeq(t.Words, "\n") {
		if strings.TrimSpace(line) != "" {
			fmt.Fprintf(&b, "<p>%s</p>\n", html.EscapeString(line))
		}
	}
	if score != nil {
		svg, err := engrave.Printed(*score, engrave.View{Labels: score.Labels(theory.Movable, false)})
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&b, "<figure>%s</figure>\n", svg)
	}
	switch {
	case t.Kind == class.Exercise:
		fmt.Fprintf(&b, "<p>Practise it with</p>\n<pre>singback %s</pre>\n", html.EscapeString(t.Exercise))
		if t.Goal > 0 {
			fmt.Fprintf(&b, "<p>until you have given %d answers, and hand in your record of practice (singback record export).</p>\n", t.Goal)
		}
	case score == nil && t.Model.Performed == nil:
		fmt.Fprintf(&b, "<p>Sing: %s</p>\n", html.EscapeString(t.Model.Text))
	}
	if t.Kind == class.Melody {
		b.WriteString("<p>Sing it in a key that suits your voice, and record it where it is quiet; a telephone will do. Your name in the name of the file tells whose it is.</p>\n")
	}
	b.WriteString("<p>Sing at ease: stop if it hurts, feels tight or turns hoarse. This is no medical advice.</p>\n</body></html>\n")
	return b.Bytes(), nil
}
