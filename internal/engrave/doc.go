// Package engrave draws lines of music: as staff notation in SVG, and as a staff of
// characters. It divides their notes at bar lines and into note values, as the writers
// of files do too. Above stand the chord symbols of a line, below its words.
//
// The two calls most users need are [SVG] and [Text]; a [View] says how, and may have a
// [Mark] for each note. [Lay] gives the bars. Files are the matter of package notation:
// none of their formats is needed here, so that a browser loads little.
package engrave

import (
	"errors"
	"strings"
	"unicode/utf8"

	"singback/theory"
)

// ErrLine is wrapped by every error about a line that cannot be written.
var ErrLine = errors.New("not readable notation")

// MaxBars is how many bars a line may have.
const MaxBars = 10_000

// Some lengths in quarter notes.
var (
	zero = theory.Fraction{Num: 0, Den: 1}
	one  = theory.Fraction{Num: 1, Den: 1}
)

// escape writes text as XML has it between tags and within attributes, as
// encoding/xml's EscapeText does: what XML 1.0 has no character for is replaced.
func escape(s string) string {
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == '"':
			b.WriteString("&#34;")
		case r == '\'':
			b.WriteString("&#39;")
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '\t':
			b.WriteString("&#x9;")
		case r == '\n':
			b.WriteString("&#xA;")
		case r == '\r':
			b.WriteString("&#xD;")
		case r < ' ', r == 0xfffe, r == 0xffff, r == utf8.RuneError && n == 1:
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteString(s[:n])
		}
		s = s[n:]
	}
	return b.String()
}
