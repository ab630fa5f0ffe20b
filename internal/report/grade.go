package report

import (
	"fmt"
	"math"

	"singback/exercise/grade"
	"singback/theory"
)

// Grade is the record of one graded take. Cents are rounded to 0.1, times to
// 1 ms, shares to 0.0001.
type Grade struct {
	Take            string   `json:"take"`
	Score           *float64 `json:"score"`            // 1: no fault; null where nothing was sung
	PassProbability *float64 `json:"pass_probability"` // that a jury lets it pass; null as score
	NotesRight      int      `json:"notes_right"`
	NotesWritten    int      `json:"notes_written"`
	Omitted         int      `json:"omitted"`
	Added           int      `json:"added"`
	MedianCents     float64  `json:"median_cents"` // of the notes from their pitch, sharp positive, drift taken away
	DriftCents      float64  `json:"drift_cents"`  // of the singer's key, first note to last

	Heard              string        `json:"heard"`      // singing, nothing, speech
	AwayCents          *float64      `json:"away_cents"` // of the whole from the key or octave that was asked for; null where it is there
	SpreadCents        float64       `json:"spread_cents"`
	TranspositionCents float64       `json:"transposition_cents"` // of the take above the model, octaves included
	SecondsPerUnit     *float64      `json:"seconds_per_unit"`    // of the model: a quarter note, or a second of a performance; null without rhythm
	UnsteadyBeats      *float64      `json:"unsteady_beats"`
	Hesitations        []int         `json:"hesitations"` // before these written notes, from 1
	Restarts           []GradeBack   `json:"restarts"`
	Points             int           `json:"points"`
	PointsOf           int           `json:"points_of"`
	SegmentsRight      int           `json:"segments_right"`
	Segments           int           `json:"segments"`
	Flow               bool          `json:"flow"`
	Why                []GradeFault  `json:"why"`
	Weakest            *GradeLeap    `json:"weakest_interval"`
	Degrees            []GradeDegree `json:"degrees"`
	Notes              []GradeNote   `json:"notes"`
	AddedNotes         []GradeAdded  `json:"added_notes"`
	InChords           any           `json:"in_chords,omitempty"` // where the model is one of several parts
}

// GradeFault is one part of the score: costs add up, and the score is
// e^(−sum/8).
type GradeFault struct {
	Name string  `json:"name"`
	Cost float64 `json:"cost"`
	Text string  `json:"text"`
}

// GradeBack is a place where the singer went back.
type GradeBack struct {
	AtSeconds float64 `json:"at_s"`
	From      int     `json:"from"` // the written note that was next, from 1
	To        int     `json:"to"`
}

// GradeLeap is the interval that was sung worst.
type GradeLeap struct {
	From       int     `json:"from"` // written notes, from 1
	To         int     `json:"to"`
	Semitones  int     `json:"semitones"`   // rising positive
	FromDegree string  `json:"from_degree"` // "" where the key is not known
	ToDegree   string  `json:"to_degree"`
	ErrorCents float64 `json:"error_cents"` // mean of all of its size
	WorstCents float64 `json:"worst_cents"` // of these notes
	Times      int     `json:"times"`
}

// GradeDegree is how a degree was tuned.
type GradeDegree struct {
	Degree
	Notes       int     `json:"notes"`
	MeanCents   float64 `json:"mean_cents"`
	SpreadCents float64 `json:"spread_cents"`
}

// GradeNote is what became of one written note.
type GradeNote struct {
	Index       int      `json:"index"` // from 1
	Degree      string   `json:"degree"`
	WrittenMIDI float64  `json:"written_midi"`
	Result      string   `json:"result"` // right, out_of_tune, wrong, omitted, not_heard
	Cents       *float64 `json:"cents"`  // null where it was not measured
	OnsetS      *float64 `json:"onset_s"`
	OffsetS     *float64 `json:"offset_s"`
	LateBeats   *float64 `json:"late_beats"` // early negative; null without rhythm
	Length      *float64 `json:"length"`     // 1 is as written
	Pieces      int      `json:"pieces"`     // sung notes that answer it
	Merged      bool     `json:"merged"`     // held over from the note before
	Octave      int      `json:"octave"`     // against that of the take
}

// GradeAdded is a sung note that answers nothing.
type GradeAdded struct {
	OnsetS  float64 `json:"onset_s"`
	OffsetS float64 `json:"offset_s"`
	MIDI    float64 `json:"midi"`
}

