package classfile

import (
	"fmt"

	"singback/exercise/grade"
	"singback/internal/class"
)

// PlainMark is a mark as a record of JSON, with what the file of a class keeps of it.
type PlainMark struct {
	Rubric      string  `json:"rubric"`
	RubricSum   string  `json:"rubric_sum"`
	Tolerance   float64 `json:"tolerance_cents"`
	FreeKey     bool    `json:"free_key"`
	FreeOctave  bool    `json:"free_octave"`
	ModelSum    string  `json:"model_sum"`
	Measured    string  `json:"measured"`
	Heard       int     `json:"heard"`
	Value       float64 `json:"value"`
	Pass        bool    `json:"pass"`
	PassAt      float64 `json:"pass_at"`
	Error       float64 `json:"error"`
	Doubt       float64 `json:"doubt"`
	Score       float64 `json:"score"`
	Probability float64 `json:"probability"`
	Parts       string  `json:"parts"`
	Tally       string  `json:"tally"`
}

// Plain is a mark as a record.
func Plain(m class.Mark) PlainMark {
	return PlainMark{m.Rubric, m.RubricSum, m.Tolerance, m.FreeKey, m.FreeOctave, m.ModelSum, m.Measured, int(m.Heard), m.Value, m.Pass, m.PassAt, m.Error, m.Doubt, m.Score, m.Probability,
		writeParts(m.Parts), writeTally(m.Tally)}
}

// Mark is the way back. Values out of range are an error.
func (p PlainMark) Mark() (m class.Mark, err error) {
	for _, v := range []float64{p.Value, p.PassAt, p.Score, p.Probability, p.Doubt} {
		if !(v >= 0 && v <= 1) {
			return m, fmt.Errorf("a mark of %g: want 0 to 1", v)
		}
	}
	m = class.Mark{Rubric: p.Rubric, RubricSum: p.RubricSum, Tolerance: p.Tolerance, FreeKey: p.FreeKey, FreeOctave: p.FreeOctave, ModelSum: p.ModelSum, Measured: p.Measured,
		Heard: grade.Heard(p.Heard), Value: p.Value, Pass: p.Pass, PassAt: p.PassAt, Error: p.Error, Doubt: p.Doubt, Score: p.Score, Probability: p.Probability}
	if m.Parts, err = readParts(p.Parts); err == nil {
		m.Tally, err = readTally(p.Tally)
	}
	return m, err
}
