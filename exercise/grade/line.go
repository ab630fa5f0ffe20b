package grade

import (
	"fmt"
	"math"

	"singback/theory"
)

// Line is what a take is compared with: written, or found in a performance.
type Line struct {
	Notes []Due // in order of time
	// Timed tells that the onsets and lengths mean something: a bare list of
	// names says nothing of rhythm.
	Timed bool
	// Performed tells that the times are seconds; else they are quarter notes.
	Performed bool
	// Degrees has one for each note, of Key or of the key it changes to; nil
	// where no key is known.
	Key     theory.Key
	Degrees []theory.Degree
	// Bars are the times at which bars begin; nil without bars.
	Bars []float64
}

// NewLine returns the notes of a score in a tuning; a rest is time in which
// nothing is due.
func NewLine(s theory.Score, tuning theory.Tuning) (Line, error) {
	if err := s.Validate(); err != nil {
		return Line{}, err
	}
	line := Line{Timed: true, Key: s.Key}
	at := theory.NewFraction(0, 1)
	key, changes := s.Key, s.Changes
	for _, n := range s.Notes {
		for len(changes) > 0 && changes[0].At.Float() <= at.Float() {
			key, changes = changes[0].Key, changes[1:]
		}
		if !n.Rest {
			line.Notes = append(line.Notes, Due{centsOf(tuning.HzIn(key, n.Pitch)), at.Float(), n.Length.Float()})
			line.Degrees = append(line.Degrees, key.Degree(n.Pitch.Note))
		}
		at = at.Plus(n.Length)
	}
	for _, b := range s.Bars() {
		line.Bars = append(line.Bars, b.Float())
	}
	return line.checked()
}

// NewMelodyLine returns the tones of a melody, its first tonic in the octave
// given. It is timed where the melody has a metre, or tones of different
// lengths.
func NewMelodyLine(m theory.Melody, tonicOctave int, tuning theory.Tuning) (Line, error) {
	line := Line{Timed: m.Accents != nil, Key: m.Key}
	pitches := m.InOneKey().Pitches(tonicOctave)
	at := theory.NewFraction(0, 1)
	var length theory.Fraction
	for _, t := range m.Tones {
		if !t.Rest {
			line.Notes = append(line.Notes, Due{centsOf(tuning.HzIn(m.Key, pitches[len(line.Notes)])), at.Float(), t.Length.Float()})
			line.Degrees = append(line.Degrees, m.Key.Degree(pitches[len(line.Notes)-1].Note))
		}
		line.Timed = line.Timed || t.Rest || length.Den > 0 && length != t.Length
		length = t.Length
		at = at.Plus(t.Length)
	}
	for i, pulse := 0, 0.0; i < len(m.Accents); i, pulse = i+1, pulse+1 {
		if m.Accents[i] == theory.Strong {
			line.Bars = append(line.Bars, pulse)
		}
	}
	return line.checked()
}

// Named gives a performed line the degrees of a key.
func (l Line) Named(k theory.Key) Line {
	l.Key, l.Degrees = k, nil
	tonic := 100 * float64(theory.Pitch{Note: k.Tonic}.MIDI())
	for _, d := range l.Notes {
		c := math.Mod(d.Cents-tonic, 1200)
		if c < 0 {
			c += 1200
		}
		degree, _ := k.Nearest(c)
		l.Degrees = append(l.Degrees, degree)
	}
	return l
}

// maxLineNotes is the longest line, in notes.
const maxLineNotes = theory.MaxScoreNotes

func (l Line) checked() (Line, error) {
	if len(l.Notes) == 0 {
		return Line{}, fmt.Errorf("it has no notes")
	}
	if len(l.Notes) > maxLineNotes {
		return Line{}, fmt.Errorf("%d notes are more than %d", len(l.Notes), maxLineNotes)
	}
	return l, nil
}

// partBeats is how many usual notes are a part of a line that has no bars.
const partBeats = 4

// segments are the times at which the parts begin that are marked as a whole, and
// the end: bars, or where there are none stretches of four usual notes.
func (l Line) segments() []float64 {
	last := l.Notes[len(l.Notes)-1]
	start, end := l.Notes[0].Onset, last.Onset+last.Length
	var at []float64
	for _, b := range l.Bars {
		if b < end-equal {
			at = append(at, b)
		}
	}
	if len(at) == 0 {
		at = append(at, start)
		if part := partBeats * l.beat(); part > 0 {
			for n := 1; start+float64(n)*part < end-part/partBeats+equal && len(at) < len(l.Notes); n++ {
				at = append(at, start+float64(n)*part)
			}
		}
	}
	return append(at, end)
}

// Performance is what somebody sang of a line.
type Performance struct {
	Notes []Sung // in order of time
	// Curve is the pitch from moment to moment, in order of time. Without one
	// the notes stand for it.
	Curve []Moment
}

// Moment is one point of the pitch curve of a take.
type Moment struct {
	At     float64      // seconds
	Cents  theory.Cents // as of Sung; means nothing where Voiced is false
	Voiced bool
}

// NewMoment is the moment at which a pitch of hz is heard, on A4; hz at most 0
// is no pitch.
func NewMoment(seconds, hz, a4 float64) Moment {
	if !(hz > 0) {
		return Moment{At: seconds}
	}
	return Moment{At: seconds, Cents: CentsOnA4(hz, a4), Voiced: true}
}

// CentsOnA4 is how far a frequency lies above C-1 (MIDI 0) in equal temperament
// on A4, in cents.
func CentsOnA4(hz, a4 float64) theory.Cents { return 6900 + theory.CentsBetween(hz, a4) }

// centsOf is CentsOnA4 for the usual A4, on which every cent of lines and takes is
// counted; another A4 moves a written line.
func centsOf(hz float64) theory.Cents { return CentsOnA4(hz, theory.DefaultA4) }

// curve is the pitch curve, made of the notes where there is none.
func (t Performance) curve() []Moment {
	if len(t.Curve) > 0 || len(t.Notes) == 0 {
		return t.Curve
	}
	// In parts of the whole, so that it is the same at any tempo.
	first, last := t.Notes[0], t.Notes[len(t.Notes)-1]
	step := max(1e-4, (last.Offset-first.Onset)/float64(100*len(t.Notes)))
	var out []Moment
	for k, n := range t.Notes {
		if k > 0 && n.Onset > t.Notes[k-1].Offset+step {
			out = append(out, Moment{At: t.Notes[k-1].Offset + step/2})
		}
		steps := max(1, int((n.Offset-n.Onset)/step+1e-6))
		for s := range min(steps, maxFrames) {
			out = append(out, Moment{n.Onset + (float64(s)+0.5)*step, n.Cents, true})
		}
	}
	return out
}
