package engine

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
)

// ramp is so many samples that tell where they were, from a frame on.
func ramp(at, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64((at+i)%1000) / 1024 // exact in float32
	}
	return x
}

// readAll reads what is there, with what was lost before each part.
func readAll(t *testing.T, m *Mic, block int) (x []float64, lost []int64) {
	t.Helper()
	dst := make([]float64, block)
	for m.head > m.tail {
		n, l, err := m.Read(t.Context(), dst)
		if err != nil {
			t.Fatal(err)
		}
		if l > 0 {
			lost = append(lost, int64(len(x)), l)
		}
		x = append(x, dst[:n]...)
	}
	return x, lost
}

// Samples come out as they went in, however they are cut, and what is missing is told
// where it is missing.
func TestMicCountsWhatIsLost(t *testing.T) {
	for _, block := range []int{1, 100, 256, 5000} {
		m := NewMic(8000)
		m.Push(700, floats(ramp(0, 1024)))
		m.Push(1724, floats(ramp(1024, 1024)))
		m.Push(3000, floats(ramp(2300, 500))) // 252 frames after the last
		m.Lost(48)
		m.Push(3500, floats(ramp(2848, 100)))
		x, lost := readAll(t, m, block)
		want := slices.Concat(ramp(0, 2048), ramp(2300, 500), ramp(2848, 100))
		if !slices.Equal(x, want) || !slices.Equal(lost, []int64{2048, 252, 2548, 48}) {
			t.Errorf("blocks of %d: %d samples, lost %v", block, len(x), lost)
		}
	}
}

// What finds no room is lost, and counted; what a browser sends is made sound.
func TestMicOverflowAndNonsense(t *testing.T) {
	m := NewMic(8000)
	room := micSeconds * 8000
	for at := 0; at < room+3000; at += 1000 {
		m.Push(int64(at), floats(ramp(at, 1000)))
	}
	x, lost := readAll(t, m, 999)
	if len(x) != room || len(lost) > 0 {
		t.Errorf("%d samples, lost %v", len(x), lost)
	}
	m.Push(int64(room+3000), []byte{0, 0, 192, 127, 0, 0, 128, 127, 0, 0, 128, 255, 1}) // NaN, +Inf, -Inf, and a byte more
	if x, lost = readAll(t, m, 10); !slices.Equal(x, []float64{0, 1, -1}) || !slices.Equal(lost, []int64{0, 3000}) {
		t.Errorf("%v, lost %v", x, lost)
	}
}

// Skip forgets what waits, with its gaps.
func TestMicSkip(t *testing.T) {
	m := NewMic(8000)
	m.Push(0, floats(ramp(0, 100)))
	m.Push(200, floats(ramp(0, 100)))
	m.Lost(5)
	if n := m.Skip(); n != 200 {
		t.Errorf("skipped %d", n)
	}
	m.Push(300, floats(ramp(7, 10)))
	if x, lost := readAll(t, m, 64); !slices.Equal(x, ramp(7, 10)) || len(lost) > 0 {
		t.Errorf("%v, lost %v", x, lost)
	}
}

// Nothing is allocated on the way of the sound.
func TestMicDoesNotAllocate(t *testing.T) {
	m := NewMic(48000)
	block, dst, at := floats(ramp(0, 1024)), make([]float64, 256), int64(0)
	n := testing.AllocsPerRun(200, func() {
		m.Push(at, block)
		at += 1024 + at%2
		for range 4 {
			if _, _, err := m.Read(t.Context(), dst); err != nil {
				t.Fatal(err)
			}
		}
	})
	if n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// A microphone that gives nothing has stalled after two seconds, one that is closed at
// once; both stay so.
func TestMicStalls(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, dst := NewMic(8000), make([]float64, 10)
		go func() {
			time.Sleep(stallSeconds*time.Second - time.Millisecond)
			m.Push(0, floats(ramp(0, 10)))
		}()
		if n, _, err := m.Read(t.Context(), dst); n != 10 || err != nil {
			t.Fatalf("%d samples, %v", n, err)
		}
		begun := time.Now()
		if _, _, err := m.Read(t.Context(), dst); !errors.Is(err, audio.ErrStalled) || time.Since(begun) != stallSeconds*time.Second {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		if _, _, err := m.Read(t.Context(), dst); !errors.Is(err, audio.ErrStalled) {
			t.Errorf("again: %v", err)
		}
		m = NewMic(8000)
		go func() {
			time.Sleep(time.Second)
			m.Close()
		}()
		if _, _, err := m.Read(t.Context(), dst); !errors.Is(err, audio.ErrStalled) {
			t.Errorf("closed: %v", err)
		}
		ctx, stop := context.WithTimeout(t.Context(), time.Second)
		defer stop()
		if _, _, err := NewMic(8000).Read(ctx, dst); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("ended: %v", err)
		}
	})
}

// browserPort is the way to a loudspeaker that plays in the time of the test.
type browserPort struct {
	rate    int
	speaker *Speaker
	until   time.Time // what was handed over lasts until then
	samples int
	stopped int
}

func (p *browserPort) Sound(block []byte) {
	if now := time.Now(); p.until.Before(now) {
		p.until = now
	}
	p.samples += len(block) / 4
	p.until = p.until.Add(time.Duration(len(block)/4) * time.Second / time.Duration(p.rate))
}

func (p *browserPort) Tell(drain int) {
	wait := time.Until(p.until)
	go func() {
		time.Sleep(wait)
		p.speaker.Played(drain)
	}()
}

func (p *browserPort) Stop() { p.stopped++; p.until = time.Now() }

// Drain returns when the sound has been heard: played, and through the air.
func TestSpeakerDrains(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &browserPort{rate: 8000}
		s := NewSpeaker(8000, p)
		p.speaker = s
		s.SetLatency(50 * time.Millisecond)
		begun := time.Now()
		for range 2 {
			if err := s.Write(t.Context(), make([]float64, 16000)); err != nil {
				t.Fatal(err)
			}
		}
		if took := time.Since(begun); took > 4*time.Second || took < 3*time.Second {
			t.Errorf("two seconds twice were written after %v", took)
		}
		if err := s.Drain(t.Context()); err != nil || time.Since(begun) != 4050*time.Millisecond || p.samples != 32000 {
			t.Errorf("heard after %v: %v, %d samples", time.Since(begun), err, p.samples)
		}
	})
}

// Whoever ends a drill hears nothing more of it.
func TestSpeakerStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &browserPort{rate: 8000}
		s := NewSpeaker(8000, p)
		p.speaker = s
		ctx, stop := context.WithCancel(t.Context())
		go func() {
			time.Sleep(time.Second)
			stop()
		}()
		begun := time.Now()
		if err := s.Write(ctx, make([]float64, 80000)); !errors.Is(err, context.Canceled) || time.Since(begun) != time.Second || p.stopped != 1 {
			t.Errorf("%v after %v, stopped %d times", err, time.Since(begun), p.stopped)
		}
		if err := s.Write(ctx, make([]float64, 10)); !errors.Is(err, context.Canceled) {
			t.Errorf("afterwards: %v", err)
		}
		go func() {
			time.Sleep(time.Second)
			s.Close()
		}()
		p.until = time.Now().Add(time.Hour)
		if err := s.Drain(t.Context()); !errors.Is(err, audio.ErrStalled) {
			t.Errorf("closed: %v", err)
		}
		synctest.Wait()
		time.Sleep(2 * time.Hour) // the port's own waiting ends
	})
}
