package report

import (
	"io"
	"strings"
	"unicode/utf8"
)

// columns sets cells that end with tabs in columns, two blanks apart, as tabwriter of the
// standard library does it (tested against it): what a line has after its last tab is in
// no column, and a column ends at a line that lacks it. It weighs a quarter of that in a
// browser, which loads this package.
type columns struct {
	w    io.Writer
	text strings.Builder
}

const columnGap = 2

func newColumns(w io.Writer) *columns { return &columns{w: w} }

// Write takes text.
func (c *columns) Write(p []byte) (int, error) { return c.text.Write(p) }

// Flush writes what was taken.
func (c *columns) Flush() error {
	text := c.text.String()
	c.text.Reset()
	var lines [][]string
	for _, line := range strings.Split(text, "\n") {
		lines = append(lines, strings.Split(line, "\t"))
	}
	var out strings.Builder
	setColumns(&out, lines, nil, true)
	_, err := io.WriteString(c.w, out.String())
	return err
}

// setColumns writes lines whose first columns have widths; last tells that the last of
// them ends the text, without a line break.
func setColumns(out *strings.Builder, lines [][]string, widths []int, last bool) {
	column := len(widths)
	has := func(i int) bool { return column < len(lines[i])-1 }
	for i := 0; i < len(lines); {
		if !has(i) {
			for j, cell := range lines[i] {
				out.WriteString(cell)
				if j < column {
					out.WriteString(strings.Repeat(" ", widths[j]-utf8.RuneCountInString(cell)))
				}
			}
			if i++; i < len(lines) || !last {
				out.WriteByte('\n')
			}
			continue
		}
		from, width := i, 0
		for ; i < len(lines) && has(i); i++ {
			width = max(width, utf8.RuneCountInString(lines[i][column])+columnGap)
		}
		setColumns(out, lines[from:i], append(widths[:column:column], width), last && i == len(lines))
	}
}

// Columns sets a head and rows below it as a table of plain text, each line ended.
func Columns(head []string, rows [][]string) string {
	var b strings.Builder
	w := newColumns(&b)
	for _, cells := range append([][]string{head}, rows...) {
		io.WriteString(w, strings.Join(cells, "\t")+"\n")
	}
	w.Flush()
	return trimLines(b.String())
}
