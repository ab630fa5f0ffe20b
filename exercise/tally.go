package exercise

import (
	"cmp"
	"slices"
	"sort"

	"singback/pitch"
	"singback/theory"
)

// Count sums up the verdicts of one degree, one pair or a whole session.
type Count struct {
	Asked       int // prompts, first answers only
	Right       int // in tune
	Flat        int // the asked degree, too low
	Sharp       int // the asked degree, too high
	Other       int // another degree
	Unsteady    int // the asked degree, not held
	NoDegree    int // the pitch moved too much to name one
	Ambiguous   int
	NotMeasured int

	cents []theory.Cents // of the answers on the asked degree
}

// Answered returns how many answers count as right or wrong.
func (c Count) Answered() int { return c.Right + c.Flat + c.Sharp + c.Other + c.Unsteady }

// Median returns the median distance, in cents, of the answers that were on
// the asked degree, and how many those are. With none it returns 0, 0.
func (c Count) Median() (theory.Cents, int) {
	return pitch.Median(slices.Clone(c.cents)), len(c.cents)
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
		if v.HasSung {
			c.Unsteady++
		} else {
			c.NoDegree++
		}
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
	Bass    Marks // of named bass degrees
	Quality Marks // of named chord qualities
	Lines   Marks // of sung melodies
	Hand    Marks // of degrees that were struck once they had been sung
	degrees map[theory.Degree]*Count
	pairs   map[Pair]*Count
	named   map[Skill]*NamedCount
}

// NamedCount counts how one bass degree or chord quality was named.
type NamedCount struct {
	Skill Skill
	Marks
	TakenFor []Skill // each wrong name, in the order in which they came; less where none was given
}

// Marks counts what is right or wrong and nothing else.
type Marks struct{ Right, Of int }

func (s *Marks) add(right bool) {
	s.Of++
	if right {
		s.Right++
	}
}

// AddNamed counts the name that was given to a bass degree, a chord quality or
// whatever else is told by ear; nil is none.
func (t *Tally) AddNamed(asked Skill, name *Skill, right bool) {
	if t.named == nil {
		t.named = map[Skill]*NamedCount{}
	}
	c := t.named[asked]
	if c == nil {
		c = &NamedCount{Skill: asked}
		t.named[asked] = c
	}
	c.add(right)
	if name != nil && !right {
		c.TakenFor = append(c.TakenFor, *name)
	}
	switch asked.Kind {
	case QualitySkill:
		t.Quality.add(right)
	case BassSkill:
		t.Bass.add(right)
	case HandSkill:
		t.Hand.add(right)
	}
}

// ByName returns the counts of what was named: bass degrees from the tonic up,
// then qualities by their names.
func (t Tally) ByName() []NamedCount {
	var out []NamedCount
	for _, c := range t.named {
		out = append(out, *c)
	}
	compare := func(a, b NamedCount) int {
		return cmp.Or(int(a.Skill.Kind)-int(b.Skill.Kind), CompareDegrees(a.Skill.Degree, b.Skill.Degree), cmp.Compare(a.Skill.Chord, b.Skill.Chord))
	}
	sort.SliceStable(out, func(i, j int) bool { return compare(out[i], out[j]) < 0 })
	return out
}

// AddLine counts a sung line.
func (t *Tally) AddLine(passed bool) { t.Lines.add(passed) }

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
	sort.SliceStable(out, func(i, j int) bool { return CompareDegrees(out[i].Degree, out[j].Degree) < 0 })
	return out
}

// ByPair returns the counts of the pairs that were asked, ordered by where
// they start, then by where they go.
func (t Tally) ByPair() []PairCount {
	var out []PairCount
	for p, c := range t.pairs {
		out = append(out, PairCount{p, *c})
	}
	compare := func(a, b PairCount) int {
		if c := CompareDegrees(a.From, b.From); c != 0 {
			return c
		}
		return CompareDegrees(a.To, b.To)
	}
	sort.SliceStable(out, func(i, j int) bool { return compare(out[i], out[j]) < 0 })
	return out
}

// CompareDegrees orders degrees from the tonic up, the lower alteration first.
func CompareDegrees(a, b theory.Degree) int {
	if a.Step != b.Step {
		return a.Step - b.Step
	}
	return a.Alter - b.Alter
}
