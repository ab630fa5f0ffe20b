package theory_test

import (
	"math"
	"strings"
	"testing"

	. "singback/theory"

	"pgregory.net/rapid"
)

func mustKey(t testing.TB, s string) Key {
	t.Helper()
	k, err := ParseKey(s)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func mustNote(t testing.TB, s string) Note {
	t.Helper()
	n, err := ParseNote(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func notes(ns []Note) string {
	var words []string
	for _, n := range ns {
		words = append(words, n.String())
	}
	return strings.Join(words, " ")
}

// The 30 scales as printed in any theory primer: signature, major scale,
// natural minor scale of the relative key, its raised sixth and seventh.
const keyTable = `
 0 | C D E F G A B        | A B C D E F G        | F♯ G♯
 1 | G A B C D E F♯       | E F♯ G A B C D       | C♯ D♯
 2 | D E F♯ G A B C♯      | B C♯ D E F♯ G A      | G♯ A♯
 3 | A B C♯ D E F♯ G♯     | F♯ G♯ A B C♯ D E     | D♯ E♯
 4 | E F♯ G♯ A B C♯ D♯    | C♯ D♯ E F♯ G♯ A B    | A♯ B♯
 5 | B C♯ D♯ E F♯ G♯ A♯   | G♯ A♯ B C♯ D♯ E F♯   | E♯ F𝄪
 6 | F♯ G♯ A♯ B C♯ D♯ E♯  | D♯ E♯ F♯ G♯ A♯ B C♯  | B♯ C𝄪
 7 | C♯ D♯ E♯ F♯ G♯ A♯ B♯ | A♯ B♯ C♯ D♯ E♯ F♯ G♯ | F𝄪 G𝄪
-1 | F G A B♭ C D E       | D E F G A B♭ C       | B C♯
-2 | B♭ C D E♭ F G A      | G A B♭ C D E♭ F      | E F♯
-3 | E♭ F G A♭ B♭ C D     | C D E♭ F G A♭ B♭     | A B
-4 | A♭ B♭ C D♭ E♭ F G    | F G A♭ B♭ C D♭ E♭    | D E
-5 | D♭ E♭ F G♭ A♭ B♭ C   | B♭ C D♭ E♭ F G♭ A♭   | G A
-6 | G♭ A♭ B♭ C♭ D♭ E♭ F  | E♭ F G♭ A♭ B♭ C♭ D♭  | C D
-7 | C♭ D♭ E♭ F♭ G♭ A♭ B♭ | A♭ B♭ C♭ D♭ E♭ F♭ G♭ | F G`

func TestThirtyKeys(t *testing.T) {
	index := map[Key]bool{}
	for _, k := range Keys() {
		index[k] = true
	}
	if len(Keys()) != 30 || len(index) != 30 {
		t.Fatalf("Keys: %d keys, %d of them different, want 30", len(Keys()), len(index))
	}
	for row := range strings.SplitSeq(strings.TrimSpace(keyTable), "\n") {
		cells := strings.Split(row, "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		var signature int
		for _, r := range cells[0] {
			if r != '-' {
				signature = int(r - '0')
			}
		}
		if cells[0][0] == '-' {
			signature = -signature
		}
		for mode, want := range []string{Major: cells[1], Minor: cells[2]} {
			tonic, _, _ := strings.Cut(want, " ")
			k := Key{mustNote(t, tonic), Mode(mode)}
			if !k.Valid() || !index[k] {
				t.Errorf("%v: valid %v, in Keys %v, want both", k, k.Valid(), index[k])
			}
			if got := k.Signature(); got != signature {
				t.Errorf("%v: signature %d, want %d", k, got, signature)
			}
			scale := k.Scale()
			if got := notes(scale[:]); got != want {
				t.Errorf("%v: scale %s, want %s", k, got, want)
			}
			if k.Mode == Minor {
				if got := notes([]Note{k.Note(Degree{6, 0}), k.Note(Degree{7, 0})}); got != cells[3] {
					t.Errorf("%v: raised 6 and 7 are %s, want %s", k, got, cells[3])
				}
			}
		}
	}
}

// An altered degree keeps its letter: worked out by hand, letter by letter.
func TestChromaticSpelling(t *testing.T) {
	for _, c := range []struct{ key, degree, want string }{
		{"Gb", "b6", "E𝄫"}, {"Db", "b2", "E𝄫"}, {"F#", "#4", "B♯"},
		{"B", "#5", "F𝄪"}, {"Ab", "b3", "C♭"}, {"Cb", "b7", "B𝄫"},
		{"C", "#4", "F♯"}, {"C", "b5", "G♭"}, {"A#m", "#7", "G𝄪"},
	} {
		k := mustKey(t, c.key)
		d, err := ParseDegree(c.degree, k, Numbers)
		if err != nil {
			t.Fatal(err)
		}
		if got := k.Note(d).String(); got != c.want {
			t.Errorf("%s of %s = %s, want %s", c.degree, c.key, got, c.want)
		}
		if got := k.Degree(k.Note(d)); got != d {
			t.Errorf("%s in %s is degree %v, want %v", c.want, c.key, got, d)
		}
	}
}

func TestPitchOfDegree(t *testing.T) {
	for _, c := range []struct {
		key    string
		octave int
		degree Degree
		want   string
		midi   int // 60 is C4
	}{
		{"Ab", 3, Degree{1, 0}, "A♭3", 56},
		{"Ab", 3, Degree{3, -1}, "C♭4", 59},
		{"Ab", 3, Degree{3, 0}, "C4", 60},
		{"Ab", 3, Degree{7, 0}, "G4", 67},
		{"C", 4, Degree{7, 0}, "B4", 71},
		{"C", 4, Degree{7, 1}, "B♯4", 72},
		{"C", 4, Degree{1, -1}, "C♭4", 59},
		{"B", 3, Degree{2, 0}, "C♯4", 61},
		{"B", 3, Degree{2, -1}, "C4", 60},
		{"Cb", 4, Degree{1, 0}, "C♭4", 59},
		{"Cb", 4, Degree{7, 0}, "B♭4", 70},
		{"C#", 4, Degree{7, 0}, "B♯4", 72},
		{"C#m", 3, Degree{7, 0}, "B♯3", 60},
	} {
		p := mustKey(t, c.key).Pitch(c.degree, c.octave)
		if p.String() != c.want || p.MIDI() != c.midi {
			t.Errorf("%v of %s from octave %d = %v (MIDI %d), want %s (%d)", c.degree, c.key, c.octave, p, p.MIDI(), c.want, c.midi)
		}
	}
}

func TestIntervalNames(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"C4", "C4", "P1"}, {"C4", "C#4", "A1"}, {"C4", "Db4", "m2"}, {"C4", "D4", "M2"},
		{"C4", "D#4", "A2"}, {"C4", "Ebb4", "d3"}, {"C4", "Eb4", "m3"}, {"C4", "E4", "M3"},
		{"C4", "E#4", "A3"}, {"C4", "Fb4", "d4"}, {"C4", "F4", "P4"}, {"C4", "F#4", "A4"},
		{"C4", "Gb4", "d5"}, {"C4", "G4", "P5"}, {"C4", "G#4", "A5"}, {"C4", "Ab4", "m6"},
		{"C4", "A4", "M6"}, {"C4", "A#4", "A6"}, {"C4", "Bbb4", "d7"}, {"C4", "Bb4", "m7"},
		{"C4", "B4", "M7"}, {"C4", "C5", "P8"}, {"C4", "Cb5", "d8"}, {"C4", "D5", "M9"},
		{"C4", "Eb5", "m10"}, {"C4", "F##4", "AA4"}, {"Cb4", "Fbb4", "d4"}, {"C4", "Gbb4", "dd5"},
		{"C#4", "Ebb4", "dd3"}, {"C4", "Dbb4", "d2"}, {"B3", "C4", "m2"}, {"B#3", "C4", "d2"},
		{"C4", "B3", "-m2"}, {"G4", "C4", "-P5"}, {"C4", "Cb4", "-A1"}, {"C4", "C3", "-P8"},
	} {
		a, errA := ParsePitch(c.from)
		b, errB := ParsePitch(c.to)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		i := a.IntervalTo(b)
		if i.String() != c.want {
			t.Errorf("%s to %s = %v, want %s", c.from, c.to, i, c.want)
		}
		if back := a.Up(i); back != b {
			t.Errorf("%s up %v = %v, want %s", c.from, i, back, c.to)
		}
	}
}

func TestParsePitch(t *testing.T) {
	for _, c := range []struct {
		in, want string
		midi     int
	}{
		{"Eb4", "E♭4", 63}, {"e♭4", "E♭4", 63}, {"C-1", "C-1", 0}, {"B#3", "B♯3", 60}, {"Cb4", "C♭4", 59},
		{"A0", "A0", 21}, {"G9", "G9", 127}, {" B flat 2 ", "B♭2", 46}, {"f-sharp3", "F♯3", 54}, {"bb3", "B♭3", 58},
	} {
		p, err := ParsePitch(c.in)
		if err != nil || p.String() != c.want || p.MIDI() != c.midi {
			t.Errorf("ParsePitch(%q) = %v (MIDI %d), %v; want %s (%d)", c.in, p, p.MIDI(), err, c.want, c.midi)
			continue
		}
		if back, err := ParsePitch(p.ASCII()); back != p || err != nil {
			t.Errorf("ParsePitch(%q) = %v, %v; want %v", p.ASCII(), back, err, p)
		}
	}
}

func TestNearest(t *testing.T) {
	for _, c := range []struct {
		key    string
		cents  Cents
		degree string // counted from major
		rest   Cents
	}{
		{"C", 0, "1", 0}, {"C", 1200, "1", 0}, {"C", -1200, "1", 0}, {"C", -100, "7", 0}, {"C", -2401, "1", -1},
		{"C", 400, "3", 0}, {"C", 386.3, "3", -13.7}, {"C", 300, "♭3", 0}, {"C", 600, "♯4", 0}, {"C", 100, "♭2", 0},
		{"C", 800, "♭6", 0}, {"C", 1000, "♭7", 0}, {"C", 1149, "7", 49}, {"C", 1151, "1", -49},
		{"C", 50, "1", 50}, {"C", 51, "♭2", -49}, {"C", 150, "♭2", 50}, {"C", -50, "7", 50}, {"C", -49, "1", -49}, {"C", 1150, "7", 50},
		{"Am", 300, "♭3", 0}, {"Am", 400, "3", 0}, {"Am", 800, "♭6", 0}, {"Am", 900, "6", 0}, {"Am", 1000, "♭7", 0}, {"Am", 1100, "7", 0},
	} {
		d, rest := mustKey(t, c.key).Nearest(c.cents)
		if d.String() != c.degree || math.Abs(rest-c.rest) > 1e-9 {
			t.Errorf("%s: Nearest(%v) = %v %+.3f c, want %s %+.3f c", c.key, c.cents, d, rest, c.degree, c.rest)
		}
	}
	// Every degree of the scales comes back as itself.
	for _, k := range Keys() {
		for _, d := range scaleAndRaised(k) {
			if got, _ := k.Nearest(100 * float64(d.Semitones())); got != d {
				t.Errorf("%v: %v on pitch is called %v", k, d, got)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(-1e5, 1e5).Draw(t, "cents")
		d, rest := Key{}.Nearest(c)
		octaves := (c - rest - 100*float64(d.Semitones())) / 1200
		if !(rest > -50 && rest <= 50) || math.Abs(octaves-math.Round(octaves)) > 1e-9 {
			t.Fatalf("Nearest(%v) = %v %v", c, d, rest)
		}
	})
}

func scaleAndRaised(k Key) []Degree {
	ds := k.ScaleDegrees()
	return append(ds[:], Degree{6, 0}, Degree{7, 0})
}

// Transposing a key by any interval transposes the spelling of every degree.
func TestTransposingCommutesWithSpelling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(Keys()).Draw(t, "key")
		d := Degree{rapid.IntRange(1, 7).Draw(t, "step"), rapid.IntRange(-2, 2).Draw(t, "alter")}
		i := Interval{rapid.IntRange(-15, 15).Draw(t, "steps"), rapid.IntRange(-26, 26).Draw(t, "semitones")}
		if got, want := (Key{k.Tonic.Up(i), k.Mode}).Note(d), k.Note(d).Up(i); got != want {
			t.Fatalf("%v of %v up %v: %v, want %v", d, k, i, got, want)
		}
	})
}

