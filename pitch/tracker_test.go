package pitch

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"singback/internal/testkit"
)

func newTracker(t testing.TB, rate int) *Tracker {
	t.Helper()
	tr, err := NewTracker(DefaultConfig(rate))
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func track(t testing.TB, rate int, x []float64) []Point {
	t.Helper()
	tr := newTracker(t, rate)
	return tr.Flush(tr.Push(nil, x))
}

// worst compares every frame at least 50 ms from either end with the truth. It
// returns the largest error in cents, with what it belongs to, and how many
// frames were not voiced.
func worst(points []Point, rate int, truth testkit.Curve) (cents float64, at Point, unvoiced int) {
	margin := int64(rate / 20)
	end := points[len(points)-1].Index
	for _, p := range points {
		if p.Index < margin || p.Index > end-margin {
			continue
		}
		if !p.Voiced {
			unvoiced++
			continue
		}
		if c := math.Abs(testkit.Cents(p.F0, truth(float64(p.Index)/float64(rate)))); c >= cents {
			cents, at = c, p
		}
	}
	return cents, at, unvoiced
}

// semitones are the frequencies from low to high, step semitones apart. None of
// those used here has a period of a whole number of samples.
func semitones(low, high float64, step float64) []float64 {
	var f []float64
	for hz := low; hz <= high; hz *= math.Exp2(step / 12) {
		f = append(f, hz)
	}
	return f
}

func TestSteadyTonesWithinACent(t *testing.T) {
	timbres := []struct {
		name string
		amps func(f float64) []float64
	}{
		{"sine", func(float64) []float64 { return []float64{1} }},
		{"ten harmonics", func(float64) []float64 { return testkit.Harmonics(10, 6) }},
		{"ten equal harmonics", func(float64) []float64 { return testkit.Harmonics(10, 0) }},
		{"missing fundamental", func(float64) []float64 { return testkit.MissingFundamental(10, 6) }},
		{"second harmonic 12 dB up", func(float64) []float64 { return testkit.StrongSecond(10, 6, 12) }},
		{"open vowel", func(f float64) []float64 { return testkit.Vowel(f, 30, 750, 1200, 2600, 3400) }},
	}
	rates := []int{8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000}
	if testing.Short() {
		rates = []int{8000, 44100}
	}
	for _, rate := range rates {
		for _, c := range timbres {
			t.Run(fmt.Sprint(rate, " ", c.name), func(t *testing.T) {
				var max float64
				var where string
				for _, hz := range semitones(66.3, 1395, 3.3) {
					if c.name == "missing fundamental" && 4*hz > 0.45*float64(rate) {
						continue // two partials left, or one: that may be a fifth, or a sine an octave up
					}
					if c.name == "missing fundamental" && hz < 70 {
						continue // partials nearer to each other than a frame resolves: unvoiced at times
					}
					x := testkit.Tone(rate, 0.14, testkit.Steady(hz), c.amps(hz))
					e, p, unvoiced := worst(track(t, rate, x), rate, testkit.Steady(hz))
					if unvoiced > 0 {
						t.Errorf("%.2f Hz: %d frames not voiced", hz, unvoiced)
					}
					if e >= max {
						max, where = e, fmt.Sprintf("%.2f Hz read as %.4f at sample %d", hz, p.F0, p.Index)
					}
				}
				t.Logf("worst frame %.5f c: %s", max, where)
				if max > 0.15 {
					t.Errorf("worst frame %.3f c off, want < 0.15: %s", max, where)
				}
			})
		}
	}
}

// The instantaneous frequency of a glide is known: a frame must give the one at
// its centre, upwards and downwards. A lag of 1 ms would show as 1.2 c at
// 1200 c/s.
func TestGlideDoesNotLag(t *testing.T) {
	for _, rate := range []int{8000, 44100, 192000} {
		for _, c := range []struct{ hz, slope, limit float64 }{
			{220, 100, 0.1}, {220, -100, 0.1}, // one semitone a second
			{100, 1200, 1.5}, {100, -600, 1.5}, {440, 1200, 1}, {700, -1200, 1}, {300, 2400, 2},
		} {
			truth := testkit.Glide(c.hz, c.slope)
			x := testkit.Tone(rate, 0.8, truth, testkit.Harmonics(10, 6))
			e, p, unvoiced := worst(track(t, rate, x), rate, truth)
			t.Logf("%d Hz: from %g Hz at %+g c/s: worst %.3f c at sample %d", rate, c.hz, c.slope, e, p.Index)
			if e > c.limit || unvoiced > 0 {
				t.Errorf("%d Hz: from %g Hz at %+g c/s: worst frame %.2f c off (want ≤ %g), %d not voiced", rate, c.hz, c.slope, e, c.limit, unvoiced)
			}
		}
	}
}

// The window is about 40 ms long, so a vibrato of 6 Hz is read a little
// shallower than it is; its mean is not touched.
func TestVibratoIsFollowed(t *testing.T) {
	const rate = 44100
	for _, hz := range []float64{98, 220, 440, 880} {
		truth := testkit.Vibrato(hz, 6, 70)
		x := testkit.Tone(rate, 1.1, truth, testkit.Vowel(hz, 30, 750, 1200, 2600, 3400))
		points := track(t, rate, x)
		e, p, unvoiced := worst(points, rate, truth)
		sum, n := 0.0, 0
		for _, q := range points[5:105] { // 6 whole cycles
			sum += testkit.Cents(q.F0, hz)
			n++
		}
		t.Logf("%g Hz: worst frame %.2f c, mean %.3f c", hz, e, sum/float64(n))
		if e > 6 || unvoiced > 0 {
			t.Errorf("%g Hz: worst frame %.2f c off at sample %d (want ≤ 6), %d not voiced", hz, e, p.Index, unvoiced)
		}
		if m := math.Abs(sum / float64(n)); m > 0.15 {
			t.Errorf("%g Hz: mean over whole cycles %.3f c off, want < 0.15", hz, m)
		}
	}
}

// Every semitone from C2 to C6 by every condition: no frame may be an octave, or
// anything else over 50 c, off.
func TestOctaves(t *testing.T) {
	if testing.Short() {
		t.Skip("long grid")
	}
	const seconds = 0.3
	type voice func(rate int, f float64, seed uint64) []float64
	tone := func(amps []float64) voice {
		return func(rate int, f float64, _ uint64) []float64 {
			return testkit.Tone(rate, seconds, testkit.Steady(f), amps)
		}
	}
	bright := func(rate int, f float64, _ uint64) []float64 {
		return testkit.Tone(rate, seconds, testkit.Steady(f), testkit.Vowel(f, 30, 2.03*f, math.Max(1300, 3.3*f), 2800, 3500))
	}
	with := func(v voice, noise func(n, rate int, seed uint64) []float64, snr float64) voice {
		return func(rate int, f float64, seed uint64) []float64 {
			x := v(rate, f, seed)
			return testkit.Mix(x, noise(len(x), rate, seed), snr)
		}
	}
	hum := func(hz float64) func(n, rate int, _ uint64) []float64 {
		return func(n, rate int, _ uint64) []float64 { return testkit.Hum(n, rate, hz) }
	}
	pink := func(n, _ int, seed uint64) []float64 { return testkit.Pink(n, seed) }
	ten := testkit.Harmonics(10, 6)
	for _, c := range []struct {
		name     string
		voice    voice
		unvoiced float64 // share of frames that may be missed
	}{
		{"ten harmonics", tone(ten), 0},
		{"missing fundamental", tone(testkit.MissingFundamental(10, 6)), 0.025},
		{"second harmonic 12 dB up", tone(testkit.StrongSecond(10, 6, 12)), 0},
		{"second harmonic 12 dB up, dull", tone(testkit.StrongSecond(10, 12, 12)), 0},
		{"second harmonic 12 dB up, breath 20 dB", with(tone(testkit.StrongSecond(10, 6, 12)), testkit.Breath, 20), 0},
		{"breath 10 dB", with(tone(ten), testkit.Breath, 10), 0.01},
		{"breath 10 dB, dull", with(tone(testkit.Harmonics(10, 12)), testkit.Breath, 10), 0.01},
		{"pink noise 10 dB", with(tone(ten), pink, 10), 0.02},
		{"hum 50 Hz 20 dB", with(tone(ten), hum(50), 20), 0},
		{"hum 60 Hz 20 dB", with(tone(ten), hum(60), 20), 0},
		{"clipped by 12 dB", func(rate int, f float64, s uint64) []float64 { return testkit.Clip(tone(ten)(rate, f, s), 12) }, 0},
		{"first formant at twice F0", bright, 0.02},
		{"first formant at twice F0, breath 20 dB", with(bright, testkit.Breath, 20), 0.01}, // the start of one note at 8 kHz
	} {
		for _, rate := range []int{8000, 44100} {
			if rate == 8000 && c.name == "clipped by 12 dB" {
				continue // clipping numbers at 8 kHz folds the overtones back: no longer that pitch
			}
			var frames, missed, up, down, other int
			for m := 36.0; m <= 84; m++ {
				f := 440 * math.Exp2((m-69+0.37)/12)
				for _, p := range track(t, rate, c.voice(rate, f, uint64(m))) {
					if p.Index < int64(rate/20) || p.Index > int64(rate)*25/100 {
						continue
					}
					frames++
					e := testkit.Cents(p.F0, f)
					switch {
					case !p.Voiced:
						missed++
					case math.Abs(e) <= 50:
					case math.Abs(e-1200) < 50:
						up++
					case math.Abs(e+1200) < 50:
						down++
					default:
						other++
					}
				}
			}
			t.Logf("%6d Hz %-40s %d frames: %d an octave up, %d down, %d else wrong, %d not voiced", rate, c.name, frames, up, down, other, missed)
			allowed := 0
			if rate == 8000 {
				allowed = 2 * frames / 49 // two notes: above 1 kHz only three partials are left
			}
			if up+down+other > allowed || float64(missed) > c.unvoiced*float64(frames) {
				t.Errorf("%d Hz, %s: of %d frames %d an octave up, %d down, %d else wrong, %d not voiced (want at most %d wrong, ≤ %.0f %% not voiced)", rate, c.name, frames, up, down, other, missed, allowed, 100*c.unvoiced)
			}
		}
	}
}

func mixedSignal(rate int) []float64 {
	x := testkit.Tone(rate, 0.7, testkit.Scoop(220, -200, 0.12), testkit.Vowel(220, 30, 750, 1200, 2600))
	x = append(x, testkit.Silence(rate/10)...)
	return append(x, testkit.Mix(testkit.Tone(rate, 0.5, testkit.Vibrato(440, 6, 70), testkit.Harmonics(10, 6)), testkit.White(rate/2, 5), 15)...)
}

func TestAnySplitGivesTheSamePoints(t *testing.T) {
	for _, rate := range []int{8000, 44100, 192000} {
		x := mixedSignal(rate)
		whole := track(t, rate, x)
		if want := (len(x) + DefaultConfig(rate).Hop - 1) / DefaultConfig(rate).Hop; len(whole) != want {
			t.Errorf("%d Hz: %d points for %d samples, want %d", rate, len(whole), len(x), want)
		}
		tr := newTracker(t, rate)
		for _, size := range []int{1, 17, 256, 1000} {
			var got []Point
			for from := 0; from < len(x); from += size {
				got = tr.Push(got, x[from:min(len(x), from+size)])
			}
			got = tr.Flush(got) // and is ready for the next size
			if len(got) != len(whole) {
				t.Fatalf("%d Hz, calls of %d: %d points, want %d", rate, size, len(got), len(whole))
			}
			for i := range got {
				if got[i] != whole[i] {
					t.Fatalf("%d Hz, calls of %d: point %d = %+v, want %+v", rate, size, i, got[i], whole[i])
				}
			}
		}
	}
}

func TestPointsAndFramesCount(t *testing.T) {
	const rate = 44100
	for _, n := range []int{0, 1, 440, 441, 442, 882, 5000} {
		points := track(t, rate, testkit.Silence(n))
		if want := (n + 440) / 441; len(points) != want {
			t.Errorf("%d samples: %d points, want %d", n, len(points), want)
		}
		for i, p := range points {
			if p != (Point{Index: int64(i) * 441, Level: MinLevel, Confidence: 1}) {
				t.Errorf("silence: point %d = %+v", i, p)
			}
		}
	}
}

// −3.01 dBFS is a full-scale sine, 0 a square wave; an offset is no level.
func TestLevel(t *testing.T) {
	const rate = 48000
	sine := testkit.Scale(testkit.Tone(rate, 0.5, testkit.Steady(200), []float64{1}), 10/math.Sqrt2)
	square := make([]float64, rate/2)
	for i := range square {
		square[i] = 1
		if i/120%2 == 1 {
			square[i] = -1
		}
	}
	shifted := append([]float64(nil), sine...)
	for i := range shifted {
		shifted[i] = shifted[i]/10 + 0.5
	}
	for _, c := range []struct {
		name string
		x    []float64
		want float64
	}{{"sine", sine, -3.01}, {"square", square, 0}, {"sine at −20 dB with an offset", shifted, -23.01}} {
		if got := track(t, rate, c.x)[25].Level; math.Abs(got-c.want) > 0.02 {
			t.Errorf("%s: level %.3f dBFS, want %.2f", c.name, got, c.want)
		}
	}
}

func TestLostSamples(t *testing.T) {
	const rate, hop, gap = 44100, 441, 1000
	x := testkit.Tone(rate, 1, testkit.Steady(220), testkit.Harmonics(10, 6))
	tr := newTracker(t, rate)
	at := int64(rate / 2)
	points := tr.Push(nil, x[:at])
	points = tr.Lost(points, gap)
	points = tr.Lost(points, 0)
	points = tr.Push(points, x[at+gap:])
	points = tr.Flush(points)
	if len(points) != 100 {
		t.Fatalf("%d points, want 100", len(points))
	}
	lost := 0
	for i, p := range points {
		if p.Index != int64(i)*hop {
			t.Fatalf("point %d at sample %d, want %d", i, p.Index, i*hop)
		}
		if p.Lost {
			lost++
			if p.Voiced || p.F0 != 0 {
				t.Errorf("point %d is lost and voiced: %+v", i, p)
			}
		}
		// Half a frame at 44.1 kHz is 25 + 1/62 Hz = 41 ms / 2, and the filter.
		far := p.Index < at-1100 || p.Index > at+gap+1100
		near := p.Index > at-800 && p.Index < at+gap+800
		if far && p.Lost || near && !p.Lost {
			t.Errorf("point at %d: Lost = %v; samples %d to %d were lost", p.Index, p.Lost, at, at+gap)
		}
		if far && p.Index > 2205 && p.Index < rate-2205 && !p.Voiced {
			t.Errorf("point at %d is not voiced, and touches nothing lost", p.Index)
		}
	}
	t.Logf("%d lost samples: %d frames lost", gap, lost)
}

func TestSamplesThatAreNoSoundAreLost(t *testing.T) {
	const rate = 44100
	for _, bad := range [][2]float64{{math.NaN(), math.Inf(-1)}, {1e105, -1e300}, {8.001, -8.001}} {
		x := testkit.Tone(rate, 0.5, testkit.Steady(220), testkit.Harmonics(10, 6))
		x[10000], x[12000] = bad[0], bad[1]
		lost := 0
		for _, p := range track(t, rate, x) {
			if math.IsNaN(p.F0) || !(p.Level < 10) || !(p.SE <= roughSE) {
				t.Fatalf("%g: point %+v", bad, p)
			}
			if p.Lost {
				lost++
			}
		}
		if lost < 4 || lost > 12 {
			t.Errorf("%g: %d frames lost, want those around samples 10000 and 12000", bad, lost)
		}
	}
	x := testkit.Scale(testkit.Tone(rate, 0.5, testkit.Steady(220), testkit.Harmonics(10, 6)), 2)
	for _, p := range track(t, rate, x) { // a file of numbers over full scale is still heard
		if p.Lost {
			t.Fatalf("6 dB over full scale: lost: %+v", p)
		}
	}
}

// Where a frame's own periods are digital silence, its pitch is the rough one
// and the standard error says so, whatever is around them.
func TestRefineSilence(t *testing.T) {
	const rate = 8000
	x := make([]float64, 2000)
	for _, loud := range []float64{0, 8, 1e-12} {
		for i := range x {
			x[i] = 0
			if i < 800 || i > 1200 {
				x[i] = loud
			}
		}
		r := newRefiner(rate, 62)
		for _, noise := range []float64{0, 1e-9, 0.1} {
			if f, se := r.refine(x, 1000, 105.6, noise, 0); f != 105.6 || se != roughSE {
				t.Errorf("silence, %g around it: %g Hz ± %g c, want 105.6 ± %d", loud, f, se, roughSE)
			}
		}
	}
}

func TestNothingSungNothingVoiced(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of noise")
	}
	clicks := func(rate int) []float64 {
		x := testkit.Silence(20 * rate)
		for i := 0; i < len(x); i += rate / 7 {
			for j := 0; j < rate/500 && i+j < len(x); j++ {
				x[i+j] = 0.5 * math.Exp(-float64(j)/20)
			}
		}
		return x
	}
	for _, rate := range []int{16000, 44100} {
		for _, c := range []struct {
			name string
			x    []float64
		}{
			{"silence", testkit.Silence(60 * rate)},
			{"pink noise at −30 dBFS", testkit.Scale(testkit.Pink(60*rate, 11), 0.03)},
			{"white noise at −30 dBFS", testkit.Scale(testkit.White(60*rate, 12), 0.03)},
			{"breath at −20 dBFS", testkit.Scale(testkit.Breath(60*rate, rate, 13), 0.1)},
			{"clicks", clicks(rate)},
			{"a tone at −80 dBFS", testkit.Scale(testkit.Tone(rate, 1, testkit.Steady(220), testkit.Harmonics(10, 6)), 0.001)},
			{"hum of 50 Hz without overtones at −20 dBFS", testkit.Tone(rate, 1, testkit.Steady(50), []float64{1})},
			{"hum of 60 Hz without overtones at −20 dBFS", testkit.Tone(rate, 1, testkit.Steady(60), []float64{1})},
		} {
			points := track(t, rate, c.x)
			voiced := 0
			for _, p := range points {
				if p.Voiced {
					voiced++
				}
			}
			notes, err := Notes(DefaultConfig(rate), points)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%d Hz, %s: %d of %d frames voiced", rate, c.name, voiced, len(points))
			if len(notes) > 0 || voiced*30 > len(points) {
				t.Errorf("%d Hz, %s: %d notes, %d of %d frames voiced; want no note and under 3.4 %%", rate, c.name, len(notes), voiced, len(points))
			}
		}
	}
}

