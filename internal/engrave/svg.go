package engrave

import (
	"fmt"
	"math"
	"strings"

	"singback/theory"
)

// SVG draws a line as staff notation. Everything but words and numbers is drawn
// as paths, so no music font is needed. One staff space is ten units. The systems are
// as even as they can be. All but the last are justified; so is that, but its notes stand
// no more than half again as far apart as those of the system before it. A line of one
// system is stretched by 1.6 at the most.
func SVG(s theory.Score, v View) (string, error) { return drawn(s, v, &engraver{sing: sungOn}) }

// drawn draws a line; of e only what is drawn besides is set.
func drawn(s theory.Score, v View, e *engraver) (string, error) {
	bars, err := Lay(s)
	if err != nil {
		return "", err
	}
	e.score, e.view, e.clef, e.width, e.loose = s, v, v.clef(s), 900, 1.6
	if v.Width > 0 {
		e.width = float64(max(v.Width, 200))
	}
	return e.draw(bars), nil
}

const (
	space  = 10.0 // one staff space
	margin = 15.0
	stem   = 3.5 * space
	thin   = 1.2
)

// engraver draws.
type engraver struct {
	score theory.Score
	view  View
	clef  theory.Clef
	width float64
	b     strings.Builder
	top   float64 // y of the highest line of the staff being drawn
	loose float64 // how far the last system is stretched at the most

	sing  func(Piece) string                                        // what is written of the words of a piece
	print func(e *engraver, ms []measure, sys system, y [2]float64) // nil, or draws more: y of the top and of the words
}

func (e *engraver) y(place int) float64 { return e.top + (8-float64(place))*space/2 }

// put writes an element on a line of its own: each % of it is a number.
func (e *engraver) put(element string, numbers ...float64) {
	for _, x := range numbers {
		element = strings.Replace(element, "%", num(x), 1)
	}
	e.b.WriteString(element + "\n")
}

func (e *engraver) path(style, d string, numbers ...float64) {
	e.put(`<path d="`+d+`" `+style+"/>", numbers...)
}

// text writes text that begins at x, where its style does not say otherwise.
func (e *engraver) text(x, y float64, style, text string) {
	e.put(`<text x="%" y="%" stroke="none" `+style+">"+escape(text)+"</text>", x, y)
}

func (e *engraver) line(x1, y1, x2, y2, w float64) {
	e.put(`<line x1="%" y1="%" x2="%" y2="%" stroke-width="%"/>`, x1, y1, x2, y2, w)
}

// num writes a coordinate.
func num(x float64) string { return fmt.Sprintf("%g", math.Round(x*100)/100+0) }

// item is a piece with the room it takes.
type item struct {
	Piece
	sign  bool
	place int
	left  float64 // before the middle of the head
	right float64 // after it, at the least
	x     float64
	next  float64 // where the next one stands, or the bar ends
	up    bool
	tip   float64 // y of the end of its stem
}

// measure is a bar with its items.
type measure struct {
	Bar
	items []item
	lead  float64 // room of key and meter at its beginning
	min   float64 // its width
}

// fontSize of the labels, and how wide a letter is at the most.
const (
	fontSize    = 13.0
	letterWidth = 0.58 * fontSize
	small       = `font-family="sans-serif" font-size="13"`
)

// padding is the room beside the bar lines.
const padding = 1.4 * space

// measures finds how much room the bars need.
func (e *engraver) measures(bars []Bar) []measure {
	ms := make([]measure, len(bars))
	for i, b := range bars {
		m := &ms[i]
		m.Bar = b
		written := Signs{}
		for _, p := range b.Pieces {
			it := item{Piece: p, left: 0.9 * space, place: 4}
			if !p.Rest {
				it.place = placeOn(e.clef, p.Pitch)
				if it.sign = written.Write(b.Key, p); it.sign {
					it.left += signWidth(p.Pitch.Alter)
				}
			}
			if e.view.silent(p) {
				it.left += 0.6 * space
			}
			// Longer notes have more room, less than in proportion.
			it.right = (1.5 + 1.5*math.Log2(1+2*p.Length.Float())) * space
			if label := e.label(p); label != "" {
				half := float64(len([]rune(label))) * letterWidth / 2
				it.left = max(it.left, half+1)
				it.right = max(it.right, half+3)
			}
			if e.view.silent(p) {
				it.right = max(it.right, 2*space)
			}
			if text := e.mark(p).Text; text != "" {
				half := float64(len([]rune(text))) * letterWidth / 2
				it.left = max(it.left, half+1)
				it.right = max(it.right, half+3)
			}
			e.room(&it)
			if p.Value == 8 && p.Beam == 0 && !p.Rest {
				it.right = max(it.right, 2*space)
			}
			m.min += it.left + it.right
			m.items = append(m.items, it)
		}
		if i > 0 && b.NewKey {
			m.lead += e.keyWidth(b.Key, b.OldKey) + space
		}
		if i > 0 && b.NewMeter {
			m.lead += 3 * space
		}
		m.min += m.lead + padding
		e.stems(m.items)
	}
	return ms
}

