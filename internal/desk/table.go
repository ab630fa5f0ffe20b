package desk

import (
	"fmt"
	"iter"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/sheet"
	"singback/theory"
)

// mostWeak is how many degrees and moves a table names at most, each.
const mostWeak = 6

// Table makes the table of the class. Its rows are made as they are asked for.
func (r *Reporter) Table() (sheet.Table, error) {
	t := sheet.Table{Class: r.File.Name(), Made: r.Made, Paper: r.Paper}
	tasks, err := r.Tasks()
	if err != nil {
		return t, err
	}
	for _, k := range tasks {
		t.Tasks = append(t.Tasks, sheet.Column{Name: k.Name, Due: k.Due})
	}
	answers, err := r.answers()
	if err != nil {
		return t, err
	}
	standings, err := r.known()
	if err != nil {
		return t, err
	}
	t.Rows = func(yield func(sheet.Row, error) bool) {
		for _, s := range standings {
			if !yield(r.row(s, answers), nil) {
				return
			}
		}
	}
	agreed, err := r.agreement()
	if err != nil {
		return t, err
	}
	if agreed != nil {
		t.Agreement = agreementText(*agreed)
	}
	t.Weak, err = r.weak()
	return t, err
}

// answers are how many answers each student gave to each exercise; nil where no exercise
// is set.
func (r *Reporter) answers() (map[[2]int64]int, error) {
	var out map[[2]int64]int
	for _, t := range r.tasks {
		if t.Kind != class.Exercise {
			continue
		}
		counts, err := r.File.Practised(command(t.Exercise), t.Given)
		if err != nil {
			return nil, err
		}
		if out == nil {
			out = map[[2]int64]int{}
		}
		for student, n := range counts {
			out[[2]int64{student, t.ID}] = n
		}
	}
	return out, nil
}

// known is what counts of all students; it is read once.
func (r *Reporter) known() ([]classfile.Standing, error) {
	if r.standings == nil {
		var err error
		if r.standings, err = r.File.Standings(); err != nil {
			return nil, err
		}
	}
	return r.standings, nil
}

// row makes a row of the table.
func (r *Reporter) row(s classfile.Standing, answers map[[2]int64]int) sheet.Row {
	row := sheet.Row{Name: s.Name, Cells: make([]sheet.Cell, len(r.tasks))}
	of := map[int64]classfile.Cell{}
	for _, c := range s.Cells {
		of[c.Task] = c
	}
	for i, t := range r.tasks {
		cell := &row.Cells[i]
		c, ok := of[t.ID]
		switch {
		case t.Kind == class.Exercise:
			cell.State = answered(t, answers[[2]int64{s.ID, t.ID}])
		case !ok:
			cell.Late = daysLate(t.Due, r.Made)
		default:
			*cell = cellOf(t, c)
		}
	}
	return row
}

// answered says how many answers were given.
func answered(t class.Task, n int) string {
	if t.Goal == 0 {
		return fmt.Sprintf("%d answers", n)
	}
	return fmt.Sprintf("%d of %d", n, t.Goal)
}

// cellOf is a cell of the table.
func cellOf(t class.Task, c classfile.Cell) sheet.Cell {
	handed := dayOf(c.Handed)
	out := sheet.Cell{Handed: handed, Late: daysLate(t.Due, handed), Reviewed: c.Review != nil}
	line := lineOfCell(t, c)
	out.Verdict, out.Overruled = line.Counts(), line.Overruled()
	if out.Verdict == nil {
		out.State = short(c)
	}
	return out
}

// short is why a take has no mark, in a word or two.
func short(c classfile.Cell) string {
	switch {
	case !c.Readable:
		return "not readable"
	case !c.Marked:
		return "not marked"
	case c.Heard == grade.Nothing:
		return "silent"
	}
	return "spoken"
}

// lineOfCell has the marks of a cell as a sheet has them.
func lineOfCell(t class.Task, c classfile.Cell) sheet.TaskLine {
	var out sheet.TaskLine
	out.Machine, out.Teacher = verdicts(t.Rubric, c.Marked, c.Value, c.Pass, c.Review)
	if c.Review == nil && c.Marked && c.Heard != grade.Singing {
		out.Machine = nil
	}
	return out
}

