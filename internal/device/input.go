package device

import (
	"context"
	"time"

	"singback/internal/audio"
)

// input is the Source of a capture stream. record runs on the driver's thread,
// everything else on the reader's.
type input struct {
	format
	samples *ring[float64]
	gaps    *ring[gap]
	pulse   pulse
	close   closer
	pace    *pace
	sleep   sleep

	// Of the driver's thread.
	pending int64 // lost, and not yet in gaps
	mono    [256]float64

	// Of the reader.
	forget  uint64 // gaps before this position were before Skip
	stalled bool
}

// gap tells that lost samples are missing before position at of the ring. It
// is pushed before the samples that follow it.
type gap struct {
	at   uint64
	lost int64
}

var _ audio.Source = (*input)(nil)

func (in *input) init(got format) {
	in.format = got
	in.samples = newRing[float64](int(buffered.Seconds() * float64(got.rate)))
	in.gaps = newRing[gap](64)
	in.pulse = newPulse()
	in.close.done = make(chan struct{})
	in.pace = &pace{rate: got.rate}
	counted.inputs.Add(1)
	counted.last.Store(in.pace)
}

// record takes one block from the driver: interleaved, any number of frames.
// It does not allocate and waits for nobody. What does not fit is lost, and
// counted. How many samples a driver dropped it does not say: one block's
// worth is counted. What it filled in is no sound, so it counts as lost too.
func (in *input) record(block []float32, missed, filled bool) {
	frames := len(block) / in.channels
	dropped := int64(0)
	if missed {
		dropped = int64(max(frames, 1))
		in.pending += dropped
	}
	counted.captured.Add(int64(frames))
	in.pace.block(dropped + int64(frames))
	in.sleep.block()
	switch {
	case filled:
		in.pending += int64(frames)
		dropped += int64(frames)
	case frames > 0:
		in.store(block, frames)
		in.pulse.beat() // for sound only: a device that never has any is stalled
	}
	if dropped > 0 {
		counted.dropped.Add(dropped)
	}
}

func (in *input) store(block []float32, frames int) {
	if in.pending > 0 {
		full := in.samples.len() == len(in.samples.buf)
		if full || in.gaps.push([]gap{{in.samples.head.Load(), in.pending}}) == 0 {
			in.unread(int64(frames))
			return
		}
		in.pending = 0
	}
	for done := 0; done < frames; {
		n := min(frames-done, len(in.mono))
		mix(in.mono[:n], block[done*in.channels:], in.channels)
		done += n
		if k := in.samples.push(in.mono[:n]); k < n {
			in.unread(int64(frames - done + n - k))
			return
		}
	}
}

// unread counts samples that find no room, before whatever is stored next.
func (in *input) unread(samples int64) {
	in.pending += samples
	counted.unread.Add(samples)
}

// mix writes the mean of the channels of len(dst) interleaved frames to dst.
// What is not a number in [-1, 1] becomes one.
func mix(dst []float64, src []float32, channels int) {
	for i := range dst {
		var sum float64
		for _, x := range src[i*channels : (i+1)*channels] {
			sum += float64(x)
		}
		dst[i] = clip(sum / float64(channels))
	}
}

// clip limits x to [-1, 1]; NaN is 0.
func clip(x float64) float64 {
	if x != x {
		return 0
	}
	return max(-1, min(1, x))
}

// SampleRate is that of the open stream, which may not be the one asked for.
func (in *input) SampleRate() int { return in.rate }

// Latency is how old a sample is when it can be read, as the driver states it.
func (in *input) Latency() time.Duration { return in.latency }

// Read is as audio.Source has it. It does not allocate.
func (in *input) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	if in.stalled {
		return 0, 0, audio.ErrStalled
	}
	for {
		select {
		case <-in.close.done:
			return 0, 0, ErrClosed
		default:
		}
		if err := ctx.Err(); err != nil {
			return 0, 0, err
		}
		if in.sleep.slept.Load() {
			in.stalled = true
			return 0, 0, audio.ErrStalled
		}
		if n, lost := in.take(dst); n > 0 || len(dst) == 0 {
			return n, lost, nil
		}
		if err := in.pulse.wait(ctx, in.close.done); err != nil {
			in.stalled = err == audio.ErrStalled
			return 0, 0, err
		}
	}
}

// take pops the samples up to the next gap, and the gap right before them.
func (in *input) take(dst []float64) (n int, lost int64) {
	tail := in.samples.tail.Load()
	n = min(len(dst), int(in.samples.head.Load()-tail)) // before gaps: see gap
	if n == 0 {
		return 0, 0
	}
	for {
		g, ok := in.gaps.peek()
		switch {
		case !ok:
		case g.at > tail:
			n = min(n, int(g.at-tail))
		default:
			if g.at >= in.forget {
				lost += g.lost
			}
			in.gaps.drop(in.gaps.tail.Load() + 1)
			continue
		}
		return in.samples.pop(dst[:n]), lost
	}
}

// Skip forgets every sample captured so far, and every loss among them or right
// after them: what Read gives next begins a new stretch. It returns how many
// samples that were, as far as known. What is still on its way through the
// driver (see Latency) is not skipped.
func (in *input) Skip() (skipped int64) {
	in.sleep.slept.Store(false)
	tail, head := in.samples.tail.Load(), in.samples.head.Load()
	skipped = int64(head - tail)
	in.samples.drop(head)
	in.forget = head + 1
	for {
		g, ok := in.gaps.peek()
		if !ok || g.at > head {
			return skipped
		}
		skipped += g.lost
		in.gaps.drop(in.gaps.tail.Load() + 1)
	}
}

// Close frees the device within 2 s, even if the driver hangs.
func (in *input) Close() error { return in.close.do(func() {}) }
