package report

import (
	"fmt"
	"strings"

	"singback/theory"
)

// Chord names a chord of a key for a program.
type Chord struct {
	Numeral string   `json:"numeral"` // "V65/V", "viio7", "ii/o65" (RomanText's sign for ø)
	Counted string   `json:"counted"` // the key that the numeral is counted in
	Number  string   `json:"number"`  // as number charts have it, counted in the key of the piece: "67/#1"
	Chord   string   `json:"chord"`   // the symbol: "A7/C#"
	Notes   []string `json:"notes"`   // from the bass up
	// Spelled is the chord as the rules of harmony spell it, and Note says so,
	// where that cannot be read and the fields above have what sounds the same;
	// else both are null.
	Spelled *Spelled `json:"spelled"`
	Note    *string  `json:"note"`
}

// Spelled is a chord as the rules of harmony spell it.
type Spelled struct {
	Numeral string   `json:"numeral"`
	Counted string   `json:"counted"`
	Number  string   `json:"number"`
	Chord   string   `json:"chord"`
	Notes   []string `json:"notes"`
}

// NewChord describes a chord, as it is written for people.
func NewChord(r theory.Roman) Chord {
	numeral := r.Readable()
	_, number := r.ReadableNumber()
	c := Chord{Numeral: numeral.ASCII(), Counted: numeral.Local.Readable().ASCII(), Number: number, Chord: r.Chord.Readable().ASCII()}
	exact := Spelled{Numeral: r.ASCII(), Counted: r.Local.ASCII(), Number: r.NumberASCII(), Chord: r.Chord.ASCII()}
	read := respelling(r.Chord)
	for _, n := range r.Chord.Notes() {
		c.Notes = append(c.Notes, read(theory.Pitch{Note: n}).Note.ASCII())
		exact.Notes = append(exact.Notes, n.ASCII())
	}
	if note := (Style{ASCII: true}).respelled(r); note != "" {
		c.Spelled, c.Note = &exact, &note
	}
	return c
}

// respelling returns how the pitches of a chord are spelled where the chord is
// written for people: as the symbol, if that is the same chord on other letters.
// An augmented sixth keeps its notes.
func respelling(c theory.Chord) func(theory.Pitch) theory.Pitch {
	to := c.Readable()
	root, bass := lettersTo(c.Root, to.Root), lettersTo(c.Bass, to.Bass)
	return func(p theory.Pitch) theory.Pitch {
		switch {
		case to.Quality != c.Quality:
			return p
		case p.Note == c.Bass:
			return p.Up(theory.Interval{Steps: bass})
		}
		return p.Up(theory.Interval{Steps: root})
	}
}

// lettersTo is how many letters up b lies from a that sounds the same.
func lettersTo(a, b theory.Note) int {
	return (int(b.Letter)-int(a.Letter)+7+3)%7 - 3
}

// respelled says that a chord is written otherwise than the rules of harmony
// spell it; "" where it is not.
func (s Style) respelled(r theory.Roman) string {
	exact := Style{ASCII: s.ASCII, Numbers: s.Numbers, exact: true}
	var parts []string
	if now, was := s.Chord(r.Chord), exact.Chord(r.Chord); now != was {
		parts = append(parts, now+" for "+was)
	}
	if now, was := s.Roman(r), exact.Roman(r); now != was {
		parts = append(parts, now+" for "+was)
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, " and ") + ": easier to read, the same sound"
}

// Respelled says which of these chords are written otherwise than the rules of
// harmony spell them, a line for each.
func (s Style) Respelled(rs []theory.Roman) string {
	var b strings.Builder
	told := map[string]bool{}
	for _, r := range rs {
		if line := s.respelled(r); line != "" && !told[line] {
			told[line] = true
			fmt.Fprintf(&b, "%s.\n", line)
		}
	}
	return b.String()
}

// Part is what one of the four voices has.
type Part struct {
	Voice string  `json:"voice"` // bass, tenor, alto, soprano
	Note  string  `json:"note"`  // spelled, with its octave
	MIDI  int     `json:"midi"`
	Hz    float64 `json:"hz"`
}

// VoicedChord is a chord in four parts, from the bass up.
type VoicedChord struct {
	Chord
	Voices []Part `json:"voices"`
}

// Voicing is the record of a progression in four parts.
type Voicing struct {
	Schema int           `json:"schema"`
	Key    string        `json:"key"`
	Style  string        `json:"style"` // "keyboard" or "choir"
	A4Hz   float64       `json:"a4_hz"`
	Tuning string        `json:"tuning"`
	Cost   int           `json:"cost"` // of the voice leading; only for comparison
	Chords []VoicedChord `json:"chords"`
	// Licences are the rules of voice leading that are not kept, since none can be.
	Licences []Licence `json:"licences"`
}

// Licence is the record of a rule that is not kept between two chords.
type Licence struct {
	From int    `json:"from"` // counted from 1
	To   int    `json:"to"`
	Rule string `json:"rule"`
}

// NewLicences makes the records, none as an empty list.
func NewLicences(list []theory.Licence) []Licence {
	out := []Licence{}
	for _, l := range list {
		out = append(out, Licence{l.From, l.To, l.Rule})
	}
	return out
}

