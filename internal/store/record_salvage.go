package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"io/fs"
	"iter"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Salvage is what can still be read of a damaged record. The file is never
// written.
//
// SQLite keeps no checksums, and reads nothing behind a broken page. So the pages
// are read one by one, whatever became of those that lead to them. A page is sound
// if it is filled as SQLite fills it and each row on it is one that this program
// takes, with numbers in their shortest form and of a size that can be. Of a page
// that is not, such rows count of which the row that lies behind it is one too: what
// overwrote a place begins in the end of the row before it, where it may not show.
// What is beyond this: a few bytes that turn a number into another likely one.
type Salvage struct {
	path  string
	pages *pageFile

	// Problems are what is wrong with the file, at most some 20 lines; empty: nothing.
	Problems []string
	Version  int
	// Answers can be read; Lost were there and cannot. Where pages are broken, more
	// may have been there of which nothing is left.
	Answers, Lost int
	SizeBytes     int64

	broken   int // pages
	sessions map[int64]*row
	found    []foundAnswer // in the order of an export
}

// foundAnswer is where an answer lies.
type foundAnswer struct {
	session, number, row int64
	page, cell           int
	sum                  uint64 // of its bytes
}

// answerKeys are the columns of the table of answers that come before those of a
// row: id and session_id.
const answerKeys = 2

// SalvageRecord looks through a record that may be damaged. What shows no trace of
// a practice record is ErrRecordForeign, and one of a newer version is
// ErrRecordNewer.
func SalvageRecord(ctx context.Context, path string) (s *Salvage, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return nil, err
	}
	pages, err := openPages(path)
	if err != nil {
		return nil, recordError(path, err)
	}
	defer func() {
		if err != nil {
			pages.file.Close()
		}
	}()
	s = &Salvage{path: path, pages: pages}
	if s.pages.ours() {
		if s.Version = s.pages.field(60); s.Version > len(migrations) {
			return nil, recordError(path, newer(s.Version))
		}
	}
	if info, err := s.pages.file.Stat(); err == nil {
		s.SizeBytes = info.Size()
	}
	if err := s.look(ctx); err != nil {
		return nil, err
	}
	if !s.pages.ours() && s.Answers == 0 {
		return nil, recordError(path, ErrRecordForeign)
	}
	s.Problems, err = fileProblems(ctx, path)
	if s.broken > 0 {
		s.Problems = append([]string{fmt.Sprintf("%d of %d pages are broken", s.broken, s.pages.pages)}, s.Problems...)
	}
	return s, err
}

// Path returns the file of the record.
func (s *Salvage) Path() string { return s.path }

// Close closes the file.
func (s *Salvage) Close() error { return s.pages.file.Close() }

// look goes through the pages.
func (s *Salvage) look(ctx context.Context) error {
	l := looker{rd: newReader(), seed: maphash.MakeSeed()}
	singers, sessions, index := onlyOnes[string]{}, onlyOnes[sessionRecord]{}, onlyOnes[indexEntry]{}
	for n := 2; n <= s.pages.pages; n++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		page, err := s.pages.page(n)
		if err != nil {
			s.broken++ // the disk cannot read it
			continue
		}
		kind, list, whole := cells(page)
		found := make([]finding, len(list))
		at := map[int]int{} // which cell begins where
		for i, c := range list {
			found[i] = l.look(kind, c)
			whole = whole && found[i].ok
			at[c.from] = i
		}
		if !whole {
			if isPage := kind == indexInner || kind == tableInner || kind == indexLeaf || kind == tableLeaf; !isPage && s.pages.field(36) > 0 {
				continue // it may be a free one
			}
			s.broken++
			if kind == indexLeaf {
				continue
			}
		}
		for i, f := range found {
			c := list[i]
			if behind, ok := at[c.to]; !f.ok || !whole && c.to != len(page) && !(ok && found[behind].ok) {
				continue
			}
			switch {
			case f.entry.row > 0:
				index.add(f.entry.row, f.entry)
			case f.singer != "":
				singers.add(c.row, f.singer)
			case f.session != nil:
				sessions.add(c.row, *f.session)
			case f.answer != nil:
				f.answer.page, f.answer.cell = n, i
				s.found = append(s.found, *f.answer)
			}
		}
	}
	// The index has the place of each answer too.
	last := int64(0) // the highest number of a row that was there
	for n := range index {
		last = max(last, n)
	}
	s.found = slices.DeleteFunc(s.found, func(a foundAnswer) bool {
		last = max(last, a.row)
		entry, ok := index[a.row]
		return ok && !entry.twice && entry.value != indexEntry{a.session, a.number, a.row}
	})
	if missing := s.pages.field(28) - s.pages.pages; s.pages.ours() && missing > 0 {
		s.broken += missing
		s.pages.pages += missing
	}
	s.sessions = map[int64]*row{}
	for id, one := range sessions {
		if singer := singers[one.value.singer]; !one.twice && singer.value != "" && !singer.twice {
			r := one.value.row
			r.Singer = singer.value
			s.sessions[id] = &r
		}
	}
	s.order()
	s.Answers = len(s.found)
	s.Lost = max(0, int(last)-s.Answers)
	return nil
}

