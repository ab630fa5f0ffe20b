package theory_test

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	. "singback/theory"
)

// chordForms are the ways in which charts write chords, with the semitones above
// the root that each must have. The spellings are those of handbooks of chord
// symbols (Brandt and Roemer, Standardized Chord Symbol Notation, 1976: MI, MA,
// altered tones in brackets, omit) and of common practice in charts; the tones
// are those of every harmony textbook. In 11 the third is there, in 13 the
// eleventh is not but in minor (common practice, see ParseChord); 7alt has the
// tones of the altered scale, the seventh mode of melodic minor.
const chordForms = `
0 4 7           : "" M maj Maj MAJ ma Ma MA major Major
0 3 7           : m min Min MIN mi Mi MI minor - − –
0 3 6           : dim Dim DIM ° º o mb5 m(b5) m♭5 m-5 -b5 min(b5)
0 4 8           : + aug Aug AUG (#5) +5 (+5) maj(#5) M#5
0 4 6           : (b5) (-5) (♭5) majb5 M(b5)
0 5 7           : sus sus4 Sus4 SUS4 (sus4) (sus)
0 2 7           : sus2 (sus2)
0 2 5 7         : sus2sus4 sus4sus2 sus4(add9) sus4add9 sus(add9)
0 7             : 5 (no3) no3 (omit3) (omit 3) omit3 (no3rd)
0 4             : no5 (no5) (omit5) (omit 5)
0 4 7 9         : 6 maj6 M6 ma6 MA6 add6 (add6) (add13) add13
0 3 7 9         : m6 min6 mi6 MI6 -6 madd6
0 2 4 7 9       : 6/9 69 6(9) 6add9 maj6/9 M6/9 6(add9) maj69
0 2 3 7 9       : m6/9 m69 -6/9 min6/9 m6(9)
0 4 7 10        : 7 dom7 Dom7 (b7) (♭7)
0 4 7 11        : maj7 Maj7 MAJ7 M7 ma7 Ma7 MA7 mj7 major7 Major7 Δ Δ7 ∆7 △7 ^ ^7 7M 7maj
0 3 7 10        : m7 min7 Min7 MIN7 mi7 Mi7 MI7 -7 −7 –7 minor7 m(b7)
0 3 7 11        : m(maj7) mM7 m(M7) mMaj7 mmaj7 m/maj7 m/M7 mma7 m(ma7) -maj7 -M7 -Δ7 mΔ7 -Δ -(maj7) min(maj7) minmaj7 min/maj7 miMA7 MI(MA7) m^7 m#7 m+7 m(#7) m(+7) mimaj7 mmj7
0 3 6 10        : m7b5 m7(b5) m7♭5 m7-5 m7(-5) min7b5 min7(b5) mi7(b5) MI7(b5) -7b5 -7(b5) ø ø7 Ø Ø7 hdim7 hdim halfdim halfdim7 half-dim7
0 3 6 9         : dim7 °7 º7 o7 Dim7
0 3 6 11        : dim(maj7) °(maj7) °M7 °maj7 omaj7 dimM7
0 4 8 10        : 7#5 7(#5) 7♯5 7+5 7(+5) 7+ 7aug 7(aug) +7 aug7 7aug5 dom7#5
0 4 6 10        : 7b5 7(b5) 7♭5 7-5 7(-5)
0 4 8 11        : maj7#5 maj7(#5) maj7+5 M7#5 +maj7 +M7 augmaj7 aug(maj7) maj7+ Δ#5 Δ7#5
0 4 6 11        : maj7b5 maj7(b5) M7-5 Δ7b5
0 4 6 8 10      : 7b5#5 7(b5,#5) 7(#5,b5)
0 5 7 10        : 7sus4 7sus 7(sus4) 7Sus m7sus4
0 2 7 10        : 7sus2
0 5 7 11        : maj7sus4 maj7sus
0 2 5 7 10      : 9sus4 9sus 7sus4(9) 7sus4add9
0 2 5 7 9 10    : 13sus4 13sus
0 1 5 7 10      : 7sus4b9 7sus4(b9) 7b9sus4 7b9sus
0 2 4 7         : add9 (add9) add2 (add2) 2 (9) Add9 (add 9)
0 2 3 7         : madd9 m(add9) madd2 -add9 min(add9) m(9) mi(add9)
0 4 5 7         : add4 add11 (add11) (11)
0 3 5 7         : madd4 madd11 m(add11) m(11)
0 4 6 7         : (#11) add#11 (add#11)
0 2 4 7 10      : 9 dom9 7(9) 7add9 7(add9)
0 2 4 7 11      : maj9 M9 ma9 MA9 Δ9 ^9 maj7(9) maj7add9 mj9
0 2 3 7 10      : m9 min9 mi9 MI9 -9 m7(9) m7add9
0 2 3 7 11      : m(maj9) mM9 mMaj9 m(M9) -maj9 m/M9
0 2 3 6 10      : m9b5 m9(b5) ø9 -9b5 m7b5(9)
0 2 3 6 9       : dim9 °7add9 dim7(add9) °7(9)
0 2 4 8 10      : 9#5 9(#5) +9 aug9 9+ 9+5 9aug
0 2 4 6 10      : 9b5 9(b5) 9-5
0 1 4 7 10      : 7b9 7(b9) 7♭9 7-9 7(-9) 7addb9
0 3 4 7 10      : 7#9 7(#9) 7♯9 7+9 7(+9) 7add#9
0 1 3 4 7 10    : 7b9#9 7(b9,#9) 7(b9#9) 7#9b9 7(b9/#9) 7♭9♯9
0 4 6 7 10      : 7#11 7(#11) 7+11 7(+11) 7add#11
0 4 7 8 10      : 7b13 7(b13) 7-13
0 4 7 9 10      : 7(13) 7add13 7add6 7(add13)
0 1 4 6 7 10    : 7b9#11 7(b9,#11) 7(b9#11) 7b9,#11 7(b9)(#11) 7(b9, #11) 7(b9/#11)
0 1 4 7 8 10    : 7b9b13 7(b9,b13) 7(b9b13) 7(b9/b13)
0 3 4 7 8 10    : 7#9b13 7(#9,b13)
0 3 4 8 10      : 7#5#9 7(#5,#9) +7#9 aug7#9 7+#9 7#9#5 7+5+9
0 1 4 8 10      : 7#5b9 7(#5,b9) +7b9 7+b9 7b9#5
0 1 4 6 10      : 7b5b9 7(b5,b9) 7b9b5
0 3 4 6 10      : 7b5#9 7#9b5
0 1 3 4 6 8 10  : 7alt alt 7(alt) Alt 7Alt dom7alt 7 alt
0 2 4 6 7 10    : 9#11 9(#11) 9+11
0 2 4 6 7 11    : maj9#11 maj9(#11) M9#11
0 4 6 7 11      : maj7#11 maj7(#11) M7#11 Δ7#11 Δ#11 maj7+11
0 2 4 5 7 10    : 11 dom11 9(11) 9add11
0 2 3 5 7 10    : m11 min11 -11 mi11 MI11 m9(11)
0 2 4 5 7 11    : maj11 M11
0 3 5 7 10      : m7(11) m7add11 m7add4 -7(11)
0 2 4 7 9 10    : 13 dom13 9(13) 9add13 7(9,13)
0 2 4 7 9 11    : maj13 M13 ma13 Δ13
0 2 3 5 7 9 10  : m13 min13 -13 mi13
0 2 4 6 7 9 10  : 13#11 13(#11)
0 1 4 7 9 10    : 13b9 13(b9)
0 3 4 7 9 10    : 13#9 13(#9)
0 3 7 9 11      : m6(maj7)
`

