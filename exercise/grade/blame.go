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
	parts parted
	costs map[string]float64

	marks  []mark             // where a fault is, in order of the line
	off    []float64          // of the notes that have a time: beats behind an even tempo
	index  []int              // which notes those are
	slower float64            // how much longer a beat of the second half is than one of the first
	moves  map[string]float64 // beats by which the take's time was moved, by what moved it
	moved  []string           // of the notes that have a time: what moved the time before it; "" for nothing

	brief, long, dim []int   // notes that were let go early, were held, could not be read
	noise            float64 // of Measures.Added, what is no note that was sung
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

func newBlame(g *Grading, line Line, take Performance, c following, p parted) *blame {
	b := &blame{g: g, line: line, take: take, c: c, parts: p, costs: map[string]float64{}, moves: map[string]float64{}}
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
	order := func(x, y mark) int { return int(2 * (x.at - y.at)) }
	sort.SliceStable(b.marks, func(i, j int) bool { return order(b.marks[i], b.marks[j]) < 0 })
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
	b.moved = make([]string, len(b.index))
	between := b.marks
	var steady [2][]float64  // seconds for one unit of the line, from note to note, of each half
	var due, at [2][]float64 // of each half: where its notes are in the line and in the take, without what is between
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
			if d := b.line.Notes[to].Onset - b.line.Notes[from].Onset; d > 0 && !slices.Contains(b.g.Hesitations, to) {
				half := 2 * (k - 1) / max(1, len(b.index)-1)
				took := b.g.Notes[to].Onset - b.g.Notes[from].Onset
				steady[half] = append(steady[half], took/d)
				due[half], at[half] = onward(due[half], d), onward(at[half], took)
			}
			continue
		}
		b.moves[name] += math.Abs(jump)
		b.moved[k] = name
		if name == "waited" || name == "held" {
			b.marks = append(b.marks, mark{float64(to) - 0.5, name})
		}
	}
	if len(steady[0]) < tempoLeast || len(steady[1]) < tempoLeast {
		return
	}
	first, second := median(steady[0]), median(steady[1])
	if b.slower = second/first - 1; math.Abs(b.slower) > tempoTold && changed(due, at) {
		// The most that a take of two tempos is off an even one.
		length := b.line.Notes[b.index[len(b.index)-1]].Onset - b.line.Notes[b.index[0]].Onset
		b.moves["tempo"] = math.Abs(b.slower) * length / beat / 4
	}
}

// onward appends a place so far behind the last one; the first is 0.
func onward(x []float64, by float64) []float64 {
	if len(x) == 0 {
		x = append(x, 0)
	}
	return append(x, x[len(x)-1]+by)
}

// changed tells whether the pace of two halves differs by more than the scatter of their
// onsets allows: consonants move those by some hundredths of a second, and a few of them
// make no tempo. It is the test of the difference of two slopes (any textbook), with the
// variance of both halves together.
func changed(due, at [2][]float64) bool {
	var slope, weight [2]float64
	rest, free := 0.0, 0.0
	for h := range due {
		n := float64(len(due[h]))
		mx, _ := meanAndSpread(due[h])
		my, _ := meanAndSpread(at[h])
		sxx, sxy, syy := 0.0, 0.0, 0.0
		for k := range due[h] {
			x, y := due[h][k]-mx, at[h][k]-my
			sxx, sxy, syy = sxx+x*x, sxy+x*y, syy+y*y
		}
		slope[h], weight[h] = sxy/sxx, 1/sxx
		rest += max(0, syy-sxy*sxy/sxx)
		free += n - 2
	}
	se := math.Sqrt(rest / free * (weight[0] + weight[1]))
	return math.Abs(slope[1]-slope[0]) > tempoSure*se
}

// tempoSure is how many standard errors two paces are apart that are two: with two degrees
// of freedom, 95 % (Student's t is 4.3 there; from memory).
const tempoSure = 4.3

// sung is how many seconds written note i sounded.
func (b *blame) sung(i int) float64 { return soundOf(b.g.Notes[i].Answer, b.take) }

// soundOf is how many seconds the notes sound that answer a written one.
func soundOf(w Match, take Performance) float64 {
	sum := 0.0
	for _, n := range take.Notes[w.First : w.First+w.Count] {
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
func (b *blame) missing(w weights) {
	n := float64(len(b.parts.parts))
	for i, got := range b.parts.parts {
		if got.lack == 0 {
			continue
		}
		cost := got.lack * got.lack * (w.missing + w.passed*got.closed) / n
		switch name := b.pitch(i); {
		case name != "":
			b.costs[name] += cost
		case b.isBrief(i) && b.late(i) >= goodOnset:
			b.costs["rhythm"] += cost
		case b.isBrief(i):
			b.brief = append(b.brief, i)
			b.costs["short"] += cost
		default:
			b.put(i, cost, true)
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

// rhythm shares out what the times from note to note are off: among what moved the
// time between the two notes, and how late they are themselves.
func (b *blame) rhythm(weight float64) {
	if weight == 0 {
		return
	}
	weight /= stepsMost * float64(len(b.parts.parts))
	for _, s := range b.parts.steps {
		cost := weight * s.cost
		sum := 0.0
		shares := map[string]float64{}
		own := 0.0
		for k, i := range b.index {
			if i > s.from && i <= s.to && b.moved[k] != "" {
				shares[b.moved[k]] += math.Abs(b.g.jumps[k])
			}
			if i == s.from || i == s.to {
				own += b.late(i)
			}
		}
		switch {
		case len(shares) > 0:
		case b.moves["tempo"] > 0:
			shares["tempo"] = 1
		case own >= freeTime && !b.jumped(s): // a median of few notes sees some of a jump as their own
			shares["rhythm"] = own
		}
		for _, name := range faultNames { // in one order, so that the sum is the same each time
			sum += shares[name]
		}
		if sum > 0 {
			for name, v := range shares {
				b.costs[name] += cost * v / sum
			}
			continue
		}
		for _, i := range []int{s.from, s.to} {
			if name := b.pitch(i); name != "" {
				b.costs[name] += cost / 2
			} else {
				b.put(i, cost/2, false)
			}
		}
	}
}

// jumped reports whether the time was moved near the notes of a step, so that their own
// lateness says less.
func (b *blame) jumped(s step) bool {
	return slices.ContainsFunc(b.marks, func(m mark) bool {
		return b.moves[m.name] > 0 && min(math.Abs(m.at-float64(s.from)), math.Abs(m.at-float64(s.to))) <= blameReach
	})
}

// added shares out the sound that belongs to no note of the curve.
func (b *blame) added(cost float64) {
	if cost == 0 {
		return
	}
	sum := 0.0
	for _, e := range b.parts.extra {
		sum += e.share
	}
	for _, e := range b.parts.extra {
		part := cost * e.share / sum
		at := b.c.fr.time(e.frame)
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
			b.noise += e.share / sum
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
		f.Amount = g.Measures.Added * b.noise
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
