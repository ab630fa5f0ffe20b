package grade

import "math"

// NewPerformedLine returns the notes of somebody who sang or played the line, in
// the rhythm that was meant: where their beginnings lie near a common pulse, they
// are put on it. A note is due until the next begins, unless a silence follows
// that has room for a note of its own. What was due there is not known: it may
// be a rest, or a note that was not found.
func NewPerformedLine(sung []Sung) (Line, error) {
	line := Line{Timed: true, Performed: true}
	if len(sung) == 0 {
		return line.checked()
	}
	at := make([]float64, len(sung))
	for k, n := range sung {
		at[k] = n.Onset - sung[0].Onset
	}
	at, places, pulse := onPulse(at)
	for k, n := range sung {
		d := Due{n.Cents, at[k], n.Offset - n.Onset}
		switch {
		case k+1 == len(sung):
			if k > 0 {
				d.Length = min(d.Length, lastMost*pulse)
			}
		case sung[k+1].Onset-n.Offset < lostLeast*pulse:
			d.Length = at[k+1] - at[k]
		case places != nil:
			room := places[k+1] - places[k]
			half := max(1, math.Round(2*d.Length/pulse))
			d.Length = min(half, max(0.5, float64(room-1))) * pulse / 2
		}
		line.Notes = append(line.Notes, d)
	}
	return line.checked()
}

// Costs are against squared distances in half pulses. They were chosen on the
// piano tracks that a jury's candidates heard (see DEVELOPERS.md), and none is
// critical within a third.
const (
	lastMost    = 3.0  // pulses that the last note is due: how long somebody lets it ring says little
	lostLeast   = 0.5  // pulses of silence that are not only a note which faded or was let go early
	offPulse    = 0.45 // cost of beginning between two pulses
	oddPulse    = 0.3  // cost of a pulse twice or half as long as the usual time between two notes
	pulseFollow = 0.5  // part of what a note is off by which the pulse moves
	pulseNoise  = 0.07 // mean square distance beyond which there is no pulse
	pulseLeast  = 5    // notes from which on one can be found
)

// onPulse puts times that begin at 0 and ascend onto a pulse and the middle
// between two, if they lie near to one, and returns their places in half pulses
// too. The pulse is that of most notes, or, where there is none, the usual time
// between two; then places are nil.
func onPulse(at []float64) (on []float64, places []int, pulse float64) {
	var apart []float64
	for k := 1; k < len(at); k++ {
		apart = append(apart, at[k]-at[k-1])
	}
	usual := median(apart)
	if len(at) < pulseLeast || usual <= 0 {
		return at, nil, usual
	}
	best := math.Inf(1)
	for r := 0.60; r <= 1.6; r *= 1.01 {
		p, cost, _ := pulses(at, usual*r/2)
		if cost += oddPulse * math.Abs(math.Log2(r)); cost < best {
			best, places = cost, p
		}
	}
	half := at[len(at)-1] / float64(places[len(places)-1])
	p, _, noise := pulses(at, half)
	if noise > pulseNoise {
		return at, nil, usual
	}
	half = at[len(at)-1] / float64(p[len(p)-1])
	on = make([]float64, len(at))
	for k, m := range p {
		on[k] = half * float64(m)
	}
	return on, p, 2 * half
}

// pulses places times on half pulses so that they are near to them and most lie
// on a pulse. The pulse follows the performer: it moves by a part of what each
// time is off.
func pulses(at []float64, half float64) (places []int, cost, noise float64) {
	type way struct {
		before, steps int
		off           float64
	}
	ways := make([][2]way, len(at))
	costs := [2]float64{0, offPulse}
	phase := [2]float64{at[0], at[0]}
	for k := 1; k < len(at); k++ {
		next := [2]float64{math.Inf(1), math.Inf(1)}
		var moved [2]float64
		for before := range 2 {
			x := (at[k] - phase[before]) / half
			for m := max(1, int(x)-1); m <= int(x)+2; m++ {
				to := (before + m) % 2
				d := x - float64(m)
				c := costs[before] + d*d + offPulse*float64(to)
				if c < next[to]-equal {
					next[to], ways[k][to] = c, way{before, m, d}
					moved[to] = phase[before] + half*(float64(m)+pulseFollow*d)
				}
			}
		}
		costs, phase = next, moved
	}
	to := 0
	if costs[1] < costs[0] {
		to = 1
	}
	n := float64(len(at) - 1)
	cost = costs[to] / n
	places = make([]int, len(at))
	for k := len(at) - 1; k > 0; k-- {
		w := ways[k][to]
		places[k], to = w.steps, w.before
		noise += w.off * w.off / n
	}
	for k := 1; k < len(at); k++ {
		places[k] += places[k-1]
	}
	return places, cost, noise
}
