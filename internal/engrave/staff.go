package engrave

import (
	"fmt"
	"strings"

	"singback/theory"
)

// lowestLine holds the staff positions of the lowest lines: E4, E3, G2.
var lowestLine = [...]int{theory.TrebleClef: 30, theory.TrebleDownClef: 23, theory.BassClef: 18}

// placeOn returns where a pitch lies, in steps above the lowest line.
func placeOn(c theory.Clef, p theory.Pitch) int { return staffPosition(p) - lowestLine[c] }

// signatureOn returns the places of the signs of a signature: sharps, or flats.
func signatureOn(c theory.Clef, fifths int) (places []int, alter int8) {
	sharps, flats := []int{8, 5, 9, 6, 3, 7, 4}, []int{4, 7, 3, 6, 2, 5, 1}
	places, alter = sharps[:max(0, fifths)], 1
	if fifths < 0 {
		places, alter = flats[:-fifths], -1
	}
	out := make([]int, len(places))
	for i, p := range places {
		if out[i] = p; c == theory.BassClef {
			out[i] -= 2
		}
	}
	return out, alter
}

// View tells how a line is shown.
type View struct {
	Clef   *theory.Clef // nil: the one that fits the line
	Labels []string     // one for each note of the Score, written below; nil: none
	Marks  []Mark       // SVG: likewise, below the labels
	Silent []bool       // likewise, those that are heard inwardly: in brackets; nil: none
	ASCII  bool         // Text without musical signs
	Width  int          // Text: columns, 0: 80; SVG: units, 0: 900
}

// silent tells whether a piece belongs to a note that is heard inwardly.
func (v View) silent(p Piece) bool { return !p.Rest && p.Note < len(v.Silent) && v.Silent[p.Note] }

func (v View) clef(s theory.Score) theory.Clef {
	if v.Clef != nil {
		return *v.Clef
	}
	return theory.ClefFor(s)
}

// canvas is a field of characters.
type canvas struct {
	rows [][]rune
}

func (c *canvas) put(row, column int, text string) {
	for _, r := range text {
		for len(c.rows[row]) <= column {
			c.rows[row] = append(c.rows[row], ' ')
		}
		c.rows[row][column] = r
		column++
	}
}

// Text draws a line as a staff of characters, at most View.Width columns wide,
// broken between bars. Every line and space of the staff is a row; above stand
// the chord symbols, below the length of each note in beats, the labels and the words. A note that is tied over is
// marked with ‿ (~ in ASCII) and its continuation with it before. A rest is an r
// on the middle line. A bar too long for the width is broken between its notes, where
// no bar line stands.
func Text(s theory.Score, v View) (string, error) {
	bars, err := Lay(s)
	if err != nil {
		return "", err
	}
	clef := v.clef(s)
	width := v.Width
	if width <= 0 {
		width = 80
	}
	low, high := 0, 8
	for _, n := range s.Notes {
		if !n.Rest {
			low, high = min(low, placeOn(clef, n.Pitch)), max(high, placeOn(clef, n.Pitch))
		}
	}
	var out strings.Builder
	sys := textSystem{view: v, clef: clef, low: low, high: high, over: s.Symbols}
	for i := range bars {
		sys.bars = append(sys.bars, sys.broken(&bars[i], width)...)
	}
	for i := 0; i < len(sys.bars); {
		n, text := sys.draw(i, width)
		if i > 0 {
			out.WriteString("\n")
		}
		out.WriteString(text)
		i += n
	}
	return out.String(), nil
}

type textSystem struct {
	view      View
	clef      theory.Clef
	low, high int
	over      []theory.ChordSymbol
	bars      []textBar
}

// textBar is a bar, or a part of one that is too long for a line.
type textBar struct {
	Bar
	shown []bool // of the pieces: an accidental stands before it
	open  bool   // another part of the bar follows: there is no bar line
}

// broken returns a bar, in as many parts as it takes for each to stand on a line.
func (t *textSystem) broken(b *Bar, width int) []textBar {
	whole := textBar{Bar: *b, shown: make([]bool, len(b.Pieces))}
	written := Signs{}
	for i, p := range b.Pieces {
		whole.shown[i] = !p.Rest && written.Write(b.Key, p)
	}
	room := width - 4 - 2 // clef, bar lines
	if places, _ := signatureOn(t.clef, b.Key.Signature()); len(places) > 0 {
		room -= len(places) + 1
	}
	if b.NewMeter {
		room -= meterWidth(b.Meter)
	}
	var out []textBar
	for {
		drawn := t.bar(&whole)
		n := 0 // pieces that find room
		for n < len(drawn.ends) && (n == 0 || drawn.ends[n] <= room) {
			n++
		}
		if n == len(drawn.ends) {
			return append(out, whole)
		}
		part := whole
		part.Pieces, part.shown, part.open = whole.Pieces[:n], whole.shown[:n], true
		out = append(out, part)
		whole.Pieces, whole.shown = whole.Pieces[n:], whole.shown[n:]
		whole.NewKey, whole.NewMeter = false, false
	}
}

