package store

import (
	"errors"
	"hash/maphash"
	"math"
	"slices"
	"strings"
	"time"

	"singback/internal/kept"
)

// looker reads the cells of all tables.
type looker struct {
	rd     *kept.Reader
	seed   maphash.Seed
	values []value
}

// finding is what a cell is: a singer, a session, an answer, or, with neither,
// something else.
type finding struct {
	ok      bool
	singer  string
	session *sessionRecord
	answer  *foundAnswer
	entry   indexEntry
}

// indexEntry is an entry of the index of the answers, with the number of the row.
type indexEntry struct{ session, number, row int64 }

// The tables and the index of the answers are told by how many values they have.
const (
	singerValues  = 2
	sessionValues = 8
	indexValues   = 3
)

func (l *looker) look(kind byte, c cell) (f finding) {
	if l.values, f.ok = record(l.values[:0], c.record); !f.ok {
		return f
	}
	values := l.values
	switch n := len(values); {
	case kind == indexLeaf && n == indexValues:
		for i, to := range []*int64{&f.entry.session, &f.entry.number, &f.entry.row} {
			x, ok := values[i].integer()
			*to, f.ok = x, f.ok && ok && x > 0
		}
	case kind == indexLeaf:
	case n == singerValues:
		f.singer = string(values[1].bytes)
		name, ok := values[1].text()
		f.ok = ok && values[0].null() && kept.CheckSinger(name) == nil
	case n == sessionValues:
		f.session, f.ok = l.session(values)
	case n == answerValues(1), n == answerValues(2), n == answerValues(summed):
		var rw kept.Row
		session, check, ok := setValues(&rw, values)
		setSession(&rw, &standIn)
		if f.ok = ok && (check != nil || likely(&rw)); f.ok {
			_, err := l.rd.Answer(&rw)
			f.ok = err == nil
		}
		f.answer = &foundAnswer{session: session, number: rw.Number, row: c.row, hash: maphash.Bytes(l.seed, c.record), summed: check != nil}
	}
	return f
}

// answerValues is how many values the table of answers of a version has.
func answerValues(version int) int {
	n := answerKeys + kept.VersionColumns[version] - kept.SessionColumns
	if version >= summed {
		n++
	}
	return n
}

// candidates are what the rows of a small table may have been, by their numbers.
type candidates[T comparable] map[int64][]T

func (c candidates[T]) add(id int64, x T) {
	const most = 8 // copies of pages do not differ, and noise is no row
	if !slices.Contains(c[id], x) && len(c[id]) < most {
		c[id] = append(c[id], x)
	}
}

// onlyOnes are rows of a small table by their numbers. What is there in two ways
// is none.
type onlyOnes[T comparable] map[int64]struct {
	value T
	twice bool
}

func (m onlyOnes[T]) add(id int64, x T) {
	old, there := m[id]
	old.twice = old.twice || there && old.value != x
	old.value = x
	m[id] = old
}

// sessionRecord is a row of the table of sessions; its row has no singer yet.
type sessionRecord struct {
	row    kept.Row
	singer int64
}

func (l *looker) session(values []value) (*sessionRecord, bool) {
	s := &sessionRecord{}
	r, ok := &s.row, values[0].null()
	for i, to := range []*string{1: &r.Session, 3: &r.Started, 4: &r.Command, 5: &r.Source, 6: &r.Seed, 7: &r.Estimator} {
		if to != nil {
			_, isText := values[i].text()
			*to, ok = string(values[i].bytes), ok && isText
		}
	}
	singer, isNumber := values[2].integer()
	s.singer = singer
	if !ok || !isNumber {
		return s, false
	}
	r.Singer = standIn.Singer
	_, err := l.rd.Session(r)
	r.Singer = ""
	return s, err == nil
}

// standIn is the session of an answer whose own is not known yet.
var standIn = kept.Row{
	Singer: "?", Session: strings.Repeat("0", 32), Started: time.Unix(0, 0).UTC().Format(kept.TimeFormat),
	Command: "?", Source: "?", Seed: "0", Estimator: "?",
}

// setSession copies the columns of the session from another row.
func setSession(r *kept.Row, from *kept.Row) {
	r.Singer, r.Session, r.Started = from.Singer, from.Session, from.Started
	r.Command, r.Source, r.Seed, r.Estimator = from.Command, from.Source, from.Seed, from.Estimator
}

// setValues sets the columns of an answer from the values of its record, and
// returns the number of its session, and its checksum if it has one.
func setValues(r *kept.Row, values []value) (session int64, check *int64, ok bool) {
	if session, ok = values[1].integer(); !ok || !values[0].null() {
		return session, nil, false
	}
	if len(values) == answerValues(summed) {
		last := len(values) - 1
		sum, ok := values[last].integer()
		if !ok {
			return session, nil, false
		}
		check, values = &sum, values[:last]
	}
	fields := r.Fields()[kept.SessionColumns:]
	for i, v := range values[answerKeys:] {
		ok := true
		switch p := fields[i].(type) {
		case *string:
			*p, ok = v.text()
		case **string:
			ok = setValue(p, v, v.text)
		case *int64:
			*p, ok = v.integer()
		case **int64:
			ok = setValue(p, v, v.integer)
		case *float64:
			*p, ok = v.real()
		case **float64:
			ok = setValue(p, v, v.real)
		case *bool:
			*p, ok = v.truth()
		case **bool:
			ok = setValue(p, v, v.truth)
		}
		if !ok {
			return session, nil, false
		}
	}
	return session, check, true
}

// truth returns yes or no; false in ok if it is neither.
func (v value) truth() (truth, ok bool) { return v.kind == 9, v.kind == 8 || v.kind == 9 }

func setValue[T any](p **T, v value, read func() (T, bool)) bool {
	if v.null() {
		return true
	}
	x, ok := read()
	*p = &x
	return ok
}

// likely reports whether the numbers of a row are of a size that such numbers
// have. Eight bytes at random are so 1 in 25 times.
func likely(r *kept.Row) bool {
	real := func(x float64) bool { return x == 0 || math.Abs(x) > 1e-18 && math.Abs(x) < 1e6 }
	whole := func(x int64) bool { return x > -1000 && x < 1e6 }
	for _, p := range r.Fields()[kept.SessionColumns:] {
		ok := true
		switch p := p.(type) {
		case *float64:
			ok = real(*p)
		case **float64:
			ok = *p == nil || real(**p)
		case *int64:
			ok = whole(*p)
		case **int64:
			ok = *p == nil || whole(**p)
		}
		if !ok {
			return false
		}
	}
	return true
}

// pageRows reads the rows of answers that were found, page by page.
type pageRows struct {
	held   int // the page of list
	list   []cell
	values []value
}

var errMoving = errors.New("it changes while it is read")

// row returns an answer without its session, and its checksum, 0 if it has none.
func (p *pageRows) row(pages *pageFile, a foundAnswer) (rw kept.Row, check int64, err error) {
	if a.page != p.held {
		page, err := pages.page(a.page)
		if err != nil {
			return rw, 0, err
		}
		_, p.list, _ = cells(page)
		p.held = a.page
	}
	if a.cell >= len(p.list) {
		return rw, 0, errMoving
	}
	var ok bool
	if p.values, ok = record(p.values[:0], p.list[a.cell].record); !ok {
		return rw, 0, errMoving
	}
	_, sum, ok := setValues(&rw, p.values)
	if !ok {
		return rw, 0, errMoving
	}
	if sum != nil {
		check = *sum
	}
	return rw, check, nil
}
