package notation

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"singback/theory"
)

// abc reads the first tune of an ABC file (the standard, version 2.1): one voice
// with notes, rests, accidentals, ties, slurs, broken rhythm, tuplets, repeats
// and endings, changes of key, meter and note length, and words below. What it
// leaves out it warns of.
func (r *reading) abc(text string) (theory.Score, error) {
	a := &abcReader{reading: r, unit: theory.Fraction{}, tuplet: theory.Fraction{Num: 1, Den: 1}, propagate: "pitch"}
	for a.rest = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text); a.rest != "" && !a.done; a.row++ {
		var line string
		line, a.rest, _ = strings.Cut(a.rest, "\n")
		if err := a.line(line); err != nil {
			return theory.Score{}, err
		}
	}
	return a.finish()
}

// abcVoice is one voice of a tune.
type abcVoice struct {
	id     string
	names  []string
	bars   []bar
	now    bar     // that is being read
	words  []place // the notes of the last line of music, without rests
	lines  int     // lines of words below it
	slurs  int     // open
	signs  map[string]int8
	ending []int
	key    theory.Key
	meter  theory.Meter
	unit   theory.Fraction
	broken theory.Fraction // what the next note's length is multiplied by; zero: 1
}

// place is where a note of a voice stands; the bar that is being read has the
// number after the last.
type place struct{ bar, note int }

type abcReader struct {
	*reading
	rest      string // after the line that is read
	row       int
	column    int
	done      bool
	inBody    bool
	score     theory.Score
	meter     theory.Meter
	key       theory.Key
	unit      theory.Fraction // in quarter notes; zero: not said
	tuplet    theory.Fraction
	tupletN   int // notes left in the tuplet
	tempo     string
	voices    []*abcVoice
	voice     *abcVoice
	propagate string
	notes     int // and rests, of all voices
	bars      int
	skipping  bool // within %%begintext … %%endtext
	symbols   map[rune]string
	said      map[string]bool
	marks     map[string]int // the last line of each
}

func (a *abcReader) errorf(format string, args ...any) error {
	where := fmt.Sprintf("line %d", a.row+1)
	if a.column > 0 {
		where += fmt.Sprintf(", column %d", a.column)
	}
	return fmt.Errorf("%w: %s: %s", ErrNotation, where, fmt.Sprintf(format, args...))
}

func (a *abcReader) leave(what string) {
	a.warn("line %d: %s", a.row+1, what)
}

// leaveAll warns of the first thing of a kind; there may be many.
func (a *abcReader) leaveAll(kind, what string) {
	if !a.said[kind] {
		if a.said == nil {
			a.said = map[string]bool{}
		}
		a.said[kind] = true
		a.leave(what)
	}
}

// line reads one line of the file.
func (a *abcReader) line(s string) error {
	a.column = 0
	if rest, ok := strings.CutPrefix(s, "%%"); ok {
		if rest = strings.TrimSpace(rest); strings.HasPrefix(rest, "begin") || strings.HasPrefix(rest, "end") {
			a.skipping = rest[0] == 'b'
		}
		if words := strings.Fields(rest); len(words) == 2 && words[0] == "propagate-accidentals" && slices.Contains([]string{"not", "octave", "pitch"}, words[1]) {
			a.propagate = words[1]
		}
		return nil
	}
	if a.skipping {
		return nil
	}
	for i := 0; i < len(s); i++ {
		if s[i] == '%' && (i == 0 || s[i-1] != '\\') {
			if s = s[:i]; strings.TrimSpace(s) == "" {
				return nil
			}
			break
		}
	}
	if strings.TrimSpace(s) == "" {
		if a.inBody { // an empty line ends the tune
			a.done = true
			if strings.HasPrefix(a.rest, "X:") || strings.Contains(a.rest, "\nX:") {
				a.leave("there are more tunes; only the first one is read")
			}
		}
		return nil
	}
	if len(s) >= 2 && s[1] == ':' && (unicode.IsLetter(rune(s[0])) || s[0] == '+') && !(a.inBody && endsRepeat(s)) {
		return a.field(s[0], strings.TrimSpace(s[2:]))
	}
	if !a.inBody {
		return nil // text before the tune
	}
	return a.music(s)
}

