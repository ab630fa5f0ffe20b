package grade

import "math"

// claim puts the notes of a row on one pitch in order where as many were sung as are
// written, each in its time: there an alignment can hold one note over and add another,
// which costs as little as a wrong one, and the wrong note is lost among its neighbours.
func (a *Alignment) claim(line Line, sung []Sung) {
	if !line.Timed || a.Pace == 0 || len(a.Restarts) > 0 {
		return
	}
	last := -1 // the sung note that answers what is before the row
	for from, to := 0, 0; from < len(line.Notes); from = to {
		for to = from + 1; to < len(line.Notes) && math.Abs(line.Notes[to].Cents-line.Notes[from].Cents) <= mergeReach; to++ {
		}
		next := len(sung) // the one that answers what comes after it
		for i := to; i < len(line.Notes); i++ {
			if w := a.Answers[i]; w.Count > 0 {
				next = w.First
				break
			}
		}
		odd := false
		for j := last + 1; j < next; j++ {
			odd = odd || a.Written[j] < 0
		}
		n, lo, hi := to-from, last+1, next
		// A piece of the neighbours may be one of the row.
		before, after := from > 0 && a.Answers[from-1].Count > 1, to < len(line.Notes) && a.Answers[to].Count > 1
		switch {
		case n < 2 || hi-lo == n:
		case hi-lo == n-1 && after && a.inTime(line.Notes[from:to], sung[lo:hi+1]):
			a.Answers[to].First++
			a.Answers[to].Count--
			odd = true
			hi++
		case hi-lo == n-1 && before && a.inTime(line.Notes[from:to], sung[lo-1:hi]):
			a.Answers[from-1].Count--
			odd = true
			lo--
		}
		if odd && n > 1 && hi-lo == n && a.inTime(line.Notes[from:to], sung[lo:hi]) {
			for k := range n {
				i, j := from+k, lo+k
				d := sung[j].Cents - line.Notes[i].Cents - a.Reference[j]
				a.Answers[i] = Match{First: j, Count: 1, Octave: int(math.Round((d - octaveFold(d)) / 1200))}
				a.Written[j] = i
			}
		}
		for i := from; i < to; i++ {
			if w := a.Answers[i]; w.Count > 0 {
				last = max(last, w.First+w.Count-1)
			}
		}
	}
}

// inTime tells whether each sung note begins where the written one of the same number is
// due, as they lie to each other.
func (a *Alignment) inTime(line []Due, sung []Sung) bool {
	off := make([]float64, len(line))
	for k, d := range line {
		off[k] = sung[k].Onset - a.Pace*d.Onset
	}
	middle := median(off)
	for k, d := range line {
		if math.Abs(off[k]-middle) > claimReach*a.Pace*d.Length {
			return false
		}
	}
	return true
}

// claimReach is the part of its length by which a note may begin early or late and still
// be the one that is due (common practice).
const claimReach = 0.4

// another tells whether written note i was sung on another pitch, beside a note on its own
// pitch or an octave from it: the curve, which knows no octaves and reads notes on one
// pitch as one, has what is in tune there from that neighbour.
func (g *Grading) another(line Line, take Performance, i int) bool {
	like := func(k int) bool {
		return k >= 0 && k < len(line.Notes) && math.Abs(octaveFold(line.Notes[k].Cents-line.Notes[i].Cents)) <= mergeReach
	}
	if g.Alignment.Pace == 0 || !like(i-1) && !like(i+1) {
		return false
	}
	w, due := g.Alignment.Answers[i], line.Notes[i].Length*g.Alignment.Pace
	return take.Notes[w.First+w.Count-1].Offset-take.Notes[w.First].Onset >= anotherShare*due
}

// anotherShare of a note's due on another pitch is a wrong note (common practice): of a
// short one little is held.
const anotherShare = 1.0 / 3

// elsewhere tells whether what the curve has in tune for part k of the line lies in sung
// notes that answer others than written note i: a note of the part, or of any other where
// i has an answer of its own.
func (g *Grading) elsewhere(take Performance, c following, k, i int) bool {
	part := c.notes[k]
	from, to := c.members(k, len(g.Notes))
	own := g.Alignment.Answers[i]
	taken := 0.0
	for j, n := range take.Notes {
		w := g.Alignment.Written[j]
		if w < 0 || own.Count == 0 && w >= from && w < to || own.Count > 0 && j >= own.First && j < own.First+own.Count {
			continue
		}
		taken += max(0, min(n.Offset, part.ends)-max(n.Onset, part.begins))
	}
	return taken > (part.ends-part.begins)/2
}
