package theory

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// ErrNumber is wrapped by every error about a number of a chart that could not be
// read.
var ErrNumber = errors.New("not the number of a chord")

// ParseNumber reads a chord as number charts have it: the degree of k, then what
// stands behind the root of a chord symbol, then a bass as a degree of k behind a /.
//
// The number alone is a major triad, whatever the key: minor is marked, 6- or 6m. A
// sign before the number alters the root (b7, ♯4). 5sus is 5sus4, 57 a seventh, 4/1
// the chord on 4 over 1. Small raised numbers are read: 5⁷, 2-⁷, and 5⁴ is 5sus4,
// 1² is 1sus2. A plain 7, 9, 11, 13 or 6/9 right behind the number belongs to the
// chord; 1 to 6 there would be the next chord as well, and are refused: 54, 145.
//
// In minor 1 is the tonic, and a bare 3, 6 or 7 the degree of the scale, as
// ParseDegree reads it; but 7° and 6° are on the raised degrees, and a bass without
// a sign is the chord's own tone on that degree where it has one. A bare 3-, 6- or
// 7- is asked about: where the numbers are those of the relative major, 6- is home.
func ParseNumber(s string, k Key) (Roman, error) {
	c, err := k.parseNumber(strings.TrimSpace(s))
	if err != nil {
		return Roman{}, fmt.Errorf("%w: %s: %v", ErrNumber, quote(s), err)
	}
	return k.Roman(c), nil
}

func (k Key) parseNumber(s string) (Chord, error) {
	name, rest, ok := cutChartNumber(s)
	if !ok {
		return Chord{}, fmt.Errorf("want a number 1 to 7 with # or b before it, like 4, b7 or 6-")
	}
	root, ok := k.readNumber(name)
	if !ok || abs(root.Alter) > maxAlter {
		return Chord{}, fmt.Errorf("%s is no degree; want at most two signs before the number", quote(name))
	}
	bassName := ""
	if i := lastSlash(rest); i >= 0 {
		tail := strings.TrimSpace(rest[i+1:])
		bass, left, is := cutChartNumber(tail)
		_, seventh := cutSeventh(tail)
		switch {
		case is && left == "":
			bassName, rest = bass, rest[:i]
		case strings.HasPrefix(tail, "9"), strings.HasPrefix(tail, "⁹"), seventh: // 6/9, -/maj7
		default:
			return Chord{}, fmt.Errorf("the bass %s is not understood; want a number 1 to 7 behind the /, like 4/1", quote(tail))
		}
	}
	suffix, err := chartSuffix(name, strings.TrimSpace(rest))
	if err != nil {
		return Chord{}, err
	}
	y := reader{whole: suffix, rest: suffix}
	if err := y.read(); err != nil {
		return Chord{}, err
	}
	third, _ := y.q.Tone(3)
	if fifth, _ := y.q.Tone(5); k.doubtful(name) && third.Alter < 0 {
		if fifth.Alter >= 0 || root.Step == 3 {
			relative := Key{Tonic: k.Note(Degree{3, -1})}
			return Chord{}, fmt.Errorf("in minor this is asked: is 6- home? Then want the key %s; else want b%s or n%s, with 1- home",
				quote(relative.ASCII()), name+suffix, name+suffix)
		}
		root.Alter = 0
	}
	c := on(k.Note(root), y.q)
	if bassName == "" {
		return c, nil
	}
	bass, ok := k.readNumber(bassName)
	if !ok || abs(bass.Alter) > maxAlter {
		return Chord{}, fmt.Errorf("the bass %s is no degree; want at most two signs before the number", quote(bassName))
	}
	if own := (Degree{bass.Step, 0}); k.doubtful(bassName) {
		if _, has := c.Tone(k.Note(own)); has {
			bass = own
		}
	}
	return c.overSound(k.Note(bass)), nil
}

// doubtful tells whether a number is bare and on a degree that minor has in two
// forms.
func (k Key) doubtful(name string) bool {
	return k.Mode == Minor && (name == "3" || name == "6" || name == "7")
}

