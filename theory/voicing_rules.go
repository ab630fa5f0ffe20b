package theory

import (
	"slices"
	"strings"
)

// rule is a hard rule of voice leading that a step from chord to chord broke;
// bits of a set.
type rule uint16

const (
	parallelFifths rule = 1 << iota
	parallelOctaves
	voiceOverlap
	seventhFalls
	tiRises
)

var ruleNames = []struct {
	rule rule
	text string
}{
	{parallelFifths, "parallel fifths"},
	{parallelOctaves, "parallel octaves"},
	{voiceOverlap, "a part that crosses where its neighbour was"},
	{seventhFalls, "a seventh that does not fall by step"},
	{tiRises, "a leading tone that does not rise"},
}

func (r rule) String() string {
	var names []string
	for _, n := range ruleNames {
		if r&n.rule != 0 {
			names = append(names, n.text)
		}
	}
	return strings.Join(names, ", ")
}

// step is what has to be known of two chords that follow each other.
type step struct {
	a, b *plan
	// falls and rises tell, for the seventh and the leading tone of a, which
	// notes of b they must go to; 0 is any. stays is the note of b that the
	// seventh may stay on instead, or −1.
	falls, rises uint
	stays        int8
	// slip is the note of b that the leading tone may slip to, staying or a
	// chromatic semitone down, or −1.
	slip int8
	// linked tells, for each note of a, the notes of b that are the same or a
	// step away.
	linked [8]uint
	// awkward tells for each pair of notes whether the interval between them is
	// augmented or diminished, the chromatic semitone excepted.
	awkward [8][8]bool
}

func newStep(a, b *plan) step {
	s := step{a: a, b: b, slip: -1, stays: -1}
	if a.seventh >= 0 {
		n := a.notes[a.seventh]
		same := slices.Index(b.notes, n)
		for i, m := range b.notes {
			if down := (Pitch{Note: m}).IntervalTo(Pitch{Note: n}); mod(down.Steps, 7) == 1 && mod(down.Semitones, 12) <= 2 && mod(down.Semitones, 12) >= 1 {
				s.falls |= 1 << i
			}
		}
		switch {
		case same >= 0 && b.notes[0] == a.notes[0] && b.seventh == same:
			s.falls = 0 // the same chord again: it may change parts
		case same >= 0 && s.falls&b.need == 0:
			s.stays = int8(same)
		}
	}
	k := a.roman.Local
	if a.lead >= 0 {
		c := a.roman.Chord
		goal := k.Tonic
		if c.augmentedSixth(k) {
			goal = k.Note(Degree{5, 0})
		}
		next := b.roman.Chord
		again := b.lead >= 0 && b.notes[b.lead] == a.notes[a.lead] && next.dominant(k)
		if i := slices.Index(b.notes, goal); i >= 0 && (c.dominant(k) || c.augmentedSixth(k)) && !again {
			s.rises = 1 << i
		}
		if i := b.seventh; i >= 0 && b.notes[i].Letter == a.notes[a.lead].Letter {
			if d := a.notes[a.lead].Alter - b.notes[i].Alter; d == 0 || d == 1 {
				s.slip = int8(i)
			}
		}
	}
	for i, n := range a.notes {
		for j, m := range b.notes {
			up := (Pitch{Note: n}).IntervalTo(Pitch{Note: m})
			steps, semitones := mod(up.Steps, 7), mod(up.Semitones, 12)
			if n == m || (steps == 1 || steps == 6) && (semitones <= 2 || semitones >= 10) {
				s.linked[i] |= 1 << j
			}
			d := degreeAt(up)
			perfect := d.Step == 1 || d.Step == 4 || d.Step == 5
			s.awkward[i][j] = steps != 0 && (d.Alter > 0 || perfect && d.Alter < 0 || d.Alter < -1)
		}
	}
	return s
}

// broken returns the hard rules that going from x to y breaks, or if first only
// the first that is found.
func (s *step) broken(x, y *state, first bool) rule {
	var r rule
	for part := range 4 {
		if part > 0 && y.midi[part] < x.midi[part-1] || part < 3 && y.midi[part] > x.midi[part+1] {
			r |= voiceOverlap
		}
		tone := x.tone[part]
		if s.falls != 0 && int(tone) == s.a.seventh {
			down := x.midi[part] - y.midi[part]
			falls := s.falls&(1<<y.tone[part]) != 0 && (down == 1 || down == 2)
			stays := y.tone[part] == s.stays && down == 0
			if !falls && !stays {
				r |= seventhFalls
			}
		}
		if part > 0 && s.rises != 0 && int(tone) == s.a.lead {
			up := y.midi[part] - x.midi[part]
			rises := s.rises&(1<<y.tone[part]) != 0 && up == 1
			slips := y.tone[part] == s.slip && (up == 0 || up == -1)
			if !rises && !slips {
				r |= tiRises
			}
		}
		if first && r != 0 {
			return r
		}
		for other := range part {
			was, is := (x.midi[part]-x.midi[other])%12, (y.midi[part]-y.midi[other])%12
			if was != is || was != 0 && was != 7 || x.midi[part] == y.midi[part] || x.midi[other] == y.midi[other] {
				continue
			}
			if was == 0 {
				r |= parallelOctaves
			} else {
				r |= parallelFifths
			}
			if first {
				return r
			}
		}
	}
	return r
}

// cost returns what going from x to y costs.
func (s *step) cost(x, y *state) int {
	cost := costBass(int(y.midi[0] - x.midi[0]))
	up, down := 0, 0
	for part := range 4 {
		d := int(y.midi[part] - x.midi[part])
		switch {
		case d > 0:
			up++
		case d < 0:
			down++
		}
		if part == 0 {
			continue
		}
		d = abs(d)
		cost += d
		if d > leapFree {
			cost += costLeap * (d - leapFree)
		}
		if d != 0 && s.awkward[x.tone[part]][y.tone[part]] {
			cost += costAwkward
		}
		if s.a.free&(1<<x.tone[part]) != 0 && (d > 2 || s.linked[x.tone[part]]&(1<<y.tone[part]) == 0) {
			cost += costDissonant
		}
	}
	if up == 4 || down == 4 {
		cost += costAllSame
	}
	outer := (y.midi[3] - y.midi[0]) % 12
	bass, top := y.midi[0]-x.midi[0], y.midi[3]-x.midi[3]
	if (outer == 0 || outer == 7) && (bass > 0 && top > 2 || bass < 0 && top < -2) {
		cost += costHidden
	}
	return cost
}
