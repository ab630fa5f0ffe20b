package theory_test

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "singback/theory"
)

// Number charts as players of church and studio bands write them (common practice,
// usage varies between bands): the accidental stands before the number, minor is
// marked, the slash is a degree of the key.
func TestParseNumber(t *testing.T) {
	for _, tc := range []struct{ key, number, chord, text, ascii string }{
		{"C", "1", "C", "1", "1"},
		{"C", "6-", "Am", "6-", "6-"},
		{"C", "6m", "Am", "6-", "6-"},
		{"C", "2", "D", "2", "2"}, // unmarked is major, whatever the key has
		{"C", "b7", "Bb", "♭7", "b7"},
		{"C", "♭7", "Bb", "♭7", "b7"},
		{"C", "#4", "F#", "♯4", "#4"},
		{"C", "57", "G7", "5⁷", "57"},
		{"C", "5⁷", "G7", "5⁷", "57"},
		{"C", "2-7", "Dm7", "2-⁷", "2-7"},
		{"C", "2-⁷", "Dm7", "2-⁷", "2-7"},
		{"C", "2⁻⁷", "Dm7", "2-⁷", "2-7"},
		{"C", "1△", "Cmaj7", "1maj7", "1maj7"},
		{"C", "1maj9", "Cmaj9", "1maj9", "1maj9"},
		{"C", "7°", "Bdim", "7°", "7dim"},
		{"C", "#1°7", "C#dim7", "♯1°7", "#1dim7"},
		{"C", "4+", "F+", "4+", "4+"},
		{"C", "7ø", "Bm7b5", "7-⁷♭5", "7-7b5"},
		{"C", "4/1", "F/C", "4/1", "4/1"},
		{"C", "1/3", "C/E", "1/3", "1/3"},
		{"C", "5/7", "G/B", "5/7", "5/7"},
		{"C", "2/#4", "D/F#", "2/♯4", "2/#4"},
		{"C", "2/b5", "D/F#", "2/♯4", "2/#4"}, // it sounds as the third
		{"C", "4/b7", "F/Bb", "4/♭7", "4/b7"},
		{"C", "5sus", "Gsus4", "5sus", "5sus"},
		{"C", "5⁴", "Gsus4", "5sus", "5sus"},
		{"C", "1²", "Csus2", "1sus2", "1sus2"},
		{"C", "1⁵", "C5", "1(no3)", "1(no3)"},
		{"C", "4⁶", "F6", "4add6", "4add6"},
		{"C", "59sus", "G9sus4", "5⁹sus", "59sus"},
		{"C", "57b9", "G7b9", "5⁷♭9", "57b9"},
		{"C", "3-7b5", "Em7b5", "3-⁷♭5", "3-7b5"},
		{"C", "1m6", "Cm6", "1-(add6)", "1-(add6)"},
		{"C", "16/9", "C6/9", "1⁶/⁹", "16/9"},
		{"C", "169", "C6/9", "1⁶/⁹", "16/9"},
		{"C", "4-(maj7)", "Fm(maj7)", "4-(maj7)", "4-(maj7)"},
		{"C", "513/7", "G13/B", "5¹³/7", "513/7"},
		{"Ab", "6-", "Fm", "6-", "6-"},
		{"Gb", "b6", "Ebb", "♭6", "b6"},
		// In minor 1- is home.
		{"Cm", "1-", "Cm", "1-", "1-"},
		{"Cm", "3", "Eb", "♭3", "b3"},
		{"Cm", "b7", "Bb", "♭7", "b7"},
		{"Cm", "7", "Bb", "♭7", "b7"},
		{"Cm", "7°7", "Bdim7", "♮7°7", "n7dim7"},
		{"Cm", "5/7", "G/B", "5/♮7", "5/n7"},
		{"Cm", "1-/3", "Cm/Eb", "1-/♭3", "1-/b3"},
		{"Cm", "4-/6", "Fm/Ab", "4-/♭6", "4-/b6"},
		{"Cm", "4/6", "F/A", "4/♮6", "4/n6"},
		{"Cm", "b6-", "Abm", "♭6-", "b6-"},
		{"Cm", "n6-", "Am", "♮6-", "n6-"},
	} {
		k := mustKey(t, tc.key)
		r, err := ParseNumber(tc.number, k)
		if err != nil {
			t.Errorf("%s in %v: %v", tc.number, k, err)
			continue
		}
		if got := r.Chord; got != mustChord(t, tc.chord) {
			t.Errorf("%s in %v is %v, want %s", tc.number, k, got, tc.chord)
		}
		if text, ascii := r.Number(), r.NumberASCII(); text != tc.text || ascii != tc.ascii {
			t.Errorf("%s in %v is written %s and %s, want %s and %s", tc.number, k, text, ascii, tc.text, tc.ascii)
		}
	}
}

