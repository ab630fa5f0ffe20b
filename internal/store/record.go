package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"singback/internal/kept"
	"singback/internal/sqlfile"
)

// Record is the practice record: every answer of every singer, in one SQLite
// file in WAL mode. One program writes it at a time; any number may read.
//
// [OpenRecord] and [Record.Add] are the two calls that a drill needs. An answer
// is on disk (synchronous=FULL) when Add returns. Methods are for one goroutine.
type Record struct {
	path string // as it was named
	file string // where it lies
	db   *sql.DB
	lock *sql.DB // nil: opened for reading
	add  *sql.Stmt
	// version is that of the file; what is newer than it is null.
	version int

	session sessionRow // of the last answer added
	number  int
}

// The ways in which a record cannot be used; errors of this file wrap them.
var (
	ErrRecordInUse    = errors.New("another singback is recording into it")
	ErrRecordNewer    = errors.New("it was made by a newer singback")
	ErrRecordDamaged  = errors.New("it is damaged")
	ErrRecordForeign  = errors.New("it is no practice record")
	ErrRecordReadOnly = errors.New("it cannot be written: the file or its folder is read-only")
	ErrRecordFull     = errors.New("the disk is full")
	ErrRecordDisk     = errors.New("the disk cannot be read or written")
	ErrRecordFile     = errors.New("it is no plain file")
	ErrRecordNames    = errors.New("the file has another name too")
)

// applicationID marks the file as ours: "sbrc", as SQLite keeps it in the header.
const applicationID = 0x73627263

// migration brings a file from one version to the next: the statements, and then
// what SQL cannot do, in the same transaction.
type migration struct {
	sql  string
	then func(*Record) error
}

// summed is the version from which on every answer has a checksum.
const summed = 3

// migrations make the tables; the n-th brings a file of version n to n+1. The
// version is SQLite's user_version. A migration that has been released is never
// changed.
var migrations = []migration{{sql: `
CREATE TABLE singers (
	id   INTEGER PRIMARY KEY,
	name TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE sessions (
	id        INTEGER PRIMARY KEY,
	session   TEXT NOT NULL UNIQUE,
	singer_id INTEGER NOT NULL REFERENCES singers(id),
	started   TEXT NOT NULL,
	command   TEXT NOT NULL,
	source    TEXT NOT NULL,
	seed      TEXT NOT NULL,
	estimator TEXT NOT NULL
) STRICT;
CREATE TABLE answers (
	id               INTEGER PRIMARY KEY,
	session_id       INTEGER NOT NULL REFERENCES sessions(id),
	number           INTEGER NOT NULL,
	item             INTEGER NOT NULL,
	attempt          INTEGER NOT NULL,
	at               TEXT NOT NULL,
	skill            TEXT NOT NULL,
	key              TEXT NOT NULL,
	tuning           TEXT NOT NULL,
	a4_hz            REAL NOT NULL,
	tolerance_cents  REAL NOT NULL,
	strict_octave    INTEGER NOT NULL,
	tonic_octave     INTEGER NOT NULL,
	range_low        INTEGER,
	range_high       INTEGER,
	degree           TEXT NOT NULL,
	from_degree      TEXT,
	move             INTEGER NOT NULL,
	target_midi      INTEGER NOT NULL,
	outcome          TEXT NOT NULL,
	reason           TEXT,
	sung             TEXT,
	octave_shift     INTEGER,
	cents            REAL,
	cents_from_asked REAL,
	cents_se         REAL,
	f0_hz            REAL,
	spread_cents     REAL,
	vibrato_hz       REAL,
	vibrato_cents    REAL,
	scoop_cents      REAL,
	settle_s         REAL,
	held_s           REAL,
	answer_s         REAL,
	level_dbfs       REAL NOT NULL,
	counts           INTEGER NOT NULL,
	again            INTEGER NOT NULL,
	feedback         TEXT NOT NULL,
	guess            TEXT,
	UNIQUE (session_id, number)
) STRICT;
`}, {sql: `
ALTER TABLE answers ADD COLUMN named TEXT;
ALTER TABLE answers ADD COLUMN material TEXT;
ALTER TABLE answers ADD COLUMN notes INTEGER;
ALTER TABLE answers ADD COLUMN notes_right INTEGER;
`}, {sql: `
ALTER TABLE answers ADD COLUMN by_steps INTEGER;
ALTER TABLE answers ADD COLUMN checksum INTEGER;
`, then: (*Record).sign}}

