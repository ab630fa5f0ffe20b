package help

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// gap is how many columns stand between the columns of a table.
const gap = 2

// Text returns the topic as plain text in lines of at most width columns, but for
// lines that are shown as they are, like what a command prints, and words that are
// longer. With ascii every character is of ASCII, for a terminal that has no others.
func (t Topic) Text(width int, ascii bool) string {
	source := t.Source
	if ascii {
		source = inASCII(source)
	}
	p := page{width: max(20, width)}
	lines := strings.Split(strings.TrimRight(source, "\n"), "\n")
	for len(lines) > 0 {
		n := 1
		switch line := lines[0]; {
		case line == "":
			p.tight = false
		case strings.HasPrefix(line, "#"):
			p.heading(line)
		case isBlock(line):
			for n < len(lines) && (isBlock(lines[n]) || lines[n] == "" && n+1 < len(lines) && isBlock(lines[n+1])) {
				n++
			}
			p.block(lines[:n])
		case strings.HasPrefix(line, "|"):
			for n < len(lines) && strings.HasPrefix(lines[n], "|") {
				n++
			}
			p.table(lines[:n])
		default:
			item := itemMark(line)
			for n < len(lines) && continues(lines[n], item != "") {
				n++
			}
			p.paragraph(strings.Join(lines[:n], " "), item)
		}
		lines = lines[n:]
	}
	return p.b.String()
}

// isBlock tells whether a line is shown as it is.
func isBlock(line string) bool { return strings.HasPrefix(line, "    ") }

// itemMark returns what a line of a list begins with, "- " or "1. ", else "".
func itemMark(line string) string {
	if strings.HasPrefix(line, "- ") {
		return "- "
	}
	digits := len(line) - len(strings.TrimLeft(line, "0123456789"))
	if digits > 0 && strings.HasPrefix(line[digits:], ". ") {
		return line[:digits+2]
	}
	return ""
}

// continues tells whether a line goes on with the paragraph, or the item of a list,
// before it.
func continues(line string, item bool) bool {
	switch {
	case line == "", strings.HasPrefix(line, "#"), strings.HasPrefix(line, "|"):
		return false
	case item:
		return line[0] == ' '
	}
	return itemMark(line) == "" && !isBlock(line)
}

// page is what has been set so far.
type page struct {
	b     strings.Builder
	width int
	tight bool // an item of a list was set last
}

// begin leaves a line between what stands there and what comes.
func (p *page) begin(item bool) {
	if p.b.Len() > 0 && !(item && p.tight) {
		p.b.WriteByte('\n')
	}
	p.tight = item
}

func (p *page) line(s string) {
	p.b.WriteString(strings.TrimRight(s, " "))
	p.b.WriteByte('\n')
}

func (p *page) heading(line string) {
	p.begin(false)
	text := strings.TrimLeft(line, "#")
	level := len(line) - len(text)
	text = inline(strings.TrimSpace(text))
	n := 0
	for _, line := range wrap(text, p.width) {
		p.line(line)
		n = max(n, utf8.RuneCountInString(line))
	}
	switch level {
	case 1:
		p.line(strings.Repeat("=", n))
	case 2:
		p.line(strings.Repeat("-", n))
	}
}

// block shows lines as they are, set in by two columns where they find room.
func (p *page) block(lines []string) {
	p.begin(false)
	in := "  "
	for _, line := range lines {
		if utf8.RuneCountInString(line)-4+len(in) > p.width {
			in = ""
		}
	}
	for _, line := range lines {
		p.line(in + strings.TrimPrefix(line, "    "))
	}
}

func (p *page) paragraph(text, item string) {
	p.begin(item != "")
	hang := strings.Repeat(" ", len(item))
	for i, line := range wrap(inline(strings.TrimPrefix(text, item)), p.width-len(item)) {
		if i == 0 {
			p.line(item + line)
		} else {
			p.line(hang + line)
		}
	}
}

// table sets a table in columns where they find room, and else each row as its
// first cell with the others below it.
func (p *page) table(lines []string) {
	p.begin(false)
	var rows [][]string
	for i, line := range lines {
		if i != 1 { // the line of dashes below the head
			rows = append(rows, cells(line))
		}
	}
	widths := columns(rows, p.width)
	if widths == nil {
		p.below(rows)
		return
	}
	for i, row := range rows {
		p.row(row, widths)
		if i == 0 {
			rule := make([]string, len(widths))
			for j, w := range widths {
				rule[j] = strings.Repeat("-", w)
			}
			p.row(rule, widths)
		}
	}
}

// row sets one row of a table; long cells go on in the lines below.
func (p *page) row(row []string, widths []int) {
	var wrapped [][]string
	height := 0
	for i, w := range widths {
		cell := []string{}
		if i < len(row) {
			cell = wrap(row[i], w)
		}
		wrapped, height = append(wrapped, cell), max(height, len(cell))
	}
	for n := range height {
		var b strings.Builder
		for i, w := range widths {
			text := ""
			if n < len(wrapped[i]) {
				text = wrapped[i][n]
			}
			b.WriteString(text + strings.Repeat(" ", max(0, w-utf8.RuneCountInString(text))+gap))
		}
		p.line(b.String())
	}
}

