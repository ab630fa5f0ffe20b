package sheet

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"io"
	"iter"
	"slices"
	"strings"

	_ "embed"

	"singback/internal/class"
	"singback/internal/plain"
	"singback/internal/report"
)

// Table is a class as its teacher sees it: who, what, since when.
type Table struct {
	Class string
	Made  class.Date
	Tasks []Column
	// Rows are the students, one after the other: they are gone over once for every
	// dozen of tasks, and none is kept.
	Rows iter.Seq2[Row, error]

	Weak      []Weak   // degrees and moves across the class, the weakest first
	Agreement []string // of machine and teacher, in words
	Paper     Paper
}

// Column is a task.
type Column struct {
	Name string
	Due  class.Date
}

// Row is a student with a cell for each task.
type Row struct {
	Name  string
	Cells []Cell
}

// Cell is what came of a task. The zero Cell is one that was not handed in.
type Cell struct {
	Handed    class.Date // of the take that counts; "": none
	Late      int        // days; of what was not handed in, days since it was due
	Verdict   *Verdict   // that counts; nil: none
	State     string     // in its place: "not marked yet", "not readable", "12 of 20"
	Reviewed  bool
	Overruled bool // the teacher says another than the machine
}

// Weak is a degree or a move and how often it was right in the class.
type Weak struct {
	Name      string
	Right, Of int
	Students  int
	Low, High float64 // of the share, with 95 % confidence
}

// Text says how often, with the interval.
func (w Weak) Text() string {
	return fmt.Sprintf("%d of %d right, %.0f %% (%.0f to %.0f %%)", w.Right, w.Of, 100*float64(w.Right)/float64(w.Of), 100*w.Low, 100*w.High)
}

// tasksAcross is how many tasks stand beside each other on paper.
const tasksAcross = 12

//go:embed table.html
var tablePage string

// tableParts are what stands before the rows and behind them.
var tableParts = func() [2]*template.Template {
	before, after, _ := strings.Cut(tablePage, "<!-- rows -->\n")
	parse := func(name, text string) *template.Template {
		return template.Must(template.New(name).Funcs(functions).Parse(text))
	}
	return [2]*template.Template{parse("before", before), parse("after", after)}
}()

// HTML writes the table as a page that asks for nothing from outside and can be printed.
// The rows are written as they come.
func (t Table) HTML(w io.Writer) error {
	out := plain.NewWriter(w)
	b := bufio.NewWriter(out)
	if err := tableParts[0].Execute(b, t); err != nil {
		return err
	}
	for from := 0; from == 0 || from < len(t.Tasks); from += tasksAcross {
		if err := t.part(b, from, min(from+tasksAcross, len(t.Tasks))); err != nil {
			return err
		}
	}
	return errors.Join(tableParts[1].Execute(b, t), b.Flush(), out.Flush())
}

// part writes the table of some of the tasks.
func (t Table) part(b *bufio.Writer, from, to int) error {
	b.WriteString("<div class=\"wide\">\n<table class=\"class\">\n<thead><tr><th scope=\"col\">student</th>")
	for _, c := range t.Tasks[from:to] {
		b.WriteString(`<th scope="col">` + esc(c.Name))
		if c.Due != "" {
			b.WriteString(`<br><span class="said">due ` + esc(string(c.Due)) + `</span>`)
		}
		b.WriteString("</th>")
	}
	b.WriteString("</tr></thead>\n<tbody>\n")
	for row, err := range t.Rows {
		if err != nil {
			return err
		}
		b.WriteString(`<tr><th scope="row">` + esc(row.Name) + "</th>")
		for i := from; i < to; i++ {
			var c Cell
			if i < len(row.Cells) {
				c = row.Cells[i]
			}
			b.WriteString("<td>" + c.html() + "</td>")
		}
		b.WriteString("</tr>\n")
	}
	_, err := b.WriteString("</tbody>\n</table>\n</div>\n")
	return err
}

