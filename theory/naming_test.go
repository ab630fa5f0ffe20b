package theory_test

import (
	"errors"
	"strings"
	"testing"

	. "singback/theory"
)

// One octave in all systems with tonic C, the fixed columns from it, with signs
// and with chromatic syllables; raised and lowered forms apart. "–" has no
// syllable of its own. Sources: Open Music Theory (movable), R. Stevens, The
// Curwen Method (curwen), common Kodály practice.
func TestSyllableTable(t *testing.T) {
	const table = `
degree movable curwen kodaly fixed chromatic
1  do  d  do  do  do
♯1  di  de  di  do♯  di
♭2  ra  ra  ra  re♭  ra
2  re  r  re  re  re
♯2  ri  re  ri  re♯  ri
♭3  me  ma  ma  mi♭  me
3  mi  m  mi  mi  mi
4  fa  f  fa  fa  fa
♯4  fi  fe  fi  fa♯  fi
♭5  se  sa  –  sol♭  se
5  sol  s  sol  sol  sol
♯5  si  se  si  sol♯  si
♭6  le  la  lo  la♭  le
6  la  l  la  la  la
♯6  li  le  li  la♯  li
♭7  te  ta  ta  si♭  te
7  ti  t  ti  si  ti`
	k := mustKey(t, "C")
	columns := []Naming{Numbers, Movable, Curwen, Kodaly, Fixed, FixedChromatic}
	for row := range strings.SplitSeq(strings.Split(table, "chromatic\n")[1], "\n") {
		cells := strings.Fields(row)
		d, err := ParseDegree(cells[0], k, Numbers)
		if err != nil {
			t.Fatal(err)
		}
		for i, n := range columns {
			want := cells[i]
			if want == "–" {
				want = "sol♭"
			}
			if got := n.Name(k, d); got != want {
				t.Errorf("%v of C major in %v = %s, want %s", d, n, got, want)
			}
			if got, err := ParseDegree(want, k, n); got != d || err != nil {
				t.Errorf("ParseDegree(%q, C major, %v) = %v, %v; want %v", want, n, got, err, d)
			}
		}
		if got := LaBased.Name(k, d); got != cells[1] {
			t.Errorf("%v of C major la-based = %s, want %s", d, got, cells[1])
		}
		if got, want := Letters.Name(k, d), k.Note(d).String(); got != want {
			t.Errorf("%v of C major by letter = %s, want %s", d, got, want)
		}
	}
}

func names(k Key, n Naming, ds []Degree) string {
	var words []string
	for _, d := range ds {
		words = append(words, n.Name(k, d))
	}
	return strings.Join(words, " ")
}

