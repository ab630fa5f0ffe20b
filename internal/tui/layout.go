package tui

import (
	"strings"

	"charm.land/lipgloss/v2"
)

// part is some lines of the screen that are shown together or not at all. On a
// low screen parts of the lowest rank find room first.
type part struct {
	rank  int
	lines []string
}

// The ranks, from what must be seen to what is nice to have.
const (
	always = iota
	caution
	question
	meter
	answer
	help
	questionAgain // the large question, once it has been answered
	heading
	label // of the large answer
	ruler
	standing
	note
	detail
	before
	space
)

// layOut takes the parts that find room, those of the lowest rank first, and
// puts what is left of the last foot parts at the bottom.
func layOut(parts []part, foot int, margin string, width, height int) string {
	room := height
	shown := make([]bool, len(parts))
	for rank := always; rank <= space; rank++ {
		for i, p := range parts {
			if p.rank == rank && len(p.lines) <= room {
				shown[i] = true
				room -= len(p.lines)
			}
		}
	}
	clip := lipgloss.NewStyle().MaxWidth(width)
	var out []string
	for i, p := range parts {
		if i == len(parts)-foot {
			out = append(out, make([]string, room)...)
		}
		if !shown[i] {
			continue
		}
		for _, line := range p.lines {
			if line != "" {
				line = clip.Render(margin + line)
			}
			out = append(out, line)
		}
	}
	return strings.Join(out, "\n")
}

// wrap breaks s into lines of at most width cells where it can.
func wrap(s string, width int) []string {
	text := strings.TrimLeft(s, " ")
	indent := s[:len(s)-len(text)]
	if len(indent) > width/2 || strings.Contains(s, "\n") {
		text, indent = s, ""
	}
	lines := strings.Split(lipgloss.Wrap(text, width-len(indent), ""), "\n")
	for i := range lines {
		lines[i] = indent + lines[i]
	}
	return lines
}

// fill puts items beside each other, as many as fit into a line of so many cells.
func fill(items []string, between string, width int) (lines []string) {
	for _, item := range items {
		if n := len(lines) - 1; n >= 0 && lipgloss.Width(lines[n]+between+item) <= width {
			lines[n] += between + item
			continue
		}
		lines = append(lines, wrap(item, width)...)
	}
	return lines
}

// tail is the end of a line that is being typed, as much as fits.
func tail(s string, width int) string {
	for r := []rune(s); len(r) > 0; r = r[1:] {
		if s = string(r); lipgloss.Width(s) <= width {
			break
		}
	}
	return s
}
