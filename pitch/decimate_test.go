package pitch

import (
	"math"
	"math/rand/v2"
	"testing"
)

// However the samples are cut, what comes out of a stage is the sum that
// defines it, and comes out when takes says so.
func TestHalverEqualsItsDefinition(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 1000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	at := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return x[i]
	}
	for _, n := range []int{4, 12} {
		for _, longest := range []int{1, 2, 3, 7, 64, 500} {
			h := newHalver(n, 5, longest)
			var got []float64
			for done := 0; done < len(x); {
				some := min(r.IntN(longest+1), len(x)-done)
				got = append(got, h.push(x[done:done+some])...)
				done += some
				if out := int64(len(got)); h.takes(out+1) <= int64(done) || out > 0 && h.takes(out) > int64(done) {
					t.Fatalf("%d taps: %d samples gave %d", n, done, out)
				}
			}
			for j, y := range got {
				want := x[2*j] / 2
				for i, g := range h.taps {
					want += g * (at(2*j-2*i-1) + at(2*j+2*i+1))
				}
				if math.Abs(y-want) > 1e-14 {
					t.Fatalf("%d taps, at most %d at once: sample %d is %g, want %g", n, longest, j, y, want)
				}
			}
		}
	}
}
