package engrave

import (
	"singback/theory"
)

// worded reports whether something is sung on a note of the line.
func worded(s theory.Score) bool {
	for _, n := range s.Notes {
		if n.Words != "" && !n.Rest {
			return true
		}
	}
	return false
}

// sungOn is what is sung on a piece.
func sungOn(p Piece) string {
	if p.Rest || p.TiedFrom {
		return ""
	}
	return p.Words
}

// within returns the chord symbols that stand over a piece.
func within(symbols []theory.ChordSymbol, p Piece) []theory.ChordSymbol {
	end := p.At.Plus(p.Length)
	for len(symbols) > 0 && symbols[0].At.Less(p.At) {
		symbols = symbols[1:]
	}
	n := 0
	for n < len(symbols) && symbols[n].At.Less(end) {
		n++
	}
	return symbols[:n]
}

// part is how far into a piece a symbol stands: 0 at its beginning, below 1.
func (p Piece) part(c theory.ChordSymbol) float64 { return c.At.Minus(p.At).Over(p.Length).Float() }

// letterRoom is how wide a text of chord symbols or words is at the most.
func letterRoom(text string) float64 { return float64(len([]rune(text))) * letterWidth }

// room widens an item for the words below it and the chord symbols above.
func (e *engraver) room(it *item) {
	if text := sungOn(it.Piece); text != "" {
		it.left = max(it.left, letterRoom(text)/2+1)
		it.right = max(it.right, letterRoom(text)/2+3)
	}
	over := within(e.score.Symbols, it.Piece)
	for i, c := range over {
		share := 1 - it.part(c)
		if i+1 < len(over) {
			share = it.part(over[i+1]) - it.part(c)
		}
		it.right = max(it.right, (letterRoom(c.String())+5)/share)
	}
}

// drawSymbols writes the chord symbols of a system on one line: each begins above
// its note, or as far towards the next as it stands within it.
func (e *engraver) drawSymbols(ms []measure, y float64) {
	for i := range ms {
		for _, it := range ms[i].items {
			for _, c := range within(e.score.Symbols, it.Piece) {
				x := it.x - 0.5*space + (it.next-it.x)*it.part(c)
				e.text(x, y, `class="chord" `+small, c.String())
			}
		}
	}
}

// textSymbols returns the chord symbols over a piece of text, each with its column
// from the head of the note on, and how many columns they take, a blank behind.
func (t *textSystem) textSymbols(p Piece, used int) (texts []textMark, width int) {
	for _, c := range within(t.over, p) {
		text := c.String()
		if t.view.ASCII {
			text = c.ASCII()
		}
		x := max(width, int(float64(used)*p.part(c)))
		texts = append(texts, textMark{x: x, text: text})
		width = x + len([]rune(text)) + 1
	}
	return texts, width
}
