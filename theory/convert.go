package theory

import (
	"errors"
	"fmt"
	"slices"
)

// Minus returns f − g.
func (f Fraction) Minus(g Fraction) Fraction {
	return NewFraction(f.Num*g.Den-g.Num*f.Den, f.Den*g.Den)
}

// Times returns f · g.
func (f Fraction) Times(g Fraction) Fraction { return NewFraction(f.Num*g.Num, f.Den*g.Den) }

// Over returns f / g; g must not be 0.
func (f Fraction) Over(g Fraction) Fraction { return NewFraction(f.Num*g.Den, f.Den*g.Num) }

// Less reports whether f < g.
func (f Fraction) Less(g Fraction) bool { return f.less(g) }

// ErrScore is wrapped by every error about a Score that cannot be turned into
// what was asked for.
var ErrScore = errors.New("the line cannot be converted")

// Score returns the melody as a written line: the tonic of its first key stands
// in tonicOctave, and a pulse lasts pulse quarter notes (1, or 3/2 for the beat
// of 6/8, or 2 …). The strong pulses are the bar lines; bars of another length
// are changes of meter. A melody without accents has no bars. Bridge tones are
// changes of key at the bar line before them or, in the middle of a bar, keep
// their spelling and change the key at the next bar line.
func (m Melody) Score(tonicOctave int, pulse Fraction) (Score, error) {
	s := Score{Key: m.Key}
	if !pulse.sound() || pulse.Num < 1 {
		return s, fmt.Errorf("%w: a pulse of %d/%d quarter notes; want 1, 3/2, 2 or another note value", ErrScore, pulse.Num, pulse.Den)
	}
	if err := m.bars(&s, pulse); err != nil {
		return s, err
	}
	lines := s.barsUntil(m.pulsesLength(pulse))
	at := Fraction{0, 1}
	err := m.keys(func(i int, k Key, tonic Pitch) error {
		t := m.Tones[i]
		n := Written{Rest: t.Rest, Length: t.Length.Times(pulse), Slur: t.Slur}
		if !t.Rest {
			n.Pitch = tonic.Up(t.Degree.Interval())
			n.Pitch.Octave += t.Octave + tonicOctave
		}
		if t.bridges() {
			if !k.Valid() {
				return fmt.Errorf("%w: tone %d leads to %s, and a key has at most 7 sharps or flats", ErrScore, i+1, k.ASCII())
			}
			s.changeKey(barFrom(lines, at), k)
		}
		s.Notes = append(s.Notes, n)
		at = at.Plus(n.Length)
		return nil
	})
	if err == nil {
		err = s.Validate()
	}
	return s, err
}

// pulsesLength returns the length of the melody in quarter notes.
func (m Melody) pulsesLength(pulse Fraction) Fraction {
	sum := Fraction{0, 1}
	for _, t := range m.Tones {
		sum = sum.Plus(t.Length.Times(pulse))
	}
	return sum
}

// barFrom returns the first bar line not before at, or at itself where there
// are none.
func barFrom(lines []Fraction, at Fraction) Fraction {
	for _, l := range lines {
		if !l.less(at) {
			return l
		}
	}
	return at
}

// changeKey adds a change of key, joined with a change of meter at that place.
func (s *Score) changeKey(at Fraction, k Key) {
	i := len(s.Changes)
	for i > 0 && !s.Changes[i-1].At.less(at) {
		i--
	}
	if i < len(s.Changes) && s.Changes[i].At == at {
		s.Changes[i].Key = k
	} else {
		c := Change{At: at, Key: k, Meter: s.Meter}
		if i > 0 {
			c.Meter = s.Changes[i-1].Meter
		}
		s.Changes = slices.Insert(s.Changes, i, c)
	}
	for i++; i < len(s.Changes); i++ {
		s.Changes[i].Key = k
	}
}

