package store

import (
	"context"
	"errors"
	"strings"
	"time"

	"singback/exercise/practice"
	"singback/theory"
)

// ExamineRecord looks at the record at path, and at a damaged one page by page. It
// returns the path as errors name it. The error is fs.ErrNotExist where there is
// none.
func ExamineRecord(ctx context.Context, path string) (file string, c Check, err error) {
	r, err := ReadRecord(path)
	if err == nil {
		defer r.Close()
		if c, err = r.Check(ctx); err == nil && len(c.Problems) == 0 {
			return r.Path(), c, nil
		}
	}
	if err != nil && !errors.Is(err, ErrRecordDamaged) && !errors.Is(err, ErrRecordForeign) {
		return "", c, err
	}
	s, failed := SalvageRecord(ctx, path)
	if failed != nil {
		if err == nil {
			err = failed
		}
		return "", c, err
	}
	defer s.Close()
	found := s.Check()
	switch {
	case err == nil:
		found.Problems = c.Problems
	case len(found.Problems) == 0:
		found.Problems = []string{strings.TrimPrefix(err.Error(), s.Path()+": ")}
	}
	return s.Path(), found, nil
}

// ProgressQuery says which answers progress is worked out from.
type ProgressQuery struct {
	Singer string
	Since  string      // only from this day on, as 2006-01-02 by the singer's clock; "": from the first
	Key    *theory.Key // only in this key; nil: in any
}

// Progress is what the record says of a singer.
type Progress struct {
	Progress  *practice.Progress // by the answers of the query
	Practice  *practice.Practice // by all answers
	Skipped   int                // answers that cannot be read
	Simulated int                // of those in Progress, by a simulated singer
}

// Progress works out what the answers that count say. What was heard before it was
// sung, as echo has it, is left out.
func (r *Record) Progress(ctx context.Context, of ProgressQuery) (Progress, error) {
	out := Progress{Progress: &practice.Progress{}, Practice: &practice.Practice{}}
	q := Query{Singer: of.Singer, Counted: true}
	if of.Since != "" {
		day, err := time.Parse(time.DateOnly, of.Since)
		if err != nil {
			return out, err
		}
		if out.Practice, _, err = r.Practice(ctx, of.Singer); err != nil {
			return out, err
		}
		q.Since = day.AddDate(0, 0, -1) // the singer's day begins up to 14 hours before that of UTC
	}
	for a, err := range r.Answers(ctx, q) {
		switch {
		case ctx.Err() != nil:
			return out, ctx.Err()
		case errors.Is(err, ErrAnswer):
			out.Skipped++
			continue
		case err != nil:
			return out, err
		}
		if t, ok := a.Trial(); ok && of.Since == "" {
			out.Practice.Add(t)
		}
		if a.Session.Command == "echo" || of.Since != "" && a.At.Format(time.DateOnly) < of.Since || of.Key != nil && a.Item.Key != *of.Key {
			continue
		}
		added := out.Progress.Add(practice.Entry{
			At: a.At, Session: a.Session.ID, Question: a.Index, Skill: a.Skill, Item: a.Item,
			Tolerance: a.Tolerance.Cents, Verdict: a.Verdict, Named: a.Named, Notes: a.Notes, NotesRight: a.NotesRight,
		})
		if added && a.Session.Source == "simulated" {
			out.Simulated++
		}
	}
	return out, nil
}