func TestDefaultConfig(t *testing.T) {
	// The comment of DefaultConfig quotes these.
	want := Config{SampleRate: 44100, MinHz: 62, MaxHz: 1450, Hop: 441, MinLevel: -75}
	if got := DefaultConfig(44100); !reflect.DeepEqual(got, want) {
		t.Errorf("DefaultConfig(44100) = %+v, want %+v", got, want)
	}
	for rate := 8000; rate <= 192000; rate += 9970 {
		if _, err := NewTracker(DefaultConfig(rate)); err != nil {
			t.Errorf("%d Hz: %v", rate, err)
		}
	}
}

func TestIllegalConfig(t *testing.T) {
	for name, change := range map[string]func(*Config){
		"rate 0":               func(c *Config) { c.SampleRate = 0 },
		"rate 7999":            func(c *Config) { c.SampleRate = 7999 },
		"rate 192001":          func(c *Config) { c.SampleRate = 192001 },
		"no lowest frequency":  func(c *Config) { c.MinHz = 0 },
		"range upside down":    func(c *Config) { c.MinHz, c.MaxHz = 1400, 62 },
		"range not a number":   func(c *Config) { c.MaxHz = math.NaN() },
		"highest too high":     func(c *Config) { c.MaxHz = 5000 },
		"hop 0":                func(c *Config) { c.Hop = 0 },
		"hop negative":         func(c *Config) { c.Hop = -441 },
		"hop of a second":      func(c *Config) { c.Hop = 44100 },
		"a partial of 0 Hz":    func(c *Config) { c.Known = []float64{220, 0} },
		"half a range":         func(c *Config) { c.Low = 100 },
		"range above itself":   func(c *Config) { c.Low, c.High = 400, 100 },
		"no such reading":      func(c *Config) { c.Reading = 3 },
		"level over 0":         func(c *Config) { c.MinLevel = 1 },
		"level not a number":   func(c *Config) { c.MinLevel = math.NaN() },
		"level under MinLevel": func(c *Config) { c.MinLevel = -121 },
	} {
		cfg := DefaultConfig(44100)
		change(&cfg)
		if _, err := NewTracker(cfg); err == nil {
			t.Errorf("%s: NewTracker gives no error", name)
		}
		if _, err := NewSegmenter(cfg); err == nil {
			t.Errorf("%s: NewSegmenter gives no error", name)
		}
	}
}

