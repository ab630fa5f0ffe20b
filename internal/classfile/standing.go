package classfile

import (
	"database/sql"
	"fmt"
	"iter"
	"strconv"
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
// which tasks were added, and all that was sung in it.
type Standing struct {
	ID    int64
	Name  string
	Cells []Cell
	Tally class.Tally
}

// Standings are all students by name, one after the other. They are read as they are
// asked for, and f can be used meanwhile.
func (f *File) Standings() iter.Seq2[Standing, error] {
	return func(yield func(Standing, error) bool) {
		if err := f.standings(func(s Standing) bool { return yield(s, nil) }); err != nil {
			yield(Standing{}, err)
		}
	}
}

func (f *File) standings(yield func(Standing) bool) error {
	type student struct {
		id   int64
		name string
	}
	students, err := all(f, func(row interface{ Scan(...any) error }) (s student, err error) { return s, row.Scan(&s.id, &s.name) },
		"SELECT id, name FROM students ORDER BY name")
	if err != nil {
		return err
	}
	cells, err := f.db.Prepare(`
SELECT t.task_id, t.id, (SELECT count(*) FROM takes o WHERE o.student_id = t.student_id AND o.task_id = t.task_id), t.handed, t.seconds, t.measured <> '', t.trouble,
	m.rubric, m.heard, m.value, m.pass, m.doubt, m.tally, r.id, r.mark_id, r.at, r.chosen, r.pass, r.value, r.why
FROM takes t LEFT JOIN marks m ON m.id = t.mark_id LEFT JOIN reviews r ON r.id = t.review_id
WHERE t.student_id = ? AND t.counts = 1 ORDER BY t.task_id`)
	if err != nil {
		return f.wrap(err)
	}
	defer cells.Close()
	words := map[string]theory.Degree{}
	for _, s := range students {
		standing := Standing{ID: s.id, Name: s.name}
		sum := summed{words: words, degrees: map[string]*class.Count{}, moves: map[string]*class.Count{}}
		err := f.eachCell(cells, s.id, func(c Cell, tally string) error {
			standing.Cells = append(standing.Cells, c)
			return sum.add(tally)
		})
		if err == nil {
			standing.Tally, err = sum.tally()
		}
		if err != nil {
			return f.wrap(err)
		}
		if !yield(standing) {
			return nil
		}
	}
	return nil
}

func (f *File) eachCell(cells *sql.Stmt, student int64, with func(c Cell, tally string) error) error {
	rows, err := cells.Query(student)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var c Cell
		var v scannedReview
		var rubric, tally sql.NullString
		var heard, pass sql.NullInt64
		var value, doubt sql.NullFloat64
		if err := rows.Scan(&c.Task, &c.Take, &c.Takes, &c.Handed, &c.Seconds, &c.Readable, &c.Trouble, &rubric, &heard, &value, &pass, &doubt, &tally,
			&v.id, &v.mark, &v.at, &v.chosen, &v.pass, &v.value, &v.why); err != nil {
			return err
		}
		c.Marked, c.Rubric, c.Heard = value.Valid, rubric.String, grade.Heard(heard.Int64)
		c.Value, c.Pass, c.Doubt = value.Float64, pass.Int64 != 0, doubt.Float64
		if v.id.Valid {
			if c.Review, err = v.review(c.Take); err != nil {
				return err
			}
		}
		if err := with(c, tally.String); err != nil {
			return err
		}
	}
	return rows.Err()
}

// summed adds tallies up as they stand in a file: what is summed is read once.
type summed struct {
	words          map[string]theory.Degree
	degrees, moves map[string]*class.Count
}

func (s *summed) add(tally string) error {
	if tally == "" {
		return nil
	}
	degrees, moves, ok := strings.Cut(tally, ";")
	if !ok {
		return fmt.Errorf("%w: %q is no tally", ErrDamaged, tally)
	}
	for _, part := range []struct {
		text string
		into map[string]*class.Count
	}{{degrees, s.degrees}, {moves, s.moves}} {
		for entry := range strings.FieldsSeq(part.text) {
			what, counts, _ := strings.Cut(entry, "=")
			right, of, _ := strings.Cut(counts, "/")
			r, err := strconv.Atoi(right)
			n, err2 := strconv.Atoi(of)
			if err != nil || err2 != nil {
				return fmt.Errorf("%w: %q is no entry of a tally", ErrDamaged, entry)
			}
			c := part.into[what]
			if c == nil {
				c = new(class.Count)
				part.into[what] = c
			}
			c.Right, c.Of = c.Right+r, c.Of+n
		}
	}
	return nil
}

// tally reads what was summed up.
func (s *summed) tally() (class.Tally, error) {
	var err error
	degree := func(word string) theory.Degree {
		d, ok := s.words[word]
		if !ok {
			var e error
			if d, e = exercise.ParseDegree(word); e != nil {
				err = fmt.Errorf("%w: a tally: %w", ErrDamaged, e)
			}
			s.words[word] = d
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
