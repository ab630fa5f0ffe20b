package kept

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// Reader turns rows into answers. It remembers what it has parsed: a record has
// few different keys, skills and tunings.
type Reader struct {
	keys    map[string]theory.Key
	skills  map[string]exercise.Skill
	tunings map[string]theory.Tuning
	degrees map[string]theory.Degree
	session practice.Session
	columns [SessionColumns]string // of session
}

// NewReader returns a reader that remembers nothing yet.
func NewReader() *Reader {
	return &Reader{
		keys: map[string]theory.Key{}, skills: map[string]exercise.Skill{},
		tunings: map[string]theory.Tuning{}, degrees: map[string]theory.Degree{},
	}
}

// lookUp parses s, or finds it among what was parsed.
func lookUp[T any](known map[string]T, s string, parse func(string) (T, error)) (T, error) {
	if x, ok := known[s]; ok {
		return x, nil
	}
	x, err := parse(s)
	if err == nil {
		known[s] = x
	}
	return x, err
}

func (rd *Reader) key(s string) (theory.Key, error) { return lookUp(rd.keys, s, theory.ParseModalKey) }

func (rd *Reader) degree(s string) (theory.Degree, error) {
	return lookUp(rd.degrees, s, exercise.ParseDegree)
}

// Session reads the session of a row, which it remembers for the next. It refuses one
// that the record could not hand out again as it is.
func (rd *Reader) Session(r *Row) (practice.Session, error) {
	columns := [SessionColumns]string{r.Singer, r.Session, r.Started, r.Command, r.Source, r.Seed, r.Estimator}
	if columns == rd.columns && r.Session != "" {
		return rd.session, nil
	}
	s := practice.Session{ID: r.Session, Singer: r.Singer, Command: r.Command, Source: r.Source, Estimator: r.Estimator}
	var err error
	if s.Started, err = time.Parse(TimeFormat, r.Started); err != nil {
		return s, fmt.Errorf("started: %w", notTime(r.Started))
	}
	if s.Seed, err = strconv.ParseUint(r.Seed, 10, 64); err != nil {
		return s, fmt.Errorf("seed: %.30q is no whole number from 0 up", r.Seed)
	}
	if err := validSession(s); err != nil {
		return s, err
	}
	rd.session, rd.columns = s, columns
	return s, nil
}

// columnError says which column of a row it is that cannot be read.
func columnError(column string, err error) error { return fmt.Errorf("%s: %w", column, err) }

// Answer reads a row. It refuses what NewRow would not have written of an answer that
// passes Check.
func (rd *Reader) Answer(r *Row) (a practice.Answer, err error) {
	bad := func(column string, err error) (practice.Answer, error) {
		return practice.Answer{}, columnError(column, err)
	}
	session, err := rd.Session(r)
	if err != nil {
		return practice.Answer{}, err
	}
	a = practice.Answer{Session: session, Number: int(r.Number), Index: int(r.Item), Attempt: int(r.Attempt), Counts: r.Counts, Again: r.Again}
	if a.At, err = time.Parse(TimeFormat, r.At); err != nil {
		return bad("at", notTime(r.At))
	}
	if a.Skill, err = lookUp(rd.skills, r.Skill, exercise.ParseSkill); err != nil {
		return bad("skill", err)
	}
	if a.Item, err = rd.item(r); err != nil {
		return practice.Answer{}, err
	}
	a.Tolerance = exercise.Tolerance{Cents: r.ToleranceCents, StrictOctave: r.StrictOctave}
	if err := a.Tolerance.Validate(); err != nil {
		return bad("tolerance_cents", err)
	}
	if a.Verdict, err = rd.verdict(r); err != nil {
		return practice.Answer{}, err
	}
	if a.Feedback, err = practice.ParseFeedback(r.Feedback); err != nil {
		return bad("feedback", err)
	}
	if r.Guess != nil {
		if a.Guess, err = exercise.ParseOutcome(*r.Guess); err != nil {
			return bad("guess", err)
		}
	}
	switch {
	case r.Notes != nil && r.NotesRight != nil && *r.Notes >= 1:
		a.Notes, a.NotesRight = int(*r.Notes), int(*r.NotesRight)
	case r.Notes != nil || r.NotesRight != nil:
		return bad("notes, notes_right", errors.New("want both or none, and 1 note or more"))
	}
	if r.Named != nil {
		a.Named = *r.Named
	}
	if r.Material != nil {
		a.Material = *r.Material
	}
	return a, validAnswer(a)
}