// meterWidth is how many columns a time signature takes.
func meterWidth(m theory.Meter) int {
	return max(len(fmt.Sprint(m.Beats)), len(fmt.Sprint(m.Unit))) + 1
}

func (t *textSystem) sign(alter int8) string {
	if alter == 0 {
		return t.choose("♮", "n")
	}
	s := strings.Repeat(t.choose("♯", "#"), max(0, int(alter)))
	if alter < 0 {
		s = strings.Repeat(t.choose("♭", "b"), -int(alter))
	}
	return s
}

func (t *textSystem) choose(signs, ascii string) string {
	if t.view.ASCII {
		return ascii
	}
	return signs
}

// textLine is a line of text that is being drawn, from left to right.
type textLine struct {
	*textSystem
	canvas
	x int // where the next thing goes
}

// row is the row of a place on the staff.
func (l *textLine) row(place int) int { return l.high - place }

// drawClef draws the letter of the clef on its line.
func (l *textLine) drawClef() {
	switch l.clef {
	case theory.BassClef:
		l.put(l.row(6), l.x, "F")
	default:
		l.put(l.row(2), l.x, "G")
		if l.clef == theory.TrebleDownClef {
			l.put(l.row(0), l.x, "8")
		}
	}
	l.x += 2
}

// drawKey draws a signature.
func (l *textLine) drawKey(k theory.Key) {
	places, alter := signatureOn(l.clef, k.Signature())
	for _, p := range places {
		if p >= l.low && p <= l.high {
			l.put(l.row(p), l.x, l.sign(alter))
		}
		l.x++
	}
	if len(places) > 0 {
		l.x++
	}
}

// drawChange draws the key of a bar where it is new within the line, with
// naturals where all signs go away.
func (l *textLine) drawChange(b *textBar) {
	if b.Key.Signature() == 0 {
		places, _ := signatureOn(l.clef, b.OldKey.Signature())
		for _, p := range places {
			l.put(l.row(p), l.x, l.sign(0))
			l.x++
		}
		l.x++
	}
	l.drawKey(b.Key)
}

// drawMeter draws a time signature.
func (l *textLine) drawMeter(m theory.Meter) {
	l.put(l.row(6), l.x, fmt.Sprint(m.Beats))
	l.put(l.row(2), l.x, fmt.Sprint(m.Unit))
	l.x += meterWidth(m)
}

// drawBarLine draws the line behind a bar, the last one with a thick one.
func (l *textLine) drawBarLine(last bool) {
	for p := 0; p <= 8; p++ {
		l.put(l.row(p), l.x, l.choose("│", "|"))
		if last {
			l.put(l.row(p), l.x+1, l.choose("┃", "|"))
		}
	}
	l.x += 2
}

// drawStaff draws the five lines to column end, where nothing stands on them.
func (l *textLine) drawStaff(end int) {
	for p := 0; p <= 8; p += 2 {
		r := l.row(p)
		l.put(r, end-1, string(at(l.rows[r], end-1)))
		for j := 2; j < end; j++ {
			if at(l.rows[r], j) == ' ' {
				l.put(r, j, l.choose("─", "-"))
			}
		}
	}
}

// text returns the rows, without ledger lines and labels where there are none;
// the beats stand in row beats, the chord symbols in the last one.
func (l *textLine) text(beats int) string {
	var b strings.Builder
	if line := strings.TrimRight(string(l.rows[beats+3]), " "); line != "" {
		b.WriteString(line + "\n")
	}
	for i, line := range l.rows[:beats+3] {
		text := strings.TrimRight(string(line), " ")
		if text == "" && (i < l.row(8) || i > l.row(0)) && i != beats {
			continue
		}
		b.WriteString(text + "\n")
	}
	return b.String()
}

