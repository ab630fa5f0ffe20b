package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/sheet"
	"singback/theory"
)

// Reporter makes sheets and tables of a class. Tasks and their models are read once, so
// that the sheets of all students cost little more each than what is theirs.
type Reporter struct {
	File  *classfile.File
	Made  class.Date // the day that sheets bear
	Paper sheet.Paper
	Page  string // the address of the page, for links; "": none
	Staff bool   // the line as staff notation, with marks, on a page of its own
	ASCII bool

	tasks     []class.Task
	lines     map[int64]Line
	standings []classfile.Standing
}

// Tasks are the tasks of the class in order.
func (r *Reporter) Tasks() ([]class.Task, error) {
	if r.tasks == nil {
		var err error
		if r.tasks, err = r.File.Tasks(); err != nil {
			return nil, err
		}
	}
	return r.tasks, nil
}

// line is the model of a task.
func (r *Reporter) line(t class.Task) (Line, error) {
	l, ok := r.lines[t.ID]
	if ok {
		return l, nil
	}
	l, err := LineOf(t)
	if err == nil {
		if r.lines == nil {
			r.lines = map[int64]Line{}
		}
		r.lines[t.ID] = l
	}
	return l, err
}

// Student makes the sheet of a student. Nothing of another one is read for it.
func (r *Reporter) Student(student int64) (sheet.Student, error) {
	who, err := r.File.StudentByID(student)
	if err != nil {
		return sheet.Student{}, err
	}
	out := sheet.Student{Class: r.File.Name(), Name: who.Name, Voice: who.Voice, Made: r.Made, Paper: r.Paper, Page: r.Page}
	tasks, err := r.Tasks()
	if err != nil {
		return out, err
	}
	rows := map[int64][]classfile.Row{}
	for row, err := range r.File.Takes(classfile.Query{Student: student}) {
		if err != nil {
			return out, err
		}
		rows[row.Task] = append(rows[row.Task], row)
	}
	var answers []practice.Answer
	for a, err := range r.File.Practice(student) {
		if err != nil {
			return out, err
		}
		answers = append(answers, a)
	}
	known := known{who: who, tasks: tasks, rows: rows, ascii: r.ASCII, answers: answers, line: r.line}
	for _, t := range tasks {
		line, counts := r.taskLine(t, rows[t.ID], answers)
		out.Tasks = append(out.Tasks, line)
		if counts != nil && counts.Mark != nil && counts.Mark.Heard == grade.Singing && (known.newest == nil || counts.Handed > known.newest.Handed) {
			known.newest = counts
		}
	}
	if known.newest != nil {
		if known.marked, err = Explain(r.File, known.newest.ID); err != nil {
			return out, err
		}
		known.tally = r.tally(rows, known.marked.Line)
		if out.Newest, err = r.shown(known.marked); err != nil {
			return out, err
		}
	}
	out.Well, out.Practise = known.well(), known.practise()
	out.Weeks = weeks(answers, r.Made)
	remarks, err := r.File.Remarks(student)
	if err != nil {
		return out, err
	}
	names := map[int64]string{}
	for _, t := range tasks {
		names[t.ID] = t.Name
	}
	for _, m := range remarks {
		out.Remarks = append(out.Remarks, sheet.Said{At: dayOf(m.At), About: names[m.Task], Words: m.Words})
	}
	return out, nil
}

// dayOf is the day of a time in RFC 3339, where the clock stood.
func dayOf(at string) class.Date {
	day, _, _ := strings.Cut(at, "T")
	return class.Date(day)
}

// daysLate is how many days a day lies after another; 0 where it does not, or none is set.
func daysLate(due, day class.Date) int {
	a, err := time.Parse(time.DateOnly, string(due))
	b, err2 := time.Parse(time.DateOnly, string(day))
	if err != nil || err2 != nil {
		return 0
	}
	return max(0, int(b.Sub(a).Hours()/24))
}

