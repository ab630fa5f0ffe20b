package device

import (
	"context"
	"math"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
)

func contains(s, part string) bool { return strings.Contains(s, part) }

// sine is a tone of 440 Hz at 48 kHz from its zero, at half of full scale.
func sine(n int) []float64 {
	s := make([]float64, n)
	for i := range s {
		s[i] = 0.5 * math.Sin(2*math.Pi*440*float64(i)/48000)
	}
	return s
}

// played calls play for n frames in blocks of size and returns the left
// channel, having checked that the right one is the same.
func played(t *testing.T, f *fake, n, size int) []float64 {
	t.Helper()
	var left []float64
	for len(left) < n {
		out := make([]float32, 2*min(size, n-len(left)))
		for i := range out {
			out[i] = float32(math.NaN()) // must all be written
		}
		f.play(out)
		for i := 0; i < len(out); i += 2 {
			if out[i] != out[i+1] {
				t.Fatalf("frame %d: left %v, right %v", len(left), out[i], out[i+1])
			}
			left = append(left, float64(out[i]))
		}
	}
	return left
}

// worstStep is the largest difference between two samples in a row.
func worstStep(s []float64) float64 {
	worst := 0.0
	for i := 1; i < len(s); i++ {
		worst = max(worst, math.Abs(s[i]-s[i-1]))
	}
	return worst
}

func TestOutputPlaysInBlocksOfAnySize(t *testing.T) {
	tone := sine(10_000)
	for _, size := range []int{1, 6, 257, 417, 4096} {
		f, h := newFake()
		out := openFakeOutput(t, f, h)
		if err := out.Write(t.Context(), tone); err != nil {
			t.Fatal(err)
		}
		got := played(t, f, len(tone), size)
		for i, want := range tone {
			if got[i] != float64(float32(want)) {
				t.Fatalf("blocks of %d: sample %d = %v, want %v: unchanged", size, i, got[i], want)
			}
		}
	}
}

func TestOutputClips(t *testing.T) {
	f, h := newFake()
	out := openFakeOutput(t, f, h)
	if err := out.Write(t.Context(), []float64{0, 2, -3, math.Inf(1), math.NaN()}); err != nil {
		t.Fatal(err)
	}
	got := played(t, f, 5, 5)
	for i, want := range []float64{0, 1, -1, 1, 0} {
		if got[i] != want {
			t.Errorf("sample %d played as %v, want %v", i, got[i], want)
		}
	}
}

// The largest step of the tone itself is 0.5·2π·440/48000 = 0.0288 a sample; a
// fade over 5 ms (240 samples) of a jump of at most 1 adds 1/240.
func TestOutputRunsDryAndComesBackWithoutAClick(t *testing.T) {
	const limit = 0.5*2*math.Pi*440/48000 + 1.0/240 + 1e-6
	tone := sine(48000)
	for cut := 1000; cut < 1110; cut += 7 { // through one period of 109 samples
		f, h := newFake()
		out := openFakeOutput(t, f, h)
		if err := out.Write(t.Context(), tone[:cut]); err != nil {
			t.Fatal(err)
		}
		got := played(t, f, 3000, 417)
		if err := out.Write(t.Context(), tone[cut:cut+2000]); err != nil {
			t.Fatal(err)
		}
		got = append(got, played(t, f, 4000, 417)...)
		if step := worstStep(got); step > limit {
			t.Errorf("dry after %d samples: worst step %.4f, want at most %.4f", cut, step, limit)
		}
		for i, x := range got[cut+240 : 3000] {
			if x != 0 {
				t.Fatalf("dry after %d samples: %v at %d samples into the silence", cut, x, 240+i)
			}
		}
	}
}

func TestWriteWaitsForRoomAndDrainForTheLastSample(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		out := openFakeOutput(t, f, h)
		tone := sine(48000)
		tone[len(tone)-1] = 0 // ends at 0: no fade follows
		ctx, stop := context.WithCancel(t.Context())
		var heard []float64 // with the time each block was asked for
		var last time.Time  // when the last sample not 0 was taken
		var wg sync.WaitGroup
		wg.Go(func() {
			block := make([]float32, 2*480)
			for tick := time.NewTicker(10 * time.Millisecond); ; {
				select {
				case <-tick.C:
				case <-ctx.Done():
					return
				}
				f.play(block)
				for i := 0; i < len(block); i += 2 {
					heard = append(heard, float64(block[i]))
					if block[i] != 0 {
						last = time.Now()
					}
				}
			}
		})
		start := time.Now()
		if err := out.Write(t.Context(), tone); err != nil {
			t.Fatal(err)
		}
		// 48000 samples less the 16384 that the ring holds.
		if took := time.Since(start); took < 600*time.Millisecond || took > 700*time.Millisecond {
			t.Errorf("Write of 1 s took %v, want it to wait until the rest fits, 0.66 s", took)
		}
		if err := out.Drain(t.Context()); err != nil {
			t.Fatal(err)
		}
		// The latency, and a block of 10 ms.
		if after := time.Since(last); after < playbackLatency+10*time.Millisecond || after > playbackLatency+30*time.Millisecond {
			t.Errorf("Drain returned %v after the last sample was taken, want latency and block, 110 ms", after)
		}
		start = time.Now()
		if err := out.Drain(t.Context()); err != nil || time.Since(start) != 0 {
			t.Errorf("Drain with nothing written = %v after %v, want at once", err, time.Since(start))
		}
		stop()
		wg.Wait()
		for i, want := range tone {
			if heard[i] != float64(float32(want)) {
				t.Fatalf("sample %d = %v, want %v", i, heard[i], want)
			}
		}
		out.Close()
	})
}