// looker reads the cells of all tables.
type looker struct {
	rd     *reader
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
		name, ok := values[1].text()
		f.singer, f.ok = name, ok && values[0].null() && CheckSinger(name) == nil
	case n == sessionValues:
		f.session, f.ok = l.session(values)
	case n == answerKeys+firstColumns-sessionColumns, n == answerKeys+len(columns)-sessionColumns:
		var rw row
		session, ok := rw.setValues(values)
		rw.setSession(&standIn)
		if f.ok = ok && rw.likely(); f.ok {
			_, err := l.rd.answer(&rw)
			f.ok = err == nil
		}
		f.answer = &foundAnswer{session: session, number: rw.Number, row: c.row, sum: maphash.Bytes(l.seed, c.record)}
	}
	return f
}

// order puts what was found into the order of an export, and leaves out what is
// there twice, and what is there in two ways or belongs to no known session.
func (s *Salvage) order() {
	slices.SortFunc(s.found, func(a, b foundAnswer) int {
		if c := cmp.Or(cmp.Compare(a.session, b.session), cmp.Compare(a.number, b.number)); c != 0 {
			return c
		}
		return cmp.Or(cmp.Compare(a.page, b.page), cmp.Compare(a.cell, b.cell))
	})
	var kept []foundAnswer
	for i := 0; i < len(s.found); {
		a, same := s.found[i], true
		for i++; i < len(s.found) && s.found[i].session == a.session && s.found[i].number == a.number; i++ {
			same = same && s.found[i].sum == a.sum && s.found[i].row == a.row
		}
		if same && s.sessions[a.session] != nil {
			kept = append(kept, a)
		}
	}
	slices.SortStableFunc(kept, func(a, b foundAnswer) int {
		x, y := s.sessions[a.session], s.sessions[b.session]
		return cmp.Or(strings.Compare(x.Singer, y.Singer), strings.Compare(x.Started, y.Started), cmp.Compare(a.session, b.session))
	})
	s.found = kept
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
	row    row
	singer int64
}

func (l *looker) session(values []value) (*sessionRecord, bool) {
	s := &sessionRecord{}
	r, ok := &s.row, values[0].null()
	for i, to := range []*string{1: &r.Session, 3: &r.Started, 4: &r.Command, 5: &r.Source, 6: &r.Seed, 7: &r.Estimator} {
		if to != nil && ok {
			*to, ok = values[i].text()
		}
	}
	if !ok {
		return nil, false
	}
	s.singer, ok = values[2].integer()
	r.Singer = standIn.Singer
	_, err := l.rd.readSession(r)
	r.Singer = ""
	return s, ok && err == nil
}

// standIn is the session of an answer whose own is not known yet.
var standIn = row{
	Singer: "?", Session: strings.Repeat("0", 32), Started: time.Unix(0, 0).UTC().Format(timeFormat),
	Command: "?", Source: "?", Seed: "0", Estimator: "?",
}

