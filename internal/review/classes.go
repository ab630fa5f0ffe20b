package review

import (
	"fmt"
	"math"

	"singback/internal/notation"
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

// maxNames is the longest melody in names that is read from a file, in bytes.
const maxNames = 1 << 20

// WrittenClasses returns how long each pitch class sounds in a line that a file of
// that name holds, in any notation or in names, or with the name "" in names that were
// typed; and how many notes there are. part and tune are those of a notation file. Errors name the file; warnings
// say what a line cannot hold.
func WrittenClasses(name string, b []byte, n theory.Naming, part, tune string) (h [12]float64, notes int, warnings []notation.Warning, err error) {
	named := func(err error) error {
		if name == "" {
			return err
		}
		return fmt.Errorf("%s: %w", name, err)
	}
	if name != "" && !notation.HoldsNames(name, b) {
		score, warnings, err := notation.Parse(name, b, notation.Options{Voice: part, Tune: tune})
		if err != nil {
			return h, 0, nil, named(err)
		}
		h, notes = score.Histogram()
		return h, notes, warnings, nil
	}
	if name != "" && len(b) > maxNames {
		return h, 0, nil, fmt.Errorf("%s holds more than 1 MiB: want a melody", name)
	}
	melody, err := theory.ParseMelody(string(b), theory.Key{}, n)
	if err != nil {
		return h, 0, nil, named(err)
	}
	return melody.Histogram(), len(melody.Pitches(4)), nil, nil
}
