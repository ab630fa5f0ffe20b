package main

import (
	"math"
	"math/rand/v2"
	"slices"
)

// auc is the probability that a take that passed scores above one that failed,
// ties half: the Mann-Whitney statistic.
func auc(pass []bool, score []float64) float64 {
	r := ranks(score)
	sum, n := 0.0, 0.0
	for i, p := range pass {
		if p {
			sum, n = sum+r[i]+1, n+1
		}
	}
	return (sum - n*(n+1)/2) / (n * (float64(len(pass)) - n))
}

// balanced is the mean of the shares of passes and of fails that lie on their
// side of a mark.
func balanced(pass []bool, score []float64, mark float64) float64 {
	var right, all [2]float64
	for i, p := range pass {
		k := 0
		if p {
			k = 1
		}
		all[k]++
		if p == (score[i] >= mark) {
			right[k]++
		}
	}
	return (right[0]/all[0] + right[1]/all[1]) / 2
}

// bestMark is the mark of the best balanced accuracy.
func bestMark(pass []bool, score []float64) float64 {
	sorted := slices.Sorted(slices.Values(score))
	best, at := -1.0, 0.0
	for k := 1; k < len(sorted); k++ {
		mark := (sorted[k-1] + sorted[k]) / 2
		if b := balanced(pass, score, mark); b > best {
			best, at = b, mark
		}
	}
	return at
}

// spearman is the correlation of ranks, ties averaged.
func spearman(a, b []float64) float64 {
	ra, rb := ranks(a), ranks(b)
	n := float64(len(a))
	mean := (n - 1) / 2
	var sab, saa, sbb float64
	for i := range ra {
		sab += (ra[i] - mean) * (rb[i] - mean)
		saa += (ra[i] - mean) * (ra[i] - mean)
		sbb += (rb[i] - mean) * (rb[i] - mean)
	}
	return sab / math.Sqrt(saa*sbb)
}

// ranks counts from 0.
func ranks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return 0
	})
	r := make([]float64, len(x))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && x[order[j]] == x[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			r[order[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return r
}

// kappa is Cohen's, of two yes-or-no judgements.
func kappa(a, b []bool) float64 {
	var same, ya, yb float64
	n := float64(len(a))
	for i := range a {
		if a[i] == b[i] {
			same++
		}
		if a[i] {
			ya++
		}
		if b[i] {
			yb++
		}
	}
	chance := (ya*yb + (n-ya)*(n-yb)) / (n * n)
	return (same/n - chance) / (1 - chance)
}

// interval is the middle 95 % of a statistic over drawings of whole groups.
func interval(groups []string, seed uint64, statistic func(index []int) float64) (low, high float64) {
	members := map[string][]int{}
	var names []string
	for i, g := range groups {
		if members[g] == nil {
			names = append(names, g)
		}
		members[g] = append(members[g], i)
	}
	rng := rand.New(rand.NewPCG(seed, 1))
	var values []float64
	for range 1000 {
		var index []int
		for range names {
			index = append(index, members[names[rng.IntN(len(names))]]...)
		}
		if v := statistic(index); !math.IsNaN(v) && !math.IsInf(v, 0) {
			values = append(values, v)
		}
	}
	slices.Sort(values)
	return values[len(values)/40], values[len(values)-1-len(values)/40]
}

// fit is logistic regression with a ridge, by Newton's steps, on columns of any
// size. Weights below 0 are left out one by one: a fault never makes a take
// better.
func fit(x [][]float64, y []bool, ridge float64) (base float64, w []float64) {
	n := len(x[0])
	mean, dev := make([]float64, n), make([]float64, n)
	for k := range n {
		for _, r := range x {
			mean[k] += r[k] / float64(len(x))
		}
		for _, r := range x {
			dev[k] += (r[k] - mean[k]) * (r[k] - mean[k]) / float64(len(x))
		}
		dev[k] = math.Sqrt(dev[k]) + 1e-12
	}
	use := make([]bool, n)
	for k := range use {
		use[k] = dev[k] > 1e-6
	}
	for {
		b := newton(x, y, mean, dev, use, ridge)
		worst := -1
		for k := range n {
			if use[k] && b[k+1] < 0 && (worst < 0 || b[k+1] < b[worst+1]) {
				worst = k
			}
		}
		if worst >= 0 {
			use[worst] = false
			continue
		}
		w = make([]float64, n)
		base = b[0]
		for k := range n {
			w[k] = b[k+1] / dev[k]
			base += w[k] * mean[k]
		}
		return base, w
	}
}

// newton finds base and weights of p = 1/(1 + e^(w·x − base)), standardised.
func newton(x [][]float64, y []bool, mean, dev []float64, use []bool, ridge float64) []float64 {
	n := len(mean) + 1
	w := make([]float64, n)
	row := make([]float64, n)
	for range 25 {
		g, h := make([]float64, n), make([][]float64, n)
		for i := range h {
			h[i] = make([]float64, n)
			h[i][i] = 1e-9
			if i > 0 {
				h[i][i], g[i] = ridge, -ridge*w[i]
			}
		}
		for k, r := range x {
			row[0] = 1
			z := w[0]
			for i := 1; i < n; i++ {
				row[i] = 0
				if use[i-1] {
					row[i] = -(r[i-1] - mean[i-1]) / dev[i-1]
				}
				z += row[i] * w[i]
			}
			p := 1 / (1 + math.Exp(-z))
			t := 0.0
			if y[k] {
				t = 1
			}
			for i := range row {
				g[i] += (t - p) * row[i]
				for j := range row {
					h[i][j] += p * (1 - p) * row[i] * row[j]
				}
			}
		}
		for i, d := range solve(h, g) {
			w[i] += d
		}
	}
	return w
}

// solve is Gauss-Jordan elimination with pivots.
func solve(a [][]float64, b []float64) []float64 {
	n := len(b)
	for i := range a {
		a[i] = append(a[i], b[i])
	}
	for c := range n {
		p := c
		for r := c; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		a[c], a[p] = a[p], a[c]
		for r := range n {
			if r == c {
				continue
			}
			f := a[r][c] / a[c][c]
			for k := c; k <= n; k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = a[i][n] / a[i][i]
	}
	return x
}
