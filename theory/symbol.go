package theory

import (
	"fmt"
	"strings"
)

// base is a chord symbol that stands by itself, to which signs are added:
// ♭9, (add9), (no5).
type base struct {
	text    string // as ParseQuality reads it
	weight  int    // how far it is from a triad: RecogniseChord adds it
	quality Quality
}

// symbolBases are the symbols that others are written from. The first of those
// that need least added is taken.
var symbolBases = readBases(
	base{text: ""}, base{text: "m"}, base{text: "°", weight: 1}, base{text: "+", weight: 1},
	base{text: "7", weight: 1}, base{text: "maj7", weight: 1}, base{text: "m7", weight: 1},
	base{text: "m7♭5", weight: 1}, base{text: "°7", weight: 1}, base{text: "m(maj7)", weight: 1},
	base{text: "sus4", weight: 2}, base{text: "sus2", weight: 2}, base{text: "5", weight: 2},
	base{text: "7sus4", weight: 2}, base{text: "7sus2", weight: 3},
	base{text: "6", weight: 2}, base{text: "m6", weight: 2}, base{text: "6/9", weight: 3}, base{text: "m6/9", weight: 3},
	base{text: "9", weight: 2}, base{text: "maj9", weight: 2}, base{text: "m9", weight: 2}, base{text: "m(maj9)", weight: 3},
	base{text: "9sus4", weight: 3},
	base{text: "7♯5", weight: 2}, base{text: "maj7♯5", weight: 2},
	base{text: "7♭9", weight: 2}, base{text: "7♯9", weight: 2}, base{text: "13♭9", weight: 4}, base{text: "7alt", weight: 4},
	base{text: "11", weight: 3}, base{text: "m11", weight: 3},
	base{text: "13", weight: 3}, base{text: "maj13", weight: 3}, base{text: "m13", weight: 3}, base{text: "13sus4", weight: 4},
)

func readBases(list ...base) []base {
	for i := range list {
		q, err := ParseQuality(list[i].text)
		if err != nil {
			panic(err)
		}
		list[i].quality = q
	}
	return list
}

// chordNumbers holds what each step is called in a symbol.
var chordNumbers = [8]string{2: "9", 3: "3", 4: "11", 5: "5", 6: "13", 7: "7"}

// write writes q as the one of bases that needs least added, and tells the
// weight of that base and of what is added to it.
func (q Quality) write(bases []base) (text string, weight int) {
	least := -1
	for _, b := range bases {
		if t, w, ok := q.from(b); ok && (least < 0 || w < least) {
			text, weight, least = t, w+b.weight, w
		}
	}
	return text, weight
}

// from writes q as b with signs. An altered fifth weighs 2; an added tone 3,
// plain or altered; an altered one in the place of a plain one, a sixth that
// is altered without a seventh, and a missing one 4.
func (q Quality) from(b base) (text string, weight int, ok bool) {
	text = b.text
	var altered, added, missing string
	for _, step := range [...]int{3, 5, 7, 2, 4, 6} {
		want, is := q.Tone(step)
		has, was := b.quality.Tone(step)
		number := chordNumbers[step]
		switch {
		case b.quality.doubled(step) && !q.doubled(step), q.doubled(step) && !b.quality.doubled(step) && was && (step == 2 || has.Alter != 0):
			return "", 0, false
		case q.doubled(step) && !b.quality.doubled(step):
			altered += "♭" + number + "♯" + number
			weight += 6
		case is && was && want == has, !is && !was:
		case is && want.Alter == 0 && !was && step != 3 && step != 5 && step != 7:
			if _, seventh := q.Tone(7); step == 6 && !seventh {
				number = "6"
			}
			added += "(add" + number + ")"
			weight += 3
		case is && want.Alter != 0 && step != 7 && (was || step != 3) && !(was && b.suspends(step)):
			altered += accidental(want.Alter) + number
			_, seventh := q.Tone(7)
			switch {
			case step == 5:
				weight += 2
			case was || step == 6 && !seventh:
				weight += 4
			default:
				weight += 3
			}
		case !is && (step == 3 || step == 5):
			missing += "(no" + number + ")"
			weight += 4
		default:
			return "", 0, false
		}
	}
	if b.text == "" {
		if altered != "" {
			altered = "(" + altered + ")" // C(♭5) is not the fifth on C♭
		} else if missing == "" && strings.Count(added, "(") == 1 {
			added = strings.Trim(added, "()")
		}
	}
	return text + altered + added + missing, weight, true
}

// suspends tells whether the base has this step in place of its third.
func (b base) suspends(step int) bool {
	return step == 4 && strings.HasSuffix(b.text, "sus4") || step == 2 && strings.HasSuffix(b.text, "sus2")
}

// String writes the quality as it stands after a root, with musical signs: "",
// "m7♭5", "°7", "maj7", "7♯5♯9", "m(maj7)", "add9". A quality that no symbol
// can be written for is "?".
func (q Quality) String() string {
	if !q.legal() {
		return "?"
	}
	text, _ := q.write(symbolBases)
	return text
}

