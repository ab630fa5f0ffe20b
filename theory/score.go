package theory

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Score is one written line of music: spelled pitches with exact lengths. It
// says what is to be sung. What is only a matter of writing, such as bar lines,
// beams, ties across bars and the clef, follows from it.
//
// A Melody says the same in degrees, and has no octave of its own.
type Score struct {
	Title string
	Key   Key
	Meter Meter    // none where the line has no bars
	Tempo float64  // beats that are counted (Meter.Pulse) a minute; 0: not said
	Start Fraction // length of the incomplete bar before the first full one, in quarter notes; zero: none
	Notes []Written
	// Changes of key and meter in order of time. Each lies on a bar line.
	Changes []Change
	// Symbols are the chord symbols over the line in order of time.
	Symbols []ChordSymbol
}

// ChordSymbol is a chord symbol over a Score. It has a place in time, not a note:
// chords change over a long note and over a rest. It is a chord, or text where a
// chord symbol stands that says none: "N.C.", or what could not be read.
type ChordSymbol struct {
	At    Fraction // quarter notes from the start, within the line
	Chord Chord    // the zero Chord: none
	Text  string   // in its place; "" where there is a chord
}

// ParseChordSymbol reads the text of a chord symbol; where it says no chord the
// error tells why, and the text is kept.
func ParseChordSymbol(text string) (ChordSymbol, error) {
	text = strings.TrimSpace(text)
	c, err := ParseChord(text)
	if err != nil {
		return ChordSymbol{Text: text}, err
	}
	return ChordSymbol{Chord: c}, nil
}

// Silent tells whether it says that there is no chord.
func (c ChordSymbol) Silent() bool {
	return strings.EqualFold(strings.NewReplacer(".", "", " ", "").Replace(c.Text), "NC")
}

// String writes the symbol with musical signs, or its text.
func (c ChordSymbol) String() string {
	if c.Text != "" {
		return c.Text
	}
	return c.Chord.String()
}

// ASCII writes the symbol with letters only, or its text.
func (c ChordSymbol) ASCII() string {
	if c.Text != "" {
		return c.Text
	}
	return c.Chord.ASCII()
}

// Written is a note or a rest of a Score. Notes that are tied are one Written.
type Written struct {
	Pitch  Pitch
	Rest   bool     // Pitch means nothing
	Length Fraction // in quarter notes, above 0
	Slur   bool     // joined to the next note
	Words  string   // what is sung on it, "" for nothing
}

// Change is a new key and meter from a point of a Score on. What stays the same
// is repeated.
type Change struct {
	At    Fraction // quarter notes from the start
	Key   Key
	Meter Meter
}

// Limits of a Score, so that nothing that is read can be without measure.
const (
	MaxScoreNotes = 20_000 // notes and rests
	MaxSymbolText = 40     // letters of a chord symbol that is text
	maxLength     = 1_000  // quarter notes of one note
	maxDivision   = 960    // parts of a quarter note: the least common multiple must stay small
)

// Length returns the length of the line in quarter notes.
func (s Score) Length() Fraction {
	at := Fraction{0, 1}
	for _, n := range s.Notes {
		at = at.Plus(n.Length)
	}
	return at
}

// Validate reports the first thing that makes no sense, by number of the note.
func (s Score) Validate() error {
	if s.Meter != (Meter{}) && !s.Meter.Valid() {
		return fmt.Errorf("%w: %d/%d", ErrMeter, s.Meter.Beats, s.Meter.Unit)
	}
	if !s.Key.Valid() {
		return fmt.Errorf("the key %s has more than seven sharps or flats", s.Key.ASCII())
	}
	if len(s.Notes) > MaxScoreNotes {
		return fmt.Errorf("%d notes and rests are more than %d", len(s.Notes), MaxScoreNotes)
	}
	for i, n := range s.Notes {
		if !n.Length.sound() || n.Length.Num < 1 || n.Length.Num > maxLength*n.Length.Den {
			return fmt.Errorf("note %d: a length of %d/%d quarter notes; want more than 0 and at most %d, in parts of at most 1/%d",
				i+1, n.Length.Num, n.Length.Den, maxLength, maxDivision)
		}
		if !n.Rest && (n.Pitch.MIDI() < 0 || n.Pitch.MIDI() > 127 || abs(int(n.Pitch.Alter)) > maxSigns) {
			return fmt.Errorf("note %d: %s is out of range; want C-1 to G9", i+1, n.Pitch.ASCII())
		}
	}
	if s.Start != (Fraction{}) && (!s.Start.sound() || s.Start.Num < 0 || s.Meter != (Meter{}) && !s.Start.less(s.Meter.Bar())) {
		return fmt.Errorf("a first bar of %d/%d quarter notes; want less than a bar of %s", s.Start.Num, s.Start.Den, s.Meter)
	}
	last := Fraction{0, 1}
	for i, c := range s.Changes {
		if !c.At.sound() || c.At.less(last) || c.Meter != (Meter{}) && !c.Meter.Valid() || !c.Key.Valid() {
			return fmt.Errorf("change %d, at quarter note %d/%d to %s and %d/%d: not in order, or not a key and a time signature",
				i+1, c.At.Num, c.At.Den, c.Key.ASCII(), c.Meter.Beats, c.Meter.Unit)
		}
		last = c.At
	}
	return s.validateSymbols()
}

func (s Score) validateSymbols() error {
	if len(s.Symbols) > MaxScoreNotes {
		return fmt.Errorf("%d chord symbols are more than %d", len(s.Symbols), MaxScoreNotes)
	}
	last, end := Fraction{0, 1}, s.Length()
	for i, c := range s.Symbols {
		switch {
		case !c.At.sound() || c.At.less(last) || !c.At.less(end):
			return fmt.Errorf("chord symbol %d, at quarter note %d/%d: not in order, or not within the line", i+1, c.At.Num, c.At.Den)
		case c.Text == "" && !c.Chord.Quality.legal():
			return fmt.Errorf("chord symbol %d is neither a chord nor text", i+1)
		case c.Text != "" && c.Chord != (Chord{}) || utf8.RuneCountInString(c.Text) > MaxSymbolText:
			return fmt.Errorf("chord symbol %d: want a chord, or text of at most %d letters", i+1, MaxSymbolText)
		}
		last = c.At
	}
	return nil
}

// sound reports whether f is a fraction with a small denominator.
func (f Fraction) sound() bool { return f.Den >= 1 && f.Den <= maxDivision && maxDivision%f.Den == 0 }

// less reports whether f < g.
func (f Fraction) less(g Fraction) bool { return f.Num*g.Den < g.Num*f.Den }

// Bars returns where bars begin, in quarter notes from the start, from the first
// bar, which may be incomplete, to the end of the line; nil without a meter.
func (s Score) Bars() []Fraction { return s.barsUntil(s.Length()) }

func (s Score) barsUntil(end Fraction) []Fraction {
	if !s.Meter.Valid() {
		return nil
	}
	bars := []Fraction{{0, 1}}
	at := Fraction{0, 1}
	meter, changes := s.Meter, s.Changes
	next := s.Start
	if next.Num == 0 {
		next = meter.Bar()
	}
	for {
		at = at.Plus(next)
		for len(changes) > 0 && !at.less(changes[0].At) {
			if changes[0].Meter.Valid() {
				meter = changes[0].Meter
			}
			changes = changes[1:]
		}
		next = meter.Bar()
		if !at.less(end) {
			return bars
		}
		bars = append(bars, at)
	}
}
