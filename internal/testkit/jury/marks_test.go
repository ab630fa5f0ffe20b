package main

import (
	"math"
	"os"
	"testing"
)

func TestFoundFirst(t *testing.T) {
	differ := []bool{true, false, true, false, true, false, false, false, false, false}
	for _, test := range []struct {
		order []float64
		share float64
		want  float64
	}{
		{[]float64{9, 8, 7, 6, 5, 4, 3, 2, 1, 0}, 0.1, 1. / 3},
		{[]float64{9, 8, 7, 6, 5, 4, 3, 2, 1, 0}, 0.3, 2. / 3},
		{[]float64{0, 8, 7, 6, 5, 4, 3, 2, 1, 9}, 0.3, 1. / 3},
		{make([]float64, 10), 0.3, 0.3}, // all alike: as by lot
		{[]float64{5, 5, 5, 5, 1, 1, 1, 1, 1, 1}, 0.2, 1. / 3},
	} {
		if got := foundFirst(differ, test.order, test.share); math.Abs(got-test.want) > 1e-9 {
			t.Errorf("%v, %g: %g, want %g", test.order, test.share, got, test.want)
		}
	}
}

// The takes on which the machine and the jury differ come first in order of doubt, far more
// of them than by lot, and the doubt is about what it says. Values are those of the table
// less what another machine's rounding may do.
func TestDoubtFindsWhatDiffers(t *testing.T) {
	dir := os.Getenv("SINGBACK_JURY")
	if dir == "" {
		t.Skip("SINGBACK_JURY does not name a folder with the jury's data")
	}
	d, err := read(dir)
	if err != nil {
		t.Fatal(err)
	}
	found, err := d.grade("written", false)
	if err != nil {
		t.Fatal(err)
	}
	marks, err := d.marks("written", found)
	if err != nil {
		t.Fatal(err)
	}
	pass := d.pass()
	for _, want := range []struct {
		name               string
		auc, same          float64
		tenth, threeTenths float64
	}{
		{"faults", 0.97, 0.915, 0.4, 0.85},
		{"notes", 0.84, 0.82, 0.15, 0.48},
		{"intervals and key", 0.87, 0.82, 0.2, 0.55},
		{"segments and flow", 0.88, 0.84, 0.25, 0.57},
		{"bars", 0.815, 0.81, 0.15, 0.5},
	} {
		for _, m := range marks {
			if m.name != want.name {
				continue
			}
			differ := make([]bool, len(pass))
			same, said := 0.0, 0.0
			for i := range pass {
				if differ[i] = m.pass[i] != pass[i]; !differ[i] {
					same++
				}
				said += m.doubt[i]
			}
			n := float64(len(pass))
			a, first, three := auc(pass, m.value), foundFirst(differ, m.doubt, 0.1), foundFirst(differ, m.doubt, 0.3)
			if a < want.auc || same/n < want.same || first < want.tenth || three < want.threeTenths {
				t.Errorf("%s: AUC %.3f, %.3f on the jury's side, %.2f and %.2f of what differs in the first 10 and 30 %%; want %+v", m.name, a, same/n, first, three, want)
			}
			if got := n - same; math.Abs(said-got) > 0.45*got {
				t.Errorf("%s: doubts foretell %.0f takes that differ, and there are %.0f", m.name, said, got)
			}
		}
	}
}
