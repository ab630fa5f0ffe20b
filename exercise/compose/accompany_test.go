package compose

import (
	"math"
	"slices"
	"strings"
	"testing"

	"singback/theory"
)

// The tune of the nursery round, and other lines that are all of one chord a bar, get that
// chord: do mi sol is I, fa la do IV, sol ti re V, la do mi vi (every textbook of harmony).
func TestAccompany(t *testing.T) {
	line := func(key, pitches string) theory.Score {
		k, err := theory.ParseKey(key)
		if err != nil {
			t.Fatal(err)
		}
		s := theory.Score{Key: k, Meter: theory.Meter{Beats: 3, Unit: 4}}
		for _, w := range strings.Fields(pitches) {
			p, err := theory.ParsePitch(w)
			if err != nil {
				t.Fatal(err)
			}
			s.Notes = append(s.Notes, theory.Written{Pitch: p, Length: theory.NewFraction(1, 1)})
		}
		return s
	}
	for _, c := range []struct{ key, line, want string }{
		{"C", "C4 E4 G4 F4 A4 C5 G4 B4 D5 C5 G4 C4", "I IV V I"},
		{"C", "E4 G4 E4 A4 C5 E5 F4 F4 A4 D5 B4 G4 C4 C4 C4", "I vi IV V I"},
		{"F", "F4 A4 C5 C5 E5 G5 F5 C5 A4", "I V I"},
		{"A minor", "A4 C5 E5 D5 F5 A5 E5 G#5 B5 A5 E5 A4", "i iv V i"},
	} {
		s := line(c.key, c.line)
		var got []string
		for i, p := range Accompany(&s, 0) {
			got = append(got, p.Roman.ASCII())
			if p.At != float64(3*i) {
				t.Errorf("%s: chord %d at %v", c.line, i+1, p.At)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %v, want %s", c.line, got, c.want)
		}
	}
	// An incomplete first bar counts as one; symbols go before what fits.
	s := line("C", "G4 C4 E4 G4")
	s.Start = theory.NewFraction(1, 1)
	if got := Accompany(&s, 0); len(got) != 2 || got[1].At != 3 || got[1].Roman.ASCII() != "I" {
		t.Errorf("%+v", got)
	}
	c, _ := theory.ParseChordSymbol("F7")
	n, _ := theory.ParseChordSymbol("N.C.")
	c.At, n.At = theory.NewFraction(1, 1), theory.NewFraction(3, 1)
	s.Symbols = []theory.ChordSymbol{c, n}
	if got := Accompany(&s, 0); len(got) != 2 || got[0].At != 3 || got[0].Roman.Chord.ASCII() != "F7" || got[1].Roman != nil {
		t.Errorf("%+v", got)
	}
}

// Over many phrases every bar's chord has more of its notes than any other would have, the
// place in the bar is that of the line, and a phrase in bars is a line that is legal.
func TestEchoesInBars(t *testing.T) {
	offBar := 0
	for level := 1; level <= Levels; level++ {
		melodies, err := NewEchoes(MelodyOrder{Level: level, Count: 6, Seed: 7}, 4)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range melodies {
			m.PutInBars()
			s := m.Score
			if err := s.Validate(); err != nil || !m.In.Valid() || s.Meter != m.In || len(s.Notes) != 4 {
				t.Fatalf("level %d: %+v %v", level, s, err)
			}
			if s.Start.Num > 0 {
				offBar++
			}
			chords := Accompany(&s, 0)
			if bars := s.Bars(); len(chords) != len(bars) {
				t.Errorf("level %d: %d chords in %d bars", level, len(chords), len(bars))
			}
			again := MelodyOrder{Level: level, Count: 1, Seed: m.Seed}
			if level == 1 {
				again.Key = &m.Score.Key
			}
			whole, err := NewMelodies(again)
			if err != nil {
				t.Fatal(err)
			}
			// It begins where the line has these notes; bars are counted anew here.
			found, at := false, 0.0
			if start := whole[0].Score.Start; start.Num > 0 {
				at = m.In.Bar().Float() - start.Float()
			}
			for i, n := range whole[0].Score.Notes {
				if part := whole[0].Score.Notes[i:]; len(part) >= 4 && slices.Equal(lengths(part[:4]), lengths(s.Notes)) {
					found = found || math.Abs(math.Mod(at, m.In.Bar().Float())-m.Into.Float()) < 1e-9
				}
				at += n.Length.Float()
			}
			if !found && len(whole[0].Score.Changes) == 0 {
				t.Errorf("level %d, seed %d: not %v into a bar", level, m.Seed, m.Into)
			}
		}
	}
	if offBar == 0 {
		t.Error("every phrase begins with a bar")
	}
}

func lengths(notes []theory.Written) (out []theory.Fraction) {
	for _, n := range notes {
		out = append(out, n.Length)
	}
	return out
}
