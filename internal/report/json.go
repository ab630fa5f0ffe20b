// Package report turns verdicts and tallies into words, tables and
// machine-readable records.
//
// [Style] writes for people, in the naming they chose; [NewVerdict] and
// [NewSummary] make the records that `--format json` prints. Their field names
// are a contract: scripts depend on them. The package computes nothing about
// music: it shows what package exercise found.
package report

import (
	"math"

	"singback/exercise"
	"singback/theory"
)

// Schema is the version of the machine-readable records. It grows when a field
// changes its meaning or goes away; new fields do not change it.
const Schema = 1

// Degree names a degree of a key for a program.
type Degree struct {
	Degree    string `json:"degree"`    // counted from the major scale on the tonic, in minor too: "6", "b3", "#4"
	Syllable  string `json:"syllable"`  // movable do, do-based minor
	Name      string `json:"name"`      // in the naming the user chose
	Note      string `json:"note"`      // spelled note, with the octave where it is a prompt
	Semitones int    `json:"semitones"` // above the tonic, 0 … 11
}

// NewDegree describes a degree.
func NewDegree(k theory.Key, d theory.Degree, n theory.Naming) Degree {
	return Degree{
		Degree:    d.ASCII(),
		Syllable:  theory.Movable.NameASCII(k, d),
		Name:      n.NameASCII(k, d),
		Note:      k.Note(d).ASCII(),
		Semitones: d.Semitones(),
	}
}

// placed describes a degree at a pitch.
func placed(k theory.Key, d theory.Degree, n theory.Naming, p theory.Pitch) Degree {
	out := NewDegree(k, d, n)
	out.Note = p.ASCII()
	return out
}

// Sung is the degree that was sung.
type Sung struct {
	Degree
	OctaveShift int `json:"octave_shift"` // 0: the octave of the prompt; −1: an octave below
}

// Prompt is the record of one question.
type Prompt struct {
	Asked    Degree  `json:"asked"`
	From     *Degree `json:"from"` // sounded first; null where the key alone was set
	TargetHz float64 `json:"target_hz"`
	Folded   bool    `json:"folded"` // moved by an octave to fit the voice
	// OutsideRange tells that the voice has no place for it in any octave.
	OutsideRange bool `json:"outside_range,omitempty"`
}

// NewPrompt makes the record of a question.
func NewPrompt(it exercise.Item, n theory.Naming) Prompt {
	target, folded := it.Target()
	p := Prompt{
		Asked:    placed(it.Key, it.Asked, n, target),
		TargetHz: Hz(it.Hz(target)),
		Folded:   folded,

		OutsideRange: it.Register.Outside(target),
	}
	if it.From != nil {
		from := placed(it.Key, *it.From, n, it.FromPitch())
		p.From = &from
	}
	return p
}

// Verdict is the record of one attempt. Fields that were not measured are null.
type Verdict struct {
	Key            string  `json:"key"`
	A4Hz           float64 `json:"a4_hz"`
	Tuning         string  `json:"tuning"`
	TuningNote     *string `json:"tuning_note"` // where the tolerance is finer than tunings differ
	ToleranceCents float64 `json:"tolerance_cents"`
	StrictOctave   bool    `json:"strict_octave"`
	Prompt
	Outcome        string   `json:"outcome"`
	Reason         *string  `json:"reason"`
	Sung           *Sung    `json:"sung"`
	Cents          *float64 `json:"cents"`            // from the degree in sung
	CentsFromAsked *float64 `json:"cents_from_asked"` // from the asked degree, nearest octave
	CentsSE        *float64 `json:"cents_se"`
	SpreadCents    *float64 `json:"spread_cents"`
	VibratoHz      *float64 `json:"vibrato_hz"`
	VibratoCents   *float64 `json:"vibrato_cents"`
	ScoopCents     *float64 `json:"scoop_cents"`
	SettleS        *float64 `json:"settle_s"`
	HeldS          *float64 `json:"held_s"`
	AnswerS        *float64 `json:"answer_s"`
	F0Hz           *float64 `json:"f0_hz"`
	LevelDBFS      float64  `json:"level_dbfs"`
	BySteps        bool     `json:"by_steps"`
}

