package compose

import (
	"slices"

	"singback/theory"
)

// rhythmic are the skills that the rhythm shows, and not the notes.
const rhythmic = skillTwoFour | skillThreeFour | skillSixEight | skillPickup | skillWhole | skillEighths | skillRests | skillDots |
	skillTies | skillSyncopation | skillSixteenths | skillTriplets | skillMeterChange

// rhythm is the rhythm of a melody.
type rhythm struct {
	meter   theory.Meter
	start   theory.Fraction // the incomplete first bar
	changed theory.Meter    // from the middle on; none
	bars    []theory.Fraction
	all     []place
	notes   []place // without the rests
	answer  int     // the bar where the second phrase begins
	used    skill
}

// place is where a note or rest stands.
type place struct {
	length theory.Fraction
	bar    int
	strong bool // the first of its bar
	rest   bool

	part  int // of its bar
	like  int // the bar that its bar is made from, counted from 1; 0: none
	shift int // and how many steps above the note there it is
}

// cell is a figure of whole beats. In the meters of three eighths a beat the
// beats are dotted quarters.
type cell struct {
	beats  int
	parts  []int // in twelfths of a quarter note; negative: a rest
	need   skill
	weight int
	at     []int // beats of the bar it may begin on, from 0; nil: any
	bar    int   // beats of the bars it may stand in; 0: any
}

// The figures, common ones more often (common practice).
var (
	simpleCells = []cell{
		{beats: 1, parts: []int{12}, weight: 12},
		{beats: 2, parts: []int{24}, weight: 5, at: []int{0, 2}},
		{beats: 4, parts: []int{48}, need: skillWhole, weight: 1, at: []int{0}, bar: 4},
		{beats: 1, parts: []int{6, 6}, need: skillEighths, weight: 6},
		{beats: 1, parts: []int{-12}, need: skillRests, weight: 1, at: []int{1, 2, 3}},
		{beats: 2, parts: []int{18, 6}, need: skillDots, weight: 4, at: []int{0, 2}},
		{beats: 3, parts: []int{36}, need: skillDots, weight: 2, at: []int{0}},
		{beats: 2, parts: []int{6, 12, 6}, need: skillSyncopation, weight: 2, at: []int{0, 2}},
		{beats: 4, parts: []int{12, 24, 12}, need: skillSyncopation, weight: 1, at: []int{0}, bar: 4},
		{beats: 1, parts: []int{3, 3, 3, 3}, need: skillSixteenths, weight: 1},
		{beats: 1, parts: []int{6, 3, 3}, need: skillSixteenths, weight: 2},
		{beats: 1, parts: []int{3, 3, 6}, need: skillSixteenths, weight: 1},
		{beats: 1, parts: []int{9, 3}, need: skillSixteenths, weight: 2},
		{beats: 1, parts: []int{4, 4, 4}, need: skillTriplets, weight: 2},
	}
	compoundCells = []cell{
		{beats: 1, parts: []int{12, 6}, weight: 10},
		{beats: 1, parts: []int{18}, weight: 5},
		{beats: 1, parts: []int{6, 6, 6}, weight: 8},
		{beats: 2, parts: []int{36}, weight: 1, at: []int{0}},
		{beats: 1, parts: []int{12, -6}, need: skillRests, weight: 2},
		{beats: 1, parts: []int{6, 12}, need: skillSyncopation, weight: 2},
		{beats: 1, parts: []int{6, 3, 3, 6}, need: skillSixteenths, weight: 2},
		{beats: 1, parts: []int{9, 3, 6}, need: skillSixteenths, weight: 2},
	}
)

// twelfths makes a length.
func twelfths(n int) theory.Fraction { return theory.NewFraction(n, 12) }

