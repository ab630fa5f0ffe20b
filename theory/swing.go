package theory

// Swung returns the line as it is played where it is swung: written in even halves of a
// beat, of which the first lasts two thirds of it, as a triplet is written. A line in a meter
// of dotted beats, or without bars, stays as it is.
func (s Score) Swung() Score {
	if !s.Meter.Valid() || s.Meter.Compound() {
		return s
	}
	beat, bar := s.Meter.Pulse(), s.Meter.Bar()
	late := func(at Fraction) Fraction {
		at = at.Over(beat)
		whole := NewFraction(at.Num/at.Den, 1)
		if at = at.Minus(whole); 2*at.Num <= at.Den {
			at = at.Times(NewFraction(4, 3))
		} else {
			at = at.Times(NewFraction(2, 3)).Plus(NewFraction(1, 3))
		}
		return at.Plus(whole).Times(beat)
	}
	out := s
	out.Notes = make([]Written, len(s.Notes))
	at := NewFraction(0, 1)
	if s.Start.Num > 0 { // a first bar that is cut short ends on a bar line
		at = bar.Minus(s.Start)
		out.Start = bar.Minus(late(at))
	}
	was := late(at)
	for i, n := range s.Notes {
		at = at.Plus(n.Length)
		n.Length = late(at).Minus(was)
		out.Notes[i], was = n, late(at)
	}
	return out
}
