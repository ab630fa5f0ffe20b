package class

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"singback/theory"
)

func near(t *testing.T, what string, got, want, by float64) {
	t.Helper()
	if !(math.Abs(got-want) <= by) {
		t.Errorf("%s: %.5f, want %.5f", what, got, want)
	}
}

// Kappa and its error beside numbers from outside.
func TestKappa(t *testing.T) {
	for _, test := range []struct {
		name             string
		table            [][]float64
		kappa, deviation float64
	}{
		// The worked example of the SAS manual's simple kappa (0.4842, ASE 0.1380, 0.2137 to
		// 0.7547), as it stands in the tests of statsmodels 0.13.5, test_inter_rater.py.
		{"SAS", [][]float64{{0, 4, 1}, {0, 8, 0}, {0, 1, 5}}, 0.4842, 0.1380},
		// 20, 5, 10, 15: the usual worked example (from memory), 0.4; the error by cohens_kappa
		// of statsmodels 0.13.5 and cohen.kappa of R's psych 2.2.9.
		{"the usual one", [][]float64{{20, 5}, {10, 15}}, 0.4, 0.1270},
		// A table of Fleiss' Statistical Methods for Rates and Proportions (from memory);
		// error by statsmodels.
		{"Fleiss", [][]float64{{75, 1, 4}, {5, 4, 1}, {0, 0, 10}}, 0.6765, 0.0877},
		{"psych", [][]float64{{40, 9}, {6, 45}}, 0.6995, 0.0714},
	} {
		kappa, deviation, ok := kappaOf(test.table)
		if !ok {
			t.Errorf("%s: not defined", test.name)
		}
		near(t, test.name, kappa, test.kappa, 6e-5)
		near(t, test.name+", error", deviation, test.deviation, 6e-5)
	}
	if _, _, ok := kappaOf([][]float64{{0, 0}, {0, 7}}); ok {
		t.Error("kappa is defined where all are alike")
	}
	if kappa, _, ok := kappaOf([][]float64{{0, 0}, {3, 7}}); !ok || kappa != 0 {
		t.Errorf("kappa %g, %v where one says the same of all; want 0", kappa, ok)
	}
}

// The same, and the errors that are robust to groups, by an outside program.
func TestStatisticsAsStatsmodels(t *testing.T) {
	const program = `
import json, numpy as np, statsmodels.api as sm
from statsmodels.stats.inter_rater import cohens_kappa
out = []
for t in ([[40,9],[6,45]], [[80,2],[3,15]], [[1,5],[4,90]]):
    r = cohens_kappa(np.array(t)); out += [r.kappa, r.std_kappa, r.kappa_low, r.kappa_upp]
y, g = [], []
for i, (r, n) in enumerate([(3,4),(10,10),(1,6),(7,9),(2,2),(5,12)]):
    y += [1.0]*r + [0.0]*(n-r); g += [i]*n
m = sm.OLS(np.array(y), np.ones(len(y))).fit(cov_type='cluster', cov_kwds={'groups': np.array(g)})
print(json.dumps(out + [float(m.params[0]), float(m.bse[0])]))`
	python := "/usr/bin/python3" // Debian's
	if err := exec.Command(python, "-c", "import statsmodels").Run(); err != nil {
		if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" {
			t.Fatal("python3-statsmodels is not installed, and SINGBACK_REQUIRE_TOOLS=1 asks for it")
		}
		t.Skip("python3-statsmodels is not installed; its numbers stand in the other tests")
	}
	text, err := exec.Command(python, "-W", "ignore", "-c", program).Output()
	if err != nil {
		t.Fatal(err)
	}
	var want []float64
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	k := 0
	for _, table := range []Table{{{40, 9}, {6, 45}}, {{80, 2}, {3, 15}}, {{1, 5}, {4, 90}}} {
		a := agreement(table)
		near(t, "kappa", a.Kappa.Value, want[k], 1e-9)
		near(t, "error", a.Error, want[k+1], 1e-9)
		near(t, "low", a.Kappa.Low, want[k+2], 1e-6)
		near(t, "high", a.Kappa.High, min(1, want[k+3]), 1e-6)
		k += 4
	}
	students := []Count{{3, 4}, {10, 10}, {1, 6}, {7, 9}, {2, 2}, {5, 12}}
	s, ok := shareOf(students)
	if !ok {
		t.Fatal("nothing is said")
	}
	near(t, "share", s.Share.Value, want[k], 1e-9)
	near(t, "robust error", math.Sqrt(ratioVariance(students)), want[k+1], 1e-9)
}

