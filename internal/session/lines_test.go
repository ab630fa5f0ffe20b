package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

type lineFunc func(LinePrompted, float64) (audio.Source, bool, error)

func (f lineFunc) LineSource(p LinePrompted, lead float64) (audio.Source, bool, error) {
	return f(p, lead)
}

// scale is do re mi fa in a meter.
func scale(t testing.TB, meter string, start theory.Fraction) theory.Score {
	t.Helper()
	m, err := theory.ParseMeter(meter)
	if err != nil {
		t.Fatal(err)
	}
	s := theory.Score{Key: key(t, "A major"), Meter: m, Start: start, Tempo: 120}
	for _, name := range []string{"A3", "B3", "C#4", "D4"} {
		p, err := theory.ParsePitch(name)
		if err != nil {
			t.Fatal(err)
		}
		s.Notes = append(s.Notes, theory.Written{Pitch: p, Length: theory.Fraction{Num: 1, Den: 1}})
	}
	return s
}

// sings answers with the line itself, in tones, after the lead.
func sings(p LinePrompted, lead float64) []float64 {
	x := make([]float64, int(lead*rate))
	for _, n := range synth.Line(p.Score, p.Tuning, p.Quarter) {
		x = append(x, tone(n.Duration*0.9, n.Hz)...)
		x = append(x, make([]float64, int(n.Duration*0.1*rate))...)
	}
	return append(x, make([]float64, rate)...)
}

func lines(scores ...theory.Score) Lines {
	return Lines{
		Scores: scores, Tuning: theory.Tuning{A4: 440}, Setting: synth.ByTonic, Tempo: 90, Study: 12,
		Level: func() float64 { return -24 },
		Read:  func(context.Context, float64) error { return nil },
	}
}

func briefLine(e Event) string {
	switch e := e.(type) {
	case LinePrompted:
		return fmt.Sprintf("read %d/%d, %g a minute", e.Index, e.Of, e.Tempo)
	case CountIn:
		return fmt.Sprintf("%d beats", e.Beats)
	case PlayingLine:
		return "plays"
	case LineSung:
		return fmt.Sprintf("sung %d, %.1f s voiced", e.Index, e.Take.Voiced)
	case LinesFinished:
		return fmt.Sprintf("finished %d %v", e.Sung, e.Interrupted)
	}
	return brief(e)
}

