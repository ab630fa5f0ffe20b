package engrave_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/internal/engrave"
	"singback/internal/notation"
	"singback/internal/testkit"
	"singback/theory"
)

// rhythms are all ways to divide a number of units into the values given.
func rhythms(units int, values []int) [][]int {
	if units == 0 {
		return [][]int{nil}
	}
	var out [][]int
	for _, v := range values {
		if v > units {
			continue
		}
		for _, rest := range rhythms(units-v, values) {
			out = append(out, append([]int{v}, rest...))
		}
	}
	return out
}

// beamed returns a line of one beat for every rhythm: of three eighths in sixteenths, of a
// quarter in thirty-seconds; its pitches go by a fixed draw.
func beamed() []theory.Score {
	r := rand.New(rand.NewPCG(3, 4))
	var out []theory.Score
	for _, c := range []struct {
		meter  theory.Meter
		units  int
		part   int // a unit is a quarter divided by it
		values []int
	}{
		{theory.Meter{Beats: 3, Unit: 8}, 6, 4, []int{1, 2, 3}},
		{theory.Meter{Beats: 1, Unit: 4}, 8, 8, []int{1, 2, 3, 4, 6}},
	} {
		for _, values := range rhythms(c.units, c.values) {
			s := theory.Score{Meter: c.meter}
			for _, v := range values {
				step := 27 + r.IntN(14)
				s.Notes = append(s.Notes, theory.Written{
					Pitch:  theory.Pitch{Note: theory.Note{Letter: theory.Letter(step % 7)}, Octave: step / 7},
					Length: theory.NewFraction(v, c.part),
				})
			}
			out = append(out, s)
		}
	}
	return out
}

var (
	beamPath = regexp.MustCompile(`<path d="M([\d.]+) [-\d.]+L([\d.]+) [-\d.]+V[-\d.]+L[-\d.]+ [-\d.]+Z"`)
	upright  = regexp.MustCompile(`<line x1="([\d.]+)" y1="[-\d.]+" x2="([\d.]+)"`)
	hookSaid = regexp.MustCompile(`>(backward|forward) hook<`)
)

// The hooks in the picture are those that MusicXML names, note for note.
func TestHooksAsInMusicXML(t *testing.T) {
	both := map[string]int{}
	for _, s := range beamed() {
		text, err := engrave.SVG(s, engrave.View{Clef: new(theory.Clef)})
		if err != nil {
			t.Fatal(err)
		}
		number := func(s string) float64 {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			return x
		}
		var stems []float64
		for _, m := range upright.FindAllStringSubmatch(text, -1) {
			if m[1] == m[2] {
				stems = append(stems, number(m[1]))
			}
		}
		stands := func(x float64) bool {
			return slices.ContainsFunc(stems, func(s float64) bool { return math.Abs(s-x) < 0.05 })
		}
		type hook struct {
			x   float64
			way string
		}
		var drawn []hook
		for _, m := range beamPath.FindAllStringSubmatch(text, -1) {
			from, to := number(m[1])+0.6, number(m[2])-0.6 // half a stem's width at either end
			switch left, right := stands(from), stands(to); {
			case left && !right:
				drawn = append(drawn, hook{from, "forward"})
			case right && !left:
				drawn = append(drawn, hook{to, "backward"})
			case !left:
				t.Fatalf("a beam without a stem: %s", m[0])
			}
		}
		slices.SortStableFunc(drawn, func(a, b hook) int { return int(math.Round(a.x - b.x)) })
		got := ""
		for _, h := range drawn {
			got += h.way + " "
		}
		var b bytes.Buffer
		if err := notation.Write(&b, s, notation.MusicXML); err != nil {
			t.Fatal(err)
		}
		want := ""
		for _, m := range hookSaid.FindAllStringSubmatch(b.String(), -1) {
			want += m[1] + " "
			both[m[1]]++
		}
		if got != want {
			t.Errorf("%v: drawn %q, in MusicXML %q", lengths(s), got, want)
		}
	}
	if both["backward"] < 50 || both["forward"] < 50 {
		t.Errorf("hooks: %v", both)
	}
	// Dotted eighth, sixteenth, eighth: the sixteenth belongs to the dotted eighth (common practice).
	bars, err := engrave.Lay(parsed(t, "M:6/8\nL:1/8\nK:C\nE>EG G/>G/ A z|"))
	if err != nil || !bars[0].Backward(1, 2) {
		t.Errorf("dotted eighth, sixteenth, eighth: the hook goes forward, %v", err)
	}
}

