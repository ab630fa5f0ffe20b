package classfile

import (
	"cmp"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"slices"
	"strconv"
	"strings"

	"singback/exercise/grade"
	"singback/internal/class"
)

// Query chooses takes; the zero Query is all of them.
type Query struct {
	Student, Task int64 // 0: any
	Unmarked      bool  // that could be read and have no mark
	Counting      bool  // those that count: one of a student and a task
	Reviewed      bool  // that the teacher reviewed
	ByID          bool  // they come by ID
	After         int64 // only takes with an ID beyond it
	Most          int   // 0: all
}

// Row is a take with the newest that was said of it. Of a mark that comes from a
// file the parts have neither words nor places.
type Row struct {
	class.Take
	StudentName, TaskName string
	Counts                bool
	Mark                  *class.Mark   // nil: not marked yet
	Review                *class.Review // nil: not reviewed
}

// Value is what counts of a take, 0 to 1, and whether that is a pass: the teacher's
// word where there is one. ok is false where nobody said anything yet. A teacher who
// said pass or fail alone leaves the machine's value.
func (r Row) Value() (value float64, pass, ok bool) {
	if r.Mark != nil {
		value, pass, ok = r.Mark.Value, r.Mark.Pass, true
	}
	if r.Review != nil {
		pass, ok = r.Review.Pass, true
		if r.Review.Value >= 0 {
			value = r.Review.Value
		}
	}
	return value, pass, ok
}

const takeRows = `
SELECT t.id, t.student_id, t.task_id, t.source, t.sha256, t.handed, t.collected, t.seconds, t.measured, t.trouble, t.kept, t.counts,
	s.name, k.name,
	m.id, m.at, m.rubric, m.rubric_sum, m.tolerance, m.free_key, m.free_octave, m.model_sum, m.measured, m.heard, m.value, m.pass, m.pass_at, m.error, m.doubt, m.score, m.probability, m.parts, m.tally,
	r.id, r.mark_id, r.at, r.chosen, r.pass, r.value, r.why
FROM takes t JOIN students s ON s.id = t.student_id JOIN tasks k ON k.id = t.task_id
LEFT JOIN marks m ON m.id = t.mark_id LEFT JOIN reviews r ON r.id = t.review_id`

// Takes are the takes of a query: task by task as Tasks has them, in the order of
// the students' names, of each the first that was handed in first; or by ID.
// They are read as they are asked for, some at a time; f may be used meanwhile.
func (f *File) Takes(q Query) iter.Seq2[Row, error] {
	where, args := []string{"1"}, []any{}
	also := func(on bool, clause string, values ...any) {
		if on {
			where, args = append(where, clause), append(args, values...)
		}
	}
	also(q.Student != 0, "t.student_id = ?", q.Student)
	also(q.Task != 0, "t.task_id = ?", q.Task)
	also(q.Unmarked, "t.mark_id IS NULL AND t.measured <> ''")
	also(q.Counting, "t.counts = 1")
	also(q.Reviewed, "t.review_id IS NOT NULL")
	also(q.After > 0, "t.id > ?", q.After)
	order := "k.due = '', k.due, k.id, s.name, t.handed, t.id"
	if q.ByID {
		order = "t.id"
	}
	limit := ""
	if q.Most > 0 {
		limit = fmt.Sprintf(" LIMIT %d", q.Most)
	}
	chosen := "SELECT t.id FROM takes t JOIN students s ON s.id = t.student_id JOIN tasks k ON k.id = t.task_id WHERE " + strings.Join(where, " AND ") + " ORDER BY " + order + limit
	return func(yield func(Row, error) bool) {
		ids, err := all(f, func(row interface{ Scan(...any) error }) (id int64, err error) { return id, row.Scan(&id) }, chosen, args...)
		for len(ids) > 0 && err == nil {
			n := min(len(ids), readAtOnce)
			var rows []Row
			if rows, err = f.takes(ids[:n]); err != nil {
				break
			}
			for _, r := range rows {
				if !yield(r, nil) {
					return
				}
			}
			ids = ids[n:]
		}
		if err != nil {
			yield(Row{}, err)
		}
	}
}

// readAtOnce is how many takes are read in one go: between, the file is free.
const readAtOnce = 256

// takes are the takes of some IDs, in their order. One that is gone by now is left out.
func (f *File) takes(ids []int64) ([]Row, error) {
	place := make(map[int64]int, len(ids))
	list := make([]string, len(ids))
	for i, id := range ids {
		place[id], list[i] = i, strconv.FormatInt(id, 10)
	}
	rows, err := all(f, scanTake, takeRows+" WHERE t.id IN ("+strings.Join(list, ",")+")")
	slices.SortFunc(rows, func(a, b Row) int { return place[a.ID] - place[b.ID] })
	return rows, err
}

// Take is one take. The error wraps ErrNobody where there is none.
func (f *File) Take(id int64) (Row, error) {
	r, err := scanTake(f.db.QueryRow(takeRows+" WHERE t.id = ?", id))
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("take %d: %w", id, ErrNobody)
	}
	return r, f.wrap(err)
}