func (e *engraver) label(p Piece) string {
	if e.view.Labels == nil || p.Rest || p.TiedFrom || p.Note >= len(e.view.Labels) {
		return ""
	}
	return e.view.Labels[p.Note]
}

// stems chooses the directions: down from the middle line on, beamed notes by
// the one that is farthest from it, and down where two are equally far.
func (e *engraver) stems(items []item) {
	for i := 0; i < len(items); {
		j := i + 1
		for items[i].Beam > 0 && j < len(items) && items[j].Beam == items[i].Beam {
			j++
		}
		low, high := items[i].place, items[i].place
		for _, it := range items[i:j] {
			low, high = min(low, it.place), max(high, it.place)
		}
		for k := i; k < j; k++ {
			items[k].up = low+high < 2*4
		}
		i = j
	}
}

// keyWidth is the room of a signature; naturals stand where all signs go away.
func (e *engraver) keyWidth(k, before theory.Key) float64 {
	n := k.Signature()
	if n == 0 {
		n = before.Signature()
	}
	return float64(max(n, -n)) * space
}

// headWidth is the room at the beginning of a system.
func (e *engraver) headWidth(m *measure, first bool) float64 {
	w := 3.9*space + e.keyWidth(m.Key, theory.Key{}) + space
	if m.Meter.Valid() && (first || m.NewMeter) {
		w += 2.8 * space
	}
	return w
}

// system is a line of the page: bars of a list.
type system struct{ from, to int }

// systems breaks the bars into lines: so few, and among those so even, that the squares
// of what they leave of the width have the least sum.
func (e *engraver) systems(ms []measure) []system {
	cost, to := make([]float64, len(ms)+1), make([]int, len(ms)) // from each bar on
	for i := len(ms) - 1; i >= 0; i-- {
		w := e.headWidth(&ms[i], i == 0) - ms[i].lead
		for j := i; j < len(ms); j++ {
			w += ms[j].min
			left := 1 - w/(e.width-2*margin)
			if left < 0 && j > i {
				break
			}
			if c := cost[j+1] + 1 + left*left; j == i || c < cost[i] {
				cost[i], to[i] = c, j+1
			}
		}
	}
	var systems []system
	for i := 0; i < len(ms); i = to[i] {
		systems = append(systems, system{i, to[i]})
	}
	return systems
}

// reach returns the lowest and the highest place that anything takes, the staff
// included.
func reach(ms []measure) (low, high int) {
	low, high = 0, 8
	for _, m := range ms {
		for _, it := range m.items {
			reach := 0 // of its stem, and of the number of a tuplet
			if it.Value >= 2 && !it.Rest {
				reach = 7
			}
			if it.Tuplet > 0 {
				reach += 4
			}
			if it.up {
				low, high = min(low, it.place-1), max(high, it.place+reach)
			} else {
				low, high = min(low, it.place-reach), max(high, it.place+1)
			}
		}
	}
	return low, high
}

// draw makes the picture.
func (e *engraver) draw(bars []Bar) string {
	ms := e.measures(bars)
	systems := e.systems(ms)
	low, high := reach(ms)
	// Room above for stems and ties, below for labels.
	above := margin + max(3, float64(high-8)/2+1)*space
	under := max(3, float64(-low)/2+1) * space
	if e.view.Marks != nil { // what was sung elsewhere lies above or below the notes
		above += markReach * space / 4
		under += markReach * space / 4
	}
	below := under
	if e.view.Labels != nil {
		below += fontSize + 6
	}
	words := below
	if worded(e.score) {
		below += fontSize + 6
	}
	over := above // the line that the chord symbols stand on
	if e.score.Symbols != nil {
		above += fontSize + 4
	}
	marks := below + space
	if e.view.Marks != nil {
		below += 2 * markRow
	}
	titleRoom := 0.0
	if e.score.Title != "" {
		above += 4
		titleRoom = 22
	}
	each := above + 4*space + below
	e.begin(titleRoom + each*float64(len(systems)) + margin)
	for n, sys := range systems {
		e.top = titleRoom + each*float64(n) + above
		e.drawSystem(ms, sys)
		e.drawLabels(ms[sys.from:sys.to], e.top+4*space+under+fontSize-4, e.label)
		e.drawLabels(ms[sys.from:sys.to], e.top+4*space+words+fontSize-4, e.sing)
		e.drawSymbols(ms[sys.from:sys.to], e.top-over+margin+2)
		e.drawMarks(ms[sys.from:sys.to], e.top+4*space+marks)
		if e.print != nil {
			e.print(e, ms, sys, [2]float64{e.top - above, e.top + 4*space + words + fontSize - 4})
		}
	}
	e.b.WriteString("</svg>\n")
	return e.b.String()
}

