package report

import (
	"fmt"
	"strings"

	"singback/theory"
)

// Compared is the record of chords that are written over a bass, beside what was deduced
// from it.
type Compared struct {
	Deduction
	Written []Written `json:"written"` // one for each place
}

// Written is the record of a chord that is written.
type Written struct {
	Chord
	Probability float64 `json:"probability"` // with the whole bass; 0 where the style does not know it
	Rank        *int    `json:"rank"`        // among the candidates, from 1; null where it is none
}

// NewCompared makes the record.
func NewCompared(d theory.Deduction, written []theory.Roman, n theory.Naming) Compared {
	out := Compared{Deduction: NewDeduction(d, n)}
	for i, w := range written {
		one := Written{Chord: NewChord(w)}
		if rank, p := rankOf(d.Places[i], w); rank > 0 {
			one.Rank, one.Probability = &rank, p
		}
		out.Written = append(out.Written, one)
	}
	return out
}

// rankOf is the place of a chord among the candidates, from 1, and its probability; 0 if
// it is none of them. What a style does not tell apart counts as the chord without it: a
// ninth is the seventh chord below it.
func rankOf(p theory.Place, w theory.Roman) (rank int, probability float64) {
	q := w.Chord.Quality
	for i, c := range p.Candidates {
		own := c.Roman.Chord
		if own.Root == w.Chord.Root && (own.Quality == q || own.Quality.Triad() == q.Triad() && own.Quality.Seventh() == q.Seventh()) {
			return i + 1, c.P
		}
	}
	return 0, 0
}

// Compared writes what was deduced from the bass of chords beside what is written.
func (s Style) Compared(d theory.Deduction, written []theory.Roman) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %v\n\n", s.Key(d.Key), d.Style)
	w := newColumns(&b)
	fmt.Fprintln(w, "\tbass\twritten\tlikeliest\twritten is")
	first, root := 0, 0
	for i, r := range written {
		p := d.Places[i]
		best := p.Candidates[0]
		rank, share := rankOf(p, r)
		is := "not in the style"
		switch {
		case rank == 1:
			is = "the likeliest"
			first++
		case rank > 1:
			is = fmt.Sprintf("%s, number %d", percent(share), rank)
		}
		if best.Roman.Chord.Root == r.Chord.Root {
			root++
		}
		fmt.Fprintf(w, "%d\t%s\t%s %s\t%s %s\t%s\n", i+1, s.Degree(d.Key, p.Bass.Degree), s.Roman(r), s.Chord(r.Chord), s.Roman(best.Roman), percent(best.P), is)
	}
	w.Flush()
	fmt.Fprintf(&b, "\nWhat is written is the likeliest at %d of %s; the root of the likeliest is written at %d.\n", first, Many(len(written), "chord"), root)
	from := "Counted in "
	if d.Style.Judged() {
		from = "By "
	}
	fmt.Fprintf(&b, "%s\n", Hang("", from+d.Style.Source()+".", 0))
	return trimLines(b.String())
}
