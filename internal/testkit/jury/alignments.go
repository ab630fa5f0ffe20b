package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"

	"singback/exercise/grade"
	"singback/internal/testkit"
)

// aligned is a recording of sight-singing as its notes were cut and put to the
// written ones by trained people.
type aligned struct {
	name   string
	learn  bool      // of the half that the aligner was learnt on
	midi   []float64 // of the written notes
	known  []bool    // the table tells the written note
	sung   []grade.Sung
	heard  []float64 // of each sung note, MIDI as annotated
	answer []int     // the sung note that answers each written one; −1: none
	gaps   int       // written notes that no table tells
}

// rightCents is how far from its pitch a note is still right, after the median of
// its recording, octaves left out: the rule of those who made the data.
const rightCents = 80.0

// alignments reads the recordings whose notes were aligned. A written note that
// nobody answered is known only where another recording of its melody has it.
//
// The halves share no melody: the recordings of one melody go together, to the
// learnt half where the eight recordings with sound have it too (they were known
// before), else to the half that has fewer so far, in the order of the lowest
// number of a melody's recordings, the learnt half first.
func alignments(dir string) ([]*aligned, error) {
	all, err := readAligned(filepath.Join(dir, "sight-singing", "alignments.csv"))
	if err != nil {
		return nil, err
	}
	before, err := readAligned(filepath.Join(dir, "sight-singing", "notes.csv"))
	if err != nil {
		return nil, err
	}
	type melody struct {
		aligned
		of []*aligned
	}
	var melodies []*melody
	for _, r := range all {
		k := slices.IndexFunc(melodies, func(m *melody) bool { return m.like(r) })
		if k < 0 {
			k = len(melodies)
			melodies = append(melodies, &melody{})
		}
		m := melodies[k]
		m.of = append(m.of, r)
		m.add(r)
	}
	count := 0 // of the learnt half, less the other
	side := func(m *melody, learn bool) {
		for _, r := range m.of {
			if r.learn = learn; learn {
				count++
			} else {
				count--
			}
		}
	}
	isKnown := func(m *melody) bool { return slices.ContainsFunc(before, m.like) }
	for _, m := range melodies {
		if isKnown(m) {
			side(m, true)
		}
	}
	for _, m := range melodies {
		if !isKnown(m) {
			side(m, count <= 0)
		}
		for _, r := range before {
			if m.like(r) {
				m.add(r)
			}
		}
		for _, r := range m.of {
			r.add(&m.aligned)
			for _, k := range r.known {
				if !k {
					r.gaps++
				}
			}
		}
	}
	return all, nil
}

// readAligned reads the recordings of a table that have written notes, in the
// order of their numbers.
func readAligned(path string) ([]*aligned, error) {
	rows, err := testkit.Table(path)
	if err != nil {
		return nil, err
	}
	var all []*aligned
	for _, row := range rows {
		var err error
		number := func(field string) float64 {
			x, e := strconv.ParseFloat(row[field], 64)
			if e != nil && err == nil {
				err = fmt.Errorf("%s: recording %s, note %s: %s: %w", path, row["recording"], row["index"], field, e)
			}
			return x
		}
		if len(all) == 0 || all[len(all)-1].name != row["recording"] {
			all = append(all, &aligned{name: row["recording"]})
		}
		r := all[len(all)-1]
		heard := number("annotated_midi")
		measured := heard
		if row["measured_midi"] != "" {
			measured = number("measured_midi")
		}
		r.sung = append(r.sung, grade.Sung{Cents: 100 * measured, Onset: number("onset"), Offset: number("offset"), Level: -20})
		r.heard = append(r.heard, heard)
		if row["score_index"] != "" {
			i := int(number("score_index"))
			r.grow(i + 1)
			r.midi[i], r.known[i], r.answer[i] = number("score_midi"), true, len(r.sung)-1
		}
		if err != nil {
			return nil, err
		}
	}
	all = slices.DeleteFunc(all, func(r *aligned) bool { return len(r.midi) == 0 })
	slices.SortFunc(all, func(a, b *aligned) int {
		return cmp.Or(cmp.Compare(len(a.name), len(b.name)), cmp.Compare(a.name, b.name))
	})
	return all, nil
}

