package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/testkit/invented"
	"singback/theory"
)

// What was named and melodies have their own tables, matrices and rows; they do
// not count as sung degrees.
func TestProgressOfHearing(t *testing.T) {
	p := NewProgress(ProgressOf{Singer: "Anna"}, invented.Heard(invented.Sung(40)), Style{})
	golden(t, "progress-hearing", p.Text())
	for line := range strings.Lines(p.Text()) {
		if n := utf8.RuneCountInString(line); n > 81 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	golden(t, "progress-hearing-only", func() string {
		alone := NewProgress(ProgressOf{Singer: "Ben", Simulated: 214}, invented.Heard(&practice.Progress{}), Style{ASCII: true})
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
	text := fmt.Sprint(p.Page(nil))
	if strings.Count(text, "heard (rows) and named (columns)") != 2 || !strings.Contains(text, "notes right") {
		t.Errorf("page: %s", text)
	}
	alone := NewProgress(ProgressOf{Singer: "Ben"}, invented.Heard(&practice.Progress{}), Style{})
	if page := alone.Page(nil); len(page.Sections) == 0 || page.Singer != "Ben" {
		t.Errorf("%+v", page)
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
		p := NewProgress(of, invented.Sung(c.days), c.style)
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
	p := NewProgress(ProgressOf{Singer: "Anna"}, invented.Sung(40), Style{})
	for _, c := range p.Changes {
		if want := map[bool]string{true: "better", false: "unclear"}[c.Skill == "degree 6"]; c.Verdict != want {
			t.Errorf("%s: %s, want %s", c.Skill, c.Verdict, want)
		}
	}
	if len(p.Changes) != 3 || len(p.ByPair) != 1 || p.ByPair[0].Name != "5-3 down" || *p.ByPair[0].MedianHigh > -15 {
		t.Errorf("changes %+v, pairs %+v", p.Changes, p.ByPair)
	}
	short := NewProgress(ProgressOf{Singer: "Anna"}, invented.Sung(1), Style{})
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
	p := NewProgress(ProgressOf{Singer: "Anna", Since: "2026-09-01", Key: &k, Skipped: 1}, invented.Sung(3), Style{})
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

// Progress begins with what to practise next: what is weak, else what was right least
// often, else that nothing is, or is known to be.
func TestProgressBeginsWithWhatIsNext(t *testing.T) {
	share := func(x float64) *float64 { return &x }
	row := func(name, shown string, x float64) Stats {
		return Stats{Name: name, Answers: 20, Share: share(x), Shown: shown}
	}
	for _, c := range []struct {
		p    Progress
		want string
		next []string
	}{
		{Progress{}, "singback today; there is too little yet to say what is weak.", nil},
		{Progress{ByDegree: []Stats{{Answers: 5, Shown: "do"}}}, "singback today; there is too little yet to say what is weak.", nil},
		{Progress{ByDegree: []Stats{row("1", "do", 1), row("6", "la", 0.95)}}, "nothing stands out; singback today takes what is due.", nil},
		{Progress{ByDegree: []Stats{row("1", "do", 1), row("6", "la", 0.8)}, ByPair: []Stats{row("1-6 up", "do - la up", 0.6)}, ByBass: []Stats{row("4", "fa", 0.5), row("2", "re", 0.85)}},
			"bass fa (50 % of 20 right), do - la up (60 % of 20 right), la (80 % of 20 right).", []string{"bass 4", "pair 1-6 up", "degree 6"}},
		{Progress{Weak: []Weak{{Skill: "degree 7", shown: "ti", Share: 0.4, Answers: 30}}, ByDegree: []Stats{row("6", "la", 0.1)}}, "ti (40 % of 30 right).", []string{"degree 7"}},
	} {
		if got := c.p.NextLine(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
		var skills []string
		next, _ := c.p.Next()
		for _, n := range next {
			skills = append(skills, n.Skill.String())
		}
		if !slices.Equal(skills, c.next) {
			t.Errorf("skills %q, want %q", skills, c.next)
		}
	}
	p := NewProgress(ProgressOf{Singer: "Anna"}, invented.Sung(40), Style{})
	if next, _ := p.Next(); len(next) != 1 || (next[0].Skill != exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}) {
		t.Errorf("next %+v", next)
	}
	if got := p.Text(); !strings.HasPrefix(got, "Practise next: la (56 % of 200 right).\n\nAnna: 560 answers") {
		t.Errorf("begins with %q", got[:100])
	}
}
