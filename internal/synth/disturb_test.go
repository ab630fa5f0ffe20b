package synth

import (
	"math"
	"slices"
	"testing"
)

func TestPinkNoiseFallsThreeDecibelsAnOctave(t *testing.T) {
	const rate, n = 44100, 1 << 17
	x := Pink(n, 8)
	if r := rms(x); math.Abs(r-1) > 1e-12 {
		t.Errorf("RMS %g, want 1", r)
	}
	// Pink noise by definition has the same power in every octave.
	p := spectrum(x)
	first := band(p, n, rate, 250, 500)
	for hz := 62.5; hz <= 8000; hz *= 2 {
		if db := 10 * math.Log10(band(p, n, rate, hz, 2*hz)/first); math.Abs(db) > 1 {
			t.Errorf("the octave from %g Hz has %+.2f dB, want 0 ± 1", hz, db)
		}
	}
}

func TestBreathNoiseHasTheShapeOfTheVowel(t *testing.T) {
	const rate, n = 22050, 1 << 16
	x := Voice{rate, Alto}.Breath(n, 8)
	p := spectrum(x)
	density := func(from, to float64) float64 { return band(p, n, rate, from, to) / (to - from) }
	// Around F1 and F2 of the alto's ah (800, 1150 Hz) and between F2 and F3.
	if in, out := density(700, 1250), density(1700, 2300); in < 10*out {
		t.Errorf("%.1f dB from the formants to the valley above, want at least 10", 10*math.Log10(in/out))
	}
	if r := rms(x); math.Abs(r-1) > 1e-12 {
		t.Errorf("RMS %g, want 1", r)
	}
}

func TestAddAt(t *testing.T) {
	x := make([]float64, 4000)
	for i := 1000; i < 3000; i++ { // half of it sounds, RMS 0.1·√½
		x[i] = 0.1 * math.Sin(float64(i)*0.1+0.05)
	}
	clean := slices.Clone(x)
	AddAt(x, Pink(len(x), 1), 12)
	for i := range x {
		x[i] -= clean[i]
	}
	if got := toDB(rms(clean[1000:3000]) / rms(x)); math.Abs(got-12) > 1e-9 {
		t.Errorf("SNR %.6f dB, want 12", got)
	}
	silent := make([]float64, 10)
	AddAt(silent, Pink(10, 1), 12)
	if peak(silent) != 0 {
		t.Error("noise was added to silence, for which no ratio is defined")
	}
}

func TestHum(t *testing.T) {
	const rate, n = 8000, 16000
	for _, mains := range []float64{50, 60} {
		x := Hum(n, rate, mains)
		p := spectrum(x)
		outside := band(p, n, rate, 0, rate/2)
		all := outside
		for h := 1.0; h <= 10; h++ {
			line := band(p, n, rate, h*mains-4, h*mains+4)
			if line/all < 1e-4 {
				t.Errorf("%g Hz: harmonic %g has %.0f dB of the power, want more than -40", mains, h, 10*math.Log10(line/all))
			}
			outside -= line
		}
		if math.Abs(outside/all) > 1e-8 || math.Abs(rms(x)-1) > 1e-12 {
			t.Errorf("%g Hz: %g of the power lies outside the lines and the RMS is %g, want 0 and 1", mains, outside/all, rms(x))
		}
	}
}

func TestClip(t *testing.T) {
	x := []float64{0, 0.1, -0.2, 0.3, -0.9}
	Clip(x, 20*math.Log10(4))
	want := []float64{0, 0.4, -0.8, 1, -1}
	for i := range x {
		if math.Abs(x[i]-want[i]) > 1e-12 {
			t.Errorf("sample %d is %g, want %g", i, x[i], want[i])
		}
	}
}

// RT60 by backward integration of the impulse response and a line from −5 to
// −25 dB (Schroeder's method and T20 of ISO 3382, from memory).
func TestRoomDecaysInRT60(t *testing.T) {
	const rate = 22050
	for _, want := range []float64{0.3, 0.6, 1.2} {
		h := Room{RT60: want, DirectDB: 3}.Reverb([]float64{1}, rate, 4)
		if h[0] != 1 {
			t.Errorf("the direct sound is %g, want 1", h[0])
		}
		energy := make([]float64, len(h)+1)
		for i := len(h) - 1; i >= 1; i-- {
			energy[i] = energy[i+1] + h[i]*h[i]
		}
		if got := 10 * math.Log10(1/energy[1]); math.Abs(got-3) > 1e-6 {
			t.Errorf("direct to reflected sound %.3f dB, want 3", got)
		}
		from := rate / 16 // behind the early reflections
		at := func(db float64) float64 {
			for i := from; i < len(energy); i++ {
				if 10*math.Log10(energy[i]/energy[from]) <= db {
					return float64(i) / rate
				}
			}
			return math.NaN()
		}
		if got := 3 * (at(-25) - at(-5)); !(math.Abs(got/want-1) < 0.1) {
			t.Errorf("RT60 %.3f s, want %g within a tenth", got, want)
		}
	}
}

func TestSmallMicrophone(t *testing.T) {
	const rate = 44100
	// Two Butterworth filters of second order, 1/√(1+(f/fc)⁴), with the
	// frequencies as the bilinear transform warps them, f → tan(πf/rate).
	warp := func(hz float64) float64 { return math.Tan(math.Pi * hz / rate) }
	for _, hz := range []float64{62.5, 125, 250, 1000, 4000, 8000} {
		want := -10*math.Log10(1+math.Pow(warp(250)/warp(hz), 4)) - 10*math.Log10(1+math.Pow(warp(hz)/warp(4000), 4))
		x := make([]float64, rate)
		for i := range x {
			x[i] = math.Sin(2 * math.Pi * hz * float64(i) / rate)
		}
		SmallMicrophone(x, rate)
		if got := toDB(rms(x[rate/2:]) * math.Sqrt2); math.Abs(got-want) > 0.02 {
			t.Errorf("%g Hz comes through at %.2f dB, want %.2f", hz, got, want)
		}
	}
}