// Names of whole lines. The rising chromatic and the minor rows are those of
// Open Music Theory; ba and se those of Curwen.
func TestLines(t *testing.T) {
	const (
		natural  = "1 2 b3 4 5 b6 b7"
		harmonic = "1 2 b3 4 5 b6 n7"
		melodic  = "1 2 b3 4 5 n6 n7"
		falling  = "1 n7 b7 n6 b6 5 b5 4 n3 b3 2 b2"
	)
	for _, c := range []struct {
		key    string
		list   string // read as numbers
		naming Naming
		want   string
	}{
		{"C", "chromatic", Movable, "do di re ri mi fa fi sol si la li ti"},
		{"Ab", "chromatic", Movable, "do di re ri mi fa fi sol si la li ti"},
		{"C", "chromatic", LaBased, "do di re ri mi fa fi sol si la li ti"},
		{"Cm", "chromatic", Movable, "do di re me mi fa fi sol le la te ti"},
		{"C", falling, Movable, "do ti te la le sol se fa mi me re ra"},
		{"Cm", falling, Movable, "do ti te la le sol se fa mi me re ra"},
		{"Am", natural, Movable, "do re me fa sol le te"},
		{"Am", harmonic, Movable, "do re me fa sol le ti"},
		{"Am", melodic, Movable, "do re me fa sol la ti"},
		{"Am", natural, LaBased, "la ti do re mi fa sol"},
		{"Am", harmonic, LaBased, "la ti do re mi fa si"},
		{"F#m", melodic, LaBased, "la ti do re mi fi si"},
		{"Ebm", melodic, Kodaly, "la ti do re mi fi si"},
		{"Am", natural, Curwen, "l t d r m f s"},
		{"Cm", melodic, Curwen, "l t d r m ba se"},
		{"Am", natural, Numbers, "1 2 ♭3 4 5 ♭6 ♭7"},
		{"Am", melodic, Numbers, "1 2 ♭3 4 5 ♮6 ♮7"},
		{"Am", natural, Fixed, "la si do re mi fa sol"},
		{"Am", melodic, Fixed, "la si do re mi fa♯ sol♯"},
		{"Cm", melodic, Fixed, "do re mi♭ fa sol la♮ si♮"},
		// Modes and gapped scales on do.
		{"D", "1 2 b3 4 5 6 b7", Movable, "do re me fa sol la te"},   // dorian
		{"E", "1 b2 b3 4 5 b6 b7", Movable, "do ra me fa sol le te"}, // phrygian
		{"F", "1 2 3 #4 5 6 7", Movable, "do re mi fi sol la ti"},    // lydian
		{"G", "1 2 3 4 5 6 b7", Movable, "do re mi fa sol la te"},    // mixolydian
		{"B", "1 b2 b3 4 b5 b6 b7", Movable, "do ra me fa se le te"}, // locrian
		{"C", "1 2 3 5 6", Movable, "do re mi sol la"},               // major pentatonic
		{"Am", "1 3 4 5 7", Movable, "do me fa sol te"},              // minor pentatonic
		{"Am", "1 3 4 5 7", LaBased, "la do re mi sol"},
		{"Am", "1 3 4 b5 5 7", Movable, "do me fa se sol te"}, // blues
		// What they mean to a player: C, G and A♭ major.
		{"C", "all", Movable, "do re mi fa sol la ti"},
		{"C", "all", Fixed, "do re mi fa sol la si"},
		{"G", "all", Movable, "do re mi fa sol la ti"},
		{"G", "all", Fixed, "sol la si do re mi fa♯"},
		{"Ab", "all", Movable, "do re mi fa sol la ti"},
		{"Ab", "all", Fixed, "la♭ si♭ do re♭ mi♭ fa sol"},
		{"Ab", "all", Letters, "A♭ B♭ C D♭ E♭ F G"},
		{"Ab", "b3 #4 n6", Letters, "C♭ D F"},
		{"Ab", "b3 #4 b7", Fixed, "do♭ re♮ sol♭"},
	} {
		k := mustKey(t, c.key)
		ds, err := ParseDegrees(c.list, k, Numbers)
		if err != nil {
			t.Fatal(err)
		}
		if got := names(k, c.naming, ds); got != c.want {
			t.Errorf("%s of %v in %v = %s, want %s", c.list, k, c.naming, got, c.want)
		}
	}
	// The B above G is mi in G major and ti in C major, si in fixed do.
	b := Note{Letter: B}
	for key, want := range map[string]string{"G": "mi", "C": "ti", "Em": "sol", "A": "re"} {
		k := mustKey(t, key)
		if got := Movable.Name(k, k.Degree(b)); got != want {
			t.Errorf("B in %v = %s, want %s", k, got, want)
		}
		if got := Fixed.Name(k, k.Degree(b)); got != "si" {
			t.Errorf("B in %v in fixed do = %s, want si", k, got)
		}
	}
}

func TestChromaticDegreesRise(t *testing.T) {
	for _, k := range Keys() {
		for i, d := range k.ChromaticDegrees() {
			if d.Semitones() != i {
				t.Errorf("%v: chromatic degree %d is %v, %d semitones up", k, i, d, d.Semitones())
			}
		}
	}
}