// One bar is counted in, two where it has at most two beats, and what an
// incomplete first bar lacks (common practice).
func TestLinesEvents(t *testing.T) {
	var none theory.Fraction
	for _, c := range []struct {
		name  string
		score theory.Score
		set   func(*Lines)
		want  []string
	}{
		{"in 4/4", scale(t, "4/4", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.8 s voiced", "finished 1 false"}},
		{"in 2/4", scale(t, "2/4", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.8 s voiced", "finished 1 false"}},
		{"in 6/8", scale(t, "6/8", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.3 s voiced", "finished 1 false"}},
		{"with a pickup", scale(t, "4/4", theory.Fraction{Num: 1, Den: 1}), nil, []string{"read 1/1, 120 a minute", "key", "7 beats", "listen", "sung 1, 1.8 s voiced", "finished 1 false"}},
		{"free", scale(t, "4/4", none), func(l *Lines) { l.Free = true }, []string{"read 1/1, 120 a minute", "key", "listen", "sung 1, 1.8 s voiced", "finished 1 false"}},
		{"echo", scale(t, "4/4", none), func(l *Lines) { l.Echo = true }, []string{"read 1/1, 120 a minute", "key", "plays", "listen", "sung 1, 1.8 s voiced", "finished 1 false"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg := lines(c.score)
			if c.set != nil {
				c.set(&cfg)
			}
			var got []string
			err := RunLines(t.Context(), cfg, lineFunc(func(p LinePrompted, lead float64) (audio.Source, bool, error) {
				return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: sings(p, lead)}}}, false, nil
			}), audio.Null{Rate: rate}, func(e Event) {
				if s := briefLine(e); s != "" {
					got = append(got, s)
				}
			})
			if err != nil {
				t.Fatal(err)
			}
			same(t, got, c.want...)
		})
	}
}

// sink keeps what was played.
type sink struct {
	audio.Null
	x []float64
}

func (s *sink) Write(_ context.Context, x []float64) error {
	s.x = append(s.x, x...)
	return nil
}

// The window opens 0.15 s before the downbeat, which the take says; the beats
// before it are evenly spaced, and the last one is a beat away from it.
func TestCountInIsInTime(t *testing.T) {
	out := &sink{Null: audio.Null{Rate: rate}}
	cfg := lines(scale(t, "4/4", theory.Fraction{}))
	var from, to int
	var sung LineSung
	err := RunLines(t.Context(), cfg, lineFunc(func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		if lead != 0.15 {
			t.Errorf("lead %g s", lead)
		}
		return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: sings(p, lead)}}}, false, nil
	}), out, func(e Event) {
		switch e := e.(type) {
		case CountIn:
			from = len(out.x)
		case Listening:
			to = len(out.x)
		case LineSung:
			sung = e
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if !sung.HasDownbeat || sung.Downbeat != int64(0.15*rate) || len(sung.Samples) < int(sung.Take.Heard) {
		t.Errorf("downbeat at sample %d of %d", sung.Downbeat, len(sung.Samples))
	}
	var onsets []float64
	quiet := rate
	for i, v := range out.x[from:to] {
		if quiet++; math.Abs(v) > 1e-5 {
			if quiet > rate/10 {
				onsets = append(onsets, float64(i)/rate)
			}
			quiet = 0
		}
	}
	if len(onsets) != 4 {
		t.Fatalf("clicks at %v s", onsets)
	}
	for i, at := range onsets {
		if math.Abs(at-0.5*float64(i)) > 0.002 {
			t.Errorf("click %d at %.4f s, want %.1f", i+1, at, 0.5*float64(i))
		}
	}
	if d := float64(to-from)/rate + 0.15 - 2; math.Abs(d) > 0.001 {
		t.Errorf("the downbeat is %.4f s off", d)
	}
}

// A line is sung again while After says so; an error of it ends the run, and the
// last event comes all the same.
func TestLinesAgain(t *testing.T) {
	enough := errors.New("enough")
	cfg := lines(scale(t, "4/4", theory.Fraction{}), scale(t, "3/4", theory.Fraction{}))
	asked := 0
	cfg.After = func(context.Context, LineSung) (bool, error) {
		asked++
		if asked == 3 {
			return false, enough
		}
		return asked == 1, nil
	}
	var got []string
	opened := 0
	err := RunLines(t.Context(), cfg, lineFunc(func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		opened++
		return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: sings(p, lead)}}}, false, nil
	}), audio.Null{Rate: rate}, func(e Event) {
		switch e.(type) {
		case LineSung, LinesFinished:
			got = append(got, briefLine(e))
		}
	})
	if !errors.Is(err, enough) || opened != 3 {
		t.Errorf("%v after %d answers", err, opened)
	}
	same(t, got, "sung 1, 1.8 s voiced", "sung 1, 1.8 s voiced", "sung 2, 1.8 s voiced", "finished 2 true")
}

// Beats follow the meters of a line, whose strong ones are on bar lines.
func TestBeats(t *testing.T) {
	s := scale(t, "2/4", theory.Fraction{Num: 1, Den: 1})
	s.Notes = append(s.Notes, s.Notes...)
	s.Changes = []theory.Change{{At: theory.Fraction{Num: 5, Den: 1}, Key: s.Key, Meter: theory.Meter{Beats: 3, Unit: 4}}}
	var got string
	for _, b := range beatsFrom(LinePrompted{Score: s, Quarter: 1}, 0, 8, 0) {
		got += fmt.Sprintf("%g", b.At)
		if b.Strong {
			got += "!"
		}
		got += " "
	}
	if want := "0 1! 2 3! 4 5! 6 7 "; got != want {
		t.Errorf("beats %s, want %s", got, want)
	}
}
