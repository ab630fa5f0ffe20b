//go:build !js

package grade

import (
	"math"
	"slices"
	"sort"
)

// Costs of aligning a line without rhythm, where only pitch and order tell which note
// was meant: by how much each is rarer than a note in tune, as natural logarithms. That
// of a note off its pitch was counted in half of the recordings of sight-singing that
// trained people aligned (internal/testkit/jury): against notes within 50 cents, those
// about 125 cents off are rarer by 3.0, about 175 and 250 by 4.8, about 450 by 6.9. The
// others were chosen there and on the eight with sound, whose notes are the segmenter's;
// none is critical within a fifth:
//
//   - a wrong note in its place is likelier than one left out and another added, and two
//     of them about as likely: singers miss a pitch far oftener than they lose count;
//   - a short note, or piece of one, is likelier than a long one: a slip of the voice, or
//     of the segmenter;
//   - going back costs as much as two notes added that repeat what was sung;
//   - the key may move a little from note to note, or by more at once: who loses it goes
//     on in tune. Two notes off by the same cost more than a key that moved.
const (
	freeCent  = 0.024 // for each cent a note is off, up to
	freeWrong = 3.6   // for any other note of the octave
	freeFar   = 0.002 // and for each cent beyond a tone
	freeOther = 2.5   // in another octave
	freeOmit  = 3.6
	freeAdd   = 4.8 // of a note as long as the take's notes are
	freeSlip  = 1.0 // of the shortest
	freePiece = 2.8 // of each piece of a note beside the longest, as long as the take's notes
	freeShort = 1.0 // of the shortest
	freeHeld  = 1.2 // of each written note that is held over
	freeBack  = 10.0
	freeStep  = 2.2 // the key moves by keyStep
	freeMove  = 5.0 // or by anything

	keyStep   = 50.0    // cents between two keys that are looked at
	keyPlaces = 13      // keys about one that is tried: three semitones to each side
	keyedMost = 1 << 17 // cells of a take in which a key that moves is looked for: 360 notes of a line of 360
)

// untimed is one reading of a line without rhythm: as search.run reads one, but
// for the key, which may move from note to note.
type untimed struct {
	*search
	offset []float64 // of each key that is looked at, in cents from the reference
	first  []float64 // what it costs to begin in it

	pitches []float64 // the different ones of the line; none of a long take
	places  []int     // which of them each written note has
	costs   []float64 // of each sung note on each of them in each key

	moves   []byte // how each cell was reached in each key
	came    []byte // the key before it moved there
	cost    [pieces + 1][]float64
	entered [pieces + 1][]float64 // the same after the key moved
}

// newUntimed prepares for reading a take.
func (s *search) newUntimed() *untimed {
	r := &untimed{search: s}
	keys, cells := keyPlaces, s.width*(len(s.sung)+1)
	if cells > keyedMost {
		keys = 1
	}
	r.moves = make([]byte, cells*keys)
	if keys > 1 {
		r.came = make([]byte, cells*keys)
		for _, d := range s.line {
			p := slices.Index(r.pitches, d.Cents)
			if p < 0 {
				p = len(r.pitches)
				r.pitches = append(r.pitches, d.Cents)
			}
			r.places = append(r.places, p)
		}
	}
	for k := range keys {
		r.offset = append(r.offset, keyStep*float64(k-keys/2))
	}
	r.first = make([]float64, keys)
	for k := range r.cost {
		r.cost[k] = make([]float64, (len(s.line)+1)*keys)
		r.entered[k] = make([]float64, (len(s.line)+1)*keys)
	}
	return r
}

// begin sets the key about which the take is read.
func (r *untimed) begin(key float64, free Freedom) {
	for k, o := range r.offset {
		r.first[k] = min(freeMove, freeStep*math.Abs(o)/keyStep)
		if !free.Key && math.Abs(octaveFold(key+o)) > keyReach+equal && len(r.offset) > 1 {
			r.first[k] = math.Inf(1)
		}
	}
	if len(r.offset) == 1 {
		return
	}
	r.costs = r.costs[:0]
	for j, n := range r.sung {
		for _, c := range r.pitches {
			for _, o := range r.offset {
				cost, _ := offBy(n.Cents - c - r.reference[j] - o)
				r.costs = append(r.costs, cost)
			}
		}
	}
}

// offBy is what it costs that a note lies d cents from its pitch, and in which
// octave it was meant.
func offBy(d float64) (cost float64, octave int) {
	miss := func(d float64) float64 { return min(freeCent*d, freeWrong+freeFar*max(0, d-200)) }
	cost = miss(math.Abs(d))
	if folded := octaveFold(d); math.Abs(folded-d) > 600 {
		if other := freeOther + miss(math.Abs(folded)); other < cost {
			return other, int(math.Round((d - folded) / 1200))
		}
	}
	return cost, 0
}

