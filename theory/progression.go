package theory

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ParseProgression reads chords of k: Roman numerals, numbers of a chart, or chord
// symbols, which it reads as [Key.Roman] does. [CutChords] says what may stand
// between them.
func ParseProgression(s string, k Key) ([]Roman, error) {
	words, err := CutChords(s)
	if err != nil {
		return nil, err
	}
	list, err := ParseSymbols(words, k)
	if err == nil && len(list) == 0 {
		return nil, fmt.Errorf("%w: there is no chord; want a progression like \"I IV V7 I\"", ErrRoman)
	}
	return list, err
}

// ParseSymbols reads chords of k one by one, as ParseSymbol does. Where small b7
// stands among letters, and no other number does, it is asked about: it is B7 to one
// and the chord on the lowered seventh degree to another.
func ParseSymbols(words []string, k Key) ([]Roman, error) {
	var list []Roman
	var numbers, letters bool
	for _, word := range words {
		numbers = numbers || numbered(word) && word[0] != 'b'
		letters = letters || !numbered(word) && startsAsChord(word)
	}
	for i, word := range words {
		if name, rest, ok := cutChartNumber(word); ok && word[0] == 'b' && letters && !numbers {
			return nil, fmt.Errorf("chord %d: %w: %s: is it the root B, or a lowered degree? want %s, or %s for the degree", i+1, ErrProgression,
				quote(word), quote("B"+word[1:]), quote(strings.ReplaceAll(name, "b", "♭")+rest))
		}
		r, err := ParseSymbol(word, k)
		if err != nil {
			return nil, fmt.Errorf("chord %d: %w", i+1, err)
		}
		list = append(list, r)
	}
	return list, nil
}

// ParseSymbol reads one chord of k, a number as ParseNumber does, a numeral as
// ParseRoman does, or else a chord symbol as ParseChord does. An error is that of
// the one that is meant.
func ParseSymbol(s string, k Key) (Roman, error) {
	if numbered(s) {
		return ParseNumber(s, k)
	}
	if c, err := ParseChord(s); err == nil {
		return k.Roman(c), nil
	} else if startsAsChord(s) {
		return Roman{}, err
	}
	return ParseRoman(s, k)
}

// startsAsChord tells whether s begins as a chord symbol and not as a numeral.
func startsAsChord(s string) bool {
	root, rest, ok := cutNote(s)
	switch {
	case strings.HasPrefix(s, "H"), strings.EqualFold(strings.ReplaceAll(s, ".", ""), "nc"):
		return true
	case !ok, strings.HasPrefix(s, "Fr"), strings.HasPrefix(s, "Ger"), strings.HasPrefix(s, "Gr"):
		return false
	}
	if s[0] == 'b' { // a flat before a numeral, or a small letter
		step, _, _ := cutNumeral(strings.TrimLeft(s, "b"))
		return step == 0 && rest != s[1:] || root.Letter == B && step == 0
	}
	return true
}

// ErrProgression is wrapped by the errors about what stands between chords.
var ErrProgression = errors.New("not a progression")

