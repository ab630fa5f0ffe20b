package device

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
)

// readAll reads n samples, and fails on a loss.
func readAll(t *testing.T, in *input, n int) []float64 {
	t.Helper()
	all := make([]float64, 0, n)
	dst := make([]float64, 301)
	for len(all) < n {
		k, lost, err := in.Read(t.Context(), dst[:min(len(dst), n-len(all))])
		if err != nil || lost != 0 {
			t.Fatalf("Read after %d of %d samples: %d, lost %d, %v", len(all), n, k, lost, err)
		}
		all = append(all, dst[:k]...)
	}
	return all
}

// PortAudio with an unspecified block size gave blocks of 6 to 417 frames.
func TestInputTakesBlocksOfAnySize(t *testing.T) {
	for _, size := range []int{1, 6, 256, 257, 417, 4096} {
		f, h := newFake()
		in := openFakeInput(t, f, h, "front", 48000)
		at := 0
		for at < 20_000 {
			f.record(numbered(at, size, 1), false, false)
			at += size
		}
		for i, got := range readAll(t, in, at) {
			if got != number(i) {
				t.Fatalf("blocks of %d: sample %d = %v, want %v", size, i, got, number(i))
			}
		}
	}
}

func TestInputMixesTheFirstTwoChannels(t *testing.T) {
	f, h := newFake()
	in := openFakeInput(t, f, h, "", 48000)
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	f.record([]float32{0.5, 0.25, -1, 1, 3, 1, nan, 0, inf, 0, -inf, 0}, false, false)
	got := readAll(t, in, 6)
	for i, want := range []float64{0.375, 0, 1, 0, 1, -1} {
		if got[i] != want {
			t.Errorf("frame %d mixed to %v, want %v", i, got[i], want)
		}
	}
}

func TestInputReportsEveryLostSampleBeforeTheNext(t *testing.T) {
	f, h := newFake()
	in := openFakeInput(t, f, h, "front", 48000)
	room := len(in.samples.buf)
	if room < 2*48000 {
		t.Fatalf("the ring holds %d samples, want 2 s", room)
	}
	// 1000 samples more than fit, in one block that straddles the end.
	f.record(numbered(0, room-100, 1), false, false)
	f.record(numbered(room-100, 600, 1), false, false)
	f.record(numbered(room+500, 500, 1), false, false)

	// The driver drops some, and says so with a block of 50.
	all := readAll(t, in, room)
	if last := all[room-1]; last != number(room-1) {
		t.Errorf("the last sample kept is %v, want %v: the newest are lost, not the oldest", last, number(room-1))
	}
	f.record(numbered(room+1000, 50, 1), false, false)
	dst := make([]float64, 400)
	if n, lost, err := in.Read(t.Context(), dst); n != 50 || lost != 1000 || err != nil || dst[0] != number(room+1000) {
		t.Errorf("after an overflow of 1000: Read = %d, %d, %v, first %v; want 50, 1000, nil, %v", n, lost, err, dst[0], number(room+1000))
	}
	// Losses are told where they were: 30 good, a loss, 20 good; then two losses
	// with nothing between them.
	f.record(numbered(0, 30, 1), false, false)
	f.record(numbered(30, 20, 1), true, false)
	f.record(make([]float32, 70), false, true)
	f.record(numbered(50, 10, 1), true, false)
	for _, want := range []struct {
		n    int
		lost int64
	}{{30, 0}, {20, 20}, {10, 80}} {
		n, lost, err := in.Read(t.Context(), dst)
		if n != want.n || lost != want.lost || err != nil {
			t.Errorf("Read = %d, %d, %v, want %d, %d, nil", n, lost, err, want.n, want.lost)
		}
	}
}

// More gaps than there is room for: the samples between them count as lost.
func TestInputCountsEverySampleThroughAFloodOfGaps(t *testing.T) {
	f, h := newFake()
	in := openFakeInput(t, f, h, "front", 48000)
	const blocks, size = 500, 8
	for i := range blocks {
		f.record(numbered(i*size, size, 1), true, false)
	}
	dst := make([]float64, 64)
	var got, lostSum int64
	for len(dst) > 0 && in.samples.len() > 0 {
		n, lost, err := in.Read(t.Context(), dst)
		if err != nil {
			t.Fatal(err)
		}
		got, lostSum = got+int64(n), lostSum+lost
	}
	f.record(numbered(0, 1, 1), false, false)
	n, lost, err := in.Read(t.Context(), dst)
	if err != nil {
		t.Fatal(err)
	}
	got, lostSum = got+int64(n), lostSum+lost
	// Every block announces a block's worth of loss before it.
	if want := int64(2*blocks*size + 1); got+lostSum != want {
		t.Errorf("%d samples read and %d lost make %d, want %d", got, lostSum, got+lostSum, want)
	}
}

