package engrave_test

import (
	"encoding/xml"
	"html"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"singback/exercise/compose"
	"singback/internal/engrave"
	"singback/internal/notation"
	"singback/theory"
)

func parsed(t *testing.T, abc string) theory.Score {
	t.Helper()
	s, _, err := notation.Parse("x.abc", []byte("X:1\n"+abc+"\n"), notation.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Where notes stand, worked out from the clefs by hand.
func TestText(t *testing.T) {
	s := parsed(t, "M:3/4\nL:1/4\nK:Eb\nE =A c|e3-|e z2|")
	got, err := engrave.Text(s, engrave.View{Labels: s.Labels(theory.Movable, true), ASCII: true})
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

// Engraving rules (common practice): stems go down from the middle line on and
// beamed notes follow the one farthest from it, and go down where two are equally far, as
// A and c here; beams stay within a beat;
// accidentals hold to the end of the bar.
func TestLayout(t *testing.T) {
	s := parsed(t, "M:4/4\nL:1/8\nK:C\nA2 B2 EF Ac|^FF =FF z2 G2|")
	bars, err := engrave.Layout(s)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []bool{true, false, true, true, false, false} {
		if got := bars[0][i].Up; got != want {
			t.Errorf("note %d: stem up %v, want %v", i+1, got, want)
		}
	}
	for i, want := range []int{0, 0, 1, 1, 2, 2} {
		if got := bars[0][i].Beam; got != want {
			t.Errorf("note %d: beam %d, want %d", i+1, got, want)
		}
	}
	for i, want := range []bool{true, false, true, false} {
		if got := bars[1][i].Sign; got != want {
			t.Errorf("bar 2, note %d: accidental %v, want %v", i+1, got, want)
		}
	}
}

// Chord symbols stand above the staff, at their place within a held note too; words
// below the labels.
func TestTextOfSymbolsAndWords(t *testing.T) {
	s := parsed(t, "M:4/4\nL:1/4\nK:C\n\"C\"c2-\"G7/B\"c2|\"Am\"A \"N.C.\"z \"Bb\"B2|]\nw:A- _ men, sing")
	got, err := engrave.Text(s, engrave.View{Labels: s.Labels(theory.Movable, true), ASCII: true})
	want := strings.TrimPrefix(`
       C G7/B    Am   N.C. Bb
  ------------|-----------------||
              |                 ||
  --4---------|-----------------||
       o      |                 ||
  ------------|-------r----o----||
              |  *              ||
  G-4---------|-----------------||
              |                 ||
  ------------|-----------------||
       4         1    1    2
       do        la        ti
       A-        men,      sing
`, "\n")
	if err != nil || got != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
}

// In a picture no chord symbol and no word runs into the next, and all lie within
// it: each begins right of the end of the one before.
func TestSVGOfSymbolsAndWords(t *testing.T) {
	for name, abc := range map[string]string{
		"wide and close": "M:4/4\nL:1/8\nK:F\n\"F\"c4-\"Bbmaj7/D\"c4|\"Gm7b5\"c\"C7\"c\"Am\"c\"Dm\"c \"N.C.\"z4|\"<&>\"a2 f2 \"F\"F4|]\nw:A- men * * * sing~it al- le- lu- ia",
		"many systems":   "M:2/4\nL:1/4\nK:C\n" + strings.Repeat("\"Gm7b5/Db\"c- \"F\"c|\"C#m(maj7)\"d\"A7b9\"e|", 12),
	} {
		s := parsed(t, abc)
		for _, width := range []int{320, 900} {
			text, err := engrave.SVG(s, engrave.View{Width: width, Labels: s.Labels(theory.Numbers, false)})
			if err != nil {
				t.Fatal(err)
			}
			rows := map[string]float64{} // where the last text of a row ends
			symbols := 0
			for _, m := range regexp.MustCompile(`<text x="([^"]*)" y="([^"]*)" stroke="none"( class="chord")? font-family="sans-serif"[^>]*>([^<]*)<`).FindAllStringSubmatch(text, -1) {
				x, _ := strconv.ParseFloat(m[1], 64)
				wide := 0.5 * 13 * float64(utf8.RuneCountInString(html.UnescapeString(m[4]))) // what a letter takes on an average
				if m[3] == "" {
					x -= wide / 2
				} else {
					symbols++
				}
				if x < rows[m[2]] || x < 0 || x+wide > float64(width) {
					t.Errorf("%s, %d wide: %s stands from %g to %g, the one before ends at %g", name, width, m[4], x, x+wide, rows[m[2]])
				}
				rows[m[2]] = x + wide
			}
			if symbols != len(s.Symbols) {
				t.Errorf("%s: %d chord symbols, want %d", name, symbols, len(s.Symbols))
			}
		}
	}
}

// sample is a few melodies of each level, and lines with what the generator does not
// make: words, slurs, odd lengths, five in the time of four, no meter, changes.
func sample(t *testing.T) []theory.Score {
	t.Helper()
	var out []theory.Score
	keys := theory.Keys()
	for level := 1; level <= compose.Levels; level++ {
		for i := range 4 {
			k := keys[(7*level+i)%len(keys)]
			ms, err := compose.NewMelodies(compose.MelodyOrder{Level: level, Key: &k, Count: 1, Seed: uint64(i)})
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, ms[0].Score)
		}
	}
	for _, abc := range []string{
		"T:The <first> & \"last\" 100 %\nM:3/4\nL:1/4\nQ:1/4=66\nK:Eb\nB, | E5/2 (F1/2 | (_G/2) =G7/2 | A13/4 =A3/4 B z | __B7/4 ^^F/4 z/2 E/2 |]\nw:Al- le- lu_ja two~words",
		"M:4/4\nL:1/8\nK:F\n\"F\"c4-\"Bbmaj7/D\"c4|\"Gm7b5\"c\"C7\"c\"Am\"c\"Dm\"c \"N.C.\"z4|\"<&>\"a2 f2 F4|]\nw:A- men * * * sing~it al- le- lu- ia",
		"M:none\nL:1/4\nK:Am\nA (5:4:5B/4c/4d/4c/4B/4 z/3A2/3 A16",
		"M:5/8\nL:1/4\nK:Ddor\nz5/2 | D5/2 | [K:Gmix][M:4/4] D2 c'/2 C,,3/2 | C,,2 z2 |]",
	} {
		out = append(out, parsed(t, abc))
	}
	return out
}

// The picture is well-formed, has the notes in it, and nothing lies outside.
func TestSVG(t *testing.T) {
	for _, s := range sample(t) {
		text, err := engrave.SVG(s, engrave.View{Labels: s.Labels(theory.Numbers, false)})
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
		heads := engrave.Heads(text)
		bars, _ := engrave.Lay(s)
		want := 0
		for _, b := range bars {
			for _, p := range b.Pieces {
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
		bars, err := engrave.Lay(s)
		if err != nil {
			t.Fatal(err)
		}
		heads := 0
		for _, b := range bars {
			for _, p := range b.Pieces {
				if !p.Rest {
					heads++
				}
			}
		}
		systems := map[int]int{}
		for _, width := range []int{30, 40, 59, 60, 80, 120, 200} {
			for _, ascii := range []bool{false, true} {
				text, err := engrave.Text(s, engrave.View{Labels: labels, ASCII: ascii, Width: width})
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
	text, err := engrave.Text(parsed(t, "M:3/4\nL:1/4\nK:Eb\nE F G|A B c|e3-|e B G|E z2|F G A|B3|E3|"), engrave.View{ASCII: true, Width: 60})
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
		text, err := engrave.Text(s, engrave.View{ASCII: true, Width: width})
		if err != nil {
			t.Fatal(err)
		}
		if sharps, naturals := strings.Count(text, "#*"), strings.Count(text, "n*"); sharps != 2 || naturals != 1 {
			t.Errorf("in %d columns %d sharps and %d naturals, want 2 and 1:\n%s", width, sharps, naturals, text)
		}
	}
}
