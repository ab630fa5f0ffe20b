package pitch

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"singback/internal/testkit"
)

// company is all that a finder tells of a signal that is fed to it in parts.
func company(t testing.TB, rate int, x []float64, part func() int) []Company {
	t.Helper()
	cfg := DefaultConfig(rate)
	tr, err := NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	c, err := NewCompanyFinder(cfg)
	if err != nil {
		t.Fatal(err)
	}
	var out []Company
	take := func(points []Point) {
		for _, p := range points {
			if m, ok := c.Point(p); ok {
				out = append(out, m)
			}
		}
	}
	for len(x) > 0 {
		n := min(part(), len(x))
		points := tr.Push(nil, x[:n])
		c.Samples(x[:n])
		take(points)
		x = x[n:]
	}
	take(tr.Flush(nil))
	return out
}

func sines(rate int, seconds float64, hz, amps []float64) []float64 {
	x := make([]float64, int(seconds*float64(rate)))
	for j, f := range hz {
		for i := range x {
			x[i] += amps[j] * math.Sin(2*math.Pi*f*float64(i)/float64(rate)+float64(j))
		}
	}
	return x
}

func TestCompanyBesideAVoice(t *testing.T) {
	const rate = 48000
	voice := func() []float64 { return testkit.Tone(rate, 1.5, testkit.Steady(220), testkit.Harmonics(8, 9)) }
	with := func(x []float64, hz, amp float64) []float64 {
		y := sines(rate, float64(len(x))/rate, []float64{hz}, []float64{amp})
		for i := range x {
			x[i] += y[i]
		}
		return x
	}
	// The fundamental's amplitude: RMS 0.1 and nine decibels an octave.
	sum := 0.0
	for _, a := range testkit.Harmonics(8, 9) {
		sum += a * a / 2
	}
	own := 0.1 / math.Sqrt(sum)
	for _, c := range []struct {
		name       string
		x          []float64
		other, hum float64 // dB, the truth
		gaps       int
	}{
		{"alone", voice(), MinCompany, MinCompany, 0},
		{"with a tone 10 dB weaker", with(voice(), 331, own*math.Pow(10, -10./20)), -10, MinCompany, 0},
		{"with a tone 30 dB weaker", with(voice(), 331, own*math.Pow(10, -30./20)), -30, MinCompany, 0},
		{"with hum 20 dB weaker", with(voice(), 50, own*math.Pow(10, -20./20)), MinCompany, -20, 0},
		{"with vibrato", testkit.Tone(rate, 1.5, testkit.Vibrato(220, 5.5, 40), testkit.Harmonics(8, 9)), MinCompany, MinCompany, 0},
		{"in noise", testkit.Mix(voice(), testkit.White(3*rate/2, 4), 30), MinCompany, MinCompany, 0},
	} {
		found := company(t, rate, c.x, func() int { return 256 })
		if len(found) < 20 {
			t.Errorf("%s: looked %d times in 1.5 s, want 20 and more", c.name, len(found))
		}
		for _, m := range found[2 : len(found)-2] {
			// What a window leaves beside a partial, or vibrato, lies at -35 dB and less.
			far := func(got, want float64) bool {
				return want > -35 && math.Abs(got-want) > 1 || want < -35 && got > -35
			}
			if far(m.Other, c.other) || far(m.Hum, c.hum) || m.Gaps != c.gaps {
				t.Errorf("%s: %+v, want other %g, hum %g, %d gaps", c.name, m, c.other, c.hum, c.gaps)
				break
			}
		}
	}
	for _, m := range company(t, rate, voice(), func() int { return 256 })[2:] {
		if d := testkit.Cents(m.F0, 220); math.Abs(d) > 0.5 {
			t.Errorf("the strongest harmonic tells %.3f Hz, %.2f cents from 220", m.F0, d)
		}
	}
}

// Tones of 4, 5, 6 times 65 Hz repeat as often as one of 65 Hz would, of which most
// harmonics are missing; of 2 tones an octave and a fifth apart some.
func TestCompanyOfAMeasure(t *testing.T) {
	const rate = 44100
	var hz, amps []float64
	for _, k := range []float64{4, 5, 6} {
		for h := 1.0; h <= 5; h++ {
			hz, amps = append(hz, 65*k*h), append(amps, .05/h)
		}
	}
	found := company(t, rate, sines(rate, 1.5, hz, amps), func() int { return 300 })
	if len(found) < 10 {
		t.Fatalf("looked %d times", len(found))
	}
	for _, m := range found[1 : len(found)-1] {
		if m.Other < -8 && m.Gaps < 3 {
			t.Errorf("%+v: passes for a voice", m)
		}
	}
}

func TestCompanyDoesNotDependOnTheSplit(t *testing.T) {
	for _, rate := range []int{8000, 11025, 44100, 96000} {
		x := testkit.Mix(testkit.Tone(rate, 1, testkit.Glide(200, 120), testkit.Harmonics(6, 9)), testkit.Pink(rate, 2), 25)
		want := company(t, rate, x, func() int { return 256 })
		for _, n := range []int{1, 7, 1000} {
			if got := company(t, rate, x, func() int { return n }); !reflect.DeepEqual(got, want) {
				t.Fatalf("%d Hz, %d samples at a time: %v, want %v", rate, n, got, want)
			}
		}
		if len(want) == 0 {
			t.Errorf("%d Hz: found nothing", rate)
		}
	}
}

func TestCompanyDoesNotAllocate(t *testing.T) {
	cfg := DefaultConfig(48000)
	tr, _ := NewTracker(cfg)
	c, _ := NewCompanyFinder(cfg)
	x := testkit.Tone(48000, 1, testkit.Steady(180), testkit.Harmonics(8, 9))
	points := make([]Point, 0, 256)
	looks := 0
	if n := testing.AllocsPerRun(3, func() {
		for part := range slices.Chunk(x, 480) {
			points = tr.Push(points[:0], part)
			c.Samples(part)
			for _, p := range points {
				if _, ok := c.Point(p); ok {
					looks++
				}
			}
		}
	}); n != 0 {
		t.Errorf("%g allocations in a second of sound, want 0", n)
	}
	if looks == 0 {
		t.Error("looked at nothing")
	}
}

// What is not sound, or lost, is silence; a new signal knows nothing of the last.
func TestCompanyReset(t *testing.T) {
	cfg := DefaultConfig(16000)
	if _, err := NewCompanyFinder(Config{SampleRate: 5}); err == nil {
		t.Error("a rate of 5 Hz was accepted")
	}
	c, _ := NewCompanyFinder(cfg)
	bad := []float64{math.NaN(), math.Inf(1), 1e300}
	c.Samples(slices.Repeat(bad, 3000))
	c.Lost(1 << 20)
	run := func() (out []Company) {
		x := testkit.Tone(16000, .6, testkit.Steady(180), testkit.Harmonics(8, 9))
		c.Samples(x)
		for i := range 60 {
			if m, ok := c.Point(Point{Index: int64(i * cfg.Hop), F0: 180, Voiced: true}); ok {
				out = append(out, m)
			}
		}
		return out
	}
	c.Reset()
	first := run()
	c.Reset()
	if second := run(); len(first) == 0 || !reflect.DeepEqual(first, second) {
		t.Errorf("%v, and after a reset %v", first, second)
	}
}
