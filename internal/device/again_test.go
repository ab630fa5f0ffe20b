package device

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
)

// A program that was stopped, or a computer that slept, in the middle of a listening
// window or of a sound: what comes after it is not heard as the rest of the answer.
func TestSleepEndsAWindowAndASound(t *testing.T) {
	for _, c := range []struct {
		gap  time.Duration
		want error
	}{{1900 * time.Millisecond, nil}, {2 * time.Second, audio.ErrStalled}, {time.Hour, audio.ErrStalled}} {
		synctest.Test(t, func(t *testing.T) {
			f, h := newFake()
			in := openFakeInput(t, f, h, "front", 48000)
			f.record(make([]float32, 64), false, false)
			time.Sleep(c.gap)
			f.record(make([]float32, 64), false, false) // the driver's thread comes first
			dst := make([]float64, 64)
			_, _, err := in.Read(t.Context(), dst)
			if _, _, again := in.Read(t.Context(), dst); err != c.want || again != c.want {
				t.Errorf("nothing for %v in a window: Read = %v, and %v, want %v", c.gap, err, again, c.want)
			}
			// Outside of a window nothing has broken off.
			in = openFakeInput(t, f, h, "front", 48000)
			f.record(make([]float32, 64), false, false)
			time.Sleep(c.gap)
			f.record(make([]float32, 64), false, false)
			in.Skip()
			f.record(make([]float32, 64), false, false)
			if n, _, err := in.Read(t.Context(), dst); n != 64 || err != nil {
				t.Errorf("nothing for %v before a window: Read = %d, %v", c.gap, n, err)
			}

			out := openFakeOutput(t, f, h)
			block := make([]float32, 128)
			if err := out.Write(t.Context(), make([]float64, 4800)); err != nil {
				t.Fatal(err)
			}
			f.play(block)
			time.Sleep(c.gap)
			f.play(block)
			if err := out.Write(t.Context(), make([]float64, 64)); err != c.want {
				t.Errorf("nothing for %v in a sound: Write = %v, want %v", c.gap, err, c.want)
			}
			out = openFakeOutput(t, f, h)
			f.play(block)
			time.Sleep(c.gap)
			f.play(block)
			if err := out.Drain(t.Context()); err != nil {
				t.Errorf("nothing for %v while nothing was played: Drain = %v", c.gap, err)
			}
			if err := out.Write(t.Context(), make([]float64, 64)); err != nil {
				t.Errorf("nothing for %v while nothing was played: Write = %v", c.gap, err)
			}
		})
	}
}

// Where the clock stands still while the computer sleeps, the date does not; a server of
// time may put the date right, to either side.
func TestAsleep(t *testing.T) {
	for _, c := range []struct {
		clock, date time.Duration
		want        bool
	}{
		{10 * time.Millisecond, 10 * time.Millisecond, false},
		{10 * time.Millisecond, 8 * time.Hour, true},
		{10 * time.Millisecond, 5 * time.Second, false},
		{10 * time.Millisecond, -2 * time.Hour, false},
		{time.Minute, time.Minute, true},
		{time.Minute, -time.Hour, true},
	} {
		if got := asleep(c.clock, c.date); got != c.want {
			t.Errorf("nothing for %v by the clock, %v by the date: asleep %v, want %v", c.clock, c.date, got, c.want)
		}
	}
}

// A Source and a Sink are the same before and after a device has come back, whatever rate
// it has then, and all that the driver had open is closed before anything is opened.
func TestStreamsAreOpenedAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		s := Streams{host: h}
		in, err := s.Input(t.Context(), "", 48000)
		if err != nil {
			t.Fatal(err)
		}
		out, err := s.Output(t.Context(), "", 48000)
		if err != nil {
			t.Fatal(err)
		}
		dst := make([]float64, 64)
		f.record(make([]float32, 2*64), false, false)
		if n, _, err := in.Read(t.Context(), dst); n != 64 || err != nil {
			t.Fatalf("Read = %d, %v", n, err)
		}
		if _, _, err := in.Read(t.Context(), dst); err != audio.ErrStalled {
			t.Fatalf("Read of a dead device: %v", err)
		}
		f.openErr = errors.New("nobody there")
		if err := s.Reopen(t.Context()); !errors.Is(err, f.openErr) || f.stopped != 2 {
			t.Errorf("Reopen without a device: %v, %d streams stopped, want the driver's error, and 2", err, f.stopped)
		}
		if _, _, err := in.Read(t.Context(), dst); err == nil {
			t.Error("Read after that: no error")
		}
		if err := out.Write(t.Context(), dst); err != ErrClosed {
			t.Errorf("Write after that: %v, want ErrClosed", err)
		}
		f.openErr, f.refuse = nil, true
		if err := s.Reopen(t.Context()); !errors.Is(err, audio.ErrStalled) {
			t.Errorf("Reopen of a device that carries no sound: %v", err)
		}
		f.runs = true
		if err := s.Reopen(t.Context()); err != nil {
			t.Fatal(err)
		}
		if in.SampleRate() != 44100 || out.SampleRate() != 44100 {
			t.Errorf("rates %d and %d, want those of the device that came", in.SampleRate(), out.SampleRate())
		}
		if n, lost, err := in.Read(t.Context(), dst); n == 0 || lost != 0 || err != nil {
			t.Errorf("Read of what came back = %d, %d, %v", n, lost, err)
		}
		if _, ok := in.(audio.Skipper); !ok {
			t.Error("what was captured before cannot be skipped")
		}
		if err := out.Write(t.Context(), dst); err != nil {
			t.Errorf("Write to what came back: %v", err)
		}
		in.Close()
		out.Close()
		if f.stopped != 6 {
			t.Errorf("%d streams stopped in the end, want 6", f.stopped)
		}
		if _, err := new(Streams).Input(context.Background(), "", -1); err == nil {
			t.Error("a rate of -1 was accepted")
		}
	})
}

// The counts tell what came, what was lost and how the clocks part.
func TestCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		before := Counted()
		openFakeInput(t, f, h, "front", 48000)
		out := openFakeOutput(t, f, h)
		for range 100 { // the device is slower than it says by one part in 1000
			time.Sleep(10 * time.Millisecond)
			f.record(make([]float32, 480), false, false)
		}
		time.Sleep(10*time.Millisecond + time.Millisecond)
		f.record(make([]float32, 480), true, false)
		f.record(make([]float32, 100), false, true)
		f.late(make([]float32, 960))
		got := Counted()
		if n := got.Captured - before.Captured; n != 101*480+100 {
			t.Errorf("%d samples captured", n)
		}
		if n := got.Dropped - before.Dropped; n != 580 {
			t.Errorf("%d samples dropped, want 580", n)
		}
		if got.Played-before.Played != 480 || got.Missed-before.Missed != 1 || got.Inputs-before.Inputs != 1 || got.Outputs-before.Outputs != 1 {
			t.Errorf("%+v, before %+v", got, before)
		}
		// 99 blocks and 580 + 480 samples after the first, in 1.001 s.
		if want := float64(99*480+960+100)/48000 - 1.001; math.Abs(got.Drift()-want) > 1e-9 {
			t.Errorf("drift %g s, want %g", got.Drift(), want)
		}
		out.Close()
	})
}