// item reads what was asked.
func (rd *Reader) item(r *Row) (it exercise.Item, err error) {
	if it.Key, err = rd.key(r.Key); err != nil {
		return it, columnError("key", err)
	}
	if it.Tuning, err = lookUp(rd.tunings, r.Tuning, func(s string) (theory.Tuning, error) { return theory.ParseTuning(s, theory.DefaultA4) }); err != nil {
		return it, columnError("tuning", err)
	}
	if _, err := theory.NewTuning(r.A4Hz); err != nil {
		return it, columnError("a4_hz", err)
	}
	it.Tuning.A4 = r.A4Hz
	if it.Asked, err = rd.degree(r.Degree); err != nil {
		return it, columnError("degree", err)
	}
	if r.FromDegree != nil {
		d, err := rd.degree(*r.FromDegree)
		if err != nil {
			return it, columnError("from_degree", err)
		}
		it.From = &d
	}
	it.Move = exercise.Direction(r.Move)
	it.Register.TonicOctave = int(r.TonicOctave)
	if r.RangeLow != nil && r.RangeHigh != nil {
		it.Register.Range = theory.Range{Low: int(*r.RangeLow), High: int(*r.RangeHigh)}
	}
	return it, nil
}

// verdict reads what was judged.
func (rd *Reader) verdict(r *Row) (v exercise.Verdict, err error) {
	if v.Outcome, err = exercise.ParseOutcome(r.Outcome); err != nil {
		return v, columnError("outcome", err)
	}
	if r.Reason != nil {
		if v.Reason, err = exercise.ParseReason(*r.Reason); err != nil {
			return v, columnError("reason", err)
		}
	}
	if r.Sung != nil {
		if v.Sung, err = rd.degree(*r.Sung); err != nil {
			return v, columnError("sung", err)
		}
		v.HasSung = true
	}
	if r.OctaveShift != nil {
		v.OctaveShift = int(*r.OctaveShift)
	}
	v.Level = r.LevelDBFS
	for _, f := range []struct {
		name string
		from *float64
		to   *float64
	}{
		{"cents", r.Cents, &v.Cents}, {"cents_from_asked", r.CentsFromAsked, &v.FromAsked}, {"cents_se", r.CentsSE, &v.SE},
		{"f0_hz", r.F0Hz, &v.F0}, {"spread_cents", r.SpreadCents, &v.Spread}, {"vibrato_hz", r.VibratoHz, &v.VibratoHz},
		{"vibrato_cents", r.VibratoCents, &v.VibratoCents}, {"scoop_cents", r.ScoopCents, &v.Scoop},
		{"settle_s", r.SettleS, &v.Settle}, {"held_s", r.HeldS, &v.Held}, {"answer_s", r.AnswerS, &v.Answer},
		{"level_dbfs", &r.LevelDBFS, &v.Level},
	} {
		if f.from == nil {
			continue
		}
		if math.IsNaN(*f.from) || math.IsInf(*f.from, 0) {
			return v, columnError(f.name, errors.New("not a finite number"))
		}
		*f.to = *f.from
	}
	v.BySteps = r.BySteps != nil && *r.BySteps
	return v, nil
}

func notTime(s string) error {
	return fmt.Errorf("%.40q is no time like 2026-11-25T19:30:00.000+01:00", s)
}
