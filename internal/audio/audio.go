// Package audio holds the contracts between whatever makes or takes sound and
// the rest of the program, and reads and writes recordings.
//
// A [Source] gives mono samples, a [Sink] takes them. The microphone, a
// recording on disk and the simulated singer are all Sources; the loudspeaker,
// a WAV file and nothing at all are Sinks. [OpenWAV] reads a recording and
// [CreateWAV] makes one. The package knows no device, no music and no pitch, and
// converts no sample rates.
package audio

import (
	"context"
	"errors"
)

// ErrStalled is returned by a live Source whose device has stopped delivering
// sound without saying so, and by a live Sink whose device has stopped taking
// it.
var ErrStalled = errors.New("the sound device has gone silent")

// Source gives mono samples in [-1, 1], in order, exactly once.
//
// The legal returns of Read, for len(dst) > 0, are
//
//	n > 0, lost = 0, nil    n samples were written to dst[:n]
//	n ≥ 0, lost > 0, nil    lost samples are missing right before dst[:n]
//	0, 0, io.EOF            the recording has ended; every later call says so too
//	0, 0, another error     nothing more will come; ErrStalled, ctx.Err() or what the device or file said
//
// Read blocks until one of these is so. It returns as few or as many samples
// as it likes: no caller may assume a block size.
type Source interface {
	// SampleRate is in hertz, 8000 … 192000, and never changes.
	SampleRate() int
	Read(ctx context.Context, dst []float64) (n int, lost int64, err error)
	// Close frees the device or file. It may be called more than once.
	Close() error
}

// Skipper is a live source that can forget what it has buffered.
type Skipper interface{ Skip() (skipped int64) }

// Awaiter is a source that may keep the singer waiting before its sample rate is
// known, like a pipe. Await is called once, when the question has been asked and
// before any other method but Close; it returns early, with ctx's error, if ctx
// ends.
type Awaiter interface {
	Await(ctx context.Context) error
}

// Sink plays or keeps mono samples in [-1, 1]; what lies outside is clipped.
type Sink interface {
	// SampleRate is in hertz and never changes.
	SampleRate() int
	// Write hands over all of samples, waiting while the device's buffer is
	// full. It keeps no reference to samples.
	Write(ctx context.Context, samples []float64) error
	// Drain waits until the last sample handed over has been heard, or written.
	Drain(ctx context.Context) error
	// Close frees the device, or completes the file. It may be called more
	// than once.
	Close() error
}

// Limits of the sample rates, in hertz, that sources and the tracker accept;
// both are allowed.
const (
	MinSampleRate = 8000
	MaxSampleRate = 192000
)
