package theory

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Naming is a way to name the degrees of a key. A name is a view of a Degree
// and depends on the key: se is ♭5 in one naming and ♯5 in another.
type Naming int

// The namings.
const (
	Movable        Naming = iota // do is the tonic, in minor too: do re me fa sol le te
	LaBased                      // relative: la is the tonic in minor, re in dorian; as Movable in major
	Fixed                        // the written note: do is C, si is B, signs as written: "la♭"
	FixedChromatic               // the written note: do is C, ti is B, each sign its own syllable: "le"
	Numbers                      // "1", "♭3", "♯4"; in minor "♮3", "♮6", "♮7" for the raised ones
	Letters                      // the spelled note: "A♭"
	Curwen                       // tonic sol-fa letters d r m f s l t, relative as LaBased
	Kodaly                       // as LaBased, lowered with -a: ra ma lo ta
)

// syllables holds what a naming calls the degrees of the major scale, by step,
// lowered by a semitone, plain, and raised. A second word is a synonym that is
// read and not written. Where there is none the name is composed of the plain
// syllable and a sign.
type syllables [7][3]string

// Sources: Open Music Theory for movable, R. Stevens, The Curwen Method (2017)
// for curwen, and Kodály practice (sharps add -i, flats add -a, but lo).
var (
	movable = syllables{
		{"", "do", "di"},
		{"ra", "re", "ri"},
		{"me", "mi", ""},
		{"", "fa", "fi"},
		{"se", "sol so", "si"},
		{"le", "la", "li"},
		{"te", "ti", ""},
	}
	curwen = syllables{
		{"", "d", "de"},
		{"ra", "r", "re"},
		{"ma", "m", ""},
		{"", "f", "fe"},
		{"sa", "s", "se"},
		{"la", "l", "le"},
		{"ta", "t", ""},
	}
	kodaly = syllables{
		{"", "do", "di"},
		{"ra", "re", "ri"},
		{"ma", "mi", ""},
		{"", "fa", "fi"},
		{"", "sol so", "si"},
		{"lo", "la", "li"},
		{"ta", "ti", ""},
	}
	// fixed holds the syllable of each letter from C.
	fixed = [7]string{"do", "re", "mi", "fa", "sol so", "la", "si ti"}

	// curwenMinor has ba for fe: the raised sixth of a minor key.
	curwenMinor = func() syllables {
		t := curwen
		t[3][2] = "ba fe"
		return t
	}()
)

// system is what a naming consists of.
type system struct {
	name     string
	table    *syllables // of degrees counted from do; nil for Fixed
	minor    *syllables // in minor, where it differs
	relative bool       // do is the tonic of the major key with the same signature
	absolute bool       // do is C
}

// systems describes the namings. Numbers and Letters read movable syllables.
var systems = [...]system{
	Movable:        {name: "movable", table: &movable},
	LaBased:        {name: "la-based", table: &movable, relative: true},
	Fixed:          {name: "fixed"},
	FixedChromatic: {name: "fixed-chromatic", table: &movable, absolute: true},
	Numbers:        {name: "numbers", table: &movable},
	Letters:        {name: "letters", table: &movable},
	Curwen:         {name: "curwen", table: &curwen, minor: &curwenMinor, relative: true},
	Kodaly:         {name: "kodaly", table: &kodaly, relative: true},
}

// in returns the table of syllables in k, and the interval from do up to the
// tonic of k.
func (sys *system) in(k Key) (t *syllables, aboveDo Interval) {
	t = sys.table
	if k.Mode == Minor && sys.minor != nil {
		t = sys.minor
	}
	switch {
	case sys.relative:
		aboveDo = k.Mode.aboveRelative()
	case sys.absolute:
		aboveDo = Pitch{}.IntervalTo(Pitch{Note: k.Tonic})
	}
	return t, aboveDo
}

// Namings returns all namings, Movable first.
func Namings() []Naming {
	ns := make([]Naming, len(systems))
	for i := range ns {
		ns[i] = Naming(i)
	}
	return ns
}

// String returns the word that ParseNaming reads: "movable", "la-based", …
func (n Naming) String() string {
	if n < 0 || int(n) >= len(systems) {
		return fmt.Sprintf("Naming(%d)", int(n))
	}
	return systems[n].name
}

// ErrNaming is wrapped by every error about a naming that could not be read.
var ErrNaming = errors.New("not a naming")

