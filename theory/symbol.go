package theory

import (
	"fmt"
	"strconv"
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
	base{text: "7♭9", weight: 2}, base{text: "7♯9", weight: 2}, base{text: "13♭9", weight: 4},
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
// "C+", "Am(maj7)", "C6/9", "F/G", "G7(b9,#11)". A 7 alone is the minor
// seventh of a dominant. The number 2 is an added ninth, sus is sus4; 11 has
// its third, 13 leaves out the eleventh except in minor. Small m is minor and
// large M major; otherwise case does not matter. Any note may follow / as bass.
func ParseChord(s string) (Chord, error) {
	t := strings.TrimSpace(s)
	root, rest, ok := cutNote(t)
	if !ok {
		return Chord{}, fmt.Errorf("%w: %s; want a root A to G with # or b first, like F#m7b5", ErrChord, quote(s))
	}
	c := Chord{Root: root, Bass: root}
	if i := strings.LastIndexByte(rest, '/'); i >= 0 {
		name := strings.TrimSpace(rest[i+1:])
		bass, left, ok := cutNote(name)
		switch {
		case ok && left == "":
			c.Bass, rest = bass, rest[:i]
		case !strings.HasPrefix(name, "9"): // 6/9
			return Chord{}, fmt.Errorf("%w: %s: the bass %s is not understood; want a note A to G with # or b after the /", ErrChord, quote(s), quote(name))
		}
	}
	q, err := parseQuality(rest)
	if err != nil {
		return Chord{}, fmt.Errorf("%w: %s: %v", ErrChord, quote(s), err)
	}
	c.Quality = q
	return c, nil
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

// The kinds of chord that a symbol begins with.
type chordKind int

const (
	kindMajor chordKind = iota // no word at all
	kindMaj                    // a major seventh follows with the number
	kindMinor
	kindDim
	kindHalf
	kindAug
)

// kindWords are tried in this order; those of one letter as written.
var kindWords = []struct {
	word string
	kind chordKind
}{
	{"major", kindMaj}, {"maj", kindMaj}, {"ma", kindMaj}, {"M", kindMaj}, {"Δ", kindMaj}, {"∆", kindMaj}, {"△", kindMaj}, {"^", kindMaj},
	{"minor", kindMinor}, {"min", kindMinor}, {"mi", kindMinor}, {"m", kindMinor}, {"-", kindMinor}, {"−", kindMinor},
	{"halfdim", kindHalf}, {"hdim", kindHalf}, {"ø", kindHalf}, {"Ø", kindHalf},
	{"dim", kindDim}, {"°", kindDim}, {"º", kindDim}, {"o", kindDim},
	{"aug", kindAug}, {"+", kindAug}, {"dom", kindMajor},
}

// seventhWords begin a major seventh that stands behind the kind: m(maj7).
var seventhWords = []string{"maj", "ma", "M", "Δ", "∆", "△", "^"}

// cutWord takes word from the front of s. A word of one letter is taken as it
// is written, a longer one in any case; ma needs a number, since madd9 is not
// one.
func cutWord(s, word string) (rest string, ok bool) {
	if len(s) < len(word) {
		return s, false
	}
	head, rest := s[:len(word)], s[len(word):]
	if head != word && (len(word) == 1 || !strings.EqualFold(head, word)) {
		return s, false
	}
	if word == "ma" && (rest == "" || rest[0] < '0' || rest[0] > '9') {
		return s, false
	}
	return rest, true
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

// symbol is a chord symbol as far as it has been read.
type symbol struct {
	q      Quality
	said   uint8 // steps that were altered or added by a sign of their own
	rest   string
	depth  int
	reason string
}

// parseQuality is ParseQuality without the words around its errors.
func parseQuality(s string) (Quality, error) {
	y := symbol{rest: strings.TrimSpace(s)}
	y.kind()
	for {
		y.rest = strings.TrimLeft(y.rest, " ,")
		if y.rest == "" {
			break
		}
		before := y.rest
		if !y.sign() {
			if y.reason == "" {
				y.reason = quote(before) + " is not understood; want something like m, 7, maj7, dim, aug, sus4, 6, 9, add9, b5 or #11"
			}
			return Quality{}, fmt.Errorf("%s", y.reason)
		}
	}
	switch {
	case y.depth != 0:
		return Quality{}, fmt.Errorf("a bracket is not closed")
	case !y.q.legal():
		return Quality{}, fmt.Errorf("these tones make no chord: want a third or fifth, and a diminished seventh only on a diminished triad")
	}
	return y.q, nil
}

// kind reads what a symbol begins with: a word and a number.
func (y *symbol) kind() {
	kind, word := kindMajor, ""
	for _, w := range kindWords {
		if rest, ok := cutWord(y.rest, w.word); ok {
			kind, word, y.rest = w.kind, w.word, rest
			break
		}
	}
	number, rest := cutNumber(y.rest, "6/9", "69", "6", "7", "9", "11", "13", "5", "2")
	bare := Quality{}
	switch kind {
	case kindMajor, kindMaj:
		bare = MajorTriad
	case kindMinor:
		bare = MinorTriad
	case kindDim, kindHalf:
		bare = DiminishedTriad
	case kindAug:
		bare = AugmentedTriad
	}
	seventh := Degree{7, -1}
	switch {
	case kind == kindMaj:
		seventh.Alter = 0
	case kind == kindDim:
		seventh.Alter = -2
	}
	y.q = bare
	switch number {
	case "":
		if kind == kindHalf || kind == kindMaj && strings.ContainsAny(word, "Δ∆△^") {
			y.q = bare.with(seventh)
		}
		return
	case "5":
		if word != "" {
			return // no such chord: the 5 stays and is refused
		}
		y.q = bare.without(3)
	case "2":
		y.q = bare.with(Degree{2, 0})
	case "6":
		y.q = bare.with(Degree{6, 0})
	case "69", "6/9":
		y.q = bare.with(Degree{6, 0}).with(Degree{2, 0})
	default:
		y.q = bare.with(seventh)
		y.extend(number)
	}
	y.rest = rest
}

// extend adds the ninth, eleventh and thirteenth that a number stands for.
func (y *symbol) extend(number string) {
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
func (y *symbol) sign() bool {
	s := y.rest
	switch s[0] {
	case '(', '[':
		y.depth++
		y.rest = s[1:]
		return y.depth == 1
	case ')', ']':
		y.depth--
		y.rest = s[1:]
		return y.depth == 0
	}
	if rest, ok := cutWord(s, "sus"); ok {
		number, rest := cutNumber(rest, "4", "2")
		step := 4
		if number == "2" {
			step = 2
		}
		y.q = y.q.without(3)
		y.rest = rest
		return y.set(Degree{step, 0})
	}
	for _, word := range []string{"omit", "no"} {
		if rest, ok := cutWord(s, word); ok {
			number, rest := cutNumber(rest, "3", "5")
			if number == "" {
				return false
			}
			y.q = y.q.without(int(number[0] - '0'))
			y.rest = rest
			return true
		}
	}
	for _, word := range seventhWords {
		if rest, ok := cutWord(s, word); ok {
			number, rest := cutNumber(rest, "7", "9", "11", "13")
			if number == "" && !strings.ContainsAny(word, "Δ∆△^") {
				return false
			}
			y.rest = rest
			if !y.set(Degree{7, 0}) {
				return false
			}
			y.extend(number)
			return true
		}
	}
	add, adds := cutWord(s, "add")
	if adds {
		s = add
	}
	alter, rest := 0, s
	if r, ok := strings.CutPrefix(s, "+"); ok && !adds {
		alter, rest = 1, r
	} else if r, ok := strings.CutPrefix(s, "-"); ok && !adds {
		alter, rest = -1, r
	} else {
		alter, rest = cutSigns(s)
	}
	number, rest := cutNumber(rest, "13", "11", "9", "6", "5", "4", "3", "2")
	step := map[string]int{"13": 6, "6": 6, "11": 4, "4": 4, "9": 2, "2": 2, "5": 5, "3": 3}[number]
	b := alterations[step]
	if step == 0 || alter < int(b.low) || alter > int(b.high) ||
		alter == 0 && (step == 3 || step == 5) || alter == 0 && !adds && number != "9" && number != "11" && number != "13" {
		return false
	}
	y.rest = rest
	return y.set(Degree{step, alter})
}

// set puts a tone on its letter, once.
func (y *symbol) set(d Degree) bool {
	if y.said&(1<<d.Step) != 0 {
		y.reason = "two tones on one letter: want one " + map[int]string{2: "second or ninth", 3: "third", 4: "fourth or eleventh", 5: "fifth", 6: "sixth or thirteenth", 7: "seventh"}[d.Step]
		return false
	}
	y.said |= 1 << d.Step
	y.q = y.q.with(d)
	return true
}
