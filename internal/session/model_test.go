package session

import (
	"math"
	"slices"
	"testing"

	"singback/exercise/compose"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// With a model the note to start from, the right note and the phrase of an echo are sung by
// it, sample for sample; the key stays on the keyboard.
func TestModelSings(t *testing.T) {
	c := config()
	c.Compare = true
	model := synth.Model{Type: synth.Tenor, Names: theory.Movable}
	c.Model = &model
	model.SampleRate, model.Level = rate, -24
	as := func(hz float64, k theory.Key, p theory.Pitch) []float64 {
		return model.Render([]synth.Timed{{Hz: hz, Duration: 1.2, Key: k, Pitch: p}})
	}
	var opened []*testkit.Source
	out := &sink{Null: null}
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0}, &opened)}
	asked := items(t, "sol-mi")
	var keyed, prompted, told int
	s.on = func(e Event) {
		switch e.(type) {
		case Prompted:
			prompted = len(out.x)
		case KeySet:
			keyed = len(out.x)
		case Sounding:
			told = len(out.x)
		}
	}
	if _, err := s.degrees(asked, 0).run(t.Context(), c, out); err != nil {
		t.Fatal(err)
	}
	it := asked[0]
	key := synth.Keyboard{SampleRate: rate, Level: -24}.Render(c.Setting.Phrase(it.Key, it.Tuning, it.Register.TonicOctave))
	target, _ := it.Target()
	for what, want := range map[string]struct {
		at int
		x  []float64
	}{
		"the key":       {keyed, key},
		"where from":    {prompted, as(it.Hz(it.FromPitch()), it.Key, it.FromPitch())},
		"what is right": {told, as(it.Hz(target), it.Key, target)},
	} {
		if got := out.x[want.at:]; len(got) < len(want.x) || !slices.Equal(got[:len(want.x)], want.x) {
			t.Errorf("%s sounds otherwise", what)
		}
	}

	out, s = &sink{Null: null}, &script{}
	s.line = sightSung
	l := s.sightLine(scale(t, "4/4", theory.Fraction{}))
	l.Echo = true
	s.tasks = []Task{l}
	s.on = func(e Event) {
		if _, ok := e.(PlayingLine); ok {
			told = len(out.x)
		}
	}
	if _, err := s.run(t.Context(), c, out); err != nil {
		t.Fatal(err)
	}
	want := model.Render(synth.Line(l.Melody.Score, l.Tuning, 0.5))
	if got := out.x[told:]; len(got) < len(want) || !slices.Equal(got[:len(want)], want) {
		t.Error("the phrase sounds otherwise")
	}
}

// A guide that is sung after a count-in has its first vowel on the beat, the consonant
// before it.
func TestGuideIsSungInTime(t *testing.T) {
	score := scale(t, "4/4", theory.Fraction{})
	a := Accompanied{
		Keyboard: synth.Keyboard{SampleRate: rate, Level: -24}, Model: &synth.Model{Type: synth.Alto},
		Score: &score, Tuning: theory.Tuning{A4: 440}, Quarter: 0.5, Count: true, Plays: true,
	}
	x := a.Samples()
	level := func(from, to float64) float64 { return testkit.RMS(x[int(from*rate):int(to*rate)]) }
	full := level(2.2, 2.4)
	if before, at := level(1.94, 1.97), level(2.01, 2.03); before > full/4 || at < full/2 {
		t.Errorf("level %.4f before the beat, %.4f on it, %.4f later", before, at, full)
	}
}

// Over a band a voice sings the line that the keyboard plays else, on the same beats, and all
// together is as loud as the level says.
func TestVoiceOverBand(t *testing.T) {
	score := scale(t, "4/4", theory.Fraction{})
	groove, err := synth.ParseGroove("straight")
	if err != nil {
		t.Fatal(err)
	}
	sound := func(m *synth.Model, plays bool) []float64 {
		a := Accompanied{
			Keyboard: synth.Keyboard{SampleRate: rate, Level: -23}, Model: m, Score: &score, Tuning: theory.Tuning{A4: 440},
			Quarter: 0.5, Count: true, Plays: plays, Band: &Band{Groove: groove, Chords: compose.Accompany(&score, 0)},
		}
		return a.Samples()
	}
	played, sung, band := sound(nil, true), sound(&synth.Model{Type: synth.Alto}, true), sound(nil, false)
	for name, x := range map[string][]float64{"played": played, "sung": sung, "band": band} {
		if g := 20 * math.Log10(synth.Gain(x, rate, -23)); math.Abs(g) > 0.3 {
			t.Errorf("%s is %.2f dB off its level", name, -g)
		}
	}
	// What is not the band's, nearly: it is softer under a line.
	over := func(x []float64) float64 {
		y := make([]float64, len(band))
		for i := range y {
			y[i] = x[i] - band[i]
		}
		return testkit.RMS(y[int(2.1*rate):int(5.5*rate)])
	}
	if d := 20 * math.Log10(over(sung)/over(played)); math.Abs(d) > 6 {
		t.Errorf("the voice is %.1f dB over the keyboard", d)
	}
	if slices.Equal(played, sung) || len(sung) < int(6*rate) {
		t.Errorf("nobody sings: %d samples", len(sung))
	}
}
