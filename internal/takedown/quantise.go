package takedown

import (
	"math"
	"slices"

	"singback/theory"
)

// Parts of a beat that a note may begin on, what beginning off the beat costs, and what
// a note that is left out costs: chosen on the basses of every second hymn. A
// note that comes later than meant is usual (the singer hesitated), one that comes
// early is not.
const (
	early    = 0.06 // s, SD
	late     = 0.085
	lateFar  = 3.2 // SDs: later than that is no dearer
	half     = 1.3 // costs, in negative logarithms
	finer    = 3.2
	merge    = 0.8
	leaveOut = 5.0

	hushed     = 0.03 // s after a slot in which the note before may still sound
	hesitant   = 0.6
	hesitation = 0.25 // s
	waited     = 1.5
	mergeApart = 350.0 // cents between a wrong note and the right one after it
	rest       = 1.0   // beats of silence that are a rest
	leastRest  = 0.5   // s
	whole      = 0.25  // s: a shorter note is left out for less
)

// divisions is how many parts of a beat are known: sixteenths of a simple beat of a
// quarter, of a compound one of three eighths.
func divisions(m theory.Meter) int {
	if m.Compound() {
		return 6
	}
	return 4
}

// offBeat is what a slot within a beat costs.
func offBeat(slot, parts int) float64 {
	switch s := mod(slot, parts); {
	case s == 0:
		return 0
	case parts == 4 && s == 2, parts == 6 && s%2 == 0:
		return half
	}
	return finer
}

func mod(a, n int) int { return ((a % n) + n) % n }

// placed is a note laid onto a slot, in parts of a beat.
type placed struct{ note, slot int }

// lags are how far, in seconds, the notes may come behind the beats on the whole:
// everybody who follows a record does, and a microphone adds to it. What is usual
// costs least.
const (
	leastLag, mostLag, lagStep = -0.05, 0.20, 0.01
	usualLag, lagScatter       = 0.05, 0.05
)

// laidBest lays notes onto slots with the lag that fits best.
func laidBest(notes []Note, b Beats, sung bool) (laid []placed, behind float64) {
	best := math.Inf(1)
	for by := leastLag; by <= min(mostLag, 0.3*b.usual())+1e-9; by += lagStep {
		_, cost := lay(notes, b, by, sung, false)
		off := (by - usualLag) / lagScatter
		if cost += off * off / 2; cost < best {
			best, behind = cost, math.Round(by*1000)/1000
		}
	}
	laid, _ = lay(notes, b, behind, sung, sung)
	return laid, behind
}

// cell is the cheapest way to a note that begins on a slot.
type cell struct {
	cost float64
	note int // the note before, −1 for none
	from int // its cell
}

// around is how many slots on either side of a note are tried.
const around = 5

// lay lays notes onto slots, in order, no two onto one: the cheapest way, and what it
// costs. A note may be left out, or be a wrong one that was mended by the next: then
// the next one begins where it did. What is not sung is
// not mended. With waits the singer may have hesitated: where
// nothing sounds on a slot, the note after it may be meant for it.
func lay(notes []Note, b Beats, behind float64, sung, waits bool) (out []placed, cost float64) {
	parts := divisions(b.Meter)
	beat := b.usual()
	at := func(seconds float64) float64 { return float64(parts) * b.position(seconds-behind) }
	drop := func(n Note) float64 { return leaveOut * min(1, n.length()/whole) }
	centre := make([]int, len(notes))
	table := make([][2*around + 1]cell, len(notes))
	for i, n := range notes {
		centre[i] = int(math.Round(at(n.Onset)))
		wrong := sung && i > 0 && mended(notes[i-1], n)
		for j := range table[i] {
			slot := centre[i] + j - around
			away := func(onset float64) float64 { return (at(onset) - float64(slot)) / float64(parts) * beat }
			// cost of a note that begins then, after the one with an index
			begins := func(onset float64, last int) float64 {
				cost := fit(away(onset))
				if !waits {
					return cost
				}
				silent := math.Inf(-1)
				if last >= 0 {
					silent = notes[last].Offset
				}
				if off := away(silent); off < hushed && away(onset) > 0 {
					cost = min(cost, hesitant+away(onset)/hesitation)
				}
				if on := slot - mod(slot, parts); on < slot && at(silent) < float64(on)+hushed/beat*float64(parts) {
					cost += waited
				}
				return cost
			}
			own, last := begins(n.Onset, i-1), i-1
			if wrong {
				if m := begins(notes[i-1].Onset, i-2) + merge; m < own {
					own, last = m, i-2
				}
			}
			own += offBeat(slot, parts)
			table[i][j] = before(table, centre, notes, last, slot, own, drop)
		}
	}
	left := 0.0
	cost = math.Inf(1)
	note, state := -1, 0
	for i := len(notes) - 1; i >= 0; i-- {
		for j := range table[i] {
			if c := table[i][j].cost + left; c < cost {
				cost, note, state = c, i, j
			}
		}
		left += drop(notes[i])
	}
	for note >= 0 {
		out = append(out, placed{note, centre[note] + state - around})
		note, state = table[note][state].note, table[note][state].from
	}
	slices.Reverse(out)
	return out, cost
}