// draw draws as many bars as fit from the i-th on.
func (t *textSystem) draw(first, width int) (int, string) {
	// Below the rows of the staff stand the beats, the labels and the words.
	beats := t.high - t.low + 1
	l := textLine{textSystem: t, canvas: canvas{rows: make([][]rune, beats+4)}, x: 2}
	l.drawClef()
	l.drawKey(t.bars[first].Key)
	n := 0
	for i := first; i < len(t.bars); i++ {
		bar, last := &t.bars[i], i == len(t.bars)-1
		drawn := t.bar(bar)
		newKey := i > first && bar.NewKey
		if i > first && l.x+t.need(bar, drawn.width, newKey, last) > width {
			break
		}
		if newKey {
			l.drawChange(bar)
		}
		if bar.NewMeter {
			l.drawMeter(bar.Meter)
		}
		for _, s := range drawn.marks {
			l.put(s.row, l.x+s.x, s.text)
		}
		l.x += drawn.width
		n++
		if !bar.open {
			l.drawBarLine(last)
		}
	}
	end := l.x - 1
	if t.bars[first+n-1].open {
		end = l.x
	}
	if first+n == len(t.bars) {
		end++
	}
	l.drawStaff(end)
	return n, l.text(beats)
}

// need is how many columns a bar takes whose notes take so many.
func (t *textSystem) need(b *textBar, width int, newKey, last bool) int {
	switch {
	case last:
		width += 2 // bar lines
	case !b.open:
		width++
	}
	if b.NewMeter {
		width += meterWidth(b.Meter)
	}
	if newKey {
		width += 9
	}
	return width
}

func at(row []rune, i int) rune {
	if i < len(row) {
		return row[i]
	}
	return ' '
}

// drawnBar is what a bar puts on the canvas, from its left edge on.
type drawnBar struct {
	width int
	ends  []int // where each piece ends
	marks []textMark
}

type textMark struct {
	row, x int
	text   string
}

// beatText writes a number of beats.
func beatText(f theory.Fraction, ascii bool) string {
	whole, rest := f.Num/f.Den, theory.NewFraction(f.Num%f.Den, f.Den)
	if rest.Num == 0 {
		return fmt.Sprint(whole)
	}
	signs := map[theory.Fraction]string{{Num: 1, Den: 2}: "½", {Num: 1, Den: 3}: "⅓", {Num: 2, Den: 3}: "⅔", {Num: 1, Den: 4}: "¼", {Num: 3, Den: 4}: "¾", {Num: 1, Den: 6}: "⅙", {Num: 1, Den: 8}: "⅛"}
	sign, ok := signs[rest]
	switch {
	case ascii || !ok:
		return f.String()
	case whole == 0:
		return sign
	}
	return fmt.Sprint(whole) + sign
}

// bar lays out one bar.
func (t *textSystem) bar(b *textBar) drawnBar {
	rows := t.high - t.low + 1
	var d drawnBar
	x := 1
	pulse := Pulse(b.Meter)
	for i, p := range b.Pieces {
		beats := beatText(p.Length.Over(pulse), t.view.ASCII)
		label := ""
		if t.view.Labels != nil && p.Note < len(t.view.Labels) && !p.TiedFrom {
			label = t.view.Labels[p.Note]
		}
		mark := func(row, at int, text string) { d.marks = append(d.marks, textMark{row, at, text}) }
		head := x
		if p.Rest {
			mark(t.high-4, x, "r")
		} else {
			place := placeOn(t.clef, p.Pitch)
			row := t.high - place
			if t.view.silent(p) {
				mark(row, head, "(")
				head++
			}
			if p.TiedFrom {
				mark(row, head, t.choose("‿", "~"))
				head++
			}
			if b.shown[i] {
				sign := t.sign(p.Pitch.Alter)
				mark(row, head, sign)
				head += len([]rune(sign))
			}
			symbol := t.choose("●", "*")
			if p.Value <= 2 {
				symbol = t.choose("○", "o")
			}
			// Ledger lines.
			for l := -2; l >= place; l -= 2 {
				mark(t.high-l, head-1, t.choose("───", "---"))
			}
			for l := 10; l <= place; l += 2 {
				mark(t.high-l, head-1, t.choose("───", "---"))
			}
			mark(row, head, symbol)
			if p.TiedTo {
				mark(row, head+1, t.choose("‿", "~"))
			} else if t.view.silent(p) {
				mark(row, head+1, ")")
			}
		}
		mark(rows, head, beats)
		mark(rows+1, head, label)
		mark(rows+2, head, sungOn(p))
		used := max(3, len([]rune(beats))+1, len([]rune(label))+1, len([]rune(sungOn(p)))+1)
		over, width := t.textSymbols(p, used)
		for _, c := range over {
			mark(rows+3, head+c.x, c.text)
		}
		x = head + max(used, width)
		d.ends = append(d.ends, x)
	}
	d.width = x
	return d
}
