package grade

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"singback/theory"
)

// Sung is one note of a take.
type Sung struct {
	Cents         theory.Cents // above C-1 (MIDI 0) in equal temperament on A4
	Onset, Offset float64      // seconds; Onset < Offset
	Level         float64      // dBFS; 0 where it is not known
}

// Due is one note of a line that is to be sung.
type Due struct {
	Cents         theory.Cents // above C-1 (MIDI 0) in equal temperament on A4
	Onset, Length float64      // in quarter notes, or in seconds where the line is a performance
}

// Answer says what was sung for one note of the line.
type Match struct {
	// First and Count are the sung notes that answer it: none if it was
	// omitted, more than one if it was sung in pieces. They lie in a row.
	First, Count int
	// Merged tells that its one sung note also answers the written note before
	// it, on the same pitch.
	Merged bool
	// Octave is how many octaves it was sung above the octave of the take.
	Octave int
}

// Restart is a place where the singer went back.
type Restart struct {
	Sung     int // the first sung note after it
	From, To int // the written notes that were next before and after; To < From
}

// Alignment is the cheapest way to read a take as the line.
type Alignment struct {
	// Answers has one for each written note. Of one that was sung again it is the last
	// time where the line has a rhythm, which is in one time with what follows, and
	// without rhythm the first, which is what people count.
	Answers  []Match
	Written  []int     // for each sung note the written note it answers, −1 for an added one
	Again    []bool    // for each sung note: it answers a written note that was sung again, and another time counts
	Restarts []Restart // in order of time
	Cost     float64

	// Transposition is how far the take lies above the line, in cents, octaves
	// included: the median of the reference.
	Transposition theory.Cents
	// Reference is how far the singer's own key lies above the line at each sung
	// note: it moves slowly. A sung note's error is what is left.
	Reference []theory.Cents
	// Start and Pace are the time of the line's beginning in seconds, and the
	// seconds that one unit of its length takes. Pace is 0 where nothing tells.
	Start, Pace float64

	keys []float64 // transpositions worth a try, the cheapest first
}

// Freedom says what an alignment may choose.
type Freedom struct {
	Key    bool // any transposition; otherwise that of the line, give or take keyReach
	Octave bool // any octave of the whole take
}

// Costs of the alignment of a line with rhythm (for those of one without, see
// align_untimed.go). The unit is one note left out. They are common
// practice in their order, which the check cases fix, and were not fitted:
//
//   - a wrong note in the right place must cost less than leaving it out and
//     adding another (omitCost + addCost), and more than any note in tune;
//   - a note sung in two pieces less than a note added, since that is what a
//     catch of breath or a new consonant does;
//   - going back more than one note too many and less than two, since two notes
//     that repeat what was sung are no accident;
//   - being late can never outweigh a wrong pitch: it decides where pitch does
//     not, and the time of a take is a line only where nobody hesitates.
const (
	omitCost   = 1.0
	addCost    = 1.0 // of a note as long as the take's notes are
	addLeast   = 0.3 // of the shortest: a slip of the voice or of the tracker
	centCost   = 0.007
	wrongCost  = 1.4 // from 200 cents on
	octaveCost = 0.5 // the right degree in another octave
	splitCost  = 0.5 // each piece after the first
	mergeCost  = 0.4 // each written note that is held over
	backCost   = 1.6
	lateCost   = 0.4 // of a note one beat away from its time, and beyond

	splitReach  = 100.0 // cents: pieces of one note lie on its pitch
	mergeReach  = 50.0  // cents: written notes that one sung note can answer
	pieces      = 4     // most pieces of a note, most notes of a piece
	keyReach    = 100.0 // cents: how far a take in the line's key may lie beside it
	driftWindow = 3     // notes to either side that the moving median sees
	driftReach  = 120.0 // cents: an error beyond says nothing about the key
	rounds      = 6     // most times the alignment is repeated for what it shows of key and tempo
	equal       = 1e-9  // costs nearer than this are the same, so that rounding decides nothing

	allCells = 4 << 20  // cells of a take that is looked at in full: 2 000 notes of a line of 2 000
	maxCells = 64 << 20 // bytes, and a minute of work
	astray   = 256      // notes by which a longer take may be ahead of the line or behind it
)

// ErrTooLong is returned for a take and a line that would take too much memory
// and time to align.
var ErrTooLong = errors.New("too many notes to align")

