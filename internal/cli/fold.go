package cli

import (
	"io"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// folded writes text to a terminal and breaks lines that are too long for it between
// words; what follows is set in by two columns more. A word that is longer than a
// line is left to the terminal.
type folded struct {
	out     io.Writer
	columns func() int // of the terminal; 0: not known, and nothing is broken
	off     bool       // what is written is no text for people

	col     int  // columns that are written of the line
	indent  int  // blanks that the line begins with
	begun   bool // the line has a word
	blanks  int  // not yet written
	between bool // a line may be broken here: a blank was written last
	buf     []byte
}

func (f *folded) Write(p []byte) (int, error) {
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
func (f *folded) space() {
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
func (f *folded) word(word []byte, width int) {
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

// unfolded is what a stream is without folding.
func unfolded(w io.Writer) io.Writer {
	if f, ok := w.(*folded); ok {
		return f.out
	}
	return w
}

// asData marks commands whose output is for programs.
const asData = "data"

// isText reports whether a command writes text for people to standard output.
func isText(cmd *cobra.Command) bool {
	if f := cmd.Flags().Lookup("format"); f != nil && f.Value.String() != "text" {
		return false
	}
	if f := cmd.Flags().Lookup("to"); f != nil && cmd.Name() == "melody" && f.Value.String() != "text" {
		return false
	}
	for c := cmd; c != nil; c = c.Parent() {
		if _, ok := c.Annotations[asData]; ok {
			return false
		}
	}
	return true
}

// reflow breaks the paragraphs of a text at so many columns. Lines that begin with a
// blank stay as they are.
func reflow(text string, width int) string {
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

// fitHelp fits the help of a command, and of those below it, to a terminal; lines of
// more than 80 columns are hard to read on a wide one, too.
func fitHelp(cmd *cobra.Command, width int) {
	cmd.Long = reflow(cmd.Long, min(width, 80))
	for _, c := range cmd.Commands() {
		fitHelp(c, width)
	}
}
