package classfile

import (
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/class"
	"singback/theory"
)

const markColumns = "id, at, rubric, rubric_sum, tolerance, free_key, free_octave, model_sum, measured, heard, value, pass, pass_at, error, doubt, score, probability, parts, tally"

// scannedMark is a row of marks, or none.
type scannedMark struct {
	id, heard, pass, freeKey, freeOctave                       sql.NullInt64
	at, rubric, rubricSum, modelSum, measured                  sql.NullString
	tolerance, value, passAt, error, doubt, score, probability sql.NullFloat64
	parts, tally                                               sql.NullString
}

func (m *scannedMark) into() []any {
	return []any{&m.id, &m.at, &m.rubric, &m.rubricSum, &m.tolerance, &m.freeKey, &m.freeOctave, &m.modelSum, &m.measured, &m.heard, &m.value, &m.pass, &m.passAt,
		&m.error, &m.doubt, &m.score, &m.probability, &m.parts, &m.tally}
}

func (m *scannedMark) mark(take int64) (*class.Mark, error) {
	out := class.Mark{
		ID: m.id.Int64, Take: take, At: m.at.String, Rubric: m.rubric.String, RubricSum: m.rubricSum.String, Tolerance: m.tolerance.Float64,
		FreeKey: m.freeKey.Int64 != 0, FreeOctave: m.freeOctave.Int64 != 0, ModelSum: m.modelSum.String, Measured: m.measured.String,
		Heard: grade.Heard(m.heard.Int64), Value: m.value.Float64, Pass: m.pass.Int64 != 0, PassAt: m.passAt.Float64, Error: m.error.Float64, Doubt: m.doubt.Float64,
		Score: m.score.Float64, Probability: m.probability.Float64,
	}
	var err error
	if out.Parts, err = readParts(m.parts.String); err == nil {
		out.Tally, err = readTally(m.tally.String)
	}
	if err != nil {
		return nil, fmt.Errorf("%w: mark %d: %w", ErrDamaged, out.ID, err)
	}
	return &out, nil
}

// AddMark adds what the machine makes of a take. It is the newest from then on; older
// marks stay.
func (f *File) AddMark(take int64, m class.Mark) (id int64, err error) {
	err = f.change(func(tx *sql.Tx) error {
		id, err = addMark(tx, take, m)
		return err
	})
	return id, err
}

// AddMarks adds marks, each for its Take, in one change.
func (f *File) AddMarks(marks []class.Mark) error {
	return f.change(func(tx *sql.Tx) error {
		for _, m := range marks {
			if _, err := addMark(tx, m.Take, m); err != nil {
				return err
			}
		}
		return nil
	})
}

func addMark(tx *sql.Tx, take int64, m class.Mark) (int64, error) {
	r, err := tx.Exec("INSERT INTO marks (take_id, "+strings.TrimPrefix(markColumns, "id, ")+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		take, m.At, m.Rubric, m.RubricSum, m.Tolerance, m.FreeKey, m.FreeOctave, m.ModelSum, m.Measured, int(m.Heard), m.Value, m.Pass, m.PassAt, m.Error, m.Doubt, m.Score, m.Probability,
		writeParts(m.Parts), writeTally(m.Tally))
	if err != nil {
		return 0, err
	}
	id, err := r.LastInsertId()
	if err != nil {
		return 0, err
	}
	var student, task int64
	if err := tx.QueryRow("UPDATE takes SET mark_id = ? WHERE id = ? RETURNING student_id, task_id", id, take).Scan(&student, &task); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			err = fmt.Errorf("take %d: %w", take, ErrNobody)
		}
		return 0, err
	}
	return id, countOf(tx, student, task)
}

// Marks are all that the machine made of a take, the newest first.
func (f *File) Marks(take int64) ([]class.Mark, error) {
	return all(f, func(row interface{ Scan(...any) error }) (class.Mark, error) {
		var m scannedMark
		if err := row.Scan(m.into()...); err != nil {
			return class.Mark{}, err
		}
		out, err := m.mark(take)
		if err != nil {
			return class.Mark{}, err
		}
		return *out, nil
	}, "SELECT "+markColumns+" FROM marks WHERE take_id = ? ORDER BY id DESC", take)
}

// scannedReview is a row of reviews, or none.
type scannedReview struct {
	id, mark, pass  sql.NullInt64
	at, chosen, why sql.NullString
	value           sql.NullFloat64
}

