package kept

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"singback/exercise/practice"
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

// What a spreadsheet takes for a formula begins with one of these; apostrophes may
// stand before it.
const formulas = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"

// beginOf returns the beginning of s that is that of a formula, with the apostrophes
// before it; "" where it is none.
func beginOf(s string) string {
	n := 0
	for n < len(s) && s[n] == '\'' {
		n++
	}
	r, size := utf8.DecodeRuneInString(s[n:])
	if n == len(s) || !strings.ContainsRune(formulas, r) {
		return ""
	}
	return s[:n+size]
}

// guardedBegin is beginOf where an apostrophe is before it.
func guardedBegin(s string) string {
	if !strings.HasPrefix(s, "'") {
		return ""
	}
	return beginOf(s)
}

// eachCell puts what change gives in place of what begin finds where a spreadsheet may
// begin a cell: at the beginning of a text or, in countries where it parts cells by
// them, behind a semicolon or a tab. A tab that was found itself parts nothing.
func eachCell(s string, begin, change func(string) string) string {
	var b strings.Builder
	done := 0 // is written
	for i := 0; i <= len(s); i++ {
		if i > 0 && (i-1 < done || s[i-1] != ';' && s[i-1] != '\t') {
			continue
		}
		if found := begin(s[i:]); found != "" {
			b.WriteString(s[done:i] + change(found))
			done = i + len(found)
		}
	}
	return b.String() + s[done:]
}

// guard puts an apostrophe before what would be a formula, and before one that is
// there already, so that unguard gives back the text exactly.
func guard(s string) string {
	return eachCell(s, beginOf, func(found string) string { return "'" + found })
}

func unguard(s string) string {
	if strings.IndexByte(s, '\'') < 0 {
		return s
	}
	return eachCell(s, guardedBegin, func(found string) string { return found[1:] })
}

// WriteRows writes rows as an export and returns how many. An error among them ends it.
func WriteRows(w io.Writer, f Format, rows iter.Seq2[*Row, error]) (n int, err error) {
	out := bufio.NewWriter(w)
	table := csv.NewWriter(out)
	lines := json.NewEncoder(out)
	if f != JSONLines {
		header := Columns
		if f == GuardedCSV {
			header = append(slices.Clone(Columns), guardColumn)
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
			fields := rw.Text()
			for i, isText := range texts {
				if isText {
					fields[i] = guard(fields[i])
				}
			}
			err = table.Write(append(fields, guarded))
		default:
			err = table.Write(rw.Text())
		}
		if err != nil {
			return n, err
		}
		n++
	}
	table.Flush()
	return n, errors.Join(table.Error(), out.Flush())
}

// Text returns the fields of a row as CSV has them.
func (r *Row) Text() []string {
	var out []string
	for _, p := range r.Fields() {
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
	out := make([]bool, len(Columns))
	for i, p := range new(Row).Fields() {
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
func (r *Row) setText(fields []string) error {
	for i, p := range r.Fields()[:len(fields)] {
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
			return fmt.Errorf("%s: %.40q cannot be read", Columns[i], s)
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

// maxLine is the longest line of an import, in bytes; a row takes under 2000.
const maxLine = 1 << 16

// ReadRows reads an export in either format, guarded or not, and hands on each row with
// the answer that it is, which is checked. Both are the receiver's to keep, and that a
// session is the same in all its rows is for the receiver to ask (Row.Belongs). An
// error, that of found too, ends it and names the line.
func ReadRows(in io.Reader, found func(*Row, practice.Answer) error) error {
	rd := NewReader()
	return readRows(in, func(rw *Row) error {
		a, err := rd.Answer(rw)
		if err != nil {
			return err
		}
		return found(rw, a)
	})
}

// ReadExport yields the answers of an export in either format, guarded or not. An
// error, which names the line, ends it: then nothing of the export is to be kept. It
// refuses what an import into the record refuses; that a session is another one in
// what is kept already is for SameSession to say.
func ReadExport(in io.Reader) iter.Seq2[practice.Answer, error] {
	return func(yield func(practice.Answer, error) bool) {
		sessions := map[string]*Row{}
		err := ReadRows(in, func(rw *Row, a practice.Answer) error {
			first, ok := sessions[rw.Session]
			if !ok {
				first = rw
				sessions[rw.Session] = rw
			}
			if err := rw.Belongs(first); err != nil {
				return err
			}
			if !yield(a, nil) {
				return errEnough
			}
			return nil
		})
		if err != nil && !errors.Is(err, errEnough) {
			yield(practice.Answer{}, err)
		}
	}
}

var errEnough = errors.New("no more answers are wanted")

// WriteExport writes answers as an export and returns how many. An error among them,
// or an answer that Check refuses, ends it.
func WriteExport(w io.Writer, f Format, answers iter.Seq2[practice.Answer, error]) (n int, err error) {
	return WriteRows(w, f, func(yield func(*Row, error) bool) {
		for a, err := range answers {
			var rw Row
			if err == nil {
				if err = Check(a); err == nil {
					rw = NewRow(a)
				}
			}
			if !yield(&rw, err) {
				return
			}
		}
	})
}

// readRows reads an export in either format. Errors name the line.
func readRows(in io.Reader, found func(*Row) error) error {
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

func readCSV(lines io.Reader, found func(*Row) error) error {
	in := &fewAtATime{lines, maxLine}
	table := csv.NewReader(in)
	table.ReuseRecord = true
	header, err := table.Read()
	if err != nil {
		return csvError(1, err)
	}
	want := VersionColumns[len(VersionColumns)-1]
	isGuarded := header[len(header)-1] == guardColumn
	n := len(header)
	if isGuarded {
		n--
	}
	if slices.Contains(VersionColumns[1:], n) {
		want = n
	}
	for i, c := range Columns[:want] {
		switch {
		case i == len(header):
			return fmt.Errorf("line 1: the column %s is missing", c)
		case header[i] != c && i == 0:
			return fmt.Errorf("line 1: not the columns of a practice record; want %s, %s, %s … as singback record export writes them", Columns[0], Columns[1], Columns[2])
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
		var rw Row
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
