package theory_test

import (
	"errors"
	"testing"

	. "singback/theory"
)

// The example of tonic sol-fa notation in R. Stevens, The Curwen Method (2017):
// do re mi fa one pulse each, sol four pulses; and others worked out by hand.
func TestMelodyToScore(t *testing.T) {
	for _, c := range []struct {
		text  string
		key   string
		meter Meter
		start Fraction
		want  string
	}{
		{"| d :r | m :f | s :– | – :– ||", "C", Meter{2, 4}, Fraction{}, "C4 1, D4 1, E4 1, F4 1, G4 4"},
		{":s₁ | d :r :m | d :– :  ||", "Eb", Meter{3, 4}, Fraction{1, 1}, "B♭3 1, E♭4 1, F4 1, G4 1, E♭4 2, rest 1"},
		{"| d :r .m | s :ˢd | r :d ||", "C", Meter{2, 4}, Fraction{}, "C4 1, D4 1/2, E4 1/2, G4 1, G4 1, A4 1, G4 1"},
	} {
		m, err := ParseMelody(c.text, mustKey(t, c.key), Curwen)
		if err != nil {
			t.Fatal(err)
		}
		s, err := m.Score(4, Fraction{1, 1})
		if err != nil {
			t.Fatal(err)
		}
		if got := spelled(s); got != c.want || s.Meter != c.meter || s.Start != c.start {
			t.Errorf("%s: %v %v %s, want %v %v %s", c.text, s.Meter, s.Start, got, c.meter, c.start, c.want)
		}
		back, octave, err := s.Melody()
		if err != nil {
			t.Fatal(err)
		}
		again, err := back.Score(octave, Fraction{1, 1})
		if err != nil || spelled(again) != c.want {
			t.Errorf("%s: through degrees %s, %v; want %s", c.text, spelled(again), err, c.want)
		}
	}
	// A modulation is a change of key on the next bar line.
	m, _ := ParseMelody("| d :r .m | s :ˢd | r :d ||", mustKey(t, "C"), Curwen)
	if s, _ := m.Score(4, Fraction{1, 1}); len(s.Changes) != 1 || s.Changes[0] != (Change{Fraction{4, 1}, mustKey(t, "G"), Meter{2, 4}}) {
		t.Errorf("changes %v", s.Changes)
	}
	m, _ = ParseMelody("do re mi", mustKey(t, "C"), Movable)
	if s, err := m.Score(4, Fraction{1, 1}); err != nil || s.Meter != (Meter{}) || spelled(s) != "C4 1, D4 1, E4 1" {
		t.Errorf("without a metre: %v %v", s, err)
	}
	if _, err := m.Score(4, Fraction{0, 1}); !errors.Is(err, ErrScore) {
		t.Errorf("a pulse of nothing: %v", err)
	}
}

func spelled(s Score) string {
	text := ""
	for i, n := range s.Notes {
		if i > 0 {
			text += ", "
		}
		name := n.Pitch.String()
		if n.Rest {
			name = "rest"
		}
		text += name + " " + n.Length.String()
	}
	return text
}

// Spelled by the interval (worked out by hand): altered notes stay what they are
// in the key, and only what needs three signs is respelled.
func TestScoreInAnotherKey(t *testing.T) {
	line := func(key string, notes ...string) Score {
		s := Score{Key: mustKey(t, key)}
		for _, n := range notes {
			p, err := ParsePitch(n)
			if err != nil {
				t.Fatal(err)
			}
			s.Notes = append(s.Notes, Written{Pitch: p, Length: Fraction{1, 1}})
		}
		return s
	}
	for _, c := range []struct {
		from Score
		to   string
		want string
	}{
		{line("C", "C4", "F#4", "Bb4"), "Eb", "E♭4 1, A4 1, D♭5 1"},
		{line("C", "C4", "Ab4"), "Gb", "G♭4 1, E𝄫5 1"},
		{line("C", "C4", "F#4"), "F", "F4 1, B4 1"},
		{line("C", "C4"), "B", "B3 1"},
		{line("C", "F##4", "C4"), "C#", "G♯4 1, C♯4 1"}, // F with three sharps
		{line("Am", "G#4", "A4"), "G#m", "F𝄪4 1, G♯4 1"},
	} {
		got, err := c.from.In(mustKey(t, c.to))
		if err != nil || spelled(got) != c.want || got.Key != mustKey(t, c.to) {
			t.Errorf("%s to %s: %s, %v; want %s", spelled(c.from), c.to, spelled(got), err, c.want)
		}
	}
	s := line("C", "C4", "G4")
	s.Changes = []Change{{At: Fraction{1, 1}, Key: mustKey(t, "G")}}
	got, err := s.In(mustKey(t, "C#")) // the dominant would be G sharp major: A flat
	if err != nil || got.Changes[0].Key != mustKey(t, "Ab") || spelled(got) != "C♯4 1, A♭4 1" {
		t.Errorf("%v %v", got, err)
	}
	if _, err := s.In(mustKey(t, "Am")); !errors.Is(err, ErrScore) {
		t.Errorf("to minor: %v", err)
	}
	if up, err := s.Octaves(1); err != nil || spelled(up) != "C5 1, G5 1" || spelled(s) != "C4 1, G4 1" {
		t.Errorf("an octave up: %v %v", up, err)
	}
	if _, err := s.Octaves(9); err == nil {
		t.Error("nine octaves up is no MIDI pitch")
	}
}
