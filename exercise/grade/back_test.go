package grade

import (
	"fmt"
	"strings"
	"testing"

	"singback/exercise"
	"singback/theory"
)

// backOf reads a line of notes, each a degree of C and, where it is said, cents,
// octaves (') and a length in seconds: "1 2+30 5' b3/0.1". A point is a rest of two
// seconds.
func backOf(t *testing.T, text string) (take []Sung) {
	t.Helper()
	at := 0.5
	for _, w := range strings.Fields(text) {
		if w == "." {
			at += 2
			continue
		}
		length, octaves, cents := 0.8, strings.Count(w, "'"), 0.0
		w = strings.ReplaceAll(w, "'", "")
		if before, after, ok := strings.Cut(w, "/"); ok {
			fmt.Sscan(after, &length)
			w = before
		}
		if i := strings.IndexAny(w, "+-"); i > 0 {
			fmt.Sscan(w[i:], &cents)
			w = w[:i]
		}
		d, err := exercise.ParseDegree(w)
		if err != nil {
			t.Fatal(err)
		}
		take = append(take, Sung{
			Cents: 6000 + 100*float64(d.Semitones()) + 1200*float64(octaves) + cents, Onset: at, Offset: at + length,
		})
		at += length + 0.05
	}
	return take
}

// What was sung back of degrees of C: each wrong note stays the only one, whatever
// comes before or after it. Said are degree, cents and octaves of each, in brackets
// what was wrong, then what was too many.
func TestSingBack(t *testing.T) {
	it := exercise.Item{Tuning: theory.Tuning{A4: 440}}
	for _, c := range []struct{ name, asked, sung, want string }{
		{"right", "1 5 4 1", "1+10 5-20 4 1", "1+10 5-20 4+0 1+0"},
		{"in any octave", "1 5 4", "1' 5 4''", "1+0^1 5+0 4+0^2"},
		{"the first wrong", "1 5 4 1", "2 5 4 1", "[2+0] 5+0 4+0 1+0"},
		{"one wrong", "1 5 4 1", "1 6+10 4 1", "1+0 [6+10] 4+0 1+0"},
		{"the last wrong", "1 5 4 1", "1 5 4 3", "1+0 5+0 4+0 [3+0]"},
		{"two changed places", "1 5 4", "1 4 5", "1+0 [4+0] [5+0]"},
		{"one left out", "1 5 4 1", "1 4 1", "1+0 - 4+0 1+0"},
		{"the last left out", "1 5 4 1", "1 5 4", "1+0 5+0 4+0 -"},
		{"one left out, one at the end too many", "1 4 5 6", "1 5 6 1", "1+0 - 5+0 6+0 too many 1"},
		{"one too many", "1 5 4 1", "1 3 5 4 1", "1+0 5+0 4+0 1+0 too many 3"},
		{"one too many at the end", "1 5", "1 5 3", "1+0 5+0 too many 3"},
		{"a slip on the way", "1 5 4 1", "1 4/0.1 5 4 1", "1+0 5+0 4+0 1+0"},
		{"in pieces", "1 5 4", "1/0.3 1+10 5 4 4-5/0.4", "1+10 5+0 4+0"},
		{"begun again", "1 5 4", "1 5 . 1 5 4", "1+0(2) 5+0 4+0 too many 1 5"},
		{"repeated", "1 1 4", "1 1 4", "1+0 1+0 4+0"},
		{"repeated, held on", "1 1 4", "1/1.6 4", "1+0 1+0 4+0"},
		{"hesitant", "1 5 4", "1 . 5 . 4", "1+0 5+0(2) 4+0(2)"},
		{"between two degrees", "1 5 4", "1 5-48 4", "1+0 ?5-48 4+0"},
		{"just before the border", "5", "5-44", "5-44"},
		{"just behind it", "5", "5-56", "[#4+44]"},
		{"one note: the longest answers", "5", "4/0.4 5", "5+0 too many 4"},
		{"though another one would be right", "5", "5/0.4 4", "[4+0] too many 5"},
		{"a scale that has them all", "1 5", "1 2 3 4 5/0.9 4/0.9", "[5+0^1] [4+0] too many 1 2 3 4"},
		{"nothing", "1 5", "", "- -"},
	} {
		var heard []Sounded
		for _, w := range strings.Fields(c.asked) {
			d, err := exercise.ParseDegree(w)
			if err != nil {
				t.Fatal(err)
			}
			heard = append(heard, Sounded{d, it.Hz(theory.Pitch{Note: it.Key.Note(d), Octave: 4})})
		}
		b := SingBack(it, heard, backOf(t, c.sung))
		var said []string
		for _, d := range b.Degrees {
			if !d.Sung {
				if d.Outcome != exercise.WrongAnswer {
					t.Errorf("%s: left out is %v", c.name, d.Outcome)
				}
				said = append(said, "-")
				continue
			}
			text := fmt.Sprintf("%s%+.0f", d.Degree.ASCII(), d.Cents)
			if d.Octave != 0 {
				text += fmt.Sprintf("^%d", d.Octave)
			}
			if d.Wait >= Hesitated {
				text += fmt.Sprintf("(%.0f)", d.Wait)
			}
			switch d.Outcome {
			case exercise.WrongAnswer:
				text = "[" + text + "]"
			case exercise.Ambiguous:
				text = "?" + text
			}
			said = append(said, text)
		}
		for i, d := range b.Added {
			if i == 0 {
				said = append(said, "too many")
			}
			said = append(said, d.ASCII())
		}
		if got := strings.Join(said, " "); got != c.want {
			t.Errorf("%s: %s sung %q: %q, want %q", c.name, c.asked, c.sung, got, c.want)
		}
	}
}
