package sheet

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strings"

	"singback/internal/class"
	"singback/internal/plain"
	"singback/internal/report"
)

// Student is what one student gets: nothing of any other student is in it.
type Student struct {
	Class, Name string
	Voice       string
	Made        class.Date
	Tasks       []TaskLine
	Well        []string // what went well, from what was measured
	Practise    []Advice // what to practise, the weightiest first
	Newest      *Shown   // the newest take; nil: none
	Weeks       []Week   // of practice, in order of time
	Remarks     []Said   // the teacher's

	Paper Paper
	Page  string // the address of the page, http or https, that links begin with; "": none is a link
}

// Verdict is a mark as it is shown.
type Verdict struct {
	Shown string // as the rubric calls it: "83 %", "7.5 of 9"; "": only pass was said
	Pass  bool
}

// Text is the verdict in words.
func (v Verdict) Text() string {
	if v.Shown == "" {
		return passed(v.Pass)
	}
	return v.Shown + ", " + passed(v.Pass)
}

func passed(pass bool) string {
	if pass {
		return "passed"
	}
	return "not passed"
}

// TaskLine is a task of a student and what came of it.
type TaskLine struct {
	Name        string
	Due, Handed class.Date
	Late        int      // days
	Times       int      // takes that were handed in
	State       string   // in the place of a mark: "not handed in", "not marked yet", why it could not be read
	Machine     *Verdict // nil: none
	Teacher     *Verdict // nil: not heard by the teacher
	Why         string   // the teacher's words
}

// Counts is the verdict that counts: the teacher's where there is one. A teacher who said
// pass or not leaves the machine's figure.
func (t TaskLine) Counts() *Verdict {
	if t.Teacher == nil || t.Teacher.Shown != "" || t.Machine == nil {
		return either(t.Teacher, t.Machine)
	}
	return &Verdict{t.Machine.Shown, t.Teacher.Pass}
}

func either(a, b *Verdict) *Verdict {
	if a != nil {
		return a
	}
	return b
}

// Overruled tells that the teacher's word is another than the machine's.
func (t TaskLine) Overruled() bool {
	return t.Teacher != nil && t.Machine != nil && (t.Teacher.Pass != t.Machine.Pass || t.Teacher.Shown != "" && t.Teacher.Shown != t.Machine.Shown)
}

// day says when a take was handed in.
func (t TaskLine) day() string {
	switch {
	case t.Handed == "":
		return "-"
	case t.Late > 0:
		return fmt.Sprintf("%s, %s late", t.Handed, report.Many(t.Late, "day"))
	}
	return string(t.Handed)
}

// Advice is a thing to practise.
type Advice struct {
	What    string
	Why     string // what was measured
	Command string // with the program's name
	Address string // of the page, behind its #
}

// Shown is a take as it is shown.
type Shown struct {
	Task     string
	Handed   class.Date
	Rests    []Rest   // what the mark rests on
	Pictures []string // SVG, as Picture.Systems draws them
	Staff    string   // SVG; "": none
}

// Rest is one thing that a mark rests on.
type Rest struct {
	What   string // the criterion
	Shown  string // what it comes to, "92 %"; "": not measured
	Why    string
	Places []string // "0:07.2 fa: left out"
}

// Week is what was practised in one week.
type Week struct {
	From    class.Date // its Monday
	Days    int
	Answers int
	Right   string // "81 %"; "-" where that are too few to say
}

// Said is a remark of the teacher.
type Said struct {
	At    class.Date
	About string // a task; "": at all
	Words string
}

// Paper is a size of paper.
type Paper string

// The sizes. AnyPaper leaves it to the printer: a sheet fits both.
const (
	AnyPaper Paper = ""
	A4       Paper = "A4"
	Letter   Paper = "letter"
)

// PaperNamed reads a size, in any case.
func PaperNamed(s string) (Paper, bool) {
	for _, p := range []Paper{A4, Letter} {
		if strings.EqualFold(s, string(p)) {
			return p, true
		}
	}
	return "", false
}

// Cautions stand on every sheet.
var Cautions = []string{
	"The machine's mark advises; the teacher decides. It is no examination mark.",
	"Sing at ease; stop if it hurts, feels tight or turns hoarse. This is no medical advice; a voice teacher or clinician decides.",
}

//go:embed student.html
var studentPage string

//go:embed sheet.css
var style string

var functions = template.FuncMap{
	"plain":   func(s string) string { return strings.ReplaceAll(plain.Line(s), " %", "\u00a0%") },
	"day":     TaskLine.day,
	"verdict": verdict,
	"drawn":   func(svg string) template.HTML { return template.HTML(svg) }, // escaped when it was drawn
	"style":   func(p Paper) template.CSS { return template.CSS(styleFor(p, false)) },
	"wide":    func(p Paper) template.CSS { return template.CSS(styleFor(p, true)) },
	"words":   words,
	"caution": func() []string { return Cautions },
}

