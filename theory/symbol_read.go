package theory

import (
	"fmt"
	"strconv"
	"strings"
)

// reader reads a chord symbol behind its root from left to right.
type reader struct {
	whole  string // with the root: what messages say stood before
	rest   string
	q      Quality
	number string // the number behind the kind
	kind   chordKind
	said   uint8 // steps that were altered or added by a sign of their own
	close  byte  // what closes the bracket that is open, 0 where none is
	listed bool  // a plain number may follow: an opening bracket or a comma did
	figure bool  // a figure of a numeral has said what the chord's number is
	told   bool  // the symbol itself says what third it has, or that it has none
	reason string
}

// read reads the whole symbol.
func (y *reader) read() error {
	y.start()
	return y.signs()
}

// refuse sets why what follows is not read.
func (y *reader) refuse(format string, args ...any) bool {
	if y.reason == "" {
		y.reason = fmt.Sprintf(format, args...)
	}
	return false
}

// where says what stood before what is not understood.
func (y *reader) where(rest string) string {
	if before := strings.TrimSuffix(y.whole, rest); before != "" && before != y.whole {
		return quote(rest) + " behind " + quote(before)
	}
	return quote(rest)
}

// signs reads what is left to its end.
func (y *reader) signs() error {
	for y.reason == "" {
		y.rest = strings.TrimLeft(y.rest, " ")
		if y.rest == "" {
			break
		}
		before := y.rest
		if !y.sign() && y.reason == "" {
			y.reason = y.where(before) + " is not understood; want something like m, 7, maj7, dim, aug, sus4, 6, 9, add9, b5 or #11"
		}
	}
	switch {
	case y.reason != "":
		return fmt.Errorf("%s", y.reason)
	case y.close != 0:
		return fmt.Errorf("a bracket is not closed; want %c at the end", y.close)
	case y.listed:
		return fmt.Errorf("nothing follows the comma; want something like b9 or #11")
	case !y.q.legal():
		return fmt.Errorf("these tones make no chord: want a third or fifth, a diminished seventh only on a diminished triad, and two ninths or fifths only on a dominant seventh")
	}
	return nil
}

// start reads what a symbol begins with: a word and a number.
func (y *reader) start() {
	word := ""
	for _, w := range kindWords {
		if _, ok := cutWord(y.rest, w.word); ok && len(w.word) > len(word) {
			y.kind, word = w.kind, w.word
		}
	}
	y.rest = strings.TrimLeft(y.rest[len(word):], " ")
	number, rest := cutNumber(y.rest, "6/9", "69", "6", "7", "9", "11", "13", "5", "2")
	y.number = number
	y.told = y.kind != kindNone || number == "5"
	bare, seventh := MajorTriad, Degree{7, -1}
	switch y.kind {
	case kindMajor:
		seventh.Alter = 0
	case kindMinor:
		bare = MinorTriad
	case kindDim:
		bare, seventh.Alter = DiminishedTriad, -2
	case kindHalf:
		bare = DiminishedTriad
	case kindAug:
		bare = AugmentedTriad
	case kindDominant:
		if number == "" || number == "6" || number == "69" || number == "6/9" || number == "5" || number == "2" {
			y.refuse("%s says no chord by itself; want dom7, dom9, dom11 or dom13", quote(word))
		}
	case kindAltered:
		if number != "" && number != "7" {
			y.refuse("%s is not understood; want 7alt", quote(word+number))
		}
		y.q, y.said, y.rest = altered7, 1<<2|1<<5, rest
		return
	}
	y.q = bare
	switch number {
	case "":
		if y.kind == kindHalf || y.kind == kindMajor && triangle(word) {
			y.q = bare.with(seventh)
		}
		if startsWithDigit(y.rest) {
			y.digits()
		}
		return
	case "5":
		if y.kind == kindAug && word == "+" { // +5 is the raised fifth
			break
		}
		if word != "" {
			y.refuse("%s is not understood; for a fifth that is altered want (b5) or (#5), for a chord without its third 5 right behind the root", y.where(y.rest))
		}
		y.q = bare.without(3)
	case "2":
		y.q = bare.with(Degree{2, 0})
	case "6", "69", "6/9":
		y.q = bare.with(Degree{6, 0})
		if number != "6" {
			y.q = y.q.with(Degree{2, 0})
		}
	default:
		y.q = bare.with(seventh)
		y.extend(number)
	}
	switch y.kind {
	case kindAug:
		if number != "5" && number != "7" && number != "9" {
			y.refuse("is it the fifth that is raised, or the %s? want (#5) or (#%s)", number, strings.TrimSuffix(number, "/9"))
		}
	case kindDim, kindHalf:
		if number == "2" || number == "6" || number == "69" || number == "6/9" || number == "13" {
			y.refuse("%s is not understood; want °, °7 or ø7, and anything more as (add9)", quote(word+number))
		}
	}
	y.rest = rest
	if startsWithDigit(rest) {
		y.digits()
	}
}