// bars finds the meters of a melody with accents.
func (m Melody) bars(s *Score, pulse Fraction) error {
	var lengths []int // of the bars, in pulses
	pickup, open := 0, false
	for _, a := range m.Accents {
		switch {
		case a == Strong:
			lengths, open = append(lengths, 1), true
		case open:
			lengths[len(lengths)-1]++
		default:
			pickup++
		}
	}
	if len(lengths) == 0 {
		return nil
	}
	meter := func(pulses int) (Meter, error) {
		bar := pulse.Times(Fraction{pulses, 1})
		for _, u := range []int{4, 8, 2, 16, 32, 1} {
			if beats := bar.Times(NewFraction(u, 4)); beats.Den == 1 {
				// A pulse is a beat, or three of them.
				if m := (Meter{beats.Num, u}); m.Valid() && m.Pulse() == pulse {
					return m, nil
				}
			}
		}
		return Meter{}, fmt.Errorf("%w: no time signature has bars of %d pulses of %s quarter notes", ErrScore, pulses, pulse)
	}
	// The last bar may be shorter: it belongs to the one before.
	if n := len(lengths); n > 1 && lengths[n-1] < lengths[n-2] {
		lengths[n-1] = lengths[n-2]
	}
	at := pulse.Times(Fraction{pickup, 1})
	var err error
	if s.Meter, err = meter(lengths[0]); err != nil {
		return err
	}
	if pickup > 0 {
		if pickup >= lengths[0] {
			return fmt.Errorf("%w: %d pulses before the first strong one are no incomplete bar of %d", ErrScore, pickup, lengths[0])
		}
		s.Start = at
	}
	for i, n := range lengths {
		if i > 0 && n != lengths[i-1] {
			changed, err := meter(n)
			if err != nil {
				return err
			}
			s.Changes = append(s.Changes, Change{At: at, Key: s.Key, Meter: changed})
		}
		at = at.Plus(pulse.Times(Fraction{n, 1}))
	}
	return nil
}

// Melody returns the line in degrees, and the octave in which the tonic of its
// first key stands. Its pulse is the beat that is counted, or a quarter note
// where there is no meter. A change of key becomes a bridge at the first note
// from there on, to the key of the first mode with that signature; both ends are filled up with rests to whole pulses. It fails
// where a change of meter changes the length of the pulse.
func (s Score) Melody() (m Melody, tonicOctave int, err error) {
	m.Key = s.Key
	pulse := Fraction{1, 1}
	if s.Meter.Valid() {
		pulse = s.Meter.Pulse()
	}
	for _, c := range s.Changes {
		if c.Meter.Valid() && c.Meter.Pulse() != pulse {
			return m, 0, fmt.Errorf("%w: the beat is %s quarter notes and, from quarter note %s on, %s: tonic sol-fa has one pulse",
				ErrScore, pulse, c.At, c.Meter.Pulse())
		}
	}
	home := s.home()
	k, tonic := s.Key, home
	at, changes := Fraction{0, 1}, s.Changes
	for _, n := range s.Notes {
		t := Tone{Rest: n.Rest, Length: n.Length.Over(pulse), Slur: n.Slur}
		if !n.Rest {
			now := k
			for len(changes) > 0 && !at.less(changes[0].At) {
				now, changes = changes[0].Key.WithMode(k.Mode), changes[1:]
			}
			if now != k {
				up := tonic.IntervalTo(n.Pitch)
				t.Bridge, t.BridgeOctave = degreeAt(up), floorDiv(up.Steps, 7)
				k, tonic = now, near(now.Tonic, tonic)
			}
			up := tonic.IntervalTo(n.Pitch)
			t.Degree, t.Octave = degreeAt(up), floorDiv(up.Steps, 7)
		}
		m.Tones = append(m.Tones, t)
		at = at.Plus(n.Length)
	}
	if !s.Meter.Valid() {
		return m, home.Octave, nil
	}
	meter, changes := s.Meter, s.Changes
	lines := s.barsUntil(at)
	for i, from := range lines {
		for len(changes) > 0 && !from.less(changes[0].At) {
			if changes[0].Meter.Valid() {
				meter = changes[0].Meter
			}
			changes = changes[1:]
		}
		to := at
		if i+1 < len(lines) {
			to = lines[i+1]
		}
		length := to.Minus(from).Over(pulse)
		n := (length.Num + length.Den - 1) / length.Den
		pickup := 0
		if i == 0 && s.Start.Num > 0 {
			pickup = n
		}
		// What is missing of a pulse at either end is a rest.
		if rest := (Fraction{n, 1}).Minus(length); rest.Num > 0 {
			t := Tone{Rest: true, Length: rest}
			switch {
			case i == 0 && s.Start.Num > 0:
				m.Tones = append([]Tone{t}, m.Tones...)
			case i+1 == len(lines):
				m.Tones = append(m.Tones, t)
			default:
				return m, 0, fmt.Errorf("%w: the bar at quarter note %s has no whole number of pulses", ErrScore, from)
			}
		}
		m.Accents = append(m.Accents, Metre(meter.Pulses(), pickup, n)...)
	}
	return m, home.Octave, nil
}

// home returns the tonic of the first key below which the fewest notes lie at
// octave 0: the one from which the middle of the line is nearest above.
func (s Score) home() Pitch {
	low, high := 127, 0
	for _, n := range s.Notes {
		if !n.Rest {
			low, high = min(low, n.Pitch.MIDI()), max(high, n.Pitch.MIDI())
		}
	}
	home := Pitch{s.Key.Tonic, 4}
	if low > high {
		return home
	}
	// The octave from the tonic up whose middle is nearest the line's.
	for home.Octave = 0; home.MIDI()+12 < (low+high)/2; home.Octave++ {
	}
	return home
}