// Other hops and ranges work the same way, also where the hop does not let the
// signal be decimated.
func TestOtherConfigs(t *testing.T) {
	for _, c := range []Config{
		{SampleRate: 44100, MinHz: 50, MaxHz: 2000, Hop: 44, MinLevel: -80},
		{SampleRate: 192000, MinHz: 62, MaxHz: 1400, Hop: 1919, MinLevel: -60},
		{SampleRate: 8000, MinHz: 300, MaxHz: 310, Hop: 200, MinLevel: -60},
		{SampleRate: 96000, MinHz: 1000, MaxHz: 2000, Hop: 2400, MinLevel: -60},
	} {
		tr, err := NewTracker(c)
		if err != nil {
			t.Fatal(err)
		}
		hz := math.Sqrt(c.MinHz * c.MaxHz)
		x := testkit.Tone(c.SampleRate, 0.4, testkit.Steady(hz), testkit.Harmonics(8, 6))
		e, p, unvoiced := worst(tr.Flush(tr.Push(nil, x)), c.SampleRate, testkit.Steady(hz))
		if e > 0.1 || unvoiced > 0 {
			t.Errorf("%+v: %.2f Hz read as %.4f, %d frames not voiced", c, hz, p.F0, unvoiced)
		}
	}
}

// The singer's range decides between candidates that sound alike, and rules
// nothing out: of two tones an octave apart, equally loud, the one inside is
// read; a single tone outside is read all the same.
func TestRangeIsASoftPrior(t *testing.T) {
	const rate = 44100
	read := func(low, high float64, x []float64) float64 {
		cfg := DefaultConfig(rate)
		cfg.Low, cfg.High = low, high
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		return tr.Flush(tr.Push(nil, x))[25].F0
	}
	// Weak odd harmonics: between 150 and 300 Hz. How weak they must be for
	// the sound to leave it open is for the tracker to say.
	open := 0
	for _, odd := range []float64{0.4, 0.3, 0.2, 0.15, 0.1, 0.07, 0.05, 0.03, 0.02} {
		creak := testkit.Tone(rate, 0.5, testkit.Steady(150), []float64{odd, 1, odd, 0.5, odd / 2, 0.25, odd / 3, 0.12})
		low, high := read(70, 140, creak), read(320, 640, creak)
		t.Logf("odd harmonics at %g: %.1f Hz for a singer up to 140 Hz, %.1f for one from 320 Hz", odd, low, high)
		if math.Abs(testkit.Cents(low, 150)) < 50 && math.Abs(testkit.Cents(high, 300)) < 50 {
			open++
		}
	}
	if open == 0 {
		t.Error("the range of the singer never decides between 150 and 300 Hz")
	}
	plain := testkit.Tone(rate, 0.5, testkit.Steady(440), testkit.Harmonics(10, 6))
	if f := read(80, 160, plain); math.Abs(testkit.Cents(f, 440)) > 1 {
		t.Errorf("440 Hz for a singer up to 160 Hz: read as %.1f", f)
	}
}

