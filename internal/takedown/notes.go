package takedown

import (
	"math"

	"singback/exercise/grade"
)

// Sound is a stretch of what was heard that is one note.
type Sound struct {
	Onset, Offset float64 // seconds
	Cents         float64 // above MIDI 0, on A4 = 440 Hz
	// Near is the share of the pitch curve inside the note that lies within 50
	// cents of it, 0 … 1; 1 without a curve.
	Near float64
	// Joined tells that it begins where the sound before it ends: no silence and
	// no consonant is between them.
	Joined bool
}

func (s Sound) length() float64 { return s.Offset - s.Onset }

// What is no note of a line, in seconds and cents. They were chosen on the basses of
// every second hymn (sung_test.go).
const (
	leastNote = 0.09  // s: a shorter sound is a way to a note or a slip
	shortNote = 0.14  // s: a shorter sound that leads into the next is a part of it
	joinGap   = 0.025 // s without pitch between sounds that are joined
	samePitch = 45.0  // cents between two sounds of one pitch
	nearCents = 50.0
	doubtful  = 0.7  // of the curve at its pitch: less is measured again
	edgePart  = 0.2  // of a note at either end, which its pitch may still enter or leave
	quiet     = 22.0 // dB under the loudest tenth of the notes
)

// sounds are the notes of a take that can be notes of a line: what is far too soft
// for one is left out, a slip of an octave within a note is undone, and a short sound
// that slides into the next one becomes its beginning.
func sounds(p grade.Performance) []Sound {
	floor := loud(p.Notes) - quiet
	var out []Sound
	at := 0
	for _, n := range p.Notes {
		if n.Level != 0 && n.Level < floor {
			continue
		}
		s := Sound{Onset: n.Onset, Offset: n.Offset, Cents: n.Cents, Near: 1}
		s.Near, at = near(p.Curve, at, s)
		if s.Near < doubtful {
			s.meant(p.Curve[at:])
		}
		if k := len(out) - 1; k >= 0 && s.Onset-out[k].Offset < joinGap {
			s.Joined = true
		}
		out = append(out, s)
	}
	return joined(out)
}

// loud is the level in dBFS that a tenth of the notes exceed.
func loud(notes []grade.Sung) float64 {
	var levels []float64
	for _, n := range notes {
		if n.Level != 0 {
			levels = append(levels, n.Level)
		}
	}
	if len(levels) == 0 {
		return math.Inf(-1)
	}
	return quantile(levels, 0.9)
}

// near is the share of the curve within a note that lies at its pitch, and where the
// search for the next note begins.
func near(curve []grade.Moment, at int, s Sound) (share float64, next int) {
	from, to := s.Onset+edgePart*s.length(), s.Offset-edgePart*s.length()
	for at < len(curve) && curve[at].At < from {
		at++
	}
	in, all := 0, 0
	for i := at; i < len(curve) && curve[i].At <= to; i++ {
		all++
		if curve[i].Voiced && math.Abs(curve[i].Cents-s.Cents) <= nearCents {
			in++
		}
	}
	if all == 0 {
		return 1, at
	}
	return float64(in) / float64(all), at
}

// meant measures an unsteady sound again, by the curve from its middle on: a singer who
// slides, or mends a wrong note, ends where it was meant. The pitch is the one that
// most of the curve is near to, its later half counted double.
func (s *Sound) meant(curve []grade.Moment) {
	var in []grade.Moment
	for _, m := range curve {
		if m.At > s.Offset-edgePart/2*s.length() {
			break
		}
		if m.Voiced && m.At >= s.Onset {
			in = append(in, m)
		}
	}
	middle := (s.Onset + s.Offset) / 2
	best, all, cents := 0.0, 0.0, s.Cents
	weight := func(m grade.Moment) float64 {
		if m.At > middle {
			return 2
		}
		return 1
	}
	for _, m := range in {
		all += weight(m)
		sum, mean := 0.0, 0.0
		for _, o := range in {
			if math.Abs(o.Cents-m.Cents) <= nearCents {
				sum += weight(o)
				mean += weight(o) * o.Cents
			}
		}
		if sum > best {
			best, cents = sum, mean/sum
		}
	}
	if all > 0 && best/all > s.Near {
		s.Cents, s.Near = cents, best/all
	}
}

// joined puts together what is one note.
func joined(in []Sound) []Sound {
	var out []Sound
	for i := 0; i < len(in); i++ {
		s := in[i]
		if k := len(out) - 1; k >= 0 && s.Joined {
			apart := math.Abs(s.Cents - out[k].Cents)
			slip := math.Abs(apart-1200) < samePitch && min(s.length(), out[k].length()) < 2*shortNote
			switch {
			case slip && s.length() < out[k].length(), apart < samePitch && s.length() < shortNote:
				out[k].Offset = s.Offset
				continue
			case slip, out[k].length() < shortNote && s.length() > out[k].length():
				s.Onset, s.Joined = out[k].Onset, out[k].Joined
				out[k] = s
				continue
			}
		}
		out = append(out, s)
	}
	kept := out[:0]
	for _, s := range out {
		if s.length() >= leastNote {
			kept = append(kept, s)
		}
	}
	return kept
}
