package desk

import (
	"context"
	"fmt"
	"time"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/review"
	"singback/internal/synth"
)

// Mark grades a take and marks it by the rules of its task. When it was made, and of
// what, is for the caller to say.
func (l Line) Mark(t class.Task, p grade.Performance) (class.Mark, grade.Grading, error) {
	g, err := grade.Of(l.Line, p, t.Rules)
	if err != nil {
		return class.Mark{}, g, err
	}
	m := t.Rubric.MarkIn(l.Names, l.Line, p, g, t.Rules)
	m.Rubric, m.RubricSum = t.Rubric.Name, t.Rubric.Sum()
	m.Tolerance, m.FreeKey, m.FreeOctave, m.ModelSum = t.Rules.Tolerance, t.Rules.Key, t.Rules.Octave, l.Sum
	return m, g, nil
}

// Stale tells why a mark is not what the task asks for now, of a take that was measured
// by that tracker; "" where it is.
func (l Line) Stale(t class.Task, m *class.Mark, measured string) string {
	switch {
	case m == nil:
		return "not marked yet"
	case m.Measured != measured:
		return "measured anew"
	case m.RubricSum != t.Rubric.Sum():
		return "another rubric"
	case m.Tolerance != t.Rules.Tolerance:
		return "another tolerance"
	case m.FreeKey != t.Rules.Key || m.FreeOctave != t.Rules.Octave:
		return "other rules of key and octave"
	case m.ModelSum != l.Sum:
		return "another model"
	}
	return ""
}

// Marker brings the marks of a class to what its tasks ask for now, from what was
// measured, without listening.
type Marker struct {
	File  *classfile.File
	Now   time.Time
	Task  int64             // only takes of this one; 0: of all
	Rules func(*class.Task) // what is to be otherwise in each task; nil: nothing
	Try   bool              // nothing is kept
}

// Remarked is what became of the mark of one take.
type Remarked struct {
	classfile.Row // Mark is the old one, nil where there was none
	New           class.Mark
	Why           string // what made it be marked
	Trouble       string // why it could not be; one line
}

// Flipped tells whether a pass became a fail, or the other way.
func (r Remarked) Flipped() bool { return r.Row.Mark != nil && r.Row.Mark.Pass != r.New.Pass }

// page is how many takes are looked at in one go.
const page = 1024

// Run marks what has no mark, or one that is not what its task asks for, by ID, and
// tells done of each when it is on disk.
func (m *Marker) Run(ctx context.Context, done func(Remarked) error) error {
	tasks, err := m.File.Tasks()
	if err != nil {
		return err
	}
	lines := map[int64]Line{}
	byID := map[int64]class.Task{}
	for _, t := range tasks {
		if t.Kind != class.Melody || m.Task != 0 && t.ID != m.Task {
			continue
		}
		if m.Rules != nil {
			m.Rules(&t)
			if err := t.Validate(); err != nil {
				return fmt.Errorf("%s: %w", t.Name, err)
			}
			if !m.Try {
				if err := m.File.SetTask(t); err != nil {
					return err
				}
			}
		}
		if lines[t.ID], err = LineOf(t); err != nil {
			return err
		}
		byID[t.ID] = t
	}
	for after := int64(0); ; {
		var todo []Remarked
		last := after
		for row, err := range m.File.Takes(classfile.Query{Task: m.Task, ByID: true, After: after, Most: page}) {
			if err != nil {
				return err
			}
			last = row.ID
			t, ok := byID[row.Task]
			if !ok || row.Measured == "" {
				continue
			}
			if why := lines[row.Task].Stale(t, row.Mark, row.Measured); why != "" {
				todo = append(todo, Remarked{Row: row, Why: why})
			}
		}
		if last == after {
			return nil
		}
		after = last
		if err := m.page(ctx, todo, byID, lines, done); err != nil {
			return err
		}
	}
}

// page marks some takes.
func (m *Marker) page(ctx context.Context, todo []Remarked, tasks map[int64]class.Task, lines map[int64]Line, done func(Remarked) error) error {
	var marked []Remarked
	err := review.Each(ctx, len(todo), func(_ context.Context, i int) (Remarked, error) {
		r := todo[i]
		p, err := m.File.Performance(r.ID)
		if err == nil {
			r.New, _, err = lines[r.Row.Task].Mark(tasks[r.Row.Task], p)
		}
		if err != nil {
			r.Trouble = lastPart(err, r.Source)
		}
		r.New.Take, r.New.At, r.New.Measured = r.ID, m.Now.Format(time.RFC3339), r.Row.Measured
		return r, ctx.Err()
	}, func(_ int, r Remarked, err error) error {
		if err == nil {
			marked = append(marked, r)
		}
		return err
	})
	if !m.Try {
		var marks []class.Mark
		for _, r := range marked {
			if r.Trouble == "" {
				marks = append(marks, r.New)
			}
		}
		if e := m.File.AddMarks(marks); e != nil {
			return e
		}
	}
	for _, r := range marked {
		if e := done(r); e != nil {
			return e
		}
	}
	return err
}

// Marked is a mark with all that it rests on.
type Marked struct {
	classfile.Row
	Of          class.Task
	Line        Line
	Performance grade.Performance
	Grading     grade.Grading
	// Fresh is the mark made anew, with its words and places; Stale tells why the mark in
	// the file is not the same, "" where it is.
	Fresh class.Mark
	Stale string
	// Instrument plays the model.
	Instrument synth.Instrument
}

// Explain marks a take again from what was measured, by the rules of its task now, with
// all words and places.
func Explain(f *classfile.File, take int64) (m Marked, err error) {
	if m.Row, err = f.Take(take); err != nil {
		return m, err
	}
	if m.Of, err = f.TaskByID(m.Task); err != nil {
		return m, err
	}
	if m.Line, err = LineOf(m.Of); err != nil {
		return m, err
	}
	if m.Row.Trouble != "" && m.Row.Measured == "" {
		return m, fmt.Errorf("the take of %s for %s could not be read: %s", m.StudentName, m.TaskName, m.Row.Trouble)
	}
	if m.Performance, err = f.Performance(take); err != nil {
		return m, err
	}
	if m.Fresh, m.Grading, err = m.Line.Mark(m.Of, m.Performance); err != nil {
		return m, fmt.Errorf("the take of %s for %s: %w", m.StudentName, m.TaskName, err)
	}
	m.Fresh.Take, m.Fresh.Measured = take, m.Row.Measured
	m.Stale = m.Line.Stale(m.Of, m.Row.Mark, m.Row.Measured)
	return m, nil
}
