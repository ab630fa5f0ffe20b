package pitch

import "math"

// What the pitch would be where nobody seems to sing. The field's evaluations ask for it
// (raw pitch accuracy counts every frame in which somebody sings, whether or not a
// tracker calls it so): a second Viterbi, through candidates alone. Where the first one
// goes through a candidate, that is the estimate; elsewhere it is the best way to the
// candidates of the next frame that is voiced, or else to the end.

// forwardEstimate is forward without silence: the best paths to each candidate.
func (w *costs) forwardEstimate(prev, fr *frame) {
	top := math.Inf(-1)
	for j := range fr.c[:fr.n] {
		c := &fr.c[j]
		best, arg := 0.0, int8(-1)
		if prev != nil && prev.n > 0 {
			best = math.Inf(-1)
			for i := range prev.c[:prev.n] {
				p := &prev.c[i]
				v := p.estCost - w.between(p.oct, c.oct)
				if v > best {
					best, arg = v, int8(i)
				}
			}
		}
		c.estCost, c.estBack = best+w.share*c.like, arg
		top = max(top, c.estCost)
	}
	for j := range fr.c[:fr.n] { // keep the numbers small
		fr.c[j].estCost -= top
	}
}

// between is what it costs to go from one candidate to another.
func (w *costs) between(from, to float64) float64 {
	d := math.Abs(from - to)
	if d > moveCap {
		return w.move*moveCap + w.jump
	}
	return w.move * d
}

// traceEstimates fills guess for the frames that are not given out yet, from the path
// through them.
func (t *Tracker) traceEstimates() {
	n := int64(len(t.frames))
	state := int8(-1)
	for k := t.next - 1; k >= t.out; k-- {
		fr := &t.frames[k%n]
		if t.path[k%n] >= 0 {
			state = t.path[k%n]
		} else if state < 0 || fr.n == 0 {
			state = fr.likeliest()
		}
		t.guess[k%n] = state
		if state >= 0 {
			state = fr.c[state].estBack
		}
	}
}

// likeliest is the candidate at which the best path without silence ends; −1 for none.
func (fr *frame) likeliest() int8 {
	state := int8(-1)
	for i := range fr.c[:fr.n] {
		if state < 0 || fr.c[i].estCost > fr.c[state].estCost {
			state = int8(i)
		}
	}
	return state
}

// estimate is the pitch of frame k in hertz whether or not it is voiced; 0 for none.
func (t *Tracker) estimate(k int64) float64 {
	n := int64(len(t.frames))
	fr := &t.frames[k%n]
	s := t.guess[k%n]
	if s < 0 {
		return 0
	}
	c := &fr.c[s]
	f, _ := t.ref.refine(t.inner, int(fr.pos-t.base), c.f, c.nv, t.bending())
	if !(f >= t.cfg.MinHz && f <= t.cfg.MaxHz) {
		f = c.f
	}
	return f
}
