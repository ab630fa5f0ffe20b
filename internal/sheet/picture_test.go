package sheet

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"singback/exercise/grade"
	"singback/theory"
)

// element is one of a picture, as a parser of XML reads it.
type element struct {
	name  string
	attr  map[string]string
	class []string
	in    []string // the classes of those around it
	text  string
}

func elements(t testing.TB, svg string) (out []element) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	var open []int
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatalf("no XML: %v", err)
		}
		switch v := token.(type) {
		case xml.StartElement:
			e := element{name: v.Name.Local, attr: map[string]string{}}
			for _, a := range v.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			e.class = strings.Fields(e.attr["class"])
			for _, i := range open {
				e.in = append(e.in, out[i].class...)
			}
			open, out = append(open, len(out)), append(out, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				out[open[len(open)-1]].text += string(v)
			}
		}
	}
}

func (e element) number(t testing.TB, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of %s: %v", name, e.name, err)
	}
	return v
}

func has(list []string, s string) bool { return slices.Contains(list, s) }

// TestPictureIsToScale reads pitch and time back from the drawing: a whole tone is 200
// cents and a fourth 500 (equal temperament), which the bands of re and do, sol and do
// set apart, and what was planted is found as far from its band.
func TestPictureIsToScale(t *testing.T) {
	p := demo(t, 1, false)
	p.From, p.To, p.NoLegend = 0.5, 26, true
	faults := map[int]float64{3: 70, 14: -200, 17: -62}
	var system element
	var bands []element
	var curve [][2]float64
	for _, e := range elements(t, p.SVG()) {
		switch {
		case has(e.class, "tp-system"):
			system = e
		case has(e.class, "tp-band") && !has(e.in, "tp-added"):
			bands = append(bands, e)
		case has(e.class, "tp-curve"):
			for _, part := range strings.FieldsFunc(e.attr["d"], func(r rune) bool { return r == 'M' || r == 'L' }) {
				var x, y float64
				if _, err := fmt.Sscan(part, &x, &y); err != nil {
					t.Fatal(err)
				}
				curve = append(curve, [2]float64{x, y})
			}
		}
	}
	if len(bands) != len(p.Line.Notes) {
		t.Fatalf("%d bands of %d notes", len(bands), len(p.Line.Notes))
	}
	middle := func(i int) float64 { return bands[i].number(t, "y") + bands[i].number(t, "height")/2 }
	// The first note is a d and the last a g below it: a fifth, 700 cents.
	semitone := (middle(len(bands)-1) - middle(0)) / 7
	if b := bands[0].number(t, "height") / 2 / semitone * 100; math.Abs(b-p.Tolerance) > 1.5 {
		t.Errorf("a band reaches %.1f cents from its middle, tolerance %g", b, p.Tolerance)
	}
	scale := system.number(t, "data-width") / (system.number(t, "data-to") - system.number(t, "data-from"))
	for i := range bands {
		n := p.Grading.Notes[i]
		if n.Answer.Count == 0 {
			continue
		}
		at := (p.Take.Notes[n.Answer.First].Onset + p.Take.Notes[n.Answer.First].Offset) / 2
		if n.Answer.Merged || i+1 < len(bands) && p.Grading.Notes[i+1].Answer.Merged {
			continue
		}
		var ys []float64
		for _, c := range curve {
			if sec := 0.5 + c[0]/scale; math.Abs(sec-at) < 0.1 {
				ys = append(ys, c[1])
			}
		}
		if len(ys) == 0 {
			t.Errorf("note %d: no curve at %.2f s", i+1, at)
			continue
		}
		slices.Sort(ys)
		off := (middle(i) - (ys[0]+ys[len(ys)-1])/2) / semitone * 100
		if math.Abs(off-faults[i]) > 8 {
			t.Errorf("note %d: drawn %+.0f cents from its band, planted %+.0f", i+1, off, faults[i])
		}
	}
}

// TestPictureTellsByShape finds each finding with a sign and a class of its own, once on
// all systems together.
func TestPictureTellsByShape(t *testing.T) {
	for _, times := range []int{1, 12} {
		p := demo(t, times, false)
		systems := p.Systems()
		count := map[string]int{}
		for _, s := range systems[:len(systems)-1] {
			for _, e := range elements(t, s) {
				if has(e.class, "tp-sign") && !has(e.in, "tp-plot") {
					count[e.in[len(e.in)-1]]++
				}
			}
		}
		want := map[string]int{"tp-added": len(p.Grading.Added)}
		for _, n := range p.Grading.Notes {
			want["tp-"+classNames[n.Finding]]++
		}
		for class, n := range want {
			if got := count[class]; got != n && class != "tp-unheard" {
				t.Errorf("%d times: %d signs of %s, want %d", times, got, class, n)
			}
		}
		if times == 12 && (len(systems) < 8 || len(systems) > 20) {
			t.Errorf("%.0f s are on %d systems", p.Take.Notes[len(p.Take.Notes)-1].Offset, len(systems)-1)
		}
	}
}

