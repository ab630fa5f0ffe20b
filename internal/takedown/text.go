package takedown

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"singback/theory"
)

// Signs of a chart as text. Each beat is one word, and parts of a beat are joined by
// dots: "do.re" are two halves.
const (
	held   = "-" // the note before goes on, or the chord
	silent = "0" // a rest
	part   = "."
)

// barsInLine is how many bars stand in a line of a chart, if they fit into lineWidth.
const (
	barsInLine = 4
	lineWidth  = 80
	notesALine = 8 // of a chart without bars
)

// Names of the lines of a chart.
const (
	bassLine  = "bass"
	tuneLine  = "tune"
	chordLine = "chords"
)

// Text writes the chart so that it can be read, mended and read again by
// [ParseChart]. chord says what chords are called; notes have their names in n, and
// the octave marks of a keyboard without small numbers. It fails where a note lies too
// many octaves from the home for a mark.
func (c Chart) Text(n theory.Naming, chord func(theory.Roman) string) (string, error) {
	var b strings.Builder
	if c.Title != "" {
		fmt.Fprintf(&b, "title: %s\n", c.Title)
	}
	fmt.Fprintf(&b, "key: %s\n", c.Key.ASCII())
	if c.Meter.Valid() {
		fmt.Fprintf(&b, "meter: %s\n", c.Meter)
	}
	if c.Tempo > 0 {
		fmt.Fprintf(&b, "tempo: %g\n", c.Tempo)
	}
	fmt.Fprintf(&b, "octave: %d\nnames: %s\n", c.Octave, n)
	lines, err := c.lines(n)
	if err != nil {
		return "", err
	}
	over := c.over(chord)
	name := bassLine
	if c.Tune {
		name = tuneLine
	}
	for len(lines) > 0 {
		k, wide := 0, len(chordLine)+2
		for ; k < len(lines) && k < barsInLine; k++ {
			w := utf8.RuneCountInString(lines[k])
			if over != nil {
				w = max(w, utf8.RuneCountInString(over[k]))
			}
			if wide += w + 3; wide > lineWidth && k > 0 {
				break
			}
		}
		var below, above strings.Builder
		fmt.Fprintf(&below, "%-*s |", len(chordLine), name)
		fmt.Fprintf(&above, "%-*s |", len(chordLine), chordLine)
		for i := range k {
			w := utf8.RuneCountInString(lines[i])
			if over != nil {
				w = max(w, utf8.RuneCountInString(over[i]))
				above.WriteString(" " + over[i] + strings.Repeat(" ", w-utf8.RuneCountInString(over[i])) + " |")
			}
			below.WriteString(" " + lines[i] + strings.Repeat(" ", w-utf8.RuneCountInString(lines[i])) + " |")
		}
		b.WriteByte('\n')
		if over != nil {
			b.WriteString(above.String() + "\n")
			over = over[k:]
		}
		b.WriteString(below.String() + "\n")
		lines = lines[k:]
	}
	return b.String(), nil
}

// bars are where bars begin and end, in beats; without a meter where lines do.
func (c Chart) bars() (at []int) {
	end := int(c.Whole().Float() + 0.999)
	step, next := notesALine, notesALine
	if c.Meter.Valid() {
		step = c.Meter.Pulses()
		if next = step; c.Start > 0 {
			next = c.Start
		}
	}
	at = []int{0}
	for ; next < end; next += step {
		at = append(at, next)
	}
	return append(at, end)
}

// lines are the notes of each bar.
func (c Chart) lines(n theory.Naming) ([]string, error) {
	parts := 1
	if c.Meter.Valid() {
		parts = divisions(c.Meter)
	}
	end := int(c.Whole().Float()*float64(parts) + 0.5)
	words := make([]string, end+parts) // what begins on each part
	for _, e := range c.Line {
		at := e.At.Num * parts / e.At.Den
		switch {
		case e.Rest:
			words[at] = silent
		case e.Unclear:
			words[at] = Unknown
		default:
			m := theory.Melody{Key: c.Key, Tones: []theory.Tone{{Degree: e.Degree, Octave: e.Octave, Length: theory.NewFraction(1, 1)}}}
			text, err := m.Text(n, true)
			if err != nil {
				return nil, err
			}
			words[at] = text
		}
	}
	bars := c.bars()
	var out []string
	for i := 1; i < len(bars); i++ {
		var beats []string
		for beat := bars[i-1]; beat < bars[i]; beat++ {
			beats = append(beats, beatWord(words[beat*parts:(beat+1)*parts]))
		}
		out = append(out, strings.Join(beats, " "))
	}
	return out, nil
}

// beatWord writes the parts of a beat, as few as will do.
func beatWord(words []string) string {
	for k := 1; ; k++ {
		if len(words)%k != 0 {
			continue
		}
		step, fits := len(words)/k, true
		for i, w := range words {
			fits = fits && (w == "" || i%step == 0)
		}
		if !fits {
			continue
		}
		var list []string
		for i := 0; i < len(words); i += step {
			if words[i] == "" {
				list = append(list, held)
			} else {
				list = append(list, words[i])
			}
		}
		return strings.Join(list, part)
	}
}

// over are the chords of each bar; nil without any.
func (c Chart) over(chord func(theory.Roman) string) (out []string) {
	if c.Chords == nil {
		return nil
	}
	bars := c.bars()
	words := make([]string, bars[len(bars)-1])
	for _, p := range c.Chords {
		at := p.At.Num / p.At.Den
		if words[at] = p.Text; p.Text == "" {
			words[at] = chord(p.Roman)
		}
	}
	for i := 1; i < len(bars); i++ {
		in := words[bars[i-1]:bars[i]]
		step := 1
		if c.Meter.Valid() { // as few words as say it
			for step = len(in); step > 1; step-- {
				fits := len(in)%step == 0
				for k, w := range in {
					fits = fits && (w == "" || k%step == 0)
				}
				if fits {
					break
				}
			}
		}
		var list []string
		for k := 0; k < len(in); k += step {
			if in[k] == "" {
				list = append(list, held)
			} else {
				list = append(list, in[k])
			}
		}
		out = append(out, strings.Join(list, " "))
	}
	return out
}
