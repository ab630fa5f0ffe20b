package engrave

import (
	"strings"

	"singback/theory"
)

// Escape is escape, for tests from outside.
var Escape = escape

// Heads counts the heads of notes in a picture.
func Heads(svg string) int {
	return strings.Count(svg, blackHead) + strings.Count(svg, halfHead) + strings.Count(svg, wholeHead)
}

// Drawn is what became of a note: its stem, its beam group, its accidental.
type Drawn struct {
	Up   bool
	Beam int
	Sign bool
}

// Layout returns what becomes of the notes of each bar.
func Layout(s theory.Score) ([][]Drawn, error) {
	bars, err := Lay(s)
	if err != nil {
		return nil, err
	}
	e := engraver{score: s}
	var out [][]Drawn
	for _, m := range e.measures(bars) {
		var items []Drawn
		for _, it := range m.items {
			items = append(items, Drawn{it.up, it.Beam, it.sign})
		}
		out = append(out, items)
	}
	return out, nil
}
