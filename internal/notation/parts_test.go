package notation

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/internal/testkit"
	"singback/theory"
)

// told writes parts in short: names, clefs, and the pitches of each.
func told(parts []Part) string {
	var b strings.Builder
	for _, p := range parts {
		fmt.Fprintf(&b, "%s %s %s:", p.ID, p.Name, p.Clef)
		at := zero
		for _, n := range p.Score.Notes {
			if n.Rest {
				fmt.Fprintf(&b, " r/%s", n.Length)
			} else {
				fmt.Fprintf(&b, " %s/%s", n.Pitch.ASCII(), n.Length)
			}
			at = at.Plus(n.Length)
		}
		b.WriteString("\n")
	}
	return b.String()
}

const twoStaves = `<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>%s</part-name></score-part></part-list><part id="P1">
<measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>2</beats><beat-type>4</beat-type></time>
<clef number="1"><sign>G</sign><line>2</line></clef><clef number="2"><sign>F</sign><line>4</line></clef></attributes>
%s</measure><measure number="2">%s</measure></part></score-partwise>`

func xmlNote(step string, octave, length int, voice, staff, more string) string {
	return fmt.Sprintf(`<note>%s<pitch><step>%s</step><octave>%d</octave></pitch><duration>%d</duration><voice>%s</voice><staff>%s</staff></note>`, more, step, octave, length, voice, staff)
}

// What hymnals and choir prints do with two voices on a staff, two staves in a part, and
// divisi (common practice): each line is read.
func TestReadParts(t *testing.T) {
	back := `<backup><duration>2</duration></backup>`
	for _, c := range []struct{ name, file, data, want, say string }{
		{"four voices on two staves of one part", "a.musicxml", fmt.Sprintf(twoStaves, "Choir",
			xmlNote("C", 5, 2, "1", "1", "")+back+xmlNote("G", 4, 2, "2", "1", "")+back+xmlNote("E", 4, 2, "5", "2", "")+back+xmlNote("C", 3, 2, "6", "2", ""),
			xmlNote("D", 5, 2, "1", "1", "")+back+xmlNote("F", 4, 1, "5", "2", "")+xmlNote("F", 4, 1, "5", "2", "")+back+xmlNote("B", 2, 2, "6", "2", "")),
			"P1:1 Soprano treble: C5/2 D5/2\nP1:2 Alto treble: G4/2 D5/2\nP1:5 Tenor bass: E4/2 F4/1 F4/1\nP1:6 Bass bass: C3/2 B2/2\n",
			"there it sings with the first voice of its staff"},
		{"voices that the part's name names", "a.musicxml", fmt.Sprintf(twoStaves, "S / A",
			xmlNote("C", 5, 2, "1", "1", "")+back+xmlNote("G", 4, 2, "2", "1", ""), xmlNote("D", 5, 2, "1", "1", "")+back+xmlNote("F", 4, 2, "2", "1", "")),
			"P1:1 Soprano treble: C5/2 D5/2\nP1:2 Alto treble: G4/2 F4/2\n", "has 2 voices"},
		{"divisi: a chord makes two lines, a single note is sung by both", "a.musicxml", fmt.Sprintf(twoStaves, "Bass",
			xmlNote("C", 3, 1, "1", "1", "")+xmlNote("D", 3, 1, "1", "1", ""), xmlNote("G", 2, 2, "1", "1", "")+xmlNote("G", 3, 2, "1", "1", "<chord/>")),
			"P1.1 Bass 1 treble: C3/1 D3/1 G3/2\nP1.2 Bass 2 treble: C3/1 D3/1 G2/2\n", "read as 2 lines"},
		{"ABC voices, with clefs", "a.abc", "X:1\nL:1/4\nM:2/4\nV:S clef=treble\nV:Men name=\"Men\" clef=bass\nK:C\nV:S\nc d|e2|\nV:Men\n[CE][DF]|[C-E]2|[CE]2|\n",
			"S Soprano treble: C5/1 D5/1 E5/2\nMen.1 Tenor bass: E4/1 F4/1 E4/2 E4/2\nMen.2 Bass bass: C4/1 D4/1 C4/4\n", "read as 2 lines"},
		{"ABC, a second voice behind &", "a.abc", "X:1\nL:1/4\nM:2/4\nK:C\nc d & E F|e2|\nw:a b c\n",
			"1 Part 1 : C5/1 D5/1 E5/2\n1& Part 2 : E4/1 F4/1 E5/2\n", "behind the signs &"},
		{"four lines without names", "a.abc", "X:1\nL:1/4\nK:C\nV:1\nc|\nV:2\nG|\nV:3\nE|\nV:4\nC,|\n",
			"1 Soprano : C5/1\n2 Alto : G4/1\n3 Tenor : E4/1\n4 Bass : C3/1\n", "are taken for soprano, alto, tenor and bass"},
		{"names", "a.txt", "do re", "1 Part 1 : C4/1 D4/1\n", ""},
		// 96 ticks a quarter note: C5 for two quarters over E4 and F4 of one; then C4 alone.
		{"a MIDI track of two voices", "a.mid", smfOf("\x00\x90\x48\x50\x00\x90\x40\x50\x60\x80\x40\x40\x00\x90\x41\x50\x60\x80\x41\x40\x00\x80\x48\x40\x00\x90\x40\x50\x60\x80\x40\x40" + endOfTrack),
			"1.1 Part 1 : C5/2\n1.2 Part 2 : E4/1 F4/1 E4/1\n", "up to 2 notes sound together"},
		{"MIDI channels", "a.mid", smfOf(oneNote+"\x00\x91\x40\x50\x60\x81\x40\x40"+endOfTrack, oneNote+endOfTrack),
			"1 Part 1 : C4/1\n2 Part 2 : r/1 E4/1\n3 Part 3 : C4/1\n", "several channels"},
	} {
		parts, warnings, err := ReadParts(c.file, strings.NewReader(c.data), Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		got := strings.ReplaceAll(told(parts), " r/1\n", "\n") // rests at the end
		if got != c.want {
			t.Errorf("%s:\n%swant\n%s", c.name, got, c.want)
		}
		if all := fmt.Sprint(warnings); !strings.Contains(all, c.say) {
			t.Errorf("%s: warnings %s, want %q", c.name, all, c.say)
		}
	}
}

// A part is found by what the file and singers call it, and where a line of the file
// has no voice of its own Read finds it too.
func TestFindPart(t *testing.T) {
	parts := []Part{{ID: "P1:1", Name: "Soprano"}, {ID: "P1:2", Name: "Alto 1"}, {ID: "P1:3", Name: "Alto 2"}, {ID: "P2", Name: "Bass"}}
	for want, i := range map[string]int{"soprano": 0, "S": 0, "sopran": 0, "alto 2": 2, "A2": 2, "p2": 3, "4": 3, "Ba": 3} {
		if got, err := FindPart(parts, want); err != nil || got != i {
			t.Errorf("%q: %d, %v; want %d", want, got, err, i)
		}
	}
	for want, say := range map[string]string{"alt": "several parts begin with", "tenor": "there is no part", "5": "want one of Soprano, Alto 1"} {
		if _, err := FindPart(parts, want); err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("%q: %v, want %q", want, err, say)
		}
	}
	s, _, err := Parse("a.abc", []byte("X:1\nL:1/4\nK:C\nV:1 name=\"SA\"\n[Gc]|\nV:2 name=\"TB\"\n[C,E]|\n"), Options{Voice: "tenor"})
	if err != nil || len(s.Notes) != 1 || s.Notes[0].Pitch.ASCII() != "E4" {
		t.Errorf("tenor of two staves: %v, %v", s.Notes, err)
	}
}

