package device

import (
	"sync/atomic"
	"time"
)

// Count is what the streams of this program have carried since it began, and the clock
// of the microphone beside that of the computer. It tells who watches a long run
// whether sound is missing and whether the two clocks part.
type Count struct {
	Inputs, Outputs int64 // streams that were opened

	Captured int64 // samples of one channel that came from drivers
	Dropped  int64 // samples that drivers lost, as far as they say so, or made up
	Unread   int64 // samples that found no room, as while the program plays and listens to nothing
	Played   int64 // frames that went to drivers, silence included
	Missed   int64 // blocks that came too late for a driver

	// Of the capture stream that was opened last: how many samples came after its
	// first block, lost ones included, how long that took by the computer's
	// monotonic clock, and its rate in hertz.
	Samples int64
	Took    time.Duration
	Rate    int
}

// Drift is how far, in seconds, the microphone's count of samples is ahead of the
// computer's clock since the stream began; behind where it is negative. A block or two
// of it, some 10 ms each, is the time they wait in the driver.
func (c Count) Drift() float64 {
	if c.Rate == 0 {
		return 0
	}
	return float64(c.Samples)/float64(c.Rate) - c.Took.Seconds()
}

// counted is Count while drivers add to it.
var counted struct {
	inputs, outputs, captured, dropped, unread, played, missed atomic.Int64

	last atomic.Pointer[pace] // of the capture stream that was opened last
}

// Counted returns the counts so far. It may be called at any time by anybody.
func Counted() Count {
	c := Count{
		Inputs: counted.inputs.Load(), Outputs: counted.outputs.Load(),
		Captured: counted.captured.Load(), Dropped: counted.dropped.Load(), Unread: counted.unread.Load(),
		Played: counted.played.Load(), Missed: counted.missed.Load(),
	}
	if p := counted.last.Load(); p != nil {
		c.Samples, c.Took, c.Rate = p.samples.Load(), time.Duration(p.took.Load()), p.rate
	}
	return c
}

// pace is the clock of one capture stream beside the computer's. The driver's thread
// writes it.
type pace struct {
	rate    int
	first   time.Time // of the end of the first block
	samples atomic.Int64
	took    atomic.Int64 // nanoseconds
}

// block takes in that so many samples have come now, or were lost.
func (p *pace) block(samples int64) {
	if p.first.IsZero() {
		p.first = time.Now()
		return
	}
	p.samples.Add(samples)
	p.took.Store(int64(time.Since(p.first)))
}
