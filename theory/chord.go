package theory

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sort"
)

// Quality is what stands above the root of a chord, counted from the major scale
// on the root as a [Degree] is: one tone on each letter, but that a dominant
// seventh may have its ninth, or its fifth, both lowered and raised. The ninth
// is step 2, the eleventh step 4, the thirteenth step 6. The root itself is
// always there. Qualities compare with ==; the zero Quality is a root alone,
// which is no chord. ParseQuality and NewQuality make them.
type Quality struct {
	set   uint8   // bit step; the root's is never set
	both  uint8   // bit step: the tone is there lowered, as alter has it, and raised
	alter [8]int8 // by step, 0 where there is no tone
}

// The qualities that are named most.
var (
	MajorTriad      = NewQuality(Degree{3, 0}, Degree{5, 0})
	MinorTriad      = NewQuality(Degree{3, -1}, Degree{5, 0})
	DiminishedTriad = NewQuality(Degree{3, -1}, Degree{5, -1})
	AugmentedTriad  = NewQuality(Degree{3, 0}, Degree{5, 1})
	Dominant7       = NewQuality(Degree{3, 0}, Degree{5, 0}, Degree{7, -1})
	Major7          = NewQuality(Degree{3, 0}, Degree{5, 0}, Degree{7, 0})
	Minor7          = NewQuality(Degree{3, -1}, Degree{5, 0}, Degree{7, -1})
	MinorMajor7     = NewQuality(Degree{3, -1}, Degree{5, 0}, Degree{7, 0})
	HalfDiminished7 = NewQuality(Degree{3, -1}, Degree{5, -1}, Degree{7, -1})
	Diminished7     = NewQuality(Degree{3, -1}, Degree{5, -1}, Degree{7, -2})

	augmented7      = NewQuality(Degree{3, 0}, Degree{5, 1}, Degree{7, -1})
	augmentedMajor7 = NewQuality(Degree{3, 0}, Degree{5, 1}, Degree{7, 0})
	// The augmented sixths, counted from the raised fourth, or for the French
	// from the second: ♭6 1 ♯4, ♭6 1 ♭3 ♯4 and ♭6 1 2 ♯4 of the key.
	italianSixth = NewQuality(Degree{3, -2}, Degree{5, -1})
	germanSixth  = NewQuality(Degree{3, -2}, Degree{5, -1}, Degree{7, -2})
	frenchSixth  = NewQuality(Degree{3, 0}, Degree{5, -1}, Degree{7, -1})
)

// NewQuality makes the quality of these tones above the root; a second tone
// on a letter takes the place of the first, and step 1 is left out. It panics
// on a step outside 1 … 7.
func NewQuality(tones ...Degree) Quality {
	var q Quality
	for _, t := range tones {
		if t.Step < 1 || t.Step > 7 {
			panic(fmt.Sprintf("theory: chord tone on step %d, want 1 to 7", t.Step))
		}
		q = q.with(t)
	}
	return q
}

// QualityOf makes the quality of these tones above a root, where a ninth and a
// fifth may be there lowered and raised; ok is false where no symbol can be written
// for it.
func QualityOf(tones []Degree) (q Quality, ok bool) {
	for _, t := range tones {
		if t.Step < 1 || t.Step > 7 {
			return q, false
		}
		if _, taken := q.Tone(t.Step); !taken {
			q = q.with(t)
		} else if q, ok = q.join(t); t.Step > 1 && !ok {
			return q, false
		}
	}
	return q, q.legal()
}

func (q Quality) with(t Degree) Quality {
	if t.Step > 1 {
		q.set |= 1 << t.Step
		q.both &^= 1 << t.Step
		q.alter[t.Step] = int8(t.Alter)
	}
	return q
}

// join returns q with t beside the tone that it has on the same step already,
// where one of them is lowered and one raised, and that can be: two ninths or
// two fifths.
func (q Quality) join(t Degree) (Quality, bool) {
	have, ok := q.Tone(t.Step)
	if !ok || t.Step != 2 && t.Step != 5 || q.doubled(t.Step) || have.Alter*t.Alter != -1 {
		return q, false
	}
	q.alter[t.Step] = -1
	q.both |= 1 << t.Step
	return q, true
}

