// Command jury compares the grade with people: with the verdicts and grades of
// a jury on melodies sung back, and with the notes of sight-singing that
// annotators found right or wrong: eight recordings as they are heard, and 44
// whose notes people cut and put to the written ones (alignments.go).
//
//	go run ./internal/testkit/jury [-jury FOLDER] [-reference FOLDER] [-codecs NTH]
//	go run ./internal/testkit/jury -marks [-jury FOLDER]
//
// Two rows are ours: the weights that are shipped, which were fitted on these
// very takes, and weights fitted anew on all question sets but one and tried on
// that one, ten times over. The second is the honest one: no melody and no
// singer is on both sides. Intervals are the middle 95 % of a thousand drawings
// of whole question sets.
package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"time"

	"singback/exercise/grade"
	"singback/internal/review"
	"singback/internal/testkit"
)

func main() {
	jury := flag.String("jury", os.Getenv("SINGBACK_JURY"), "folder of the jury's data")
	reference := flag.String("reference", os.Getenv("SINGBACK_REFERENCE"), "folder of reference data; empty leaves out sight-singing")
	results := flag.String("results", "", "folder in which a dated file of the run is kept as well; empty keeps none")
	marks := flag.Bool("marks", false, "the marks of rubrics, and how unsure they are, instead")
	nth := flag.Int("codecs", 0, "instead, how the grades of every `NTH` take of the jury's change by codecs; 1 is all")
	flag.Parse()
	if *jury == "" && *reference != "" { // beside the other reference data
		if beside := filepath.Join(*reference, "..", "mast-melody-dev"); isFolder(beside) {
			*jury = beside
		}
	}
	if *marks {
		if err := keepMarks(os.Stdout, *jury, *results); err != nil {
			fmt.Fprintln(os.Stderr, "jury:", err)
			os.Exit(1)
		}
		return
	}
	if *nth > 0 {
		if err := throughCodecs(os.Stdout, *jury, *results, *nth); err != nil {
			fmt.Fprintln(os.Stderr, "jury:", err)
			os.Exit(1)
		}
		return
	}
	if err := keep(os.Stdout, *jury, *reference, *results); err != nil {
		fmt.Fprintln(os.Stderr, "jury:", err)
		os.Exit(1)
	}
}

// keep runs, and keeps what comes out in the folder results if it has a name.
func keep(w io.Writer, jury, reference, results string) error {
	if results == "" {
		return run(w, jury, reference)
	}
	if jury == "" || reference == "" {
		fmt.Fprintln(os.Stderr, "only a run with all data is kept")
		return run(w, jury, reference)
	}
	commit := testkit.Commit() // what runs, whatever is written meanwhile
	var text bytes.Buffer
	if err := run(io.MultiWriter(w, &text), jury, reference); err != nil {
		return err
	}
	r := testkit.Result{
		Name: "jury", Title: "The grade beside a jury and annotators", Make: "make evaluate-jury",
		Text: about + "\n```text\n" + text.String() + "```\n",
	}
	path, err := r.Keep(results, time.Now(), commit)
	if err == nil {
		fmt.Fprintln(os.Stderr, "kept in", path)
	}
	return err
}

const about = `A melody is given as written notes, as what a piano played for the candidate, or as names without rhythm; strict in
its key, or free in any. "shipped" are the weights of the program, round numbers near those fitted on all of these takes.
"fitted on other sets" are weights fitted on nine question sets and tried on the tenth, so that no melody and no singer
is on both sides: the honest row. The features were chosen on these melodies, which the numbers do not allow for.

Sight-singing whose notes people cut and put to the written ones: costs of lines without rhythm were chosen on one half
and on the eight recordings with sound; the other half has other melodies. Some tables put long stretches of notes one
note too early or too late: the rows without them leave out what is so by the table alone, whatever the program says.
`

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

