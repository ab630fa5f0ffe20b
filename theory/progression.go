package theory

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ParseProgression reads chords of k: Roman numerals, or chord symbols, which it
// reads as [Key.Roman] does. [CutChords] says what may stand between them.
func ParseProgression(s string, k Key) ([]Roman, error) {
	words, err := CutChords(s)
	if err != nil {
		return nil, err
	}
	var list []Roman
	for i, word := range words {
		r, err := ParseSymbol(word, k)
		if err != nil {
			return nil, fmt.Errorf("chord %d: %w", i+1, err)
		}
		list = append(list, r)
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("%w: there is no chord; want a progression like \"I IV V7 I\"", ErrRoman)
	}
	return list, nil
}

// ParseSymbol reads one chord of k, a numeral as ParseRoman does, or else a
// chord symbol as ParseChord does. An error is that of the one that is meant.
func ParseSymbol(s string, k Key) (Roman, error) {
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
func CutChords(s string) ([]string, error) {
	var words []string
	from, depth := 0, 0
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
			if from < i && signed(after) {
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
