package store

import (
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"singback/exercise/practice"
	"singback/internal/kept"
)

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
		rd, since := kept.NewReader(), ""
		if !q.Since.IsZero() {
			// Zones differ by at most a day; the exact time is compared later.
			since = q.Since.UTC().AddDate(0, 0, -2).Format(kept.TimeFormat)
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
				if a, err = rd.Answer(rw); err != nil {
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
var ErrAnswer = kept.ErrAnswer

// rows yields the rows of a singer, "" for all. The row is valid until the next.
// With an error about a row it yields that row, with any other none, and no row
// follows. Sessions are few and their answers lie together, so that nothing large is
// sorted. No row is left out for a value before its checksum has told that it is so.
func (r *Record) rows(ctx context.Context, singer string) iter.Seq2[*kept.Row, error] {
	return func(yield func(*kept.Row, error) bool) {
		sessions, err := r.sessions(ctx, singer)
		if err != nil {
			yield(nil, recordError(r.path, err))
			return
		}
		names := slices.Clone(kept.Columns[kept.SessionColumns:kept.VersionColumns[min(r.version, len(kept.VersionColumns)-1)]])
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
			fields := s.row.Fields()
			for rows.Next() {
				if err := rows.Scan(to...); err != nil {
					yield(nil, recordError(r.path, err))
					return false
				}
				var err error
				for i, v := range values[:n] {
					if !setColumn(fields[kept.SessionColumns+i], v) && err == nil {
						err = fmt.Errorf("%w: %s is of another kind", ErrAnswer, names[i])
					}
				}
				if r.version >= summed && err == nil && values[n] != int64(s.row.Checksum()) {
					err = kept.ErrChanged
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
	row kept.Row
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
		var values [kept.SessionColumns]any
		to := []any{&s.id}
		for i := range values {
			to = append(to, &values[i])
		}
		if err := rows.Scan(to...); err != nil {
			return nil, err
		}
		for i, field := range s.row.Fields()[:kept.SessionColumns] {
			setColumn(field, values[i]) // what is of another kind does not fit the checksums
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// counted yields the answers of a singer that count, until the context ends.
func (r *Record) counted(ctx context.Context, singer string) iter.Seq2[practice.Answer, error] {
	return func(yield func(practice.Answer, error) bool) {
		for a, err := range r.Answers(ctx, Query{Singer: singer, Counted: true}) {
			if ctx.Err() != nil {
				err = ctx.Err()
			}
			if !yield(a, err) {
				return
			}
		}
	}
}

// Practice works out what is known of a singer from all answers that count.
// Those that cannot be read are left out and counted in skipped.
func (r *Record) Practice(ctx context.Context, singer string) (p *practice.Practice, skipped int, err error) {
	return kept.PracticeOf(r.counted(ctx, singer), singer)
}

// ProgressQuery says which answers progress is worked out from, and Progress what
// they say.
type (
	ProgressQuery = kept.ProgressQuery
	Progress      = kept.Progress
)

// Progress works out what the answers that count say.
func (r *Record) Progress(ctx context.Context, of ProgressQuery) (Progress, error) {
	return kept.ProgressOf(r.counted(ctx, of.Singer), of)
}
