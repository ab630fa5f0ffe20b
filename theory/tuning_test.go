package theory_test

import (
	"math"
	"strings"
	"testing"

	. "singback/theory"
)

// Equal temperament on A4 = 440 Hz as any frequency table prints it.
func TestHz(t *testing.T) {
	tuning, err := NewTuning(DefaultA4)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		pitch string
		midi  int
		hz    float64
	}{
		{"C2", 36, 65.406}, {"E2", 40, 82.407}, {"A2", 45, 110.000}, {"C3", 48, 130.813},
		{"A3", 57, 220.000}, {"C4", 60, 261.626}, {"E4", 64, 329.628}, {"G4", 67, 391.995},
		{"A4", 69, 440.000}, {"C5", 72, 523.251}, {"A5", 81, 880.000}, {"C6", 84, 1046.502},
	} {
		p, err := ParsePitch(c.pitch)
		if err != nil {
			t.Fatal(err)
		}
		if p.MIDI() != c.midi {
			t.Errorf("%s is MIDI %d, want %d", c.pitch, p.MIDI(), c.midi)
		}
		if got := tuning.Hz(p); math.Abs(got-c.hz) > 0.0005 {
			t.Errorf("%s = %.4f Hz, want %.3f", c.pitch, got, c.hz)
		}
	}
	// What is spelled differently and sounds alike has one frequency.
	for _, pair := range [][2]string{{"B#3", "C4"}, {"Cb4", "B3"}, {"F##4", "G4"}, {"D#4", "Eb4"}} {
		a, _ := ParsePitch(pair[0])
		b, _ := ParsePitch(pair[1])
		if a == b || tuning.Hz(a) != tuning.Hz(b) {
			t.Errorf("%v and %v: %v and %v Hz, want two spellings of one frequency", a, b, tuning.Hz(a), tuning.Hz(b))
		}
	}
}

// Pitch standards against 440 Hz: 1200·log2(a/440), worked out apart.
func TestA4(t *testing.T) {
	a4 := Pitch{Note{Letter: A}, 4}
	for _, c := range []struct{ hz, cents float64 }{
		{415, -101.27}, {432, -31.77}, {435, -19.79}, {440, 0}, {442, 7.85}, {443, 11.76}, {466, 99.39},
	} {
		tuning, err := NewTuning(c.hz)
		if err != nil {
			t.Fatal(err)
		}
		if got := tuning.Hz(a4); got != c.hz {
			t.Errorf("A4 = %v Hz, want %v", got, c.hz)
		}
		if got := CentsBetween(c.hz, 440); math.Abs(got-c.cents) > 0.005+1e-9 {
			t.Errorf("%v Hz is %.4f c from 440, want %.2f", c.hz, got, c.cents)
		}
	}
	for _, hz := range []float64{MinA4, MaxA4} {
		if _, err := NewTuning(hz); err != nil {
			t.Errorf("NewTuning(%v): %v; the limits are inside", hz, err)
		}
	}
	for _, hz := range []float64{0, -440, 391.99, 494.01, math.NaN(), math.Inf(1), 44100} {
		if _, err := NewTuning(hz); err == nil || !strings.Contains(err.Error(), "want 392 to 494") {
			t.Errorf("NewTuning(%v): %v; want it refused with the range", hz, err)
		}
	}
}

// Tones against C4 = 261.6256 Hz, worked out apart and rounded to 0.01 c.
func TestTestTones(t *testing.T) {
	for _, c := range []struct{ hz, cents float64 }{
		{130.81, -1200.04}, {255, -44.41}, {264, 15.64}, {270, 54.55}, {293.66, 199.97}, {327.03, 386.30},
		{330, 401.96}, {392.44, 701.96}, {436.04, 884.35}, {440, 900.00}, {490.55, 1088.28}, {523.25, 1200.00},
	} {
		if got := CentsBetween(c.hz, 261.6256); math.Abs(got-c.cents) > 0.01 {
			t.Errorf("%v Hz is %.4f c above C4, want %.2f", c.hz, got, c.cents)
		}
	}
}

// Shift undoes CentsBetween, and an octave doubles.
func TestShift(t *testing.T) {
	if got := Shift(440, 1200); got != 880 {
		t.Errorf("440 Hz and 1200 c = %v Hz, want 880", got)
	}
	for _, c := range []Cents{-4800, -50, 0, 21.506, 701.955, 2400} {
		if got := CentsBetween(Shift(261.6256, c), 261.6256); math.Abs(got-c) > 1e-9 {
			t.Errorf("shifted by %v c, measured %v c", c, got)
		}
	}
}