// Align finds the alignment of least cost by dynamic programming over written
// and sung notes, for the transposition, the tempo and the drift that the
// alignment itself shows: it is repeated until they no longer change. The
// result is the same for any transposition and any uniform tempo of the take,
// where freedom allows them.
//
// Its operations are those of Mongeau & Sankoff, "Comparison of musical
// sequences", Computers and the Humanities 24 (1990): replace, omit, add,
// fragment, consolidate; and going back, which score followers know.
//
// The onsets of the line count where it is timed. Where it is not, costs are others, and
// the key may move from note to note: see untimed.
//
// Work grows with the product of both lengths up to some 2 000 notes each, and
// beyond with their length and difference: there the take is never looked for
// more than 256 notes ahead of the line or behind it, besides the notes by which
// one is longer. What would still be too much is ErrTooLong.
func Align(line []Due, timed bool, sung []Sung, free Freedom) (Alignment, error) {
	if len(line) == 0 {
		return Alignment{}, fmt.Errorf("a line without notes cannot be sung")
	}
	if cells := float64(bandWidth(len(line), len(sung))) * float64(len(sung)+1); cells > maxCells {
		return Alignment{}, fmt.Errorf("%w: %d written, %d sung; cut the line and the take into parts", ErrTooLong, len(line), len(sung))
	}
	s := &search{line: line, timed: timed, sung: sung}
	s.prepare()
	if !timed {
		if a, ok := s.untimed(free); ok {
			return a, nil
		}
	}
	var best Alignment
	keys := s.keys(free)
	costs := map[float64]float64{}
	for i, k := range keys {
		s.setKey(k)
		a := s.run()
		costs[k] = a.Cost
		if i == 0 || a.Cost < best.Cost-equal {
			best = a
		}
	}
	order := func(a, b float64) int {
		if math.Abs(costs[a]-costs[b]) <= equal {
			return 0
		}
		return cmp.Compare(costs[a], costs[b])
	}
	sort.SliceStable(keys, func(i, j int) bool { return order(keys[i], keys[j]) < 0 })
	s.setKey(keys[0])
	// The alignment says where the key and the time are; they may change it.
	for range rounds {
		before := best.Written
		s.follow(best, free)
		best = s.run()
		if slices.Equal(before, best.Written) {
			break
		}
	}
	s.follow(best, free)
	best.Reference = s.reference
	best.Transposition = median(s.reference)
	best.Start, best.Pace = s.start, s.pace
	best.keys = keys
	return best, nil
}

// bandWidth is how many places in a line of m notes are looked at for each of n
// sung notes.
func bandWidth(m, n int) int {
	if float64(m+1)*float64(n+1) <= allCells {
		return m + 1
	}
	return min(m, max(m-n, n-m)+2*astray) + 1
}

// search holds what one Align works on.
type search struct {
	line  []Due
	timed bool
	sung  []Sung

	width     int       // places in the line that are looked at for each sung note: see bandWidth
	add       []float64 // cost of adding each sung note
	beat      float64   // the usual length of a written note
	reference []float64 // of each sung note, cents above the line
	late      []float64 // of each sung note: what the tempo does not explain of its time; nil before there is a tempo
	start     float64
	pace      float64
}

func (s *search) prepare() {
	s.width = bandWidth(len(s.line), len(s.sung))
	lengths := make([]float64, len(s.sung))
	for j, n := range s.sung {
		lengths[j] = n.Offset - n.Onset
	}
	usual := median(lengths)
	s.add = make([]float64, len(s.sung))
	for j, l := range lengths {
		s.add[j] = addLeast + (addCost-addLeast)*min(1, l/usual)
	}
	dues := make([]float64, len(s.line))
	for i, d := range s.line {
		dues[i] = d.Length
	}
	s.beat = median(dues)
	s.reference = make([]float64, len(s.sung))
}

func (s *search) setKey(key float64) {
	for j := range s.reference {
		s.reference[j] = key
	}
}

