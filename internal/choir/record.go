package choir

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strings"

	"singback/internal/report"
	"singback/theory"
)

// Record is what is known of the parts of a file, for programs.
type Record struct {
	Schema int          `json:"schema"`
	File   string       `json:"file"`
	Title  string       `json:"title"`
	Key    string       `json:"key"`
	Moved  int          `json:"moved_semitones"` // by --to-key
	Parts  []PartRecord `json:"parts"`
	Moves  []MoveRecord `json:"moves"`
	Best   int          `json:"best_semitones"`
	Said   []string     `json:"warnings"`
}

// PartRecord is one part.
type PartRecord struct {
	Part            int      `json:"part"` // from 1
	ID              string   `json:"id"`   // in the file
	Name            string   `json:"name"`
	Clef            string   `json:"clef"` // "" where the file says none
	Voice           string   `json:"voice"`
	Supposed        bool     `json:"supposed"` // by where it lies
	Low             string   `json:"low"`
	High            string   `json:"high"`
	MedianMIDI      float64  `json:"median_midi"`
	UsualLow        string   `json:"usual_low"`
	UsualHigh       string   `json:"usual_high"`
	Quarters        float64  `json:"quarters"` // that are sung
	OutsideNotes    int      `json:"outside_notes"`
	OutsideQuarters float64  `json:"outside_quarters"`
	AboveSemitones  int      `json:"above_semitones"`
	BelowSemitones  int      `json:"below_semitones"`
	OutsideBars     []int    `json:"outside_bars"`
	OutsidePitches  []string `json:"outside_pitches"`
	ChordSymbols    int      `json:"chord_symbols"`
	NotesWritten    int      `json:"notes_written"`
	WarningsOfAPart []string `json:"part_warnings"`
}

// MoveRecord is the choir moved.
type MoveRecord struct {
	Semitones    int     `json:"semitones"`
	Key          string  `json:"key"`
	OutsideNotes int     `json:"outside_notes"`
	MedianMIDI   float64 `json:"median_midi"` // of the first part
	Fits         bool    `json:"fits"`
}

// NewRecord makes the record of a choir that was read from a file, and moved.
func NewRecord(file string, c Choir, moved int) Record {
	round := func(v float64) float64 { return math.Round(v*1000) / 1000 }
	r := Record{Schema: report.Schema, File: file, Title: c.Title(), Key: c.Key().ASCII(), Moved: moved, Parts: []PartRecord{}, Said: append([]string{}, c.Said...)}
	for i, p := range c.Parts {
		b := p.Outside()
		one := PartRecord{
			Part: i + 1, ID: p.ID, Name: p.Name, Clef: p.Clef, Voice: p.Voice.Name, Supposed: p.Supposed,
			Low: p.Reach.Low.ASCII(), High: p.Reach.High.ASCII(), MedianMIDI: p.Reach.Median, Quarters: round(p.Reach.Quarters),
			UsualLow: report.PitchName(p.Voice.Range.Low), UsualHigh: report.PitchName(p.Voice.Range.High),
			OutsideNotes: b.Notes, OutsideQuarters: round(b.Quarters), AboveSemitones: b.Above, BelowSemitones: b.Below,
			OutsideBars: append([]int{}, b.Bars...), OutsidePitches: []string{}, ChordSymbols: len(p.Score.Symbols), WarningsOfAPart: []string{},
		}
		for _, pitch := range b.Pitches {
			one.OutsidePitches = append(one.OutsidePitches, pitch.ASCII())
		}
		for _, n := range p.Score.Notes {
			if !n.Rest {
				one.NotesWritten++
			}
		}
		for _, w := range p.Warnings {
			one.WarningsOfAPart = append(one.WarningsOfAPart, string(w))
		}
		r.Parts = append(r.Parts, one)
	}
	moves, best := c.Moves()
	for _, m := range moves {
		notes := 0
		for _, b := range m.Outside {
			notes += b.Notes
		}
		r.Moves = append(r.Moves, MoveRecord{m.Semitones, m.Key.ASCII(), notes, m.Median, m.Fits()})
	}
	r.Best = moves[best].Semitones
	return r
}

