package engine

import (
	"context"
	"encoding/binary"
	"math"
	"sync"
	"time"

	"singback/internal/audio"
)

// Speaker is the loudspeaker of a page: an [audio.Sink] whose samples the browser plays
// one after the other, without a gap, on the thread of its audio. Played must be called
// from another goroutine than Write and Drain.
type Speaker struct {
	rate int
	port Port

	mu      sync.Mutex
	asked   int           // the last Drain
	played  int           // the last one that was answered
	heard   chan struct{} // of size 1
	latency time.Duration // from the browser's clock to the air
	closed  bool
}

// Port is where a Speaker's sound goes. Its methods do not wait.
type Port interface {
	Sound(block []byte) // mono, float32 in little-endian bytes, right behind what was handed over before
	Tell(drain int)     // asks that Played be called with this number when all of it has been played
	Stop()              // falls silent, and forgets what was handed over
}

var _ audio.Sink = (*Speaker)(nil)

// NewSpeaker returns a loudspeaker of so many samples a second.
func NewSpeaker(rate int, port Port) *Speaker {
	return &Speaker{rate: rate, port: port, heard: make(chan struct{}, 1)}
}

// SampleRate is that of the browser's audio context.
func (s *Speaker) SampleRate() int { return s.rate }

// SetLatency says how long after it was played, as the browser says, sound is heard.
func (s *Speaker) SetLatency(d time.Duration) {
	s.mu.Lock()
	s.latency = max(0, min(d, time.Second))
	s.mu.Unlock()
}

// Played tells that all that was handed over before the drain of this number has been
// played.
func (s *Speaker) Played(drain int) {
	s.mu.Lock()
	s.played = max(s.played, drain)
	s.mu.Unlock()
	select {
	case s.heard <- struct{}{}:
	default:
	}
}

// ahead is how long before the end of a long sound Write returns.
const ahead = 300 * time.Millisecond

// Write hands over all of samples at once, so that nothing that keeps the drill busy
// parts them, and returns when most of it has been played. Where ctx ends before, the
// sound does too.
func (s *Speaker) Write(ctx context.Context, samples []float64) error {
	if err := s.alive(ctx); err != nil {
		return err
	}
	block := make([]byte, 4*len(samples))
	for i, x := range samples {
		binary.LittleEndian.PutUint32(block[4*i:], math.Float32bits(float32(max(-1, min(1, x)))))
	}
	s.port.Sound(block)
	return s.wait(ctx, time.Duration(len(samples))*time.Second/time.Duration(s.rate)-ahead, nil)
}

// Drain waits until the last sample handed over has been heard.
func (s *Speaker) Drain(ctx context.Context) error {
	if err := s.alive(ctx); err != nil {
		return err
	}
	s.mu.Lock()
	s.asked++
	drain := s.asked
	s.mu.Unlock()
	s.port.Tell(drain)
	for {
		s.mu.Lock()
		done, latency := s.played >= drain, s.latency
		s.mu.Unlock()
		if done {
			return s.wait(ctx, latency, nil)
		}
		// However long it lasts, the browser says something of it in time.
		if err := s.wait(ctx, drainPatience, s.heard); err != nil {
			return err
		}
	}
}

// drainPatience is how long, at the most, a drain may take: longer than any sound.
const drainPatience = 10 * time.Minute

// wait waits so long, or until told; where ctx ends before, the sound is stopped.
func (s *Speaker) wait(ctx context.Context, d time.Duration, told <-chan struct{}) error {
	if d <= 0 {
		return s.alive(ctx)
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-told:
	case <-timer.C:
		if told != nil {
			return audio.ErrStalled
		}
	case <-ctx.Done():
		s.port.Stop()
		return ctx.Err()
	}
	return s.alive(ctx)
}

func (s *Speaker) alive(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return audio.ErrStalled
	}
	return nil
}

// Close ends it.
func (s *Speaker) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	select {
	case s.heard <- struct{}{}:
	default:
	}
	return nil
}
