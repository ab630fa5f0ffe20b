package theory_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	. "singback/theory"
)

// namedQualities are those that chord charts name: triads, sevenths, and the
// colours of church and gospel playing.
var namedQualities = strings.Fields(`maj m dim aug sus4 sus2 5 7 maj7 m7 m7b5 dim7 m(maj7) aug7 maj7#5 7b5 maj7b5 m7#5
	6 m6 6/9 m6/9 9 maj9 m9 m(maj9) add9 madd9 7sus4 9sus4 13sus4 7sus2 11 m11 13 maj13 m13
	7b9 7#9 7#11 7b13 9#5 9b5 9#11 13#11 13b9 7b9#11 7#5#9 7#5b9 7b5b9 7b5#9 maj7#11 maj9#11 m9b5 m7(add11)`)

func TestParseChord(t *testing.T) {
	// The tones of each kind of chord are those of every harmony textbook; what
	// 2, 11 and 13 contain is common practice (see ParseChord).
	for _, tc := range []struct{ in, notes, canonical, ascii string }{
		{"C", "C E G", "C", "C"},
		{"C/E", "E G C", "C/E", "C/E"},
		{"F#m7b5", "F# A C E", "F♯m7♭5", "F#m7b5"},
		{"F#ø7", "F# A C E", "F♯m7♭5", "F#m7b5"},
		{"F♯ø", "F# A C E", "F♯m7♭5", "F#m7b5"},
		{"Bbmaj7", "Bb D F A", "B♭maj7", "Bbmaj7"},
		{"BbM7", "Bb D F A", "B♭maj7", "Bbmaj7"},
		{"BbΔ7", "Bb D F A", "B♭maj7", "Bbmaj7"},
		{"BbΔ", "Bb D F A", "B♭maj7", "Bbmaj7"},
		{"Gsus4", "G C D", "Gsus4", "Gsus4"},
		{"Gsus", "G C D", "Gsus4", "Gsus4"},
		{"G7sus", "G C D F", "G7sus4", "G7sus4"},
		{"G9sus4", "G C D F A", "G9sus4", "G9sus4"},
		{"Dsus2", "D E A", "Dsus2", "Dsus2"},
		{"Cdim7", "C Eb Gb Bbb", "C°7", "Cdim7"},
		{"C°7", "C Eb Gb Bbb", "C°7", "Cdim7"},
		{"Co7", "C Eb Gb Bbb", "C°7", "Cdim7"},
		{"Caug", "C E G#", "C+", "C+"},
		{"C+", "C E G#", "C+", "C+"},
		{"Caug7", "C E G# Bb", "C7♯5", "C7#5"},
		{"C+7", "C E G# Bb", "C7♯5", "C7#5"},
		{"C7+5", "C E G# Bb", "C7♯5", "C7#5"},
		{"C7-9", "C E G Bb Db", "C7♭9", "C7b9"},
		{"C-7", "C Eb G Bb", "Cm7", "Cm7"},
		{"Cmin7", "C Eb G Bb", "Cm7", "Cm7"},
		{"CmM7", "C Eb G B", "Cm(maj7)", "Cm(maj7)"},
		{"Cm(maj7)", "C Eb G B", "Cm(maj7)", "Cm(maj7)"},
		{"C6", "C E G A", "C6", "C6"},
		{"Cm6", "C Eb G A", "Cm6", "Cm6"},
		{"C69", "C E G A D", "C6/9", "C6/9"},
		{"C6/9", "C E G A D", "C6/9", "C6/9"},
		{"C6/9/E", "E G A D C", "C6/9/E", "C6/9/E"},
		{"C9", "C E G Bb D", "C9", "C9"},
		{"Cadd9", "C E G D", "Cadd9", "Cadd9"},
		{"C2", "C E G D", "Cadd9", "Cadd9"},
		{"Cm(add9)", "C Eb G D", "Cm(add9)", "Cm(add9)"},
		{"Cmadd9", "C Eb G D", "Cm(add9)", "Cm(add9)"},
		{"Cma7", "C E G B", "Cmaj7", "Cmaj7"},
		{"G11", "G B D F A C", "G11", "G11"},
		{"C13", "C E G Bb D A", "C13", "C13"},
		{"Cm13", "C Eb G Bb D F A", "Cm13", "Cm13"},
		{"G7(b9,#11)", "G B D F Ab C#", "G7♭9♯11", "G7b9#11"},
		{"G7b5", "G B Db F", "G7♭5", "G7b5"},
		{"C7#9", "C E G Bb D#", "C7♯9", "C7#9"},
		{"C(b5)", "C E Gb", "C(♭5)", "C(b5)"},
		{"Cb5", "Cb Gb", "C♭5", "Cb5"},
		{"F/G", "G F A C", "F/G", "F/G"},
		{"Fbm/Abb", "Abb Cb Fb", "F♭m/A𝄫", "Fbm/Abb"},
		{"B#m", "B# D# F##", "B♯m", "B#m"},
		{"am7/G", "G A C E", "Am7/G", "Am7/G"},
		{"C7(no3)", "C G Bb", "C7(no3)", "C7(no3)"},
		{"Cno5", "C E", "C(no5)", "C(no5)"},
	} {
		c, err := ParseChord(tc.in)
		if err != nil {
			t.Error(err)
			continue
		}
		if got := spelling(c.Notes()); got != tc.notes {
			t.Errorf("%s = %s, want %s", tc.in, got, tc.notes)
		}
		if c.String() != tc.canonical || c.ASCII() != tc.ascii {
			t.Errorf("%s is written %s and %s, want %s and %s", tc.in, c, c.ASCII(), tc.canonical, tc.ascii)
		}
	}
}

