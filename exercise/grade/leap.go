package grade

import "math"

// leapMost is what one interval's error counts at most.
const leapMost = 200.0

// leaps finds the interval of the line that was sung worst.
func (g *Grading) leaps(line Line) {
	sums := map[int]*Leap{}
	var order []int
	for i := 1; i < len(line.Notes); i++ {
		a, b := g.Notes[i-1], g.Notes[i]
		if a.Answer.Count == 0 || b.Answer.Count == 0 {
			continue
		}
		written := line.Notes[i].Cents - line.Notes[i-1].Cents
		step := int(math.Round(written / 100))
		if step == 0 {
			continue
		}
		worst := math.Abs(octaveFold(b.Cents - a.Cents))
		off := min(leapMost, worst)
		l := sums[step]
		if l == nil {
			l = &Leap{From: i - 1, To: i, Cents: written}
			sums[step] = l
			order = append(order, step)
		}
		if worst > l.Worst {
			l.From, l.To, l.Worst = i-1, i, worst
		}
		l.Times++
		l.Error += (off - l.Error) / float64(l.Times)
	}
	for _, step := range order {
		if l := sums[step]; l.Error > weakLeap && (g.Weakest == nil || l.Error > g.Weakest.Error+equal) {
			g.Weakest = l
		}
	}
}

// weakLeap is the error from which an interval is worth practising: listeners
// accept some 25 cents (Vurma & Ross, "Production and perception of musical
// intervals", Music Perception 23, 2006).
const weakLeap = 25.0