// Every form has its tones, in every key, and is written back as a symbol that
// reads as the same chord.
func TestChordForms(t *testing.T) {
	checked := 0
	for line := range strings.Lines(strings.TrimSpace(chordForms)) {
		tones, forms, _ := strings.Cut(line, ":")
		var want []int
		for _, f := range strings.Fields(tones) {
			n, err := strconv.Atoi(f)
			if err != nil {
				t.Fatal(err)
			}
			want = append(want, n)
		}
		for _, form := range cutForms(forms) {
			for _, root := range []string{"C", "F#", "Bb", "Ebb"} {
				text := root + form
				c, err := ParseChord(text)
				if err != nil {
					t.Error(err)
					continue
				}
				checked++
				if got := soundOf(c); !slices.Equal(got, want) {
					t.Errorf("%s has the tones %v above its root, want %v", text, got, want)
				}
				for _, back := range []string{c.String(), c.ASCII()} {
					if again, err := ParseChord(back); err != nil || again != c {
						t.Errorf("%s is written %s, which is %v, %v", text, back, again, err)
					}
				}
			}
			// In a progression it is one chord, whatever stands beside it.
			if text := "C" + form; !strings.Contains(form, "7 alt") && form != "–" {
				one := mustChord(t, text)
				for _, line := range []string{text + " F", text + ", F", text + " - F", text + "|F", text + " | F"} {
					if got, err := ParseProgression(line, Key{}); err != nil || len(got) != 2 || got[0].Chord != one {
						t.Errorf("%q is read as %v, %v; want %v first", line, got, err, one)
					}
				}
			}
		}
	}
	if checked < 1600 {
		t.Errorf("%d forms were checked", checked)
	}
}

