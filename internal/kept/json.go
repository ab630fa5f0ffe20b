package kept

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"singback/exercise/practice"
)

// checksumField stands behind the columns of a Line.
const checksumField = "checksum"

// Line writes a row as one object of JSON on one line, without the line's end: that
// of JSONLines, with the checksum behind it, in 16 hexadecimal digits. It is how an
// answer is kept where there are no tables.
func (r *Row) Line() ([]byte, error) {
	return json.Marshal(struct {
		*Row
		Checksum string `json:"checksum"`
	}{r, fmt.Sprintf("%016x", r.Checksum())})
}

// Line reads what Row.Line has written: the row, and the answer that it is. An error
// wraps ErrAnswer: it is ErrChanged where the checksum is another, or it is a line that
// Row.Line does not write.
func (rd *Reader) Line(line []byte) (*Row, practice.Answer, error) {
	r, sum, ok := scanRow(string(line))
	if !ok || len(sum) != 16 {
		return nil, practice.Answer{}, fmt.Errorf("%w: no line of a practice record, or one of a newer version", ErrAnswer)
	}
	if want, err := strconv.ParseUint(sum, 16, 64); err != nil || want != r.Checksum() {
		return nil, practice.Answer{}, ErrChanged
	}
	a, err := rd.Answer(r)
	if err != nil {
		return nil, a, fmt.Errorf("%w: %w", ErrAnswer, err)
	}
	return r, a, nil
}

// EncodeLine is Row.Line of an answer, which is checked. Its number in the session is
// for the caller to give.
func EncodeLine(a practice.Answer) ([]byte, error) {
	if err := Check(a); err != nil {
		return nil, err
	}
	r := NewRow(a)
	return r.Line()
}

func readJSON(in *bufio.Reader, found func(*Row) error) error {
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
			rw, sum, ok := scanRow(string(text))
			if !ok || sum != "" {
				if rw, err = unmarshalRow(text); err != nil {
					return fmt.Errorf("line %d: %w", n, err)
				}
			}
			if err := found(rw); err != nil {
				return fmt.Errorf("line %d: %w", n, err)
			}
		}
		if end {
			return nil
		}
	}
}

// unmarshalRow reads a row in any way of writing JSON.
func unmarshalRow(text []byte) (*Row, error) {
	var names map[string]json.RawMessage
	var rw Row
	if err := json.Unmarshal(text, &names); err != nil {
		return nil, fmt.Errorf("no JSON object: %w", err)
	}
	want := VersionColumns[1] // and those of the newest version of which one is there
	for _, n := range VersionColumns[2:] {
		for _, c := range Columns[want:n] {
			if _, ok := names[c]; ok {
				want = n
				break
			}
		}
	}
	for _, c := range Columns[:want] {
		if _, ok := names[c]; !ok {
			return nil, fmt.Errorf("%s is missing", c)
		}
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&rw); err != nil {
		return nil, errors.New(strings.TrimPrefix(err.Error(), "json: "))
	}
	return &rw, nil
}

// scanRow reads a row that is written as JSONLines and Line write it: the columns of
// one version, in their order, and the checksum, if it is there. It takes a small part
// of the time of unmarshalRow. false: it is written in another way, or no row at all.
func scanRow(text string) (r *Row, checksum string, ok bool) {
	s := scanner{text, true}
	r = &Row{}
	n := 0
	for i, p := range r.Fields() {
		if !s.begins(i, Columns[i]) {
			break
		}
		n++
		s.value(p)
	}
	if s.begins(n, checksumField) {
		checksum = s.text()
	}
	s.want('}')
	s.blanks()
	return r, checksum, s.ok && s.rest == "" && slices.Contains(VersionColumns[1:], n)
}

// scanner reads JSON from the beginning of what is left. It goes on after the first
// thing that is not as it should be, and ok tells that there was one.
type scanner struct {
	rest string
	ok   bool
}

func (s *scanner) blanks() {
	if s.rest != "" && s.rest[0] <= ' ' {
		s.rest = strings.TrimLeft(s.rest, " \t\r\n")
	}
}

func (s *scanner) want(c byte) {
	s.blanks()
	if s.rest == "" || s.rest[0] != c {
		s.ok = false
		return
	}
	s.rest = s.rest[1:]
}

// begins reports whether the i-th field of the object, from 0, has this name, and
// goes on behind the colon if so.
func (s *scanner) begins(i int, name string) bool {
	t := *s
	t.want("{,"[min(i, 1)])
	t.want('"')
	if !t.ok || !t.word(name) || !t.word(`"`) {
		return false
	}
	t.want(':')
	t.blanks()
	*s = t
	return true
}

// value sets a field.
func (s *scanner) value(field any) {
	switch p := field.(type) {
	case *string:
		*p = s.text()
	case **string:
		scanNull(s, p, s.text)
	case *int64:
		*p = s.whole()
	case **int64:
		scanNull(s, p, s.whole)
	case *float64:
		*p = s.real()
	case **float64:
		scanNull(s, p, s.real)
	case *bool:
		*p = s.truth()
	case **bool:
		scanNull(s, p, s.truth)
	}
}

func scanNull[T any](s *scanner, p **T, read func() T) {
	if !s.word("null") {
		x := read()
		*p = &x
	}
}

func (s *scanner) word(w string) (there bool) {
	s.rest, there = strings.CutPrefix(s.rest, w)
	return there
}

func (s *scanner) truth() bool {
	yes := s.word("true")
	s.ok = s.ok && (yes || s.word("false"))
	return yes
}

// text reads a string.
func (s *scanner) text() (out string) {
	if s.rest == "" || s.rest[0] != '"' {
		s.ok = false
		return ""
	}
	end, isPlain := 1, true
	for ; end < len(s.rest) && s.rest[end] != '"'; end++ {
		switch c := s.rest[end]; {
		case c == '\\':
			isPlain = false
			end++
		case c < ' ':
			s.ok = false
		case c >= utf8.RuneSelf:
			isPlain = false
		}
	}
	if end >= len(s.rest) {
		s.ok = false
		return ""
	}
	out = s.rest[1:end]
	if !isPlain && json.Unmarshal([]byte(s.rest[:end+1]), &out) != nil {
		s.ok = false
	}
	s.rest = s.rest[end+1:]
	return out
}

func (s *scanner) whole() int64 {
	x, err := strconv.ParseInt(s.number(), 10, 64)
	s.ok = s.ok && err == nil
	return x
}

func (s *scanner) real() float64 {
	x, err := strconv.ParseFloat(s.number(), 64)
	s.ok = s.ok && err == nil
	return x
}

// number reads a number by the grammar of JSON (RFC 8259, section 6).
func (s *scanner) number() string {
	i := 0
	one := func(of string) bool {
		if i < len(s.rest) && strings.IndexByte(of, s.rest[i]) >= 0 {
			i++
			return true
		}
		return false
	}
	digits := func() {
		from := i
		for i < len(s.rest) && s.rest[i] >= '0' && s.rest[i] <= '9' {
			i++
		}
		s.ok = s.ok && i > from
	}
	one("-")
	if !one("0") {
		digits()
	}
	if one(".") {
		digits()
	}
	if one("eE") {
		one("+-")
		digits()
	}
	text := s.rest[:i]
	s.rest = s.rest[i:]
	return text
}
