package notation

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/internal/testkit"
	"singback/theory"
)

// The values of <kind> as MusicXML 4.0 describes them (kind-value), by the tones that
// they have on C; a 13th is read without its eleventh, as the symbol is played.
func TestKinds(t *testing.T) {
	for name, tones := range map[string]string{
		"major": "C E G", "minor": "C Eb G", "augmented": "C E G#", "diminished": "C Eb Gb",
		"dominant": "C E G Bb", "major-seventh": "C E G B", "minor-seventh": "C Eb G Bb", "diminished-seventh": "C Eb Gb Bbb",
		"augmented-seventh": "C E G# Bb", "half-diminished": "C Eb Gb Bb", "major-minor": "C Eb G B",
		"major-sixth": "C E G A", "minor-sixth": "C Eb G A", "dominant-ninth": "C E G Bb D", "major-ninth": "C E G B D", "minor-ninth": "C Eb G Bb D",
		"dominant-11th": "C E G Bb D F", "major-11th": "C E G B D F", "minor-11th": "C Eb G Bb D F",
		"dominant-13th": "C E G Bb D A", "major-13th": "C E G B D A", "minor-13th": "C Eb G Bb D F A",
		"suspended-second": "C D G", "suspended-fourth": "C F G", "power": "C G",
	} {
		s := harmonies(t, `<harmony><root><root-step>C</root-step></root><kind>`+name+`</kind></harmony>`)
		got := ""
		if len(s.Symbols) == 1 && s.Symbols[0].Text == "" {
			for _, n := range s.Symbols[0].Chord.Notes() {
				got += " " + n.ASCII()
			}
		}
		if strings.TrimSpace(got) != tones {
			t.Errorf("%s: %s, want %s", name, got, tones)
		}
	}
	if len(kinds) != 25 {
		t.Errorf("%d kinds, and 25 are tried", len(kinds))
	}
}

// harmonies reads a bar of a half note with these elements before it.
func harmonies(t *testing.T, elements string) theory.Score {
	t.Helper()
	text := musicXMLHead + `<part id="P1"><measure number="1"><attributes><divisions>2</divisions></attributes>` + elements +
		`<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note></measure></part></score-partwise>`
	s, _, err := Parse("x", []byte(text), Options{})
	if err != nil {
		t.Fatalf("%s: %v", elements, err)
	}
	return s
}

// The elements of <harmony> by MusicXML 4.0: degrees that are added count from a
// dominant chord, those that are altered from the kind; an offset moves; kinds
// that say no tones are kept as what they show.
func TestReadHarmony(t *testing.T) {
	degree := func(value, alter, kind string) string {
		return `<degree><degree-value>` + value + `</degree-value><degree-alter>` + alter + `</degree-alter><degree-type>` + kind + `</degree-type></degree>`
	}
	chord := func(root, kind, more string) string {
		return `<harmony><root><root-step>` + root + `</root-step></root><kind>` + kind + `</kind>` + more + `</harmony>`
	}
	for _, c := range []struct{ elements, want string }{
		{chord("C", "major", `<bass><bass-step>E</bass-step></bass>`), "C/E"},
		{chord("B", "minor", `<bass><bass-step>A</bass-step><bass-alter>-1</bass-alter></bass>`), "Bm/Ab"},
		{`<harmony><root><root-step>F</root-step><root-alter>1</root-alter></root><kind text="ø">half-diminished</kind></harmony>`, "F#m7b5"},
		{chord("C", "major", `<inversion>1</inversion>`), "C/E"},
		{chord("G", "dominant", `<inversion>3</inversion>`), "G7/F"},
		{chord("C", "major", degree("9", "0", "add")), "Cadd9"},
		{chord("C", "major", degree("7", "0", "add")), "C7"},
		{chord("C", "major", degree("7", "1", "add")), "Cmaj7"},
		{chord("G", "dominant", degree("9", "-1", "add")), "G7b9"},
		{chord("G", "dominant", degree("5", "-1", "alter")), "G7b5"},
		{chord("G", "dominant-ninth", degree("9", "1", "alter")), "G7#9"},
		{chord("G", "dominant", degree("9", "-1", "add")+degree("9", "1", "add")), "G7b9#9"},
		{chord("G", "dominant-ninth", degree("5", "0", "subtract")), "G9(no5)"},
		{chord("C", "major", degree("3", "0", "subtract")), "C5"},
		{chord("G", "suspended-fourth", degree("7", "0", "add")), "G7sus4"},
		{chord("C", "none", ""), "N.C."},
		{`<harmony><root><root-step text="">C</root-step></root><kind text="N.C.">none</kind></harmony>`, "N.C."},
		{`<harmony><root><root-step>E</root-step></root><kind text="(blues)">other</kind></harmony>`, "E(blues)"},
		{`<harmony><root><root-step>E</root-step></root><kind text="m7">other</kind></harmony>`, "Em7"},
		{chord("A", "Tristan", ""), "A Tristan"},
		{`<harmony><function>V7</function><kind>dominant</kind></harmony>`, "V7"},
		{chord("C", "major", "") + chord("F", "major", "<offset>2</offset>"), "C, F at 1"},
		{chord("F", "major", "<offset>2</offset>") + chord("C", "major", ""), "C, F at 1"},
	} {
		s := harmonies(t, c.elements)
		var got []string
		for _, symbol := range s.Symbols {
			text := symbol.ASCII()
			if symbol.At.Num > 0 {
				text += " at " + symbol.At.String()
			}
			got = append(got, text)
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: %s, want %s", c.elements, got, c.want)
		}
	}
	for elements, want := range map[string]string{
		`<harmony><root><root-step>H</root-step></root><kind>major</kind></harmony>`:                           `bar 1: a chord symbol on the root "H"; want a letter A to G`,
		`<harmony><root><root-step>C</root-step><root-alter>9</root-alter></root><kind>major</kind></harmony>`: `bar 1: a chord symbol with a root altered by "9"`,
		`<harmony/>`: `bar 1: a chord symbol without a root and a kind`,
		`<harmony><root><root-step>C</root-step></root><kind>major</kind><offset>x</offset></harmony>`: `bar 1: the offset "x" of a chord symbol, and no whole number`,
	} {
		text := musicXMLHead + `<part id="P1"><measure number="1">` + elements + `<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note></measure></part></score-partwise>`
		if s, warnings, err := Parse("x", []byte(text), Options{}); err != nil || s.Symbols != nil || len(warnings) != 1 || !strings.Contains(string(warnings[0]), want) {
			t.Errorf("%s: %v %v, want %s", elements, warnings, err, want)
		}
	}
}