func (v *scannedReview) review(take int64) (*class.Review, error) {
	r := class.Review{ID: v.id.Int64, Take: take, Mark: v.mark.Int64, At: v.at.String, Pass: v.pass.Int64 != 0, Value: -1, Why: v.why.String}
	var ok bool
	if r.Chosen, ok = class.ChosenNamed(v.chosen.String); !ok {
		return nil, fmt.Errorf("%w: review %d was chosen by %q", ErrDamaged, r.ID, v.chosen.String)
	}
	if v.value.Valid {
		r.Value = v.value.Float64
	}
	return &r, nil
}

// AddReview adds the teacher's word on a take, about the machine's mark r.Mark. It is
// the newest from then on; older ones stay. once is the client's own name of this
// review: one of the same name is not added again. "" is none.
func (f *File) AddReview(r class.Review, once string) (id int64, err error) {
	if err := r.Validate(); err != nil {
		return 0, err
	}
	err = f.change(func(tx *sql.Tx) error {
		if once != "" {
			err := tx.QueryRow("SELECT id FROM reviews WHERE take_id = ? AND once = ?", r.Take, once).Scan(&id)
			if !errors.Is(err, sql.ErrNoRows) {
				return err
			}
		}
		var own int64
		if err := tx.QueryRow("SELECT take_id FROM marks WHERE id = ?", r.Mark).Scan(&own); err != nil || own != r.Take {
			if err == nil || errors.Is(err, sql.ErrNoRows) {
				err = fmt.Errorf("take %d has no mark %d to be reviewed", r.Take, r.Mark)
			}
			return err
		}
		value := sql.NullFloat64{Float64: r.Value, Valid: r.Value >= 0}
		res, err := tx.Exec("INSERT INTO reviews (take_id, mark_id, at, chosen, pass, value, why, once) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", r.Take, r.Mark, r.At, r.Chosen.String(), r.Pass, value, r.Why, once)
		if err != nil {
			return err
		}
		if id, err = res.LastInsertId(); err != nil {
			return err
		}
		return f.pointReview(tx, r.Take, id)
	})
	return id, err
}

// pointReview makes a review the newest of its take; 0 is none.
func (f *File) pointReview(tx *sql.Tx, take, id int64) error {
	var student, task int64
	pointed := sql.NullInt64{Int64: id, Valid: id != 0}
	if err := tx.QueryRow("UPDATE takes SET review_id = ? WHERE id = ? RETURNING student_id, task_id", pointed, take).Scan(&student, &task); err != nil {
		return err
	}
	return countOf(tx, student, task)
}

// TakeBack takes the newest review of a take back: the one before counts again, or
// the machine's mark alone. It tells whether there was one.
func (f *File) TakeBack(take int64) (was bool, err error) {
	err = f.change(func(tx *sql.Tx) error {
		r, err := tx.Exec("DELETE FROM reviews WHERE id = (SELECT review_id FROM takes WHERE id = ?)", take)
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		if was = n > 0; err != nil || !was {
			return err
		}
		var before sql.NullInt64
		if err := tx.QueryRow("SELECT max(id) FROM reviews WHERE take_id = ?", take).Scan(&before); err != nil {
			return err
		}
		return f.pointReview(tx, take, before.Int64)
	})
	return was, err
}

// Reviewed is a take's newest review beside the mark that was reviewed.
type Reviewed struct {
	class.Review
	Machine class.Mark
	Student int64
	Task    int64
}

// Reviewed are the newest reviews, by take.
func (f *File) Reviewed() iter.Seq2[Reviewed, error] {
	return func(yield func(Reviewed, error) bool) {
		list, err := all(f, func(row interface{ Scan(...any) error }) (out Reviewed, err error) {
			var v scannedReview
			var m scannedMark
			var take int64
			if err := row.Scan(append([]any{&take, &out.Student, &out.Task, &v.id, &v.mark, &v.at, &v.chosen, &v.pass, &v.value, &v.why}, m.into()...)...); err != nil {
				return out, err
			}
			r, err := v.review(take)
			if err != nil {
				return out, err
			}
			mark, err := m.mark(take)
			if err != nil {
				return out, err
			}
			out.Review, out.Machine = *r, *mark
			return out, nil
		}, "SELECT t.id, t.student_id, t.task_id, r.id, r.mark_id, r.at, r.chosen, r.pass, r.value, r.why, m."+strings.ReplaceAll(markColumns, ", ", ", m.")+
			" FROM takes t JOIN reviews r ON r.id = t.review_id JOIN marks m ON m.id = r.mark_id ORDER BY t.id")
		for _, r := range list {
			if !yield(r, nil) {
				return
			}
		}
		if err != nil {
			yield(Reviewed{}, err)
		}
	}
}

