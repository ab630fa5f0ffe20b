package grade

import (
	"math"
	"slices"
	"sort"
)

// blame says by what name each part of a score goes. The curve is read as a
// whole: where one note is wrong or missing its neighbours are moved, shortened
// or not found. So a cost of a note that the notes themselves know nothing of is
// put to the fault nearest to it.
type blame struct {
	g     *Grading
	line  Line
	take  Performance
	c     following
	costs map[string]float64

	marks  []mark             // where a fault is, in order of the line
	off    []float64          // of the notes that have a time: beats behind an even tempo
	index  []int              // which notes those are
	slower float64            // how much longer a beat of the second half is than one of the first
	moves  map[string]float64 // beats by which the take's time was moved, by what moved it

	brief, long, dim []int   // notes that were let go early, were held, could not be read
	noise            int     // frames with a voice that belong to no note, and are none
	usual            float64 // seconds that the sung notes last
}

// mark is a place of the line where a fault is: a note, or between two.
type mark struct {
	at   float64
	name string
}

const (
	blameReach = 3.0 // notes to either side that a fault moves
	stayed     = 0.5 // of a wait is still there at the next note: else only one note was late
	tempoTold  = 0.1 // change of the pace between the halves that is a change of tempo
	tempoLeast = 2   // steps from note to note in each half by which its pace is known
	heldTold   = 1.1 // of its length: a note that was held
	sungOn     = 0.8 // of the time until the next note: it was held, and nobody waited
)

func newBlame(g *Grading, line Line, take Performance, c following) *blame {
	b := &blame{g: g, line: line, take: take, c: c, costs: map[string]float64{}, moves: map[string]float64{}}
	for i := range g.Notes {
		if name := b.pitch(i); name != "" {
			b.marks = append(b.marks, mark{float64(i), name})
		}
	}
	for j, last := 0, -0.5; j < len(take.Notes); j++ {
		if i := g.Alignment.Written[j]; i >= 0 {
			last = float64(i) + 0.5
		} else {
			b.marks = append(b.marks, mark{last, "added"})
		}
	}
	for _, r := range g.Alignment.Restarts {
		b.marks = append(b.marks, mark{float64(r.To) - 0.5, "restarts"}, mark{float64(r.From) - 0.5, "restarts"})
	}
	lengths := make([]float64, len(take.Notes))
	for j, n := range take.Notes {
		lengths[j] = n.Offset - n.Onset
	}
	b.usual = median(lengths)
	b.time()
	sort.SliceStable(b.marks, func(i, j int) bool { return int(2*(b.marks[i].at-b.marks[j].at)) < 0 })
	return b
}

// pitch is what was wrong with the pitch of written note i; "" for nothing.
func (b *blame) pitch(i int) string {
	switch f := b.g.Notes[i].Finding; f {
	case Wrong, OutOfTune, Omitted:
		return f.String()
	}
	return ""
}

// time finds what moved the take's time: the jumps against an even tempo, and
// what lies in each.
func (b *blame) time() {
	a := &b.g.Alignment
	if b.g.Pace == 0 {
		return
	}
	beat := b.line.beat()
	for i, n := range b.g.Notes {
		if n.Timed {
			b.index = append(b.index, i)
			b.off = append(b.off, ((n.Onset-a.Start)/a.Pace-b.line.Notes[i].Onset)/beat)
		}
	}
	between := b.marks
	var steady [2][]float64 // seconds for one unit of the line, from note to note, of each half
	for k := 1; k < len(b.index); k++ {
		from, to := b.index[k-1], b.index[k]
		jump := b.g.jumps[k]
		name := ""
		for _, m := range between {
			if m.at > float64(from) && m.at < float64(to) && m.name != "wrong" && m.name != "out_of_tune" {
				name = m.name
			}
		}
		switch {
		case name != "":
		case slices.Contains(b.g.Hesitations, to) && (k+1 == len(b.off) || b.off[k+1]-b.off[k-1] > stayed*(b.off[k]-b.off[k-1])):
			name = "waited"
			if b.g.Notes[from].Length >= heldTold && b.sung(from) > sungOn*(b.g.Notes[to].Onset-b.g.Notes[from].Onset) {
				name = "held"
				b.long = append(b.long, from)
			}
		default:
			if due := b.line.Notes[to].Onset - b.line.Notes[from].Onset; due > 0 && !slices.Contains(b.g.Hesitations, to) {
				half := 2 * (k - 1) / max(1, len(b.index)-1)
				steady[half] = append(steady[half], (b.g.Notes[to].Onset-b.g.Notes[from].Onset)/due)
			}
			continue
		}
		b.moves[name] += math.Abs(jump)
		if name == "waited" || name == "held" {
			b.marks = append(b.marks, mark{float64(to) - 0.5, name})
		}
	}
	if len(steady[0]) < tempoLeast || len(steady[1]) < tempoLeast {
		return
	}
	first, second := median(steady[0]), median(steady[1])
	apart := math.Abs(second - first)
	if b.slower = second/first - 1; math.Abs(b.slower) > tempoTold && apart > scatter(steady[0])+scatter(steady[1]) {
		// The most that a take of two tempos is off an even one.
		length := b.line.Notes[b.index[len(b.index)-1]].Onset - b.line.Notes[b.index[0]].Onset
		b.moves["tempo"] = math.Abs(b.slower) * length / beat / 4
	}
}

