package theory

import (
	"fmt"
	"strings"
)

// pairs is how often chords were counted, and how often one follows another, in
// a style where whole chords were counted and not their roots alone. A chord to
// come is told by its bass, root and triad, a chord before it by its bass and
// root.
type pairs struct {
	total  float64            // all chords that come, with the ends
	come   [ends + 1]float64  // how often each comes
	follow map[[2]int]float64 // how often after which
	// The same, after each bass and after each root, with their sums.
	afterBass, afterRoot [starts + 1][ends + 1]float64
	sums                 [starts + 1]float64
	sumsBass, sumsRoot   [starts + 1]float64
}

// Where chords stand in pairs.
const (
	kinds  = int(SuspendedHeard) + 1
	starts = 12 * 12         // what is before the first chord
	ends   = 12 * 12 * kinds // what is behind the last
)

// How pairs that were hardly counted are filled in.
const (
	// asMany is how many chords of the next simpler count are added to a count: to
	// what comes after a bass and root those after that bass and after that root,
	// half and half; to these what comes anywhere. Of 5, 10, 20 and 30 it has the
	// most roots right, held out, in major and minor together.
	asMany = 20
	// chorales is how many chords from the chorales are added to those that stand
	// on a bass, so that what hymns have seldom or never has its share.
	chorales = 5
	// relative is what a chord of the relative major counts in minor, in which there
	// are few hymns. More, 0.2 and 0.3, have fewer roots right.
	relative = 0.1
)

// before returns where a chord stands that another follows.
func before(bass, root int) int { return 12*bass + root }

// coming returns where a chord stands that follows another.
func (st standing) coming() int {
	return (12*st.bass+st.root)*kinds + int(st.roman.Chord.Quality.Triad())
}

// add counts that a chord comes so often after another.
func (p *pairs) add(from, to int, times float64) {
	p.follow[[2]int{from, to}] += times
	bass, root := starts, starts
	if from != starts {
		bass, root = from/12, from%12
	}
	p.afterBass[bass][to] += times
	p.afterRoot[root][to] += times
	p.sums[from] += times
	p.sumsBass[bass] += times
	p.sumsRoot[root] += times
	p.come[to] += times
	p.total += times
}

// likelier returns how much likelier a chord is after another than it is
// anywhere.
func (p *pairs) likelier(from, to int) float64 {
	bass, root := starts, starts
	if from != starts {
		bass, root = from/12, from%12
	}
	anywhere := p.come[to] / p.total
	share := 0.5*(p.afterBass[bass][to]+asMany*anywhere)/(p.sumsBass[bass]+asMany) +
		0.5*(p.afterRoot[root][to]+asMany*anywhere)/(p.sumsRoot[root]+asMany)
	share = (p.follow[[2]int{from, to}] + asMany*share) / (p.sums[from] + asMany)
	return share / anywhere
}

// pairRow is one row of a list of pairs: a chord, and how often each follows it.
// The zero standing is what is before the first and behind the last.
type pairRow struct {
	from standing
	to   []standing
	n    []float64
}

// readPairs reads a list of pairs in k: "I: V7 20, end 3", first "begin: I 40".
func readPairs(list string, k Key) []pairRow {
	seen := map[string]standing{"begin": {}, "end": {}}
	read := func(numeral string) standing {
		st, ok := seen[numeral]
		if !ok {
			r, err := ParseRoman(numeral, k)
			if err != nil {
				panic(fmt.Sprintf("theory: %v", err))
			}
			st = k.stand(k.Roman(r.Chord))
			seen[numeral] = st
		}
		return st
	}
	var rows []pairRow
	for line := range strings.Lines(list) {
		head, items, _ := strings.Cut(line, ":")
		row := pairRow{from: read(head)}
		for item := range strings.SplitSeq(items, ",") {
			numeral, n := cutCount(item)
			row.to, row.n = append(row.to, read(numeral)), append(row.n, n)
		}
		rows = append(rows, row)
	}
	return rows
}