// cutChartNumber takes a number 1 to 7 and the signs before it from the front of s.
func cutChartNumber(s string) (name, rest string, ok bool) {
	rest, natural := cutNatural(s)
	if !natural {
		_, rest = cutSigns(s)
	}
	if rest == "" || rest[0] < '1' || rest[0] > '7' {
		return "", s, false
	}
	return s[:len(s)-len(rest)+1], rest[1:], true
}

// numbered tells whether s begins as the number of a chart.
func numbered(s string) bool {
	_, _, ok := cutChartNumber(s)
	return ok
}

func bareChartNumber(s string) bool {
	_, rest, ok := cutChartNumber(s)
	return ok && rest == ""
}

const raisedDigits = "⁰¹²³⁴⁵⁶⁷⁸⁹"

var (
	lowerDigits = func() *strings.Replacer {
		pairs := []string{"⁻", "-", "⁺", "+"}
		for i, r := range []rune(raisedDigits) {
			pairs = append(pairs, string(r), fmt.Sprint(i))
		}
		return strings.NewReplacer(pairs...)
	}()

	// alone are the digits that are chords of a chart too, and what is written for
	// them as a part of a chord.
	alone = map[string]string{"2": "sus2", "4": "sus4", "5": "(no3)", "6": "add6"}
)

// chartSuffix returns what stands behind the number name as ParseQuality reads it,
// or says why it can be read in two ways.
func chartSuffix(name, s string) (string, error) {
	if sign, left := cutSigns(s); sign != 0 {
		if bareChartNumber(s) {
			return "", fmt.Errorf("a sign and a number right behind %s; want a space between two chords, or brackets, like %s", quote(name), quote(name+"("+s+")"))
		}
		return "", fmt.Errorf("a sign behind %s; want it before its number, like %s, and one of the chord's tones in brackets, like (b9)", quote(name), quote(s[:len(s)-len(left)]+name))
	}
	mark, behind := "", s
	for _, minus := range [...]string{"-", "−", "–", "⁻", "m"} {
		if rest, ok := strings.CutPrefix(s, minus); ok && mark == "" {
			mark, behind = minus, rest
		}
	}
	small := 0 // bytes of raised numbers
	for _, r := range behind {
		if !strings.ContainsRune(raisedDigits, r) {
			break
		}
		small += utf8.RuneLen(r)
	}
	if small > 0 {
		number := lowerDigits.Replace(behind[:small])
		if word, ok := alone[number]; ok && !strings.HasPrefix(behind[small:], "/") {
			number = word
		}
		return lowerDigits.Replace(mark) + number + lowerDigits.Replace(behind[small:]), nil
	}
	digits := behind[:len(behind)-len(strings.TrimLeft(behind, "0123456789"))]
	switch digits {
	case "", "7", "9", "11", "13", "69":
		return lowerDigits.Replace(s), nil
	case "6":
		if mark == "m" || strings.HasPrefix(behind, "6/9") || strings.HasPrefix(behind, "6/⁹") {
			return lowerDigits.Replace(s), nil
		}
	}
	switch word, one := alone[digits]; {
	case one && mark == "":
		return "", fmt.Errorf("the %s is another chord to some; want %s, or a space between two chords", digits, quote(name+word))
	case one && mark != "m":
		return "", fmt.Errorf("is the dash minor, or does it stand between two chords? want %s, or spaces round the dash", quote(name+"m"+word))
	case strings.Trim(digits, "1234567") == "":
		return "", fmt.Errorf("several numbers in a row; want a space between two chords")
	}
	return "", fmt.Errorf("the number %s is not understood; want 7, 9, 11, 13 or 6/9 right behind %s, or signs in brackets like (b9)", quote(digits), quote(name))
}