// digits refuses a number that is none of a chord's.
func (y *reader) digits() {
	n := len(y.rest) - len(strings.TrimLeft(y.rest, "0123456789"))
	switch digits := y.rest[:n]; {
	case digits == "4" && y.number == "":
		y.refuse("%s is read in two ways; want sus4 or add4", y.where(y.rest))
	case digits[0] == '0':
		y.refuse("%s is not understood; for a diminished chord want ° or the letter o", y.where(y.rest))
	default:
		y.refuse("the number %s is not understood; want 5, 6, 7, 9, 11, 13, 6/9, or signs in brackets like (b9,#11)", quote(y.number+digits))
	}
}

// altered7 is the dominant with all tones of the altered scale.
var altered7 = func() Quality {
	q := Dominant7.with(Degree{5, -1}).with(Degree{2, -1})
	q, _ = q.join(Degree{5, 1})
	q, _ = q.join(Degree{2, 1})
	return q
}()

// extend adds the ninth, eleventh and thirteenth that a number stands for.
func (y *reader) extend(number string) {
	n, _ := strconv.Atoi(number)
	if n >= 9 {
		y.q = y.q.with(Degree{2, 0})
	}
	if n == 11 || n == 13 && y.q.has(Degree{3, -1}) {
		y.q = y.q.with(Degree{4, 0})
	}
	if n == 13 {
		y.q = y.q.with(Degree{6, 0})
	}
}

// sign reads one sign behind the kind. It reports whether it did.
func (y *reader) sign() bool {
	s := y.rest
	if strings.IndexByte("()[],/", s[0]) >= 0 {
		return y.mark(s[0])
	}
	plain := y.listed || y.close != 0
	y.listed = false
	if rest, ok := cutWord(s, "sus"); ok {
		return y.suspension(rest)
	}
	for _, word := range []string{"omit", "no"} {
		if rest, ok := cutWord(s, word); ok {
			return y.omission(rest)
		}
	}
	if rest, ok := cutWord(s, "alt"); ok {
		return y.altered(rest)
	}
	if number, rest, ok := cutMajorSeventh(s); ok {
		return y.majorSeventh(number, rest)
	}
	if y.number == "7" && y.kind == kindNone && y.said == 0 { // 7M
		for _, word := range []string{"maj", "M"} {
			if rest, ok := cutWord(s, word); ok && !startsWithDigit(rest) {
				y.rest, y.told = rest, true
				return y.set(Degree{7, 0})
			}
		}
	}
	return y.alteration(plain)
}

// mark reads a bracket, a comma or a slash.
func (y *reader) mark(c byte) bool {
	s := y.rest
	switch c {
	case '(', '[':
		if y.close != 0 {
			return y.refuse("%s: a bracket stands in a bracket", y.where(s))
		}
		y.close = map[byte]byte{'(': ')', '[': ']'}[c]
		y.listed = true
	case ')', ']':
		if c != y.close {
			return y.refuse("%s: no bracket is open that it closes", y.where(s))
		}
		if y.listed {
			return y.refuse("%s: nothing stands in the bracket before it; want something like (b9)", y.where(s))
		}
		y.close = 0
	case ',', '/':
		if y.listed || c == '/' && y.close == 0 && !y.slashSeventh(s[1:]) {
			return false
		}
		y.listed = c == ',' || y.close != 0
	}
	y.rest = s[1:]
	return true
}

// suspension reads what stands behind sus.
func (y *reader) suspension(rest string) bool {
	number, rest := cutNumber(rest, "4", "2")
	if startsWithDigit(rest) {
		n := rest[:len(rest)-len(strings.TrimLeft(rest, "0123456789"))]
		return y.refuse("%s is not understood; want sus4 or sus2, and a number before it, like 9sus4", y.where("sus"+number+n+rest[len(n):]))
	}
	step := 4
	if number == "2" {
		step = 2
	}
	y.q = y.q.without(3)
	y.told = true
	y.rest = rest
	return y.set(Degree{step, 0})
}

// omission reads the tone that an omit or no leaves out.
func (y *reader) omission(rest string) bool {
	number, rest := cutNumber(strings.TrimLeft(rest, " "), "3rd", "5th", "3", "5")
	if number == "" {
		return y.refuse("%s is not understood; want no3 or no5", y.where(y.rest))
	}
	y.q = y.q.without(int(number[0] - '0'))
	y.told = y.told || number[0] == '3'
	y.rest = rest
	return true
}