// choirs are lines of one key, meter and length as parts: generated melodies, and those
// with everything that a line can have.
func choirs(t *testing.T) [][]Part {
	var out [][]Part
	for i, s := range slices.Concat(melodies(t, 2), symbolled(t)[:2]) {
		low, err := s.Octaves(-1)
		if err != nil {
			t.Fatal(err)
		}
		low.Symbols = nil
		for j := range low.Notes {
			low.Notes[j].Words = ""
		}
		s.Title = fmt.Sprintf("Choir %d", i)
		low.Title = s.Title
		out = append(out, []Part{{Name: "Women", Score: s}, {Name: "Men", Score: low}})
	}
	return out
}

// symbols are the chord symbols of a line; ABC has no quotes in them.
func symbols(s theory.Score) string {
	return strings.ReplaceAll(fmt.Sprint(s.Symbols), `"`, "'")
}

// What is written is read back as the same parts.
func TestPartsRoundTrip(t *testing.T) {
	for _, f := range []Format{ABC, MusicXML, CompressedMusicXML} {
		for _, want := range choirs(t) {
			var b bytes.Buffer
			if err := WriteParts(&b, want, f); err != nil {
				t.Fatal(err)
			}
			got, warnings, err := ReadParts("x", &b, Options{})
			if err != nil || len(got) != len(want) {
				t.Fatalf("%v: %v, %d parts, %v", f, err, len(got), warnings)
			}
			for i := range want {
				if strings.Join(heard(got[i].Score), ";") != strings.Join(heard(want[i].Score), ";") || got[i].Name != want[i].Name || got[i].Score.Key != want[i].Score.Key ||
					symbols(got[i].Score) != symbols(want[i].Score) || got[i].Clef != want[i].clef().String() {
					t.Errorf("%v, %s of %s:\n%s\nwant\n%s", f, want[i].Name, want[i].Score.Title, told(got[i:i+1]), told(want[i:i+1]))
				}
			}
		}
	}
}

