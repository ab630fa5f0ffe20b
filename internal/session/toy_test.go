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
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// A new kind of exercise is one file: here it is, and Run does not know it. Tones are
// heard, and who listens taps how many they were.

// countSkill is to tell how many notes sounded. No package knows its kind.
var countSkill = exercise.Skill{Kind: exercise.Kind(100)}

// Count is the task to tap how many notes are heard.
type Count struct {
	Item     exercise.Item // key, tuning and register
	Tones    int
	Feedback practice.Feedback

	Tapper Tapper
}

// Tapper is who taps.
type Tapper interface {
	// Taps returns a source in which there is a note for each tap, and whether it is
	// a running device.
	Taps(c CountAsked) (src audio.Source, live bool, err error)
}

// CountAsked tells that tones are to be counted. It comes before the sound.
type CountAsked struct {
	Index, Of int
	Tones     int
}

// Counted carries what was tapped.
type Counted struct {
	Index   int
	Skill   exercise.Skill
	Taps    int
	Right   bool
	Hidden  bool
	Seconds float64
}

func (CountAsked) event() {}
func (Counted) event()    {}

// Skill returns what an answer is credited to.
func (Count) Skill() exercise.Skill { return countSkill }

// Do sounds the tones and counts the taps.
func (c Count) Do(ctx context.Context, t *Turn) error {
	if err := t.NeedKey(ctx, Need{Item: c.Item}); err != nil {
		return err
	}
	asked := CountAsked{Index: t.Index, Of: t.Count, Tones: c.Tones}
	t.Emit(asked)
	var phrase synth.Phrase
	target, _ := c.Item.Target()
	for i := range c.Tones {
		phrase = append(phrase, synth.Sound{Hz: c.Item.Hz(target), Start: 0.4 * float64(i), Duration: 0.3})
	}
	if err := t.Play(ctx, phrase); err != nil {
		return err
	}
	src, live, err := c.Tapper.Taps(asked)
	if err != nil {
		return err
	}
	counted := Counted{Index: t.Index, Skill: c.Skill()}
	err = t.Answer(ctx, src, live, func(ear *listen.Ear) error {
		if err := t.Wait(ctx, ear, live, t.Think); err != nil {
			return err
		}
		t.Emit(Listening{t.Index})
		take, samples, err := ear.Line(ctx, exercise.PhraseWindow{Silence: 1, Pause: 1}, t.meter)
		if err != nil {
			return fmt.Errorf("listen to answer %d: %w", t.Index, err)
		}
		t.heard(take.Heard, take.SampleRate)
		t.Sung(take.Voiced)
		heard, err := listen.Take(ctx, audio.NewSamples(take.SampleRate, samples), t.Hearing, ear.Room())
		counted.Taps = len(heard.Notes)
		return err
	})
	if err != nil {
		return err
	}
	counted.Right = counted.Taps == c.Tones
	counted.Hidden = c.Feedback == practice.Blind
	counted.Seconds = t.Seconds()
	t.Tally.AddNamed(c.Skill(), nil, counted.Right)
	t.Emit(counted)
	return nil
}

// taps makes a Tapper of a function.
type taps func(CountAsked) (audio.Source, bool, error)

func (f taps) Taps(c CountAsked) (audio.Source, bool, error) { return f(c) }

// tapped answers with so many notes.
func tapped(n int) []float64 {
	var x []float64
	for range n {
		x = append(append(x, tone(0.2, 330)...), silence(0.3)...)
	}
	return append(x, silence(1)...)
}

func briefToy(e Event) string {
	switch e := e.(type) {
	case CountAsked:
		return fmt.Sprintf("count %d/%d", e.Index, e.Of)
	case Counted:
		return fmt.Sprintf("%d tapped %d right=%v hidden=%v", e.Index, e.Taps, e.Right, e.Hidden)
	}
	return ""
}