// NewVerdict makes the record of an attempt.
func NewVerdict(it exercise.Item, v exercise.Verdict, tol exercise.Tolerance, n theory.Naming) Verdict {
	out := Verdict{
		Key: it.Key.ASCII(), A4Hz: it.Tuning.A4, Tuning: it.Tuning.String(),
		ToleranceCents: tol.Cents, StrictOctave: tol.StrictOctave,
		Prompt:  NewPrompt(it, n),
		Outcome: v.Outcome.String(), LevelDBFS: round(v.Level, 1), BySteps: v.BySteps,
	}
	if note := (Style{Names: n, ASCII: true}).TuningNote([]exercise.Item{it}, tol); note != "" {
		out.TuningNote = &note
	}
	if v.Outcome == exercise.NotMeasured {
		reason := v.Reason.String()
		out.Reason = &reason
		return out
	}
	if v.HasSung {
		out.Sung = &Sung{NewDegree(it.Key, v.Sung, n), v.OctaveShift}
		out.Cents = number(v.Cents, 2)
		out.CentsFromAsked = number(v.FromAsked, 2)
	}
	out.CentsSE = number(v.SE, 2)
	out.SpreadCents = number(v.Spread, 2)
	out.VibratoHz = number(v.VibratoHz, 2)
	out.VibratoCents = number(v.VibratoCents, 2)
	out.ScoopCents = number(v.Scoop, 1)
	out.SettleS = number(v.Settle, 3)
	out.HeldS = number(v.Held, 3)
	out.AnswerS = number(v.Answer, 3)
	out.F0Hz = number(v.F0, 3)
	return out
}

// Count is the record of one row of a summary.
type Count struct {
	Asked       int      `json:"asked"`
	Answered    int      `json:"answered"` // asked less not measured, ambiguous and no degree
	Right       int      `json:"right"`
	Flat        int      `json:"flat"`
	Sharp       int      `json:"sharp"`
	OtherDegree int      `json:"other_degree"`
	Unsteady    int      `json:"unsteady"`
	NoDegree    int      `json:"no_degree"` // the pitch moved too much to name one
	Ambiguous   int      `json:"ambiguous"`
	NotMeasured int      `json:"not_measured"`
	MedianCents *float64 `json:"median_cents"` // of the answers on the asked degree; null without one
}

func newCount(c exercise.Count) Count {
	out := Count{c.Asked, c.Answered(), c.Right, c.Flat, c.Sharp, c.Other, c.Unsteady, c.NoDegree, c.Ambiguous, c.NotMeasured, nil}
	if m, n := c.Median(); n > 0 {
		out.MedianCents = number(m, 2)
	}
	return out
}

// DegreeCount is a summary row of one degree.
type DegreeCount struct {
	Degree
	Count
}

// PairCount is a summary row of one from-to pair.
type PairCount struct {
	From Degree `json:"from"`
	To   Degree `json:"to"`
	Count
}

// Summary is the record of a session.
type Summary struct {
	Interrupted bool          `json:"interrupted"`
	Total       Count         `json:"total"`
	ByDegree    []DegreeCount `json:"by_degree"`
	ByPair      []PairCount   `json:"by_pair"`
	Bass        Score         `json:"bass,omitzero"`      // degrees in the bass, named; these only where such were asked
	Quality     Score         `json:"quality,omitzero"`   // qualities of chords, named
	Lines       Score         `json:"lines,omitzero"`     // melodies, passed
	Hand        Score         `json:"hand,omitzero"`      // degrees struck once they had been sung
	Balanced    []Balanced    `json:"balanced,omitempty"` // of progressions, instead of bass and quality
}

// Score is how many of so many were right.
type Score struct {
	Right int `json:"right"`
	Of    int `json:"of"`
}

// NewSummary makes the record of a session in one key.
func NewSummary(k theory.Key, t exercise.Tally, n theory.Naming, interrupted bool) Summary {
	out := Summary{Interrupted: interrupted, Total: newCount(t.All), ByDegree: []DegreeCount{}, ByPair: []PairCount{}}
	out.Bass, out.Quality, out.Lines, out.Hand = Score(t.Bass), Score(t.Quality), Score(t.Lines), Score(t.Hand)
	for _, c := range t.ByDegree() {
		out.ByDegree = append(out.ByDegree, DegreeCount{NewDegree(k, c.Degree, n), newCount(c.Count)})
	}
	for _, c := range t.ByPair() {
		out.ByPair = append(out.ByPair, PairCount{NewDegree(k, c.From, n), NewDegree(k, c.To, n), newCount(c.Count)})
	}
	return out
}

// Hz rounds a frequency as the records give it, to 0.001 Hz.
func Hz(f float64) float64 { return round(f, 3) }

func number(x float64, digits int) *float64 {
	x = round(x, digits)
	return &x
}

// round rounds x to so many decimals, and −0 to 0.
func round(x float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(x*p)/p + 0
}
