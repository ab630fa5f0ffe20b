package theory

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// ParseMelody reads a melody of k in names of n, as Text writes it: a list of
// names, or tonic sol-fa notation, with Curwen's letters or any other names,
// which is known by its pulse signs | : ! or ;. A heading such as "Key G." or
// "Key C, Lah is A." may go before it, ended by a full stop or the line, and
// then states the key in place of k.
//
// A name is what ParseDegree reads, in one word, with its octave right behind
// it: d¹ or d', d₁ or d, (repeated for more). A comma or tick after a space is a
// rhythm sign. In notation every pulse begins with its sign, a blank is a rest,
// "." "," and "‘" (or "`") divide the pulse, and - or – holds the note before. A
// bridge note is ˢd or s/d; Fixed, FixedChromatic and Letters have none.
//
// An error says the column, and the line where there are more, of what was not
// understood.
func ParseMelody(s string, k Key, n Naming) (Melody, error) {
	r := &melodyReader{src: []rune(s), naming: n, key: k}
	if err := r.heading(); err != nil {
		return Melody{}, err
	}
	r.m.Key = r.key
	read := r.list
	if slices.ContainsFunc(r.src[r.at:], isPulseSign) {
		read = r.notation
	}
	if err := read(); err != nil {
		return Melody{}, err
	}
	if !slices.ContainsFunc(r.m.Tones, func(t Tone) bool { return !t.Rest }) {
		return Melody{}, r.errorf(len(r.src), "it has no notes; want names like %q", strings.Fields(n.choices(k))[0])
	}
	return r.m, nil
}

// melodyReader reads one melody.
type melodyReader struct {
	src    []rune
	at     int
	naming Naming
	key    Key // the melody is in by now
	m      Melody

	parts []part // of the pulse that is open
	open  bool
	ended bool // a double bar was the last sign
}

// part is what stands at one division of a pulse.
type part struct {
	start  int // in twelfths of the pulse
	column int // of its sign, as an index of src
	tone   *Tone
	held   bool
}

func isPulseSign(r rune) bool { return strings.ContainsRune("|:!;", r) }

// errorf makes an error about the character at an index of src.
func (r *melodyReader) errorf(at int, format string, args ...any) error {
	line, column := 1, 1
	for _, c := range r.src[:at] {
		column++
		if c == '\n' {
			line, column = line+1, 1
		}
	}
	where := fmt.Sprintf("column %d", column)
	if line > 1 {
		where = fmt.Sprintf("line %d, %s", line, where)
	}
	return fmt.Errorf("%w: %s: %w", ErrMelody, where, fmt.Errorf(format, args...))
}

// peek returns the character at the reader, 0 at the end.
func (r *melodyReader) peek() rune {
	if r.at < len(r.src) {
		return r.src[r.at]
	}
	return 0
}

func (r *melodyReader) skipSpace() {
	for r.at < len(r.src) && unicode.IsSpace(r.src[r.at]) {
		r.at++
	}
}

// heading reads "Key G." or "Key C, Lah is A.", if it is there.
func (r *melodyReader) heading() error {
	r.skipSpace()
	start := r.at
	if len(r.src)-start < 4 || !strings.EqualFold(string(r.src[start:start+3]), "key") || !unicode.IsSpace(r.src[start+3]) {
		return nil
	}
	end := start
	for end < len(r.src) && r.src[end] != '.' && r.src[end] != '\n' && !isPulseSign(r.src[end]) {
		end++
	}
	words, mode, hasMode := strings.Cut(string(r.src[start+3:end]), ",")
	do, err := ParseNote(words)
	if err != nil {
		return r.errorf(start, "the heading %s: %w", quote(string(r.src[start:end])), err)
	}
	r.key = Key{Tonic: do}
	if hasMode {
		name, tonic, _ := strings.Cut(strings.TrimSpace(mode), " is ")
		home := slices.IndexFunc(solfa[:], func(s string) bool { return strings.EqualFold(s, strings.TrimSpace(name)) }) + 1
		note, err := ParseNote(tonic)
		if home == 0 || err != nil {
			return r.errorf(start, "the heading %s; want it like \"Key C, Lah is A\"", quote(string(r.src[start:end])))
		}
		for m := range modes {
			if modes[m].home == home {
				r.key = Key{do.Up(Degree{Step: home}.Interval()), Mode(m)}
			}
		}
		if r.key.Tonic != note {
			return r.errorf(start, "the heading %s: %s of key %s is %s", quote(string(r.src[start:end])), solfa[home-1], do.ASCII(), r.key.Tonic.ASCII())
		}
	}
	if !r.key.Valid() {
		return r.errorf(start, "the heading %s: a key has at most 7 sharps or flats", quote(string(r.src[start:end])))
	}
	r.at = end
	if r.peek() == '.' {
		r.at++
	}
	return nil
}

