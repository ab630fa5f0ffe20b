package classfile

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/class"
	"singback/theory"
)

// Cell is what counts of a student and a task, as far as a table has to know.
type Cell struct {
	Task, Take int64
	Takes      int    // that were handed in
	Handed     string // RFC 3339
	Seconds    float64
	Readable   bool
	Trouble    string
	Marked     bool // by the machine: the next six
	Rubric     string
	Heard      grade.Heard
	Value      float64
	Pass       bool
	Doubt      float64
	Review     *class.Review // nil: not reviewed
}

// Standing is a student with what counts of the tasks that have a take, in the order in
// which the takes came, and all that was sung in it.
type Standing struct {
	ID    int64
	Name  string
	Cells []Cell
	Tally class.Tally
}

// Standings are all students by name, with what counts of them: some hundred bytes a
// task are held.
func (f *File) Standings() ([]Standing, error) {
	out, err := all(f, func(row interface{ Scan(...any) error }) (s Standing, err error) { return s, row.Scan(&s.ID, &s.Name) },
		"SELECT id, name FROM students ORDER BY name")
	if err != nil {
		return nil, err
	}
	type times struct {
		student, task int64
		n             int
	}
	counts, err := all(f, func(row interface{ Scan(...any) error }) (c times, err error) {
		return c, row.Scan(&c.student, &c.task, &c.n)
	}, "SELECT student_id, task_id, count(*) FROM takes GROUP BY student_id, task_id ORDER BY student_id, task_id")
	if err != nil {
		return nil, err
	}
	takes := make(map[[2]int64]int, len(counts))
	for _, c := range counts {
		takes[[2]int64{c.student, c.task}] = c.n
	}
	at := make(map[int64]int, len(out))
	for i, s := range out {
		at[s.ID] = i
	}
	sums := make([]summed, len(out))
	if err := f.eachCell(func(student int64, c Cell, tally []byte) error {
		i, ok := at[student]
		if !ok {
			return fmt.Errorf("%w: take %d is of no student", ErrDamaged, c.Take)
		}
		c.Takes = takes[[2]int64{student, c.Task}]
		out[i].Cells = append(out[i].Cells, c)
		return sums[i].add(tally)
	}); err != nil {
		return nil, f.wrap(err)
	}
	words := map[string]theory.Degree{}
	for i := range out {
		if out[i].Tally, err = sums[i].tally(words); err != nil {
			return nil, f.wrap(err)
		}
	}
	return out, nil
}

// eachCell goes over the takes that count.
func (f *File) eachCell(with func(student int64, c Cell, tally []byte) error) error {
	reviews, err := f.reviewsOfCounting()
	if err != nil {
		return err
	}
	rows, err := f.db.Query(`
SELECT t.student_id, t.task_id, t.id, t.handed, t.seconds, t.measured <> '', t.trouble, m.rubric, m.heard, m.value, m.pass, m.doubt, m.tally, t.review_id
FROM takes t LEFT JOIN marks m ON m.id = t.mark_id WHERE t.counts = 1`)
	if err != nil {
		return err
	}
	defer rows.Close()
	same := map[string]string{} // rubrics: one text of each is held
	var rubric, tally sql.RawBytes
	var student int64
	var c Cell
	var heard, pass, review sql.NullInt64
	var value, doubt sql.NullFloat64
	into := []any{&student, &c.Task, &c.Take, &c.Handed, &c.Seconds, &c.Readable, &c.Trouble, &rubric, &heard, &value, &pass, &doubt, &tally, &review}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		name, ok := same[string(rubric)]
		if !ok {
			name = string(rubric)
			same[name] = name
		}
		c.Marked, c.Rubric, c.Heard = value.Valid, name, grade.Heard(heard.Int64)
		c.Value, c.Pass, c.Doubt = value.Float64, pass.Int64 != 0, doubt.Float64
		c.Review = nil
		if review.Valid {
			c.Review = reviews[review.Int64]
		}
		if err := with(student, c, tally); err != nil {
			return err
		}
	}
	return rows.Err()
}

// reviewsOfCounting are the newest reviews of takes that count, by ID.
func (f *File) reviewsOfCounting() (map[int64]*class.Review, error) {
	list, err := all(f, func(row interface{ Scan(...any) error }) (*class.Review, error) {
		var v scannedReview
		var take int64
		if err := row.Scan(&take, &v.id, &v.mark, &v.at, &v.chosen, &v.pass, &v.value, &v.why); err != nil {
			return nil, err
		}
		return v.review(take)
	}, "SELECT t.id, r.id, r.mark_id, r.at, r.chosen, r.pass, r.value, r.why FROM reviews r JOIN takes t ON t.review_id = r.id AND t.counts = 1")
	out := make(map[int64]*class.Review, len(list))
	for _, r := range list {
		out[r.ID] = r
	}
	return out, err
}

