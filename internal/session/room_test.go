package session

import (
	"math"
	"testing"

	"singback/exercise"
	"singback/internal/testkit"
)

// inRoom is a second of wait and ten of a window in a room with a whine of 155 Hz at
// a level in dBFS, and in it what is sung from some seconds after the wait began.
func inRoom(whine float64, at float64, sung []float64) []float64 {
	x := testkit.Whine(rate, 11, 155, whine)
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
		cfg := config()
		cfg.Window, cfg.Think = exercise.DefaultWindow(), 1
		var judged Judged
		s := &script{sing: live(recording(samples))}
		s.on = func(e Event) {
			if j, ok := e.(Judged); ok {
				judged = j
			}
		}
		if _, err := s.degrees(items(t, "do"), 0).run(t.Context(), cfg, null); err != nil {
			t.Fatal(err)
		}
		if v := judged.Verdict; v.Outcome != exercise.InTune || math.Abs(v.Cents) > 2 || v.Answer < 1.9 || v.Answer > 2.1 {
			t.Errorf("a whine of %g dBFS: %v %v, %.1f cents, after %.2f s; want in tune after 2 s", level, v.Outcome, v.Reason, v.Cents, v.Answer)
		}
		if take := heardIn(t, samples); !take.Found || take.Start > rate/2 {
			t.Errorf("a whine of %g dBFS in a recording: found %v at %d; it no longer passes for a voice, so this test shows nothing", level, take.Found, take.Start)
		}
	}
}