func TestSkipForgetsWhatWasHeardAndLostBefore(t *testing.T) {
	f, h := newFake()
	in := openFakeInput(t, f, h, "front", 48000)
	if got := in.Skip(); got != 0 {
		t.Errorf("Skip of nothing = %d", got)
	}
	f.record(numbered(0, 30, 1), false, false)
	f.record(numbered(30, 20, 1), true, false)
	if got := in.Skip(); got != 70 {
		t.Errorf("Skip = %d, want 50 samples and 20 lost", got)
	}
	f.record(numbered(100, 10, 1), false, false)
	if got := readAll(t, in, 10); got[0] != number(100) {
		t.Errorf("after Skip: first sample %v, want %v", got[0], number(100))
	}

	// A reader that was away until the ring ran over does not hear of it after
	// Skip, but does hear of the next loss.
	f.record(make([]float32, len(in.samples.buf)+5000), false, false)
	in.Skip()
	f.record(numbered(200, 10, 1), false, false)
	if got := readAll(t, in, 10); got[0] != number(200) {
		t.Errorf("after Skip of a full ring: first sample %v, want %v", got[0], number(200))
	}
	f.record(numbered(300, 10, 1), true, false)
	if n, lost, err := in.Read(t.Context(), make([]float64, 99)); n != 10 || lost != 10 || err != nil {
		t.Errorf("a loss after Skip: Read = %d, %d, %v, want 10, 10, nil", n, lost, err)
	}
}

func TestInputWatchdog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		in := openFakeInput(t, f, h, "front", 48000)
		dst := make([]float64, 512)
		start := time.Now()
		time.AfterFunc(2900*time.Millisecond, func() { f.record(make([]float32, 64), false, false) })
		if n, _, err := in.Read(t.Context(), dst); n != 64 || err != nil || time.Since(start) != 2900*time.Millisecond {
			t.Errorf("first block after 2.9 s: Read = %d, %v after %v", n, err, time.Since(start))
		}
		// A slow device is no dead one.
		for range 5 {
			time.AfterFunc(490*time.Millisecond, func() { f.record(make([]float32, 64), false, false) })
			if n, _, err := in.Read(t.Context(), dst); n != 64 || err != nil {
				t.Fatalf("a block every 490 ms: Read = %d, %v", n, err)
			}
		}
		// A reader that was away for longer finds the device alive.
		f.records(10 * time.Second)
		in.Skip()
		time.AfterFunc(100*time.Millisecond, func() { f.record(make([]float32, 64), false, false) })
		if n, _, err := in.Read(t.Context(), dst); n != 64 || err != nil {
			t.Errorf("after a pause of the reader: Read = %d, %v", n, err)
		}
		start = time.Now()
		if _, _, err := in.Read(t.Context(), dst); err != audio.ErrStalled || time.Since(start) != stallAfter {
			t.Errorf("dead device: Read = %v after %v, want ErrStalled after %v", err, time.Since(start), stallAfter)
		}
		start = time.Now()
		if _, _, err := in.Read(t.Context(), dst); err != audio.ErrStalled || time.Since(start) != 0 {
			t.Errorf("dead device, again: Read = %v after %v, want ErrStalled at once", err, time.Since(start))
		}
		if err := in.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
}

func TestInputNeverStartsOrOnlyInventsSamples(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		in := openFakeInput(t, f, h, "front", 48000)
		start := time.Now()
		if _, _, err := in.Read(t.Context(), make([]float64, 8)); err != audio.ErrStalled || time.Since(start) != firstAfter {
			t.Errorf("no first block: Read = %v after %v, want ErrStalled after %v", err, time.Since(start), firstAfter)
		}
		in = openFakeInput(t, f, h, "front", 48000)
		ctx, stop := context.WithCancel(t.Context())
		go func() {
			for tick := time.NewTicker(10 * time.Millisecond); ; {
				select {
				case <-tick.C:
					f.record(make([]float32, 480), false, true)
				case <-ctx.Done():
					return
				}
			}
		}()
		if _, _, err := in.Read(t.Context(), make([]float64, 8)); err != audio.ErrStalled {
			t.Errorf("nothing but filled-in blocks: Read = %v, want ErrStalled", err)
		}
		stop()
	})
}

// A reader that comes late to a device that has long been running must not
// take the time since opening for a stall.
func TestInputFirstReadComesLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for range 20 { // against a select that chooses at random
			f, h := newFake()
			in := openFakeInput(t, f, h, "front", 48000)
			f.records(10 * time.Second)
			in.Skip()
			time.AfterFunc(10*time.Millisecond, func() { f.record(make([]float32, 64), false, false) })
			if n, _, err := in.Read(t.Context(), make([]float64, 64)); n != 64 || err != nil {
				t.Fatalf("Read = %d, %v", n, err)
			}
		}
	})
}

