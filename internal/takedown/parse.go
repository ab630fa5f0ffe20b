package takedown

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"singback/theory"
)

// ErrChart is wrapped by every error about a chart that could not be read.
var ErrChart = errors.New("not a chart")

// MaxChart is the longest chart that is read, in bytes.
const MaxChart = 1 << 20

// usualOctave is that of the home where a chart does not say it.
const usualOctave = 3

// maxWord is the longest name of a note, in bytes.
const maxWord = 24

// IsChart tells whether a text looks like a chart: it says its key, and has a line of
// notes.
func IsChart(text string) bool {
	key, notes := false, false
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		key = key || strings.HasPrefix(line, "key:")
		head, _, _ := strings.Cut(line, "|")
		head = strings.TrimSpace(head)
		notes = notes || head == bassLine || head == tuneLine
	}
	return key && notes
}

// ParseChart reads what [Chart.Text] writes, as it was or mended: heads (title, key,
// meter, tempo, octave, names), then lines of notes and of chords in bars. A # and a
// blank behind it, or at the start of a line, begin a remark. Chords are numerals,
// numbers or symbols, as theory.ParseSymbol reads them. Of the beats of a bar each has
// a word, or as many as divide it evenly. An error says the line.
func ParseChart(text string) (Chart, theory.Naming, error) {
	r := &chartReader{c: Chart{Octave: usualOctave}}
	if len(text) > MaxChart {
		return Chart{}, 0, fmt.Errorf("%w: more than %d KiB", ErrChart, MaxChart>>10)
	}
	for i, line := range strings.Split(text, "\n") {
		line = bare(strings.TrimSpace(line))
		if line == "" {
			continue
		}
		if err := r.line(line); err != nil {
			return Chart{}, 0, fmt.Errorf("%w: line %d: %w", ErrChart, i+1, err)
		}
	}
	if !r.keyed {
		return Chart{}, 0, fmt.Errorf("%w: the key is missing: want a line like \"key: Bb major\"", ErrChart)
	}
	if err := r.end(); err != nil {
		return Chart{}, 0, fmt.Errorf("%w: %w", ErrChart, err)
	}
	return r.c, r.naming, nil
}

// bare is a line without its remark. A # inside a word, or before one, is a sharp.
func bare(line string) string {
	blank := func(i int) bool { return i < 0 || i >= len(line) || line[i] == ' ' || line[i] == '\t' }
	for i := range len(line) {
		if line[i] == '#' && blank(i-1) && (i == 0 || blank(i+1)) {
			return strings.TrimSpace(line[:i])
		}
	}
	return line
}

// chartReader reads a chart line by line.
type chartReader struct {
	c      Chart
	naming theory.Naming
	keyed  bool
	begun  bool // a line of notes or chords was read

	beats  []string // of the notes
	barsOf []int    // beats of each bar of notes
	chords []Placed
	overOf []int // words of each bar of chords
}

// line reads one line that is not empty.
func (r *chartReader) line(line string) error {
	head, rest, ok := strings.Cut(line, "|")
	switch name := strings.ToLower(strings.TrimSpace(head)); {
	case ok && (name == bassLine || name == tuneLine):
		if r.begun && len(r.beats) > 0 && r.c.Tune != (name == tuneLine) {
			return fmt.Errorf("a chart has either a bass or a tune")
		}
		r.c.Tune = name == tuneLine
		return r.notes(rest)
	case ok && name == chordLine:
		return r.chordsOf(rest)
	}
	name, value, ok := strings.Cut(line, ":")
	if !ok {
		return fmt.Errorf("%q: want a head like \"key: Bb major\", or notes or chords in bars behind %q or %q", short(line), bassLine+" |", chordLine+" |")
	}
	if r.begun {
		return fmt.Errorf("%q stands behind the first notes: heads come first", short(name))
	}
	return r.head(strings.ToLower(strings.TrimSpace(name)), strings.TrimSpace(value))
}

// head reads a head.
func (r *chartReader) head(name, value string) (err error) {
	switch name {
	case "title":
		r.c.Title = strings.ToValidUTF8(value, "?")
	case "key":
		r.c.Key, err = theory.ParseKey(value)
		r.keyed = err == nil
	case "meter":
		r.c.Meter, err = theory.ParseMeter(value)
	case "tempo":
		r.c.Tempo, err = strconv.ParseFloat(value, 64)
		if err != nil || !(r.c.Tempo >= MinTempo && r.c.Tempo <= MaxTempo) {
			err = fmt.Errorf("tempo: %q: want %g to %g beats a minute", short(value), MinTempo, MaxTempo)
		}
	case "octave":
		r.c.Octave, err = strconv.Atoi(value)
		if err != nil || r.c.Octave < 0 || r.c.Octave > 7 {
			err = fmt.Errorf("octave: %q: want that of the home, 0 to 7, where 4 begins at middle C", short(value))
		}
	case "names":
		r.naming, err = theory.ParseNaming(value)
	default:
		err = fmt.Errorf("%q is no head of a chart: want title, key, meter, tempo, octave or names", short(name))
	}
	return err
}

// cut divides a line into bars and their words.
func cut(rest string) (bars [][]string) {
	rest = strings.TrimSuffix(strings.TrimSpace(rest), "|")
	for bar := range strings.SplitSeq(rest, "|") {
		bars = append(bars, strings.Fields(bar))
	}
	return bars
}

