package theory_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	. "singback/theory"

	"pgregory.net/rapid"
)

// modalKeys are the 15 signatures in each of the seven modes, the 30 keys among
// them.
func modalKeys() []Key {
	var ks []Key
	for _, k := range Keys() {
		if k.Mode == Major {
			for m := Major; m <= Locrian; m++ {
				ks = append(ks, k.WithMode(m))
			}
		}
	}
	return ks
}

// The collections in semitones and in both namings, as Open Music Theory has
// them; the raised sixth and seventh of a minor key in Curwen's letters from
// R. Stevens, The Curwen Method; the blues by common practice.
func TestScaleTable(t *testing.T) {
	const table = `
major            | 0 2 4 5 7 9 11 | do re mi fa sol la ti | do re mi fa sol la ti | d r m f s l t
natural minor    | 0 2 3 5 7 8 10 | do re me fa sol le te | la ti do re mi fa sol | l t d r m f s
harmonic minor   | 0 2 3 5 7 8 11 | do re me fa sol le ti | la ti do re mi fa si  | l t d r m f se
melodic minor    | 0 2 3 5 7 9 11 | do re me fa sol la ti | la ti do re mi fi si  | l t d r m ba se
dorian           | 0 2 3 5 7 9 10 | do re me fa sol la te | re mi fa sol la ti do | r m f s l t d
phrygian         | 0 1 3 5 7 8 10 | do ra me fa sol le te | mi fa sol la ti do re | m f s l t d r
lydian           | 0 2 4 6 7 9 11 | do re mi fi sol la ti | fa sol la ti do re mi | f s l t d r m
mixolydian       | 0 2 4 5 7 9 10 | do re mi fa sol la te | sol la ti do re mi fa | s l t d r m f
locrian          | 0 1 3 5 6 8 10 | do ra me fa se le te  | ti do re mi fa sol la | t d r m f s l
major pentatonic | 0 2 4 7 9      | do re mi sol la       | do re mi sol la       | d r m s l
minor pentatonic | 0 3 5 7 10     | do me fa sol te       | la do re mi sol       | l d r m s
blues            | 0 3 5 6 7 10   | do me fa se sol te    | la do re me mi sol    | l d r ma m s`
	rows := strings.Split(strings.TrimSpace(table), "\n")
	if len(rows) != len(Scales()) {
		t.Errorf("%d scales in the table, %d in all", len(rows), len(Scales()))
	}
	for _, row := range rows {
		cells := strings.Split(row, "|")
		for i := range cells {
			cells[i] = strings.Join(strings.Fields(cells[i]), " ")
		}
		s, err := ParseScale(cells[0])
		if err != nil || s.String() != cells[0] {
			t.Fatalf("ParseScale(%q) = %v, %v", cells[0], s, err)
		}
		// The names do not depend on the tonic.
		for _, tonic := range []string{"C", "A", "F#", "Eb", "B#", "Fbb"} {
			k := s.Key(mustNote(t, tonic))
			var semitones []string
			for _, d := range s.Rising() {
				semitones = append(semitones, []string{"0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11"}[d.Semitones()])
			}
			got := []string{strings.Join(semitones, " "), names(k, Movable, s.Rising()), names(k, LaBased, s.Rising()), names(k, Curwen, s.Rising())}
			if !slices.Equal(got, cells[1:]) {
				t.Errorf("%s on %s: %q, want %q", cells[0], tonic, got, cells[1:])
			}
		}
		down := s.Falling()
		slices.Reverse(down)
		same := slices.Equal(down, s.Rising())
		if want := s != MelodicMinor; same != want {
			t.Errorf("%v falls as it rises: %v, want %v", s, same, want)
		}
	}
	if got := names(Key{Mode: Minor}, Movable, MelodicMinor.Falling()); got != "te le sol fa me re do" {
		t.Errorf("melodic minor falls %s", got)
	}
}

func TestScaleNotes(t *testing.T) {
	for _, c := range []struct {
		scale Scale
		tonic string
		want  string
	}{
		// Worked out by hand from the signature of the relative major.
		{DorianScale, "D", "D E F G A B C"}, {DorianScale, "Eb", "E♭ F G♭ A♭ B♭ C D♭"}, {PhrygianScale, "C#", "C♯ D E F♯ G♯ A B"},
		{LydianScale, "Gb", "G♭ A♭ B♭ C D♭ E♭ F"}, {LydianScale, "G#", "G♯ A♯ B♯ C𝄪 D♯ E♯ F𝄪"}, {LocrianScale, "B", "B C D E F G A"},
		{MixolydianScale, "Db", "D♭ E♭ F G♭ A♭ B♭ C♭"}, {HarmonicMinor, "G#", "G♯ A♯ B C♯ D♯ E F𝄪"},
		{MajorPentatonic, "F#", "F♯ G♯ A♯ C♯ D♯"}, {Blues, "Bb", "B♭ D♭ E♭ F♭ F A♭"}, {Blues, "A", "A C D E♭ E G"},
	} {
		if got := notes(c.scale.Notes(mustNote(t, c.tonic))); got != c.want {
			t.Errorf("%v on %s: %s, want %s", c.scale, c.tonic, got, c.want)
		}
	}
	if got := notes(MelodicMinor.NotesFalling(mustNote(t, "E"))); got != "D C B A G F♯ E" {
		t.Errorf("E melodic minor falls %s", got)
	}
}

