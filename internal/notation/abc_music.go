package notation

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"singback/theory"
)

// music reads a line of music.
func (a *abcReader) music(s string) error {
	v := a.current()
	v.words, v.lines = v.words[:0], 0
	c := []rune(s)
	for i := 0; i < len(c); {
		a.column = i + 1
		n, err := a.symbol(c, i)
		if err != nil {
			return err
		}
		i += n
	}
	return nil
}

// until returns the index of r in c from i on, or an error.
func (a *abcReader) until(c []rune, i int, r rune) (int, error) {
	for j := i; j < len(c); j++ {
		if c[j] == r {
			return j, nil
		}
	}
	return 0, a.errorf("%q is missing after %q", r, c[i-1])
}

// symbol reads what begins at c[i] and returns how many characters it took.
func (a *abcReader) symbol(c []rune, i int) (int, error) {
	v := a.current()
	switch r := c[i]; {
	case unicode.IsSpace(r), r == '\\', r == '`', r == '$', r == '.':
		return 1, nil
	case r == 'y': // space, so wide
		_, used := number(c, i+1)
		return 1 + used, nil
	case r == '"':
		end, err := a.until(c, i+1, '"')
		if err == nil {
			a.quoted(string(c[i : end+1]))
		}
		return end + 1 - i, err
	case r == '!' || r == '+':
		return a.decoration(c, i), nil
	case isSymbol(r):
		a.symbolOf(r)
		return 1, nil
	case strings.ContainsRune("#*;?@", r):
		a.leave(fmt.Sprintf("%q means nothing in ABC yet and was left out", r))
		return 1, nil
	case r == '\'' || r == ',':
		a.leave(fmt.Sprintf("%q without a note right before it was left out", r))
		return 1, nil
	case r == '{':
		end, err := a.until(c, i+1, '}')
		a.leave("grace notes were left out")
		return end + 1 - i, err
	case r == '&':
		return a.secondVoice(c, i), nil
	case r == '[':
		return a.bracket(c, i)
	case r == '|', r == ':':
		return a.barLine(c, i)
	case r == '(' && i+1 < len(c) && unicode.IsDigit(c[i+1]):
		return a.openTuplet(c, i)
	case r == '(':
		v.slurs++
		return 1, nil
	case r == ')':
		a.closeSlur(v)
		return 1, nil
	case r == '-':
		a.tie(v)
		return 1, nil
	case r == '<' || r == '>':
		return a.brokenRhythm(v, c, i)
	case r == 'Z' || r == 'X':
		return a.barsOfRest(v, c, i)
	case strings.ContainsRune("^_=ABCDEFGabcdefgzx", r):
		n, used, err := a.note(c, i)
		if err == nil {
			err = a.add(n)
		}
		return used, err
	default:
		return 0, a.errorf("%q is no sign of ABC that is supported here", r)
	}
}

// decoration leaves out a sign between ! or + at c[i]. It returns how many
// characters it takes.
func (a *abcReader) decoration(c []rune, i int) int {
	r := c[i]
	end := i + 1
	for end < len(c) && c[end] != r && !unicode.IsSpace(c[end]) && c[end] != '|' {
		end++
	}
	if n := slices.Index(c[i+1:], r); n > 0 && jumps(string(c[i+1:i+1+n])) { // D.C. al fine, with spaces
		end = i + 1 + n
	}
	if end == len(c) || c[end] != r { // once the end of a printed line
		a.leave(fmt.Sprintf("%q without another one behind it was left out", r))
		return 1
	}
	a.mark(string(c[i : end+1]))
	return end + 1 - i
}

// secondVoice leaves out what stands behind an & to the end of the bar. It
// returns how many characters that takes.
func (a *abcReader) secondVoice(c []rune, i int) int {
	v := a.current()
	v.over2 = true
	if a.overlay { // the first one is left out
		n := len(v.words)
		for ; n > 0 && v.words[n-1].bar == len(v.bars); n-- {
		}
		v.now.notes, v.words, v.signs = v.now.notes[:0], v.words[:n], nil
		return 1
	}
	if !a.all {
		a.leave("a second voice in the bar (&) was left out")
	}
	end := i + 1
	for end < len(c) && c[end] != '|' {
		end++
	}
	return end - i
}

// bracket reads what begins with a [: a field, an ending, a bar line or a chord.
func (a *abcReader) bracket(c []rune, i int) (int, error) {
	next := rune(0)
	if i+1 < len(c) {
		next = c[i+1]
	}
	switch {
	case i+2 < len(c) && c[i+2] == ':' && unicode.IsLetter(next):
		end, err := a.until(c, i+1, ']')
		if err != nil {
			return 0, err
		}
		return end + 1 - i, a.field(byte(next), strings.TrimSpace(string(c[i+3:end])))
	case textEnding(c, i) > 0:
		n := textEnding(c, i)
		return n, a.beginTextEnding(string(c[i+2 : i+n-1]))
	case next == '|' || next >= '1' && next <= '9':
		return a.barLine(c, i)
	}
	end, err := a.until(c, i+1, ']')
	if err != nil {
		return 0, err
	}
	if !a.all {
		a.leave("of a chord only its highest note is read")
	}
	return a.chord(c, i, end)
}

