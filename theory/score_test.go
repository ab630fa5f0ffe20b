package theory

import (
	"errors"
	"strings"
	"testing"
)

// The counted beats of the usual time signatures (common practice).
func TestMeterPulses(t *testing.T) {
	for _, c := range []struct {
		text   string
		bar    Fraction
		pulse  Fraction
		pulses int
	}{
		{"4/4", Fraction{4, 1}, Fraction{1, 1}, 4},
		{"C", Fraction{4, 1}, Fraction{1, 1}, 4},
		{"C|", Fraction{4, 1}, Fraction{2, 1}, 2},
		{"3/4", Fraction{3, 1}, Fraction{1, 1}, 3},
		{"2/2", Fraction{4, 1}, Fraction{2, 1}, 2},
		{"3/8", Fraction{3, 2}, Fraction{1, 2}, 3},
		{"6/8", Fraction{3, 1}, Fraction{3, 2}, 2},
		{"9/8", Fraction{9, 2}, Fraction{3, 2}, 3},
		{"12/8", Fraction{6, 1}, Fraction{3, 2}, 4},
		{"5/4", Fraction{5, 1}, Fraction{1, 1}, 5},
	} {
		m, err := ParseMeter(c.text)
		if err != nil {
			t.Fatal(err)
		}
		if m.Bar() != c.bar || m.Pulse() != c.pulse || m.Pulses() != c.pulses {
			t.Errorf("%s: bar %v, pulse %v, %d pulses; want %v, %v, %d", c.text, m.Bar(), m.Pulse(), m.Pulses(), c.bar, c.pulse, c.pulses)
		}
		if back, err := ParseMeter(m.String()); err != nil || back != m {
			t.Errorf("%s: read back as %v, %v", m, back, err)
		}
	}
	for _, bad := range []string{"", "4", "4/3", "0/4", "-3/4", "33/4", "4/64", "4/0", "a/b", "3/4/4", "99999999999999999999/4"} {
		if m, err := ParseMeter(bad); !errors.Is(err, ErrMeter) {
			t.Errorf("%q was read as %v, %v", bad, m, err)
		}
	}
}

func quarters(n int) []Written {
	ws := make([]Written, n)
	for i := range ws {
		ws[i] = Written{Pitch: Pitch{Note{C, 0}, 4}, Length: Fraction{1, 1}}
	}
	return ws
}

func TestScoreBars(t *testing.T) {
	for _, c := range []struct {
		name string
		s    Score
		want []Fraction
	}{
		{"no meter", Score{Notes: quarters(4)}, nil},
		{"full bars", Score{Meter: Meter{2, 4}, Notes: quarters(4)}, []Fraction{{0, 1}, {2, 1}}},
		{"a pickup", Score{Meter: Meter{3, 4}, Start: Fraction{1, 1}, Notes: quarters(5)}, []Fraction{{0, 1}, {1, 1}, {4, 1}}},
		{"a change of meter", Score{Meter: Meter{2, 4}, Notes: quarters(8), Changes: []Change{{At: Fraction{2, 1}, Meter: Meter{3, 4}}}},
			[]Fraction{{0, 1}, {2, 1}, {5, 1}}},
	} {
		got := c.s.Bars()
		if len(got) != len(c.want) {
			t.Errorf("%s: bars at %v, want %v", c.name, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: bars at %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
}

func TestScoreValidateNamesTheNote(t *testing.T) {
	for want, spoil := range map[string]func(*Score){
		"note 2: a length of 0/1": func(s *Score) { s.Notes[1].Length = Fraction{0, 1} },
		"note 1: a length of 1/7": func(s *Score) { s.Notes[0].Length = Fraction{1, 7} },
		"note 3: C12":             func(s *Score) { s.Notes[2].Pitch.Octave = 12 },
		"time signature: 4/3":     func(s *Score) { s.Meter = Meter{4, 3} },
		"a first bar of 9/1":      func(s *Score) { s.Start = Fraction{9, 1} },
		"the key G# major":        func(s *Score) { s.Key = Key{Tonic: Note{G, 1}} },
		"change 1":                func(s *Score) { s.Changes = []Change{{At: Fraction{-1, 1}}} },
	} {
		s := Score{Meter: Meter{4, 4}, Notes: quarters(4)}
		if err := s.Validate(); err != nil {
			t.Fatal(err)
		}
		if spoil(&s); s.Validate() == nil || !strings.Contains(s.Validate().Error(), want) {
			t.Errorf("got %v, want %q", s.Validate(), want)
		}
	}
}

// Chord symbols lie within the line, in order, and are a chord or text.
func TestChordSymbolsOfAScore(t *testing.T) {
	at := func(text string, num int) ChordSymbol {
		c, _ := ParseChordSymbol(text)
		c.At = Fraction{num, 1}
		return c
	}
	score := func(symbols ...ChordSymbol) Score {
		return Score{Notes: []Written{{Length: Fraction{4, 1}, Pitch: Pitch{Octave: 4}}}, Symbols: symbols}
	}
	if err := score(at("C", 0), at("G7/B", 2), at("N.C.", 3), at("what?", 3)).Validate(); err != nil {
		t.Error(err)
	}
	for want, s := range map[string]Score{
		"chord symbol 2, at quarter note 1/1: not in order, or not within the line": score(at("C", 2), at("F", 1)),
		"chord symbol 1, at quarter note 4/1: not in order, or not within the line": score(at("C", 4)),
		"chord symbol 1 is neither a chord nor text":                                score(ChordSymbol{At: Fraction{0, 1}}),
		"chord symbol 1: want a chord, or text of at most 40 letters":               score(at(strings.Repeat("x", 41), 0)),
	} {
		if err := s.Validate(); err == nil || err.Error() != want {
			t.Errorf("%v, want %s", err, want)
		}
	}
	for text, silent := range map[string]bool{"N.C.": true, "n.c.": true, "NC": true, "No chord": false, "C": false} {
		if c, _ := ParseChordSymbol(text); c.Silent() != silent {
			t.Errorf("%s: %v", text, c.Silent())
		}
	}
}