// rhythm draws meter and rhythm: four bars, from level 5 on eight.
func (c *composer) rhythm() rhythm {
	r := rhythm{meter: c.meter()}
	switch r.meter {
	case theory.Meter{Beats: 2, Unit: 4}:
		r.used |= skillTwoFour
	case theory.Meter{Beats: 3, Unit: 4}:
		r.used |= skillThreeFour
	case theory.Meter{Beats: 6, Unit: 8}:
		r.used |= skillSixEight
	}
	count := 4
	if c.level >= 5 {
		count = 8
	}
	var bars [][]int // the parts of each
	pickup := 0
	if c.fresh == skillPickup || c.have&skillPickup != 0 && c.rng.IntN(4) == 0 {
		r.used |= skillPickup
		switch {
		case r.meter.Compound():
			pickup = 6
			bars = append(bars, []int{6})
		case c.have&skillEighths != 0 && c.rng.IntN(3) == 0:
			pickup = 12
			bars = append(bars, []int{6, 6})
		default:
			pickup = 12
			bars = append(bars, []int{12})
		}
		r.start = twelfths(pickup)
	}
	first := len(bars)
	meter := r.meter
	r.answer = first + count/2
	form := make([]motif, first, first+count)
	for n := range count {
		if n == count/2 && c.fresh == skillMeterChange {
			meter = otherMeter(meter)
			r.changed = meter
			r.used |= skillMeterChange
		}
		m := c.motif(n, count)
		if m.bar > 0 {
			m.bar += first
		}
		form = append(form, m)
		switch {
		case n == count-1:
			bars = append(bars, c.lastBar(meter, pickup, &r.used))
		case m.bar > 0 && (r.changed == theory.Meter{} || m.bar > r.answer):
			bars = append(bars, bars[m.bar-1])
		case n == count/2-1 && c.rng.IntN(2) == 0:
			bars = append(bars, c.lastBar(meter, 0, &r.used))
		default:
			bars = append(bars, c.bar(meter, 0, &r.used))
		}
	}
	tied := c.ties(bars, first, count, r.changed != theory.Meter{}, &r.used)
	at := twelfths(0)
	for b, parts := range bars {
		r.bars = append(r.bars, at)
		for i, part := range parts {
			length := max(part, -part)
			at = at.Plus(twelfths(length))
			if i == 0 && b > 0 && b == tied {
				last := &r.all[len(r.all)-1]
				last.length = last.length.Plus(twelfths(length))
				continue
			}
			p := place{length: twelfths(length), bar: b, strong: i == 0 && b >= first, rest: part < 0, part: i, like: form[b].bar, shift: form[b].shift}
			if i >= 2 && form[b].varied {
				p.like = 0
			}
			r.all = append(r.all, p)
		}
	}
	for _, p := range r.all {
		if !p.rest {
			r.notes = append(r.notes, p)
		}
	}
	return r
}

// motif tells what a bar is made from.
type motif struct {
	bar    int  // one before it, counted from 1; 0: none
	shift  int  // steps above it
	varied bool // only its first two notes are like those there
}

// motif draws what a bar is made from. The second phrase begins like the first in
// parallel ones; within a phrase a bar may be the one or, of four, the second before
// it again, at another height more often than at the same.
func (c *composer) motif(n, count int) motif {
	half := count / 2
	back := 1 + c.rng.IntN(half/2)
	switch within := n % half; {
	case n == count-1:
	case c.parallel && n >= half:
		return motif{bar: n - half + 1, varied: within > 0 && c.rng.IntN(2) == 0}
	case within >= back && c.rng.IntN(5) < 3:
		return motif{bar: n - back + 1, shift: c.rng.IntN(5) - 2}
	}
	return motif{}
}

// modelOf returns the note of the line that a place is like, nil for none.
func modelOf(n place, notes []place, line []tone) *tone {
	for j := range line {
		if notes[j].bar+1 == n.like && notes[j].part == n.part {
			return &line[j]
		}
	}
	return nil
}

// again reports whether a note is the model again, at the height that the place has.
func (n place) again(model, t tone) bool {
	if n.shift == 0 {
		return t.Interval == model.Interval
	}
	return t.altered == 0 && model.altered == 0 && t.Steps == model.Steps+n.shift
}

// meter draws a meter.
func (c *composer) meter() theory.Meter {
	two, three, four, six := theory.Meter{Beats: 2, Unit: 4}, theory.Meter{Beats: 3, Unit: 4}, theory.Meter{Beats: 4, Unit: 4}, theory.Meter{Beats: 6, Unit: 8}
	switch c.fresh {
	case skillTwoFour:
		return two
	case skillThreeFour:
		return three
	case skillSixEight:
		return six
	case skillWhole:
		return four
	}
	use := []theory.Meter{four, four, four}
	if c.have&skillTwoFour != 0 {
		use = append(use, two, two)
	}
	if c.have&skillThreeFour != 0 {
		use = append(use, three, three)
	}
	// Triplets and dotted notes are met where beats are halves.
	if c.have&skillSixEight != 0 && c.fresh != skillTriplets {
		use = append(use, six, six)
	}
	return use[c.rng.IntN(len(use))]
}