func (r *aligned) grow(n int) {
	for len(r.midi) < n {
		r.midi, r.known, r.answer = append(r.midi, 0), append(r.known, false), append(r.answer, -1)
	}
}

// like reports whether two recordings are of one melody: most of the written notes
// that both know are the same.
func (r *aligned) like(o *aligned) bool {
	both, same, mine, others := 0, 0, 0, 0
	for i := range max(len(r.midi), len(o.midi)) {
		a, b := i < len(r.midi) && r.known[i], i < len(o.midi) && o.known[i]
		if a {
			mine++
		}
		if b {
			others++
		}
		if a && b {
			if both++; r.midi[i] == o.midi[i] {
				same++
			}
		}
	}
	return 10*both >= 7*min(mine, others) && 20*same >= 19*both
}

// add learns the written notes that another recording of the melody knows.
func (r *aligned) add(o *aligned) {
	r.grow(len(o.midi))
	for i, k := range o.known {
		if k && !r.known[i] {
			r.midi[i], r.known[i] = o.midi[i], true
		}
	}
}

// line is the recording's written notes without rhythm, those left out that no table
// tells; which of its written notes each is; and whether people have it right.
func (r *aligned) line() (line grade.Line, index []int, truth []bool) {
	middle := r.key(r.annotated)
	for i, k := range r.known {
		if !k {
			continue
		}
		line.Notes = append(line.Notes, grade.Due{Cents: 100 * r.midi[i], Onset: float64(len(line.Notes)), Length: 1})
		index = append(index, i)
		truth = append(truth, r.answer[i] >= 0 && math.Abs(fold(100*(r.heard[r.answer[i]]-r.midi[i])-middle)) <= rightCents)
	}
	return line, index, truth
}

// foldedMedian is the median of distances in cents whose octaves mean nothing: it
// is found about the one that most of the others lie near to.
func foldedMedian(offs []float64) float64 {
	best, at := -1, 0.0
	for _, c := range offs {
		n := 0
		for _, o := range offs {
			if math.Abs(fold(o-c)) <= 50 {
				n++
			}
		}
		if n > best {
			best, at = n, c
		}
	}
	near := make([]float64, len(offs))
	for k, o := range offs {
		near[k] = at + fold(o-at)
	}
	slices.Sort(near)
	return near[len(near)/2]
}

// slipLeast is how many notes a slip of the table puts right.
const slipLeast = 6

// slips marks the written notes where the table is one note out: runs in which the
// sung note that answers the written note before, or after, would be right at least
// slipLeast times more often than the one that is said to answer.
func (r *aligned) slips() []bool {
	out := make([]bool, len(r.midi))
	middle := r.key(r.annotated)
	right := func(i, k int) float64 { // written note i by the answer of written note k
		if k < 0 || k >= len(r.answer) || r.answer[k] < 0 || !r.known[i] {
			return 0
		}
		if math.Abs(fold(100*(r.heard[r.answer[k]]-r.midi[i])-middle)) > rightCents {
			return 0
		}
		return 1
	}
	for _, shift := range []int{-1, 1} {
		sum, from := 0.0, 0
		best, a, b := 0.0, 0, 0
		for i := range r.midi {
			if sum <= 0 {
				sum, from = 0, i
			}
			if sum += right(i, i+shift) - right(i, i); sum > best {
				best, a, b = sum, from, i+1
			}
		}
		if best >= slipLeast {
			for i := a; i < b; i++ {
				out[i] = true
			}
		}
	}
	return out
}

// annotated is the annotated pitch of a sung note, in cents.
func (r *aligned) annotated(j int) float64 { return 100 * r.heard[j] }

// key is how far the recording lies above the written notes, in cents: the median of its
// notes' pitches.
func (r *aligned) key(pitch func(j int) float64) float64 {
	var offs []float64
	for i, j := range r.answer {
		if j >= 0 {
			offs = append(offs, pitch(j)-100*r.midi[i])
		}
	}
	return foldedMedian(offs)
}

// verdicts are what a grading and people say of written notes: right or wrong.
type verdicts struct {
	ours, truth []bool
	table       []bool // what the rule says of the table's own alignment and the measured pitches
	paired      []bool // both have the same sung note for it; true where people have none
	from        []string
	recordings  int
	unknown     int // written notes left out, since no table tells them
}