// below sets a table without columns.
func (p *page) below(rows [][]string) {
	const indent = "    "
	head := rows[0]
	for _, row := range rows[1:] {
		for _, line := range wrap(row[0], p.width) {
			p.line(line)
		}
		for i, cell := range row[1:] {
			if cell == "" {
				continue
			}
			if len(head) > 2 && i+1 < len(head) && head[i+1] != "" {
				cell = head[i+1] + ": " + cell
			}
			for _, line := range wrap(cell, p.width-len(indent)) {
				p.line(indent + line)
			}
		}
	}
}

// columns returns how wide the columns of a table are, nil if it is better set
// without: the narrow ones have what they need, the others share the rest. Of two
// columns the first is a name, and takes two fifths at most.
func columns(rows [][]string, width int) []int {
	n := len(rows[0])
	want, least := make([]int, n), make([]int, n)
	for _, row := range rows {
		for i := range min(n, len(row)) {
			want[i] = max(want[i], utf8.RuneCountInString(row[i]))
			for _, word := range strings.Fields(row[i]) {
				least[i] = max(least[i], utf8.RuneCountInString(word))
			}
		}
	}
	room := width - gap*(n-1)
	if n == 2 && want[0]+want[1] > room && want[0] > 2*width/5 {
		return nil
	}
	got := make([]int, n)
	for open := n; open > 0; {
		share, settled := room/open, false
		for i := range n {
			if got[i] == 0 && (want[i] <= share || least[i] >= share) {
				got[i] = max(1, least[i])
				if want[i] <= share {
					got[i] = max(1, want[i])
				}
				room, open, settled = room-got[i], open-1, true
				break
			}
		}
		if settled {
			continue
		}
		for i := range n {
			if got[i] == 0 {
				got[i] = room / open
				room, open = room-got[i], open-1
			}
		}
	}
	if room < 0 {
		return nil
	}
	return got
}

// cells returns the cells of a row. A vertical bar in a cell stands behind a
// backslash.
func cells(line string) []string {
	var row []string
	var b strings.Builder
	for at := 1; at < len(line); at++ {
		switch {
		case line[at] == '\\' && at+1 < len(line) && line[at+1] == '|':
			b.WriteByte('|')
			at++
		case line[at] == '|':
			row = append(row, inline(strings.TrimSpace(b.String())))
			b.Reset()
		default:
			b.WriteByte(line[at])
		}
	}
	return row
}

// inline takes the signs of Markdown out of a line of text. A link to another topic
// says how to read it.
func inline(s string) string {
	var b strings.Builder
	for s != "" {
		switch {
		case s[0] == '`':
			if code, rest, ok := strings.Cut(s[1:], "`"); ok {
				b.WriteString(code)
				s = rest
				continue
			}
		case s[0] == '*' && len(s) > 1 && !unicode.IsSpace(rune(s[1])):
			mark := s[:1]
			if strings.HasPrefix(s, "**") {
				mark = "**"
			}
			if text, rest, ok := strings.Cut(s[len(mark):], mark); ok {
				b.WriteString(inline(text))
				s = rest
				continue
			}
		case s[0] == '[':
			text, rest, ok := strings.Cut(s[1:], "](")
			target, rest, ok2 := strings.Cut(rest, ")")
			if ok && ok2 {
				b.WriteString(linked(inline(text), target))
				s = rest
				continue
			}
		}
		b.WriteByte(s[0])
		s = s[1:]
	}
	return b.String()
}

// linked is a link as text.
func linked(text, target string) string {
	file, _, _ := strings.Cut(target, "#")
	if topic, ok := strings.CutSuffix(file, ".md"); ok && !strings.Contains(topic, "/") {
		return text + " (singback help " + topic + ")"
	}
	return text
}

// wrap breaks text into lines between words.
func wrap(text string, width int) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		n := len(lines) - 1
		if n < 0 || utf8.RuneCountInString(lines[n])+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, word)
			continue
		}
		lines[n] += " " + word
	}
	return lines
}

// inASCII writes what a topic has beyond ASCII with other signs.
func inASCII(s string) string { return signs.Replace(s) }

var signs = strings.NewReplacer(
	"♭", "b", "♯", "#", "♮", "nat.", "𝄫", "bb", "°", "o", "ø", "h", "Δ", "maj", "△", "maj", "²", "2", "⁴", "4", "⁵", "5", "⁶", "6", "⁷", "7",
	"–", "-", "−", "-", "±", "+-", "×", "x", "·", ".", "…", "...", "‘", "`", "’", "'", "“", `"`, "”", `"`,
	"─", "-", "│", "|", "┃", "|", "├", "[", "┤", "]", "┼", "+", "◆", "V", "●", "@", "○", "O", "█", "#",
	"¹", "'", "₁", ",", "ˢ", "s/", "é", "e", "è", "e", "→", "->",
)