func scanTake(row interface{ Scan(...any) error }) (r Row, err error) {
	var m scannedMark
	var v scannedReview
	var sum []byte
	t := &r.Take
	err = row.Scan(append(append([]any{&t.ID, &t.Student, &t.Task, &t.Source, &sum, &t.Handed, &t.Collected, &t.Seconds, &t.Measured, &t.Trouble, &t.Kept, &r.Counts,
		&r.StudentName, &r.TaskName}, m.into()...), &v.id, &v.mark, &v.at, &v.chosen, &v.pass, &v.value, &v.why)...)
	if err != nil {
		return r, err
	}
	t.SHA256 = hex.EncodeToString(sum)
	if m.id.Valid {
		if r.Mark, err = m.mark(t.ID); err != nil {
			return r, err
		}
	}
	if v.id.Valid {
		r.Review, err = v.review(t.ID)
	}
	return r, err
}

// AddTake adds a take with what was measured of it, as class.Pack keeps it; packed
// is nil where it could not be read. The same recording of the same student for the
// same task is there once: then added is false and id is that of the first, unless
// that one could not be read: then it is measured now.
func (f *File) AddTake(t class.Take, packed []byte) (id int64, added bool, err error) {
	err = f.change(func(tx *sql.Tx) error {
		id, added, err = addTake(tx, t, packed, false)
		return err
	})
	return id, added, err
}

// Added is a take to be added with its mark, in one change with others.
type Added struct {
	class.Take
	Packed    []byte
	Recording []byte // a copy to be kept; nil: none
	Mark      *class.Mark
	Again     bool // what was measured of it before is replaced
}