// The tones of the usual qualities in semitones above the root, and the chords
// that stand on the degrees of major and minor, V and vii° with the raised
// seventh: as every harmony textbook has them (among them Open Music Theory).
func TestChordTables(t *testing.T) {
	for text, want := range map[string]string{
		"": "0 4 7", "m": "0 3 7", "dim": "0 3 6", "aug": "0 4 8", "sus4": "0 5 7", "sus2": "0 2 7",
		"7": "0 4 7 10", "maj7": "0 4 7 11", "m7": "0 3 7 10", "m7b5": "0 3 6 10", "dim7": "0 3 6 9", "m(maj7)": "0 3 7 11", "6": "0 4 7 9",
	} {
		for _, root := range []string{"C", "F#", "Eb", "B#", "Fb"} {
			c := mustChord(t, root+text)
			var semitones []string
			for _, n := range c.Notes() {
				semitones = append(semitones, strconv.Itoa((Pitch{c.Root, 0}.IntervalTo(Pitch{n, 0}).Semitones+12)%12))
			}
			if got := strings.Join(semitones, " "); got != want {
				t.Errorf("%v is %s, want %s", c, got, want)
			}
		}
	}
	for _, tc := range []struct{ mode, numerals, qualities string }{
		{"major", "I ii iii IV V vi viio", "maj m m maj maj m dim"},
		{"major", "Imaj7 ii7 iii7 IVmaj7 V7 vi7 viiø7", "maj7 m7 m7 maj7 7 m7 m7b5"},
		{"minor", "i iio III iv V VI viio", "m dim maj m maj maj dim"},
		{"minor", "i7 iiø7 IIImaj7 iv7 V7 VImaj7 viio7", "m7 m7b5 maj7 m7 7 maj7 dim7"},
		{"minor", "v VII", "m maj"},
	} {
		qualities := strings.Fields(tc.qualities)
		for _, k := range Keys() {
			if k.Mode.String() != tc.mode {
				continue
			}
			for i, numeral := range strings.Fields(tc.numerals) {
				want, err := ParseQuality(qualities[i])
				if err != nil {
					t.Fatal(err)
				}
				c := mustRoman(t, numeral, k).Chord
				if c.Quality != want {
					t.Errorf("%s in %v is %v, want the quality %s", numeral, k, c, qualities[i])
				}
				for _, n := range c.Notes() { // of the scale, the sixth of minor lowered
					d := k.Degree(n)
					raised := k.Mode == Minor && d == Degree{7, 0} && (c.Root == k.Note(Degree{5, 0}) || c.Root == k.Note(d))
					if d != k.ScaleDegrees()[d.Step-1] && !raised {
						t.Errorf("%s in %v is %v: %v is not of the key", numeral, k, c, n)
					}
				}
			}
		}
	}
}

