package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"time"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/testkit"
)

// The marks of rubrics beside the jury: whether the order of takes by a mark agrees with
// the jury's verdicts and grades, and with the score; where its takes are as likely to
// pass as not and how sharply the value divides them; and whether a teacher who hears
// the doubtful takes first hears those in which the machine and the jury differ.

const aboutMarks = `A melody is given as written notes, as what a piano played for the candidate, or without rhythm; any key. "even" is the value at which a take is as likely to pass
with the jury as not, "scale" the difference of the value by which the odds change by e, both by a logistic curve through all
takes; they are where the passes and the constants of the built-in rubrics come from. "accuracy" is the share of takes on
the jury's side of the rubric's pass, "other sets" that of a pass chosen on nine question sets and tried on the tenth.
"doubted": of the takes in which mark and jury differ, the share that is among the first 10, 20 and 30 % in order of doubt;
an order by lot finds 10, 20 and 30 %, and the middle 95 % of a thousand such orders stand beside it. "nearest" is the
same in order of the distance from the pass alone. "said, differ" are takes by doubt (below .05, .15, .25, .35, .5): how many,
the mean doubt, and the share that differs. The row "faults, o. s." has weights that were fitted on other question sets, as in
the table of the grade; its doubt is that of their probability. "o. s.": the pass and a doubt by the curve alone come from
the other question sets. The jury has no bars: bars are parts of four usual notes.
`

// markRow is what a way of marking gives of all takes.
type markRow struct {
	name  string
	value []float64
	pass  []bool
	doubt []float64
	away  []float64 // distance from the pass
}

// keepMarks prints the table, and keeps it in the folder results if it has a name.
func keepMarks(w io.Writer, jury, results string) error {
	if jury == "" {
		fmt.Fprintln(w, "SINGBACK_JURY is not set: no jury's data")
		return nil
	}
	commit := testkit.Commit()
	var text bytes.Buffer
	if err := againstMarks(io.MultiWriter(w, &text), jury); err != nil || results == "" {
		return err
	}
	r := testkit.Result{
		Name: "marks", Title: "Marks beside a jury", Make: "make evaluate-marks",
		Text: aboutMarks + "\n```text\n" + text.String() + "```\n",
	}
	path, err := r.Keep(results, time.Now(), commit)
	if err == nil {
		fmt.Fprintln(os.Stderr, "kept in", path)
	}
	return err
}

