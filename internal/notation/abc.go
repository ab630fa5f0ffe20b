package notation

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"singback/theory"
)

// abc reads the first tune of an ABC file (the standard, version 2.1): one voice
// with notes, rests, accidentals, ties, slurs, broken rhythm, tuplets, repeats
// and endings, changes of key, meter and note length, chord symbols above and words
// below. What it leaves out it warns of.
func (r *reading) abc(text string) (theory.Score, error) {
	a, err := r.abcTune(text)
	if err != nil {
		return theory.Score{}, err
	}
	return a.finish()
}

// abcTune reads all voices of the first tune, or of that which is asked for.
func (r *reading) abcTune(text string) (*abcReader, error) {
	text, err := chosen(text, r.options.Tune)
	if err != nil {
		return nil, err
	}
	a := &abcReader{reading: r, unit: theory.Fraction{}, tuplet: one, propagate: "pitch"}
	for a.rest = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text); a.rest != "" && !a.done; a.row++ {
		var line string
		line, a.rest, _ = strings.Cut(a.rest, "\n")
		if err := a.line(line); err != nil {
			return nil, err
		}
	}
	a.column = 0
	if !a.inBody {
		return nil, fmt.Errorf("%w: the tune has no K: field, which ends its header", ErrNotation)
	}
	for _, v := range a.voices {
		if err := a.closeBar(v); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// abcVoice is one voice of a tune.
type abcVoice struct {
	id     string
	names  []string
	clef   string // "" where none is said
	over2  bool   // it has a second voice behind an &
	bars   []bar
	now    bar     // that is being read
	over   []above // chord symbols of the bar that is being read
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

// above is a chord symbol before a note of the bar that is being read.
type above struct {
	note   int
	symbol theory.ChordSymbol
}

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
	clef      string // said with the key
	skipping  bool   // within %%begintext … %%endtext
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
				a.leave(moreTunes)
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
	v.clef = abcClef(rest)
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

// finish chooses the voice and makes the line.
func (a *abcReader) finish() (theory.Score, error) {
	var sources []source
	for _, v := range a.voices {
		sources = append(sources, source{append([]string{v.id}, v.names...), slices.ContainsFunc(v.bars, a.options.heard)})
	}
	i, err := a.choose("voice", a.options.Voice, sources)
	if err != nil {
		return a.score, err
	}
	return a.lineOf(a.voices[i], a.voices[i].bars)
}

// lineOf makes the line of a voice from bars of it.
func (a *abcReader) lineOf(chosen *abcVoice, bars []bar) (theory.Score, error) {
	for _, c := range chosen.over {
		a.warn("the chord symbol %s behind the last note was left out", quote(c.symbol.ASCII()))
	}
	s, err := a.reading.line(a.score, bars)
	if err == nil {
		s.Tempo = abcTempo(a.tempo, s.Meter, a.unit)
	}
	return s, err
}
