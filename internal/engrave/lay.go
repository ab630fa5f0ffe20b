package engrave

import (
	"fmt"

	"singback/theory"
)

// Bar is a bar as it is written: notes divided at bar lines and into note
// values, with beams and tuplets.
type Bar struct {
	From, To   theory.Fraction // from the start of the line, in quarter notes
	Key        theory.Key
	Meter      theory.Meter
	NewKey     bool // its key is written, or its meter
	NewMeter   bool
	OldKey     theory.Key // before
	Pieces     []Piece
	Missing    theory.Fraction // of an incomplete first bar, before it
	Incomplete bool
}

// Pulse is the length of the beat that is counted in a meter, in quarter notes:
// one where there is no meter.
func Pulse(m theory.Meter) theory.Fraction {
	if m.Valid() {
		return m.Pulse()
	}
	return one
}

// Piece is one note symbol, or one rest.
type Piece struct {
	Note int // of the Score
	theory.Written
	At       theory.Fraction // from the start of the line
	Value    int             // 1 whole, 2 half, 4 quarter …; 0 a breve
	Dots     int
	Tuplet   int  // notes in the time of the power of two below: 3 for a triplet; 0 none
	Opens    bool // the first of its tuplet
	Closes   bool // the last
	TiedFrom bool // tied from the piece before
	TiedTo   bool // tied to the next
	Beam     int  // the beam group of the bar, from 1; 0 none
}

// InTimeOf is how many notes of the value an n-tuplet has the time of.
func InTimeOf(n int) int {
	p := 1
	for 2*p < n {
		p *= 2
	}
	return p
}