// newPairIdiom makes an idiom of pairs that were counted in k, of those in the
// relative major where k is minor, and of what rest, the chorales, say of chords
// that are rare on a bass.
func newPairIdiom(list, major string, k Key, rest *idiom) *idiom {
	id := &idiom{pairs: &pairs{follow: map[[2]int]float64{}}}
	var on [12][]standing
	for bass, row := range rest.on {
		for _, st := range row {
			st.times, st.share = 0, chorales*st.share
			on[bass] = append(on[bass], st)
		}
	}
	var changes [12][12]float64
	count := func(rows []pairRow, up int, weight float64) {
		for _, row := range rows {
			from := starts
			if row.from.tones != 0 {
				from = before((row.from.bass+up)%12, (row.from.root+up)%12)
			}
			for i, to := range row.to {
				n := weight * row.n[i]
				if to.tones == 0 {
					id.pairs.add(from, ends, n)
					continue
				}
				to.bass, to.root, to.tones = (to.bass+up)%12, (to.root+up)%12, turned(to.tones, up)
				id.pairs.add(from, to.coming(), n)
				find(on[to.bass], to).share += n
				if from != starts {
					changes[from%12][to.root] += n
				}
			}
		}
	}
	count(readPairs(list, k), 0, 1)
	if k.Mode == Minor {
		count(readPairs(major, Key{}), 3, relative)
	}
	id.moves = inHundred(&changes)
	for bass := range on {
		sum := 0.0
		for _, st := range on[bass] {
			sum += st.share
		}
		id.weight[bass] = sum
		for i := range on[bass] {
			st := &on[bass][i]
			more := chorales * rest.on[bass][i].share
			id.pairs.come[st.coming()] += more
			id.pairs.total += more
			st.share /= sum
			if times := int(100*st.share + 0.5); times >= 3 {
				st.times = times
			}
		}
	}
	id.on = on
	return id
}

// find returns the chord of a row that sounds like st: of those that divide the
// octave evenly there is one only, whatever its root.
func find(row []standing, st standing) *standing {
	q := st.roman.Chord.Quality
	even := q == AugmentedTriad || q == Diminished7
	for i := range row {
		if row[i].roman.Chord.Quality == q && (row[i].root == st.root || even && row[i].tones == st.tones) {
			return &row[i]
		}
	}
	panic(fmt.Sprintf("theory: no %v with root %d on %d", q, st.root, st.bass))
}

// turned moves a set of degrees up by semitones.
func turned(tones uint16, up int) uint16 {
	return (tones<<up | tones>>(12-up)) & (1<<12 - 1)
}

// inHundred writes changes of root in 100 of those from each root, from 3 up,
// where there are twenty.
func inHundred(changes *[12][12]float64) (moves [12][12]int) {
	for from := range changes {
		sum := 0.0
		for to, n := range changes[from] {
			if to != from {
				sum += n
			}
		}
		for to, n := range changes[from] {
			if percent := int(100*n/sum + 0.5); to != from && sum >= 20 && percent >= 3 {
				moves[from][to] = percent
			}
		}
	}
	return moves
}

// step returns how much likelier a chord is after one with this bass and root
// than it is anywhere.
func (id *idiom) step(bass, root int, to standing) float64 {
	if id.pairs == nil {
		return id.ratio[root][to.root]
	}
	return id.pairs.likelier(before(bass, root), to.coming())
}

// begin returns how much likelier a chord is as the first of a line, where that
// was counted.
func (id *idiom) begin(st standing) float64 {
	if id.pairs == nil {
		return 1
	}
	return id.pairs.likelier(starts, st.coming())
}

// end returns how much likelier a line ends behind a chord than anywhere, where
// that was counted.
func (id *idiom) end(st standing) float64 {
	if id.pairs == nil {
		return 1
	}
	return id.pairs.likelier(before(st.bass, st.root), ends)
}
