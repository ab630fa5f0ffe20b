package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"singback/exercise/practice"
	"singback/internal/kept"
)

// Format is a format of exports.
type Format = kept.Format

// The formats.
const (
	CSV        = kept.CSV
	JSONLines  = kept.JSONLines
	GuardedCSV = kept.GuardedCSV
)

// Export writes the answers of a singer, or for "" of all, and returns how many.
// One that cannot be read ends it.
func (r *Record) Export(ctx context.Context, w io.Writer, f Format, singer string) (int, error) {
	return kept.WriteRows(w, f, func(yield func(*kept.Row, error) bool) {
		for rw, err := range r.rows(ctx, singer) {
			if rw != nil && err != nil {
				err = fmt.Errorf("%s: %w: session %.40q, answer %d: %w", r.path, ErrRecordDamaged, rw.Session, rw.Number, err)
			}
			if !yield(rw, err) {
				return
			}
		}
	})
}

// Imported says what an import did.
type Imported struct {
	Read, Added int // answers; the others were there already
}

// ImportError is the error of an export that cannot be imported; those of the
// record are others.
type ImportError struct{ Err error }

func (e ImportError) Error() string { return e.Err.Error() }
func (e ImportError) Unwrap() error { return e.Err }

// ImportRecord reads an export, in either format, and adds to the record at path
// what is not there yet: an answer is known by its session and its number in it.
// Either everything is added or, after an error, nothing, and then a record that
// was not there is not made: one that is there has been begun. An ImportError names
// the line.
func ImportRecord(ctx context.Context, path string, now time.Time, in io.Reader) (done Imported, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return done, err
	}
	r, err := lockRecord(path)
	defer func() {
		err = cmp.Or(err, r.Close())
	}()
	if err != nil {
		return done, recordError(path, err)
	}
	if err := plain(r.file); err != nil {
		return done, recordError(path, err)
	}
	if info, err := os.Stat(r.file); err == nil && info.Size() > 0 {
		if err := r.open(now, migrations); err != nil {
			return done, recordError(path, err)
		}
		return r.importFrom(ctx, in)
	}
	// Nobody else may write here now: what is made aside can take its place.
	dir, err := os.MkdirTemp(filepath.Dir(r.file), temporary+"*")
	if err != nil {
		return done, recordError(path, err)
	}
	defer os.RemoveAll(dir)
	to := r.file
	r.file = filepath.Join(dir, filepath.Base(to))
	if err := r.open(now, migrations); err != nil {
		return done, recordError(path, err)
	}
	if done, err = r.importFrom(ctx, in); err != nil {
		return done, err
	}
	if err := r.closeFile(); err != nil {
		return Imported{}, recordError(path, err)
	}
	if err := cmp.Or(os.Rename(r.file, to), syncFolder(filepath.Dir(to))); err != nil {
		return Imported{}, recordError(path, err)
	}
	return done, nil
}

// Import is ImportRecord for a record that is open.
func (r *Record) Import(ctx context.Context, in io.Reader) (Imported, error) {
	if r.lock == nil {
		return Imported{}, fmt.Errorf("%s: opened for reading", r.path)
	}
	return r.importFrom(ctx, in)
}

func (r *Record) importFrom(ctx context.Context, in io.Reader) (done Imported, err error) {
	tx, err := r.db.BeginTx(ctx, nil)
	if err != nil {
		return done, recordError(r.path, err)
	}
	defer tx.Rollback()
	add := tx.Stmt(r.add)
	sessions := map[string]sessionRow{}
	var failed error // of the record
	err = kept.ReadRows(in, func(rw *kept.Row, _ practice.Answer) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		done.Read++
		s, ok := sessions[rw.Session]
		if !ok {
			if s, failed = insertSession(tx, rw); failed != nil {
				return failed
			}
			sessions[rw.Session] = s
		}
		if err := rw.Belongs(&s.row); err != nil {
			return err
		}
		result, err := add.Exec(inserted(s.id, rw)...)
		if err != nil {
			failed = err
			return err
		}
		n, err := result.RowsAffected()
		done.Added += int(n)
		return err
	})
	switch {
	case ctx.Err() != nil:
		return Imported{}, ctx.Err()
	case failed != nil:
		return Imported{}, recordError(r.path, failed)
	case err != nil:
		return Imported{}, ImportError{err}
	}
	if err := tx.Commit(); err != nil {
		return Imported{}, recordError(r.path, err)
	}
	return done, nil
}

// insertSession finds or makes the session of a row and its singer, and returns
// it as it is in the record.
func insertSession(tx *sql.Tx, rw *kept.Row) (s sessionRow, err error) {
	if _, err := tx.Exec("INSERT OR IGNORE INTO singers (name) VALUES (?)", rw.Singer); err != nil {
		return s, err
	}
	_, err = tx.Exec(`INSERT OR IGNORE INTO sessions (session, singer_id, started, command, source, seed, estimator)
SELECT ?, id, ?, ?, ?, ?, ? FROM singers WHERE name = ?`,
		rw.Session, rw.Started, rw.Command, rw.Source, rw.Seed, rw.Estimator, rw.Singer)
	if err != nil {
		return s, err
	}
	err = tx.QueryRow(`SELECT sessions.id, name, session, started, command, source, seed, estimator
FROM sessions JOIN singers ON singers.id = singer_id WHERE session = ?`, rw.Session).
		Scan(append([]any{&s.id}, s.row.Fields()[:kept.SessionColumns]...)...)
	return s, err
}
