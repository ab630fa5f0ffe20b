package notation

import (
	"fmt"
	"math"
	"strings"

	"singback/theory"
)

// SVG draws a line as staff notation. Everything but words and numbers is drawn
// as paths, so no music font is needed. One staff space is ten units.
func SVG(s theory.Score, v View) (string, error) {
	bars, err := lay(s)
	if err != nil {
		return "", err
	}
	e := &engraver{score: s, view: v, clef: v.clef(s), width: 900}
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
	clef  Clef
	width float64
	b     strings.Builder
	top   float64 // y of the highest line of the staff being drawn
}

func (e *engraver) y(place int) float64 { return e.top + (8-float64(place))*space/2 }

func (e *engraver) path(d string, more string) { fmt.Fprintf(&e.b, "<path d=%q %s/>\n", d, more) }

func (e *engraver) line(x1, y1, x2, y2, w float64) {
	fmt.Fprintf(&e.b, `<line x1="%s" y1="%s" x2="%s" y2="%s" stroke-width="%s"/>`+"\n", num(x1), num(y1), num(x2), num(y2), num(w))
}

// num writes a coordinate.
func num(x float64) string { return fmt.Sprintf("%g", math.Round(x*100)/100+0) }

// glyph draws a path given in staff spaces, with its origin at x, y.
func (e *engraver) glyph(x, y float64, d, style string) {
	fmt.Fprintf(&e.b, `<path transform="translate(%s %s) scale(%g)" d="%s" %s/>`+"\n", num(x), num(y), space, d, style)
}

const (
	filled  = `stroke="none"`
	stroked = `fill="none" stroke-linecap="round" stroke-linejoin="round" stroke-width=`
)