func TestParseChordErrors(t *testing.T) {
	for _, tc := range []struct{ in, names string }{
		{"", `""`}, {"H7", `"H7"`}, {"C/H", `the bass "H"`}, {"Cmaddx", `"addx"`}, {"G7b9b9", "one second or ninth"},
		{"C(no3", "bracket"}, {"C)", `")"`}, {"C7(no3)(no5)", "third or fifth"}, {"Cm7/", `bass ""`}, {"C-5", `"5"`}, {"Cbbb", `"Cbbb"`}, {"C#b", `"b"`}, {"C7\x00", `"\x00"`},
	} {
		_, err := ParseChord(tc.in)
		checkRefusal(t, tc.in, err, ErrChord)
		if err != nil && !strings.Contains(err.Error(), tc.names) {
			t.Errorf("%q: %v; want the message to name %s", tc.in, err, tc.names)
		}
	}
}

// Every set of tones that a symbol can be written for, whatever it is called,
// is read back from both ways of writing it.
func TestQualityRoundTrip(t *testing.T) {
	choices := [][]Degree{
		{{}, {2, -1}, {2, 0}, {2, 1}}, {{}, {3, -2}, {3, -1}, {3, 0}}, {{}, {4, 0}, {4, 1}},
		{{}, {5, -1}, {5, 0}, {5, 1}}, {{}, {6, -1}, {6, 0}}, {{}, {7, -2}, {7, -1}, {7, 0}},
	}
	sets := [][]Degree{nil}
	for _, c := range choices {
		var next [][]Degree
		for _, s := range sets {
			for _, d := range c {
				if d.Step == 0 {
					next = append(next, s)
				} else {
					next = append(next, append(slices.Clone(s), d))
				}
			}
		}
		sets = next
	}
	written := map[string]Quality{}
	for _, s := range sets {
		q := NewQuality(s...)
		text := q.String()
		if text == "?" {
			continue
		}
		if other, taken := written[text]; taken {
			t.Errorf("%q is both %v and %v", text, other.Tones(), q.Tones())
		}
		written[text] = q
		for _, back := range []string{text, q.ASCII()} {
			if got, err := ParseQuality(back); err != nil || got != q {
				t.Errorf("%v is written %q, which is %v, %v", q.Tones(), back, got.Tones(), err)
			}
		}
	}
	if len(written) != 1368 { // what the rules of legal leave of the sets above
		t.Errorf("%d qualities were tried, want 1368", len(written))
	}
}

// transposed moves c by all intervals that keep the signs few.
func transposed(c Chord) []Chord {
	var cs []Chord
	for _, k := range Keys() {
		cs = append(cs, c.Up(Pitch{Note: Note{}}.IntervalTo(Pitch{Note: k.Tonic})))
	}
	return cs
}

