package desk

import (
	"fmt"
	"slices"

	"singback/internal/class"
	"singback/internal/classfile"
)

// Queue are the takes that count, are marked and were not reviewed yet, in the order in
// which they are worth a teacher's hearing: see [class.Queue]. With a lot of n they are
// drawn by lot instead, n at most, with that seed. task 0 is all; with most above 0 no
// more are read. waiting is how many there are in all.
func Queue(f *classfile.File, task int64, lot int, seed uint64, most int) (rows []classfile.Row, waiting int, err error) {
	marks, err := f.Waiting(task)
	if err != nil {
		return nil, 0, err
	}
	order := class.Queue(marks)
	if lot > 0 {
		order = class.Draw(marks, lot, seed)
	}
	for _, i := range order {
		if most > 0 && len(rows) == most {
			break
		}
		r, err := f.Take(marks[i].Take)
		if err != nil {
			return nil, 0, err
		}
		rows = append(rows, r)
	}
	return rows, len(order), nil
}

// Agreements are how often the machine and the teacher say the same in a class.
func Agreements(f *classfile.File) (class.Agreements, error) {
	var reviews []class.Reviewed
	for r, err := range f.Reviewed() {
		if err != nil {
			return class.Agreements{}, err
		}
		reviews = append(reviews, class.Reviewed{Review: r.Review, Mark: r.Machine})
	}
	marked, err := f.Marked()
	return class.Agree(reviews, marked), err
}

// TakesOf are the takes of a student for a task, the one that counts first.
func TakesOf(f *classfile.File, student, task string) ([]classfile.Row, error) {
	s, err := f.Student(student)
	if err != nil {
		return nil, err
	}
	t, err := f.Task(task)
	if err != nil {
		return nil, err
	}
	var rows []classfile.Row
	for r, err := range f.Takes(classfile.Query{Student: s.ID, Task: t.ID}) {
		if err != nil {
			return nil, err
		}
		rows = append(rows, r)
	}
	if rows == nil {
		return nil, fmt.Errorf("%s has handed in nothing for %s", s.Name, t.Name)
	}
	slices.SortStableFunc(rows, func(a, b classfile.Row) int { return b2i(b.Counts) - b2i(a.Counts) })
	return rows, nil
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