func reviews(table Table, chosen Chosen) []Reviewed {
	var out []Reviewed
	for m := range table {
		for teacher, n := range table[m] {
			for range int(n) {
				out = append(out, Reviewed{Review{Chosen: chosen, Pass: teacher == 1}, Mark{Pass: m == 1}})
			}
		}
	}
	return out
}

func TestAgree(t *testing.T) {
	doubt, lot := reviews(Table{{5, 5}, {4, 6}}, Doubt), reviews(Table{{12, 1}, {2, 25}}, Sample)
	a := Agree(slices.Concat(doubt, lot, reviews(Table{{1, 0}, {0, 2}}, Asked)), 163)
	if a.All.Takes != 63 || a.All.Same != 51 || a.Doubt.Same != 11 || a.Sample.Same != 37 || a.Asked.Takes != 3 {
		t.Errorf("%+v", a)
	}
	if a.Asked.Known || !strings.Contains(a.Asked.Words(), "fewer than 10 takes") {
		t.Errorf("of 3 takes is said: %s", a.Asked.Words())
	}
	// Of 100 that nobody heard 92.5 are as of the lot, and of 63 heard 51.
	near(t, "whole", a.Whole.Share.Value, (51+100*37./40)/163, 1e-9)
	of := wilson(37./40, 1/(1./40+1./100), 1.959964)
	near(t, "whole, low", a.Whole.Share.Low, (51+100*of.Low)/163, 1e-6)
	near(t, "whole, table", a.Whole.Table.sum(), 163, 1e-9)
	if a.Doubt.Share.Value >= a.Whole.Share.Value || !a.Whole.HasKappa || !(a.Whole.Kappa.Low < a.Whole.Kappa.Value) {
		t.Errorf("%+v", a.Whole)
	}
	if want := "agree on 37 of 40 (0.93, 0.80 to 0.97); kappa 0.83, 0.65 to 1.00"; a.Sample.Words() != want {
		t.Errorf("%q, want %q", a.Sample.Words(), want)
	}
	if a := Agree(doubt, 100); a.Whole.Known || !strings.Contains(a.Whole.Words(), "fewer than 10 takes were drawn by lot") {
		t.Errorf("without a lot: %s", a.Whole.Words())
	}
	if a := Agree(doubt, 20); !a.Whole.Known || a.Whole.Share.Low != a.Whole.Share.Value {
		t.Errorf("all were heard: %s", a.Whole.Words())
	}
	for text, table := range map[string]Table{
		"both let all pass":                {{0, 0}, {0, 20}},
		"both let all fail":                {{20, 0}, {0, 0}},
		"says the same of all takes":       {{0, 0}, {2, 18}},
		"only 5 % are of one kind":         {{1, 2}, {1, 46}},
		"agree on 0 of 0; fewer than 10 t": {},
	} {
		if got := agreement(table).Words(); !strings.Contains(got, text) {
			t.Errorf("%v: %q, want %q", table, got, text)
		}
	}
}