func (v *verdicts) agreement(index []int) float64 {
	same := 0.0
	for _, i := range index {
		if v.ours[i] == v.truth[i] {
			same++
		}
	}
	return same / float64(len(index))
}

func (v *verdicts) kappa(index []int) float64 {
	var a, b []bool
	for _, i := range index {
		a, b = append(a, v.ours[i]), append(b, v.truth[i])
	}
	return kappa(a, b)
}

// found is the share of what people call wrong that we call so.
func (v *verdicts) found(index []int) float64 {
	wrong, caught := 0.0, 0.0
	for _, i := range index {
		if !v.truth[i] {
			wrong++
			if !v.ours[i] {
				caught++
			}
		}
	}
	return caught / wrong
}

func (v *verdicts) pairs(index []int) float64 {
	same := 0.0
	for _, i := range index {
		if v.paired[i] {
			same++
		}
	}
	return same / float64(len(index))
}

func (v *verdicts) all() []int {
	all := make([]int, len(v.ours))
	for i := range all {
		all[i] = i
	}
	return all
}

// row prints a statistic and its interval over drawings of whole recordings.
func (v *verdicts) row(w io.Writer, name string, of func([]int) float64, note string) {
	low, high := interval(v.from, 7, of)
	fmt.Fprintf(w, "%-20s %.3f %.3f to %.3f%s\n", name, of(v.all()), low, high, note)
}

// compare grades one half of the recordings, their notes as people cut them. The line
// has no rhythm. With sane, notes where the table is one note out are left out.
func compare(all []*aligned, learn, sane bool) (*verdicts, error) {
	v := &verdicts{}
	rules := grade.DefaultRules()
	rules.Tolerance = rightCents
	for _, r := range all {
		if r.learn != learn {
			continue
		}
		line, index, truth := r.line()
		g, err := grade.Of(line, grade.Performance{Notes: r.sung}, rules)
		if err != nil {
			return nil, fmt.Errorf("recording %s: %w", r.name, err)
		}
		v.recordings++
		v.unknown += r.gaps
		slips, measured := r.slips(), r.key(func(j int) float64 { return r.sung[j].Cents })
		for k, i := range index {
			if sane && slips[i] {
				continue
			}
			n, j := g.Notes[k], r.answer[i]
			v.ours = append(v.ours, n.Finding == grade.Right || n.Finding == grade.NotHeard)
			v.truth = append(v.truth, truth[k])
			v.paired = append(v.paired, j < 0 || n.Answer.Count > 0 && j >= n.Answer.First && j < n.Answer.First+n.Answer.Count)
			v.table = append(v.table, j >= 0 && math.Abs(fold(r.sung[max(0, j)].Cents-100*r.midi[i]-measured)) <= rightCents)
			v.from = append(v.from, r.name)
		}
	}
	return v, nil
}

// alignmentRows prints how the halves of the aligned recordings are graded.
func alignmentRows(w io.Writer, dir string) error {
	all, err := alignments(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\nSight-singing, notes as people cut them, right or wrong at 80 cents, no rhythm\n")
	for _, learn := range []bool{true, false} {
		for _, sane := range []bool{false, true} {
			v, err := compare(all, learn, sane)
			if err != nil {
				return err
			}
			name := map[bool]string{true: "the half that costs were chosen on", false: "the other half"}[learn]
			if sane {
				name += ", without notes where the table is one note out"
			} else {
				name += fmt.Sprintf(": %d recordings, %d written notes left out that no table tells", v.recordings, v.unknown)
			}
			fmt.Fprintf(w, "\n%s; %d notes\n", name, len(v.ours))
			table := &verdicts{ours: v.table, truth: v.truth}
			for _, row := range []struct {
				name      string
				of, table func([]int) float64
			}{{"agreement", v.agreement, table.agreement}, {"kappa", v.kappa, table.kappa}, {"wrong notes found", v.found, table.found}} {
				v.row(w, row.name, row.of, fmt.Sprintf("   (with the table's alignment %.3f)", row.table(v.all())))
			}
			v.row(w, "same sung note", v.pairs, "")
		}
	}
	fmt.Fprintln(w, "\ngoals 0.965, 0.80, 0.80")
	return nil
}
