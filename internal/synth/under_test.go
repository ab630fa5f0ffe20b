package synth

import (
	"math"
	"slices"
	"testing"

	"singback/theory"
)

// What sounds under a singer is the same however it is cut, repeats where it says so, begins
// and ends each chord without a click, never exceeds the ceiling, and has its tones exactly:
// a drone's phase after ten minutes is that of its frequency.
func TestUnder(t *testing.T) {
	k, err := theory.ParseKey("C")
	if err != nil {
		t.Fatal(err)
	}
	tuning := theory.Tuning{A4: 440}
	chords, err := theory.ParseProgression("I IV", k)
	if err != nil {
		t.Fatal(err)
	}
	voices, _, err := theory.KeyboardTexture().Voice(chords)
	if err != nil {
		t.Fatal(err)
	}
	vamp, drone := NewVamp(k, tuning, voices, 0.5), NewDrone(k, tuning, 3, true)
	for name, u := range map[string]Under{"vamp": vamp, "drone": drone} {
		u.Keyboard = Keyboard{SampleRate: 8000, Level: -20}
		u.After = 0.1
		whole := make([]float64, 16800)
		u.Fill(whole, 0)
		var parts []float64
		for at, n := 0, 1; at < len(whole); n = n*3%701 + 1 {
			part := make([]float64, min(n, len(whole)-at))
			u.Fill(part, int64(at))
			parts, at = append(parts, part...), at+len(part)
		}
		loudest, jump := 0.0, 0.0
		for i, x := range whole {
			if math.Abs(x-parts[i]) > 1e-9 {
				t.Fatalf("%s: sample %d is %g in parts, %g as a whole", name, i, parts[i], x)
			}
			loudest = max(loudest, math.Abs(x))
			if i > 0 {
				jump = max(jump, math.Abs(x-whole[i-1]))
			}
		}
		if slices.Max(whole[:800]) != 0 || loudest > fromDB(-2) || loudest < fromDB(-20) || jump > loudest {
			t.Errorf("%s: %.4f at most, jumps of %.4f, %g before it begins", name, loudest, jump, slices.Max(whole[:800]))
		}
		if round := u.Round(); (name == "vamp") != (round == 8000) {
			t.Errorf("%s: a round of %d samples", name, round)
		} else if round > 0 {
			again := make([]float64, 8000)
			u.Fill(again, 800+round)
			for i, x := range again {
				if math.Abs(x-whole[800+i]) > 1e-9 {
					t.Fatalf("%s does not repeat: sample %d", name, i)
				}
			}
		}
	}
	for _, u := range []Under{vamp, drone} {
		u.Keyboard = NewKeyboard(48000)
		block, at := make([]float64, 1000), int64(0)
		if n := testing.AllocsPerRun(100, func() { u.Fill(block, at); at += 1000 }); n != 0 {
			t.Errorf("a block allocates %g times", n)
		}
	}
	drone.Keyboard = Keyboard{SampleRate: 48000, Level: -20}
	const at = 600 * 48000
	x := make([]float64, 48000)
	drone.Fill(x, at)
	hz := tuning.Hz(theory.Pitch{Note: k.Tonic, Octave: 3})
	re, im, own := 0.0, 0.0, 0.0
	for i, v := range x { // its fundamental against a sine that is exact
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(hz*float64(at+i)/48000, 1))
		re, im, own = re+v*sin, im+v*cos, own+sin*sin
	}
	if phase := math.Atan2(im, re); math.Abs(phase) > 0.02 || re/own < 0.01*fromDB(-20) {
		t.Errorf("after ten minutes the drone is off by %.3f rad, amplitude %.5f", phase, re/own)
	}
	if n := len(drone.Partials()); n != 16 {
		t.Errorf("%d partials of two tones", n)
	}
}
