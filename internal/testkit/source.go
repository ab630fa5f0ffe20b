package testkit

import (
	"context"
	"io"
)

// Cue is one stretch of what a [Source] gives: Lost samples that never
// arrived, then Samples, then Err, which is returned by every later call.
// Do, if not nil, is called before anything else of the cue is given.
type Cue struct {
	Do      func()
	Lost    int64
	Samples []float64
	Err     error
}

// Source is an audio source that ends, stalls or loses samples on cue. After
// the last cue it ends with io.EOF, or goes on with silence for ever.
type Source struct {
	Rate    int // hertz
	Cues    []Cue
	Forever bool
	// Chunk, if not nil, limits how many samples the next Read gives, ≥ 1.
	Chunk func() int

	Reads  int // calls of Read
	Closed int // calls of Close
}

// SampleRate is in hertz.
func (s *Source) SampleRate() int { return s.Rate }

// Read follows the cues. An ended ctx comes before them.
func (s *Source) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	s.Reads++
	if s.Chunk != nil {
		dst = dst[:min(len(dst), s.Chunk())]
	}
	for len(s.Cues) > 0 {
		c := &s.Cues[0]
		if c.Do != nil {
			c.Do()
			c.Do = nil
		}
		if err := ctx.Err(); err != nil {
			return 0, 0, err
		}
		switch {
		case c.Lost > 0:
			lost, c.Lost = c.Lost, 0
			n = copy(dst, c.Samples)
			c.Samples = c.Samples[n:]
			return n, lost, nil
		case len(c.Samples) > 0:
			n = copy(dst, c.Samples)
			c.Samples = c.Samples[n:]
			return n, 0, nil
		case c.Err != nil:
			return 0, 0, c.Err
		}
		s.Cues = s.Cues[1:]
	}
	if err := ctx.Err(); err != nil {
		return 0, 0, err
	}
	if s.Forever {
		clear(dst)
		return len(dst), 0, nil
	}
	return 0, 0, io.EOF
}

// Close counts how often it is called.
func (s *Source) Close() error {
	s.Closed++
	return nil
}