// doubled tells whether the tone on a step is there lowered and raised.
func (q Quality) doubled(step int) bool { return q.both&(1<<step) != 0 }

func (q Quality) without(step int) Quality {
	q.set &^= 1 << step
	q.both &^= 1 << step
	q.alter[step] = 0
	return q
}

// Tone returns the tone of q on a step 1 … 7, the second as ninth and so on; the
// lowered one of two.
func (q Quality) Tone(step int) (Degree, bool) {
	return Degree{step, int(q.alter[step])}, step == 1 || q.set&(1<<step) != 0
}

func (q Quality) has(t Degree) bool {
	got, ok := q.Tone(t.Step)
	return ok && (got == t || q.doubled(t.Step) && t.Alter == 1)
}

// Tones returns the tones in the order in which they are stacked: the root,
// the third or what is suspended before it, the fifth, then sixth or seventh,
// ninth, eleventh and thirteenth.
func (q Quality) Tones() []Degree {
	ds := make([]Degree, 0, 7)
	order := [...]int{1, 3, 5, 7, 2, 4, 6}
	_, third := q.Tone(3)
	_, seventh := q.Tone(7)
	switch {
	case !third && seventh && q.has(Degree{4, 0}):
		order = [...]int{1, 4, 5, 7, 2, 6, 3} // 7sus4, 9sus4
	case !third:
		order = [...]int{1, 2, 4, 5, 6, 7, 3}
	case !seventh:
		order = [...]int{1, 3, 5, 6, 2, 4, 7}
	}
	for _, step := range order {
		if t, ok := q.Tone(step); ok {
			ds = append(ds, t)
			if q.doubled(step) {
				ds = append(ds, Degree{step, 1})
			}
		}
	}
	return ds
}

// Chord is a root, what stands above it, and the note in the bass, which need
// not be one of the chord's. The zero Chord is none. Chords compare with ==.
type Chord struct {
	Root    Note
	Quality Quality
	Bass    Note
}

// Up returns the chord that lies i above c.
func (c Chord) Up(i Interval) Chord {
	return Chord{c.Root.Up(i), c.Quality, c.Bass.Up(i)}
}

// Over returns the chord with another bass.
func (c Chord) Over(bass Note) Chord {
	c.Bass = bass
	return c
}

// inversion returns the chord with its n-th tone above the root, in stacked
// order, in the bass: 0 is root position.
func (c Chord) inversion(n int) Chord {
	return c.Over(c.Note(c.Quality.Tones()[n]))
}

// Note spells a tone of the chord: every tone on its own letter.
func (c Chord) Note(t Degree) Note { return c.Root.Up(t.Interval()) }

// Tone returns what n is, counted from the root of the chord, and whether it is
// one of its tones.
func (c Chord) Tone(n Note) (Degree, bool) {
	d := Key{Tonic: c.Root}.Degree(n)
	return d, c.Quality.has(d)
}

// Inversion returns how many tones the bass lies above the root in stacked
// order: 0 for root position, 1 for the third in the bass. −1 tells a bass
// that is none of the chord's tones.
func (c Chord) Inversion() int {
	d, ok := c.Tone(c.Bass)
	if !ok {
		return -1
	}
	return slices.Index(c.Quality.Tones(), d)
}

// Notes spells the chord from the bass up: the bass, then the tones above it in
// stacked order, from the root on again after the last.
func (c Chord) Notes() []Note {
	tones := c.Quality.Tones()
	ns := make([]Note, 0, len(tones)+1)
	first := c.Inversion()
	if first < 0 {
		ns = append(ns, c.Bass)
		first = 0
	}
	for i := range tones {
		ns = append(ns, c.Note(tones[(first+i)%len(tones)]))
	}
	return ns
}