// summed adds tallies up as they stand in a file: what is summed is read once.
type summed struct{ degrees, moves map[string]*class.Count }

func (s *summed) add(tally []byte) error {
	if len(tally) == 0 {
		return nil
	}
	if s.degrees == nil {
		s.degrees, s.moves = map[string]*class.Count{}, map[string]*class.Count{}
	}
	degrees, moves, ok := bytes.Cut(tally, []byte(";"))
	if !ok {
		return fmt.Errorf("%w: %q is no tally", ErrDamaged, tally)
	}
	return errors.Join(addEntries(s.degrees, degrees), addEntries(s.moves, moves))
}

func addEntries(into map[string]*class.Count, text []byte) error {
	for len(text) > 0 {
		var entry []byte
		entry, text, _ = bytes.Cut(text, []byte(" "))
		what, counts, _ := bytes.Cut(entry, []byte("="))
		right, of, _ := bytes.Cut(counts, []byte("/"))
		r, ok := readCount(right)
		n, ok2 := readCount(of)
		if !ok || !ok2 {
			return fmt.Errorf("%w: %q is no entry of a tally", ErrDamaged, entry)
		}
		c := into[string(what)]
		if c == nil {
			c = new(class.Count)
			into[string(what)] = c
		}
		c.Right, c.Of = c.Right+r, c.Of+n
	}
	return nil
}

func readCount(b []byte) (n int, ok bool) {
	for _, c := range b {
		if c < '0' || c > '9' || n > 1<<30 {
			return 0, false
		}
		n = 10*n + int(c-'0')
	}
	return n, len(b) > 0
}

// tally reads what was summed up; words are the degrees that were read before.
func (s *summed) tally(words map[string]theory.Degree) (class.Tally, error) {
	var err error
	degree := func(word string) theory.Degree {
		d, ok := words[word]
		if !ok {
			var e error
			if d, e = exercise.ParseDegree(word); e != nil {
				err = fmt.Errorf("%w: a tally: %w", ErrDamaged, e)
			}
			words[word] = d
		}
		return d
	}
	if len(s.degrees) == 0 && len(s.moves) == 0 {
		return class.Tally{}, nil
	}
	t := class.Tally{Degrees: map[theory.Degree]class.Count{}, Moves: map[class.Move]class.Count{}}
	for word, c := range s.degrees {
		t.Degrees[degree(word)] = *c
	}
	for word, c := range s.moves {
		from, to, _ := strings.Cut(word, ">")
		t.Moves[class.Move{From: degree(from), To: degree(to)}] = *c
	}
	return t, err
}

// Practised is how many first answers each student gave with a command, since a day; ""
// is any.
func (f *File) Practised(command string, since class.Date) (map[int64]int, error) {
	type count struct {
		student int64
		n       int
	}
	list, err := all(f, func(row interface{ Scan(...any) error }) (c count, err error) { return c, row.Scan(&c.student, &c.n) },
		"SELECT student_id, count(*) FROM answers WHERE substr(at, 1, 10) >= ? AND json_extract(row, '$.command') = ? AND json_extract(row, '$.counts') GROUP BY student_id", string(since), command)
	out := map[int64]int{}
	for _, c := range list {
		out[c.student] = c.n
	}
	return out, err
}

// NewestRemarks are the newest remarks about a task, by student and task.
func (f *File) NewestRemarks() (map[[2]int64]string, error) {
	type said struct {
		of    [2]int64
		words string
	}
	list, err := all(f, func(row interface{ Scan(...any) error }) (s said, err error) {
		return s, row.Scan(&s.of[0], &s.of[1], &s.words)
	}, "SELECT student_id, task_id, words FROM remarks WHERE task_id IS NOT NULL ORDER BY id")
	out := make(map[[2]int64]string, len(list))
	for _, s := range list {
		out[s.of] = s.words
	}
	return out, err
}

// AddSheetOfAll remembers where something with all students in it was written.
func (f *File) AddSheetOfAll(path string) error {
	return f.change(func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT OR IGNORE INTO sheets SELECT id, ? FROM students", path)
		return err
	})
}
