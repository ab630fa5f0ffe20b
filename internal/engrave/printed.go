package engrave

import (
	"fmt"
	"strings"

	"singback/theory"
)

// Printed draws a line as [SVG] does, and what a singer's sheet has besides: the tempo
// above its beginning, at each further system the number of its first bar, hyphens in
// the middle between the syllables of a word, and an extender line where the last
// syllable of a word is held over several notes. An incomplete first bar is not counted
// (common practice).
//
// SVG leaves these out, for pictures that stand beside words of their own.
func Printed(s theory.Score, v View) (string, error) {
	return drawn(s, v, &engraver{sing: syllable, print: (*engraver).drawPrinted})
}

// syllable is what is sung on a piece without its hyphen.
func syllable(p Piece) string { return strings.TrimRight(sungOn(p), "-") }

func (e *engraver) drawPrinted(ms []measure, sys system, y [2]float64) {
	if sys.from == 0 {
		e.drawTempo(ms[0].Meter, margin+3.9*space+e.keyWidth(ms[0].Key, theory.Key{}), y[0]+1.9*space)
	} else {
		number := sys.from + 1
		if ms[0].Missing.Num > 0 {
			number--
		}
		e.text(margin, e.top-1.2*space, `class="bar-number" font-family="serif" font-style="italic" font-size="12"`, fmt.Sprint(number))
	}
	e.drawJoints(ms[sys.from:sys.to], y[1])
}

// drawTempo writes the tempo, with the beat that is counted, from x on above y.
func (e *engraver) drawTempo(m theory.Meter, x, y float64) {
	if e.score.Tempo <= 0 {
		return
	}
	const size = 0.65
	value, dots, _, _ := ValueOf(Pulse(m))
	head, fill := blackHead, ""
	switch {
	case value <= 1:
		head, fill = wholeHead, ` fill-rule="evenodd"`
	case value == 2:
		head, fill = halfHead, ` fill-rule="evenodd"`
	}
	e.put(`<g class="tempo" transform="translate(% %) scale(%)">`, x, y-0.3*space, size)
	e.glyph(0, 0, head, filled+fill)
	if value >= 2 {
		e.line(0.55*space, -0.18*space, 0.55*space, -2.8*space, thin)
	}
	for k := range Flags(value) {
		e.glyph(0.55*space, (0.8*float64(k)-2.8)*space, flagUp, filled)
	}
	right := 0.8
	if value > 4 {
		right = 1.7
	}
	for range dots {
		right += 0.5
		e.put(`<circle cx="%" cy="0" r="%" stroke="none"/>`, right*space, 0.2*space)
	}
	e.b.WriteString("</g>\n")
	e.text(x+(right+0.8)*space*size, y, `class="tempo" font-family="serif" font-size="14"`, "= "+num(e.score.Tempo))
}

// drawJoints draws what joins the syllables of a system: hyphens and extender lines.
func (e *engraver) drawJoints(ms []measure, y float64) {
	var all []*item
	end := 0.0
	for i := range ms {
		for j := range ms[i].items {
			all = append(all, &ms[i].items[j])
			end = ms[i].items[j].next
		}
	}
	const mean = 0.5 * fontSize // of a letter's width
	half := func(it *item) float64 { return mean * float64(len([]rune(syllable(it.Piece)))) / 2 }
	open := e.openAt(all)
	for i := -1; i < len(all); i++ {
		text, from := open, 0.0 // from the system before
		switch {
		case i >= 0:
			text, from = sungOn(all[i].Piece), all[i].x+half(all[i])
		case len(all) > 0:
			from = all[0].x - all[0].left
		}
		if text == "" {
			continue
		}
		held, j := i, i+1 // the last piece it is sung on; where the next syllable stands
		for ; j < len(all) && sungOn(all[j].Piece) == ""; j++ {
			if held == j-1 && e.goesOn(all[j]) {
				held = j
			}
		}
		to := end
		if j < len(all) {
			to = all[j].x - half(all[j])
		}
		switch {
		case strings.HasSuffix(text, "-"):
			x := (from + to) / 2
			e.line(x-2.2, y-4, x+2.2, y-4, 1.1)
		case held > i && all[held].x+0.6*space > from+0.8*space:
			e.line(from+2, y, all[held].x+0.6*space, y, 0.8)
		}
	}
}

// goesOn tells whether what is sung before a piece goes on with it: it is tied to the
// one before, or under a slur with it.
func (e *engraver) goesOn(it *item) bool {
	return !it.Rest && (it.TiedFrom || it.Note > 0 && e.score.Notes[it.Note-1].Slur && !e.score.Notes[it.Note-1].Rest)
}

// openAt is the syllable that is joined to what a system begins with: "" where the
// system begins with one of its own, or with a rest.
func (e *engraver) openAt(all []*item) string {
	if len(all) == 0 || !e.goesOn(all[0]) || sungOn(all[0].Piece) != "" {
		return ""
	}
	for n := all[0].Note; n >= 0 && !e.score.Notes[n].Rest; n-- {
		if w := e.score.Notes[n].Words; w != "" {
			return w
		}
	}
	return ""
}
