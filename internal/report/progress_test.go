package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"gonum.org/v1/plot/vg"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// invented makes the progress of an invented singer who sits down on so many
// days for 14 questions, learns la, and sings mi from sol too low.
func invented(t testing.TB, days int) *practice.Progress {
	rng := rand.New(rand.NewPCG(1, 2))
	keys := []theory.Key{key(t, "Ab major"), key(t, "F major")}
	do, mi, sol, la := theory.Degree{Step: 1}, theory.Degree{Step: 3}, theory.Degree{Step: 5}, theory.Degree{Step: 6}
	start := time.Date(2026, 9, 1, 19, 30, 0, 0, time.FixedZone("", 7200))
	p := &practice.Progress{}
	for d := range days {
		k := keys[d%2]
		for q := range 14 {
			it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: do}
			v := exercise.Verdict{HasSung: true, Cents: 8 * rng.NormFloat64(), Answer: 0.5 + rng.Float64()}
			right := 0.95
			switch q % 3 {
			case 1:
				it.Asked, right = la, 0.3+0.6*float64(d)/float64(days)
			case 2:
				it.Asked, it.From, it.Move = mi, &sol, exercise.Down
				v.Cents -= 20
			}
			v.Sung, v.Outcome = it.Asked, exercise.InTune
			switch {
			case rng.Float64() > right && q == 4:
				v.Outcome = exercise.Unsteady
			case rng.Float64() > right:
				v.Outcome, v.Sung = exercise.OtherDegree, sol
			case v.Cents < -35:
				v.Outcome = exercise.Flat
			case v.Cents > 35:
				v.Outcome = exercise.Sharp
			}
			p.Add(practice.Entry{At: start.AddDate(0, 0, d), Session: fmt.Sprint(d), Question: q + 1, Skill: it.Skill(), Item: it, Tolerance: 35, Verdict: v})
		}
	}
	return p
}

// listening adds to a progress what an invented singer has named, and melodies:
// fa in the bass is taken for la, m7b5 is named by chance.
func listening(p *practice.Progress) *practice.Progress {
	rng := rand.New(rand.NewPCG(3, 4))
	at := time.Date(2026, 10, 11, 19, 30, 0, 0, time.FixedZone("", 7200))
	put := func(skill exercise.Skill, right bool, named string, notes, good int) {
		v := exercise.Verdict{Outcome: exercise.WrongAnswer, Answer: 2 + rng.Float64()}
		if right {
			v.Outcome = exercise.RightAnswer
		}
		item := exercise.Item{Asked: theory.Degree{Step: 1}}
		p.Add(practice.Entry{At: at, Session: "last", Question: 1, Skill: skill, Item: item, Tolerance: 35, Verdict: v, Named: named, Notes: notes, NotesRight: good})
	}
	for i := range 40 {
		for _, step := range []int{1, 4, 5} {
			name := fmt.Sprint(step)
			if step == 4 && i%2 == 0 {
				name = "6"
			}
			put(exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: step}}, name == fmt.Sprint(step), name, 0, 0)
		}
		for j, q := range []string{"m7b5", "maj"} {
			name := q
			if j == 0 && i%4 > 0 {
				name = []string{"", "dim7", "m7"}[i%4-1]
			}
			put(exercise.Skill{Kind: exercise.QualitySkill, Chord: q}, name == q, name, 0, 0)
		}
	}
	for i := range 14 {
		put(exercise.Skill{Kind: exercise.MelodySkill, Level: 1 + i%7/6}, i%3 > 0, "", 10, 6+i%3*2)
	}
	return p
}

