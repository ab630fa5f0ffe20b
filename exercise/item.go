package exercise

import (
	"errors"
	"fmt"
	"math/rand/v2"

	"singback/theory"
)

// Item is one question: sing the degree Asked of Key, after the key has been
// set, and after From has been sounded if it is not nil.
type Item struct {
	Key      theory.Key
	Tuning   theory.Tuning
	Register Register
	Asked    theory.Degree
	From     *theory.Degree
	// Move, with a From, wants the Asked nearest above (Up) or below (Down) it.
	// Where it is Within, both lie in the octave above the tonic.
	Move Direction
}

// Direction is the way from one degree to another.
type Direction int8

// The directions.
const (
	Within Direction = 0 // wherever the octave above the tonic has it
	Up     Direction = 1
	Down   Direction = -1
)

// String returns "up", "down" or "within".
func (d Direction) String() string {
	switch d {
	case Up:
		return "up"
	case Down:
		return "down"
	}
	return "within"
}

// Target returns the pitch that the item asks for in the singer's register,
// and whether it had to be moved by an octave to fit.
func (it Item) Target() (p theory.Pitch, folded bool) {
	if it.From != nil && it.Move != Within {
		_, p, folded = it.move()
		return p, folded
	}
	return it.Register.Place(it.Key, it.Asked)
}

// move places From and the Asked above or below it: where the register has
// From, or with both moved by an octave, whichever lets both fit, or with Asked
// alone folded back.
func (it Item) move() (from, to theory.Pitch, folded bool) {
	from, _ = it.Register.Place(it.Key, *it.From)
	to = from
	to.Note = it.Key.Note(it.Asked)
	for octave := from.Octave - 2; octave <= from.Octave+2; octave++ {
		p := theory.Pitch{Note: to.Note, Octave: octave}
		switch away := p.MIDI() - from.MIDI(); {
		case it.Move == Up && away > 0 && away <= 12, it.Move == Down && away < 0 && away >= -12:
			to = p
		}
	}
	r := it.Register.Range
	for _, by := range []int{0, int(-it.Move)} {
		f, t := from, to
		f.Octave, t.Octave = f.Octave+by, t.Octave+by
		if r == (theory.Range{}) || r.Contains(f) && r.Contains(t) {
			return f, t, false
		}
	}
	to, _ = it.Register.Place(it.Key, it.Asked)
	return from, to, true
}

// Direction tells which way the item goes from From to the pitch it asks for:
// Within if it has no From or stays on the pitch.
func (it Item) Direction() Direction {
	if it.From == nil {
		return Within
	}
	to, _ := it.Target()
	switch from := it.FromPitch().MIDI(); {
	case to.MIDI() > from:
		return Up
	case to.MIDI() < from:
		return Down
	}
	return Within
}

// Hz returns the frequency of a pitch as a degree of the item's key, in the
// item's tuning.
func (it Item) Hz(p theory.Pitch) float64 { return it.Tuning.HzIn(it.Key, p) }

// FromPitch returns the pitch at which From is sounded. Only for items that
// have a From.
func (it Item) FromPitch() theory.Pitch {
	if it.Move != Within {
		from, _, _ := it.move()
		return from
	}
	return it.pitchOf(*it.From)
}

// pitchOf returns where the item's register places a degree.
func (it Item) pitchOf(d theory.Degree) theory.Pitch {
	p, _ := it.Register.Place(it.Key, d)
	return p
}

// Order tells how a series is drawn.
type Order struct {
	Asked []theory.Degree // degrees to ask for, at least one
	From  []theory.Degree // degrees to start from; empty: the tonic has just been set, nothing is sounded
	Count int             // items, 1 … MaxCount
	Seed  uint64          // the same seed gives the same series
}

// MaxCount is the longest series, in items.
const MaxCount = 1000

// NewSeries draws a series of items like base. The degrees, or the pairs of a
// starting and an asked degree, come in shuffled rounds: each is met once
// before any is met again, and no item repeats the one before it unless there
// is no other. A pair of a degree with itself is left out.
func NewSeries(base Item, o Order) ([]Item, error) {
	if o.Count < 1 || o.Count > MaxCount {
		return nil, fmt.Errorf("a series of %d items is not possible: want 1 to %d", o.Count, MaxCount)
	}
	if len(o.Asked) == 0 {
		return nil, errors.New("no degree to ask for")
	}
	var pool []Item
	for _, asked := range o.Asked {
		it := base
		it.Asked, it.From = asked, nil
		if len(o.From) == 0 {
			pool = append(pool, it)
			continue
		}
		for _, from := range o.From {
			if from != asked {
				it.From = &from
				pool = append(pool, it)
			}
		}
	}
	if len(pool) == 0 {
		return nil, errors.New("the only degree to start from is the only degree to sing: give another --from or --degrees")
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x73696e676261636b))
	series := make([]Item, 0, o.Count)
	for len(series) < o.Count {
		rng.Shuffle(len(pool), func(i, j int) { pool[i], pool[j] = pool[j], pool[i] })
		if n := len(series); n > 0 && len(pool) > 1 && sameQuestion(series[n-1], pool[0]) {
			j := 1 + rng.IntN(len(pool)-1)
			pool[0], pool[j] = pool[j], pool[0]
		}
		series = append(series, pool[:min(len(pool), o.Count-len(series))]...)
	}
	return series, nil
}

func sameQuestion(a, b Item) bool {
	if a.Asked != b.Asked || a.Move != b.Move || (a.From == nil) != (b.From == nil) {
		return false
	}
	return a.From == nil || *a.From == *b.From
}