// A server's first blocks may be taken all at once to fill its own buffer.
func TestDrainOfADeviceThatFillsItsBufferAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		out := openFakeOutput(t, f, h)
		if err := out.Write(t.Context(), sine(100)); err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		var wg sync.WaitGroup
		defer wg.Wait()
		wg.Go(func() {
			time.Sleep(10 * time.Millisecond)
			for range 20 {
				f.play(make([]float32, 2*480))
			}
			for range 20 {
				time.Sleep(10 * time.Millisecond)
				f.play(make([]float32, 2*480))
			}
		})
		if err := out.Drain(t.Context()); err != nil || time.Since(start) < 10*time.Millisecond+playbackLatency {
			t.Errorf("Drain = %v after %v, want the latency of %v from the first block at 10 ms", err, time.Since(start), playbackLatency)
		}
	})
}

func TestOutputWatchdogAndCancel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		out := openFakeOutput(t, f, h)
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		if err := out.Write(ctx, make([]float64, 1<<16)); err != context.Canceled {
			t.Errorf("Write = %v, want context.Canceled", err)
		}
		start := time.Now()
		if err := out.Drain(t.Context()); err != audio.ErrStalled || time.Since(start) != firstAfter-time.Second {
			t.Errorf("no first block: Drain = %v after %v, want ErrStalled 3 s after opening", err, time.Since(start))
		}
		out = openFakeOutput(t, f, h)
		time.AfterFunc(time.Second, func() { f.play(make([]float32, 2*480)) })
		start = time.Now()
		if err := out.Write(t.Context(), make([]float64, 1<<16)); err != audio.ErrStalled || time.Since(start) != time.Second+stallAfter {
			t.Errorf("unplugged after 1 s: Write = %v after %v, want ErrStalled %v later", err, time.Since(start), stallAfter)
		}
		if err := out.Write(t.Context(), make([]float64, 1)); err != audio.ErrStalled {
			t.Errorf("unplugged: Write = %v, want ErrStalled again", err)
		}
		if err := out.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
		if err := out.Close(); err != nil || f.stopped != 1 {
			t.Errorf("second Close = %v, device stopped %d times, want once", err, f.stopped)
		}
		if err := out.Write(t.Context(), make([]float64, 1)); err != ErrClosed {
			t.Errorf("Write after Close = %v, want ErrClosed", err)
		}
	})
}

func TestCloseFadesOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		out := openFakeOutput(t, f, h)
		if err := out.Write(t.Context(), sine(10_000)); err != nil {
			t.Fatal(err)
		}
		got := played(t, f, 1030, 1030) // near a peak
		var wg sync.WaitGroup
		wg.Go(func() { out.Close() })
		time.Sleep(5 * time.Millisecond)
		if f.stopped != 0 {
			t.Error("stopped before the fade was played")
		}
		got = append(got, played(t, f, 480, 480)...)
		wg.Wait()
		if step := worstStep(got); step > 0.5*2*math.Pi*440/48000+1e-6 || got[len(got)-1] != 0 {
			t.Errorf("worst step %.4f, last sample %v, want a fade to 0", step, got[len(got)-1])
		}
		if f.stopped != 1 {
			t.Errorf("device stopped %d times, want once", f.stopped)
		}
	})
}

func TestOutputDoesNotAllocate(t *testing.T) {
	f, h := newFake()
	out := openFakeOutput(t, f, h)
	tone := sine(417)
	block := make([]float32, 2*417)
	if got := testing.AllocsPerRun(1000, func() {
		if err := out.Write(context.Background(), tone); err != nil {
			t.Fatal(err)
		}
		f.play(block)
		f.play(block) // dry
	}); got != 0 {
		t.Errorf("Write and play allocate %v times", got)
	}
}

// What the driver says of being left without sound is counted.
func TestUnderruns(t *testing.T) {
	f, h := newFake()
	out := openFakeOutput(t, f, h)
	defer out.Close()
	block := make([]float32, 2*480)
	f.play(block)
	if n := out.Underruns(); n != 0 {
		t.Errorf("%d underruns before the driver told of any", n)
	}
	f.late(block)
	f.play(block)
	f.late(block)
	if n := out.Underruns(); n != 2 {
		t.Errorf("%d underruns, want the 2 that the driver told of", n)
	}
	if n := testing.AllocsPerRun(100, func() { f.late(block) }); n != 0 {
		t.Errorf("a late block allocates %v times", n)
	}
}