// Symbol to notes to symbol, in every key: in root position every named
// quality is recognised as itself; triads and sevenths, whose tones are stacked
// in thirds, in every inversion too, but for the two that are a sixth on their
// bass. Of the others in inversion the same notes may spell something simpler
// (C6/A is Am7); they are among the readings.
func TestRecogniseNamedChords(t *testing.T) {
	sixths := map[string]string{"Cm7/Eb": "Eb6", "Cm7b5/Eb": "Ebm6"}
	stacked := strings.Fields("maj m dim aug 7 maj7 m7 m7b5 dim7 m(maj7) aug7 maj7#5 7b5 7b9 9 maj9 m9")
	for _, q := range namedQualities {
		quality, err := ParseQuality(q)
		if err != nil {
			t.Fatal(err)
		}
		root := Note{}
		for i, bass := range (Chord{root, quality, root}).Notes() {
			c := Chord{root, quality, bass}
			got, err := RecogniseChord(bass, c.Notes()...)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 && got[0] != c {
				t.Errorf("%s over its root is recognised as %v", c, got[0])
			}
			if want := sixths[c.ASCII()]; want != "" && got[0].ASCII() != want {
				t.Errorf("%s is recognised as %s, want %s", c.ASCII(), got[0].ASCII(), want)
			} else if want == "" && slices.Contains(stacked, q) && got[0] != c {
				t.Errorf("%s is recognised as %s", c.ASCII(), got[0].ASCII())
			}
			if !slices.Contains(got, c) {
				t.Errorf("%s is not among its readings %v", c, got)
			}
			// Transposition commutes, and spelling never leaks.
			for j, up := range transposed(c) {
				again, err := RecogniseChord(up.Bass, up.Notes()...)
				if err != nil || again[0] != transposed(got[0])[j] {
					t.Errorf("%v is recognised as %v, its transposition %v as %v, %v", c, got[0], up, again, err)
				}
				if back, err := ParseChord(up.ASCII()); abs(int(up.Root.Alter)) <= 2 && abs(int(up.Bass.Alter)) <= 2 && (err != nil || back != up) {
					t.Errorf("%v is written %s, which is %v, %v", up, up.ASCII(), back, err)
				}
			}
		}
	}
}

func abs(a int) int { return max(a, -a) }

// Notes that are sounded alike and spelled otherwise are other chords.
func TestRecogniseAmbiguous(t *testing.T) {
	for _, tc := range []struct{ notes, want string }{
		{"C E G A", "C6"}, {"A C E G", "Am7"}, {"E G A C", "Am7/E"},
		{"B D F Ab", "B°7"}, {"D F Ab Cb", "D°7"}, {"D F Ab B", "B°7/D"}, {"G# B D F", "G♯°7"},
		{"C E G#", "C+"}, {"E G# B#", "E+"}, {"Ab C E", "A♭+"},
		{"C D G", "Csus2"}, {"G C D", "Gsus4"},
		{"F A C D#", "?"}, {"F A C Eb", "F7"},
		{"G D F A C", "G9sus4"}, {"G F A C", "F/G"}, {"Bb C E G", "C7/B♭"},
		{"A C Eb G", "Am7♭5"}, {"C Eb G A", "Cm6"}, {"Eb G A C", "Am7♭5/E♭"},
		{"Ab C Eb F#", "F♯°7𝄫3/A♭"}, {"Ab C D F#", "D7♭5/A♭"},
	} {
		var notes []Note
		for _, s := range strings.Fields(tc.notes) {
			notes = append(notes, mustNote(t, s))
		}
		got, err := RecogniseChord(notes[0], notes[1:]...)
		switch {
		case err != nil:
			t.Error(err)
		case tc.want != "?" && got[0].String() != tc.want:
			t.Errorf("%s: %v, want %s first", tc.notes, got, tc.want)
		case tc.want == "?" && got[0].Quality == Dominant7:
			t.Errorf("%s: %v, but a sharp second is no seventh", tc.notes, got)
		}
	}
	for _, bad := range []string{"C", "C Db", "C C# E", "C D E F G A B"} {
		var notes []Note
		for _, s := range strings.Fields(bad) {
			notes = append(notes, mustNote(t, s))
		}
		if got, err := RecogniseChord(notes[0], notes[1:]...); err == nil && bad != "C D E F G A B" {
			t.Errorf("%s is recognised as %v", bad, got)
		}
	}
}

