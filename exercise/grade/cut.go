package grade

import (
	"math"
	"slices"
)

// Costs of cutting a curve into notes, in frames that are silent where a pitch
// should be. Chosen on piano tracks whose notes are known.
const (
	cutFrame   = 0.010 // s
	nearCents  = 50.0  // a frame this far from the note costs as much as
	nearCost   = 1.0
	farCost    = 2.0 // at most
	silentCost = 1.0 // so a gap of up to 120 ms does not part a note
	voiceCost  = 1.0 // a voice where there should be none
	changeCost = 6.0
	leastNote  = 0.08 // s
	sameNote   = 70.0 // cents: neighbours without silence between them that are nearer are one note
)

// semitones returns the tuning of a curve, in cents from the semitones of A440, the
// first semitone in that tuning on which a stretch may lie, below the lowest pitch, and
// how many states there are: the semitones, and silence as the last. Without any pitch
// there are none.
func semitones(cents []float64, ok []bool) (tuning, first float64, states int) {
	low, high := math.Inf(1), math.Inf(-1)
	var x, y float64
	for f, c := range cents {
		if ok[f] {
			low, high = min(low, c), max(high, c)
			x += math.Cos(2 * math.Pi * c / 100)
			y += math.Sin(2 * math.Pi * c / 100)
		}
	}
	if low > high {
		return 0, 0, 0
	}
	tuning = 100 * math.Atan2(y, x) / (2 * math.Pi)
	first = math.Round((low-tuning)/100) - 1
	return tuning, first, int(math.Round((high-tuning)/100)-first) + 3
}

// OfCurve finds the notes of a pitch curve, whose points may lie anywhere in
// time: it is cut by dynamic programming into stretches on one semitone of the
// curve's own tuning and silence, each change at a cost. So short notes are
// found that are not held long enough for the segmenter of live sound, which
// has to know when a note has ended; two notes on one pitch are one unless
// silence parts them.
func OfCurve(curve []Moment) Performance {
	p := Performance{Curve: curve}
	at, cents, ok := grid(curve)
	if len(at) == 0 {
		return p
	}
	tuning, first, states := semitones(cents, ok)
	if states == 0 {
		return p
	}
	quiet := states - 1 // the last state is silence
	cost := make([]float64, states)

	from := make([]entered, len(at))
	best := make([]uint8, len(at)) // the cheapest state before each frame
	for f := range at {
		least, which := math.Inf(1), 0
		for s, c := range cost {
			if c < least {
				least, which = c, s
			}
		}
		best[f] = uint8(which)
		for s := range cost {
			if f > 0 && least+changeCost < cost[s] {
				cost[s] = least + changeCost
				from[f].set(s)
			}
			switch {
			case s == quiet && ok[f]:
				cost[s] += voiceCost
			case s == quiet:
			case !ok[f]:
				cost[s] += silentCost
			default:
				d := math.Abs(cents[f]-(first+float64(s))*100-tuning) / nearCents
				cost[s] += min(farCost, nearCost*d*d)
			}
		}
	}
	at0 := 0
	for s := range cost {
		if cost[s] < cost[at0] {
			at0 = s
		}
	}
	type stretch struct{ from, to, state int }
	var parts []stretch
	state, end := at0, len(at)
	for f := len(at) - 1; f >= 0; f-- {
		if f == 0 || from[f].has(state) {
			parts = append(parts, stretch{f, end, state})
			end, state = f, int(best[f])
		}
	}
	slices.Reverse(parts)
	var last *Sung
	lastEnd := -1
	for _, s := range parts {
		if s.state == quiet {
			continue
		}
		var in []float64
		a, b := s.from, s.to
		for a < b && !ok[a] {
			a++
		}
		for b > a && !ok[b-1] {
			b--
		}
		edge := (b - a) / 5
		for f := a + edge; f < b-edge; f++ {
			if ok[f] && math.Abs(cents[f]-(first+float64(s.state))*100-tuning) < 100 {
				in = append(in, cents[f])
			}
		}
		if float64(b-a)*cutFrame < leastNote || len(in) == 0 {
			continue
		}
		slices.Sort(in)
		n := Sung{Cents: in[len(in)/2], Onset: at[a], Offset: at[b-1] + cutFrame}
		if last != nil && lastEnd == s.from && math.Abs(last.Cents-n.Cents) < sameNote {
			w := (last.Offset - last.Onset) / (n.Offset - last.Onset)
			last.Cents, last.Offset = w*last.Cents+(1-w)*n.Cents, n.Offset
		} else {
			p.Notes = append(p.Notes, n)
			last = &p.Notes[len(p.Notes)-1]
		}
		lastEnd = s.to
	}
	p.Notes = unleapt(p.Notes)
	return p
}

