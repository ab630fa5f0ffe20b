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
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"singback/internal/kept"
	"singback/internal/sqlfile"
)

// Salvage is what can still be read of a damaged record. The file is never
// written.
//
// SQLite keeps no checksums, and reads nothing behind a broken page. So the pages
// are read one by one, whatever became of those that lead to them. From version 3
// on an answer counts, wherever it lies, if its checksum fits it with its session
// and its singer. One bit that changed in those two is put right by the same means,
// since all answers hang on them.
//
// In older versions a page is sound if it is filled as SQLite fills it and each row
// on it is one that this program takes, with numbers in their shortest form and of a
// size that can be. Of a page that is not, such rows count of which the row that lies
// behind it is one too: what overwrote a place begins in the end of the row before
// it, where it may not show. What is beyond this: a few bytes that turn a number into
// another likely one.
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

	broken   int                 // pages
	changed  int                 // answers that do not fit their checksum
	mended   int                 // sessions and singers that were put right
	sessions map[int64]*kept.Row // those of answers, and of version 1 and 2 all
	found    []foundAnswer       // in the order of an export
}

// foundAnswer is where an answer lies.
type foundAnswer struct {
	session, number, row int64
	page, cell           int
	hash                 uint64 // of its bytes
	summed               bool   // it has a checksum
}

// answerKeys are the columns of the table of answers that come before those of a
// row: id and session_id.
const answerKeys = 2

// minAnswer is fewer bytes than any answer takes.
const minAnswer = 100

// SalvageRecord looks through a record that may be damaged. What shows no trace of
// a practice record is ErrRecordForeign, and one of a newer version is
// ErrRecordNewer.
func SalvageRecord(ctx context.Context, path string) (s *Salvage, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return nil, err
	}
	file, err := resolve(path)
	if err == nil {
		err = plain(file)
	}
	if err != nil {
		return nil, recordError(path, err)
	}
	pages, err := openPages(file)
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
	s.Problems, err = fileProblems(ctx, file)
	if s.mended > 0 {
		s.Problems = append([]string{fmt.Sprintf("a bit of a session or a singer had changed, as the checksums of the answers tell (%d times)", s.mended)}, s.Problems...)
	}
	if s.changed > 0 {
		s.Problems = append([]string{fmt.Sprintf("of %d answers that are there the checksum is another", s.changed)}, s.Problems...)
	}
	if s.broken > 0 {
		s.Problems = append([]string{fmt.Sprintf("%d of %d pages are broken", s.broken, s.pages.pages)}, s.Problems...)
	}
	return s, err
}

// Path returns the file of the record.
func (s *Salvage) Path() string { return s.path }

// Close closes the file.
func (s *Salvage) Close() error { return s.pages.file.Close() }

// tables are the rows of the small tables and of the index that were found: what
// they are, and what singers and sessions may be.
type tables struct {
	singers     onlyOnes[string]
	sessions    onlyOnes[sessionRecord]
	index       onlyOnes[indexEntry]
	maySingers  candidates[string]
	maySessions candidates[sessionRecord]
}

// look goes through the pages.
func (s *Salvage) look(ctx context.Context) error {
	l := looker{rd: kept.NewReader(), seed: maphash.MakeSeed()}
	t := tables{onlyOnes[string]{}, onlyOnes[sessionRecord]{}, onlyOnes[indexEntry]{}, candidates[string]{}, candidates[sessionRecord]{}}
	numbers := make([]int, 0, s.pages.pages+len(s.pages.stray))
	for n := 2; n <= s.pages.pages; n++ {
		numbers = append(numbers, n)
	}
	for i := range s.pages.stray {
		numbers = append(numbers, -1-i)
	}
	for _, n := range numbers {
		if err := ctx.Err(); err != nil {
			return err
		}
		s.lookAt(n, &l, &t)
	}
	if missing := s.pages.field(28) - s.pages.pages; s.pages.ours() && missing > 0 {
		s.broken += missing
		s.pages.pages += missing
	}
	last := s.lastRow(&t)
	s.sessions = map[int64]*kept.Row{}
	proven, err := s.prove(ctx, t.maySessions, t.maySingers)
	if err != nil {
		return err
	}
	if len(proven) > 0 {
		inFile := func(list []foundAnswer) (n int) {
			for _, a := range list {
				if a.page > 0 {
					n++
				}
			}
			return n
		}
		s.changed = inFile(s.found) - inFile(proven)
		s.found = proven
	} else {
		s.believe(&t)
	}
	s.order()
	s.Answers = len(s.found)
	s.Lost = max(0, int(last)-s.Answers)
	return nil
}