// The three readings find the same notes. Settled differs from Offline only in
// which candidate wins; Live reads other, shorter windows.
func TestReadingsAgree(t *testing.T) {
	const rate = 44100
	x := testkit.Mix(testkit.Tone(rate, 1.5, testkit.Then(testkit.Vibrato(220, 5.5, 50), 0.7, testkit.Scoop(330, -200, 0.12)), testkit.Vowel(250, 30, 750, 1200, 2600)), testkit.White(rate*3/2, 5), 25)
	points := map[Reading][]Point{}
	for _, r := range []Reading{Offline, Settled, Live} {
		cfg := DefaultConfig(rate)
		cfg.Reading = r
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		var late int64
		for i := 0; i < len(x); i += 64 {
			from := len(points[r])
			points[r] = tr.Push(points[r], x[i:min(i+64, len(x))])
			for _, p := range points[r][from:] {
				late = max(late, int64(min(i+64, len(x)))-p.Index)
			}
		}
		points[r] = tr.Flush(points[r])
		t.Logf("reading %d: a point comes out at most %.0f ms after its centre", r, 1000*float64(late)/rate)
		if limit := map[Reading]float64{Offline: 100, Settled: 0.1, Live: 0.075}[r]; float64(late)/rate > limit {
			t.Errorf("reading %d: a point came out %.0f ms after its centre, want at most %.0f", r, 1000*float64(late)/rate, 1000*limit)
		}
	}
	worstSettled, worstLive := 0.0, 0.0
	for k := 8; k < 145; k++ {
		off, settled, live := points[Offline][k], points[Settled][k], points[Live][k]
		if off.Voiced != settled.Voiced {
			t.Errorf("frame %d: voiced %v offline, %v settled", k, off.Voiced, settled.Voiced)
		}
		if off.Voiced && settled.Voiced {
			worstSettled = math.Max(worstSettled, math.Abs(testkit.Cents(settled.F0, off.F0)))
		}
		if off.Voiced && live.Voiced && (k < 66 || k > 85) { // where one note goes over into the other, other windows see another moment
			worstLive = math.Max(worstLive, math.Abs(testkit.Cents(live.F0, off.F0)))
		}
	}
	t.Logf("against offline: settled at most %.3f c away, live %.1f c", worstSettled, worstLive)
	if worstSettled > 0.01 || worstLive > 40 {
		t.Errorf("against offline: settled %.3f c away, want at most 0.01; live %.1f c, want at most 40", worstSettled, worstLive)
	}
}