// scatter is the median distance of values from their median.
func scatter(x []float64) float64 {
	middle := median(x)
	off := make([]float64, len(x))
	for k, v := range x {
		off[k] = math.Abs(v - middle)
	}
	return median(off)
}

// sung is how many seconds written note i sounded.
func (b *blame) sung(i int) float64 {
	w := b.g.Notes[i].Answer
	sum := 0.0
	for _, n := range b.take.Notes[w.First : w.First+w.Count] {
		sum += n.Offset - n.Onset
	}
	return sum
}

// near is the fault nearest to written note i, of those that can have moved it;
// "" for none. More notes than are written move a whole take.
func (b *blame) near(i int) string {
	best, name := math.Inf(1), ""
	for _, m := range b.marks {
		d := math.Abs(m.at - float64(i))
		if (d <= blameReach || m.name == "added" || m.name == "restarts") && d < best-equal {
			best, name = d, m.name
		}
	}
	return name
}

// put adds the cost of written note i, of which its own numbers say nothing. A
// cost of its pitch may come from a key that moved.
func (b *blame) put(i int, cost float64, ofPitch bool) {
	if cost <= 0 {
		return
	}
	name := b.near(i)
	switch {
	case name != "":
	case ofPitch && math.Abs(b.g.Drift) > driftTold:
		name = "drift"
	default:
		name = "unclear"
		b.dim = append(b.dim, i)
	}
	b.costs[name] += cost
}

// missing shares out what notes lack in tune.
func (b *blame) missing(weight float64) {
	n := float64(b.c.sounding())
	for k, got := range b.c.notes {
		if b.c.rest[k] || got.lacks() == 0 {
			continue
		}
		cost := weight * got.lacks() * got.lacks() / n
		from, to := b.c.members(k, len(b.line.Notes))
		worst, brief := "", -1
		for i := from; i < to; i++ {
			if name := b.pitch(i); name != "" && worst != "omitted" {
				worst = name
			}
			if b.isBrief(i) {
				brief = i
			}
		}
		switch {
		case worst != "":
			b.costs[worst] += cost
		case brief >= 0 && b.late(brief) >= goodOnset:
			b.costs["rhythm"] += cost
		case brief >= 0:
			b.brief = append(b.brief, brief)
			b.costs["short"] += cost
		default:
			b.put(from, cost, true)
		}
	}
}

// isBrief reports whether written note i sounded for too little of its time; of
// a line without rhythm, for too little of the usual note's.
func (b *blame) isBrief(i int) bool {
	n := b.g.Notes[i]
	if n.Answer.Count == 0 || n.Answer.Merged || i+1 < len(b.g.Notes) && b.g.Notes[i+1].Answer.Merged {
		return false
	}
	due := b.line.Notes[i].Length * b.g.Pace
	if b.g.Pace == 0 {
		due = b.usual
	}
	return b.sung(i) < goodShare*due
}

// late is how far written note i began from its time, in beats.
func (b *blame) late(i int) float64 { return math.Abs(b.g.Notes[i].Late) }

// rhythm shares out what beginnings are off.
func (b *blame) rhythm(cost float64) {
	if cost == 0 {
		return
	}
	sum := 0.0
	for k, got := range b.c.notes {
		if !b.c.rest[k] && got.to > got.from {
			sum += b.c.late(k)
		}
	}
	if sum == 0 { // nothing of the line was found
		b.put(0, cost, false)
		return
	}
	moved := 0.0
	for _, name := range faultNames { // in one order, so that the sum is the same each time
		moved += b.moves[name]
	}
	for k, got := range b.c.notes {
		if b.c.rest[k] || got.to == got.from || b.c.late(k) == 0 {
			continue
		}
		i := b.c.first[k]
		part := cost * b.c.late(k) / sum
		at, timed := slices.BinarySearch(b.index, i)
		if !timed { // it has no time of its own
			if name := b.pitch(i); name != "" {
				b.costs[name] += part
			} else {
				b.put(i, part, false)
			}
			continue
		}
		own, all := min(b.c.late(k), b.late(i)/lateMost), b.c.late(k)
		shift := min(all, math.Abs(b.off[at])/lateMost)
		if moved > 0 {
			// A median of few notes sees some of a jump as the note's own.
			if b.moves["tempo"] > 0 || b.jumped(at) {
				own = 0
			}
			shift = max(0, shift-own)
			for _, name := range faultNames {
				b.costs[name] += part * shift / all * b.moves[name] / moved
			}
		} else {
			own, shift = max(own, shift), 0
		}
		b.costs["rhythm"] += part * own / all
		b.put(i, part*(1-(own+shift)/all), false)
	}
}

