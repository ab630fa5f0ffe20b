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
	"syscall"
	"time"

	"modernc.org/sqlite"
)

// Record is the practice record: every answer of every singer, in one SQLite
// file in WAL mode. One program writes it at a time; any number may read.
//
// [OpenRecord] and [Record.Add] are the two calls that a drill needs. An answer
// is on disk (synchronous=FULL) when Add returns. Methods are for one goroutine.
type Record struct {
	path string
	db   *sql.DB
	lock *sql.DB // nil: opened for reading
	add  *sql.Stmt
	// columns is how many of the columns of a row the file has.
	columns int

	session   Session // of the last answer added, and its row
	sessionID int64
	number    int
}

// The ways in which a record cannot be used; errors of this file wrap them.
var (
	ErrRecordInUse    = errors.New("another singback is recording into it")
	ErrRecordNewer    = errors.New("it was made by a newer singback")
	ErrRecordDamaged  = errors.New("it is damaged")
	ErrRecordForeign  = errors.New("it is no practice record")
	ErrRecordReadOnly = errors.New("it cannot be written: the file or its folder is read-only")
	ErrRecordFull     = errors.New("the disk is full")
)

// applicationID marks the file as ours: "sbrc", as SQLite keeps it in the header.
const applicationID = 0x73627263

// migrations make the tables; the n-th brings a file of version n to n+1. The
// version is SQLite's user_version. A migration that has been released is never
// changed.
var migrations = []string{`
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
`, `
ALTER TABLE answers ADD COLUMN named TEXT;
ALTER TABLE answers ADD COLUMN material TEXT;
ALTER TABLE answers ADD COLUMN notes INTEGER;
ALTER TABLE answers ADD COLUMN notes_right INTEGER;
`}

// OpenRecord opens the record at path for writing, and makes it if it is not
// there. Only one program may have it open so; another gets ErrRecordInUse. A
// file of an older version is brought up to date, after a copy of it was made
// beside it, named by now. What is not a sound record of this or an older
// version is refused and not touched.
func OpenRecord(path string, now time.Time) (*Record, error) {
	return openRecord(path, now, migrations)
}

func openRecord(path string, now time.Time, migrations []string) (opened *Record, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = recordError(path, err)
		}
	}()
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	r := &Record{path: path}
	defer func() {
		if err != nil {
			r.Close()
		}
	}()
	// The lock is a SQLite file of its own, held exclusively: the system lets go
	// of it however the program ends, and readers need not know of it.
	if r.lock, err = openSQLite(path+".lock", "rwc", "journal_mode(memory)", "busy_timeout(100)"); err != nil {
		return nil, err
	}
	if _, err := r.lock.Exec("BEGIN EXCLUSIVE"); err != nil {
		if code(err) == sqliteBusy {
			return nil, ErrRecordInUse
		}
		return nil, err
	}
	if info, err := os.Stat(path); err == nil && info.Size() > 0 {
		if err := examine(path, len(migrations)); err != nil {
			return nil, err
		}
	}
	if r.db, err = openSQLite(path, "rwc", "journal_mode(wal)", "synchronous(full)", "foreign_keys(1)"); err != nil {
		return nil, err
	}
	if err := r.migrate(now, migrations); err != nil {
		return nil, err
	}
	r.columns = len(columns)
	r.add, err = r.db.Prepare(insertAnswer)
	return r, err
}

// ReadRecord opens the record at path for reading, beside a program that writes.
// A file of an older version is read as it is: what it does not have is null. The
// error is fs.ErrNotExist where there is none, or only an empty file.
func ReadRecord(path string) (r *Record, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return nil, err
	}
	if _, err := os.Stat(path); err != nil {
		return nil, recordError(path, err)
	}
	if err := examine(path, len(migrations)); err != nil {
		return nil, recordError(path, err)
	}
	r = &Record{path: path}
	if r.db, err = openReading(path); err != nil {
		return nil, recordError(path, err)
	}
	var version int
	if err := r.db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		r.Close()
		return nil, recordError(path, err)
	}
	switch version {
	case 0: // a program was ended before it made the tables
		r.Close()
		return nil, recordError(path, fs.ErrNotExist)
	case 1:
		r.columns = firstColumns
	default:
		r.columns = len(columns)
	}
	return r, nil
}

// Path returns the file of the record.
func (r *Record) Path() string { return r.path }

