package device

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"singback/internal/audio"
)

const (
	// stallAfter is how long a running device may be silent. The longest gap
	// between two callbacks met on a working device was 220 ms, with eight
	// goroutines burning two cores.
	stallAfter = 500 * time.Millisecond
	// firstAfter is how long a device may take to start: 77 ms on a sound
	// server, 1.45 s behind one that begins with a block of 2 s.
	firstAfter = 3 * time.Second
	// sleepsAfter and sleepsByDate are how long nothing comes where a program was
	// stopped, or a computer asleep: see asleep.
	sleepsAfter  = 2 * time.Second
	sleepsByDate = 30 * time.Second
	// openWithin and closeWithin bound calls into the driver.
	openWithin  = 5 * time.Second
	closeWithin = 2 * time.Second

	// Latencies asked of the driver, unless it recommends more. At 30 ms no
	// captured sample was lost; playback underran at 40 ms on two busy cores, and
	// nothing that is played has to answer quickly.
	captureLatency  = 30 * time.Millisecond
	playbackLatency = 100 * time.Millisecond

	// buffered is how much sound the input keeps for a reader that is late, and
	// ahead how much the output takes from a writer that is early; both are
	// rounded up to a power of two samples.
	buffered = 2 * time.Second
	ahead    = 250 * time.Millisecond
)

// format is what a stream is opened with, or was opened with.
type format struct {
	rate     int // hertz
	channels int // interleaved
	latency  time.Duration
}

// stream is one running stream of a backend.
type stream interface {
	// stop ends the stream and frees it. No callback runs after it returned.
	stop() error
}

// backend is PortAudio, or a fake in tests. Its methods are called by one
// goroutine at a time. The callbacks it is given run on a thread of its own,
// one at a time, must not be kept waiting, and get blocks of any size.
type backend interface {
	// devices returns what can be opened, in a stable order.
	devices() ([]Info, error)
	// openInput prepares a stream from the device at index i of devices. The
	// format it settled for may have another rate or latency than want. ready
	// is told before the first callback; record gets interleaved samples, with
	// missed set where the driver dropped samples before them, and filled where
	// it made them up for lack of real ones.
	openInput(i int, want format, ready func(got format), record func(in []float32, missed, filled bool)) (stream, error)
	// openOutput is the same for a stream whose play fills out; missed is set where
	// the driver had nothing to play before it.
	openOutput(i int, want format, ready func(got format), play func(out []float32, missed bool)) (stream, error)
}

// host is a backend together with the probe that must succeed before it is
// touched.
type host struct {
	probe   func(context.Context) ([]Info, error)
	backend backend // nil without cgo
	busy    chan struct{}
}

// system is this machine.
var system = newHost(probeChild, newBackend())

func newHost(probe func(context.Context) ([]Info, error), b backend) *host {
	return &host{probe: probe, backend: b, busy: make(chan struct{}, 1)}
}

