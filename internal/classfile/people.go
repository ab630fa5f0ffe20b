package classfile

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/sqlfile"
)

const studentColumns = "id, name, voice, notes, consent, consent_by, since"

func scanStudent(row interface{ Scan(...any) error }) (s class.Student, err error) {
	err = row.Scan(&s.ID, &s.Name, &s.Voice, &s.Notes, &s.Consent, &s.ConsentBy, &s.Since)
	return s, err
}

// Students are all students, by name as Unicode orders letters.
func (f *File) Students() ([]class.Student, error) {
	return all(f, scanStudent, "SELECT "+studentColumns+" FROM students ORDER BY name")
}

// Student finds a student by the whole name, or by its beginning where only one
// begins so; case is ignored. The error wraps ErrNobody.
func (f *File) Student(name string) (class.Student, error) {
	s, err := scanStudent(f.db.QueryRow("SELECT "+studentColumns+" FROM students WHERE name = ?", name))
	if !errors.Is(err, sql.ErrNoRows) {
		return s, f.wrap(err)
	}
	students, err := f.Students()
	if err != nil {
		return s, err
	}
	return find("student", name, students, func(s class.Student) string { return s.Name })
}

// StudentByID finds a student.
func (f *File) StudentByID(id int64) (class.Student, error) {
	s, err := scanStudent(f.db.QueryRow("SELECT "+studentColumns+" FROM students WHERE id = ?", id))
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("student %d: %w", id, ErrNobody)
	}
	return s, f.wrap(err)
}

// find is the one of a name: as written, else case ignored, else as it begins.
func find[T any](what, name string, among []T, called func(T) string) (none T, err error) {
	if strings.TrimSpace(name) == "" {
		return none, fmt.Errorf("a %s without a name", what)
	}
	for _, same := range []func(s string) bool{
		func(s string) bool { return s == name },
		func(s string) bool { return strings.EqualFold(s, name) },
		func(s string) bool { return len(s) >= len(name) && strings.EqualFold(s[:len(name)], name) },
	} {
		found := slices.DeleteFunc(slices.Clone(among), func(v T) bool { return !same(called(v)) })
		switch {
		case len(found) == 1:
			return found[0], nil
		case len(found) > 1:
			return none, fmt.Errorf("%q may be %s: write the whole name", name, listed(found, called))
		}
	}
	if len(among) == 0 {
		return none, fmt.Errorf("%s %q: %w: it has no %ss yet", what, name, ErrNobody, what)
	}
	return none, fmt.Errorf("%s %q: %w; it has %s", what, name, ErrNobody, listed(among, called))
}

func listed[T any](among []T, called func(T) string) string {
	const most = 6
	var names []string
	for _, v := range among {
		if len(names) == most {
			return fmt.Sprintf("%s and %d more", strings.Join(names, ", "), len(among)-most)
		}
		names = append(names, called(v))
	}
	return strings.Join(names, ", ")
}

// AddStudent adds a student. The error wraps ErrTaken where the name is another
// one's.
func (f *File) AddStudent(s class.Student) (id int64, err error) {
	ids, err := f.AddStudents([]class.Student{s})
	if err != nil {
		return 0, err
	}
	return ids[0], nil
}

// AddStudents adds all of them, or none.
func (f *File) AddStudents(students []class.Student) (ids []int64, err error) {
	err = f.change(func(tx *sql.Tx) error {
		for _, s := range students {
			if err := s.Validate(); err != nil {
				return err
			}
			id, err := insert(tx, "students", s.Name, "name, voice, notes, consent, consent_by, since", s.Name, s.Voice, s.Notes, s.Consent, s.ConsentBy, s.Since)
			if err != nil {
				return err
			}
			ids = append(ids, id)
		}
		return nil
	})
	return ids, err
}

