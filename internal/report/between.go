package report

import (
	"fmt"
	"slices"
	"strings"

	"singback/theory"
)

// Ways are the passing chords between two chords.
type Ways struct {
	From, To theory.Chord
	Keys     []theory.Key // in which the rules were applied
	Passing  []theory.Passing
	Strict   bool // no licences in voice leading
}

// voice sets one way in four parts.
func (w Ways) voice(t theory.Texture, line []theory.Roman) ([]theory.Voicing, []theory.Licence, error) {
	if w.Strict {
		v, _, err := t.Voice(line)
		return v, nil, err
	}
	v, _, licences, err := t.VoiceFreely(line)
	return v, licences, err
}

// line is one way with both chords, in the key in which it was found.
func (w Ways) line(p theory.Passing) []theory.Roman {
	line := append([]theory.Roman{p.Key.Roman(w.From)}, p.Chords...)
	return append(line, p.Key.Roman(w.To))
}

// NewBetween makes the record of the ways between two chords, each in four
// parts where that can be.
func NewBetween(w Ways, texture theory.Texture, t theory.Tuning) Between {
	out := Between{Schema: Schema, From: w.From.ASCII(), To: w.To.ASCII(), Passing: []Passing{}}
	for _, k := range w.Keys {
		out.Keys = append(out.Keys, k.Readable().ASCII())
	}
	for _, p := range w.Passing {
		line := w.line(p)
		v, licences, err := w.voice(texture, line)
		if err != nil {
			v = nil // said by null
		}
		out.Passing = append(out.Passing, NewPassing(p, line, v, licences, t))
	}
	return out
}

// Between lists the ways between two chords, with the rules that allow them and
// the sources of what was counted; and with a texture each in four parts.
func (s Style) Between(ways Ways, texture *theory.Texture) string {
	var names []string
	for _, k := range ways.Keys {
		names = append(names, s.Key(k.Readable()))
	}
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s to %s, in %s\n\n", s.Chord(ways.From), s.Chord(ways.To), strings.Join(names, ", "))
	if len(ways.Passing) == 0 {
		fmt.Fprintln(b, "No rule allows a chord between them.")
	}
	sources := s.ways(b, ways)
	fmt.Fprintln(b)
	told := map[string]bool{}
	var all []theory.Roman
	for _, p := range ways.Passing {
		all = append(all, ways.line(p)...)
		if !told[p.Device] {
			told[p.Device] = true
			fmt.Fprintf(b, "%s: %s.\n", s.Words(p.Device), s.Words(p.Rule))
		}
	}
	for i, source := range sources {
		fmt.Fprintf(b, "[%d] %s\n", i+1, source)
	}
	if notes := s.Respelled(all); notes != "" {
		fmt.Fprintf(b, "\n%s", notes)
	}
	if texture == nil {
		return trimLines(b.String())
	}
	for _, p := range ways.Passing {
		line := ways.line(p)
		v, licences, err := ways.voice(*texture, line)
		if err != nil {
			fmt.Fprintf(b, "\n%v\n", err)
			continue
		}
		fmt.Fprintf(b, "\n%s%s", s.Voicing(line, v), s.Licences(line, licences))
	}
	return trimLines(b.String())
}

// ways writes the table, and returns the sources that it numbers from 1.
func (s Style) ways(b *strings.Builder, ways Ways) (sources []string) {
	w := newColumns(b)
	for _, p := range ways.Passing {
		var symbols, numerals []string
		for _, r := range p.Chords {
			symbols = append(symbols, s.Chord(r.Chord))
			numerals = append(numerals, s.Roman(r))
		}
		often := ""
		if p.Often.Of != "" {
			n := slices.Index(sources, p.Often.Source)
			if n < 0 {
				n, sources = len(sources), append(sources, p.Often.Source)
			}
			often = s.Words(p.Often.Of)
			if p.Often.Percent > 0 {
				often += fmt.Sprintf(" %d %%", p.Often.Percent)
			}
			often += fmt.Sprintf(" [%d]", n+1)
		}
		fmt.Fprintf(w, "%s\t%s in %s\t%s\t%s\n", strings.Join(symbols, " "), strings.Join(numerals, " "), s.Key(p.Key.Readable()), s.Words(p.Device), often)
	}
	w.Flush()
	return sources
}
