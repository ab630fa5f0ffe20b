package grade

import (
	"math"
	"sort"
)

// Fault is one part of a score: something a teacher would say. What it rests on,
// the other numbers of the same grading bear out.
type Fault struct {
	Name  string  // one of those of faultNames
	Cost  float64 // what it takes from the score, more than 0
	Timed bool    // the line has a rhythm

	Notes []int // the notes it is about, by index, in order; nil for added, restarts, tempo, drift
	Count int   // of added notes, of restarts
	// Amount is, for added, the sound that belongs to no note against the line's
	// length; for tempo, how much longer a beat of the second half is, in beats of
	// the first; for rhythm, how far the Notes begin from their time, in beats on
	// average (of one note, negative if early; without Notes, that of all); for
	// drift, the way of the key in cents.
	Amount float64
}

// faultNames are the names of the faults; of those that cost the same the first
// is told first.
var faultNames = [...]string{
	"omitted", "wrong", "out_of_tune", "short", "added", "restarts", "waited", "tempo", "rhythm", "held", "drift", "unclear",
}

// Weights of the faults: what the whole of one costs. Less base and times oddsScale
// that is the logarithm of the odds that a jury does not let the take pass.
type weights struct{ base, missing, passed, rhythm, added float64 }

var (
	timedWeights     = weights{2.9, 12, 19, 24, 3}
	performedWeights = weights{2.65, 13, 13, 22, 3}
	untimedWeights   = weights{1.95, 12, 25, 0, 8} // the rhythm is not known: a take without a fault may fail by it
)

// weightsOf are the weights for a line.
func weightsOf(line Line) weights {
	switch {
	case !line.Timed:
		return untimedWeights
	case line.Performed:
		return performedWeights
	}
	return timedWeights
}

// EvenScore is the score at which a take of the line is as likely to pass with a jury
// as not: where Pass is a half.
func (l Line) EvenScore() float64 { return math.Exp(-weightsOf(l).base / scoreScale) }

const (
	restartCost = 0.7
	driftCost   = 0.5  // of a semitone
	oddsScale   = 1.25 // log odds of passing for a cost: on question sets that the weights were not fitted on
	scoreScale  = 8.0  // the faults that bring the score to 1/e
	driftTold   = 25.0 // cents: a key that moves less has not moved
)

func ratioOr(a, b, none float64) float64 {
	if b == 0 {
		return none
	}
	return a / b
}

// weigh adds the faults up. What each costs comes from the curve, in which a
// note that goes wrong moves its neighbours; what it is called comes from the
// notes, so that no sentence says what the numbers beside it do not bear out.
func (g *Grading) weigh(line Line, take Performance, rules Rules, c following) {
	p := c.apart(line, notesOf{
		octave: rules.Octave || rules.Key,
		bad:    func(i int) bool { return g.Notes[i].Finding == Wrong || g.Notes[i].Finding == Omitted },
		sung:   func(i int) float64 { return soundOf(g.Notes[i].Answer, take) },
		onset:  func(i int) float64 { return take.Notes[g.Notes[i].Answer.First].Onset },
		key:    func(t float64) float64 { return g.zero + g.slope*t },
	})
	g.Measures = p.measures()
	w := weightsOf(line)
	b := newBlame(g, line, take, c, p)
	b.missing(w)
	b.rhythm(w.rhythm)
	b.added(w.added * g.Measures.Added)
	n := float64(len(g.Alignment.Restarts))
	b.costs["restarts"] += restartCost * n
	if d := math.Abs(g.Drift) / 100; d > driftTold/100 {
		b.costs["drift"] += driftCost * d
	}
	sum := 0.0
	for _, name := range faultNames { // in one order, so that rounding is too
		cost := b.costs[name]
		if cost > 0 {
			g.Faults = append(g.Faults, b.fault(name, cost))
		}
		sum += cost
	}
	sort.SliceStable(g.Faults, func(i, j int) bool { return g.Faults[j].Cost < g.Faults[i].Cost })
	g.Score = math.Exp(-sum / scoreScale)
	g.Pass = 1 / (1 + math.Exp(oddsScale*(sum-w.base)))
}
