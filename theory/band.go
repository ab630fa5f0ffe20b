package theory

import (
	"fmt"
	"math"
	"slices"
)

// Hands is a chord at a keyboard, each hand from the lowest note up. The left hand
// has the bass, or a shell: the bass and one note more.
type Hands struct{ Left, Right []Pitch }

// Notes are all notes from the bass up.
func (h Hands) Notes() []Pitch { return slices.Concat(h.Left, h.Right) }

// BandTexture is how a keyboard player sets chords beside a band: the bass or a shell
// in the left hand, three or four notes in the right, and none of the rules of four
// voices. NewBandTexture makes the usual ones.
type BandTexture struct {
	Parts int   // notes in all, MinBandParts to MaxBandParts
	Bass  Range // MIDI notes
	Upper Range // of all notes above the bass
	Left  int   // the most semitones that the left hand spans
	Right int   // and the right hand
	Top   int   // where the highest note of the first chord lies best, a MIDI note
}

// The numbers of notes that a BandTexture can have: left and right hand 1 and 3, 1 and 4
// or 2 and 3, 2 and 4.
const (
	MinBandParts = 4
	MaxBandParts = 6
)

// NewBandTexture is a texture of so many notes: the bass G1 to G3, the rest E♭2 to A5, the
// left hand within a ninth, the right within an octave (common practice). It panics
// where there cannot be so many.
func NewBandTexture(parts int) BandTexture {
	if parts < MinBandParts || parts > MaxBandParts {
		panic(fmt.Sprintf("theory: %d notes in two hands, want %d to %d", parts, MinBandParts, MaxBandParts))
	}
	return BandTexture{Parts: parts, Bass: Range{31, 55}, Upper: Range{39, 81}, Left: 14, Right: 12, Top: 69}
}

// Shift moves the texture by so many semitones. The low-interval limits stay where they
// are.
func (t BandTexture) Shift(semitones int) BandTexture {
	for _, r := range []*Range{&t.Bass, &t.Upper} {
		r.Low += semitones
		r.High += semitones
	}
	t.Top += semitones
	return t
}

// lowest holds for an interval in semitones the lowest MIDI note that it may stand on:
// below, it is mud. The usual table of arrangers (minor second E3, major second E♭3,
// minor third C3, major third and fourth B♭2, fifth B♭1, minor sixth G2, major sixth
// and sevenths F2; from memory, arrangers differ). Its tritone, B1, lies below the
// fifth's neighbours and is taken as F2. An octave may lie anywhere, and what is wider.
var lowest = [13]int{1: 52, 2: 51, 3: 48, 4: 46, 5: 46, 6: 41, 7: 34, 8: 43, 9: 41, 10: 41, 11: 41}

// The cost of what a band's keyboard plays, in semitones that a part moves, ours as
// those above are.
const (
	costGuide     = 2 // per semitone that a guide tone, third or seventh, moves to the nearest
	costTopLeap   = 2 // per semitone that the highest note moves beyond a major third
	costRub       = 6 // a minor second at the top of the chord: the melody is not heard
	costClose     = 2 // a minor second elsewhere
	costShift     = 3 // a hand takes up or lets go the shell
	costWide      = 1 // per semitone beyond a fifth between neighbours above the bass
	costLowUpper  = 1 // per semitone of the right hand's lowest note below E3
	costHighUpper = 1 // per semitone of the highest note above G5
	costHighBass  = 1 // per semitone of the bass above C3
	costDoubled   = 3 // a third that is doubled
	costLead      = 6 // the leading tone of a triad that is doubled; of more it is not
	costOuter     = 4 // bass and top in parallel octaves
	costNoRoot    = 4 // the root is left out above another bass
	costJars      = 6 // a plain eleventh and a major third
	costAgainst   = 3 // the root doubled beside its lowered ninth or major seventh
)

