package practice

import (
	"math"
	"slices"
)

// Estimate is a number worked out from answers, with the limits of its
// confidence interval. The interval takes the answers as independent of each
// other, which those of one sitting are only nearly.
type Estimate struct {
	Value, Low, High float64
}

// Confidence is how often an interval of an Estimate holds what it estimates.
const Confidence = 0.95

// normalQuantile returns z so that a normal variable lies within ±z with the
// given confidence: 1.96 for 0.95.
func normalQuantile(confidence float64) float64 { return math.Sqrt2 * math.Erfinv(confidence) }

// Share estimates a share from right answers out of n, n at least 1, by the score
// interval: Wilson 1927, Journal of the American Statistical Association 22,
// 209–212. It stays within 0 and 1 and is sound for small n.
func Share(right, n int, confidence float64) Estimate {
	z, of := normalQuantile(confidence), float64(n)
	p := float64(right) / of
	centre := (p + z*z/(2*of)) / (1 + z*z/of)
	half := z / (1 + z*z/of) * math.Sqrt(p*(1-p)/of+z*z/(4*of*of))
	e := Estimate{p, max(0, centre-half), min(1, centre+half)}
	if right == 0 {
		e.Low = 0
	}
	if right == n {
		e.High = 1
	}
	return e
}

// Difference estimates how much larger the second of two shares is, from the
// right answers of both, by the square-and-add interval of two score intervals:
// Newcombe 1998, Statistics in Medicine 17, 873–890, method 10.
func Difference(right1, n1, right2, n2 int, confidence float64) Estimate {
	a, b := Share(right1, n1, confidence), Share(right2, n2, confidence)
	d := b.Value - a.Value
	return Estimate{d, d - math.Hypot(b.Value-b.Low, a.High-a.Value), d + math.Hypot(b.High-b.Value, a.Value-a.Low)}
}

// Median estimates the median of at least one number; the interval is between two of
// them, whose ranks a sign test would not reject (Conover, Practical
// Nonparametric Statistics, 3rd edition, section 3.2). With fewer than six
// numbers there is no such interval at 95 %, and it is infinite.
func Median(x []float64, confidence float64) Estimate {
	s := slices.Sorted(slices.Values(x))
	n := len(s)
	e := Estimate{(s[(n-1)/2] + s[n/2]) / 2, math.Inf(-1), math.Inf(1)}
	if k := medianRank(n, confidence); k > 0 {
		e.Low, e.High = s[k-1], s[n-k]
	}
	return e
}

// medianRank returns the largest k for which the k-th of n from below and from
// above enclose the median with the given confidence; 0 if there is none.
func medianRank(n int, confidence float64) int {
	below := 0.0                         // that fewer than k+1 of n lie under the median
	logP := float64(n) * math.Log(1.0/2) // of exactly k
	for k := 0; k < n; k++ {
		below += math.Exp(logP)
		if below > (1-confidence)/2 {
			return k
		}
		logP += math.Log(float64(n-k) / float64(k+1))
	}
	return 0
}

// deviation returns the standard deviation of at least two numbers, n−1 in the
// denominator.
func deviation(x []float64) float64 {
	mean, squares := 0.0, 0.0
	for i, v := range x { // Welford 1962
		d := v - mean
		mean += d / float64(i+1)
		squares += d * (v - mean)
	}
	return math.Sqrt(squares / float64(len(x)-1))
}

// Slope estimates how much y changes for one step of x within groups of points,
// whatever the level of each group: the least squares line with a constant for
// each group. It needs more points than groups by at least two, and an x that
// varies within a group; ok is false otherwise.
func Slope(groups [][][2]float64, confidence float64) (e Estimate, ok bool) {
	var xx, xy, yy float64
	free := -1
	for _, points := range groups {
		var mx, my float64
		for _, p := range points {
			mx, my = mx+p[0]/float64(len(points)), my+p[1]/float64(len(points))
		}
		for _, p := range points {
			dx, dy := p[0]-mx, p[1]-my
			xx, xy, yy = xx+dx*dx, xy+dx*dy, yy+dy*dy
		}
		if len(points) > 0 {
			free += len(points) - 1
		}
	}
	if free < 1 || xx == 0 {
		return Estimate{}, false
	}
	b := xy / xx
	half := StudentQuantile(free, confidence) * math.Sqrt(max(0, yy-b*xy)/float64(free)/xx)
	return Estimate{b, b - half, b + half}, true
}

// StudentQuantile returns z so that a variable of Student's t lies within ±z with the given
// confidence, for so many degrees of
// freedom, by the expansion in Abramowitz and Stegun, 26.7.5; good to 0.1 % from 8 degrees
// of freedom on.
func StudentQuantile(free int, confidence float64) float64 {
	z, v := normalQuantile(confidence), float64(free)
	z2 := z * z
	g1 := (z2 + 1) * z / 4
	g2 := ((5*z2+16)*z2 + 3) * z / 96
	g3 := (((3*z2+19)*z2+17)*z2 - 15) * z / 384
	g4 := ((((79*z2+776)*z2+1482)*z2-1920)*z2 - 945) * z / 92160
	return z + g1/v + g2/(v*v) + g3/(v*v*v) + g4/(v*v*v*v)
}
