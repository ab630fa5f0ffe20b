package exercise

import (
	"slices"

	"singback/theory"
)

// Count sums up the verdicts of one degree, one pair or a whole session.
type Count struct {
	Asked       int // prompts, first answers only
	Right       int // in tune
	Flat        int // the asked degree, too low
	Sharp       int // the asked degree, too high
	Other       int // another degree
	Unsteady    int
	Ambiguous   int
	NotMeasured int

	cents []theory.Cents // of the answers on the asked degree
}

// Answered returns how many answers count as right or wrong.
func (c Count) Answered() int { return c.Right + c.Flat + c.Sharp + c.Other + c.Unsteady }

// Median returns the median distance, in cents, of the answers that were on
// the asked degree, and how many those are. With none it returns 0, 0.
func (c Count) Median() (theory.Cents, int) {
	n := len(c.cents)
	if n == 0 {
		return 0, 0
	}
	s := slices.Sorted(slices.Values(c.cents))
	return (s[(n-1)/2] + s[n/2]) / 2, n
}

func (c *Count) add(v Verdict) {
	c.Asked++
	switch v.Outcome {
	case InTune:
		c.Right++
	case Flat:
		c.Flat++
	case Sharp:
		c.Sharp++
	case OtherDegree:
		c.Other++
	case Unsteady:
		c.Unsteady++
	case Ambiguous:
		c.Ambiguous++
	case NotMeasured:
		c.NotMeasured++
	}
	switch v.Outcome {
	case InTune, Flat, Sharp:
		c.cents = append(c.cents, v.Cents)
	}
}

// Pair is a from-to pair of degrees.
type Pair struct {
	From, To theory.Degree
}

// Tally sums up a session. Only the first answer to an item belongs in it.
// The zero Tally is empty.
type Tally struct {
	All     Count
	degrees map[theory.Degree]*Count
	pairs   map[Pair]*Count
}

// Add counts the first answer to an item.
func (t *Tally) Add(it Item, v Verdict) {
	if t.degrees == nil {
		t.degrees, t.pairs = map[theory.Degree]*Count{}, map[Pair]*Count{}
	}
	t.All.add(v)
	addTo(t.degrees, it.Asked, v)
	if it.From != nil {
		addTo(t.pairs, Pair{*it.From, it.Asked}, v)
	}
}

func addTo[K comparable](m map[K]*Count, k K, v Verdict) {
	if m[k] == nil {
		m[k] = new(Count)
	}
	m[k].add(v)
}

// DegreeCount is the count of one degree.
type DegreeCount struct {
	Degree theory.Degree
	Count
}

// PairCount is the count of one from-to pair.
type PairCount struct {
	Pair
	Count
}

// ByDegree returns the counts of the degrees that were asked, from the tonic up.
func (t Tally) ByDegree() []DegreeCount {
	var out []DegreeCount
	for d, c := range t.degrees {
		out = append(out, DegreeCount{d, *c})
	}
	slices.SortFunc(out, func(a, b DegreeCount) int { return compareDegrees(a.Degree, b.Degree) })
	return out
}

// ByPair returns the counts of the pairs that were asked, ordered by where
// they start, then by where they go.
func (t Tally) ByPair() []PairCount {
	var out []PairCount
	for p, c := range t.pairs {
		out = append(out, PairCount{p, *c})
	}
	slices.SortFunc(out, func(a, b PairCount) int {
		if c := compareDegrees(a.From, b.From); c != 0 {
			return c
		}
		return compareDegrees(a.To, b.To)
	})
	return out
}

func compareDegrees(a, b theory.Degree) int {
	if a.Step != b.Step {
		return a.Step - b.Step
	}
	return a.Alter - b.Alter
}
