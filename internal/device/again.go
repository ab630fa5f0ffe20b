package device

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"singback/internal/audio"
)

// Streams are the streams of a program that goes on when a device comes back that was
// unplugged, or a sound server that was started again: whoever holds a Source or a Sink
// of it keeps it, and [Streams.Reopen] exchanges what is behind. The zero Streams has
// none yet. Its methods may be called by one goroutine at a time.
type Streams struct {
	host *host // nil: this machine's
	ends []end
}

// end is a Source or a Sink of a Streams.
type end interface {
	open(ctx context.Context, h *host) error
	alive(ctx context.Context) error // waits for the first sound
	Close() error
}

// Input is [OpenInput]. The Source is an audio.Skipper, and has Latency.
func (s *Streams) Input(ctx context.Context, name string, rate int) (audio.Source, error) {
	m := &microphone{wanted: wanted{name, rate}}
	if err := s.add(ctx, m); err != nil {
		return nil, err
	}
	return m, nil
}

// Output is [OpenOutput].
func (s *Streams) Output(ctx context.Context, name string, rate int) (audio.Sink, error) {
	l := &loudspeaker{wanted: wanted{name, rate}}
	if err := s.add(ctx, l); err != nil {
		return nil, err
	}
	return l, nil
}

func (s *Streams) add(ctx context.Context, e end) error {
	if s.host == nil {
		s.host = system
	}
	if err := e.open(ctx, s.host); err != nil {
		return err
	}
	s.ends = append(s.ends, e)
	return nil
}

// Reopen closes all streams, and opens them anew, with the names and rates that they
// were asked for; the rate that a device settles for may be another than before. All of
// them are closed first: the driver looks for devices anew only once it has nothing
// open. It returns nil once each of them has carried sound. With an error all of them are
// closed, and it may be called again. Nobody may read, write or close meanwhile.
func (s *Streams) Reopen(ctx context.Context) (err error) {
	closeAll := func() {
		for _, e := range s.ends {
			e.Close() // of what is gone it says nothing of use
		}
	}
	closeAll()
	for _, e := range s.ends {
		if err == nil {
			err = e.open(ctx, s.host)
		}
	}
	for _, e := range s.ends {
		if err == nil {
			err = e.alive(ctx)
		}
	}
	if err != nil {
		closeAll()
	}
	return err
}

// wanted is what a stream is asked for.
type wanted struct {
	name string
	rate int
}

// microphone is a Source of a Streams.
type microphone struct {
	wanted
	held[*input]
}

func (m *microphone) open(ctx context.Context, h *host) error {
	in, err := h.openInput(ctx, m.name, m.rate)
	if err != nil {
		return fmt.Errorf("open the microphone: %w", err)
	}
	m.hold(in)
	return nil
}

func (m *microphone) alive(ctx context.Context) error {
	if _, _, err := m.Read(ctx, make([]float64, 1)); err != nil {
		return fmt.Errorf("open the microphone: %w", err)
	}
	return nil
}

func (m *microphone) SampleRate() int        { return m.now().rate }
func (m *microphone) Latency() time.Duration { return m.now().latency }
func (m *microphone) Skip() int64            { return m.now().Skip() }
func (m *microphone) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	return m.now().Read(ctx, dst)
}

// loudspeaker is a Sink of a Streams.
type loudspeaker struct {
	wanted
	held[*output]
}

func (l *loudspeaker) open(ctx context.Context, h *host) error {
	out, err := h.openOutput(ctx, l.name, l.rate)
	if err != nil {
		return fmt.Errorf("open the loudspeaker: %w", err)
	}
	l.hold(out)
	return nil
}

func (l *loudspeaker) alive(ctx context.Context) error {
	err := l.Write(ctx, make([]float64, 1))
	if err == nil {
		err = l.Drain(ctx)
	}
	if err != nil {
		return fmt.Errorf("open the loudspeaker: %w", err)
	}
	return nil
}

func (l *loudspeaker) SampleRate() int        { return l.now().rate }
func (l *loudspeaker) Latency() time.Duration { return l.now().latency }
func (l *loudspeaker) Underruns() int64       { return l.now().Underruns() }
func (l *loudspeaker) Write(ctx context.Context, samples []float64) error {
	return l.now().Write(ctx, samples)
}
func (l *loudspeaker) Drain(ctx context.Context) error { return l.now().Drain(ctx) }

// held is the stream of the moment.
type held[T interface{ Close() error }] struct{ stream atomic.Pointer[T] }

func (h *held[T]) now() T { return *h.stream.Load() }

func (h *held[T]) hold(stream T) { h.stream.Store(&stream) }

// Close closes it.
func (h *held[T]) Close() error { return h.now().Close() }