// altered reads the alt of 7alt.
func (y *reader) altered(rest string) bool {
	if y.kind != kindNone && y.kind != kindDominant || y.number != "7" || y.said != 0 {
		return y.refuse("%s is not understood; alt stands right behind the 7 of a dominant: C7alt", y.where(y.rest))
	}
	y.q, y.said, y.told, y.rest = altered7, 1<<2|1<<5, true, rest
	return true
}

// majorSeventh reads a major seventh behind the kind and the tones that its
// number brings with it.
func (y *reader) majorSeventh(number, rest string) bool {
	if y.number != "" && y.number[0] != '6' {
		return y.refuse("%s is not understood: there is a %s already; want one seventh", y.where(y.rest), y.number)
	}
	y.rest, y.told = rest, true
	if !y.set(Degree{7, 0}) {
		return false
	}
	y.extend(number)
	return true
}

// alteration reads one tone with its sign: b9, add9, +5, and a number alone
// where it is plain, in brackets or behind a comma.
func (y *reader) alteration(plain bool) bool {
	s := y.rest
	add, adds := cutWord(s, "add")
	if adds {
		s = strings.TrimLeft(add, " ")
	}
	alter, rest := 0, s
	raised, raises := strings.CutPrefix(s, "+")
	if r, ok := cutWord(s, "aug"); ok {
		raised, raises = r, true
	}
	lowered, lowers := s, false
	for _, minus := range []string{"-", "−", "–"} {
		if r, ok := strings.CutPrefix(s, minus); ok {
			lowered, lowers = r, true
		}
	}
	switch {
	case raises && !adds && y.number != "" && !y.figure && !startsWithDigit(raised): // 7+, maj7+
		y.rest, y.told = raised, true
		return y.set(Degree{5, 1})
	case raises && !adds:
		alter, rest = 1, raised
	case lowers && !adds:
		alter, rest = -1, lowered
		if strings.HasPrefix(rest, "9") && y.number == "6" {
			return y.refuse("%s is read in two ways; want 6/9 or 6(b9)", y.where(y.rest))
		}
	default:
		alter, rest = cutSigns(s)
	}
	number, rest := cutNumber(rest, "13", "11", "9", "7", "6", "5", "4", "3", "2")
	if startsWithDigit(rest) {
		return false
	}
	if number == "7" {
		return y.seventh(alter, adds, lowers, rest)
	}
	step := map[string]int{"13": 6, "6": 6, "11": 4, "4": 4, "9": 2, "2": 2, "5": 5, "3": 3}[number]
	b := alterations[step]
	if step == 0 || alter < int(b.low) || alter > int(b.high) || alter == 0 && (step == 3 || step == 5) {
		return false
	}
	if alter == 0 && !adds && !(plain && (number == "9" || number == "11" || number == "13")) {
		return y.refuse("%s is not understood; want it in brackets, or add%s", y.where(y.rest), number)
	}
	y.rest = rest
	return y.set(Degree{step, alter})
}

// slashSeventh tells whether a / begins the major seventh of a minor chord:
// m/maj7.
func (y *reader) slashSeventh(s string) bool {
	_, ok := cutSeventh(s)
	return ok && y.kind == kindMinor && y.number == ""
}

// seventh reads a seventh with a sign: m#7 and m(+7) are m(maj7), (b7) adds a
// minor one.
func (y *reader) seventh(alter int, adds, dashed bool, rest string) bool {
	d := Degree{7, 0}
	switch {
	case abs(alter) > 1:
		return false
	case adds || y.figure || y.number != "" && y.number != "5":
		return y.refuse("%s is not understood; want 7 or maj7 right behind the root and m, dim or aug", y.where(y.rest))
	case alter == -1 && !dashed:
		d.Alter = -1
	case alter != 1 || y.kind != kindMinor:
		return y.refuse("%s is not understood; want 7 or maj7", y.where(y.rest))
	}
	y.rest = rest
	return y.set(d)
}

// set puts a tone on its letter, once, or a lowered and a raised one.
func (y *reader) set(d Degree) bool {
	if y.said&(1<<d.Step) != 0 {
		if q, ok := y.q.join(d); ok {
			y.q = q
			return true
		}
		return y.refuse("two tones on one letter: want one %s", map[int]string{2: "second or ninth", 3: "third", 4: "fourth or eleventh", 5: "fifth", 6: "sixth or thirteenth", 7: "seventh"}[d.Step])
	}
	y.said |= 1 << d.Step
	y.q = y.q.with(d)
	return true
}
