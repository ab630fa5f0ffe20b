package kept

import (
	"errors"
	"fmt"
	"iter"
	"time"

	"singback/exercise/practice"
	"singback/theory"
)

// ErrAnswer is wrapped by the error about a single answer, after which the next may
// follow.
var ErrAnswer = errors.New("it cannot be read")

// ErrChanged is the error about an answer that does not fit its checksum.
var ErrChanged = fmt.Errorf("%w: it is not what was written (its checksum is another)", ErrAnswer)

// PracticeOf works out what is known of a singer, "" for whoever it is, from all
// answers that count; they come in the order in which they were given. Those that
// cannot be read (ErrAnswer) are left out and counted in skipped; any other error ends
// it.
func PracticeOf(answers iter.Seq2[practice.Answer, error], singer string) (p *practice.Practice, skipped int, err error) {
	p = &practice.Practice{}
	for a, err := range answers {
		switch {
		case errors.Is(err, ErrAnswer):
			skipped++
			continue
		case err != nil:
			return p, skipped, err
		case !a.Counts || singer != "" && a.Session.Singer != singer:
			continue
		}
		if t, ok := a.Trial(); ok {
			p.Add(t)
		}
	}
	return p, skipped, nil
}

// ProgressQuery says which answers progress is worked out from.
type ProgressQuery struct {
	Singer string      // "": whoever it is
	Since  string      // only from this day on, as 2006-01-02 by the singer's clock; "": from the first
	Key    *theory.Key // only in this key; nil: in any
}

// Progress is what the answers say of a singer.
type Progress struct {
	Progress  *practice.Progress // by the answers of the query
	Practice  *practice.Practice // by all answers
	Skipped   int                // answers that cannot be read
	Simulated int                // of those in Progress, by a simulated singer
}

// ProgressOf works out what the answers that count say; they come in the order in
// which they were given, all of them, since what is due rests on all. What was heard
// before it was sung, as echo has it, is left out.
func ProgressOf(answers iter.Seq2[practice.Answer, error], of ProgressQuery) (Progress, error) {
	out := Progress{Progress: &practice.Progress{}, Practice: &practice.Practice{}}
	if of.Since != "" {
		if _, err := time.Parse(time.DateOnly, of.Since); err != nil {
			return out, err
		}
	}
	for a, err := range answers {
		switch {
		case errors.Is(err, ErrAnswer):
			out.Skipped++
			continue
		case err != nil:
			return out, err
		case !a.Counts || of.Singer != "" && a.Session.Singer != of.Singer:
			continue
		}
		if t, ok := a.Trial(); ok {
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
