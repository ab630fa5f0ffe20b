package notation

import (
	"fmt"

	"singback/theory"
)

// laidBar is a bar as it is written: notes divided at bar lines and into note
// values, with beams and tuplets.
type laidBar struct {
	from, to   theory.Fraction
	key        theory.Key
	meter      theory.Meter
	newKey     bool // its key is written, or its meter
	newMeter   bool
	oldKey     theory.Key // before
	pieces     []piece
	missing    theory.Fraction // of an incomplete first bar, before it
	incomplete bool
}

// pulseOf is the length of the beat that is counted in a meter, in quarter notes:
// one where there is no meter.
func pulseOf(m theory.Meter) theory.Fraction {
	if m.Valid() {
		return m.Pulse()
	}
	return one
}

// piece is one note symbol, or one rest.
type piece struct {
	note int // of the Score
	theory.Written
	at     theory.Fraction // from the start of the line
	value  int             // 1 whole, 2 half, 4 quarter …; 0 a breve
	dots   int
	tuplet int  // notes in the time of the power of two below: 3 for a triplet; 0 none
	opens  bool // the first of its tuplet
	closes bool
	from   bool // tied from the piece before
	to     bool // tied to the next
	beam   int  // the beam group of the bar, from 1; 0 none
}

// inTimeOf is how many notes of the value an n-tuplet has the time of.
func inTimeOf(n int) int {
	p := 1
	for 2*p < n {
		p *= 2
	}
	return p
}

// valueOf writes a length as one note value: its base, dots and tuplet.
func valueOf(length theory.Fraction) (value, dots, tuplet int, ok bool) {
	odd := length.Den
	for odd%2 == 0 {
		odd /= 2
	}
	if odd > 1 {
		tuplet = odd
		length = length.Times(theory.NewFraction(odd, inTimeOf(odd)))
	}
	for v := 0; v <= 256; v = max(1, 2*v) {
		base := theory.Fraction{Num: 8, Den: 1}
		if v > 0 {
			base = theory.NewFraction(4, v)
		}
		for d, dotted := 0, base; d <= 2; d++ {
			if dotted == length {
				return v, d, tuplet, true
			}
			base = base.Times(theory.Fraction{Num: 1, Den: 2})
			dotted = dotted.Plus(base)
		}
	}
	return 0, 0, 0, false
}

// split divides a length that begins at a point of a bar into note values. Off
// the beat it goes up to the next beat first.
func split(at, length, beat theory.Fraction) ([]theory.Fraction, error) {
	var parts []theory.Fraction
	for length.Num > 0 {
		if _, dots, _, ok := valueOf(length); ok && dots < 2 {
			return append(parts, length), nil
		}
		part := theory.Fraction{}
		if q := at.Over(beat); q.Den != 1 {
			if up := beat.Times(theory.NewFraction(q.Num/q.Den+1, 1)).Minus(at); up.Less(length) {
				if _, _, _, ok := valueOf(up); ok {
					part = up
				}
			}
		}
		for v := 0; part == (theory.Fraction{}) && v <= 256; v = max(1, 2*v) {
			base := theory.Fraction{Num: 8, Den: 1}
			if v > 0 {
				base = theory.NewFraction(4, v)
			}
			// The odd part goes last.
			if !length.Less(base) {
				part = base
			}
		}
		if part == (theory.Fraction{}) {
			return nil, fmt.Errorf("%w: no note value is %s quarter notes long", ErrNotation, length)
		}
		if len(parts) > 64 {
			part = length
		}
		parts = append(parts, part)
		at, length = at.Plus(part), length.Minus(part)
	}
	return parts, nil
}