// What was named and melodies have their own tables, matrices and rows; they do
// not count as sung degrees.
func TestProgressOfHearing(t *testing.T) {
	p := NewProgress(ProgressOf{Singer: "Anna"}, listening(invented(t, 40)), Style{})
	golden(t, "progress-hearing", p.Text())
	for line := range strings.Lines(p.Text()) {
		if n := utf8.RuneCountInString(line); n > 81 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	golden(t, "progress-hearing-only", func() string {
		alone := NewProgress(ProgressOf{Singer: "Ben", Simulated: 214}, listening(&practice.Progress{}), Style{ASCII: true})
		return alone.Text()
	}())
	if p.Total.Answers != 560 || len(p.ByBass) != 3 || p.ByBass[1].Name != "4" || p.ByBass[1].Right != 20 || p.ByBass[1].Answers != 40 || p.ByBass[1].MedianCents != nil {
		t.Errorf("total %+v, bass %+v", p.Total, p.ByBass)
	}
	if len(p.ByQuality) != 2 || p.ByQuality[0].Name != "maj" || p.ByQuality[1].Right != 10 {
		t.Errorf("qualities %+v", p.ByQuality)
	}
	if len(p.ByLevel) != 2 || p.ByLevel[0].Answers != 12 || *p.ByLevel[0].Notes != 120 || p.ByLevel[0].Share == nil || p.ByLevel[1].Share != nil || p.ByLevel[0].AnswerS != nil {
		t.Errorf("levels %+v", p.ByLevel)
	}
	sum := map[string]int{}
	for _, n := range p.Named {
		sum[n.Kind+" "+n.Asked] += n.Answers
		if n.Asked == "4" && n.Named != nil && *n.Named == "6" && n.Answers != 20 {
			t.Errorf("fa taken for la %d times", n.Answers)
		}
		if n.Asked == "m7b5" && n.Named == nil && n.Answers != 10 {
			t.Errorf("m7b5 not named %d times", n.Answers)
		}
	}
	for _, name := range []string{"bass 1", "bass 4", "bass 5", "quality maj", "quality m7b5"} {
		if sum[name] != 40 {
			t.Errorf("the names of %s sum to %d", name, sum[name])
		}
	}
	weak := map[string]bool{}
	for _, w := range p.Weak {
		weak[w.Skill] = true
	}
	if !weak["bass 4"] || !weak["quality m7b5"] || weak["bass 1"] || weak["quality maj"] {
		t.Errorf("weak: %+v", p.Weak)
	}
	charts, err := p.Charts()
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
	if err := p.HTML(&page); err != nil || strings.Count(page.String(), "heard (rows) and named (columns)") != 2 || !strings.Contains(page.String(), "notes right") {
		t.Errorf("page: %v", err)
	}
	alone := NewProgress(ProgressOf{Singer: "Ben"}, listening(&practice.Progress{}), Style{})
	if _, err := alone.Charts(); err != nil {
		t.Error(err)
	}
	if err := alone.HTML(io.Discard); err != nil {
		t.Error(err)
	}
}

func TestProgressText(t *testing.T) {
	for _, c := range []struct {
		name  string
		days  int
		style Style
	}{
		{"progress", 40, Style{}},
		{"progress-ascii", 40, Style{Names: theory.Numbers, ASCII: true}},
		{"progress-short", 1, Style{}},
		{"progress-key", 40, Style{}},
	} {
		of := ProgressOf{Singer: "Anna"}
		if c.name == "progress-key" {
			k := key(t, "Ab major")
			of.Singer, of.Key = "Anna of the second row", &k
		}
		p := NewProgress(of, invented(t, c.days), c.style)
		text := p.Text()
		golden(t, c.name, text)
		for line := range strings.Lines(text) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
				t.Errorf("%s: %d columns: %s", c.name, n, line)
			}
			for _, r := range line {
				if c.style.ASCII && r > '~' {
					t.Errorf("%q in ASCII: %s", r, line)
				}
			}
		}
	}
}

// What was put in is said: la has become better, and nothing else has changed;
// mi from sol is too low; nine answers are not enough.
func TestProgressSaysWhatIsThere(t *testing.T) {
	p := NewProgress(ProgressOf{Singer: "Anna"}, invented(t, 40), Style{})
	for _, c := range p.Changes {
		if want := map[bool]string{true: "better", false: "unclear"}[c.Skill == "degree 6"]; c.Verdict != want {
			t.Errorf("%s: %s, want %s", c.Skill, c.Verdict, want)
		}
	}
	if len(p.Changes) != 3 || len(p.ByPair) != 1 || p.ByPair[0].Name != "5-3 down" || *p.ByPair[0].MedianHigh > -15 {
		t.Errorf("changes %+v, pairs %+v", p.Changes, p.ByPair)
	}
	short := NewProgress(ProgressOf{Singer: "Anna"}, invented(t, 1), Style{})
	for _, s := range short.ByDegree {
		if s.Answers >= 10 || s.Share != nil || s.ShareLow != nil || s.MedianCents != nil || s.SDCents != nil || s.AnswerS != nil {
			t.Errorf("a few answers: %+v, want only how many", s)
		}
	}
	if short.Drift != nil || len(short.Changes) != 0 || strings.Count(short.Text(), notEnough) < 4 {
		t.Errorf("one day: %+v\n%s", short.Drift, short.Text())
	}
}

