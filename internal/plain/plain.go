// Package plain keeps text from outside from being taken for commands by a
// terminal, or shown in another order than it is written in.
//
// [Line] is for what reads a title or a name from a file or a device. [Writer]
// stands before standard output and standard error, and shows every such
// character that is still in what is printed. What is meant as a command to the
// terminal, and data that are no text, go around it: see [Around]. [Nearest] is the
// word that a mistyped one was meant to be.
package plain

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"unicode/utf8"
)

// Control reports whether a terminal may act upon r, or show what follows it
// elsewhere: the control characters of ISO/IEC 6429 (C0, delete, C1), the
// separators of lines and paragraphs, and the controls of Unicode's
// bidirectional algorithm (UAX #9, section 2). New line and tab are among them.
func Control(r rune) bool {
	switch {
	case r < ' ', 0x7f <= r && r <= 0x9f:
		return true
	case r == 0x061c, r == 0x200e, r == 0x200f: // marks
		return true
	case 0x2028 <= r && r <= 0x202e: // separators; embeddings, overrides and their end
		return true
	case 0x2066 <= r && r <= 0x2069: // isolates and their end
		return true
	}
	return false
}

// Line returns s as one line without controls: what breaks a line or a word is a
// blank, bytes that are no UTF-8 are U+FFFD, and the rest of the controls are
// left out, with the blanks around it all.
func Line(s string) string {
	if !strings.ContainsFunc(s, Control) && utf8.ValidString(s) {
		return s
	}
	s = strings.Map(func(r rune) rune {
		switch {
		case '\t' <= r && r <= '\r', r == 0x85, r == 0x2028, r == 0x2029:
			return ' '
		case Control(r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, string(utf8.RuneError)))
	return strings.TrimSpace(s)
}

// Short cuts what a user typed to a length that fits into a message.
func Short(s string) string {
	r := []rune(s)
	if len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// Shown returns s as a [Writer] writes it.
func Shown(s string) string {
	b, rest := appendShown(nil, []byte(s))
	return string(appendBytes(b, rest))
}

// Writer writes text and shows the controls in it, but new line and tab: as
// \u001b where it is a character, which in JSON is that character still, and as
// \x9b where it is a byte that is no UTF-8. Several goroutines may write.
type Writer struct {
	mu   sync.Mutex
	out  io.Writer
	rest []byte // the beginning of a character whose end has not been written
	text []byte
}

// NewWriter returns a writer of text to out.
func NewWriter(out io.Writer) *Writer { return &Writer{out: out} }

// Write follows io.Writer. The beginning of a character that is cut at the end of
// p waits for the next call.
func (w *Writer) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	in := p
	if len(w.rest) > 0 {
		in = append(w.rest, p...)
	}
	var rest []byte
	w.text, rest = appendShown(w.text[:0], in)
	w.rest = append([]byte(nil), rest...)
	if len(w.text) == 0 {
		return len(p), nil
	}
	if _, err := w.out.Write(w.text); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Flush writes what waits for the end of its character, as bytes.
func (w *Writer) Flush() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.rest) == 0 {
		return nil
	}
	_, err := w.out.Write(appendBytes(nil, w.rest))
	w.rest = nil
	return err
}

// Around returns what w writes to, if it is a [Writer], and else w: for what is
// no text from outside.
func Around(w io.Writer) io.Writer {
	if p, ok := w.(*Writer); ok {
		return p.out
	}
	return w
}

// appendShown appends what is shown of in, and returns the beginning of a
// character at its end.
func appendShown(out, in []byte) (shown, rest []byte) {
	for len(in) > 0 {
		if c := in[0]; ' ' <= c && c < 0x7f || c == '\n' || c == '\t' {
			out, in = append(out, c), in[1:]
			continue
		}
		r, n := utf8.DecodeRune(in)
		switch {
		case r == utf8.RuneError && n <= 1:
			if !utf8.FullRune(in) {
				return out, in
			}
			out = appendBytes(out, in[:1])
		case Control(r):
			out = fmt.Appendf(out, `\u%04x`, r)
		default:
			out = append(out, in[:n]...)
		}
		in = in[n:]
	}
	return out, nil
}

func appendBytes(out, bytes []byte) []byte {
	for _, b := range bytes {
		out = fmt.Appendf(out, `\x%02x`, b)
	}
	return out
}
