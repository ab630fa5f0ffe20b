// Package words says what was taken down of a song: as a record for programs, and in
// words. It is apart from package report so that a browser does not load it.
package words

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"singback/internal/report"
	"singback/internal/takedown"
	"singback/theory"
)

// Heard is what was taken down of a song, and how.
type Heard struct {
	Taken takedown.Taken
	Laid  takedown.Laid
	By    string            // how the home is known: "first", "find", "key"
	Keys  []theory.KeyScore // that were proposed; nil where none were asked for
	Agree float64           // how well the notes agree about the semitones, where keys were proposed
	A4    float64           // hertz
	Style *theory.Style     // of the chords; nil for a tune
	Names theory.Naming
}

// Song is the record of a line that was taken down.
type Song struct {
	Schema         int                  `json:"schema"`
	Key            string               `json:"key"`
	Home           Home                 `json:"home"`
	Major          *float64             `json:"major"` // how well the notes fit; null where the mode was given
	Minor          *float64             `json:"minor"`
	Proposals      []report.KeyProposal `json:"proposals"` // null where no key was looked for
	DriftCents     float64              `json:"drift_cents"`
	DriftMostCents float64              `json:"drift_most_cents"`
	Meter          *string              `json:"meter"`
	TempoBPM       *float64             `json:"tempo_bpm"`
	BehindS        *float64             `json:"behind_s"`
	Style          *string              `json:"style"`
	Notes          []Note               `json:"notes"`
	Chords         []Chord              `json:"chords"`
}

// Home is the record of the home.
type Home struct {
	By      string   `json:"by"`
	Hz      float64  `json:"hz"`
	Note    string   `json:"note"`
	Cents   float64  `json:"cents"` // above that note
	A4Hz    float64  `json:"a4_hz"`
	OnsetS  *float64 `json:"onset_s"` // null where it was not sung by itself
	OffsetS *float64 `json:"offset_s"`
}

// Note is the record of one note.
type Note struct {
	OnsetS     float64        `json:"onset_s"`
	OffsetS    float64        `json:"offset_s"`
	Degree     *report.Degree `json:"degree"` // null where it is unclear
	Octave     *int           `json:"octave"` // 0 from the home up
	Cents      float64        `json:"cents"`  // off the degree
	DriftCents float64        `json:"drift_cents"`
	Unclear    *string        `json:"unclear"`
	Bar        *int           `json:"bar"`
	Beat       *float64       `json:"beat"`
	Beats      *float64       `json:"beats"`
}

// Chord is the record of one chord.
type Chord struct {
	Bar         *int           `json:"bar"`
	Beat        *float64       `json:"beat"`
	Bass        *report.Degree `json:"bass"`  // null where it is unclear
	Chord       *report.Chord  `json:"chord"` // null where nothing is known
	Probability *float64       `json:"probability"`
	Others      []Other        `json:"others"`
}

// Other is the record of what else a chord could be.
type Other struct {
	report.Chord
	Probability float64 `json:"probability"`
}

// mostOthers is how many other chords are told, and likely the probability of one that
// is worth telling.
const (
	mostOthers = 3
	likely     = 0.03
)

// others are the other chords that are worth telling.
func others(p takedown.Placed) (list []theory.Candidate) {
	for _, c := range p.Others {
		if len(list) < mostOthers && c.P >= likely {
			list = append(list, c)
		}
	}
	return list
}

// Record makes the record.
func (h Heard) Record() Song {
	t, k := h.Taken, h.Taken.Key
	s := Song{Schema: report.Schema, Key: k.ASCII(), Home: h.home(), Notes: h.notes(), Chords: []Chord{}}
	if t.Major != 0 || t.Minor != 0 {
		s.Major, s.Minor = rounded(t.Major, 4), rounded(t.Minor, 4)
	}
	for _, key := range h.Keys {
		s.Proposals = append(s.Proposals, report.KeyProposal{Key: key.Key.ASCII(), Score: round(key.Score, 4)})
	}
	end, most := t.Drifted()
	s.DriftCents, s.DriftMostCents = round(float64(end), 1), round(float64(most), 1)
	if h.Laid.Meter.Valid() {
		meter := h.Laid.Meter.String()
		s.Meter, s.TempoBPM, s.BehindS = &meter, rounded(h.Laid.Tempo, 1), rounded(h.Laid.Behind, 3)
	}
	if h.Style != nil {
		style := h.Style.String()
		s.Style = &style
	}
	for _, p := range h.Laid.Chords {
		c := Chord{Others: []Other{}}
		c.Bar, c.Beat = h.place(p.At)
		if p.Text == "" {
			bass, chord := report.NewDegree(k, p.Bass, h.Names), report.NewChord(p.Roman)
			c.Bass, c.Chord, c.Probability = &bass, &chord, rounded(p.P, 4)
			for _, o := range others(p) {
				c.Others = append(c.Others, Other{report.NewChord(o.Roman), round(o.P, 4)})
			}
		}
		s.Chords = append(s.Chords, c)
	}
	return s
}

