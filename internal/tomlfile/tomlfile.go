// Package tomlfile reads files of TOML 1.0 (toml.io) as tables whose keys and values
// know where they stand, so that every mistake in a file of ours can be told with its
// line, column and word. The library scans; what it would need reflection for, which is
// a twentieth of what a browser loads, stands here: keys that come twice, and numbers.
package tomlfile

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Error says what is wrong in a file, and where.
type Error struct {
	Line, Column int    // from 1; in characters
	Key          string // of the value that is meant, with dots; "" where none is
	Problem      string
}

func (e *Error) Error() string {
	return fmt.Sprintf("line %d, column %d: %s", e.Line, e.Column, e.Problem)
}

// Value is a value of a file.
type Value struct {
	Kind  unstable.Kind
	Text  string // decoded, where it has no items; a number as it is written
	Raw   string // as it is written, of a text, a number, a date
	At    int    // offset of its first byte; of its key, where the library has none
	Items []Value
}

// Table is a table of a file.
type Table struct {
	Name   string // path of the table with dots, a part with a dot in quotes; "" the root
	Array  bool   // it stands in two pairs of brackets
	At     int    // offset of its name
	Keys   []string
	Values map[string]Value
	Names  map[string]int // offsets of the keys

	path string // as in reader.seen
}

// Read reads a file: its root, then its tables in their order. Keys with dots, and those
// of a table within braces, stand in the table around them, by their whole path; the
// braces have a key of their own too. Errors are an [Error].
func Read(data []byte) ([]*Table, error) {
	r := reader{data: data, seen: map[string]place{}}
	here := r.table("", "", false, 0)
	var p unstable.Parser
	p.Reset(data)
	for p.NextExpression() {
		e := p.Expression()
		var err error
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			here, err = r.header(e)
		case unstable.KeyValue:
			err = r.keyValue(here, "", here.path, e)
		}
		if err != nil {
			return nil, err
		}
	}
	var bad *unstable.ParserError
	switch err := p.Error(); {
	case errors.As(err, &bad):
		at := len(data)
		if cap(bad.Highlight) > 0 {
			at = min(cap(data)-cap(bad.Highlight), len(data))
		}
		return nil, r.errorAt(at, strings.Join(bad.Key, "."), "%s", bad.Message)
	case err != nil:
		return nil, r.errorAt(len(data), "", "%s", err)
	}
	return r.tables, nil
}

// place is what stands at a path.
type place int8

const (
	implied place = iota + 1 // a table that only its own tables name
	headed                   // a table with a header
	listed                   // tables in two pairs of brackets
	dotted                   // a table that keys with dots name
	closed                   // a value, a table in braces too
)

type reader struct {
	data   []byte
	tables []*Table
	seen   map[string]place // by path, the parts with a length before each
}

// errorAt tells what is wrong at an offset.
func (r *reader) errorAt(at int, key, format string, args ...any) error {
	line, column := Position(r.data, at)
	return &Error{line, column, key, strings.Join(strings.Fields(fmt.Sprintf(format, args...)), " ")}
}

// Position is the line and the column, in characters, of an offset, both from 1.
func Position(data []byte, at int) (line, column int) {
	before := data[:min(at, len(data))]
	return 1 + bytes.Count(before, []byte{'\n'}), 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
}

func (r *reader) table(name, path string, array bool, at int) *Table {
	t := &Table{Name: name, path: path, Array: array, At: at, Values: map[string]Value{}, Names: map[string]int{}}
	r.tables = append(r.tables, t)
	return t
}

// keyOf is the path of a key, and the offset of its first part.
func keyOf(e *unstable.Node) (path []string, at int) {
	for it := e.Key(); it.Next(); {
		if len(path) == 0 {
			at = int(it.Node().Raw.Offset)
		}
		path = append(path, string(it.Node().Data))
	}
	return path, at
}

// joined is a path with dots; a part that has some itself stands in quotes.
func joined(path []string) string {
	parts := make([]string, len(path))
	for i, part := range path {
		if parts[i] = part; strings.ContainsAny(part, `."`) {
			parts[i] = strconv.Quote(part)
		}
	}
	return strings.Join(parts, ".")
}

// below is a path with one part more; no two paths are the same text.
func below(path, part string) string { return path + strconv.Itoa(len(part)) + ":" + part }

