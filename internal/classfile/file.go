// Package classfile is a class on disk: one SQLite file that can be copied, and
// nothing beside it. It holds students, tasks, what was measured of the takes, the
// machine's marks, the teacher's reviews and remarks, and records of practice;
// recordings only where the teacher asked for it.
//
// A change is on disk when its method returns. The page and the terminal may have
// the file open at once: each change is one short transaction, and who comes second
// waits for it. What is deleted is overwritten (secure_delete), and [File.Forget]
// rewrites the file.
package classfile

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"singback/internal/class"
	"singback/internal/sqlfile"
)

// Extension is how the file of a class ends.
const Extension = ".sbclass"

// The ways in which a file cannot be used; errors of this package wrap them.
var (
	ErrForeign  = errors.New("it is no class")
	ErrNewer    = errors.New("it was made by a newer singback")
	ErrDamaged  = errors.New("it is damaged")
	ErrBusy     = errors.New("another singback is writing into it; try again when it is done")
	ErrReadOnly = errors.New("it cannot be written: the file or its folder is read-only")
	ErrFull     = errors.New("the disk is full")
	ErrThere    = errors.New("it is there already")
	// ErrNobody is wrapped where a student or a task of a name is not there.
	ErrNobody = errors.New("not in the class")
	// ErrTaken is wrapped where a name is another one's.
	ErrTaken = errors.New("the name is taken")
)

// applicationID marks the file as a class: "sbcl", as SQLite keeps it in the header.
const applicationID = 0x7362636c

// migrations make the tables; the n-th brings a file of version n to n+1. One that
// has been released is never changed.
var migrations = []string{`
CREATE TABLE class (
	id   INTEGER PRIMARY KEY CHECK (id = 1),
	name TEXT NOT NULL,
	made TEXT NOT NULL
) STRICT;
CREATE TABLE students (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	name       TEXT NOT NULL UNIQUE,
	voice      TEXT NOT NULL,
	notes      TEXT NOT NULL,
	consent    TEXT NOT NULL,
	consent_by TEXT NOT NULL,
	since      TEXT NOT NULL
) STRICT;
CREATE TABLE tasks (
	id            INTEGER PRIMARY KEY AUTOINCREMENT,
	name          TEXT NOT NULL UNIQUE,
	kind          TEXT NOT NULL,
	words         TEXT NOT NULL,
	given         TEXT NOT NULL,
	due           TEXT NOT NULL,
	model         TEXT NOT NULL,
	content       BLOB,
	performed     BLOB,
	part          TEXT NOT NULL,
	tune          TEXT NOT NULL,
	key           TEXT NOT NULL,
	names         TEXT NOT NULL,
	tuning        TEXT NOT NULL,
	a4_hz         REAL NOT NULL,
	exercise      TEXT NOT NULL,
	goal          INTEGER NOT NULL,
	tolerance     REAL NOT NULL,
	free_key      INTEGER NOT NULL,
	free_octave   INTEGER NOT NULL,
	rubric        TEXT NOT NULL,
	rubric_text   TEXT NOT NULL,
	counts        TEXT NOT NULL
) STRICT;
CREATE TABLE takes (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	student_id INTEGER NOT NULL REFERENCES students(id),
	task_id    INTEGER NOT NULL REFERENCES tasks(id),
	source     TEXT NOT NULL,
	sha256     BLOB NOT NULL,
	handed     TEXT NOT NULL,
	collected  TEXT NOT NULL,
	seconds    REAL NOT NULL,
	measured   TEXT NOT NULL,
	trouble    TEXT NOT NULL,
	kept       INTEGER NOT NULL,
	counts     INTEGER NOT NULL,
	mark_id    INTEGER,
	review_id  INTEGER,
	UNIQUE (student_id, task_id, sha256)
) STRICT;
CREATE INDEX takes_of_tasks ON takes (task_id, student_id);
CREATE TABLE measured (
	take_id INTEGER PRIMARY KEY REFERENCES takes(id),
	data    BLOB NOT NULL
) STRICT;
CREATE TABLE recordings (
	take_id INTEGER PRIMARY KEY REFERENCES takes(id),
	data    BLOB NOT NULL
) STRICT;
CREATE TABLE marks (
	id          INTEGER PRIMARY KEY AUTOINCREMENT,
	take_id     INTEGER NOT NULL REFERENCES takes(id),
	at          TEXT NOT NULL,
	rubric      TEXT NOT NULL,
	rubric_sum  TEXT NOT NULL,
	tolerance   REAL NOT NULL,
	free_key    INTEGER NOT NULL,
	free_octave INTEGER NOT NULL,
	model_sum   TEXT NOT NULL,
	measured    TEXT NOT NULL,
	heard       INTEGER NOT NULL,
	value       REAL NOT NULL,
	pass        INTEGER NOT NULL,
	pass_at     REAL NOT NULL,
	error       REAL NOT NULL,
	doubt       REAL NOT NULL,
	score       REAL NOT NULL,
	probability REAL NOT NULL,
	parts       TEXT NOT NULL,
	tally       TEXT NOT NULL
) STRICT;
CREATE INDEX marks_of_takes ON marks (take_id);
CREATE TABLE reviews (
	id      INTEGER PRIMARY KEY AUTOINCREMENT,
	take_id INTEGER NOT NULL REFERENCES takes(id),
	mark_id INTEGER NOT NULL REFERENCES marks(id),
	at      TEXT NOT NULL,
	chosen  TEXT NOT NULL,
	pass    INTEGER NOT NULL,
	value   REAL,
	why     TEXT NOT NULL,
	once    TEXT NOT NULL
) STRICT;
CREATE INDEX reviews_of_takes ON reviews (take_id);
CREATE TABLE remarks (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	student_id INTEGER NOT NULL REFERENCES students(id),
	task_id    INTEGER REFERENCES tasks(id),
	at         TEXT NOT NULL,
	words      TEXT NOT NULL
) STRICT;
CREATE INDEX remarks_of_students ON remarks (student_id);
CREATE TABLE answers (
	student_id INTEGER NOT NULL REFERENCES students(id),
	session    TEXT NOT NULL,
	number     INTEGER NOT NULL,
	at         TEXT NOT NULL,
	row        TEXT NOT NULL,
	PRIMARY KEY (student_id, session, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE sheets (
	student_id INTEGER NOT NULL REFERENCES students(id),
	path       TEXT NOT NULL,
	PRIMARY KEY (student_id, path)
) STRICT, WITHOUT ROWID;
`}

