package desk

import (
	"context"
	"errors"

	"singback/internal/class"
	"singback/internal/classfile"
)

// Check looks through all that a class holds, and reports the first thing that cannot be
// read.
func Check(ctx context.Context, f *classfile.File) (n classfile.Totals, err error) {
	if err := f.Check(); err != nil {
		return n, err
	}
	if _, err := f.Students(); err != nil {
		return n, err
	}
	tasks, err := f.Tasks()
	if err != nil {
		return n, err
	}
	for _, t := range tasks {
		if t.Kind == class.Melody {
			if _, err := LineOf(t); err != nil {
				return n, err
			}
		}
	}
	for after := int64(0); ; {
		var measured []int64
		last := after
		for r, err := range f.Takes(classfile.Query{ByID: true, After: after, Most: page}) {
			if err := errors.Join(err, ctx.Err()); err != nil {
				return n, err
			}
			if last = r.ID; r.Measured != "" {
				measured = append(measured, r.ID)
			}
		}
		for _, id := range measured {
			if _, err := f.Performance(id); err != nil {
				return n, err
			}
		}
		if last == after {
			return f.Totals()
		}
		after = last
	}
}