// cutForms divides a line of the table at spaces that stand in no bracket; ""
// is the empty form, and "7 alt" stands as one.
func cutForms(s string) (forms []string) {
	depth := 0
	for _, f := range strings.FieldsFunc(strings.ReplaceAll(s, "7 alt", "7\u00a0alt"), func(r rune) bool {
		switch r {
		case '(':
			depth++
		case ')':
			depth--
		}
		return depth == 0 && r != '\u00a0' && unicode.IsSpace(r)
	}) {
		forms = append(forms, strings.ReplaceAll(strings.Trim(f, `"`), "\u00a0", " "))
	}
	return forms
}

func soundOf(c Chord) (semitones []int) {
	for _, d := range c.Quality.Tones() {
		semitones = append(semitones, d.Semitones())
	}
	slices.Sort(semitones)
	return semitones
}

// The kinds of MusicXML 4.0 (the open schema's kind-value) with the text that the
// standard's own examples and common practice print for them, and their tones.
func TestMusicXMLKinds(t *testing.T) {
	for _, tc := range []struct{ kind, symbol, tones string }{
		{"major", "", "0 4 7"}, {"minor", "m", "0 3 7"}, {"augmented", "+", "0 4 8"}, {"diminished", "dim", "0 3 6"},
		{"dominant", "7", "0 4 7 10"}, {"major-seventh", "maj7", "0 4 7 11"}, {"minor-seventh", "m7", "0 3 7 10"},
		{"diminished-seventh", "dim7", "0 3 6 9"}, {"augmented-seventh", "+7", "0 4 8 10"}, {"half-diminished", "ø7", "0 3 6 10"},
		{"major-minor", "m(maj7)", "0 3 7 11"}, {"major-sixth", "6", "0 4 7 9"}, {"minor-sixth", "m6", "0 3 7 9"},
		{"dominant-ninth", "9", "0 2 4 7 10"}, {"major-ninth", "maj9", "0 2 4 7 11"}, {"minor-ninth", "m9", "0 2 3 7 10"},
		{"dominant-11th", "11", "0 2 4 5 7 10"}, {"major-11th", "maj11", "0 2 4 5 7 11"}, {"minor-11th", "m11", "0 2 3 5 7 10"},
		// The standard's 13th stacks all thirds; a chart's leaves the eleventh
		// out but in minor.
		{"dominant-13th", "13", "0 2 4 7 9 10"}, {"major-13th", "maj13", "0 2 4 7 9 11"}, {"minor-13th", "m13", "0 2 3 5 7 9 10"},
		{"suspended-second", "sus2", "0 2 7"}, {"suspended-fourth", "sus4", "0 5 7"}, {"power", "5", "0 7"},
	} {
		c := mustChord(t, "C"+tc.symbol)
		var got []string
		for _, n := range soundOf(c) {
			got = append(got, strconv.Itoa(n))
		}
		if s := strings.Join(got, " "); s != tc.tones {
			t.Errorf("%s: %v has %s, want %s", tc.kind, c, s, tc.tones)
		}
	}
}

