package listen

import (
	"context"
	"errors"
	"io"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/pitch"
	"singback/theory"
)

// Track reads a source to its end and hands on the points of its pitch track as they
// are found, together with how many samples had been heard by then. A tone of the
// room, if it is not nil, is hushed. A live reading is timed to the millisecond.
func Track(ctx context.Context, src audio.Source, h Hearing, reading pitch.Reading, room *Tone, found func(points []pitch.Point, heard int64)) error {
	config := h.Config(src.SampleRate())
	config.Reading = reading
	e, err := newEar(src, config, fileBlock)
	if err != nil {
		return err
	}
	e.room = room
	if reading == pitch.Live {
		e.src = inSteps{src, int64(max(1, src.SampleRate()/1000)), new(int64)}
	}
	heard := int64(0)
	return e.read(ctx, func(samples []float64, lost int64, points []pitch.Point) bool {
		heard += int64(len(samples)) + lost
		if len(points) > 0 {
			found(points, heard)
		}
		return false
	})
}

// inSteps reads a source up to the next multiple of step at a time, and as far as the
// block of a file goes.
type inSteps struct {
	audio.Source
	step int64
	at   *int64
}

func (s inSteps) Read(ctx context.Context, dst []float64) (int, int64, error) {
	n, lost, err := s.Source.Read(ctx, dst[:min(int64(len(dst)), s.step-*s.at%s.step, fileBlock-*s.at%fileBlock)])
	*s.at += int64(n) + lost
	return n, lost, err
}

// Melody finds the sung notes of a source, to its end, and hands them on as they end;
// found keeps no reference to them.
func Melody(ctx context.Context, src audio.Source, h Hearing, found func([]pitch.Note)) error {
	seg, err := pitch.NewMelodySegmenter(h.Config(src.SampleRate()))
	if err != nil {
		return err
	}
	notes := make([]pitch.Note, 0, 16)
	err = Track(ctx, src, h, pitch.Offline, nil, func(points []pitch.Point, _ int64) {
		notes = seg.Push(notes[:0], points)
		found(notes)
	})
	found(seg.Flush(notes[:0]))
	return err
}

// Take finds the notes and the pitch curve of a source, to its end, as they are
// graded. A tone of the room, if it is not nil, is hushed.
func Take(ctx context.Context, src audio.Source, h Hearing, room *Tone) (grade.Performance, error) {
	t, err := newTaker(h.Config(src.SampleRate()))
	if err != nil {
		return t.p, err
	}
	err = Track(ctx, src, h, pitch.Offline, room, func(points []pitch.Point, _ int64) { t.add(points) })
	if err != nil {
		return t.p, err
	}
	return t.end(), nil
}

// taker makes a take of the points of a track.
type taker struct {
	seg   *pitch.Segmenter
	rate  float64
	notes []pitch.Note
	p     grade.Performance
}

func newTaker(config pitch.Config) (t taker, err error) {
	t.seg, err = pitch.NewMelodySegmenter(config)
	t.rate, t.notes = float64(config.SampleRate), make([]pitch.Note, 0, 16)
	return t, err
}

func (t *taker) add(points []pitch.Point) {
	for _, pt := range points {
		m := grade.Moment{At: float64(pt.Index) / t.rate}
		if pt.Voiced {
			m = grade.NewMoment(m.At, pt.F0, theory.DefaultA4)
		}
		t.p.Curve = append(t.p.Curve, m)
	}
	t.notes = t.seg.Push(t.notes[:0], points)
	t.p.Notes = append(t.p.Notes, sung(t.notes, t.rate)...)
}

func (t *taker) end() grade.Performance {
	t.p.Notes = append(t.p.Notes, sung(t.seg.Flush(t.notes[:0]), t.rate)...)
	t.p.Notes = grade.Measured(t.p)
	return t.p
}

// sung puts notes into seconds and cents.
func sung(notes []pitch.Note, rate float64) []grade.Sung {
	var out []grade.Sung
	for _, n := range notes {
		out = append(out, grade.Sung{
			Cents: grade.CentsOnA4(n.F0, theory.DefaultA4),
			Onset: float64(n.Onset) / rate, Offset: float64(n.Offset) / rate,
			Level: n.Level,
		})
	}
	return out
}

// Record reads so many seconds of a source, or less if it ends before that. Samples
// that the device lost are silence.
func Record(ctx context.Context, src audio.Source, seconds float64) ([]float64, error) {
	want := int(seconds * float64(src.SampleRate()))
	var x []float64
	block := make([]float64, blockSize)
	for len(x) < want {
		n, lost, err := src.Read(ctx, block[:min(blockSize, want-len(x))])
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		x = append(x, make([]float64, min(int(lost), want-len(x)))...)
		x = append(x, block[:n]...)
		if err != nil {
			break
		}
	}
	return x, nil
}

// Freshly throws away what a live source has buffered at the moment at which a
// block of it has just arrived: what is read next begins now. Otherwise the time
// until the next block, up to its length, would be in every measured delay.
func Freshly(ctx context.Context, src audio.Source) error {
	s, ok := src.(audio.Skipper)
	if !ok {
		return nil
	}
	s.Skip()
	if _, _, err := src.Read(ctx, make([]float64, 1)); err != nil {
		return err
	}
	s.Skip()
	return nil
}

// Await waits for what a source waits for; see audio.Awaiter.
func Await(ctx context.Context, src audio.Source) error {
	a, ok := src.(audio.Awaiter)
	if !ok {
		return nil
	}
	return a.Await(ctx)
}
