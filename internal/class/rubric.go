package class

import "singback/exercise/grade"

// Criterion is one thing that a rubric can count.
type Criterion int8

const (
	Faults     Criterion = iota // the score of grade: the sum of all faults
	Jury                        // the probability that a jury lets the take pass
	Notes                       // written notes that are right
	Intervals                   // steps from note to note that are right, wherever the key went
	Rhythm                      // notes in time
	Flow                        // going on without a halt
	Bars                        // bars without any error
	Segments                    // equal segments right in pitch and rhythm
	Intonation                  // how near the notes lie
	Steadiness                  // the key and the tempo are held

	Criteria // how many there are
)

// Rubric says what counts in a mark, how much, and where the pass is.
type Rubric struct {
	Name    string
	Source  string // where the way of counting comes from; "" for common practice or the teacher's own
	Weights [Criteria]float64
	Pass    float64 // 0 to 1
	Points  int     // what a full mark is called; 0: marks are shown in per cent
	Pieces  int     // how many segments a line is parted into; 0: half bars
	Text    string  // as it was written
}

// Builtin are the rubrics that need no file, the default first.
func Builtin() []Rubric { return nil }

// ParseRubric reads the text of a rubric; name is used in errors.
func ParseRubric(name, text string) (Rubric, error) { return Rubric{}, nil }

// Sum is the fingerprint of what counts: equal sums mark alike.
func (r Rubric) Sum() string { return "" }

// Mark marks a take that was graded. The mark says what it rests on.
func (r Rubric) Mark(line grade.Line, take grade.Performance, g grade.Grading, rules grade.Rules) Mark {
	return Mark{}
}
