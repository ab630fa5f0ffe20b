package exercise

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"singback/theory"
)

// Fit says how a key lies in a voice.
type Fit struct {
	Key theory.Key
	// Folded is how many of the degrees must be moved by an octave, or have no
	// place at all.
	Folded int
	// Shift is the tessitura shift in semitones: half of what the voice has
	// left below the lowest note asked, less what it has left above the
	// highest (Herbst et al. 2012, IJRCS 4(1):47). Positive is high; 0 lies in
	// the middle.
	Shift float64
}

// FitOf tells how the degrees of a key, at least one, lie in a voice: placed as
// its register has them, against its tessitura.
func FitOf(k theory.Key, degrees []theory.Degree, r Register, tessitura theory.Range) Fit {
	f := Fit{Key: k}
	low, high := math.MaxInt, math.MinInt
	for _, d := range degrees {
		p, folded := r.Place(k, d)
		if folded {
			f.Folded++
		}
		low, high = min(low, p.MIDI()), max(high, p.MIDI())
	}
	below, above := low-tessitura.Low, tessitura.High-high
	f.Shift = float64(below-above) / 2
	return f
}

// equalShift is by how many semitones the shift of two keys may differ for both
// to suit a voice as well (common practice: a singer asks for a song "a tone
// lower", not less).
const equalShift = 2

// Best returns the keys that fit best, the most central first: of those with
// the fewest folded degrees, the ones whose shift is within two semitones of
// the smallest. The order of keys that lie alike is kept. It returns none only
// where none is given.
func Best(fits []Fit) []Fit {
	if len(fits) == 0 {
		return nil
	}
	fits = slices.Clone(fits)
	compare := func(a, b Fit) int {
		return cmp.Or(cmp.Compare(a.Folded, b.Folded), cmp.Compare(math.Abs(a.Shift), math.Abs(b.Shift)))
	}
	sort.SliceStable(fits, func(i, j int) bool { return compare(fits[i], fits[j]) < 0 })
	best := fits[0]
	return slices.DeleteFunc(fits, func(f Fit) bool {
		return f.Folded > best.Folded || math.Abs(f.Shift) > math.Abs(best.Shift)+equalShift
	})
}
