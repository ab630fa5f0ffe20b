package classfile

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"iter"
	"strings"

	"singback/exercise/practice"
	"singback/internal/class"
	"singback/internal/kept"
)

// AddPractice adds answers of a student's record of practice. An answer that is there
// already is not added again. The singer's name in the record is not kept: the class
// has its own.
func (f *File) AddPractice(student int64, rows []*kept.Row) (added int, err error) {
	err = f.change(func(tx *sql.Tx) error {
		for _, row := range rows {
			own := *row
			own.Singer = kept.DefaultName
			b, err := json.Marshal(own)
			if err != nil {
				return err
			}
			r, err := tx.Exec("INSERT OR IGNORE INTO answers VALUES (?, ?, ?, ?, ?)", student, row.Session, row.Number, row.At, string(b))
			if err != nil {
				return err
			}
			n, err := r.RowsAffected()
			if err != nil {
				return err
			}
			added += int(n)
		}
		return nil
	})
	if err != nil {
		added = 0
	}
	return added, err
}

// Practice are the answers of a student, in order of time.
func (f *File) Practice(student int64) iter.Seq2[practice.Answer, error] {
	return func(yield func(practice.Answer, error) bool) {
		list, err := all(f, func(row interface{ Scan(...any) error }) (s string, err error) { return s, row.Scan(&s) },
			"SELECT row FROM answers WHERE student_id = ? ORDER BY at, session, number", student)
		if err != nil {
			yield(practice.Answer{}, err)
			return
		}
		reader := kept.NewReader()
		for _, s := range list {
			var row kept.Row
			err := json.Unmarshal([]byte(s), &row)
			var a practice.Answer
			if err == nil {
				a, err = reader.Answer(&row)
			}
			if err != nil {
				err = fmt.Errorf("%s: %w: an answer: %w", f.path, ErrDamaged, err)
			}
			if !yield(a, err) {
				return
			}
		}
	}
}

// PracticeDay is how much a student practised on a day.
type PracticeDay struct {
	Student int64
	Day     class.Date
	Answers int
}

// PracticeDays are how many answers every student gave on each day, by student and
// day.
func (f *File) PracticeDays() ([]PracticeDay, error) {
	return all(f, func(row interface{ Scan(...any) error }) (d PracticeDay, err error) {
		return d, row.Scan(&d.Student, &d.Day, &d.Answers)
	}, "SELECT student_id, substr(at, 1, 10) AS day, count(*) FROM answers GROUP BY student_id, day ORDER BY student_id, day")
}

// AddSheet remembers where a sheet of a student was written.
func (f *File) AddSheet(student int64, path string) error {
	return f.change(func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT OR IGNORE INTO sheets VALUES (?, ?)", student, path)
		return err
	})
}

// Sheets are the paths to which sheets of a student were written.
func (f *File) Sheets(student int64) ([]string, error) {
	return all(f, scanText, "SELECT path FROM sheets WHERE student_id = ? ORDER BY path", student)
}

func scanText(row interface{ Scan(...any) error }) (s string, err error) { return s, row.Scan(&s) }

// Lay is where a recording lay, and its fingerprint: there may be another one by now.
type Lay struct{ Path, SHA256 string }

func lay(tx *sql.Tx, student int64) (out []Lay, err error) {
	rows, err := tx.Query("SELECT DISTINCT source, lower(hex(sha256)) FROM takes WHERE student_id = ? ORDER BY source", student)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var l Lay
		if err := rows.Scan(&l.Path, &l.SHA256); err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, rows.Err()
}

// Forgotten is what was removed with a student, and what was not.
type Forgotten struct {
	Name                                            string
	Takes, Copies, Marks, Reviews, Remarks, Answers int
	Recordings                                      []Lay    // where the recordings lay
	Sheets                                          []string // where sheets were written
	Named                                           []string // what still has the name in it: remarks to others, words of tasks
}

// Forget removes a student and all that the class has of them, and rewrites the file,
// so that nothing of it can be read from the file any more. What lies elsewhere is
// listed and not touched.
func (f *File) Forget(student int64) (out Forgotten, err error) {
	err = f.change(func(tx *sql.Tx) error {
		if err := tx.QueryRow("SELECT name FROM students WHERE id = ?", student).Scan(&out.Name); err != nil {
			return err
		}
		if out.Recordings, err = lay(tx, student); err != nil {
			return err
		}
		if out.Sheets, err = texts(tx, "SELECT path FROM sheets WHERE student_id = ? ORDER BY path", student); err != nil {
			return err
		}
		const own = "(SELECT id FROM takes WHERE student_id = ?)"
		for _, d := range []struct {
			query string
			n     *int
		}{
			{"UPDATE takes SET mark_id = NULL, review_id = NULL WHERE student_id = ?", nil},
			{"DELETE FROM reviews WHERE take_id IN " + own, &out.Reviews},
			{"DELETE FROM marks WHERE take_id IN " + own, &out.Marks},
			{"DELETE FROM measured WHERE take_id IN " + own, nil},
			{"DELETE FROM recordings WHERE take_id IN " + own, &out.Copies},
			{"DELETE FROM takes WHERE student_id = ?", &out.Takes},
			{"DELETE FROM remarks WHERE student_id = ?", &out.Remarks},
			{"DELETE FROM answers WHERE student_id = ?", &out.Answers},
			{"DELETE FROM sheets WHERE student_id = ?", nil},
			{"DELETE FROM students WHERE id = ?", nil},
		} {
			r, err := tx.Exec(d.query, student)
			if err != nil {
				return err
			}
			if d.n != nil {
				n, err := r.RowsAffected()
				if err != nil {
					return err
				}
				*d.n = int(n)
			}
		}
		out.Named, err = named(tx, out.Name)
		return err
	})
	if err != nil {
		return out, err
	}
	// Pages that were let go are zero by now; rewriting leaves not even their places.
	_, err = f.db.Exec("VACUUM")
	return out, f.wrap(err)
}

// named is what still has a name in it, as a word.
func named(tx *sql.Tx, name string) (out []string, err error) {
	for _, q := range []string{
		"SELECT 'a remark to ' || s.name || ' of ' || substr(r.at, 1, 10), r.words FROM remarks r JOIN students s ON s.id = r.student_id",
		"SELECT 'a review of a take of ' || s.name || ' of ' || substr(r.at, 1, 10), r.why FROM reviews r JOIN takes t ON t.id = r.take_id JOIN students s ON s.id = t.student_id",
		"SELECT 'your notes on ' || name, notes || ' ' || consent_by FROM students",
		"SELECT 'the task ' || name, name || ' ' || words FROM tasks",
		"SELECT 'where a take of ' || s.name || ' lay', t.source || ' ' || t.trouble FROM takes t JOIN students s ON s.id = t.student_id",
	} {
		rows, err := tx.Query(q)
		if err != nil {
			return nil, err
		}
		for rows.Next() {
			var where, words string
			if err := rows.Scan(&where, &words); err != nil {
				rows.Close()
				return nil, err
			}
			if containsFold(words, name) {
				out = append(out, where)
			}
		}
		if err := rows.Close(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func containsFold(s, part string) bool {
	return bytes.Contains([]byte(strings.ToLower(s)), []byte(strings.ToLower(part)))
}

func texts(tx *sql.Tx, query string, args ...any) (out []string, err error) {
	rows, err := tx.Query(query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		s, err := scanText(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rows.Err()
}
