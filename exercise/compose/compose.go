package compose

import (
	"math/rand/v2"
	"slices"

	"singback/exercise"
	"singback/theory"
)

// intervalShare holds the shares of the intervals, in semitones and percent,
// among 57 082 intervals within a bar in the melodies of 194 rock songs
// (counted in the corpus of de Clercq & Temperley 2011, Temperley & de Clercq
// 2013). What is left of the whole, 1 %, is spread over 8, 10 and 11.
var intervalShare = [13]float64{31, 9.3, 31.4, 13.8, 4.6, 4.9, 0.4, 2.1, 0.6, 1.0, 0.3, 0.1, 0.5}

// repetitions is the share of repeated notes, where the note may be repeated: between
// that of the songs, and 17 to 18 % in the sopranos of 97 hymns.
const repetitions = 0.22

// dominant are the degrees of V on which a question may end, and from which do is reached.
var dominant = []theory.Degree{{Step: 2}, {Step: 5}, {Step: 7}}

// places holds at how many of the seven degrees of a diatonic scale an interval
// of so many semitones begins: an interval that few degrees offer is drawn more
// often where it is offered, so that the shares come out.
var places = [13]float64{7, 2, 5, 4, 3, 6, 2, 6, 3, 4, 5, 2, 7}

// fallingSteps is the share of falling ones among the steps of that corpus.
const fallingSteps = 24.5 / (24.5 + 16.2)

// degreeShare holds the shares of the degrees in the same melodies, in percent, by
// their semitones above the tonic. le has la's, since the corpus was counted with the
// sixth of the major scale; every other degree, and all raised ones, have the 1 % that
// is left.
var degreeShare = [12]float64{27, 1, 13, 8, 13, 8, 1, 15, 9, 9, 5, 2}

// onward holds where degrees go on to, as a share of the changes of note, in
// the same melodies: by step, and in minor by its own third.
var onward = [8][8]float64{
	2: {1: 0.43},
	7: {1: 0.34},
	4: {3: 0.43},
	6: {5: 0.33, 1: 0.26},
}

// composer makes one melody: rhythm first, then the notes, by walking from note
// to note and beginning anew where the walk can go no further. The melodies
// are thus distributed as the walks that keep all the rules.
type composer struct {
	rng     *rand.Rand
	key     theory.Key
	tonic   theory.Pitch // of key
	have    skill        // what may be used
	fresh   skill        // what must be
	level   int
	compass theory.Range // zero: none

	second   *second
	parallel bool // the answer begins like the question
	shaped   bool // form is kept to: not where the notes at hand do not allow it
}

// second is the key after a modulation.
type second struct {
	key theory.Key
	up  theory.Interval // from the first tonic to its tonic
	bar int             // the first in it
}

// tone is a note that may be used: its distance from the first tonic, and what
// it is in the key of the moment.
type tone struct {
	theory.Interval
	degree  theory.Degree
	altered int // against the key's scale: 1 raised, -1 lowered
}

// stable reports whether a note belongs to the tonic triad.
func (t tone) stable() bool { return t.altered == 0 && t.degree.Step%2 == 1 && t.degree.Step < 7 }

// tonics returns where the tonic may lie, the best place first: where most of
// the notes fit into the singer's range and lie most central.
func (c *composer) tonics() []theory.Pitch {
	if c.compass == (theory.Range{}) {
		return []theory.Pitch{{Note: c.key.Tonic, Octave: exercise.MiddleRegister(c.key).TonicOctave}}
	}
	var best, next theory.Pitch
	const none = -1000
	most, second := none, none
	for octave := -1; octave <= 9; octave++ {
		c.tonic = theory.Pitch{Note: c.key.Tonic, Octave: octave}
		notes := len(c.pool(c.key, theory.Interval{}))
		if notes < 3 {
			continue
		}
		off := 2*c.tonic.MIDI() + 7 - c.compass.Low - c.compass.High
		switch good := 1000*notes - max(off, -off); {
		case good > most:
			best, next, most, second = c.tonic, best, good, most
		case good > second:
			next, second = c.tonic, good
		}
	}
	switch {
	case most == none:
		return nil
	case second == none:
		return []theory.Pitch{best}
	}
	return []theory.Pitch{best, next}
}

