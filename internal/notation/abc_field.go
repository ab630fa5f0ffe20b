package notation

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"singback/internal/engrave"
	"singback/theory"
)

// field reads an information field, in the header, the body or inline.
func (a *abcReader) field(name byte, value string) error {
	switch name {
	case 'X':
		if a.inBody {
			a.done = true
			a.leave(moreTunes)
		}
	case 'T':
		if a.score.Title == "" {
			a.score.Title = strings.ReplaceAll(value, `\%`, "%")
		}
	case 'M':
		m, err := abcMeter(value)
		if err != nil {
			return a.errorf("M: %v", err)
		}
		a.setMeter(m)
	case 'L':
		f, ok := abcFraction(value)
		if !ok {
			return a.errorf("L:%s is no note length; want one like 1/8", quote(value))
		}
		f = f.Times(four)
		if a.voice != nil {
			a.voice.unit = f
		} else {
			a.unit = f
		}
	case 'Q':
		if a.tempo == "" {
			a.tempo = value
		}
	case 'K':
		k, named, err := a.readKey(value)
		if err != nil {
			return err
		}
		if !a.inBody {
			a.inBody, a.key, a.clef = true, k, abcClef(value)
			return nil
		}
		v := a.current()
		if !named {
			return nil // a clef alone
		}
		v.key = k
		v.signs = nil
		if len(v.now.notes) > 0 {
			a.leave("the key changes within a bar: read as changed from the next bar line on, accidentals as the new key has them")
		} else {
			v.now.key = k
		}
	case 'V':
		a.setVoice(value)
	case 'w':
		if a.inBody {
			return a.lyrics(value)
		}
	case 'P':
		if a.inBody || value != "" {
			a.leave("P: parts are read in the order they are written")
		}
	case 's': // signs above the notes
		for i, sign := range strings.Split(value, "!") {
			if i%2 == 1 {
				a.mark("!" + sign + "!")
			}
		}
	case 'm':
		a.leave("m: is not supported and was left out")
	case 'U':
		letter, meaning, _ := strings.Cut(value, "=")
		meaning = strings.TrimSpace(meaning)
		if r := []rune(strings.TrimSpace(letter)); meaning == "" || len(r) != 1 || !isSymbol(r[0]) {
			a.leave(fmt.Sprintf("U: %s defines no symbol: want one of the letters H to W, h to w or ~, like T = !trill!; it was left out", quote(value)))
		} else {
			if a.symbols == nil {
				a.symbols = map[rune]string{}
			}
			a.symbols[r[0]] = meaning
		}
	}
	return nil
}

func (a *abcReader) setMeter(m theory.Meter) {
	if a.voice == nil {
		a.meter = m
		return
	}
	v := a.voice
	v.meter = m
	if len(v.now.notes) > 0 {
		a.leave("the meter changes within a bar: read as changed from the next bar line on")
	} else {
		v.now.meter = m
	}
}

func abcMeter(s string) (theory.Meter, error) {
	s = strings.TrimSpace(s)
	if s == "" || strings.EqualFold(s, "none") {
		return theory.Meter{}, nil
	}
	over, under, ok := strings.Cut(s, "/")
	if ok && strings.Contains(over, "+") { // 2+3/8
		sum := 0
		for _, part := range strings.Split(strings.Trim(over, "() "), "+") {
			n, err := strconv.Atoi(strings.TrimSpace(part))
			if err != nil || n < 1 || n > 99 {
				return theory.Meter{}, fmt.Errorf("%w: %s", theory.ErrMeter, quote(s))
			}
			sum += n
		}
		s = fmt.Sprintf("%d/%s", sum, under)
	}
	return theory.ParseMeter(s)
}

func abcFraction(s string) (theory.Fraction, bool) {
	over, under, ok := strings.Cut(strings.TrimSpace(s), "/")
	n, err := strconv.Atoi(strings.TrimSpace(over))
	d := 1
	if ok && err == nil {
		d, err = strconv.Atoi(strings.TrimSpace(under))
	}
	if err != nil || n < 1 || d < 1 || n > 64 || d > 512 {
		return theory.Fraction{}, false
	}
	return theory.NewFraction(n, d), true
}

