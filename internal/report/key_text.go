package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/theory"
)

// CSV writes the degrees of a key with a header line.
func (t KeyTable) CSV(out io.Writer) error {
	w := csv.NewWriter(out)
	header := []string{"degree", "note", "semitones"}
	for _, n := range theory.Namings() {
		header = append(header, Field(n))
	}
	w.Write(append(header, "hz", "cents", "ratio"))
	for i, row := range t.Degrees {
		record := []string{row.Degree.Degree, row.Note, strconv.Itoa(row.Semitones)}
		for _, n := range theory.Namings() {
			record = append(record, row.Names[Field(n)])
		}
		w.Write(append(record, strconv.FormatFloat(row.Hz, 'f', 3, 64), strconv.FormatFloat(row.Cents, 'f', 3, 64), t.Rows[i].Ratio))
	}
	w.Flush()
	return w.Error()
}

// KeyTable writes the table of the item's key below a title. All in one table
// would be wider than a terminal: first what a singer of movable do reads, then
// the other namings. The falling degrees stand below, where there are any.
func (s Style) KeyTable(title string, it exercise.Item, t KeyTable, falling []theory.Degree) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s, %s\n\n", title, signature(it.Key), Tuning(it.Tuning))
	degree := func(d theory.Degree) string {
		if s.ASCII {
			return d.ASCII()
		}
		return d.String()
	}
	name := func(n theory.Naming, row KeyRow) string {
		return Style{Names: n, ASCII: s.ASCII}.Degree(it.Key, row.Degree)
	}
	before := []theory.Naming{theory.Movable, theory.LaBased, theory.Numbers}
	ratios := it.Tuning.System != theory.Equal
	w := newColumns(&b)
	fmt.Fprint(w, "degree\tnote\t")
	for _, n := range before {
		fmt.Fprintf(w, "%s\t", n)
	}
	if ratios {
		fmt.Fprint(w, "ratio\tcents\t")
	}
	fmt.Fprintln(w, "Hz")
	for _, row := range t.Rows {
		fmt.Fprintf(w, "%s\t%s\t", degree(row.Degree), s.Pitch(row.Pitch))
		for _, n := range before {
			fmt.Fprintf(w, "%s\t", name(n, row))
		}
		if ratios {
			fmt.Fprintf(w, "%s\t%.1f\t", row.Ratio, row.Cents)
		}
		fmt.Fprintf(w, "%.2f\n", row.Hz)
	}
	w.Flush()
	fmt.Fprint(w, "\ndegree")
	others := slices.DeleteFunc(theory.Namings(), func(n theory.Naming) bool { return slices.Contains(before, n) })
	for _, n := range others {
		fmt.Fprintf(w, "\t%s", n)
	}
	for _, row := range t.Rows {
		fmt.Fprintf(w, "\n%s", degree(row.Degree))
		for _, n := range others {
			fmt.Fprintf(w, "\t%s", name(n, row))
		}
	}
	fmt.Fprintln(w)
	w.Flush()
	if len(falling) > 0 {
		names := make([]string, len(falling))
		for i, d := range falling {
			names[i] = s.Degree(it.Key, d)
		}
		fmt.Fprintf(&b, "\nfalling: %s\n", strings.Join(names, " "))
	}
	return b.String()
}

// signature says the key signature in words.
func signature(k theory.Key) string {
	n, sign := k.Signature(), "sharp"
	if n < 0 {
		n, sign = -n, "flat"
	}
	if n == 0 {
		return "no sharps or flats"
	}
	return Many(n, sign)
}

// Tuning says the tuning, and its system unless it is the equal one.
func Tuning(t theory.Tuning) string {
	s := fmt.Sprintf("A4 = %g Hz", t.A4)
	if t.System != theory.Equal {
		s += ", " + t.String() + " tuning"
	}
	return s
}
