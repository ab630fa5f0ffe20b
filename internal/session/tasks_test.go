package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/theory"
)

// bassLine is a dictation of I V6 in A major.
func bassLine(t testing.TB) compose.Dictation {
	t.Helper()
	k := key(t, "A major")
	chords, err := theory.ParseProgression("I V6", k)
	if err != nil {
		t.Fatal(err)
	}
	voices, _, err := theory.ChoirTexture().Voice(chords)
	if err != nil {
		t.Fatal(err)
	}
	return compose.Dictation{Of: exercise.BassSkill, Key: k, Chords: chords, Voices: voices}
}

func bass(steps ...int) []exercise.Skill {
	var out []exercise.Skill
	for _, s := range steps {
		out = append(out, exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: s}})
	}
	return out
}

func (s *script) dictation(it exercise.Item, d compose.Dictation) Dictation {
	return Dictation{Dictation: d, Item: it, Credit: d.Skills()[0], Namer: s}
}

// Degrees, dictations and lines follow each other in one run; what each event says is
// all that is to be kept, and the sound that is heard counts as time.
func TestTasksOfAllKinds(t *testing.T) {
	do := items(t, "do")[0]
	d := bassLine(t)
	c := config()
	c.Compare = true
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {4, 1}: 300}, nil), line: sightSung}
	set := s.degree(do)
	set.SetKey = true
	line := s.sightLine(scale(t, "4/4", theory.Fraction{}))
	line.Study, line.Feedback = 5, practice.Blind
	blind := s.dictation(do, d)
	blind.Feedback = practice.Blind
	list := []Task{set, s.dictation(do, d), line, s.degree(do), blind, s.dictation(do, d)}
	s.next = func(float64) (Task, error) {
		if n := len(s.seconds); n <= len(list) {
			return list[n-1], nil
		}
		return nil, nil
	}
	answers := [][]exercise.Skill{nil, bass(1, 7), bass(1, 5), nil}
	named := 0
	s.name = func(_ context.Context, got compose.Dictation) ([]exercise.Skill, bool, float64, error) {
		named++
		return answers[named-1], named == 1, 2.5, nil // heard once more at first, given up at last
	}
	var studied []float64
	s.read = func(_ context.Context, seconds float64) error {
		studied = append(studied, seconds)
		return nil
	}
	s.on = func(e Event) {
		switch e := e.(type) {
		case Named:
			s.log = append(s.log, fmt.Sprintf("%v, %.1f s", e.Feedback, e.Answer))
		case LineSung:
			s.log = append(s.log, fmt.Sprintf("%v, %v %d of %d, hidden=%v", e.Feedback, e.Outcome, e.Grade.Right, len(e.Grade.Notes), e.Hidden))
		}
	}
	tally, err := s.run(t.Context(), c, null)
	if err != nil {
		t.Fatal(err)
	}
	same(t, s.log,
		"key", "ask 1/0.1", "listen", "1.1 in_tune counts=true", "sound",
		"hear 2 again=false", "name", "hear 2 again=true", "name", "named 2 [true true] again=true hidden=false", "full, 2.5 s",
		"read 3/0, 120 a minute", "key again", "4 beats", "listen", "sung 3, 1.8 s voiced", "blind, right 4 of 4, hidden=true",
		"ask 4/0.1", "listen", "4.1 other_degree counts=true", "sound",
		"hear 5 again=false", "name", "named 5 [true false] again=false hidden=true", "blind, 2.5 s",
		"hear 6 again=false", "name", "named 6 [false false] again=false hidden=false", "full, 2.5 s",
		"finished false")
	if tally.All.Asked != 2 || tally.Bass != (exercise.Marks{Right: 3, Of: 6}) || tally.Lines != (exercise.Marks{Right: 1, Of: 1}) {
		t.Errorf("tally %+v, bass %v, lines %v", tally.All, tally.Bass, tally.Lines)
	}
	if !slices.Equal(studied, []float64{5}) {
		t.Errorf("studied %v s", studied)
	}
	// The line takes a cadence, four beats of half a second and four notes.
	if took := s.seconds[3] - s.seconds[2]; took < 5 || took > 9 {
		t.Errorf("the line took %.1f s", took)
	}
	for i := 1; i < len(s.seconds); i++ {
		if s.seconds[i] <= s.seconds[i-1] {
			t.Errorf("task %d took no time: %v", i, s.seconds)
		}
	}
}

