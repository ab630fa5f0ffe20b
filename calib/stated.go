package calib

import (
	"errors"
	"fmt"
	"strings"

	"singback/theory"
)

// ErrVoice is wrapped by the error about a voice that could not be read.
var ErrVoice = errors.New("not a voice")

// fillers are the words around a stated voice that say nothing.
var fillers = words("i am i'm im a an my the voice voices range is goes go sing as and between from to until up down comfortable comfortably have i've note notes low lowest high highest")

// kinds are other names of the kinds of voice (common practice).
var kinds = map[string]string{
	"mezzosoprano": "mezzo", "contralto": "alto", "treble": "child", "kid": "child",
	"children": "child", "children's": "child", "child's": "child",
}

func words(s string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(s) {
		m[w] = true
	}
	return m
}

// The narrowest stated range, in semitones: a fourth is the compass of the
// simplest melodies, and what does not fit it is asked as near as it comes. The widest: of 21 choristers
// the widest range, extremes included, was 45 semitones (Herbst 2012).
const (
	narrowest = 5
	widest    = 48
)

// ParseVoice reads what a singer says of the own voice: a kind of voice, a
// range, or both, as in "I am a tenor", "alto", "my range is C3 to G4", "C3-G4",
// "bass, F2 to D4". The voice comes back marked as stated. known gives the usual
// range of a kind of voice, or an error that says which kinds there are.
func ParseVoice(s string, known func(kind string) (theory.Range, error), on Date) (Voice, error) {
	v := Voice{Date: on, Stated: true}
	var pitches []theory.Pitch
	var kind theory.Range
	for _, w := range strings.FieldsFunc(separate(s), func(r rune) bool { return strings.ContainsRune(" \t\r\n,;:.!", r) }) {
		lower := strings.ToLower(w)
		if fillers[lower] {
			continue
		}
		if p, err := theory.ParsePitch(w); err == nil {
			pitches = append(pitches, p)
			continue
		}
		if other, ok := kinds[lower]; ok {
			lower = other
		}
		r, err := known(lower)
		if err != nil {
			return Voice{}, fmt.Errorf("%w: %s is neither a range like C3-G4 nor a kind of voice: %w", ErrVoice, quoted(w), err)
		}
		if v.Kind != "" && v.Kind != lower {
			return Voice{}, fmt.Errorf("%w: %s and %s: want one kind", ErrVoice, v.Kind, lower)
		}
		v.Kind, kind = lower, r
	}
	switch {
	case len(pitches) == 0 && v.Kind == "":
		return Voice{}, fmt.Errorf("%w: %s: want a kind of voice, like tenor, or a range, like C3-G4", ErrVoice, quoted(s))
	case len(pitches) == 0:
		v.Comfortable = kind
	case len(pitches) != 2:
		return Voice{}, fmt.Errorf("%w: %s: want two notes, the lowest and the highest, like C3-G4, not %d", ErrVoice, quoted(s), len(pitches))
	default:
		v.Comfortable = theory.Range{Low: pitches[0].MIDI(), High: pitches[1].MIDI()}
		if err := checkRange(v.Comfortable, pitches[0].ASCII(), pitches[1].ASCII()); err != nil {
			return Voice{}, err
		}
	}
	v.Growing = v.Kind == "child"
	v.Tessitura = tessitura(v.Comfortable, 0)
	return v, nil
}

// check says what is wrong with a stated range, whose ends are called low and
// high.
func checkRange(r theory.Range, low, high string) error {
	switch {
	case r.Low >= r.High:
		return fmt.Errorf("%w: from %s to %s: want the lower note first", ErrVoice, low, high)
	case r.High-r.Low < narrowest:
		return fmt.Errorf("%w: %s to %s is too narrow: want a fourth or more", ErrVoice, low, high)
	case r.High-r.Low > widest || r.Low < lowestAsk-12 || r.High > highestAsk+12:
		return fmt.Errorf("%w: %s to %s is beyond any voice: want at most four octaves within C1 to C7", ErrVoice, low, high)
	}
	return nil
}

// separate turns what stands between the notes of a range into a space: a dash,
// or dots. A hyphen inside a word stays.
func separate(s string) string {
	s = oneWord(s)
	s = strings.NewReplacer("–", " ", "—", " ", "…", " ", "..", " ", "’", "'").Replace(s)
	b := []byte(s)
	for i := 1; i < len(b); i++ {
		if b[i] == '-' && (b[i-1] >= '0' && b[i-1] <= '9' || b[i-1] == ' ') {
			b[i] = ' '
		}
	}
	return string(b)
}

// oneWord writes the one kind of voice whose name may be two words as one: mezzo, for
// mezzo-soprano. What goes for the expression (?i)\bmezzo[\s-]soprano\b goes for it.
func oneWord(s string) string {
	var b strings.Builder
	done := 0 // is written
	for i := 0; i < len(s); i++ {
		if i > 0 && isWordByte(s[i-1]) {
			continue
		}
		if n := twoWords(s[i:]); n > 0 {
			b.WriteString(s[done:i] + "mezzo")
			done = i + n
			i = done - 1
		}
	}
	return b.String() + s[done:]
}

// twoWords is how many bytes of s, from its beginning, are mezzo-soprano as a word; 0
// where it begins with something else.
func twoWords(s string) int {
	const first, second = "mezzo", "soprano"
	if len(s) <= len(first) || !strings.EqualFold(s[:len(first)], first) || strings.IndexByte("\t\n\f\r -", s[len(first)]) < 0 {
		return 0
	}
	from := len(first) + 1
	for _, to := range []int{from + len(second), from + len(second) + 1} { // a long s has two bytes
		if to <= len(s) && strings.EqualFold(s[from:to], second) && (to == len(s) || !isWordByte(s[to])) {
			return to
		}
	}
	return 0
}

func isWordByte(c byte) bool {
	return c == '_' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
}

// quoted is what was typed, cut to a length that fits into a message.
func quoted(s string) string {
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return fmt.Sprintf("%q", s)
}