// OpenRecord opens the record at path for writing, and makes it if it is not
// there. Only one program may have it open so; another gets ErrRecordInUse. A
// file of an older version is brought up to date, after a copy of it was made
// beside it, named by now. What is not a sound record of this or an older
// version, or no plain file with one name, is refused and not touched.
func OpenRecord(path string, now time.Time) (*Record, error) {
	return openRecord(path, now, migrations)
}

func openRecord(path string, now time.Time, migrations []migration) (_ *Record, err error) {
	path, err = filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	r, err := lockRecord(path)
	if err == nil {
		err = r.open(now, migrations)
	}
	if err != nil {
		r.Close()
		return nil, recordError(path, err)
	}
	return r, nil
}

// lockRecord keeps other programs from writing the record at path. The lock is a
// SQLite file of its own beside it, held exclusively: the system lets go of it
// however the program ends, and readers need not know of it. It lies where the
// file is, whatever links lead there.
func lockRecord(path string) (r *Record, err error) {
	r = &Record{path: path}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return r, err
	}
	if r.file, err = resolve(path); err != nil {
		return r, err
	}
	if _, err := own(r.file + ".lock"); err != nil {
		return r, err
	}
	if r.lock, err = openSQLite(r.file+".lock", "rw", "journal_mode(memory)", "busy_timeout(100)"); err != nil {
		return r, err
	}
	if _, err := r.lock.Exec("BEGIN EXCLUSIVE"); sqlfile.Code(err) == sqlfile.Busy {
		return r, ErrRecordInUse
	} else if err != nil {
		return r, err
	}
	return r, nil
}

// open opens the file of a record that is locked.
func (r *Record) open(now time.Time, migrations []migration) (err error) {
	if err := plain(r.file); err != nil {
		return err
	}
	if info, err := os.Stat(r.file); err == nil && info.Size() > 0 {
		if err := examine(r.file, migrations); err != nil {
			return err
		}
	}
	made, err := own(r.file)
	if err != nil {
		return err
	}
	defer func() {
		if info, e := os.Stat(r.file); err != nil && made && e == nil && info.Size() == 0 {
			os.Remove(r.file) // an empty one would be a record that was begun
		}
	}()
	before, err := os.Lstat(r.file)
	if err != nil {
		return err
	}
	if r.db, err = openSQLite(r.file, "rw", "journal_mode(wal)", "synchronous(full)", "foreign_keys(1)"); err != nil {
		return err
	}
	if now, err := os.Lstat(r.file); err != nil || !os.SameFile(before, now) {
		return errors.Join(err, errors.New("another file was put in its place just now"))
	}
	if err := r.migrate(now, migrations); err != nil {
		return err
	}
	r.add, err = r.db.Prepare(insertAnswer)
	return err
}

// ReadRecord opens the record at path for reading, beside a program that writes.
// A file of an older version is read as it is: what it does not have is null. The
// error is fs.ErrNotExist where there is none, or only an empty file.
func ReadRecord(path string) (r *Record, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			if r != nil {
				r.Close()
			}
			r, err = nil, recordError(path, err)
		}
	}()
	if _, err := os.Stat(path); err != nil {
		return nil, err
	}
	r = &Record{path: path}
	if r.file, err = resolve(path); err != nil {
		return r, err
	}
	if err := plain(r.file); err != nil {
		return r, err
	}
	if err := examine(r.file, migrations); err != nil {
		return r, err
	}
	if r.db, err = openReading(r.file); err != nil {
		return r, err
	}
	if err := r.db.QueryRow("PRAGMA user_version").Scan(&r.version); err != nil {
		return r, err
	}
	if r.version == 0 { // a program was ended before it made the tables
		return r, fs.ErrNotExist
	}
	return r, nil
}

