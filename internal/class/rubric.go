package class

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"

	"singback/exercise/grade"
)

// Criterion is one thing that a rubric can count. What each comes to, from 0 to 1,
// is defined in count.go, and told in the topic marks of the handbook.
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
	Key                         // the key is held

	Criteria // how many there are
)

var criterionNames = [Criteria]string{
	"faults", "jury", "notes", "intervals", "rhythm", "flow", "bars", "segments", "intonation", "steadiness", "key",
}

// String returns the name used in the file and in machine-readable output.
func (c Criterion) String() string { return criterionNames[c] }

// Text says in a few words what is counted.
func (c Criterion) Text() string {
	return [Criteria]string{
		"the score of grade: all faults, by what they cost with a jury",
		"how likely a jury lets the take pass",
		"the share of the written notes that are right",
		"the share of the steps from note to note that are right, wherever the key went",
		"the share of the notes that begin in time",
		"going on without a restart and without a wait",
		"the share of the bars without an error",
		"the share of equal segments that are right in pitch and rhythm",
		"how near the notes lie to their pitch",
		"the key and the tempo are held",
		"the key is held",
	}[c]
}

// ParseCriterion reads a name.
func ParseCriterion(s string) (Criterion, error) {
	if k := slices.Index(criterionNames[:], s); k >= 0 {
		return Criterion(k), nil
	}
	return 0, fmt.Errorf("nothing that is called so can be counted: want %s", strings.Join(criterionNames[:], ", "))
}

// Rubric says what counts in a mark, how much, and where the pass is. A mark that it
// gives is not an examination mark.
type Rubric struct {
	Name    string
	Source  string // where the way of counting comes from; "" for common practice or the teacher's own
	Weights [Criteria]float64
	// Pass is the value, 0 to 1, from which on a take passes. EvenJury puts it where a
	// jury is as likely to let the take pass as not, which lies elsewhere for a line
	// with rhythm, without, and performed: see PassAt. Then faults alone count.
	Pass     float64
	EvenJury bool
	Points   int    // what a full mark is called; 0: marks are shown in per cent
	Pieces   int    // how many segments a line is parted into; 0: half bars
	Text     string // as it was written
}

// Bounds of a rubric.
const (
	MaxWeight = 1000.0
	MaxPoints = 1000
	MaxPieces = 64
)

// Validate reports what no rubric may have.
func (r Rubric) Validate() error {
	if err := CheckName(r.Name); err != nil {
		return err
	}
	if err := checkWords("the source", r.Source); err != nil {
		return err
	}
	sum := 0.0
	for c, w := range r.Weights {
		if !(w >= 0 && w <= MaxWeight) {
			return fmt.Errorf("%s: a weight of %g is out of range: want 0 to %g", Criterion(c), w, MaxWeight)
		}
		sum += w
	}
	switch {
	case sum == 0:
		return errors.New("nothing counts: want at least one weight above 0")
	case r.EvenJury && sum != r.Weights[Faults]:
		return errors.New("a pass at even odds with a jury wants faults alone to count")
	case !r.EvenJury && !(r.Pass >= 0 && r.Pass <= 1):
		return fmt.Errorf("a pass of %g is out of range: want 0 to 1", r.Pass)
	case r.Points < 0 || r.Points > MaxPoints:
		return fmt.Errorf("%d points are out of range: want 0 to %d", r.Points, MaxPoints)
	case r.Pieces < 0 || r.Pieces > MaxPieces:
		return fmt.Errorf("%d pieces are out of range: want 0 to %d", r.Pieces, MaxPieces)
	}
	return nil
}

// PassAt is the value from which on a take of the line passes.
func (r Rubric) PassAt(line grade.Line) float64 {
	if r.EvenJury {
		return line.EvenScore()
	}
	return r.Pass
}

// counting is the version of what the criteria mean. It is raised when one comes to
// another value, so that marks that were made before are known to be so.
const counting = 1

// Sum is the fingerprint of what counts: equal sums mark alike. The name, the source,
// the points and the size of the weights, but for their proportion, change nothing.
func (r Rubric) Sum() string {
	sum := 0.0
	for _, w := range r.Weights {
		sum += w
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%d", counting)
	for c, w := range r.Weights {
		if w > 0 {
			fmt.Fprintf(&b, " %s %g", Criterion(c), w/sum)
		}
	}
	if r.Weights[Segments] > 0 {
		fmt.Fprintf(&b, " pieces %d", r.Pieces)
	}
	if r.EvenJury {
		b.WriteString(" pass jury")
	} else {
		fmt.Fprintf(&b, " pass %g", r.Pass)
	}
	h := sha256.Sum256([]byte(b.String()))
	return hex.EncodeToString(h[:8])
}

// Shown is a value as the rubric calls it: "7.5 of 9", or "83 %".
func (r Rubric) Shown(value float64) string {
	if r.Points == 0 {
		return fmt.Sprintf("%.0f %%", 100*value)
	}
	return fmt.Sprintf("%s of %d", strings.TrimSuffix(fmt.Sprintf("%.1f", value*float64(r.Points)), ".0"), r.Points)
}

// builtin are the texts of the rubrics that come along, the default first. Where a jury's
// verdicts are to be had the pass lies where their takes are as likely to pass as not, by
// a logistic curve through 493 of them: see internal/testkit/results.
var builtin = []string{
	`name = "faults"
source = "the score of grade, whose weights were fitted on a jury's verdicts on 493 takes of melodies sung back; the pass is where that jury was as likely to let a take pass as not"
pass = "jury"

[counts]
faults = 1
`,
	`name = "notes"
source = "Henry 2001: each thing that is asked of a singer at sight is right or wrong; counted by notes it agrees with that by r = .95"
pass = 0.8

[counts]
notes = 1
`,
	`name = "intervals and key"
source = "Larrouy-Maestri 2013: the size of intervals and changes of key explain most of what experts think of untrained singers; the weights and the pass are ours"
pass = 0.8

[counts]
intervals = 3
key = 1
`,
	`name = "segments and flow"
source = "small units are counted, since people agree better on them than on one mark for all; half bars right in pitch and rhythm, and a point of nine for going on, common practice"
pass = 0.5
points = 9

[counts]
segments = 8
flow = 1
`,
	`name = "bars"
source = "a bar with any error is wrong: common practice of performance scales"
pass = 0.5

[counts]
bars = 1
`,
}

// Builtin are the rubrics that need no file, the default first.
func Builtin() []Rubric {
	out := make([]Rubric, len(builtin))
	for k, text := range builtin {
		r, err := ParseRubric("", text)
		if err != nil {
			panic("class: " + err.Error()) // a test reads them
		}
		out[k] = r
	}
	return out
}

// Default is the rubric of a task that says nothing else.
func Default() Rubric { return Builtin()[0] }

// RubricNamed finds a built-in rubric.
func RubricNamed(name string) (Rubric, error) {
	var names []string
	for _, r := range Builtin() {
		if r.Name == name {
			return r, nil
		}
		names = append(names, fmt.Sprintf("%q", r.Name))
	}
	return Rubric{}, fmt.Errorf("no rubric that comes along is called %q: want %s", name, strings.Join(names, ", "))
}
