package store

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Format is a format of exports.
type Format int8

// The formats. Both have the columns of the practice record, the same names in
// the same order; a null is an empty field in CSV.
const (
	CSV       Format = iota // with a header line; RFC 4180
	JSONLines               // one object a line
	// GuardedCSV is CSV that a spreadsheet takes for no formula: see guard. A
	// column more, the last, says so in every row.
	GuardedCSV
)

// guardColumn is the column that only GuardedCSV has; guarded is what it holds.
const guardColumn, guarded = "guarded", "true"

// Where a spreadsheet may begin a cell, at the beginning of a text or, in
// countries where it parts cells by them, behind a semicolon or a tab, it takes
// what follows for a formula if it begins so.
var (
	formula = regexp.MustCompile(`(^|[;\t])('*[=+\-@\t\r\n\x{ff1d}\x{ff0b}\x{ff0d}\x{ff20}])`)
	guardOf = regexp.MustCompile(`(^|[;\t])'('*[=+\-@\t\r\n\x{ff1d}\x{ff0b}\x{ff0d}\x{ff20}])`)
)

// guard puts an apostrophe before what would be a formula, and before one that is
// there already, so that unguard gives back the text exactly.
func guard(s string) string { return formula.ReplaceAllString(s, "$1'$2") }

func unguard(s string) string { return guardOf.ReplaceAllString(s, "$1$2") }

