package session

import (
	"context"
	"errors"
	"fmt"
	"io"

	"singback/exercise"
	"singback/internal/audio"
	"singback/pitch"
)

// blockSize is how many samples are asked of a source at a time: small enough
// for a lively meter (5 ms at 48 kHz), and without influence on any verdict.
const blockSize = 256

// Ear owns the tracker and the buffers for one source and listens to windows
// of it. Live and recorded sound go through the same code: the same samples
// give the same verdict, however they are split.
type Ear struct {
	src     audio.Source
	config  pitch.Config
	tracker *pitch.Tracker
	company *pitch.CompanyFinder
	block   []float64
	points  []pitch.Point
	before  roomTone
	room    *roomTone // before, where it is steady; else nil
}

// Hearing is what is known of who sings and where. The zero Hearing knows
// nothing: any voice, any room.
type Hearing struct {
	// Low and High bound the pitches, in hertz, at which the singer is
	// expected; both 0 where that is not known. It is a soft prior: what is
	// sung elsewhere is heard all the same.
	Low, High float64
	// Gate is the level in dBFS below which sound is the room's, not the
	// singer's; 0 where it has not been measured.
	Gate float64
	// Top is the highest pitch, in hertz, that is looked for; 0 for that of
	// pitch.DefaultConfig.
	Top float64
}

// Config returns how the pitch tracker hears with it.
func (h Hearing) Config(sampleRate int) pitch.Config {
	config := pitch.DefaultConfig(sampleRate)
	config.Low, config.High = h.Low, h.High
	if h.Gate != 0 {
		config.MinLevel = h.Gate
	}
	if h.Top != 0 {
		config.MaxHz = h.Top
	}
	return config
}

// NewEar returns an Ear for a source, of whose singer and room nothing is known.
func NewEar(src audio.Source) (*Ear, error) { return Hearing{}.NewEar(src) }

// NewEar returns an Ear for a source.
func (h Hearing) NewEar(src audio.Source) (*Ear, error) {
	config := h.Config(src.SampleRate())
	tracker, err := pitch.NewTracker(config)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	company, err := pitch.NewCompanyFinder(config)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	return &Ear{
		src: src, config: config, tracker: tracker, company: company,
		block:  make([]float64, blockSize),
		points: make([]pitch.Point, 0, 64),
	}, nil
}

// Listen opens a window now, follows it until the answer is complete or the
// source ends, and returns what was heard. If heard is not nil it is told the
// state about ten times a second. An error comes with whatever was heard
// before it.
func (e *Ear) Listen(ctx context.Context, w exercise.Window, heard func(Heard)) (exercise.Take, error) {
	e.tracker.Reset()
	e.company.Reset()
	if e.room != nil {
		e.company.Ignore(e.room.pitch())
	}
	attempt, err := exercise.NewAttempt(e.config, w)
	if err != nil {
		return exercise.Take{}, fmt.Errorf("listen: %w", err)
	}
	rate := e.config.SampleRate
	level, every := pitch.MinLevel, max(1, rate/10/e.config.Hop)
	frames := 0
	push := func(points []pitch.Point) bool {
		done := false
		for i, p := range points {
			if done = attempt.Push(points[i : i+1]); done {
				break
			}
			if c, ok := e.company.Point(p); ok {
				attempt.Beside(c)
			}
			level = max(level, p.Level)
			if frames++; frames%every == 0 && heard != nil {
				held, singing := attempt.Holding()
				heard(Heard{Level: level, Singing: singing, Held: held})
				level = pitch.MinLevel
			}
		}
		return done
	}
	for {
		n, lost, err := e.src.Read(ctx, e.block)
		e.points = e.points[:0]
		if lost > 0 {
			e.points = e.tracker.Lost(e.points, lost)
			e.company.Lost(lost)
		}
		e.points = e.tracker.Push(e.points, e.block[:n])
		e.company.Samples(e.block[:n])
		if errors.Is(err, io.EOF) {
			e.points = e.tracker.Flush(e.points)
		}
		if e.room != nil {
			e.room.hush(e.points)
		}
		if push(e.points) {
			return attempt.Close(), nil
		}
		if errors.Is(err, io.EOF) {
			return attempt.Close(), nil
		}
		if err != nil {
			return attempt.Close(), err
		}
	}
}

// Before takes in what is heard before a window opens, when nobody should sing:
// samples, a further part of it, or, nil, that all of it begins anew. A tone that
// has been there all the while is the room's, and answers nothing in the windows
// after it. Without Before, as for a recording, there is none.
func (e *Ear) Before(samples []float64) {
	if samples == nil {
		e.tracker.Reset()
		e.before, e.room = roomTone{}, nil
		return
	}
	e.points = e.tracker.Push(e.points[:0], samples)
	e.before.hear(e.points)
	e.room = nil
	if e.before.steady() {
		e.room = &e.before
	}
}
