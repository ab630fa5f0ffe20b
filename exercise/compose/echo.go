package compose

import (
	"fmt"
	"slices"

	"singback/exercise"
	"singback/theory"
)

// The limits of the notes of an echo, both allowed.
const (
	MinEcho = 2
	MaxEcho = 7
)

// NewEchoes makes phrases of a number of notes to be sung back by ear: stretches
// of the melodies of a level, without rests, that start on a note of the tonic
// triad and, where that can be, end on one. They have no bars. The same order
// gives the same phrases; no two of a series are alike.
func NewEchoes(o MelodyOrder, notes int) ([]SightMelody, error) {
	if notes < MinEcho || notes > MaxEcho {
		return nil, fmt.Errorf("a phrase of %d notes: want %d to %d", notes, MinEcho, MaxEcho)
	}
	count := o.Count
	if count < 1 || count > exercise.MaxCount {
		return nil, fmt.Errorf("a series of %d phrases is not possible: want 1 to %d", count, exercise.MaxCount)
	}
	seen := map[string]bool{}
	var out []SightMelody
	o.Count = 1
	for tries, seed := 0, o.Seed; len(out) < count; tries, seed = tries+1, seed+1 {
		if tries > 50*count+200 {
			return nil, fmt.Errorf("level %d has fewer than %d phrases of %d notes in this key and range that differ: ask for at most %d", o.Level, count, notes, len(out))
		}
		o.Seed = seed
		ms, err := NewMelodies(o)
		if err != nil {
			return nil, err
		}
		m := ms[0]
		if o.Key == nil && o.Level == 1 { // one key for the whole series
			k := m.Score.Key
			o.Key = &k
		}
		s, from, ok := phraseOf(m.Score, notes)
		if !ok {
			continue
		}
		if f := fingerprint(s); !seen[f] {
			seen[f] = true
			m.In, m.Into = placeOf(m.Score, from)
			m.Score, m.Skill = s, ""
			out = append(out, m)
		}
	}
	return out, nil
}

// EchoesOf cuts phrases of a number of notes from a line, to be sung back by ear: one
// after the other, in its order, at most count of them. Each has no rest in it and
// more than one pitch; no two are alike. It fails where there is none.
func EchoesOf(s theory.Score, notes, count int) ([]SightMelody, error) {
	if notes < MinEcho || notes > MaxEcho {
		return nil, fmt.Errorf("a phrase of %d notes: want %d to %d", notes, MinEcho, MaxEcho)
	}
	seen := map[string]bool{}
	var out []SightMelody
	key, at, changes := s.Key, theory.Fraction{Num: 0, Den: 1}, s.Changes
	for i := 0; i+notes <= len(s.Notes) && len(out) < count; {
		for len(changes) > 0 && !at.Less(changes[0].At) {
			key, changes = changes[0].Key, changes[1:]
		}
		part := s.Notes[i : i+notes]
		phrase := theory.Score{Title: s.Title, Key: key, Tempo: s.Tempo, Notes: slices.Clone(part)}
		phrase.Notes[notes-1].Slur = false
		sings := !slices.ContainsFunc(part, func(w theory.Written) bool { return w.Rest })
		moves := slices.ContainsFunc(part, func(w theory.Written) bool { return w.Pitch != part[0].Pitch })
		step := 1
		if f := fingerprint(phrase); sings && moves && !seen[f] {
			seen[f] = true
			m := SightMelody{Score: phrase}
			m.In, m.Into = placeOf(s, at)
			out = append(out, m)
			step = notes
		}
		for _, w := range s.Notes[i : i+step] {
			at = at.Plus(w.Length)
		}
		i += step
	}
	if out == nil {
		return nil, fmt.Errorf("the line has no %d notes in a row without a rest, on more than one pitch", notes)
	}
	return out, nil
}

// phraseOf cuts a phrase of n notes from a line, before its key changes, and says where it
// began.
func phraseOf(s theory.Score, n int) (phrase theory.Score, from theory.Fraction, ok bool) {
	scale := s.Key.ScaleDegrees()
	stable := func(p theory.Pitch) bool {
		d := s.Key.Degree(p.Note)
		return d == scale[0] || d == scale[2] || d == scale[4]
	}
	best := -1
	for i := 0; i+n <= len(s.Notes); i++ {
		part := s.Notes[i : i+n]
		if slices.ContainsFunc(part, func(w theory.Written) bool { return w.Rest }) || !stable(part[0].Pitch) {
			continue
		}
		moves := slices.ContainsFunc(part, func(w theory.Written) bool { return w.Pitch != part[0].Pitch })
		if !moves || len(s.Changes) > 0 && i > 0 {
			continue
		}
		if stable(part[n-1].Pitch) {
			best = i
			break
		}
		if best < 0 {
			best = i
		}
	}
	if best < 0 {
		return s, from, false
	}
	from = theory.NewFraction(0, 1)
	for _, w := range s.Notes[:best] {
		from = from.Plus(w.Length)
	}
	out := theory.Score{Title: s.Title, Key: s.Key, Tempo: s.Tempo}
	out.Notes = slices.Clone(s.Notes[best : best+n])
	out.Notes[n-1].Slur = false
	return out, from, true
}
