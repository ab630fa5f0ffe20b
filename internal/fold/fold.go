// Package fold breaks lines of text between words, for people: those that a program
// writes to a terminal with [Writer], and paragraphs with [Text]. Nothing but white
// space changes.
package fold

import (
	"io"
	"strings"
	"unicode/utf8"
)

// Writer writes text to a terminal and breaks lines that are too long for it between
// words; what follows is set in by two columns more. A word that is longer than a
// line is left to the terminal.
type Writer struct {
	out     io.Writer
	columns func() int // of the terminal
	off     bool

	col     int  // columns that are written of the line
	indent  int  // blanks that the line begins with
	begun   bool // the line has a word
	blanks  int  // not yet written
	between bool // a line may be broken here: a blank was written last
	buf     []byte
}

// NewWriter returns a writer to a terminal of so many columns; 0 are not known, and
// nothing is broken.
func NewWriter(out io.Writer, columns func() int) *Writer { return &Writer{out: out, columns: columns} }

// Off tells that what is written from now on is no text for people: nothing is broken.
func (f *Writer) Off(off bool) { f.off = off }

// Under is what w writes to: what a [Writer] folds for, or w itself.
func Under(w io.Writer) io.Writer {
	if f, ok := w.(*Writer); ok {
		return f.out
	}
	return w
}

// Write follows io.Writer.
func (f *Writer) Write(p []byte) (int, error) {
	width := 0
	if !f.off {
		width = f.columns()
	}
	if width <= 0 {
		return f.out.Write(p)
	}
	f.buf = f.buf[:0]
	for at := 0; at < len(p); {
		switch p[at] {
		case '\n', '\r':
			f.space()
			f.buf = append(f.buf, p[at])
			f.col, f.indent, f.begun, f.between = 0, 0, false, false
			at++
		case ' ':
			f.blanks++
			at++
		default:
			end := at + 1
			for end < len(p) && p[end] != ' ' && p[end] != '\n' && p[end] != '\r' {
				end++
			}
			f.word(p[at:end], width)
			at = end
		}
	}
	f.space()
	if _, err := f.out.Write(f.buf); err != nil {
		return 0, err
	}
	return len(p), nil
}

// space writes the blanks that are due.
func (f *Writer) space() {
	for range f.blanks {
		f.buf = append(f.buf, ' ')
	}
	f.col += f.blanks
	if !f.begun {
		f.indent = f.col
	}
	f.between = f.between || f.blanks > 0
	f.blanks = 0
}

// word writes a word, on a new line where it does not fit.
func (f *Writer) word(word []byte, width int) {
	n := utf8.RuneCount(word)
	hang := min(f.indent+2, width/2)
	if f.begun && (f.blanks > 0 || f.between) && f.col+f.blanks+n > width && hang+n <= width {
		f.buf = append(f.buf, '\n')
		f.buf = append(f.buf, strings.Repeat(" ", hang)...)
		f.col, f.blanks = hang, 0
	} else {
		f.space()
	}
	f.buf = append(f.buf, word...)
	f.col += n
	f.begun, f.between = true, false
}

// Text breaks the paragraphs of a text at so many columns. Lines that begin with a
// blank stay as they are.
func Text(text string, width int) string {
	var out []string
	fresh := true // a paragraph begins
	for line := range strings.SplitSeq(text, "\n") {
		if line == "" || line[0] == ' ' {
			out, fresh = append(out, line), true
			continue
		}
		for _, word := range strings.Fields(line) {
			n := len(out) - 1
			if fresh || utf8.RuneCountInString(out[n])+1+utf8.RuneCountInString(word) > width {
				out, fresh = append(out, word), false
				continue
			}
			out[n] += " " + word
		}
	}
	return strings.Join(out, "\n")
}