// The glyphs, in staff spaces from their origin: drawn for this program.
const (
	blackHead = "M0.58 -0.21C0.68 0.06 0.38 0.36 0.02 0.43C-0.33 0.5 -0.54 0.42 -0.6 0.21C-0.68 -0.06 -0.38 -0.36 -0.02 -0.43C0.33 -0.5 0.54 -0.42 0.6 -0.21Z"
	halfHead  = "M0.58 -0.21C0.68 0.06 0.38 0.36 0.02 0.43C-0.33 0.5 -0.54 0.42 -0.6 0.21C-0.68 -0.06 -0.38 -0.36 -0.02 -0.43C0.33 -0.5 0.54 -0.42 0.58 -0.21Z" +
		"M0.48 -0.26C0.42 -0.37 0.12 -0.22 -0.08 -0.1C-0.3 0.04 -0.54 0.2 -0.48 0.28C-0.42 0.37 -0.12 0.22 0.08 0.1C0.3 -0.04 0.54 -0.18 0.48 -0.26Z"
	wholeHead = "M0.85 0C0.85 0.3 0.45 0.48 0 0.48C-0.45 0.48 -0.85 0.3 -0.85 0C-0.85 -0.3 -0.45 -0.48 0 -0.48C0.45 -0.48 0.85 -0.3 0.85 0Z" +
		"M0.38 0.1C0.34 -0.2 0.02 -0.41 -0.2 -0.38C-0.4 -0.34 -0.42 -0.2 -0.38 -0.1C-0.32 0.2 -0.02 0.41 0.2 0.38C0.4 0.34 0.42 0.2 0.38 0.1Z"
	trebleClef = "M0.08 0.42C-0.42 0.38 -0.58 -0.1 -0.32 -0.46C-0.02 -0.86 0.66 -0.76 0.86 -0.2C1.06 0.4 0.62 1 -0.08 1.02C-0.88 1.04 -1.4 0.46 -1.34 -0.34C-1.26 -1.5 0.3 -2.1 0.56 -3.3C0.7 -3.96 0.56 -4.56 0.3 -4.6C0 -4.62 -0.34 -3.9 -0.3 -3.2C-0.26 -2.4 0.16 0.4 0.36 1.8C0.44 2.5 -0.06 2.76 -0.42 2.6"
	trebleDot  = "M-0.12 2.3A0.33 0.33 0 1 1 -0.78 2.3A0.33 0.33 0 1 1 -0.12 2.3Z"
	bassClef   = "M-0.9 0C-0.9 0.42 -0.3 0.42 -0.25 0C-0.22 -0.4 -0.6 -0.5 -0.86 -0.3M-0.9 0.05C-1.02 -0.7 -0.4 -1.02 0.1 -0.98C0.8 -0.92 1.1 -0.3 1.02 0.3C0.86 1.3 -0.1 2.1 -1.1 2.5"
	bassDots   = "M-0.3 0A0.32 0.32 0 1 1 -0.94 0A0.32 0.32 0 1 1 -0.3 0ZM1.72 -0.5A0.19 0.19 0 1 1 1.34 -0.5A0.19 0.19 0 1 1 1.72 -0.5ZM1.72 0.5A0.19 0.19 0 1 1 1.34 0.5A0.19 0.19 0 1 1 1.72 0.5Z"
	sharpSign  = "M-0.17 -1.3V1.42M0.17 -1.42V1.3"
	sharpBars  = "M-0.46 -0.28L0.46 -0.56V-0.26L-0.46 0.02ZM-0.46 0.56L0.46 0.28V0.58L-0.46 0.86Z"
	flatSign   = "M-0.34 -1.7V0.66"
	flatBowl   = "M-0.34 0.72V-0.16C-0.1 -0.48 0.42 -0.46 0.42 -0.06C0.42 0.3 0 0.5 -0.34 0.72ZM-0.24 0.42C0 0.26 0.14 0.1 0.14 -0.08C0.14 -0.3 -0.1 -0.26 -0.24 -0.06Z"
	natural    = "M-0.3 -1.35V0.6M0.3 -0.6V1.35"
	naturalBar = "M-0.34 -0.24L0.34 -0.5V-0.2L-0.34 0.06ZM-0.34 0.44L0.34 0.18V0.48L-0.34 0.74Z"
	doubleX    = "M-0.42 -0.42L0.42 0.42M-0.42 0.42L0.42 -0.42"
	doubleEnds = "M-0.54 -0.54H-0.26V-0.26H-0.54ZM0.54 -0.54H0.26V-0.26H0.54ZM-0.54 0.54H-0.26V0.26H-0.54ZM0.54 0.54H0.26V0.26H0.54Z"
	quarterRst = "M-0.3 -1.45L0.36 -0.62C-0.08 -0.22 -0.04 0.02 0.42 0.62C-0.06 0.4 -0.42 0.52 -0.1 1.34C-0.72 0.72 -0.5 0.2 0.02 0.34L-0.4 -0.28C0 -0.68 0 -0.9 -0.34 -1.38Z"
	flagUp     = "M0 0C0.1 0.8 1.06 1.1 1 2.1C0.98 2.5 0.86 2.8 0.74 3C0.98 2 0.6 1.36 0 1.2Z"
	flagDown   = "M0 0C0.1 -0.8 1.06 -1.1 1 -2.1C0.98 -2.5 0.86 -2.8 0.74 -3C0.98 -2 0.6 -1.36 0 -1.2Z"
	restFlag   = "M0.42 -0.52C0.2 -0.3 -0.06 -0.24 -0.24 -0.28"
	restDot    = "M-0.12 -0.46A0.24 0.24 0 1 1 -0.6 -0.46A0.24 0.24 0 1 1 -0.12 -0.46Z"
)

// sign draws an accidental and returns its width.
func (e *engraver) sign(x, y float64, alter int8) {
	switch {
	case alter == 2:
		e.glyph(x, y, doubleX, stroked+`"0.16"`)
		e.glyph(x, y, doubleEnds, filled)
	case alter > 0:
		for i := range int(alter) {
			e.glyph(x-float64(i)*space, y, sharpSign, stroked+`"0.12"`)
			e.glyph(x-float64(i)*space, y, sharpBars, filled)
		}
	case alter < 0:
		for i := range int(-alter) {
			e.glyph(x-float64(i)*0.85*space, y, flatSign, stroked+`"0.12"`)
			e.glyph(x-float64(i)*0.85*space, y, flatBowl, filled+` fill-rule="evenodd"`)
		}
	default:
		e.glyph(x, y, natural, stroked+`"0.12"`)
		e.glyph(x, y, naturalBar, filled)
	}
}

func signWidth(alter int8) float64 {
	switch {
	case alter == 2 || alter >= -1 && alter <= 1:
		return 1.15 * space
	case alter < 0:
		return (0.3 + 0.85*float64(-alter)) * space
	}
	return float64(alter) * 1.1 * space
}