// insert adds a row that has a name of its own.
func insert(tx *sql.Tx, table, name, columns string, values ...any) (int64, error) {
	var same string
	err := tx.QueryRow("SELECT name FROM "+table+" WHERE name = ? COLLATE NOCASE", name).Scan(&same)
	if err == nil {
		return 0, fmt.Errorf("%q: %w", same, ErrTaken)
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return 0, err
	}
	r, err := tx.Exec("INSERT INTO "+table+" ("+columns+") VALUES (?"+strings.Repeat(", ?", len(values)-1)+")", values...)
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

// SetStudent changes the student of that ID.
func (f *File) SetStudent(s class.Student) error {
	if err := s.Validate(); err != nil {
		return err
	}
	return f.change(func(tx *sql.Tx) error {
		r, err := tx.Exec("UPDATE students SET name = ?, voice = ?, notes = ?, consent = ?, consent_by = ?, since = ? WHERE id = ?", s.Name, s.Voice, s.Notes, s.Consent, s.ConsentBy, s.Since, s.ID)
		return changed(r, err, s.Name)
	})
}

// changed makes errors of an UPDATE by ID.
func changed(r sql.Result, err error, name string) error {
	if sqlfile.Code(err) == sqlfile.Constraint {
		return fmt.Errorf("%q: %w", name, ErrTaken)
	}
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err != nil || n == 0 {
		return cmp.Or(err, fmt.Errorf("%q: %w", name, ErrNobody))
	}
	return nil
}

const taskColumns = `id, name, kind, words, given, due, model, content, performed, part, tune, key, names, tuning, a4_hz,
	exercise, goal, tolerance, free_key, free_octave, rubric, rubric_text, counts`

func scanTask(row interface{ Scan(...any) error }) (t class.Task, err error) {
	var kind, counts, rubric, text string
	var free grade.Freedom
	m := &t.Model
	err = row.Scan(&t.ID, &t.Name, &kind, &t.Words, &t.Given, &t.Due, &m.Text, &m.Content, &m.Performed, &m.Part, &m.Tune, &m.Key, &m.Names, &m.Tuning, &m.A4,
		&t.Exercise, &t.Goal, &t.Rules.Tolerance, &free.Key, &free.Octave, &rubric, &text, &counts)
	if err != nil {
		return t, err
	}
	t.Rules.Freedom = free
	var kindOK, countsOK bool
	t.Kind, kindOK = class.KindNamed(kind)
	t.Counts, countsOK = class.WhichNamed(counts)
	if !kindOK || !countsOK {
		return t, fmt.Errorf("%w: task %q has kind %q and counts %q", ErrDamaged, t.Name, kind, counts)
	}
	if t.Kind == class.Melody {
		if t.Rubric, err = class.ParseRubric(rubric, text); err != nil {
			return t, fmt.Errorf("%w: task %q: its rubric: %w", ErrDamaged, t.Name, err)
		}
	}
	return t, nil
}

func taskValues(t class.Task) []any {
	m := t.Model
	return []any{t.Name, t.Kind.String(), t.Words, t.Given, t.Due, m.Text, m.Content, m.Performed, m.Part, m.Tune, m.Key, m.Names, m.Tuning, m.A4,
		t.Exercise, t.Goal, t.Rules.Tolerance, t.Rules.Key, t.Rules.Octave, t.Rubric.Name, t.Rubric.Text, t.Counts.String()}
}

// Tasks are all tasks, in the order of their due days and, of one day, as they were
// added; those without a day are last.
func (f *File) Tasks() ([]class.Task, error) {
	return all(f, scanTask, "SELECT "+taskColumns+" FROM tasks ORDER BY due = '', due, id")
}

// Task finds a task by name, as Student finds one.
func (f *File) Task(name string) (class.Task, error) {
	tasks, err := f.Tasks()
	if err != nil {
		return class.Task{}, err
	}
	return find("task", name, tasks, func(t class.Task) string { return t.Name })
}

// TaskByID finds a task.
func (f *File) TaskByID(id int64) (class.Task, error) {
	t, err := scanTask(f.db.QueryRow("SELECT "+taskColumns+" FROM tasks WHERE id = ?", id))
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("task %d: %w", id, ErrNobody)
	}
	return t, f.wrap(err)
}

// AddTask adds a task.
func (f *File) AddTask(t class.Task) (id int64, err error) {
	if err := t.Validate(); err != nil {
		return 0, err
	}
	err = f.change(func(tx *sql.Tx) error {
		columns := strings.TrimPrefix(taskColumns, "id, ")
		id, err = insert(tx, "tasks", t.Name, columns, taskValues(t)...)
		return err
	})
	return id, err
}

// SetTask changes the task of that ID. Marks stay as they were made.
func (f *File) SetTask(t class.Task) error {
	if err := t.Validate(); err != nil {
		return err
	}
	return f.change(func(tx *sql.Tx) error {
		var sets []string
		for _, c := range strings.Split(strings.TrimPrefix(taskColumns, "id, "), ",") {
			sets = append(sets, strings.TrimSpace(c)+" = ?")
		}
		r, err := tx.Exec("UPDATE tasks SET "+strings.Join(sets, ", ")+" WHERE id = ?", append(taskValues(t), t.ID)...)
		if err := changed(r, err, t.Name); err != nil {
			return err
		}
		return count(tx, "task_id = ?", t.ID) // another take may count now
	})
}

// all are the rows of a query.
func all[T any](f *File, scan func(interface{ Scan(...any) error }) (T, error), query string, args ...any) ([]T, error) {
	rows, err := f.db.Query(query, args...)
	if err != nil {
		return nil, f.wrap(err)
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, f.wrap(err)
		}
		out = append(out, v)
	}
	return out, f.wrap(rows.Err())
}
