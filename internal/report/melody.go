package report

import (
	"slices"
	"strings"

	"singback/exercise/compose"
	"singback/theory"
)

// Melody is the record of a line of music. Times and lengths are exact fractions
// of quarter notes, as text.
type Melody struct {
	Schema   int            `json:"schema"`
	Title    string         `json:"title"`
	Level    *int           `json:"level"` // null where the line was read
	Skill    *string        `json:"skill"` // what is new at the level; null: nothing, or read
	Seed     *uint64        `json:"seed"`
	Key      string         `json:"key"`
	Meter    *string        `json:"meter"`     // null without bars
	TempoBPM *float64       `json:"tempo_bpm"` // counted beats a minute; null where not said
	Pickup   string         `json:"pickup"`    // length of an incomplete first bar, "0" without
	Clef     string         `json:"clef"`
	Length   string         `json:"length"`
	Notes    []MelodyNote   `json:"notes"`
	Changes  []MelodyChange `json:"changes"`
	Chords   []MelodyChord  `json:"chords"`
	Warnings []string       `json:"warnings"`
}

// MelodyNote is a note or a rest of a [Melody].
type MelodyNote struct {
	Start  string  `json:"start"`
	Length string  `json:"length"`
	Bar    *int    `json:"bar"`  // from 1; a pickup is bar 0; null without bars
	Note   *string `json:"note"` // null in a rest
	MIDI   *int    `json:"midi"`
	Degree *string `json:"degree"` // counted from the major scale on the tonic of the moment
	Name   *string `json:"name"`   // null without names
	Slur   bool    `json:"slur"`
	Words  string  `json:"words"`
}

// MelodyChange is a change of key or meter.
type MelodyChange struct {
	Start string  `json:"start"`
	Key   string  `json:"key"`
	Meter *string `json:"meter"`
}

// MelodyChord is a chord symbol over a melody.
type MelodyChord struct {
	Start string   `json:"start"`
	Bar   *int     `json:"bar"`   // as of a note
	Chord *string  `json:"chord"` // null where the text is not understood, or says that there is none
	Root  *string  `json:"root"`
	Bass  *string  `json:"bass"`
	Notes []string `json:"notes"` // from the bass up
	Text  string   `json:"text"`  // as it is shown
}

// chords makes the records of the chord symbols of a line.
func chords(s theory.Score) []MelodyChord {
	out := []MelodyChord{}
	bars, bar, first := s.Bars(), 0, 1
	if s.Start.Num > 0 {
		first = 0
	}
	for _, c := range s.Symbols {
		r := MelodyChord{Start: c.At.String(), Notes: []string{}, Text: c.ASCII()}
		for bar+1 < len(bars) && !c.At.Less(bars[bar+1]) {
			bar++
		}
		if bars != nil {
			number := bar + first
			r.Bar = &number
		}
		if c.Text == "" {
			name, root, bass := c.Chord.ASCII(), c.Chord.Root.ASCII(), c.Chord.Bass.ASCII()
			r.Chord, r.Root, r.Bass = &name, &root, &bass
			for _, n := range c.Chord.Notes() {
				r.Notes = append(r.Notes, n.ASCII())
			}
		}
		out = append(out, r)
	}
	return out
}

// NewMelody makes the record of a line without the names of its notes; warnings are
// those of the file that it was read from.
func NewMelody[W ~string](s theory.Score, warnings []W) Melody {
	r := Melody{
		Schema: Schema, Title: s.Title, Key: s.Key.ASCII(), Meter: meter(s.Meter), Pickup: "0", Clef: theory.ClefFor(s).String(),
		Length: s.Length().String(), Changes: []MelodyChange{}, Chords: chords(s), Warnings: []string{},
	}
	if s.Tempo > 0 {
		r.TempoBPM = &s.Tempo
	}
	first := 1
	if s.Start.Num > 0 {
		r.Pickup, first = s.Start.String(), 0
	}
	for _, w := range warnings {
		r.Warnings = append(r.Warnings, string(w))
	}
	for _, c := range s.Changes {
		r.Changes = append(r.Changes, MelodyChange{c.At.String(), c.Key.ASCII(), meter(c.Meter)})
	}
	bars := s.Bars()
	at, bar, k, changes := theory.Fraction{Num: 0, Den: 1}, 0, s.Key, s.Changes
	for _, w := range s.Notes {
		for bar+1 < len(bars) && !at.Less(bars[bar+1]) {
			bar++
		}
		for len(changes) > 0 && !at.Less(changes[0].At) {
			k, changes = changes[0].Key, changes[1:]
		}
		note := MelodyNote{Start: at.String(), Length: w.Length.String(), Slur: w.Slur, Words: w.Words}
		if bars != nil {
			number := bar + first
			note.Bar = &number
		}
		if !w.Rest {
			name, midi, degree := w.Pitch.ASCII(), w.Pitch.MIDI(), k.Degree(w.Pitch.Note).ASCII()
			note.Note, note.MIDI, note.Degree = &name, &midi, &degree
		}
		r.Notes = append(r.Notes, note)
		at = at.Plus(w.Length)
	}
	return r
}

