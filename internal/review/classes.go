package review

import (
	"math"

	"singback/pitch"
	"singback/theory"
)

// PitchClasses returns how long each pitch class sounds in notes of a recording,
// in seconds, after taking out by how many cents the notes lie away from the
// semitones of a4 as a whole, and how well they agree about that (see
// [theory.Offset]).
func PitchClasses(notes []pitch.Note, rate int, a4 float64) (h [12]float64, offset theory.Cents, agreement float64) {
	var cents, seconds []float64
	for _, n := range notes {
		cents = append(cents, theory.CentsBetween(n.F0, a4))
		seconds = append(seconds, float64(n.Offset-n.Onset)/float64(rate))
	}
	offset, agreement = theory.Offset(cents, seconds)
	for i, c := range cents {
		semitone := 9 + int(math.Round((c-offset)/100)) // A is 9
		h[(semitone%12+12)%12] += seconds[i]
	}
	return h, offset, agreement
}
