package theory

import (
	"fmt"
	"strings"
)

// Clef is a clef that voices are written in.
type Clef int

// The clefs. TrebleDownClef is the treble clef with an 8 below, an octave lower:
// the tenor's.
const (
	TrebleClef Clef = iota
	TrebleDownClef
	BassClef
)

// String returns "treble", "treble-8" or "bass".
func (c Clef) String() string {
	return [...]string{TrebleClef: "treble", TrebleDownClef: "treble-8", BassClef: "bass"}[c]
}

// ParseClef reads a clef as String writes it.
func ParseClef(s string) (Clef, error) {
	for c := TrebleClef; c <= BassClef; c++ {
		if strings.EqualFold(strings.TrimSpace(s), c.String()) {
			return c, nil
		}
	}
	return 0, fmt.Errorf("no clef %s: want treble, treble-8 or bass", quote(s))
}

// ClefFor returns the clef in which the middle of the line lies nearest to the
// staff's, as voices are written: from the treble clef of women's and children's
// voices through the tenor's to the bass clef (common practice).
func ClefFor(s Score) Clef {
	low, high := 127, 0
	for _, n := range s.Notes {
		if !n.Rest {
			low, high = min(low, n.Pitch.MIDI()), max(high, n.Pitch.MIDI())
		}
	}
	switch middle := (low + high) / 2; {
	case low > high || middle >= 61:
		return TrebleClef
	case middle >= 56 && low >= 48:
		return TrebleDownClef
	}
	return BassClef
}

// Labels names the notes of the line by the key they stand in: "" for rests.
func (s Score) Labels(n Naming, ascii bool) []string {
	out := make([]string, len(s.Notes))
	at, k, changes := Fraction{Num: 0, Den: 1}, s.Key, s.Changes
	for i, w := range s.Notes {
		for len(changes) > 0 && !at.Less(changes[0].At) {
			k, changes = changes[0].Key, changes[1:]
		}
		at = at.Plus(w.Length)
		if w.Rest {
			continue
		}
		d := k.Degree(w.Pitch.Note)
		if out[i] = n.Name(k, d); ascii {
			out[i] = n.NameASCII(k, d)
		}
	}
	return out
}
