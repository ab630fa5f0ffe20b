package theory

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// Voicing is a chord in four parts, from the bass up: bass, tenor, alto,
// soprano.
type Voicing [4]Pitch

// Range is a span of pitches as MIDI numbers, limits included.
type Range struct{ Low, High int }

// Contains reports whether the pitch lies in the range.
func (r Range) Contains(p Pitch) bool { return p.MIDI() >= r.Low && p.MIDI() <= r.High }

// Texture is how four parts are set: for a choir or for two hands. ChoirTexture
// and KeyboardTexture make the usual ones.
type Texture struct {
	Ranges [4]Range // bass, tenor, alto, soprano
	// Gap is the most semitones between tenor and alto and between alto and
	// soprano.
	Gap int
	// Hand is the most semitones between tenor and soprano, the three notes of
	// the right hand; 0 is no limit.
	Hand int
	// Unison allows two parts on one note.
	Unison bool
	// Top is where the soprano of the first chord lies best, a MIDI note.
	Top int
}

// ChoirTexture is for soprano, alto, tenor and bass, in the ranges of harmony
// textbooks: E2–C4, C3–G4, G3–C5, C4–G5 (Open Music Theory gives about these).
func ChoirTexture() Texture {
	return Texture{
		Ranges: [4]Range{{40, 60}, {48, 67}, {55, 74}, {60, 79}},
		Gap:    12, Unison: true, Top: 69,
	}
}

// KeyboardTexture is for a bass in the left hand, C2–C4, and three notes within
// an octave in the right, E3–A5 (common practice of keyboard harmony).
func KeyboardTexture() Texture {
	return Texture{
		Ranges: [4]Range{{36, 60}, {52, 81}, {52, 81}, {52, 81}},
		Gap:    12, Hand: 12, Top: 69,
	}
}

// Shift moves the texture by so many semitones, and with it all that is voiced
// in it.
func (t Texture) Shift(semitones int) Texture {
	for i := range t.Ranges {
		t.Ranges[i].Low += semitones
		t.Ranges[i].High += semitones
	}
	t.Top += semitones
	return t
}

// ErrVoicing is wrapped by every error about a progression that the rules do
// not let be voiced.
var ErrVoicing = errors.New("no voicing keeps the rules")

// The cost of a voicing, which Voice makes least. The unit is a semitone that
// one upper part moves. The weights are ours, chosen so that the cadences of
// textbooks cost least; the reasons are those that textbooks give.
const (
	costLeap      = 2 // per semitone beyond a major third: upper parts move by step where they can
	leapFree      = 4
	costAwkward   = 8 // a melodic augmented or diminished interval, hard to sing; not the chromatic semitone
	costHidden    = 6 // the outer parts come to a fifth or octave in the same direction, the soprano by leap
	costAllSame   = 2 // all four parts in the same direction
	costDissonant = 3 // a seventh, ninth, eleventh or thirteenth, or what is suspended, that neither stays nor moves by step
	costNoFifth   = 3 // a triad without its fifth sounds thin
	costNoFifth7  = 1 // a seventh chord may lose it
	costThird     = 3 // a doubled third, but for the bass of a diminished sixth chord
	costFifth     = 1 // a doubled fifth in place of the root
	costSix       = 1 // in a first inversion root and fifth are as good, the bass is not
	costSixFour   = 2 // in a six-four chord the bass is doubled
	costChromatic = 4 // a doubled tone that is not in the key
	costUnison    = 1 // two parts on one note: one part less is heard
	costLow       = 1 // per semitone of tenor above bass beyond two octaves
	lowFree       = 24
)

// costBass is what a bass that moves so many semitones costs: little, since the
// figures say where it goes and only the octave is free.
func costBass(semitones int) int { return abs(semitones) / 2 }

// costTop is what the first soprano costs so many semitones from where it lies
// best: it decides only between positions of the hand.
func costTop(semitones int) int { return abs(semitones) / 3 }

// state is one voicing of one chord: what each part has.
type state struct {
	midi [4]int16
	tone [4]int8 // index into plan.notes
	cost int     // of the voicing itself
}

// plan is a chord made ready for the search.
type plan struct {
	roman Roman
	notes []Note // the chord's, the bass first where it is foreign
	steps []Degree
	bass  int  // index of the bass in notes
	need  uint // notes that must sound, by index
	lead  int  // index of the leading tone, or −1
	// seventh is the index of the chord's seventh, or −1; free marks the notes
	// that had better stay or move by step.
	seventh int
	free    uint
}

