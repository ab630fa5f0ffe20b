package notation

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"

	"singback/theory"
)

func parsed(t *testing.T, abc string) theory.Score {
	t.Helper()
	s, _, err := Parse("x.abc", []byte("X:1\n"+abc+"\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Where notes stand, worked out from the clefs by hand.
func TestText(t *testing.T) {
	s := parsed(t, "M:3/4\nL:1/4\nK:Eb\nE =A c|e3-|e z2|")
	got, err := Text(s, View{Labels: s.Labels(theory.Movable, true), ASCII: true})
	want := strings.TrimPrefix(`
  -------------------|-----|---------||
     b               |  o~ |  ~*     ||
  ------3------------|-----|---------||
                  *  |     |         ||
  --b----------------|-----|------r--||
      b       n*     |     |         ||
  G-----4------------|-----|---------||
                     |     |         ||
  ---------*---------|-----|---------||
           1   1  1     3      1  2
           do  fi la    do
`, "\n")
	if err != nil || got != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
}

// The clef that fits: the usual ranges of voices (common practice).
func TestClefFor(t *testing.T) {
	for abc, want := range map[string]theory.Clef{"C c g": theory.TrebleClef, "G, D A": theory.TrebleClef, "C, G, G": theory.TrebleDownClef, "E,, B,, E,": theory.BassClef} {
		if got := theory.ClefFor(parsed(t, "K:C\n"+abc)); got != want {
			t.Errorf("%s: %v, want %v", abc, got, want)
		}
	}
}

// Engraving rules (common practice): stems go down from the middle line on and
// beamed notes follow the one farthest from it; beams stay within a beat;
// accidentals hold to the end of the bar.
func TestLayout(t *testing.T) {
	s := parsed(t, "M:4/4\nL:1/8\nK:C\nA2 B2 EF Ac|^FF =FF z2 G2|")
	bars, err := lay(s)
	if err != nil {
		t.Fatal(err)
	}
	e := engraver{score: s}
	ms := e.measures(bars)
	for i, want := range []bool{true, false, true, true, true, true} {
		if got := ms[0].items[i].up; got != want {
			t.Errorf("note %d: stem up %v, want %v", i+1, got, want)
		}
	}
	for i, want := range []int{0, 0, 1, 1, 2, 2} {
		if got := ms[0].items[i].beam; got != want {
			t.Errorf("note %d: beam %d, want %d", i+1, got, want)
		}
	}
	for i, want := range []bool{true, false, true, false} {
		if got := ms[1].items[i].sign; got != want {
			t.Errorf("bar 2, note %d: accidental %v, want %v", i+1, got, want)
		}
	}
}

// The picture is well-formed, has the notes in it, and nothing lies outside.
func TestSVG(t *testing.T) {
	for _, s := range sample(t) {
		text, err := SVG(s, View{Labels: s.Labels(theory.Numbers, false)})
		if err != nil {
			t.Fatal(err)
		}
		d := xml.NewDecoder(strings.NewReader(text))
		lines := 0
		for {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "line" {
				lines++
			}
		}
		heads := strings.Count(text, blackHead) + strings.Count(text, halfHead) + strings.Count(text, wholeHead)
		bars, _ := lay(s)
		want := 0
		for _, b := range bars {
			for _, p := range b.pieces {
				if !p.Rest {
					want++
				}
			}
		}
		if heads != want || lines < 5 || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Errorf("%s: %d heads, want %d", s.Title, heads, want)
		}
	}
}

// A line played by hand, up to a twentieth of a beat early or late and let go
// early, is read as the line that was meant.
func TestMIDIPlayedByHand(t *testing.T) {
	meant := parsed(t, "M:4/4\nL:1/4\nQ:1/4=90\nK:G\nG A/B/ c2|(3B/A/G/ d/>c/ B A|G4|")
	const quarter = 480
	var track smf.Track
	var notes []played
	at := 0.0
	for i, n := range meant.Notes {
		length := n.Length.Float()
		push := 0.05 * math.Sin(float64(7*i+1))
		if i == 0 {
			push = 0
		}
		notes = append(notes, played{from: int64((at + push) * quarter), to: int64((at + length*0.8 - 0.01) * quarter), pitch: n.Pitch.MIDI()})
		at += length
	}
	track.Add(0, smf.MetaMeter(4, 4))
	track.Add(0, smf.MetaKey(7, true, 1, false))
	last := int64(0)
	for _, n := range notes {
		track.Add(uint32(n.from-last), midi.NoteOn(0, uint8(n.pitch), 90))
		track.Add(uint32(n.to-n.from), midi.NoteOff(0, uint8(n.pitch)))
		last = n.to
	}
	track.Close(0)
	file := smf.New()
	file.TimeFormat = smf.MetricTicks(quarter)
	if err := file.Add(track); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := file.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	got, warnings, err := Parse("x.mid", b.Bytes(), Options{})
	if err != nil || len(warnings) != 1 {
		t.Fatalf("%v %v", err, warnings)
	}
	last0 := len(got.Notes) - 1
	got.Notes[last0].Length = meant.Notes[last0].Length // how long the end is held says nothing
	if show(got) != show(meant) || got.Key != meant.Key || got.Meter != meant.Meter {
		t.Errorf("got  %s\nwant %s", show(got), show(meant))
	}
}

// No system is wider than the terminal, down to one in which little more than clef
// and signs find room; bars stay whole where they can; every note and label stands
// there once, and an accidental holds to the end of its bar, over the break too.
func TestTextFitsTheWidth(t *testing.T) {
	for name, abc := range map[string]string{
		"short bars": "M:3/4\nL:1/4\nK:Eb\nE F G|A B c|e3-|e B G|E z2|F G A|B3|E3|",
		"long bars":  "M:4/4\nL:1/8\nK:F#\nF G A B c d e f|f e d c B A G F|[M:12/8]F G A B c d e f e d c B|F12|",
		"triplets":   "M:2/4\nL:1/8\nK:C\n(3CDE (3FGA|(3Bcd e2|^f f =f f|c4|",
	} {
		s := parsed(t, abc)
		labels := s.Labels(theory.Movable, true)
		bars, err := lay(s)
		if err != nil {
			t.Fatal(err)
		}
		heads := 0
		for _, b := range bars {
			for _, p := range b.pieces {
				if !p.Rest {
					heads++
				}
			}
		}
		systems := map[int]int{}
		for _, width := range []int{30, 40, 59, 60, 80, 120, 200} {
			for _, ascii := range []bool{false, true} {
				text, err := Text(s, View{Labels: labels, ASCII: ascii, Width: width})
				if err != nil {
					t.Fatal(err)
				}
				for line := range strings.Lines(text) {
					if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > width {
						t.Errorf("%s in %d columns: a line of %d: %q", name, width, n, line)
					}
				}
				if ascii {
					continue
				}
				if n := strings.Count(text, "●") + strings.Count(text, "○"); n != heads {
					t.Errorf("%s in %d columns: %d heads, want %d", name, width, n, heads)
				}
				words := strings.Fields(text)
				for _, label := range labels {
					if label != "" && !slices.Contains(words, label) {
						t.Errorf("%s in %d columns: no label %s", name, width, label)
					}
				}
				systems[width] = strings.Count(text, "\n\n") + 1
			}
		}
		if systems[200] > systems[80] || systems[80] > systems[40] || systems[40] < 2 {
			t.Errorf("%s: systems by width %v", name, systems)
		}
	}
	// Bars are whole in 60 columns: a system ends with a bar line.
	text, err := Text(parsed(t, "M:3/4\nL:1/4\nK:Eb\nE F G|A B c|e3-|e B G|E z2|F G A|B3|E3|"), View{ASCII: true, Width: 60})
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "  -") && !strings.HasSuffix(strings.TrimSpace(line), "|") {
			t.Errorf("a system ends within a bar: %q", line)
		}
	}
	// F sharp, and F natural in the second half of the bar.
	s := parsed(t, "M:4/4\nL:1/8\nK:C\n^F E D C =F E ^F F|")
	for _, width := range []int{26, 80} {
		text, err := Text(s, View{ASCII: true, Width: width})
		if err != nil {
			t.Fatal(err)
		}
		if sharps, naturals := strings.Count(text, "#*"), strings.Count(text, "n*"); sharps != 2 || naturals != 1 {
			t.Errorf("in %d columns %d sharps and %d naturals, want 2 and 1:\n%s", width, sharps, naturals, text)
		}
	}
}