// list reads names one pulse apart.
func (r *melodyReader) list() error {
	for r.skipSpace(); r.at < len(r.src); r.skipSpace() {
		start := r.at
		if isHold(r.peek()) {
			r.at++
			last := len(r.m.Tones) - 1
			if last < 0 {
				return r.errorf(start, "%q has no note before it to hold", r.src[start])
			}
			r.m.Tones[last].Length = r.m.Tones[last].Length.Plus(NewFraction(1, 1))
		} else {
			t, err := r.tone()
			if err != nil {
				return err
			}
			t.Length = NewFraction(1, 1)
			r.m.Tones = append(r.m.Tones, t)
		}
		if c := r.peek(); c != 0 && !unicode.IsSpace(c) {
			return r.errorf(r.at, "%q follows without a space; want a space between names, or a pulse sign | : ! before each", c)
		}
	}
	return nil
}

func isHold(r rune) bool { return r == '-' || r == '–' || r == '—' }

// notation reads tonic sol-fa with its rhythm signs.
func (r *melodyReader) notation() error {
	for r.skipSpace(); r.at < len(r.src); r.skipSpace() {
		start, c := r.at, r.peek()
		var err error
		switch {
		case isPulseSign(c):
			r.at++
			if err = r.closePulse(); err != nil {
				return err
			}
			if c == '|' && r.peek() == '|' {
				r.at++
				r.ended = true
				continue
			}
			r.openPulse(map[rune]Accent{'|': Strong, ':': Weak}[c], c, start)
		case c == '.' || c == ',' || c == '‘' || c == '`' || c == '\'' || c == '’':
			err = r.divide()
		case isHold(c):
			r.at++
			if err = r.place(start); err == nil {
				r.parts[len(r.parts)-1].held = true
			}
		default:
			if err = r.place(start); err != nil {
				return err
			}
			var t Tone
			t, err = r.tone()
			r.parts[len(r.parts)-1].tone = &t
		}
		if err != nil {
			return err
		}
	}
	// A bar line may end the melody as a double one does.
	if last := len(r.m.Accents) - 1; r.open && len(r.parts) == 1 && r.parts[0].blank() && r.m.Accents[last] == Strong {
		r.m.Accents, r.open = r.m.Accents[:last], false
	}
	return r.closePulse()
}

func (p part) blank() bool { return p.tone == nil && !p.held }

// openPulse begins a pulse; the signs that are not in the map are medium ones.
func (r *melodyReader) openPulse(accent Accent, sign rune, column int) {
	if sign == '!' || sign == ';' {
		accent = Medium
	}
	r.m.Accents = append(r.m.Accents, accent)
	r.parts = append(r.parts[:0], part{column: column})
	r.open, r.ended = true, false
}

// place makes sure that something can stand here.
func (r *melodyReader) place(column int) error {
	if !r.open && r.ended {
		r.openPulse(Strong, '|', column)
	}
	switch c := r.src[column]; {
	case !r.open:
		return r.errorf(column, "%q stands before the first pulse; want a pulse sign | : or ! before it", c)
	case !r.parts[len(r.parts)-1].blank():
		return r.errorf(column, "%q follows without a rhythm sign; want | : ! . or , before it (a comma that is no octave mark has a space before it)", c)
	}
	return nil
}

// divide reads a sign that divides the pulse.
func (r *melodyReader) divide() error {
	column, c := r.at, r.peek()
	r.at++
	if !r.open {
		return r.errorf(column, "%q divides no pulse; want a pulse sign | : or ! before it", c)
	}
	now, next := r.parts[len(r.parts)-1].start, 0
	switch {
	case c == '.' && r.peek() == ',' && (now == 0 || now == 3):
		r.at++
		next = 9
	case c == '.' && (now == 0 || now == 3):
		next = 6
	case c == ',' && (now == 0 || now == 6):
		next = now + 3
	case c != '.' && c != ',' && (now == 0 || now == 4):
		next = now + 4
	default:
		return r.errorf(column, "%q is one division too many; a pulse has one half . with a quarter , on either side of it, or two thirds ‘", c)
	}
	r.parts = append(r.parts, part{start: next, column: column})
	return nil
}

