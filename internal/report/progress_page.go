package report

import (
	_ "embed"
	"fmt"
	"strconv"
	"strings"
)

// Drawing is a chart that stands in a page.
type Drawing struct {
	Name string // "degrees", "pairs-2", "confusion", …: it begins with the field that it belongs to
	SVG  string // an element of SVG, escaped when it was drawn
}

// Page is everything that is known of the progress, in the order of a page.
type Page struct {
	*Progress
	Intro         []string
	ChangeHeading string
	ChangeLines   []string
	WeakHeading   string
	WeakLines     []string
	Sections      []Section
}

// Section is a table of a page, and the charts above it.
type Section struct {
	Field         string // of the table, as in by_degree: "degree"
	Heading, Note string
	Charts        []Drawing
	Head          []string
	Rows          [][]string
}

// Page returns the page, the drawings among their tables.
func (p *Progress) Page(drawings []Drawing) Page {
	page := Page{Progress: p, Intro: append(append([]string{"Practise next: " + p.NextLine()}, p.intro()...), p.reading()...)}
	page.ChangeHeading, page.ChangeLines = p.ChangeLines()
	page.WeakHeading, page.WeakLines = p.WeakLines()
	drawn := func(field string) (out []Drawing) {
		for _, d := range drawings {
			if strings.HasPrefix(d.Name, field) && !strings.HasSuffix(d.Name, "-named") {
				out = append(out, d)
			}
		}
		return out
	}
	for _, t := range p.tables() {
		if len(t.rows) == 0 {
			continue
		}
		s := Section{Field: t.field, Heading: t.heading, Charts: drawn(t.field), Rows: make([][]string, len(t.rows))}
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
	for _, g := range p.Matrices() {
		s := Section{Field: g.Field, Heading: g.Heading, Head: append([]string{""}, g.Columns...)}
		for _, d := range drawings {
			if d.Name == "confusion" && g.Field == d.Name || d.Name == g.Field+"-named" {
				s.Charts = append(s.Charts, d)
			}
		}
		for i, name := range g.Rows {
			row := []string{name}
			for _, n := range g.Cells[i] {
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
	return page
}

// htmlRow is a row of a table: name, answers, right, cents, spread, time.
func (p *Progress) htmlRow(t statsTable, s Stats) []string {
	row := []string{s.Shown, strconv.Itoa(s.Answers), notEnough, "", "", ""}
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
