package report

import (
	"fmt"
	"math"

	"singback/exercise"
)

// Sign is the verdict in a few characters that can be read from afar: the
// degree sung with the cents it was off, "~" where it was not held, "?" where
// it could not be told. Another octave is marked as in notation: 8va above, 8vb
// below.
func (s Style) Sign(it exercise.Item, v exercise.Verdict) string {
	if !v.HasSung || v.Outcome == exercise.Ambiguous {
		if v.Outcome == exercise.Unsteady {
			return "~"
		}
		return "?"
	}
	sung := s.Degree(it.Key, v.Sung)
	switch v.Outcome {
	case exercise.InTune, exercise.Flat, exercise.Sharp:
		if c := math.Round(v.Cents); c != 0 {
			return fmt.Sprintf("%s %+.0f", sung, c)
		}
		return sung + " 0"
	case exercise.OtherDegree:
		if v.Sung != it.Asked {
			return sung
		}
		switch n := v.OctaveShift; {
		case n == 1:
			return sung + " 8va"
		case n == -1:
			return sung + " 8vb"
		case n > 0:
			return sung + " 15ma"
		default:
			return sung + " 15mb"
		}
	}
	return sung + " ~" // unsteady
}

// Guessed says how a guess compares with what was sung; "" without a guess.
func Guessed(guess, sung exercise.Outcome) string {
	words := map[exercise.Outcome]string{exercise.Flat: "flat", exercise.InTune: "right", exercise.Sharp: "sharp"}
	word, ok := words[guess]
	switch {
	case !ok:
		return ""
	case guess == sung:
		return "you heard that: " + word
	}
	return "you took it for " + word
}