// On steady tones in white noise the scatter is compared with the Cramér-Rao
// bound for the frequency of a harmonic signal (see refiner): it cannot be
// below by more than chance, and should not be far above. The standard error
// must tell it within a third.
func TestScatterAgainstCramerRaoBound(t *testing.T) {
	const rate, hz, seconds = 44100, 220.0, 6.0
	amps := testkit.Harmonics(8, 6)
	for _, snr := range []float64{30, 20, 10} {
		x := testkit.Tone(rate, seconds, testkit.Steady(hz), amps)
		power := testkit.RMS(x) * testkit.RMS(x)
		x = testkit.Mix(x, testkit.White(len(x), 7), snr)
		noise := power / math.Pow(10, snr/10) // variance a sample
		sum, a2 := 0.0, 0.0
		for h, a := range amps {
			a2 += a * a / 2
			sum += float64((h+1)*(h+1)) * a * a
		}
		sum *= power / a2 // amplitudes as they are in x
		var squares, se float64
		points := track(t, rate, x)[10:590]
		for _, p := range points {
			if !p.Voiced {
				t.Fatalf("%g dB: not voiced at %d", snr, p.Index)
			}
			e := testkit.Cents(p.F0, hz)
			squares += e * e
			se += p.SE
		}
		got, said := math.Sqrt(squares/float64(len(points))), se/float64(len(points))
		// The refiner sees 24 ms in whole periods, or 60 ms where that says too little.
		bound := func(periods float64) float64 {
			n := rate * periods / hz
			return 1200 / math.Ln2 * math.Sqrt(24*noise/(n*(n*n-1)*sum)) * rate / (2 * math.Pi * hz)
		}
		short, long := bound(6), bound(14)
		least, most := short, short
		switch snr {
		case 20:
			least = long // about half of the frames
		case 10:
			least, most = long, long
		}
		t.Logf("%g dB: RMS error %.3f c, standard error said %.3f c, bound %.3f and %.3f c", snr, got, said, short, long)
		if got < 0.8*least || got > 1.6*most {
			t.Errorf("%g dB: RMS error %.3f c, want 0.8 times %.3f to 1.6 times %.3f c", snr, got, least, most)
		}
		if said < 0.75*got || said > 1.4*got {
			t.Errorf("%g dB: standard error %.3f c, RMS error %.3f c", snr, said, got)
		}
	}
}

