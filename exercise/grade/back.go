package grade

import (
	"math"
	"slices"
	"sort"

	"singback/exercise"
	"singback/theory"
)

// Sounded is a degree that was heard, and where: the bass of a chord.
type Sounded struct {
	Degree theory.Degree
	Hz     float64
}

// Back is what was sung, or struck, back of degrees that were heard.
type Back struct {
	Degrees []BackDegree    // one for each that was asked
	Added   []theory.Degree // what answers none of them, in order of time
	Onset   float64         // seconds, of the first note; 0 without one
}

// BackDegree is what became of one degree that was asked.
type BackDegree struct {
	// Outcome is RightAnswer or WrongAnswer, or Ambiguous where the note lies too
	// near to the border between the degree that was asked and the next.
	Outcome exercise.Outcome
	Sung    bool // a note answers it
	// Degree is what was sung: as it was asked where that sounds the same; of an
	// ambiguous note what was asked.
	Degree theory.Degree
	Cents  theory.Cents // from Degree, octaves left out, positive when sharp
	Octave int          // above the place where what was asked was heard, the nearest
	Onset  float64      // seconds
	Length float64      // seconds
	Wait   float64      // seconds of silence between the note before and this one; 0 of the first
}

// Hesitated is how long a silence between two notes is, in seconds, of which one says
// that the singer hesitated.
const Hesitated = 1.0

// Costs of reading what was sung as the degrees asked. Their order is what matters: a
// wrong degree in its place costs less than one left out and another one too many, and
// two wrong degrees that the notes around them contradict cost less than three.
const (
	backMiss = 1.5 // a degree left out, or a note too many that is as long as the others
	backPart = 0.5 // each piece of a note beside the longest, as long as the others
	backHold = 0.4 // each repeated degree that is held on

	backReach = 60.0 // cents: pieces of one note lie no farther apart
)

// SingBack compares what was sung with the degrees that were heard. It knows the key:
// every note is measured against the tonic of it, not against the note before, so that
// one that is wrong shifts no other. Octaves are free. Notes that were sung in pieces
// are one, and one note held on answers a degree that is repeated.
//
// Where at least as many notes are too many as were asked for, the order alone could
// excuse anything: then the longest notes answer, in their order.
func SingBack(it exercise.Item, heard []Sounded, take []Sung) Back {
	r := backReading{it: it, heard: heard, take: take}
	r.tonic = centsOf(it.Hz(theory.Pitch{Note: it.Key.Tonic, Octave: 4}))
	r.read()
	if len(r.added()) >= len(heard) {
		r.take = longest(take, len(heard))
		r.read()
		r.take = take
		r.spread()
	}
	return r.back()
}

// backReading reads notes as degrees.
type backReading struct {
	it     exercise.Item
	heard  []Sounded
	take   []Sung
	tonic  theory.Cents
	answer []int // for each degree the note that answers it, the longest of its pieces; −1: none
	used   []int // for each note the degree that it answers, −1: none
}

// longest returns the longest notes, so many at most, in order of time; of equals the
// later.
func longest(take []Sung, most int) []Sung {
	order := make([]int, len(take))
	for i := range order {
		order[i] = i
	}
	earlier := func(a, b int) int {
		la, lb := take[a].Offset-take[a].Onset, take[b].Offset-take[b].Onset
		switch {
		case math.Abs(la-lb) < 0.05:
			return b - a
		case la > lb:
			return -1
		}
		return 1
	}
	sort.SliceStable(order, func(i, j int) bool { return earlier(order[i], order[j]) < 0 })
	order = order[:min(most, len(order))]
	slices.Sort(order)
	out := make([]Sung, len(order))
	for i, j := range order {
		out[i] = take[j]
	}
	return out
}

// spread takes the reading of some of the notes as one of all of them.
func (r *backReading) spread() {
	at := map[float64]int{}
	for j, n := range r.take {
		at[n.Onset] = j
	}
	some := r.used
	kept := longest(r.take, len(r.heard))
	r.used = make([]int, len(r.take))
	for j := range r.used {
		r.used[j] = -1
	}
	for j, n := range kept {
		r.used[at[n.Onset]] = some[j]
	}
	for i, j := range r.answer {
		if j >= 0 {
			r.answer[i] = at[kept[j].Onset]
		}
	}
}

// away is how far a note lies from a degree that was asked, in the nearest octave.
func (r *backReading) away(i, j int) theory.Cents {
	return octaveFold(r.take[j].Cents - r.tonic - r.it.Tuning.Cents(r.heard[i].Degree))
}