// before finds the cheapest way to a slot, which costs own, from the notes up to last,
// of which the later ones may be left out.
func before(table [][2*around + 1]cell, centre []int, notes []Note, last, slot int, own float64, drop func(Note) float64) cell {
	c := cell{cost: math.Inf(1), note: -1}
	left := 0.0
	for p := last; left < 3*leaveOut; p-- {
		if p < 0 {
			if left+own < c.cost {
				c = cell{left + own, -1, 0}
			}
			break
		}
		for q := range table[p] {
			if centre[p]+q-around >= slot {
				break
			}
			if cost := table[p][q].cost + left + own; cost < c.cost {
				c = cell{cost, p, q}
			}
		}
		left += drop(notes[p])
	}
	return c
}

// fit is what it costs that a note begins so many seconds after its slot.
func fit(after float64) float64 {
	if after < 0 {
		off := -after / early
		return off * off / 2
	}
	off := min(after/late, lateFar)
	return off * off / 2
}

// mended tells whether a note may be a wrong one that was mended by the next.
func mended(wrong, right Note) bool {
	return right.Onset-wrong.Offset < joinGap && wrong.length() < min(0.32, right.length()*1.5) &&
		math.Abs(right.Cents-wrong.Cents) < mergeApart
}

// Laid is a line that was laid into bars.
type Laid struct {
	Chart
	// Behind is how many seconds the notes come after the beats, on the whole, and
	// Begin the beat with which the chart begins, counted from the one that begins a bar.
	Behind float64
	Begin  int
}

// Line lays what was taken down into bars, or without beats, with nil, makes a line of
// which only the order is known. title, which may be empty, heads the chart; octave is
// that of the home.
func (t Taken) Line(b *Beats, title string, octave int) (out Laid) {
	c := Chart{Title: title, Key: t.Key, Octave: octave}
	defer func() { out.Chart = c }()
	if b == nil {
		for i, n := range t.Notes {
			c.Line = append(c.Line, Event{
				At: theory.NewFraction(len(c.Line), 1), Length: theory.NewFraction(1, 1),
				Degree: n.Degree, Octave: n.Octave, Unclear: n.Unclear != Clear, Note: i,
			})
		}
		return out
	}
	c.Meter, c.Tempo = b.Meter, math.Round(b.Tempo()*10)/10
	laid, behind := laidBest(t.Notes, *b, !t.Played)
	out.Behind = behind
	if len(laid) == 0 {
		return out
	}
	parts := divisions(b.Meter)
	bar := b.Meter.Pulses() * parts
	// The chart begins with a bar, or where the line begins within one, with the beat.
	first := laid[0].slot
	begin := first - mod(first, bar)
	if beat := mod(first, bar) / parts; beat > 0 {
		c.Start, begin = b.Meter.Pulses()-beat, first-mod(first, parts)
	}
	out.Begin = begin / parts
	at := begin
	add := func(to int, e Event) {
		if to > at {
			e.At, e.Length = theory.NewFraction(at-begin, parts), theory.NewFraction(to-at, parts)
			c.Line, at = append(c.Line, e), to
		}
	}
	add(laid[0].slot, Event{Rest: true, Note: -1})
	for i, p := range laid {
		n := t.Notes[p.note]
		off := float64(parts) * b.position(n.Offset-out.Behind)
		end := parts * int(math.Ceil(off/float64(parts)-0.3)) // a note is held to the beat after it
		end = max(end, p.slot+1)
		e := Event{Degree: n.Degree, Octave: n.Octave, Unclear: n.Unclear != Clear, Note: p.note}
		if i+1 < len(laid) {
			next := laid[i+1].slot
			silence := t.Notes[laid[i+1].note].Onset - n.Offset
			if silence < leastRest || silence < rest*b.usual() || end >= next {
				end = next
			}
			add(end, e)
			add(next, Event{Rest: true, Note: -1})
			continue
		}
		add(end, e)
	}
	// The last bar is filled.
	if over := mod(at-begin-c.Start*parts, bar); over > 0 {
		last := &c.Line[len(c.Line)-1]
		if !last.Rest {
			last.Length = theory.NewFraction(last.Length.Num*parts/last.Length.Den+bar-over, parts)
		}
	}
	return out
}
