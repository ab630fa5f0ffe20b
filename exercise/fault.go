package exercise

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Fault is one part of a score: something a teacher would say.
type Fault struct {
	Name   string  // omitted, wrong, out_of_tune, short, rhythm, held, added, restarts, drift
	Amount float64 // how much of it, 0 for none: see Measures
	Cost   float64 // what it takes from the score, 0 and more
	Why    string  // the sentence
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
	driftCost   = 0.5 // of a semitone
	scoreScale  = 8.0 // the faults that bring the score to 1/e
	goodShare   = 0.8 // of its due is a note that was held
	lateMost    = 2.0 // beats: being later is no worse
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
		held := max(0, min(1, math.Log2(n.length)))
		if performed {
			held *= min(1, w.line[i].Length/w.beat)
		}
		last := i == len(w.notes)-1 // it may be held
		if !last && !(performed && w.rest[i+1]) {
			m.Held += held
		}
		m.Rhythm += min(1, math.Abs(float64(n.from)-w.start-w.pace*w.line[i].Onset)/(lateMost*w.beat*w.pace))
	}
	m.Missing /= notes
	m.Held /= notes
	m.Rhythm = 1 - ratioOr(sung-m.Rhythm, sung, 0)
	m.Added = min(1, w.extra/dues)
	return m
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

// weigh adds the faults up.
func (g *Grading) weigh(line Line, c following) {
	m := c.measures(line.Performed)
	g.Measures = m
	w := timedWeights
	switch {
	case !line.Timed:
		w = untimedWeights
	case line.Performed:
		w = performedWeights
	}
	// What the notes lack, by the reason for most of it.
	lack := map[string]float64{}
	which := map[string][]int{}
	for k, n := range c.notes {
		if n.lacks() == 0 || c.rest[k] {
			continue
		}
		name := "short"
		switch f := g.Notes[c.first[k]].Finding; {
		case f == Omitted || n.to == n.from:
			name = "omitted"
		case f == Wrong:
			name = "wrong"
		case f == OutOfTune:
			name = "out_of_tune"
		}
		lack[name] += n.lacks() * n.lacks() / float64(c.sounding())
		if n.lacks() > 0.3 {
			which[name] = append(which[name], c.first[k]+1)
		}
	}
	add := func(name string, amount, cost float64, why string) {
		if amount > 0 && cost > 0 {
			g.Faults = append(g.Faults, Fault{name, amount, cost, why})
		}
	}
	for name, say := range map[string]string{
		"omitted": "left out", "wrong": "another degree",
		"out_of_tune": "out of tune", "short": "held for less than their time, or not clear",
	} {
		if lack[name] > 0 {
			add(name, lack[name], w.missing*lack[name], noteList(which[name])+say)
		}
	}
	add("rhythm", m.Rhythm, w.rhythm*m.Rhythm, fmt.Sprintf("notes begin %.2f beats from their time on average", m.Rhythm*lateMost))
	add("held", m.Held, w.held*m.Held, "notes are held, or hesitated over, longer than written")
	add("added", m.Added, w.added*m.Added, fmt.Sprintf("sound that belongs to no note, %.0f %% of the line's length", 100*m.Added))
	n := float64(len(g.Alignment.Restarts))
	add("restarts", n, restartCost*n, fmt.Sprintf("went back %.0f times to sing again", n))
	if d := math.Abs(g.Drift) / 100; d > 0.25 {
		add("drift", d, driftCost*d, fmt.Sprintf("the key moved by %+.0f cents", g.Drift))
	}
	slices.SortFunc(g.Faults, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(b.Cost, a.Cost), strings.Compare(a.Name, b.Name))
	})
	sum := 0.0
	for _, f := range g.Faults {
		sum += f.Cost
	}
	g.Score = math.Exp(-sum / scoreScale)
	g.Pass = 1 / (1 + math.Exp(sum-w.base))
}

// noteList names notes by number.
func noteList(n []int) string {
	const most = 8
	switch len(n) {
	case 0:
		return "some notes a little: "
	case 1:
		return fmt.Sprintf("note %d: ", n[0])
	}
	var b strings.Builder
	b.WriteString("notes ")
	for k, v := range n[:min(most, len(n))] {
		if k > 0 {
			b.WriteString(", ")
		}
		fmt.Fprint(&b, v)
	}
	if len(n) > most {
		fmt.Fprintf(&b, " and %d more", len(n)-most)
	}
	return b.String() + ": "
}
