package notation

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/internal/engrave"
	"singback/internal/testkit"
	"singback/theory"
)

// sample is a few melodies of each level, and lines with everything else.
func sample(t *testing.T) []theory.Score {
	return slices.Concat(melodies(t, 4), decorated(t), symbolled(t))
}

func save(t *testing.T, s theory.Score, f Format, ending string) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, s, f); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "line"+ending)
	if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return name
}

// heard is the sounding notes of a line: pitch, beginning and end in parts of
// 1/960 quarter note.
func heard(s theory.Score) []string {
	var out []string
	at := zero
	for _, n := range s.Notes {
		end := at.Plus(n.Length)
		if !n.Rest {
			out = append(out, fmt.Sprint(n.Pitch.MIDI(), " ", 960*at.Num/at.Den, " ", 960*end.Num/end.Den))
		}
		at = end
	}
	return out
}

// The files are read by midicsv, which knows nothing of this program.
func TestMIDIReadByMidicsv(t *testing.T) {
	tool := testkit.Tool(t, "midicsv")
	for _, s := range sample(t) {
		name := save(t, s, MIDI, ".mid")
		got := midiNotes(t, tool, name, 960)
		if want := heard(s); strings.Join(got, ";") != strings.Join(want, ";") {
			t.Errorf("%s: got %v\nwant %v", s.Title, got, want)
		}
	}
}

