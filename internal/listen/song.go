package listen

import (
	"context"
	"math"
	"slices"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/pitch"
	"singback/theory"
)

// Song reads a source to its end as [Take] does. With told the notes are also handed
// on as they end, about half a second later, by a reading that cannot wait for what
// comes after them: what Song returns in the end may differ. With deep it hears an
// octave lower too, from 31 Hz, as for a bass that is played: no voice is so deep.
func Song(ctx context.Context, src audio.Source, h Hearing, deep bool, told func(grade.Sung)) (grade.Performance, error) {
	s := &song{Source: src, told: told}
	config := h.Config(src.SampleRate())
	var err error
	if deep && src.SampleRate() <= audio.MaxSampleRate/2 {
		// A source that says it is twice as fast is an octave higher.
		low := h.Config(2 * src.SampleRate())
		low.Reading = pitch.Offline
		if s.low, err = pitch.NewTracker(low); err != nil {
			return grade.Performance{}, err
		}
		if s.deep, err = newTaker(low); err != nil {
			return grade.Performance{}, err
		}
		config, s.octave = h.Config(2*src.SampleRate()), true
	}
	if told != nil {
		if s.tracker, err = pitch.NewTracker(config); err != nil {
			return grade.Performance{}, err
		}
		if s.seg, err = pitch.NewMelodySegmenter(config); err != nil {
			return grade.Performance{}, err
		}
		s.rate = float64(config.SampleRate)
	}
	p, err := Take(ctx, s, h, nil)
	if err != nil {
		return p, err
	}
	s.flush()
	if s.low == nil {
		return p, nil
	}
	return both(p, lowered(s.deep.end())), nil
}

// lowered is a take of a source that said it is twice as fast, as it was.
func lowered(p grade.Performance) grade.Performance {
	for i := range p.Notes {
		p.Notes[i] = octaveLower(p.Notes[i])
	}
	for i := range p.Curve {
		p.Curve[i].At *= 2
		p.Curve[i].Cents -= 1200
	}
	return p
}

func octaveLower(n grade.Sung) grade.Sung {
	n.Onset, n.Offset, n.Cents = 2*n.Onset, 2*n.Offset, n.Cents-1200
	return n
}

// both puts the notes of two readings together, of which deep hears an octave lower.
// Where the readings overlap, those of the one that hears more of them are taken, or
// those of deep where they are low. A note that deep hears an octave lower is lower.
func both(p, deep grade.Performance) (out grade.Performance) {
	const (
		same  = 60.0   // cents
		below = 3700.0 // as of grade.Sung: C♯2, where the other reading begins to hear
	)
	i, j := 0, 0
	for i < len(p.Notes) || j < len(deep.Notes) {
		fromI, fromJ := i, j
		end := math.Inf(-1)
		for more := true; more; {
			more = false
			if i < len(p.Notes) && (p.Notes[i].Onset < end || i == fromI && j == fromJ && (j == len(deep.Notes) || p.Notes[i].Onset <= deep.Notes[j].Onset)) {
				end, more = max(end, p.Notes[i].Offset), true
				i++
			}
			if j < len(deep.Notes) && (deep.Notes[j].Onset < end || i == fromI && j == fromJ) {
				end, more = max(end, deep.Notes[j].Offset), true
				j++
			}
		}
		high, low := p.Notes[fromI:i], deep.Notes[fromJ:j]
		taken := slices.Clone(high)
		if len(low) > len(high) || slices.ContainsFunc(low, func(n grade.Sung) bool { return n.Cents < below }) {
			taken = slices.Clone(low)
			if len(high) > 0 {
				taken[0].Onset = min(taken[0].Onset, high[0].Onset)
			}
		}
		for k := range taken {
			for _, d := range low {
				if min(d.Offset, taken[k].Offset) > max(d.Onset, taken[k].Onset) && math.Abs(taken[k].Cents-1200-d.Cents) < same {
					taken[k].Cents = d.Cents
				}
			}
		}
		out.Notes = append(out.Notes, taken...)
	}
	out.Curve = merged(p.Curve, deep.Curve, out.Notes)
	return out
}

// merged is the curve of the reading that lies at the pitch of the notes, and of p
// between them.
func merged(p, deep []grade.Moment, notes []grade.Sung) []grade.Moment {
	out := slices.Clone(p)
	k, n := 0, 0
	for i, m := range out {
		for n < len(notes) && notes[n].Offset <= m.At {
			n++
		}
		for k+1 < len(deep) && deep[k+1].At <= m.At {
			k++
		}
		if n == len(notes) || notes[n].Onset > m.At || k >= len(deep) || !deep[k].Voiced {
			continue
		}
		want := notes[n].Cents
		if !m.Voiced || math.Abs(deep[k].Cents-want) < math.Abs(m.Cents-want) {
			out[i].Cents, out[i].Voiced = deep[k].Cents, true
		}
	}
	return out
}

// song is a source that is heard twice while it is read, and told.
type song struct {
	audio.Source
	told    func(grade.Sung)
	octave  bool    // what is told was heard an octave higher
	rate    float64 // of what is told
	tracker *pitch.Tracker
	seg     *pitch.Segmenter
	low     *pitch.Tracker // nil: nothing is heard an octave lower
	deep    taker
	points  []pitch.Point
	notes   []pitch.Note
}

// Read reads the source, and tells what has ended by then.
func (s *song) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	n, lost, err = s.Source.Read(ctx, dst)
	hear := func(t *pitch.Tracker) []pitch.Point {
		s.points = s.points[:0]
		if lost > 0 {
			s.points = t.Lost(s.points, lost)
		}
		s.points = t.Push(s.points, dst[:n])
		return s.points
	}
	if s.low != nil {
		s.deep.add(hear(s.low))
	}
	if s.tracker != nil {
		s.notes = s.seg.Push(s.notes[:0], hear(s.tracker))
		s.tell()
	}
	return n, lost, err
}

func (s *song) flush() {
	if s.low != nil {
		s.deep.add(s.low.Flush(s.points[:0]))
	}
	if s.tracker != nil {
		s.notes = s.seg.Push(s.notes[:0], s.tracker.Flush(s.points[:0]))
		s.notes = s.seg.Flush(s.notes)
		s.tell()
	}
}

func (s *song) tell() {
	for _, n := range s.notes {
		one := grade.Sung{
			Cents: grade.CentsOnA4(n.F0, theory.DefaultA4),
			Onset: float64(n.Onset) / s.rate, Offset: float64(n.Offset) / s.rate, Level: n.Level,
		}
		if s.octave {
			one = octaveLower(one)
		}
		s.told(one)
	}
}
