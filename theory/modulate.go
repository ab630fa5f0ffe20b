package theory

import (
	"errors"
	"fmt"
	"strings"
)

// Modulation is a short way from one key to another: the home key, a chord that both
// have, and the dominant of the new key to its tonic (common practice). Where the two
// have no chord that leads there, the dominant comes at once.
type Modulation struct {
	From, To Key
	Chords   []Roman // each in the key that it is heard in
	Home     int     // so many of them are in From
	Pivot    bool    // the next one is in both keys
	Voices   []Voicing
}

// ErrModulation is wrapped by errors about keys that are no goal.
var ErrModulation = errors.New("not a key to go to")

// pivots are chords that lead to the dominant of a key, in the order in which they are
// looked for in the key that is left.
var pivots = [2]string{Major: "ii IV vi", Minor: "iv VI III iio"}

// NewModulation returns the way from a major or minor key to the one whose tonic chord a
// numeral, number or symbol names: V, vi, II (a step up), 6-, Em. Its chords are voiced for
// a keyboard.
func NewModulation(from Key, goal string) (Modulation, error) {
	m := Modulation{From: from}
	if from.Mode > Minor {
		return m, fmt.Errorf("%w: it sets out from %s; want a major or minor key", ErrModulation, from)
	}
	r, err := ParseSymbol(goal, from)
	if err != nil {
		return m, err
	}
	switch c := r.Chord; {
	case c.Bass != c.Root || c.Quality != MajorTriad && c.Quality != MinorTriad:
		return m, fmt.Errorf("%w: %s is no tonic; want a major or minor triad, like V or vi", ErrModulation, quote(goal))
	case from.Degree(c.Root).Semitones() == 0:
		return m, fmt.Errorf("%w: %s: its do is that of %s", ErrModulation, quote(goal), from)
	default:
		m.To = Key{Tonic: c.Root}
		if c.Quality == MinorTriad {
			m.To.Mode = Minor
		}
	}
	if !m.To.Valid() {
		m.To = m.To.respelled()
	}
	home, goes := "I V7 I", "V7 I"
	if from.Mode == Minor {
		home = "i V7 i"
	}
	if m.To.Mode == Minor {
		goes = "V7 i"
	}
	m.Chords = chordsIn(from, home)
	m.Home = len(m.Chords)
	for _, word := range strings.Fields(pivots[m.To.Mode]) {
		if p := chordsIn(m.To, word); from.owns(p[0].Chord) {
			m.Chords, m.Pivot = append(m.Chords, p...), true
			break
		}
	}
	m.Chords = append(m.Chords, chordsIn(m.To, goes)...)
	m.Voices, _, err = KeyboardTexture().Voice(m.Chords)
	return m, err
}

// chordsIn reads numerals of this file.
func chordsIn(k Key, numerals string) []Roman {
	list, err := ParseProgression(numerals, k)
	if err != nil {
		panic("theory: " + err.Error())
	}
	return list
}

// Material writes the chords as numerals, the new key before those that are in it:
// "I V7 I, G major: ii V7 I".
func (m Modulation) Material() string {
	var b strings.Builder
	for i, c := range m.Chords {
		switch {
		case i == m.Home:
			b.WriteString(", " + m.To.ASCII() + ": ")
		case i > 0:
			b.WriteString(" ")
		}
		b.WriteString(c.ASCII())
	}
	return b.String()
}

// AsBefore reports whether a degree of the new key, as it was sung, is another one as it
// was in the old key: the old do in place of the new one.
func (m Modulation) AsBefore(asked, sung Degree) bool {
	old := m.To.Degree(m.From.Note(asked))
	return sung.Semitones() == old.Semitones() && sung.Semitones() != asked.Semitones()
}
