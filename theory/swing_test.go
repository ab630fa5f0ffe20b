package theory

import "testing"

// Even eighths of a plain beat become 2:1, as the triplet of a shuffle is written; what lies
// on the beat, and the length of the whole, stays (common practice).
func TestSwung(t *testing.T) {
	line := func(meter Meter, start Fraction, lengths ...Fraction) Score {
		s := Score{Meter: meter, Start: start, Key: Key{Tonic: Note{Letter: C}}}
		for _, l := range lengths {
			s.Notes = append(s.Notes, Written{Length: l, Pitch: Pitch{Note{Letter: C}, 4}})
		}
		return s
	}
	f := NewFraction
	for _, c := range []struct {
		line  Score
		want  []Fraction
		start Fraction
	}{
		{line(Meter{4, 4}, Fraction{}, f(1, 1), f(1, 2), f(1, 2), f(2, 1)), []Fraction{f(1, 1), f(2, 3), f(1, 3), f(2, 1)}, Fraction{}},
		{line(Meter{4, 4}, Fraction{}, f(3, 2), f(1, 2), f(2, 1)), []Fraction{f(5, 3), f(1, 3), f(2, 1)}, Fraction{}},
		{line(Meter{4, 4}, Fraction{}, f(1, 4), f(1, 4), f(1, 4), f(1, 4)), []Fraction{f(1, 3), f(1, 3), f(1, 6), f(1, 6)}, Fraction{}},
		{line(Meter{4, 4}, f(1, 2), f(1, 2), f(1, 1)), []Fraction{f(1, 3), f(1, 1)}, f(1, 3)},
		{line(Meter{2, 2}, Fraction{}, f(1, 1), f(1, 1)), []Fraction{f(4, 3), f(2, 3)}, Fraction{}},
		{line(Meter{6, 8}, Fraction{}, f(1, 1), f(1, 2)), []Fraction{f(1, 1), f(1, 2)}, Fraction{}},
	} {
		got := c.line.Swung()
		if err := got.Validate(); err != nil || got.Start != c.start {
			t.Errorf("%v: begins with %v, %v", c.line, got.Start, err)
		}
		for i, n := range got.Notes {
			if n.Length != c.want[i] {
				t.Errorf("%v: note %d lasts %v, want %v", c.line.Meter, i+1, n.Length, c.want[i])
			}
		}
	}
}