// midiNotes reads a MIDI file with midicsv, all tracks together.
func midiNotes(t *testing.T, tool, name string, scale int) []string {
	t.Helper()
	text, err := exec.Command(tool, name).Output()
	if err != nil {
		t.Fatalf("midicsv: %v", err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord, r.TrimLeadingSpace, r.LazyQuotes = -1, true, true
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	division := 0
	on := map[string]int{}
	var out []string
	for _, row := range rows {
		if row[2] == "Header" {
			division, _ = strconv.Atoi(row[5])
		}
		if row[2] != "Note_on_c" && row[2] != "Note_off_c" {
			continue
		}
		at, _ := strconv.Atoi(row[1])
		at = at * scale / division
		if row[2] == "Note_on_c" && row[5] != "0" {
			on[row[4]] = len(out)
			out = append(out, fmt.Sprint(row[4], " ", at))
		} else {
			out[on[row[4]]] += fmt.Sprint(" ", at)
		}
	}
	return out
}

// abc2midi plays the ABC that is written: the same pitches in the same order,
// with the same beginnings. It lets notes go a little early.
func TestABCReadByAbc2midi(t *testing.T) {
	tool, csvTool := testkit.Tool(t, "abc2midi"), testkit.Tool(t, "midicsv")
	for _, s := range sample(t) {
		name := save(t, s, ABC, ".abc")
		out := filepath.Join(t.TempDir(), "out.mid")
		said, err := exec.Command(tool, name, "-o", out, "-NGRA", "-NGUI").CombinedOutput()
		if err != nil || strings.Contains(string(said), "Error") || strings.Contains(string(said), "Warning") && !strings.Contains(string(said), "lyric") {
			text, _ := os.ReadFile(name)
			t.Fatalf("abc2midi: %v\n%s\n%s", err, said, text)
		}
		var got, want []string
		for _, n := range midiNotes(t, csvTool, out, 480) {
			f := strings.Fields(n)
			got = append(got, f[0]+" "+f[1])
		}
		first := 0
		for i, n := range heard(s) {
			f := strings.Fields(n)
			at, _ := strconv.Atoi(f[1])
			if i == 0 { // abc2midi may leave out rests at the beginning
				first = at
				if len(got) > 0 {
					g, _ := strconv.Atoi(strings.Fields(got[0])[1])
					first -= 2 * g
				}
			}
			want = append(want, fmt.Sprint(f[0], " ", (at-first)/2))
		}
		if strings.Join(got, ";") != strings.Join(want, ";") {
			text, _ := os.ReadFile(name)
			t.Errorf("%s: abc2midi hears %v\nwant %v\n%s", s.Title, got, want, text)
		}
	}
}

// What midi2abc writes from a MIDI file is read: the same pitches. It misnames
// the keys with many signs (C for C sharp), so those are left out.
func TestABCWrittenByMidi2abc(t *testing.T) {
	tool := testkit.Tool(t, "midi2abc")
	for _, s := range melodies(t, 12) {
		if n := s.Key.Signature(); max(n, -n) > 4 || s.Key.Mode == theory.Minor || len(s.Changes) > 0 {
			continue
		}
		name := save(t, s, MIDI, ".mid")
		text, err := exec.Command(tool, "-f", name).Output()
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := Parse("x.abc", text, Options{})
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if a, b := pitches(got), pitches(s); a != b {
			t.Errorf("got %s\nwant %s\n%s", a, b, text)
		}
	}
}

func pitches(s theory.Score) string {
	text := ""
	for _, n := range s.Notes {
		if !n.Rest {
			text += fmt.Sprint(n.Pitch.MIDI(), " ")
		}
	}
	return text
}

// The MusicXML that is written keeps the schema that MusicXML publishes (3.0,
// of which all that is written is part; see testdata/musicxml).
func TestMusicXMLAgainstSchema(t *testing.T) {
	tool := testkit.Tool(t, "xmllint")
	dir, err := filepath.Abs("testdata/musicxml")
	if err != nil {
		t.Fatal(err)
	}
	catalog := filepath.Join(t.TempDir(), "catalog.xml")
	if err := os.WriteFile(catalog, []byte(`<?xml version="1.0"?>
<catalog xmlns="urn:oasis:names:tc:entity:xmlns:xml:catalog">
<system systemId="http://www.musicxml.org/xsd/xml.xsd" uri="file://`+dir+`/xml.xsd"/>
<system systemId="http://www.musicxml.org/xsd/xlink.xsd" uri="file://`+dir+`/xlink.xsd"/>
</catalog>
`), 0o644); err != nil {
		t.Fatal(err)
	}
	args := []string{"--noout", "--nonet", "--schema", filepath.Join(dir, "musicxml.xsd")}
	for _, s := range sample(t) {
		args = append(args, save(t, s, MusicXML, ".xml"))
	}
	for _, parts := range choirs(t) {
		args = append(args, saveParts(t, parts, MusicXML, ".xml"))
	}
	check := func(args ...string) ([]byte, error) {
		cmd := exec.Command(tool, args...)
		cmd.Env = append(os.Environ(), "XML_CATALOG_FILES="+catalog)
		return cmd.CombinedOutput()
	}
	if said, err := check(args...); err != nil {
		t.Errorf("xmllint: %v\n%.2000s", err, said)
	}
	// The check can fail.
	bad := filepath.Join(t.TempDir(), "bad.xml")
	text, _ := os.ReadFile(args[4])
	if err := os.WriteFile(bad, bytes.Replace(text, []byte("<fifths>"), []byte("<fifth>"), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := check(append(args[:4:4], bad)...); err == nil {
		t.Error("xmllint accepts a file that is no MusicXML")
	}
}

// musicxml2ly, LilyPond's own reader, finds the same notes, values and ties in
// the MusicXML that is written.
func TestMusicXMLReadByMusicxml2ly(t *testing.T) {
	tool := testkit.Tool(t, "musicxml2ly")
	for _, s := range append(melodies(t, 2), decorated(t)[:2]...) {
		name := save(t, s, MusicXML, ".musicxml")
		out := filepath.Join(t.TempDir(), "out.ly")
		if said, err := exec.Command(tool, "--absolute", "--language", "english", "-o", out, name).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, said)
		}
		text, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		_, music, _ := strings.Cut(string(text), "PartPOneVoiceOne = ")
		music, _, _ = strings.Cut(music, "\n}")
		got := lilyPitches(music)
		bars, err := engrave.Lay(s)
		if err != nil {
			t.Fatal(err)
		}
		want := ""
		for _, b := range bars {
			for _, p := range b.Pieces {
				if !p.Rest {
					want += fmt.Sprint(p.Pitch.MIDI(), " ")
				}
			}
		}
		if got != want {
			t.Errorf("musicxml2ly reads %s\nwant %s\n%s", got, want, music)
		}
		_, sung, _ := strings.Cut(string(text), `\lyricmode`)
		sung, _, _ = strings.Cut(sung, "\n}")
		for _, n := range s.Notes {
			if word := strings.TrimRight(n.Words, "-"); !strings.Contains(sung, word) {
				t.Errorf("musicxml2ly does not read the word %q: %s", word, sung)
			}
		}
	}
}

// lilyPitches reads the pitches in LilyPond's English note names.
func lilyPitches(music string) string {
	out := ""
	for _, m := range regexp.MustCompile(`(?:^|[\s{(\[])([a-g])(ss|s|ff|f)?([',]*)(?:\d|\\breve)`).FindAllStringSubmatch(music, -1) {
		p := theory.Pitch{Note: theory.Note{Letter: theory.Letter(strings.Index("cdefgab", m[1]))}, Octave: 3 + strings.Count(m[3], "'") - strings.Count(m[3], ",")}
		p.Alter = int8(strings.Count(m[2], "s") - strings.Count(m[2], "f"))
		out += fmt.Sprint(p.MIDI(), " ")
	}
	return out
}