// steps returns the diatonic steps above the first tonic that may be used, and
// how many of them a melody may span.
func steps(have skill) (use []int, span int) {
	from, to := 0, 2
	switch {
	case have&skillTwelfth != 0:
		from, to, span = -5, 11, 11
	case have&skillTenth != 0:
		from, to, span = -4, 10, 9
	case have&skillNinth != 0:
		from, to, span = -3, 9, 8
	default:
		if have&skillBelow != 0 {
			use = append(use, -3, -1)
		}
		if have&skillAbove != 0 {
			use = append(use, 6, 7)
		}
		if span = 7; len(use) == 0 {
			span = 5
		}
		switch {
		case have&skillFaLa != 0:
			to = 5
		case have&skillSol != 0:
			use = append(use, 4)
		}
	}
	for s := from; s <= to; s++ {
		use = append(use, s)
	}
	return use, span
}

// pool returns the notes of a key that may be used, its tonic lying up above
// the first.
func (c *composer) pool(k theory.Key, up theory.Interval) []tone {
	scale := k.ScaleDegrees()
	var pool []tone
	add := func(step int, d theory.Degree, altered int) {
		local := step - up.Steps
		at := d.Interval()
		t := tone{theory.Interval{Steps: step, Semitones: up.Semitones + at.Semitones + 12*((local-at.Steps)/7)}, d, altered}
		p := c.tonic.Up(t.Interval)
		if c.compass == (theory.Range{}) || c.compass.Contains(p) {
			pool = append(pool, t)
		}
	}
	use, _ := steps(c.have)
	for _, step := range use {
		d := scale[((step-up.Steps)%7+7)%7]
		add(step, d, 0)
		for _, alter := range []int{-1, 1} {
			if a := (theory.Degree{Step: d.Step, Alter: d.Alter + alter}); c.mayAlter(k.Mode, a) {
				add(step, a, alter)
			}
		}
	}
	return pool
}

// mayAlter reports whether an altered degree belongs to the material.
func (c *composer) mayAlter(m theory.Mode, d theory.Degree) bool {
	need := skill(0)
	switch at := 10*d.Step + d.Alter; {
	case m == theory.Minor && (at == 60 || at == 70):
		need = skillMinor
	case at == 41, m != theory.Minor && (at == 51 || at == 69):
		need = skillAltered
	case m == theory.Minor && (at == 19 || at == 30), m != theory.Minor && (at == 11 || at == 21 || at == 29 || at == 59):
		need = skillChromaticLeaps
	}
	return c.have&need != 0
}

func size(i theory.Interval) (steps, semitones int) {
	return max(i.Steps, -i.Steps), max(i.Semitones, -i.Semitones)
}

func between(a, b tone) theory.Interval {
	return theory.Interval{Steps: b.Steps - a.Steps, Semitones: b.Semitones - a.Semitones}
}

// isStep reports whether a to b is a step, a repetition or a chromatic semitone.
func isStep(a, b tone) bool {
	steps, semitones := size(between(a, b))
	return steps <= 1 && semitones <= 2
}

// mayMove reports whether a melody with the skills given may go from a to b.
func mayMove(a, b tone, have skill) bool {
	if isStep(a, b) {
		return true
	}
	steps, semitones := size(between(a, b))
	if steps < 2 || semitones > 12 {
		return false
	}
	if a.altered != 0 {
		return false
	}
	dissonant := semitones == 6 || semitones == 10 || semitones == 11
	if b.altered != 0 {
		return have&skillChromaticLeaps != 0 && (!dissonant || have&skillAnyLeap != 0)
	}
	low, high := a.degree.Step, b.degree.Step
	if b.Steps < a.Steps {
		low, high = high, low
	}
	need := skillAnyLeap
	if !dissonant {
		need |= skillOctaves
		if semitones <= 9 {
			need |= skillSixths
		}
	}
	if steps == 2 {
		switch low {
		case 1:
			need |= skillDoMi | skillTriad
		case 3:
			need |= skillSol | skillTriad
		case 4, 5, 6, 7:
			need |= skillThirds
		}
	}
	if low == 1 && high == 5 && steps == 4 {
		need |= skillTriad
	}
	if low == 5 && high == 1 && steps == 3 {
		need |= skillBelow | skillAbove
	}
	return have&need != 0
}

