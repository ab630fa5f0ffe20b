package store

import (
	"fmt"

	"singback/exercise/practice"
	"singback/internal/kept"
)

// Add writes an answer, numbered after the last one of its session, and returns
// when it is on disk.
func (r *Record) Add(a practice.Answer) error {
	if r.lock == nil {
		return fmt.Errorf("%s: opened for reading", r.path)
	}
	a.Number = 1
	if a.Session.ID == r.session.row.Session {
		a.Number = r.number + 1
	}
	if err := kept.Check(a); err != nil {
		return err
	}
	tx, err := r.db.Begin()
	if err != nil {
		return recordError(r.path, err)
	}
	defer tx.Rollback()
	rw, s := kept.NewRow(a), r.session
	if rw.Session != s.row.Session {
		if s, err = insertSession(tx, &rw); err != nil {
			return recordError(r.path, err)
		}
	}
	if err := rw.Belongs(&s.row); err != nil {
		return fmt.Errorf("%s: %w", r.path, err)
	}
	result, err := tx.Stmt(r.add).Exec(inserted(s.id, &rw)...)
	if err != nil {
		return recordError(r.path, err)
	}
	if n, err := result.RowsAffected(); err == nil && n == 0 {
		return fmt.Errorf("%s: session %s has an answer %d already", r.path, a.Session.ID, a.Number)
	}
	if err := tx.Commit(); err != nil {
		return recordError(r.path, err)
	}
	r.session, r.number = s, a.Number
	return nil
}