// The letter of a degree depends on tonic letter and step alone, the sound on
// the semitones alone; keys that sound alike share no spelled note.
func TestEnharmonicSpellingNeverLeaks(t *testing.T) {
	for _, k := range Keys() {
		for _, d := range allDegrees() {
			n := k.Note(d)
			if want := Letter((int(k.Tonic.Letter) + d.Step - 1) % 7); n.Letter != want {
				t.Errorf("%v of %v = %v, want a kind of %v", d, k, n, want)
			}
			if want := (k.Tonic.PitchClass() + d.Semitones()) % 12; n.PitchClass() != want {
				t.Errorf("%v of %v = %v, pitch class %d, want %d", d, k, n, n.PitchClass(), want)
			}
			if got := k.Degree(n); got != d {
				t.Errorf("%v in %v is %v, want %v", n, k, got, d)
			}
		}
		for _, other := range Keys() {
			if other == k || other.Mode != k.Mode || other.Tonic.PitchClass() != k.Tonic.PitchClass() {
				continue
			}
			for _, a := range k.Scale() {
				for _, b := range other.Scale() {
					if a == b {
						t.Errorf("%v and %v share %v", k, other, a)
					}
				}
			}
		}
	}
}

func TestKeyRoundTrip(t *testing.T) {
	for _, k := range Keys() {
		n := k.Tonic.ASCII()
		short := map[Mode]string{Major: n, Minor: n + "m"}[k.Mode]
		for _, s := range []string{
			k.String(), k.ASCII(), short, strings.ToLower(k.ASCII()), strings.ToUpper(k.ASCII()),
			"  " + k.ASCII() + " ", n + "-" + k.Mode.String(), n + k.Mode.String()[:3], strings.ToLower(short),
			strings.NewReplacer("#", "-sharp", "b", "-flat").Replace(n) + " " + k.Mode.String(),
			strings.NewReplacer("#", " sharp", "b", " flat").Replace(n) + " " + k.Mode.String(),
		} {
			if got, err := ParseKey(s); got != k || err != nil {
				t.Errorf("ParseKey(%q) = %v, %v; want %v", s, got, err, k)
			}
		}
	}
	if k := mustKey(t, "EbM"); k != mustKey(t, "Eb major") {
		t.Errorf("EbM is %v, want E♭ major", k)
	}
}

