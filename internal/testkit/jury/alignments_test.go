package main

import (
	"os"
	"testing"

	"singback/exercise/grade"
)

// Recordings of sight-singing whose notes trained people cut and put to the written ones
// (sight-singing/alignments.csv of the reference data): a written note is right within 80
// cents of its pitch, after the median of its recording, octaves left out, which is the
// rule of those who made the data. The floors are of the half that nothing was chosen on,
// less what another machine's rounding may do.
func TestAlignmentsOfSightSinging(t *testing.T) {
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE does not name a folder with reference data: no sight-singing")
	}
	all, err := alignments(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		sane                           bool
		notes                          int
		agreement, kappa, found, pairs float64
	}{
		{false, 922, 0.880, 0.62, 0.58, 0.915},
		{true, 828, 0.930, 0.73, 0.69, 0.985},
	} {
		v, err := compare(all, false, c.sane)
		if err != nil {
			t.Fatal(err)
		}
		if v.recordings != 22 || v.unknown != 6 || len(v.ours) != c.notes {
			t.Errorf("%d recordings, %d written notes that no table tells, %d others; want 22, 6, %d", v.recordings, v.unknown, len(v.ours), c.notes)
		}
		index := v.all()
		if a, k, f, p := v.agreement(index), v.kappa(index), v.found(index), v.pairs(index); a < c.agreement || k < c.kappa || f < c.found || p < c.pairs {
			t.Errorf("agreement %.3f, kappa %.3f, wrong notes found %.3f, the same sung note %.3f; want at least %g, %g, %g, %g", a, k, f, p, c.agreement, c.kappa, c.found, c.pairs)
		}
	}
	half := map[bool]int{}
	for _, r := range all {
		half[r.learn]++
		for _, o := range all {
			if r.learn != o.learn && r.like(o) {
				t.Errorf("recordings %s and %s, one of each half, are of one melody", r.name, o.name)
			}
		}
	}
	if half[true] != 22 {
		t.Errorf("%d recordings to learn on, want 22", half[true])
	}
}

// A table that is one note out over a stretch is told from one whose singer was wrong.
func TestSlips(t *testing.T) {
	midi := []float64{60, 62, 64, 65, 67, 69, 71, 72, 71, 69, 67, 65, 64, 62, 60}
	sing := func(wrong int) *aligned {
		r := &aligned{}
		r.grow(len(midi))
		for i, m := range midi {
			h := m
			if i == wrong {
				h += 3
			}
			r.midi[i], r.known[i], r.answer[i] = m, true, i
			r.heard, r.sung = append(r.heard, h), append(r.sung, grade.Sung{Cents: 100 * h, Onset: float64(i), Offset: float64(i) + 0.9})
		}
		return r
	}
	for i, s := range sing(5).slips() {
		if s {
			t.Errorf("note %d of a take with one wrong note is called a slip of the table", i)
		}
	}
	r := sing(-1)
	r.answer[3] = -1 // a note is passed over, and the rest answered by the one before
	for i := 4; i < 12; i++ {
		r.answer[i] = i - 1
	}
	got := r.slips()
	for i := range midi {
		// The last of the stretch has no note after it that would fit.
		if want := i >= 4 && i < 11; got[i] != want && i != 3 {
			t.Errorf("note %d: %v, want %v", i, got[i], want)
		}
	}
}