// ParseNaming reads "movable", "la-based" (or "relative"), "fixed",
// "fixed-chromatic", "numbers", "letters", "curwen" or "kodaly". Case does not
// matter.
func ParseNaming(s string) (Naming, error) {
	if strings.EqualFold(strings.TrimSpace(s), "relative") {
		return LaBased, nil
	}
	var names []string
	for n, sys := range systems {
		if strings.EqualFold(strings.TrimSpace(s), sys.name) {
			return Naming(n), nil
		}
		names = append(names, sys.name)
	}
	return 0, fmt.Errorf("%w: %s; want one of %s", ErrNaming, quote(s), strings.Join(names, " "))
}

// Name returns what n calls the degree d of k, with musical signs. Degrees
// that have no syllable of their own (♭4, ♯3, double alterations) get the
// plain syllable and a sign: "fa♭", "mi♯", "la𝄫". Fixed writes a natural sign
// where the key's own note on that letter is altered: "si♮" in C minor; in
// FixedChromatic that is just "ti". Numbers writes sharps on 3, 6 and 7 of a
// minor key as a player counts them, from the natural minor scale. ParseDegree
// reads every name back.
func (n Naming) Name(k Key, d Degree) string {
	switch n {
	case Fixed:
		return k.fixedName(d)
	case Numbers:
		return k.number(d)
	case Letters:
		return k.Note(d).String()
	}
	t, aboveDo := systems[n].in(k)
	return t.name(degreeAt(d.Interval().plus(aboveDo)))
}

// NameASCII is Name with letters for the signs: "fab", "mi#", "labb", "b3", "n7".
func (n Naming) NameASCII(k Key, d Degree) string { return asciiSigns.Replace(n.Name(k, d)) }

// read is the inverse of Name, for s in lower case.
func (n Naming) read(s string, k Key) (Degree, bool) {
	if n == Fixed {
		return k.readFixed(s)
	}
	t, aboveDo := systems[n].in(k)
	d, ok := t.read(s)
	if ok {
		d = degreeAt(d.Interval().plus(Interval{-aboveDo.Steps, -aboveDo.Semitones}))
	}
	return d, ok
}

// name returns the syllable of d, or a composed one.
func (t *syllables) name(d Degree) string {
	row := t[d.Step-1]
	if i := d.Alter + 1; i >= 0 && i < len(row) && row[i] != "" {
		return word(row[i])
	}
	return word(row[1]) + accidental(d.Alter)
}

// word returns the first word of an entry.
func word(entry string) string {
	first, _, _ := strings.Cut(entry, " ")
	return first
}

// read is the inverse of name. A sign is read after any plain syllable.
func (t *syllables) read(s string) (Degree, bool) {
	for step, row := range t {
		for i, entry := range row {
			if alter, bare, ok := cutSyllable(s, entry); ok && bare {
				return Degree{step + 1, i - 1}, true
			} else if ok && i == 1 {
				return Degree{step + 1, alter}, true
			}
		}
	}
	return Degree{}, false
}

// cutSyllable reads s as one of the words of entry and a sign, or bare, without
// any.
func cutSyllable(s, entry string) (alter int, bare, ok bool) {
	for w := range strings.FieldsSeq(entry) {
		if rest, found := strings.CutPrefix(s, w); found {
			if alter, ok := readAccidental(rest); ok {
				return alter, rest == "", true
			}
		}
	}
	return 0, false, false
}

// fixedName writes the note of d in fixed do.
func (k Key) fixedName(d Degree) string {
	note := k.Note(d)
	sign := accidental(int(note.Alter))
	if note.Alter == 0 && d != k.ScaleDegrees()[d.Step-1] {
		sign = "♮"
	}
	return word(fixed[note.Letter]) + sign
}

// readFixed reads a note in fixed do: without a sign the key's own note on that
// letter, with a sign exactly what is written.
func (k Key) readFixed(s string) (Degree, bool) {
	for letter, entry := range fixed {
		alter, bare, ok := cutSyllable(s, entry)
		if !ok {
			continue
		}
		d := k.Degree(Note{Letter(letter), int8(alter)})
		if bare {
			d = k.ScaleDegrees()[d.Step-1]
		}
		return d, true
	}
	return Degree{}, false
}

// number writes d as a player of k counts it. A bare number would be the degree
// of the scale, so a natural tells one that the scale has altered; sharps raise
// what the scale has flat, and a flat is always counted from major. The scale's
// own flats and sharps are written: "♭3" in minor, "♯4" in lydian.
func (k Key) number(d Degree) string {
	own := k.ScaleDegrees()[d.Step-1].Alter
	switch {
	case d.Alter < 0:
		return d.String()
	case d.Alter == 0 && own != 0:
		return "♮" + d.String()
	}
	return Degree{d.Step, d.Alter - min(own, 0)}.String()
}