// In made classes, heard by doubt and by lot, the interval for the whole class holds what is
// so nearly as often as it says, and the share among those heard by doubt does not.
func TestWholeHoldsTheTruth(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	const classes, takes = 600, 200
	held, kappas, biased := 0, 0, 0
	for range classes {
		marks := make([]Mark, takes)
		teacher := make([]bool, takes)
		same := 0
		var truth Table
		for i := range marks {
			d := 0.5 * math.Pow(rng.Float64(), 3)
			marks[i] = Mark{Take: int64(i + 1), Pass: rng.IntN(3) > 0, Doubt: d}
			teacher[i] = marks[i].Pass != (rng.Float64() < d)
			if teacher[i] == marks[i].Pass {
				same++
			}
			truth[side(marks[i].Pass)][side(teacher[i])]++
		}
		var heard []Reviewed
		done := map[int]bool{}
		for _, i := range Queue(marks)[:20] {
			heard, done[i] = append(heard, Reviewed{Review{Chosen: Doubt, Pass: teacher[i]}, marks[i]}), true
		}
		var rest []Mark
		for i, m := range marks {
			if !done[i] {
				rest = append(rest, m)
			}
		}
		for _, k := range Draw(rest, 40, rng.Uint64()) {
			i := int(rest[k].Take - 1)
			heard = append(heard, Reviewed{Review{Chosen: Sample, Pass: teacher[i]}, marks[i]})
		}
		a := Agree(heard, takes)
		share := float64(same) / takes
		kappa, _, _ := kappaOf([][]float64{truth[0][:], truth[1][:]})
		if share >= a.Whole.Share.Low && share <= a.Whole.Share.High {
			held++
		}
		if kappa >= a.Whole.Kappa.Low-1e-9 && kappa <= a.Whole.Kappa.High+1e-9 {
			kappas++
		}
		if share > a.Doubt.Share.High {
			biased++
		}
	}
	t.Logf("of %d classes the interval of the whole holds the share in %d, kappa in %d; that of the doubted lies below in %d", classes, held, kappas, biased)
	if held < classes*92/100 || kappas < classes*88/100 || biased < classes/2 {
		t.Errorf("of %d classes the interval of the whole holds the share in %d, kappa in %d; that of the doubted lies below in %d; want 92 %%, 88 %%, half", classes, held, kappas, biased)
	}
}

func TestQueueAndDraw(t *testing.T) {
	marks := []Mark{{Take: 4, Doubt: 0.1}, {Take: 2, Doubt: 0.4}, {Take: 9, Doubt: 0.1, Value: 0.3}, {Take: 1, Doubt: 0.1}}
	if got := Queue(marks); !slices.Equal(got, []int{1, 3, 0, 2}) {
		t.Errorf("queue %v", got)
	}
	var many []Mark
	for i := range 500 {
		many = append(many, Mark{Take: int64(i + 1)})
	}
	takes := func(of []Mark, drawn []int) (out []int64) {
		for _, i := range drawn {
			out = append(out, of[i].Take)
		}
		return
	}
	ten := takes(many, Draw(many, 10, 7))
	if more := takes(many, Draw(many, 20, 7)); !slices.Equal(more[:10], ten) {
		t.Errorf("%v does not begin with %v", more, ten)
	}
	turned := slices.Clone(many)
	slices.Reverse(turned)
	if other := takes(turned, Draw(turned, 10, 7)); !slices.Equal(other, ten) {
		t.Errorf("in another order %v, not %v", other, ten)
	}
	if other := takes(many, Draw(many, 10, 8)); slices.Equal(other, ten) {
		t.Errorf("another seed draws the same: %v", other)
	}
	if got := len(Draw(many[:3], 10, 1)); got != 3 {
		t.Errorf("%d of 3 are drawn", got)
	}
	// No take is favoured: each tenth of the list is drawn about as often.
	var tenths [10]int
	for seed := range uint64(400) {
		for _, i := range Draw(many, 10, seed) {
			tenths[i/50]++
		}
	}
	for k, n := range tenths {
		if n < 330 || n > 470 { // 400, give or take 3.7 standard deviations
			t.Errorf("tenth %d is drawn %d times of 4000", k, n)
		}
	}
}