// CutChords divides a progression into its chords. Between them stand spaces,
// bars, commas, arrows and dashes; in brackets nothing divides.
//
// A dash belongs to the chord where it is directly behind a root or a numeral, or
// a number behind it (C-7, C-, C7-5, ii-7), and it divides where it stands by
// itself (C - F) or where a chord follows what is more than a root (I-IV-V, ii–V,
// Am-F). A-F may be A minor or A: that is refused, with what to write. A comma
// with a sign and a number behind it goes on with the chord: C7b9,#11.
//
// Among numbers a dash right behind a bare one is minor (6-, 2-7), and 1-4 is asked
// about; a comma divides but before 9, 11 and 13. A bar that is split may stand in
// brackets: (1 4). What a chart says of when a chord sounds is left out: diamonds,
// pushes, ticks and dots. Repeats are refused.
func CutChords(s string) ([]string, error) {
	var words []string
	from, depth := 0, 0
	split := false // a bar in brackets is open
	cut := func(to, next int) {
		if from < to {
			words = append(words, strings.TrimSpace(s[from:to]))
		}
		from = next
	}
	for i, r := range s {
		next := i + utf8.RuneLen(r)
		if r == utf8.RuneError {
			next = i + 1
		}
		switch {
		case depth == 0 && chartMark(s[from:i], r, s[next:]):
			cut(i, next)
		case r == ':' && (strings.HasSuffix(s[:i], "|") || strings.HasSuffix(s[:i], "‖") || strings.HasPrefix(s[next:], "|") || strings.HasPrefix(s[next:], "‖")):
			return nil, fmt.Errorf("%w: %s: repeats are not read; want the chords written out", ErrProgression, quote(strings.TrimSpace(s[max(0, i-1):])))
		case r == '(' && from == i && !split && numbered(strings.TrimLeft(s[next:], " ")):
			split = true
			cut(i, next)
		case r == ')' && depth == 0 && split:
			split = false
			cut(i, next)
		case r == '(' || r == '[':
			if depth == 0 && from == i {
				return nil, fmt.Errorf("%w: %s: a bracket stands by itself; want it right behind its chord, like C7(b9)", ErrProgression, quote(s[i:]))
			}
			depth++
		case r == ')' || r == ']':
			depth = max(0, depth-1)
		case depth > 0:
		case r == ',':
			after := strings.TrimLeft(s[next:], " ")
			if from < i && signed(after) && !(numbered(s[from:i]) && newNumber(after)) {
				continue
			}
			cut(i, next)
		case isDash(r):
			word, after := s[from:i], s[next:]
			switch ends := after == "" || startsSeparator(after); {
			case word == "":
				cut(i, next)
			case r == '—':
				cut(i, next)
			case numbered(word):
				divides, asked := chartDash(word, r, after)
				if asked {
					return nil, fmt.Errorf("%w: %s: is the dash behind chord %d minor, or does it stand between two chords? want spaces round the dash, or m for minor",
						ErrProgression, quote(firstWord(s[from:])), len(words)+1)
				}
				if divides {
					cut(i, next)
				}
			case ends && bareRoot(word) && r != '–': // C- is C minor
			case ends && (bareRoot(word) || bareNumeral(word)):
				return nil, fmt.Errorf("%w: %s: is the dash behind chord %d minor, or does it stand between two chords? want %s, or a space before the dash",
					ErrProgression, quote(word+string(r)), len(words)+1, quote(minorOf(word)))
			case ends:
				cut(i, next)
			case !startsChord(after): // C-7, C-(maj7), C7-5
			case bareRoot(word) && r != '–':
				return nil, fmt.Errorf("%w: %s: is the dash behind chord %d minor, or does it stand between two chords? want %s with a space behind it, or spaces round the dash",
					ErrProgression, quote(firstWord(s[from:])), len(words)+1, quote(word+"m"))
			default:
				cut(i, next)
			}
		case r == '|' || r == '‖' || r == '→' || unicode.IsSpace(r):
			if unicode.IsSpace(r) && from < i && strings.HasSuffix(s[from:i], ",") {
				continue // C7b9, #11
			}
			cut(i, next)
		}
	}
	cut(len(s), len(s))
	if split {
		return nil, fmt.Errorf("%w: a bracket round a bar is not closed; want ) behind its last chord", ErrProgression)
	}
	return words, nil
}

func isDash(r rune) bool { return strings.ContainsRune("-−–—", r) }

// startsSeparator tells whether a chord has ended before s.
func startsSeparator(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.IsSpace(r) || strings.ContainsRune("|‖→,", r)
}

// startsChord tells whether s begins with a root or a numeral.
func startsChord(s string) bool {
	if strings.HasPrefix(s, "N") || s[0] >= 'A' && s[0] <= 'H' {
		return true
	}
	rest, natural := cutNatural(s)
	if !natural {
		_, rest = cutSigns(s)
	}
	step, _, _ := cutNumeral(rest)
	return step > 0
}

// signed tells whether s begins with an alteration or a number.
func signed(s string) bool {
	sign, rest := cutSigns(s)
	if sign == 0 {
		rest = strings.TrimLeft(rest, "+-−")
	}
	return startsWithDigit(rest)
}

// newNumber tells whether s, behind a comma, begins with a number of a chart and not
// with a tone of the chord before it: 9, 11 or 13.
func newNumber(s string) bool {
	_, rest := cutSigns(s)
	tone, _ := cutNumber(rest, "9", "11", "13")
	return tone == "" && numbered(s)
}

func bareRoot(word string) bool {
	_, rest, ok := cutNote(word)
	return ok && rest == "" && word[0] < 'a'
}

func bareNumeral(word string) bool {
	rest, natural := cutNatural(word)
	if !natural {
		_, rest = cutSigns(word)
	}
	step, _, rest := cutNumeral(rest)
	return step > 0 && rest == ""
}

func minorOf(word string) string {
	if bareRoot(word) {
		return word + "m"
	}
	return strings.ToLower(word)
}

func firstWord(s string) string {
	if i := strings.IndexFunc(s, func(r rune) bool { return unicode.IsSpace(r) || r == '|' }); i >= 0 {
		return s[:i]
	}
	return s
}