// What musicians read in two ways, or not at all, is refused: the message names
// what is not understood, where it stands, and what would be right.
func TestChordRefusals(t *testing.T) {
	for _, tc := range []struct{ in, names string }{
		{"Cdom", "dom7"}, {"Cdom6", "dom7"}, {"C4", "sus4 or add4"}, {"C07", "letter o"}, {"C0", "letter o"},
		{"C8", `"8"`}, {"C79", `"79"`}, {"C713", `"713"`}, {"C7 9", "add9"}, {"C6-9", "6/9 or 6(b9)"}, {"C+11", "(#11)"}, {"C+6", "(#5)"},
		{"C-5", "(b5)"}, {"Cm5", "(b5)"}, {"Cdim6", "°7"}, {"Csus9", "9sus4"}, {"Csus7", "9sus4"}, {"C9alt", "C7alt"}, {"Cm7alt", "C7alt"},
		{"C7alt(b9)", "one second or ninth"}, {"C7b9b9", "one second or ninth"}, {"Cm7b9#9", "two ninths"}, {"C7maj7", "one seventh"},
		{"C7foo", `"foo" behind "C7"`}, {"C7(b9", "not closed"}, {"C7b9)", "no bracket is open"}, {"C7()", "nothing stands"},
		{"C7((b9))", "in a bracket"}, {"C7b9,", "nothing follows the comma"}, {"C/H", `"H"`}, {"C/Gm", `"m" behind the bass "G"`},
		{"c", `"C" or "Cm"`}, {"c7", `"C7" or "Cm7"`}, {"a/e", `"A/e" or "Am/e"`}, {"H7", "want B"}, {"N.C.", "none"}, {"NC", "none"},
		{"C(add7)", "maj7"}, {"C(no7)", "no3 or no5"}, {"Cj7", `"j7"`}, {"Es", `"s"`}, {"C/", `bass ""`},
	} {
		c, err := ParseChord(tc.in)
		if err == nil {
			t.Errorf("%s is read as %v", tc.in, c)
			continue
		}
		checkRefusal(t, tc.in, err, ErrChord)
		if !strings.Contains(err.Error(), tc.names) {
			t.Errorf("%s: %v; want the message to name %s", tc.in, err, tc.names)
		}
	}
	for in, want := range map[string]string{ // small roots whose quality is said
		"am7": "Am7", "cmaj7": "Cmaj7", "csus4": "Csus4", "c5": "C5", "f#dim": "F♯°", "c+": "C+", "bbm": "B♭m",
	} {
		if c, err := ParseChord(in); err != nil || c.String() != want {
			t.Errorf("%s is %v, %v; want %s", in, c, err, want)
		}
	}
}

// Every dominant with two ninths or two fifths is written and read back, and
// recognised by its notes.
func TestTwoTonesOnALetter(t *testing.T) {
	seen := map[Quality]string{}
	for _, fifth := range []string{"", "b5", "#5", "b5#5", "no5"} {
		for _, ninth := range []string{"", "b9", "#9", "b9#9", "add9"} {
			for _, eleventh := range []string{"", "#11", "add11"} {
				for _, thirteenth := range []string{"", "b13", "add13"} {
					text := "7" + fifth + ninth + eleventh + thirteenth
					q, err := ParseQuality(text)
					if err != nil {
						t.Fatal(err)
					}
					if other := seen[q]; other != "" {
						t.Errorf("%s and %s are one", text, other)
					}
					seen[q] = text
					for _, back := range []string{q.String(), q.ASCII()} {
						if got, err := ParseQuality(back); err != nil || got != q {
							t.Errorf("%s is written %s, which is %v, %v", text, back, got.Tones(), err)
						}
					}
					c := Chord{Root: mustNote(t, "Eb"), Quality: q, Bass: mustNote(t, "Eb")}
					if got, err := RecogniseChord(c.Bass, c.Notes()...); err != nil || !slices.Contains(got, c) {
						t.Errorf("%s is not recognised: %v, %v", c, got, err)
					}
				}
			}
		}
	}
	// In four parts alt keeps its third, its seventh and a ninth.
	v, _, err := KeyboardTexture().Voice([]Roman{mustRoman(t, "V7alt", Key{}), mustRoman(t, "I", Key{})})
	if err != nil {
		t.Fatal(err)
	}
	var notes []Note
	for _, p := range v[0] {
		notes = append(notes, p.Note)
	}
	slices.SortFunc(notes, byName)
	if got := spelling(notes); got != "A# B F G" {
		t.Errorf("V7alt is set as %s, want root, third, seventh and raised ninth", got)
	}
}

