package store

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// reader turns rows into answers. It remembers what it has parsed: a record has
// few different keys, skills and tunings.
type reader struct {
	keys    map[string]theory.Key
	skills  map[string]exercise.Skill
	tunings map[string]theory.Tuning
	degrees map[string]theory.Degree
	session practice.Session
	started string
}

func newReader() *reader {
	return &reader{map[string]theory.Key{}, map[string]exercise.Skill{}, map[string]theory.Tuning{}, map[string]theory.Degree{}, practice.Session{}, ""}
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

func (rd *reader) key(s string) (theory.Key, error) { return lookUp(rd.keys, s, theory.ParseModalKey) }

func (rd *reader) degree(s string) (theory.Degree, error) {
	return lookUp(rd.degrees, s, exercise.ParseDegree)
}

// readSession reads the session of a row.
func (rd *reader) readSession(r *row) (practice.Session, error) {
	if r.Session == rd.session.ID && r.Started == rd.started && r.Singer == rd.session.Singer {
		return rd.session, nil
	}
	s := practice.Session{ID: r.Session, Singer: r.Singer, Command: r.Command, Source: r.Source, Estimator: r.Estimator}
	var err error
	if s.Started, err = time.Parse(timeFormat, r.Started); err != nil {
		return s, fmt.Errorf("started: %w", notTime(r.Started))
	}
	if s.Seed, err = strconv.ParseUint(r.Seed, 10, 64); err != nil {
		return s, fmt.Errorf("seed: %.30q is no whole number from 0 up", r.Seed)
	}
	if err := validSession(s); err != nil {
		return s, err
	}
	rd.session, rd.started = s, r.Started
	return s, nil
}

// columnError says which column of a row it is that cannot be read.
func columnError(column string, err error) error { return fmt.Errorf("%s: %w", column, err) }

// answer reads a row. It refuses what newRow would not have written.
func (rd *reader) answer(r *row) (a practice.Answer, err error) {
	bad := func(column string, err error) (practice.Answer, error) {
		return practice.Answer{}, columnError(column, err)
	}
	session, err := rd.readSession(r)
	if err != nil {
		return practice.Answer{}, err
	}
	a = practice.Answer{Session: session, Number: int(r.Number), Index: int(r.Item), Attempt: int(r.Attempt), Counts: r.Counts, Again: r.Again}
	if a.At, err = time.Parse(timeFormat, r.At); err != nil {
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
func (rd *reader) item(r *row) (it exercise.Item, err error) {
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
func (rd *reader) verdict(r *row) (v exercise.Verdict, err error) {
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

// Query chooses answers. The zero Query is all of them.
type Query struct {
	Singer  string    // "": every singer's
	Since   time.Time // answers at this time or later; zero: from the first
	Counted bool      // only those that count
}

// Answers yields the answers of a query in the order in which they were given,
// by singer. One that cannot be read, or is not what was written, yields an error
// that wraps ErrAnswer, and the next follows; after any other error none does.
func (r *Record) Answers(ctx context.Context, q Query) iter.Seq2[practice.Answer, error] {
	return func(yield func(practice.Answer, error) bool) {
		rd, since := newReader(), ""
		if !q.Since.IsZero() {
			// Zones differ by at most a day; the exact time is compared later.
			since = q.Since.UTC().AddDate(0, 0, -2).Format(timeFormat)
		}
		for rw, err := range r.rows(ctx, q.Singer) {
			if rw == nil {
				yield(practice.Answer{}, err)
				return
			}
			var a practice.Answer
			if err == nil {
				if q.Counted && !rw.Counts || rw.At < since {
					continue
				}
				if a, err = rd.answer(rw); err != nil {
					err = fmt.Errorf("%w: %w", ErrAnswer, err)
				}
			}
			if err == nil && a.At.Before(q.Since) {
				continue
			}
			if err != nil {
				err = fmt.Errorf("%s: session %.40q, answer %d: %w", r.path, rw.Session, rw.Number, err)
			}
			if !yield(a, err) {
				return
			}
		}
	}
}

// ErrAnswer is wrapped by the error about a single answer.
var ErrAnswer = errors.New("it cannot be read")

var errChanged = fmt.Errorf("%w: it is not what was written (its checksum is another)", ErrAnswer)

// rows yields the rows of a singer, "" for all. The row is valid until the next.
// With an error about a row it yields that row, with any other none, and no row
// follows. Sessions are few and their answers lie together, so that nothing large is
// sorted. No row is left out for a value before its checksum has told that it is so.
func (r *Record) rows(ctx context.Context, singer string) iter.Seq2[*row, error] {
	return func(yield func(*row, error) bool) {
		sessions, err := r.sessions(ctx, singer)
		if err != nil {
			yield(nil, recordError(r.path, err))
			return
		}
		names := slices.Clone(columns[sessionColumns:versionColumns[min(r.version, len(versionColumns)-1)]])
		n := len(names)
		if r.version >= summed {
			names = append(names, "checksum")
		}
		values, to := make([]any, len(names)), make([]any, len(names))
		for i := range values {
			to[i] = &values[i]
		}
		answers, err := r.db.PrepareContext(ctx, fmt.Sprintf("SELECT %s FROM answers WHERE session_id = ? ORDER BY number", strings.Join(names, ", ")))
		if err != nil {
			yield(nil, recordError(r.path, err))
			return
		}
		defer answers.Close()
		one := func(s *sessionRow) (goOn bool) {
			rows, err := answers.QueryContext(ctx, s.id)
			if err != nil {
				yield(nil, recordError(r.path, err))
				return false
			}
			defer rows.Close()
			fields := s.row.fields()
			for rows.Next() {
				if err := rows.Scan(to...); err != nil {
					yield(nil, recordError(r.path, err))
					return false
				}
				var err error
				for i, v := range values[:n] {
					if !setColumn(fields[sessionColumns+i], v) && err == nil {
						err = fmt.Errorf("%w: %s is of another kind", ErrAnswer, names[i])
					}
				}
				if r.version >= summed && err == nil && values[n] != int64(checksum(fields)) {
					err = errChanged
				}
				if !yield(&s.row, err) {
					return false
				}
			}
			if err := rows.Err(); err != nil {
				yield(nil, recordError(r.path, err))
				return false
			}
			return true
		}
		for i := range sessions {
			if !one(&sessions[i]) {
				return
			}
		}
	}
}

// sessionRow is a session: its row in the table and its columns of the export.
type sessionRow struct {
	id  int64
	row row
}

// sessions returns the sessions of a singer, or of all, in the order of singers
// and times; with them those of which it is not known whose they are.
func (r *Record) sessions(ctx context.Context, singer string) ([]sessionRow, error) {
	rows, err := r.db.QueryContext(ctx, `SELECT sessions.id, name, session, started, command, source, seed, estimator
FROM sessions LEFT JOIN singers ON singers.id = singer_id WHERE ? IN ('', name) OR name IS NULL ORDER BY name, started, sessions.id`, singer)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []sessionRow
	for rows.Next() {
		var s sessionRow
		var values [sessionColumns]any
		to := []any{&s.id}
		for i := range values {
			to = append(to, &values[i])
		}
		if err := rows.Scan(to...); err != nil {
			return nil, err
		}
		for i, field := range s.row.fields()[:sessionColumns] {
			setColumn(field, values[i]) // what is of another kind does not fit the checksums
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// Practice works out what is known of a singer from all answers that count.
// Those that cannot be read are left out and counted in skipped.
func (r *Record) Practice(ctx context.Context, singer string) (p *practice.Practice, skipped int, err error) {
	p = &practice.Practice{}
	for a, err := range r.Answers(ctx, Query{Singer: singer, Counted: true}) {
		switch {
		case ctx.Err() != nil:
			return p, skipped, ctx.Err()
		case errors.Is(err, ErrAnswer):
			skipped++
			continue
		case err != nil:
			return p, skipped, err
		}
		if t, ok := a.Trial(); ok {
			p.Add(t)
		}
	}
	return p, skipped, nil
}