// File is a class on disk. Its methods may be called at once.
type File struct {
	path string
	db   *sql.DB
	name string
	made string
}

// New makes a class of that name at path. What is there already is not replaced.
func New(path, name string, now time.Time) (*File, error) {
	if err := class.CheckName(name); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("%s: %w", path, ErrThere)
	}
	if err == nil {
		err = f.Close()
	}
	if err != nil {
		return nil, fileError(path, err)
	}
	c, err := open(path, "rw")
	if err == nil {
		err = c.begin(name, now)
	}
	if err != nil {
		if c != nil {
			c.Close()
		}
		os.Remove(path)
		return nil, fileError(path, err)
	}
	return c, nil
}

// begin makes the tables of a file that is empty.
func (f *File) begin(name string, now time.Time) error {
	return f.change(func(tx *sql.Tx) error {
		for _, m := range migrations {
			if _, err := tx.Exec(m); err != nil {
				return err
			}
		}
		f.name, f.made = name, now.Format(time.RFC3339)
		if _, err := tx.Exec("INSERT INTO class VALUES (1, ?, ?)", f.name, f.made); err != nil {
			return err
		}
		_, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, len(migrations)))
		return err
	})
}

// Open opens a class for writing.
func Open(path string) (*File, error) { return openFile(path, "rw") }

// Read opens a class for reading.
func Read(path string) (*File, error) { return openFile(path, "ro") }

func openFile(path, mode string) (*File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fileError(path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: it is no plain file; want the file of a class, which ends in %s", path, Extension)
	}
	f, err := open(path, mode)
	if err == nil {
		err = f.check()
	}
	if err != nil {
		if f != nil {
			f.Close()
		}
		return nil, fileError(path, err)
	}
	return f, nil
}

