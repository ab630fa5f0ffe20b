package choir

import (
	"cmp"
	"math"
	"slices"

	"singback/exercise/grade"
	"singback/theory"
)

// Stand is what stands around one note of a part: the chord that sounds with it for
// the longest time, and where its pure pitch lies.
type Stand struct {
	Note  int // of the line, rests counted
	Bar   int // from 1 for the first whole bar, 0 for a pickup; −1 without bars
	Pitch theory.Pitch
	// Chord is what the notes that sound together spell; HasChord is false where they
	// spell none, or nothing else sounds.
	Chord    theory.Chord
	HasChord bool
	// Pure is how far, in cents, the pure pitch of the note lies above that of equal
	// temperament; HasPure is false where nothing tells.
	Pure    theory.Cents
	HasPure bool
}

// just sizes the tones of a chord above its root: 5-limit just intonation, as package
// theory has it.
var just = theory.Tuning{A4: theory.DefaultA4, System: theory.Just}

// Chords says of every note of a part what stands around it. The pure pitch is just above
// the root of the chord (a major third 5/4, a minor one 6/5, a fifth 3/2, a minor seventh
// 9/5 …), counted from the lowest of the other notes that sound, as the tuning has that
// sound: a singer cannot move it.
func (c Choir) Chords(part int, t theory.Tuning) []Stand {
	type sounding struct {
		pitch theory.Pitch
		key   theory.Key
	}
	type span struct {
		from, to float64
		sounding
	}
	var others []span
	for i, p := range c.Parts {
		if i == part {
			continue
		}
		for _, n := range timed(p.Score) {
			others = append(others, span{n.from, n.to, sounding{n.pitch, n.key}})
		}
	}
	slices.SortStableFunc(others, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	longest := 0.0
	for _, o := range others {
		longest = max(longest, o.to-o.from)
	}
	var out []Stand
	for _, n := range timed(c.Parts[part].Score) {
		s := Stand{Note: n.index, Bar: n.bar, Pitch: n.pitch}
		first, _ := slices.BinarySearchFunc(others, n.from-longest, func(o span, at float64) int { return cmp.Compare(o.from, at) })
		var with []span
		edges := []float64{n.from, n.to}
		for _, o := range others[first:] {
			if o.from >= n.to {
				break
			}
			if o.to > n.from {
				with = append(with, o)
				edges = append(edges, max(o.from, n.from), min(o.to, n.to))
			}
		}
		slices.Sort(edges)
		edges = slices.Compact(edges)
		var best []sounding
		most := 0.0
		for i := 1; i < len(edges); i++ {
			var now []sounding
			for _, o := range with {
				if o.from < edges[i] && o.to > edges[i-1] {
					now = append(now, o.sounding)
				}
			}
			if length := edges[i] - edges[i-1]; len(now) > 0 && length > most+1e-9 {
				best, most = now, length
			}
		}
		if len(best) > 0 {
			lowest := slices.MinFunc(best, func(a, b sounding) int { return a.pitch.MIDI() - b.pitch.MIDI() })
			bass, notes := lowest.pitch, []theory.Note{n.pitch.Note}
			if n.pitch.MIDI() < bass.MIDI() {
				bass = n.pitch
			}
			for _, b := range best {
				notes = append(notes, b.pitch.Note)
			}
			s.stand(bass.Note, notes, lowest.pitch, theory.CentsBetween(t.HzIn(lowest.key, lowest.pitch), t.A4)+6900)
		}
		out = append(out, s)
	}
	return out
}

// stand finds the chord, and the pure pitch above the lowest other note, which sounds at
// so many cents above C-1.
func (s *Stand) stand(bass theory.Note, notes []theory.Note, lowest theory.Pitch, at theory.Cents) {
	root := bass
	chords, err := theory.RecogniseChord(bass, notes...)
	if err == nil {
		s.Chord, s.HasChord = chords[0], true
		root = s.Chord.Root
		if _, member := s.Chord.Tone(lowest.Note); !member && lowest.Note != root {
			root = bass // a bass that is foreign to the chord above it
		}
	} else if !consonant(bass, notes) {
		return // no chord: nothing that is pure is asked
	}
	above := theory.Key{Tonic: root}
	pure := at + just.Cents(above.Degree(s.Pitch.Note)) - just.Cents(above.Degree(lowest.Note))
	off := pure - 100*float64(s.Pitch.MIDI())
	s.Pure, s.HasPure = off-1200*math.Round(off/1200), true
}

// consonant tells whether notes are one note, or two of which the other is a third,
// fourth, fifth or sixth above the bass.
func consonant(bass theory.Note, notes []theory.Note) bool {
	k := theory.Key{Tonic: bass}
	var above []theory.Degree
	for _, n := range notes {
		if d := k.Degree(n); n != bass && !slices.Contains(above, d) {
			above = append(above, d)
		}
	}
	pure := []theory.Degree{{Step: 3}, {Step: 3, Alter: -1}, {Step: 4}, {Step: 5}, {Step: 6}, {Step: 6, Alter: -1}}
	return len(above) == 0 || len(above) == 1 && slices.Contains(pure, above[0])
}

// timedNote is a note of a line in time, in quarter notes.
type timedNote struct {
	index, bar int
	pitch      theory.Pitch
	key        theory.Key
	from, to   float64
}

func timed(s theory.Score) (out []timedNote) {
	at, key, changes := theory.NewFraction(0, 1), s.Key, s.Changes
	bars, bar := s.Bars(), -1
	first := 1
	if s.Start.Num > 0 {
		first = 0
	}
	for i, n := range s.Notes {
		for len(changes) > 0 && !at.Less(changes[0].At) {
			key, changes = changes[0].Key, changes[1:]
		}
		for bar+1 < len(bars) && !at.Less(bars[bar+1]) {
			bar++
		}
		if !n.Rest {
			t := timedNote{i, bar, n.Pitch, key, at.Float(), at.Plus(n.Length).Float()}
			if bar >= 0 {
				t.bar += first
			}
			out = append(out, t)
		}
		at = at.Plus(n.Length)
	}
	return out
}

// Tuned is how one note was sung: against equal temperament, and against the chord.
type Tuned struct {
	Stand
	Sung      bool // it was measured
	FromEqual theory.Cents
	FromChord theory.Cents // means something where HasPure
}

// Tuned compares what was sung of a part with what stands around its notes. Where others
// sounded, heard is true: then the pitches are counted from what they sounded in; else from
// the singer's own key, which a take alone shows.
func (c Choir) Tuned(part int, t theory.Tuning, line grade.Line, take grade.Performance, g grade.Grading, heard bool) []Tuned {
	stands := c.Chords(part, t)
	a4 := theory.CentsBetween(t.A4, theory.DefaultA4)
	var out []Tuned
	for i, s := range stands {
		one := Tuned{Stand: s}
		if i < len(g.Notes) {
			n := g.Notes[i]
			equal := 100*float64(s.Pitch.MIDI()) + a4
			switch {
			case n.Finding == grade.Omitted || n.Finding == grade.NotHeard:
			case !heard:
				one.Sung, one.FromEqual = true, n.Cents+line.Notes[i].Cents-equal
			case n.Answer.Count > 0:
				longest := take.Notes[n.Answer.First]
				for _, m := range take.Notes[n.Answer.First : n.Answer.First+n.Answer.Count] {
					if m.Offset-m.Onset > longest.Offset-longest.Onset {
						longest = m
					}
				}
				off := longest.Cents - equal
				off -= 1200 * math.Round(off/1200)
				if n.Finding == grade.Right && math.Abs(off) > nearly { // it was found in the curve, not in that note
					key := g.Alignment.Transposition
					off = n.Cents + line.Notes[i].Cents - equal + key - 1200*math.Round(key/1200)
				}
				one.Sung, one.FromEqual = true, off
			}
			one.FromChord = one.FromEqual - s.Pure
		}
		out = append(out, one)
	}
	return out
}