// ValueOf writes a length, in quarter notes, as one note value: its base, dots and
// tuplet, as a [Piece] has them. ok is false where it takes more than one.
func ValueOf(length theory.Fraction) (value, dots, tuplet int, ok bool) {
	odd := length.Den
	for odd%2 == 0 {
		odd /= 2
	}
	if odd > 1 {
		tuplet = odd
		length = length.Times(theory.NewFraction(odd, InTimeOf(odd)))
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
		if _, dots, _, ok := ValueOf(length); ok && dots < 2 {
			return append(parts, length), nil
		}
		part := theory.Fraction{}
		if q := at.Over(beat); q.Den != 1 {
			if up := beat.Times(theory.NewFraction(q.Num/q.Den+1, 1)).Minus(at); up.Less(length) {
				if _, _, _, ok := ValueOf(up); ok {
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
			return nil, fmt.Errorf("%w: no note value is %s quarter notes long", ErrLine, length)
		}
		if len(parts) > 64 {
			part = length
		}
		parts = append(parts, part)
		at, length = at.Plus(part), length.Minus(part)
	}
	return parts, nil
}

// Lay lays a valid line out in bars. A line without a meter is one bar. An error wraps
// [ErrLine].
func Lay(s theory.Score) ([]Bar, error) {
	end := s.Length()
	lines := s.Bars()
	if lines == nil {
		lines = []theory.Fraction{zero}
	}
	if len(lines) > MaxBars {
		return nil, fmt.Errorf("%w: more than %d bars", ErrLine, MaxBars)
	}
	bars := make([]Bar, len(lines))
	now := theory.Change{Key: s.Key, Meter: s.Meter}
	changes := s.Changes
	for i, from := range lines {
		b := &bars[i]
		b.From, b.To, b.OldKey = from, end, now.Key
		if i+1 < len(lines) {
			b.To = lines[i+1]
		}
		before := now
		for len(changes) > 0 && !from.Less(changes[0].At) {
			now.Key = changes[0].Key
			if changes[0].Meter.Valid() {
				now.Meter = changes[0].Meter
			}
			changes = changes[1:]
		}
		b.Key, b.Meter = now.Key, now.Meter
		b.NewKey, b.NewMeter = i == 0 || now.Key != before.Key, b.Meter.Valid() && (i == 0 || now.Meter != before.Meter)
		b.Missing = zero
		if i == 0 && s.Start.Num > 0 && s.Meter.Valid() {
			b.Missing = s.Meter.Bar().Minus(s.Start)
		}
		b.Incomplete = b.Meter.Valid() && b.To.Minus(b.From) != b.Meter.Bar()
	}
	at, i := zero, 0
	for k, n := range s.Notes {
		left, from := n.Length, false
		for left.Num > 0 {
			for i+1 < len(bars) && !at.Less(bars[i].To) {
				i++
			}
			b := &bars[i]
			part := left
			if room := b.To.Minus(at); i+1 < len(bars) && room.Less(left) {
				part = room
			}
			beat := Pulse(b.Meter)
			values, err := split(at.Minus(b.From).Plus(b.Missing), part, beat)
			if err != nil {
				return nil, fmt.Errorf("note %d: %w", k+1, err)
			}
			for _, v := range values {
				p := Piece{Note: k, Written: n, At: at, TiedFrom: from && !n.Rest}
				p.Length = v
				var ok bool
				if p.Value, p.Dots, p.Tuplet, ok = ValueOf(v); !ok {
					return nil, fmt.Errorf("note %d: %w: no note value is %s quarter notes long", k+1, ErrLine, v)
				}
				left, at = left.Minus(v), at.Plus(v)
				p.TiedTo = left.Num > 0 && !n.Rest
				p.Slur = n.Slur && left.Num == 0
				if from {
					p.Words = ""
				}
				from = true
				b.Pieces = append(b.Pieces, p)
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
func (b *Bar) tuplets() {
	sum, open := zero, false
	for i := range b.Pieces {
		p := &b.Pieces[i]
		if p.Tuplet == 0 {
			if open && i > 0 {
				b.Pieces[i-1].Closes, open = true, false
			}
			continue
		}
		if !open {
			p.Opens, open, sum = true, true, zero
		}
		if sum = sum.Plus(p.Length); sum.Den&(sum.Den-1) == 0 || i+1 == len(b.Pieces) || b.Pieces[i+1].Tuplet != p.Tuplet {
			p.Closes, open = true, false
		}
	}
}

// beams groups the notes shorter than a quarter that lie within a beat.
func (b *Bar) beams() {
	if !b.Meter.Valid() {
		return
	}
	beat := b.Meter.Pulse()
	group := 0
	for i := 0; i < len(b.Pieces); {
		j := i
		of := func(p Piece) int {
			q := p.At.Minus(b.From).Plus(b.Missing).Over(beat)
			return q.Num / q.Den
		}
		for j < len(b.Pieces) && b.Pieces[j].Value >= 8 && !b.Pieces[j].Rest && of(b.Pieces[j]) == of(b.Pieces[i]) {
			j++
		}
		if j-i > 1 {
			group++
			for k := i; k < j; k++ {
				b.Pieces[k].Beam = group
			}
		}
		i = max(j, i+1)
	}
}

// Joins reports whether the i-th piece and the j-th, its neighbour, have a beam of a
// level, from 1, in common.
func (b *Bar) Joins(i, j, level int) bool {
	return j >= 0 && j < len(b.Pieces) && b.Pieces[j].Beam == b.Pieces[i].Beam && Flags(b.Pieces[j].Value) >= level
}

// Backward reports whether the beam that the i-th piece has at a level, and its
// neighbours have not, is a hook towards the note before it: to where the level above
// joins it, and where it does so on both sides, to the note with which it makes up a
// longer value, as a sixteenth does with the dotted eighth before or after it.
func (b *Bar) Backward(i, level int) bool {
	before, after := b.Joins(i, i-1, level-1), b.Joins(i, i+1, level-1)
	if before != after {
		return before
	}
	p := b.Pieces[i]
	at := p.At.Minus(b.From).Plus(b.Missing)
	return at.Den > at.Plus(p.Length).Den
}

// Flags is how many flags or beams a value has.
func Flags(value int) int {
	n := 0
	for v := value; v > 4; v /= 2 {
		n++
	}
	return n
}

// Signs holds which alterations have been written in a bar. An empty one begins it.
type Signs map[int]int8 // by staff position

func staffPosition(p theory.Pitch) int { return 7*p.Octave + int(p.Letter) }

// Own is the alteration of a letter in the signature of k.
func Own(k theory.Key, l theory.Letter) int8 {
	for _, n := range k.Scale() {
		if n.Letter == l {
			return n.Alter
		}
	}
	return 0
}

// Write reports whether the piece, which is no rest, needs an accidental, given what
// was written in its bar, and notes it. A note that is tied over from the bar before needs none.
func (s Signs) Write(k theory.Key, p Piece) bool {
	at := staffPosition(p.Pitch)
	valid, ok := s[at]
	if !ok {
		valid = Own(k, p.Pitch.Letter)
	}
	if p.Pitch.Alter == valid || p.TiedFrom {
		return false
	}
	s[at] = p.Pitch.Alter
	return true
}
