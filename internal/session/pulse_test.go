package session

import (
	"context"
	"math"
	"slices"
	"testing"
	"testing/synctest"

	"singback/exercise/compose"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/theory"
)

// answered has a phrase called and sung back in a room in which the microphone hears what
// is played with a gain, by a singer who is late by so many seconds; < 0: by nobody.
func answered(t *testing.T, groove string, click bool, counting Counting, leak, late float64) (got LineSung, r *echoing, events []Event) {
	t.Helper()
	const rate = 16000
	score := scale(t, "4/4", theory.Fraction{})
	r = &echoing{rate: rate, leak: leak, late: 300, sings: -1}
	if late >= 0 {
		sung := []synth.Sung{synth.Rest(lead + late)}
		for _, n := range synth.Line(score, theory.Tuning{A4: 440}, 0.5) {
			s := synth.NewSung(n.Hz, n.Duration)
			s.Consonant = synth.Plosive
			sung = append(sung, s)
		}
		r.voice, _ = synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing(append(sung, synth.Rest(3)), 5)
	}
	s := &script{line: func(LinePrompted, float64) (audio.Source, bool, error) { return r, true, nil }}
	s.on = func(e Event) {
		events = append(events, e)
		switch e := e.(type) {
		case Listening:
			r.begins = true
		case LineSung:
			got = e
		}
	}
	l := s.sightLine(score)
	l.Study, l.Echo, l.Gap, l.Click, l.Counting, l.Tempo = 0, true, 1, click, counting, 120
	if groove != "" {
		g, err := synth.ParseGroove(groove)
		if err != nil {
			t.Fatal(err)
		}
		l.Band = &Band{Groove: g, Chords: compose.Accompany(&score, 0)}
	}
	s.tasks = []Task{l}
	cfg := config()
	cfg.Level = func() float64 { return -30 }
	synctest.Test(t, func(t *testing.T) {
		if _, err := s.run(context.Background(), cfg, r); err != nil {
			t.Error(err)
		}
	})
	return got, r, events
}

// A phrase that is called over a beat is sung back on it: the answer is due a whole number of
// bars after the call, to the sample, the band goes on from one into the other without a gap, and
// who comes in late by 0.2 s is told so. Nobody, and a band that leaks, are no answer.
func TestCallAndResponse(t *testing.T) {
	for _, c := range []struct {
		name     string
		groove   string
		click    bool
		counting Counting
		leak     float64
		late     float64
		masked   bool
	}{
		{"headphones", "straight", false, ClickCount, 0, 0, false},
		{"late", "gospel", false, VoiceCount, 0, 0.2, false},
		{"clicks alone", "", true, ClickCount, 0.1, 0, false},
		{"a little leaks", "ballad", true, ClickCount, 0.02, 0, false},
		{"nobody", "straight", false, VoiceCount, 0.05, -1, false},
		{"nobody, clicks", "", true, VoiceCount, 0.3, -1, false},
		{"too loud", "gospel", false, ClickCount, 3, 0, true},
	} {
		if raceDetector && c.name != "late" {
			continue
		}
		got, r, events := answered(t, c.groove, c.click, c.counting, c.leak, c.late)
		heard := c.late >= 0 && !c.masked
		if got.Heard() != heard || got.Masked != c.masked || got.Counts() != heard {
			t.Errorf("%s: heard %v, masked %v, own %.1f dBFS", c.name, got.Heard(), got.Masked, got.Own)
		}
		shut := slices.ContainsFunc(events, func(e Event) bool { _, ok := e.(Overheard); return ok })
		if shut != c.masked {
			t.Errorf("%s: told to be too loud: %v", c.name, shut)
		}
		counted := false
		for _, e := range events {
			if e, ok := e.(CountIn); ok {
				counted = e.Call && e.Beats == 4 && e.Sung == (c.counting == VoiceCount)
			}
		}
		if !counted {
			t.Errorf("%s: %v", c.name, events)
		}
		if !heard {
			continue
		}
		entry, ok := got.Entry()
		if got.Grade.Right != 4 || !ok || math.Abs(entry-c.late) > 0.06 {
			t.Errorf("%s: %d notes right, %.3f s late, %v", c.name, got.Grade.Right, entry, ok)
		}
		// From the window's first sample on, the sounds are those of the whole that was laid
		// out: what was played is one piece.
		l := got.LinePrompted
		score := l.score()
		a := Accompanied{
			Keyboard: synth.Keyboard{SampleRate: r.rate, Level: -30}, Score: &score, Tuning: l.Tuning, Quarter: l.Quarter, Count: true, Counting: c.counting,
			Click: c.click, Plays: true, Echo: true, Gap: 1, guard: lead + guard,
		}
		if c.groove != "" {
			g, _ := synth.ParseGroove(c.groove)
			a.Band = &Band{Groove: g, Chords: compose.Accompany(&l.Melody.Score, 0)}
		}
		sound, begins, answer := a.Sound()
		if bars := (answer - begins) / (4 * l.Quarter); bars != math.Round(bars) || bars != 2 || begins != 4*l.Quarter {
			t.Errorf("%s: the call begins at %g s, the answer %g bars later", c.name, begins, bars)
		}
		from := int64(len(r.played)) - int64(float64(r.rate)*1.0)
		start := r.sings - int64(math.Round((answer-lead)*float64(r.rate)))
		want := make([]float64, from-start)
		sound.Fill(want, 0)
		if start < 0 {
			t.Fatalf("%s: the sound began at %d", c.name, start)
		}
		off := 0.0
		for i, x := range want {
			off = max(off, math.Abs(x-r.played[start+int64(i)]))
		}
		if off > 1e-9 {
			t.Errorf("%s: what was played is off by %g from what was laid out", c.name, off)
		}
	}
}