// closeSlur ends a slur behind the last note.
func (a *abcReader) closeSlur(v *abcVoice) {
	if v.slurs == 0 {
		a.leave("a slur ends that was not begun: it was left out")
		return
	}
	v.slurs--
	if last := v.last(); last != nil {
		last.Slur = v.slurs > 0
	}
}

// tie ties the last note to the next.
func (a *abcReader) tie(v *abcVoice) {
	if last := v.last(); last != nil && !last.Rest {
		last.tied = true
		for i := range last.also {
			last.also[i].tied = true
		}
		return
	}
	a.leave("a tie without a note before it was left out")
}

// brokenRhythm reads < and >, which lengthen one note beside them and shorten
// the other.
func (a *abcReader) brokenRhythm(v *abcVoice, c []rune, i int) (int, error) {
	r := c[i]
	n := 1
	for i+n < len(c) && c[i+n] == r {
		n++
	}
	last := v.last()
	if n > 3 || last == nil {
		return 0, a.errorf("broken rhythm needs a note before it, and at most three signs")
	}
	short := theory.Fraction{Num: 1, Den: 1 << n}
	long := theory.Fraction{Num: 2, Den: 1}.Minus(short)
	if r == '<' {
		short, long = long, short
	}
	last.Length, v.broken = last.Length.Times(long), short
	return n, a.sound(last.Length)
}

// barsOfRest reads Z, which stands for as many bars of rest as its number says.
func (a *abcReader) barsOfRest(v *abcVoice, c []rune, i int) (int, error) {
	n, used := number(c, i+1)
	if used == 0 {
		n = 1
	}
	if !v.meter.Valid() || n < 1 || n > maxBars {
		return 0, a.errorf("a rest of %d bars without a meter, or too long", n)
	}
	for j := range n {
		if j > 0 {
			if err := a.closeBar(v); err != nil {
				return 0, err
			}
		}
		if err := a.put(note{Written: theory.Written{Rest: true, Length: v.meter.Bar()}}); err != nil {
			return 0, err
		}
	}
	return 1 + used, nil
}

// isSymbol reports whether r can stand for a sign before a note: by the standard
// one that U: defines, some with a meaning where it does not.
func isSymbol(r rune) bool {
	return r == '~' || r >= 'H' && r <= 'W' || r >= 'h' && r <= 'w'
}

// symbolOf leaves out a sign that is one letter.
func (a *abcReader) symbolOf(r rune) {
	meaning, ok := a.symbols[r]
	switch {
	case ok:
		a.mark(meaning)
	case r == 'S':
		a.mark("!segno!")
	case r == 'O':
		a.mark("!coda!")
	case !strings.ContainsRune("~HLMPTuv", r):
		a.leaveAll("symbol "+string(r), fmt.Sprintf("the symbol %q, which no U: before it defines, was left out, here and below", r))
	}
}

// quoted reads what stands in quotes: a chord symbol, or by the sign that it
// begins with words above or below, which are left out (ABC 2.1, 4.18 and 4.19).
func (a *abcReader) quoted(s string) {
	text := strings.ReplaceAll(strings.TrimSpace(strings.Trim(s, `"`)), `\%`, "%")
	if text == "" || strings.ContainsRune("^_<>@", rune(text[0])) || jumps(text) {
		a.mark(s)
		return
	}
	symbol, ok := a.symbolFrom(fmt.Sprintf("line %d", a.row+1), text)
	if v := a.current(); ok {
		v.over = append(v.over, above{len(v.now.notes), symbol})
	}
}

// mark leaves out what stands in quotes or other signs before a note, and says
// so where the line is another one without it.
func (a *abcReader) mark(s string) {
	if row, ok := a.marks[s]; ok && row == a.row {
		return // said for this line
	}
	if a.marks == nil {
		a.marks = map[string]int{}
	}
	a.marks[s] = a.row
	text := strings.Trim(s, "!+\"")
	switch {
	case jumps(text):
		a.leave(fmt.Sprintf("%s is not followed: the bars are read in the order they are written", quote(text)))
	case s[0] != '"' || strings.TrimSpace(text) == "":
	case strings.ContainsRune("^_<>@", rune(text[0])):
		a.leaveAll("words", "words above and below the notes, like "+quote(text)+", were left out, here and below")
	}
}