// lookAt reads a page; below 0 are the stray ones of the log.
func (s *Salvage) lookAt(n int, l *looker, t *tables) {
	page, err := s.pages.page(n)
	if err != nil {
		s.broken++ // the disk cannot read it
		return
	}
	kind, list, whole := cells(page)
	found := make([]finding, len(list))
	at := map[int]int{} // which cell begins where
	for i, c := range list {
		found[i] = l.look(kind, c)
		whole = whole && found[i].ok
		at[c.from] = i
	}
	if n < 0 {
		whole = false
	} else if !whole {
		if isPage := kind == indexInner || kind == tableInner || kind == indexLeaf || kind == tableLeaf; !isPage && s.pages.field(36) > 0 {
			return // it may be a free one
		}
		s.broken++
		if kind == indexLeaf {
			return
		}
	}
	for i, f := range found {
		c := list[i]
		behind, ok := at[c.to]
		trusted := f.ok && n > 0 && (whole || c.to == len(page) || ok && found[behind].ok)
		switch {
		case f.entry.row > 0 && trusted:
			t.index.add(f.entry.row, f.entry)
		case f.singer != "":
			t.maySingers.add(c.row, f.singer)
			if trusted {
				t.singers.add(c.row, f.singer)
			}
		case f.session != nil:
			t.maySessions.add(c.row, *f.session)
			if trusted {
				t.sessions.add(c.row, *f.session)
			}
		case f.answer != nil && (trusted || f.ok && f.answer.summed):
			f.answer.page, f.answer.cell = n, i
			s.found = append(s.found, *f.answer)
		}
	}
}

// lastRow returns the highest number of an answer that was there, if so many can
// have been.
func (s *Salvage) lastRow(t *tables) (last int64) {
	was := func(row int64) {
		if row <= int64(s.pages.pages)*int64(s.pages.size)/minAnswer {
			last = max(last, row)
		}
	}
	for n := range t.index {
		was(n)
	}
	for _, a := range s.found {
		was(a.row)
	}
	return last
}

// believe takes the answers that no checksum proves, with the sessions and singers
// that are there in one way only.
func (s *Salvage) believe(t *tables) {
	// The index has the place of each answer too.
	s.found = slices.DeleteFunc(s.found, func(a foundAnswer) bool {
		entry, ok := t.index[a.row]
		return a.summed || ok && !entry.twice && entry.value != indexEntry{a.session, a.number, a.row}
	})
	for id, one := range t.sessions {
		if singer := t.singers[one.value.singer]; !one.twice && singer.value != "" && !singer.twice {
			r := one.value.row
			r.Singer = singer.value
			s.sessions[id] = &r
		}
	}
}

// prove returns the answers whose checksum fits them, with the session and the
// singer with which it does, and remembers these sessions.
func (s *Salvage) prove(ctx context.Context, sessions candidates[sessionRecord], singers candidates[string]) (proven []foundAnswer, err error) {
	const tried = 3 // answers by which a session is put right
	failed := map[int64]int{}
	var pages pageRows
	for _, a := range s.found {
		if !a.summed {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		rw, check, err := pages.row(s.pages, a)
		if err != nil {
			return nil, recordError(s.path, err)
		}
		fits := func(session *kept.Row) bool {
			setSession(&rw, session)
			return rw.Checksum() == uint64(check)
		}
		if known := s.sessions[a.session]; known != nil {
			if fits(known) {
				proven = append(proven, a)
			}
			continue
		}
		found := (*kept.Row)(nil)
		for _, mend := range []bool{false, true} {
			if found != nil || mend && failed[a.session] >= tried {
				break
			}
			for _, one := range sessions[a.session] {
				for _, singer := range singers[one.singer] {
					r := one.row
					r.Singer = singer
					if mend && mendSession(&r, fits) {
						s.mended++
						singers.add(one.singer, r.Singer)
						found = &r
					} else if !mend && fits(&r) {
						found = &r
					}
				}
			}
		}
		if found == nil {
			failed[a.session]++
			continue
		}
		s.sessions[a.session] = found
		proven = append(proven, a)
	}
	return proven, nil
}

// mendSession changes each bit of the columns of a session in turn until it fits. None of
// ours is longer than most.
func mendSession(r *kept.Row, fits func(*kept.Row) bool) bool {
	const most = 400 // bytes
	length := 0
	for _, p := range r.Fields()[:kept.SessionColumns] {
		length += len(*p.(*string))
	}
	if length > most {
		return false
	}
	for _, p := range r.Fields()[:kept.SessionColumns] {
		text := p.(*string)
		whole := *text
		for i := range len(whole) {
			for bit := range 8 {
				changed := []byte(whole)
				changed[i] ^= 1 << bit
				if *text = string(changed); fits(r) {
					return true
				}
			}
		}
		*text = whole
	}
	return false
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
			same = same && (a.summed || s.found[i].hash == a.hash && s.found[i].row == a.row)
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

// rows yields the rows of a singer, "" for all. The row is valid until the next.
func (s *Salvage) rows(ctx context.Context, singer string) iter.Seq2[*kept.Row, error] {
	return func(yield func(*kept.Row, error) bool) {
		var pages pageRows
		for _, a := range s.found {
			session := s.sessions[a.session]
			if singer != "" && session.Singer != singer {
				continue
			}
			rw, check, err := pages.row(s.pages, a)
			setSession(&rw, session)
			if err == nil && a.summed && uint64(check) != rw.Checksum() {
				err = errMoving
			}
			if err = cmp.Or(ctx.Err(), err); err != nil {
				yield(nil, recordError(s.path, err))
				return
			}
			if !yield(&rw, nil) {
				return
			}
		}
	}
}

// Export writes the answers that can be read, of one singer or, for "", of all, as
// Record.Export does, and returns how many.
func (s *Salvage) Export(ctx context.Context, w io.Writer, f Format, singer string) (int, error) {
	return kept.WriteRows(w, f, s.rows(ctx, singer))
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
		at, _ := time.Parse(kept.TimeFormat, rw.At)
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
		if err == nil && len(problems) == 0 {
			err = examine(path, migrations)
		}
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
	return []string{sqlfile.Words(err)}, nil
}
