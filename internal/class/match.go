package class

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Matcher tells who sent what by the names of files. It looks for the names of
// students, or of tasks, as whole words; case, marks on letters (é, ü) and what stands
// between words do not matter.
type Matcher struct {
	words map[string][]int // for names in words, parted by blanks: who is called so
	most  int              // the longest name in words
	names []string
}

// NewMatcher makes a matcher for some names.
func NewMatcher(names []string) *Matcher {
	m := &Matcher{words: map[string][]int{}, names: names}
	for i, name := range names {
		words := wordsOf(name)
		if len(words) == 0 {
			words = []string{strings.ToLower(name)} // nothing but signs
		}
		m.add(strings.Join(words, " "), i)
		m.add(strings.Join(words, ""), i) // a name of a file has no room for blanks
		m.most = max(m.most, len(words))
	}
	return m
}

func (m *Matcher) add(words string, i int) {
	if !slices.Contains(m.words[words], i) {
		m.words[words] = append(m.words[words], i)
	}
}

// Match finds who or what is named in a path: in the name of the file, else in that of
// the folder or zip that is nearest to it. A name within a longer one is not meant: of
// Ana and Ana Maria in ana-maria.wav it is Ana Maria. The error says that nobody is
// named, or that several are.
func (m *Matcher) Match(path string) (int, error) {
	parts := strings.FieldsFunc(path, func(r rune) bool { return r == '/' || r == '\\' })
	for i, part := range slices.Backward(parts) {
		if dot := strings.LastIndexByte(part, '.'); dot > 0 && (i == len(parts)-1 || strings.EqualFold(part[dot:], ".zip")) {
			part = part[:dot]
		}
		if found := m.named(wordsOf(part)); len(found) == 1 {
			return found[0], nil
		} else if len(found) > 1 {
			var names []string
			for _, f := range found {
				names = append(names, m.names[f])
			}
			return -1, fmt.Errorf("its name may mean %s", strings.Join(names, " or "))
		}
	}
	return -1, fmt.Errorf("its name has none of them in it")
}

// named are those whose names are among some words. A name within a longer one is not
// meant.
func (m *Matcher) named(words []string) (found []int) {
	reached := 0 // words that a name before covers
	for i := range words {
		for n := min(m.most, len(words)-i); n >= 1 && i+n > reached; n-- {
			who := m.words[strings.Join(words[i:i+n], " ")]
			if len(who) == 0 {
				continue
			}
			reached = i + n
			for _, w := range who {
				if !slices.Contains(found, w) {
					found = append(found, w)
				}
			}
		}
	}
	return found
}

// wordsOf parts a text into words in small letters without marks: at what is neither a
// letter nor a digit, between a letter and a digit, and before a capital that follows a
// small letter. Leading zeros of a number do not count.
func wordsOf(s string) []string {
	var words []string
	var word []rune
	end := func() {
		if len(word) == 0 {
			return
		}
		w := string(word)
		if unicode.IsDigit(word[0]) {
			if w = strings.TrimLeft(w, "0"); w == "" {
				w = "0"
			}
		}
		words, word = append(words, w), word[:0]
	}
	before := rune(0)
	for _, r := range norm.NFKD.String(s) {
		switch {
		case unicode.Is(unicode.Mn, r):
			continue
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			end()
		default:
			if unicode.IsDigit(r) != unicode.IsDigit(before) && before != 0 || unicode.IsUpper(r) && unicode.IsLower(before) {
				end()
			}
			word = append(word, unicode.ToLower(r))
			before = r
			continue
		}
		before = 0
	}
	end()
	return words
}