func open(path, mode string) (*File, error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	// A rollback journal is gone when a change is done: the class is one file.
	db, err := sqlfile.Open(full, url.Values{"mode": {mode}, "_txlock": {"immediate"}, "_pragma": {
		"busy_timeout(5000)", "journal_mode(delete)", "synchronous(full)", "foreign_keys(1)", "secure_delete(1)", "temp_store(memory)", "cache_size(-65536)",
	}})
	if err != nil {
		return nil, err
	}
	return &File{path: path, db: db}, nil
}

// check sees whether a file is a class that this program knows.
func (f *File) check() error {
	var id, version int
	for query, to := range map[string]*int{"PRAGMA application_id": &id, "PRAGMA user_version": &version} {
		if err := f.db.QueryRow(query).Scan(to); err != nil {
			return err
		}
	}
	switch {
	case id != applicationID:
		return ErrForeign
	case version > len(migrations):
		return fmt.Errorf("%w (version %d, this one knows %d)", ErrNewer, version, len(migrations))
	case version < 1:
		return fmt.Errorf("%w: it says that it is of version %d", ErrDamaged, version)
	}
	return f.db.QueryRow("SELECT name, made FROM class").Scan(&f.name, &f.made)
}

// Check looks through the whole file and reports the first damage.
func (f *File) Check() error {
	var verdict string
	if err := f.db.QueryRow("PRAGMA integrity_check(1)").Scan(&verdict); err != nil {
		return f.wrap(err)
	}
	if verdict != "ok" {
		return fmt.Errorf("%s: %w: %s", f.path, ErrDamaged, strings.Join(strings.Fields(verdict), " "))
	}
	return nil
}

// Path is the file, as it was named.
func (f *File) Path() string { return f.path }

// Place is how the file of a class names another file: from its own folder, if it lies in
// it, so that both can be copied together, else by its whole path.
func (f *File) Place(path string) string {
	here, err := filepath.Abs(filepath.Dir(f.path))
	full, err2 := filepath.Abs(path)
	if err != nil || err2 != nil {
		return path
	}
	if rel, err := filepath.Rel(here, full); err == nil && filepath.IsLocal(rel) {
		return rel
	}
	return full
}

// Where is the way back from Place: a path that can be opened.
func (f *File) Where(place string) string {
	if filepath.IsAbs(place) {
		return place
	}
	return filepath.Join(filepath.Dir(f.path), place)
}

// Name is what the class is called.
func (f *File) Name() string { return f.name }

// Made is when the class was made, in RFC 3339.
func (f *File) Made() string { return f.made }

// Close closes the file.
func (f *File) Close() error { return f.db.Close() }

// change does something to the file as a whole or not at all.
func (f *File) change(do func(*sql.Tx) error) error {
	tx, err := f.db.Begin()
	if err != nil {
		return f.wrap(err)
	}
	defer tx.Rollback()
	if err := do(tx); err != nil {
		return f.wrap(err)
	}
	return f.wrap(tx.Commit())
}

func (f *File) wrap(err error) error {
	if err == nil || sqlfile.Code(err) == 0 {
		return err
	}
	return fileError(f.path, err)
}

// fileError says in one line what is wrong with the file at path.
func fileError(path string, err error) error {
	var inPath *fs.PathError
	switch c := sqlfile.Code(err); {
	case c == sqlfile.NotADB:
		err = ErrForeign
	case c == sqlfile.Corrupt, c == sqlfile.Format, c == sqlfile.Mismatch:
		err = fmt.Errorf("%w: %s", ErrDamaged, sqlfile.Words(err))
	case c == sqlfile.Full:
		err = ErrFull
	case c == sqlfile.Busy:
		err = ErrBusy
	case c == sqlfile.ReadOnly, c == sqlfile.CantOpen:
		err = ErrReadOnly
	case c != 0:
		err = errors.New(sqlfile.Words(err))
	case errors.Is(err, fs.ErrNotExist):
		err = fmt.Errorf("there is no such file: singback class new NAME makes a class")
	case errors.Is(err, fs.ErrPermission):
		err = errors.New("it may not be read or written by you")
	case errors.As(err, &inPath):
		err = inPath.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}