// ASCII writes the quality with letters only: "m7b5", "dim7".
func (q Quality) ASCII() string { return chordASCII.Replace(q.String()) }

var chordASCII = strings.NewReplacer("°", "dim", "♯", "#", "♭", "b", "𝄪", "##", "𝄫", "bb")

// String writes the chord symbol with musical signs: "C/E", "F♯m7♭5",
// "B♭maj7", "Gsus4", "C°7".
func (c Chord) String() string {
	s := c.Root.String() + c.Quality.String()
	if c.Bass != c.Root {
		s += "/" + c.Bass.String()
	}
	return s
}

// ASCII writes the chord symbol with letters only: "F#m7b5", "Cdim7".
func (c Chord) ASCII() string { return chordASCII.Replace(c.String()) }

// ParseChord reads a chord symbol in the forms in common use: "C/E", "F#m7b5"
// or "F#ø7", "Bbmaj7", "BbM7" or "BbΔ7", "Gsus4", "Cdim7" or "C°7", "Caug" or
// "C+", "C-7" or "Cm7", "Am(maj7)", "C6/9", "F/G", "G7(b9,#11)". A 7 alone is
// the minor seventh of a dominant. The number 2 is an added ninth, sus is sus4;
// 11 has its third, 13 leaves out the eleventh except in minor. 7alt is the
// dominant with all that the altered scale has: both fifths and both ninths,
// lowered and raised. + behind a number raises the fifth, + and - before one
// raise and lower that; right behind the root - is minor. Small m is minor and
// large M major; otherwise case does not matter, but that a small letter as root
// wants the quality said: am7 is read, a7 is not. Any note may follow / as bass;
// one that sounds as a tone of the chord is that tone: D/Gb is D/F#.
//
// The whole of s is read, or it is refused: the error says what is not
// understood, and where.
func ParseChord(s string) (Chord, error) {
	t := strings.TrimSpace(s)
	root, rest, ok := cutNote(t)
	if !ok {
		switch strings.ToUpper(strings.Trim(strings.ReplaceAll(t, ".", ""), " ")) {
		case "NC":
			return Chord{}, fmt.Errorf("%w: %s says that there is none", ErrChord, quote(s))
		}
		if strings.HasPrefix(t, "H") {
			return Chord{}, fmt.Errorf("%w: %s; want B for the note below C, Bb for the one below that", ErrChord, quote(s))
		}
		return Chord{}, fmt.Errorf("%w: %s; want a root A to G with # or b first, like F#m7b5", ErrChord, quote(s))
	}
	c := Chord{Root: root, Bass: root}
	symbol := rest
	bassed := false
	if i := lastSlash(rest); i >= 0 {
		name := strings.TrimSpace(rest[i+1:])
		bass, left, ok := cutNote(name)
		_, seventh := cutSeventh(name)
		switch {
		case ok && left == "":
			c.Bass, rest, bassed = bass, rest[:i], true
		case strings.HasPrefix(name, "9"): // 6/9
		case seventh: // m/maj7
		case ok:
			return Chord{}, fmt.Errorf("%w: %s: %s behind the bass %s is not understood; want a note A to G with # or b after the /, and nothing more", ErrChord, quote(s), quote(left), quote(name[:len(name)-len(left)]))
		default:
			return Chord{}, fmt.Errorf("%w: %s: the bass %s is not understood; want a note A to G with # or b after the /", ErrChord, quote(s), quote(name))
		}
	}
	y := reader{whole: t, rest: strings.TrimSpace(rest)}
	if err := y.read(); err != nil {
		return Chord{}, fmt.Errorf("%w: %s: %v", ErrChord, quote(s), err)
	}
	if t[0] >= 'a' && !y.told {
		return Chord{}, fmt.Errorf("%w: %s: a small letter is minor to some and major to others; want %s or %s", ErrChord, quote(s),
			quote(root.ASCII()+symbol), quote(root.ASCII()+"m"+symbol))
	}
	c.Quality = y.q
	if bassed {
		c = c.overSound(c.Bass)
	} else {
		c.Bass = c.Root
	}
	return c, nil
}

// overSound puts bass below c, as the tone of the chord that sounds as it does
// where there is one: nobody reads D/G♭ as anything but D/F♯.
func (c Chord) overSound(bass Note) Chord {
	if _, own := c.Tone(bass); !own {
		for _, t := range c.Quality.Tones() {
			if n := c.Note(t); n.PitchClass() == bass.PitchClass() {
				return c.Over(n)
			}
		}
	}
	return c.Over(bass)
}

// lastSlash is where the last / outside brackets is, −1 for none.
func lastSlash(s string) int {
	depth, at := 0, -1
	for i := range len(s) {
		switch s[i] {
		case '(', '[':
			depth++
		case ')', ']':
			depth--
		case '/':
			if depth <= 0 {
				at = i
			}
		}
	}
	return at
}