// bandPlan is a chord made ready for the search.
type bandPlan struct {
	roman Roman
	notes []Note
	steps []Degree // the bass has the zero Degree where it is foreign
	bass  int      // index of the bass in notes
	rank  []int    // of each note: the higher, the sooner it is left out
	once  uint     // notes that may not be doubled
	guide uint     // thirds and sevenths, or what stands for them
	lead  int      // index of the leading tone, or −1
	flat9 int      // index of a lowered ninth over a dominant's root, or −1
}

// What may be missing though there is room for it, and goes first where there is none.
// Below, the higher ranks go first too, but nothing goes that need not.
const (
	rankRoot  = 10
	rankFifth = 11
	rankJars  = 12
)

// bandState is one setting of one chord.
type bandState struct {
	midi [MaxBandParts]int16
	tone [MaxBandParts]int8
	left int // notes in the left hand
	cost int
}

// Voice sets the chords for two hands, with the least cost, and returns that cost. The
// search is exact, as that of [Texture.Voice]: all settings of every chord, one path.
//
// Kept without exception: the bass that the numeral says is the lowest note; all notes
// lie in their ranges, within the span of their hand, and no two on one key. Third and
// seventh sound, or what is suspended, the sixth or the fifth in their place, and what
// names the chord: its highest or altered tones. What does not fit in is left out: the
// fifth first, then the root where the bass has not got it, then plain ninths and
// elevenths below the highest; the third where a plain eleventh stands above a major
// one. Sevenths, ninths, elevenths, thirteenths, altered tones and the leading tone are
// never doubled (but that of a triad, where there are many notes). No interval stands below where it can be heard clearly (see the
// table lowest), and no minor ninth between any two notes, but over the root of a dominant
// that has one. How the parts move is a matter of cost: guide tones least.
//
// Errors wrap ErrVoicing and name the chord that cannot be set.
func (t BandTexture) Voice(progression []Roman) ([]Hands, int, error) {
	if len(progression) == 0 {
		return nil, 0, fmt.Errorf("%w: there is no chord", ErrVoicing)
	}
	plans := make([]bandPlan, len(progression))
	states := make([][]bandState, len(progression))
	from := make([][]int32, len(progression))
	var best []int
	for i, r := range progression {
		plans[i] = newBandPlan(r)
		states[i] = t.states(&plans[i])
		if len(states[i]) == 0 {
			return nil, 0, fmt.Errorf("%w: chord %d, %s, does not fit into two hands with %d notes", ErrVoicing, i+1, r.Readable().ASCII(), t.Parts)
		}
		next := make([]int, len(states[i]))
		from[i] = make([]int32, len(states[i]))
		for j := range states[i] {
			s := &states[i][j]
			if i == 0 {
				next[j] = s.cost + costTop(int(s.midi[t.Parts-1])-t.Top)
				continue
			}
			next[j] = math.MaxInt
			for p := range states[i-1] {
				before := &states[i-1][p]
				if best[p]+s.cost >= next[j] {
					continue
				}
				if c := best[p] + s.cost + t.move(&plans[i-1], before, &plans[i], s); c < next[j] {
					next[j], from[i][j] = c, int32(p)
				}
			}
		}
		best = next
	}
	at, total := cheapest(best, from)
	out := make([]Hands, len(progression))
	for i := range out {
		out[i] = t.hands(&plans[i], &states[i][at[i]])
	}
	return out, total, nil
}