// A bass that sounds as a tone of the chord is that tone (common practice: D/G♭
// is D over its third).
func TestBassSpelledOtherwise(t *testing.T) {
	for in, want := range map[string]string{
		"D/Gb": "D/F#", "Cm/D#": "Cm/Eb", "E/Ab": "E/G#", "Cdim7/A": "Cdim7/Bbb", "C/Db": "C/Db", "C7/A#": "C7/Bb", "Ab/B#": "Ab/C", "C7alt/Eb": "C7alt/D#",
	} {
		c := mustChord(t, in)
		if got := mustChord(t, want); c != got {
			t.Errorf("%s is %v, want %s", in, c, want)
		}
	}
	g := mustKey(t, "G")
	if got := g.Roman(mustChord(t, "D/Gb")).String(); got != "V6" {
		t.Errorf("D/Gb in G is %s, want V6", got)
	}
}

// The chart songs of McGill Billboard 2.0 write chords in the syntax of Harte et
// al. (ISMIR 2005), whose shorthands and lists of degrees are close to what charts
// have: those that are read have the tones that the syntax gives them.
func TestReferenceChartSymbols(t *testing.T) {
	shorthand := map[string]string{
		"maj": "0 4 7", "min": "0 3 7", "dim": "0 3 6", "aug": "0 4 8", "5": "0 7", "sus2": "0 2 7", "sus4": "0 5 7",
		"maj6": "0 4 7 9", "min6": "0 3 7 9", "7": "0 4 7 10", "maj7": "0 4 7 11", "min7": "0 3 7 10", "minmaj7": "0 3 7 11",
		"hdim7": "0 3 6 10", "dim7": "0 3 6 9", "9": "0 4 7 10 2", "maj9": "0 4 7 11 2", "min9": "0 3 7 10 2", "11": "0 4 7 10 2 5", "min11": "0 3 7 10 2 5",
		"13": "0 4 7 10 2 9", "maj13": "0 4 7 11 2 9", "min13": "0 3 7 10 2 5 9", // the syntax has the eleventh in every 13
	}
	size := map[string]int{"3": 4, "5": 7, "7": 11, "9": 2, "11": 5, "13": 9}
	read := 0
	for _, row := range referenceFile(t, "billboard-chords", "chords.csv.gz") {
		text := strings.ReplaceAll(row[8], ";", ",")
		head, list, _ := strings.Cut(strings.TrimSuffix(text, ")"), "(")
		base, ok := shorthand[head]
		if !ok || text == "maj7(#5)" {
			continue // no shorthand; a fifth beside a fifth there, in its place in charts
		}
		var want []int
		for _, f := range strings.Fields(base) {
			n, _ := strconv.Atoi(f)
			want = append(want, n)
		}
		for _, degree := range strings.FieldsFunc(list, func(r rune) bool { return r == ',' }) {
			n := size[strings.TrimLeft(degree, "b#")] + strings.Count(degree, "#") - strings.Count(degree, "b")
			want = append(want, n)
		}
		slices.Sort(want)
		c, err := ParseChord("C" + text)
		if err != nil {
			if text != "maj7(b7)" && text != "maj6(7)" { // two sevenths; a bare one behind a sixth
				t.Error(err)
			}
			continue
		}
		read++
		if got := soundOf(c); !slices.Equal(got, slices.Compact(want)) {
			t.Errorf("C%s has the tones %v, want %v", text, got, want)
		}
	}
	if read < 46000 {
		t.Errorf("%d chords were read, want the 46 000 that have a shorthand", read)
	}
}