// Path returns the file of the record.
func (r *Record) Path() string { return r.path }

// Close closes the record and lets other programs write it.
func (r *Record) Close() error {
	if r == nil {
		return nil
	}
	err := r.closeFile()
	if r.lock != nil {
		err = errors.Join(err, r.lock.Close())
	}
	return err
}

// closeFile closes the record and keeps it locked.
func (r *Record) closeFile() error {
	var errs []error
	if r.add != nil {
		errs = append(errs, r.add.Close())
	}
	if r.db != nil {
		errs = append(errs, r.db.Close())
	}
	return errors.Join(errs...)
}

// openSQLite opens one connection to a file. mode is ro, rw or rwc.
func openSQLite(path, mode string, pragmas ...string) (*sql.DB, error) {
	return sqlfile.Open(path, url.Values{"mode": {mode}, "_pragma": append([]string{"busy_timeout(2000)"}, pragmas...)})
}

// openReading opens a file that is only read. Where the folder is read-only, or
// the disk full, SQLite cannot share it with a writer; then there is none, and it
// is read as it lies, unless the rest of it is still in the write-ahead log.
func openReading(path string) (*sql.DB, error) {
	try := func(query url.Values) (*sql.DB, error) {
		db, err := sqlfile.Open(path, query)
		if err != nil {
			return nil, err
		}
		var n int
		if err := db.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&n); err != nil {
			db.Close()
			return nil, err
		}
		return db, nil
	}
	db, err := try(url.Values{"mode": {"ro"}, "_pragma": {"busy_timeout(2000)"}})
	if c := sqlfile.Code(err); err == nil || c != sqlfile.CantOpen && c != sqlfile.ReadOnly && c != sqlfile.IOErr {
		return db, err
	}
	if info, e := os.Stat(path + "-wal"); e == nil && info.Size() > 0 {
		return nil, err
	}
	return try(url.Values{"mode": {"ro"}, "immutable": {"1"}})
}

// examine looks at a file without changing it and reports what stands in the way
// of using it.
func examine(path string, known []migration) (err error) {
	db, err := openReading(path)
	if err != nil {
		return err
	}
	defer db.Close()
	defer func() {
		if sqlfile.Code(err) == sqlfile.Error { // its tables cannot be made out
			err = fmt.Errorf("%w: %s", ErrRecordDamaged, sqlfile.Words(err))
		}
	}()
	var id, version, tables, size int
	for query, to := range map[string]*int{
		"PRAGMA application_id": &id, "PRAGMA user_version": &version, "SELECT count(*) FROM sqlite_schema": &tables, "PRAGMA page_size": &size,
	} {
		if err := db.QueryRow(query).Scan(to); err != nil {
			return err
		}
	}
	if err := logProblem(path, size); err != nil {
		return err
	}
	switch {
	case tables == 0 && id == 0 && version == 0:
		return nil // empty: a program was ended before it made the tables
	case id != applicationID:
		return ErrRecordForeign
	case version > len(known):
		return newer(version)
	case version < 1:
		return fmt.Errorf("%w: it says that it is of version %d", ErrRecordDamaged, version)
	}
	var verdict string
	if err := db.QueryRow("PRAGMA integrity_check(1)").Scan(&verdict); err != nil {
		return err
	}
	if verdict != "ok" {
		return fmt.Errorf("%w: %s", ErrRecordDamaged, line(verdict))
	}
	return sameTables(db, known[:version])
}