// newBandPlan finds out what the hands may have and must have.
func newBandPlan(r Roman) bandPlan {
	c := r.Chord
	p := bandPlan{roman: r, steps: c.Quality.Tones(), lead: -1, flat9: -1}
	for _, d := range p.steps {
		p.notes = append(p.notes, c.Note(d))
	}
	if p.bass = c.Inversion(); p.bass < 0 {
		p.bass = len(p.notes)
		p.notes = append(p.notes, c.Bass)
		p.steps = append(p.steps, Degree{})
	}
	third, hasThird := c.Quality.Tone(3)
	_, hasSeventh := c.Quality.Tone(7)
	jars := hasThird && third.Alter == 0 && c.Quality.has(Degree{4, 0}) // a plain eleventh above a major third
	lead, highest := r.Local.leading(c), 0
	for i, d := range p.steps {
		if d.Step == 2 || d.Step == 4 || d.Step == 6 {
			highest = i
		}
	}
	p.rank = make([]int, len(p.notes))
	tones := len(c.Quality.Tones())
	for i, d := range p.steps {
		tension := d.Step == 2 || d.Step == 4 || d.Step == 6
		guide := d.Step == 3 || d.Step == 7 || d.Step == 4 && !hasThird || d.Step == 2 && !hasThird && !hasSeventh || d.Step == 6 && !hasSeventh
		switch {
		case i == p.bass:
		case d.Step == 3 && jars:
			p.rank[i] = rankJars
		case d.Step == 5 && d.Alter == 0 && tones > 3:
			p.rank[i] = rankFifth
		case d.Step == 1:
			p.rank[i] = rankRoot
		case guide:
			p.guide |= 1 << i
		case tension && i == highest:
			p.rank[i] = 1
		case tension && d.Alter == 0:
			p.rank[i] = 3 + len(p.steps) - i // of the plain ones the lowest first
		default:
			p.rank[i] = 2 // an altered tone, the fifth of a triad
		}
		if d.Step == 2 || d.Step == 4 && hasThird || d.Step == 6 && hasSeventh || d.Step == 7 || d.Step == 5 && d.Alter != 0 && third.Alter == 0 || p.notes[i] == lead && tones > 3 {
			p.once |= 1 << i
		}
		if p.notes[i] == lead {
			p.lead = i
		}
		if d == (Degree{2, -1}) && hasThird && third.Alter == 0 && hasSeventh {
			p.flat9 = i
		}
	}
	return p
}

// states lists all settings of a chord, from low to high.
func (t BandTexture) states(p *bandPlan) []bandState {
	var list []bandState
	var s bandState
	var place func(part int, have uint)
	place = func(part int, have uint) {
		if part == t.Parts {
			if t.complete(p, have) && t.clear(p, &s) {
				s.cost = t.own(p, &s, have)
				list = append(list, s)
			}
			return
		}
		low, high := t.Upper.Low, t.Upper.High
		switch {
		case part == 0:
			low, high = t.Bass.Low, t.Bass.High
		case part < s.left:
			high = min(high, int(s.midi[0])+t.Left)
		case part > s.left:
			high = min(high, int(s.midi[s.left])+t.Right)
		}
		if part > 0 {
			low = max(low, int(s.midi[part-1])+1)
		}
		for m := low; m <= high; m++ {
			for i, n := range p.notes {
				if mod(m, 12) != n.PitchClass() || part == 0 && i != p.bass || have&p.once&(1<<i) != 0 {
					continue
				}
				if d := p.steps[i]; part == 1 && s.left == 2 && p.guide&(1<<i) == 0 && d.Step != 1 && d.Step != 5 {
					continue // a shell is a guide tone, a fifth or an octave
				}
				s.midi[part], s.tone[part] = int16(m), int8(i)
				place(part+1, have|1<<i)
			}
		}
	}
	for left := 1; left <= 2; left++ {
		if right := t.Parts - left; right == 3 || right == 4 {
			s.left = left
			place(0, 0)
		}
	}
	return list
}

// complete reports whether what must sound does: of the notes, as many as there are
// keys for, the lowest ranks first.
func (t BandTexture) complete(p *bandPlan, have uint) bool {
	out := max(0, len(p.notes)-t.Parts)
	for i, rank := range p.rank {
		if have&(1<<i) != 0 || rank >= rankRoot {
			continue
		}
		sooner := 0
		for _, other := range p.rank {
			if other > rank {
				sooner++
			}
		}
		if sooner >= out {
			return false
		}
	}
	return true
}

