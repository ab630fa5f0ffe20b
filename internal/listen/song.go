package listen

import (
	"context"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/pitch"
	"singback/theory"
)

// Song reads a source to its end as [Take] does. With told the notes are also handed
// on as they end, about half a second later, by a reading that cannot wait for what
// comes after them: what Song returns in the end may differ. With deep it hears an
// octave lower, from 31 to 725 Hz, as for a bass that is played: no voice is so deep.
func Song(ctx context.Context, src audio.Source, h Hearing, deep bool, told func(grade.Sung)) (grade.Performance, error) {
	deep = deep && src.SampleRate() <= audio.MaxSampleRate/2
	if deep {
		src = higher{src}
	}
	if told != nil {
		again, err := newAloud(src, h, func(n grade.Sung) { told(lowered(n, deep)) })
		if err != nil {
			return grade.Performance{}, err
		}
		src = again
	}
	p, err := Take(ctx, src, h, nil)
	if a, ok := src.(*aloud); ok && err == nil {
		a.flush()
	}
	if deep {
		for i, n := range p.Notes {
			p.Notes[i] = lowered(n, true)
		}
		for i := range p.Curve {
			p.Curve[i].At *= 2
			p.Curve[i].Cents -= 1200
		}
	}
	return p, err
}

// higher is a source that says it is twice as fast, and so an octave higher, than it
// is.
type higher struct{ audio.Source }

func (h higher) SampleRate() int { return 2 * h.Source.SampleRate() }

// lowered is a note of a higher source as it was.
func lowered(n grade.Sung, deep bool) grade.Sung {
	if deep {
		n.Onset, n.Offset, n.Cents = 2*n.Onset, 2*n.Offset, n.Cents-1200
	}
	return n
}

// aloud is a source that tells the notes in it while it is read.
type aloud struct {
	audio.Source
	tracker *pitch.Tracker
	seg     *pitch.Segmenter
	points  []pitch.Point
	notes   []pitch.Note
	told    func(grade.Sung)
}

func newAloud(src audio.Source, h Hearing, told func(grade.Sung)) (*aloud, error) {
	config := h.Config(src.SampleRate())
	tracker, err := pitch.NewTracker(config)
	if err != nil {
		return nil, err
	}
	seg, err := pitch.NewMelodySegmenter(config)
	return &aloud{Source: src, tracker: tracker, seg: seg, told: told}, err
}

// Read reads the source, and tells what has ended by then.
func (a *aloud) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	n, lost, err = a.Source.Read(ctx, dst)
	a.points = a.points[:0]
	if lost > 0 {
		a.points = a.tracker.Lost(a.points, lost)
	}
	a.points = a.tracker.Push(a.points, dst[:n])
	a.notes = a.seg.Push(a.notes[:0], a.points)
	a.tell()
	return n, lost, err
}

func (a *aloud) flush() {
	a.points = a.tracker.Flush(a.points[:0])
	a.notes = a.seg.Flush(a.seg.Push(a.notes[:0], a.points))
	a.tell()
}

func (a *aloud) tell() {
	rate := float64(a.SampleRate())
	for _, n := range a.notes {
		a.told(grade.Sung{
			Cents: grade.CentsOnA4(n.F0, theory.DefaultA4),
			Onset: float64(n.Onset) / rate, Offset: float64(n.Offset) / rate, Level: n.Level,
		})
	}
}