// header begins a table.
func (r *reader) header(e *unstable.Node) (*Table, error) {
	path, at := keyOf(e)
	array := e.Kind == unstable.ArrayTable
	full := ""
	for i, part := range path {
		full = below(full, part)
		was := r.seen[full]
		free := was != closed // for a table below it
		if i == len(path)-1 {
			free = was == 0 || was == listed && array || was == implied && !array
		}
		switch {
		case !free:
			return nil, r.errorAt(at, "", "%s is there already", joined(path[:i+1]))
		case was == 0:
			r.seen[full] = implied
		}
	}
	if r.seen[full] = headed; array {
		r.seen[full] = listed
		for path := range r.seen { // what the one before had, this one may have too
			if path != full && strings.HasPrefix(path, full) {
				delete(r.seen, path)
			}
		}
	}
	return r.table(joined(path), full, array, at), nil
}

// keyValue notes a key and its value in a table: its keys begin with a prefix, which
// is the path around.
func (r *reader) keyValue(t *Table, prefix, around string, e *unstable.Node) error {
	path, at := keyOf(e)
	full := around
	for i, part := range path {
		full = below(full, part)
		was := r.seen[full]
		switch last := i == len(path)-1; {
		case last && was != 0, was != 0 && was != dotted:
			return r.errorAt(at, "", "%s is there already", prefix+joined(path[:i+1]))
		case last:
			r.seen[full] = closed
		default:
			r.seen[full] = dotted
		}
	}
	key := prefix + joined(path)
	v, err := r.value(e.Value(), key, at)
	if err != nil {
		return err
	}
	t.Keys = append(t.Keys, key)
	t.Values[key], t.Names[key] = v, at
	if v.Kind != unstable.InlineTable {
		return nil
	}
	for it := e.Value().Children(); it.Next(); {
		if it.Node().Kind == unstable.KeyValue {
			if err := r.keyValue(t, key+".", full, it.Node()); err != nil {
				return err
			}
		}
	}
	return nil
}

// value reads a value; at is where its key stands.
func (r *reader) value(n *unstable.Node, key string, at int) (Value, error) {
	v := Value{Kind: n.Kind, Text: string(n.Data), At: int(n.Raw.Offset)}
	if v.At == 0 {
		v.At = at
	}
	if n.Raw.Length > 0 {
		v.Raw = string(r.data[n.Raw.Offset : n.Raw.Offset+n.Raw.Length])
	}
	switch n.Kind {
	case unstable.Array:
		for it := n.Children(); it.Next(); {
			if it.Node().Kind == unstable.Comment {
				continue
			}
			item, err := r.value(it.Node(), key, v.At)
			if err != nil {
				return v, err
			}
			v.Items = append(v.Items, item)
		}
	case unstable.Integer:
		if _, err := v.Int(); err != nil {
			return v, r.errorAt(v.At, key, "a number that is too large")
		}
	case unstable.Float:
		if _, err := v.Float(); err != nil {
			return v, r.errorAt(v.At, key, "a number that is too large")
		}
	case unstable.LocalDate:
		if _, _, _, ok := v.Date(); !ok {
			return v, r.errorAt(v.At, key, "an impossible date")
		}
	}
	return v, nil
}

// Int is the value of a whole number.
func (v Value) Int() (int64, error) {
	digits := strings.ReplaceAll(v.Text, "_", "")
	return strconv.ParseInt(digits, 0, 64) // a zero before others is refused by the library
}

// Float is the value of any number.
func (v Value) Float() (float64, error) {
	if v.Kind == unstable.Integer {
		n, err := v.Int()
		return float64(n), err
	}
	if strings.HasSuffix(v.Text, "nan") {
		return math.NaN(), nil // strconv takes no sign there
	}
	return strconv.ParseFloat(strings.ReplaceAll(v.Text, "_", ""), 64)
}

// Date is the value of a day, as 2026-11-25; false where the calendar has no such day.
func (v Value) Date() (year, month, day int, ok bool) {
	if len(v.Text) != len("2026-11-25") || v.Text[4] != '-' || v.Text[7] != '-' {
		return 0, 0, 0, false
	}
	for _, part := range []struct {
		to   *int
		text string
	}{{&year, v.Text[:4]}, {&month, v.Text[5:7]}, {&day, v.Text[8:]}} {
		n, err := strconv.ParseUint(part.text, 10, 16) // fmt.Sscanf would add 5 kB to the page
		if err != nil {
			return 0, 0, 0, false
		}
		*part.to = int(n)
	}
	if month < 1 || month > 12 {
		return 0, 0, 0, false
	}
	days := [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}
	last := days[month-1]
	if month == 2 && year%4 == 0 && (year%100 != 0 || year%400 == 0) {
		last++
	}
	return year, month, day, day >= 1 && day <= last
}