// againstMarks prints the table.
func againstMarks(w io.Writer, dir string) error {
	d, err := read(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Marks beside the jury: %d takes, %d question sets\n", len(d.takes), len(slices.Compact(slices.Sorted(slices.Values(d.sets())))))
	for _, model := range models {
		found, err := d.grade(model, false)
		if err != nil {
			return err
		}
		marks, err := d.marks(model, found)
		if err != nil {
			return err
		}
		score := make([]float64, len(found))
		var x [][]float64
		unheard := 0
		for i, g := range found {
			score[i] = g.Score
			x = append(x, vector(model, g))
			if g.Heard != grade.Singing {
				unheard++
			}
		}
		fmt.Fprintf(w, "\n%s, free; %d takes not sung\n", model, unheard)
		fmt.Fprintln(w, "                          AUC                   grades  score   even  scale  accuracy  other sets")
		for _, m := range marks {
			d.markOrder(w, m, score)
		}
		crossed := d.crossed(x)
		cross := markRow{name: "faults, o. s.", value: crossed}
		for _, z := range crossed {
			p := 1 / (1 + math.Exp(-z))
			cross.pass, cross.doubt, cross.away = append(cross.pass, p >= 0.5), append(cross.doubt, min(p, 1-p)), append(cross.away, math.Abs(z))
		}
		d.markOrder(w, cross, score)
		crosses := []markRow{cross}
		for _, m := range marks[1:len(class.Builtin())] {
			crosses = append(crosses, d.crossedMark(m))
		}
		fmt.Fprintln(w, "\n                        differ  doubted            by lot                                nearest             said, differ")
		for _, m := range append(marks, crosses...) {
			d.markDoubt(w, m)
		}
	}
	return nil
}

// marks marks all takes by the built-in rubrics, and by each criterion alone.
func (d *data) marks(model string, found []grade.Grading) ([]markRow, error) {
	rubrics := class.Builtin()
	for c := range class.Criteria {
		r := class.Rubric{Name: "  " + c.String(), Pass: 0.5}
		r.Weights[c] = 1
		rubrics = append(rubrics, r)
	}
	rules := grade.DefaultRules()
	var out []markRow
	for _, r := range rubrics {
		row := markRow{name: r.Name}
		measured := true
		for i, t := range d.takes {
			line, err := d.line(model, t)
			if err != nil {
				return nil, err
			}
			m := r.Mark(line, grade.OfCurve(t.curve), found[i], rules)
			for _, p := range m.Parts {
				measured = measured && (p.Measured || i > 0)
			}
			row.value, row.pass, row.doubt = append(row.value, m.Value), append(row.pass, m.Pass), append(row.doubt, m.Doubt)
			row.away = append(row.away, math.Abs(m.Value-m.PassAt))
		}
		if measured {
			out = append(out, row)
		}
	}
	return out, nil
}

// markOrder says how the order of a mark agrees with the jury and with the score.
func (d *data) markOrder(w io.Writer, m markRow, score []float64) {
	pass, sets := d.pass(), d.sets()
	var grades []float64
	for _, t := range d.takes {
		grades = append(grades, t.grade)
	}
	low, high := interval(sets, 0, func(index []int) float64 {
		var p []bool
		var s []float64
		for _, i := range index {
			p, s = append(p, pass[i]), append(s, m.value[i])
		}
		return auc(p, s)
	})
	even, scale := logistic(pass, m.value)
	right, crossed := 0, 0
	for i := range pass {
		if m.pass[i] == pass[i] {
			right++
		}
	}
	for _, set := range slices.Compact(slices.Sorted(slices.Values(sets))) {
		var p []bool
		var v []float64
		for i := range pass {
			if sets[i] != set {
				p, v = append(p, pass[i]), append(v, m.value[i])
			}
		}
		at, _ := logistic(p, v)
		for i := range pass {
			if sets[i] == set && (m.value[i] >= at) == pass[i] {
				crossed++
			}
		}
	}
	n := float64(len(pass))
	fmt.Fprintf(w, "%-24s  %.3f %.3f to %.3f  %6.3f %6.3f  %5.2f  %5.3f     %.3f       %.3f\n", m.name, auc(pass, m.value), low, high,
		spearman(m.value, grades), spearman(m.value, score), even, scale, float64(right)/n, float64(crossed)/n)
}

// crossedMark is a mark whose pass and doubt follow from the curve through the other sets.
func (d *data) crossedMark(m markRow) markRow {
	out := markRow{name: m.name + ", o. s.", value: m.value, pass: make([]bool, len(m.value)), doubt: make([]float64, len(m.value)), away: make([]float64, len(m.value))}
	pass, sets := d.pass(), d.sets()
	for _, set := range slices.Compact(slices.Sorted(slices.Values(sets))) {
		var p []bool
		var v []float64
		for i := range pass {
			if sets[i] != set {
				p, v = append(p, pass[i]), append(v, m.value[i])
			}
		}
		at, scale := logistic(p, v)
		for i := range pass {
			if sets[i] == set {
				out.away[i] = math.Abs(m.value[i] - at)
				out.pass[i], out.doubt[i] = m.value[i] >= at, 1/(1+math.Exp(out.away[i]/scale))
			}
		}
	}
	return out
}

// logistic is the curve that divides the takes: the value at even odds, and the difference
// by which the odds change by e.
func logistic(pass []bool, value []float64) (even, scale float64) {
	x := make([][]float64, len(value))
	for i, v := range value {
		x[i] = []float64{-v}
	}
	base, w := fit(x, pass, 1e-6)
	return -base / w[0], 1 / w[0]
}

// markDoubt says what the doubt finds.
func (d *data) markDoubt(w io.Writer, m markRow) {
	pass := d.pass()
	differ := make([]bool, len(pass))
	n := 0
	for i := range pass {
		if differ[i] = m.pass[i] != pass[i]; differ[i] {
			n++
		}
	}
	fmt.Fprintf(w, "%-24s  %4d ", m.name, n)
	if n == 0 {
		fmt.Fprintln(w)
		return
	}
	near := make([]float64, len(pass))
	for i := range near {
		near[i] = -m.away[i]
	}
	firsts := []float64{0.1, 0.2, 0.3}
	for _, f := range firsts {
		fmt.Fprintf(w, "  %.2f", foundFirst(differ, m.doubt, f))
	}
	rng := rand.New(rand.NewPCG(17, 4))
	for _, f := range firsts {
		var lots []float64
		lot := make([]float64, len(pass))
		for range 1000 {
			for i := range lot {
				lot[i] = rng.Float64()
			}
			lots = append(lots, foundFirst(differ, lot, f))
		}
		slices.Sort(lots)
		fmt.Fprintf(w, "  %.2f to %.2f", lots[25], lots[974])
	}
	fmt.Fprint(w, " ")
	for _, f := range firsts {
		fmt.Fprintf(w, "  %.2f", foundFirst(differ, near, f))
	}
	var said, other, count [5]float64
	for i, p := range m.doubt {
		k := 0
		for _, b := range []float64{0.05, 0.15, 0.25, 0.35} {
			if p >= b {
				k++
			}
		}
		said[k], count[k] = said[k]+p, count[k]+1
		if differ[i] {
			other[k]++
		}
	}
	for k := range count {
		fmt.Fprintf(w, "  %3.0f %.2f %.2f", count[k], said[k]/max(1, count[k]), other[k]/max(1, count[k]))
	}
	fmt.Fprintln(w)
}

// foundFirst is the share of what differs that is among the first share of all, by order
// descending; equal values count in part.
func foundFirst(differ []bool, order []float64, share float64) float64 {
	r := ranks(order) // from 0, the lowest first, ties averaged
	n := float64(len(order))
	all, found := 0.0, 0.0
	first := share * n
	for i, d := range differ {
		if !d {
			continue
		}
		all++
		same := 0.0
		for _, v := range order {
			if v == order[i] {
				same++
			}
		}
		before := n - 1 - r[i] - (same-1)/2 // takes that come before the first of the equal ones
		found += max(0, min(1, (first-before)/same))
	}
	return found / all
}
