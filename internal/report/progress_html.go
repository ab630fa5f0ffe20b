package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
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
	type table struct {
		Heading, First string
		Rows           [][]string
	}
	page := struct {
		*Progress
		Intro         []string
		Drift         string
		ChangeHeading string
		ChangeLines   []string
		Charts        []template.HTML
		Tables        []table
	}{Progress: p, Intro: p.intro(), Drift: p.DriftLine()}
	page.ChangeHeading, page.ChangeLines = p.ChangeLines()
	for _, c := range charts {
		svg, err := c.inline()
		if err != nil {
			return err
		}
		page.Charts = append(page.Charts, template.HTML(svg)) // what is in it was escaped when it was drawn
	}
	for _, t := range p.tables() {
		if len(t.rows) == 0 {
			continue
		}
		rows := make([][]string, len(t.rows))
		for i, s := range t.rows {
			rows[i] = p.htmlRow(s)
		}
		page.Tables = append(page.Tables, table{t.heading, t.first, rows})
	}
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
