package report

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"

	"singback/internal/plain"
)

//go:embed progress.html
var progressPage string

var progressTemplate = template.Must(template.New("progress").Parse(progressPage))

// HTML writes one page with everything in it: it asks for nothing from outside
// and can be printed.
func (p *Progress) HTML(w io.Writer) error {
	charts, err := p.Charts()
	if err != nil {
		return err
	}
	type section struct {
		Heading, Note string
		Charts        []template.HTML
		Head          []string
		Rows          [][]string
	}
	page := struct {
		*Progress
		Intro         []string
		ChangeHeading string
		ChangeLines   []string
		WeakHeading   string
		WeakLines     []string
		Sections      []section
	}{Progress: p, Intro: append(append([]string{"Practise next: " + p.NextLine()}, p.intro()...), p.reading()...)}
	page.ChangeHeading, page.ChangeLines = p.ChangeLines()
	page.WeakHeading, page.WeakLines = p.WeakLines()
	drawn := func(field string) (out []template.HTML) {
		for _, c := range charts {
			if strings.HasPrefix(c.Name, field) && !strings.HasSuffix(c.Name, "-named") {
				out = append(out, template.HTML(c.element())) // what is in it was escaped when it was drawn
			}
		}
		return out
	}
	for _, t := range p.tables() {
		if len(t.rows) == 0 {
			continue
		}
		s := section{Heading: t.heading, Charts: drawn(t.field), Rows: make([][]string, len(t.rows))}
		s.Head = []string{t.first, "answers", "right", "cents", "spread", "time"}
		switch {
		case t.heard():
			s.Head = []string{t.first, "answers", "right", "time"}
		case t.field == "level":
			s.Head = []string{t.first, "answers", "passed", "notes right"}
		}
		for i, row := range t.rows {
			s.Rows[i] = p.htmlRow(t, row)
		}
		if t.field == "question" {
			s.Note = p.DriftLine()
		}
		page.Sections = append(page.Sections, s)
	}
	for _, g := range p.grids() {
		s := section{Heading: g.heading, Head: append([]string{""}, g.columns...)}
		for _, c := range charts {
			if c.Name == "confusion" && g.field == c.Name || c.Name == g.field+"-named" {
				s.Charts = append(s.Charts, template.HTML(c.element()))
			}
		}
		for i, name := range g.rows {
			row := []string{name}
			for _, n := range g.cells[i] {
				cell := ""
				if n > 0 {
					cell = strconv.Itoa(n)
				}
				row = append(row, cell)
			}
			s.Rows = append(s.Rows, row)
		}
		page.Sections = append(page.Sections, s)
	}
	out := plain.NewWriter(w)
	return errors.Join(progressTemplate.Execute(out, page), out.Flush())
}

// htmlRow is a row of a table: name, answers, right, cents, spread, time.
func (p *Progress) htmlRow(t statsTable, s Stats) []string {
	row := []string{s.shown, strconv.Itoa(s.Answers), notEnough, "", "", ""}
	if s.Share != nil {
		row[2] = p.share(s)
	}
	switch {
	case t.heard():
		row = row[:4]
		if s.AnswerS != nil {
			row[3] = fmt.Sprintf("%.1f s", *s.AnswerS)
		}
		return row
	case s.Notes != nil:
		row[3] = fmt.Sprintf("%d of %d", *s.NotesRight, *s.Notes)
		return row[:4]
	case s.AnswerS != nil:
		row[5] = fmt.Sprintf("%.1f s", *s.AnswerS)
	}
	if s.MedianCents != nil {
		row[3], row[4] = s.median(), fmt.Sprintf("%.0f", *s.SDCents)
	}
	return row
}
