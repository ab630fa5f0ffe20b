package audio

import (
	"context"
	"errors"
	"io"
	"math"
	"testing"
	"time"
)

var (
	_ Source = (*WAV)(nil)
	_ Source = (*Samples)(nil)
	_ Source = (*Paced)(nil)
	_ Sink   = (*WAVFile)(nil)
	_ Sink   = Null{}
)

func TestSamples(t *testing.T) {
	want := []float64{1, 2, 3, 4, 5}
	for _, block := range []int{1, 2, 5, 9} {
		got, err := readAll(t, NewSamples(44100, want), block)
		same(t, "memory", got, err, want)
	}
	if _, err := readAll(t, NewSamples(44100, nil), 4); err != nil {
		t.Errorf("no samples: %v, want io.EOF", err)
	}
}

func TestPaced(t *testing.T) {
	for _, rate := range []int{8000, 11025, 44100, 192000} {
		var waited time.Duration
		delivered := 0
		samples := make([]float64, 3*rate+1)
		p := NewPaced(NewSamples(rate, samples), func(_ context.Context, d time.Duration) error {
			waited += d
			return nil
		})
		dst := make([]float64, 4096)
		for {
			n, _, err := p.Read(context.Background(), dst)
			if err == io.EOF {
				break
			}
			delivered += n
			if n > rate/100 {
				t.Fatalf("%d Hz: a block of %d samples, want at most a hundredth of a second", rate, n)
			}
			if due := float64(delivered) / float64(rate); math.Abs(waited.Seconds()-due) > 1e-9 {
				t.Fatalf("%d Hz: %v waited for %v s", rate, waited, due)
			}
		}
		if delivered != len(samples) {
			t.Errorf("%d Hz: %d samples, want %d", rate, delivered, len(samples))
		}
	}
}

func TestPacedCountsLostSamples(t *testing.T) {
	var waited time.Duration
	p := NewPaced(gap{}, func(_ context.Context, d time.Duration) error { waited += d; return nil })
	if n, lost, err := p.Read(context.Background(), make([]float64, 10)); n != 0 || lost != 4000 || err != nil || waited != 500*time.Millisecond {
		t.Errorf("n %d, lost %d, %v, waited %v, want 0, 4000, nil, 500ms", n, lost, err, waited)
	}
}

// gap is a source of 8000 Hz that lost half a second.
type gap struct{}

func (gap) SampleRate() int                                     { return 8000 }
func (gap) Read(context.Context, []float64) (int, int64, error) { return 0, 4000, nil }
func (gap) Close() error                                        { return nil }

func TestPacedInterrupted(t *testing.T) {
	p := NewPaced(NewSamples(8000, make([]float64, 8000)), func(context.Context, time.Duration) error { return context.Canceled })
	if n, _, err := p.Read(context.Background(), make([]float64, 10)); n != 0 || !errors.Is(err, context.Canceled) {
		t.Errorf("%d, %v, want 0, %v", n, err, context.Canceled)
	}
}

func TestNull(t *testing.T) {
	n := Null{Rate: 44100}
	ctx, cancel := context.WithCancel(context.Background())
	if err := errors.Join(n.Write(ctx, make([]float64, 10)), n.Drain(ctx), n.Close(), n.Close()); err != nil || n.SampleRate() != 44100 {
		t.Errorf("%v at %d Hz", err, n.SampleRate())
	}
	cancel()
	if n.Write(ctx, nil) != context.Canceled || n.Drain(ctx) != context.Canceled {
		t.Error("a dead context goes unnoticed")
	}
}