func FuzzParseChord(f *testing.F) {
	for _, s := range append(namedQualities, "/E", "6/9/E", "7(b9,#11)", "bb/Abb", "#m7b5", "M7", "Δ", "\xff", "7alt", "(((", "sus2sus4", "no3no5", "m(maj7)/F##", "aug9#11") {
		f.Add("C" + s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ParseChord(s)
		if err != nil {
			checkRefusal(t, s, err, ErrChord)
			return
		}
		for _, back := range []string{c.String(), c.ASCII()} {
			if got, err := ParseChord(back); err != nil || got != c {
				t.Errorf("%q is %v, but %q is %v, %v", s, c, back, got, err)
			}
		}
		notes := c.Notes()
		got, err := RecogniseChord(notes[0], notes[1:]...)
		if err != nil {
			t.Errorf("%q = %v is not recognised: %v", s, notes, err)
			return
		}
		// Whatever it is called, it is the same notes over the same bass, and
		// its name names itself.
		again := got[0].Notes()
		slices.SortFunc(notes, byName)
		slices.SortFunc(again, byName)
		if !slices.Equal(notes, again) || got[0].Bass != c.Bass {
			t.Errorf("%q is recognised as %v, with other notes", s, got[0])
		}
	})
}

func byName(a, b Note) int { return strings.Compare(a.String(), b.String()) }

// tonal holds the chords on E♭ as the open-source library tonal 6.5.0
// (https://github.com/tonaljs/tonal, MIT) spells them, made by calling its
// Chord.get.
const tonal = `
maj      Eb G Bb
m        Eb Gb Bb
dim      Eb Gb Bbb
aug      Eb G B
sus4     Eb Ab Bb
sus2     Eb F Bb
5        Eb Bb
7        Eb G Bb Db
maj7     Eb G Bb D
m7       Eb Gb Bb Db
m7b5     Eb Gb Bbb Db
dim7     Eb Gb Bbb Dbb
mMaj7    Eb Gb Bb D
7#5      Eb G B Db
maj7#5   Eb G B D
7b5      Eb G Bbb Db
6        Eb G Bb C
m6       Eb Gb Bb C
6/9      Eb G Bb C F
9        Eb G Bb Db F
maj9     Eb G Bb D F
m9       Eb Gb Bb Db F
add9     Eb G Bb F
madd9    Eb Gb Bb F
7sus4    Eb Ab Bb Db
9sus4    Eb Ab Bb Db F
11       Eb Bb Db F Ab
m11      Eb Gb Bb Db F Ab
13       Eb G Bb Db F C
maj13    Eb G Bb D F C
m13      Eb Gb Bb Db F C
7b9      Eb G Bb Db Fb
7#9      Eb G Bb Db F#
7#11     Eb G Bb Db A
7b13     Eb G Db Cb
9#5      Eb G B Db F
9b5      Eb G Bbb Db F
9#11     Eb G Bb Db F A
13#11    Eb G Bb Db F A C
13b9     Eb G Bb Db Fb C
7b9#11   Eb G Bb Db Fb A
7#5#9    Eb G B Db F#
7#5b9    Eb G B Db Fb
maj7#11  Eb G Bb D A
maj9#11  Eb G Bb D F A
m7add11  Eb Gb Bb Db Ab
m69      Eb Gb Bb C F
`

// Against another library. It leaves out of some chords what charts leave to
// the player: the third of 11, the eleventh of m13, the fifth of 7b13.
func TestChordsAgainstTonal(t *testing.T) {
	omitted := map[string]string{"11": "G", "m13": "Ab", "7b13": "Bb"}
	checked := 0
	for line := range strings.Lines(strings.TrimSpace(tonal)) {
		symbol, want, _ := strings.Cut(strings.TrimSpace(line), " ")
		c := mustChord(t, "Eb"+symbol)
		notes := c.Notes()
		notes = slices.DeleteFunc(notes, func(n Note) bool { return n.ASCII() == omitted[symbol] })
		if got := spelling(notes); got != strings.TrimSpace(want) {
			t.Errorf("Eb%s = %s, want %s", symbol, got, want)
		}
		checked++
	}
	if checked < 45 {
		t.Errorf("checked %d chords", checked)
	}
}
