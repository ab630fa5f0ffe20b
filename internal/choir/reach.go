package choir

import (
	"math"
	"slices"

	"singback/exercise"
	"singback/theory"
)

// Reach is what a part asks of a voice.
type Reach struct {
	Low, High theory.Pitch
	// Median is the pitch, as a MIDI number, above and below which half of the time is
	// sung; Quartiles are those of a quarter and three quarters of it.
	Median    float64
	Quartiles [2]float64
	Quarters  float64 // quarter notes that are sung
}

// reachOf measures a line that has notes.
func reachOf(s theory.Score) Reach {
	var notes []theory.Written
	r := Reach{}
	for _, n := range s.Notes {
		if !n.Rest {
			notes = append(notes, n)
			r.Quarters += n.Length.Float()
		}
	}
	if notes == nil {
		return r
	}
	slices.SortStableFunc(notes, func(a, b theory.Written) int { return a.Pitch.MIDI() - b.Pitch.MIDI() })
	r.Low, r.High = notes[0].Pitch, notes[len(notes)-1].Pitch
	at := func(share float64) float64 {
		sum := 0.0
		for i, n := range notes {
			sum += n.Length.Float()
			switch {
			case math.Abs(sum-share*r.Quarters) < 1e-9 && i+1 < len(notes):
				return float64(n.Pitch.MIDI()+notes[i+1].Pitch.MIDI()) / 2
			case sum > share*r.Quarters:
				return float64(n.Pitch.MIDI())
			}
		}
		return float64(r.High.MIDI())
	}
	r.Median, r.Quartiles = at(0.5), [2]float64{at(0.25), at(0.75)}
	return r
}

// Beyond is what of a part lies outside a range.
type Beyond struct {
	Notes        int
	Quarters     float64        // quarter notes
	Above, Below int            // semitones, the most
	Bars         []int          // in which they begin, from 1 for the first whole bar, 0 for a pickup; nil without bars
	Weight       float64        // semitones times quarter notes
	Pitches      []theory.Pitch // each one once
}

// beyond finds what of a line moved by semitones lies outside a range.
func beyond(s theory.Score, r theory.Range, by int) Beyond {
	var out Beyond
	at := theory.NewFraction(0, 1)
	bars := s.Bars()
	first := 1
	if s.Start.Num > 0 {
		first = 0
	}
	for _, n := range s.Notes {
		if !n.Rest {
			midi := n.Pitch.MIDI() + by
			above, below := max(0, midi-r.High), max(0, r.Low-midi)
			if above+below > 0 {
				out.Notes++
				out.Quarters += n.Length.Float()
				out.Weight += float64(above+below) * n.Length.Float()
				out.Above, out.Below = max(out.Above, above), max(out.Below, below)
				if !slices.Contains(out.Pitches, n.Pitch) {
					out.Pitches = append(out.Pitches, n.Pitch)
				}
				bar := -1
				for bar+1 < len(bars) && !at.Less(bars[bar+1]) {
					bar++
				}
				if bar >= 0 && !slices.Contains(out.Bars, first+bar) {
					out.Bars = append(out.Bars, first+bar)
				}
			}
		}
		at = at.Plus(n.Length)
	}
	return out
}

// Outside is what of the part lies outside the usual range of its voice
// (exercise.VoiceNamed: handbooks of choral writing).
func (p Part) Outside() Beyond { return beyond(p.Score, p.Voice.Range, 0) }

// Congregation is the range of a tune that everybody sings, A3 to D5: what advice in
// print gives an average congregation (a parish-music site and a conference report on
// recent hymnals; men sing it an octave lower). 104 public-domain hymns have their tunes
// within it in 58 of 100 cases as printed, in all after the best transposition.
var Congregation = theory.Range{Low: 57, High: 74}

// The median of a tune that lies well is F4 to A4, and a tune keeps its character when it is
// moved by at most three semitones from print: advice of practice, not measured.
const (
	medianLow, medianHigh = 65, 69
	keepsCharacter        = 3
	farthest              = 6 // semitones that are looked at
)

// Move is the whole choir moved.
type Move struct {
	Semitones int
	Key       theory.Key
	Outside   []Beyond // of each part, its usual range
	Weight    float64  // of them together, in semitones times quarter notes
	Working   float64  // the same against the ranges that are comfortable (exercise.Working)
	Median    float64  // of the first part, as a MIDI number
	Far       float64  // semitones of that median from F4 to A4, or for men F3 to A3
}

