package theory_test

import (
	"slices"
	"strings"
	"testing"

	. "singback/theory"
)

// doubled tells whether a symbol or numeral has a sign twice.
func doubled(s string) bool {
	return strings.ContainsAny(s, "𝄪𝄫") || strings.Contains(s, "♯♯") || strings.Contains(s, "♭♭")
}

// pitchClasses are the sounds of a chord, its bass first.
func pitchClasses(c Chord) []int {
	set := []int{c.Bass.PitchClass()}
	for _, n := range c.Notes() {
		if !slices.Contains(set, n.PitchClass()) {
			set = append(set, n.PitchClass())
		}
	}
	slices.Sort(set[1:])
	return set
}

func TestReadable(t *testing.T) {
	for in, want := range map[string]string{
		"Bbb7": "A7", "C##dim": "D°", "Ebbmaj7": "Dmaj7", "F##dim7": "G°7", "Cdim7/Bbb": "C°7/A", "Abm7b5/Ebb": "G♯m7♭5/D",
		"G#+/D##": "A♭+/E", "F#": "F♯", "Cb": "C♭", "B#m": "B♯m", "C7alt": "C7alt", "Fbm/Abb": "Em/G",
	} {
		c := mustChord(t, in)
		if got := c.Readable(); got.String() != want {
			t.Errorf("%s is written %v, want %s", in, got, want)
		}
	}
	for numeral, want := range map[string]string{"Ger65": "A♭7", "It6": "A♭7(no5)", "Fr43": "D7♭5/A♭", "bII7/bVI": "A7", "bbVIIo7": "A°7"} {
		r := mustRoman(t, numeral, Key{})
		if got := r.Chord.Readable(); got.String() != want || !slices.Equal(pitchClasses(got), pitchClasses(r.Chord)) {
			t.Errorf("%s in C is written %v, want %s", numeral, got, want)
		}
	}
	for numeral, want := range map[string]string{"bbVIIo7": "vi°7", "bII7/bVI": "♭II7/♭VI", "V7/bbV": "V7/IV", "Ger65": "Ger65"} {
		if got := mustRoman(t, numeral, Key{}).Readable().String(); got != want {
			t.Errorf("%s in C is written %s, want %s", numeral, got, want)
		}
	}
}

// Between chords on all roots with at most one sign, in all 30 keys and with no
// key, nothing is offered that has a doubled sign, and what is written sounds as
// what is meant.
func TestOfferedSymbolsAreReadable(t *testing.T) {
	var roots []Note
	for l := C; l <= B; l++ {
		for alter := int8(-1); alter <= 1; alter++ {
			roots = append(roots, Note{Letter: l, Alter: alter})
		}
	}
	respelled := 0
	checked := map[Roman]bool{}
	check := func(from, to Chord, p Passing) {
		for _, r := range append(p.Chords, p.Key.Roman(from), p.Key.Roman(to)) {
			if checked[r] {
				continue
			}
			checked[r] = true
			c, numeral := r.Chord.Readable(), r.Readable()
			if doubled(c.String()) || doubled(numeral.String()) {
				t.Fatalf("between %v and %v in %v: %v as %v is offered as %v, %v", from, to, p.Key, r.Chord, r, c, numeral)
			}
			if !slices.Equal(pitchClasses(c), pitchClasses(r.Chord)) || !slices.Equal(pitchClasses(numeral.Chord), pitchClasses(r.Chord)) {
				t.Fatalf("between %v and %v in %v: %v is written %v, %v (%v), which sounds otherwise", from, to, p.Key, r.Chord, c, numeral, numeral.Chord)
			}
			if c != r.Chord {
				respelled++
			} else if numeral == r {
				continue
			}
			if back, err := ParseChord(c.String()); err != nil || !slices.Equal(pitchClasses(back), pitchClasses(r.Chord)) {
				t.Fatalf("%v is written %v, which is %v, %v", r.Chord, c, back, err)
			}
		}
		if doubled(p.Key.Readable().String()) {
			t.Fatalf("between %v and %v: %v", from, to, p)
		}
	}
	for i, a := range roots {
		for j, b := range roots {
			q := []Quality{MajorTriad, MinorTriad, Dominant7, Minor7, HalfDiminished7}
			from, to := Chord{a, q[(i+j)%len(q)], a}, Chord{b, q[(i+2*j)%2], b}
			for _, k := range Keys() {
				for _, p := range PassingChords(from, to, k) {
					check(from, to, p)
				}
			}
			for _, p := range PassingAnywhere(from, to) {
				check(from, to, p)
			}
		}
	}
	if respelled < 1000 {
		t.Errorf("only %d chords were respelled: is anything tried?", respelled)
	}
}

// What a bass line may carry can be read, in all 30 keys and styles.
func TestDeducedSymbolsAreReadable(t *testing.T) {
	respelled := 0
	for _, k := range Keys() {
		for _, style := range Styles() {
			for semitones := range 12 {
				d, _ := k.Nearest(Cents(100 * semitones))
				got, err := Deduce(k, style, []Bass{{Degree: d}}, 1)
				if err != nil {
					t.Fatal(err)
				}
				for _, c := range append(got.Places[0].Candidates, got.Places[0].Excluded...) {
					r := c.Roman
					if doubled(r.Chord.Readable().String()) || doubled(r.Readable().String()) || !slices.Equal(pitchClasses(r.Chord.Readable()), pitchClasses(r.Chord)) {
						t.Fatalf("%v in %v is written %v, %v", r.Chord, k, r.Chord.Readable(), r.Readable())
					}
					if r.Chord.Readable() != r.Chord {
						respelled++
					}
				}
			}
		}
	}
	if respelled == 0 {
		t.Error("no chord was respelled: is anything tried?")
	}
}