// closePulse adds the parts of the open pulse to the melody.
func (r *melodyReader) closePulse() error {
	if !r.open {
		return nil
	}
	r.open = false
	for i, p := range r.parts {
		end := grid
		if i+1 < len(r.parts) {
			end = r.parts[i+1].start
		} else if p.start == 4 {
			return r.errorf(p.column, "%q is the only third in its pulse; want two", r.src[p.column])
		}
		length := NewFraction(end-p.start, grid)
		last := len(r.m.Tones) - 1
		switch {
		case p.tone != nil:
			p.tone.Length = length
			r.m.Tones = append(r.m.Tones, *p.tone)
		case p.held && (last < 0 || r.m.Tones[last].Rest):
			return r.errorf(p.column, "the hold after %q has no note before it", r.src[p.column])
		case p.held, last >= 0 && r.m.Tones[last].Rest:
			r.m.Tones[last].Length = r.m.Tones[last].Length.Plus(length)
		default:
			r.m.Tones = append(r.m.Tones, Tone{Rest: true, Length: length})
		}
	}
	return nil
}

// tone reads a name with its octave, with the old name before it if it is a
// bridge, and the sign of a slur.
func (r *melodyReader) tone() (Tone, error) {
	start := r.at
	var old strings.Builder
	for plain, ok := smallLetters[r.peek()]; ok; plain, ok = smallLetters[r.peek()] {
		old.WriteRune(plain)
		r.at++
	}
	name := old.String()
	small := name != ""
	if !small {
		name = r.word()
	}
	d, octave, err := r.degree(name, r.key, start)
	if err != nil {
		return Tone{}, err
	}
	t := Tone{Degree: d, Octave: octave}
	if small || r.peek() == '/' {
		if !small {
			r.at++
		}
		t.Bridge, t.BridgeOctave = d, octave
		if r.naming.written() {
			return Tone{}, r.errorf(start, "%q is a bridge note, and %v names the same notes in every key; want names counted from the tonic", name, r.naming)
		}
		if t.Degree, t.Octave, err = r.degree(r.word(), r.key, r.at); err != nil {
			return Tone{}, err
		}
		r.key, _ = t.modulate(r.key, Pitch{Note: r.key.Tonic})
		if !r.key.Valid() {
			return Tone{}, r.errorf(start, "the bridge note leads to %s, which has %d sharps or flats and a key has at most 7", r.key.ASCII(), abs(r.key.Signature()))
		}
	}
	if r.peek() == '_' {
		r.at++
		t.Slur = true
	}
	return t, nil
}

// word reads the characters of a name.
func (r *melodyReader) word() string {
	start := r.at
	for r.at < len(r.src) {
		c := r.src[r.at]
		if _, small := smallLetters[c]; small || isTick(c) || !unicode.IsLetter(c) && !unicode.IsDigit(c) && !strings.ContainsRune("#♯♭♮𝄪𝄫", c) {
			break
		}
		r.at++
	}
	return string(r.src[start:r.at])
}

// isTick reports whether c marks the octave above.
func isTick(c rune) bool { return c == '\'' || c == '’' || c == 'ʹ' || c == '′' }

// degree looks a name up in k and reads the octave behind it.
func (r *melodyReader) degree(name string, k Key, start int) (Degree, int, error) {
	if name == "" {
		if r.at >= len(r.src) {
			return Degree{}, 0, r.errorf(r.at, "a name is missing at the end")
		}
		return Degree{}, 0, r.errorf(r.at, "%q is no name and no sign; want names like %s", r.src[r.at], r.naming.choices(k))
	}
	d, err := ParseDegree(name, k, r.naming)
	if err != nil {
		return d, 0, r.errorf(start, "%w", err)
	}
	octave := 0
	for first := true; ; first = false {
		c := r.peek()
		up, down := strings.IndexRune(superscripts, c), strings.IndexRune(subscripts, c)
		switch {
		case c != 0 && first && up >= 0:
			octave = len([]rune(superscripts[:up]))
			r.at++
			return d, octave - r.naming.shiftOf(k, d), nil
		case c != 0 && first && down >= 0:
			octave = -len([]rune(subscripts[:down]))
			r.at++
			return d, octave - r.naming.shiftOf(k, d), nil
		case isTick(c) && octave >= 0:
			octave++
		case c == ',' && octave <= 0:
			octave--
		default:
			return d, octave - r.naming.shiftOf(k, d), nil
		}
		if r.at++; abs(octave) > maxMark {
			return d, 0, r.errorf(r.at-1, "%q moves %s by more than %d octaves", c, quote(name), maxMark)
		}
	}
}