func lengths(s theory.Score) string {
	text := s.Meter.String() + ":"
	for _, n := range s.Notes {
		text += " " + n.Length.String()
	}
	return text
}

var stemSaid = regexp.MustCompile(`stem (-?1) \((\([-\d ]*\)|#f) ?(?:\. (#f)|([-\d ]*))\)`)

// LilyPond, told which notes a beam joins, finds hooks and directions by itself: the same
// hooks, and the same directions but where two notes are equally far from the middle
// line; then it goes by the greater number, and only in doubt down.
func TestBeamsAsInLilyPond(t *testing.T) {
	if testing.Short() {
		t.Skip("LilyPond takes some seconds")
	}
	tool := testkit.Tool(t, "lilypond")
	var ly strings.Builder
	ly.WriteString(`\version "2.24.0"
tell = #(lambda (grob) (if (ly:grob? (ly:grob-object grob 'beam))
  (format (current-error-port) "stem ~a ~a\n" (ly:grob-property grob 'direction) (ly:grob-property grob 'beaming))))
\layout { \context { \Score autoBeaming = ##f \override Stem.after-line-breaking = \tell } }
{
`)
	type stem struct {
		up            bool
		before, after int // beams
		equal         bool
		inside        string
	}
	var want []stem
	for i, s := range beamed() {
		if s.Meter.Unit == 4 && i%8 > 0 { // those in thirty-seconds are many
			continue
		}
		bars, err := engrave.Lay(s)
		if err != nil {
			t.Fatal(err)
		}
		drawn, err := engrave.Layout(s)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&ly, "\\time %d/%d\n", s.Meter.Beats, s.Meter.Unit)
		b := &bars[0]
		low, high := 99, 0
		for _, p := range b.Pieces {
			at := 7*p.Pitch.Octave + int(p.Pitch.Letter)
			low, high = min(low, at), max(high, at)
		}
		for i, p := range b.Pieces {
			ly.WriteString(strings.ToLower(p.Pitch.Letter.String()) + strings.Repeat("'", p.Pitch.Octave-3) + fmt.Sprint(p.Value) + strings.Repeat(".", p.Dots))
			if p.Beam == 0 {
				ly.WriteString(" ")
				continue
			}
			first, last := !b.Joins(i, i-1, 1), !b.Joins(i, i+1, 1)
			ly.WriteString(map[bool]string{true: "[ "}[first] + map[bool]string{true: "] "}[last] + " ")
			w := stem{up: drawn[0][i].Up, equal: low+high == 2*34, inside: lengths(s)} // B4 is step 34
			for level := 1; level <= engrave.Flags(p.Value); level++ {
				before, after := b.Joins(i, i-1, level), b.Joins(i, i+1, level)
				if !before && !after {
					before = b.Backward(i, level)
					after = !before
				}
				if before {
					w.before++
				}
				if after {
					w.after++
				}
			}
			want = append(want, w)
		}
		ly.WriteString("\n")
	}
	ly.WriteString("}\n")
	dir := t.TempDir()
	name := filepath.Join(dir, "beams.ly")
	if err := os.WriteFile(name, []byte(ly.String()), 0o666); err != nil {
		t.Fatal(err)
	}
	said, err := exec.Command(tool, "-dbackend=svg", "-o", filepath.Join(dir, "beams"), name).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%.2000s", err, said)
	}
	got := stemSaid.FindAllStringSubmatch(string(said), -1)
	if len(got) != len(want) || len(got) < 100 {
		t.Fatalf("LilyPond tells of %d stems, want %d", len(got), len(want))
	}
	count := func(list string) int {
		return len(strings.Fields(strings.NewReplacer("(", "", ")", "", "#f", "").Replace(list)))
	}
	hooks, directions, equal := 0, 0, 0
	for i, w := range want {
		up, before, after := got[i][1] == "1", count(got[i][2]), count(got[i][4])
		if before != w.before || after != w.after {
			hooks++
			t.Logf("%s: %d beams before and %d behind a stem, in LilyPond %d and %d", w.inside, w.before, w.after, before, after)
		}
		switch {
		case w.equal && w.up:
			t.Errorf("%s: up, though its notes are equally far from the middle line", w.inside)
		case w.equal && up != w.up:
			equal++
		case up != w.up:
			directions++
			t.Logf("%s: up %v, in LilyPond %v", w.inside, w.up, up)
		}
	}
	t.Logf("of %d stems %d have other beams than in LilyPond, %d another direction; of those in beams equally far %d", len(want), hooks, directions, equal)
	if hooks > 0 || directions > 0 {
		t.Errorf("%d other beams, %d other directions", hooks, directions)
	}
}