// unread says in a few words why a take has no mark.
func unread(readable bool, trouble string, heard grade.Heard, marked bool) string {
	switch {
	case !readable:
		return "not readable: " + cmp.Or(trouble, "unknown why")
	case !marked:
		return "not marked yet"
	case heard == grade.Nothing:
		return "nothing was heard"
	case heard == grade.Spoken:
		return "spoken, not sung"
	}
	return ""
}

// verdicts are the machine's mark, and the teacher's.
func verdicts(r class.Rubric, marked bool, value float64, pass bool, review *class.Review) (machine, teacher *sheet.Verdict) {
	if marked {
		machine = &sheet.Verdict{Shown: r.Shown(value), Pass: pass}
	}
	if review != nil {
		teacher = &sheet.Verdict{Pass: review.Pass}
		if review.Value >= 0 {
			teacher.Shown = r.Shown(review.Value)
		}
	}
	return machine, teacher
}

// taskLine tells what came of a task, and which take counts.
func (r *Reporter) taskLine(t class.Task, rows []classfile.Row, answers []practice.Answer) (sheet.TaskLine, *classfile.Row) {
	out := sheet.TaskLine{Name: t.Name, Due: t.Due, Times: len(rows)}
	if t.Kind == class.Exercise {
		if out.State = answered(t, done(t, answers)); t.Goal > 0 {
			out.State += " answers"
		}
		return out, nil
	}
	k := slices.IndexFunc(rows, func(r classfile.Row) bool { return r.Counts })
	if k < 0 {
		out.State = "not handed in"
		return out, nil
	}
	row := rows[k]
	out.Handed = dayOf(row.Handed)
	out.Late = daysLate(t.Due, out.Handed)
	heard := grade.Singing
	if row.Mark != nil {
		heard = row.Mark.Heard
		out.Machine, out.Teacher = verdicts(t.Rubric, true, row.Mark.Value, row.Mark.Pass, row.Review)
	}
	out.State = unread(row.Measured != "", row.Trouble, heard, row.Mark != nil)
	if row.Review != nil {
		out.Why = row.Review.Why
	} else if heard != grade.Singing {
		out.Machine = nil // the words say it
	}
	return out, &row
}

// done is how many answers were given to an exercise: with its command, since it was set.
func done(t class.Task, answers []practice.Answer) int {
	n := 0
	for _, a := range answers {
		if a.Counts && a.Session.Command == command(t.Exercise) && (t.Given == "" || class.DateOf(a.At) >= t.Given) {
			n++
		}
	}
	return n
}

// command is the word of a command line.
func command(exercise string) string {
	word, _, _ := strings.Cut(strings.TrimSpace(exercise), " ")
	return word
}

// tally is what was sung in the takes that count, in the mode of a line.
func (r *Reporter) tally(rows map[int64][]classfile.Row, like Line) class.Tally {
	sum := class.Tally{Degrees: map[theory.Degree]class.Count{}, Moves: map[class.Move]class.Count{}}
	if like.Degrees == nil {
		return sum
	}
	for _, t := range r.tasks {
		l, err := r.line(t)
		if err != nil || l.Degrees == nil || l.Key.Mode != like.Key.Mode {
			continue
		}
		for _, row := range rows[t.ID] {
			if !row.Counts || row.Mark == nil {
				continue
			}
			for d, c := range row.Mark.Tally.Degrees {
				v := sum.Degrees[d]
				sum.Degrees[d] = class.Count{Right: v.Right + c.Right, Of: v.Of + c.Of}
			}
			for m, c := range row.Mark.Tally.Moves {
				v := sum.Moves[m]
				sum.Moves[m] = class.Count{Right: v.Right + c.Right, Of: v.Of + c.Of}
			}
		}
	}
	return sum
}