// sameTables reports whether the tables of a file are those that the migrations
// make: where a bit of the version or of a name has changed they are not.
func sameTables(db *sql.DB, made []migration) error {
	const layout = `
WITH tables AS (SELECT name FROM sqlite_schema WHERE type = 'table' AND name IN ('singers', 'sessions', 'answers'))
SELECT coalesce(group_concat(x, '; '), '') FROM (
	SELECT t.name || '.' || c.name || ' ' || c.type || ' ' || c."notnull" || ' ' || c.pk AS x FROM tables t, pragma_table_info(t.name) c
	UNION ALL
	SELECT t.name || '.' || c.name || ' in index ' || i."unique" || i.origin || c.seqno FROM tables t, pragma_index_list(t.name) i, pragma_index_info(i.name) c WHERE i.origin <> 'c'
	UNION ALL
	SELECT t.name || '.' || f."from" || ' is ' || f."table" || '.' || f."to" FROM tables t, pragma_foreign_key_list(t.name) f
	ORDER BY x)`
	model, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return err
	}
	defer model.Close()
	model.SetMaxOpenConns(1)
	for _, m := range made {
		if _, err := model.Exec(m.sql); err != nil {
			return err
		}
	}
	var got, want string
	if err := db.QueryRow(layout).Scan(&got); err != nil {
		return err
	}
	if err := model.QueryRow(layout).Scan(&want); err != nil {
		return err
	}
	if !strings.EqualFold(got, want) {
		return fmt.Errorf("%w: its tables are not those of version %d", ErrRecordDamaged, len(made))
	}
	return nil
}

func newer(version int) error {
	return fmt.Errorf("%w (version %d, this one knows %d)", ErrRecordNewer, version, len(migrations))
}

// migrate brings the file up to date, each version in one transaction, after a
// copy of the file as it was found was made.
func (r *Record) migrate(now time.Time, migrations []migration) error {
	if err := r.db.QueryRow("PRAGMA user_version").Scan(&r.version); err != nil {
		return err
	}
	copied := r.version == 0 // a file that is new has nothing to lose
	for r.version < len(migrations) {
		if !copied {
			if err := r.copy(fmt.Sprintf("%s.version%d", r.file, r.version), now.Format("-20060102-150405")); err != nil {
				return fmt.Errorf("copy it before it is brought up to date: %w", err)
			}
			copied = true
		}
		m := migrations[r.version]
		_, err := r.db.Exec("BEGIN IMMEDIATE; " + m.sql)
		if err == nil && m.then != nil {
			err = m.then(r)
		}
		if err == nil {
			_, err = r.db.Exec(fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d; COMMIT", applicationID, r.version+1))
		}
		if err != nil {
			r.db.Exec("ROLLBACK")
			return fmt.Errorf("bring it from version %d to %d: %w", r.version, r.version+1, err)
		}
		r.version++
	}
	return nil
}

// sign gives each answer of version 2 its checksum. Those that cannot be read get
// none.
func (r *Record) sign() error {
	ctx := context.Background()
	sessions, err := r.sessions(ctx, "")
	if err != nil {
		return err
	}
	ids := map[string]int64{}
	for _, s := range sessions {
		ids[s.row.Session] = s.id
	}
	var sums [][3]any
	rd := kept.NewReader()
	for rw, err := range r.rows(ctx, "") {
		if rw == nil {
			return err
		}
		if err == nil {
			_, err = rd.Answer(rw)
		}
		if err == nil {
			sums = append(sums, [3]any{int64(rw.Checksum()), ids[rw.Session], rw.Number})
		}
	}
	set, err := r.db.Prepare("UPDATE answers SET checksum = ? WHERE session_id = ? AND number = ?")
	if err != nil {
		return err
	}
	defer set.Close()
	for _, s := range sums {
		if _, err := set.Exec(s[:]...); err != nil {
			return err
		}
	}
	return nil
}

// copy makes a copy of the file at the path base + suffix, or one with a number
// after it where that is taken: whole or not at all.
func (r *Record) copy(base, suffix string) error {
	part := base + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) { // of a program that was ended
		return err
	}
	if _, err := own(part); err != nil { // an empty file is filled, and stays its owner's
		return err
	}
	if _, err := r.db.Exec("VACUUM INTO ?", part); err != nil {
		return err
	}
	f, err := os.OpenFile(part, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	to := base + suffix
	for n := 2; ; n++ {
		if _, err := os.Lstat(to); errors.Is(err, fs.ErrNotExist) {
			break
		}
		to = fmt.Sprintf("%s%s-%d", base, suffix, n)
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(to))
}