// styleFor is the style of a page; wide ones lie on their side.
func styleFor(p Paper, wide bool) string {
	size := strings.TrimSpace(string(p))
	if wide {
		size = strings.TrimSpace(size + " landscape")
	}
	out := style + PictureStyle
	if size != "" {
		out += "@page{size:" + size + "}\n"
	}
	return out
}

// words is a command that breaks between its words alone.
func words(command string) template.HTML {
	var b strings.Builder
	for i, w := range strings.Fields(command) {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(`<span class="word">` + esc(w) + `</span>`)
	}
	return template.HTML(b.String())
}

// verdict is a mark with a sign of its own for who passed and who did not.
func verdict(v *Verdict) template.HTML {
	if v == nil {
		return ""
	}
	out := passSign(v.Pass) + " "
	if v.Shown != "" {
		out += "<b>" + esc(v.Shown) + "</b>, "
	}
	return template.HTML(out + passed(v.Pass))
}

// passSign is a tick in a full circle, or a bar in an empty one.
func passSign(pass bool) string {
	if pass {
		return `<svg class="passed" width="12" height="12" viewBox="0 0 12 12" aria-hidden="true"><circle cx="6" cy="6" r="6" fill="currentColor"/><path d="M3 6.200l2.200 2.300l4 -5" fill="none" stroke="var(--paper)" stroke-width="1.600"/></svg>`
	}
	return `<svg class="not-passed" width="12" height="12" viewBox="0 0 12 12" aria-hidden="true"><circle cx="6" cy="6" r="5.200" fill="none" stroke="currentColor" stroke-width="1.400"/><path d="M3 6h6" stroke="currentColor" stroke-width="1.600"/></svg>`
}

var studentTemplate = template.Must(template.New("student").Funcs(functions).Parse(studentPage))

// HTML writes the sheet as a page that asks for nothing from outside and can be printed.
func (s Student) HTML(w io.Writer) error {
	out := plain.NewWriter(w)
	return errors.Join(studentTemplate.Execute(out, s), out.Flush())
}

// Link is where a piece of advice leads to.
func (s Student) Link(a Advice) template.URL {
	if !strings.HasPrefix(s.Page, "https://") && !strings.HasPrefix(s.Page, "http://") {
		return ""
	}
	return template.URL(strings.TrimSuffix(s.Page, "#") + "#" + a.Address)
}

// Text is the sheet for a terminal, without the pictures.
func (s Student) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s, %s\n", plain.Line(s.Name), plain.Line(s.Class), s.Made)
	heading := func(text string) { b.WriteString("\n" + text + "\n") }
	item := func(text string) { b.WriteString(report.Hang("  -", plain.Line(text), 4) + "\n") }
	if len(s.Tasks) > 0 {
		b.WriteString("\n")
		var rows [][]string
		for _, t := range s.Tasks {
			mark := t.State
			if v := t.Counts(); v != nil {
				mark = v.Text()
				if t.Overruled() {
					mark += " (the machine: " + t.Machine.Text() + ")"
				}
			}
			rows = append(rows, []string{plain.Line(t.Name), orDash(string(t.Due)), t.day(), plain.Line(mark)})
		}
		b.WriteString(report.Columns([]string{"task", "due", "handed in", "mark"}, rows))
		for _, t := range s.Tasks {
			if t.Why != "" {
				item(t.Name + ": " + t.Why)
			}
		}
	}
	if len(s.Well) > 0 {
		heading("What went well")
		for _, w := range s.Well {
			item(w)
		}
	}
	if len(s.Practise) > 0 {
		heading("To practise")
		for _, a := range s.Practise {
			item(a.What + because(a.Why))
			b.WriteString("    " + a.Command + "\n    on the page: #" + a.Address + "\n")
		}
	}
	if n := s.Newest; n != nil && len(n.Rests) > 0 {
		heading(fmt.Sprintf("What the mark of %s rests on", plain.Line(n.Task)))
		for _, r := range n.Rests {
			item(r.line())
			for _, p := range r.Places {
				b.WriteString("    " + plain.Line(p) + "\n")
			}
		}
	}
	if len(s.Remarks) > 0 {
		heading("From the teacher")
		for _, r := range s.Remarks {
			item(r.line())
		}
	}
	if len(s.Weeks) > 0 {
		heading("Practice")
		var rows [][]string
		for _, w := range s.Weeks {
			rows = append(rows, []string{string(w.From), fmt.Sprint(w.Days), fmt.Sprint(w.Answers), w.Right})
		}
		b.WriteString(report.Columns([]string{"week from", "days", "answers", "right"}, rows))
	}
	b.WriteString("\n")
	for _, c := range Cautions {
		b.WriteString(report.Hang("", c, 0) + "\n")
	}
	return b.String()
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ": " + why
}

func (r Rest) line() string {
	out := r.What
	if r.Shown != "" {
		out += ", " + r.Shown
	}
	return out + because(r.Why)
}

func (r Said) line() string {
	if r.About == "" {
		return r.Words
	}
	return r.About + ": " + r.Words
}
