package notation

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"singback/theory"
)

// closeBar ends the bar being read and begins the next.
func (a *abcReader) closeBar(v *abcVoice) error {
	if len(v.now.notes) > 0 || v.now.repeatStart || v.now.repeatEnd > 0 {
		v.now.name = fmt.Sprintf("line %d, bar %d", a.row+1, len(v.bars)+1)
		v.now.endings = v.ending
		v.now.symbols = v.overBar()
		v.bars = append(v.bars, v.now)
		if a.bars++; len(v.bars) > maxBars || a.bars > 3*maxBars {
			return a.errorf("more than %d bars, or %d in all voices", maxBars, 3*maxBars)
		}
	}
	v.now = bar{key: v.key, meter: v.meter}
	v.signs = nil
	return nil
}

// overBar returns the chord symbols over the bar that is being read, with their
// places; one behind its last note waits for the next bar.
func (v *abcVoice) overBar() []theory.ChordSymbol {
	var out []theory.ChordSymbol
	at := zero
	for i, n := range v.now.notes {
		for ; len(v.over) > 0 && v.over[0].note <= i; v.over = v.over[1:] {
			v.over[0].symbol.At = at
			out = append(out, v.over[0].symbol)
		}
		at = at.Plus(n.Length)
	}
	for i := range v.over {
		v.over[i].note = 0
	}
	return out
}

// barLine reads |, ||, |], [|, |:, :|, ::, |1, [2 …
func (a *abcReader) barLine(c []rune, i int) (int, error) {
	v := a.current()
	at := func(j int) rune {
		if j < len(c) {
			return c[j]
		}
		return 0
	}
	start := i
	before, after, strong := 0, 0, false
	lines := 0
	for ; i < len(c) && strings.ContainsRune("|:[]", c[i]); i++ {
		switch c[i] {
		case ':':
			if lines == 0 && !(i == start && i+1 < len(c) && c[i+1] == ':') {
				before++
			} else if lines == 0 {
				before++
			} else {
				after++
			}
		case '|':
			lines++
			if lines > 1 {
				strong = true
			}
		case '[':
			if i+1 < len(c) && c[i+1] != '|' && !(c[i+1] >= '1' && c[i+1] <= '9') {
				goto end // a chord or a field after the bar line
			}
			strong = strong || lines == 0 && i+1 < len(c) && c[i+1] == '|'
		case ']':
			strong = true
		}
	}
end:
	if lines == 0 && before == 2 { // ::
		before, after = 1, 1
	}
	if before > 0 {
		v.now.repeatEnd = before + 1
	}
	if len(v.now.notes) == 0 && before > 0 && len(v.bars) > 0 {
		v.bars[len(v.bars)-1].repeatEnd = before + 1
		v.now.repeatEnd = 0
	}
	if before > maxPasses {
		return 0, a.errorf("a repeat of %d times; want at most %d", before+1, maxPasses)
	}
	if start < i && (lines > 0 || before > 0) {
		if err := a.closeBar(v); err != nil {
			return 0, err
		}
		v.now.repeatStart, v.now.fresh = after > 0, strong
	}
	if before > 0 || after > 0 || strong {
		v.ending = nil
	}
	// Endings: 1, 1,3, 1-2.
	from := i
	for isDigit(at(i)) || i > from && (at(i) == ',' || at(i) == '-') && isDigit(at(i+1)) {
		i++
	}
	if i > from {
		endings, err := passes(string(c[from:i]))
		if err != nil {
			return 0, a.errorf("%v", err)
		}
		if err := a.beginEnding(endings); err != nil {
			return 0, err
		}
	}
	if i == start {
		return 0, a.errorf("%q is no bar line", c[i])
	}
	return i - start, nil
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

// textEnding returns how many characters ["1" takes, an ending with its passes
// in words; 0 where no ending begins at c[i] but a chord, like ["Am"CE].
func textEnding(c []rune, i int) int {
	if i+1 >= len(c) || c[i+1] != '"' {
		return 0
	}
	end := slices.Index(c[i+2:], '"')
	if end < 0 {
		return 0
	}
	if end += i + 2; !isDigit(c[i+2]) {
		for _, r := range c[end+1:] {
			if r == ']' {
				return 0
			}
			if unicode.IsSpace(r) || r == '|' || r == ':' {
				break
			}
		}
	}
	return end + 1 - i
}

// beginTextEnding begins an ending with its passes in words: those in it, or the
// one after those that went before.
func (a *abcReader) beginTextEnding(text string) error {
	v := a.current()
	endings, err := passes(text)
	if err != nil {
		last := 0
		for _, pass := range v.ending {
			last = max(last, pass)
		}
		for i := len(v.bars) - 1; i >= 0 && v.bars[i].endings != nil; i-- {
			last = max(last, slices.Max(v.bars[i].endings))
		}
		if last++; last > maxPasses {
			return a.errorf("an ending for pass %d; want 1 to %d", last, maxPasses)
		}
		endings = []int{last}
		a.leave(fmt.Sprintf("the ending %s is read as the one of pass %d", quote(text), endings[0]))
	}
	return a.beginEnding(endings)
}

// beginEnding begins an ending here, which may be within a bar: accidentals hold
// on.
func (a *abcReader) beginEnding(passes []int) error {
	v := a.current()
	signs := v.signs
	if err := a.closeBar(v); err != nil {
		return err
	}
	v.signs, v.ending = signs, passes
	return nil
}
