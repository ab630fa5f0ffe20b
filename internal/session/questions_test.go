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
	"singback/internal/audio"
	"singback/internal/testkit"
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

func briefQuestion(e Event) string {
	switch e := e.(type) {
	case DictationAsked:
		return fmt.Sprintf("hear %d again=%v", e.Index, e.Again)
	case Naming:
		return "name"
	case Named:
		return fmt.Sprintf("named %d %v again=%v hidden=%v", e.Index, e.Right, e.Again, e.Hidden)
	case Notice:
		return e.Text
	}
	return briefLine(e)
}

// asks makes a Next of questions.
func asks(list ...Question) func(float64) (Question, bool) {
	i := -1
	return func(float64) (Question, bool) {
		if i++; i >= len(list) {
			return Question{}, false
		}
		return list[i], true
	}
}

// both answers degrees and melodies.
type both struct {
	Answers
	LineAnswers
}

// Degrees, dictations and melodies follow each other in one run; what is kept
// comes before what is shown, and the sound that is heard counts as time.
func TestQuestionsOfAllKinds(t *testing.T) {
	do := items(t, "do")[0]
	d := bassLine(t)
	line := scale(t, "4/4", theory.Fraction{})
	c := config(nil)
	c.Compare = true
	tolerance := exercise.Tolerance{Cents: 35}
	seconds := []float64{}
	next := asks(
		Question{Item: do, Tolerance: tolerance, SetKey: true},
		Question{Item: do, Dictation: &d},
		Question{Item: do, Line: &line, SetKey: true, Feedback: practice.Blind},
		Question{Item: do, Tolerance: tolerance},
		Question{Item: do, Dictation: &d, Feedback: practice.Blind},
		Question{Item: do, Dictation: &d},
	)
	c.Next = func(s float64) (Question, bool) { seconds = append(seconds, s); return next(s) }
	answers := [][]exercise.Skill{nil, bass(1, 7), bass(1, 5), nil}
	named := 0
	c.Name = func(_ context.Context, got compose.Dictation) ([]exercise.Skill, bool, float64, error) {
		named++
		return answers[named-1], named == 1, 2.5, nil // heard once more at first, given up at last
	}
	var l log
	c.KeepNamed = func(n Named) { l = append(l, fmt.Sprintf("kept %d, %.1f s", n.Index, n.Answer)) }
	c.Remark = func(j Judged) string { return fmt.Sprintf("remark %d", j.Index) }
	c.Lines = lines()
	c.Lines.Study = 5
	c.Grade = func(_ context.Context, s LineSung) (int, int, error) {
		l = append(l, fmt.Sprintf("grade %d %v", s.Index, s.Feedback))
		return 4, 4, nil
	}
	in := both{sung(map[[2]int]float64{{1, 1}: 0, {4, 1}: 300}, nil), lineFunc(func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: sings(p, lead)}}}, false, nil
	})}
	tally, err := Run(t.Context(), c, in, audio.Null{Rate: rate}, func(e Event) {
		if s := briefQuestion(e); s != "" {
			l = append(l, s)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	same(t, l,
		"key", "ask 1/0.1", "listen", "1.1 in_tune counts=true", "remark 1", "sound",
		"hear 2 again=false", "name", "hear 2 again=true", "name", "kept 2, 2.5 s", "named 2 [true true] again=true hidden=false",
		"read 3/0, 120 a minute", "key again", "4 beats", "listen", "sung 3, 1.8 s voiced", "grade 3 blind",
		"ask 4/0.1", "listen", "4.1 other_degree counts=true", "remark 4", "sound",
		"hear 5 again=false", "name", "kept 5, 2.5 s", "named 5 [true false] again=false hidden=true",
		"hear 6 again=false", "name", "kept 6, 2.5 s", "named 6 [false false] again=false hidden=false",
		"finished false")
	if tally.All.Asked != 2 || tally.Bass != (exercise.Marks{Right: 3, Of: 6}) || tally.Lines != (exercise.Marks{Right: 1, Of: 1}) {
		t.Errorf("tally %+v, bass %v, lines %v", tally.All, tally.Bass, tally.Lines)
	}
	// The melody takes a cadence, four beats of half a second and four notes.
	if took := seconds[3] - seconds[2]; took < 5 || took > 9 {
		t.Errorf("the melody took %.1f s", took)
	}
	for i := 1; i < len(seconds); i++ {
		if seconds[i] <= seconds[i-1] {
			t.Errorf("question %d took no time: %v", i, seconds)
		}
	}
}

// An error of the singer's side ends the run, whatever is being asked.
func TestQuestionsEnd(t *testing.T) {
	broken := errors.New("gone")
	d := bassLine(t)
	line := scale(t, "4/4", theory.Fraction{})
	do := items(t, "do")[0]
	for name, q := range map[string]Question{"dictation": {Item: do, Dictation: &d}, "melody": {Item: do, Line: &line}} {
		c := config(nil)
		c.Next = asks(q)
		c.Name = func(context.Context, compose.Dictation) ([]exercise.Skill, bool, float64, error) {
			return nil, false, 0, broken
		}
		c.Lines = lines()
		c.Lines.Read = func(context.Context, float64) error { return broken }
		in := both{sung(nil, nil), lineFunc(func(LinePrompted, float64) (audio.Source, bool, error) { return nil, false, ErrNoMore })}
		if _, err := Run(t.Context(), c, in, audio.Null{Rate: rate}, func(Event) {}); !errors.Is(err, broken) {
			t.Errorf("%s: %v", name, err)
		}
	}
	c := config(nil)
	c.Next = asks(Question{Item: do, Line: &line})
	if _, err := Run(t.Context(), c, sung(nil, nil), audio.Null{Rate: rate}, func(Event) {}); err == nil {
		t.Error("a melody without anybody who could sing one: no error")
	}
}

// After a melody in another key the key of the questions is set again.
func TestKeyAfterAMelody(t *testing.T) {
	do := items(t, "do")[0]
	line := scale(t, "4/4", theory.Fraction{})
	line.Key = key(t, "D major")
	tolerance := exercise.Tolerance{Cents: 35}
	c := config(nil)
	c.Next = asks(Question{Item: do, Tolerance: tolerance, SetKey: true}, Question{Item: do, Line: &line}, Question{Item: do, Tolerance: tolerance}, Question{Item: do, Tolerance: tolerance})
	c.Lines = lines()
	c.Lines.Study = 0
	c.Grade = func(context.Context, LineSung) (int, int, error) { return 0, 0, nil }
	in := both{sung(map[[2]int]float64{{1, 1}: 0, {3, 1}: 0, {4, 1}: 0}, nil), lineFunc(func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: sings(p, lead)}}}, false, nil
	})}
	var keys []string
	_, err := Run(t.Context(), c, in, audio.Null{Rate: rate}, func(e Event) {
		if k, ok := e.(KeySet); ok {
			keys = append(keys, fmt.Sprint(k.Key.ASCII(), " ", k.Again))
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	same(t, keys, "A major false", "D major false", "A major false")
}

// A simulated singer is given the moment of inner hearing where Still waits for it,
// after the degree to start from and before the window; whoever cannot wait is not
// made to. It is part of the time.
func TestStillShowsInnerHearing(t *testing.T) {
	for _, shown := range []bool{false, true} {
		c := config(nil)
		c.Think = 1.5
		c.Count = 2
		seconds := []float64{}
		list := items(t, "do", "do-mi")
		next := asks(
			Question{Item: list[0], Tolerance: exercise.Tolerance{Cents: 50}, SetKey: true},
			Question{Item: list[1], Tolerance: exercise.Tolerance{Cents: 25}})
		c.Next = func(s float64) (Question, bool) { seconds = append(seconds, s); return next(s) }
		var waited []float64
		if shown {
			c.Still = func(_ context.Context, s float64) error { waited = append(waited, s); return nil }
		}
		var l log
		var tolerances []theory.Cents
		if _, err := Run(t.Context(), c, sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 30}, nil), audio.Null{Rate: rate}, func(e Event) {
			l.add(e)
			if p, ok := e.(Prompted); ok {
				tolerances = append(tolerances, p.Tolerance.Cents)
			}
		}); err != nil {
			t.Fatal(err)
		}
		if shown {
			same(t, l, "key", "ask 1/2.1", "wait", "listen", "1.1 in_tune counts=true", "ask 2/2.1", "wait", "listen", "2.1 sharp counts=true", "finished false")
		} else {
			same(t, l, "key", "ask 1/2.1", "listen", "1.1 in_tune counts=true", "ask 2/2.1", "listen", "2.1 sharp counts=true", "finished false")
		}
		if want := map[bool][]float64{true: {1.5, 1.5}}[shown]; !slices.Equal(waited, want) {
			t.Errorf("waited %v, want %v", waited, want)
		}
		if took := seconds[1] - seconds[0]; (took > 3.8) != shown { // key, answer and 1.5 s
			t.Errorf("shown %v: the first question took %.2f s", shown, took)
		}
		if !slices.Equal(tolerances, []theory.Cents{50, 25}) {
			t.Errorf("tolerances %v", tolerances)
		}
	}
	// An error of Still, as when the singer ends the drill, ends the run.
	c := config(items(t, "do"))
	c.Think, c.Still = 1, func(context.Context, float64) error { return context.Canceled }
	if _, err := Run(t.Context(), c, sung(map[[2]int]float64{{1, 1}: 0}, nil), audio.Null{Rate: rate}, func(Event) {}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	// In an echo it is the silence between hearing and singing.
	lines := lines(scale(t, "4/4", theory.Fraction{}))
	var gaps []float64
	lines.Echo, lines.Gap, lines.Still = true, 3, func(_ context.Context, s float64) error { gaps = append(gaps, s); return nil }
	if err := RunLines(t.Context(), lines, lineFunc(func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: sings(p, lead)}}}, false, nil
	}), audio.Null{Rate: rate}, func(Event) {}); err != nil || !slices.Equal(gaps, []float64{3}) {
		t.Errorf("gaps of an echo %v, error %v", gaps, err)
	}
}
