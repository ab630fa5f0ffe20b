package theory

import (
	"errors"
	"fmt"
	"strings"
)

// Roman is a chord seen as a degree of a key: the value that a Roman numeral
// with figures stands for. Its String is a view of it.
type Roman struct {
	Key Key // of the piece
	// Local is the key that the numeral is counted in: Key itself, or for an
	// applied chord such as V/V the key of its goal.
	Local Key
	Chord Chord
}

// ErrRoman is wrapped by every error about a Roman numeral that could not be
// read.
var ErrRoman = errors.New("not a Roman numeral")

var (
	numerals = [8]string{1: "I", 2: "II", 3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII"}

	// figures holds, by inversion, what is written for triads and sevenths, and
	// what is read as well.
	triadFigures   = [3][]string{{"", "5/3", "53"}, {"6", "6/3", "63"}, {"64", "6/4"}}
	seventhFigures = [4][]string{{"7", "7/5/3", "753"}, {"65", "6/5/3", "653", "6/5"}, {"43", "6/4/3", "643", "4/3"}, {"42", "6/4/2", "642", "4/2", "2"}}

	// marks holds what is written between numeral and figure, for the
	// qualities that have figures.
	marks = map[Quality]string{
		MajorTriad: "", MinorTriad: "", DiminishedTriad: "°", AugmentedTriad: "+",
		Dominant7: "", Minor7: "", Major7: "maj", MinorMajor7: "maj",
		HalfDiminished7: "ø", Diminished7: "°", augmented7: "+", augmentedMajor7: "+maj",
	}
)

// sixths are the augmented sixth chords: all stand on ♭6 of their key.
var sixths = [...]struct {
	name, written string
	root          Degree
	quality       Quality
}{
	{"Ger", "Ger65", Degree{4, 1}, germanSixth},
	{"It", "It6", Degree{4, 1}, italianSixth},
	{"Fr", "Fr43", Degree{2, 0}, frenchSixth},
	{"Gr", "Ger65", Degree{4, 1}, germanSixth}, // read, not written
}

// ParseRoman reads a Roman numeral with figures as a chord of k.
//
// Large numerals are major, small ones minor; ° (or o, dim) is diminished, ø
// (or Ø, /o, h) half diminished, + augmented: the numeral says the quality
// whatever the key. Signs before it count from the major scale as in ♭VII and
// ♯iv°7. In minor, bare III, VI and VII are the lowered degrees of the scale,
// but small vi and vii the raised ones, so that vii° is on the leading tone; a
// sharp raises the scale's degree, and ♭vii is the minor chord on the lowered
// seventh. In the church modes every bare numeral is on the scale's degree, and
// ♮ (or n) before it means the major scale's: in lydian ♮IV is on fa.
//
// The sign /o for ø is that of RomanText, a published text notation of analyses
// (Tymoczko, Gotham, Cuthbert and Ariza, ISMIR 2019); h is that of the RS 200
// analyses (de Clercq and Temperley 2011).
//
// Figures: 6, 64, 7, 65 or 6/5, 43, 42 or 2. A 7 is a minor seventh, over °
// a diminished one; the major seventh is written: IVmaj7 or IVM7, IVmaj65. Any
// other suffix of a chord symbol may follow, as in V9, Vsus4, V7(b9), Iadd6,
// I6/9 or I69; 6 alone is always the inversion. A minor said twice is one: ii-7
// and iim7 are ii7. After a / comes an applied chord's goal, V65/V, viio7/ii,
// V7/V/III, or another bass as a degree: IV/sol; one that sounds as a tone of
// the chord is that tone.
//
// N6 is the Neapolitan, It6, Fr43 and Ger65 (or Gr65) the augmented sixths;
// their figures may be left out.
func ParseRoman(s string, k Key) (Roman, error) {
	r, err := parseRoman(strings.TrimSpace(s), k, maxApplied)
	if err != nil {
		return Roman{}, fmt.Errorf("%w: %s: %v", ErrRoman, quote(s), err)
	}
	return r, nil
}

// maxApplied is how many goals may follow each other: V/V/V/V/V.
const maxApplied = 4

func parseRoman(s string, k Key, depth int) (Roman, error) {
	r := Roman{Key: k, Local: k}
	if head, goal, ok := cutGoal(s); ok {
		if depth == 0 {
			return r, fmt.Errorf("more than %d goals after each other", maxApplied)
		}
		g, err := parseRoman(goal, k, depth-1)
		if _, _, nested := cutGoal(goal); err != nil && nested {
			return r, err // it names the goal that is wrong
		} else if err != nil {
			return r, fmt.Errorf("its goal %s: %v", quote(goal), err)
		}
		r.Local = Key{Tonic: g.Chord.Root}
		if t, ok := g.Chord.Quality.Tone(3); ok && t.Alter < 0 {
			r.Local.Mode = Minor
		}
		if r.Chord, err = r.Local.parseNumeral(head); err != nil {
			return r, err
		}
		// However it is written: I, i, I- or im.
		tonic := Chord{r.Local.Tonic, r.Chord.Quality, r.Local.Tonic}
		if q := r.Chord.Quality; r.Chord == tonic && (q == MajorTriad || q == MinorTriad) {
			return r, fmt.Errorf("the tonic of %s is that chord itself; want %s, or a bass as a degree, like %s/sol", goal, goal, head)
		}
		return r, nil
	}
	var err error
	r.Chord, err = r.Local.parseNumeral(s)
	return r, err
}

// cutGoal splits an applied chord at the first / that a numeral follows.
func cutGoal(s string) (head, goal string, ok bool) {
	for i := range s {
		if s[i] != '/' {
			continue
		}
		rest, natural := cutNatural(s[i+1:])
		if !natural {
			_, rest = cutSigns(rest)
		}
		if rest != "" && strings.IndexByte("IViv", rest[0]) >= 0 || rest == "N" || rest == "N6" {
			return s[:i], s[i+1:], true
		}
	}
	return s, "", false
}

// parseNumeral reads a numeral that is counted in k.
func (k Key) parseNumeral(s string) (Chord, error) {
	for _, x := range sixths {
		if rest, ok := strings.CutPrefix(s, x.name); ok {
			figure := strings.TrimLeft(x.written, "GerItF")
			switch strings.TrimPrefix(rest, "+") {
			case "", "6", figure, strings.Join(strings.Split(figure, ""), "/"):
				return Chord{k.Note(x.root), x.quality, k.Note(Degree{6, -1})}, nil
			}
			return Chord{}, fmt.Errorf("%s is not understood; want %s", quote(rest), x.written)
		}
	}
	if rest, ok := strings.CutPrefix(s, "N"); ok {
		switch rest {
		case "":
			rest = "6"
		case "6", "6/3", "63", "64", "6/4", "53", "5/3":
		default:
			return Chord{}, fmt.Errorf("%s behind %q is not understood; want N6 for the Neapolitan, or bII for another chord on that degree", quote(rest), "N")
		}
		return k.figured(Degree{2, -1}, "", rest)
	}
	sign := 0
	rest, natural := cutNatural(s)
	if !natural {
		sign, rest = cutSigns(s)
	}
	step, lower, rest := cutNumeral(rest)
	if step == 0 {
		return Chord{}, fmt.Errorf("%s is not understood; want a numeral I to VII or i to vii, N6, It6, Fr43 or Ger65", quote(s))
	}
	if abs(sign) > maxSigns {
		return Chord{}, fmt.Errorf("more than %d signs", maxSigns)
	}
	mark := ""
	if lower {
		mark = "m"
		for _, m := range []struct{ word, mark string }{
			{"dim", "dim"}, {"°", "dim"}, {"º", "dim"}, {"o", "dim"},
			{"ø", "ø"}, {"Ø", "ø"}, {"/o", "ø"}, {"h", "ø"},
		} {
			if r, ok := strings.CutPrefix(rest, m.word); ok {
				mark, rest = m.mark, r
				break
			}
		}
		if mark == "m" {
			rest = cutMinor(rest)
		}
	} else if r, ok := strings.CutPrefix(rest, "+"); ok {
		mark, rest = "aug", r
	}
	root := Degree{step, 0}
	if !natural {
		root = k.numeralDegree(sign, step, lower)
	}
	c, err := k.figured(root, mark, rest)
	if third, _ := c.Quality.Tone(3); err == nil && !lower && k.Mode == Minor && step >= 6 && sign == 0 && !natural && third.Alter < 0 {
		small := strings.ToLower(numerals[step])
		return Chord{}, fmt.Errorf("a large numeral with a minor or diminished chord; want %s for the raised degree, b%s for the lowered one", small, small)
	}
	return c, err
}

// cutMinor takes a word for minor off what stands behind a small numeral, which
// says so already: ii-7, iim7. M is major.
func cutMinor(s string) string {
	for _, w := range [...]string{"minor", "min", "mi", "m", "-", "−", "–"} {
		if rest, ok := strings.CutPrefix(s, w); ok && (rest == "" || startsWithDigit(rest) || strings.HasPrefix(rest, "(")) {
			return rest
		}
	}
	return s
}

// cutNatural cuts a natural sign off the front of s.
func cutNatural(s string) (rest string, ok bool) {
	if rest, ok = strings.CutPrefix(s, "♮"); !ok {
		rest, ok = strings.CutPrefix(s, "n")
	}
	return rest, ok
}

// cutNumeral reads a numeral from the front of s; step 0 is none.
func cutNumeral(s string) (step int, lower bool, rest string) {
	for _, step := range [...]int{7, 3, 6, 4, 2, 5, 1} {
		if r, ok := strings.CutPrefix(s, numerals[step]); ok {
			return step, false, r
		}
		if r, ok := strings.CutPrefix(s, strings.ToLower(numerals[step])); ok {
			return step, true, r
		}
	}
	return 0, false, s
}

// numeralDegree returns the degree that a numeral with so many signs stands
// on: the scale's without any, a flat counted from the major scale, a sharp
// raising the scale's, as ParseDegree reads numbers. In minor small vi and vii
// are not lowered.
func (k Key) numeralDegree(sign, step int, lower bool) Degree {
	d := k.ScaleDegrees()[step-1]
	switch {
	case sign < 0:
		d.Alter = sign
	case sign > 0:
		d.Alter += sign
	case k.Mode == Minor && lower && step >= 6:
		d.Alter = 0
	}
	return d
}

// figured reads what stands behind a numeral: figures, the suffix of a chord
// symbol, another bass.
func (k Key) figured(root Degree, mark, s string) (Chord, error) {
	bassName := ""
	whole := s
	if i := lastSlash(s); i >= 0 && !startsWithDigit(s[i+1:]) {
		s, bassName = s[:i], strings.TrimSpace(s[i+1:])
		if bassName == "" {
			return Chord{}, fmt.Errorf("nothing follows the /; want a goal like V or a bass like sol")
		}
	}
	inversion := 0
	y := reader{whole: s, rest: mark + s}
	maj, behind := "", s
	for _, word := range seventhWords {
		if rest, ok := cutWord(s, word); ok {
			maj, behind = word, rest
			break
		}
	}
	figure, seventh := "", false
	if sixNine, _ := cutNumber(behind, "6/9", "69"); sixNine == "" {
		figure, inversion, seventh = cutFigure(behind)
	}
	rest := behind[len(figure):]
	var err error
	switch {
	case maj != "" && figure != "" && !seventh:
		return Chord{}, fmt.Errorf("%s is not understood; want maj7, maj65, maj43, maj42 or maj9", quote(whole))
	case figure == "6" && (strings.HasPrefix(rest, "add") || strings.HasPrefix(rest, "sus")):
		return Chord{}, fmt.Errorf("%s: a 6 is the first inversion; want the figure alone, or %s with a bass behind a /, like %s/mi", quote(whole), rest, rest)
	case figure != "":
		// The figure stands for the chord's own number, what follows is signs.
		number := ""
		if seventh {
			number = "7"
			if maj != "" {
				number = "maj7"
			}
		}
		if maj != "" && mark != "" {
			number = "(maj7)"
		}
		y.rest = mark + number
		y.start()
		if err = y.signs(); err == nil {
			y.rest, y.figure = rest, !seventh || inversion > 0
			err = y.signs()
		}
	case maj != "" && mark != "":
		number, left := cutNumber(behind, "9", "11", "13")
		if number == "" && triangle(maj) {
			number = "7"
		}
		if number == "" {
			return Chord{}, fmt.Errorf("%s is not understood behind a small numeral or a mark; want maj7, maj65, maj43, maj42 or maj9", quote(whole))
		}
		y.rest = mark + "(maj" + number + ")" + left
		err = y.read()
	default:
		err = y.read()
	}
	if err != nil {
		return Chord{}, err
	}
	c := Chord{Root: k.Note(root), Quality: y.q}
	tones := y.q.Tones()
	if inversion >= len(tones) {
		return Chord{}, fmt.Errorf("figure %s: there is no such inversion", quote(figure))
	}
	c = c.inversion(inversion)
	if bassName != "" {
		if inversion > 0 {
			return Chord{}, fmt.Errorf("figure %s and the bass %s: want one of them", quote(figure), quote(bassName))
		}
		d, err := ParseDegree(bassName, k, Movable)
		if err != nil {
			return Chord{}, fmt.Errorf("the bass: %v", err)
		}
		c = c.overSound(k.Note(d))
	}
	return c, nil
}

// cutFigure takes the longest figure from the front of s, and tells which
// inversion of a triad or a seventh chord it is.
func cutFigure(s string) (figure string, inversion int, seventh bool) {
	for i, fs := range seventhFigures {
		for _, f := range fs {
			if strings.HasPrefix(s, f) && len(f) > len(figure) {
				figure, inversion, seventh = f, i, true
			}
		}
	}
	for i, fs := range triadFigures {
		for _, f := range fs {
			if strings.HasPrefix(s, f) && len(f) > len(figure) {
				figure, inversion, seventh = f, i, false
			}
		}
	}
	return figure, inversion, seventh
}

// String writes the numeral with musical signs: "V65/V", "♭VII", "vii°7",
// "iiø65", "IVmaj7", "N6", "IV/sol".
func (r Roman) String() string {
	s := r.Local.numeral(r.Chord)
	if r.Local == r.Key {
		return s
	}
	goal := Chord{r.Local.Tonic, MajorTriad, r.Local.Tonic}
	if r.Local.Mode == Minor {
		goal.Quality = MinorTriad
	}
	return s + "/" + r.Key.numeral(goal)
}

// ASCII writes the numeral with letters only: "viio7", "bVII", and ø as RomanText
// has it (see ParseRoman): "ii/o65".
func (r Roman) ASCII() string { return romanASCII.Replace(r.String()) }

var romanASCII = strings.NewReplacer("°", "o", "ø", "/o", "♯", "#", "♭", "b", "♮", "n", "𝄪", "##", "𝄫", "bb")

// romanBases are the suffixes that numerals have beyond figures. A 6 would be a
// figure, and a 5 behind a small numeral is none.
var romanBases = func() []base {
	var list []base
	for _, b := range symbolBases {
		if b.text != "5" && b.text != "6" && b.text != "m6" && b.text != "m7♭5" {
			list = append(list, b)
		}
	}
	return list
}()

// numeral writes c as a numeral of k, parseNumeral's inverse.
func (k Key) numeral(c Chord) string {
	root, bass := k.Degree(c.Root), k.Degree(c.Bass)
	for _, x := range sixths {
		if root == x.root && c.Quality == x.quality && bass == (Degree{6, -1}) {
			return x.written
		}
	}
	if root == (Degree{2, -1}) && c.Quality == MajorTriad && c.Inversion() == 1 {
		return "N6"
	}
	third, ok := c.Quality.Tone(3)
	lower := ok && third.Alter < 0
	numeral := numerals[root.Step]
	if lower {
		numeral = strings.ToLower(numeral)
	}
	switch scale := k.ScaleDegrees()[root.Step-1]; {
	case root == k.numeralDegree(0, root.Step, lower):
	case root.Alter < 0:
		numeral = accidental(root.Alter) + numeral
	case root.Alter < scale.Alter: // fa in lydian
		numeral = "♮" + numeral
	default:
		numeral = accidental(root.Alter-scale.Alter) + numeral
	}
	n := c.Inversion()
	mark, figures := marks[c.Quality]
	switch {
	case figures && n >= 0:
		if _, seventh := c.Quality.Tone(7); seventh {
			return numeral + mark + seventhFigures[n][0]
		}
		return numeral + mark + triadFigures[n][0]
	case figures:
		numeral += mark
		if _, seventh := c.Quality.Tone(7); seventh {
			numeral += "7"
		}
	default:
		text, _ := c.Quality.write(romanBases)
		if lower {
			text = strings.TrimPrefix(text, "m")
		}
		if lower && !strings.HasPrefix(text, "°") && third.Alter == -2 { // written with a large third
			text = "?"
		}
		numeral += text
	}
	if n != 0 {
		numeral += "/" + Movable.NameASCII(k, bass)
	}
	return numeral
}

// dominants are the chords that point at a goal: counted from it, where their
// root is.
var dominants = []struct {
	quality Quality
	root    Degree
}{
	{Dominant7, Degree{5, 0}}, {MajorTriad, Degree{5, 0}},
	{Diminished7, Degree{7, 0}}, {HalfDiminished7, Degree{7, 0}}, {DiminishedTriad, Degree{7, 0}},
}

// Roman reads c as a chord of k. A dominant or diminished chord that is not
// one of the key's own is applied to the chord of the key a fifth below it, or
// a semitone above it, where there is one: in C major D7 is V7/V, C♯°7 vii°7/ii,
// but B♭7 is ♭VII7. In minor the raised sixth and seventh are the key's own.
func (k Key) Roman(c Chord) Roman {
	r := Roman{Key: k, Local: k, Chord: c}
	if k.owns(c) || c.Inversion() < 0 {
		return r
	}
	for _, d := range dominants {
		if c.Quality != d.quality {
			continue
		}
		// The goal lies as far below the root as the root's degree is above it.
		i := d.root.Interval()
		goal := c.Root.Up(Interval{-i.Steps, -i.Semitones})
		for _, t := range k.triads() {
			if t.Root != goal || t.Root == k.Tonic || t.Quality != MajorTriad && t.Quality != MinorTriad {
				continue
			}
			local := Key{Tonic: goal}
			if t.Quality == MinorTriad {
				local.Mode = Minor
			}
			if c.Quality == HalfDiminished7 && local.Mode == Minor {
				continue // ♯iv° and the like lead to major chords
			}
			return Roman{Key: k, Local: local, Chord: c}
		}
	}
	return r
}

// triads returns the triads of the key that may be goals, on the degrees of
// its scale; in minor v is major.
func (k Key) triads() [7]Chord {
	scale := k.ScaleDegrees()
	var ts [7]Chord
	for i, d := range scale {
		root := k.Note(d)
		var tones []Degree
		for _, step := range [...]int{3, 5} {
			tone := scale[(i+step-1)%7]
			if k.Mode == Minor && i == 4 && step == 3 {
				tone.Alter = 0
			}
			above := (tone.Semitones() - d.Semitones() + 12) % 12
			tones = append(tones, Degree{step, above - Degree{step, 0}.Semitones()})
		}
		ts[i] = Chord{root, NewQuality(tones...), root}
	}
	return ts
}

// owns tells whether all notes of c are in the scale of k: in minor with the
// sixth and seventh in either form.
func (k Key) owns(c Chord) bool {
	scale := k.ScaleDegrees()
	for _, n := range c.Notes() {
		d := k.Degree(n)
		if d != scale[d.Step-1] && !(k.Mode == Minor && d.Step >= 6 && d.Alter == 0) {
			return false
		}
	}
	return true
}