// read finds the cheapest reading, by dynamic programming.
func (r *backReading) read() {
	n, m := len(r.heard), len(r.take)
	usual := r.usual()
	length := func(j int) float64 { return min(1, max(addLeast, (r.take[j].Offset-r.take[j].Onset)/usual)) }
	parts := func(from, to int) (cost float64) { // of the pieces beside the longest
		for j := from; j < to; j++ {
			cost += backPart * length(j)
		}
		return cost - backPart*length(r.longest(from, to))
	}
	same := func(i, k int) bool {
		return r.heard[i].Degree.Semitones() == r.heard[k].Degree.Semitones()
	}
	type step struct{ degrees, notes int }
	cost := make([][]float64, n+1)
	came := make([][]step, n+1)
	for i := range cost {
		cost[i], came[i] = make([]float64, m+1), make([]step, m+1)
		for j := range cost[i] {
			if i == 0 && j == 0 {
				continue
			}
			best, by := math.Inf(1), step{}
			try := func(c float64, s step) {
				if c < best-equal {
					best, by = c, s
				}
			}
			if i > 0 && j > 0 {
				for p := 1; p <= min(pieces, j); p++ { // the last p notes are one
					if p > 1 && math.Abs(r.take[j-p].Cents-r.take[j-1].Cents) > backReach {
						break
					}
					try(cost[i-1][j-p]+r.wrong(i-1, r.longest(j-p, j))+parts(j-p, j), step{1, p})
				}
				for q := 2; q <= i && same(i-q, i-1); q++ { // the last q degrees are one
					try(cost[i-q][j-1]+r.wrong(i-1, j-1)+backHold*float64(q-1), step{q, 1})
				}
			}
			if j > 0 {
				try(cost[i][j-1]+backMiss*length(j-1), step{0, 1})
			}
			if i > 0 {
				try(cost[i-1][j]+backMiss, step{1, 0})
			}
			cost[i][j], came[i][j] = best, by
		}
	}
	r.answer, r.used = make([]int, n), make([]int, m)
	for i, j := n, m; i > 0 || j > 0; {
		s := came[i][j]
		for k := i - s.degrees; k < i; k++ {
			if r.answer[k] = -1; s.notes > 0 {
				r.answer[k] = r.longest(j-s.notes, j)
			}
		}
		for k := j - s.notes; k < j; k++ {
			if r.used[k] = -1; s.degrees > 0 {
				r.used[k] = i - 1
			}
		}
		i, j = i-s.degrees, j-s.notes
	}
}

// wrong is what it costs that a note answers a degree.
func (r *backReading) wrong(i, j int) float64 {
	return min(wrongCost, centCost*math.Abs(r.away(i, j)))
}

// usual is the length of the notes: the median.
func (r *backReading) usual() float64 {
	var lengths []float64
	for _, n := range r.take {
		lengths = append(lengths, n.Offset-n.Onset)
	}
	return max(median(lengths), 1e-3)
}

// longest is the longest of some notes in a row.
func (r *backReading) longest(from, to int) int {
	best := from
	for j := from; j < to; j++ {
		if r.take[j].Offset-r.take[j].Onset > r.take[best].Offset-r.take[best].Onset {
			best = j
		}
	}
	return best
}

// slip is how long, in seconds, a note is at most that answers nothing and is no note
// too many: a slip of the voice on the way to another.
const slip = 0.2

// added are the notes that answer nothing and are no slip.
func (r *backReading) added() (out []int) {
	for j, i := range r.used {
		if i < 0 && r.take[j].Offset-r.take[j].Onset > slip {
			out = append(out, j)
		}
	}
	return out
}

// back says what became of each degree.
func (r *backReading) back() Back {
	b := Back{Degrees: make([]BackDegree, len(r.heard))}
	if len(r.take) > 0 {
		b.Onset = r.take[0].Onset
	}
	for i, j := range r.answer {
		d := &b.Degrees[i]
		if d.Outcome = exercise.WrongAnswer; j < 0 {
			continue
		}
		note := r.take[j]
		d.Sung, d.Onset, d.Length = true, note.Onset, note.Offset-note.Onset
		first := j // of its pieces
		for first > 0 && r.used[first-1] == r.used[j] {
			first--
		}
		if first > 0 {
			d.Wait = max(0, r.take[first].Onset-r.take[first-1].Offset)
		}
		d.Octave = exercise.Octaves(note.Cents - centsOf(r.heard[i].Hz))
		asked, off := r.heard[i].Degree, r.away(i, j)
		below, border := r.it.Tuning.Borders(asked)
		if off < 0 {
			border = below
		}
		d.Degree, d.Cents = asked, off
		switch away := math.Abs(off); {
		case away > border+exercise.BorderWidth:
			d.Degree, d.Cents = r.it.Tuning.Nearest(r.it.Tuning.Cents(asked)+off, asked)
		case away >= border-exercise.BorderWidth:
			d.Outcome = exercise.Ambiguous
		default:
			d.Outcome = exercise.RightAnswer
		}
	}
	for _, j := range r.added() {
		d, _ := r.it.Tuning.Nearest(r.take[j].Cents-r.tonic, theory.Degree{Step: 1})
		b.Added = append(b.Added, d)
	}
	return b
}
