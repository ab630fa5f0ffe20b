package main

import (
	"fmt"
	"html"
	"regexp"
	"strings"

	"singback/exercise"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/tui"
	"singback/theory"
)

// columns and rows are those of the terminal.
const columns, rows = 72, 24

// question is what is asked on the screens: la in A flat major, the third of six.
func question() (exercise.Item, exercise.Tolerance) {
	key, err := theory.ParseKey("Ab major")
	if err != nil {
		panic(err) // the name is a constant
	}
	return exercise.Item{
		Key: key, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(key), Asked: theory.Degree{Step: 6},
	}, exercise.Tolerance{Cents: 35}
}

// begun is the view after two right answers, with the third question asked.
func begun() *tui.View {
	it, tolerance := question()
	v := &tui.View{Style: report.Style{}, Width: columns, Height: rows, Level: -24}
	v.Event(session.KeySet{Key: it.Key, Tuning: it.Tuning})
	for n := 1; n <= 3; n++ {
		v.Event(session.Prompted{Index: n, Of: 6, Attempt: 1, Item: it, Tolerance: tolerance})
		if n < 3 {
			v.Event(session.Judged{Index: n, Attempt: 1, Item: it, Verdict: verdict(it, exercise.InTune, 3), Counts: true, Tolerance: tolerance})
		}
	}
	v.Event(session.Listening{})
	v.Event(session.Heard{Level: -18, Singing: true, Held: 1.2})
	return v
}

func verdict(it exercise.Item, o exercise.Outcome, cents theory.Cents) exercise.Verdict {
	return exercise.Verdict{
		Outcome: o, Sung: it.Asked, HasSung: true, Cents: cents, FromAsked: cents, SE: 0.4,
		F0: 341.3, Spread: 6, VibratoHz: 5.8, VibratoCents: 40, Settle: 0.12, Held: 1.8, Answer: 0.9, Level: -18,
	}
}

// asking is the screen while the singer holds the note.
func asking() string { return begun().Render() }

// judged is the screen with the verdict.
func judged() string {
	it, tolerance := question()
	v := begun()
	v.Event(session.Judged{Index: 3, Attempt: 1, Item: it, Verdict: verdict(it, exercise.Flat, -40), Counts: true, Tolerance: tolerance})
	return v.Render()
}

// The size of a cell, of the space around a screen, and between two, in pixels.
const (
	cellWidth, cellHeight = 8, 17
	margin                = 14
)

// run is some cells of a line that look alike.
type run struct {
	at   int
	text string
	bold bool
	fill string
}

var sequence = regexp.MustCompile("\x1b\\[([0-9;]*)m")

// runs divides a line at its escape sequences.
func runs(line string) (list []run) {
	bold, fill, at := false, "#d6dae0", 0
	for line != "" {
		text := line
		m := sequence.FindStringSubmatchIndex(line)
		if m != nil {
			text = line[:m[0]]
		}
		if text != "" {
			list = append(list, run{at, text, bold, fill})
			at += len([]rune(text))
		}
		if m == nil {
			break
		}
		for code := range strings.SplitSeq(line[m[2]:m[3]], ";") {
			switch code {
			case "", "0":
				bold, fill = false, "#d6dae0"
			case "1":
				bold, fill = true, "#ffffff"
			case "2":
				fill = "#8b93a0"
			case "33":
				fill = "#f0c05a"
			case "36":
				fill = "#5cc8d8"
			}
		}
		line = line[m[1]:]
	}
	return list
}

// drawScreens draws screens below each other. Blocks are drawn as rectangles, so
// that they join whatever the font; the rest is text, put to its cells.
func drawScreens(title string, screens ...string) string {
	var b strings.Builder
	width, height := columns*cellWidth+2*margin, rows*cellHeight+2*margin
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %[4]d" role="img">`+"\n",
		width, len(screens)*height+(len(screens)-1)*margin, width, len(screens)*height+(len(screens)-1)*margin)
	fmt.Fprintf(&b, "<title>%s</title>\n", html.EscapeString(title))
	b.WriteString(`<g font-family="DejaVu Sans Mono,Menlo,Consolas,monospace" font-size="13" xml:space="preserve">` + "\n")
	for i, screen := range screens {
		top := i * (height + margin)
		fmt.Fprintf(&b, `<rect y="%d" width="%d" height="%d" rx="8" fill="#1b1f27"/>`+"\n", top, width, height)
		for row, line := range strings.Split(screen, "\n") {
			for _, r := range runs(line) {
				drawRun(&b, r, top+margin+row*cellHeight)
			}
		}
	}
	b.WriteString("</g>\n</svg>\n")
	return b.String()
}

// drawRun draws the cells of a run whose upper edge is at y.
func drawRun(b *strings.Builder, r run, y int) {
	x := func(cell int) int { return margin + cell*cellWidth }
	cells := []rune(r.text)
	for at := 0; at < len(cells); {
		end := at + 1
		for end < len(cells) && (cells[end] == '█') == (cells[at] == '█') {
			end++
		}
		part := string(cells[at:end])
		switch {
		case cells[at] == '█':
			fmt.Fprintf(b, `<rect x="%d" y="%d" width="%d" height="%d" fill="%s"/>`+"\n", x(r.at+at), y, (end-at)*cellWidth, cellHeight, r.fill)
		case strings.TrimSpace(part) != "":
			lead := len([]rune(part)) - len([]rune(strings.TrimLeft(part, " ")))
			text := strings.TrimSpace(part)
			weight := ""
			if r.bold {
				weight = ` font-weight="bold"`
			}
			fmt.Fprintf(b, `<text x="%d" y="%d" textLength="%d" fill="%s"%s>%s</text>`+"\n",
				x(r.at+at+lead), y+13, len([]rune(text))*cellWidth, r.fill, weight, html.EscapeString(text))
		}
		at = end
	}
}