// cutNote reads a letter name with at most two signs from the front of s.
func cutNote(s string) (n Note, rest string, ok bool) {
	if s == "" || strings.IndexByte(letterNames, s[0]&^0x20) < 0 {
		return Note{}, s, false
	}
	n = Note{Letter: Letter(strings.IndexByte(letterNames, s[0]&^0x20))}
	sign, rest := cutSigns(s[1:])
	n.Alter = int8(sign)
	return n, rest, abs(sign) <= maxAlter
}

// cutSigns reads sharps or flats, not both, from the front of s.
func cutSigns(s string) (alter int, rest string) {
	for i, r := range s {
		if sign := signOf(r); sign == 0 || alter*sign < 0 || abs(alter) > maxSigns {
			return alter, s[i:]
		} else {
			alter += sign
		}
	}
	return alter, ""
}

func signOf(r rune) int {
	switch r {
	case '#', '♯':
		return 1
	case 'b', '♭':
		return -1
	case 'x', '𝄪':
		return 2
	case '𝄫':
		return -2
	}
	return 0
}

// ParseQuality reads what stands after the root of a chord symbol, as
// ParseChord does: "", "m7b5", "maj7", "7(b9)", "sus4".
func ParseQuality(s string) (Quality, error) {
	q, err := parseQuality(s)
	if err != nil {
		return Quality{}, fmt.Errorf("%w: %s: %v", ErrChord, quote(s), err)
	}
	return q, nil
}

// parseQuality is ParseQuality without the words around its errors.
func parseQuality(s string) (Quality, error) {
	y := reader{whole: strings.TrimSpace(s), rest: strings.TrimSpace(s)}
	err := y.read()
	return y.q, err
}

// The kinds of chord that a symbol begins with.
type chordKind int

const (
	kindNone  chordKind = iota // no word at all
	kindMajor                  // a major seventh follows with the number
	kindMinor
	kindDim
	kindHalf
	kindAug
	kindDominant
	kindAltered
)

// kindWords are the words for each kind; of those that fit the longest is taken.
// Those of one letter are read as written.
var kindWords = []struct {
	word string
	kind chordKind
}{
	{"major", kindMajor}, {"maj", kindMajor}, {"ma", kindMajor}, {"mj", kindMajor}, {"M", kindMajor},
	{"Δ", kindMajor}, {"∆", kindMajor}, {"△", kindMajor}, {"^", kindMajor},
	{"minor", kindMinor}, {"min", kindMinor}, {"mi", kindMinor}, {"m", kindMinor}, {"-", kindMinor}, {"−", kindMinor}, {"–", kindMinor},
	{"halfdim", kindHalf}, {"half-dim", kindHalf}, {"hdim", kindHalf}, {"ø", kindHalf}, {"Ø", kindHalf},
	{"dim", kindDim}, {"°", kindDim}, {"º", kindDim}, {"o", kindDim},
	{"aug", kindAug}, {"+", kindAug}, {"dom", kindDominant}, {"alt", kindAltered},
}

// seventhWords begin a major seventh that stands behind the kind: m(maj7).
var seventhWords = []string{"major", "maj", "ma", "mj", "M", "Δ", "∆", "△", "^"}

// triangle tells whether a word for major means the seventh without a number.
func triangle(word string) bool { return strings.ContainsAny(word, "Δ∆△^") }

// cutWord takes word from the front of s. A word of one letter is taken as it
// is written, a longer one in any case; ma must not run on into another word,
// since madd9 is not one, and mj needs a number.
func cutWord(s, word string) (rest string, ok bool) {
	if len(s) < len(word) {
		return s, false
	}
	head, rest := s[:len(word)], s[len(word):]
	if head != word && (len(word) == 1 || !strings.EqualFold(head, word)) {
		return s, false
	}
	switch {
	case word == "ma" && rest != "" && (rest[0]|0x20 >= 'a' && rest[0]|0x20 <= 'z'):
		return s, false
	case word == "mj" && !startsWithDigit(rest), word == "o" && strings.HasPrefix(rest, "mit"):
		return s, false
	}
	return rest, true
}

func startsWithDigit(s string) bool { return s != "" && s[0] >= '0' && s[0] <= '9' }

// cutSeventh takes a major seventh from the front of s: maj7, M9, Δ. number is
// empty behind a bare triangle.
func cutSeventh(s string) (number string, ok bool) {
	number, _, ok = cutMajorSeventh(s)
	return number, ok
}

func cutMajorSeventh(s string) (number, rest string, ok bool) {
	for _, word := range seventhWords {
		if r, is := cutWord(s, word); is {
			number, left := cutNumber(strings.TrimLeft(r, " "), "7", "9", "11", "13")
			if number == "" && !triangle(word) {
				continue
			}
			if number == "" {
				left = r
			}
			return number, left, true
		}
	}
	return "", s, false
}

// cutNumber takes the first of words that s begins with.
func cutNumber(s string, words ...string) (word, rest string) {
	for _, w := range words {
		if r, ok := strings.CutPrefix(s, w); ok {
			return w, r
		}
	}
	return "", s
}