// weak sums up what the class sang. Degrees are named as counted from the tonic, since
// tasks have many keys; modes are not told apart.
func (r *Reporter) weak() ([]sheet.Weak, error) {
	var sung []class.Sung
	standings, err := r.known()
	if err != nil {
		return nil, err
	}
	for _, s := range standings {
		if s.Tally.Degrees != nil {
			sung = append(sung, class.Sung{Student: s.ID, Tally: s.Tally})
		}
	}
	var out []sheet.Weak
	add := func(name string, s class.ClassShare) {
		if float64(s.Right) >= weakShare*float64(s.Of) {
			return
		}
		e := s.Share
		if s.HasStudents {
			e = s.ByStudents
		}
		out = append(out, sheet.Weak{Name: name, Right: s.Right, Of: s.Of, Students: s.Students, Low: e.Low, High: e.High})
	}
	degrees, moves := class.Weak(sung)
	name := func(d theory.Degree) string {
		if r.ASCII {
			return theory.Movable.NameASCII(theory.Key{}, d)
		}
		return theory.Movable.Name(theory.Key{}, d)
	}
	for _, d := range degrees[:min(len(degrees), mostWeak)] {
		add(name(d.Degree), d.ClassShare)
	}
	for _, m := range moves[:min(len(moves), mostWeak)] {
		add(name(m.Move.From)+" to "+name(m.Move.To), m.ClassShare)
	}
	return out, nil
}

// agreement compares machine and teacher; nil where nothing was reviewed.
func (r *Reporter) agreement() (*class.Agreements, error) {
	var reviews []class.Reviewed
	for v, err := range r.File.Reviewed() {
		if err != nil {
			return nil, err
		}
		reviews = append(reviews, class.Reviewed{Review: v.Review, Mark: v.Machine})
	}
	if len(reviews) == 0 {
		return nil, nil
	}
	n, err := r.File.Totals()
	if err != nil {
		return nil, err
	}
	a := class.Agree(reviews, n.Takes-n.Unread-n.Unmarked)
	return &a, nil
}

// agreementText says how often machine and teacher say the same.
func agreementText(a class.Agreements) []string {
	var out []string
	for _, part := range []struct {
		name string
		class.Agreement
	}{{"All that were heard", a.All}, {"Drawn by lot", a.Sample}, {"Heard because the machine was unsure", a.Doubt}, {"Asked for", a.Asked}} {
		if part.Takes == 0 {
			continue
		}
		line := fmt.Sprintf("%s: machine and teacher say the same of %d of %d takes", part.name, part.Same, part.Takes)
		if part.Known {
			line += fmt.Sprintf(", %.0f %% (%.0f to %.0f %%)", 100*part.Share.Value, 100*part.Share.Low, 100*part.Share.High)
		}
		if part.HasKappa {
			line += fmt.Sprintf("; kappa %.2f (%.2f to %.2f)", part.Kappa.Value, part.Kappa.Low, part.Kappa.High)
		}
		if part.Note != "" {
			line += "; " + part.Note
		}
		out = append(out, line+".")
	}
	if w := a.Whole; w.Known && w.Takes > 0 {
		line := fmt.Sprintf("Of all %d that were marked, as far as those drawn by lot tell: %.0f %% (%.0f to %.0f %%)", a.Marked, 100*w.Share.Value, 100*w.Share.Low, 100*w.Share.High)
		if w.HasKappa {
			line += fmt.Sprintf("; kappa %.2f (%.2f to %.2f)", w.Kappa.Value, w.Kappa.Low, w.Kappa.High)
		}
		out = append(out, line+".")
	}
	return out
}

