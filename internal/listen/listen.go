// Package listen is the one ear: the only place where a [audio.Source] is read into
// a [pitch.Tracker], with what is known of the singer and the room.
//
// An [Ear] belongs to one source and opens windows on it, one after the other:
// [Ear.Note] for one answer, [Ear.Notes] for some held notes, [Ear.Line] for a whole
// line. [Track] and [Take] read a source to its end. Live and recorded sound go
// through the same loop: the same samples give the same points, however they are
// split. A steady tone of the room that [Ear.Before] has heard answers nothing in any
// of them.
package listen

import (
	"context"
	"errors"
	"fmt"
	"io"

	"singback/internal/audio"
	"singback/pitch"
)

// How many samples are asked of a source at a time: few for a window, for a lively
// meter (5 ms at 48 kHz), many where all of it is read. Neither has any influence on
// what is heard.
const (
	blockSize = 256
	fileBlock = 4096
)

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
	// Own are the partials, in hertz, of what the program sounds while it listens,
	// where the microphone may hear it: they are taken for no voice.
	Own []float64
	// Top is the highest pitch, in hertz, that is looked for; 0 for that of
	// pitch.DefaultConfig.
	Top float64
	// Estimates asks for the pitch of points that are not voiced, too.
	Estimates bool
}

// Config returns how the pitch tracker hears with it.
func (h Hearing) Config(sampleRate int) pitch.Config {
	config := pitch.DefaultConfig(sampleRate)
	config.Low, config.High, config.Known, config.Estimates = h.Low, h.High, h.Own, h.Estimates
	if h.Gate != 0 {
		config.MinLevel = h.Gate
	}
	if h.Top != 0 {
		config.MaxHz = h.Top
	}
	return config
}

// State is what an open window hears at a moment.
type State struct {
	Level   float64 // dBFS, the highest since the last State
	Singing bool
	Held    float64 // seconds of the note being held, 0 if none; in a line always 0
	F0      float64 // hertz at this moment, in a line; else 0
}

// Ear owns the tracker and the buffers for one source.
type Ear struct {
	src     audio.Source
	config  pitch.Config
	tracker *pitch.Tracker
	company *pitch.CompanyFinder // of the windows for one note
	block   []float64
	points  []pitch.Point
	curve   []pitch.Point // of the last window for one note
	before  Tone
	room    *Tone // before, where it is steady; else nil
	own     own
	heard   func(samples int64) // is told what was read, lost samples too; nil: nobody
}

// New returns an Ear for a source.
func New(src audio.Source, h Hearing) (*Ear, error) {
	e, err := newEar(src, h.Config(src.SampleRate()), blockSize)
	if err != nil {
		return nil, err
	}
	if e.company, err = pitch.NewCompanyFinder(e.config); err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	return e, nil
}

func newEar(src audio.Source, config pitch.Config, block int) (*Ear, error) {
	tracker, err := pitch.NewTracker(config)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	return &Ear{
		src: src, config: config, tracker: tracker,
		block:  make([]float64, block),
		points: make([]pitch.Point, 0, max(64, block/config.Hop+64)),
	}, nil
}

// Source returns what the Ear listens to.
func (e *Ear) Source() audio.Source { return e.src }

// Curve returns the points of the last window for one note, in order, up to the one that
// closed it. Of a window longer than half a minute it has at least the last half minute.
// The next window overwrites them.
func (e *Ear) Curve() []pitch.Point { return e.curve }

// curveSeconds is how much of a window Curve has at most.
const curveSeconds = 60

// keep adds a point to the curve.
func (e *Ear) keep(p pitch.Point) {
	if n := len(e.curve); n == cap(e.curve) { // an answer is near the end of its window
		e.curve = e.curve[:copy(e.curve, e.curve[n/2:])]
	}
	e.curve = append(e.curve, p)
}

// Room returns the steady tone of the room that Before has heard; nil without one.
func (e *Ear) Room() *Tone { return e.room }

// read is the loop of every window: it reads the source block by block into the
// tracker and hands on the samples of each, how many were lost before them, and the
// points that they complete. It ends without an error where each says that it is
// done, and with the source, whose last points come with it. Each sees whatever came
// with an error first.
func (e *Ear) read(ctx context.Context, each func(samples []float64, lost int64, points []pitch.Point) (done bool)) error {
	for {
		n, lost, err := e.src.Read(ctx, e.block)
		e.points = e.points[:0]
		if lost > 0 {
			e.points = e.tracker.Lost(e.points, lost)
		}
		e.points = e.tracker.Push(e.points, e.block[:n])
		e.tell(int64(n) + lost)
		ended := errors.Is(err, io.EOF)
		if ended {
			e.points = e.tracker.Flush(e.points)
		}
		if e.room != nil {
			e.room.hush(e.points)
		}
		e.own.hush(e.points)
		if each(e.block[:n], lost, e.points) || ended {
			return nil
		}
		if err != nil {
			return err
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
		e.before, e.room = Tone{}, nil
		return
	}
	e.points = e.tracker.Push(e.points[:0], samples)
	e.before.hear(e.points)
	e.room = nil
	if e.before.steady() {
		e.room = &e.before
	}
}

// Pass forgets what a live source has buffered and reads so many samples that answer
// nothing, lost ones included, as those of the tool's own sound that is dying away.
// Of the last quiet of them the Ear learns what the room sounds like, from the
// beginning; with quiet 0 it keeps what it knows.
func (e *Ear) Pass(ctx context.Context, samples, quiet int64) error {
	if s, ok := e.src.(audio.Skipper); ok {
		s.Skip()
	}
	if quiet > 0 {
		e.Before(nil)
	}
	for samples > 0 {
		n, lost, err := e.src.Read(ctx, e.block[:min(samples, int64(len(e.block)))])
		if err != nil {
			return err
		}
		e.tell(int64(n) + lost)
		if samples <= quiet && n > 0 {
			e.Before(e.block[:n])
			e.own.hear(e.block[:n])
		}
		samples -= int64(n) + lost
	}
	return nil
}

// meter tells the State of a window about ten times a second.
type meter struct {
	told         func(State) // nil: nobody
	frames, each int
	level        float64
}

func (e *Ear) meter(told func(State)) meter {
	return meter{told: told, each: max(1, e.config.SampleRate/10/e.config.Hop), level: pitch.MinLevel}
}

// push takes in a frame, and returns whether somebody wants to be told now.
func (m *meter) push(p *pitch.Point) bool {
	m.level = max(m.level, p.Level)
	m.frames++
	return m.told != nil && m.frames%m.each == 0
}

func (m *meter) tell(s State) {
	s.Level = m.level
	m.level = pitch.MinLevel
	m.told(s)
}