// Export writes the answers of a singer, or for "" of all, and returns how many.
// One that cannot be read ends it.
func (r *Record) Export(ctx context.Context, w io.Writer, f Format, singer string) (int, error) {
	return exportRows(w, f, func(yield func(*row, error) bool) {
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

func exportRows(w io.Writer, f Format, rows iter.Seq2[*row, error]) (n int, err error) {
	out := bufio.NewWriter(w)
	table := csv.NewWriter(out)
	lines := json.NewEncoder(out)
	if f != JSONLines {
		header := columns
		if f == GuardedCSV {
			header = append(slices.Clone(columns), guardColumn)
		}
		if err := table.Write(header); err != nil {
			return 0, err
		}
	}
	for rw, err := range rows {
		if err != nil {
			return n, err
		}
		switch f {
		case JSONLines:
			err = lines.Encode(rw)
		case GuardedCSV:
			fields := rw.text()
			for i, isText := range texts {
				if isText {
					fields[i] = guard(fields[i])
				}
			}
			err = table.Write(append(fields, guarded))
		default:
			err = table.Write(rw.text())
		}
		if err != nil {
			return n, err
		}
		n++
	}
	table.Flush()
	return n, errors.Join(table.Error(), out.Flush())
}

// text returns the fields of a row as CSV has them.
func (r *row) text() []string {
	var out []string
	for _, p := range r.fields() {
		switch p := p.(type) {
		case *string:
			out = append(out, *p)
		case **string:
			out = append(out, textOf(*p, func(s string) string { return s }))
		case *int64:
			out = append(out, strconv.FormatInt(*p, 10))
		case **int64:
			out = append(out, textOf(*p, func(i int64) string { return strconv.FormatInt(i, 10) }))
		case *float64:
			out = append(out, number(*p))
		case **float64:
			out = append(out, textOf(*p, number))
		case *bool:
			out = append(out, strconv.FormatBool(*p))
		case **bool:
			out = append(out, textOf(*p, strconv.FormatBool))
		}
	}
	return out
}

// texts tells which of the columns are texts.
var texts = func() []bool {
	out := make([]bool, len(columns))
	for i, p := range new(row).fields() {
		switch p.(type) {
		case *string, **string:
			out[i] = true
		}
	}
	return out
}()

func textOf[T any](p *T, text func(T) string) string {
	if p == nil {
		return ""
	}
	return text(*p)
}

// number writes a number so that it is read back as the same.
func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// setText sets the fields of a row from those of a line of CSV.
func (r *row) setText(fields []string) error {
	for i, p := range r.fields()[:len(fields)] {
		s := fields[i]
		var err error
		switch p := p.(type) {
		case *string:
			*p = s
		case **string:
			*p = nil
			if s != "" {
				*p = &s
			}
		case *int64:
			*p, err = strconv.ParseInt(s, 10, 64)
		case **int64:
			err = setNull(p, s, func(s string) (int64, error) { return strconv.ParseInt(s, 10, 64) })
		case *float64:
			*p, err = strconv.ParseFloat(s, 64)
		case **float64:
			err = setNull(p, s, func(s string) (float64, error) { return strconv.ParseFloat(s, 64) })
		case *bool:
			*p, err = strconv.ParseBool(s)
		case **bool:
			err = setNull(p, s, strconv.ParseBool)
		}
		if err != nil {
			return fmt.Errorf("%s: %.40q cannot be read", columns[i], s)
		}
	}
	return nil
}

func setNull[T any](p **T, s string, parse func(string) (T, error)) error {
	*p = nil
	if s == "" {
		return nil
	}
	x, err := parse(s)
	*p = &x
	return err
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
	rd := newReader()
	var failed error // of the record
	err = readRows(in, func(rw *row) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		done.Read++
		if _, err := rd.answer(rw); err != nil {
			return err
		}
		s, ok := sessions[rw.Session]
		if !ok {
			if s, failed = insertSession(tx, rw); failed != nil {
				return failed
			}
			sessions[rw.Session] = s
		}
		if err := rw.belongs(s); err != nil {
			return err
		}
		result, err := add.Exec(rw.inserted(s.id)...)
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
func insertSession(tx *sql.Tx, rw *row) (s sessionRow, err error) {
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
		Scan(append([]any{&s.id}, s.row.fields()[:sessionColumns]...)...)
	return s, err
}

// belongs refuses a row whose session is another one in the record: its checksum
// would not fit.
func (r *row) belongs(s sessionRow) error {
	here, there := r.fields(), s.row.fields()
	for i, name := range columns[:sessionColumns] {
		if h, t := *here[i].(*string), *there[i].(*string); h != t {
			return fmt.Errorf("session %s: here its %s is %.40q, in the record %.40q", r.Session, name, h, t)
		}
	}
	return nil
}

// maxLine is the longest line of an import, in bytes; a row takes under 2000.
const maxLine = 1 << 16

// readRows reads an export in either format. Errors name the line.
func readRows(in io.Reader, found func(*row) error) error {
	lines := bufio.NewReaderSize(in, maxLine)
	lines.Peek(1)
	head, _ := lines.Peek(lines.Buffered())
	if len(bytes.TrimSpace(head)) == 0 {
		return errors.New("there is nothing in it; want what singback record export writes")
	}
	if bytes.TrimSpace(head)[0] == '{' {
		return readJSON(lines, found)
	}
	return readCSV(lines, found)
}

func readJSON(in *bufio.Reader, found func(*row) error) error {
	for n := 1; ; n++ {
		text, err := in.ReadSlice('\n')
		end := errors.Is(err, io.EOF)
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return fmt.Errorf("line %d: longer than %d bytes", n, maxLine)
		case err != nil && !end:
			return fmt.Errorf("line %d: %w", n, err)
		}
		if text = bytes.TrimSpace(text); len(text) > 0 {
			var names map[string]json.RawMessage
			var rw row
			if err := json.Unmarshal(text, &names); err != nil {
				return fmt.Errorf("line %d: no JSON object: %w", n, err)
			}
			want := versionColumns[1] // and those of the newest version of which one is there
			for _, n := range versionColumns[2:] {
				for _, c := range columns[want:n] {
					if _, ok := names[c]; ok {
						want = n
						break
					}
				}
			}
			for _, c := range columns[:want] {
				if _, ok := names[c]; !ok {
					return fmt.Errorf("line %d: %s is missing", n, c)
				}
			}
			d := json.NewDecoder(bytes.NewReader(text))
			d.DisallowUnknownFields()
			if err := d.Decode(&rw); err != nil {
				return fmt.Errorf("line %d: %s", n, strings.TrimPrefix(err.Error(), "json: "))
			}
			if err := found(&rw); err != nil {
				return fmt.Errorf("line %d: %w", n, err)
			}
		}
		if end {
			return nil
		}
	}
}

// fewAtATime hands on what is read until it is more than a line may have since the
// last that began: a quoted field that does not end would fill the memory.
type fewAtATime struct {
	in   io.Reader
	left int
}

var errTooLong = fmt.Errorf("longer than %d bytes", maxLine)

func (f *fewAtATime) Read(p []byte) (int, error) {
	if f.left <= 0 {
		return 0, errTooLong
	}
	n, err := f.in.Read(p[:min(len(p), f.left)])
	f.left -= n
	return n, err
}

func readCSV(lines io.Reader, found func(*row) error) error {
	in := &fewAtATime{lines, maxLine}
	table := csv.NewReader(in)
	table.ReuseRecord = true
	header, err := table.Read()
	if err != nil {
		return csvError(1, err)
	}
	want := versionColumns[len(versionColumns)-1]
	isGuarded := header[len(header)-1] == guardColumn
	n := len(header)
	if isGuarded {
		n--
	}
	if slices.Contains(versionColumns[1:], n) {
		want = n
	}
	for i, c := range columns[:want] {
		switch {
		case i == len(header):
			return fmt.Errorf("line 1: the column %s is missing", c)
		case header[i] != c && i == 0:
			return fmt.Errorf("line 1: not the columns of a practice record; want %s, %s, %s … as singback record export writes them", columns[0], columns[1], columns[2])
		case header[i] != c:
			return fmt.Errorf("line 1, column %d: %.40q; want %s", i+1, header[i], c)
		}
	}
	if n > want {
		return fmt.Errorf("line 1, column %d: %.40q; the practice record has no such column", want+1, header[want])
	}
	for next := 2; ; {
		in.left = maxLine
		fields, err := table.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return csvError(next, err)
		}
		line, _ := table.FieldPos(0)
		next, _ = table.FieldPos(len(fields) - 1)
		next++
		if isGuarded {
			last := len(fields) - 1
			if fields[last] != guarded {
				return fmt.Errorf("line %d: %s: %.40q; want %s", line, guardColumn, fields[last], guarded)
			}
			fields = fields[:last]
			for i, s := range fields {
				if texts[i] {
					fields[i] = unguard(s)
				}
			}
		}
		var rw row
		if err := rw.setText(fields); err != nil {
			return fmt.Errorf("line %d: %w", line, err)
		}
		if err := found(&rw); err != nil {
			return fmt.Errorf("line %d: %w", line, err)
		}
	}
}

// csvError is an error of a table with the line, which is that of the parser if it
// says one.
func csvError(line int, err error) error {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		line, err = parse.Line, parse.Err
	}
	return fmt.Errorf("line %d: %w", line, err)
}