func TestComposedNames(t *testing.T) {
	k := mustKey(t, "C")
	for _, c := range []struct {
		naming      Naming
		degree      Degree
		want, ascii string
	}{
		{Movable, Degree{4, -1}, "fa♭", "fab"}, {Movable, Degree{3, 1}, "mi♯", "mi#"},
		{Movable, Degree{6, -2}, "la𝄫", "labb"}, {Movable, Degree{1, -1}, "do♭", "dob"},
		{Movable, Degree{7, 2}, "ti𝄪", "ti##"}, {Curwen, Degree{4, -1}, "f♭", "fb"},
		{Fixed, Degree{6, -2}, "la𝄫", "labb"}, {Numbers, Degree{6, -2}, "𝄫6", "bb6"},
		{Movable, Degree{4, -3}, "fa♭♭♭", "fabbb"},
	} {
		if got := c.naming.Name(k, c.degree); got != c.want {
			t.Errorf("%v in %v = %s, want %s", c.degree, c.naming, got, c.want)
		}
		if got := c.naming.NameASCII(k, c.degree); got != c.ascii {
			t.Errorf("%v in %v = %s in ASCII, want %s", c.degree, c.naming, got, c.ascii)
		}
	}
}

// Parse(Name(d)) is d: every key, every naming, every degree within a double
// alteration, in both scripts and in capitals; no two degrees share a name.
func TestNamesReadBack(t *testing.T) {
	for _, k := range modalKeys() {
		for _, n := range Namings() {
			seen := map[string]Degree{}
			for _, d := range allDegrees() {
				name, ascii := n.Name(k, d), n.NameASCII(k, d)
				if other, ok := seen[name]; ok {
					t.Errorf("%v, %v: %v and %v are both called %s", k, n, d, other, name)
				}
				seen[name] = d
				for _, s := range []string{name, ascii, strings.ToUpper(ascii), " " + name + "\t"} {
					if got, err := ParseDegree(s, k, n); got != d || err != nil {
						t.Errorf("ParseDegree(%q, %v, %v) = %v, %v; want %v", s, k, n, got, err, d)
					}
				}
				for i := range len(ascii) {
					if ascii[i] > 0x7e {
						t.Errorf("%v, %v: %q is not ASCII", k, n, ascii)
					}
				}
			}
		}
	}
}

