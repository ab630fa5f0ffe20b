package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/theory"
)

// One bar is counted in, two where it has at most two beats, and what an
// incomplete first bar lacks (common practice).
func TestLinesEvents(t *testing.T) {
	var none theory.Fraction
	for _, c := range []struct {
		name  string
		score theory.Score
		set   func(*Line)
		want  []string
	}{
		{"in 4/4", scale(t, "4/4", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"in 2/4", scale(t, "2/4", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"in 6/8", scale(t, "6/8", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.2 s voiced", "finished false"}},
		{"with a pickup", scale(t, "4/4", theory.Fraction{Num: 1, Den: 1}), nil, []string{"read 1/1, 120 a minute", "key", "7 beats", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"free", scale(t, "4/4", none), func(l *Line) { l.Free = true }, []string{"read 1/1, 120 a minute", "key", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"echo", scale(t, "4/4", none), func(l *Line) { l.Echo = true }, []string{"read 1/1, 120 a minute", "key", "plays", "listen", "sung 1, 1.8 s voiced", "finished false"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &script{line: sightSung}
			l := s.sightLine(c.score)
			if c.set != nil {
				c.set(&l)
			}
			s.tasks = []Task{l}
			var sung LineSung
			s.on = func(e Event) {
				if e, ok := e.(LineSung); ok {
					sung = e
				}
			}
			tally, err := s.run(t.Context(), config(), null)
			if err != nil {
				t.Fatal(err)
			}
			same(t, s.log, c.want...)
			if g := sung.Grade; g.Right != 4 || len(g.Notes) != 4 || sung.Outcome != exercise.RightAnswer || sung.Hidden || tally.Lines != (exercise.Marks{Right: 1, Of: 1}) {
				t.Errorf("%d of %d notes right, %v, hidden %v; tally %v", g.Right, len(g.Notes), sung.Outcome, sung.Hidden, tally.Lines)
			}
			if l.Skill() != (exercise.Skill{Kind: exercise.MelodySkill, Level: 3}) {
				t.Errorf("credited to %v", l.Skill())
			}
			// Whoever is counted in enters within 20 ms of the time: what the ear's
			// frames allow.
			if entry, ok := sung.Entry(); ok != (!l.Free && !l.Echo) || math.Abs(entry) > 0.02 {
				t.Errorf("entered after %.3f s, %v", entry, ok)
			}
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
	out := &sink{Null: null}
	s := &script{}
	var from, to int
	var sung LineSung
	s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		if lead != 0.15 {
			t.Errorf("lead %g s", lead)
		}
		return sightSung(p, lead)
	}
	s.on = func(e Event) {
		switch e := e.(type) {
		case CountIn:
			from = len(out.x)
		case Listening:
			to = len(out.x)
		case LineSung:
			sung = e
		}
	}
	if _, err := s.lines(scale(t, "4/4", theory.Fraction{})).run(t.Context(), config(), out); err != nil {
		t.Fatal(err)
	}
	if !sung.HasDue || sung.Due != 0.15 || len(sung.Samples) < int(sung.Take.Heard) {
		t.Errorf("due after %g s, %d samples", sung.Due, len(sung.Samples))
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

// A line is sung again while the singer says so; an error ends the run, and the last
// event comes all the same.
func TestLinesAgain(t *testing.T) {
	enough := errors.New("enough")
	s := &script{}
	asked := 0
	s.again = func(context.Context, LineSung) (bool, error) {
		asked++
		if asked == 3 {
			return false, enough
		}
		return asked == 1, nil
	}
	var got []string
	opened := 0
	s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		opened++
		return sightSung(p, lead)
	}
	var attempts []int
	s.on = func(e Event) {
		switch e := e.(type) {
		case LineSung:
			attempts = append(attempts, e.Attempt)
			got = append(got, brief(e))
		case Finished:
			got = append(got, brief(e))
		}
	}
	_, err := s.lines(scale(t, "4/4", theory.Fraction{}), scale(t, "3/4", theory.Fraction{})).run(t.Context(), config(), null)
	if !errors.Is(err, enough) || opened != 3 || !slices.Equal(attempts, []int{1, 2, 1}) {
		t.Errorf("%v after %d answers, attempts %v", err, opened, attempts)
	}
	same(t, got, "sung 1, 1.8 s voiced", "sung 1, 1.8 s voiced", "sung 2, 1.8 s voiced", "finished true")
}

// Beats follow the meters of a line, whose strong ones are on bar lines.
func TestBeats(t *testing.T) {
	s := scale(t, "2/4", theory.Fraction{Num: 1, Den: 1})
	s.Notes = append(s.Notes, s.Notes...)
	s.Changes = []theory.Change{{At: theory.Fraction{Num: 5, Den: 1}, Key: s.Key, Meter: theory.Meter{Beats: 3, Unit: 4}}}
	var got string
	for _, b := range beatsFrom(s, 1, 0, 8, 0) {
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