// CSV writes the parts as a table.
func (r Record) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.Write(strings.Split("part,id,name,clef,voice,low,high,median_midi,usual_low,usual_high,outside_notes,above_semitones,below_semitones", ","))
	for _, p := range r.Parts {
		out.Write([]string{fmt.Sprint(p.Part), p.ID, p.Name, p.Clef, p.Voice, p.Low, p.High, fmt.Sprint(p.MedianMIDI), p.UsualLow, p.UsualHigh,
			fmt.Sprint(p.OutsideNotes), fmt.Sprint(p.AboveSemitones), fmt.Sprint(p.BelowSemitones)})
	}
	out.Flush()
	return out.Error()
}

// AgainstRecord is how the notes of a part lay in the chords that sounded.
type AgainstRecord struct {
	Event string `json:"event"` // "against"
	Index int    `json:"index"` // of the line
	InChords
}

// InChords is how the notes of a part lay in the chords of the others.
type InChords struct {
	Part  string        `json:"part"`
	Heard bool          `json:"heard"` // counted from what sounded; else from the singer's own key
	Notes []TunedRecord `json:"notes"`
	TunedSums
}

// TunedRecord is one note.
type TunedRecord struct {
	Note           int      `json:"note"` // from 1, rests left out
	Bar            *int     `json:"bar"`  // from 1; a pickup is bar 0; null without bars
	Written        string   `json:"written"`
	Chord          *string  `json:"chord"`                 // null where the notes spell none
	PureFromEqual  *float64 `json:"pure_from_equal_cents"` // where the pure pitch lies against equal temperament
	FromEqualCents *float64 `json:"from_equal_cents"`
	FromChordCents *float64 `json:"from_chord_cents"`
}

// TunedSums sums the notes up of which both are known.
type TunedSums struct {
	Compared       int      `json:"compared"`                // notes
	MedianCents    *float64 `json:"median_from_equal_cents"` // of all measured notes, signed
	MeanEqualCents *float64 `json:"mean_from_equal_cents"`   // mean of the sizes
	MeanChordCents *float64 `json:"mean_from_chord_cents"`
}

// NewAgainstRecord makes the record of the notes of a line that was sung against others.
func NewAgainstRecord(index int, part string, notes []Tuned) AgainstRecord {
	return AgainstRecord{"against", index, NewInChords(part, true, notes)}
}

// NewInChords makes the record of tuned notes.
func NewInChords(part string, heard bool, notes []Tuned) InChords {
	r := InChords{Part: part, Heard: heard, Notes: []TunedRecord{}, TunedSums: sums(notes)}
	for i, n := range notes {
		one := TunedRecord{Note: i + 1, Written: n.Pitch.ASCII()}
		if n.Bar >= 0 {
			one.Bar = &n.Bar
		}
		if n.HasChord {
			text := n.Chord.ASCII()
			one.Chord = &text
		}
		if n.HasPure {
			one.PureFromEqual = tenth(n.Pure)
		}
		if n.Sung {
			one.FromEqualCents = tenth(n.FromEqual)
			if n.HasPure {
				one.FromChordCents = tenth(n.FromChord)
			}
		}
		r.Notes = append(r.Notes, one)
	}
	return r
}

func tenth(c theory.Cents) *float64 {
	c = math.Round(10*c)/10 + 0 // no negative zero
	return &c
}

// nearly is how far, in cents, a note may be from its pitch to say anything of its tuning:
// beyond half a semitone another note was sung.
const nearly = 50

func sums(notes []Tuned) (s TunedSums) {
	var all []float64
	equal, chord := 0.0, 0.0
	for _, n := range notes {
		if !n.Sung || math.Abs(n.FromEqual) > nearly {
			continue
		}
		all = append(all, n.FromEqual)
		if n.HasPure {
			s.Compared++
			equal, chord = equal+math.Abs(n.FromEqual), chord+math.Abs(n.FromChord)
		}
	}
	if len(all) > 0 {
		s.MedianCents = tenth(median(all))
	}
	if n := float64(s.Compared); n > 0 {
		s.MeanEqualCents, s.MeanChordCents = tenth(equal/n), tenth(chord/n)
	}
	return s
}