// item is a piece with the room it takes.
type item struct {
	piece
	sign  bool
	place int
	left  float64 // before the middle of the head
	right float64 // after it, at the least
	x     float64
	up    bool
	tip   float64 // y of the end of its stem
}

// measure is a bar with its items.
type measure struct {
	laidBar
	items []item
	lead  float64 // room of key and meter at its beginning
	min   float64 // its width
}

// fontSize of the labels, and how wide a letter is at the most.
const (
	fontSize    = 13.0
	letterWidth = 0.58 * fontSize
)

// padding is the room beside the bar lines.
const padding = 1.4 * space

// measures finds how much room the bars need.
func (e *engraver) measures(bars []laidBar) []measure {
	ms := make([]measure, len(bars))
	for i, b := range bars {
		m := &ms[i]
		m.laidBar = b
		written := signs{}
		for _, p := range b.pieces {
			it := item{piece: p, left: 0.9 * space, place: 4}
			if !p.Rest {
				it.place = e.clef.place(p.Pitch)
				if it.sign = written.write(b.key, p); it.sign {
					it.left += signWidth(p.Pitch.Alter)
				}
			}
			// Longer notes have more room, less than in proportion.
			it.right = (1.5 + 1.5*math.Log2(1+2*p.Length.Float())) * space
			if label := e.label(p); label != "" {
				half := float64(len([]rune(label))) * letterWidth / 2
				it.left = max(it.left, half+1)
				it.right = max(it.right, half+3)
			}
			if p.value == 8 && p.beam == 0 && !p.Rest {
				it.right = max(it.right, 2*space)
			}
			m.min += it.left + it.right
			m.items = append(m.items, it)
		}
		if i > 0 && b.newKey {
			m.lead += e.keyWidth(b.key, b.oldKey) + space
		}
		if i > 0 && b.newMeter {
			m.lead += 3 * space
		}
		m.min += m.lead + padding
		e.stems(m.items)
	}
	return ms
}

func (e *engraver) label(p piece) string {
	if e.view.Labels == nil || p.Rest || p.from || p.note >= len(e.view.Labels) {
		return ""
	}
	return e.view.Labels[p.note]
}

