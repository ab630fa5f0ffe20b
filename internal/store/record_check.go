package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"singback/internal/kept"
)

// Check is what Record.Check found.
type Check struct {
	Version   int
	Problems  []string // empty: the file is sound
	Singers   []SingerCount
	Sessions  int
	Answers   int
	Lost      int // answers that were there and cannot be read: see Salvage
	SizeBytes int64
}

// SingerCount counts what the record has of one singer.
type SingerCount struct {
	Name              string
	Sessions, Answers int
	First, Last       time.Time // of the answers; zero without one
}

// Check looks at the whole file: its structure, the links between its tables, and
// that every row can be read.
func (r *Record) Check(ctx context.Context) (Check, error) {
	var c Check
	if err := r.db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&c.Version); err != nil {
		return c, recordError(r.path, err)
	}
	var err error
	if c.Problems, err = integrity(ctx, r.db); err != nil {
		return c, recordError(r.path, err)
	}
	var broken int
	if err := r.db.QueryRowContext(ctx, "SELECT count(*) FROM pragma_foreign_key_check").Scan(&broken); err != nil {
		return c, recordError(r.path, err)
	}
	if broken > 0 {
		c.Problems = append(c.Problems, fmt.Sprintf("%d rows belong to a session or singer that is not there", broken))
	}
	const most = 20
	more := 0
	for _, err := range r.Answers(ctx, Query{}) {
		switch {
		case err == nil:
		case !errors.Is(err, ErrAnswer):
			return c, err
		case len(c.Problems) < most:
			c.Problems = append(c.Problems, strings.TrimPrefix(err.Error(), r.path+": "))
		default:
			more++
		}
	}
	if more > 0 {
		c.Problems = append(c.Problems, fmt.Sprintf("and %d answers more", more))
	}
	if c.Singers, err = r.Singers(ctx); err != nil {
		return c, err
	}
	for _, s := range c.Singers {
		c.Sessions += s.Sessions
		c.Answers += s.Answers
	}
	if info, err := os.Stat(r.path); err == nil {
		c.SizeBytes = info.Size()
	}
	return c, nil
}

// integrity returns what SQLite finds wrong with a file, at most 20 lines.
func integrity(ctx context.Context, db *sql.DB) (problems []string, err error) {
	rows, err := db.QueryContext(ctx, "PRAGMA integrity_check(20)")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var found string
		if err := rows.Scan(&found); err != nil {
			return problems, err
		}
		for s := range strings.SplitSeq(found, "\n") {
			if s = line(s); s != "ok" && !strings.HasPrefix(s, "***") && len(problems) < 20 {
				problems = append(problems, s)
			}
		}
	}
	return problems, rows.Err()
}

// Singers returns the singers of the record and how much it has of each, in the
// order of their names.
func (r *Record) Singers(ctx context.Context) ([]SingerCount, error) {
	rows, err := r.db.QueryContext(ctx, `
SELECT name, count(DISTINCT sessions.id), count(answers.id), coalesce(min(at), ''), coalesce(max(at), '')
FROM singers LEFT JOIN sessions ON singer_id = singers.id LEFT JOIN answers ON session_id = sessions.id
GROUP BY singers.id ORDER BY name`)
	if err != nil {
		return nil, recordError(r.path, err)
	}
	defer rows.Close()
	var out []SingerCount
	for rows.Next() {
		var s SingerCount
		var first, last string
		if err := rows.Scan(&s.Name, &s.Sessions, &s.Answers, &first, &last); err != nil {
			return nil, recordError(r.path, err)
		}
		s.First, _ = time.Parse(kept.TimeFormat, first)
		s.Last, _ = time.Parse(kept.TimeFormat, last)
		out = append(out, s)
	}
	return out, recordError(r.path, rows.Err())
}

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
