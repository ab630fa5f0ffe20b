package audio

import (
	"context"
	"io"
	"time"
)

// Samples is a [Source] that holds its sound in memory.
type Samples struct {
	rate int
	left []float64
}

// NewSamples plays samples, in [-1, 1], at a rate in hertz, MinSampleRate …
// MaxSampleRate. It keeps the slice and does not change it.
func NewSamples(rate int, samples []float64) *Samples {
	return &Samples{rate: rate, left: samples}
}

// SampleRate is in hertz.
func (s *Samples) SampleRate() int { return s.rate }

// Read fills dst as far as there are samples.
func (s *Samples) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	if err := ctx.Err(); err != nil {
		return 0, 0, err
	}
	if len(s.left) == 0 {
		return 0, 0, io.EOF
	}
	n = copy(dst, s.left)
	s.left = s.left[n:]
	return n, 0, nil
}

// Close does nothing.
func (s *Samples) Close() error { return nil }

// Null is a [Sink] that takes everything at once and keeps nothing.
type Null struct {
	Rate int // in hertz
}

// SampleRate is in hertz.
func (n Null) SampleRate() int { return n.Rate }

// Write forgets the samples.
func (n Null) Write(ctx context.Context, _ []float64) error { return ctx.Err() }

// Drain returns at once.
func (n Null) Drain(ctx context.Context) error { return ctx.Err() }

// Close does nothing.
func (n Null) Close() error { return nil }

// Paced is a [Source] that delivers another one's samples no faster than a
// microphone would.
type Paced struct {
	Source
	wait func(ctx context.Context, d time.Duration) error
	done int64         // samples delivered, or lost
	due  time.Duration // their length
}

// NewPaced calls wait before it hands samples over, for as long as they last;
// wait returns early, with an error, if the context ends. Reads are cut to
// blocks of a hundredth of a second. The time that the caller spends between
// Reads comes on top: a Paced source is slower than real time, never faster.
func NewPaced(source Source, wait func(ctx context.Context, d time.Duration) error) *Paced {
	return &Paced{Source: source, wait: wait}
}

// Read waits as long as what it delivers lasts, samples lost included.
func (p *Paced) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	rate := int64(p.SampleRate())
	n, lost, err = p.Source.Read(ctx, dst[:min(int64(len(dst)), rate/100)])
	if err != nil {
		return n, lost, err
	}
	p.done += int64(n) + lost
	// Whole seconds apart, so that nothing overflows and no rounding adds up.
	due := time.Duration(p.done/rate)*time.Second + time.Duration(p.done%rate)*time.Second/time.Duration(rate)
	d := due - p.due
	p.due = due
	if err := p.wait(ctx, d); err != nil {
		return 0, 0, err
	}
	return n, lost, nil
}