// do runs f with the backend to itself, and waits for it no longer than within
// or ctx. A driver that hangs keeps the backend; later calls then fail here
// instead of hanging too. late is called if f ends after do has given up.
func (h *host) do(ctx context.Context, within time.Duration, f func() error, late func()) error {
	ctx, cancel := context.WithTimeoutCause(ctx, within, errHangs)
	defer cancel()
	select {
	case h.busy <- struct{}{}:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	done := make(chan error)
	go func() {
		err := f()
		select {
		case done <- err:
			<-h.busy
		case <-ctx.Done():
			late()
			<-h.busy
		}
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// errHangs says that a call into the driver did not come back in time.
var errHangs = errors.New("the sound system does not answer")

// open finds the device and hands its index and the format to ask for to with.
func (h *host) open(ctx context.Context, d direction, name string, rate int, with func(i int, want format) (stream, error)) (stream, error) {
	if rate != 0 && (rate < audio.MinSampleRate || rate > audio.MaxSampleRate) {
		return nil, fmt.Errorf("sample rate %d Hz, want %d … %d", rate, audio.MinSampleRate, audio.MaxSampleRate)
	}
	if _, err := h.probe(ctx); err != nil {
		return nil, err
	}
	var s stream
	err := h.do(ctx, openWithin, func() error {
		devices, err := h.backend.devices()
		if err != nil {
			return err
		}
		i, err := choose(devices, d, name)
		if err != nil {
			return err
		}
		dev := devices[i]
		want := format{rate: rate, channels: min(2, d.channels(dev))}
		if rate == 0 {
			want.rate = int(dev.SampleRate)
		}
		if d == capture {
			want.latency = max(captureLatency, dev.LowInputLatency)
		} else {
			want.latency = max(playbackLatency, dev.LowOutputLatency)
		}
		if s, err = with(i, want); err != nil {
			return fmt.Errorf("%q: %w", dev.Name, err)
		}
		return nil
	}, func() {
		if s != nil {
			s.stop()
		}
	})
	if err != nil {
		return nil, err
	}
	return s, nil
}

func (h *host) openInput(ctx context.Context, name string, rate int) (*input, error) {
	in := &input{}
	s, err := h.open(ctx, capture, name, rate, func(i int, want format) (stream, error) {
		return h.backend.openInput(i, want, in.init, in.record)
	})
	if err != nil {
		return nil, err
	}
	in.close.host, in.close.stream = h, s
	return in, nil
}

func (h *host) openOutput(ctx context.Context, name string, rate int) (*output, error) {
	out := &output{}
	s, err := h.open(ctx, playback, name, rate, func(i int, want format) (stream, error) {
		return h.backend.openOutput(i, want, out.init, out.play)
	})
	if err != nil {
		return nil, err
	}
	out.close.host, out.close.stream = h, s
	return out, nil
}

// closer stops a stream once, within closeWithin whatever the driver does.
type closer struct {
	host   *host
	stream stream
	called atomic.Bool
	done   chan struct{} // closed by the first call
}

// do stops the stream, after before; every later call does nothing.
func (c *closer) do(before func()) error {
	if c.called.Swap(true) {
		return nil
	}
	close(c.done)
	before()
	err := c.host.do(context.Background(), closeWithin, c.stream.stop, func() {})
	if err != nil {
		return fmt.Errorf("close the sound device: %w", err)
	}
	return nil
}

// sleep finds out that no block came for so long that the program was stopped, or the
// computer asleep: what is played then breaks off, and what comes in next may have waited
// in the driver all the while.
type sleep struct {
	last  time.Time // a block; of the driver's thread
	slept atomic.Bool
}

// block is called by the callback.
func (s *sleep) block() {
	now := time.Now()
	if !s.last.IsZero() && asleep(now.Sub(s.last), now.Round(0).Sub(s.last.Round(0))) {
		s.slept.Store(true)
	}
	s.last = now
}

// asleep tells sleep from a busy machine, by how long nothing came: by the clock, which
// on some systems stands still while the computer sleeps, and by the date, which a
// server of time may put right by some seconds.
func asleep(clock, date time.Duration) bool {
	return clock >= sleepsAfter || date-clock >= sleepsByDate
}

// pulse is how a callback tells the other side that something has changed
// without ever waiting for it, and how the other side waits with a watchdog.
type pulse struct {
	c     chan struct{}
	timer *time.Timer
	alive bool // a callback has been seen
}

func newPulse() pulse {
	return pulse{c: make(chan struct{}, 1), timer: time.NewTimer(firstAfter)}
}

// beat is called by the callback.
func (p *pulse) beat() {
	select {
	case p.c <- struct{}{}:
	default:
	}
}

// wait returns nil after a beat, and otherwise why there was none.
func (p *pulse) wait(ctx context.Context, closed <-chan struct{}) error {
	select {
	case <-p.c: // also of a device that is waited for after the timer has run out
		p.alive = true
		return nil
	default:
	}
	if p.alive {
		p.timer.Reset(stallAfter)
	}
	select {
	case <-p.c:
		p.alive = true
		return nil
	case <-closed:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	case <-p.timer.C:
		return audio.ErrStalled
	}
}