// abc2midi plays the voices that are written as the tracks that are read: the same
// pitches, begun at the same time.
func TestPartsPlayedByAbc2midi(t *testing.T) {
	tool := testkit.Tool(t, "abc2midi")
	begun := func(s theory.Score) string {
		var b strings.Builder
		at, first := zero, theory.Fraction{}
		for _, n := range s.Notes {
			if !n.Rest {
				if first.Den == 0 {
					first = at
				}
				fmt.Fprintf(&b, "%d@%s ", n.Pitch.MIDI(), at.Minus(first))
			}
			at = at.Plus(n.Length)
		}
		return b.String()
	}
	for _, want := range choirs(t)[:14] {
		var b bytes.Buffer
		for i := range want {
			want[i].Score.Symbols = nil // it plays chords
			want[i].Clef = "treble"     // and what stands in the tenor's clef an octave lower
		}
		if err := WriteParts(&b, want, ABC); err != nil {
			t.Fatal(err)
		}
		name, out := filepath.Join(t.TempDir(), "a.abc"), filepath.Join(t.TempDir(), "a.mid")
		if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		if said, err := exec.Command(tool, name, "-o", out, "-NGRA", "-NGUI").CombinedOutput(); err != nil || bytes.Contains(said, []byte("Error")) {
			t.Fatalf("abc2midi: %v\n%s", err, said)
		}
		data, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := ReadParts(out, bytes.NewReader(data), Options{})
		if err != nil || len(got) != 2 {
			t.Fatalf("%v, %d parts", err, len(got))
		}
		for i := range want {
			if g, w := begun(got[i].Score), begun(want[i].Score); g != w {
				t.Errorf("%s: %s\nwant %s", want[i].Score.Title, g, w)
			}
		}
	}
}

// saveParts writes parts into a file.
func saveParts(t *testing.T, parts []Part, f Format, ending string) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteParts(&b, parts, f); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "parts"+ending)
	if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return name
}

// musicxml2ly, LilyPond's own reader, finds the pitches of each part that is written.
func TestPartsReadByMusicxml2ly(t *testing.T) {
	tool := testkit.Tool(t, "musicxml2ly")
	data, err := os.ReadFile("../../testdata/harbour.abc")
	if err != nil {
		t.Fatal(err)
	}
	parts, _, err := ReadParts("harbour.abc", bytes.NewReader(data), Options{})
	if err != nil {
		t.Fatal(err)
	}
	name, out := saveParts(t, parts, MusicXML, ".musicxml"), filepath.Join(t.TempDir(), "out.ly")
	if said, err := exec.Command(tool, "--absolute", "--language", "english", "-o", out, name).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	for i, number := range []string{"One", "Two", "Three", "Four"} {
		_, music, _ := strings.Cut(string(text), "PartP"+number+"VoiceOne = ")
		music, _, _ = strings.Cut(music, "PartP") // the next one
		if got, want := lilyPitches(music), pitches(parts[i].Score); got != want {
			t.Errorf("%s: musicxml2ly reads %s\nwant %s", parts[i].Name, got, want)
		}
	}
}

// Many notes that sound together cost little time and make no lines.
func TestSeparateMany(t *testing.T) {
	var ns []played
	for i := range 4000 {
		ns = append(ns, played{from: int64(i), to: 1 << 30, pitch: 60 + i%12})
	}
	if got := separate(ns, 96); len(got) <= maxLines {
		t.Errorf("%d lines", len(got))
	}
}

func FuzzReadParts(f *testing.F) {
	f.Add("x.abc", "X:1\nK:C\nV:S\n[CE]|D & F|\nV:B\nC,|\n")
	f.Add("x.xml", fmt.Sprintf(twoStaves, "SA", xmlNote("C", 5, 2, "1", "1", "")+xmlNote("E", 5, 2, "1", "1", "<chord/>"), ""))
	f.Add("x.mid", smfOf(oneNote+"\x00\x91\x40\x50\x60\x81\x40\x40"+endOfTrack))
	f.Fuzz(func(t *testing.T, name, data string) {
		parts, _, err := ReadParts(name, strings.NewReader(data), Options{})
		if err != nil {
			if len(err.Error()) > 400 && len(name) < 100 {
				t.Errorf("a message of %d bytes", len(err.Error()))
			}
			return
		}
		for _, p := range parts {
			if err := p.Score.Validate(); err != nil {
				t.Errorf("%s: %v", p.Name, err)
			}
		}
		var b bytes.Buffer
		if err := WriteParts(&b, parts, MusicXML); err == nil {
			if _, _, err := ReadParts("x.musicxml", &b, Options{}); err != nil {
				t.Errorf("what was written is not read: %v", err)
			}
		}
	})
}