// near returns the pitch of n that is nearest to p, the lower where two are.
func near(n Note, p Pitch) Pitch {
	q := Pitch{n, p.Octave}
	for p.MIDI()-q.MIDI() >= 6 {
		q.Octave++
	}
	for q.MIDI()-p.MIDI() > 6 {
		q.Octave--
	}
	return q
}

// In returns the line in another key of the same mode, moved by the nearest
// way, at most six semitones. Pitches are spelled by the interval, so altered
// notes stay what they are in the key; only what would need more than two sharps
// or flats is respelled. Where a change of key would need more than seven, that
// part is written in the key on the same tonic with fewest.
func (s Score) In(k Key) (Score, error) {
	if k.Mode != s.Key.Mode {
		return s, fmt.Errorf("%w: from %s to %s: want a %s key", ErrScore, s.Key.ASCII(), k.ASCII(), s.Key.Mode)
	}
	if !k.Valid() {
		return s, fmt.Errorf("%w: %s has %d sharps or flats and a key has at most 7", ErrScore, k.ASCII(), abs(k.Signature()))
	}
	from := Pitch{s.Key.Tonic, 4}
	by := from.IntervalTo(near(k.Tonic, from))
	return s.moved(by, k)
}

func (s Score) moved(by Interval, k Key) (Score, error) {
	out := s
	out.Key = k
	out.Notes = append([]Written(nil), s.Notes...)
	out.Changes = append([]Change(nil), s.Changes...)
	respell := make([]Interval, len(s.Changes)) // from the key that would be to the one that is written
	for i := range out.Changes {
		c := &out.Changes[i]
		moved := Key{c.Key.Tonic.Up(by), c.Key.Mode}
		if c.Key = moved; !moved.Valid() {
			c.Key = moved.respelled()
			respell[i] = Pitch{moved.Tonic, 4}.IntervalTo(near(c.Key.Tonic, Pitch{moved.Tonic, 4}))
		}
	}
	at, now := Fraction{0, 1}, -1
	for i := range out.Notes {
		n := &out.Notes[i]
		for now+1 < len(s.Changes) && !at.less(s.Changes[now+1].At) {
			now++
		}
		at = at.Plus(n.Length)
		if n.Rest {
			continue
		}
		n.Pitch = n.Pitch.Up(by)
		if now >= 0 {
			n.Pitch = n.Pitch.Up(respell[now])
		}
		n.Pitch = n.Pitch.simpler()
	}
	out.moveSymbols(s, by, respell)
	return out, out.Validate()
}

// moveSymbols moves the chord symbols of s as its notes are moved; one that nobody
// reads at sight is respelled (Chord.Readable). Text stays.
func (s *Score) moveSymbols(from Score, by Interval, respell []Interval) {
	s.Symbols = append([]ChordSymbol(nil), from.Symbols...)
	if by.Semitones%12 == 0 && by.Steps%7 == 0 { // by octaves
		return
	}
	now := -1
	for i := range s.Symbols {
		c := &s.Symbols[i]
		for now+1 < len(from.Changes) && !c.At.less(from.Changes[now+1].At) {
			now++
		}
		if c.Text != "" {
			continue
		}
		c.Chord = c.Chord.Up(by)
		if now >= 0 {
			c.Chord = c.Chord.Up(respell[now])
		}
		c.Chord = c.Chord.Readable()
	}
}

// simpler returns p, or where it has more than two sharps or flats the same
// sound on the neighbouring letter that has fewest.
func (p Pitch) simpler() Pitch {
	for abs(int(p.Alter)) > maxAlter {
		step := Interval{Steps: 1}
		if p.Alter < 0 {
			step.Steps = -1
		}
		p = p.Up(step)
	}
	return p
}

// Octaves returns the line n octaves higher, or lower if n is negative.
func (s Score) Octaves(n int) (Score, error) {
	return s.moved(Interval{7 * n, 12 * n}, s.Key)
}

// Into returns the line moved by octaves to where most of its notes lie in a
// range, and of such places the one nearest to its middle.
func (s Score) Into(r Range) (Score, error) {
	best, bestIn, bestOff := 0, -1, 0
	for n := -8; n <= 8; n++ {
		in, off := 0, 0
		for _, w := range s.Notes {
			if w.Rest {
				continue
			}
			p := w.Pitch
			p.Octave += n
			if r.Contains(p) {
				in++
			}
			off += 2*p.MIDI() - r.Low - r.High
		}
		if off = max(off, -off); in > bestIn || in == bestIn && off < bestOff {
			best, bestIn, bestOff = n, in, off
		}
	}
	return s.Octaves(best)
}