// readKey reads a K: field; named is false where it names no key.
func (a *abcReader) readKey(s string) (k theory.Key, named bool, err error) {
	var words []string
	for _, w := range strings.Fields(s) {
		name, _, ok := strings.Cut(w, "=")
		switch {
		case ok && (name == "transpose" || name == "octave"):
			a.leave(fmt.Sprintf("K: %s is not supported and was left out", quote(w)))
		case w == "none":
			named = true
		case ok, slices.Contains([]string{"treble", "bass", "alto", "tenor", "clef", "perc"}, w):
		default:
			words = append(words, w)
		}
	}
	if len(words) == 0 || words[0] == "HP" || words[0] == "Hp" {
		if len(words) > 0 {
			return theory.Key{Tonic: theory.Note{Letter: theory.D}}, true, nil // sharps on F and C
		}
		return theory.Key{}, named, nil
	}
	name := words[0]
	rest := words[1:]
	n := 1
	if len(name) > 1 && (name[1] == '#' || name[1] == 'b') {
		n = 2
	}
	tonic, err := theory.ParseNote(name[:n])
	if err != nil {
		return theory.Key{}, false, a.errorf("K:%s is no key; want one like Eb, F#m or Ddor", quote(s))
	}
	mode := name[n:]
	if mode == "" && len(rest) > 0 && unicode.IsLetter(rune(rest[0][0])) {
		mode, rest = rest[0], rest[1:]
	}
	k = theory.Key{Tonic: tonic}
	if len(mode) > 3 {
		mode = mode[:3]
	}
	modes := map[string]theory.Mode{"": theory.Major, "maj": theory.Major, "ion": theory.Major, "m": theory.Minor, "min": theory.Minor, "aeo": theory.Minor,
		"dor": theory.Dorian, "phr": theory.Phrygian, "lyd": theory.Lydian, "mix": theory.Mixolydian, "loc": theory.Locrian}
	m, ok := modes[strings.ToLower(mode)]
	if k.Mode = m; !ok || !k.Valid() {
		return k, false, a.errorf("K:%s is no key of at most seven sharps or flats; want one like Eb, F#m or Ddor", quote(s))
	}
	if len(rest) > 0 {
		a.leave(fmt.Sprintf("K: %s after the key is not supported and was left out", quote(strings.Join(rest, " "))))
	}
	return k, true, nil
}

// lyrics reads a w: line below the last line of music.
func (a *abcReader) lyrics(s string) error {
	v := a.current()
	if v.lines++; v.lines > 1 {
		a.leave("more than one verse: only the first one is read")
		return nil
	}
	next := 0
	put := func(word string) {
		if next < len(v.words) {
			at := v.words[next]
			notes := v.now.notes
			if at.bar < len(v.bars) {
				notes = v.bars[at.bar].notes
			}
			notes[at.note].Words = word
		}
		next++
	}
	word := ""
	c := []rune(s)
	for i := 0; i <= len(c); i++ {
		r := ' '
		if i < len(c) {
			r = c[i]
		}
		switch {
		case r == '\\' && i+1 < len(c):
			i++
			word += string(c[i])
		case r == '~':
			word += " "
		case unicode.IsSpace(r), r == '-', r == '|':
			if word != "" {
				if r == '-' {
					word += "-"
				}
				put(word)
				word = ""
			} else if r == '-' && i > 0 && c[i-1] == '-' {
				put("")
			}
		case r == '_' || r == '*':
			if word != "" {
				put(word)
				word = ""
			}
			put("")
		default:
			word += string(r)
		}
	}
	if next > len(v.words) {
		a.leave("more syllables than notes: the rest was left out")
	}
	return nil
}

// abcTempo reads a Q: field, in beats that are counted a minute; 0 where it says
// nothing.
func abcTempo(q string, m theory.Meter, unit theory.Fraction) float64 {
	if before, rest, ok := strings.Cut(q, `"`); ok { // words
		_, after, _ := strings.Cut(rest, `"`)
		q = before + after
	}
	beat, value, ok := strings.Cut(q, "=")
	if !ok {
		beat, value = "", q
	}
	perMinute, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	if err != nil || !(perMinute > 0 && perMinute < 10_000) {
		return 0
	}
	length := one
	if f, ok := abcFraction(strings.Fields(beat + " ?")[0]); ok {
		length = f.Times(four)
	} else if unit.Num > 0 {
		length = unit
	}
	return perMinute * length.Float() / engrave.Pulse(m).Float()
}