// AddRemark adds what the teacher says to a student.
func (f *File) AddRemark(r class.Remark) (id int64, err error) {
	if err := r.Validate(); err != nil {
		return 0, err
	}
	err = f.change(func(tx *sql.Tx) error {
		task := sql.NullInt64{Int64: r.Task, Valid: r.Task != 0}
		res, err := tx.Exec("INSERT INTO remarks (student_id, task_id, at, words) VALUES (?, ?, ?, ?)", r.Student, task, r.At, r.Words)
		if err != nil {
			return err
		}
		id, err = res.LastInsertId()
		return err
	})
	return id, err
}

// Remarks are what the teacher said to a student, in order of time.
func (f *File) Remarks(student int64) ([]class.Remark, error) {
	return all(f, func(row interface{ Scan(...any) error }) (r class.Remark, err error) {
		var task sql.NullInt64
		err = row.Scan(&r.ID, &r.Student, &task, &r.At, &r.Words)
		r.Task = task.Int64
		return r, err
	}, "SELECT id, student_id, task_id, at, words FROM remarks WHERE student_id = ? ORDER BY id", student)
}

// writeParts and readParts keep the parts of a mark without their words:
// "notes 3 0.8333; rhythm 2 -".
func writeParts(parts []class.Part) string {
	var b strings.Builder
	for i, p := range parts {
		if i > 0 {
			b.WriteByte(';')
		}
		value := "-"
		if p.Measured {
			value = strconv.FormatFloat(p.Value, 'g', -1, 64)
		}
		fmt.Fprintf(&b, "%s %s %s", p.Criterion, strconv.FormatFloat(p.Weight, 'g', -1, 64), value)
	}
	return b.String()
}

func readParts(s string) (parts []class.Part, err error) {
	if s == "" {
		return nil, nil
	}
	for part := range strings.SplitSeq(s, ";") {
		fields := strings.Split(part, " ")
		if len(fields) != 3 {
			return nil, fmt.Errorf("%q is no part of a mark", part)
		}
		var p class.Part
		if p.Criterion, err = class.ParseCriterion(fields[0]); err != nil {
			return nil, err
		}
		if p.Weight, err = strconv.ParseFloat(fields[1], 64); err != nil {
			return nil, err
		}
		if p.Measured = fields[2] != "-"; p.Measured {
			if p.Value, err = strconv.ParseFloat(fields[2], 64); err != nil {
				return nil, err
			}
		}
		parts = append(parts, p)
	}
	return parts, nil
}

// writeTally and readTally keep what was sung by degrees and moves, in an order of
// their own: "1=5/5 2=3/4;1>2=3/4".
func writeTally(t class.Tally) string {
	var degrees, moves []string
	for d, c := range t.Degrees {
		degrees = append(degrees, fmt.Sprintf("%s=%d/%d", d.ASCII(), c.Right, c.Of))
	}
	for m, c := range t.Moves {
		moves = append(moves, fmt.Sprintf("%s>%s=%d/%d", m.From.ASCII(), m.To.ASCII(), c.Right, c.Of))
	}
	if degrees == nil && moves == nil {
		return ""
	}
	slices.Sort(degrees)
	slices.Sort(moves)
	return strings.Join(degrees, " ") + ";" + strings.Join(moves, " ")
}

func readTally(s string) (t class.Tally, err error) {
	if s == "" {
		return t, nil
	}
	degrees, moves, ok := strings.Cut(s, ";")
	if !ok {
		return t, fmt.Errorf("%q is no tally", s)
	}
	entry := func(s string) (what string, c class.Count, err error) {
		what, counts, ok := strings.Cut(s, "=")
		right, of, ok2 := strings.Cut(counts, "/")
		if !ok || !ok2 {
			return "", c, fmt.Errorf("%q is no entry of a tally", s)
		}
		if c.Right, err = strconv.Atoi(right); err == nil {
			c.Of, err = strconv.Atoi(of)
		}
		return what, c, err
	}
	for _, e := range strings.Fields(degrees) {
		what, c, err := entry(e)
		if err != nil {
			return t, err
		}
		d, err := exercise.ParseDegree(what)
		if err != nil {
			return t, err
		}
		if t.Degrees == nil {
			t.Degrees = map[theory.Degree]class.Count{}
		}
		t.Degrees[d] = c
	}
	for _, e := range strings.Fields(moves) {
		what, c, err := entry(e)
		if err != nil {
			return t, err
		}
		from, to, _ := strings.Cut(what, ">")
		var m class.Move
		if m.From, err = exercise.ParseDegree(from); err == nil {
			m.To, err = exercise.ParseDegree(to)
		}
		if err != nil {
			return t, err
		}
		if t.Moves == nil {
			t.Moves = map[class.Move]class.Count{}
		}
		t.Moves[m] = c
	}
	return t, nil
}