// stems chooses the directions: down from the middle line on, beamed notes by
// the one that is farthest from it.
func (e *engraver) stems(items []item) {
	for i := 0; i < len(items); {
		j := i + 1
		for items[i].beam > 0 && j < len(items) && items[j].beam == items[i].beam {
			j++
		}
		far := 0
		for _, it := range items[i:j] {
			if d := it.place - 4; max(d, -d) > max(far, -far) {
				far = d
			}
		}
		for k := i; k < j; k++ {
			items[k].up = far < 0
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
	w := 3.9*space + e.keyWidth(m.key, theory.Key{}) + space
	if m.meter.Valid() && (first || m.newMeter) {
		w += 2.8 * space
	}
	return w
}

// draw makes the picture.
func (e *engraver) draw(bars []laidBar) string {
	ms := e.measures(bars)
	low, high := 0, 8
	for _, m := range ms {
		for _, it := range m.items {
			reach := 0 // of its stem, and of the number of a tuplet
			if it.value >= 2 && !it.Rest {
				reach = 7
			}
			if it.tuplet > 0 {
				reach += 4
			}
			if it.up {
				low, high = min(low, it.place-1), max(high, it.place+reach)
			} else {
				low, high = min(low, it.place-reach), max(high, it.place+1)
			}
		}
	}
	// Systems: as many bars as fit.
	type system struct{ from, to int }
	var systems []system
	for i := 0; i < len(ms); {
		w := e.headWidth(&ms[i], i == 0) + ms[i].min - ms[i].lead
		j := i + 1
		for j < len(ms) && w+ms[j].min <= e.width-2*margin {
			w += ms[j].min
			j++
		}
		systems = append(systems, system{i, j})
		i = j
	}
	// Room above for stems and ties, below for labels.
	above := margin + max(3, float64(high-8)/2+1)*space
	below := max(3, float64(-low)/2+1) * space
	if e.view.Labels != nil {
		below += fontSize + 6
	}
	if e.score.Title != "" {
		above += 4
	}
	each := above + 4*space + below
	titleRoom := 0.0
	if e.score.Title != "" {
		titleRoom = 22
	}
	height := titleRoom + each*float64(len(systems)) + margin
	fmt.Fprintf(&e.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" fill="black" stroke="black" stroke-width="1.2">`+"\n", num(e.width), num(height), num(e.width), num(height))
	fmt.Fprintf(&e.b, "<title>%s</title>\n<desc>%s</desc>\n", escape(e.title()), escape(e.describe()))
	fmt.Fprintf(&e.b, `<rect width="%s" height="%s" fill="white" stroke="none"/>`+"\n", num(e.width), num(height))
	if e.score.Title != "" {
		fmt.Fprintf(&e.b, `<text x="%s" y="20" stroke="none" font-family="serif" font-size="16" text-anchor="middle">%s</text>`+"\n", num(e.width/2), escape(e.score.Title))
	}
	for n, sys := range systems {
		e.top = titleRoom + each*float64(n) + above
		x := margin
		first := &ms[sys.from]
		lead := e.headWidth(first, n == 0)
		natural := lead
		for i := sys.from; i < sys.to; i++ {
			natural += ms[i].min
		}
		natural -= first.lead
		first.min -= first.lead
		first.lead = 0
		// Stretch to the margin, the last system only if it is nearly full.
		room := e.width - 2*margin
		stretch := (room - lead) / (natural - lead)
		if n == len(systems)-1 && stretch > 1.6 {
			stretch = 1.6
		}
		if natural > room {
			stretch = (room - lead) / (natural - lead)
		}
		end := x + lead
		for i := sys.from; i < sys.to; i++ {
			end += ms[i].min * stretch
		}
		for l := range 5 {
			y := e.top + float64(l)*space
			e.line(margin, y, end, y, 1)
		}
		e.drawClef(x + 1.9*space)
		x += 3.9 * space
		x = e.drawKey(x, first.key, theory.Key{})
		if first.meter.Valid() && (n == 0 || first.newMeter) {
			e.drawMeter(x+1.5*space, first.meter)
		}
		x = margin + lead
		for i := sys.from; i < sys.to; i++ {
			m := &ms[i]
			at := x + m.lead
			if i > sys.from && (m.newKey || m.newMeter) {
				k := x + 0.8*space
				if m.newKey {
					k = e.drawKey(k, m.key, m.oldKey)
				}
				if m.newMeter {
					e.drawMeter(k+1.5*space, m.meter)
				}
			}
			at += padding / 2
			inner := (m.min*stretch - m.lead - padding) / max(1, m.min-m.lead-padding)
			for j := range m.items {
				it := &m.items[j]
				at += it.left * math.Min(inner, 1)
				it.x = at
				at += it.right*inner + it.left*(inner-math.Min(inner, 1))
			}
			if len(m.items) == 1 && m.items[0].Rest && m.items[0].value == 1 {
				m.items[0].x = x + m.lead + (m.min*stretch-m.lead)/2
			}
			e.drawItems(m)
			x += m.min * stretch
			last := i == len(ms)-1
			switch {
			case last:
				e.line(x-0.8*space, e.top, x-0.8*space, e.top+4*space, thin)
				e.line(x-0.2*space, e.top, x-0.2*space, e.top+4*space, 0.4*space)
			case ms[i+1].newKey:
				e.line(x-0.4*space, e.top, x-0.4*space, e.top+4*space, thin)
				e.line(x, e.top, x, e.top+4*space, thin)
			default:
				e.line(x, e.top, x, e.top+4*space, thin)
			}
		}
		e.ties(ms[sys.from:sys.to], margin+lead, end)
		if e.view.Labels != nil {
			y := e.top + 4*space + max(3, float64(-low)/2+1)*space + fontSize - 4
			for i := sys.from; i < sys.to; i++ {
				for _, it := range ms[i].items {
					if label := e.label(it.piece); label != "" {
						fmt.Fprintf(&e.b, `<text x="%s" y="%s" stroke="none" font-family="sans-serif" font-size="%g" text-anchor="middle">%s</text>`+"\n", num(it.x), num(y), fontSize, escape(label))
					}
				}
			}
		}
	}
	e.b.WriteString("</svg>\n")
	return e.b.String()
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
	for _, n := range e.score.Notes {
		name := "rest"
		if !n.Rest {
			name = n.Pitch.String()
		}
		words = append(words, name)
	}
	return strings.Join(words, " ")
}

func (e *engraver) drawClef(x float64) {
	if e.clef == Bass {
		e.glyph(x-0.1*space, e.y(6), bassClef, stroked+`"0.24"`)
		e.glyph(x-0.1*space, e.y(6), bassDots, filled)
		return
	}
	e.glyph(x-0.2*space, e.y(2), trebleClef, stroked+`"0.22"`)
	e.glyph(x-0.2*space, e.y(2), trebleDot, filled)
	if e.clef == TrebleDown {
		fmt.Fprintf(&e.b, `<text x="%s" y="%s" stroke="none" font-family="serif" font-size="13" text-anchor="middle">8</text>`+"\n", num(x-0.1*space), num(e.y(2)+4.1*space))
	}
}

// drawKey draws a signature and returns where it ends.
func (e *engraver) drawKey(x float64, k, before theory.Key) float64 {
	places, alter := e.clef.signature(k.Signature())
	if len(places) == 0 {
		places, _ = e.clef.signature(before.Signature())
		alter = 0
	}
	for _, p := range places {
		e.sign(x+0.5*space, e.y(p), alter)
		x += space
	}
	return x
}

func (e *engraver) drawMeter(x float64, m theory.Meter) {
	for i, n := range []int{m.Beats, m.Unit} {
		fmt.Fprintf(&e.b, `<text x="%s" y="%s" stroke="none" font-family="serif" font-weight="bold" font-size="27" text-anchor="middle">%d</text>`+"\n",
			num(x), num(e.top+(2*float64(i)+1.92)*space), n)
	}
}

// drawItems draws the notes and rests of a bar.
func (e *engraver) drawItems(m *measure) {
	for i := range m.items {
		it := &m.items[i]
		if it.Rest {
			e.drawRest(it)
			continue
		}
		y := e.y(it.place)
		switch {
		case it.value >= 4:
			e.glyph(it.x, y, blackHead, filled)
		case it.value == 2:
			e.glyph(it.x, y, halfHead, filled+` fill-rule="evenodd"`)
		default:
			e.glyph(it.x, y, wholeHead, filled+` fill-rule="evenodd"`)
			if it.value == 0 {
				e.line(it.x-1.1*space, y-0.6*space, it.x-1.1*space, y+0.6*space, thin)
				e.line(it.x+1.1*space, y-0.6*space, it.x+1.1*space, y+0.6*space, thin)
			}
		}
		for l := -2; l >= it.place; l -= 2 {
			e.line(it.x-1.05*space, e.y(l), it.x+1.05*space, e.y(l), 1.2)
		}
		for l := 10; l <= it.place; l += 2 {
			e.line(it.x-1.05*space, e.y(l), it.x+1.05*space, e.y(l), 1.2)
		}
		if it.sign {
			e.sign(it.x-1.45*space, y, it.Pitch.Alter)
		}
		e.dots(it, y)
		if it.value >= 2 && it.beam == 0 {
			e.drawStem(it, y)
		}
	}
	for i := 0; i < len(m.items); {
		j := i + 1
		for m.items[i].beam > 0 && j < len(m.items) && m.items[j].beam == m.items[i].beam {
			j++
		}
		if m.items[i].beam > 0 {
			e.drawBeam(m.items[i:j])
		}
		i = j
	}
	e.tuplets(m.items)
}

func (e *engraver) dots(it *item, y float64) {
	if it.place%2 == 0 {
		y -= space / 2 // beside a line: in the space above
	}
	for d := range it.dots {
		fmt.Fprintf(&e.b, `<circle cx="%s" cy="%s" r="%s" stroke="none"/>`+"\n", num(it.x+(1.15+0.6*float64(d))*space), num(y), num(0.19*space))
	}
}

// stemX is where the stem stands.
func (it *item) stemX() float64 {
	if it.up {
		return it.x + 0.55*space
	}
	return it.x - 0.55*space
}

func (e *engraver) drawStem(it *item, y float64) {
	x, dir := it.stemX(), 1.0
	from := y + 0.18*space
	if it.up {
		dir, from = -1, y-0.18*space
	}
	length := stem
	if n := flags(it.value); n > 2 {
		length += float64(n-2) * 0.8 * space
	}
	to := y + dir*length
	// Far from the staff a stem reaches the middle line.
	if middle := e.y(4); (to-middle)*dir < 0 {
		to = middle
	}
	e.line(x, from, x, to, thin)
	it.tip = to
	for k := range flags(it.value) {
		shape := flagUp
		if !it.up {
			shape = flagDown
		}
		e.glyph(x, to-dir*float64(k)*0.8*space, shape, filled)
	}
}

// drawBeam draws the stems and beams of a group.
func (e *engraver) drawBeam(items []item) {
	dir := 1.0
	if items[0].up {
		dir = -1
	}
	n := len(items)
	x0, x1 := items[0].stemX(), items[n-1].stemX()
	y0, y1 := e.y(items[0].place), e.y(items[n-1].place)
	// The beam leans with the notes, at most a space.
	slope := math.Max(-0.8*space, math.Min(0.8*space, (y1-y0)/2)) / math.Max(1, x1-x0)
	levels := 1
	for _, it := range items {
		levels = max(levels, flags(it.value))
	}
	shortest := 3.0*space + float64(levels-1)*0.5*space
	// Far enough from every head, and from the middle line.
	base := math.Inf(-1)
	for _, it := range items {
		want := e.y(it.place) + dir*shortest
		if middle := e.y(4); (want-middle)*dir < 0 {
			want = middle
		}
		base = math.Max(base, dir*(want-slope*(it.stemX()-x0)))
	}
	base *= dir
	beamY := func(x float64) float64 { return base + slope*(x-x0) }
	for i := range items {
		it := &items[i]
		y := e.y(it.place) + dir*0.18*space
		it.tip = beamY(it.stemX())
		e.line(it.stemX(), y, it.stemX(), it.tip, thin)
	}
	const thick = 0.5 * space
	for level := 1; level <= levels; level++ {
		off := -dir * float64(level-1) * 0.8 * space
		for i := 0; i < n; {
			if flags(items[i].value) < level {
				i++
				continue
			}
			j := i
			for j+1 < n && flags(items[j+1].value) >= level {
				j++
			}
			from, to := items[i].stemX(), items[j].stemX()
			if i == j { // a stub towards its neighbour
				if to = from + 1.1*space; i == n-1 {
					from, to = from-1.1*space, from
				}
			}
			from, to = from-thin/2, to+thin/2
			a, b := beamY(from)+off, beamY(to)+off
			e.path(fmt.Sprintf("M%s %sL%s %sV%sL%s %sZ", num(from), num(a), num(to), num(b), num(b-dir*thick), num(from), num(a-dir*thick)), filled)
			i = j + 1
		}
	}
}

// tuplets writes the number of each tuplet on the side of its beam, with a
// bracket where there is none.
func (e *engraver) tuplets(items []item) {
	for i := 0; i < len(items); i++ {
		if !items[i].opens {
			continue
		}
		j := i
		for j+1 < len(items) && !items[j].closes {
			j++
		}
		beamed := items[i].beam > 0 && items[i].beam == items[j].beam
		dir := -1.0
		if beamed && !items[i].up {
			dir = 1
		}
		y := e.top + 2*space + dir*space // never within the staff's middle
		if !beamed {
			y = e.top
		}
		for _, it := range items[i : j+1] {
			if edge := it.tip; !it.Rest && it.up == (dir < 0) && (edge-y)*dir > 0 {
				y = edge
			}
			if edge := e.y(it.place); (edge-y)*dir > 0 {
				y = edge
			}
		}
		y += dir * 0.8 * space
		x := (items[i].x + items[j].x) / 2
		if items[i].up {
			x += 0.55 * space
		}
		fmt.Fprintf(&e.b, `<text x="%s" y="%s" stroke="none" font-family="serif" font-style="italic" font-size="14" text-anchor="middle">%d</text>`+"\n", num(x), num(y+0.45*space), items[i].tuplet)
		if !beamed {
			for _, side := range [][3]float64{{items[i].x - 0.7*space, x - 0.8*space, 1}, {items[j].x + 0.7*space, x + 0.8*space, 1}} {
				e.path(fmt.Sprintf("M%s %sV%sH%s", num(side[0]), num(y+0.6*space), num(y), num(side[1])), `fill="none"`)
			}
		}
		i = j
	}
}

func (e *engraver) drawRest(it *item) {
	rect := func(y float64) {
		fmt.Fprintf(&e.b, `<rect x="%s" y="%s" width="%s" height="%s" stroke="none"/>`+"\n", num(it.x-0.6*space), num(y), num(1.2*space), num(space/2))
	}
	switch {
	case it.value <= 1:
		rect(e.y(6))
	case it.value == 2:
		rect(e.y(4) - space/2)
	case it.value == 4:
		e.glyph(it.x, e.y(4), quarterRst, filled)
	default:
		n := flags(it.value)
		y := e.y(4)
		bottom := y + (0.5+0.5*float64(n))*space
		e.line(it.x+0.42*space, y-0.56*space, it.x+(0.42-0.3*float64(n+1)/2)*space, bottom, thin)
		for k := range n {
			x := it.x - 0.14*float64(k)*space
			e.glyph(x, y+float64(k)*space, restDot, filled)
			e.glyph(x, y+float64(k)*space, restFlag, stroked+`"0.14"`)
		}
	}
	e.dots(&item{piece: it.piece, x: it.x, place: 4}, e.y(4))
}

// ties draws the ties and slurs of a system; those that leave it or come into it
// end at its edge.
func (e *engraver) ties(ms []measure, from, to float64) {
	bend := func(x0, y0, x1, y1, rise float64, stemsUp bool) {
		dir := -1.0
		if stemsUp {
			dir = 1 // below the heads
		}
		y0, y1 = y0+dir*0.7*space, y1+dir*0.7*space
		w := x1 - x0
		arc := func(rise float64) (float64, float64) { return y0 + dir*rise, y1 + dir*rise }
		a0, a1 := arc(rise)
		b0, b1 := arc(rise + 2.2)
		e.path(fmt.Sprintf("M%s %sC%s %s %s %s %s %sC%s %s %s %s %s %sZ", num(x0), num(y0),
			num(x0+w/4), num(a0), num(x1-w/4), num(a1), num(x1), num(y1),
			num(x1-w/4), num(b1), num(x0+w/4), num(b0), num(x0), num(y0)), `stroke-width="0.5"`)
	}
	tie := func(x0, y0, x1, y1 float64, up bool) {
		bend(x0, y0, x1, y1, math.Min(1.4, 0.6+math.Abs(x1-x0)/(20*space))*space, up)
	}
	var all []*item
	for i := range ms {
		for j := range ms[i].items {
			all = append(all, &ms[i].items[j])
		}
	}
	slurred := func(i int) bool { return all[i].Slur && !all[i].Rest }
	inside := func(it *item) bool {
		return it.note > 0 && e.score.Notes[it.note-1].Slur && !e.score.Notes[it.note-1].Rest
	}
	for i, it := range all {
		y := e.y(it.place)
		switch {
		case it.to && i+1 < len(all):
			tie(it.x+0.3*space, y, all[i+1].x-0.3*space, y, it.up)
		case it.to:
			tie(it.x+0.3*space, y, to, y, it.up)
		}
		if i == 0 && it.from {
			tie(from-0.8*space, y, it.x-0.3*space, y, it.up)
		}
		// One slur from the first to the last of the notes it joins.
		first := !it.Rest && e.score.Notes[it.note].Slur && !it.from && !inside(it)
		if !first && !(i == 0 && inside(it)) {
			continue
		}
		j := i
		for j+1 < len(all) && (slurred(j) || all[j].to) {
			j++
		}
		x0, x1 := it.x, all[j].x
		if !first {
			x0 = from - 0.8*space
		}
		end := e.y(all[j].place)
		if j == len(all)-1 && slurred(j) {
			x1 = to
		}
		// Below where all stems go up, else above.
		below, dir := true, -1.0
		for k := i; k <= j; k++ {
			below = below && all[k].up
		}
		if below {
			dir = 1
		}
		rise := 1.2 * space
		for k := i; k <= j; k++ {
			edge := e.y(all[k].place)
			if all[k].up && !below {
				edge = all[k].tip
			}
			rise = math.Max(rise, (dir*(edge-(y+end)/2)+0.6*space)*4/3)
		}
		bend(x0, y, x1, end, rise, below)
	}
}