// endsRepeat reports whether a line of a tune that looks like a field is a note
// or rest before a repeat sign, like "G:|2 A"; fields of those letters stand in
// the header alone.
func endsRepeat(s string) bool {
	return strings.ContainsRune("ABCDEFGabcdefgxz", rune(s[0])) && len(s) > 2 && strings.ContainsRune("|:]", rune(s[2]))
}

// field reads an information field, in the header, the body or inline.
func (a *abcReader) field(name byte, value string) error {
	switch name {
	case 'X':
		if a.inBody {
			a.done = true
			a.leave("there are more tunes; only the first one is read")
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
		f = f.Times(theory.Fraction{Num: 4, Den: 1})
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
			a.inBody, a.key = true, k
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
		letter, meaning, ok := strings.Cut(value, "=")
		letter = strings.TrimSpace(letter)
		if r := []rune(letter); !ok || len(r) != 1 || !isSymbol(r[0]) {
			a.leave(fmt.Sprintf("U: %s defines no symbol: want one of the letters H to W, h to w or ~, like T = !trill!; it was left out", quote(value)))
		} else {
			if a.symbols == nil {
				a.symbols = map[rune]string{}
			}
			a.symbols[r[0]] = strings.TrimSpace(meaning)
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

// setVoice turns to a voice.
func (a *abcReader) setVoice(value string) {
	id, rest, _ := strings.Cut(value, " ")
	if id == "" {
		id = "1"
	}
	for _, v := range a.voices {
		if v.id == id {
			a.voice = v
			return
		}
	}
	v := a.newVoice(id)
	for _, key := range []string{"transpose=", "octave="} {
		if strings.Contains(rest, key) {
			a.leave(fmt.Sprintf("V: %s is not supported: voice %s is read as written", key, quote(id)))
		}
	}
	for _, key := range []string{"name=", "nm="} {
		if _, after, ok := strings.Cut(rest, key); ok {
			if after, ok = strings.CutPrefix(after, `"`); ok {
				after, _, _ = strings.Cut(after, `"`)
			} else {
				after, _, _ = strings.Cut(after, " ")
			}
			v.names = append(v.names, after)
		}
	}
}

// maxVoices bounds the voices of a tune.
const maxVoices = 64

func (a *abcReader) newVoice(id string) *abcVoice {
	if len(a.voices) >= maxVoices {
		a.leave(fmt.Sprintf("more than %d voices: the rest was left out", maxVoices))
		a.voice = &abcVoice{id: id, key: a.key, meter: a.meter}
		return a.voice
	}
	v := &abcVoice{id: id}
	a.voices = append(a.voices, v)
	a.voice = v
	return v
}

// current returns the voice that is read, the first one where none was named.
func (a *abcReader) current() *abcVoice {
	if a.voice == nil {
		if len(a.voices) > 0 {
			a.voice = a.voices[0]
		} else {
			a.newVoice("1")
		}
	}
	v := a.voice
	if v.unit == (theory.Fraction{}) {
		v.key, v.meter, v.unit = a.key, a.meter, a.unit
		if v.unit == (theory.Fraction{}) { // the standard's default
			v.unit = theory.Fraction{Num: 1, Den: 2}
			if v.meter.Valid() && v.meter.Bar().Less(theory.Fraction{Num: 3, Den: 1}) {
				v.unit = theory.Fraction{Num: 1, Den: 4}
			}
		}
		v.now = bar{key: v.key, meter: v.meter}
	}
	return v
}

// music reads a line of music.
func (a *abcReader) music(s string) error {
	v := a.current()
	v.words, v.lines = v.words[:0], 0
	c := []rune(s)
	for i := 0; i < len(c); {
		a.column = i + 1
		n, err := a.symbol(c, i)
		if err != nil {
			return err
		}
		i += n
	}
	return nil
}

// until returns the index of r in c from i on, or an error.
func (a *abcReader) until(c []rune, i int, r rune) (int, error) {
	for j := i; j < len(c); j++ {
		if c[j] == r {
			return j, nil
		}
	}
	return 0, a.errorf("%q is missing after %q", r, c[i-1])
}

// symbol reads what begins at c[i] and returns how many characters it took.
func (a *abcReader) symbol(c []rune, i int) (int, error) {
	v := a.current()
	at := func(j int) rune {
		if j < len(c) {
			return c[j]
		}
		return 0
	}
	switch r := c[i]; {
	case unicode.IsSpace(r), r == '\\', r == '`', r == '$', r == '.':
		return 1, nil
	case r == 'y': // space, so wide
		_, used := number(c, i+1)
		return 1 + used, nil
	case r == '"':
		end, err := a.until(c, i+1, '"')
		if err == nil {
			a.mark(string(c[i : end+1]))
		}
		return end + 1 - i, err
	case r == '!' || r == '+':
		end := i + 1
		for end < len(c) && c[end] != r && !unicode.IsSpace(c[end]) && c[end] != '|' {
			end++
		}
		if n := slices.Index(c[i+1:], r); n > 0 && jumps(string(c[i+1:i+1+n])) { // D.C. al fine, with spaces
			end = i + 1 + n
		}
		if end == len(c) || c[end] != r { // once the end of a printed line
			a.leave(fmt.Sprintf("%q without another one behind it was left out", r))
			return 1, nil
		}
		a.mark(string(c[i : end+1]))
		return end + 1 - i, nil
	case isSymbol(r):
		a.symbolOf(r)
		return 1, nil
	case strings.ContainsRune("#*;?@", r):
		a.leave(fmt.Sprintf("%q means nothing in ABC yet and was left out", r))
		return 1, nil
	case r == '\'' || r == ',':
		a.leave(fmt.Sprintf("%q without a note right before it was left out", r))
		return 1, nil
	case r == '{':
		end, err := a.until(c, i+1, '}')
		a.leave("grace notes were left out")
		return end + 1 - i, err
	case r == '&':
		a.leave("a second voice in the bar (&) was left out")
		end := i + 1
		for end < len(c) && c[end] != '|' {
			end++
		}
		return end - i, nil
	case r == '[' && i+2 < len(c) && c[i+2] == ':' && unicode.IsLetter(c[i+1]):
		end, err := a.until(c, i+1, ']')
		if err != nil {
			return 0, err
		}
		return end + 1 - i, a.field(byte(c[i+1]), strings.TrimSpace(string(c[i+3:end])))
	case r == '[' && textEnding(c, i) > 0:
		n := textEnding(c, i)
		return n, a.beginTextEnding(string(c[i+2 : i+n-1]))
	case r == '|', r == ':', r == '[' && (at(i+1) == '|' || at(i+1) >= '1' && at(i+1) <= '9'):
		return a.barLine(c, i)
	case r == '(' && unicode.IsDigit(at(i+1)):
		return a.openTuplet(c, i)
	case r == '(':
		v.slurs++
		return 1, nil
	case r == ')':
		if v.slurs == 0 {
			a.leave("a slur ends that was not begun: it was left out")
			return 1, nil
		}
		v.slurs--
		if last := v.last(); last != nil {
			last.Slur = v.slurs > 0
		}
		return 1, nil
	case r == '-':
		if last := v.last(); last != nil && !last.Rest {
			last.tied = true
			return 1, nil
		}
		a.leave("a tie without a note before it was left out")
		return 1, nil
	case r == '<' || r == '>':
		n := 1
		for at(i+n) == r {
			n++
		}
		last := v.last()
		if n > 3 || last == nil {
			return 0, a.errorf("broken rhythm needs a note before it, and at most three signs")
		}
		short := theory.Fraction{Num: 1, Den: 1 << n}
		long := theory.Fraction{Num: 2, Den: 1}.Minus(short)
		if r == '<' {
			short, long = long, short
		}
		last.Length, v.broken = last.Length.Times(long), short
		return n, a.sound(last.Length)
	case r == '[':
		end, err := a.until(c, i+1, ']')
		if err != nil {
			return 0, err
		}
		a.leave("of a chord only its highest note is read")
		return a.chord(c, i, end)
	case r == 'Z' || r == 'X':
		n, used := number(c, i+1)
		if used == 0 {
			n = 1
		}
		if !v.meter.Valid() || n < 1 || n > maxBars {
			return 0, a.errorf("a rest of %d bars without a meter, or too long", n)
		}
		for j := range n {
			if j > 0 {
				if err := a.closeBar(v); err != nil {
					return 0, err
				}
			}
			if err := a.put(note{Written: theory.Written{Rest: true, Length: v.meter.Bar()}}); err != nil {
				return 0, err
			}
		}
		return 1 + used, nil
	case strings.ContainsRune("^_=ABCDEFGabcdefgzx", r):
		n, used, err := a.note(c, i)
		if err == nil {
			err = a.add(n)
		}
		return used, err
	default:
		return 0, a.errorf("%q is no sign of ABC that is supported here", r)
	}
}

// last returns the last note of the voice.
func (v *abcVoice) last() *note {
	if n := len(v.now.notes); n > 0 {
		return &v.now.notes[n-1]
	}
	if n := len(v.bars); n > 0 {
		if m := len(v.bars[n-1].notes); m > 0 {
			return &v.bars[n-1].notes[m-1]
		}
	}
	return nil
}

// number reads digits.
func number(c []rune, i int) (n, used int) {
	for i+used < len(c) && c[i+used] >= '0' && c[i+used] <= '9' && used < 5 {
		n = 10*n + int(c[i+used]-'0')
		used++
	}
	return n, used
}

// note reads a note or a rest.
func (a *abcReader) note(c []rune, i int) (note, int, error) {
	v := a.current()
	start := i
	alter, explicit := int8(0), false
	for i < len(c) && (c[i] == '^' || c[i] == '_' || c[i] == '=') {
		explicit = true
		switch c[i] {
		case '^':
			alter++
		case '_':
			alter--
		}
		if i++; i-start > 2 {
			return note{}, 0, a.errorf("an accidental of more than two signs")
		}
	}
	if i >= len(c) || !strings.ContainsRune("ABCDEFGabcdefgzx", c[i]) {
		if i < len(c) && (c[i] == '/' || unicode.IsDigit(c[i])) {
			return note{}, 0, a.errorf("quarter tones are not supported")
		}
		return note{}, 0, a.errorf("an accidental without a note")
	}
	var n note
	r := c[i]
	i++
	if n.Rest = r == 'z' || r == 'x'; !n.Rest {
		octave := 4
		if unicode.IsLower(r) {
			octave = 5
		}
		letter := theory.Letter(strings.IndexRune("CDEFGAB", unicode.ToUpper(r)))
		for ; i < len(c) && (c[i] == '\'' || c[i] == ','); i++ {
			if octave++; c[i] == ',' {
				octave -= 2
			}
		}
		if octave < -2 || octave > 10 { // B sharp -2 is the lowest note of MIDI
			return note{}, 0, a.errorf("the note lies out of range")
		}
		keep := fmt.Sprint(letter)
		if a.propagate == "octave" {
			keep = fmt.Sprint(letter, octave)
		}
		if v.signs == nil {
			v.signs = map[string]int8{}
		}
		if !explicit {
			var ok bool
			if alter, ok = v.signs[keep]; !ok {
				alter = own(v.key, letter)
				// A note that is tied over from the bar before keeps its accidental.
				if last := v.last(); last != nil && last.tied && len(v.now.notes) == 0 && last.Pitch.Letter == letter && last.Pitch.Octave == octave {
					alter = last.Pitch.Alter
				}
			}
		} else if a.propagate != "not" {
			v.signs[keep] = alter
		}
		n.Pitch = theory.Pitch{Note: theory.Note{Letter: letter, Alter: alter}, Octave: octave}
	}
	length, used, err := a.length(c, i)
	if err != nil {
		return n, 0, err
	}
	n.Length = length.Times(v.unit)
	return n, i + used - start, nil
}

// length reads a multiple of the unit.
func (a *abcReader) length(c []rune, i int) (theory.Fraction, int, error) {
	start := i
	num, used := number(c, i)
	if used == 0 {
		num = 1
	}
	i += used
	den := 1
	for i < len(c) && c[i] == '/' {
		i++
		d, used := number(c, i)
		if used == 0 {
			d = 2
		}
		if i += used; d < 1 || den*d > 512 {
			return theory.Fraction{}, 0, a.errorf("a length divided by more than 512, or by nothing")
		}
		den *= d
	}
	if num < 1 || num > 4096 {
		return theory.Fraction{}, 0, a.errorf("a length of %d is out of range", num)
	}
	return theory.NewFraction(num, den), i - start, nil
}

// chord reads the highest note of [CEG].
func (a *abcReader) chord(c []rune, i, end int) (int, error) {
	var best note
	found := false
	v := a.current()
	for j := i + 1; j < end; {
		if !strings.ContainsRune("^_=ABCDEFGabcdefg", c[j]) {
			switch from := j; c[j] {
			case '!', '"': // a sign or words within the chord, with letters in them
				for j++; j < end && c[j] != c[from]; j++ {
				}
				a.mark(string(c[from:min(j+1, end)]))
			case '(':
				v.slurs++
			case ')':
				v.slurs = max(0, v.slurs-1)
			}
			j++
			continue
		}
		n, used, err := a.note(c[:end], j)
		if err != nil {
			return 0, err
		}
		if !found || n.Pitch.MIDI() > best.Pitch.MIDI() {
			best, found = n, true
		}
		if j += used; j < end && c[j] == '-' {
			best.tied = true
		}
	}
	if !found {
		return 0, a.errorf("a chord without notes")
	}
	f, used, err := a.length(c, end+1)
	if err != nil {
		return 0, err
	}
	best.Length = best.Length.Times(f)
	return end + 1 - i + used, a.add(best)
}

// add puts a note into the bar.
func (a *abcReader) add(n note) error {
	v := a.current()
	if a.tupletN > 0 {
		a.tupletN--
		n.Length = n.Length.Times(a.tuplet)
	}
	if v.broken.Num > 0 {
		n.Length, v.broken = n.Length.Times(v.broken), theory.Fraction{}
	}
	if err := a.sound(n.Length); err != nil {
		return err
	}
	if !n.Rest {
		n.Slur = v.slurs > 0
		v.words = append(v.words, place{len(v.bars), len(v.now.notes)})
	}
	return a.put(n)
}

// maxNotes bounds the notes and rests of all voices; a line has fewer.
const maxNotes = 5 * theory.MaxScoreNotes

// put puts a note or rest into the bar as it is.
func (a *abcReader) put(n note) error {
	if a.notes++; a.notes > maxNotes {
		return a.errorf("more than %d notes and rests", maxNotes)
	}
	v := a.current()
	v.now.notes = append(v.now.notes, n)
	return nil
}

// sound refuses lengths that are not kept exactly.
func (a *abcReader) sound(f theory.Fraction) error {
	if 960%f.Den != 0 || f.Num > 1<<20 {
		return a.errorf("a length of %s quarter notes; only halves, thirds and fifths and their halves are supported", f)
	}
	return nil
}

// openTuplet reads (p:q:r.
func (a *abcReader) openTuplet(c []rune, i int) (int, error) {
	var part [3]int
	start := i
	i++
	for k := range part {
		if k > 0 {
			if i >= len(c) || c[i] != ':' {
				break
			}
			i++
		}
		n, used := number(c, i)
		part[k] = n
		i += used
	}
	p, q, n := part[0], part[1], part[2]
	compound := a.current().meter.Compound()
	if q == 0 {
		switch p {
		case 2, 4, 8:
			q = 3
		case 3, 6:
			q = 2
		default:
			if q = 2; compound {
				q = 3
			}
		}
	}
	if n == 0 {
		n = p
	}
	if p < 2 || p > 15 || q < 1 || q > 15 || n > 64 {
		return 0, a.errorf("a tuplet of %d in the time of %d", p, q)
	}
	a.tuplet, a.tupletN = theory.NewFraction(q, p), n
	return i - start, nil
}

// closeBar ends the bar being read and begins the next.
func (a *abcReader) closeBar(v *abcVoice) error {
	if len(v.now.notes) > 0 || v.now.repeatStart || v.now.repeatEnd > 0 {
		v.now.name = fmt.Sprintf("line %d, bar %d", a.row+1, len(v.bars)+1)
		v.now.endings = v.ending
		v.bars = append(v.bars, v.now)
		if a.bars++; len(v.bars) > maxBars || a.bars > 3*maxBars {
			return a.errorf("more than %d bars, or %d in all voices", maxBars, 3*maxBars)
		}
	}
	v.now = bar{key: v.key, meter: v.meter}
	v.signs = nil
	return nil
}

// barLine reads |, ||, |], [|, |:, :|, ::, |1, [2 …
func (a *abcReader) barLine(c []rune, i int) (int, error) {
	v := a.current()
	at := func(j int) rune {
		if j < len(c) {
			return c[j]
		}
		return 0
	}
	start := i
	before, after, strong := 0, 0, false
	lines := 0
	for ; i < len(c) && strings.ContainsRune("|:[]", c[i]); i++ {
		switch c[i] {
		case ':':
			if lines == 0 && !(i == start && i+1 < len(c) && c[i+1] == ':') {
				before++
			} else if lines == 0 {
				before++
			} else {
				after++
			}
		case '|':
			lines++
			if lines > 1 {
				strong = true
			}
		case '[':
			if i+1 < len(c) && c[i+1] != '|' && !(c[i+1] >= '1' && c[i+1] <= '9') {
				goto end // a chord or a field after the bar line
			}
			strong = strong || lines == 0 && i+1 < len(c) && c[i+1] == '|'
		case ']':
			strong = true
		}
	}
end:
	if lines == 0 && before == 2 { // ::
		before, after = 1, 1
	}
	if before > 0 {
		v.now.repeatEnd = before + 1
	}
	if len(v.now.notes) == 0 && before > 0 && len(v.bars) > 0 {
		v.bars[len(v.bars)-1].repeatEnd = before + 1
		v.now.repeatEnd = 0
	}
	if before > maxPasses {
		return 0, a.errorf("a repeat of %d times; want at most %d", before+1, maxPasses)
	}
	if start < i && (lines > 0 || before > 0) {
		if err := a.closeBar(v); err != nil {
			return 0, err
		}
		v.now.repeatStart, v.now.fresh = after > 0, strong
	}
	if before > 0 || after > 0 || strong {
		v.ending = nil
	}
	// Endings: 1, 1,3, 1-2.
	from := i
	for isDigit(at(i)) || i > from && (at(i) == ',' || at(i) == '-') && isDigit(at(i+1)) {
		i++
	}
	if i > from {
		endings, err := passes(string(c[from:i]))
		if err != nil {
			return 0, a.errorf("%v", err)
		}
		if err := a.beginEnding(endings); err != nil {
			return 0, err
		}
	}
	if i == start {
		return 0, a.errorf("%q is no bar line", c[i])
	}
	return i - start, nil
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

// textEnding returns how many characters ["1" takes, an ending with its passes
// in words; 0 where no ending begins at c[i] but a chord, like ["Am"CE].
func textEnding(c []rune, i int) int {
	if i+1 >= len(c) || c[i+1] != '"' {
		return 0
	}
	end := slices.Index(c[i+2:], '"')
	if end < 0 {
		return 0
	}
	if end += i + 2; !isDigit(c[i+2]) {
		for _, r := range c[end+1:] {
			if r == ']' {
				return 0
			}
			if unicode.IsSpace(r) || r == '|' || r == ':' {
				break
			}
		}
	}
	return end + 1 - i
}

// beginTextEnding begins an ending with its passes in words: those in it, or the
// one after those that went before.
func (a *abcReader) beginTextEnding(text string) error {
	v := a.current()
	endings, err := passes(text)
	if err != nil {
		last := 0
		for _, pass := range v.ending {
			last = max(last, pass)
		}
		for i := len(v.bars) - 1; i >= 0 && v.bars[i].endings != nil; i-- {
			last = max(last, slices.Max(v.bars[i].endings))
		}
		if last++; last > maxPasses {
			return a.errorf("an ending for pass %d; want 1 to %d", last, maxPasses)
		}
		endings = []int{last}
		a.leave(fmt.Sprintf("the ending %s is read as the one of pass %d", quote(text), endings[0]))
	}
	return a.beginEnding(endings)
}

// beginEnding begins an ending here, which may be within a bar: accidentals hold
// on.
func (a *abcReader) beginEnding(passes []int) error {
	v := a.current()
	signs := v.signs
	if err := a.closeBar(v); err != nil {
		return err
	}
	v.signs, v.ending = signs, passes
	return nil
}

// isSymbol reports whether r can stand for a sign before a note: by the standard
// one that U: defines, some with a meaning where it does not.
func isSymbol(r rune) bool {
	return r == '~' || r >= 'H' && r <= 'W' || r >= 'h' && r <= 'w'
}

// symbolOf leaves out a sign that is one letter.
func (a *abcReader) symbolOf(r rune) {
	meaning, ok := a.symbols[r]
	switch {
	case ok:
		a.mark(meaning)
	case r == 'S':
		a.mark("!segno!")
	case r == 'O':
		a.mark("!coda!")
	case !strings.ContainsRune("~HLMPTuv", r):
		a.leaveAll("symbol "+string(r), fmt.Sprintf("the symbol %q, which no U: before it defines, was left out, here and below", r))
	}
}

// mark leaves out what stands in quotes or other signs before a note, and says
// so where the line is another one without it.
func (a *abcReader) mark(s string) {
	if row, ok := a.marks[s]; ok && row == a.row {
		return // said for this line
	}
	if a.marks == nil {
		a.marks = map[string]int{}
	}
	a.marks[s] = a.row
	text := strings.Trim(s, "!+\"")
	switch {
	case jumps(text):
		a.leave(fmt.Sprintf("%s is not followed: the bars are read in the order they are written", quote(text)))
	case s[0] != '"' || strings.TrimSpace(text) == "":
	case strings.ContainsRune("^_<>@", rune(text[0])):
		a.leaveAll("words", "words above and below the notes, like "+quote(text)+", were left out, here and below")
	default:
		a.leaveAll("chords", "chord symbols, like "+quote(text)+", were left out, here and below")
	}
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

// finish chooses the voice and makes the line.
func (a *abcReader) finish() (theory.Score, error) {
	a.column = 0
	if !a.inBody {
		return a.score, fmt.Errorf("%w: the tune has no K: field, which ends its header", ErrNotation)
	}
	for _, v := range a.voices {
		if err := a.closeBar(v); err != nil {
			return a.score, err
		}
	}
	var sources []source
	for _, v := range a.voices {
		sources = append(sources, source{append([]string{v.id}, v.names...), slices.ContainsFunc(v.bars, bar.sings)})
	}
	i, err := a.choose("voice", a.options.Voice, sources)
	if err != nil {
		return a.score, err
	}
	chosen := a.voices[i]
	s, err := a.reading.line(a.score, chosen.bars)
	if err == nil {
		s.Tempo = abcTempo(a.tempo, s.Meter, a.unit)
	}
	return s, err
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
	length := theory.Fraction{Num: 1, Den: 1}
	if f, ok := abcFraction(strings.Fields(beat + " ?")[0]); ok {
		length = f.Times(theory.Fraction{Num: 4, Den: 1})
	} else if unit.Num > 0 {
		length = unit
	}
	pulse := theory.Fraction{Num: 1, Den: 1}
	if m.Valid() {
		pulse = m.Pulse()
	}
	return perMinute * length.Float() / pulse.Float()
}