// Numerals as textbooks of harmony and of jazz write them (common practice),
// with the chord that each must be in C major or minor; an empty one is refused.
func TestNumeralForms(t *testing.T) {
	for _, tc := range []struct{ key, forms, chord string }{
		{"C", "I Imaj IM", "C"}, {"C", "I69 I6/9 I(6/9)?", "C6/9"}, {"C", "Imaj7 IM7 IΔ IΔ7 I^7 I^ Ima7", "Cmaj7"},
		{"C", "Imaj9 IM9 IΔ9", "Cmaj9"}, {"C", "I6", "C/E"}, {"C", "I64 I6/4", "C/G"}, {"C", "i69 i6/9", "Cm6/9"}, {"C", "I69/mi", "C6/9/E"},
		{"C", "ii7 ii-7 iim7 iimin7 iimi7 II-7 IIm7 IImin7 IIMI7", "Dm7"}, {"C", "ii iim IIm", "Dm"},
		{"C", "iiø7 iiø ii7b5 ii-7b5 iim7b5 IIm7b5 II-7b5 ii/o7 iih7 iiØ7", "Dm7b5"}, {"C", "viio vii° viidim viiº VIIo VIIdim", "Bdim"},
		{"C", "viio7 vii°7 viidim7", "Bdim7"}, {"C", "viiø7 VIIm7b5", "Bm7b5"}, {"C", "viiø7/V", "F#m7b5"}, {"C", "V/V", "D"},
		{"C", "V7/V/V", "A7"}, {"C", "V/N V/N6 V/bII", "Ab"}, {"C", "bVII ♭VII", "Bb"}, {"C", "N6 N bII6", "Db/F"}, {"C", "N64", "Db/Ab"}, {"C", "N53", "Db"},
		{"C", "V7alt Valt V7(alt)", "G7alt"}, {"C", "V7b9#9 V7(b9,#9)", "G7b9#9"}, {"C", "V+ Vaug", "G+"}, {"C", "V+7 V7#5 V7+ Vaug7", "G7#5"},
		{"C", "V7sus4 V7sus", "G7sus4"}, {"C", "V9sus4 V9sus", "G9sus4"}, {"C", "Vsus4 Vsus", "Gsus4"}, {"C", "V13", "G13"}, {"C", "V7(b9) V7b9 V7-9", "G7b9"},
		{"C", "V65(b9)", "G7b9/B"}, {"C", "Iadd9 I(add9)", "Cadd9"}, {"C", "V2 V42 V4/2", "G7/F"},
		{"C", "Ger65 Ger6 Ger Ger+6 Gr65 Gr6 Gr+6", "F#dim7bb3/Ab?"}, {"C", "imaj7 iM7 iΔ7 i(maj7)", "Cm(maj7)"},
		{"Cm", "viio7", "Bdim7"}, {"Cm", "VII", "Bb"}, {"Cm", "bviio", "Bbdim"}, {"Cm", "VIm7? VIIo7? VIIdim? VII-7?", ""},
		{"C", "I/V? i/V? V/5? I/3? N7? NII? vii07? V6sus4? I6add9? I64-7? I6-7? I6b7? I6+? V4-3? Vmaj6? V7/? I4? I8? V7d? Vs4? V+11? V7maj7? VIII? Ger42?", ""},
	} {
		k := mustKey(t, tc.key)
		for _, form := range strings.Fields(tc.forms) {
			text, refused := strings.CutSuffix(form, "?")
			r, err := ParseRoman(text, k)
			switch {
			case refused && err == nil:
				t.Errorf("%s in %v is read as %v, %v", text, k, r, r.Chord)
			case refused:
				checkRefusal(t, text, err, ErrRoman)
			case err != nil:
				t.Error(err)
			case strings.HasSuffix(tc.chord, "?"):
				if got := spelling(r.Chord.Notes()); got != "Ab C Eb F#" {
					t.Errorf("%s is %s, want the German sixth", text, got)
				}
			case r.Chord != mustChord(t, tc.chord):
				t.Errorf("%s in %v is %v, want %s", text, k, r.Chord, tc.chord)
			}
			if err == nil {
				for _, back := range []string{r.String(), r.ASCII()} {
					if again, err := ParseRoman(back, k); err != nil || again != r {
						t.Errorf("%s is written %s, which is %v, %v", text, back, again, err)
					}
				}
			}
		}
	}
}