// otherMeter returns a meter of the same beats.
func otherMeter(m theory.Meter) theory.Meter {
	switch {
	case m.Compound():
		return theory.Meter{Beats: 9, Unit: 8}
	case m.Beats == 3:
		return theory.Meter{Beats: 2, Unit: 4}
	}
	return theory.Meter{Beats: 3, Unit: 4}
}

// bar draws the figures of a bar from a beat on.
func (c *composer) bar(m theory.Meter, beat int, used *skill) []int {
	return c.fill(m, beat, m.Pulses(), used, true)
}

// fill draws figures for the beats from one to another.
func (c *composer) fill(m theory.Meter, beat, end int, used *skill, rests bool) []int {
	cells := simpleCells
	if m.Compound() {
		cells = compoundCells
	}
	var parts []int
	for beat < end {
		total := 0
		weight := func(f cell) int {
			switch {
			case f.need&^c.have != 0, f.beats > end-beat, f.bar != 0 && f.bar != m.Pulses(), f.need == skillRests && !rests:
				return 0
			case f.at != nil && !slices.Contains(f.at, beat):
				return 0
			case f.need == skillRests && len(parts) > 0 && parts[len(parts)-1] < 0:
				return 0 // one rest at a time
			case f.need == c.fresh && f.need != 0:
				return 5 * f.weight
			}
			return f.weight
		}
		for _, f := range cells {
			total += weight(f)
		}
		x := c.rng.IntN(total)
		for _, f := range cells {
			if x -= weight(f); x < 0 {
				*used |= f.need
				parts = append(parts, f.parts...)
				beat += f.beats
				break
			}
		}
	}
	return parts
}

// lastBar draws a bar that ends with a long note. Together with the pickup it
// is a full one where that note can be written so.
func (c *composer) lastBar(m theory.Meter, pickup int, used *skill) []int {
	var parts []int
	switch p := m.Pulses(); {
	case m.Compound() && c.rng.IntN(2) == 0:
		parts = []int{18 * p}
		if p != 2 { // a whole bar of three such beats is no note value
			parts = append(c.fill(m, 0, p-1, used, false), 18)
		}
	case m.Compound():
		parts = append(c.fill(m, 0, p-1, used, false), 18)
	case p == 4 && c.have&skillWhole != 0 && (c.fresh == skillWhole || c.rng.IntN(3) == 0):
		*used |= skillWhole
		parts = []int{48}
	case p == 4:
		parts = append(c.fill(m, 0, 2, used, false), 24)
	case p == 3 && c.have&skillDots != 0 && c.rng.IntN(2) == 0:
		*used |= skillDots
		parts = []int{36}
	case p == 3:
		parts = append(c.fill(m, 0, 1, used, false), 24)
	case c.rng.IntN(2) == 0:
		parts = []int{24}
	default:
		parts = append(c.fill(m, 0, 1, used, false), 12)
	}
	last := parts[len(parts)-1] - pickup
	if pickup > 0 && slices.Contains([]int{12, 24, 36}, last) && (last != 36 || c.have&skillDots != 0) {
		parts[len(parts)-1] = last
	}
	return parts
}

// ties chooses a bar whose first note goes on from the bar before; -1 for none.
func (c *composer) ties(bars [][]int, first, count int, changes bool, used *skill) int {
	if c.have&skillTies == 0 || c.fresh != skillTies && c.rng.IntN(4) > 0 {
		return -1
	}
	var may []int
	for b := first + 1; b < len(bars)-1; b++ {
		before, after := bars[b-1], bars[b]
		short := func(part int) bool { return part == 6 || part == 12 || part == 24 }
		if short(before[len(before)-1]) && short(after[0]) && len(after) > 1 && b != first+count/2 {
			may = append(may, b)
		}
	}
	if len(may) == 0 {
		return -1
	}
	*used |= skillTies
	return may[c.rng.IntN(len(may))]
}
