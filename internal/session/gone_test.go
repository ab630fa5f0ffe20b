package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/audio"
	"singback/theory"
)

// plug is a running microphone that goes silent once, in the n-th read; in silence.
type plug struct {
	rate, at, reads int
	gone            bool
}

func (p *plug) SampleRate() int { return p.rate }
func (*plug) Close() error      { return nil }
func (p *plug) Read(ctx context.Context, dst []float64) (int, int64, error) {
	p.reads++
	if p.gone = p.gone || p.reads == p.at; p.gone {
		return 0, 0, audio.ErrStalled
	}
	clear(dst)
	return len(dst), 0, ctx.Err()
}

// jack is a loudspeaker that goes silent once, in the n-th write.
type jack struct {
	audio.Null
	at, writes int
	gone       bool
}

func (j *jack) Write(_ context.Context, x []float64) error {
	j.writes++
	if j.gone = j.gone || j.writes == j.at; j.gone {
		return audio.ErrStalled
	}
	return nil
}

// quick is a window that closes soon where nobody sings.
func quick() Config {
	c := config()
	c.Window = exercise.DefaultWindow()
	c.Window.Timeout = 0.5
	return c
}

// A microphone that goes silent before a window or within it, and comes back with
// another rate: the key is set anew and the question is asked anew, from the beginning,
// and nothing of the first time is judged.
func TestMicrophoneComesBack(t *testing.T) {
	c := quick()
	wait := 37 // of 256 samples: the guard
	for _, at := range []int{wait / 2, wait + 40} {
		mic := &plug{rate: rate, at: at}
		s := &script{sing: live(mic)}
		s.degrees(items(t, "do", "re"), 0)
		c.Back = func(_ context.Context, err error) error {
			if !errors.Is(err, audio.ErrStalled) {
				t.Errorf("asked back after %v", err)
			}
			s.log = append(s.log, "back")
			mic.gone, mic.rate = false, 16000
			return nil
		}
		tally, err := s.run(t.Context(), c, null)
		if err != nil {
			t.Fatal(err)
		}
		first := []string{"key", "ask 1/2.1", "wait", "listen"}
		if at < wait {
			first = first[:3]
		}
		same(t, s.log, append(first, "back",
			"key again", "ask 1/2.1", "wait", "listen", "1.1 not_measured counts=false",
			"ask 2/2.1", "wait", "listen", "2.1 not_measured counts=false", "finished false")...)
		if tally.All.Asked != 2 {
			t.Errorf("tally %+v", tally.All)
		}
	}
	// Nobody who waits, or in vain: the run ends with the device's error, or that one.
	for _, vain := range []error{nil, errors.New("in vain")} {
		c.Back = nil
		want := audio.ErrStalled
		if vain != nil {
			want, c.Back = vain, func(context.Context, error) error { return vain }
		}
		s := &script{sing: live(&plug{rate: rate, at: 1})}
		if _, err := s.degrees(items(t, "do"), 0).run(t.Context(), c, null); !errors.Is(err, want) {
			t.Errorf("%v, want %v", err, want)
		}
	}
}

// A loudspeaker that goes silent in the sound after a verdict: what was judged is not
// asked again, and the key is set before the next question.
func TestWhatWasJudgedIsNotAskedAgain(t *testing.T) {
	c := quick()
	c.Compare = true
	out := &jack{Null: null, at: 2}
	c.Back = func(context.Context, error) error { out.gone = false; return nil }
	s := &script{sing: live(&plug{rate: rate})}
	if _, err := s.degrees(items(t, "do", "re"), 0).run(t.Context(), c, out); err != nil {
		t.Fatal(err)
	}
	same(t, s.log, "key", "ask 1/2.1", "wait", "listen", "1.1 not_measured counts=false", "sound",
		"key again", "ask 2/2.1", "wait", "listen", "2.1 not_measured counts=false", "sound", "finished false")
}

// Lines and dictations, wherever the loudspeaker goes silent: each is judged once.
func TestTasksAreDoneAnew(t *testing.T) {
	score := scale(t, "4/4", theory.Fraction{Den: 1})
	item := items(t, "do")[0]
	d, err := compose.NewDictation(compose.DictationOrder{Skill: exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 5}}, Key: item.Key, Length: 3, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	progression, err := compose.NewProgression(compose.ProgressionOrder{Key: item.Key, Length: 4, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	begin := func(at int) (*script, Config, *jack, *int, *[]string) {
		c := quick()
		c.Compare = true
		out := &jack{Null: null, at: at}
		backs, judged := new(int), &[]string{}
		c.Back = func(context.Context, error) error { *backs++; out.gone = false; return nil }
		s := &script{line: sightSung}
		s.name = func(_ context.Context, d compose.Dictation) ([]exercise.Skill, bool, float64, error) {
			return d.Skills(), false, 1, nil
		}
		s.on = func(e Event) {
			switch e := e.(type) {
			case LineSung:
				*judged = append(*judged, fmt.Sprint("line ", e.Index))
			case Named:
				*judged = append(*judged, fmt.Sprint("named ", e.Index, ".", e.Step))
			}
		}
		return s, c, out, backs, judged
	}
	check := func(s *script, c Config, out *jack, backs *int, judged *[]string, want ...string) {
		if _, err := s.run(t.Context(), c, out); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(*judged, want) {
			t.Errorf("silent in write %d: judged %q, want %q", out.at, *judged, want)
		}
		if went := out.writes >= out.at; went != (*backs == 1) {
			t.Errorf("silent in write %d of %d: back %d times", out.at, out.writes, *backs)
		}
	}
	s, c, out, backs, judged := begin(2) // the count-in
	check(s.lines(score), c, out, backs, judged, "line 1")
	for _, at := range []int{2, 4, 6} {
		s, c, out, backs, judged := begin(at)
		s.tasks = []Task{
			Dictation{Dictation: d, Item: item, Credit: exercise.Skill{Kind: exercise.BassSkill}, SetKey: true, Namer: s},
			Progression{Dictation: progression, Item: item, SetKey: true, Steps: [3]Step{{Namer: s}, {Namer: s}, {Namer: s}}},
		}
		check(s, c, out, backs, judged, "named 1.0", "named 2.1", "named 2.2", "named 2.3")
	}
}
