package audio

import (
	"math"
	"testing"
)

func TestDBFS(t *testing.T) {
	for _, test := range []struct{ x, want float64 }{
		{1, 0}, {0.1, -20}, {math.Sqrt2 / 2, -3.0103}, {1e-6, -120}, {1e-9, -120}, {0, -120}, {math.NaN(), -120},
	} {
		if got := DBFS(test.x); math.Abs(got-test.want) > 1e-4 {
			t.Errorf("DBFS(%v) = %v, want %v", test.x, got, test.want)
		}
	}
}

func TestMeter(t *testing.T) {
	var m Meter
	if m.Level() != MinLevel || m.Peak != 0 || m.Clipped != 0 {
		t.Errorf("nothing heard: %v dBFS, peak %v, clipped %d", m.Level(), m.Peak, m.Clipped)
	}
	sine := make([]float64, 48000) // whole periods, so the RMS is that of the formula
	for i := range sine {
		sine[i] = -0.5 * math.Sin(2*math.Pi*100*float64(i)/48000)
	}
	m.Push(sine[:7])
	m.Push(sine[7:])
	if want := 20 * math.Log10(0.5/math.Sqrt2); math.Abs(m.Level()-want) > 1e-9 || math.Abs(m.Peak-0.5) > 1e-12 {
		t.Errorf("sine of 0.5: %v dBFS, peak %v, want %v, 0.5", m.Level(), m.Peak, want)
	}

	for _, test := range []struct {
		name    string
		samples []float64
		want    int
	}{
		{"two in a row", []float64{0.5, 1, 1, 0.5}, 0},
		{"three in a row, at the limit", []float64{0.999, -0.999, 0.999}, 1},
		{"just below the limit", []float64{0.9989, 0.9989, 0.9989}, 0},
		{"a long run is one", []float64{1, 1, 1, 1, 1, 1, 1}, 1},
		{"two runs", []float64{1, 1, 1, 0, -1, -1, -1, -1}, 2},
		{"three that are not in a row", []float64{1, 1, 0, 1}, 0},
	} {
		var whole, parts Meter
		whole.Push(test.samples)
		for _, x := range test.samples {
			parts.Push([]float64{x})
		}
		if whole.Clipped != test.want || parts != whole {
			t.Errorf("%s: %d, one by one %d, want %d", test.name, whole.Clipped, parts.Clipped, test.want)
		}
	}
	if n := testing.AllocsPerRun(10, func() { m.Push(sine) }); n != 0 {
		t.Errorf("%v allocations per Push, want 0", n)
	}
}