// html is a cell: the sign and the mark, and below when it was handed in.
func (c Cell) html() string {
	out := ""
	switch {
	case c.Verdict != nil:
		shown := cmp.Or(c.Verdict.Shown, passed(c.Verdict.Pass))
		if c.Verdict.Pass {
			out = `<span title="passed">✓</span> `
		} else {
			out = `<span title="not passed">○</span> `
		}
		out += "<b>" + esc(shown) + "</b>"
		if c.Reviewed {
			out += ` <span class="said" title="heard by the teacher">` + c.teacher() + `</span>`
		}
	case c.State != "":
		out = esc(c.State)
	default:
		out = "–"
	}
	if below := c.since(); below != "" {
		out += `<br><span class="said">` + below + `</span>`
	}
	return out
}

// teacher marks what the teacher heard, and where another mark came of it.
func (c Cell) teacher() string {
	if c.Overruled {
		return "T!"
	}
	return "T"
}

// since says when it was handed in, how late, or how long it is due.
func (c Cell) since() string {
	out := ""
	if c.Handed != "" {
		out = string(c.Handed)
		if len(out) == len("2026-11-28") {
			out = out[5:]
		}
		if c.Late > 0 {
			out += fmt.Sprintf(" +%d", c.Late)
		}
	} else if c.Late > 0 {
		out = fmt.Sprintf("due +%d", c.Late)
	}
	return out
}

// text is a cell in a line of text.
func (c Cell) text(ascii bool) string {
	yes, no, none := "✓", "○", "–"
	if ascii {
		yes, no, none = "+", "o", "-"
	}
	out := none
	switch {
	case c.Verdict != nil:
		out = no
		if c.Verdict.Pass {
			out = yes
		}
		if c.Verdict.Shown != "" {
			out += " " + strings.ReplaceAll(c.Verdict.Shown, " %", "%")
		}
		if c.Reviewed {
			out += " " + c.teacher()
		}
	case c.State != "":
		out = plain.Line(c.State)
	}
	if c.Late > 0 {
		out += fmt.Sprintf(" +%d", c.Late)
	}
	return out
}

// Text is the table for a terminal; ascii keeps to ASCII.
func (t Table) Text(ascii bool) (string, error) {
	head := []string{"student"}
	for i := range t.Tasks {
		head = append(head, fmt.Sprint(i+1))
	}
	var rows [][]string
	for row, err := range t.Rows {
		if err != nil {
			return "", err
		}
		cells := []string{plain.Line(row.Name)}
		for _, c := range row.Cells {
			cells = append(cells, c.text(ascii))
		}
		rows = append(rows, cells)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s\n\n", plain.Line(t.Class), t.Made)
	b.WriteString(report.Columns(head, rows))
	if len(t.Tasks) > 0 {
		b.WriteString("\n")
	}
	for i, c := range t.Tasks {
		due := ""
		if c.Due != "" {
			due = ", due " + string(c.Due)
		}
		fmt.Fprintf(&b, "%d: %s%s\n", i+1, plain.Line(c.Name), due)
	}
	signs := "✓ passed, ○ not passed, – nothing handed in"
	if ascii {
		signs = "+ passed, o not passed, - nothing handed in"
	}
	b.WriteString(report.Hang("", signs+"; T heard by the teacher, T! and marked otherwise; +3 three days late", 0) + "\n")
	if len(t.Weak) > 0 {
		b.WriteString("\nWeak across the class, with 95 % intervals\n")
		var weak [][]string
		for _, w := range t.Weak {
			weak = append(weak, []string{plain.Line(w.Name), w.Text(), report.Many(w.Students, "student")})
		}
		b.WriteString(report.Columns(weak[0], weak[1:]))
	}
	if len(t.Agreement) > 0 {
		b.WriteString("\nMachine and teacher\n")
		for _, line := range t.Agreement {
			b.WriteString(report.Hang("", plain.Line(line), 0) + "\n")
		}
	}
	return b.String(), nil
}

// Listed makes rows of a list.
func Listed(rows []Row) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for _, r := range slices.Clone(rows) {
			if !yield(r, nil) {
				return
			}
		}
	}
}