// The toy runs among tasks of all kinds, recorded and at a live device: its events
// come in their place, it finds the key in the ear and leaves it there, it is
// counted by itself and no other count is touched, its singing brings the rest
// nearer, and its sound is time.
func TestANewKindOfTask(t *testing.T) {
	do := items(t, "do")[0]
	other := do
	other.Key = key(t, "C major")
	c := config()
	c.RestAfter = 3
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {5, 1}: 0, {8, 1}: 0}, nil), line: sightSung}
	answers := []int{3, 2, 4, 1}
	var opened []*testkit.Source
	tapper := taps(func(CountAsked) (audio.Source, bool, error) {
		n := answers[len(opened)]
		src := recording(tapped(n))
		live := len(opened) == 2
		if live {
			src = recording(silence(guard), tapped(n))
		}
		opened = append(opened, src)
		return src, live, nil
	})
	set := s.degree(do)
	set.SetKey = true
	s.name = func(context.Context, compose.Dictation) ([]exercise.Skill, bool, float64, error) {
		return bass(1, 7), false, 1, nil
	}
	s.tasks = []Task{
		set, Count{Item: do, Tones: 3, Tapper: tapper}, s.dictation(do, bassLine(t)), Count{Item: do, Tones: 3, Feedback: practice.Blind, Tapper: tapper},
		s.degree(do), s.sightLine(scale(t, "4/4", theory.Fraction{})), Count{Item: do, Tones: 4, Tapper: tapper}, s.degree(do), Count{Item: other, Tones: 1, Tapper: tapper},
	}
	var skills []exercise.Skill
	s.on = func(e Event) {
		if text := briefToy(e); text != "" {
			s.log = append(s.log, text)
		}
		if e, ok := e.(Counted); ok {
			skills = append(skills, e.Skill)
			if e.Seconds <= s.seconds[e.Index-1]+1 {
				t.Errorf("task %d ended at %g s and began at %g", e.Index, e.Seconds, s.seconds[e.Index-1])
			}
		}
	}
	s.rest = func(context.Context) error { s.log = append(s.log, "pause"); return nil }
	tally, err := s.run(t.Context(), c, null)
	if err != nil {
		t.Fatal(err)
	}
	same(t, s.log,
		"key", "ask 1/9.1", "listen", "1.1 in_tune counts=true",
		"count 2/9", "listen", "2 tapped 3 right=true hidden=false",
		"hear 3 again=false", "name", "named 3 [true true] again=false hidden=false",
		"count 4/9", "listen", "4 tapped 2 right=false hidden=true",
		"ask 5/9.1", "listen", "5.1 in_tune counts=true",
		"read 6/9, 120 a minute", "key again", "4 beats", "listen", "sung 6, 1.8 s voiced", "rest", "pause",
		"count 7/9", "wait", "listen", "7 tapped 4 right=true hidden=false",
		"ask 8/9.1", "listen", "8.1 in_tune counts=true",
		"key", "count 9/9", "listen", "9 tapped 1 right=true hidden=false",
		"finished false")
	if tally.All.Asked != 3 || tally.All.Right != 3 || tally.Bass != (exercise.Marks{Right: 2, Of: 2}) || tally.Lines != (exercise.Marks{Right: 1, Of: 1}) || tally.Quality.Of != 0 {
		t.Errorf("tally %+v, bass %v, qualities %v, lines %v: the toy's answers are counted there", tally.All, tally.Bass, tally.Quality, tally.Lines)
	}
	i := slices.IndexFunc(tally.ByName(), func(n exercise.NamedCount) bool { return n.Skill == countSkill })
	if i < 0 || tally.ByName()[i].Marks != (exercise.Marks{Right: 3, Of: 4}) {
		t.Errorf("by name %+v, want 3 of 4 counted", tally.ByName())
	}
	if !slices.Equal(skills, []exercise.Skill{countSkill, countSkill, countSkill, countSkill}) {
		t.Errorf("credited to %v", skills)
	}
	for i, src := range opened {
		if want := map[bool]int{true: 0, false: 1}[i == 2]; src.Closed != want {
			t.Errorf("source %d was closed %d times, want %d", i+1, src.Closed, want)
		}
	}
}

// Ended at any event of it, the run ends tidily; so it does where nobody answers, or
// the answer breaks.
func TestANewKindOfTaskEnds(t *testing.T) {
	do := items(t, "do")[0]
	gone := errors.New("gone")
	for _, c := range []struct {
		at   string // the event at which the singer ends the run
		last string // the last before Finished
		src  *testkit.Source
		err  error
	}{
		{"count 2/2", "count 2/2", recording(tapped(3)), context.Canceled},
		{"listen", "listen", recording(tapped(3)), context.Canceled},
		{"2 tapped 3 right=true hidden=false", "2 tapped 3 right=true hidden=false", recording(tapped(3)), nil},
		{"", "count 2/2", nil, ErrNoMore},
		{"", "listen", &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: tapped(1)[:rate/2]}, {Err: gone}}}, gone},
	} {
		ctx, cancel := context.WithCancel(t.Context())
		s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0}, nil)}
		s.degrees(items(t, "do"), 0)
		s.tasks = append(s.tasks, Count{Item: do, Tones: 3, Tapper: taps(func(CountAsked) (audio.Source, bool, error) {
			if c.src == nil {
				return nil, false, ErrNoMore
			}
			return c.src, false, nil
		})})
		began := false
		s.on = func(e Event) {
			if text := briefToy(e); text != "" {
				s.log, began = append(s.log, text), true
			}
			if began && s.log[len(s.log)-1] == c.at {
				cancel()
			}
		}
		tally, err := s.run(ctx, config(), null)
		cancel()
		if !errors.Is(err, c.err) || err == nil && c.err != nil || c.err == nil && err != nil {
			t.Errorf("%s, %s: %v, want %v", c.at, c.last, err, c.err)
		}
		finished := fmt.Sprintf("finished %v", c.err != nil)
		if got := s.log[len(s.log)-2:]; !slices.Equal(got, []string{c.last, finished}) {
			t.Errorf("%s: the last events are %q, want %q and %q", c.at, got, c.last, finished)
		}
		if tally.All.Asked != 1 {
			t.Errorf("%s: the answer before it is lost: %+v", c.at, tally.All)
		}
		if c.src != nil && c.at != "count 2/2" && c.src.Closed != 1 {
			t.Errorf("%s: the source was closed %d times", c.at, c.src.Closed)
		}
	}
}