// Modal keys read back from how they are written; ParseKey does not take them.
func TestParseModalKey(t *testing.T) {
	for _, k := range modalKeys() {
		for _, s := range []string{k.String(), k.ASCII(), strings.ToUpper(k.ASCII()), strings.ReplaceAll(k.ASCII(), " ", "-")} {
			got, err := ParseModalKey(s)
			if k.Valid() && (got != k || err != nil) {
				t.Errorf("ParseModalKey(%q) = %v, %v; want %v", s, got, err, k)
			}
			if got, err := ParseKey(s); k.Mode > Minor && err == nil {
				t.Errorf("ParseKey(%q) = %v, want it refused", s, got)
			}
		}
	}
	for s, want := range map[string]string{"H dorian": "D dorian", "dorian": "D dorian", "G# lydian": "Ab lydian", "D lydisch": "or a mode"} {
		_, err := ParseModalKey(s)
		checkRefusal(t, s, err, ErrKey)
		if err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want the message to have %q", s, err, want)
		}
	}
}

func TestNoteRoundTrip(t *testing.T) {
	for l := C; l <= B; l++ {
		for alter := int8(-2); alter <= 2; alter++ {
			n := Note{l, alter}
			for _, s := range []string{n.String(), n.ASCII(), strings.ToLower(n.ASCII()), strings.ToUpper(n.ASCII())} {
				if got, err := ParseNote(s); got != n || err != nil {
					t.Errorf("ParseNote(%q) = %v, %v; want %v", s, got, err, n)
				}
			}
		}
	}
	for in, want := range map[string]string{"Fx": "F𝄪", "C♯♯": "C𝄪", "E♭♭": "E𝄫", "d double flat": "D𝄫", "G-double-sharp": "G𝄪", "An": "A", "B natural": "B"} {
		if got, err := ParseNote(in); got.String() != want || err != nil {
			t.Errorf("ParseNote(%q) = %v, %v; want %s", in, got, err, want)
		}
	}
}

func allDegrees() []Degree {
	var ds []Degree
	for step := 1; step <= 7; step++ {
		for alter := -2; alter <= 2; alter++ {
			ds = append(ds, Degree{step, alter})
		}
	}
	return ds
}