func TestParseDegree(t *testing.T) {
	for _, c := range []struct {
		rule   string
		in     string
		key    string
		naming Naming
		want   Degree
	}{
		{"number", "6", "Ab", Movable, Degree{6, 0}},
		{"flat number", "b7", "Ab", Movable, Degree{7, -1}},
		{"musical sign", "♭7", "Ab", Fixed, Degree{7, -1}},
		{"natural number", "n7", "Ab", Letters, Degree{7, 0}},
		{"word", "flat 7", "C", Numbers, Degree{7, -1}},
		{"sharp number", "#6", "C", Movable, Degree{6, 1}},
		{"double", "bb7", "C", Movable, Degree{7, -2}},
		{"b4 is a number, not a pitch", "b4", "C", Letters, Degree{4, -1}},
		{"bare 3 in minor", "3", "Cm", Movable, Degree{3, -1}},
		{"bare 6 in minor", "6", "Cm", Fixed, Degree{6, -1}},
		{"bare 7 in minor", "7", "Cm", Letters, Degree{7, -1}},
		{"bare 4 in minor", "4", "Cm", Letters, Degree{4, 0}},
		{"raised 6 in minor", "#6", "Cm", Movable, Degree{6, 0}},
		{"raised 7 in minor", "#7", "Cm", Curwen, Degree{7, 0}},
		{"natural 6 in minor", "n6", "Cm", Movable, Degree{6, 0}},
		{"natural 7 in minor", "♮7", "Cm", Movable, Degree{7, 0}},
		{"picardy third", "#3", "Cm", Movable, Degree{3, 0}},
		{"flat 3 in minor", "b3", "Cm", Movable, Degree{3, -1}},
		{"sharp 4 in minor", "#4", "Cm", Movable, Degree{4, 1}},
		{"raised twice in minor", "x7", "Cm", Movable, Degree{7, 1}},
		{"syllable", "la", "Ab", Movable, Degree{6, 0}},
		{"syllable with numbers", "la", "Ab", Numbers, Degree{6, 0}},
		{"syllable with letters", "me", "Ab", Letters, Degree{3, -1}},
		{"so is sol", "so", "Ab", Movable, Degree{5, 0}},
		{"so sharp", "so#", "Ab", Movable, Degree{5, 1}},
		{"si is raised sol", "si", "C", Movable, Degree{5, 1}},
		{"la flat is le", "la♭", "C", Movable, Degree{6, -1}},
		{"do-based minor", "la", "Am", Movable, Degree{6, 0}},
		{"la-based minor", "la", "Am", LaBased, Degree{1, 0}},
		{"la-based minor third", "do", "Am", LaBased, Degree{3, -1}},
		{"la-based leading tone", "si", "Am", LaBased, Degree{7, 0}},
		{"la-based in major", "la", "A", LaBased, Degree{6, 0}},
		{"letter", "A", "C", Movable, Degree{6, 0}},
		{"letter flat", "Eb", "C", Movable, Degree{3, -1}},
		{"letter is exact", "A", "Ab", Letters, Degree{1, 1}},
		{"spelling is exact", "D#", "C", Fixed, Degree{2, 1}},
		{"B flat", "bb", "C", Numbers, Degree{7, -1}},
		{"fixed: the scale's own note", "la", "Ab", Fixed, Degree{1, 0}},
		{"fixed: the scale's own B", "si", "Ab", Fixed, Degree{2, 0}},
		{"fixed: ti is si", "ti", "Ab", Fixed, Degree{2, 0}},
		{"fixed: exact flat", "la♭", "C", Fixed, Degree{6, -1}},
		{"fixed: exact flat, typed", "lab", "Ab", Fixed, Degree{1, 0}},
		{"fixed: double flat", "labb", "Ab", Fixed, Degree{1, -1}},
		{"fixed: exact sharp", "la#", "Ab", Fixed, Degree{1, 2}},
		{"fixed: natural", "la♮", "Ab", Fixed, Degree{1, 1}},
		{"fixed: natural, typed", "lan", "Ab", Fixed, Degree{1, 1}},
		{"fixed: natural that changes nothing", "min", "C", Fixed, Degree{3, 0}},
		{"fixed: words", "la flat", "C", Fixed, Degree{6, -1}},
		{"fixed: ti flat", "tib", "C", Fixed, Degree{7, -1}},
		{"fixed: so flat", "solb", "C", Fixed, Degree{5, -1}},
		{"fixed: minor scale", "sol", "Am", Fixed, Degree{7, -1}},
		{"curwen: a letter is a syllable", "d", "G", Curwen, Degree{1, 0}},
		{"curwen: la is lowered", "la", "G", Curwen, Degree{6, -1}},
		{"curwen: se is raised", "se", "G", Curwen, Degree{5, 1}},
		{"curwen: other letters are notes", "B", "G", Curwen, Degree{3, 0}},
		{"curwen: ba", "ba", "Am", Curwen, Degree{6, 0}},
		{"curwen: fe for ba", "fe", "Am", Curwen, Degree{6, 0}},
		{"curwen: se in minor", "se", "Am", Curwen, Degree{7, 0}},
		{"kodaly: lo", "lo", "C", Kodaly, Degree{6, -1}},
		{"capitals", "SOL", "C", Movable, Degree{5, 0}},
	} {
		if got, err := ParseDegree(c.in, mustKey(t, c.key), c.naming); got != c.want || err != nil {
			t.Errorf("%s: ParseDegree(%q, %s, %v) = %v, %v; want %v", c.rule, c.in, c.key, c.naming, got, err, c.want)
		}
	}
}

func TestParseDegrees(t *testing.T) {
	for _, c := range []struct {
		in, key string
		naming  Naming
		want    string // counted from major
	}{
		{"1 3 5", "C", Movable, "1 3 5"},
		{"do, mi,sol", "C", Movable, "1 3 5"},
		{"1-7", "C", Movable, "1 2 3 4 5 6 7"},
		{"1–5", "C", Movable, "1 2 3 4 5"},
		{"1-7", "Cm", Movable, "1 2 ♭3 4 5 ♭6 ♭7"},
		{"3-3", "C", Movable, "3"},
		{"all", "Am", Fixed, "1 2 ♭3 4 5 ♭6 ♭7"},
		{"ALL", "C", Letters, "1 2 3 4 5 6 7"},
		{"chromatic", "C", Curwen, "1 ♯1 2 ♯2 3 4 ♯4 5 ♯5 6 ♯6 7"},
		{"chromatic", "Am", LaBased, "1 ♯1 2 ♭3 3 4 ♯4 5 ♭6 6 ♭7 7"},
		{"triad", "C", Movable, "1 3 5"},
		{"triad", "Am", Movable, "1 ♭3 5"},
		{"triad 1-5, do", "C", Movable, "1 3 5 2 4"},
		{"all #7", "Am", Movable, "1 2 ♭3 4 5 ♭6 ♭7 7"},
		{"f-sharp", "C", Movable, "♯4"},
		{" ,1,, ", "C", Movable, "1"},
	} {
		ds, err := ParseDegrees(c.in, mustKey(t, c.key), c.naming)
		var got []string
		for _, d := range ds {
			got = append(got, d.String())
		}
		if s := strings.Join(got, " "); s != c.want || err != nil {
			t.Errorf("ParseDegrees(%q, %s, %v) = %s, %v; want %s", c.in, c.key, c.naming, s, err, c.want)
		}
	}
}