// PictureOf is the picture of a marked take.
func PictureOf(m Marked) sheet.Picture {
	p := sheet.Picture{
		Line: m.Line.Line, Take: m.Performance, Grading: m.Grading, Tolerance: m.Of.Rules.Tolerance, Names: m.Line.Names,
		Title: fmt.Sprintf("%s: the pitch of the take against the line", m.TaskName),
	}
	if m.Line.Score != nil {
		p.Pickup = m.Line.Score.Start.Num > 0
	}
	return p
}

// How high the rows of a system are on a sheet, in units: of a short take, and of one that
// takes more than one system.
const (
	heightOnPaper = 100
	heightAlone   = 170
)

// mostPlaces is how many places of one thing a sheet names.
const mostPlaces = 4

// shown is the newest take as it is shown.
func (r *Reporter) shown(m Marked) (*sheet.Shown, error) {
	picture := PictureOf(m)
	picture.Height, picture.ASCII = heightAlone, r.ASCII
	out := &sheet.Shown{Task: m.TaskName, Handed: dayOf(m.Handed), Pictures: picture.Systems()}
	if len(out.Pictures) > 2 { // the legend is one
		picture.Height = heightOnPaper
		out.Pictures = picture.Systems()
	}
	if r.Staff && m.Line.Score != nil {
		var err error
		if out.Staff, err = picture.Staff(*m.Line.Score); err != nil {
			return nil, fmt.Errorf("%s: %w", m.TaskName, err)
		}
	}
	if m.Stale != "" {
		return out, nil // the mark in the file rests on something else
	}
	for _, p := range m.Fresh.Parts {
		rest := sheet.Rest{What: p.Criterion.String(), Why: p.Why}
		if p.Measured {
			rest.Shown = fmt.Sprintf("%.0f %%", 100*p.Value)
		}
		if len(p.Places) > 0 { // they say the rest of it
			rest.Why, _, _ = strings.Cut(p.Why, "; ")
		}
		for _, place := range p.Places[:min(len(p.Places), mostPlaces)] {
			rest.Places = append(rest.Places, sheet.Clock(place.From)+" "+place.What)
		}
		if n := len(p.Places) - mostPlaces; n > 0 {
			rest.Places = append(rest.Places, fmt.Sprintf("and %d more", n))
		}
		out.Rests = append(out.Rests, rest)
	}
	return out, nil
}

// mostWeeks is how many weeks of practice a sheet shows.
const mostWeeks = 5

// weeks counts the first answers of the last weeks, each from its Monday on.
func weeks(answers []practice.Answer, until class.Date) []sheet.Week {
	end, err := time.Parse(time.DateOnly, string(until))
	if err != nil {
		return nil
	}
	monday := func(t time.Time) time.Time { return t.AddDate(0, 0, -(int(t.Weekday())+6)%7) }
	first := monday(end).AddDate(0, 0, -7*(mostWeeks-1))
	type week struct{ answers, right, days int }
	var all [mostWeeks]week
	days := map[class.Date]bool{}
	from := mostWeeks
	for _, a := range answers {
		if !a.Counts {
			continue
		}
		day, _ := time.Parse(time.DateOnly, string(class.DateOf(a.At)))
		k := int(day.Sub(first).Hours()) / 24 / 7
		if day.Before(first) || k >= mostWeeks {
			continue
		}
		from = min(from, k)
		w := &all[k]
		if w.answers++; a.Verdict.Outcome.IsRight() {
			w.right++
		}
		if !days[class.DateOf(a.At)] {
			days[class.DateOf(a.At)] = true
			w.days++
		}
	}
	var out []sheet.Week
	for k, w := range all[min(from, mostWeeks):] {
		right := "-"
		if w.answers >= practice.EnoughAnswers {
			right = fmt.Sprintf("%.0f %%", 100*float64(w.right)/float64(w.answers))
		}
		out = append(out, sheet.Week{From: class.DateOf(first.AddDate(0, 0, 7*(k+from))), Days: w.days, Answers: w.answers, Right: right})
	}
	return out
}
