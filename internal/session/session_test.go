package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit"
)

func always(context.Context, Judged) (bool, error) { return true, nil }

func TestSeriesOfEvents(t *testing.T) {
	c := config()
	c.Compare = true
	var opened []*testkit.Source
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 40, {3, 1}: 300}, &opened)}
	tally, err := s.degrees(items(t, "do", "sol-mi", "do"), 2).run(t.Context(), c, null)
	if err != nil {
		t.Fatal(err)
	}
	same(t, s.log,
		"key",
		"ask 1/3.1", "listen", "1.1 in_tune counts=true", "sound",
		"ask 2/3.1", "listen", "2.1 sharp counts=true", "sound",
		"key again",
		"ask 3/3.1", "listen", "3.1 other_degree counts=true", "sound",
		"finished false")
	if tally.All.Asked != 3 || tally.All.Right != 1 || tally.All.Sharp != 1 || tally.All.Other != 1 {
		t.Errorf("tally %+v", tally.All)
	}
	if pairs := tally.ByPair(); len(pairs) != 1 || pairs[0].Sharp != 1 {
		t.Errorf("pairs %+v", pairs)
	}
	for i, src := range opened {
		if src.Closed != 1 {
			t.Errorf("recording %d was closed %d times, want once", i+1, src.Closed)
		}
	}
}

// The first measured answer counts; a retry is offered on all but in tune.
func TestRetry(t *testing.T) {
	const none = 8888
	for _, c := range []struct {
		name          string
		first, second float64
		want          []string
		right, asked  int
	}{
		{"right at once: nothing is offered", 0, 0, []string{"1.1 in_tune counts=true"}, 1, 1},
		{"sharp, then right: sharp counts", 40, 0, []string{"1.1 sharp counts=true", "1.2 in_tune counts=false"}, 0, 1},
		{"another degree, then right", 200, 0, []string{"1.1 other_degree counts=true", "1.2 in_tune counts=false"}, 0, 1},
		{"silence, then right: right counts", silent, 0, []string{"1.1 not_measured counts=false", "1.2 in_tune counts=true"}, 1, 1},
		{"ambiguous, then right: right counts", 50, 0, []string{"1.1 ambiguous counts=false", "1.2 in_tune counts=true"}, 1, 1},
		{"silence twice: not measured", silent, silent, []string{"1.1 not_measured counts=false", "1.2 not_measured counts=false"}, 0, 1},
		{"no recording for a second attempt", 40, none, []string{"1.1 sharp counts=true"}, 0, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			answers := map[[2]int]float64{{1, 1}: c.first}
			if c.second != none {
				answers[[2]int{1, 2}] = c.second
			}
			var got log
			s := &script{sing: sung(answers, nil), retry: always}
			s.on = func(e Event) {
				if _, ok := e.(Judged); ok {
					got.add(e)
				}
			}
			tally, err := s.degrees(items(t, "do"), 0).run(t.Context(), config(), null)
			if err != nil {
				t.Fatal(err)
			}
			same(t, got, c.want...)
			if tally.All.Right != c.right || tally.All.Asked != c.asked {
				t.Errorf("tally %+v, want %d right of %d asked", tally.All, c.right, c.asked)
			}
		})
	}
}

func TestRetryDeclined(t *testing.T) {
	var offered []exercise.Outcome
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: -40}, nil)}
	s.retry = func(_ context.Context, j Judged) (bool, error) {
		offered = append(offered, j.Verdict.Outcome)
		return false, nil
	}
	if _, err := s.degrees(items(t, "do"), 0).run(t.Context(), config(), null); err != nil {
		t.Fatal(err)
	}
	same(t, s.log, "key", "ask 1/1.1", "listen", "1.1 flat counts=true", "finished false")
	if !reflect.DeepEqual(offered, []exercise.Outcome{exercise.Flat}) {
		t.Errorf("offered after %v, want once after flat", offered)
	}
}

// awaited is a source that is ready only when it has been waited for.
type awaited struct {
	*testkit.Source
	wait func(context.Context) error
}

func (a awaited) Await(ctx context.Context) error { return a.wait(ctx) }