// mayFollow reports whether next may come after prev, which came after before
// (nil at the start), whatever the leap.
func mayFollow(before *tone, prev, next tone) bool {
	move := between(prev, next)
	steps, semitones := size(move)
	if before != nil {
		last := between(*before, prev)
		if n, _ := size(last); n > 2 && (steps != 1 || semitones > 2 || move.Steps*last.Steps > 0) {
			return false // no step back after a leap
		}
	}
	if semitones == 0 {
		return steps == 0
	}
	if steps == 0 && (prev.altered != 0 || next.altered == 0) {
		return false // a chromatic semitone leads to an altered note, never from one
	}
	if steps == 1 && semitones > 2 {
		return false
	}
	switch {
	case prev.degree == theory.Degree{Step: 7}: // ti
		passes := before != nil && prev.altered == 0 && before.Steps == prev.Steps+1 && move.Steps == -1 && next.altered == 0
		return move == theory.Interval{Steps: 1, Semitones: 1} || passes
	case prev.altered != 0:
		rises := next.degree == theory.Degree{Step: 7} // from the raised sixth of minor
		return move.Steps == prev.altered && semitones <= 2 && (next.altered == 0 || rises)
	case next.degree == theory.Degree{Step: 6} && next.altered != 0: // the raised sixth of minor rises
		return move.Steps >= 0
	}
	return true
}

// compose makes the melody; ok is false where the range does not allow it.
func (c *composer) compose() (s theory.Score, ok bool) {
	c.second = nil
	pools := [][]tone{c.pool(c.key, theory.Interval{})}
	if c.fresh&(skillNinth|skillTenth|skillTwelfth) != 0 && !c.wideEnough(pools[0]) {
		return s, false
	}
	var r rhythm
	parallel := c.rng.IntN(20) < 9
	for try := range tries {
		if try%4 == 0 {
			c.parallel, c.shaped = parallel && try < tries/4, try < tries/2
			r = c.rhythm()
		}
		if c.fresh&rhythmic != 0 && r.used&c.fresh == 0 {
			continue
		}
		pools = pools[:1]
		if c.fresh == skillModulation {
			c.second = c.modulate(len(r.bars) / 2)
			pools = append(pools, c.pool(c.second.key, c.second.up))
		}
		if line, ok := c.walk(pools, r); ok && (c.fresh == 0 || c.fresh&(rhythmic|skillMinor) != 0 || c.shows(line, r.notes)) {
			return c.write(r, line), true
		}
	}
	return s, false
}

// wideEnough reports whether the notes at hand span more than a melody of the
// level below may.
func (c *composer) wideEnough(pool []tone) bool {
	_, before := steps(c.have &^ c.fresh)
	low, high := 99, -99
	for _, t := range pool {
		low, high = min(low, t.Steps), max(high, t.Steps)
	}
	return high-low > before
}

// modulate chooses the key after a modulation: the dominant or the relative
// minor of a major key, the relative major of a minor one.
func (c *composer) modulate(bar int) *second {
	tonic := theory.Pitch{Note: c.key.Tonic, Octave: 4}
	up := theory.Interval{Steps: -2, Semitones: -3} // the relative minor lies a third below
	to := theory.Key{Tonic: tonic.Up(up).Note, Mode: theory.Minor}
	dominant := theory.Key{Tonic: tonic.Up(theory.Interval{Steps: 4, Semitones: 7}).Note}
	switch {
	case c.key.Mode == theory.Minor:
		up = theory.Interval{Steps: 2, Semitones: 3}
		to = theory.Key{Tonic: tonic.Up(up).Note}
	case dominant.Valid() && c.rng.IntN(2) == 0:
		up = theory.Interval{Steps: -3, Semitones: -5}
		to = dominant
	}
	return &second{key: to, up: up, bar: bar}
}