func TestParseScale(t *testing.T) {
	for _, s := range Scales() {
		for _, in := range []string{s.String(), strings.ToUpper(s.String()), strings.ReplaceAll(s.String(), " ", "-"), "  " + s.String()} {
			if got, err := ParseScale(in); got != s || err != nil {
				t.Errorf("ParseScale(%q) = %v, %v; want %v", in, got, err, s)
			}
		}
	}
	for in, want := range map[string]Scale{"ionian": MajorScale, "Aeolian": NaturalMinor, "minor": NaturalMinor, "pentatonic": MajorPentatonic} {
		if got, err := ParseScale(in); got != want || err != nil {
			t.Errorf("ParseScale(%q) = %v, %v; want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "dur", "dorian dorian", "\xff", strings.Repeat("x", 1<<16)} {
		if _, err := ParseScale(in); !errors.Is(err, ErrScale) || len(err.Error()) > longestMessage {
			t.Errorf("ParseScale(%.20q): %v", in, err)
		}
	}
}

// Signatures of the modes: those of the white keys have none, and a fifth up is
// a sharp more.
func TestModalSignatures(t *testing.T) {
	for tonic, mode := range map[string]Mode{"C": Major, "D": Dorian, "E": Phrygian, "F": Lydian, "G": Mixolydian, "A": Minor, "B": Locrian} {
		k := Key{mustNote(t, tonic), mode}
		scale := k.Scale()
		if got := k.Signature(); got != 0 || strings.ContainsAny(notes(scale[:]), "♯♭") {
			t.Errorf("%v: signature %d, notes %s", k, got, notes(scale[:]))
		}
		up := Key{k.Tonic.Up(Interval{4, 7}), mode}
		if got := up.Signature(); got != 1 {
			t.Errorf("%v: signature %d, want 1", up, got)
		}
		if _, err := ParseKey(k.ASCII()); (err == nil) != (mode <= Minor) {
			t.Errorf("ParseKey(%q): %v", k.ASCII(), err)
		}
	}
}

// A mode holds the notes of its relative major, and the relative namings call
// them the same.
func TestModesAreRelative(t *testing.T) {
	for _, k := range modalKeys() {
		major := k.WithMode(Major)
		if k.WithMode(k.Mode) != k || major.Signature() != k.Signature() {
			t.Errorf("%v: signature %d, relative %v %d", k, k.Signature(), major, major.Signature())
		}
		for _, d := range allDegrees() {
			in := major.Degree(k.Note(d))
			for _, n := range []Naming{LaBased, Kodaly, Curwen, FixedChromatic, Letters} {
				a, b := n.Name(k, d), n.Name(major, in)
				if a != b && !(n == Curwen && k.Mode == Minor && a == "ba" && b == "fe") {
					t.Errorf("%v of %v is %s, in %v it is %s", d, k, a, major, b)
				}
			}
		}
	}
}

// Transposing the tonic by any interval transposes the spelling of a scale and
// leaves its degrees and movable names.
func TestTransposingCommutesWithScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(Scales()).Draw(t, "scale")
		tonic := Note{Letter(rapid.IntRange(0, 6).Draw(t, "letter")), int8(rapid.IntRange(-2, 2).Draw(t, "alter"))}
		i := drawInterval(t)
		up := s.Notes(tonic.Up(i))
		for j, n := range s.Notes(tonic) {
			if want := n.Up(i); up[j] != want {
				t.Fatalf("%v on %v up %v: %v, want %v", s, tonic, i, up[j], want)
			}
		}
		d := Degree{rapid.IntRange(1, 7).Draw(t, "step"), rapid.IntRange(-2, 2).Draw(t, "alter of degree")}
		for _, n := range []Naming{Movable, LaBased, Numbers, Curwen, Kodaly} {
			if a, b := n.Name(s.Key(tonic), d), n.Name(s.Key(tonic.Up(i)), d); a != b {
				t.Fatalf("%v: %v is %s on %v and %s on %v", n, d, a, tonic, b, tonic.Up(i))
			}
		}
	})
}