func run(w io.Writer, jury, reference string) error {
	if jury == "" {
		fmt.Fprintln(w, "SINGBACK_JURY is not set: no jury's data")
	} else if err := againstJury(w, jury); err != nil {
		return err
	}
	if reference == "" {
		fmt.Fprintln(w, "SINGBACK_REFERENCE is not set: no sight-singing")
		return nil
	}
	return sightSinging(w, reference)
}

// models are the ways in which a melody is given.
var models = []string{"written", "piano", "untimed"}

func againstJury(w io.Writer, dir string) error {
	d, err := read(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Against the jury: %d takes, %d melodies, %d question sets\n\n", len(d.takes), len(d.lines), len(slices.Compact(slices.Sorted(slices.Values(d.sets())))))
	fmt.Fprintln(w, "model and key                    AUC                 balanced            Spearman")
	var x [][]float64
	for _, model := range models {
		for _, strict := range []bool{true, false} {
			found, err := d.grade(model, strict)
			if err != nil {
				return err
			}
			x = x[:0]
			shipped := make([]float64, len(found))
			for i, g := range found {
				shipped[i] = g.Score
				x = append(x, vector(model, g))
			}
			name := model + ", free"
			if strict {
				name = model + ", strict"
			}
			d.row(w, name+": shipped", shipped)
			said := make([]float64, len(found))
			for i, g := range found {
				said[i] = g.Pass
			}
			fmt.Fprintf(w, "  balanced, passed at even odds  %.3f\n", balanced(d.pass(), said, 0.5))
			crossed := d.crossed(x)
			d.row(w, "  fitted on other sets", crossed)
			base, weights := fit(x, d.pass(), ridge)
			fmt.Fprintf(w, "  weights, all sets: base %.2f, missing, passed over, rhythm, added %.1f\n", base, weights)
			logits := make([]float64, len(found))
			for i, g := range found {
				logits[i] = math.Log(g.Pass / (1 - g.Pass))
			}
			d.reliability(w, "shipped", logits)
			d.reliability(w, "other sets", crossed)
		}
	}
	fmt.Fprintln(w, `
known: share of notes in tune    0.83
       curve alignment           0.88
       time in tune against due  0.95
       one expert, the jury      0.97 to 0.99
       two experts                                                       0.78 to 0.83
goal                             0.97                0.92                0.87`)
	return nil
}

const ridge = 3.0

// vector is what the weights are fitted on; without rhythm only what has
// nothing to do with it.
func vector(model string, g grade.Grading) []float64 {
	m := g.Measures
	if model == "untimed" {
		return []float64{m.Missing, m.PassedOver, 0, m.Added}
	}
	return []float64{m.Missing, m.PassedOver, m.Rhythm, m.Added}
}

func (d *data) pass() []bool {
	var y []bool
	for _, t := range d.takes {
		y = append(y, t.pass)
	}
	return y
}

func (d *data) sets() []string {
	var s []string
	for _, t := range d.takes {
		s = append(s, t.set)
	}
	return s
}

// grade grades all takes.
func (d *data) grade(model string, strict bool) ([]grade.Grading, error) {
	rules := grade.DefaultRules()
	rules.Key = !strict
	out := make([]grade.Grading, len(d.takes))
	var mu sync.Mutex
	err := review.Each(context.Background(), len(d.takes), func(_ context.Context, i int) (grade.Grading, error) {
		line, err := d.line(model, d.takes[i])
		if err != nil {
			return grade.Grading{}, err
		}
		return grade.Of(line, grade.OfCurve(d.takes[i].curve), rules)
	}, func(i int, g grade.Grading, err error) error {
		mu.Lock()
		defer mu.Unlock()
		out[i] = g
		return err
	})
	runtime.GC()
	return out, err
}

// line is the melody of a take as a model of a kind: with the piano, what it
// played for this candidate, the first time.
func (d *data) line(model string, t sung) (grade.Line, error) {
	line := d.lines[t.melody]
	switch model {
	case "piano":
		index := d.piano[t.melody][0]
		if len(t.references) > 0 {
			index = t.references[0]
		}
		return grade.NewPerformedLine(grade.OfCurve(d.pianos[index]).Notes)
	case "untimed":
		notes := slices.Clone(line.Notes)
		for k := range notes {
			notes[k].Onset, notes[k].Length = float64(k), 1
		}
		return grade.Line{Notes: notes}, nil
	}
	return line, nil
}

// crossed is the score of each take by weights fitted on the other sets.
func (d *data) crossed(x [][]float64) []float64 {
	out := make([]float64, len(x))
	sets := d.sets()
	for _, set := range slices.Compact(slices.Sorted(slices.Values(sets))) {
		var tx [][]float64
		var ty []bool
		for i, t := range d.takes {
			if t.set != set {
				tx, ty = append(tx, x[i]), append(ty, t.pass)
			}
		}
		base, w := fit(tx, ty, ridge)
		for i, t := range d.takes {
			if t.set == set {
				z := base
				for k := range w {
					z -= w[k] * x[i][k]
				}
				out[i] = z
			}
		}
	}
	return out
}

// reliability says what the probabilities of some log odds are worth: of the takes that are
// given one in each fifth, how many there are, the mean that is said, and the share that
// passed; and by what the log odds would have to be multiplied, 1 where they are right.
func (d *data) reliability(w io.Writer, name string, odds []float64) {
	pass := d.pass()
	fmt.Fprintf(w, "  %-11s takes, said, passed:", name)
	x := make([][]float64, len(odds))
	var said, passed, n [5]float64
	for i, z := range odds {
		p := 1 / (1 + math.Exp(-z))
		k := min(4, int(5*p))
		said[k], n[k], x[i] = said[k]+p, n[k]+1, []float64{-z}
		if pass[i] {
			passed[k]++
		}
	}
	for k := range n {
		fmt.Fprintf(w, "  %3.0f %.2f %.2f", n[k], said[k]/max(1, n[k]), passed[k]/max(1, n[k]))
	}
	_, slope := fit(x, pass, 1e-6)
	fmt.Fprintf(w, "  times %.2f\n", slope[0])
}

// row prints the three measures of a score, the mark chosen on the other sets.
func (d *data) row(w io.Writer, name string, score []float64) {
	pass, sets := d.pass(), d.sets()
	marks := map[string]float64{}
	for _, set := range sets {
		if _, ok := marks[set]; ok {
			continue
		}
		var p []bool
		var s []float64
		for i := range score {
			if sets[i] != set {
				p, s = append(p, pass[i]), append(s, score[i])
			}
		}
		marks[set] = bestMark(p, s)
	}
	above := make([]float64, len(score))
	for i := range score {
		above[i] = score[i] - marks[sets[i]]
	}
	pick := func(index []int) (p []bool, s, over, g []float64) {
		for _, i := range index {
			p, s, over, g = append(p, pass[i]), append(s, score[i]), append(over, above[i]), append(g, d.takes[i].grade)
		}
		return
	}
	statistics := []func([]int) float64{
		func(x []int) float64 { p, s, _, _ := pick(x); return auc(p, s) },
		func(x []int) float64 { p, _, o, _ := pick(x); return balanced(p, o, 0) },
		func(x []int) float64 { _, s, _, g := pick(x); return spearman(s, g) },
	}
	all := make([]int, len(score))
	for i := range all {
		all[i] = i
	}
	fmt.Fprintf(w, "%-31s", name)
	for k, statistic := range statistics {
		low, high := interval(sets, uint64(k), statistic)
		fmt.Fprintf(w, "  %.3f %.3f to %.3f", statistic(all), low, high)
	}
	fmt.Fprintln(w)
}

func fold(c float64) float64 { return c - 1200*math.Round(c/1200) }