// shows reports whether the line needs the fresh skill.
func (c *composer) shows(line []tone, notes []place) bool {
	if c.second != nil { // what was not in the first key
		scale := c.key.ScaleDegrees()
		for i, t := range line {
			own := c.key.Degree(c.tonic.Up(t.Interval).Note)
			if notes[i].bar >= c.second.bar && !slices.Contains(scale[:], own) {
				return true
			}
		}
		return false
	}
	without := *c
	without.have &^= c.fresh
	use, span := steps(without.have)
	low, high := 99, -99
	for i, t := range line {
		low, high = min(low, t.Steps), max(high, t.Steps)
		if !slices.Contains(use, t.Steps) || t.altered != 0 && !without.mayAlter(c.key.Mode, t.degree) ||
			i > 0 && !mayMove(line[i-1], t, without.have) {
			return true
		}
	}
	return high-low > span
}

// walk draws the notes, one for each place.
func (c *composer) walk(pools [][]tone, r rhythm) ([]tone, bool) {
	notes := r.notes
	_, span := steps(c.have)
	line := make([]tone, 0, len(notes))
	weights := make([]float64, 0, 64)
	low, high, same, peaks := 0, 0, 0, 0
	last := len(notes) - 1
	climax := r.answer + c.rng.IntN(len(r.bars)-r.answer) - 1 // the last bar for the highest note
	for i, n := range notes {
		pool := pools[0]
		turns := c.second != nil && n.bar >= c.second.bar
		if turns {
			pool = pools[1]
		}
		before := c.second != nil && i+1 < len(notes) && notes[i+1].bar >= c.second.bar && !turns
		after := turns && notes[i-1].bar < c.second.bar
		weights = weights[:0]
		total, unison, like := 0.0, -1, -1
		model := modelOf(n, notes, line)
		strict := c.shaped && n.shift == 0 && model != nil
		for j, t := range pool {
			w := 1.0
			again := model != nil && n.again(*model, t)
			switch {
			case strict && !again,
				i == last && t.degree != theory.Degree{Step: 1},
				i == last-1 && !slices.Contains(dominant, t.degree),
				i == 0 && !t.stable(),
				// Before and after a modulation stand notes of both keys.
				before && (!t.stable() || !sounds(pools[1], t)),
				after && (t.altered != 0 || !sounds(pools[0], t)):
				w = 0
			// The question ends on V, and after the climax the line stays below it.
			case c.shaped && c.second == nil && i < last && n.bar < r.answer && notes[i+1].bar >= r.answer && !slices.Contains(dominant, t.degree),
				c.shaped && n.bar > climax && t.Steps >= high:
				w = 0
			case i > 0:
				w = c.weigh(line, t, span, low, high, same, i == last)
			}
			if w > 0 {
				if t.degree.Alter <= 0 {
					w *= degreeShare[t.degree.Semitones()]
				}
				if c.shaped && n.bar == climax && t.Steps > high {
					w *= 4
				}
				if n.strong && t.stable() {
					w *= 1.5 // the first of a bar rests on the triad (common practice)
				}
			}
			if w > 0 && again {
				like = j
			}
			if w > 0 && i > 0 && t.Interval == line[i-1].Interval {
				unison, w = j, 0
				weights = append(weights, 0)
				continue
			}
			weights = append(weights, w)
			total += w
		}
		if i > 0 {
			total = goOn(weights, pool, line[i-1], total)
			if unison >= 0 {
				if total == 0 {
					total = 1
				}
				weights[unison] = total * repetitions / (1 - repetitions)
				total += weights[unison]
			}
		}
		if total <= 0 || strict && like < 0 || c.shaped && peaks > 1 && n.bar > climax {
			return nil, false
		}
		chosen := c.draw(weights, total)
		if like >= 0 {
			chosen = like
		}
		t := pool[chosen]
		if same++; i == 0 || t.Interval != line[i-1].Interval {
			same = 1
		}
		if i == 0 {
			low, high = t.Steps, t.Steps
		}
		switch {
		case t.Steps > high:
			peaks = 1
		case t.Steps == high && same == 1:
			peaks++
		}
		low, high = min(low, t.Steps), max(high, t.Steps)
		line = append(line, t)
	}
	return line, true
}