// lay lays a line out in bars. A line without a meter is one bar.
func lay(s theory.Score) ([]laidBar, error) {
	end := s.Length()
	lines := s.Bars()
	if lines == nil {
		lines = []theory.Fraction{zero}
	}
	if len(lines) > maxBars {
		return nil, fmt.Errorf("%w: more than %d bars", ErrNotation, maxBars)
	}
	bars := make([]laidBar, len(lines))
	now := theory.Change{Key: s.Key, Meter: s.Meter}
	changes := s.Changes
	for i, from := range lines {
		b := &bars[i]
		b.from, b.to, b.oldKey = from, end, now.Key
		if i+1 < len(lines) {
			b.to = lines[i+1]
		}
		before := now
		for len(changes) > 0 && !from.Less(changes[0].At) {
			now.Key = changes[0].Key
			if changes[0].Meter.Valid() {
				now.Meter = changes[0].Meter
			}
			changes = changes[1:]
		}
		b.key, b.meter = now.Key, now.Meter
		b.newKey, b.newMeter = i == 0 || now.Key != before.Key, b.meter.Valid() && (i == 0 || now.Meter != before.Meter)
		b.missing = zero
		if i == 0 && s.Start.Num > 0 && s.Meter.Valid() {
			b.missing = s.Meter.Bar().Minus(s.Start)
		}
		b.incomplete = b.meter.Valid() && b.to.Minus(b.from) != b.meter.Bar()
	}
	at, i := zero, 0
	for k, n := range s.Notes {
		left, from := n.Length, false
		for left.Num > 0 {
			for i+1 < len(bars) && !at.Less(bars[i].to) {
				i++
			}
			b := &bars[i]
			part := left
			if room := b.to.Minus(at); i+1 < len(bars) && room.Less(left) {
				part = room
			}
			beat := pulseOf(b.meter)
			values, err := split(at.Minus(b.from).Plus(b.missing), part, beat)
			if err != nil {
				return nil, fmt.Errorf("note %d: %w", k+1, err)
			}
			for _, v := range values {
				p := piece{note: k, Written: n, at: at, from: from && !n.Rest}
				p.Length = v
				var ok bool
				if p.value, p.dots, p.tuplet, ok = valueOf(v); !ok {
					return nil, fmt.Errorf("note %d: %w: no note value is %s quarter notes long", k+1, ErrNotation, v)
				}
				left, at = left.Minus(v), at.Plus(v)
				p.to = left.Num > 0 && !n.Rest
				p.Slur = n.Slur && left.Num == 0
				if from {
					p.Words = ""
				}
				from = true
				b.pieces = append(b.pieces, p)
			}
		}
	}
	for i := range bars {
		bars[i].tuplets()
		bars[i].beams()
	}
	return bars, nil
}

// tuplets marks where tuplets begin and end: where their lengths add up to a
// length without a tuplet.
func (b *laidBar) tuplets() {
	sum, open := zero, false
	for i := range b.pieces {
		p := &b.pieces[i]
		if p.tuplet == 0 {
			if open && i > 0 {
				b.pieces[i-1].closes, open = true, false
			}
			continue
		}
		if !open {
			p.opens, open, sum = true, true, zero
		}
		if sum = sum.Plus(p.Length); sum.Den&(sum.Den-1) == 0 || i+1 == len(b.pieces) || b.pieces[i+1].tuplet != p.tuplet {
			p.closes, open = true, false
		}
	}
}

// beams groups the notes shorter than a quarter that lie within a beat.
func (b *laidBar) beams() {
	if !b.meter.Valid() {
		return
	}
	beat := b.meter.Pulse()
	group := 0
	for i := 0; i < len(b.pieces); {
		j := i
		of := func(p piece) int {
			q := p.at.Minus(b.from).Plus(b.missing).Over(beat)
			return q.Num / q.Den
		}
		for j < len(b.pieces) && b.pieces[j].value >= 8 && !b.pieces[j].Rest && of(b.pieces[j]) == of(b.pieces[i]) {
			j++
		}
		if j-i > 1 {
			group++
			for k := i; k < j; k++ {
				b.pieces[k].beam = group
			}
		}
		i = max(j, i+1)
	}
}

// flags is how many flags or beams a value has.
func flags(value int) int {
	n := 0
	for v := value; v > 4; v /= 2 {
		n++
	}
	return n
}

// signs holds which alterations have been written in a bar.
type signs map[int]int8 // by staff position

func staffPosition(p theory.Pitch) int { return 7*p.Octave + int(p.Letter) }

// own is the alteration of a letter in the signature of k.
func own(k theory.Key, l theory.Letter) int8 {
	for _, n := range k.Scale() {
		if n.Letter == l {
			return n.Alter
		}
	}
	return 0
}

// write reports whether the piece needs an accidental, given what was written
// in its bar. A note that is tied over from the bar before needs none.
func (s signs) write(k theory.Key, p piece) bool {
	at := staffPosition(p.Pitch)
	valid, ok := s[at]
	if !ok {
		valid = own(k, p.Pitch.Letter)
	}
	if p.Pitch.Alter == valid || p.from {
		return false
	}
	s[at] = p.Pitch.Alter
	return true
}
