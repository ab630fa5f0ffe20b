package engine

import (
	"context"
	"encoding/binary"
	"math"
	"sync"
	"time"

	"singback/internal/audio"
)

// How many seconds of sound a Mic keeps for the drill, which may be busy for a while,
// and after how many without any sound it has stalled.
const (
	micSeconds   = 30
	micGaps      = 256
	stallSeconds = 2
)

// Mic is the microphone of a page: an [audio.Source] that the browser pushes blocks
// into. What the browser has lost, and what finds no room, is counted, and told by the
// next Read. Push may be called from another goroutine than Read.
type Mic struct {
	rate    int
	arrived chan struct{} // of size 1: something has changed

	mu         sync.Mutex
	ring       []float64
	head, tail uint64 // samples pushed and read; head - tail of them wait in ring
	gaps       []micGap
	pending    int64 // lost, before what is pushed next
	begun      bool
	next       int64 // frame that the next block should begin with
	closed     bool
	stalled    bool
}

// micGap tells that lost samples are missing before the sample at.
type micGap struct {
	at   uint64
	lost int64
}

var (
	_ audio.Source  = (*Mic)(nil)
	_ audio.Skipper = (*Mic)(nil)
)

// NewMic returns a microphone of so many samples a second, within audio's limits.
func NewMic(rate int) *Mic {
	return &Mic{
		rate: rate, arrived: make(chan struct{}, 1),
		ring: make([]float64, micSeconds*rate), gaps: make([]micGap, 0, micGaps),
	}
}

// SampleRate is that of the browser's audio context.
func (m *Mic) SampleRate() int { return m.rate }

// Push takes a block of mono samples, as float32 in little-endian bytes, whose first
// one is frame at of the audio context. Frames between the last block and this one are
// lost. It keeps no reference to the bytes, and does not allocate.
func (m *Mic) Push(at int64, block []byte) {
	m.mu.Lock()
	if m.begun && at > m.next {
		m.pending += at - m.next
	}
	n := len(block) / 4
	m.begun, m.next = true, at+int64(n)
	room := len(m.ring) - int(m.head-m.tail)
	if m.pending > 0 && room > 0 {
		m.gap()
	}
	k := min(n, room)
	i := int(m.head % uint64(len(m.ring)))
	for j := range k {
		m.ring[i] = sampleOf(block[4*j:])
		if i++; i == len(m.ring) {
			i = 0
		}
	}
	m.head += uint64(k)
	if k < n {
		m.pending += int64(n - k)
	}
	m.mu.Unlock()
	m.tell()
}

// Lost tells that the browser has lost so many samples, before what it pushes next.
func (m *Mic) Lost(samples int64) {
	if samples <= 0 {
		return
	}
	m.mu.Lock()
	m.pending += samples
	m.mu.Unlock()
}

// gap notes what is pending before the next sample.
func (m *Mic) gap() {
	if k := len(m.gaps); k == cap(m.gaps) || k > 0 && m.gaps[k-1].at == m.head {
		m.gaps[k-1].lost += m.pending
	} else {
		m.gaps = append(m.gaps, micGap{m.head, m.pending})
	}
	m.pending = 0
}

// sampleOf reads a sample, within [-1, 1]; what is no number is 0.
func sampleOf(b []byte) float64 {
	x := float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	if x != x {
		return 0
	}
	return max(-1, min(1, x))
}

func (m *Mic) tell() {
	select {
	case m.arrived <- struct{}{}:
	default:
	}
}

// Read is as audio.Source has it. While sound is there it does not allocate.
func (m *Mic) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	var late *time.Timer
	for {
		if err := ctx.Err(); err != nil {
			return 0, 0, err
		}
		m.mu.Lock()
		if m.closed || m.stalled {
			m.mu.Unlock()
			return 0, 0, audio.ErrStalled
		}
		n, lost = m.take(dst)
		m.mu.Unlock()
		if n > 0 || lost > 0 || len(dst) == 0 {
			if late != nil {
				late.Stop()
			}
			return n, lost, nil
		}
		if late == nil {
			late = time.NewTimer(stallSeconds * time.Second)
		}
		select {
		case <-m.arrived:
		case <-ctx.Done():
			late.Stop()
			return 0, 0, ctx.Err()
		case <-late.C:
			m.mu.Lock()
			m.stalled = m.head == m.tail
			m.mu.Unlock()
		}
	}
}

// take reads up to the next gap, and the gap right before what it reads.
func (m *Mic) take(dst []float64) (n int, lost int64) {
	n = int(min(uint64(len(dst)), m.head-m.tail))
	if n == 0 {
		return 0, 0
	}
	for len(m.gaps) > 0 && m.gaps[0].at <= m.tail {
		lost += m.gaps[0].lost
		m.gaps = append(m.gaps[:0], m.gaps[1:]...)
	}
	if len(m.gaps) > 0 {
		n = int(min(uint64(n), m.gaps[0].at-m.tail))
	}
	i := int(m.tail % uint64(len(m.ring)))
	for j := range n {
		dst[j] = m.ring[i]
		if i++; i == len(m.ring) {
			i = 0
		}
	}
	m.tail += uint64(n)
	return n, lost
}

// Skip forgets what waits, and what was lost of it.
func (m *Mic) Skip() (skipped int64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	skipped = int64(m.head - m.tail)
	m.tail, m.gaps, m.pending = m.head, m.gaps[:0], 0
	return skipped
}

// Close ends it: nothing more will come.
func (m *Mic) Close() error {
	m.mu.Lock()
	m.closed = true
	m.mu.Unlock()
	m.tell()
	return nil
}