// The fields are documented in the topic fields of the handbook.
func TestProgressRecords(t *testing.T) {
	k := key(t, "Ab major")
	p := NewProgress(ProgressOf{Singer: "Anna", Since: "2026-09-01", Key: &k, Skipped: 1}, invented(t, 3), Style{})
	var b bytes.Buffer
	if err := p.CSV(&b); err != nil {
		t.Fatal(err)
	}
	golden(t, "progress-csv", b.String())
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 2+len(p.ByDegree)+len(p.ByPair)+len(p.ByKey)+len(p.ByDay)+len(p.ByRegister)+len(p.ByQuestion) {
		t.Errorf("%d rows, %v", len(rows), err)
	}
	j, err := json.MarshalIndent(p, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "progress-json", string(j)+"\n")
	cells := 0
	for _, c := range p.Confusion {
		cells += c.Answers
	}
	if cells != p.Total.Answers {
		t.Errorf("the matrix has %d answers of %d", cells, p.Total.Answers)
	}
}

// Every chart is well-formed SVG and a PNG, and the same every time.
func TestCharts(t *testing.T) {
	p := NewProgress(ProgressOf{Singer: "Anna"}, invented(t, 40), Style{Names: theory.Numbers})
	charts, err := p.Charts()
	if err != nil {
		t.Fatal(err)
	}
	again, err := p.Charts()
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
	charts, err = many.Charts()
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
	few := NewProgress(ProgressOf{Singer: "Anna"}, invented(t, 1), Style{})
	if charts, err := few.Charts(); err != nil || len(charts) != 4 { // the key, ten questions, the day, the confusions
		t.Errorf("one day: %d charts, %v", len(charts), err)
	}
}

// The page asks for nothing from outside, and the name of the singer cannot
// put anything into it.
func TestProgressHTML(t *testing.T) {
	p := NewProgress(ProgressOf{Singer: `<script>alert("x")</script> & Søn`}, invented(t, 40), Style{})
	var b bytes.Buffer
	if err := p.HTML(&b); err != nil {
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

// Progress begins with what to practise next: what is weak, else what was right least
// often, else that nothing is, or is known to be.
func TestProgressBeginsWithWhatIsNext(t *testing.T) {
	share := func(x float64) *float64 { return &x }
	row := func(name string, x float64) Stats { return Stats{Answers: 20, Share: share(x), shown: name} }
	for _, c := range []struct {
		p    Progress
		want string
	}{
		{Progress{}, "singback today; there is too little yet to say what is weak."},
		{Progress{ByDegree: []Stats{{Answers: 5, shown: "do"}}}, "singback today; there is too little yet to say what is weak."},
		{Progress{ByDegree: []Stats{row("do", 1), row("la", 0.95)}}, "nothing stands out; singback today takes what is due."},
		{Progress{ByDegree: []Stats{row("do", 1), row("la", 0.8)}, ByPair: []Stats{row("do - la up", 0.6)}, ByBass: []Stats{row("fa", 0.5), row("re", 0.85)}},
			"bass fa (50 % of 20 right), do - la up (60 % of 20 right), la (80 % of 20 right)."},
		{Progress{Weak: []Weak{{shown: "ti", Share: 0.4, Answers: 30}}, ByDegree: []Stats{row("la", 0.1)}}, "ti (40 % of 30 right)."},
	} {
		if got := c.p.NextLine(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	p := NewProgress(ProgressOf{Singer: "Anna"}, invented(t, 40), Style{})
	if got := p.Text(); !strings.HasPrefix(got, "Practise next: la (56 % of 200 right).\n\nAnna: 560 answers") {
		t.Errorf("begins with %q", got[:100])
	}
}