// ErrChord is wrapped by every error about a chord that could not be read or
// recognised.
var ErrChord = errors.New("not a chord")

// The weights by which RecogniseChord prefers one reading to another: what its
// symbol takes (see bases), and where the root is.
const (
	inverted    = 1
	foreignBass = 3
)

// RecogniseChord names the chord that these notes spell, of which the first is
// the bass; the order of the others, and notes that come again, do not matter.
// All readings are returned, the best first.
//
// The spelling decides: B D F A♭ is B°7, D F A♭ C♭ is D°7, C E G♯ is C+. Where
// one spelling has several readings, the simplest symbol is best, counting one
// for a root that is not in the bass and three for a bass outside the chord;
// where two are as simple, the one with its root in the bass. So C E G A is C6 over C, and
// Am7 over A; C D G is Csus2 over C, and Gsus4 over G; G D F A C is G9sus4
// and not Dm7/G, but G F A C is F/G; B♭ C E G is C7/B♭ and not C/B♭.
func RecogniseChord(bass Note, others ...Note) ([]Chord, error) {
	notes := []Note{bass}
	for _, n := range others {
		if !slices.Contains(notes, n) {
			notes = append(notes, n)
		}
	}
	type reading struct {
		Chord
		weight int
	}
	var found []reading
	add := func(root Note, notes []Note, weight int) {
		if q, ok := qualityOf(root, notes); ok {
			_, w := q.write(symbolBases)
			found = append(found, reading{Chord{root, q, bass}, weight + w})
		}
	}
	// In this order, so that of two as simple the first found is the better.
	add(bass, notes, 0)
	for _, root := range notes[1:] {
		if len(notes) > 3 {
			add(root, notes[1:], foreignBass)
		}
	}
	for _, root := range notes[1:] {
		add(root, notes, inverted)
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("%w: no chord is spelled %s", ErrChord, spelled(notes))
	}
	sort.SliceStable(found, func(i, j int) bool { return cmp.Compare(found[i].weight, found[j].weight) < 0 })
	chords := make([]Chord, len(found))
	for i, r := range found {
		chords[i] = r.Chord
	}
	return chords, nil
}

// alterations bounds what a tone on each step may be in a chord that is
// recognised or read.
var alterations = [8]struct{ low, high int8 }{
	2: {-1, 1}, 3: {-2, 0}, 4: {0, 1}, 5: {-1, 1}, 6: {-1, 0}, 7: {-2, 0},
}

// qualityOf returns what notes are above root, if that is a quality that has a
// symbol.
func qualityOf(root Note, notes []Note) (q Quality, ok bool) {
	for _, n := range notes {
		if n == root {
			continue
		}
		d := Key{Tonic: root}.Degree(n)
		if _, taken := q.Tone(d.Step); !taken {
			q = q.with(d)
		} else if q, ok = q.join(d); !ok {
			return q, false
		}
	}
	return q, q.legal()
}

// legal tells whether a symbol can be written for q: it has a third or a fifth,
// a doubly lowered tone only over a diminished fifth, and two ninths or fifths
// only as a dominant seventh.
func (q Quality) legal() bool {
	for step := 2; step <= 7; step++ {
		d, ok := q.Tone(step)
		if b := alterations[step]; ok && (d.Alter < int(b.low) || d.Alter > int(b.high)) {
			return false
		}
	}
	third, hasThird := q.Tone(3)
	fifth, hasFifth := q.Tone(5)
	if third.Alter < -1 && fifth.Alter != -1 || q.has(Degree{7, -2}) && (third.Alter >= 0 || fifth.Alter != -1) {
		return false
	}
	if q.both != 0 && !(q.has(Degree{3, 0}) && q.has(Degree{7, -1})) {
		return false
	}
	return hasThird || hasFifth
}

func spelled(notes []Note) string {
	s := ""
	for i, n := range notes {
		if i > 0 {
			s += " "
		}
		s += n.ASCII()
	}
	return quote(s)
}