// begin writes what stands before the staves.
func (e *engraver) begin(height float64) {
	e.put(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 % %" width="%" height="%" fill="black" stroke="black" stroke-width="1.2">`, e.width, height, e.width, height)
	fmt.Fprintf(&e.b, "<title>%s</title>\n<desc>%s</desc>\n", escape(e.title()), escape(e.describe()))
	e.put(`<rect width="%" height="%" fill="white" stroke="none"/>`, e.width, height)
	if e.score.Title != "" {
		e.text(e.width/2, 20, `font-family="serif" font-size="16" text-anchor="middle"`, e.score.Title)
	}
}

// drawSystem draws one line of bars of ms.
func (e *engraver) drawSystem(ms []measure, sys system) {
	first := &ms[sys.from]
	lead := e.headWidth(first, sys.from == 0)
	natural := lead
	for i := sys.from; i < sys.to; i++ {
		natural += ms[i].min
	}
	natural -= first.lead
	first.min -= first.lead
	first.lead = 0
	stretch := (e.width - 2*margin - lead) / (natural - lead)
	if sys.to == len(ms) {
		stretch = min(stretch, e.loose)
	}
	e.loose = max(e.loose, 1.5*stretch)
	end := margin + lead
	for i := sys.from; i < sys.to; i++ {
		end += ms[i].min * stretch
	}
	for l := range 5 {
		y := e.top + float64(l)*space
		e.line(margin, y, end, y, 1)
	}
	x := margin
	e.drawClef(x + 1.9*space)
	x += 3.9 * space
	x = e.drawKey(x, first.Key, theory.Key{})
	if first.Meter.Valid() && (sys.from == 0 || first.NewMeter) {
		e.drawMeter(x+1.5*space, first.Meter)
	}
	x = margin + lead
	for i := sys.from; i < sys.to; i++ {
		if i > sys.from {
			e.drawChange(&ms[i], x)
		}
		e.drawMeasure(&ms[i], x, stretch)
		x += ms[i].min * stretch
		switch {
		case i == len(ms)-1:
			e.line(x-0.8*space, e.top, x-0.8*space, e.top+4*space, thin)
			e.line(x-0.2*space, e.top, x-0.2*space, e.top+4*space, 0.4*space)
		case ms[i+1].NewKey:
			e.line(x-0.4*space, e.top, x-0.4*space, e.top+4*space, thin)
			e.line(x, e.top, x, e.top+4*space, thin)
		default:
			e.line(x, e.top, x, e.top+4*space, thin)
		}
	}
	e.ties(ms[sys.from:sys.to], margin+lead, end)
}

// drawChange draws the key and the meter of a bar within a system where they
// are new.
func (e *engraver) drawChange(m *measure, x float64) {
	if !m.NewKey && !m.NewMeter {
		return
	}
	x += 0.8 * space
	if m.NewKey {
		x = e.drawKey(x, m.Key, m.OldKey)
	}
	if m.NewMeter {
		e.drawMeter(x+1.5*space, m.Meter)
	}
}

// drawMeasure places and draws the notes of a bar that begins at x. The room
// before a note does not stretch: what it would gain stands behind the note.
func (e *engraver) drawMeasure(m *measure, x, stretch float64) {
	at := x + m.lead
	at += padding / 2
	inner := (m.min*stretch - m.lead - padding) / max(1, m.min-m.lead-padding)
	for j := range m.items {
		it := &m.items[j]
		at += it.left * math.Min(inner, 1)
		it.x = at
		at += it.right*inner + it.left*(inner-math.Min(inner, 1))
	}
	if len(m.items) == 1 && m.items[0].Rest && m.items[0].Value == 1 {
		m.items[0].x = x + m.lead + (m.min*stretch-m.lead)/2
	}
	for j := range m.items {
		if m.items[j].next = x + m.min*stretch - padding/2; j+1 < len(m.items) {
			m.items[j].next = m.items[j+1].x
		}
	}
	e.drawItems(m)
}

// drawLabels writes a text of each note on one line.
func (e *engraver) drawLabels(ms []measure, y float64, of func(Piece) string) {
	for i := range ms {
		for _, it := range ms[i].items {
			if label := of(it.Piece); label != "" {
				e.text(it.x, y, small+` text-anchor="middle"`, label)
			}
		}
	}
}

func (e *engraver) title() string {
	if e.score.Title != "" {
		return e.score.Title
	}
	return "Melody"
}

// describe says the line in words, for readers that do not see it.
func (e *engraver) describe() string {
	words := []string{"In " + e.score.Key.String()}
	if e.score.Meter.Valid() {
		words[0] += ", " + e.score.Meter.String()
	}
	words[0] += ", " + e.clef.String() + " clef:"
	at, over := zero, e.score.Symbols
	for i, n := range e.score.Notes {
		for at = at.Plus(n.Length); len(over) > 0 && over[0].At.Less(at); over = over[1:] {
			words = append(words, "("+over[0].String()+")")
		}
		name := "rest"
		if !n.Rest {
			name = n.Pitch.String()
		}
		if i < len(e.view.Silent) && e.view.Silent[i] && !n.Rest {
			name = "[silent " + name + "]"
		}
		words = append(words, name)
	}
	return strings.Join(words, " ")
}