func TestWeak(t *testing.T) {
	d := func(step int) theory.Degree { return theory.Degree{Step: step} }
	var sung []Sung
	for student := range int64(6) {
		sung = append(sung, Sung{student, Tally{
			Degrees: map[theory.Degree]Count{d(1): {4, 4}, d(4): {2, 4}, d(7): {1, 1}},
			Moves:   map[Move]Count{{d(1), d(4)}: {1, 2}},
		}})
	}
	// One student sings la forty times and wrong, five once and right.
	sung = append(sung, Sung{9, Tally{Degrees: map[theory.Degree]Count{d(6): {0, 40}}}})
	for student := range int64(5) {
		sung = append(sung, Sung{student, Tally{Degrees: map[theory.Degree]Count{d(6): {1, 1}}}})
	}
	degrees, moves := Weak(sung)
	if len(degrees) != 3 || degrees[0].Degree != d(6) || degrees[1].Degree != d(4) || degrees[2].Degree != d(1) {
		t.Fatalf("%+v; want la, fa, do, and nothing of ti, which was sung six times", degrees)
	}
	la, fa, do := degrees[0], degrees[1], degrees[2]
	if la.Students != 6 || la.Of != 45 || la.Right != 5 || !la.HasStudents {
		t.Errorf("la %+v", la)
	}
	if la.Share.High > 0.3 || la.ByStudents.High < 0.5 {
		t.Errorf("la: as of %d students up to %.2f, by students up to %.2f: forty answers are of one", la.Of, la.Share.High, la.ByStudents.High)
	}
	if fa.Share.Value != 0.5 || fa.ByStudents.Low > fa.Share.Low || do.ByStudents.Low > do.Share.Low || do.ByStudents.High != 1 {
		t.Errorf("fa %+v, do %+v", fa, do)
	}
	if len(moves) != 1 || moves[0].Of != 12 || moves[0].Right != 6 {
		t.Errorf("moves %+v", moves)
	}
	if few, _ := Weak(sung[:3]); len(few) != 2 || few[0].HasStudents {
		t.Errorf("of three students %+v", few)
	}
}

// By students the interval holds the truth as often as it says, where students differ, and
// Wilson's does not.
func TestIntervalByStudents(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 71))
	const classes = 1500
	by, plain := 0, 0
	for range classes {
		var counts []Count
		for range 15 {
			p := []float64{0.4, 0.9}[rng.IntN(2)] // of all students 0.65
			c := Count{Of: 1 + rng.IntN(12)}
			for range c.Of {
				if rng.Float64() < p {
					c.Right++
				}
			}
			counts = append(counts, c)
		}
		s, _ := shareOf(counts)
		if s.ByStudents.Low <= 0.65 && s.ByStudents.High >= 0.65 {
			by++
		}
		if s.Share.Low <= 0.65 && s.Share.High >= 0.65 {
			plain++
		}
	}
	t.Logf("by students %.3f, as of one answer each %.3f", float64(by)/classes, float64(plain)/classes)
	if by < classes*92/100 || plain > classes*88/100 {
		t.Errorf("by students %.3f, as of one answer each %.3f; want at least 0.92, and less than 0.88", float64(by)/classes, float64(plain)/classes)
	}
}

func TestDistributeAndChanges(t *testing.T) {
	var marks []Mark
	for k := range 11 {
		marks = append(marks, Mark{Take: int64(k), Value: float64(k) / 10, Pass: k >= 7})
	}
	d := Distribute(marks)
	if d.Marks != 11 || d.Passed != 4 || d.Low != 0 || d.High != 1 || d.Median != 0.5 || math.Abs(d.Quarter-0.25) > 1e-9 || math.Abs(d.Three-0.75) > 1e-9 {
		t.Errorf("%+v", d)
	}
	if d.Tenths != [10]int{1, 1, 1, 1, 1, 1, 1, 1, 1, 2} {
		t.Errorf("tenths %v", d.Tenths)
	}
	if d := Distribute(nil); d.Marks != 0 || d.Median != 0 {
		t.Errorf("of none %+v", d)
	}
	after := slices.Clone(marks)
	after[3].Value, after[5].Value = 0.35, 0.1
	after[6].Value, after[6].Pass = 0.62, true
	after = append(after, Mark{Take: 99})
	c := Changes(marks, after)
	if len(c) != 3 || c[0].Take != 6 || !c[0].Flipped || c[1].Take != 5 || c[2].Take != 3 || c[1].Flipped {
		t.Errorf("%+v", c)
	}
}
