package store

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"
)

// Format is a format of exports.
type Format int8

// The formats. Both have the columns of the practice record, the same names in
// the same order; a null is an empty field in CSV.
const (
	CSV       Format = iota // with a header line; RFC 4180
	JSONLines               // one object a line
)

// Export writes the answers of a query, and returns how many.
func (r *Record) Export(ctx context.Context, w io.Writer, f Format, q Query) (int, error) {
	return exportRows(w, f, r.rows(ctx, q))
}

func exportRows(w io.Writer, f Format, rows iter.Seq2[*row, error]) (n int, err error) {
	out := bufio.NewWriter(w)
	table := csv.NewWriter(out)
	lines := json.NewEncoder(out)
	if f == CSV {
		if err := table.Write(columns); err != nil {
			return 0, err
		}
	}
	for rw, err := range rows {
		if err != nil {
			return n, err
		}
		if f == CSV {
			err = table.Write(rw.text())
		} else {
			err = lines.Encode(rw)
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
		}
	}
	return out
}

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

// Import reads an export, in either format, and adds what is not there yet: an
// answer is known by its session and its number in it. Either everything is
// added or, after an error, nothing; the error names the line.
func (r *Record) Import(ctx context.Context, in io.Reader) (Imported, error) {
	var done Imported
	if r.lock == nil {
		return done, fmt.Errorf("%s: opened for reading", r.path)
	}
	tx, err := r.db.BeginTx(ctx, nil)
	if err != nil {
		return done, recordError(r.path, err)
	}
	defer tx.Rollback()
	add := tx.Stmt(r.add)
	sessions := map[string]int64{}
	rd := newReader()
	err = readRows(in, func(rw *row) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		done.Read++
		if _, err := rd.answer(rw); err != nil {
			return err
		}
		if _, ok := sessions[rw.Session]; !ok {
			id, other, err := insertSession(tx, rw)
			if err != nil {
				return recordError(r.path, err)
			}
			if other != "" {
				return fmt.Errorf("session %s: here it is of %.40q, in the record of %.40q", rw.Session, rw.Singer, other)
			}
			sessions[rw.Session] = id
		}
		result, err := add.Exec(append([]any{sessions[rw.Session]}, rw.values()[sessionColumns:]...)...)
		if err != nil {
			return recordError(r.path, err)
		}
		n, err := result.RowsAffected()
		done.Added += int(n)
		return err
	})
	if err != nil {
		return Imported{}, err
	}
	if err := tx.Commit(); err != nil {
		return Imported{}, recordError(r.path, err)
	}
	return done, nil
}

// insertSession finds or makes the session of a row and its singer. other is the
// name of the singer if the session is there and is another one's.
func insertSession(tx *sql.Tx, rw *row) (id int64, other string, err error) {
	if _, err := tx.Exec("INSERT OR IGNORE INTO singers (name) VALUES (?)", rw.Singer); err != nil {
		return 0, "", err
	}
	_, err = tx.Exec(`INSERT OR IGNORE INTO sessions (session, singer_id, started, command, source, seed, estimator)
SELECT ?, id, ?, ?, ?, ?, ? FROM singers WHERE name = ?`,
		rw.Session, rw.Started, rw.Command, rw.Source, rw.Seed, rw.Estimator, rw.Singer)
	if err != nil {
		return 0, "", err
	}
	var name string
	err = tx.QueryRow("SELECT sessions.id, name FROM sessions JOIN singers ON singers.id = singer_id WHERE session = ?", rw.Session).Scan(&id, &name)
	if err == nil && name != rw.Singer {
		other = name
	}
	return id, other, err
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
			want := columns[:firstColumns] // those of version 1, if none of the others is there
			for _, c := range columns[firstColumns:] {
				if _, ok := names[c]; ok {
					want = columns
				}
			}
			for _, c := range want {
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

func readCSV(in io.Reader, found func(*row) error) error {
	table := csv.NewReader(in)
	table.ReuseRecord = true
	header, err := table.Read()
	if err != nil {
		return fmt.Errorf("line 1: %w", err)
	}
	want := columns
	if len(header) == firstColumns {
		want = columns[:firstColumns] // of version 1
	}
	for i, c := range want {
		switch {
		case i == len(header):
			return fmt.Errorf("line 1: the column %s is missing", c)
		case header[i] != c && i == 0:
			return fmt.Errorf("line 1: not the columns of a practice record; want %s, %s, %s … as singback record export writes them", columns[0], columns[1], columns[2])
		case header[i] != c:
			return fmt.Errorf("line 1, column %d: %.40q; want %s", i+1, header[i], c)
		}
	}
	if len(header) > len(want) {
		return fmt.Errorf("line 1, column %d: %.40q; the practice record has no such column", len(want)+1, header[len(want)])
	}
	for {
		fields, err := table.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return fmt.Errorf("line %d: %w", parse.Line, parse.Err)
		}
		if err != nil {
			return err
		}
		n, _ := table.FieldPos(0)
		var rw row
		if err := rw.setText(fields); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
		if err := found(&rw); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
	}
}
