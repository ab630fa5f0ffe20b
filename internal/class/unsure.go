package class

import (
	"math"
)

// A mark is unsure for two reasons. What was measured may be otherwise: a note lies near
// the border of the tolerance, was found in the curve alone, begins near the border of
// its time; the spread of each criterion adds up what each note may be misheard by. And
// people who listen do not count: of two takes with the same share of right notes one
// passes and the other does not. How much that is was fitted on a jury's verdicts: see
// listeners. Both together are the standard error of a mark. The probability of the
// other side of the pass line follows from it by the logistic curve, whose tails are as
// heavy as those of people. For faults and the jury's probability it is the probability
// that grade gives, which was tried on takes that it was not fitted on.

// listeners are, for each criterion, the scale of the logistic curve by which the value
// divides the takes that a jury let pass from the others: the odds change by e for each.
// They are round numbers near those of 493 takes, in the table of make evaluate-marks,
// less what is measuring.
var listeners = [Criteria]float64{
	Notes: 0.11, Intervals: 0.12, Rhythm: 0.1, Flow: 0.5, Bars: 0.17, Segments: 0.13, Intonation: 0.11, Steadiness: 0.3, Key: 0.3,
}

// listens is that scale where a criterion has a value. That of faults and of the jury is
// in grade's formulas: the odds change by e for 0.8 of cost, a tenth of the score.
func listens(c Criterion, value float64) float64 {
	switch c {
	case Faults:
		return 0.1 * value
	case Jury:
		return max(0.01, value*(1-value))
	}
	return listeners[c]
}

// unheardDoubt is the doubt of a take that was not sung. None of 517 takes that people
// sang is called so (go doc ./exercise/grade, Heard); but a recording may be too soft to
// be heard, and how often that is depends on who records: it was not measured.
const unheardDoubt = 0.1

// logistic is the standard deviation of the logistic distribution of scale 1.
const logistic = math.Pi / 1.7320508075688772

// unsure is the standard error of a mark and the probability of the other side.
func (m *marking) unsure(mark Mark) (spread, doubt float64) {
	scale := math.Hypot(m.listening, m.measuring/logistic)
	alone := len(mark.Parts) == 1
	switch {
	case m.rubric.EvenJury, alone && mark.Parts[0].Criterion == Jury && mark.PassAt == 0.5:
		doubt = min(mark.Probability, 1-mark.Probability)
	case scale > 0:
		doubt = 1 / (1 + math.Exp(math.Abs(mark.Value-mark.PassAt)/scale))
	default:
		doubt = 0.5
	}
	return scale * logistic, doubt
}