// off is what it costs to take sung note j for written note i in a key.
func (r *untimed) off(i, j, key int) float64 {
	if len(r.offset) == 1 {
		cost, _ := offBy(r.sung[j].Cents - r.line[i].Cents - r.reference[j])
		return cost
	}
	return r.costs[(j*len(r.pitches)+r.places[i])*len(r.offset)+key]
}

// parts is what it costs that sung notes from … to−1 are pieces of written note i.
func (r *untimed) parts(i, from, to, key int) (cost float64, ok bool) {
	for j := from; j < to; j++ {
		c := r.off(i, j, key)
		if c > freeCent*splitReach+equal {
			return 0, false
		}
		cost += c
	}
	cost /= float64(to - from)
	longest := 0.0
	for j := from; j < to; j++ {
		c := r.by(j, freeShort, freePiece)
		cost += c
		longest = max(longest, c)
	}
	return cost - longest, true
}

// by is a cost that goes with the length of sung note j: of the shortest, and of one as
// long as the take's notes are.
func (r *untimed) by(j int, short, long float64) float64 {
	return short + (long-short)*(r.add[j]-addLeast)/(addCost-addLeast)
}

func (r *untimed) low(j int) int {
	return max(0, min(j-astray+min(0, len(r.line)-len(r.sung)), len(r.line)+1-r.width))
}

// at is the place of a cell in a key among all.
func (r *untimed) at(j, i, key int) int { return (j*r.width+i-r.low(j))*len(r.offset) + key }

// column are the costs of the cells of sung note j, before and after the key moved.
func (r *untimed) column(j int) (cost, entered []float64) {
	return r.cost[j%(pieces+1)], r.entered[j%(pieces+1)]
}

// read aligns with the reference as it is. keys tells the key of each sung note that
// answers, in cents from the reference.
func (r *untimed) read() (a Alignment, keys []float64) {
	m, n, states := len(r.line), len(r.sung), len(r.offset)
	for k := range r.cost {
		for i := range r.cost[k] {
			r.cost[k][i], r.entered[k][i] = math.Inf(1), math.Inf(1)
		}
	}
	level := make([]int, m+1) // how many written notes before are on one pitch
	for i := 1; i <= m; i++ {
		level[i] = 1
		for level[i] < pieces && level[i] < i && r.level(i-level[i]-1, i) {
			level[i]++
		}
	}
	above := make([]float64, states)
	for j := 0; j <= n; j++ {
		from := r.low(j)
		to := from + r.width
		now, entered := r.column(j)
		if j > pieces {
			for i := r.low(j-pieces-1) * states; i < to*states; i++ { // what is left of an earlier column
				now[i], entered[i] = math.Inf(1), math.Inf(1)
			}
		}
		if j == 0 {
			copy(now[:states], r.first)
		}
		for i := from; i < to; i++ {
			r.cell(j, i, level[i])
		}
		if j == n {
			break // nothing is sung after it
		}
		for k := range above {
			above[k] = math.Inf(1)
		}
		for i := to - 1; i >= from; i-- {
			r.back(j, i, above)
			r.move(j, i)
		}
	}
	last, _ := r.column(n)
	key := 0
	for k := range states {
		if last[m*states+k] < last[m*states+key]-equal {
			key = k
		}
	}
	return r.trace(key, last[m*states+key])
}

// cell finds the cheapest way to a cell in each key, but for going back. same is how
// many of the written notes before it are on one pitch.
func (r *untimed) cell(j, i, same int) {
	states := len(r.offset)
	now, _ := r.column(j)
	best, by := now[i*states:(i+1)*states], r.moves[r.at(j, i, 0):r.at(j, i, states)]
	clear(by)
	if j > 0 {
		last, entered := r.column(j - 1)
		for p := 1; p <= same && i > 0; p++ {
			move := moveMerge | byte(p)<<moveCount
			if p == 1 {
				move = moveMatch | 1<<moveCount
			}
			held := freeHeld * float64(p-1)
			for k, before := range entered[(i-p)*states : (i-p+1)*states] {
				if cost := before + r.off(i-p, j-1, k) + held; cost < best[k]-equal {
					best[k], by[k] = cost, move
				}
			}
		}
		for p := 2; p <= pieces && p <= j && i > 0 && r.near(j-p, j); p++ {
			_, entered := r.column(j - p)
			for k, before := range entered[(i-1)*states : i*states] {
				if cost, ok := r.parts(i-1, j-p, j, k); ok && before+cost < best[k]-equal {
					best[k], by[k] = before+cost, moveSplit|byte(p)<<moveCount
				}
			}
		}
		cheaper(best, by, last[i*states:], r.by(j-1, freeSlip, freeAdd), moveAdd)
	}
	if i > 0 {
		cheaper(best, by, now[(i-1)*states:], freeOmit, moveOmit)
	}
}