// An error of the singer's side ends the run, whatever is being asked.
func TestTasksEnd(t *testing.T) {
	broken := errors.New("gone")
	do := items(t, "do")[0]
	s := &script{
		name: func(context.Context, compose.Dictation) ([]exercise.Skill, bool, float64, error) {
			return nil, false, 0, broken
		},
		read: func(context.Context, float64) error { return broken },
	}
	for name, task := range map[string]Task{"dictation": s.dictation(do, bassLine(t)), "line": s.sightLine(scale(t, "4/4", theory.Fraction{}))} {
		s.tasks, s.seconds, s.log = []Task{task}, nil, nil
		if _, err := s.run(t.Context(), config(), null); !errors.Is(err, broken) || s.log[len(s.log)-1] != "finished true" {
			t.Errorf("%s: %v, %v", name, err, s.log)
		}
	}
	// Nobody who could sing a line.
	s = &script{}
	if _, err := s.lines(scale(t, "4/4", theory.Fraction{})).run(t.Context(), config(), null); !errors.Is(err, ErrNoMore) {
		t.Errorf("%v, want %v", err, ErrNoMore)
	}
}

// After a line in another key the key of the degrees is set again.
func TestKeyAfterALine(t *testing.T) {
	do := items(t, "do")[0]
	line := scale(t, "4/4", theory.Fraction{})
	line.Key = key(t, "D major")
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {3, 1}: 0, {4, 1}: 0}, nil), line: sightSung}
	first := s.degree(do)
	first.SetKey = true
	s.tasks = []Task{first, s.sightLine(line), s.degree(do), s.degree(do)}
	var keys []string
	s.on = func(e Event) {
		if k, ok := e.(KeySet); ok {
			keys = append(keys, fmt.Sprint(k.Key.ASCII(), " ", k.Again))
		}
	}
	if _, err := s.run(t.Context(), config(), null); err != nil {
		t.Fatal(err)
	}
	same(t, keys, "A major false", "D major false", "A major false")
}

// A simulated singer is given the moment of inner hearing where Still waits for it,
// after the degree to start from and before the window; whoever cannot wait is not
// made to. It is part of the time.
func TestStillShowsInnerHearing(t *testing.T) {
	for _, shown := range []bool{false, true} {
		c := config()
		c.Think = 1.5
		s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 30}, nil)}
		s.degrees(items(t, "do", "do-mi"), 0)
		for i, cents := range []theory.Cents{50, 25} {
			d := s.tasks[i].(Degree)
			d.Tolerance.Cents = cents
			s.tasks[i] = d
		}
		var waited []float64
		if shown {
			c.Still = func(_ context.Context, s float64) error { waited = append(waited, s); return nil }
		}
		var tolerances []theory.Cents
		s.on = func(e Event) {
			if p, ok := e.(Prompted); ok {
				tolerances = append(tolerances, p.Tolerance.Cents)
			}
		}
		if _, err := s.run(t.Context(), c, null); err != nil {
			t.Fatal(err)
		}
		if shown {
			same(t, s.log, "key", "ask 1/2.1", "wait", "listen", "1.1 in_tune counts=true", "ask 2/2.1", "wait", "listen", "2.1 sharp counts=true", "finished false")
		} else {
			same(t, s.log, "key", "ask 1/2.1", "listen", "1.1 in_tune counts=true", "ask 2/2.1", "listen", "2.1 sharp counts=true", "finished false")
		}
		if want := map[bool][]float64{true: {1.5, 1.5}}[shown]; !slices.Equal(waited, want) {
			t.Errorf("waited %v, want %v", waited, want)
		}
		if took := s.seconds[1] - s.seconds[0]; (took > 3.8) != shown { // key, answer and 1.5 s
			t.Errorf("shown %v: the first task took %.2f s", shown, took)
		}
		if !slices.Equal(tolerances, []theory.Cents{50, 25}) {
			t.Errorf("tolerances %v", tolerances)
		}
	}
	// An error of Still, as when the singer ends the drill, ends the run.
	c := config()
	c.Think, c.Still = 1, func(context.Context, float64) error { return context.Canceled }
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0}, nil)}
	if _, err := s.degrees(items(t, "do"), 0).run(t.Context(), c, null); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	// In an echo it is the silence between hearing and singing.
	var gaps []float64
	c = config()
	c.Still = func(_ context.Context, s float64) error { gaps = append(gaps, s); return nil }
	s = &script{line: sightSung}
	l := s.sightLine(scale(t, "4/4", theory.Fraction{}))
	l.Echo, l.Gap = true, 3
	s.tasks = []Task{l}
	if _, err := s.run(t.Context(), c, null); err != nil || !slices.Equal(gaps, []float64{3}) {
		t.Errorf("gaps of an echo %v, error %v", gaps, err)
	}
}