// Voice sets the chords in four parts, as the texture has it, with the least
// cost, and returns that cost. The bass has the notes that the numerals say.
// The search is exact: dynamic programming over all voicings of every chord.
// Of several with the same cost it takes the one whose last chord is lowest,
// compared from the bass up, then the chord before it, so the same call gives
// the same voicing.
//
// These rules are kept without exception:
//
//   - All parts stay in their ranges and in order; upper neighbours are no more
//     than Gap apart; no part goes above where its upper neighbour was, or
//     below where its lower neighbour was.
//   - No two parts move from a fifth to a fifth or from an octave or unison to
//     an octave or unison, in similar motion or contrary. Seven semitones are a
//     fifth however they are spelled.
//   - Root or foreign bass, third and seventh sound, and the fifth unless the
//     chord is a triad or a seventh chord in root position with a perfect one.
//     Of chords with more than four tones the fifth is left out first, then the
//     root, if it is not the bass, and what lies below the highest tone.
//   - The leading tone of the key that the numeral is counted in, the raised
//     fourth of augmented sixths and the seventh of a chord are not doubled. Of
//     a chord of two notes one has to be, whichever it is.
//   - A chord's seventh falls by step if the next chord has the note it falls
//     to. It may stay instead where that note is one that may be left out, and a
//     following chord on the same root with the same seventh may take it to
//     another part.
//   - In an upper part the leading tone of a dominant (V, vii° or III+, of any
//     goal) rises to its tonic if the next chord has that and is not a dominant
//     of the same key; likewise the raised fourth of an augmented sixth. If the
//     seventh of the next chord is the same note, or the chromatic semitone
//     below, it may go there instead, as in V7 to Imaj7 or V7/V to V7. Where
//     the bass has the leading tone, the figures decide.
//
// Errors wrap ErrVoicing and name the two chords between which no voicing keeps
// the rules, or the one chord that cannot be set at all.
func (t Texture) Voice(progression []Roman) ([]Voicing, int, error) {
	return t.search(progression, false)
}

// search is the search of Voice; free lets a step break rules, at the price of
// licencePrice.
func (t Texture) search(progression []Roman, free bool) ([]Voicing, int, error) {
	if len(progression) == 0 {
		return nil, 0, fmt.Errorf("%w: there is no chord", ErrVoicing)
	}
	plans := make([]plan, len(progression))
	states := make([][]state, len(progression))
	from := make([][]int32, len(progression)) // the best state before each
	var best []int                            // the least cost to each state of the chord before
	for i, r := range progression {
		plans[i] = newPlan(r)
		states[i] = t.states(&plans[i])
		if len(states[i]) == 0 {
			return nil, 0, fmt.Errorf("%w: chord %d, %s, does not fit into the ranges", ErrVoicing, i+1, r.Readable().ASCII())
		}
		next := make([]int, len(states[i]))
		from[i] = make([]int32, len(states[i]))
		reached := false
		if i == 0 {
			for j, s := range states[0] {
				next[j] = s.cost + costTop(int(s.midi[3])-t.Top)
			}
			reached = true
		} else {
			step := newStep(&plans[i-1], &plans[i])
			for j := range states[i] {
				s := &states[i][j]
				next[j] = math.MaxInt
				for p := range states[i-1] {
					before := &states[i-1][p]
					if best[p] == math.MaxInt || free && best[p] >= next[j] {
						continue
					}
					price := 0
					if free {
						price = step.broken(before, s, false).price()
					} else if step.broken(before, s, true) != 0 {
						continue
					}
					if c := best[p] + price + step.cost(before, s) + s.cost; c < next[j] {
						next[j], from[i][j], reached = c, int32(p), true
					}
				}
			}
			if !reached {
				return nil, 0, t.why(i, progression, states, best, step)
			}
		}
		best = next
	}
	at, total := cheapest(best, from)
	out := make([]Voicing, len(progression))
	for i := range out {
		out[i] = states[i][at[i]].voicing(&plans[i])
	}
	return out, total, nil
}

// cheapest goes back from the state of least cost at the end of a search, the first of
// several, by the best state before each: one state for every chord, and their cost.
func cheapest(best []int, from [][]int32) (at []int, total int) {
	last := 0
	for j, c := range best {
		if c < best[last] {
			last = j
		}
	}
	total = best[last]
	at = make([]int, len(from))
	for i := len(from) - 1; i >= 0; i-- {
		at[i], last = last, int(from[i][last])
	}
	return at, total
}