// keys proposes transpositions: those that bring most pairs of a sung and a
// written note together.
func (s *search) keys(free Freedom) []float64 {
	const (
		width = 20.0 // cents of a bin
		most  = 6
	)
	if len(s.sung) == 0 {
		return []float64{0}
	}
	// Pairs near the diagonal are likelier to belong together.
	counts := map[int]float64{}
	m, n := float64(len(s.line)), float64(len(s.sung))
	// Bins count from the first pair, so that a transposed take falls into the
	// same bins.
	zero := s.sung[0].Cents - s.line[0].Cents
	stride := 1 + len(s.line)*len(s.sung)/allCells // of many pairs some are enough
	for i, d := range s.line {
		for j := i % stride; j < len(s.sung); j += stride {
			v := s.sung[j]
			apart := math.Abs((float64(i)+0.5)/m - (float64(j)+0.5)/n)
			if apart > 0.5 {
				continue
			}
			x := (v.Cents - d.Cents - zero) / width
			bin := math.Floor(x)
			counts[int(bin)] += (1 - apart) * (bin + 1 - x)
			counts[int(bin)+1] += (1 - apart) * (x - bin)
		}
	}
	type peak struct {
		bin    int
		weight float64
	}
	var peaks []peak
	for bin := range counts {
		w := 0.0
		for k := -3; k <= 3; k++ {
			w += counts[bin+k] * (1 - math.Abs(float64(k))/4)
		}
		peaks = append(peaks, peak{bin, w})
	}
	order := func(a, b peak) int {
		switch {
		case a.weight > b.weight+1e-9:
			return -1
		case a.weight < b.weight-1e-9:
			return 1
		}
		return a.bin - b.bin
	}
	sort.SliceStable(peaks, func(i, j int) bool { return order(peaks[i], peaks[j]) < 0 })
	var keys []float64
	for _, p := range peaks {
		key := zero + float64(p.bin)*width
		if !free.Key && math.Abs(octaveFold(key)) > keyReach+width || !free.Octave && !free.Key && math.Abs(key) > 600 {
			continue
		}
		if !slices.ContainsFunc(keys, func(k float64) bool { return math.Abs(k-key) < 3*width }) {
			keys = append(keys, key)
		}
		if len(keys) == most {
			break
		}
	}
	if len(keys) == 0 {
		keys = []float64{0}
		if free.Octave {
			keys[0] = 1200 * math.Round(zero/1200)
		}
	}
	return keys
}

// octaveFold brings cents into (−600, 600].
func octaveFold(c float64) float64 { return c - 1200*math.Ceil(c/1200-0.5) }

// pitch is what it costs to take sung note j for written note i.
func (s *search) pitch(i, j int) (cost, cents float64, octave int) {
	d := s.sung[j].Cents - s.line[i].Cents - s.reference[j]
	folded := octaveFold(d)
	cost = min(wrongCost, centCost*math.Abs(d))
	if other := octaveCost + centCost*math.Abs(folded); other < cost {
		return other, folded, int(math.Round((d - folded) / 1200))
	}
	return cost, d, 0
}

// time is what it costs that written note i sounds when sung note j does.
func (s *search) time(i, j int) float64 {
	if s.late == nil {
		return 0
	}
	off := (s.sung[j].Onset-s.start-s.late[j])/s.pace - s.line[i].Onset
	return lateCost * min(1, math.Abs(off)/s.beat)
}

// Moves of the dynamic programme, in the low bits of a cell. The count of
// pieces or written notes is in the next.
const (
	moveNone byte = iota
	moveAdd
	moveOmit
	moveMatch // count 1
	moveSplit // count pieces
	moveMerge // count written notes
	moveBack  // from a later written note at the same sung note
	moveMask  = 7
	moveCount = 3    // shift
	fromAbove = 0x80 // the cheapest place to go back from lies further on
)

// run aligns with the reference and tempo as they are.
//
// A cell (j, i) is: j sung notes are explained and written note i is next. It
// is reached by adding, omitting, matching; and, once a column is complete, by
// going back from a later i of the same column. above is the cheapest cell
// further on. Going back costs the same from anywhere, so one value a cell and
// one bit to find it again are enough.
//
// The cells of a column that are looked at begin at low(j), and are width many;
// the cost of the others is infinite.
func (s *search) run() Alignment {
	m, n := len(s.line), len(s.sung)
	width := s.width
	low := func(j int) int { return max(0, min(j-astray+min(0, m-n), m+1-width)) }
	moves := make([]byte, width*(n+1))
	var columns [pieces + 1][]float64
	for k := range columns {
		columns[k] = make([]float64, m+1)
		for i := range columns[k] {
			columns[k][i] = math.Inf(1)
		}
	}
	column := func(j int) []float64 { return columns[j%(pieces+1)] }
	for j := 0; j <= n; j++ {
		from := low(j)
		to := from + width // not inside
		now, move := column(j), moves[j*width:(j+1)*width]
		if j > pieces {
			for i := low(j - pieces - 1); i < from+width; i++ { // what is left of an earlier column
				now[i] = math.Inf(1)
			}
		}
		if j == 0 {
			now[0] = 0
		}
		take := func(i int, cost float64, m byte) {
			if cost < now[i]-equal {
				now[i], move[i-from] = cost, m
			}
		}
		for i := from; i < to; i++ {
			if j > 0 {
				last := column(j - 1)
				if i > 0 {
					cost, _, _ := s.pitch(i-1, j-1)
					cost += s.time(i-1, j-1)
					take(i, last[i-1]+cost, moveMatch|1<<moveCount)
					for k := 2; k <= pieces && k <= i && s.level(i-k, i); k++ {
						cost, _, _ := s.pitch(i-k, j-1)
						cost += s.time(i-k, j-1)
						take(i, last[i-k]+cost+mergeCost*float64(k-1), moveMerge|byte(k)<<moveCount)
					}
					for k := 2; k <= pieces && k <= j; k++ {
						cost, ok := s.split(i-1, j-k, j)
						if !ok {
							break
						}
						take(i, column(j - k)[i-1]+cost, moveSplit|byte(k)<<moveCount)
					}
				}
				take(i, last[i]+s.add[j-1], moveAdd)
			}
			if i > 0 {
				take(i, now[i-1]+omitCost, moveOmit)
			}
		}
		if j == n {
			break // nothing is sung after it
		}
		above := math.Inf(1)
		for i := to - 1; i >= from; i-- {
			here := now[i]
			if above+backCost < now[i]-equal {
				now[i], move[i-from] = above+backCost, moveBack
			}
			if above < here-equal {
				move[i-from] |= fromAbove
			} else {
				above = here
			}
		}
	}
	return s.trace(func(j, i int) byte { return moves[j*width+i-low(j)] }, column(n)[m])
}