// draw returns one of the weights by its share; zero ones are never drawn.
func (c *composer) draw(weights []float64, total float64) int {
	x := c.rng.Float64() * total
	chosen := -1
	for j, w := range weights {
		if w > 0 {
			chosen = j
			if x -= w; x < 0 {
				break
			}
		}
	}
	return chosen
}

// sounds reports whether the scale of a pool has a note of that pitch and letter.
func sounds(pool []tone, t tone) bool {
	return slices.ContainsFunc(pool, func(o tone) bool { return o.altered == 0 && o.Interval == t.Interval })
}

// weigh returns how likely the line goes on to t, 0 where it may not.
func (c *composer) weigh(line []tone, t tone, span, low, high, same int, last bool) float64 {
	prev := line[len(line)-1]
	var before *tone
	if len(line) > 1 {
		before = &line[len(line)-2]
	}
	spans := max(high, t.Steps) - min(low, t.Steps)
	wide := spans > high-low
	if spans > span || !mayMove(prev, t, c.have) || !mayFollow(before, prev, t) {
		return 0
	}
	if t.Interval == prev.Interval {
		if same == 3 || last {
			return 0 // at most three times the same note; the end is reached by a move
		}
		return 1
	}
	for _, p := range line[max(0, len(line)-3):] {
		if p.degree.Step > 5 && t.degree.Step > 5 && (p.altered > 0) != (t.altered > 0) {
			return 0 // in minor, raised 6 and 7 keep away from lowered ones
		}
	}
	move := between(prev, t)
	steps, semitones := size(move)
	w := intervalShare[semitones] / places[semitones]
	if steps <= 1 {
		if move.Semitones < 0 {
			w *= 2 * fallingSteps
		} else {
			w *= 2 * (1 - fallingSteps)
		}
	}
	// What the melody is there for comes often enough to be met.
	const often = 6
	if c.fresh&(skillBelow|skillAbove|skillNinth|skillTenth|skillTwelfth) != 0 && wide {
		w *= often
	}
	if semitones == 6 && c.fresh == skillAnyLeap {
		w *= 3 * often // sevenths have more places
	}
	if c.fresh&^rhythmic != 0 && (!mayMove(prev, t, c.have&^c.fresh) || t.altered != 0) {
		w *= often
	}
	return w
}

// goOn gives the degrees that a note is known to go on to their shares, and
// returns the new total.
func goOn(weights []float64, pool []tone, prev tone, total float64) float64 {
	targets := onward[prev.degree.Step]
	if prev.altered != 0 || total <= 0 {
		return total
	}
	var sums [8]float64
	rest, shares := total, 0.0
	for j, t := range pool {
		if p := targets[t.degree.Step]; p > 0 && t.altered == 0 && weights[j] > 0 {
			if sums[t.degree.Step] == 0 {
				shares += p
			}
			sums[t.degree.Step] += weights[j]
			rest -= weights[j]
		}
	}
	if rest <= 1e-9*total || rest == total {
		return total
	}
	total = rest
	for j, t := range pool {
		if p := targets[t.degree.Step]; p > 0 && t.altered == 0 && weights[j] > 0 {
			weights[j] *= p / (1 - shares) * rest / sums[t.degree.Step]
			total += weights[j]
		}
	}
	return total
}

// tempos holds the beats a minute of each level, slow at first (common
// practice).
var tempos = [Levels + 1]float64{1: 60, 2: 60, 3: 72, 4: 72, 5: 72, 6: 80, 7: 80}

// write makes the score.
func (c *composer) write(r rhythm, line []tone) theory.Score {
	s := theory.Score{Key: c.key, Meter: r.meter, Tempo: tempos[c.level], Start: r.start}
	i := 0
	for _, p := range r.all {
		n := theory.Written{Rest: p.rest, Length: p.length}
		if !p.rest {
			n.Pitch = c.tonic.Up(line[i].Interval)
			i++
		}
		s.Notes = append(s.Notes, n)
	}
	if c.second != nil {
		s.Changes = append(s.Changes, theory.Change{At: r.bars[c.second.bar], Key: c.second.key, Meter: r.meter})
	}
	if r.changed != (theory.Meter{}) {
		s.Changes = append(s.Changes, theory.Change{At: r.bars[len(r.bars)/2], Key: c.key, Meter: r.changed})
	}
	return s
}