// No groove is an answer where it leaks and nobody sings: at 20 dB under what is played, a
// headphone that lies beside the microphone, neither its tones nor its percussion.
func TestBandAnswersNothing(t *testing.T) {
	for i, groove := range synth.GrooveNames() {
		if raceDetector && i > 0 {
			break
		}
		for _, leak := range []float64{0.1, 0.02} {
			if got, _, _ := answered(t, groove, false, ClickCount, leak, -1); got.Heard() || got.Counts() {
				t.Errorf("%s, %.0f dB: heard %d notes, own %.1f dBFS", groove, 20*math.Log10(leak), len(got.Sung.Notes), got.Own)
			}
		}
	}
}

// What counts by voice never sounds in the last 0.35 s before the singer comes in, and a
// fast tempo is counted by clicks; accents follow the meter: strong on the first beat, half
// as strong in the middle of four, two pulses in 6/8, four in 12/8 (common practice).
func TestCounting(t *testing.T) {
	for _, c := range []struct {
		meter string
		want  string // of the count: S strong, h half, w weak
	}{
		{"4/4", "Swhw"}, {"3/4", "Sww"}, {"2/4", "SwSw"}, {"6/8", "SwSw"}, {"12/8", "Swhw"}, {"9/8", "Sww"},
	} {
		m, _ := theory.ParseMeter(c.meter)
		beats, seconds := countIn(&theory.Score{Meter: m}, 0.5)
		got := ""
		for i, b := range beats {
			switch {
			case b.Strong:
				got += "S"
			case b.Half:
				got += "h"
			default:
				got += "w"
			}
			if want := float64(i) * m.Pulse().Float() * 0.5; math.Abs(b.At-want) > 1e-9 {
				t.Errorf("%s: beat %d at %g s", c.meter, i+1, b.At)
			}
		}
		if got != c.want || math.Abs(seconds-float64(len(beats))*m.Pulse().Float()*0.5) > 1e-9 {
			t.Errorf("%s: %s in %g s", c.meter, got, seconds)
		}
	}
	for _, tempo := range []float64{40, 72, 120, 200} {
		const rate = 8000
		score := scale(t, "4/4", theory.Fraction{})
		a := Accompanied{
			Keyboard: synth.NewKeyboard(rate), Score: &score, Tuning: theory.Tuning{A4: 440},
			Quarter: 60 / tempo, Count: true, Counting: VoiceCount, guard: lead + guard,
		}
		sound, begins, answer := a.Sound()
		x := make([]float64, int(begins*rate))
		sound.Fill(x, 0)
		peak, last := 0.0, 0
		for i, v := range x {
			if peak = max(peak, math.Abs(v)); v != 0 {
				last = i
			}
		}
		if begins != answer || peak < 0.03 || peak > 0.8 {
			t.Errorf("at %g: %g s, %g s, %.3f at most", tempo, begins, answer, peak)
		}
		if quiet := begins - float64(last)/rate; quiet < lead+guard-0.001 && tempo < 200 {
			t.Errorf("at %g a voice still sounds %.3f s before the line", tempo, quiet)
		}
	}
}