// NewGrade makes the record of a graded take.
func NewGrade(take string, line grade.Line, p grade.Performance, g grade.Grading, names theory.Naming) Grade {
	cents := func(v float64) float64 { return round(v, 1) }
	r := Grade{
		Take: take, Heard: g.Heard.String(),
		NotesRight: g.Right, NotesWritten: len(g.Notes), Omitted: g.Omitted, Added: len(g.Added),
		MedianCents: cents(g.Median), DriftCents: cents(g.Drift), SpreadCents: cents(g.Spread),
		TranspositionCents: cents(g.Alignment.Transposition),
		Points:             g.Points, PointsOf: g.PointsOf, Segments: len(g.Segments), Flow: g.Flow,
		Hesitations: []int{}, Restarts: []GradeBack{}, Why: []GradeFault{}, Degrees: []GradeDegree{}, Notes: []GradeNote{}, AddedNotes: []GradeAdded{},
	}
	if g.Heard == grade.Singing {
		score, pass := round(g.Score, 4), round(g.Pass, 4)
		r.Score, r.PassProbability = &score, &pass
	} else {
		g.Faults, g.Weakest = nil, nil // there is nothing to find fault with
	}
	if g.Away != 0 {
		off := cents(g.Away)
		r.AwayCents = &off
	}
	if g.Pace > 0 {
		pace, unsteady := round(g.Pace, 4), round(g.Unsteady, 3)
		r.SecondsPerUnit, r.UnsteadyBeats = &pace, &unsteady
	}
	for _, ok := range g.Segments {
		if ok {
			r.SegmentsRight++
		}
	}
	for _, i := range g.Hesitations {
		r.Hesitations = append(r.Hesitations, i+1)
	}
	for _, b := range g.Alignment.Restarts {
		r.Restarts = append(r.Restarts, GradeBack{round(p.Notes[b.Sung].Onset, 3), b.From + 1, b.To + 1})
	}
	for _, f := range g.Faults {
		r.Why = append(r.Why, GradeFault{f.Name, round(f.Cost, 3), FaultText(f)})
	}
	name := func(i int) string {
		if line.Degrees == nil {
			return ""
		}
		return names.NameASCII(line.Key, line.Degrees[i])
	}
	if l := g.Weakest; l != nil {
		r.Weakest = &GradeLeap{l.From + 1, l.To + 1, int(math.Round(l.Cents / 100)), name(l.From), name(l.To), cents(l.Error), cents(l.Worst), l.Times}
	}
	for _, d := range g.Degrees {
		r.Degrees = append(r.Degrees, GradeDegree{NewDegree(line.Key, d.Degree, names), d.Notes, cents(d.Mean), cents(d.Spread)})
	}
	for i, n := range g.Notes {
		w := n.Answer
		o := GradeNote{Index: i + 1, Degree: name(i), WrittenMIDI: round(line.Notes[i].Cents/100, 3), Result: n.Finding.String(), Pieces: w.Count, Merged: w.Merged, Octave: w.Octave}
		if n.Finding != grade.Omitted && n.Finding != grade.NotHeard {
			v := cents(n.Cents)
			o.Cents = &v
		}
		if w.Count > 0 {
			on, off := round(n.Onset, 3), round(p.Notes[w.First+w.Count-1].Offset, 3)
			o.OnsetS, o.OffsetS = &on, &off
		}
		if n.Timed {
			late, length := round(n.Late, 3), round(n.Length, 3)
			o.LateBeats, o.Length = &late, &length
		}
		r.Notes = append(r.Notes, o)
	}
	for _, j := range g.Added {
		n := p.Notes[j]
		r.AddedNotes = append(r.AddedNotes, GradeAdded{round(n.Onset, 3), round(n.Offset, 3), round(n.Cents/100, 3)})
	}
	return r
}

// GradeHeader names the columns of a graded take in CSV.
const GradeHeader = "take,score,pass_probability,notes_right,notes_written,omitted,added,median_cents,drift_cents"

// Cells are the values under GradeHeader: a take that was not sung has no score.
func (g Grade) Cells() []string {
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return fmt.Sprintf("%.4f", *v)
	}
	return []string{g.Take, number(g.Score), number(g.PassProbability),
		fmt.Sprint(g.NotesRight), fmt.Sprint(g.NotesWritten), fmt.Sprint(g.Omitted), fmt.Sprint(g.Added),
		fmt.Sprintf("%.1f", g.MedianCents), fmt.Sprintf("%.1f", g.DriftCents)}
}

// unsung says what a take holds that was not sung; "" for one that was.
func (g Grade) unsung() string {
	switch g.Heard {
	case grade.Nothing.String():
		return "nothing was heard"
	case grade.Spoken.String():
		return "spoken, not sung: no pitch is held"
	}
	return ""
}

// intervals are the names of so many semitones.
var intervals = [...]string{
	"", "a semitone", "a whole tone", "a minor third", "a major third", "a fourth", "a tritone", "a fifth",
	"a minor sixth", "a major sixth", "a minor seventh", "a major seventh", "an octave",
}

// AwayText says how far the whole lies from where it was asked for.
func AwayText(cents float64) string {
	side := "high"
	if cents < 0 {
		side = "low"
	}
	n := int(math.Round(math.Abs(cents) / 100))
	if n < len(intervals) {
		return fmt.Sprintf("%s too %s", intervals[n], side)
	}
	return fmt.Sprintf("%s too %s", Many(n, "semitone"), side)
}