func TestNamingRoundTrip(t *testing.T) {
	want := "movable la-based fixed fixed-chromatic numbers letters curwen kodaly"
	var got []string
	for _, n := range Namings() {
		got = append(got, n.String())
		for _, s := range []string{n.String(), strings.ToUpper(n.String()), " " + n.String()} {
			if back, err := ParseNaming(s); back != n || err != nil {
				t.Errorf("ParseNaming(%q) = %v, %v; want %v", s, back, err, n)
			}
		}
	}
	if s := strings.Join(got, " "); s != want {
		t.Errorf("Namings = %s, want %s", s, want)
	}
}

func TestBadInput(t *testing.T) {
	long := strings.Repeat("la♭", 1<<20)
	const (
		wantKey    = `; want a tonic A to G with # or b, then major or minor, like "Ab major" or f#m`
		wantNote   = `; want a letter A to G with at most two # or b, like Ab`
		wantPitch  = `; want a letter A to G with # or b and an octave -1 to 9, like Eb4`
		wantDegree = `; want a number 1 to 7 or a letter name, either with # or b, or one of: `
		movable    = "do di ra re ri me mi fa fi se sol si le la li te ti"
	)
	key := func(s string) error { _, err := ParseKey(s); return err }
	note := func(s string) error { _, err := ParseNote(s); return err }
	pitch := func(s string) error { _, err := ParsePitch(s); return err }
	naming := func(s string) error { _, err := ParseNaming(s); return err }
	degree := func(s, k string, n Naming) error { _, err := ParseDegree(s, mustKey(t, k), n); return err }
	degrees := func(s string) error { _, err := ParseDegrees(s, mustKey(t, "C"), Movable); return err }
	for _, c := range []struct {
		err  error
		is   error
		want string
	}{
		{key(""), ErrKey, `not a key: ""` + wantKey},
		{key("major"), ErrKey, `not a key: "major"` + wantKey},
		{key("m"), ErrKey, `not a key: "m"` + wantKey},
		{key("H# major"), ErrKey, `not a key: "H# major"` + wantKey},
		{key("A- minor minor"), ErrKey, `not a key: "A- minor minor"` + wantKey},
		{key("A-"), ErrKey, `not a key: "A-"` + wantKey},
		{key("C dorian"), ErrKey, `not a key: "C dorian"` + wantKey},
		{key("Cbbb"), ErrKey, `not a key: "Cbbb"` + wantKey},
		{key("\xff\x00♭\u202e"), ErrKey, `not a key: "\xff\x00♭\u202e"` + wantKey},
		{key(long), ErrKey, `not a key: "` + strings.Repeat("la♭", 13) + `l"…` + wantKey},
		{key("Fbb minor"), ErrKey, `not a key: "Fbb minor" would have 18 flats and a key has at most 7; want Eb minor`},
		{key("G# major"), ErrKey, `not a key: "G# major" would have 8 sharps and a key has at most 7; want Ab major`},
		{key("B#m"), ErrKey, `not a key: "B#m" would have 9 sharps and a key has at most 7; want C minor`},
		{key("E## major"), ErrKey, `not a key: "E## major" would have 18 sharps and a key has at most 7; want Gb major`},
		{note(""), ErrNote, `not a note name: ""` + wantNote},
		{note("H"), ErrNote, `not a note name: "H"` + wantNote},
		{note("C#b"), ErrNote, `not a note name: "C#b"` + wantNote},
		{note("Abbb"), ErrNote, `not a note name: "Abbb"` + wantNote},
		{note("Axx"), ErrNote, `not a note name: "Axx"` + wantNote},
		{note("A-"), ErrNote, `not a note name: "A-"` + wantNote},
		{note("♭A"), ErrNote, `not a note name: "♭A"` + wantNote},
		{note(long), ErrNote, `not a note name: "` + strings.Repeat("la♭", 13) + `l"…` + wantNote},
		{pitch("Eb"), ErrNote, `not a note name with an octave: "Eb"` + wantPitch},
		{pitch("4"), ErrNote, `not a note name with an octave: "4"` + wantPitch},
		{pitch("C10"), ErrNote, `not a note name with an octave: "C10"` + wantPitch},
		{pitch("C-2"), ErrNote, `not a note name with an octave: "C-2"` + wantPitch},
		{naming("solfa"), ErrNaming, `not a naming: "solfa"; want one of movable la-based fixed fixed-chromatic numbers letters curwen kodaly`},
		{degree("", "C", Movable), ErrDegree, `not a degree of C major: ""` + wantDegree + movable},
		{degree("do do", "C", Movable), ErrDegree, `not a degree of C major: "do do"` + wantDegree + movable},
		{degree("8", "C", Numbers), ErrDegree, `not a degree of C major: "8"` + wantDegree + movable},
		{degree("0", "C", Letters), ErrDegree, `not a degree of C major: "0"` + wantDegree + movable},
		{degree("-3", "C", Movable), ErrDegree, `not a degree of C major: "-3"` + wantDegree + movable},
		{degree("bbb3", "C", Movable), ErrDegree, `not a degree of C major: "bbb3"` + wantDegree + movable},
		{degree("sib", "C", Movable), ErrDegree, `not a degree of C major: "sib"` + wantDegree + movable},
		{degree("soxyz", "C", Movable), ErrDegree, `not a degree of C major: "soxyz"` + wantDegree + movable},
		{degree("Bbb", "C#", Movable), ErrDegree, `not a degree of C# major: "Bbb"` + wantDegree + movable},
		{degree("h", "Am", LaBased), ErrDegree, `not a degree of A minor: "h"` + wantDegree + "le la li te ti do di ra re ri me mi fa fi se sol si"},
		{degree("h", "Ab", Fixed), ErrDegree, `not a degree of Ab major: "h"` + wantDegree + "lab sib do reb mib fa sol"},
		{degree("h", "C", Curwen), ErrDegree, `not a degree of C major: "h"` + wantDegree + "d de ra r re ma m f fe sa s se la l le ta t"},
		{degree(long, "C", Movable), ErrDegree, `not a degree of C major: "` + strings.Repeat("la♭", 13) + `l"…` + wantDegree + movable},
		{degree("\xf0\x9d\x84", "C", Movable), ErrDegree, `not a degree of C major: "\xf0\x9d\x84"` + wantDegree + movable},
		{degrees(""), ErrDegree, `not a degree: the list is empty; want degrees like "1 3 5", "1-7", all, chromatic or triad`},
		{degrees(" ,, "), ErrDegree, `not a degree: the list is empty; want degrees like "1 3 5", "1-7", all, chromatic or triad`},
		{degrees("do re H mi"), ErrDegree, `not a degree of C major: "H"` + wantDegree + movable},
		{degrees("1 5-1"), ErrDegree, `not a degree range: "5-1" runs backwards; want 1-5`},
		{degrees("1-8"), ErrDegree, `not a degree of C major: "1-8"` + wantDegree + movable},
		{degrees("b3-5"), ErrDegree, `not a degree of C major: "b3-5"` + wantDegree + movable},
	} {
		switch {
		case c.err == nil:
			t.Errorf("no error, want %s", c.want)
		case c.err.Error() != c.want:
			t.Errorf("got  %s\nwant %s", c.err, c.want)
		case !errors.Is(c.err, c.is):
			t.Errorf("%v does not wrap %v", c.err, c.is)
		}
	}
}