// Every set of tones that has a symbol is written and read back as itself.
func TestAllChordsRoundTrip(t *testing.T) {
	s := theory.Score{Key: theory.Key{Tonic: theory.Note{Letter: theory.C}}, Meter: theory.Meter{Beats: 4, Unit: 4}}
	var sets [][]theory.Degree
	sets = append(sets, nil)
	for step, alters := range map[int][]int{2: {-1, 0, 1}, 3: {-2, -1, 0}, 4: {0, 1}, 5: {-1, 0, 1}, 6: {-1, 0}, 7: {-2, -1, 0}} {
		for _, set := range sets {
			for _, alter := range alters {
				sets = append(sets, append(slices.Clip(set), theory.Degree{Step: step, Alter: alter}))
			}
		}
	}
	roots := []theory.Note{{Letter: theory.C}, {Letter: theory.F, Alter: 1}, {Letter: theory.B, Alter: -1}}
	for _, set := range sets {
		q, ok := theory.QualityOf(set)
		if !ok {
			continue
		}
		c := theory.Chord{Root: roots[len(s.Symbols)%len(roots)], Quality: q}
		c.Bass = c.Root
		if len(s.Symbols)%2 == 1 {
			c.Bass = c.Note(q.Tones()[1])
		}
		s.Symbols = append(s.Symbols, theory.ChordSymbol{At: theory.NewFraction(len(s.Symbols), 1), Chord: c})
	}
	if len(s.Symbols) < 1368 {
		t.Fatalf("only %d chords", len(s.Symbols))
	}
	for range s.Symbols {
		s.Notes = append(s.Notes, theory.Written{Pitch: theory.Pitch{Octave: 4}, Length: one})
	}
	for _, f := range []Format{ABC, MusicXML} {
		var b bytes.Buffer
		if err := Write(&b, s, f); err != nil {
			t.Fatal(err)
		}
		got, warnings, err := Parse("x", b.Bytes(), Options{})
		if err != nil || len(warnings) > 0 || len(got.Symbols) != len(s.Symbols) {
			t.Fatalf("%v: %d of %d symbols: %v %v", f, len(got.Symbols), len(s.Symbols), warnings, err)
		}
		for i, c := range got.Symbols {
			if c != s.Symbols[i] {
				t.Errorf("%v: %v, want %v", f, c, s.Symbols[i])
			}
		}
	}
}

