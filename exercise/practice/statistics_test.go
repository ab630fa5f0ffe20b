package practice

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Newcombe 1998, Statistics in Medicine 17, 857–872, table I, method 3 (the score
// interval), to four decimals; from memory.
func TestSharePublished(t *testing.T) {
	for _, c := range []struct {
		right, n  int
		low, high float64
	}{{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}} {
		e := Share(c.right, c.n, 0.95)
		near(t, "low", e.Low, c.low, 0.00005)
		near(t, "high", e.High, c.high, 0.00005)
	}
}

// The limits are where the score test just rejects: (p̂−p)² = z²p(1−p)/n, with the
// normal quantile of gonum. They mirror when right and wrong change places.
func TestShareClosedForm(t *testing.T) {
	for _, confidence := range []float64{0.8, 0.95, 0.999} {
		z := distuv.UnitNormal.Quantile((1 + confidence) / 2)
		near(t, "z", normalQuantile(confidence), z, 1e-9)
		for n := 1; n <= 40; n++ {
			for right := 0; right <= n; right++ {
				e, mirror := Share(right, n, confidence), Share(n-right, n, confidence)
				for _, p := range []float64{e.Low, e.High} {
					if p > 0 && p < 1 {
						near(t, "score", (e.Value-p)*(e.Value-p), z*z*p*(1-p)/float64(n), 1e-9)
					}
				}
				near(t, "mirror", e.Low, 1-mirror.High, 1e-12)
				if e.Low > e.Value || e.High < e.Value || e.Low < 0 || e.High > 1 {
					t.Fatalf("%d of %d: %+v", right, n, e)
				}
			}
		}
	}
}

// Newcombe 1998, Statistics in Medicine 17, 873–890, table II, method 10, to four
// decimals; from memory. The first sample there is the second here.
func TestDifferencePublished(t *testing.T) {
	for _, c := range []struct {
		right2, n2, right1, n1 int
		low, high              float64
	}{{56, 70, 48, 80, 0.0524, 0.3339}, {9, 10, 3, 10, 0.1705, 0.8090}, {10, 10, 0, 10, 0.6075, 1}} {
		e := Difference(c.right1, c.n1, c.right2, c.n2, 0.95)
		near(t, "low", e.Low, c.low, 0.00005)
		near(t, "high", e.High, c.high, 0.00005)
	}
}

// The ranks of the interval against gonum's binomial distribution, and against
// the table of the sign test that textbooks print: for n = 10, 15, 20, 25 at 95 %
// ranks 2, 4, 6, 8.
func TestMedianRank(t *testing.T) {
	for n, want := range map[int]int{5: 0, 6: 1, 10: 2, 15: 4, 20: 6, 25: 8} {
		if got := medianRank(n, 0.95); got != want {
			t.Errorf("n = %d: rank %d, want %d", n, got, want)
		}
	}
	for _, n := range []int{1, 7, 33, 100, 1001, 5000} {
		k := medianRank(n, 0.95)
		b := distuv.Binomial{N: float64(n), P: 0.5}
		if k > 0 && b.CDF(float64(k-1)) > 0.025+1e-9 || b.CDF(float64(k)) < 0.025-1e-9 {
			t.Errorf("n = %d: rank %d leaves %.5f below", n, k, b.CDF(float64(k-1)))
		}
	}
}

func TestMedianAndDeviation(t *testing.T) {
	e := Median([]float64{9, 1, 8, 2, 7, 3, 6, 4, 5, 10}, 0.95)
	if e != (Estimate{5.5, 2, 9}) {
		t.Errorf("1 to 10: %+v, want 5.5 between the second from either end", e)
	}
	if e := Median([]float64{3, 1, 2}, 0.95); e.Value != 2 || !math.IsInf(e.Low, -1) || !math.IsInf(e.High, 1) {
		t.Errorf("three numbers: %+v", e)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]float64, 500)
	for i := range x {
		x[i] = 1000 + 7*rng.NormFloat64()
	}
	near(t, "standard deviation", deviation(x), stat.StdDev(x, nil), 1e-9)
}

// Averaged over all true shares, the score interval holds the true one in 95 of
// 100 cases, summed exactly over gonum's binomial distribution (that it does
// so is the finding of Agresti and Coull 1998, The American Statistician 52, 119–126).
func TestShareCoverage(t *testing.T) {
	for _, n := range []int{10, 20, 50, 100} {
		mean := 0.0
		const grid = 999
		for g := 1; g <= grid; g++ {
			p := float64(g) / (grid + 1)
			b := distuv.Binomial{N: float64(n), P: p}
			for right := 0; right <= n; right++ {
				if e := Share(right, n, 0.95); e.Low <= p && p <= e.High {
					mean += b.Prob(float64(right)) / grid
				}
			}
		}
		near(t, "coverage", mean, 0.952, 0.004)
	}
}

// Of 30 numbers the ranks 10 and 21 enclose the median in 95.7 of 100 cases.
func TestMedianCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const runs = 4000
	held := 0
	for range runs {
		x := make([]float64, 30)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		if e := Median(x, 0.95); e.Low <= 0 && 0 <= e.High {
			held++
		}
	}
	near(t, "coverage", float64(held)/runs, 0.957, 0.012)
}

// Student's quantile against gonum's.
func TestStudentQuantile(t *testing.T) {
	for _, free := range []int{8, 9, 15, 30, 100, 10000} {
		want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(free)}.Quantile(0.975)
		near(t, "t", StudentQuantile(free, 0.95), want, 0.001*want)
	}
}

// With one group the slope is gonum's line; with two it is that of both moved to
// the same level, whatever their levels.
func TestSlope(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var x, y []float64
	var a, b [][2]float64
	for i := range 40 {
		x, y = append(x, float64(i)), append(y, 3-0.2*float64(i)+rng.NormFloat64())
		a = append(a, [2]float64{x[i], y[i]})
		b = append(b, [2]float64{x[i], y[i] + 77})
	}
	_, slope := stat.LinearRegression(x, y, nil, false)
	one, ok := Slope([][][2]float64{a}, 0.95)
	two, ok2 := Slope([][][2]float64{a, nil, b}, 0.95)
	if !ok || !ok2 {
		t.Fatal("no slope")
	}
	near(t, "one group", one.Value, slope, 1e-12)
	near(t, "two groups", two.Value, slope, 1e-12)
	// The standard error in closed form: √(Σr²/(n−2)/Σ(x−x̄)²).
	alpha, beta := stat.LinearRegression(x, y, nil, false)
	rss := 0.0
	for i := range x {
		r := y[i] - alpha - beta*x[i]
		rss += r * r
	}
	se := math.Sqrt(rss / 38 / (stat.Variance(x, nil) * 39))
	near(t, "half the interval", one.High-one.Value, distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 38}.Quantile(0.975)*se, 1e-4*se)
	for _, g := range [][][][2]float64{nil, {{{1, 2}}}, {{{1, 2}, {1, 3}, {1, 4}}}, {{{1, 2}}, {{2, 2}}, {{3, 2}}}} {
		if e, ok := Slope(g, 0.95); ok {
			t.Errorf("%v has a slope: %+v", g, e)
		}
	}
}
