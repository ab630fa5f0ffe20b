package grade

import (
	"cmp"
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

// Weights of the faults: what the whole of one costs, in the logarithm of the
// odds that a jury lets the take pass.
type weights struct{ base, missing, rhythm, held, added float64 }

var (
	timedWeights     = weights{3.2, 13, 13, 9, 3}
	performedWeights = weights{2.9, 13, 13, 8, 4}
	untimedWeights   = weights{1.75, 20, 0, 0, 6} // the rhythm is not known: a take without a fault may fail by it
)

const (
	restartCost = 0.7
	driftCost   = 0.5  // of a semitone
	scoreScale  = 8.0  // the faults that bring the score to 1/e
	driftTold   = 25.0 // cents: a key that moves less has not moved
	goodShare   = 0.8  // of its due is a note that was held
	lateMost    = 2.0  // beats: being later is no worse
)

// Measures are the amounts of the faults that a jury's verdicts can be compared
// with, each 0 for none: Missing is the mean square of what the notes lack of
// their due in tune; Rhythm the mean distance of their beginnings from their
// time, in double beats; Held the mean of the doublings of their lengths; Added
// the sound that belongs to no note, against the line's length. Of a line that was
// performed, a short note counts for less in Held, and one before a silence does
// not count: where such a note ends is not known.
type Measures struct{ Missing, Rhythm, Held, Added float64 }

// lacks is what a note lacks of its due, 0 … 1.
func (n got) lacks() float64 { return 1 - min(1, n.tune/goodShare) }

func (w following) measures(performed bool) Measures {
	var m Measures
	sung, dues, notes := 0.0, 0.0, 0.0
	for i, n := range w.notes {
		if w.rest[i] {
			continue
		}
		notes++
		m.Missing += n.lacks() * n.lacks()
		dues += w.line[i].Length * w.pace
		if n.to == n.from {
			continue
		}
		sung++
		m.Held += w.held(i, performed)
		m.Rhythm += w.late(i)
	}
	m.Missing /= notes
	m.Held /= notes
	m.Rhythm = 1 - ratioOr(sung-m.Rhythm, sung, 0)
	m.Added = min(1, float64(len(w.spare))/dues)
	return m
}

// held is how many doublings note i was held too long, 1 at most.
func (w following) held(i int, performed bool) float64 {
	if i == len(w.notes)-1 || performed && w.rest[i+1] {
		return 0 // the last may be
	}
	held := max(0, min(1, math.Log2(w.notes[i].length)))
	if performed {
		held *= min(1, w.line[i].Length/w.beat)
	}
	return held
}

// late is how far note i began from its time, in double beats, 1 at most.
func (w following) late(i int) float64 {
	return min(1, math.Abs(float64(w.notes[i].from)-w.start-w.pace*w.line[i].Onset)/(lateMost*w.beat*w.pace))
}

func ratioOr(a, b, none float64) float64 {
	if b == 0 {
		return none
	}
	return a / b
}

// sounding is how many of the notes are no rests.
func (w following) sounding() int {
	n := 0
	for _, r := range w.rest {
		if !r {
			n++
		}
	}
	return n
}

// weigh adds the faults up. What each costs comes from the curve, in which a
// note that goes wrong moves its neighbours; what it is called comes from the
// notes, so that no sentence says what the numbers beside it do not bear out.
func (g *Grading) weigh(line Line, take Performance, c following) {
	m := c.measures(line.Performed)
	g.Measures = m
	w := timedWeights
	switch {
	case !line.Timed:
		w = untimedWeights
	case line.Performed:
		w = performedWeights
	}
	b := newBlame(g, line, take, c)
	b.missing(w.missing)
	b.rhythm(w.rhythm * m.Rhythm)
	b.held(w.held*m.Held, line.Performed)
	b.added(w.added * m.Added)
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
	sort.SliceStable(g.Faults, func(i, j int) bool { return cmp.Compare(g.Faults[j].Cost, g.Faults[i].Cost) < 0 })
	g.Score = math.Exp(-sum / scoreScale)
	g.Pass = 1 / (1 + math.Exp(sum-w.base))
}