// clear reports whether no two notes rub: low-interval limits, and minor ninths.
func (t BandTexture) clear(p *bandPlan, s *bandState) bool {
	for part := range t.Parts {
		for below := range part {
			d := int(s.midi[part] - s.midi[below])
			if d < 12 && int(s.midi[below]) < lowest[d] {
				return false
			}
			overRoot := int(s.tone[part]) == p.flat9 && p.steps[s.tone[below]] == Degree{1, 0}
			if d > 12 && d%12 == 1 && !overRoot {
				return false
			}
		}
	}
	return true
}

// own is what a setting costs by itself.
func (t BandTexture) own(p *bandPlan, s *bandState, have uint) int {
	cost := 0
	for i, rank := range p.rank {
		if have&(1<<i) == 0 && rank == rankRoot {
			cost += costNoRoot
		} else if have&(1<<i) == 0 && rank == rankFifth {
			cost += costNoFifth7
		}
	}
	var times [8]int
	against := false
	for _, i := range s.tone[:t.Parts] {
		times[i]++
		if times[i] > 1 && p.steps[i].Step == 3 {
			cost += costDoubled
		}
		if times[i] > 1 && int(i) == p.lead {
			cost += costLead
		}
		if p.rank[i] == rankJars {
			cost += costJars
		}
		against = against || p.steps[i] == Degree{2, -1} || p.steps[i] == Degree{7, 0}
	}
	if against && times[0] > 1 {
		cost += costAgainst
	}
	top := t.Parts - 1
	if s.midi[top]-s.midi[top-1] == 1 {
		cost += costRub
	}
	for part := 2; part < t.Parts; part++ {
		if part < top && s.midi[part]-s.midi[part-1] == 1 {
			cost += costClose
		}
		cost += costWide * max(0, int(s.midi[part]-s.midi[part-1])-7)
	}
	if gap := int(s.midi[1] - s.midi[0]); gap > lowFree {
		cost += costLow * (gap - lowFree)
	}
	return cost + costLowUpper*max(0, 52-int(s.midi[s.left])) + costHighUpper*max(0, int(s.midi[top])-79) + costHighBass*max(0, int(s.midi[0])-48)
}

// move is what going from one setting to the next costs.
func (t BandTexture) move(a *bandPlan, x *bandState, b *bandPlan, y *bandState) int {
	cost := costBass(int(y.midi[0] - x.midi[0]))
	if x.left != y.left {
		cost += costShift
	}
	for part := 1; part < t.Parts; part++ {
		cost += abs(int(y.midi[part] - x.midi[part]))
	}
	top := t.Parts - 1
	leap := abs(int(y.midi[top] - x.midi[top]))
	cost += costTopLeap * max(0, leap-leapFree)
	if leap != 0 && (x.midi[top]-x.midi[0])%12 == 0 && (y.midi[top]-y.midi[0])%12 == 0 {
		cost += costOuter
	}
	for part := 1; part < t.Parts; part++ {
		if a.guide&(1<<x.tone[part]) != 0 {
			cost += costGuide * t.nearest(x.midi[part], y)
		}
		if b.guide&(1<<y.tone[part]) != 0 {
			cost += costGuide * t.nearest(y.midi[part], x)
		}
	}
	return cost
}

// nearest is how far the nearest upper note of a setting lies from a key.
func (t BandTexture) nearest(midi int16, s *bandState) int {
	least := math.MaxInt
	for _, m := range s.midi[1:t.Parts] {
		least = min(least, abs(int(m-midi)))
	}
	return least
}

// hands spells a setting.
func (t BandTexture) hands(p *bandPlan, s *bandState) Hands {
	var h Hands
	for part, m := range s.midi[:t.Parts] {
		at := Pitch{Note: p.notes[s.tone[part]]}
		at.Octave = floorDiv(int(m)-at.MIDI(), 12)
		if part < s.left {
			h.Left = append(h.Left, at)
		} else {
			h.Right = append(h.Right, at)
		}
	}
	return h
}