func (h Heard) home() Home {
	out := Home{By: h.By, A4Hz: h.A4, Hz: round(theory.DefaultA4*math.Exp2((h.Taken.Home.Cents-6900)/1200), 3)}
	note, off := h.Note()
	out.Note, out.Cents = note.ASCII(), round(float64(off), 1)
	if h.Taken.Home.Offset > 0 {
		out.OnsetS, out.OffsetS = rounded(h.Taken.Home.Onset, 3), rounded(h.Taken.Home.Offset, 3)
	}
	return out
}

// Note is the home as the key spells it, and how far above that note it lies.
func (h Heard) Note() (theory.Pitch, theory.Cents) {
	p := theory.Pitch{Note: h.Taken.Key.Tonic}
	cents := h.Taken.Home.Cents - float64(theory.CentsBetween(h.A4, theory.DefaultA4))
	p.Octave = int(math.Floor((cents-100*float64(p.MIDI()))/1200 + 0.5))
	return p, theory.Cents(cents - 100*float64(p.MIDI()))
}

// place is where something stands in the bars of the chart: the bar, from 1, a pickup
// is 0, and the beat in it, from 1; nil without bars.
func (h Heard) place(at theory.Fraction) (bar *int, beat *float64) {
	if !h.Laid.Meter.Valid() {
		return nil, nil
	}
	pulses := h.Laid.Meter.Pulses()
	x := at.Float()
	n, within := 0, x+float64(pulses-h.Laid.Start)
	if h.Laid.Start == 0 || x >= float64(h.Laid.Start) {
		x -= float64(h.Laid.Start)
		n = int(x+1e-9)/pulses + 1
		within = x - float64((n-1)*pulses)
	}
	return &n, rounded(within+1, 3)
}

func (h Heard) notes() (list []Note) {
	at := map[int]takedown.Event{}
	for _, e := range h.Laid.Line {
		if !e.Rest {
			at[e.Note] = e
		}
	}
	note, _ := h.Note()
	for i, n := range h.Taken.Notes {
		one := Note{
			OnsetS: round(n.Onset, 3), OffsetS: round(n.Offset, 3),
			Cents: round(float64(n.Off), 1), DriftCents: round(float64(n.Drift), 1),
		}
		if n.Unclear != takedown.Clear {
			word := n.Unclear.String()
			one.Unclear = &word
		} else {
			degree := report.NewDegree(h.Taken.Key, n.Degree, h.Names)
			degree.Note = h.Taken.Key.Pitch(n.Degree, note.Octave+n.Octave).ASCII()
			octave := n.Octave
			one.Degree, one.Octave = &degree, &octave
		}
		if e, ok := at[i]; ok && h.Laid.Meter.Valid() {
			one.Bar, one.Beat = h.place(e.At)
			one.Beats = rounded(e.Length.Float(), 3)
		}
		list = append(list, one)
	}
	return list
}

// WriteCSV writes the notes as rows.
func (h Heard) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"onset_s", "offset_s", "degree", "name", "note", "cents", "drift_cents", "unclear", "bar", "beat", "beats"}); err != nil {
		return err
	}
	float := func(x *float64) string {
		if x == nil {
			return ""
		}
		return strconv.FormatFloat(*x, 'f', -1, 64)
	}
	for _, n := range h.notes() {
		row := []string{float(&n.OnsetS), float(&n.OffsetS), "", "", "", float(&n.Cents), float(&n.DriftCents), "", "", float(n.Beat), float(n.Beats)}
		if n.Degree != nil {
			row[2], row[3], row[4] = n.Degree.Degree, n.Degree.Name, n.Degree.Note
		}
		if n.Unclear != nil {
			row[7] = *n.Unclear
		}
		if n.Bar != nil {
			row[8] = strconv.Itoa(*n.Bar)
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func round(x float64, decimals int) float64 {
	f := math.Pow(10, float64(decimals))
	return math.Round(x*f) / f
}

func rounded(x float64, decimals int) *float64 {
	x = round(x, decimals)
	return &x
}
