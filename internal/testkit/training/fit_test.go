package training

import (
	"math"
	"math/rand/v2"
	"testing"
)

// With a constant feature of each choice the likeliest weights are the logarithms
// of the ratios of counts (closed form; none has the weight 0 without features).
func TestFitFindsTheOdds(t *testing.T) {
	var ex []Choice
	for right, n := range map[int]int{0: 3000, 1: 2000, -1: 1000} {
		for range n {
			ex = append(ex, Choice{Options: [][]float32{{1, 0}, {0, 1}}, Right: right})
		}
	}
	w, none := Fit(ex, 1e-12)
	if len(none) != 0 || math.Abs(w[0]-math.Log(3)) > 1e-6 || math.Abs(w[1]-math.Log(2)) > 1e-6 {
		t.Errorf("weights %v and %v, want ln 3, ln 2 and none", w, none)
	}
	mean, wrong := Loss(ex, w, none)
	// The entropy of 1/2, 1/3, 1/6; and whoever guesses the first is wrong in half.
	want := math.Log(2)/2 + math.Log(3)/3 + math.Log(6)/6
	if math.Abs(mean-want) > 1e-9 || wrong != 0.5 {
		t.Errorf("loss %.9f, wrong %g, want %.9f and 0.5", mean, wrong, want)
	}
}

// Random examples, more than are fitted at once: no step along any weight makes the
// the loss less.
func TestFitEndsInTheMinimum(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var ex []Choice
	for range manyExamples + 1 {
		e := Choice{None: []float32{1, float32(r.NormFloat64())}, Right: r.IntN(4) - 1}
		for range 3 {
			e.Options = append(e.Options, []float32{float32(r.NormFloat64()), float32(r.NormFloat64()), 1})
		}
		if e.Right >= 0 {
			e.Options[e.Right][0] += 2
		}
		ex = append(ex, e)
	}
	option, none := Fit(ex, Ridge)
	at := func(w []float64) float64 {
		mean, _ := Loss(ex, w[:3], w[3:])
		for _, v := range w {
			mean += Ridge / 2 * v * v
		}
		return mean
	}
	w := append(append([]float64(nil), option...), none...)
	least := at(w)
	for i := range w {
		for _, d := range []float64{-1e-3, 1e-3} {
			beside := append([]float64(nil), w...)
			beside[i] += d
			if v := at(beside); v < least {
				t.Errorf("weight %d by %g: the loss falls from %.12f to %.12f", i, d, least, v)
			}
		}
	}
	if option[0] < 1 {
		t.Errorf("weights %v: the first feature tells the right option, and has %g", w, option[0])
	}
}
