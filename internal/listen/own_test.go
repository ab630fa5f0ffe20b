package listen

import (
	"math"
	"testing"

	"singback/internal/audio"
	"singback/internal/synth"
	"singback/pitch"
	"singback/theory"
)

// The level of what the program sounds is found to a decibel, in noise of the room that is
// as loud; of noise alone, of a voice beside it and of tones 20 Hz away little is taken for
// it. Nothing is allocated while it is heard.
func TestOwnLevel(t *testing.T) {
	const rate = 16000
	k, err := theory.ParseKey("C")
	if err != nil {
		t.Fatal(err)
	}
	u := synth.NewDrone(k, theory.Tuning{A4: 440}, 3, true)
	u.Keyboard = synth.Keyboard{SampleRate: rate, Level: -20}
	sound := make([]float64, 2*rate)
	u.Fill(sound, rate)
	mean := 10 * math.Log10(power(sound))
	noise := synth.Pink(2*rate, 3)
	voice, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{synth.NewSung(165, 2)}, 1)
	off := synth.NewDrone(k, theory.Tuning{A4: 508}, 3, true) // 20 Hz and more away
	off.Keyboard = u.Keyboard
	away := make([]float64, 2*rate)
	off.Fill(away, rate)
	noiseGain := math.Sqrt(power(sound) / power(noise))
	voiceGain := math.Sqrt(power(sound) / power(voice))
	for _, c := range []struct {
		name                      string
		sound, noise, voice, away float64
		low, high                 float64 // dB against the sound
	}{
		{"alone", 1, 0, 0, 0, -0.5, 1.5},
		{"in noise", 1, noiseGain, 0, 0, -0.5, 2.5},
		{"40 dB softer", 0.01, 0, 0, 0, -40.5, -38.5},
		{"noise", 0, noiseGain, 0, 0, -60, -5},
		{"a voice between", 0, 0, voiceGain, 0, -120, -5},
		{"other tones", 0, 0, 0, 1, -120, -12},
	} {
		x := make([]float64, 2*rate)
		for i := range x {
			x[i] = c.sound*sound[i] + c.noise*noise[i] + c.away*away[i]
			if i < len(voice) {
				x[i] += c.voice * voice[i]
			}
		}
		ear, err := New(audio.NewSamples(rate, x), Hearing{})
		if err != nil {
			t.Fatal(err)
		}
		var heard int64
		ear.Sounding(u.Partials()[:5], func(n int64) { heard += n })
		ear.Sounding(append(u.Partials()[:5:5], u.Partials()[10:15]...), func(n int64) { heard += n })
		if err := ear.Pass(t.Context(), 3*rate/2, rate); err != nil {
			t.Fatal(err)
		}
		if got := ear.Own() - mean; got < c.low || got > c.high || heard != 3*rate/2 {
			t.Errorf("%s: %.1f dB of what sounds, want %g to %g; %d samples", c.name, got, c.low, c.high, heard)
		}
		if n := testing.AllocsPerRun(20, func() { ear.own.hear(x[:256]) }); n != 0 {
			t.Errorf("%s: %g allocations", c.name, n)
		}
		points := []pitch.Point{{Voiced: true, Level: ear.Own() + 4}, {Voiced: true, Level: ear.Own() + 6}}
		if ear.own.hush(points); points[0].Voiced || !points[1].Voiced {
			t.Errorf("%s: what is as loud is hushed: %+v", c.name, points)
		}
	}
	if h := (Hearing{Gate: -50}).Over(-40); h.Gate != -40+ownGate {
		t.Errorf("the gate over -40 dBFS is %g", h.Gate)
	}
	if h := (Hearing{Gate: -50}).Over(0); h.Gate != -50 {
		t.Errorf("the gate over nothing is %g", h.Gate)
	}
}

func power(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(len(x))
}