// The question is asked before anything is waited for, and a wait that fails, or
// that the singer ends, ends the run tidily.
func TestAwaiter(t *testing.T) {
	broken := errors.New("no header")
	for _, c := range []error{nil, broken, context.Canceled} {
		s := &script{}
		src := awaited{&testkit.Source{}, nil} // of no rate
		src.wait = func(context.Context) error {
			s.log = append(s.log, "await")
			src.Source.Rate = rate
			return c
		}
		s.sing = func(p Prompted) (audio.Source, bool, error) {
			if p.Attempt > 1 {
				return nil, false, ErrNoMore
			}
			return src, false, nil
		}
		_, err := s.degrees(items(t, "do"), 0).run(t.Context(), config(), null)
		if err != c || src.Closed != 1 {
			t.Errorf("Run returned %v, want %v; closed %d times", err, c, src.Closed)
		}
		if c == nil {
			same(t, s.log, "key", "ask 1/1.1", "await", "listen", "1.1 not_measured counts=false", "finished false")
		} else {
			same(t, s.log, "key", "ask 1/1.1", "await", "finished true")
		}
	}
}

// Whatever ends a run, Finished is its last event and the tally so far is kept.
func TestRunEndsTidily(t *testing.T) {
	broken := errors.New("the file is damaged")
	right := func(p Prompted) *testkit.Source {
		return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: tone(0.8, p.Item.Tuning.Hz(p.Target))}}}
	}
	for _, c := range []struct {
		name   string
		second func(Prompted) (audio.Source, error)
		want   error
		says   string
	}{
		{"no more recordings", func(Prompted) (audio.Source, error) { return nil, ErrNoMore }, ErrNoMore, "no recording"},
		{"a recording that breaks", func(Prompted) (audio.Source, error) {
			return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: tone(0.5, 220)}, {Err: broken}}}, nil
		}, broken, "answer 2"},
		{"a device that stalls", func(Prompted) (audio.Source, error) {
			return &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: silence(1)}, {Err: audio.ErrStalled}}}, nil
		}, audio.ErrStalled, "answer 2"},
		{"a rate that is not possible", func(Prompted) (audio.Source, error) { return &testkit.Source{Rate: 1000}, nil }, nil, "1000 Hz"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var second *testkit.Source
			s := &script{}
			s.sing = func(p Prompted) (audio.Source, bool, error) {
				if p.Index == 1 {
					return right(p), false, nil
				}
				src, err := c.second(p)
				second, _ = src.(*testkit.Source)
				return src, false, err
			}
			tally, err := s.degrees(items(t, "do", "re", "mi"), 0).run(t.Context(), config(), null)
			if err == nil || c.want != nil && !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want one that wraps %v and says %q", err, c.want, c.says)
			}
			if tally.All.Asked != 1 || tally.All.Right != 1 {
				t.Errorf("tally %+v, want the first answer", tally.All)
			}
			if last := s.log[len(s.log)-1]; last != "finished true" {
				t.Errorf("the last event is %q", last)
			}
			if second != nil && second.Closed != 1 {
				t.Errorf("the source was closed %d times, want once", second.Closed)
			}
		})
	}
}

// A live run on one clock: what the loudspeaker plays the microphone hears,
// some of it late.
type room struct {
	testkit.Source           // what the microphone has yet to give
	echo           float64   // seconds of the last sound that come only after it was skipped
	voice          []float64 // sung into each window, after the pause to think
	calls          []string
	tail           []float64
}

func (r *room) note(call string) {
	if n := len(r.calls); n == 0 || r.calls[n-1] != call {
		r.calls = append(r.calls, call)
	}
}

func (r *room) Write(_ context.Context, samples []float64) error {
	r.note("write")
	r.Cues = append(r.Cues, testkit.Cue{Samples: slices.Clone(samples)})
	// Most of the sound is past when the driver says so; the end is not.
	loud := samples[:len(samples)-int(gap*rate)]
	r.tail = slices.Clone(loud[len(loud)-min(len(loud), int(r.echo*rate)):])
	return nil
}

func (r *room) Drain(context.Context) error {
	r.note("drain")
	return nil
}

func (r *room) Read(ctx context.Context, dst []float64) (int, int64, error) {
	r.note("read")
	return r.Source.Read(ctx, dst)
}

func (r *room) Skip() int64 {
	r.note("skip")
	r.Cues = []testkit.Cue{{Samples: r.tail}, {Samples: silence(guard + 0.5 - r.echo)}, {Samples: slices.Clone(r.voice)}}
	return 0
}