// Records are the rows of the class for other programs, student by student.
func (r *Reporter) Records() (iter.Seq2[sheet.Record, error], error) {
	if _, err := r.Tasks(); err != nil {
		return nil, err
	}
	remarks, err := r.File.NewestRemarks()
	if err != nil {
		return nil, err
	}
	standings, err := r.known()
	if err != nil {
		return nil, err
	}
	return func(yield func(sheet.Record, error) bool) {
		for _, s := range standings {
			of := map[int64]classfile.Cell{}
			for _, c := range s.Cells {
				of[c.Task] = c
			}
			for _, t := range r.tasks {
				if t.Kind != class.Melody {
					continue
				}
				c, ok := of[t.ID]
				rec := r.record(t, c, ok)
				rec.Student, rec.Task, rec.Due, rec.Remark = s.Name, t.Name, t.Due, remarks[[2]int64{s.ID, t.ID}]
				if !yield(rec, nil) {
					return
				}
			}
		}
	}, nil
}

// record is what came of a task; ok tells that there is a take.
func (r *Reporter) record(t class.Task, c classfile.Cell, ok bool) sheet.Record {
	if !ok {
		return sheet.Record{LateDays: daysLate(t.Due, r.Made)}
	}
	rec := sheet.Record{Handed: c.Handed, LateDays: daysLate(t.Due, dayOf(c.Handed)), Takes: c.Takes, Take: &c.Take, Trouble: c.Trouble, Reviewed: c.Review != nil}
	if c.Readable {
		rec.Seconds = sheet.Rounded(c.Seconds)
	}
	if c.Marked {
		rec.Heard, rec.Rubric = c.Heard.String(), c.Rubric
		rec.MachineValue, rec.MachinePass, rec.Doubt = sheet.Rounded(c.Value), &c.Pass, sheet.Rounded(c.Doubt)
		rec.Value, rec.Pass = rec.MachineValue, rec.MachinePass
	}
	if v := c.Review; v != nil {
		rec.Pass, rec.Why = &v.Pass, v.Why
		if v.Value >= 0 {
			rec.TeacherValue = sheet.Rounded(v.Value)
			rec.Value = rec.TeacherValue
		}
	}
	if of := t.Rubric.Points; of > 0 && rec.Value != nil {
		rec.Points, rec.PointsOf = sheet.Rounded(*rec.Value*float64(of)), &of
	}
	return rec
}

// Summary is what the records of a class begin with, in JSON.
func (r *Reporter) Summary() (sheet.Summary, error) {
	t := sheet.Table{Class: r.File.Name(), Made: r.Made}
	if _, err := r.Tasks(); err != nil {
		return sheet.Summary{}, err
	}
	var err error
	if t.Weak, err = r.weak(); err != nil {
		return sheet.Summary{}, err
	}
	a, err := r.agreement()
	if err != nil || a == nil {
		return sheet.NewSummary(t, nil), err
	}
	return sheet.NewSummary(t, newAgreed(*a)), nil
}

// agreed is how often machine and teacher say the same, in JSON.
type agreed struct {
	All    agreedOn `json:"all"`
	Sample agreedOn `json:"sample"`
	Doubt  agreedOn `json:"doubt"`
	Asked  agreedOn `json:"asked"`
}

type agreedOn struct {
	Takes int      `json:"takes"`
	Same  int      `json:"same"`
	Share *float64 `json:"share"` // null of fewer than ten
	Low   *float64 `json:"share_low"`
	High  *float64 `json:"share_high"`
	Kappa *float64 `json:"kappa"`
	From  *float64 `json:"kappa_low"`
	To    *float64 `json:"kappa_high"`
}

func newAgreed(a class.Agreements) agreed {
	of := func(a class.Agreement) agreedOn {
		out := agreedOn{Takes: a.Takes, Same: a.Same}
		if a.Known {
			out.Share, out.Low, out.High = sheet.Rounded(a.Share.Value), sheet.Rounded(a.Share.Low), sheet.Rounded(a.Share.High)
		}
		if a.HasKappa {
			out.Kappa, out.From, out.To = sheet.Rounded(a.Kappa.Value), sheet.Rounded(a.Kappa.Low), sheet.Rounded(a.Kappa.High)
		}
		return out
	}
	return agreed{of(a.All), of(a.Sample), of(a.Doubt), of(a.Asked)}
}