// why says between which chords no step keeps the rules, and which rule breaks
// every one, or which break some.
func (t Texture) why(i int, progression []Roman, states [][]state, best []int, step step) error {
	all, some := ^rule(0), rule(0)
	for p := range states[i-1] {
		if best[p] == math.MaxInt {
			continue
		}
		for j := range states[i] {
			r := step.broken(&states[i-1][p], &states[i][j], false)
			all &= r
			some |= r
		}
	}
	reason := fmt.Sprintf("every way has one of these: %v", some)
	if all != 0 {
		reason = fmt.Sprintf("every way has %v", all)
	}
	return fmt.Errorf("%w: from chord %d, %s, to chord %d, %s: %s", ErrVoicing,
		i, progression[i-1].Readable().ASCII(), i+1, progression[i].Readable().ASCII(), reason)
}

// Cost returns the cost of a voicing of the progression that was made
// elsewhere. An error wraps ErrVoicing and names the chord at which a rule is
// broken.
func (t Texture) Cost(progression []Roman, voicing []Voicing) (int, error) {
	if len(progression) != len(voicing) {
		return 0, fmt.Errorf("%w: %d chords and %d voicings", ErrVoicing, len(progression), len(voicing))
	}
	total := 0
	var before state
	var planBefore plan
	for i, r := range progression {
		p := newPlan(r)
		all := t.states(&p)
		j := slices.IndexFunc(all, func(s state) bool { return s.voicing(&p) == voicing[i] })
		if j < 0 {
			return 0, fmt.Errorf("%w: %v is no setting of chord %d, %s", ErrVoicing, voicing[i], i+1, r.Readable().ASCII())
		}
		total += all[j].cost
		if i == 0 {
			total += costTop(int(all[j].midi[3]) - t.Top)
		} else {
			s := newStep(&planBefore, &p)
			if b := s.broken(&before, &all[j], false); b != 0 {
				return 0, fmt.Errorf("%w: from chord %d, %s, to chord %d, %s: %v", ErrVoicing, i, progression[i-1].Readable().ASCII(), i+1, r.Readable().ASCII(), b)
			}
			total += s.cost(&before, &all[j])
		}
		before, planBefore = all[j], p
	}
	return total, nil
}

// newPlan finds out what the parts may have and must have.
func newPlan(r Roman) plan {
	c := r.Chord
	p := plan{roman: r, steps: c.Quality.Tones(), lead: -1, seventh: -1}
	for _, d := range p.steps {
		p.notes = append(p.notes, c.Note(d))
	}
	if p.bass = c.Inversion(); p.bass < 0 {
		p.bass = len(p.notes)
		p.notes = append(p.notes, c.Bass)
		p.steps = append(p.steps, Degree{})
	}
	lead := r.Local.leading(c)
	_, seventh := c.Quality.Tone(7)
	_, third := c.Quality.Tone(3)
	highest := 0
	var above uint // what is stacked above the seventh
	for i, d := range p.steps {
		p.need |= 1 << i
		if p.notes[i] == lead && len(p.notes) > 2 { // a power chord leads nowhere
			p.lead = i
		}
		switch d.Step {
		case 7:
			p.free |= 1 << i
			if c.Quality != germanSixth { // there it is the fifth above the bass
				p.seventh = i
			}
		case 2, 4:
			above |= 1 << i
			highest = i
		case 6:
			if seventh {
				above |= 1 << i
				highest = i
			}
		}
	}
	p.free |= above
	fifth := slices.Index(p.steps, Degree{5, 0})
	switch {
	case len(p.notes) > 4:
		// What is left out first, until four remain.
		drop := []int{fifth, slices.Index(p.steps, Degree{1, 0})}
		if c.Quality.has(Degree{4, 0}) && c.Quality.has(Degree{3, 0}) {
			drop = append([]int{slices.Index(p.steps, Degree{3, 0})}, drop...) // a fourth above a major third jars
		}
		for i, d := range p.steps {
			if above&(1<<i) != 0 && i != highest && (third || d.Step != 4) {
				drop = append(drop, i)
			}
		}
		for i, d := range p.steps {
			if d.Step == 5 && d.Alter != 0 || above&(1<<i) != 0 && i != highest {
				drop = append(drop, i)
			}
		}
		for _, i := range drop {
			if i >= 0 && i != p.bass && p.need&(1<<i) != 0 && bits.OnesCount(p.need) > 4 {
				p.need &^= 1 << i
			}
		}
	case fifth >= 0 && p.bass == 0:
		p.need &^= 1 << fifth
	}
	return p
}