// AddTakes adds takes in one change, with their marks where they have one, and tells
// how many are new.
func (f *File) AddTakes(takes []Added) (added int, err error) {
	err = f.change(func(tx *sql.Tx) error {
		for _, t := range takes {
			id, is, err := addTake(tx, t.Take, t.Packed, t.Again)
			if err != nil {
				return err
			}
			if is {
				added++
			}
			if t.Mark != nil && is {
				if _, err := addMark(tx, id, *t.Mark); err != nil {
					return err
				}
			}
			if t.Recording != nil {
				if err := keepRecording(tx, id, t.Recording); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		added = 0
	}
	return added, err
}

func addTake(tx *sql.Tx, t class.Take, packed []byte, again bool) (id int64, added bool, err error) {
	sum, err := hex.DecodeString(t.SHA256)
	if err != nil || len(sum) == 0 {
		return 0, false, fmt.Errorf("%s: %q is no checksum", t.Source, t.SHA256)
	}
	var measured string
	err = tx.QueryRow("SELECT id, measured FROM takes WHERE student_id = ? AND task_id = ? AND sha256 = ?", t.Student, t.Task, sum).Scan(&id, &measured)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		r, err := tx.Exec(`INSERT INTO takes (student_id, task_id, source, sha256, handed, collected, seconds, measured, trouble, kept, counts)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0)`, t.Student, t.Task, t.Source, sum, t.Handed, t.Collected, t.Seconds, t.Measured, t.Trouble)
		if err != nil {
			return 0, false, err
		}
		if id, err = r.LastInsertId(); err != nil {
			return 0, false, err
		}
	case err != nil:
		return 0, false, err
	case packed == nil || measured != "" && !again:
		return id, false, nil
	default:
		if _, err := tx.Exec("UPDATE takes SET seconds = ?, measured = ?, trouble = '', source = ? WHERE id = ?", t.Seconds, t.Measured, t.Source, id); err != nil {
			return 0, false, err
		}
	}
	if packed != nil {
		if _, err := tx.Exec("INSERT OR REPLACE INTO measured VALUES (?, ?)", id, packed); err != nil {
			return 0, false, err
		}
	}
	return id, true, countOf(tx, t.Student, t.Task)
}

// countOf says which take of a student and a task counts: of those that could be
// read, as the task says.
func countOf(tx *sql.Tx, student, task int64) error {
	return count(tx, "student_id = ? AND task_id = ?", student, task)
}

// count says of the takes of a clause which ones count.
func count(tx *sql.Tx, clause string, args ...any) error {
	_, err := tx.Exec(`
WITH ranked AS (
	SELECT t.id, row_number() OVER (PARTITION BY t.student_id, t.task_id ORDER BY
		t.measured = '',
		CASE WHEN (SELECT counts FROM tasks k WHERE k.id = t.task_id) = 'best' THEN
			-coalesce((SELECT r.pass FROM reviews r WHERE r.id = t.review_id), (SELECT m.pass FROM marks m WHERE m.id = t.mark_id), 0) END,
		CASE WHEN (SELECT counts FROM tasks k WHERE k.id = t.task_id) = 'best' THEN
			-coalesce((SELECT r.value FROM reviews r WHERE r.id = t.review_id), (SELECT m.value FROM marks m WHERE m.id = t.mark_id), 0) END,
		t.handed DESC, t.id DESC) AS place
	FROM takes t WHERE `+clause+`)
UPDATE takes SET counts = (SELECT place = 1 FROM ranked WHERE ranked.id = takes.id) WHERE id IN (SELECT id FROM ranked)`, args...)
	return err
}

// Performance is what was measured of a take.
func (f *File) Performance(take int64) (grade.Performance, error) {
	var b []byte
	err := f.db.QueryRow("SELECT data FROM measured WHERE take_id = ?", take).Scan(&b)
	if errors.Is(err, sql.ErrNoRows) {
		return grade.Performance{}, fmt.Errorf("take %d: nothing was measured of it", take)
	}
	if err != nil {
		return grade.Performance{}, f.wrap(err)
	}
	p, err := class.Unpack(b)
	if err != nil {
		err = fmt.Errorf("%s: %w: take %d: %w", f.path, ErrDamaged, take, err)
	}
	return p, err
}

// Has tells whether a recording was taken in before, by its checksum in hexadecimal,
// and could be read.
func (f *File) Has(student, task int64, sha256 string) (bool, error) {
	sum, err := hex.DecodeString(sha256)
	if err != nil {
		return false, err
	}
	var n int
	err = f.db.QueryRow("SELECT count(*) FROM takes WHERE student_id = ? AND task_id = ? AND sha256 = ? AND measured <> ''", student, task, sum).Scan(&n)
	return n > 0, f.wrap(err)
}

// MaxRecording is how many bytes of a recording a class keeps at most.
const MaxRecording = 512 << 20

// KeepRecording keeps a copy of a recording in the class.
func (f *File) KeepRecording(take int64, data []byte) error {
	return f.change(func(tx *sql.Tx) error { return keepRecording(tx, take, data) })
}

func keepRecording(tx *sql.Tx, take int64, data []byte) error {
	if len(data) > MaxRecording {
		return fmt.Errorf("a recording of %d bytes is not kept, at most %d", len(data), MaxRecording)
	}
	if _, err := tx.Exec("INSERT OR REPLACE INTO recordings VALUES (?, ?)", take, data); err != nil {
		return err
	}
	_, err := tx.Exec("UPDATE takes SET kept = 1 WHERE id = ?", take)
	return err
}

// Recording is the copy of a recording that the class keeps; fs.ErrNotExist where it
// keeps none.
func (f *File) Recording(take int64) (data []byte, err error) {
	err = f.db.QueryRow("SELECT data FROM recordings WHERE take_id = ?", take).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fs.ErrNotExist
	}
	return data, f.wrap(err)
}

// Totals are how many things a class has.
type Totals struct {
	Students, Tasks, Takes, Unread, Unmarked, Reviewed, Answers int
}

// Totals counts.
func (f *File) Totals() (t Totals, err error) {
	err = f.db.QueryRow(`SELECT (SELECT count(*) FROM students), (SELECT count(*) FROM tasks), count(*), total(measured = ''), total(measured <> '' AND mark_id IS NULL), count(review_id),
		(SELECT count(*) FROM answers) FROM takes`).Scan(&t.Students, &t.Tasks, &t.Takes, asInt(&t.Unread), asInt(&t.Unmarked), &t.Reviewed, &t.Answers)
	return t, f.wrap(err)
}

// MeasuredBefore is how many takes were measured by another tracker than that.
func (f *File) MeasuredBefore(version string) (n int, err error) {
	err = f.db.QueryRow("SELECT count(*) FROM takes WHERE measured NOT IN ('', ?)", version).Scan(&n)
	return n, f.wrap(err)
}

// Marked is how many of the takes that count have a mark.
func (f *File) Marked() (n int, err error) {
	err = f.db.QueryRow("SELECT count(*) FROM takes WHERE counts = 1 AND mark_id IS NOT NULL").Scan(&n)
	return n, f.wrap(err)
}

// Waiting are the machine's marks of the takes that count and that nobody reviewed yet,
// by take, with as much of them as tells how unsure they are: Take, Value, PassAt, Pass
// and Doubt. task 0 is all.
func (f *File) Waiting(task int64) ([]class.Mark, error) {
	query, args := "SELECT t.id, m.value, m.pass_at, m.pass, m.doubt FROM takes t JOIN marks m ON m.id = t.mark_id WHERE t.counts = 1 AND t.review_id IS NULL", []any{}
	if task != 0 {
		query, args = query+" AND t.task_id = ?", []any{task}
	}
	return all(f, func(row interface{ Scan(...any) error }) (m class.Mark, err error) {
		return m, row.Scan(&m.Take, &m.Value, &m.PassAt, &m.Pass, &m.Doubt)
	}, query+" ORDER BY t.id", args...)
}

// asInt takes the sum of SQLite, a real number, as a whole one.
func asInt(n *int) sql.Scanner {
	return scanner(func(v any) error { x, ok := v.(float64); *n = int(x); return cmp.Or(errIf(!ok, v)) })
}

type scanner func(any) error

func (s scanner) Scan(v any) error { return s(v) }

func errIf(bad bool, v any) error {
	if bad {
		return fmt.Errorf("a %T where a number is wanted", v)
	}
	return nil
}
