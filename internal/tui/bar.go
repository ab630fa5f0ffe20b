package tui

import (
	"fmt"
	"io"
	"strings"
)

// Bar shows how many of so many things are done, on the last line of a terminal.
type Bar struct {
	w       io.Writer // nil: nobody is looking
	of, now int
	drawn   bool
}

// NewBar draws a bar on a terminal, for at least one thing; with a nil w nothing is
// shown.
func NewBar(w io.Writer, of int) *Bar {
	b := &Bar{w: w, of: of}
	b.draw()
	return b
}

// Step tells that one more is done.
func (b *Bar) Step() { b.now++; b.draw() }

func (b *Bar) draw() {
	if b.w == nil {
		return
	}
	const width = 40
	full := width * b.now / b.of
	fmt.Fprintf(b.w, "\r[%s%s] %d of %d", strings.Repeat("#", full), strings.Repeat("-", width-full), b.now, b.of)
	b.drawn = true
}

// Clear takes the bar away, so that a line can be written.
func (b *Bar) Clear() {
	if b.w != nil && b.drawn {
		fmt.Fprintf(b.w, "\r%s\r", strings.Repeat(" ", 70))
		b.drawn = false
	}
}