// abc2midi plays the chord symbols that are written: at the beginning of each, its
// tones and its bass.
func TestSymbolsPlayedByAbc2midi(t *testing.T) {
	tool, csvTool := testkit.Tool(t, "abc2midi"), testkit.Tool(t, "midicsv")
	symbols := []string{"C", "Am7", "Dm", "G7", "F#dim", "Bb", "Ebmaj7", "C+", "Em", "Fm", "A7/C#", "D/F#"}
	s := theory.Score{Key: theory.Key{Tonic: theory.Note{Letter: theory.C}}, Meter: theory.Meter{Beats: 4, Unit: 4}, Notes: []theory.Written{}}
	for i, text := range symbols {
		c, err := theory.ParseChordSymbol(text)
		if err != nil {
			t.Fatal(err)
		}
		c.At = theory.NewFraction(4*i, 1)
		s.Symbols = append(s.Symbols, c)
	}
	for range len(symbols) / 2 { // each note is held under two
		s.Notes = append(s.Notes, theory.Written{Pitch: theory.Pitch{Octave: 5}, Length: theory.NewFraction(8, 1)})
	}
	name := save(t, s, ABC, ".abc")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("K:C\n"), []byte("K:C\n%%MIDI gchord b8\n"), 1)
	if err := os.WriteFile(name, text, 0o644); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "out.mid")
	if said, err := exec.Command(tool, name, "-o", out).CombinedOutput(); err != nil || strings.Contains(string(said), "rror") {
		t.Fatalf("abc2midi: %v\n%s\n%s", err, said, text)
	}
	heard := map[int]map[int]bool{} // pitch classes by bar
	for _, n := range midiNotes(t, csvTool, out, 480) {
		f := strings.Fields(n)
		pitch, _ := strconv.Atoi(f[0])
		at, _ := strconv.Atoi(f[1])
		if pitch == 72 {
			continue // the melody
		}
		bar := at / (4 * 480)
		if heard[bar] == nil {
			heard[bar] = map[int]bool{}
		}
		heard[bar][pitch%12] = true
	}
	for i, c := range s.Symbols {
		want := map[int]bool{}
		for _, n := range c.Chord.Notes() {
			want[n.PitchClass()] = true
		}
		if fmt.Sprint(heard[i]) != fmt.Sprint(want) {
			t.Errorf("%s: abc2midi plays %v, want %v", symbols[i], heard[i], want)
		}
	}
}

// musicxml2ly finds the chord symbols in the MusicXML that is written.
func TestSymbolsReadByMusicxml2ly(t *testing.T) {
	tool := testkit.Tool(t, "musicxml2ly")
	s, _, err := Parse("x.abc", []byte("X:1\nM:4/4\nL:1/4\nK:C\n\"C\"c2 \"Am7\"c2|\"F#m7b5\"c2 \"G7/B\"c2|]\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	name := save(t, s, MusicXML, ".musicxml")
	out := filepath.Join(t.TempDir(), "out.ly")
	if said, err := exec.Command(tool, "--absolute", "--language", "english", "-o", out, name).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	for _, chord := range []string{"c2:5", "a2:m7", "fs2:dim5m7", "g2:7/+b"} {
		if !strings.Contains(string(text), chord) {
			t.Errorf("musicxml2ly has no %s:\n%s", chord, text)
		}
	}
}

// Chord symbols move with the notes; what is not read stays.
func TestSymbolsMove(t *testing.T) {
	s := parsed(t, "M:4/4\nL:1/4\nK:C\n\"C/E\"c \"Bb7\"d \"F#dim7\"e \"N.C.\"f|\"H\"g4|")
	for key, want := range map[string]string{
		"Eb": "Eb/G Db7 Adim7 N.C. H", "G": "G/B F7 C#dim7 N.C. H", "C#": "C#/E# B7 Gdim7 N.C. H", "C": "C/E Bb7 F#dim7 N.C. H",
	} {
		k, err := theory.ParseKey(key)
		if err != nil {
			t.Fatal(err)
		}
		moved, err := s.In(k)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, c := range moved.Symbols {
			got = append(got, c.ASCII())
		}
		if strings.Join(got, " ") != want {
			t.Errorf("in %s: %s, want %s", key, got, want)
		}
	}
	if want := `the chord symbol "H" is not understood: it was not moved`; Unmoved(s) != want {
		t.Errorf("%q, want %q", Unmoved(s), want)
	}
	if up, err := s.Octaves(1); err != nil || up.Symbols[2] != s.Symbols[2] {
		t.Errorf("%v %v", up.Symbols, err)
	}
}
