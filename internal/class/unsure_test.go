package class

import (
	"math"
	"math/rand/v2"
	"testing"

	"singback/exercise/grade"
	"singback/theory"
)

// What a mark says of how far measuring may be off is about how far it is off where the
// same singing is measured again, its notes by 15 cents and its beginnings by 40 ms
// otherwise, as two people measure. It is on the safe side, since notes may be taken for
// others, too.
func TestSpreadOfMeasuring(t *testing.T) {
	var said, was [Criteria]float64
	var n [Criteria]float64
	tried(21, 24, func(rng *rand.Rand, line grade.Line, s madeSinger) {
		for i := range s.off {
			s.off[i] *= 3 // so that some notes lie near the border
		}
		zero := s.sing(line, nil)
		var sum, squares [Criteria]float64
		const times = 12
		for range times {
			again := grade.Performance{}
			for _, note := range zero.Notes {
				note.Cents += heardCents / math.Sqrt2 * rng.NormFloat64() // of each of the two
				by := heardOnset / math.Sqrt2 * max(-2, min(2, rng.NormFloat64()))
				note.Onset = min(note.Onset+by, note.Offset-0.02)
				again.Notes = append(again.Notes, note)
			}
			v := values(t, line, again, grade.DefaultRules())
			for c := range v {
				sum[c], squares[c] = sum[c]+v[c], squares[c]+v[c]*v[c]
			}
		}
		g, err := grade.Of(line, zero, grade.DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		m := newMarking(everything(), line, zero, g, grade.DefaultRules(), theory.Movable)
		for c := range Criteria {
			if k := m.count(c); k.measured {
				said[c] += k.spread * k.spread
				was[c] += max(0, squares[c]/times-sum[c]*sum[c]/times/times) * times / (times - 1) * 2 // between two
				n[c]++
			}
		}
	})
	for c := range Criteria {
		if c == Faults || c == Jury || n[c] == 0 { // theirs is that of the jury
			continue
		}
		said, was := math.Sqrt(said[c]/n[c]), math.Sqrt(was[c]/n[c])
		t.Logf("%-11s says %.3f, is %.3f", c, said, was)
		if said < 0.9*was || said > 3*was {
			t.Errorf("%s says that measuring is off by %.3f, and it is by %.3f", c, said, was)
		}
	}
}
