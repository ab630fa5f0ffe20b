package engrave_test

import (
	"encoding/xml"
	"fmt"
	"html"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/exercise/compose"
	"singback/internal/engrave"
	"singback/theory"
)

func printed(t *testing.T, s theory.Score, width int) string {
	t.Helper()
	text, err := engrave.Printed(s, engrave.View{Width: width})
	if err != nil {
		t.Fatal(err)
	}
	for d := xml.NewDecoder(strings.NewReader(text)); ; {
		if _, err := d.Token(); err == io.EOF {
			return text
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

var (
	barNumber = regexp.MustCompile(`<text x="15" y="([\d.]+)" stroke="none" class="bar-number"[^>]*>(\d+)<`)
	staffLine = regexp.MustCompile(`<line x1="15" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" stroke-width="1"/>`)
	wordText  = regexp.MustCompile(`<text x="([\d.]+)" y="([\d.]+)" stroke="none" font-family="sans-serif"[^>]*>([^<]*)<`)
	joint     = regexp.MustCompile(`<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" stroke-width="(0\.8|1\.1)"/>`)
)

// Each system but the first begins with the number of its first bar, as bars are counted:
// an incomplete first bar is none (common practice; MusicXML's implicit measure).
func TestBarNumbers(t *testing.T) {
	for _, c := range []struct {
		start string
		first int
	}{{"", 1}, {"G|", 0}} {
		s := parsed(t, "M:4/4\nL:1/4\nK:D\n"+c.start+strings.Repeat("D E F G|", 40))
		text := printed(t, s, 900)
		systems := strings.Count(text, `stroke-width="1"/>`) / 5
		// How many bars each system has: bar lines are as long as the staff is high.
		tops := staffLine.FindAllStringSubmatch(text, -1)
		var want []string
		bar := c.first
		for i := 0; i < len(tops); i += 5 {
			if i > 0 {
				want = append(want, fmt.Sprint(bar))
			}
			bar += strings.Count(text, fmt.Sprintf(`y1="%s" x2=`, tops[i][1])) - 1
			for _, m := range regexp.MustCompile(`<line x1="([\d.]+)" y1="`+regexp.QuoteMeta(tops[i][1])+`" x2="([\d.]+)" y2="`+regexp.QuoteMeta(tops[i][1])).FindAllString(text, -1)[1:] {
				t.Fatalf("more than one line at the top of a staff: %s", m)
			}
		}
		var got []string
		for _, m := range barNumber.FindAllStringSubmatch(text, -1) {
			got = append(got, m[2])
		}
		if !slices.Equal(got, want) || len(got) != systems-1 || systems < 5 {
			t.Errorf("%d systems with bar numbers %v, want %v", systems, got, want)
		}
	}
	plain, err := engrave.SVG(parsed(t, "M:4/4\nL:1/4\nQ:1/4=72\nK:D\n"+strings.Repeat("D E F G|", 40)), engrave.View{})
	if err != nil || strings.Contains(plain, "bar-number") || strings.Contains(plain, "tempo") {
		t.Errorf("SVG has what Printed has: %v", err)
	}
}

// The tempo names the beat that is counted: a dotted quarter in six eighths (common
// practice), a half in cut time; without one none stands there.
func TestTempoMark(t *testing.T) {
	for _, c := range []struct {
		head, said       string
		dots, stems, all int
	}{
		{"M:4/4\nL:1/4\nQ:1/4=72", "= 72", 0, 1, 1},
		{"M:6/8\nL:1/8\nQ:3/8=54.5", "= 54.5", 1, 1, 1},
		{"M:2/2\nL:1/4\nQ:1/2=60", "= 60", 0, 1, 1},
		{"M:4/4\nL:1/4", "", 0, 0, 0},
	} {
		text := printed(t, parsed(t, c.head+"\nK:C\nC3|C3|"), 900)
		_, mark, ok := strings.Cut(text, `<g class="tempo"`)
		mark, _, _ = strings.Cut(mark, "</g>")
		if ok != (c.all > 0) || strings.Count(mark, "<circle") != c.dots || strings.Count(mark, "<line") != c.stems || engrave.Heads(mark) != c.all || c.said != "" && !strings.Contains(text, ">"+c.said+"<") {
			t.Errorf("%q: %s", c.head, mark)
		}
	}
}

// Syllables stand without their hyphens, which lie between them; an extender line goes
// from a last syllable to the last note it is held over. Nothing runs into a word.
func TestWordsJoined(t *testing.T) {
	s := parsed(t, "M:4/4\nL:1/4\nK:F\nF G (A B)|(c d) c A-|A G F2|\nw:Hal- le- lu- _ ja _ o sing _ we sing")
	for _, width := range []int{340, 900} {
		text := printed(t, s, width)
		number := func(s string) float64 { x, _ := strconv.ParseFloat(s, 64); return x }
		var words []string
		type span struct{ from, to float64 }
		taken := map[string][]span{}
		for _, m := range wordText.FindAllStringSubmatch(text, -1) {
			word := html.UnescapeString(m[3])
			words = append(words, word)
			half := 0.45 * 13 * float64(len(word)) / 2 // of a letter on an average
			taken[m[2]] = append(taken[m[2]], span{number(m[1]) - half, number(m[1]) + half})
		}
		if got := strings.Join(words, " "); got != "Hal le lu ja o sing we sing" {
			t.Errorf("words %q", got)
		}
		hyphens, lines := 0, 0
		for _, m := range joint.FindAllStringSubmatch(text, -1) {
			y := m[2]
			if m[5] == "1.1" {
				hyphens++
				y = fmt.Sprint(number(y) + 4)
			} else {
				lines++
			}
			for _, w := range taken[y] {
				if number(m[1]) < w.to && number(m[3]) > w.from {
					t.Errorf("%d wide: a line from %s to %s goes through a word from %g to %g", width, m[1], m[3], w.from, w.to)
				}
			}
		}
		if hyphens < 3 || lines < 2 || width == 900 && (hyphens != 3 || lines != 2) {
			t.Errorf("%d wide: %d hyphens and %d extender lines, want 3 and 2", width, hyphens, lines)
		}
	}
}

// Of made melodies on paper no last system takes less than half of the width, and
// all but the last reach the margin.
func TestLastSystems(t *testing.T) {
	last, short, sum := 0, 0, 0.0
	for level := 1; level <= compose.Levels; level++ {
		ms, err := compose.NewMelodies(compose.MelodyOrder{Level: level, Count: 20, Seed: 5})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range ms {
			for _, width := range []int{400, 600, 760, 900} {
				lines := staffLine.FindAllStringSubmatch(printed(t, m.Score, width), -1)
				for i := 0; i < len(lines); i += 5 {
					end, _ := strconv.ParseFloat(lines[i][2], 64)
					share := (end - 15) / float64(width-30)
					switch {
					case i+5 < len(lines) && (share < 0.999 || share > 1.001), share > 1.001:
						t.Errorf("level %d, %d wide: system %d takes %.2f of the width", level, width, i/5+1, share)
					case i+5 == len(lines) && i > 0:
						last++
						sum += share
						if share < 0.5 {
							short++
						}
					}
				}
			}
		}
	}
	t.Logf("of %d last systems %d take less than half the width; on an average they take %.2f", last, short, sum/float64(last))
	if short > 0 || last < 100 {
		t.Errorf("%d of %d last systems take less than half the width", short, last)
	}
}
