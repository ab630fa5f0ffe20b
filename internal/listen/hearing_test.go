package listen

import (
	"math"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/pitch"
	"singback/theory"
)

// hummed is a room in which, a third of a second after the window has opened,
// something begins to hum at twice the 60 Hz of the mains, as a refrigerator
// does, at so many dBFS, and in which somebody sings an A3 after so many seconds.
func hummed(after, seconds, level float64) []float64 {
	n := int((after + seconds + 1) * rate)
	x := testkit.Scale(testkit.White(n, 3), math.Pow(10, -75.0/20))
	hum := testkit.Tone(rate, after+seconds, testkit.Steady(120), []float64{1, 0.5, 0.25, 0.12})
	hum = testkit.Scale(hum, math.Pow(10, level/20)/testkit.RMS(hum))
	for i, v := range hum[:min(len(hum), n-rate/3)] {
		x[rate/3+i] += v
	}
	// A tone would not do: with hum beside it nothing so still is taken for a voice.
	note := synth.NewSung(220, seconds)
	note.Level, note.ScoopCents, note.FallCents = -34, 0, 0
	voice, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{note}, 1)
	for i, v := range voice {
		x[int(after*rate)+i] += v
	}
	return x
}

func heardIn(t *testing.T, h Hearing, samples []float64) exercise.Take {
	t.Helper()
	ear, err := New(audio.NewSamples(rate, samples), h)
	if err != nil {
		t.Fatal(err)
	}
	take, err := ear.Note(t.Context(), exercise.DefaultWindow(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return take
}

// Hum that passes for a voice closes a live window before anybody has sung.
// With the gate that was measured in that room the window stays open, and the
// singer is measured.
func TestHumKeepsTheWindowOpenWithTheMeasuredGate(t *testing.T) {
	it := asked(t, "do")
	tol := exercise.Tolerance{Cents: 35}
	samples := hummed(4, 2.5, -48)

	without := heardIn(t, Hearing{}, samples)
	if v := exercise.Judge(it, without, tol); v.Outcome != exercise.NotMeasured || v.Reason != exercise.TooNoisy || without.Heard > 4*rate {
		t.Errorf("without a gate: %v %v after %.2f s; the hum no longer passes for a voice, so this test shows nothing", v.Outcome, v.Reason, float64(without.Heard)/rate)
	}
	with := heardIn(t, Hearing{Gate: -40}, samples)
	v := exercise.Judge(it, with, tol)
	if v.Outcome != exercise.InTune || math.Abs(v.Cents) > 1 {
		t.Errorf("with the gate: %v %v, %.2f cents; want A3 in tune", v.Outcome, v.Reason, v.Cents)
	}
	if v.Answer < 3.9 || v.Answer > 4.1 {
		t.Errorf("the answer began after %.2f s, want 4", v.Answer)
	}
}

// Where only the room is heard, the window waits for its time and says so; a
// voice below the gate is too quiet, not noise.
func TestNobodySingsInARoomOfKnownLevel(t *testing.T) {
	it := asked(t, "do")
	room := hummed(20, 0, -48)
	for _, c := range []struct {
		name    string
		samples []float64
	}{
		{"hum alone", room},
		{"a voice below the gate", slices.Concat(silence(0.5), testkit.Scale(tone(3, 220), 0.005/testkit.RMS(tone(1, 220))), silence(20))},
	} {
		take := heardIn(t, Hearing{Gate: -40}, c.samples)
		if seconds := float64(take.Heard) / rate; take.Found || seconds < 7.9 || seconds > 8.1 {
			t.Errorf("%s: found %v after %.2f s, want nothing for 8 s", c.name, take.Found, seconds)
		}
		if v := exercise.Judge(it, take, exercise.Tolerance{Cents: 35}); v.Reason != exercise.TooQuiet {
			t.Errorf("%s: %v, want too quiet", c.name, v.Reason)
		}
	}
}

// The range is no wall: notes up to an octave outside it are heard as they
// are, live and at the same pitch.
func TestRangeIsNoWall(t *testing.T) {
	tenor := Hearing{Low: 98, High: 523} // G2 to C5
	for _, hz := range []float64{65.4, 82.4, 98, 220, 523, 740, 1047} {
		for _, h := range []Hearing{{}, tenor} {
			take := heardIn(t, h, slices.Concat(silence(0.5), testkit.Scale(tone(1.5, hz), 0.2), silence(1)))
			if !take.Found || math.Abs(theory.CentsBetween(take.Note.F0, hz)) > 1 {
				t.Errorf("%g Hz with %+v: found %v, %.2f Hz", hz, h, take.Found, take.Note.F0)
			}
		}
	}
}

func TestHearingConfig(t *testing.T) {
	if got, want := (Hearing{}).Config(rate), pitch.DefaultConfig(rate); got.Low != want.Low || got.High != want.High || got.MinLevel != want.MinLevel {
		t.Errorf("knowing nothing: %+v, want %+v", got, want)
	}
	got := Hearing{Low: 100, High: 400, Gate: -44}.Config(rate)
	if got.Low != 100 || got.High != 400 || got.MinLevel != -44 || got.MinHz != pitch.DefaultConfig(rate).MinHz {
		t.Errorf("%+v", got)
	}
	if _, err := New(audio.NewSamples(rate, nil), Hearing{Low: 5, High: 1}); err == nil {
		t.Error("a range upside down was taken")
	}
}
