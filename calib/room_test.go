package calib_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"singback/calib"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/pitch"
)

const rate = 24000

// at scales noise of RMS 1 to a level in dBFS.
func at(level float64, x []float64) []float64 {
	g := math.Pow(10, level/20)
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = g * v
	}
	return y
}

func plus(x []float64, others ...[]float64) []float64 {
	y := append([]float64(nil), x...)
	for _, o := range others {
		for i := range y {
			y[i] += o[i]
		}
	}
	return y
}

func white(level float64, n int, seed uint64) []float64 { return at(level, testkit.White(n, seed)) }
func pink(level float64, n int, seed uint64) []float64  { return at(level, synth.Pink(n, seed)) }
func hum(level float64, n int, mains float64) []float64 {
	return at(level, synth.Hum(n, rate, mains))
}

// street is pink noise that swells and fades by 12 dB, as traffic does.
func street(level float64, n int, seed uint64) []float64 {
	x := pink(level, n, seed)
	for i := range x {
		x[i] *= math.Pow(10, 6*math.Sin(2*math.Pi*float64(i)/rate/2.3+float64(seed))/20)
	}
	return x
}

func measure(t testing.TB, x []float64, rate int) calib.Noise {
	t.Helper()
	n, err := calib.MeasureNoise(x, rate)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// The levels of noise, the mains and fans are known by construction.
func TestNoise(t *testing.T) {
	const n = 4 * rate
	small := func(x []float64) []float64 { synth.SmallMicrophone(x, rate); return x }
	for _, c := range []struct {
		name  string
		x     []float64
		floor float64 // 0 where a filter makes it unknown
		hum   float64
		fan   bool
	}{
		{"digital silence", make([]float64, n), pitch.MinLevel, 0, false},
		{"the microphone's hiss, white", white(-75, n, 1), -75, 0, false},
		{"a loud hiss is no fan", white(-50, n, 2), -50, 0, false},
		{"a quiet room", pink(-75, n, 3), -76, 0, false}, // a decibel of pink noise is slower than a frame
		{"a fan", plus(pink(-50, n, 4), white(-80, n, 5)), -50, 0, true},
		{"a fan in a small microphone", small(pink(-50, n, 4)), 0, 0, true},
		{"the street: loud, but not steady", street(-50, n, 6), 0, 0, false},
		{"50 Hz in a quiet room", plus(pink(-75, n, 7), hum(-60, n, 50)), -59.9, 50, false},
		{"60 Hz in a quiet room", plus(pink(-75, n, 8), hum(-60, n, 60)), -59.9, 60, false},
		{"50 Hz, small microphone", small(plus(pink(-75, n, 9), hum(-50, n, 50))), 0, 50, false},
		{"60 Hz, small microphone", small(plus(pink(-75, n, 10), hum(-50, n, 60))), 0, 60, false},
		{"50 Hz under a fan", plus(pink(-45, n, 11), hum(-50, n, 50)), -43.8, 50, true},
		{"60 Hz under a fan", plus(pink(-45, n, 12), hum(-50, n, 60)), -43.8, 60, true},
		{"49.85 Hz", plus(pink(-75, n, 13), hum(-60, n, 49.85)), -59.9, 50, false},
		{"60.15 Hz", plus(pink(-75, n, 14), hum(-60, n, 60.15)), -59.9, 60, false},
		{"an offset is no sound", plus(pink(-75, n, 15), at(-20, ones(n))), -76, 0, false},
	} {
		got := measure(t, c.x, rate)
		if c.floor != 0 && math.Abs(got.Floor-c.floor) > 1 || got.Hum != c.hum || got.Fan != c.fan || got.Talked() {
			t.Errorf("%s: floor %.1f, hum %g at %.1f, fan %v (%.1f), voiced %.2f; want %.1f, %g, %v", c.name,
				got.Floor, got.Hum, got.HumLevel, got.Fan, got.Broadband, got.Voiced, c.floor, c.hum, c.fan)
		}
		if c.hum != 0 && c.name[3:8] == "Hz in" && math.Abs(got.HumLevel+60) > 1 {
			t.Errorf("%s: hum at %.1f dBFS, want -60", c.name, got.HumLevel)
		}
	}
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

// No hum and no fan where there is none, over many rooms, levels and rates; and
// each where there is one.
func TestNoiseOverManySeeds(t *testing.T) {
	t.Parallel()
	for seed := range tried(8) {
		rng := rand.New(rand.NewPCG(seed, 1))
		hz := []int{16000, 24000, 44100, 48000}[seed%4]
		n := 3 * hz
		level := -85 + 35*rng.Float64()
		clean := at(level, testkit.White(n, seed))
		if seed%2 == 1 {
			clean = at(min(level, -66), synth.Pink(n, seed))
		}
		if got := measure(t, clean, hz); got.Hum != 0 || got.Fan || got.Talked() {
			t.Errorf("seed %d, %d Hz, %.0f dBFS: hum %g, fan %v, voiced %.2f in clean noise", seed, hz, level, got.Hum, got.Fan, got.Voiced)
		}
		mains := []float64{50, 60}[rng.IntN(2)]
		under := level - 3
		x := plus(clean, at(under, synth.Hum(n, hz, mains)))
		if got := measure(t, x, hz); got.Hum != mains {
			t.Errorf("seed %d, %d Hz: hum %g, want %g, 3 dB under %.0f dBFS", seed, hz, got.Hum, mains, level)
		}
		fan := at(-52+15*rng.Float64(), synth.Pink(n, seed+1000))
		if got := measure(t, fan, hz); !got.Fan || got.Hum != 0 {
			t.Errorf("seed %d, %d Hz: fan %v at %.1f dBFS, hum %g", seed, hz, got.Fan, got.Broadband, got.Hum)
		}
	}
}

// The bands of white noise follow from their widths: an octave about f has
// f/√2 of rate/2 hertz.
func TestOctaves(t *testing.T) {
	got := measure(t, white(-40, 10*rate, 3), rate)
	if len(got.Bands) != 9 {
		t.Fatalf("%d bands at %d Hz, want 9", len(got.Bands), rate)
	}
	for _, b := range got.Bands {
		want := -40 + 10*math.Log10(b.Hz/math.Sqrt2/(rate/2))
		if within := 1.0 + 60/b.Hz; math.Abs(b.Level-want) > within {
			t.Errorf("octave about %g Hz: %.2f dBFS, want %.2f within %.1f", b.Hz, b.Level, want, within)
		}
	}
}

func TestNoiseRefuses(t *testing.T) {
	if _, err := calib.MeasureNoise(make([]float64, rate), rate); !errors.Is(err, calib.ErrTooShort) {
		t.Errorf("a second of the room: %v", err)
	}
	if _, err := calib.MeasureNoise(make([]float64, 40000), 4000); err == nil {
		t.Error("4000 Hz was accepted")
	}
	v := synth.Voice{SampleRate: rate, Type: synth.Alto}
	x, _ := v.Sing([]synth.Sung{synth.NewSung(220, 4)}, 1)
	if got := measure(t, plus(x, pink(-70, len(x), 2)), rate); !got.Talked() {
		t.Errorf("somebody sang, and only %.2f is called voiced", got.Voiced)
	}
}

// The gate: the tracker's own levels of the room lie below it, those of soft
// singing above, 20 dB under a voice at ease.
func TestGate(t *testing.T) {
	t.Parallel()
	for _, level := range []float64{-85, -75, -65, -55, -48} {
		for _, make := range []struct {
			name string
			x    func(float64, int, uint64) []float64
		}{{"white", white}, {"pink", pink}} {
			room := make.x(level, 5*rate, 7)
			n := measure(t, room, rate)
			gate := n.Gate(-20)
			v := synth.Voice{SampleRate: rate, Type: synth.Tenor}
			soft := synth.NewSung(196, 2)
			soft.Level = -38
			sung, _ := v.Sing([]synth.Sung{soft}, 3)
			sung = plus(sung, room[:len(sung)])
			above, below := share(t, sung, gate), 1-share(t, room, gate)
			if above < .93 || below < .99 {
				t.Errorf("%s room at %g: gate %.1f, %.3f of soft singing above, %.3f of the room below", make.name, level, gate, above, below)
			}
		}
	}
	for _, c := range []struct{ floor, loud, voice, want float64 }{
		{-70, -68, 0, -64}, // 6 dB above the floor
		{-70, -60, 0, -57}, // 3 dB above what is loud
		{-50, -48, -30, -50},
		{-120, -120, -20, -90},
		{-20, -15, 0, -30},
	} {
		if got := (calib.Noise{Floor: c.floor, Loud: c.loud}).Gate(c.voice); got != c.want {
			t.Errorf("floor %g, loud %g, voice %g: gate %g, want %g", c.floor, c.loud, c.voice, got, c.want)
		}
	}
}

// share is the share of the tracker's frames, but for the edges, whose level
// lies above gate.
func share(t *testing.T, x []float64, gate float64) float64 {
	t.Helper()
	tr, err := pitch.NewTracker(pitch.DefaultConfig(rate))
	if err != nil {
		t.Fatal(err)
	}
	points := tr.Flush(tr.Push(nil, x))
	points = points[5 : len(points)-10]
	above := 0
	for _, p := range points {
		if p.Level > gate {
			above++
		}
	}
	return float64(above) / float64(len(points))
}

// singing is two notes of a voice at ease, as a fair amateur sings them.
func singing(voice synth.VoiceType, vowel synth.Vowel, hz, level float64, seed uint64) []float64 {
	a, b := synth.NewSung(hz, 1.2), synth.NewSung(hz*1.26, 1)
	a.Level, b.Level, a.Vowel, b.Vowel = level, level, vowel, vowel
	x, _ := synth.Voice{SampleRate: rate, Type: voice}.Sing([]synth.Sung{synth.Rest(.2), a, synth.Rest(.1), b, synth.Rest(.2)}, seed)
	return plus(x, pink(-75, len(x), seed))
}

var easy = map[synth.VoiceType]float64{synth.Bass: 110, synth.Tenor: 165, synth.Alto: 247, synth.Soprano: 370, synth.Child: 330}

// Clipping at full scale, and a wave cut off below it, are recognised in every
// voice and vowel; nothing is said of those that are clean.
func TestClipping(t *testing.T) {
	t.Parallel()
	seed := uint64(0)
	for voice, hz := range easy {
		for vowel := synth.A; vowel <= synth.U; vowel += 2 {
			for _, up := range [][]float64{{.8, 1.5}, {1, 2.2}}[(int(voice)+int(vowel))%2] {
				seed++
				x := singing(voice, vowel, hz*up, -20, seed)
				name := fmt.Sprintf("%v, vowel %d, %.0f Hz", voice, vowel, hz*up)
				got := ease(t, x)
				if got.Clipped() {
					t.Errorf("%s, clean: %+v", name, got)
				}
				peak := 0.0
				for _, v := range x {
					peak = max(peak, math.Abs(v))
				}
				loud := append([]float64(nil), x...)
				synth.Clip(loud, -20*math.Log10(peak)+6)
				if got := ease(t, loud); !got.Clipped() || got.Clips == 0 || got.Peak != 0 {
					t.Errorf("%s, 6 dB too loud: %+v", name, got)
				}
				// Cut off, and turned down after that by 8 dB.
				if got := ease(t, at(-8, loud)); !got.Clipped() || got.Clips != 0 {
					t.Errorf("%s, 6 dB too loud and then turned down: %+v", name, got)
				}
			}
		}
	}
	// The top of a sine is as flat as a smooth wave gets.
	for _, hz := range []float64{100, 220, 440, 800, 1000} {
		x := testkit.Tone(rate, 1, testkit.Steady(hz), []float64{1})
		if got := ease(t, x); got.Clipped() {
			t.Errorf("a sine of %g Hz: %+v", hz, got)
		}
	}
}

func ease(t *testing.T, x []float64) calib.Ease {
	t.Helper()
	e, err := calib.MeasureEase(x, rate)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestEaseLevel(t *testing.T) {
	for _, level := range []float64{-12, -20, -35, -48} {
		// A note of the model voice loses 2 dB from beginning to end.
		if got := ease(t, singing(synth.Alto, synth.A, 247, level, 5)); math.Abs(got.Level-(level-1)) > 1.5 || got.Seconds < 1.8 || got.Peak < level {
			t.Errorf("sung at %g: %+v", level, got)
		}
	}
	if _, err := calib.MeasureEase(pink(-50, 3*rate, 1), rate); !errors.Is(err, calib.ErrNoVoice) {
		t.Errorf("nobody sang: %v", err)
	}
}
