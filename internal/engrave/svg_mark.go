package engrave

import (
	"fmt"
	"math"
)

// Mark says what became of a note when it was sung. It is drawn in the picture of a line
// with a sign and words below the note; what was sung on another pitch has a hollow
// diamond at that height. No colour says anything: an element of the class mark may have
// one.
type Mark struct {
	Kind  MarkKind
	Cents float64 // how far above its own pitch it was sung
	Text  string  // below: "-40", "fa"
}

// MarkKind is a kind of [Mark].
type MarkKind int8

// The kinds, and their signs.
const (
	Unmarked   MarkKind = iota
	MarkRight           // a tick
	MarkOff             // a triangle that points to where it was sung: up or down
	MarkWrong           // a cross, and a diamond where it was sung
	MarkAbsent          // an empty circle
)

// markName is what the class of a mark's group ends with, for a style sheet.
var markName = [...]string{"", "right", "off", "wrong", "absent"}

// markRow is the room of a row of marks.
const markRow = 2.2 * space

// mark returns the mark of a piece; a piece that is tied on has none.
func (e *engraver) mark(p Piece) Mark {
	if p.Rest || p.TiedFrom || p.Note >= len(e.view.Marks) {
		return Mark{}
	}
	return e.view.Marks[p.Note]
}

// drawMarks draws the marks of a system on one line about y.
func (e *engraver) drawMarks(ms []measure, y float64) {
	for i := range ms {
		for _, it := range ms[i].items {
			if m := e.mark(it.Piece); m.Kind != Unmarked {
				e.drawMark(&it, m, y)
			}
		}
	}
}

func (e *engraver) drawMark(it *item, m Mark, y float64) {
	x, r := it.x, 0.45*space
	fmt.Fprintf(&e.b, `<g class="mark mark-%s" fill="none" stroke-width="1.8">`+"\n", markName[m.Kind])
	switch m.Kind {
	case MarkRight:
		e.path("", "M% %l% %l% %", x-r, y, 0.7*r, 0.8*r, 1.3*r, -1.7*r)
	case MarkOff:
		up := r
		if m.Cents < 0 {
			up = -r
		}
		e.path("", "M% %h%l% %z", x-r, y+0.7*up, 2*r, -r, -1.5*up)
	case MarkWrong:
		e.path("", "M% %l% %m0 %l% %", x-r, y-r, 2*r, 2*r, -2*r, -2*r, 2*r)
		e.sung(it, m)
	case MarkAbsent:
		e.put(`<circle cx="%" cy="%" r="%"/>`, x, y, r)
	}
	if m.Text != "" {
		e.text(x, y+markRow*0.85, `fill="black" `+small+` text-anchor="middle"`, m.Text)
	}
	e.b.WriteString("</g>\n")
}

// markReach is how many places, at the most, a diamond lies away from its note.
const markReach = 7

// sung draws a diamond where a note was sung: the octave has seven places.
func (e *engraver) sung(it *item, m Mark) {
	places := max(-markReach, min(markReach, m.Cents*7/1200))
	if math.Abs(places) < 0.3 {
		return
	}
	y := e.y(it.place) - places*space/2
	w, h := 0.75*space, 0.55*space
	e.path(`fill="white"`, "M% %l% %l% %l% %z", it.x-w, y, w, -h, w, h, -w, h)
}
