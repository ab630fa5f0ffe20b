package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"
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
		Heading, First, Note string
		Charts               []template.HTML
		Rows                 [][]string
	}
	page := struct {
		*Progress
		Intro         []string
		ChangeHeading string
		ChangeLines   []string
		Sections      []section
	}{Progress: p, Intro: p.intro()}
	page.ChangeHeading, page.ChangeLines = p.ChangeLines()
	drawn := func(field string) (out []template.HTML) {
		for _, c := range charts {
			if strings.HasPrefix(c.Name, field) {
				out = append(out, template.HTML(c.element())) // what is in it was escaped when it was drawn
			}
		}
		return out
	}
	for _, t := range p.tables() {
		if len(t.rows) == 0 {
			continue
		}
		s := section{Heading: t.heading, First: t.first, Charts: drawn(t.field), Rows: make([][]string, len(t.rows))}
		for i, row := range t.rows {
			s.Rows[i] = p.htmlRow(row)
		}
		if t.field == "question" {
			s.Note = p.DriftLine()
		}
		page.Sections = append(page.Sections, s)
	}
	page.Sections = append(page.Sections, section{Heading: "Asked and sung", Charts: drawn("confusion")})
	return progressTemplate.Execute(w, page)
}

// htmlRow is a row of a table: name, answers, right, cents, spread, time.
func (p *Progress) htmlRow(s Stats) []string {
	row := []string{s.shown, strconv.Itoa(s.Answers), notEnough, "", "", ""}
	if s.Share != nil {
		row[2], row[5] = p.share(s), fmt.Sprintf("%.1f s", *s.AnswerS)
	}
	if s.MedianCents != nil {
		row[3], row[4] = s.median(), fmt.Sprintf("%.0f", *s.SDCents)
	}
	return row
}