// leading returns the tone of c that leads up by a semitone in k: the raised
// seventh degree, or in an augmented sixth the raised fourth.
func (k Key) leading(c Chord) Note {
	if c.augmentedSixth(k) {
		return k.Note(Degree{4, 1})
	}
	return k.Note(Degree{7, 0})
}

// augmentedSixth tells whether c is one of the augmented sixths of k.
func (c Chord) augmentedSixth(k Key) bool {
	root, bass := k.Degree(c.Root), k.Degree(c.Bass)
	for _, x := range sixths {
		if root == x.root && c.Quality == x.quality && bass == (Degree{6, -1}) {
			return true
		}
	}
	return false
}

// dominant tells whether c, which holds the leading tone of k, drives to the
// tonic: it stands on the fifth or seventh degree, or is augmented.
func (c Chord) dominant(k Key) bool {
	root := k.Degree(c.Root)
	return root == Degree{5, 0} || root == Degree{7, 0} || c.Quality.has(Degree{5, 1}) && root.Step == 3
}

// states lists all voicings of a chord in the order from low to high.
func (t Texture) states(p *plan) []state {
	var list []state
	var s state
	var place func(part int)
	place = func(part int) {
		if part == 4 {
			if cost, ok := p.cost(&s); ok {
				s.cost = cost
				list = append(list, s)
			}
			return
		}
		low, high := t.Ranges[part].Low, t.Ranges[part].High
		if part > 0 {
			least := int(s.midi[part-1])
			if !t.Unison {
				least++
			}
			low = max(low, least)
		}
		if part > 1 {
			high = min(high, int(s.midi[part-1])+t.Gap)
			if t.Hand > 0 {
				high = min(high, int(s.midi[1])+t.Hand)
			}
		}
		for m := low; m <= high; m++ {
			for i, n := range p.notes {
				// The sounding class of the note: two notes of a chord may be
				// spelled apart and sound alike, and are both tried.
				if mod(m, 12) != n.PitchClass() || part == 0 && i != p.bass {
					continue
				}
				s.midi[part], s.tone[part] = int16(m), int8(i)
				place(part + 1)
			}
		}
	}
	place(0)
	return list
}

// cost returns what a voicing by itself costs, and whether it keeps the rules.
func (p *plan) cost(s *state) (int, bool) {
	var times [8]int
	var have uint
	for _, i := range s.tone {
		times[i]++
		have |= 1 << i
	}
	if have&p.need != p.need {
		return 0, false
	}
	c := p.roman.Chord
	cost := 0
	for i, n := range times[:len(p.notes)] {
		if n == 0 {
			if p.steps[i] == (Degree{5, 0}) {
				if len(p.notes) == 3 {
					cost += costNoFifth
				} else {
					cost += costNoFifth7
				}
			}
			continue
		}
		if n == 1 {
			continue
		}
		if i == p.lead || i == p.seventh {
			return 0, false
		}
		again := n - 1
		if !p.roman.Key.owns(Chord{Root: p.notes[i], Bass: p.notes[i]}) {
			cost += costChromatic * again
		}
		switch {
		case len(p.steps) > 3 && p.steps[3] != (Degree{}):
			if i != 0 {
				cost += costFifth * again
			}
		case p.bass == 1:
			if i == p.bass && c.Quality != DiminishedTriad {
				cost += costThird * again
			} else if i != p.bass && c.Quality == DiminishedTriad {
				cost += costThird * again
			} else if i != 0 {
				cost += costSix * again / 2
			}
		case p.bass == 2:
			if i != p.bass {
				cost += costSixFour * again
			}
		case p.steps[i].Step == 3:
			cost += costThird * again
		case i != 0:
			cost += costFifth * again
		}
	}
	for part := 1; part < 4; part++ {
		if s.midi[part] == s.midi[part-1] {
			cost += costUnison
		}
	}
	if gap := int(s.midi[1]) - int(s.midi[0]); gap > lowFree {
		cost += costLow * (gap - lowFree)
	}
	return cost, true
}

// voicing spells a state.
func (s *state) voicing(p *plan) Voicing {
	var v Voicing
	for part, m := range s.midi {
		n := p.notes[s.tone[part]]
		at := Pitch{Note: n}
		at.Octave = floorDiv(int(m)-at.MIDI(), 12)
		v[part] = at
	}
	return v
}
