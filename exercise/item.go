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
}

// Target returns the pitch that the item asks for in the singer's register,
// and whether it had to be moved by an octave to fit.
func (it Item) Target() (p theory.Pitch, folded bool) {
	return it.Register.Place(it.Key, it.Asked)
}

// Hz returns the frequency of a pitch as a degree of the item's key, in the
// item's tuning.
func (it Item) Hz(p theory.Pitch) float64 { return it.Tuning.HzIn(it.Key, p) }

// FromPitch returns the pitch at which From is sounded. Only for items that
// have a From.
func (it Item) FromPitch() theory.Pitch { return it.pitchOf(*it.From) }

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
	if a.Asked != b.Asked || (a.From == nil) != (b.From == nil) {
		return false
	}
	return a.From == nil || *a.From == *b.From
}
