package review

import (
	"context"
	"errors"
	"io"
	"math"

	"singback/internal/audio"
	"singback/pitch"
	"singback/theory"
)

// block is how many samples are read at once.
const block = 4096

// Track reads a source to its end and hands on the points of its pitch track as
// they are found, together with how many samples had been heard by then; found
// keeps no reference to them. A live reading is timed to the millisecond. The
// split of the source into blocks does not change the points.
func Track(ctx context.Context, src audio.Source, config pitch.Config, found func(points []pitch.Point, heard int64)) error {
	tracker, err := pitch.NewTracker(config)
	if err != nil {
		return err
	}
	step := block
	if config.Reading == pitch.Live {
		step = max(1, src.SampleRate()/1000)
	}
	samples := make([]float64, block)
	points := make([]pitch.Point, 0, 1024)
	heard := int64(0)
	for {
		n, lost, err := src.Read(ctx, samples)
		if lost > 0 {
			heard += lost
			if points = tracker.Lost(points[:0], lost); len(points) > 0 {
				found(points, heard)
			}
		}
		for some := samples[:n]; len(some) > 0; {
			k := min(step-int(heard%int64(step)), len(some))
			heard += int64(k)
			if points = tracker.Push(points[:0], some[:k]); len(points) > 0 {
				found(points, heard)
			}
			some = some[k:]
		}
		if errors.Is(err, io.EOF) {
			found(tracker.Flush(points[:0]), heard)
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// Notes finds the sung notes of a source, to its end, and hands them on as they
// end; found keeps no reference to them. The reading of config is the offline
// one. What was found before an error is handed on too.
func Notes(ctx context.Context, src audio.Source, config pitch.Config, found func([]pitch.Note)) error {
	config.Reading = pitch.Offline
	seg, err := pitch.NewMelodySegmenter(config)
	if err != nil {
		return err
	}
	notes := make([]pitch.Note, 0, 16)
	err = Track(ctx, src, config, func(points []pitch.Point, _ int64) {
		notes = seg.Push(notes[:0], points)
		found(notes)
	})
	found(seg.Flush(notes[:0]))
	return err
}

// PitchClasses returns how long each pitch class sounds in notes of a recording,
// in seconds, after taking out by how many cents the notes lie away from the
// semitones of a4 as a whole, and how well they agree about that (see
// [theory.Offset]).
func PitchClasses(notes []pitch.Note, rate int, a4 float64) (h [12]float64, offset theory.Cents, agreement float64) {
	var cents, seconds []float64
	for _, n := range notes {
		cents = append(cents, theory.CentsBetween(n.F0, a4))
		seconds = append(seconds, float64(n.Offset-n.Onset)/float64(rate))
	}
	offset, agreement = theory.Offset(cents, seconds)
	for i, c := range cents {
		semitone := 9 + int(math.Round((c-offset)/100)) // A is 9
		h[(semitone%12+12)%12] += seconds[i]
	}
	return h, offset, agreement
}