// Licences names the rules that a voicing does not keep, a line for each.
func (s Style) Licences(p []theory.Roman, list []theory.Licence) string {
	var b strings.Builder
	for _, l := range list {
		fmt.Fprintf(&b, "Licence from chord %d, %s, to chord %d, %s: %s.\n", l.From, s.Roman(p[l.From-1]), l.To, s.Roman(p[l.To-1]), l.Rule)
	}
	return b.String()
}

var partNames = [4]string{"bass", "tenor", "alto", "soprano"}

// NewVoicing makes the record of a progression and its voicing.
func NewVoicing(p []theory.Roman, vs []theory.Voicing, cost int, licences []theory.Licence, style string, t theory.Tuning) Voicing {
	out := Voicing{Schema: Schema, Key: p[0].Key.ASCII(), Style: style, A4Hz: t.A4, Tuning: t.String(), Cost: cost, Chords: NewVoicedChords(p, vs, t), Licences: NewLicences(licences)}
	return out
}

// NewVoicedChords makes the records of the chords alone.
func NewVoicedChords(p []theory.Roman, vs []theory.Voicing, t theory.Tuning) []VoicedChord {
	var out []VoicedChord
	for i, v := range vs {
		c := VoicedChord{Chord: NewChord(p[i])}
		read := respelling(p[i].Chord)
		for part, q := range v {
			c.Voices = append(c.Voices, Part{partNames[part], read(q).ASCII(), q.MIDI(), Hz(t.HzIn(p[i].Key, q))})
		}
		out = append(out, c)
	}
	return out
}

// Roman writes a numeral, or with Numbers a number, so that it can be read: see
// [theory.Roman.Readable].
func (s Style) Roman(r theory.Roman) string {
	if s.Numbers {
		return s.number(r)
	}
	if !s.exact {
		r = r.Readable()
	}
	if s.ASCII {
		return r.ASCII()
	}
	return r.String()
}

// number writes the number of a chart.
func (s Style) number(r theory.Roman) string {
	text, ascii := r.Number(), r.NumberASCII()
	if !s.exact {
		text, ascii = r.ReadableNumber()
	}
	if s.ASCII {
		return ascii
	}
	return text
}

// Chord writes a chord symbol, so that it can be read: see [theory.Chord.Readable].
func (s Style) Chord(c theory.Chord) string {
	if !s.exact {
		c = c.Readable()
	}
	if s.ASCII {
		return c.ASCII()
	}
	return c.String()
}

// Voicing writes the table of a progression in four parts, the soprano first.
func (s Style) Voicing(p []theory.Roman, vs []theory.Voicing) string {
	return s.chordTable(p, func(row func(name string, cell func(i int) string)) {
		for part := 3; part >= 0; part-- {
			row(partNames[part], func(i int) string { return s.Pitch(respelling(p[i].Chord)(vs[i][part])) })
		}
	})
}

// chordTable writes a table with a column for each chord, its numeral and its symbol
// above; below writes what comes below them, row by row.
func (s Style) chordTable(p []theory.Roman, below func(row func(name string, cell func(i int) string))) string {
	var b strings.Builder
	w := newColumns(&b)
	row := func(name string, cell func(i int) string) {
		fmt.Fprint(w, name)
		for i := range p {
			fmt.Fprint(w, "\t", cell(i))
		}
		fmt.Fprintln(w)
	}
	row("", func(i int) string { return s.Roman(p[i]) })
	row("", func(i int) string { return s.Chord(p[i].Chord) })
	below(row)
	w.Flush()
	return trimLines(b.String())
}

// Between is the record of what may stand between two chords.
type Between struct {
	Schema  int       `json:"schema"`
	From    string    `json:"from"`
	To      string    `json:"to"`
	Keys    []string  `json:"keys"` // in which the rules were applied
	Passing []Passing `json:"passing"`
}

// Passing is the record of one way between two chords.
type Passing struct {
	Chords   []Chord       `json:"chords"`
	Device   string        `json:"device"`
	Rule     string        `json:"rule"`
	Key      string        `json:"key"`
	Percent  *int          `json:"percent"` // of such moves that go on so, where they were counted; else null
	Counted  *string       `json:"counted"` // what was counted
	Source   *string       `json:"source"`
	Voicing  []VoicedChord `json:"voicing"`  // with both chords, for keyboard; null where it cannot be set, or with --strict not by the rules
	Licences []Licence     `json:"licences"` // the rules that it does not keep
}

// NewPassing makes the record of one way between two chords. The voicing has
// both of them.
func NewPassing(p theory.Passing, line []theory.Roman, vs []theory.Voicing, licences []theory.Licence, t theory.Tuning) Passing {
	out := Passing{Licences: NewLicences(licences), Device: asciiMusic(p.Device), Rule: asciiMusic(p.Rule), Key: p.Key.Readable().ASCII()}
	for _, r := range p.Chords {
		out.Chords = append(out.Chords, NewChord(r))
	}
	if p.Often.Of != "" {
		of, source := asciiMusic(p.Often.Of), p.Often.Source
		out.Counted, out.Source = &of, &source
	}
	if p.Often.Percent > 0 {
		out.Percent = &p.Often.Percent
	}
	if vs != nil {
		out.Voicing = NewVoicedChords(line, vs, t)
	}
	return out
}

var signs = strings.NewReplacer("♯", "#", "♭", "b", "°", "o")

func asciiMusic(s string) string { return signs.Replace(s) }

// Words writes text that has musical signs in it.
func (s Style) Words(text string) string {
	if s.ASCII {
		return asciiMusic(text)
	}
	return text
}
