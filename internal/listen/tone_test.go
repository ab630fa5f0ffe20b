package listen

import (
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
)

// Who sings straight, and through all of the wait, is no tone of the room.
func TestVoiceBeforeTheWindowIsNoTone(t *testing.T) {
	for seed := range uint64(8) {
		for _, breath := range []float64{15, 30} {
			n := synth.NewSung(196, 4)
			n.VibratoCents, n.BreathDB = 0, breath
			x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{n}, seed)
			ear, err := New(audio.NewSamples(rate, x[3*rate/2:]), Hearing{})
			if err != nil {
				t.Fatal(err)
			}
			ear.Before(nil)
			ear.Before(x[rate/2 : 3*rate/2])
			take, err := ear.Note(t.Context(), exercise.DefaultWindow(), nil)
			if err != nil || !take.Found || take.Start > rate/10 {
				t.Errorf("seed %d, breath at %g dB: found %v from %d, %v", seed, breath, take.Found, take.Start, err)
			}
		}
	}
}

// What the ear learns is forgotten when the next wait begins.
func TestBeforeBeginsAnew(t *testing.T) {
	whine := testkit.Whine(rate, 11, 155, -40)
	ear, err := New(audio.NewSamples(rate, whine), Hearing{})
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