func meter(m theory.Meter) *string {
	if !m.Valid() {
		return nil
	}
	text := m.String()
	return &text
}

// Named returns the record with the names of the notes of s, which it was made
// of.
func (r Melody) Named(s theory.Score, n theory.Naming) Melody {
	labels := s.Labels(n, true)
	r.Notes = slices.Clone(r.Notes)
	for i, w := range s.Notes {
		if !w.Rest {
			r.Notes[i].Name = &labels[i]
		}
	}
	return r
}

// NewMadeMelody makes the record of a melody that was made for a level, as it is
// written in s, with the names of its notes or without.
func NewMadeMelody(s theory.Score, m compose.SightMelody, n theory.Naming, names bool) Melody {
	r := NewMelody[string](s, nil)
	if names {
		r = r.Named(s, n)
	}
	r.Level, r.Seed = &m.Level, &m.Seed
	if m.Skill != "" {
		r.Skill = &m.Skill
	}
	return r
}

// Melody writes the key, the meter and whatever else is known of a line above
// its staff, which is text already.
func (s Style) Melody(score theory.Score, skill, staff string) string {
	heading := []string{s.Key(score.Key)}
	if score.Meter.Valid() {
		heading = append(heading, score.Meter.String())
	}
	if score.Title != "" {
		heading = append(heading, score.Title)
	}
	if skill != "" {
		heading = append(heading, skill)
	}
	return strings.Join(heading, ", ") + "\n\n" + staff
}

// Renaming is the record of a melody in another naming, and in other keys.
type Renaming struct {
	Schema   int       `json:"schema"`
	From     string    `json:"from"`
	To       string    `json:"to"`
	Key      string    `json:"key"` // of the melody as it was read
	Melodies []Renamed `json:"melodies"`
}

// Renamed is the record of the melody in one key.
type Renamed struct {
	Key    string        `json:"key"`
	Text   string        `json:"text"`
	Tones  []RenamedTone `json:"tones"`
	Chords []MelodyChord `json:"chords"` // empty but of a file with chord symbols
}

// RenamedTone is one tone of it, or a rest.
type RenamedTone struct {
	Name   *string `json:"name"`   // null in a rest
	Degree *string `json:"degree"` // counted from the major scale on the tonic
	Note   *string `json:"note"`
	Octave int     `json:"octave"` // above the octave that starts on the tonic
	Pulses string  `json:"pulses"` // "1", "3/4"
}

// WithChords returns the record with the chord symbols of the line that it was made
// of.
func (r Renamed) WithChords(s theory.Score) Renamed {
	r.Chords = chords(s)
	return r
}

// Chords writes the chord symbols of a line by bars: "| G | C/G D7 | - |", where -
// is a bar in which none begins; "" without any.
func (s Style) Chords(score theory.Score) string {
	if score.Symbols == nil {
		return ""
	}
	bars := score.Bars()
	var b strings.Builder
	over := score.Symbols
	for i := range max(1, len(bars)) {
		b.WriteString("| ")
		n := 0
		for ; len(over) > 0 && (i+1 >= len(bars) || over[0].At.Less(bars[i+1])); over = over[1:] {
			text := over[0].String()
			if s.ASCII {
				text = over[0].ASCII()
			}
			b.WriteString(text + " ")
			n++
		}
		if n == 0 {
			b.WriteString("- ")
		}
	}
	return b.String() + "|"
}

// NewRenamed makes the record of a melody in one key. Degrees count in its first
// key.
func NewRenamed(m theory.Melody, n theory.Naming) (Renamed, error) {
	text, err := m.Text(n, true)
	if err != nil {
		return Renamed{}, err
	}
	out := Renamed{Key: m.Key.ASCII(), Text: text}
	for _, t := range m.InOneKey().Tones {
		tone := RenamedTone{Octave: t.Octave, Pulses: t.Length.String()}
		if !t.Rest {
			d := NewDegree(m.Key, t.Degree, n)
			tone.Name, tone.Degree, tone.Note = &d.Name, &d.Degree, &d.Note
		}
		out.Tones = append(out.Tones, tone)
	}
	return out, nil
}