func TestReadEndsWithItsContextAndWithClose(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		in := openFakeInput(t, f, h, "front", 48000)
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		if _, _, err := in.Read(ctx, make([]float64, 8)); err != context.Canceled {
			t.Errorf("Read = %v, want context.Canceled", err)
		}
		go func() {
			time.Sleep(time.Second)
			in.Close()
		}()
		if _, _, err := in.Read(t.Context(), make([]float64, 8)); err != ErrClosed {
			t.Errorf("Read while closing = %v, want ErrClosed", err)
		}
		if _, _, err := in.Read(t.Context(), make([]float64, 8)); err != ErrClosed {
			t.Errorf("Read after Close = %v, want ErrClosed", err)
		}
		synctest.Wait()
		if err := in.Close(); err != nil || f.stopped != 1 {
			t.Errorf("second Close = %v, device stopped %d times, want once", err, f.stopped)
		}
	})
}

// A driver that hangs holds up neither Close nor the next open for ever.
func TestHangingDriver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, h := newFake()
		in := openFakeInput(t, f, h, "front", 48000)
		f.hang = make(chan struct{})
		start := time.Now()
		if err := in.Close(); !errors.Is(err, errHangs) || time.Since(start) != closeWithin {
			t.Errorf("Close = %v after %v, want errHangs after %v", err, time.Since(start), closeWithin)
		}
		start = time.Now()
		if _, err := h.openInput(t.Context(), "", 48000); !errors.Is(err, errHangs) || time.Since(start) != openWithin {
			t.Errorf("open = %v after %v, want errHangs after %v", err, time.Since(start), openWithin)
		}
		close(f.hang)
		synctest.Wait()

		// An open that comes back too late is closed again.
		f.hang, f.stopped = make(chan struct{}), 0
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		if _, err := h.openInput(ctx, "", 48000); err != context.Canceled {
			t.Errorf("open = %v, want context.Canceled", err)
		}
		close(f.hang)
		synctest.Wait()
		if f.stopped != 1 {
			t.Errorf("a stream opened too late was stopped %d times, want once", f.stopped)
		}
		if _, err := h.openInput(t.Context(), "", 48000); err != nil {
			t.Errorf("open after the driver came back: %v", err)
		}
	})
}

// The driver's thread and the reader at once, with the reader too slow at
// times: what is read is in order, and gaps are exactly as long as told.
func TestInputLossesAddUpUnderConcurrency(t *testing.T) {
	f, h := newFake()
	in := openFakeInput(t, f, h, "front", 48000)
	in.samples = newRing[float64](1000) // small, to run over often
	const total = 300_000
	var wg sync.WaitGroup
	wg.Go(func() {
		rng := rand.New(rand.NewPCG(1, 2))
		for at := 0; at < total; {
			n := min(1+rng.IntN(417), total-at)
			f.record(numbered(at, n, 1), false, false)
			at += n
		}
		for in.samples.len() > 0 { // leaves room for one last sample
		}
		f.record(numbered(total, 1, 1), false, false)
	})
	dst := make([]float64, 200)
	var at, losses int64
	for at <= total {
		n, lost, err := in.Read(t.Context(), dst)
		if err != nil {
			t.Fatal(err)
		}
		at += lost
		losses += lost
		for i, x := range dst[:n] {
			if want := number(int(at) + i); x != want {
				t.Fatalf("sample %d (after %d lost) = %v, want %v", at+int64(i), losses, x, want)
			}
		}
		at += int64(n)
	}
	t.Logf("%d of %d samples lost, all accounted for", losses, total)
	wg.Wait()
}

func TestInputDoesNotAllocate(t *testing.T) {
	f, h := newFake()
	in := openFakeInput(t, f, h, "", 48000)
	block := numbered(0, 417, 2)
	dst := make([]float64, 512)
	if got := testing.AllocsPerRun(1000, func() {
		f.record(block, true, false)
		if _, _, err := in.Read(context.Background(), dst); err != nil {
			t.Fatal(err)
		}
	}); got != 0 {
		t.Errorf("record and Read allocate %v times", got)
	}
	if got := testing.AllocsPerRun(1000, func() { f.record(block, true, false) }); got != 0 {
		t.Errorf("record into a full ring allocates %v times", got)
	}
}

func BenchmarkRecord(b *testing.B) {
	f, h := newFake()
	in := openFakeInput(b, f, h, "", 48000)
	block := numbered(0, 256, 2)
	b.ReportAllocs()
	for b.Loop() {
		f.record(block, false, false)
		in.Skip()
	}
}
