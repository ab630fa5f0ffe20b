package calib_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"singback/calib"
	"singback/internal/synth"
	"singback/internal/testkit"
)

const probeLevel = -24.0

// echoed is what a microphone captures for a second and a half: room, and the
// test sound after delay seconds, dB weaker than it was played. The delay need
// not be a whole number of samples: the sound is made four times as fine.
func echoed(room []float64, hz int, delay, dB float64) []float64 {
	const fine = 4
	probe := calib.Probe(fine*hz, probeLevel)
	x := append([]float64(nil), room...)
	g := math.Pow(10, dB/20)
	for i := range x {
		if at := int(math.Round((float64(i) - delay*float64(hz)) * fine)); at >= 0 && at < len(probe) {
			x[i] += g * probe[at]
		}
	}
	return x
}

func find(t testing.TB, x []float64, hz int) calib.Echo {
	t.Helper()
	e, err := calib.FindEcho(x, hz, probeLevel)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// Delay to 0.1 ms and level to 0.5 dB where the room is still, to 1 ms and 2 dB
// in all others.
func TestEcho(t *testing.T) {
	n := 3 * rate / 2
	voice := singing(synth.Tenor, synth.A, 165, -40, 3)
	for len(voice) < n {
		voice = append(voice, voice...)
	}
	for _, c := range []struct {
		name         string
		room         []float64
		delay, level float64
		ms, dB       float64
	}{
		{"a still room", pink(-80, n, 1), 0.1234, -20, .1, .5},
		{"at once", pink(-80, n, 1), 0, -3, .1, .5},
		{"as late as the capture has it", pink(-80, n, 1), .999, -20, .1, .5},
		{"louder than played", pink(-80, n, 1), .25, 10, .1, .5},
		{"weaker than the noise", pink(-50, n, 2), .2, -32, 1, 2},
		{"in white noise, 19 dB below it", white(-40, n, 2), .2, -32, 1, 2},
		{"hum", plus(pink(-70, n, 3), hum(-35, n, 50)), .2, -30, 1, 2},
		{"somebody sings", plus(pink(-70, n, 4), voice[:n]), .3, -20, 1, 2},
		{"a door falls shut", clicks(pink(-70, n, 5), .2), .35, -30, 1, 2},
	} {
		got := find(t, echoed(c.room, rate, c.delay, c.level), rate)
		if !got.Heard || math.Abs(got.Delay-c.delay) > c.ms/1000 || math.Abs(got.Level-c.level) > c.dB {
			t.Errorf("%s: %+v, want %.4f s, %.1f dB", c.name, got, c.delay, c.level)
		}
	}
}

// A matched filter in white noise has an output of √(2E/N₀) standard deviations
// at the sound (North 1943; from memory), and a Rayleigh envelope elsewhere,
// whose median is √(2 ln 2). The test sound is as far above the noise as that
// says, is missed nowhere where that is three deviations above the threshold,
// and the noise alone has the highest value that 4000 such draws have.
func TestEchoHasTheWholeGain(t *testing.T) {
	t.Parallel()
	const n, noise = 3 * rate / 2, -40.0
	energy := 0.0
	for _, v := range calib.Probe(rate, probeLevel) {
		energy += v * v / rate
	}
	density := math.Pow(10, noise/10) / (rate / 2)
	median := math.Sqrt(2 * math.Ln2)
	for _, level := range []float64{-32, -29, -20} {
		want := math.Sqrt(2*energy*math.Pow(10, level/10)/density) / median
		if want < 7+3/median {
			t.Fatalf("%g dB is no fair demand: %.1f", level, want)
		}
		mean := 0.0
		const seeds = 6
		for seed := range uint64(seeds) {
			got := find(t, echoed(white(noise, n, seed), rate, .2, level), rate)
			if !got.Heard || math.Abs(got.Delay-.2) > .001 || math.Abs(got.Level-level) > 3 {
				t.Errorf("seed %d, %g dB: %+v", seed, level, got)
			}
			mean += got.Ratio / seeds
		}
		t.Logf("%g dB: ratio %.2f, a perfect filter %.2f", level, mean, want)
		if level < -25 && math.Abs(mean/want-1) > .1 {
			t.Errorf("%g dB: ratio %.2f on average, want %.2f within a tenth", level, mean, want)
		}
	}
	mean := 0.0
	const seeds = 16
	for seed := range uint64(seeds) {
		mean += find(t, white(noise, n, seed+100), rate).Ratio / seeds
	}
	if want := math.Sqrt(math.Log2(4000 / math.Ln2)); math.Abs(mean-want) > .3 {
		t.Errorf("noise alone: %.2f on average, want %.2f", mean, want)
	}
}

// clicks adds loud clicks of 5 ms.
func clicks(x []float64, level float64) []float64 {
	rng := rand.New(rand.NewPCG(uint64(len(x)), 3))
	for range 3 {
		at := rng.IntN(len(x) - rate/200)
		for i := range rate / 200 {
			x[at+i] += level * rng.NormFloat64() * math.Exp(-float64(i)/30)
		}
	}
	return x
}

// What the microphone makes of it: rooms, small microphones, a gain that
// drifts, overload, and every rate.
func TestEchoThrough(t *testing.T) {
	t.Parallel()
	for seed := range tried(12) {
		rng := rand.New(rand.NewPCG(seed, 9))
		hz := []int{16000, 24000, 44100, 48000}[seed%4]
		delay := .01 + .5*rng.Float64()
		level := -40 + 35*rng.Float64()
		x := echoed(make([]float64, 3*hz/2), hz, delay, level)
		if seed%2 == 0 {
			x = synth.Room{RT60: .3 + .4*rng.Float64(), DirectDB: 3}.Reverb(x, hz, seed)[:len(x)]
		}
		if seed%3 == 0 {
			synth.SmallMicrophone(x, hz)
		}
		for i := range x { // 6 dB a second
			x[i] *= math.Pow(10, (6*float64(i)/float64(hz)-4)/20)
		}
		x = plus(x, at(-75, synth.Pink(len(x), seed)))
		got := find(t, x, hz)
		if !got.Heard || math.Abs(got.Delay-delay) > .001 || math.Abs(got.Level-level) > 6 {
			t.Errorf("seed %d, %d Hz: %+v, want %.4f s, %.1f dB", seed, hz, got, delay, level)
		}
	}
}

// "Not heard" is a good result. No noise, hum, voice, keyboard or click is taken
// for the test sound, and the highest ratio among all of them is well below the
// threshold.
func TestNoEcho(t *testing.T) {
	t.Parallel()
	n := 3 * rate / 2
	worst := 0.0
	for seed := range tried(40) {
		var x []float64
		voice := synth.VoiceType(seed / 8 % 5)
		switch seed % 8 {
		case 0:
			x = white(-60, n, seed)
		case 1:
			x = pink(-50, n, seed)
		case 2:
			x = plus(pink(-70, n, seed), hum(-40, n, 50))
		case 3:
			x = street(-50, n, seed)
		case 4:
			x = singing(voice, synth.Vowel(seed%5), easy[voice], -25, seed)[rate/4:][:n]
		case 5:
			x = clicks(pink(-60, n, seed), .5)
		case 6:
			x = synth.NewKeyboard(rate).Render(synth.One(220 * math.Exp2(float64(seed%12)/12)))
			x = plus(append(x, make([]float64, n)...)[:n], pink(-80, n, seed))
		case 7: // a glide of two octaves in a second
			x = plus(testkit.Tone(rate, 1.5, testkit.Glide(easy[voice], 1600), testkit.Harmonics(12, 6)), pink(-70, n, seed))
		}
		got := find(t, x, rate)
		worst = max(worst, got.Ratio)
		if got.Heard || got.Delay != 0 || got.Level != 0 {
			t.Errorf("seed %d (%d): %+v", seed, seed%8, got)
		}
	}
	t.Logf("highest ratio without the test sound: %.2f", worst)
	if got := find(t, make([]float64, n), rate); got.Heard {
		t.Errorf("digital silence: %+v", got)
	}
}

func TestEchoRefuses(t *testing.T) {
	if _, err := calib.FindEcho(make([]float64, rate/2), rate, probeLevel); !errors.Is(err, calib.ErrTooShort) {
		t.Errorf("half a second: %v", err)
	}
	if _, err := calib.FindEcho(make([]float64, rate), 4000, probeLevel); err == nil {
		t.Error("4000 Hz was accepted")
	}
	x := echoed(pink(-70, 3*rate/2, 1), rate, .2, -20)
	x[100], x[101], x[rate] = math.NaN(), math.Inf(1), math.Inf(-1)
	if got := find(t, x, rate); !got.Heard || math.Abs(got.Delay-.2) > .001 {
		t.Errorf("samples that are no numbers: %+v", got)
	}
}

// The test sound keeps to its level, begins and ends at 0, and lasts half a
// second.
func TestProbe(t *testing.T) {
	for _, hz := range []int{8000, 44100, 48000} {
		for _, level := range []float64{-60, -24, 0, 6} {
			x := calib.Probe(hz, level)
			peak := 0.0
			for _, v := range x {
				peak = max(peak, math.Abs(v))
			}
			if most := math.Pow(10, min(level, 0)/20); peak > most || peak < .98*most || x[0] != 0 || math.Abs(x[len(x)-1]) > 1e-9 || len(x) != hz/2 {
				t.Errorf("%d Hz at %g dBFS: %d samples, peak %g", hz, level, len(x), peak)
			}
		}
	}
}