func TestOwnSoundIsNeverJudged(t *testing.T) {
	for _, c := range []struct {
		name  string
		echo  float64
		voice []float64
		want  string
		why   exercise.Reason
	}{
		{"the prompt alone", 0, nil, "1.1 not_measured counts=false", exercise.TooQuiet},
		{"the prompt, and its end in the pause to think", guard + 0.4, nil, "1.1 not_measured counts=false", exercise.TooQuiet},
		{"the prompt, then the singer", guard, tone(1, 220), "1.1 in_tune counts=true", exercise.NoReason},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := &room{Source: testkit.Source{Rate: rate, Forever: true}, echo: c.echo, voice: c.voice}
			cfg := config()
			cfg.Window, cfg.Think, cfg.Compare = exercise.DefaultWindow(), 0.5, true
			var verdict exercise.Verdict
			s := &script{sing: live(r)}
			s.on = func(e Event) {
				if j, ok := e.(Judged); ok {
					verdict = j.Verdict
				}
			}
			if _, err := s.degrees(items(t, "sol-do"), 0).run(t.Context(), cfg, r); err != nil {
				t.Fatal(err)
			}
			same(t, s.log, "key", "ask 1/1.1", "wait", "listen", c.want, "sound", "finished false")
			if verdict.Reason != c.why {
				t.Errorf("reason %v, want %v", verdict.Reason, c.why)
			}
			// Key and starting degree are out before anything is skipped, and
			// the window comes after that.
			same(t, r.calls, "write", "drain", "write", "drain", "skip", "read", "write", "drain")
			if r.Closed != 0 {
				t.Error("the live source was closed by the session")
			}
		})
	}
}

// Without the skipping and the wait the prompt would be heard: the test above
// can fail.
func TestOwnSoundWouldBeHeard(t *testing.T) {
	k := synth.NewKeyboard(rate)
	ear, err := listen.New(audio.NewSamples(rate, k.Render(synth.One(220))), listen.Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	heard, err := ear.Note(t.Context(), exercise.DefaultWindow().Recorded(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !heard.Found {
		t.Fatal("the ear does not hear the keyboard")
	}
	v := exercise.Judge(items(t, "do")[0], heard, exercise.Tolerance{Cents: 35})
	if v.Outcome != exercise.NotMeasured || v.Reason != exercise.OwnSound {
		t.Errorf("%v %v: even what leaks into the window is not a voice", v.Outcome, v.Reason)
	}
}

// A run can be cancelled at any point, and ends there.
func TestCancel(t *testing.T) {
	for _, c := range []struct {
		at    string
		retry bool
		last  []string
	}{
		{"key", false, []string{"key", "finished true"}},
		{"ask 2/2.1", false, []string{"2.1", "finished true"}},
		{"wait", false, []string{"wait", "finished true"}},
		{"listen", false, []string{"listen", "finished true"}},
		{"sound", false, []string{"sound", "finished true"}},
		{"retry", true, []string{"sound", "finished true"}},
	} {
		t.Run(c.at, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			r := &room{Source: testkit.Source{Rate: rate, Forever: true}, voice: tone(1, 230)}
			cfg := config()
			cfg.Window, cfg.Think, cfg.Compare = exercise.DefaultWindow(), 0.5, true
			s := &script{sing: live(r)}
			if c.retry {
				s.retry = func(ctx context.Context, _ Judged) (bool, error) {
					cancel()
					return false, ctx.Err()
				}
			}
			sounded := false
			s.on = func(e Event) {
				sounded = sounded || brief(e) == "sound"
				if brief(e) == c.at {
					cancel()
				}
			}
			tally, err := s.degrees(items(t, "do", "sol-do"), 0).run(ctx, cfg, sinkOf{r})
			if !errors.Is(err, context.Canceled) {
				t.Fatalf("%v, want context.Canceled", err)
			}
			if got := s.log[len(s.log)-2:]; !strings.HasSuffix(got[0], c.last[0]) || got[1] != c.last[1] {
				t.Errorf("the last events are %q, want %q", got, c.last)
			}
			if want := 0; !sounded && tally.All.Asked != want {
				t.Errorf("%d answers in the tally, want %d", tally.All.Asked, want)
			}
			if sounded && tally.All.Asked != 1 {
				t.Errorf("%d answers in the tally, want the one that was judged", tally.All.Asked)
			}
		})
	}
}

// sinkOf is a sink that notices an ended context, as the contract says.
type sinkOf struct{ *room }

func (s sinkOf) Write(ctx context.Context, x []float64) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return s.room.Write(ctx, x)
}

// The level is asked for anew before each sound.
func TestLevelIsFollowed(t *testing.T) {
	var peaks []float64
	c := config()
	c.Compare = true
	level := -60.0
	c.Level = func() float64 { level += 10; return level }
	out := peakSink{audio.Null{Rate: rate}, &peaks}
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0}, nil)}
	if _, err := s.degrees(items(t, "do"), 0).run(t.Context(), c, out); err != nil {
		t.Fatal(err)
	}
	if len(peaks) != 2 || peaks[0] > -30 || peaks[1] > -20 || math.Abs(peaks[1]-peaks[0]-10) > 2 {
		t.Errorf("peaks of %.1f dBFS, want two, at most -30 and -20, 10 apart", peaks)
	}
}