// Close closes the record and lets other programs write it.
func (r *Record) Close() error {
	var errs []error
	if r.add != nil {
		errs = append(errs, r.add.Close())
	}
	for _, db := range []*sql.DB{r.db, r.lock} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// openSQLite opens one connection to a file. mode is ro, rw or rwc.
func openSQLite(path, mode string, pragmas ...string) (*sql.DB, error) {
	return openURI(path, url.Values{"mode": {mode}, "_pragma": append([]string{"busy_timeout(2000)"}, pragmas...)})
}

func openURI(path string, query url.Values) (*sql.DB, error) {
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // a drive letter
	}
	u := url.URL{Scheme: "file", Path: slashed, RawQuery: query.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	db.SetMaxIdleConns(1)
	db.SetConnMaxLifetime(0)
	if err := db.Ping(); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// openReading opens a file that is only read. Where the folder is read-only,
// SQLite cannot share it with a writer; then there is none, and it is read as it
// lies, unless the rest of it is still in the write-ahead log.
func openReading(path string) (*sql.DB, error) {
	try := func(query url.Values) (*sql.DB, error) {
		db, err := openURI(path, query)
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
	if c := code(err); err == nil || c != sqliteCantOpen && c != sqliteReadOnly {
		return db, err
	}
	if info, e := os.Stat(path + "-wal"); e == nil && info.Size() > 0 {
		return nil, err
	}
	return try(url.Values{"mode": {"ro"}, "immutable": {"1"}})
}

// examine looks at a file without changing it and reports what stands in the way
// of using it.
func examine(path string, known int) error {
	db, err := openReading(path)
	if err != nil {
		return err
	}
	defer db.Close()
	var id, version, tables int
	for query, to := range map[string]*int{
		"PRAGMA application_id": &id, "PRAGMA user_version": &version, "SELECT count(*) FROM sqlite_schema": &tables,
	} {
		if err := db.QueryRow(query).Scan(to); err != nil {
			return err
		}
	}
	switch {
	case tables == 0 && id == 0 && version == 0:
		return nil // empty: a program was ended before it made the tables
	case id != applicationID:
		return ErrRecordForeign
	case version > known:
		return newer(version)
	}
	var verdict string
	if err := db.QueryRow("PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return err
	}
	if verdict != "ok" {
		return fmt.Errorf("%w: %s", ErrRecordDamaged, line(verdict))
	}
	return nil
}

func newer(version int) error {
	return fmt.Errorf("%w (version %d, this one knows %d)", ErrRecordNewer, version, len(migrations))
}

// migrate brings the file up to date, each version in one transaction, after a
// copy was made.
func (r *Record) migrate(now time.Time, migrations []string) error {
	var version int
	if err := r.db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	made := version > 0 // a file that is new has nothing to lose
	for ; version < len(migrations); version++ {
		if made {
			if err := r.copy(fmt.Sprintf("%s.version%d", r.path, version), now.Format("-20060102-150405")); err != nil {
				return fmt.Errorf("copy it before it is brought up to date: %w", err)
			}
		}
		_, err := r.db.Exec(fmt.Sprintf("BEGIN IMMEDIATE; %s PRAGMA application_id=%d; PRAGMA user_version=%d; COMMIT", migrations[version], applicationID, version+1))
		if err != nil {
			r.db.Exec("ROLLBACK")
			return fmt.Errorf("bring it from version %d to %d: %w", version, version+1, err)
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

// Primary result codes of SQLite (sqlite.org/rescode.html).
const (
	sqliteBusy     = 5
	sqliteReadOnly = 8
	sqliteIOErr    = 10
	sqliteCorrupt  = 11
	sqliteFull     = 13
	sqliteCantOpen = 14
	sqliteNotADB   = 26
)

// code returns the primary SQLite result code of an error, 0 if it has none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// recordError says in one line what is wrong with the record at path.
func recordError(path string, err error) error {
	var inPath *fs.PathError
	if err == nil {
		return nil
	}
	if info, e := os.Stat(path); e == nil && info.IsDir() {
		return fmt.Errorf("%s: it is a folder; name a file in it", path)
	}
	switch c := code(err); {
	case c == sqliteNotADB:
		err = ErrRecordForeign
	case c == sqliteCorrupt:
		err = fmt.Errorf("%w: %w", ErrRecordDamaged, err)
	case c == sqliteFull:
		err = ErrRecordFull
	case c == sqliteBusy:
		err = ErrRecordInUse
	case c == sqliteReadOnly, c == sqliteCantOpen, errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		err = ErrRecordReadOnly
	case errors.Is(err, syscall.ENOSPC):
		err = ErrRecordFull
	case errors.As(err, &inPath):
		err = inPath.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// line puts a message on one line.
func line(s string) string { return strings.Join(strings.Fields(s), " ") }

// RecordHint says what a user can do about an error of this file; "" if there is
// nothing to say.
func RecordHint(err error) string {
	switch {
	case errors.Is(err, ErrRecordInUse):
		return "end the other one first"
	case errors.Is(err, ErrRecordNewer):
		return "use the newer singback, or another file with --record"
	case errors.Is(err, ErrRecordDamaged):
		return "it was not touched; save what can be read with singback record export --damaged, move it away, and import that into a new one"
	case errors.Is(err, ErrRecordForeign):
		return "it was not touched; name another file with --record"
	case errors.Is(err, ErrRecordReadOnly):
		return "name a file in a folder of yours with --record"
	case errors.Is(err, ErrRecordFull):
		return "make room on it"
	}
	return ""
}

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
	for _, err := range r.Answers(ctx, Query{}) {
		if err != nil && len(c.Problems) < most {
			c.Problems = append(c.Problems, err.Error())
		}
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
		s.First, _ = time.Parse(timeFormat, first)
		s.Last, _ = time.Parse(timeFormat, last)
		out = append(out, s)
	}
	return out, recordError(r.path, rows.Err())
}