// setSession copies the columns of the session from another row.
func (r *row) setSession(from *row) {
	r.Singer, r.Session, r.Started = from.Singer, from.Session, from.Started
	r.Command, r.Source, r.Seed, r.Estimator = from.Command, from.Source, from.Seed, from.Estimator
}

// setValues sets the columns of an answer from the values of its record, and
// returns the number of its session.
func (r *row) setValues(values []value) (session int64, ok bool) {
	if session, ok = values[1].integer(); !ok || !values[0].null() {
		return session, false
	}
	fields := r.fields()[sessionColumns:]
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
			*p, ok = v.kind == 9, v.kind == 8 || v.kind == 9
		}
		if !ok {
			return session, false
		}
	}
	return session, true
}

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
func (r *row) likely() bool {
	real := func(x float64) bool { return x == 0 || math.Abs(x) > 1e-18 && math.Abs(x) < 1e6 }
	whole := func(x int64) bool { return x > -1000 && x < 1e6 }
	for _, p := range r.fields()[sessionColumns:] {
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

// rows yields the rows of a singer, "" for all. The row is valid until the next.
func (s *Salvage) rows(ctx context.Context, singer string) iter.Seq2[*row, error] {
	return func(yield func(*row, error) bool) {
		var values []value
		var list []cell
		held := 0
		for _, a := range s.found {
			session := s.sessions[a.session]
			if singer != "" && session.Singer != singer {
				continue
			}
			err := ctx.Err()
			if err == nil && a.page != held {
				var page []byte
				page, err = s.pages.page(a.page)
				if err == nil {
					_, list, _ = cells(page)
				}
				held = a.page
			}
			var rw row
			ok := false
			if err == nil && a.cell < len(list) {
				if values, ok = record(values[:0], list[a.cell].record); ok {
					_, ok = rw.setValues(values)
				}
			}
			if err == nil && !ok {
				err = errors.New("it changes while it is read")
			}
			if err != nil {
				yield(nil, recordError(s.path, err))
				return
			}
			rw.setSession(session)
			if !yield(&rw, nil) {
				return
			}
		}
	}
}

// Export writes the answers that can be read, of one singer or, for "", of all, as
// Record.Export does, and returns how many.
func (s *Salvage) Export(ctx context.Context, w io.Writer, f Format, singer string) (int, error) {
	return exportRows(w, f, s.rows(ctx, singer))
}

// Check sums up what was found.
func (s *Salvage) Check() Check {
	c := Check{Version: s.Version, Problems: s.Problems, Sessions: len(s.sessions), Answers: s.Answers, Lost: s.Lost, SizeBytes: s.SizeBytes}
	of := map[string]int{}
	for _, r := range s.sessions {
		if _, ok := of[r.Singer]; !ok {
			of[r.Singer] = len(c.Singers)
			c.Singers = append(c.Singers, SingerCount{Name: r.Singer})
		}
		c.Singers[of[r.Singer]].Sessions++
	}
	for rw, err := range s.rows(context.Background(), "") {
		if err != nil {
			break
		}
		n := &c.Singers[of[rw.Singer]]
		n.Answers++
		at, _ := time.Parse(timeFormat, rw.At)
		if n.First.IsZero() || at.Before(n.First) {
			n.First = at
		}
		if at.After(n.Last) {
			n.Last = at
		}
	}
	slices.SortFunc(c.Singers, func(a, b SingerCount) int { return strings.Compare(a.Name, b.Name) })
	return c
}

// fileProblems asks SQLite what is wrong with a file.
func fileProblems(ctx context.Context, path string) ([]string, error) {
	db, err := openReading(path)
	if err == nil {
		defer db.Close()
		var problems []string
		problems, err = integrity(ctx, db)
		if err == nil {
			return problems, nil
		}
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, os.ErrPermission) {
		return nil, recordError(path, err)
	}
	return []string{line(err.Error())}, nil
}
