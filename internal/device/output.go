package device

import (
	"context"
	"sync/atomic"
	"time"

	"singback/internal/audio"
)

// fade is how long a jump in the output is spread over where the sound runs
// dry, comes back, or is cut off.
const fade = 5 * time.Millisecond

// output is the Sink of a playback stream. play runs on the driver's thread,
// everything else on the writer's.
type output struct {
	format
	samples *ring[float64]
	pulse   pulse
	close   closer
	sleep   sleep

	muted  atomic.Bool  // by Close
	frames atomic.Int64 // frames played so far, silence included
	missed atomic.Int64 // blocks that came too late for the driver
	block  atomic.Int64 // the largest block so far, in frames

	// Of the driver's thread.
	dry  bool    // the last frame was silence
	last float64 // the last frame
	jump float64 // what is left of a jump, spread over
	left int     // this many frames
	fade int
	mono [256]float64

	// Of the writer.
	drained bool
	stalled bool
}

var _ audio.Sink = (*output)(nil)

func (o *output) init(got format) {
	o.format = got
	o.samples = newRing[float64](int(ahead.Seconds() * float64(got.rate)))
	o.pulse = newPulse()
	counted.outputs.Add(1)
	o.close.done = make(chan struct{})
	o.dry, o.drained = true, true
	o.fade = int(fade.Seconds() * float64(got.rate))
}

// play fills one interleaved block of any size; missed tells that the driver had
// nothing to play before it. It does not allocate and waits for nobody.
func (o *output) play(out []float32, missed bool) {
	o.sleep.block()
	if missed {
		o.missed.Add(1)
		counted.missed.Add(1)
	}
	frames := len(out) / o.channels
	for done := 0; done < frames; {
		want := min(frames-done, len(o.mono))
		n := 0
		if !o.muted.Load() {
			n = o.samples.pop(o.mono[:want])
		}
		if n == 0 {
			n = want
			clear(o.mono[:n])
			if !o.dry {
				o.smooth(0)
			}
			o.dry = true
		} else if o.dry {
			o.smooth(o.mono[0])
			o.dry = false
		}
		for i, x := range o.mono[:n] {
			if o.left > 0 {
				x += o.jump * float64(o.left) / float64(o.fade)
				o.left--
			}
			o.last = clip(x)
			for c := range o.channels {
				out[(done+i)*o.channels+c] = float32(o.last)
			}
		}
		done += n
	}
	o.frames.Add(int64(frames))
	counted.played.Add(int64(frames))
	if int64(frames) > o.block.Load() {
		o.block.Store(int64(frames))
	}
	o.pulse.beat()
}

// smooth spreads the jump from the last frame to next over the fade, so that
// the sound goes on without a click. From silence to a sound that begins at 0,
// or from a sound that has faded to 0, there is no jump and nothing is changed.
func (o *output) smooth(next float64) {
	o.jump, o.left = o.last-clip(next), o.fade
}

// SampleRate is that of the open stream, which may not be the one asked for.
func (o *output) SampleRate() int { return o.rate }

// Latency is how long a sample takes from the buffer to the loudspeaker, as
// the driver states it.
func (o *output) Latency() time.Duration { return o.latency }

// Underruns is how often the driver has told so far that it had nothing to play.
// Not every driver tells.
func (o *output) Underruns() int64 { return o.missed.Load() }

// Write is as audio.Sink has it. It does not allocate.
func (o *output) Write(ctx context.Context, samples []float64) error {
	for {
		if err := o.err(ctx); err != nil {
			return err
		}
		n := o.samples.push(samples)
		if n > 0 {
			o.drained = false
		}
		if samples = samples[n:]; len(samples) == 0 {
			return nil
		}
		if err := o.wait(ctx); err != nil {
			return err
		}
	}
}

// Drain is as audio.Sink has it. It goes by the device's own count of frames
// and, for a device that takes its first blocks faster than it plays them, by
// the clock as well.
func (o *output) Drain(ctx context.Context) error {
	if err := o.err(ctx); err != nil || o.drained {
		return err
	}
	for o.samples.len() > 0 {
		if err := o.wait(ctx); err != nil {
			return err
		}
	}
	// The block that took the last sample may not be counted in frames yet:
	// the one block more below covers it.
	empty, since := o.frames.Load(), time.Now()
	for o.frames.Load() < empty+o.block.Load()+int64(o.latency.Seconds()*float64(o.rate)) ||
		time.Since(since) < o.latency {
		if err := o.wait(ctx); err != nil {
			return err
		}
	}
	o.drained = true
	return nil
}

// err says why nothing can be played any more.
func (o *output) err(ctx context.Context) error {
	select {
	case <-o.close.done:
		return ErrClosed
	default:
	}
	if o.sleep.slept.Load() {
		o.sleep.slept.Store(false)
		o.stalled = o.stalled || !o.drained // where nothing was played, nothing has broken off
	}
	if o.stalled {
		return audio.ErrStalled
	}
	return ctx.Err()
}

// wait waits for the next block to be played.
func (o *output) wait(ctx context.Context) error {
	err := o.pulse.wait(ctx, o.close.done)
	o.stalled = err == audio.ErrStalled
	return err
}

// Close fades out what is playing and frees the device within 2 s, even if the
// driver hangs.
func (o *output) Close() error {
	return o.close.do(func() {
		before := o.frames.Load()
		o.muted.Store(true)
		for deadline := time.Now().Add(2 * o.latency); o.frames.Load() == before && time.Now().Before(deadline); {
			time.Sleep(time.Millisecond)
		}
	})
}