// TestPictureOfAnything draws what is hardly a take, and text that is hostile.
func TestPictureOfAnything(t *testing.T) {
	p := demo(t, 1, true)
	performed, err := grade.NewPerformedLine(p.Take.Notes)
	if err != nil {
		t.Fatal(err)
	}
	untimed := p.Line
	untimed.Timed, untimed.Bars = false, nil
	spoken := p.Take
	spoken.Notes = spoken.Notes[:1]
	for name, c := range map[string]struct {
		line grade.Line
		take grade.Performance
	}{
		"nothing":     {p.Line, grade.Performance{}},
		"performed":   {performed, p.Take},
		"named":       {performed.Named(theory.Key{}), p.Take},
		"untimed":     {untimed, p.Take},
		"one note":    {p.Line, spoken},
		"no curve":    {p.Line, grade.Performance{Notes: p.Take.Notes}},
		"curve alone": {p.Line, grade.Performance{Curve: p.Take.Curve}},
	} {
		g, err := grade.Of(c.line, c.take, grade.DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		q := Picture{Line: c.line, Take: c.take, Grading: g, Tolerance: 45, Title: "</title><script>alert(1)</script>\x1b[2J\u202e&\"'", Stressed: []Stretch{{1, 2}}}
		for _, svg := range append(q.Systems(), q.SVG()) {
			elements(t, svg)
			for _, bad := range []string{"<script", "NaN", "Inf", "\x1b", "\u202e"} {
				if strings.Contains(svg, bad) {
					t.Errorf("%s: %q is in the picture", name, bad)
				}
			}
		}
	}
}

// TestStaffMarks has a mark for each note.
func TestStaffMarks(t *testing.T) {
	p := demo(t, 1, false)
	svg, err := p.Staff(harbour(t))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range elements(t, svg) {
		if has(e.class, "mark") {
			n++
		}
	}
	if n != len(p.Line.Notes) {
		t.Errorf("%d marks for %d notes", n, len(p.Line.Notes))
	}
	short := harbour(t)
	short.Notes = short.Notes[:5]
	if _, err := p.Staff(short); !errors.Is(err, ErrNoStaff) {
		t.Errorf("another score: %v", err)
	}
}

func TestClock(t *testing.T) {
	for s, want := range map[float64]string{0: "0:00.0", 7.24: "0:07.2", 59.96: "1:00.0", 754.3: "12:34.3", -1: "0:00.0"} {
		if got := Clock(s); got != want {
			t.Errorf("Clock(%g) = %s, want %s", s, got, want)
		}
	}
}

// TestPictureOfChance draws takes that were thrown together: the picture is XML, and every
// number in it is one.
func TestPictureOfChance(t *testing.T) {
	p := demo(t, 1, false)
	rapid.Check(t, func(r *rapid.T) {
		line := p.Line
		if n := rapid.IntRange(1, len(line.Notes)).Draw(r, "written"); n < len(line.Notes) {
			line.Notes, line.Degrees = line.Notes[:n], line.Degrees[:n]
		}
		line.Timed = rapid.Bool().Draw(r, "timed")
		var take grade.Performance
		at := 0.0
		for range rapid.IntRange(0, 30).Draw(r, "sung") {
			at += rapid.Float64Range(0.01, 3).Draw(r, "gap")
			n := grade.Sung{Cents: rapid.Float64Range(3000, 9000).Draw(r, "cents"), Onset: at, Offset: at + rapid.Float64Range(0.05, 2).Draw(r, "length")}
			at = n.Offset
			take.Notes = append(take.Notes, n)
		}
		g, err := grade.Of(line, take, grade.DefaultRules())
		if err != nil {
			r.Fatal(err)
		}
		q := Picture{Line: line, Take: take, Grading: g, Tolerance: 45, Names: theory.Numbers, Width: rapid.IntRange(0, 2000).Draw(r, "width")}
		if rapid.Bool().Draw(r, "window") {
			q.From = rapid.Float64Range(0, 50).Draw(r, "from")
			q.To = q.From + rapid.Float64Range(0.01, 20).Draw(r, "long")
		}
		svg := q.SVG()
		elements(t, svg)
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			r.Fatal("a number is none")
		}
	})
}
