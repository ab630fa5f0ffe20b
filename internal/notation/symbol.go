package notation

import (
	"fmt"
	"unicode/utf8"

	"singback/internal/plain"
	"singback/theory"
)

// symbolFrom reads the text of a chord symbol that stands at a place of the file.
// What is no chord is kept as text, with a warning; ok is false where it is too
// long for a chord symbol.
func (r *reading) symbolFrom(where, text string) (c theory.ChordSymbol, ok bool) {
	if text = plain.Line(text); text == "" {
		return c, false
	}
	if utf8.RuneCountInString(text) > theory.MaxSymbolText {
		r.warn("%s: the chord symbol %s has more than %d letters: it was left out", where, quote(text), theory.MaxSymbolText)
		return c, false
	}
	c, err := theory.ParseChordSymbol(text)
	if err != nil && !c.Silent() && !r.unread[text] {
		if r.unread == nil {
			r.unread = map[string]bool{}
		}
		r.unread[text] = true
		r.warn("%s: the chord symbol %s is not understood: it is kept as text, here and below, and not moved to another key", where, quote(text))
	}
	return c, true
}

// symbolsOf returns the chord symbols of a line that ends at a time, in order, one
// at a time; those behind the last note are left out.
func (r *reading) symbolsOf(symbols []theory.ChordSymbol, end theory.Fraction) []theory.ChordSymbol {
	var out []theory.ChordSymbol
	for _, c := range symbols {
		switch n := len(out); {
		case !c.At.Less(end):
			r.warn("the chord symbol %s behind the last note was left out", quote(c.ASCII()))
		case n > 0 && !out[n-1].At.Less(c.At):
			r.warn("of chord symbols at one place, like %s and %s, the first one is read", quote(out[n-1].ASCII()), quote(c.ASCII()))
		default:
			out = append(out, c)
		}
	}
	return out
}

// moved returns chord symbols later by a time.
func moved(symbols []theory.ChordSymbol, by theory.Fraction) []theory.ChordSymbol {
	var out []theory.ChordSymbol
	for _, c := range symbols {
		c.At = c.At.Plus(by)
		out = append(out, c)
	}
	return out
}

// Unmoved names the chord symbols that are text, which a move to another key leaves
// as they are; "" where there are none.
func Unmoved(s theory.Score) string {
	for _, c := range s.Symbols {
		if c.Text != "" && !c.Silent() {
			return fmt.Sprintf("the chord symbol %s is not understood: it was not moved", quote(c.Text))
		}
	}
	return ""
}
