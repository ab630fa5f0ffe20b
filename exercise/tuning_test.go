package exercise

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"singback/theory"
)

func tuning(t testing.TB, s string) theory.Tuning {
	t.Helper()
	tuned, err := theory.ParseTuning(s, 440)
	if err != nil {
		t.Fatal(err)
	}
	return tuned
}

// The distances between the systems are those of any table of degree sizes:
// just mi lies 13.7 c below the equal one, Pythagorean mi 7.8 above it.
func TestClashes(t *testing.T) {
	for _, c := range []struct {
		asked, tuning string
		tolerance     theory.Cents
		want          string
	}{
		{"do", "equal", 5, ""},
		{"mi", "equal", 20, ""},
		{"mi", "equal", 35, ""},
		{"mi", "equal", 15, ""},
		{"mi", "equal", 10, "just -13.7"},
		{"mi", "equal", 5, "just -13.7 pythagorean +7.8"},
		{"mi", "just", 15, "pythagorean +21.5"},
		{"mi", "just", 13, "equal +13.7 pythagorean +21.5"},
		{"sol", "equal", 5, ""},
		{"re", "equal", 15, "just re=10/9 -17.6"},
		{"re", "just", 19, "just re=10/9 -21.5"},
		{"re", "just re=10/9", 19, "just +21.5"},
		{"re", "just re=10/9", 10, "equal +17.6 just +21.5"},
		{"te", "equal", 15, "just +17.6"},
		{"te", "just te=16/9", 19, "just +21.5"},
		{"la", "pythagorean", 19, "just -21.5"},
	} {
		it := item(t, "G major", c.asked)
		it.Tuning = tuning(t, c.tuning)
		var words []string
		for _, clash := range Clashes(it, Tolerance{Cents: c.tolerance}) {
			words = append(words, fmt.Sprintf("%v %+.1f", clash.Tuning, clash.Cents))
		}
		if got := strings.Join(words, " "); got != c.want {
			t.Errorf("%s in %s within %v c: %q, want %q", c.asked, c.tuning, c.tolerance, got, c.want)
		}
	}
}

// In every tuning a degree sung at its own size is in tune to nothing, and one
// sung at the size of another system is as far off as the two differ.
func TestJudgeInTunings(t *testing.T) {
	for _, c := range []struct {
		asked, tuning, sung string
		want                Outcome
		cents               theory.Cents
	}{
		{"mi", "equal", "equal", InTune, 0},
		{"mi", "just", "just", InTune, 0},
		{"mi", "equal", "just", Flat, -13.686},
		{"mi", "just", "equal", Sharp, 13.686},
		{"ti", "pythagorean", "pythagorean", InTune, 0},
		{"ti", "just", "pythagorean", Sharp, 21.506},
		{"re", "just re=10/9", "just", Sharp, 21.506},
		{"te", "just", "just te=16/9", Flat, -21.506},
		{"la", "equal", "pythagorean", InTune, 5.865},
	} {
		for _, k := range []string{"C", "Ab", "F#m"} {
			it := item(t, k, c.asked)
			it.Tuning = tuning(t, c.tuning)
			target, _ := it.Target()
			v := Judge(it, held(tuning(t, c.sung).HzIn(it.Key, target)), Tolerance{Cents: 10})
			if v.Outcome != c.want || v.Sung != it.Asked || math.Abs(v.Cents-c.cents) > 0.001 {
				t.Errorf("%s in %s, %s, sung in %s: %v %v %.3f c, want %v %.3f", c.asked, k, c.tuning, c.sung, v.Outcome, v.Sung, v.Cents, c.want, c.cents)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(theory.Keys()).Draw(t, "key")
		system := rapid.SampledFrom([]theory.Tuning{
			{A4: 440}, {A4: 415, System: theory.Just}, {A4: 440, System: theory.Just, SmallRe: true, SmallTe: true}, {A4: 466, System: theory.Pythagorean},
		}).Draw(t, "tuning")
		asked := theory.Degree{Step: rapid.IntRange(1, 7).Draw(t, "step"), Alter: rapid.IntRange(-1, 1).Draw(t, "alter")}
		it := Item{Key: k, Tuning: system, Register: MiddleRegister(k), Asked: asked}
		target, _ := it.Target()
		off := rapid.Float64Range(-600, 599.9).Draw(t, "off")
		v := Judge(it, held(theory.Shift(it.Hz(target), off)), Tolerance{Cents: 5})
		below, border := system.Borders(asked)
		if off < 0 {
			border = below
		}
		away := math.Abs(off)
		switch {
		case math.Abs(away-border) < BorderWidth+1e-6:
			return // decided by rounding, or ambiguous
		case away > border:
			if v.Outcome != OtherDegree || v.Sung.Semitones() == asked.Semitones() {
				t.Fatalf("%v in %v, %v c away: %v %v", asked, system, off, v.Outcome, v.Sung)
			}
			// The degree named is where the sound is, to the cents told.
			up := system.Cents(asked) + off - system.Cents(v.Sung) - v.Cents
			if octaves := up / 1200; math.Abs(octaves-math.Round(octaves)) > 1e-6 {
				t.Fatalf("%v in %v, %v c away: called %v %v c", asked, system, off, v.Sung, v.Cents)
			}
		case v.Sung != asked || math.Abs(v.Cents-off) > 1e-6:
			t.Fatalf("%v in %v, %v c away: %v %v %v c", asked, system, off, v.Outcome, v.Sung, v.Cents)
		}
	})
}
