package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"singback/exercise/practice"
	"singback/internal/report"
	"singback/internal/testkit/invented"
	"singback/theory"
)

// Every chart is well-formed SVG and a PNG, and the same every time.
func TestOf(t *testing.T) {
	p := report.NewProgress(report.ProgressOf{Singer: "Anna"}, invented.Sung(40), report.Style{Names: theory.Numbers})
	charts, err := Of(&p)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Of(&p)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for i, c := range charts {
		names = append(names, c.Name)
		var svg, same, picture bytes.Buffer
		if err := errors.Join(c.SVG(&svg), again[i].SVG(&same), c.PNG(&picture)); err != nil {
			t.Fatal(err)
		}
		if svg.String() != same.String() {
			t.Errorf("%s is drawn in two ways", c.Name)
		}
		texts := 0
		for d := xml.NewDecoder(&svg); ; {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", c.Name, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
				texts++
			}
		}
		if img, err := png.Decode(&picture); err != nil || img.Bounds().Dx() < 800 || texts < 3 {
			t.Errorf("%s: %v, %d texts", c.Name, err, texts)
		}
	}
	if got := strings.Join(names, " "); got != "degrees degrees-cents pairs pairs-cents keys registers questions days confusion" {
		t.Errorf("charts: %s", got)
	}
	// Forty rows are two charts of twenty, which a page can hold.
	many := p
	many.ByPair = slices.Repeat(p.ByPair, 40)
	names = nil
	charts, err = Of(&many)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range charts {
		if strings.HasPrefix(c.Name, "pairs") {
			names = append(names, c.Name+": "+c.Title)
		}
		if c.height > 26.7*vg.Centimeter {
			t.Errorf("%s is %.1f cm high, more than a page of A4 less its margins", c.Name, c.height/vg.Centimeter)
		}
	}
	if got, want := strings.Join(names, "\n"), `pairs: From one degree to another: share right (1 of 2)
pairs-2: From one degree to another: share right (2 of 2)
pairs-cents: From one degree to another: flat or sharp (1 of 2)
pairs-cents-2: From one degree to another: flat or sharp (2 of 2)`; got != want {
		t.Errorf("charts:\n%s\nwant:\n%s", got, want)
	}
	few := report.NewProgress(report.ProgressOf{Singer: "Anna"}, invented.Sung(1), report.Style{})
	if charts, err := Of(&few); err != nil || len(charts) != 4 { // the key, ten questions, the day, the confusions
		t.Errorf("one day: %d charts, %v", len(charts), err)
	}
}

// The page asks for nothing from outside, and the name of the singer cannot
// put anything into it.
func TestPage(t *testing.T) {
	p := report.NewProgress(report.ProgressOf{Singer: `<script>alert("x")</script> & Søn`}, invented.Sung(40), report.Style{})
	var b bytes.Buffer
	if err := Page(&b, &p); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for _, bad := range []string{"<script", "<link", "<img", "<iframe", "@import", "url(", "src=", "href=\"http", "<?xml", "ZgotmplZ"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page has %s in it", bad)
		}
	}
	for _, want := range []string{"&lt;script&gt;", "&amp; Søn", "default-src &#39;none&#39;", "la: better:"} {
		if !strings.Contains(page, want) && !strings.Contains(page, strings.ReplaceAll(want, "&#39;", "'")) {
			t.Errorf("the page lacks %s", want)
		}
	}
	for _, tag := range []string{"<svg", "</svg>", "<title>From one degree", "<title>Asked and sung</title>"} {
		want := map[string]int{"<svg": 9, "</svg>": 9, "<title>From one degree": 2, "<title>Asked and sung</title>": 1}[tag]
		if n := strings.Count(page, tag); n != want {
			t.Errorf("%s is %d times in the page, want %d", tag, n, want)
		}
	}
	// The only addresses are the names of XML namespaces, which nobody fetches.
	rest := strings.NewReplacer(`xmlns="http://www.w3.org/2000/svg"`, "", `xmlns:xlink="http://www.w3.org/1999/xlink"`, "").Replace(page)
	if strings.Contains(rest, "http:") || strings.Contains(rest, "https:") || strings.Contains(rest, "//") {
		t.Error("the page has an address in it")
	}
}

// What was named and melodies have charts of their own, alone too.
func TestOfHearing(t *testing.T) {
	p := report.NewProgress(report.ProgressOf{Singer: "Anna"}, invented.Heard(invented.Sung(40)), report.Style{})
	charts, err := Of(&p)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, c := range charts {
		names = append(names, c.Name)
	}
	for _, want := range []string{"bass", "quality", "levels", "bass-named", "quality-named", "confusion"} {
		if !slices.Contains(names, want) {
			t.Errorf("no chart %q among %v", want, names)
		}
	}
	var page bytes.Buffer
	if err := Page(&page, &p); err != nil || strings.Count(page.String(), "<svg") != len(charts) {
		t.Errorf("%d charts, and %d in the page: %v", len(charts), strings.Count(page.String(), "<svg"), err)
	}
	alone := report.NewProgress(report.ProgressOf{Singer: "Ben"}, invented.Heard(&practice.Progress{}), report.Style{})
	if err := Page(io.Discard, &alone); err != nil {
		t.Error(err)
	}
}
