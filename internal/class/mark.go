package class

import (
	"math"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/theory"
)

// Mark marks a take that was graded by the rules. The mark says what it rests on, with
// syllables of movable do.
func (r Rubric) Mark(line grade.Line, take grade.Performance, g grade.Grading, rules grade.Rules) Mark {
	return r.MarkIn(theory.Movable, line, take, g, rules)
}

// MarkIn is Mark with degrees named as names has them. Ids, times and fingerprints of the
// model and the tracker are for whoever keeps the mark.
func (r Rubric) MarkIn(names theory.Naming, line grade.Line, take grade.Performance, g grade.Grading, rules grade.Rules) Mark {
	m := newMarking(r, line, take, g, rules, names)
	mark := Mark{
		Rubric: r.Name, RubricSum: r.Sum(),
		Tolerance: rules.Tolerance, FreeKey: rules.Key, FreeOctave: rules.Octave,
		Heard: g.Heard, Score: g.Score, Probability: g.Pass, PassAt: r.PassAt(line),
	}
	if g.Heard != grade.Singing {
		mark.Score, mark.Probability = 0, 0
		mark.Doubt = unheardDoubt
		for c, w := range r.Weights {
			if w > 0 {
				mark.Parts = append(mark.Parts, Part{Criterion: Criterion(c), Weight: w, Why: unsung(g.Heard)})
			}
		}
		return mark
	}
	sum := 0.0
	for c, w := range r.Weights {
		if w == 0 {
			continue
		}
		n := m.count(Criterion(c))
		p := Part{Criterion: Criterion(c), Weight: w, Value: n.value, Measured: n.measured}
		p.Why, p.Places = m.tell(Criterion(c), n)
		mark.Parts = append(mark.Parts, p)
		if n.measured {
			sum += w
			mark.Value += w * n.value
			m.measuring += w * n.spread // the same notes are in all parts: what is misheard of one is of all
			m.listening = math.Hypot(m.listening, w*listens(Criterion(c), n.value))
		}
	}
	if sum == 0 {
		mark.Doubt = 0.5
	} else {
		mark.Value = min(1, mark.Value/sum)
		mark.Pass = mark.Value >= mark.PassAt-equal
		m.measuring, m.listening = m.measuring/sum, m.listening/sum
		mark.Error, mark.Doubt = m.unsure(mark)
	}
	if why := m.whole(); why != "" {
		mark.Parts[0].Why = why + "; " + mark.Parts[0].Why
	}
	mark.Tally = m.tally()
	return mark
}

// strange is the share of the notes right in degree below which a take is hardly the
// line. Of 99 takes of the jury's data beside another melody 69 have less, of 493 beside
// their own 49, of which the jury let 2 pass; of 234 made ones beside another melody of
// the same key 42 % have less. None of either passes.
const strange = 0.4

// tally counts the degrees and moves of a take. A note is right here if its degree was
// sung, in tune or not: what is weak is which degree, and how well it is tuned stands
// elsewhere. What was left out or not heard is not counted: it says nothing of a degree.
// A move is counted where the note before was right in degree, and right where the next
// is, too; the same note again is no move. Where all lies in another key, degrees are
// those of the singer's own; a take that is hardly the line is not counted.
func (m *marking) tally() Tally {
	if m.line.Degrees == nil || m.strange() {
		return Tally{}
	}
	t := Tally{Degrees: map[theory.Degree]Count{}, Moves: map[Move]Count{}}
	for i, d := range m.line.Degrees {
		if !m.sung[i] {
			continue
		}
		right := m.onDegree(i)
		c := t.Degrees[d]
		c.add(right)
		t.Degrees[d] = c
		if i == 0 || !m.sung[i-1] || !m.onDegree(i-1) || m.line.Degrees[i-1] == d {
			continue
		}
		move := Move{m.line.Degrees[i-1], d}
		c = t.Moves[move]
		c.add(right)
		t.Moves[move] = c
	}
	return t
}

func (c *Count) add(right bool) {
	if c.Of++; right {
		c.Right++
	}
}

// onDegree tells whether note i, which was sung, is nearer to its degree than to the
// semitones beside it.
func (m *marking) onDegree(i int) bool {
	n := m.g.Notes[i]
	return n.Finding == grade.Right || math.Abs(fold(n.Cents-m.g.Away)) <= exercise.MaxTolerance
}

// strange tells whether a take is hardly the line: another melody, or noise.
func (m *marking) strange() bool {
	right := 0
	for i := range m.g.Notes {
		if m.sung[i] && m.onDegree(i) {
			right++
		}
	}
	return float64(right) < strange*float64(len(m.g.Notes))
}
