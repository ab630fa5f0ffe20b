package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/review"
)

func TestStatistics(t *testing.T) {
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-3 {
			t.Errorf("%s: %g, want %g", what, got, want)
		}
	}
	// By hand: of the 6 pairs of a pass and a fail, 4 are the right way round
	// and one is a tie.
	near("auc", auc([]bool{true, true, false, false, false}, []float64{3, 1, 2, 1, 0}), 4.5/6)
	// IQ against hours of television, a worked example of the coefficient in
	// many textbooks (from memory): -29/165.
	near("spearman", spearman([]float64{106, 100, 86, 101, 99, 103, 97, 113, 112, 110}, []float64{7, 27, 2, 50, 28, 29, 20, 12, 6, 17}), -29.0/165)
	// 20 and 15 agreements, 5 and 10 disagreements: the usual worked example of
	// Cohen's kappa (from memory).
	var a, b []bool
	add := func(n int, x, y bool) {
		for range n {
			a, b = append(a, x), append(b, y)
		}
	}
	add(20, true, true)
	add(5, true, false)
	add(10, false, true)
	add(15, false, false)
	near("kappa", kappa(a, b), 0.4)
	near("balanced", balanced([]bool{true, true, false, false}, []float64{2, 0, 1, 0}, 1), 0.5)
}

// The fit finds the weight that data were drawn with by their shares: odds of
// 3 to 1 without the fault and 1 to 3 with it are a weight of 2 ln 3.
func TestFit(t *testing.T) {
	var x [][]float64
	var y []bool
	for k := range 400 {
		fault := float64(k % 2)
		pass := k/2%4 != 0
		if fault == 1 {
			pass = !pass
		}
		x, y = append(x, []float64{fault, 0}), append(y, pass)
	}
	base, w := fit(x, y, 1e-6)
	if math.Abs(base-math.Log(3)) > 1e-3 || math.Abs(w[0]-2*math.Log(3)) > 1e-3 || w[1] != 0 {
		t.Errorf("base %g, weights %g; want ln 3, 2 ln 3 and 0", base, w)
	}
}

// The grade that is shipped agrees with the jury at least as well as said in
// DEVELOPERS.md, less what another machine's rounding may do.
func TestAgreementWithTheJury(t *testing.T) {
	dir := os.Getenv("SINGBACK_JURY")
	if dir == "" {
		t.Skip("SINGBACK_JURY does not name a folder with the jury's data")
	}
	d, err := read(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		model         string
		strict        bool
		auc, spearman float64
	}{{"written", true, 0.97, 0.88}, {"written", false, 0.965, 0.87}, {"piano", true, 0.945, 0.85}} {
		found, err := d.grade(c.model, c.strict)
		if err != nil {
			t.Fatal(err)
		}
		var score, grade []float64
		for i, g := range found {
			score, grade = append(score, g.Score), append(grade, d.takes[i].grade)
		}
		if a, s := auc(d.pass(), score), spearman(score, grade); a < c.auc || s < c.spearman {
			t.Errorf("%s, strict %v: AUC %.3f, Spearman %.3f; want at least %g, %g", c.model, c.strict, a, s, c.auc, c.spearman)
		}
	}
}

// Two answers are there as recordings, too. What is heard in them has the notes of
// their curves, the first ones with the others, and gets the marks of the curves.
func TestRecordingsAsTheirCurves(t *testing.T) {
	dir := os.Getenv("SINGBACK_JURY")
	if dir == "" {
		t.Skip("SINGBACK_JURY does not name a folder with the jury's data")
	}
	d, err := read(dir)
	if err != nil {
		t.Fatal(err)
	}
	curves := map[string][]grade.Moment{}
	for _, k := range d.takes {
		curves[k.file] = k.curve
	}
	paths, err := filepath.Glob(filepath.Join(dir, "audio", "*_per*.wav"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("%d answers as recordings, %v", len(paths), err)
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".wav")
		melody := name[:strings.LastIndex(name, "_")]
		heard, err := review.Reader{}.Read(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		want := grade.OfCurve(curves[name])
		if len(want.Notes) == 0 {
			t.Fatalf("%s: no curve has this name", name)
		}
		for i, n := range want.Notes {
			found := false
			for _, h := range heard.Notes {
				together := min(h.Offset, n.Offset) - max(h.Onset, n.Onset)
				found = found || together > 0.5*(n.Offset-n.Onset) && math.Abs(fold(h.Cents-n.Cents)) < 60
			}
			if !found {
				t.Errorf("%s: note %d of %d, at %.2f s, was not heard", name, i+1, len(want.Notes), n.Onset)
			}
		}
		line := d.lines[melody]
		var pass [2]float64
		for k, p := range []grade.Performance{heard, want} {
			g, err := grade.Of(line, p, grade.DefaultRules())
			if err != nil {
				t.Fatal(err)
			}
			pass[k] = g.Pass
		}
		if math.Abs(pass[0]-pass[1]) > 0.15 {
			t.Errorf("%s: pass %.2f, of its curve %.2f", name, pass[0], pass[1])
		}
	}
}