// unleapt takes out octave leaps that no voice makes: for some tenths of a second the curve
// is an octave from what it was and is again.
func unleapt(notes []Sung) []Sung {
	out := notes[:0]
	for k := 0; k < len(notes); k++ {
		n := notes[k]
		for k+2 < len(notes) {
			leap, next := notes[k+1], notes[k+2]
			d := math.Abs(leap.Cents - n.Cents)
			if leap.Offset-leap.Onset > leapTime || leap.Onset-n.Offset > cutFrame || next.Onset-leap.Offset > cutFrame ||
				math.Abs(next.Cents-n.Cents) > sameNote || d < 600 || math.Abs(octaveFold(d)) > sameNote {
				break
			}
			n.Offset = next.Offset
			k += 2
		}
		out = append(out, n)
	}
	return out
}

// leapTime is how long, in seconds, a tracker may be in another octave within a note.
const leapTime = 0.25

// entered tells which states were entered at a frame: between minHz and maxHz
// there are fewer than 192 semitones.
type entered [3]uint64

func (e *entered) set(state int)      { e[state/64] |= 1 << (state % 64) }
func (e *entered) has(state int) bool { return e[state/64]>>(state%64)&1 == 1 }

// grid brings a curve to frames of 10 ms: the median of what lies in one. A
// curve with a coarser step holds its values.
func grid(curve []Moment) (at, cents []float64, ok []bool) {
	if len(curve) == 0 {
		return nil, nil, nil
	}
	var steps []float64
	for k := 1; k < min(len(curve), 200); k++ {
		steps = append(steps, curve[k].At-curve[k-1].At)
	}
	slices.Sort(steps)
	hold := cutFrame
	if n := len(steps); n > 0 {
		hold = max(cutFrame, 1.5*steps[n/2])
	}
	zero := curve[0].At
	var inside []float64
	for k, f := 0, 0; k < len(curve); f++ {
		inside = inside[:0]
		all, end := 0, zero+float64(f+1)*cutFrame-1e-6
		for k < len(curve) && curve[k].At < end {
			if curve[k].Voiced {
				inside = append(inside, curve[k].Cents)
			}
			all++
			k++
		}
		at = append(at, zero+float64(f)*cutFrame)
		switch {
		case len(inside) > 0 && 2*len(inside) >= all:
			slices.Sort(inside)
			cents, ok = append(cents, inside[len(inside)/2]), append(ok, true)
		case all == 0 && k > 0 && curve[k-1].Voiced && end-cutFrame-curve[k-1].At <= hold:
			cents, ok = append(cents, curve[k-1].Cents), append(ok, true)
		default:
			cents, ok = append(cents, 0), append(ok, false)
		}
	}
	return at, cents, ok
}

// Measured parts the notes of a take that hold two pitches of the curve, as the segmenter
// leaves slurs and soft changes of a struck sound, and gives each the median of
// its middle: short notes have no steady part.
func Measured(p Performance) []Sung {
	const least = 0.08 // s
	cut := OfCurve(p.Curve).Notes
	var out []Sung
	k, at := 0, 0
	for _, n := range p.Notes {
		for k < len(cut) && cut[k].Offset <= n.Onset {
			k++
		}
		parts := []Sung{n}
		for q := k; q < len(cut) && cut[q].Onset < n.Offset; q++ {
			last := &parts[len(parts)-1]
			next := cut[q]
			from, to := max(n.Onset, next.Onset), min(n.Offset, next.Offset)
			if q == k || to-from < least || from-last.Onset < least || math.Abs(next.Cents-cut[q-1].Cents) < sameNote || min(n.Offset, cut[q-1].Offset)-max(n.Onset, cut[q-1].Onset) < least {
				continue
			}
			end := last.Offset
			last.Offset = from
			parts = append(parts, Sung{Cents: next.Cents, Onset: from, Offset: end, Level: n.Level})
		}
		for _, part := range parts {
			length := part.Offset - part.Onset
			for at < len(p.Curve) && p.Curve[at].At < part.Onset+0.2*length {
				at++
			}
			var in []float64
			for f := at; f < len(p.Curve) && p.Curve[f].At <= part.Offset-0.2*length; f++ {
				if p.Curve[f].Voiced {
					in = append(in, p.Curve[f].Cents)
				}
			}
			if len(in) > 0 {
				slices.Sort(in)
				part.Cents = in[len(in)/2]
			}
			out = append(out, part)
		}
	}
	return out
}