func TestPushDoesNotAllocate(t *testing.T) {
	for _, rate := range []int{8000, 44100, 192000} {
		x := mixedSignal(rate)
		tr := newTracker(t, rate)
		seg, err := NewSegmenter(DefaultConfig(rate))
		if err != nil {
			t.Fatal(err)
		}
		points := make([]Point, 0, 1000)
		notes := make([]Note, 0, 100)
		from := 0
		allocs := testing.AllocsPerRun(400, func() {
			points = tr.Push(points[:0], x[from:from+256])
			notes = seg.Push(notes[:0], points)
			seg.Current()
			from = (from + 256) % (len(x) - 256)
		})
		if allocs != 0 {
			t.Errorf("%d Hz: %g allocations per push, want 0", rate, allocs)
		}
	}
}

// One operation is one second of sound.
func BenchmarkTrackerPush(b *testing.B) {
	for _, rate := range []int{8000, 16000, 44100, 48000, 96000, 192000} {
		b.Run(fmt.Sprint(rate), func(b *testing.B) {
			x := testkit.Tone(rate, 1, testkit.Steady(220), testkit.Harmonics(10, 6))
			tr := newTracker(b, rate)
			dst := make([]Point, 0, 200)
			b.ReportAllocs()
			for b.Loop() {
				dst = tr.Push(dst[:0], x)
			}
		})
	}
}

// A quiet note held still is no hum, though its level is as steady and it repeats
// after 1/50 or 1/60 s as well: all but the lowest voices repeat sooner.
func TestQuietHeldNoteIsNoHum(t *testing.T) {
	const rate = 44100
	for _, f := range []float64{150, 180, 200, 300, 480, 535, 600, 660} {
		x := testkit.Silence(rate / 2)
		x = append(x, testkit.Scale(testkit.Tone(rate, 1.5, testkit.Steady(f), testkit.Harmonics(8, 6)), math.Pow(10, -30./20))...) // −50 dBFS
		for i, v := range testkit.Scale(testkit.Pink(len(x), 5), 0.0001) {
			x[i] += v
		}
		missed, frames := 0, 0
		for _, p := range track(t, rate, x) {
			if s := float64(p.Index) / rate; s < 0.53 || s > 1.97 {
				continue
			}
			frames++
			if !p.Voiced || math.Abs(testkit.Cents(p.F0, f)) > 50 {
				missed++
			}
		}
		if missed > 0 {
			t.Errorf("%.0f Hz at −50 dBFS: %d of %d frames missed or wrong", f, missed, frames)
		}
	}
}
