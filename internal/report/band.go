package report

import (
	"strings"

	"singback/theory"
)

// NewHands makes the record of a progression that two hands play.
func NewHands(p []theory.Roman, hands []theory.Hands, cost int, style string, t theory.Tuning) Voicing {
	out := Voicing{Schema: Schema, Key: p[0].Key.ASCII(), Style: style, A4Hz: t.A4, Tuning: t.String(), Cost: cost, Licences: NewLicences(nil)}
	for i, h := range hands {
		c := VoicedChord{Chord: NewChord(p[i])}
		read := respelling(p[i].Chord)
		for n, q := range h.Notes() {
			hand := "right hand"
			if n < len(h.Left) {
				hand = "left hand"
			}
			c.Voices = append(c.Voices, Part{hand, read(q).ASCII(), q.MIDI(), Hz(t.HzIn(p[i].Key, q))})
		}
		out.Chords = append(out.Chords, c)
	}
	return out
}

// Hands writes a progression that two hands play, a column for each chord.
func (s Style) Hands(p []theory.Roman, hands []theory.Hands) string {
	notes := func(i int, list []theory.Pitch) string {
		var names []string
		for _, q := range list {
			names = append(names, s.Pitch(respelling(p[i].Chord)(q)))
		}
		return strings.Join(names, " ")
	}
	return s.chordTable(p, func(row func(name string, cell func(i int) string)) {
		row("right hand", func(i int) string { return notes(i, hands[i].Right) })
		row("left hand", func(i int) string { return notes(i, hands[i].Left) })
	})
}
