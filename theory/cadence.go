package theory

import (
	"errors"
	"fmt"
	"strings"
)

// Cadence is a progression with a name, in both modes.
type Cadence struct {
	Name         string
	Major, Minor string // as ParseProgression reads them
}

// Cadences are the cadences that textbooks of keyboard harmony practise first
// (common practice), the shortest first.
func Cadences() []Cadence {
	return []Cadence{
		{"authentic", "V7 I", "V7 i"},
		{"plagal", "IV I", "iv i"},
		{"deceptive", "V7 vi", "V7 VI"},
		{"half", "I V", "i V"},
		{"full", "I IV V7 I", "i iv V7 i"},
		{"supertonic", "I ii6 V I", "i iio6 V i"},
		{"falling", "I vi IV V I", "i VI iv V i"},
		{"circle", "I vi ii6 V7 I", "i VI iio6 V7 i"},
	}
}

// ErrCadence is wrapped by the error about a cadence that has no such name.
var ErrCadence = errors.New("not a cadence")

// CadenceNamed returns the progression of a cadence in k, by its name in any
// case.
func CadenceNamed(name string, k Key) ([]Roman, error) {
	var names []string
	for _, c := range Cadences() {
		if strings.EqualFold(strings.TrimSpace(name), c.Name) {
			if k.Mode == Minor {
				return ParseProgression(c.Minor, k)
			}
			return ParseProgression(c.Major, k)
		}
		names = append(names, c.Name)
	}
	return nil, fmt.Errorf("%w: %s; want %s", ErrCadence, quote(name), strings.Join(names, ", "))
}

// ReadProgression reads the name of a cadence, or else chords as
// [ParseProgression] does. An error is that of the one that is meant: a word of
// small letters that is longer than a root and begins as no numeral is a name.
func ReadProgression(s string, k Key) ([]Roman, error) {
	p, unnamed := CadenceNamed(s, k)
	if unnamed == nil {
		return p, nil
	}
	p, err := ParseProgression(s, k)
	if err == nil {
		return p, nil
	}
	word := strings.TrimSpace(s)
	if len(word) > 3 && strings.Trim(word, "abcdefghijklmnopqrstuvwxyz") == "" && strings.Trim(word[:2], "iv") != "" {
		return nil, unnamed
	}
	return nil, err
}
