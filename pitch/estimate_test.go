package pitch

import (
	"slices"
	"testing"

	"singback/internal/testkit"
	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

func estimates(t testing.TB, cfg Config, x []float64, split int) []Point {
	t.Helper()
	cfg.Estimates = true
	tr, err := NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	var points []Point
	for part := range slices.Chunk(x, split) {
		points = tr.Push(points, part)
	}
	return tr.Flush(points)
}

// Estimates change nothing else, are the pitch where there is one, lie in the range that
// is searched, do not depend on the split, and allocate nothing.
func TestEstimatesBesideTheRest(t *testing.T) {
	const rate = 44100
	x := mixedSignal(rate)
	for _, reading := range []Reading{Settled, Offline, Live} {
		cfg := DefaultConfig(rate)
		cfg.Reading = reading
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		plain := tr.Flush(tr.Push(nil, x))
		got := estimates(t, cfg, x, len(x))
		if again := estimates(t, cfg, x, 331); !slices.Equal(again, got) {
			t.Errorf("reading %d: the estimates depend on the split", reading)
		}
		unvoiced := 0
		for i, p := range got {
			if p.Voiced && p.Estimate != p.F0 {
				t.Fatalf("reading %d: %+v: F0 and estimate differ", reading, p)
			}
			if !p.Voiced && p.Estimate != 0 {
				unvoiced++
				if p.Estimate < cfg.MinHz*.97 || p.Estimate > cfg.MaxHz*1.03 {
					t.Errorf("reading %d: %+v: the estimate is outside the range", reading, p)
				}
			}
			if p.Estimate = 0; p != plain[i] {
				t.Fatalf("reading %d: %+v with estimates, %+v without", reading, p, plain[i])
			}
		}
		if unvoiced == 0 {
			t.Errorf("reading %d: no estimate in all that is not voiced", reading)
		}
		cfg.Estimates = true
		if tr, err = NewTracker(cfg); err != nil {
			t.Fatal(err)
		}
		points, from := make([]Point, 0, 1000), 0
		if allocs := testing.AllocsPerRun(300, func() {
			points = tr.Push(points[:0], x[from:from+256])
			from = (from + 256) % (len(x) - 256)
		}); allocs != 0 {
			t.Errorf("reading %d: %g allocations per push, want 0", reading, allocs)
		}
	}
}

// There is no estimate in silence, nor where samples were lost.
func TestNoEstimateOfNothing(t *testing.T) {
	cfg := DefaultConfig(16000)
	for _, p := range estimates(t, cfg, make([]float64, 16000), 16000) {
		if p.Estimate != 0 {
			t.Fatalf("%+v of silence", p)
		}
	}
	cfg.Estimates = true
	tr, err := NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	tone := testkit.Tone(16000, 1, testkit.Steady(220), []float64{1, .5})
	points := tr.Push(nil, tone[:8000])
	points = tr.Lost(points, 1600)
	points = tr.Flush(tr.Push(points, tone[8000:]))
	for _, p := range points {
		if p.Lost && p.Estimate != 0 {
			t.Fatalf("%+v where samples were lost", p)
		}
	}
}

// Raw pitch accuracy as mir_eval defines it (Raffel et al. 2014), which takes the pitch of
// an unvoiced frame as a negative frequency: in noise as strong as the voice, more of the
// frames that are sung have the right pitch than are right and voiced.
func TestEstimatesRaiseRawPitch(t *testing.T) {
	var with, without []metrics.Frame
	for it := range hardset.Items(hardset.Dev, 2, hardset.Noise0) {
		var truth, told, kept []metrics.Reading
		for _, p := range estimates(t, DefaultConfig(it.Rate), it.Samples, 1<<12) {
			at := float64(p.Index) / float64(it.Rate)
			hz, _ := it.At(at)
			truth = append(truth, metrics.Reading{Time: at, Hz: max(0, hz)})
			kept = append(kept, metrics.Reading{Time: at, Hz: p.F0})
			if !p.Voiced {
				p.F0 = -p.Estimate
			}
			told = append(told, metrics.Reading{Time: at, Hz: p.F0})
		}
		with = append(with, metrics.Align(truth, told)...)
		without = append(without, metrics.Align(truth, kept)...)
	}
	a, b := metrics.RawPitch(with, 50), metrics.RawPitch(without, 50)
	t.Logf("raw pitch accuracy %.1f %% with estimates, %.1f %% without", 100*a, 100*b)
	if a < b+.01 {
		t.Error("want at least one in a hundred more")
	}
	if x, y := metrics.VoicingRecall(with), metrics.VoicingRecall(without); x != y {
		t.Errorf("voicing recall %v with estimates, %v without", x, y)
	}
}
