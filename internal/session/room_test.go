package session

import (
	"math"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
)

// inRoom is a second of wait and ten of a window in a room with a whine of 155 Hz at
// a level in dBFS, and in it what is sung from some seconds after the wait began.
func inRoom(whine float64, at float64, sung []float64) []float64 {
	n := 11 * rate
	x := testkit.Scale(testkit.White(n, 3), math.Pow(10, -75.0/20))
	tone := testkit.Tone(rate, 11, testkit.Steady(155), []float64{1, 0.5, 0.25, 0.12})
	for i, v := range testkit.Scale(tone, math.Pow(10, whine/20)/testkit.RMS(tone)) {
		x[i] += v
	}
	for i, v := range sung {
		x[int(at*rate)+i] += v
	}
	return x
}

// A whine that was there before the window opened is the room's: it answers
// nothing, and who sings into it is measured, at its pitch and level too. In a
// recording, which has no before, it is an answer.
func TestToneOfTheRoomIsNoAnswer(t *testing.T) {
	it := items(t, "do")[0]
	target, _ := it.Target()
	for _, level := range []float64{-50, -45, -40, -35} {
		samples := inRoom(level, 3.2, testkit.Scale(tone(2.5, it.Hz(target)), 0.2))
		cfg := config(items(t, "do"))
		cfg.Window, cfg.Think = exercise.DefaultWindow(), 1
		var judged Judged
		_, err := Run(t.Context(), cfg, answerFunc(func(Prompted) (audio.Source, bool, error) {
			return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: samples}}}, true, nil
		}), audio.Null{Rate: rate}, func(e Event) {
			if j, ok := e.(Judged); ok {
				judged = j
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		if v := judged.Verdict; v.Outcome != exercise.InTune || math.Abs(v.Cents) > 2 || v.Answer < 1.9 || v.Answer > 2.1 {
			t.Errorf("a whine of %g dBFS: %v %v, %.1f cents, after %.2f s; want in tune after 2 s", level, v.Outcome, v.Reason, v.Cents, v.Answer)
		}
		if take := heardIn(t, Hearing{}, samples); !take.Found || take.Start > rate/2 {
			t.Errorf("a whine of %g dBFS in a recording: found %v at %d; it no longer passes for a voice, so this test shows nothing", level, take.Found, take.Start)
		}
	}
}

// Who sings straight, and through all of the wait, is no tone of the room.
func TestVoiceBeforeTheWindowIsNoTone(t *testing.T) {
	for seed := range uint64(8) {
		for _, breath := range []float64{15, 30} {
			n := synth.NewSung(196, 4)
			n.VibratoCents, n.BreathDB = 0, breath
			x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{n}, seed)
			ear, err := NewEar(audio.NewSamples(rate, x[3*rate/2:]))
			if err != nil {
				t.Fatal(err)
			}
			ear.Before(nil)
			ear.Before(x[rate/2 : 3*rate/2])
			take, err := ear.Listen(t.Context(), exercise.DefaultWindow(), nil)
			if err != nil || !take.Found || take.Start > rate/10 {
				t.Errorf("seed %d, breath at %g dB: found %v from %d, %v", seed, breath, take.Found, take.Start, err)
			}
		}
	}
}

// What the ear learns is forgotten when the next wait begins.
func TestBeforeBeginsAnew(t *testing.T) {
	whine := inRoom(-40, 0, nil)
	ear, err := NewEar(audio.NewSamples(rate, whine))
	if err != nil {
		t.Fatal(err)
	}
	ear.Before(whine[:rate])
	if ear.room == nil {
		t.Fatal("the whine is no tone")
	}
	if n := testing.AllocsPerRun(50, func() { ear.Before(whine[:blockSize]) }); n != 0 {
		t.Errorf("%v allocations a block", n)
	}
	ear.Before(nil)
	if ear.room != nil {
		t.Error("the tone of the wait before is kept")
	}
}
