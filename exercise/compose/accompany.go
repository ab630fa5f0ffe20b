package compose

import "singback/theory"

// placeOf is in which meter, and how far into a bar, a place of a line lies.
func placeOf(s theory.Score, at theory.Fraction) (theory.Meter, theory.Fraction) {
	meter, origin := s.Meter, theory.NewFraction(0, 1)
	if meter.Valid() && s.Start.Num > 0 {
		origin = s.Start.Minus(meter.Bar())
	}
	for _, c := range s.Changes {
		if !at.Less(c.At) && c.Meter.Valid() {
			meter, origin = c.Meter, c.At
		}
	}
	if !meter.Valid() {
		return theory.Meter{}, origin
	}
	into := at.Minus(origin).Over(meter.Bar())
	return meter, into.Minus(theory.NewFraction(into.Num/into.Den, 1)).Times(meter.Bar())
}

// PutInBars puts the phrase into bars: where it had been cut from a line in its own place, else from
// the first beat of a bar of four on. A line that has bars stays as it is.
func (m *SightMelody) PutInBars() {
	s := &m.Score
	if s.Meter.Valid() {
		return
	}
	if s.Meter = m.In; !m.In.Valid() {
		s.Meter = theory.Meter{Beats: 4, Unit: 4}
	} else if m.Into.Num > 0 {
		s.Start = s.Meter.Bar().Minus(m.Into)
	}
}

// Placed is a chord from a place on.
type Placed struct {
	At    float64       // quarter notes from where the first bar begins, were it complete
	Roman *theory.Roman // nil: there is none
}

// Turn is the turn about the tonic that a band plays in a key: I vi IV V, or i VI iv V where
// the third is minor.
func Turn(k theory.Key) (out []theory.Roman) {
	words := [...]string{"I", "vi", "IV", "V"}
	if third := k.ScaleDegrees()[2]; third.Alter < 0 {
		words, k.Mode = [...]string{"i", "VI", "iv", "V"}, theory.Minor
	} else {
		k.Mode = theory.Major
	}
	for _, w := range words {
		if r, err := theory.ParseRoman(w, k); err == nil { // in a key that can be written
			out = append(out, r)
		}
	}
	return out
}

// Accompany returns chords to a line in one meter: those of its chord symbols, or else of the
// turn I vi IV V, or i VI iv V, the one in each bar that has most of its notes; the turn
// decides between those that fit as well, and begins after so many bars. The last bar is the
// tonic's where that has its last note.
func Accompany(s *theory.Score, after int) []Placed {
	var out []Placed
	meter := s.Meter
	if !meter.Valid() {
		meter = theory.Meter{Beats: 4, Unit: 4}
	}
	bar, first := meter.Bar(), theory.NewFraction(0, 1)
	if s.Start.Num > 0 {
		first = bar.Minus(s.Start)
	}
	if s.Symbols != nil {
		for _, c := range s.Symbols {
			p := Placed{At: c.At.Plus(first).Float()}
			if c.Text == "" {
				r := s.Key.Roman(c.Chord)
				p.Roman = &r
			}
			out = append(out, p)
		}
		return out
	}
	key, changes := s.Key, s.Changes
	bars := int(first.Plus(s.Length()).Over(bar).Float() + 0.999)
	for i := range bars {
		from, to := float64(i)*bar.Float(), float64(i+1)*bar.Float()
		for len(changes) > 0 && changes[0].At.Plus(first).Float() <= from {
			key, changes = changes[0].Key, changes[1:]
		}
		chords := Turn(key)
		best, most := 0, -1.0
		for j := range chords {
			fits := 0.0
			at := first.Float()
			for _, n := range s.Notes {
				end := at + n.Length.Float()
				if within := min(end, to) - max(at, from); within > 0 && !n.Rest && holds(&chords[j].Chord, n.Pitch.Note) {
					fits += within
					if at <= from { // the first beat weighs twice
						fits += min(within, meter.Pulse().Float())
					}
					if end >= to && i == bars-1 && j == 0 {
						fits += bar.Float()
					}
				}
				at = end
			}
			if j == (i+after)%len(chords) {
				fits += 0.25
			}
			if j == 0 {
				fits += 0.1
			}
			if fits > most {
				best, most = j, fits
			}
		}
		out = append(out, Placed{from, &chords[best]})
	}
	return out
}

// holds reports whether a chord has a note.
func holds(c *theory.Chord, n theory.Note) bool {
	for _, d := range c.Quality.Tones() {
		if c.Note(d) == n {
			return true
		}
	}
	return false
}