// readNumber is the inverse of number; a bare number is a degree of the scale.
func (k Key) readNumber(s string) (Degree, bool) {
	last := len(s) - 1
	if last < 0 || s[last] < '1' || s[last] > '7' {
		return Degree{}, false
	}
	d := k.ScaleDegrees()[s[last]-'1']
	sign := strings.TrimSpace(s[:last])
	alter, ok := readAccidental(sign)
	switch {
	case alter > 0:
		d.Alter = min(d.Alter, 0) + alter
	case sign != "":
		d.Alter = alter
	}
	return d, ok
}

// ParseDegree reads one degree of k: a number ("6", "b7", "♯4", "n7"), else a
// syllable of n (of Movable where n is Numbers or Letters), else a letter name
// ("A", "Eb"). Case does not matter, and so is sol.
//
// A sign makes a number or syllable exact, except that in a minor key, where a
// bare 3, 6 or 7 is the lowered one of the scale, a sharp raises that: "#7" and
// "n7" are both the leading tone. In fixed do a bare syllable is the note of
// the scale on that letter: "la" in A♭ major is A♭, "la♮" is A. Letters are
// always exact. In Curwen a letter that is a syllable is that: "d" and "D" are
// do, "d#" is di.
//
// A degree altered by more than two semitones from the major scale is refused.
func ParseDegree(s string, k Key, n Naming) (Degree, error) {
	t := strings.ToLower(strings.TrimSpace(s))
	d, ok := k.readNumber(t)
	if !ok {
		d, ok = n.read(t, k)
	}
	if !ok {
		var note Note
		note, ok = readNote(t)
		d = k.Degree(note)
	}
	if !ok || abs(d.Alter) > maxAlter {
		return Degree{}, fmt.Errorf("%w of %s: %s; want a number 1 to 7 or a letter name, either with # or b, or one of: %s",
			ErrDegree, k.ASCII(), quote(s), n.choices(k))
	}
	return d, nil
}

// choices lists the syllables of n in k: all that have no sign, and in fixed do
// the notes of the scale.
func (n Naming) choices(k Key) string {
	if n == Numbers || n == Letters {
		n = Movable
	}
	var names []string
	for i, d := range k.ScaleDegrees() {
		if n == Fixed || n == FixedChromatic {
			names = append(names, n.NameASCII(k, d))
			continue
		}
		for alter := -maxAlter; alter <= maxAlter; alter++ {
			if name := n.Name(k, Degree{i + 1, alter}); !strings.ContainsAny(name, "♯♭𝄪𝄫") {
				names = append(names, name)
			}
		}
	}
	return strings.Join(names, " ")
}

// ParseDegrees reads a list of degrees of k, separated by spaces or commas.
// Besides what ParseDegree reads there are ranges of numbers, "1-5", and the
// words "all" (the seven of the scale), "chromatic" (the twelve of
// ChromaticDegrees) and "triad" (1 3 5). The result keeps the order of the
// list; a degree that comes again is dropped, so that "triad 1-5" is no error.
func ParseDegrees(s string, k Key, n Naming) ([]Degree, error) {
	scale, chromatic := k.ScaleDegrees(), k.ChromaticDegrees()
	var list []Degree
	for item := range strings.FieldsFuncSeq(s, func(r rune) bool { return r == ',' || unicode.IsSpace(r) }) {
		var found []Degree
		from, to, isRange := readRange(item)
		switch {
		case strings.EqualFold(item, "all"):
			found = scale[:]
		case strings.EqualFold(item, "chromatic"):
			found = chromatic[:]
		case strings.EqualFold(item, "triad"):
			found = []Degree{scale[0], scale[2], scale[4]}
		case isRange && from > to:
			return nil, fmt.Errorf("%w range: %s runs backwards; want %d-%d", ErrDegree, quote(item), to, from)
		case isRange:
			found = scale[from-1 : to]
		default:
			d, err := ParseDegree(item, k, n)
			if err != nil {
				return nil, err
			}
			found = []Degree{d}
		}
		for _, d := range found {
			if !slices.Contains(list, d) {
				list = append(list, d)
			}
		}
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("%w: the list is empty; want degrees like \"1 3 5\", \"1-7\", all, chromatic or triad", ErrDegree)
	}
	return list, nil
}

// readRange reads "1-5", with a hyphen or an en dash, both ends 1 … 7.
func readRange(s string) (from, to int, ok bool) {
	a, b, ok := strings.Cut(strings.Replace(s, "–", "-", 1), "-")
	if !ok || len(a) != 1 || len(b) != 1 {
		return 0, 0, false
	}
	from, to = int(a[0]-'0'), int(b[0]-'0')
	return from, to, from >= 1 && from <= 7 && to >= 1 && to <= 7
}