// cheaper takes a move in each key in which it is the cheapest.
func cheaper(best []float64, by []byte, before []float64, cost float64, move byte) {
	for k := range best {
		if c := before[k] + cost; c < best[k]-equal {
			best[k], by[k] = c, move
		}
	}
}

// near reports whether sung notes from … to−1 can be pieces of one in any key.
func (r *untimed) near(from, to int) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for j := from; j < to; j++ {
		c := r.sung[j].Cents - r.reference[j]
		low, high = min(low, c), max(high, c)
	}
	return high-low <= 2*splitReach+equal
}

// back lets a cell be reached from further on in the line; above is the cheapest
// there in each key.
func (r *untimed) back(j, i int, above []float64) {
	now, _ := r.column(j)
	for k := range above {
		c, move := &now[i*len(above)+k], &r.moves[r.at(j, i, k)]
		here := *c
		if above[k]+freeBack < here-equal {
			*c, *move = above[k]+freeBack, moveBack
		}
		if above[k] < here-equal {
			*move |= fromAbove
		} else {
			above[k] = here
		}
	}
}

// move lets the key move before the next note.
func (r *untimed) move(j, i int) {
	states := len(r.offset)
	now, entered := r.column(j)
	now, entered = now[i*states:(i+1)*states], entered[i*states:(i+1)*states]
	if states == 1 {
		entered[0] = now[0]
		return
	}
	least := 0
	for k := range now {
		if now[k] < now[least]-equal {
			least = k
		}
	}
	for k := range now {
		best, by := now[k], k
		take := func(from int, cost float64) {
			if from >= 0 && from < states && now[from]+cost < best-equal {
				best, by = now[from]+cost, from
			}
		}
		take(k-1, freeStep)
		take(k+1, freeStep)
		take(least, freeMove)
		if math.IsInf(r.first[k], 1) {
			best = r.first[k]
		}
		entered[k], r.came[r.at(j, i, k)] = best, byte(by)
	}
}

// trace follows the moves back from the last cell. Of a written note that was sung
// again the first time answers.
func (r *untimed) trace(key int, cost float64) (a Alignment, keys []float64) {
	m, n := len(r.line), len(r.sung)
	a = Alignment{Answers: make([]Match, m), Written: make([]int, n), Again: make([]bool, n), Cost: cost}
	keys = make([]float64, n)
	for i, j := m, n; i > 0 || j > 0; {
		move := r.moves[r.at(j, i, key)]
		count := int(move&^fromAbove) >> moveCount
		switch move & moveMask {
		case moveAdd:
			j--
			a.Written[j] = -1
		case moveOmit:
			i--
		case moveMatch, moveSplit, moveMerge:
			notes, pieces := 1, count
			if move&moveMask == moveMerge {
				notes, pieces = count, 1
			}
			i -= notes
			j -= pieces
			for p := j; p < j+pieces; p++ {
				a.Written[p], keys[p] = i, r.offset[key]
			}
			_, octave := offBy(r.sung[j].Cents - r.line[i].Cents - r.reference[j] - r.offset[key])
			for p := i; p < i+notes; p++ {
				a.Answers[p] = Match{First: j, Count: pieces, Merged: p > i, Octave: octave}
			}
			if r.came != nil {
				key = int(r.came[r.at(j, i, key)])
			}
		case moveBack:
			from := i + 1
			for r.moves[r.at(j, from, key)]&fromAbove != 0 {
				from++
			}
			a.Restarts = append(a.Restarts, Restart{Sung: j, From: from, To: i})
			i = from // see search.trace
		default:
			panic("exercise: an alignment without a way back")
		}
	}
	for j, i := range a.Written {
		a.Again[j] = i >= 0 && (j < a.Answers[i].First || j >= a.Answers[i].First+a.Answers[i].Count)
	}
	slices.Reverse(a.Restarts)
	return a, keys
}

// untimed aligns a line without rhythm. A key that moves is part of the reading; only of
// a long take it is found as in one with rhythm.
func (s *search) untimed(free Freedom) (Alignment, bool) {
	type reading struct {
		Alignment
		key float64
		off []float64
	}
	r := s.newUntimed()
	var readings []reading
	for _, key := range s.keys(free) {
		s.setKey(key)
		r.begin(key, free)
		a, off := r.read()
		readings = append(readings, reading{a, key, off})
	}
	sort.SliceStable(readings, func(i, j int) bool { return readings[i].Cost < readings[j].Cost-equal })
	best := readings[0].Alignment
	s.setKey(readings[0].key)
	for j, o := range readings[0].off {
		s.reference[j] += o
	}
	s.follow(best, free)
	if len(r.offset) == 1 {
		for range rounds {
			before := best.Written
			best, _ = r.read()
			s.follow(best, free)
			if slices.Equal(before, best.Written) {
				break
			}
		}
	}
	for _, k := range readings {
		best.keys = append(best.keys, k.key)
	}
	best.Reference = s.reference
	best.Transposition = median(s.reference)
	return best, true
}
