package takedown

import (
	"fmt"
	"math"

	"singback/theory"
)

// Chart is a line with the chords over it.
type Chart struct {
	Title string
	Key   theory.Key
	Meter theory.Meter // none: a line without bars, of which only the order is known
	Tempo float64      // beats a minute, 0 where it is not known
	Tune  bool         // the line is a tune and no bass: it says nothing of the chords
	// Octave is that of the home, where 4 begins at middle C.
	Octave int
	// Start is how many beats come before the first full bar; 0 without a pickup.
	Start int
	Line  []Event // the bass, or the tune, in order of time, without a gap
	// Chords are in order of time. Each holds until the next.
	Chords []Placed
}

// Event is a note of a chart, or a rest.
type Event struct {
	At, Length theory.Fraction // beats from the start; without a meter a beat is a note
	Degree     theory.Degree
	Octave     int  // from the home up
	Rest       bool // Degree means nothing
	Unclear    bool // there was a note, and it is not known which
	Note       int  // index of the note it was made of, −1 for none
}

// Placed is a chord of a chart.
type Placed struct {
	At    theory.Fraction // beats from the start
	Roman theory.Roman
	// Text is what stands in the place of a chord: Unknown, or NoChord; "" for a chord.
	Text string
	// P is its probability, Bass what it was worked out from, and Others the other
	// chords it could be, the most probable first, of a chart that was made and not
	// read; see [Chart.Offer].
	P      float64
	Bass   theory.Degree
	Others []theory.Candidate
}

// What stands in the place of a chord: one of which nothing is known, and none.
const (
	Unknown = "?"
	NoChord = "N.C."
)

// Whole is the length of the line in beats.
func (c Chart) Whole() theory.Fraction {
	at := theory.NewFraction(0, 1)
	for _, e := range c.Line {
		at = at.Plus(e.Length)
	}
	return at
}

// Offer puts over the bass the chords that it can carry in a style: one at each beat
// on which another bass sounds. How sure each is, and what else it could be, stands
// with it. Over a bass that is not clear the chord is unknown.
func (c Chart) Offer(style theory.Style) (Chart, error) {
	c.Chords = nil
	var line []theory.Bass
	var at []int // index in Chords
	for _, e := range c.basses() {
		p := Placed{At: e.At, Bass: e.Degree}
		if e.Unclear {
			p.Text = Unknown
		} else {
			line, at = append(line, theory.Bass{Degree: e.Degree}), append(at, len(c.Chords))
		}
		c.Chords = append(c.Chords, p)
	}
	if len(line) == 0 {
		return c, nil
	}
	d, err := theory.Deduce(c.Key, style, line, 1)
	if err != nil {
		return c, fmt.Errorf("chords over the line: %w", err)
	}
	for i, place := range d.Places {
		p := &c.Chords[at[i]]
		p.Roman, p.P, p.Others = place.Candidates[0].Roman, place.Candidates[0].P, place.Candidates[1:]
	}
	return c, nil
}

// basses are the notes that carry a chord: those that sound on a beat, the same one
// again left out; without a meter every note that is another than the one before.
func (c Chart) basses() []Event {
	var out []Event
	for _, e := range c.Line {
		from, to := e.At.Float(), e.At.Plus(e.Length).Float()
		beat := math.Ceil(from - 1e-9)
		if e.Rest || beat > to-1e-9 {
			continue
		}
		e.At = theory.NewFraction(int(beat), 1)
		if n := len(out) - 1; n >= 0 && out[n].Unclear == e.Unclear && (e.Unclear || out[n].Degree == e.Degree) {
			continue
		}
		out = append(out, e)
	}
	return out
}

// In moves the chart to another key of its mode.
func (c Chart) In(k theory.Key) (Chart, error) {
	if k.Mode != c.Key.Mode {
		return c, fmt.Errorf("the chart is in %s: want another %s key, not %s", c.Key.ASCII(), c.Key.Mode, k.ASCII())
	}
	from := theory.Pitch{Note: c.Key.Tonic, Octave: c.Octave}
	to := theory.Pitch{Note: k.Tonic, Octave: c.Octave}
	to = nearest(to, from)
	by := from.IntervalTo(to)
	c.Key, c.Octave = k, to.Octave
	c.Chords = append([]Placed(nil), c.Chords...)
	for i := range c.Chords {
		p := &c.Chords[i]
		if p.Text == "" {
			p.Roman = k.Roman(p.Roman.Chord.Up(by))
		}
	}
	return c, nil
}

// nearest puts a pitch into the octave nearest to another, and of two the one nearer to
// where basses have their home, so that a move back is one.
func nearest(p, q theory.Pitch) theory.Pitch {
	const middle = 45
	best := p
	for p.Octave = q.Octave - 1; p.Octave <= q.Octave+1; p.Octave++ {
		far, farBest := distance(p.MIDI(), q.MIDI()), distance(best.MIDI(), q.MIDI())
		if far < farBest || far == farBest && distance(p.MIDI(), middle) < distance(best.MIDI(), middle) {
			best = p
		}
	}
	return best
}

func distance(a, b int) int { return max(a-b, b-a) }

// Score is the chart as written music: the line, with the symbols of the chords over
// it. What is not clear is a rest with a question mark. Without a meter every note is
// a quarter note. An error wraps that of [theory.Score.Validate].
func (c Chart) Score() (theory.Score, error) {
	s := theory.Score{Title: c.Title, Key: c.Key, Meter: c.Meter, Tempo: c.Tempo}
	pulse := theory.NewFraction(1, 1)
	if c.Meter.Valid() {
		pulse = c.Meter.Pulse()
		if c.Start > 0 {
			s.Start = times(theory.NewFraction(c.Start, 1), pulse)
		}
	}
	for _, e := range c.Line {
		w := theory.Written{Length: times(e.Length, pulse), Rest: e.Rest || e.Unclear}
		if !w.Rest {
			w.Pitch = c.Key.Pitch(e.Degree, c.Octave+e.Octave)
		}
		s.Notes = append(s.Notes, w)
	}
	if c.Chords == nil { // a tune: what is not clear is marked all the same
		for _, e := range c.Line {
			if e.Unclear {
				s.Symbols = append(s.Symbols, theory.ChordSymbol{At: times(e.At, pulse), Text: Unknown})
			}
		}
	}
	for _, p := range c.Chords {
		symbol := theory.ChordSymbol{At: times(p.At, pulse), Chord: p.Roman.Chord.Readable()}
		if p.Text != "" {
			symbol = theory.ChordSymbol{At: symbol.At, Text: p.Text}
		}
		s.Symbols = append(s.Symbols, symbol)
	}
	return s, s.Validate()
}

func times(a, b theory.Fraction) theory.Fraction { return theory.NewFraction(a.Num*b.Num, a.Den*b.Den) }

// The middle of a bass is written between these, as MIDI numbers: E1 and B3.
const (
	lowMiddle  = 28
	highMiddle = 59
)

// OctavesAbove is how many octaves lower a bass is written than it was sung, where
// home is that note, so that its middle lies where basses do: a bass may be sung in
// any octave.
func OctavesAbove(t Taken, home theory.Pitch) (octaves int) {
	var at []float64
	for _, n := range t.Notes {
		at = append(at, float64(home.MIDI()+n.Up))
	}
	for middle := quantile(at, 0.5); middle > highMiddle; middle -= 12 {
		octaves++
	}
	for middle := quantile(at, 0.5); middle < lowMiddle; middle += 12 {
		octaves--
	}
	return octaves
}
