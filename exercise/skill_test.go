package exercise

import (
	"testing"

	"singback/theory"
)

func TestSkillReadsWhatItWrites(t *testing.T) {
	for _, text := range []string{
		"degree 6", "degree b3", "pair 4-b6 up", "pair 7-1 down", "key Ab major", "key F# minor", "chromatic #4", "chromatic bb7",
		"bass 4", "quality m7b5", "quality ", "melody 3",
	} {
		s, err := ParseSkill(text)
		if err != nil || s.String() != text {
			t.Errorf("ParseSkill(%q) = %v, %v", text, s, err)
		}
	}
	for _, text := range []string{"", "degree", "degree 8", "degree 6 ", "degree b#3", "pair 4-6", "pair 4 up", "key H", "melody 0", "melody 100", "quality a b", "tune 3"} {
		if s, err := ParseSkill(text); err == nil {
			t.Errorf("ParseSkill(%q) = %v, want an error", text, s)
		}
	}
}

func FuzzParseSkill(f *testing.F) {
	for _, s := range []string{"degree 6", "pair 4-b6 up", "key Ab major", "chromatic #4", "quality m7b5", "melody 3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSkill(text)
		if err != nil {
			return
		}
		again, err := ParseSkill(s.String())
		if err != nil || again != s {
			t.Errorf("%q is %v, and %q is %v, %v", text, s, s.String(), again, err)
		}
	})
}

// Up is the nearest above, down the nearest below; a pair that leaves the voice
// moves by an octave, and where none fits the end is folded back.
func TestMoves(t *testing.T) {
	k, _ := theory.ParseKey("C major")
	d := func(step int) theory.Degree { return theory.Degree{Step: step} }
	for _, c := range []struct {
		rule       string
		from, to   int
		move       Direction
		r          theory.Range
		low, end   string
		folded     bool
		skillAsked string
	}{
		{"within the octave", 1, 5, Within, theory.Range{}, "C4", "G4", false, "pair 1-5 up"},
		{"within, falling", 6, 4, Within, theory.Range{}, "A4", "F4", false, "pair 6-4 down"},
		{"sol below do", 1, 5, Down, theory.Range{}, "C4", "G3", false, "pair 1-5 down"},
		{"do above sol", 5, 1, Up, theory.Range{}, "G4", "C5", false, "pair 5-1 up"},
		{"ti below do", 1, 7, Down, theory.Range{}, "C4", "B3", false, "pair 1-7 down"},
		{"an octave higher where the low end does not fit", 1, 5, Down, theory.Range{Low: 57, High: 77}, "C5", "G4", false, "pair 1-5 down"},
		{"folded where neither fits", 1, 5, Down, theory.Range{Low: 58, High: 70}, "C4", "G4", true, "pair 1-5 up"},
	} {
		from := d(c.from)
		it := Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: Register{4, c.r}, Asked: d(c.to), From: &from, Move: c.move}
		to, folded := it.Target()
		if it.FromPitch().String() != c.low || to.String() != c.end || folded != c.folded || it.Skill().String() != c.skillAsked {
			t.Errorf("%s: %v to %v, folded %v, %v; want %v to %v, folded %v, %v", c.rule, it.FromPitch(), to, folded, it.Skill(), c.low, c.end, c.folded, c.skillAsked)
		}
	}
}