func drawInterval(t *rapid.T) Interval {
	return Interval{rapid.IntRange(-15, 15).Draw(t, "steps"), rapid.IntRange(-26, 26).Draw(t, "semitones")}
}

// The chromatic rows of Open Music Theory.
func TestChromaticRows(t *testing.T) {
	const falling = "ti te la le sol se fa mi me re ra do"
	for key, rising := range map[string]string{
		"C": "do di re ri mi fa fi sol si la li ti", "Cm": "do di re me mi fa fi sol le la te ti",
	} {
		k := mustKey(t, key)
		up, down := k.ChromaticDegrees(), k.ChromaticFalling()
		if got := names(k, Movable, up[:]); got != rising {
			t.Errorf("%v rises %s, want %s", k, got, rising)
		}
		if got := names(k, Movable, down[:]); got != falling {
			t.Errorf("%v falls %s, want %s", k, got, falling)
		}
	}
	for _, k := range modalKeys() {
		up, down := k.ChromaticDegrees(), k.ChromaticFalling()
		for i := range 12 {
			if up[i].Semitones() != i || down[11-i].Semitones() != i {
				t.Errorf("%v: degree %d of the chromatic scales is %v up, %v down", k, i, up[i], down[11-i])
			}
		}
		for _, d := range k.ScaleDegrees() {
			if !slices.Contains(up[:], d) || !slices.Contains(down[:], d) {
				t.Errorf("%v: %v of its scale is spelled otherwise", k, d)
			}
		}
	}
}

// The rules of Open Music Theory: what rises is raised, what falls is lowered,
// minor has no ri, si or li, and fi stays fi on its way down.
func TestSpellLine(t *testing.T) {
	for _, c := range []struct {
		rule string
		key  Key
		line []int
		want string
	}{
		{"rising", Key{}, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, "do di re ri mi fa fi sol si la li ti do"},
		{"falling but for fi", Key{}, []int{12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1, 0}, "do ti te la le sol fi fa mi me re ra do"},
		{"minor rising", Key{Mode: Minor}, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, "do di re me mi fa fi sol le la te ti do"},
		{"minor falling", Key{Mode: Minor}, []int{12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1, 0}, "do ti te la le sol fi fa mi me re ra do"},
		{"fi to sol", Key{}, []int{7, 6, 7}, "sol fi sol"},
		{"fi down to fa", Key{}, []int{7, 6, 5}, "sol fi fa"},
		{"a leap up", Key{}, []int{0, 8, 9}, "do si la"},
		{"a leap down", Key{}, []int{9, 8, 0}, "la le do"},
		{"repeated before it rises", Key{}, []int{2, 3, 3, 3, 4}, "re ri ri ri mi"},
		{"repeated before it falls", Key{}, []int{4, 3, 3, 2}, "mi me me re"},
		{"the last one goes by how it was reached", Key{}, []int{0, 1, 1}, "do di di"},
		{"and from above", Key{}, []int{2, 1}, "re ra"},
		{"alone", Key{}, []int{10}, "te"},
		{"alone, repeated", Key{}, []int{6, 6}, "fi fi"},
		{"other octaves", Key{}, []int{-2, -1, 0, -2, -3}, "li ti do te la"},
		{"dorian keeps its own", Key{Mode: Dorian}, []int{0, 2, 3, 5, 7, 9, 10, 12}, "do re me fa sol la te do"},
		{"lydian keeps fi", Key{Mode: Lydian}, []int{7, 6, 4}, "sol fi mi"},
		{"locrian keeps se", Key{Mode: Locrian}, []int{5, 6, 8}, "fa se le"},
		{"phrygian keeps ra", Key{Mode: Phrygian}, []int{0, 1, 3}, "do ra me"},
		{"nothing", Key{}, nil, ""},
	} {
		if got := names(c.key, Movable, c.key.SpellLine(c.line)); got != c.want {
			t.Errorf("%s: %v in %v: %s, want %s", c.rule, c.line, c.key, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(modalKeys()).Draw(t, "key")
		line := rapid.SliceOf(rapid.IntRange(-24, 24)).Draw(t, "line")
		for i, d := range k.SpellLine(line) {
			if d.Semitones() != ((line[i]%12)+12)%12 {
				t.Fatalf("%v: %d is spelled %v", k, line[i], d)
			}
		}
	})
}

func FuzzParseScale(f *testing.F) {
	for _, s := range []string{"dorian", "melodic minor", "major-pentatonic", "", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		sc, err := ParseScale(s)
		if err != nil {
			checkRefusal(t, s, err, ErrScale)
		} else if back, err := ParseScale(sc.String()); back != sc || err != nil {
			t.Errorf("%q is %v, read back %v, %v", s, sc, back, err)
		}
	})
}