// What stands between chords, and what does not.
func TestCutChords(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{"A- F C G", "Am F C G"}, {"C-", "Cm"}, {"C-7 F-7", "Cm7 Fm7"}, {"A−7|D7", "Am7 D7"}, {"C–7", "Cm7"}, {"C-/Eb", "Cm/E♭"},
		{"G7(b9,#11) C", "G7♭9♯11 C"}, {"G7(b9, #11) C", "G7♭9♯11 C"}, {"C7b9,#11 F", "C7♭9♯11 F"}, {"C7b9, #11 F", "C7♭9♯11 F"},
		{"C - F - G", "C F G"}, {"C, F, G", "C F G"}, {"C,F,G", "C F G"}, {"I-IV-V", "C F G"}, {"ii-V-I", "Dm G C"}, {"I, IV, V", "C F G"},
		{"I–vi–ii7–V7", "C Am Dm7 G7"}, {"ii-7-V7-Imaj7", "Dm7 G7 Cmaj7"}, {"D-7-G7", "Dm7 G7"}, {"Am-F", "Am F"}, {"C7-F7", "C7 F7"}, {"C–F–G", "C F G"},
		{"C—F", "C F"}, {"V7-9 I", "G7♭9 C"}, {"I-bVII-IV", "C B♭ F"}, {"C,bVII", "C B♭"}, {"I → V | I ‖", "C G C"}, {"| C | F |", "C F"},
		{"Fr43 Ger65 G", "D7♭5/A♭ F♯°7𝄫3/A♭ G"}, {"D- G7", "Dm G7"}, {"C/G-F", "C/G F"}, {"C-(maj7) F", "Cm(maj7) F"}, {"C-Δ7", "Cm(maj7)"}, {"am7 D7", "Am7 D7"},
	} {
		got, err := ParseProgression(tc.in, Key{})
		var s []string
		for _, r := range got {
			s = append(s, r.Chord.String())
		}
		if err != nil || strings.Join(s, " ") != tc.want {
			t.Errorf("%q is %v, %v; want %s", tc.in, s, err, tc.want)
		}
	}
	for _, tc := range []struct{ in, names string }{
		{"A-F-C-G", `"Am"`}, {"C F-G", `behind chord 2`}, {"I- IV", `"i"`}, {"C– F", `"Cm"`}, {"C (b9)", "right behind its chord"},
		{"C a F", `chord 2: not a chord: "a"`}, {"C Hm", "chord 2"}, {"C / F", `chord 2: not a Roman numeral: "/"`}, {"C N.C.", "chord 2"}, {"I C7foo", `"foo" behind "C7"`},
		{"C F :|", `":|": repeats are not read`}, {"1 8", `chord 2: not a Roman numeral: "8"`}, {"1 54", `chord 2: not the number of a chord: "54"`}, {"C7(b9 F", "chord 1"},
	} {
		got, err := ParseProgression(tc.in, Key{})
		if err == nil || !strings.Contains(err.Error(), tc.names) || len(err.Error()) > longestMessage {
			t.Errorf("%q is %v, %v; want the message to name %s", tc.in, got, err, tc.names)
		}
		if err != nil && !errors.Is(err, ErrChord) && !errors.Is(err, ErrRoman) && !errors.Is(err, ErrNumber) && !errors.Is(err, ErrProgression) {
			t.Errorf("%q: %v wraps no sentinel", tc.in, err)
		}
	}
}

// What is read as a progression is written as one that reads as the same chords.
func FuzzParseProgression(f *testing.F) {
	for i, s := range []string{"A- F C G", "I-IV-V", "C7b9, #11 F", "G7(b9, #11)|C", "ii-7 – V7alt → I6/9", "C-F", "I, bVII-IV", "am7 D7", "C/Gb", "[", ",-,", "C7b9,", "I\xff-", "N6-V", "Fr43-Gr65"} {
		f.Add(s, uint8(i))
	}
	f.Fuzz(func(t *testing.T, s string, key uint8) {
		k := Keys()[int(key)%len(Keys())]
		got, err := ParseProgression(s, k)
		if err != nil {
			if len(err.Error()) > longestMessage || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q: %v", s, err)
			}
			return
		}
		for _, write := range []func(Roman) string{Roman.String, Roman.ASCII, func(r Roman) string { return r.Chord.String() }, func(r Roman) string { return r.Chord.ASCII() }} {
			var words []string
			far := false // no symbol is read with more than two signs: sharps before a numeral in C♯ major, G♭ in A♯ minor
			for _, r := range got {
				for _, n := range []Note{r.Chord.Root, r.Chord.Bass} {
					far = far || abs(int(n.Alter)) > 2 || abs(int(r.Local.Degree(n).Alter)) > 2
				}
				words = append(words, write(r))
			}
			if far {
				continue
			}
			again, err := ParseProgression(strings.Join(words, " "), k)
			if err != nil || len(again) != len(got) {
				t.Fatalf("%q is written %q, which is %v, %v", s, words, again, err)
			}
			for i := range got {
				if again[i].Chord != got[i].Chord {
					t.Errorf("%q is written %q: chord %d is %v, was %v", s, words, i+1, again[i].Chord, got[i].Chord)
				}
			}
		}
	})
}