// begin is called before the first notes or chords.
func (r *chartReader) begin() error {
	if !r.keyed {
		return fmt.Errorf("the key is missing before the first notes: want a line like \"key: Bb major\"")
	}
	r.begun = true
	return nil
}

// notes reads a line of notes.
func (r *chartReader) notes(rest string) error {
	if err := r.begin(); err != nil {
		return err
	}
	for _, bar := range cut(rest) {
		if len(bar) == 0 {
			return fmt.Errorf("a bar without notes: want %q for a rest", silent)
		}
		if r.c.Meter.Valid() && len(bar) > r.c.Meter.Pulses() {
			return fmt.Errorf("bar %d has %d beats, and a bar of %s has %d", len(r.barsOf)+1, len(bar), r.c.Meter, r.c.Meter.Pulses())
		}
		r.beats = append(r.beats, bar...)
		r.barsOf = append(r.barsOf, len(bar))
		if len(r.beats) > MaxBeats {
			return fmt.Errorf("more than %d beats", MaxBeats)
		}
		for _, word := range bar {
			if err := r.beat(word); err != nil {
				return fmt.Errorf("bar %d: %w", len(r.barsOf), err)
			}
		}
	}
	return nil
}

// beat reads the word of a beat.
func (r *chartReader) beat(word string) error {
	all := divisions(r.c.Meter)
	if !r.c.Meter.Valid() {
		all = 1
	}
	words := strings.Split(word, part)
	if all%len(words) != 0 {
		return fmt.Errorf("%q: a beat has at most %d parts, and as many as divide it evenly", short(word), all)
	}
	for _, w := range words {
		length := theory.NewFraction(1, len(words))
		at := r.c.Whole()
		e := Event{At: at, Length: length, Note: -1}
		switch w {
		case held:
			if k := len(r.c.Line) - 1; k >= 0 {
				r.c.Line[k].Length = r.c.Line[k].Length.Plus(length)
				continue
			}
			return fmt.Errorf("%q at the start: there is no note that goes on", held)
		case silent:
			e.Rest = true
		case Unknown:
			e.Unclear = true
		default:
			if len(w) > maxWord {
				return fmt.Errorf("%q is no name of a note", short(w))
			}
			m, err := theory.ParseMelody(w, r.c.Key, r.naming)
			if err != nil || len(m.Tones) != 1 || m.Tones[0].Rest || m.Tones[0].Length != theory.NewFraction(1, 1) || m.Key != r.c.Key || m.Tones[0].Slur || m.Accents != nil {
				return fmt.Errorf("%q is no note: want a name like %q, %q for one that goes on, %q for a rest, %q for what is not known", short(w),
					r.naming.NameASCII(r.c.Key, theory.Degree{Step: 5}), held, silent, Unknown)
			}
			e.Degree, e.Octave = m.Tones[0].Degree, m.Tones[0].Octave
		}
		r.c.Line = append(r.c.Line, e)
	}
	return nil
}

// chordsOf reads a line of chords.
func (r *chartReader) chordsOf(rest string) error {
	if err := r.begin(); err != nil {
		return err
	}
	var words []string
	var at []int // index in r.chords
	for _, bar := range cut(rest) {
		// Whose bars say how long a bar is, is known only at the end: keep the words.
		r.overOf = append(r.overOf, len(bar))
		for _, w := range bar {
			p := Placed{}
			switch {
			case w == held, w == Unknown:
				p.Text = w
			case (theory.ChordSymbol{Text: w}).Silent():
				p.Text = NoChord
			default:
				words, at = append(words, w), append(at, len(r.chords))
			}
			r.chords = append(r.chords, p)
		}
		if len(bar) == 0 {
			return fmt.Errorf("a bar without chords: want %q where the chord goes on", held)
		}
		if len(r.chords) > MaxBeats {
			return fmt.Errorf("more than %d chords", MaxBeats)
		}
	}
	list, err := theory.ParseSymbols(words, r.c.Key)
	if err != nil {
		return err
	}
	for i, roman := range list {
		r.chords[at[i]].Roman = roman
	}
	return nil
}

// end puts chords in their places, and checks that bars are whole.
func (r *chartReader) end() error {
	c := &r.c
	if len(r.beats) == 0 {
		return fmt.Errorf("it has no notes: want a line like \"bass | do - sol, - |\"")
	}
	if c.Meter.Valid() {
		pulses := c.Meter.Pulses()
		for i, n := range r.barsOf {
			if n == pulses {
				continue
			}
			if i > 0 && i < len(r.barsOf)-1 {
				return fmt.Errorf("bar %d has %d beats, and a bar of %s has %d", i+1, n, c.Meter, pulses)
			}
			if i == 0 && len(r.barsOf) > 1 {
				c.Start = n
			}
		}
	}
	if len(r.overOf) == 0 {
		return nil
	}
	if len(r.overOf) != len(r.barsOf) {
		return fmt.Errorf("%d bars of notes and %d of chords", len(r.barsOf), len(r.overOf))
	}
	beat := 0
	k := 0
	c.Chords = []Placed{}
	for i, words := range r.overOf {
		long := r.barsOf[i]
		if long%words != 0 {
			return fmt.Errorf("bar %d: %d chords do not divide %d beats evenly: want a word for each beat, %q where the chord goes on", i+1, words, long, held)
		}
		for w := range words {
			p := r.chords[k]
			k++
			if p.Text == held {
				continue
			}
			p.At = theory.NewFraction(beat+w*long/words, 1)
			c.Chords = append(c.Chords, p)
		}
		beat += long
	}
	return nil
}