// jumped reports whether the time was moved near note b.index[at], so that its
// own lateness says less.
func (b *blame) jumped(at int) bool {
	return slices.ContainsFunc(b.marks, func(m mark) bool {
		return m.name != "wrong" && m.name != "out_of_tune" && b.moves[m.name] > 0 && math.Abs(m.at-float64(b.index[at])) <= blameReach
	})
}

// held shares out what is too long.
func (b *blame) held(cost float64, performed bool) {
	if cost == 0 {
		return
	}
	sum := 0.0
	for k, got := range b.c.notes {
		if !b.c.rest[k] && got.to > got.from {
			sum += b.c.held(k, performed)
		}
	}
	for k, got := range b.c.notes {
		if b.c.rest[k] || got.to == got.from || b.c.held(k, performed) == 0 {
			continue
		}
		from, to := b.c.members(k, len(b.line.Notes))
		part := cost * b.c.held(k, performed) / sum
		i := to - 1
		n := b.g.Notes[i]
		at, timed := slices.BinarySearch(b.index, i)
		switch {
		case b.pitch(i) != "":
			b.costs[b.pitch(i)] += part
		case !timed || n.Length <= 1 || at+1 == len(b.index):
			b.put(from, part, false)
		case n.Length < heldTold: // the next one only begins a little late
			own := min(1, math.Log2(n.Length)/b.c.held(k, performed))
			b.costs["rhythm"] += part * own
			b.put(from, part*(1-own), false)
		default:
			after := b.index[at+1]
			name := ""
			for _, m := range b.marks {
				if m.at > float64(i) && m.at < float64(after) {
					name = m.name
				}
			}
			switch {
			case name != "":
			case b.moves["tempo"] > 0:
				name = "tempo"
			case b.late(after) >= goodOnset:
				name = "rhythm"
			default:
				name = "held"
				b.long = append(b.long, i)
			}
			b.costs[name] += part
		}
	}
}

// added shares out the sound that belongs to no note of the curve.
func (b *blame) added(cost float64) {
	if cost == 0 {
		return
	}
	for _, at := range b.c.spare {
		part := cost / float64(len(b.c.spare))
		after, _ := slices.BinarySearchFunc(b.take.Notes, at, func(n Sung, at float64) int {
			if n.Onset <= at {
				return -1
			}
			return 1
		})
		j := after - 1
		switch {
		case j < 0 || b.take.Notes[j].Offset <= at:
			b.costs["added"] += part
			b.noise++
		case b.g.Alignment.Written[j] < 0:
			b.costs["added"] += part
		case b.g.Alignment.Again[j]:
			b.costs["restarts"] += part
		default:
			i := b.g.Alignment.Written[j]
			if name := b.pitch(i); name != "" {
				b.costs[name] += part
			} else {
				b.put(i, part, true)
			}
		}
	}
}

// fault says what a fault of that name and cost rests on.
func (b *blame) fault(name string, cost float64) Fault {
	g := b.g
	f := Fault{Name: name, Cost: cost, Timed: b.line.Timed}
	where := func(ok func(n Note) bool) (out []int) {
		for i, n := range g.Notes {
			if ok(n) {
				out = append(out, i)
			}
		}
		return out
	}
	found := func(f Finding) []int { return where(func(n Note) bool { return n.Finding == f }) }
	once := func(x []int) []int { return slices.Compact(slices.Sorted(slices.Values(x))) }
	switch name {
	case "omitted":
		f.Notes = found(Omitted)
	case "wrong":
		f.Notes = found(Wrong)
	case "out_of_tune":
		f.Notes = found(OutOfTune)
	case "short":
		f.Notes = once(b.brief)
	case "added":
		f.Count = len(g.Added)
		f.Amount = g.Measures.Added * float64(b.noise) / float64(len(b.c.spare))
	case "restarts":
		f.Count = len(g.Alignment.Restarts)
	case "waited":
		f.Notes = g.Hesitations
	case "tempo":
		f.Amount = b.slower
	case "rhythm":
		f.Notes = where(func(n Note) bool { return n.Timed && math.Abs(n.Late) >= goodOnset })
		among := f.Notes
		if len(among) == 0 {
			among = b.index
		}
		sum := 0.0
		for _, i := range among {
			sum += b.late(i)
		}
		f.Amount = ratioOr(sum, float64(len(among)), 0)
		if len(f.Notes) == 1 && g.Notes[f.Notes[0]].Late < 0 {
			f.Amount = -f.Amount
		}
	case "held":
		f.Notes = once(b.long)
	case "drift":
		f.Amount = g.Drift
	default:
		f.Notes = once(b.dim)
	}
	return f
}
