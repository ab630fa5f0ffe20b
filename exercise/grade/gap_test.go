package grade

import (
	"errors"
	"slices"
	"testing"

	"singback/theory"
)

// Bars are counted from 1, an incomplete one before them is 0; a note belongs to the bar that
// it begins in. Where nothing would be left to sing, or to hear, it is refused.
func TestSilentBarsOfAScore(t *testing.T) {
	quarter, half := theory.NewFraction(1, 1), theory.NewFraction(2, 1)
	s := theory.Score{Meter: theory.Meter{Beats: 2, Unit: 4}, Start: quarter}
	for i, length := range []theory.Fraction{quarter, quarter, half, quarter, half} { // one is held over the bar line
		s.Notes = append(s.Notes, theory.Written{Pitch: theory.Pitch{Note: theory.Note{Letter: theory.Letter(i)}, Octave: 4}, Length: length, Rest: i == 3})
	}
	for _, c := range []struct {
		bars []int
		want []bool
		none bool
	}{
		{[]int{1}, []bool{false, true, true, false, false}, false},
		{[]int{0}, []bool{true, false, false, false, false}, false},
		{[]int{3, 1}, []bool{false, true, true, false, true}, false},
		{[]int{2}, nil, true}, // a rest
		{[]int{0, 1, 2, 3}, nil, true},
		{[]int{4}, nil, false},
		{[]int{-1}, nil, false},
	} {
		got, err := SilentBars(&s, c.bars)
		if !slices.Equal(got, c.want) || (err == nil) != (c.want != nil) || errors.Is(err, ErrNoGap) != c.none {
			t.Errorf("bars %v: %v, %v", c.bars, got, err)
		}
	}
	without := Without(s, []bool{false, true, true, false, false})
	if !without.Notes[1].Rest || without.Notes[0].Rest || s.Notes[1].Rest || without.Length() != s.Length() {
		t.Errorf("%+v", without.Notes)
	}
	if _, err := SilentBars(&theory.Score{Notes: s.Notes}, []int{1}); err == nil {
		t.Error("there are silent bars without bars")
	}
}
