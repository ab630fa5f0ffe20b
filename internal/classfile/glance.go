package classfile

import (
	"database/sql"
	"fmt"
	"iter"

	"singback/internal/class"
)

const glanced = `
SELECT t.id, t.student_id, t.task_id, t.handed, t.seconds, t.trouble, m.id, m.value, m.pass, m.pass_at, m.doubt, r.id, r.pass, r.value
FROM takes t LEFT JOIN marks m ON m.id = t.mark_id LEFT JOIN reviews r ON r.id = t.review_id
WHERE t.counts = 1`

// Glance are the takes that count, in no order, with little of each: of the take who
// handed it in for what and when, its length and its trouble; of the mark the value, the
// pass, where that lies and the doubt; of the review the pass and the value. A class of
// 200 000 takes is read so in a second.
func (f *File) Glance() iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		rows, err := f.db.Query(glanced)
		if err != nil {
			yield(Row{}, f.wrap(err))
			return
		}
		defer rows.Close()
		for rows.Next() {
			var mark, review sql.NullInt64
			var value, passAt, doubt, own sql.NullFloat64
			var pass, said sql.NullBool
			r := Row{Counts: true}
			t := &r.Take
			if err = rows.Scan(&t.ID, &t.Student, &t.Task, &t.Handed, &t.Seconds, &t.Trouble, &mark, &value, &pass, &passAt, &doubt, &review, &said, &own); err != nil {
				yield(r, fmt.Errorf("%s: %w: %w", f.path, ErrDamaged, err))
				return
			}
			if mark.Valid {
				r.Mark = &class.Mark{ID: mark.Int64, Take: t.ID, Value: value.Float64, Pass: pass.Bool, PassAt: passAt.Float64, Doubt: doubt.Float64}
			}
			if review.Valid {
				r.Review = &class.Review{ID: review.Int64, Take: t.ID, Pass: said.Bool, Value: -1}
				if own.Valid {
					r.Review.Value = own.Float64
				}
			}
			if !yield(r, nil) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(Row{}, f.wrap(err))
		}
	}
}