// chartDash says what a dash behind a word that begins as a number does: whether it
// divides two chords. A dash behind a bare number is minor; en dashes divide.
func chartDash(word string, dash rune, after string) (divides, asked bool) {
	bare, ends := bareChartNumber(word), after == "" || startsSeparator(after)
	number, _, next := cutChartNumber(after)
	digits := len(after) - len(strings.TrimLeft(after, "0123456789"))
	chord := next && !(number == "7" && digits == 1 && bare) && after[:digits] != "11" && after[:digits] != "13" &&
		!strings.HasPrefix(after, "69") && !strings.HasPrefix(after, "6/9") || !ends && startsChord(after)
	switch {
	case dash == '–' && bare:
		return !ends && chord, ends || !chord
	case ends:
		return !bare, false
	case !chord:
		return false, false
	case dash == '–':
		return true, false
	}
	return false, true
}

// chartMark tells whether r, with before and after it, is a mark of a chart that
// says when a chord sounds and not which: a diamond, a push, a tick for a beat, the
// dot of a short chord.
func chartMark(word string, r rune, after string) bool {
	switch r {
	case '◇', '◊', '‹', '′', '\'':
		return true
	case '^':
		return word == "" && numbered(after)
	case '.':
		return numbered(word) && (after == "" || startsSeparator(after))
	}
	return false
}

// numberBases are the symbols that are written behind a number: no digit that is a
// chord of its own.
var numberBases = func() []base {
	var list []base
	for _, b := range symbolBases {
		if b.text != "5" && b.text != "6" && b.text != "m6" {
			list = append(list, b)
		}
	}
	return list
}()

// Number writes the chord as number charts have it, with musical signs: "4", "6-",
// "5⁷", "4/1", "♭7", "2-⁷", "5sus". It is counted in the key of the piece, where the
// numeral of an applied chord is not. A chord that no symbol can be written for is
// "1?". ParseNumber reads it back.
func (r Roman) Number() string { return r.number(true) }

// NumberASCII is Number with letters only: "57", "b7", "7dim7".
func (r Roman) NumberASCII() string { return chordASCII.Replace(asciiSigns.Replace(r.number(false))) }

func (r Roman) number(raised bool) string {
	k, c := r.Key, r.Chord
	s := k.number(k.Degree(c.Root))
	text := "?"
	if c.Quality.legal() {
		text, _ = c.Quality.write(numberBases)
	}
	text = strings.Replace(text, "sus4", "sus", 1)
	if rest, ok := strings.CutPrefix(text, "m"); ok && !strings.HasPrefix(rest, "aj") {
		text = "-" + rest
	}
	if raised {
		text = raiseDigits(text)
	}
	s += text
	if c.Bass != c.Root {
		s += "/" + k.number(k.Degree(c.Bass))
	}
	return s
}

// raiseDigits makes the number that a suffix begins with small, behind a dash too.
func raiseDigits(s string) string {
	rest := strings.TrimPrefix(s, "-")
	digits := []rune(raisedDigits)
	out := s[:len(s)-len(rest)]
	for i := range len(rest) {
		switch {
		case rest[i] >= '0' && rest[i] <= '9':
			out += string(digits[rest[i]-'0'])
		case strings.HasPrefix(rest[i:], "/9"):
			out += "/"
		default:
			return out + rest[i:]
		}
	}
	return out
}

// ReadableNumber writes the number for people: without doubled signs, where the
// same sounds can be written on other letters.
func (r Roman) ReadableNumber() (text, ascii string) {
	for _, low := range shifts {
		for _, steps := range shifts {
			c := r.Chord.Up(Interval{Steps: steps})
			s := Roman{Key: r.Key, Local: r.Local, Chord: c.Over(c.Bass.Up(Interval{Steps: low}))}
			if r.Chord.Bass == r.Chord.Root && low != 0 {
				continue
			}
			if text := s.Number(); simple(text) {
				return text, s.NumberASCII()
			}
		}
	}
	s := r
	s.Chord = r.Chord.byEar()
	return s.Number(), s.NumberASCII()
}
