package listen

import (
	"context"
	"fmt"

	"singback/exercise"
	"singback/pitch"
)

// Note opens a window for one answer now, follows it until the answer is complete or
// the source ends, and returns what was heard. If told is not nil it is told the
// state about ten times a second. An error comes with whatever was heard before it.
func (e *Ear) Note(ctx context.Context, w exercise.Window, told func(State)) (exercise.Take, error) {
	e.tracker.Reset()
	e.company.Reset()
	if e.room != nil {
		e.company.Ignore(e.room.pitch())
	}
	attempt, err := exercise.NewAttempt(e.config, w)
	if err != nil {
		return exercise.Take{}, fmt.Errorf("listen: %w", err)
	}
	if e.curve == nil {
		e.curve = make([]pitch.Point, 0, curveSeconds*e.config.SampleRate/e.config.Hop)
	}
	e.curve = e.curve[:0]
	m := e.meter(told)
	err = e.read(ctx, func(samples []float64, lost int64, points []pitch.Point) bool {
		if lost > 0 {
			e.company.Lost(lost)
		}
		e.company.Samples(samples)
		for i := range points {
			e.keep(points[i])
			if attempt.Push(points[i : i+1]) {
				return true
			}
			if c, ok := e.company.Point(points[i]); ok {
				attempt.Beside(c)
			}
			if m.push(&points[i]) {
				held, singing := attempt.Holding()
				m.tell(State{Singing: singing, Held: held})
			}
		}
		return false
	})
	return attempt.Close(), err
}

// When a window for held notes closes, in seconds.
const (
	restSeconds = 0.4 // of silence after a note
	heldEnough  = 1.5 // of a note that need not be held longer
)

// Notes opens a window now and returns the notes sung in it: it closes when a
// note has been held for 1.5 s, 0.4 s after the singing has stopped, after so many
// seconds, or with the source. Told is as in Note.
func (e *Ear) Notes(ctx context.Context, seconds float64, told func(State)) ([]pitch.Note, error) {
	e.tracker.Reset()
	seg, err := pitch.NewSegmenter(e.config)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	rate := float64(e.config.SampleRate)
	m := e.meter(told)
	var notes []pitch.Note
	err = e.read(ctx, func(_ []float64, _ int64, points []pitch.Point) bool {
		for i := range points {
			notes = seg.Push(notes, points[i:i+1])
			onset, offset, singing := seg.Holding()
			if m.push(&points[i]) {
				m.tell(State{Singing: singing, Held: float64(offset-onset) / rate})
			}
			heard := float64(points[i].Index + int64(e.config.Hop))
			if heard >= seconds*rate || singing && float64(offset-onset) >= heldEnough*rate {
				return true
			}
			if k := len(notes); k > 0 && !singing && heard-float64(notes[k-1].Offset) > restSeconds*rate {
				return true
			}
		}
		return false
	})
	if err != nil {
		return notes, err
	}
	return seg.Flush(notes), nil
}

// What a line may take at most: samples lost at once, and seconds.
const (
	maxLost = 1 << 20
	maxLine = 1800
)

// Line opens a window for a whole line now; otherwise as Note. It returns the samples
// that were heard, too, PhraseTake.Heard of them unless the source ended; what was lost
// is silence in them.
func (e *Ear) Line(ctx context.Context, w exercise.PhraseWindow, told func(State)) (exercise.PhraseTake, []float64, error) {
	e.tracker.Reset()
	attempt, err := exercise.NewPhraseAttempt(e.config, w)
	if err != nil {
		return exercise.PhraseTake{}, nil, fmt.Errorf("listen: %w", err)
	}
	m := e.meter(told)
	var heard []float64
	closed, long := false, false
	err = e.read(ctx, func(samples []float64, lost int64, points []pitch.Point) bool {
		if lost > 0 {
			heard = append(heard, make([]float64, min(lost, maxLost))...)
		}
		heard = append(heard, samples...)
		for i := range points {
			p := &points[i]
			if closed = attempt.Push(points[i : i+1]); closed {
				return true
			}
			if m.push(p) {
				m.tell(State{Singing: p.Voiced, F0: p.F0})
			}
		}
		long = len(heard) > maxLine*e.config.SampleRate
		return long
	})
	if long {
		err = fmt.Errorf("the line is longer than %d minutes", maxLine/60)
	}
	take := attempt.Close()
	if closed { // what came with the sample that closed it depends on the device
		heard = heard[:min(int64(len(heard)), take.Heard)]
	}
	return take, heard, err
}