// Charts of numbers, beside numerals and symbols, with what divides their bars.
func TestReadNumbers(t *testing.T) {
	for _, tc := range []struct{ key, in, want string }{
		{"C", "1 4 6- 5", "C F Am G"},
		{"C", "1 | 4 | 57", "C F G7"},
		{"C", "5sus 5 1", "Gsus4 G C"},
		{"C", "5", "G"},
		{"C", "57", "G7"},
		{"C", "1 - 4 - 5", "C F G"},
		{"C", "1–4–5", "C F G"},
		{"C", "1, 4,5, b7", "C F G Bb"},
		{"C", "57b9,#11 1", "G7b9#11 C"},
		{"C", "57(b9, #11), 1", "G7b9#11 C"},
		{"C", "6- - 4", "Am F"},
		{"C", "6-, 4", "Am F"},
		{"C", "6-/5 4", "Am/G F"},
		{"C", "(1 4) 57", "C F G7"},
		{"C", "1 (4 57(b9)) | 1", "C F G7b9 C"},
		{"C", "◇1◇ ^4 ‹57 1.", "C F G7 C"},
		{"C", "1′ ′ ′ 5", "C G"},
		{"C", "1 IV G7 vi", "C F G7 Am"},
		{"C", "b7 4 1", "Bb F C"},
		{"C", "C ♭7 F", "C Bb F"},
		{"Am", "1- 4- 57 1-", "Am Dm E7 Am"},
		{"Bb", "1 → 1/3 → 4 → #4°7 → 1/5", "Bb Bb/D Eb Edim7 Bb/F"},
	} {
		p, err := ReadProgression(tc.in, mustKey(t, tc.key))
		if err != nil {
			t.Errorf("%s: %v", tc.in, err)
		} else if got := symbols(p); got != tc.want {
			t.Errorf("%s in %s is %s, want %s", tc.in, tc.key, got, tc.want)
		}
	}
	for in, want := range map[string]string{
		"1-4-5": "is the dash behind chord 1 minor", "1-5": "want spaces round the dash, or m for minor", "2-7-5": "is the dash behind chord 1", "57-1": "is the dash behind chord 1",
		"6– 4": "is the dash", "2–7": "is the dash", "1-IV": "is the dash", "C b7 F": `want "B7", or "♭7" for the degree`,
		"(1 4": "want ) behind its last chord", "|: 1 4 :|": "repeats are not read", "1 8 5": "chord 2",
	} {
		if _, err := ReadProgression(in, Key{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", in, err, want)
		}
	}
	if _, err := ParseBassLine("1 6- 5", Key{}, Numbers); !errors.Is(err, ErrDegree) || !strings.Contains(err.Error(), `"6-" is a chord; want the bass, and behind a colon what was heard, like 6:min`) {
		t.Errorf("a number in a bass line: %v", err)
	}
}

// Every numeral in every key is written as a number and read back as the same chord,
// and what is written for people has no doubled sign and sounds the same.
func TestNumbersRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(Keys()).Draw(t, "key")
		s := drawnNumeral(k.Mode).Draw(t, "numeral")
		r, err := ParseRoman(s, k)
		if err != nil {
			t.Fatal(err)
		}
		for _, back := range []string{r.Number(), r.NumberASCII()} {
			if got, err := ParseNumber(back, k); err != nil || got.Chord != r.Chord {
				t.Fatalf("%s in %v is written %s, which is %v, %v", s, k, back, got, err)
			}
			if p, err := ParseProgression(back+" | "+back, k); err != nil || len(p) != 2 || p[1].Chord != r.Chord {
				t.Fatalf("%s twice in %v is %v, %v", back, k, p, err)
			}
		}
		text, ascii := r.ReadableNumber()
		for _, back := range []string{text, ascii} {
			got, err := ParseNumber(back, k)
			if err != nil || strings.ContainsAny(back, "𝄪𝄫") || strings.Contains(ascii, "bb") || strings.Contains(ascii, "##") || classesOf(got.Chord) != classesOf(r.Chord) {
				t.Fatalf("%s in %v is written %s for people, which is %v, %v", s, k, back, got, err)
			}
		}
	})
}

// sounds are the pitch classes of a chord, and its bass.
func classesOf(c Chord) (s [13]int) {
	for _, n := range c.Notes() {
		s[n.PitchClass()] = 1
	}
	s[12] = c.Bass.PitchClass()
	return s
}

func FuzzParseNumber(f *testing.F) {
	for i, s := range []string{"1", "6-", "57", "4/1", "b7", "5⁴", "2-⁷", "16/9", "7ø", "1²", "5sus", "#1°7/b3", "1⁶/⁹", "4-/maj7", "54", "n6-", "bbb7", "\xff", "1⁻⁷", "5(no3)", "7alt/n7", "5m7b5/7"} {
		f.Add(s, uint8(i))
	}
	f.Fuzz(func(t *testing.T, s string, key uint8) {
		ks := Keys()
		for m := Dorian; m <= Locrian; m++ {
			ks = append(ks, Key{Mode: m})
		}
		k := ks[int(key)%len(ks)]
		r, err := ParseNumber(s, k)
		if err != nil {
			checkRefusal(t, s, err, ErrNumber)
			return
		}
		if d := k.Degree(r.Chord.Bass); abs(d.Alter) > 2 {
			return // a tone of the chord that lies further off than a number is read
		}
		for _, back := range []string{r.Number(), r.NumberASCII()} {
			if got, err := ParseNumber(back, k); err != nil || got != r {
				t.Errorf("%q in %v is %v, but %q is %v, %v", s, k, r, back, got, err)
			}
		}
	})
}
