package pitch

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/mjibson/go-dsp/fft"

	"singback/internal/testkit"
)

func newEstimator(t testing.TB, rate float64) *Estimator {
	t.Helper()
	e, err := NewEstimator(rate, 62, 1400)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// compareWithDirect checks the fast difference function and the lag chosen from
// it against the double sum, on one frame.
func compareWithDirect(t *testing.T, e *Estimator, frame []float64) {
	t.Helper()
	if !e.load(frame) {
		return
	}
	e.difference()
	fast := append([]float64(nil), e.d...)
	slow := make([]float64, len(e.d))
	differenceDirect(slow, e.x, e.window)
	// d is a sum of squares of values up to 4: its rounding grows with the
	// energy in the window, so that is what it is compared with.
	energy := e.power[len(e.power)-1]
	for lag := range slow {
		if diff := math.Abs(fast[lag] - slow[lag]); diff > 1e-13*energy+1e-9*slow[lag] {
			t.Fatalf("d(%d) = %g, direct sum %g, energy %g", lag, fast[lag], slow[lag], energy)
		}
	}
	// d′ divides by the sum of d so far. Where that is next to nothing, it is
	// rounding over rounding, and as uncertain as that.
	sums := make([]float64, len(slow))
	for lag := 1; lag < len(slow); lag++ {
		sums[lag] = sums[lag-1] + slow[lag]
	}
	normalise(fast)
	normalise(slow)
	for lag := 1; lag < len(slow); lag++ {
		rounding := 1e-13 * energy * float64(lag) * (1 + slow[lag]) / sums[lag]
		if diff := math.Abs(fast[lag] - slow[lag]); diff > 1e-9*math.Max(1, slow[lag])+rounding {
			t.Fatalf("d′(%d) = %.12g, direct sum %.12g", lag, fast[lag], slow[lag])
		}
	}
	if sums[e.minLag] < 1e-4*energy {
		return
	}
	e.d = fast
	gotLag, gotAp := e.choose()
	e.d = slow
	wantLag, wantAp := e.choose()
	if math.Abs(gotLag-wantLag) > 1e-6*wantLag || math.Abs(gotAp-wantAp) > 1e-9 {
		t.Fatalf("fast: lag %.9g, aperiodicity %.9g; direct: %.9g, %.9g", gotLag, gotAp, wantLag, wantAp)
	}
}

func TestDifferenceEqualsDirectSum(t *testing.T) {
	for _, rate := range []int{32000, 44100, 48000} {
		e := newEstimator(t, float64(rate))
		n := e.FrameLength()
		seconds := float64(n+10) / float64(rate)
		offset := func(x []float64, dc float64) []float64 {
			for i := range x {
				x[i] += dc
			}
			return x
		}
		tone := func() []float64 {
			return testkit.Tone(rate, seconds, testkit.Steady(211), testkit.Harmonics(10, 6))
		}
		step := testkit.Silence(n)
		for i := n / 2; i < n; i++ {
			step[i] = 1
		}
		click := testkit.Silence(n)
		click[n/3] = 1
		for _, c := range []struct {
			name  string
			frame []float64
		}{
			{"tone", tone()},
			{"sine at the lowest frequency", testkit.Tone(rate, seconds, testkit.Steady(65.4), []float64{1})},
			{"sine at the highest frequency", testkit.Tone(rate, seconds, testkit.Steady(1399), []float64{1})},
			{"loud offset, quiet tone", offset(testkit.Scale(tone(), 1e-3), 0.9)},
			{"noise", testkit.White(n, 1)},
			{"pink noise", testkit.Pink(n, 1)},
			{"noise and tone", testkit.Mix(tone(), testkit.White(n+10, 1), 10)},
			{"step", step},
			{"click", click},
			{"very quiet", testkit.Scale(tone(), 1e-90)},
			{"denormal", testkit.Scale(tone(), 1e-310)},
			{"very loud", testkit.Scale(tone(), 1e200)},
			{"silence", testkit.Silence(n)},
			{"constant", offset(testkit.Silence(n), 0.7)},
		} {
			t.Run(c.name, func(t *testing.T) { compareWithDirect(t, e, c.frame[:n]) })
		}
	}
}

func TestFramesWithoutPitch(t *testing.T) {
	e := newEstimator(t, 44100)
	n := e.FrameLength()
	constant := testkit.Silence(n)
	for i := range constant {
		constant[i] = 0.7
	}
	for name, frame := range map[string][]float64{
		"silence": testkit.Silence(n), "constant": constant,
		"denormals": testkit.Scale(testkit.White(n, 1), 1e-310),
	} {
		if got := e.Estimate(frame); got != (Estimate{Aperiodicity: 1}) {
			t.Errorf("%s: %+v, want no pitch and aperiodicity 1", name, got)
		}
	}
}

// The level and an offset of the signal do not change its pitch.
func TestPitchIgnoresLevelAndOffset(t *testing.T) {
	e := newEstimator(t, 44100)
	n := e.FrameLength()
	x := testkit.Tone(44100, 0.1, testkit.Steady(220), testkit.Harmonics(10, 6))[:n]
	want := e.Estimate(x)
	for _, gain := range []float64{1e-4, 8, 1e6} {
		for _, dc := range []float64{0, 0.5, -0.9} {
			y := make([]float64, n)
			for i := range y {
				y[i] = gain*x[i] + dc
			}
			if got := e.Estimate(y); math.Abs(testkit.Cents(got.F0, want.F0)) > 1e-3 {
				t.Errorf("gain %g, offset %g: %.4f Hz, want %.4f", gain, dc, got.F0, want.F0)
			}
		}
	}
}

// The transform of another library gives the same difference function.
func TestDifferenceWithAnotherTransform(t *testing.T) {
	const rate = 44100
	e := newEstimator(t, rate)
	n := e.FrameLength()
	x := testkit.Mix(testkit.Tone(rate, 0.1, testkit.Steady(311), testkit.Harmonics(10, 6)), testkit.White(rate/10, 3), 15)
	if !e.load(x[:n]) {
		t.Fatal("frame has no signal")
	}
	e.difference()
	const m = 4096 // not our length
	a, b := make([]float64, m), make([]float64, m)
	copy(a, e.x[:e.window])
	copy(b, e.x)
	fa, fb := fft.FFTReal(a), fft.FFTReal(b)
	for i := range fa {
		fa[i] = complex(real(fa[i]), -imag(fa[i])) * fb[i]
	}
	cross := fft.IFFT(fa)
	worst := 0.0
	for lag := range e.d {
		var s float64
		for j := 0; j < e.window; j++ {
			s += e.x[j]*e.x[j] + e.x[j+lag]*e.x[j+lag]
		}
		worst = math.Max(worst, math.Abs(e.d[lag]-(s-2*real(cross[lag])))/s)
	}
	if worst > 1e-12 {
		t.Errorf("differs by %g of the energy, want < 1e-12", worst)
	}
}

// Values of d′ worked by hand from eq. 8: d = 4, 2, 6 gives 1, 2·2/6, 3·6/12.
func TestNormalise(t *testing.T) {
	d := []float64{0, 4, 2, 6}
	normalise(d)
	for i, want := range []float64{1, 1, 2.0 / 3, 1.5} {
		if math.Abs(d[i]-want) > 1e-15 {
			t.Errorf("d′(%d) = %g, want %g", i, d[i], want)
		}
	}
	zero := []float64{0, 0, 0}
	normalise(zero)
	if zero[1] != 1 || zero[2] != 1 {
		t.Errorf("d′ of nothing = %v, want 1", zero)
	}
}

func TestNewEstimatorRejects(t *testing.T) {
	for _, c := range []struct{ rate, lo, hi float64 }{
		{0, 62, 1400}, {math.NaN(), 62, 1400}, {math.Inf(1), 62, 1400},
		{44100, 0, 1400}, {44100, 1400, 62}, {44100, 62, 12000}, {44100, math.NaN(), 1400}, {44100, 0.1, 1400},
	} {
		if _, err := NewEstimator(c.rate, c.lo, c.hi); err == nil {
			t.Errorf("NewEstimator(%g, %g, %g) gives no error", c.rate, c.lo, c.hi)
		}
	}
}

func TestEstimatePanicsOnAnotherLength(t *testing.T) {
	e := newEstimator(t, 44100)
	defer func() {
		if recover() == nil {
			t.Error("no panic for a frame that is too short")
		}
	}()
	e.Estimate(make([]float64, e.FrameLength()-1))
}

func FuzzYIN(f *testing.F) {
	f.Add([]byte{0, 1, 2, 3}, 0.0)
	f.Add([]byte{255, 0, 255, 0, 1, 0, 200, 3}, 0.9)
	f.Add([]byte("a frame that is repeated until it is long enough"), -1e-3)
	e, err := NewEstimator(8000, 100, 1400) // small, to try many
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, b []byte, offset float64) {
		if len(b) < 2 || !(math.Abs(offset) < 1e6) {
			return
		}
		frame := make([]float64, e.FrameLength())
		for i := range frame {
			j := 2 * i % (len(b) - 1)
			frame[i] = offset + float64(int16(binary.LittleEndian.Uint16(b[j:])))/(1<<15)
		}
		compareWithDirect(t, e, frame)
		got := e.Estimate(frame)
		if !(got.Aperiodicity >= 0 && got.Aperiodicity <= 1) || !(got.F0 == 0 || got.F0 >= 100 && got.F0 <= 1400) {
			t.Fatalf("estimate %+v is outside its range", got)
		}
	})
}

func BenchmarkDifference(b *testing.B) {
	e := newEstimator(b, 44100)
	e.load(testkit.White(e.FrameLength(), 1))
	b.Run("fast", func(b *testing.B) {
		for b.Loop() {
			e.difference()
		}
	})
	b.Run("direct", func(b *testing.B) {
		d := make([]float64, len(e.d))
		for b.Loop() {
			differenceDirect(d, e.x, e.window)
		}
	})
}
