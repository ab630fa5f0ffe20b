package sheet

import (
	"bytes"
	"io"
	"strings"
	"testing"
)

func student(t testing.TB) Student {
	p := demo(t, 1, true)
	p.Height = 100
	return Student{
		Class: "Harbour choir, autumn", Name: "Mira Quill", Voice: "alto", Made: "2026-11-28",
		Tasks: []TaskLine{
			{Name: "The harbour lamp", Due: "2026-11-20", Handed: "2026-11-23", Late: 3, Times: 2, Machine: &Verdict{"63 %", false}, Teacher: &Verdict{"", true}, Why: "the two wrong notes are the tracker's: your s was loud"},
			{Name: "Scale up and down", Due: "2026-11-06", Handed: "2026-11-05", Times: 1, Machine: &Verdict{"93 %", true}},
			{Name: "Thirds", Due: "2026-11-13", Handed: "2026-11-13", Times: 1, Machine: &Verdict{"71 %", true}, Teacher: &Verdict{"71 %", true}},
			{Name: "Evening", Due: "2026-11-27", State: "not handed in"},
			{Name: "Sing la and ti, 20 answers", Due: "2026-12-04", State: "12 of 20 answers"},
		},
		Well: []string{"20 of 23 notes of The harbour lamp right", "do, re and sol right every time: 11 of 11", "the key was held: it moved by +4 cents from first to last note", "better than the take of 2026-11-12: 41 % to 63 %"},
		Practise: []Advice{
			{"la, which was right 2 of 5 times", "sung as sol and te", `singback sing --key G --degrees "do la" --count 10`, "sing?key=G&degrees=do+la&count=10"},
			{"going on without a halt", "waited before note 13", `singback series --level 1 --count 3`, "series?level=1&count=3"},
		},
		Newest: &Shown{Task: "The harbour lamp", Handed: "2026-11-23", Pictures: p.Systems(), Rests: []Rest{
			{"notes", "83 %", "19 of 23 notes right", []string{"0:02.9 la: another degree", "0:13.9 la: another degree", "0:16.0 mi: another degree"}},
			{"flow", "0 %", "waited before note 13", []string{"0:09.5 waits 1.2 s"}},
		}},
		Weeks:   []Week{{"2026-11-09", 3, 60, "71 %"}, {"2026-11-16", 5, 110, "78 %"}, {"2026-11-23", 1, 8, "-"}},
		Remarks: []Said{{"2026-11-24", "The harbour lamp", "Breathe before bar 4, then the fa comes by itself."}, {"2026-11-24", "", "Come ten minutes early on Friday."}},
	}
}

func page(t testing.TB, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestStudentHasIt finds everything on the sheet, in the page and in the text.
func TestStudentHasIt(t *testing.T) {
	s := student(t)
	html := page(t, s.HTML)
	for _, text := range []string{html, s.Text()} {
		text = strings.NewReplacer("<span class=\"word\">", "", "</span>", "", "&#34;", `"`, "&#39;", "'", "&amp;", "&", "&#43;", "+", "\u00a0", " ").Replace(text)
		for _, want := range []string{
			"Mira Quill", "Harbour choir, autumn", "2026-11-23, 3 days late", "63 %", "not handed in", "12 of 20 answers", "your s was loud",
			"it moved by +4 cents", `singback sing --key G --degrees "do la" --count 10`, "#sing?key=G&degrees=do+la&count=10",
			"0:13.9 la", "Breathe before bar 4", "110", "advises; the teacher decides", "no medical advice",
		} {
			if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
				t.Errorf("%q is not on the sheet", want)
			}
		}
	}
	if strings.Contains(html, "<a ") {
		t.Error("there is a link where nobody said where the page is")
	}
	s.Page = "https://school.example/singback/"
	if html := page(t, s.HTML); !strings.Contains(html, `href="https://school.example/singback/#sing?key=G`) {
		t.Error("no link to the page")
	}
}

// TestPagesFetchNothing: a page has no script, and names no place outside.
func TestPagesFetchNothing(t *testing.T) {
	s := student(t)
	bad := "</style></title><script src=//x.example/a.js></script><img src=x onerror=alert(1)>\x1b]0;x\a\u202e"
	s.Name, s.Class, s.Voice = bad, bad, bad
	for i := range s.Tasks {
		s.Tasks[i].Name, s.Tasks[i].Why, s.Tasks[i].State = bad, bad, bad
	}
	s.Remarks = append(s.Remarks, Said{"2026-11-28", bad, bad})
	s.Practise = append(s.Practise, Advice{bad, bad, bad, bad})
	s.Newest.Task, s.Newest.Rests = bad, []Rest{{bad, bad, bad, []string{bad}}}
	s.Page = "javascript:alert(1)"
	c := table(3, 2)
	c.Class, c.Weak[0].Name, c.Agreement[0] = bad, bad, bad
	c.Tasks[0].Name = bad
	c.Rows = Listed([]Row{{bad, []Cell{{State: bad}, {Verdict: &Verdict{bad, true}}}}})
	for name, html := range map[string]string{"student": page(t, s.HTML), "table": page(t, c.HTML)} {
		for _, no := range []string{"<script", "<img", "href=\"javascript", "<link", "@import", "url(", "\x1b", "\a", "\u202e"} {
			if strings.Contains(html, no) {
				t.Errorf("%s: %q is in the page", name, no)
			}
		}
		if !strings.Contains(html, "default-src 'none'") {
			t.Errorf("%s: the page may fetch", name)
		}
	}
}

func TestOverruled(t *testing.T) {
	for _, c := range []struct {
		name             string
		machine, teacher *Verdict
		counts           string
		overruled        bool
	}{
		{"not heard", &Verdict{"60 %", false}, nil, "60 %, not passed", false},
		{"confirmed", &Verdict{"60 %", false}, &Verdict{"", false}, "60 %, not passed", false},
		{"pass alone was said", &Verdict{"60 %", false}, &Verdict{"", true}, "60 %, passed", true},
		{"another figure", &Verdict{"60 %", false}, &Verdict{"65 %", false}, "65 %, not passed", true},
		{"not marked", nil, &Verdict{"", true}, "passed", false},
	} {
		l := TaskLine{Machine: c.machine, Teacher: c.teacher}
		if got := l.Counts().Text(); got != c.counts || l.Overruled() != c.overruled {
			t.Errorf("%s: %s, overruled %v", c.name, got, l.Overruled())
		}
	}
}
