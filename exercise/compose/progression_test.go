package compose

import (
	"slices"
	"testing"

	"singback/exercise"
	"singback/theory"
)

// Progressions are voiced by the strict rules, nearly all of them, and have the root that
// is wanted; each chord has a quality, a root and an inversion that can be kept.
func TestNewProgression(t *testing.T) {
	free := 0
	const each = 12
	for _, style := range theory.Styles() {
		for _, k := range []theory.Key{{}, {Tonic: theory.Note{Letter: theory.G}, Mode: theory.Minor}} {
			for seed := range uint64(each) {
				o := ProgressionOrder{Key: k, Style: style, Length: 4 + int(seed%3), Seed: seed}
				step := theory.Degree{Step: 4}
				if seed%2 == 0 {
					o.Root = &step
				}
				d, err := NewProgression(o)
				again, _ := NewProgression(o)
				if err != nil || len(d.Voices) != o.Length || d.Material() != again.Material() {
					t.Fatalf("%+v: %s and %s, %v", o, d.Material(), again.Material(), err)
				}
				if o.Root != nil && !slices.ContainsFunc(d.Step(exercise.RootSkill).Skills(), func(s exercise.Skill) bool { return s.Degree == step }) {
					t.Errorf("%v: %s has no chord on 4", style, d.Material())
				}
				if _, _, err := theory.KeyboardTexture().Voice(d.Chords); err != nil {
					free++
				}
				for _, of := range []exercise.Kind{exercise.BassSkill, exercise.QualitySkill, exercise.RootSkill, exercise.InversionSkill} {
					skills := d.Step(of).Skills()
					for _, s := range skills {
						if back, err := exercise.ParseSkill(s.String()); err != nil || back != s {
							t.Errorf("%s: %q is read as %v, %v", d.Material(), s, back, err)
						}
					}
					if right := d.Step(of).Right(skills); slices.Contains(right, false) {
						t.Errorf("%s: %v of itself %v", d.Material(), of, right)
					}
				}
			}
		}
	}
	if all := 2 * each * len(theory.Styles()); free > all/20 {
		t.Errorf("%d of %d progressions are voiced with licences", free, all)
	}
}

// The quality of a chord to the ear is that of its triad and seventh.
func TestQualityOf(t *testing.T) {
	for symbol, want := range map[string]string{
		"C": "maj", "Cm": "min", "C7": "7", "C9": "7", "C13": "7", "C7b9": "7", "Cmaj9": "maj7", "Cm9": "m7", "Cm11": "m7", "Cadd9": "maj", "Cm(maj7)": "mMaj7",
		"C6": "6", "C6/9": "6", "Cm7b5": "m7b5", "Cdim7": "dim7", "Cdim": "dim", "C+": "aug", "C7#5": "aug", "Csus4": "sus4", "C7sus4": "sus4", "C9sus4": "sus4",
		"Csus2": "sus2", "C5": "",
	} {
		c, err := theory.ParseChord(symbol)
		if got := QualityOf(c.Quality); err != nil || got != want {
			t.Errorf("%s is %q, want %q (%v)", symbol, got, want, err)
		}
	}
}

// What sounds the same over the same bass is the same: a sixth chord is the seventh
// chord on its sixth, a diminished seventh any of four.
func TestSoundsAlike(t *testing.T) {
	k := theory.Key{}
	given := func(text string) []theory.Roman {
		p, err := theory.ParseProgression(text, k)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	for _, c := range []struct {
		heard, told string
		marks       Mark
	}{
		{"C6", "Am7/C", Mark{true, true, true, true, true}},
		{"Bdim7", "Ddim7/B", Mark{true, true, true, true, true}},
		{"F", "Dm/F", Mark{true, true, false, false, false}},
		{"F", "F/A", Mark{true, true, true, false, false}},
		{"F", "Fm", Mark{true, true, true, true, false}},
		{"F", "F7", Mark{true, true, true, true, false}},
		{"C9", "C7", Mark{true, true, true, true, true}},
		{"F/G", "G7sus4", Mark{true, true, false, false, false}},
	} {
		d, err := GivenProgression(k, given(c.heard))
		if err != nil {
			t.Fatal(err)
		}
		if got := d.Marks([]bool{true}, []bool{true}, given(c.told)); got[0] != c.marks {
			t.Errorf("%s told as %s: %+v, want %+v", c.heard, c.told, got[0], c.marks)
		}
	}
	if _, err := GivenProgression(k, given("C G5 C")); err == nil {
		t.Error("a chord without a third has a quality")
	}
}
