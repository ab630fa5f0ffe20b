package pitch

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"singback/internal/testkit"
)

// slowDifference is the difference function of evidence by its definition: over
// windows as long as the lag, but at least shortest, that lie symmetrically
// about sample c, divided by the energy of the two halves compared.
func slowDifference(x []float64, c, lag, shortest int) float64 {
	w := max(lag, shortest)
	a := c - (lag+w)/2
	diff, energy := 0.0, 1e-12
	for i := a; i < a+w; i++ {
		d := x[i] - x[i+lag]
		diff += d * d
		energy += x[i]*x[i] + x[i+lag]*x[i+lag]
	}
	return diff / energy
}

// The difference function that the tracker works out, with running sums and, for
// long lags, at half the rate, against its definition. Short lags are the same
// to rounding, and long ones are what the definition gives at half the rate.
// Without what lies above a quarter of the inner
// rate a voice, whose power is below that, repeats nearly as it did: to 0.1.
func TestDifferenceEqualsItsDefinition(t *testing.T) {
	const rate, n = 11025, 3308
	fs := float64(rate)
	for name, x := range map[string][]float64{
		"voice at 98 Hz":  testkit.Tone(rate, 0.3, testkit.Steady(98), testkit.Vowel(98, 20, 600, 1040, 2250)),
		"voice at 220 Hz": testkit.Tone(rate, 0.3, testkit.Vibrato(220, 6, 50), testkit.Vowel(220, 12, 650, 1080, 2650)),
		"voice in noise":  testkit.Mix(testkit.Tone(rate, 0.3, testkit.Steady(300), testkit.Vowel(300, 10, 700, 1150, 2700)), testkit.Breath(n, rate, 2), 15),
		"white noise":     testkit.White(n, 3),
	} {
		e := newEvidence(fs, 62, 1450, false)
		split := min(e.tauMax, int(fs/splitHz)) &^ 1
		worstShort, worstHalf, worstLong := 0.0, 0.0, 0.0
		for c := e.back; c+e.ahead+2 < len(x); c += 97 {
			e.difference(x[c-e.back:c+e.ahead+2], e.back)
			// Every second sample of x under a small low-pass, about c.
			h := max(e.tauMax, e.minWindow)/2 + 2
			z := make([]float64, 2*h+1)
			for j := range z {
				i := c + 2*(j-h)
				z[j] = (x[i-1] + 2*x[i] + x[i+1]) / 4
			}
			for lag := e.tauMin; lag < e.tauMax-1; lag++ {
				off := math.Abs(e.d[lag] - slowDifference(x, c, lag, e.minWindow))
				if lag < split {
					worstShort = math.Max(worstShort, off)
				} else if lag%2 == 0 {
					worstLong = math.Max(worstLong, off)
					worstHalf = math.Max(worstHalf, math.Abs(e.d[lag]-slowDifference(z, h, lag/2, e.minWindow/2)))
				}
			}
		}
		t.Logf("%s: short lags at most %.1e off, long ones %.1e at half the rate, %.3f at the whole", name, worstShort, worstHalf, worstLong)
		if worstShort > 1e-9 || worstHalf > 1e-9 {
			t.Errorf("%s: a short lag is %g off its definition, a long one %g", name, worstShort, worstHalf)
		}
		if worstLong > 0.1 && name != "white noise" {
			t.Errorf("%s: a long lag is %g off its definition", name, worstLong)
		}
	}
}

// A tracker that has heard something else starts as a new one does, bit for bit.
func TestResetForgetsEverything(t *testing.T) {
	const rate = 16000
	hum := testkit.Scale(testkit.Hum(rate, rate, 50), 0.01) // quiet enough to be taken for hum
	before := [][]float64{
		hum, testkit.White(rate, 1), testkit.Tone(rate, 1, testkit.Steady(220), testkit.Harmonics(8, 6)),
	}
	x := testkit.Mix(testkit.Tone(rate, 0.5, testkit.Steady(330), testkit.Harmonics(8, 6)), testkit.Pink(rate/2, 2), 20)
	for _, reading := range []Reading{Settled, Offline, Live} {
		cfg := DefaultConfig(rate)
		cfg.Reading, cfg.Known = reading, []float64{220, 440}
		fresh, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		want := fresh.Flush(fresh.Push(nil, x))
		for i, b := range before {
			used, err := NewTracker(cfg)
			if err != nil {
				t.Fatal(err)
			}
			used.Push(nil, b)
			used.Reset()
			if got := used.Flush(used.Push(nil, x)); !slices.Equal(got, want) {
				t.Errorf("reading %d, after sound %d: other points than from a new tracker", reading, i)
			}
		}
	}
}

// Whatever the samples, a tracker gives a point for every hop, with finite
// numbers in their ranges, and the same points however the samples are cut.
func FuzzTracker(f *testing.F) {
	for _, x := range [][]float64{
		testkit.Tone(8000, 0.1, testkit.Steady(220), testkit.Harmonics(8, 6)),
		testkit.White(500, 1), testkit.Silence(300), {math.Inf(1), math.NaN(), 1e300, -1e300, 5e-324},
	} {
		b := make([]byte, 0, 8*len(x))
		for _, v := range x {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		f.Add(b, uint8(7), uint8(0))
	}
	f.Fuzz(func(t *testing.T, b []byte, cut, reading uint8) {
		if len(b) > 1<<15 {
			return
		}
		x := make([]float64, len(b)/8)
		for i := range x {
			x[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
		cfg := DefaultConfig(8000)
		cfg.Reading = Reading(reading % 3)
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		whole := tr.Flush(tr.Push(nil, x))
		if want := (len(x) + cfg.Hop - 1) / cfg.Hop; len(whole) != want {
			t.Fatalf("%d points of %d samples, want %d", len(whole), len(x), want)
		}
		var parts []Point
		for i, n := 0, int(cut)+1; i < len(x); i += n {
			parts = tr.Push(parts, x[i:min(i+n, len(x))])
		}
		parts = tr.Flush(parts)
		for i, p := range whole {
			if p != parts[i] {
				t.Fatalf("point %d is %+v, and %+v in pieces of %d", i, p, parts[i], int(cut)+1)
			}
			if p.Voiced != (p.F0 > 0) || p.F0 != 0 && !(p.F0 >= cfg.MinHz && p.F0 <= cfg.MaxHz) ||
				!(p.Confidence >= 0 && p.Confidence <= 1) || !(p.Level >= MinLevel && p.Level < 100) || !(p.SE >= 0 && p.SE < 1e6) || !(p.Flux >= 0 && p.Flux <= 1) {
				t.Fatalf("point %d: %+v", i, p)
			}
		}
	})
}