type peakSink struct {
	audio.Null
	peaks *[]float64
}

func (p peakSink) Write(_ context.Context, x []float64) error {
	m := audio.Meter{}
	m.Push(x)
	*p.peaks = append(*p.peaks, audio.DBFS(m.Peak))
	return nil
}

// Tasks that are chosen one by one: the key is set where they say so, a verdict that
// is not told has no right note and no second attempt after it, and a guess comes
// before the verdict, which says all that is to be kept of it.
func TestNextChoosesTheTasks(t *testing.T) {
	list := items(t, "do", "mi", "do-sol", "re")
	other := items(t, "la")[0]
	other.Key = key(t, "C major")
	c := config()
	c.Compare = true
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 40, {3, 1}: 40, {4, 1}: 0, {5, 1}: 20}, nil)}
	tasks := []Degree{
		{Item: list[0], SetKey: true, Feedback: practice.Full},
		{Item: list[1], Feedback: practice.SecondShown, Guess: true},
		{Item: list[2], Feedback: practice.Blind, Guess: true, Part: 2, Parts: 3},
		{Item: other, SetKey: true, Feedback: practice.Outside},
		{Item: list[3], SetKey: true, Feedback: practice.Outside, Tolerance: exercise.Tolerance{Cents: 10}},
	}
	credited := exercise.Skill{Kind: exercise.KeySkill, Key: list[1].Key}
	tasks[1].Credit = credited
	last := 0.0
	s.next = func(seconds float64) (Task, error) {
		n := len(s.seconds)
		if n > 1 && seconds < last+0.8 {
			t.Errorf("task %d at %g s, the one before at %g", n, seconds, last)
		}
		last = seconds
		if n > len(tasks) {
			return nil, nil
		}
		d := tasks[n-1]
		d.Singer = s
		if d.Tolerance.Cents == 0 {
			d.Tolerance = tolerance
		}
		return d, nil
	}
	s.retry = func(_ context.Context, j Judged) (bool, error) {
		s.log = append(s.log, fmt.Sprintf("retry %d?", j.Index))
		return false, nil
	}
	s.guess = func(context.Context) (exercise.Outcome, error) {
		s.log = append(s.log, "guess?")
		return exercise.Sharp, nil
	}
	var skills []exercise.Skill
	s.on = func(e Event) {
		switch e := e.(type) {
		case Judged:
			s.log = append(s.log, fmt.Sprintf("%v %v hidden=%v guess=%v", e.Feedback, e.Tolerance.Cents, e.Hidden, e.Guess))
			skills = append(skills, e.Skill)
		case Guessing:
			s.log = append(s.log, "guess")
		case Prompted:
			if part := map[int]int{3: 2}[e.Index]; e.Part != part || e.Parts > 0 != (part > 0) {
				t.Errorf("prompt %d is part %d of %d", e.Index, e.Part, e.Parts)
			}
		}
	}
	tally, err := s.run(t.Context(), c, null)
	if err != nil {
		t.Fatal(err)
	}
	same(t, s.log,
		"key", "ask 1/0.1", "listen", "1.1 in_tune counts=true", "full 35 hidden=false guess=not_measured", "sound",
		"ask 2/0.1", "listen", "guess", "guess?", "2.1 sharp counts=true", "second_shown 35 hidden=false guess=sharp", "sound", "retry 2?",
		"ask 3/0.1", "listen", "guess", "guess?", "3.1 sharp counts=true", "blind 35 hidden=true guess=sharp",
		"key", "ask 4/0.1", "listen", "4.1 in_tune counts=true", "outside 35 hidden=true guess=not_measured",
		"key", "ask 5/0.1", "listen", "5.1 sharp counts=true", "outside 10 hidden=false guess=not_measured", "sound", "retry 5?",
		"finished false")
	if tally.All.Asked != 5 || tally.All.Right != 2 || tally.All.Sharp != 3 {
		t.Errorf("tally %+v", tally.All)
	}
	want := []exercise.Skill{list[0].Skill(), credited, list[2].Skill(), other.Skill(), list[3].Skill()}
	if !slices.Equal(skills, want) {
		t.Errorf("credited to %v, want %v", skills, want)
	}
}

// An error of Next ends the run as any other.
func TestNextFails(t *testing.T) {
	broken := errors.New("the record is damaged")
	s := &script{next: func(float64) (Task, error) { return nil, broken }}
	if _, err := s.run(t.Context(), config(), null); !errors.Is(err, broken) {
		t.Errorf("%v, want %v", err, broken)
	}
	same(t, s.log, "finished true")
}