// Fits tells whether nothing lies outside and the median of the tune is where it should.
func (m Move) Fits() bool { return m.Weight == 0 && m.Far == 0 }

// Moves are the moves from six semitones down to six up, in order, and which of them
// suits the choir best: of those of at most three semitones the one with least outside the
// usual ranges, then the median of the first part nearest to F4 to A4, then the shortest
// way, then the least outside the comfortable ranges, then the key with fewest signs.
func (c Choir) Moves() (all []Move, best int) {
	best = -1
	for by := -farthest; by <= farthest; by++ {
		m := Move{Semitones: by, Key: c.keyAt(by), Median: c.Parts[0].Reach.Median + float64(by)}
		for _, p := range c.Parts {
			b := beyond(p.Score, p.Voice.Range, by)
			m.Outside = append(m.Outside, b)
			m.Weight += b.Weight
			m.Working += beyond(p.Score, exercise.Working(p.Voice.Range), by).Weight
		}
		octave := 0.0
		if v := c.Parts[0].Voice.Name; v == "tenor" || v == "baritone" || v == "bass" {
			octave = 12
		}
		m.Far = max(0, medianLow-octave-m.Median, m.Median-(medianHigh-octave))
		all = append(all, m)
		if by >= -keepsCharacter && by <= keepsCharacter && (best < 0 || m.before(all[best])) {
			best = len(all) - 1
		}
	}
	return all, best
}

func (m Move) before(o Move) bool {
	abs := func(n int) int { return max(n, -n) }
	for _, d := range []float64{m.Weight - o.Weight, m.Far - o.Far, float64(abs(m.Semitones) - abs(o.Semitones)), m.Working - o.Working,
		float64(abs(m.Key.Signature()) - abs(o.Key.Signature()))} {
		if math.Abs(d) > 1e-9 {
			return d < 0
		}
	}
	return false
}

// keyAt is the key so many semitones up, spelled with fewest signs; the key itself
// where it is not moved.
func (c Choir) keyAt(by int) theory.Key {
	k := c.Key()
	if by%12 == 0 {
		return k
	}
	pc := ((k.Tonic.PitchClass()+by)%12 + 12) % 12
	return theory.TwelveKeys(k.Mode)[pc]
}

// MovedBy returns the choir so many semitones higher, in the key with fewest signs.
func (c Choir) MovedBy(semitones int) (Choir, error) { return c.moved(semitones, c.keyAt(semitones)) }

// In returns the choir in another key of the same mode, moved the nearest way: all of it
// by the same interval.
func (c Choir) In(k theory.Key) (Choir, error) {
	by := ((k.Tonic.PitchClass()-c.Key().Tonic.PitchClass())%12 + 12) % 12
	if by > 6 {
		by -= 12
	}
	if by == 6 { // down or up: as a line alone goes
		s, err := c.Parts[0].Score.In(k)
		if err != nil {
			return c, err
		}
		for i, n := range s.Notes {
			if !n.Rest {
				by = n.Pitch.MIDI() - c.Parts[0].Score.Notes[i].Pitch.MIDI()
				break
			}
		}
	}
	return c.moved(by, k)
}

func (c Choir) moved(by int, k theory.Key) (Choir, error) {
	out := c
	out.Parts = slices.Clone(c.Parts)
	up := theory.Key{Tonic: c.Key().Tonic}.Degree(k.Tonic).Interval()
	for i := range out.Parts {
		p := &out.Parts[i]
		to := k
		if p.Score.Key != c.Key() { // a part in a key of its own
			to = theory.Key{Tonic: p.Score.Key.Tonic.Up(up), Mode: p.Score.Key.Mode}
			if !to.Valid() {
				to = theory.TwelveKeys(to.Mode)[to.Tonic.PitchClass()]
			}
		}
		s, err := p.Score.In(to)
		if err != nil {
			return c, err
		}
		for k, n := range s.Notes {
			if n.Rest {
				continue
			}
			way := n.Pitch.MIDI() - p.Score.Notes[k].Pitch.MIDI()
			if octaves := int(math.Round(float64(by-way) / 12)); octaves != 0 {
				if s, err = s.Octaves(octaves); err != nil {
					return c, err
				}
			}
			break
		}
		p.Score, p.Reach = s, reachOf(s)
		if by != 0 && p.Clef != "treble" && p.Clef != "bass" && p.Clef != "treble-8" {
			p.Clef = ""
		}
	}
	return out, nil
}