// level reports whether the written notes from … to−1 have one pitch.
func (s *search) level(from, to int) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for _, d := range s.line[from:to] {
		low, high = min(low, d.Cents), max(high, d.Cents)
	}
	return high-low <= mergeReach
}

// split is what it costs that sung notes from … to−1 are pieces of written note
// i; not ok if they are not.
func (s *search) split(i, from, to int) (cost float64, ok bool) {
	for j := from; j < to; j++ {
		c, d, octave := s.pitch(i, j)
		if math.Abs(d) > splitReach || octave != 0 {
			return 0, false
		}
		cost += c
	}
	k := float64(to - from)
	return cost/k + s.time(i, from) + splitCost*(k-1), true
}

// trace follows the moves back from the last cell.
func (s *search) trace(moves func(j, i int) byte, cost float64) Alignment {
	m, n := len(s.line), len(s.sung)
	a := Alignment{Answers: make([]Match, m), Written: make([]int, n), Again: make([]bool, n), Cost: cost}
	done := make([]bool, m) // sung in a later pass
	for i, j := m, n; i > 0 || j > 0; {
		move := moves(j, i)
		count := int(move&^fromAbove) >> moveCount
		switch move & moveMask {
		case moveAdd:
			j--
			a.Written[j] = -1
		case moveOmit:
			i--
		case moveMatch, moveSplit:
			i--
			pieces := count
			j -= pieces
			for k := j; k < j+pieces; k++ {
				a.Written[k], a.Again[k] = i, done[i]
			}
			if !done[i] {
				_, _, octave := s.pitch(i, j)
				a.Answers[i] = Match{First: j, Count: pieces, Octave: octave}
				done[i] = true
			}
		case moveMerge:
			i -= count
			j--
			a.Written[j], a.Again[j] = i, done[i]
			_, _, octave := s.pitch(i, j)
			for k := i; k < i+count; k++ {
				if !done[k] {
					a.Answers[k] = Match{First: j, Count: 1, Merged: k > i, Octave: octave}
					done[k] = true
				}
			}
		case moveBack:
			from := i + 1
			for moves(j, from)&fromAbove != 0 {
				from++
			}
			a.Restarts = append(a.Restarts, Restart{Sung: j, From: from, To: i})
			// The way to the cell it came from begins with that cell's own
			// move, unless going back was cheaper there too: then that cell's
			// cost was above's, and above is what was followed.
			i = from
		default:
			panic("exercise: an alignment without a way back")
		}
	}
	slices.Reverse(a.Restarts)
	return a
}

// follow fits key, drift and tempo to an alignment.
func (s *search) follow(a Alignment, free Freedom) {
	var at, off []float64 // index of the sung note, and how far it lies above the line
	for j, i := range a.Written {
		if i < 0 {
			continue
		}
		_, d, _ := s.pitch(i, j)
		if math.Abs(d) <= driftReach {
			at, off = append(at, float64(j)), append(off, d+s.reference[j])
		}
	}
	if len(at) > 0 {
		s.reference = drift(at, off, len(s.sung))
		if !free.Key {
			for j, r := range s.reference {
				fold := octaveFold(r)
				if !free.Octave {
					fold = r
				}
				s.reference[j] = r - fold + max(-keyReach, min(keyReach, fold))
			}
		}
	}
	s.fitTempo(a)
}
