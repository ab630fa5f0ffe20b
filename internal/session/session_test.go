package session

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// answerFunc makes Answers of a function.
type answerFunc func(Prompted) (audio.Source, bool, error)

func (f answerFunc) Source(p Prompted) (audio.Source, bool, error) { return f(p) }

// sung answers each prompt with a note so many cents off, and every attempt
// after the last one given with ErrNoMore. NaN-free: silent stands for silence.
func sung(cents map[[2]int]float64, opened *[]*testkit.Source) Answers {
	return answerFunc(func(p Prompted) (audio.Source, bool, error) {
		off, ok := cents[[2]int{p.Index, p.Attempt}]
		if !ok {
			return nil, false, ErrNoMore
		}
		src := &testkit.Source{Rate: rate}
		if off != silent {
			src.Cues = []testkit.Cue{{Samples: tone(0.8, theory.Shift(p.Item.Tuning.Hz(p.Target), off))}}
		}
		if opened != nil {
			*opened = append(*opened, src)
		}
		return src, false, nil
	})
}

const silent = 9999

func items(t testing.TB, asked ...string) []exercise.Item {
	k := key(t, "A major")
	var out []exercise.Item
	for _, name := range asked {
		it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 3}}
		if from, to, ok := strings.Cut(name, "-"); ok {
			d := degree(t, from, k)
			it.From, name = &d, to
		}
		it.Asked = degree(t, name, k)
		out = append(out, it)
	}
	return out
}

func config(list []exercise.Item) Config {
	return Config{
		Items: list, Setting: synth.ByTonic, Tolerance: exercise.Tolerance{Cents: 35},
		Window: exercise.DefaultWindow().Recorded(), Level: func() float64 { return -24 },
	}
}

// brief writes an event in a few words; Heard is left out.
func brief(e Event) string {
	switch e := e.(type) {
	case KeySet:
		if e.Again {
			return "key again"
		}
		return "key"
	case Prompted:
		return fmt.Sprintf("ask %d/%d.%d", e.Index, e.Of, e.Attempt)
	case Waiting:
		return "wait"
	case Listening:
		return "listen"
	case Judged:
		return fmt.Sprintf("%d.%d %v counts=%v", e.Index, e.Attempt, e.Verdict.Outcome, e.Counts)
	case Sounding:
		return "sound"
	case Finished:
		return fmt.Sprintf("finished %v", e.Interrupted)
	}
	return ""
}

type log []string

func (l *log) add(e Event) {
	if s := brief(e); s != "" {
		*l = append(*l, s)
	}
}

func same(t *testing.T, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("got\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

func always(context.Context, Judged) (bool, error) { return true, nil }

func TestSeriesOfEvents(t *testing.T) {
	c := config(items(t, "do", "sol-mi", "do"))
	c.KeyEvery, c.Compare = 2, true
	var l log
	var opened []*testkit.Source
	tally, err := Run(t.Context(), c, sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 40, {3, 1}: 300}, &opened), audio.Null{Rate: rate}, l.add)
	if err != nil {
		t.Fatal(err)
	}
	same(t, l,
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
			cfg := config(items(t, "do"))
			cfg.Retry = always
			answers := map[[2]int]float64{{1, 1}: c.first}
			if c.second != none {
				answers[[2]int{1, 2}] = c.second
			}
			var got log
			tally, err := Run(t.Context(), cfg, sung(answers, nil), audio.Null{Rate: rate}, func(e Event) {
				if _, ok := e.(Judged); ok {
					got.add(e)
				}
			})
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
	c := config(items(t, "do"))
	var offered []exercise.Outcome
	c.Retry = func(_ context.Context, j Judged) (bool, error) {
		offered = append(offered, j.Verdict.Outcome)
		return false, nil
	}
	var l log
	if _, err := Run(t.Context(), c, sung(map[[2]int]float64{{1, 1}: -40}, nil), audio.Null{Rate: rate}, l.add); err != nil {
		t.Fatal(err)
	}
	same(t, l, "key", "ask 1/1.1", "listen", "1.1 flat counts=true", "finished false")
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
		var l log
		src := awaited{&testkit.Source{}, nil} // of no rate
		src.wait = func(context.Context) error {
			l = append(l, "await")
			src.Source.Rate = rate
			return c
		}
		_, err := Run(t.Context(), config(items(t, "do")), answerFunc(func(p Prompted) (audio.Source, bool, error) {
			if p.Attempt > 1 {
				return nil, false, ErrNoMore
			}
			return src, false, nil
		}), audio.Null{Rate: rate}, l.add)
		if err != c || src.Closed != 1 {
			t.Errorf("Run returned %v, want %v; closed %d times", err, c, src.Closed)
		}
		if c == nil {
			same(t, l, "key", "ask 1/1.1", "await", "listen", "1.1 not_measured counts=false", "finished false")
		} else {
			same(t, l, "key", "ask 1/1.1", "await", "finished true")
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
			answers := answerFunc(func(p Prompted) (audio.Source, bool, error) {
				if p.Index == 1 {
					return right(p), false, nil
				}
				src, err := c.second(p)
				second, _ = src.(*testkit.Source)
				return src, false, err
			})
			var l log
			tally, err := Run(t.Context(), config(items(t, "do", "re", "mi")), answers, audio.Null{Rate: rate}, l.add)
			if err == nil || c.want != nil && !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want one that wraps %v and says %q", err, c.want, c.says)
			}
			if tally.All.Asked != 1 || tally.All.Right != 1 {
				t.Errorf("tally %+v, want the first answer", tally.All)
			}
			if l[len(l)-1] != "finished true" {
				t.Errorf("the last event is %q", l[len(l)-1])
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
			cfg := config(items(t, "sol-do"))
			cfg.Window, cfg.Think, cfg.Compare = exercise.DefaultWindow(), 0.5, true
			var got log
			var verdict exercise.Verdict
			_, err := Run(t.Context(), cfg, answerFunc(func(Prompted) (audio.Source, bool, error) { return r, true, nil }), r, func(e Event) {
				if j, ok := e.(Judged); ok {
					verdict = j.Verdict
				}
				got.add(e)
			})
			if err != nil {
				t.Fatal(err)
			}
			same(t, got, "key", "ask 1/1.1", "wait", "listen", c.want, "sound", "finished false")
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
	heard := listen(t, audio.NewSamples(rate, k.Render(synth.One(220))), exercise.DefaultWindow().Recorded())
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
			cfg := config(items(t, "do", "sol-do"))
			cfg.Window, cfg.Think, cfg.Compare = exercise.DefaultWindow(), 0.5, true
			if c.retry {
				cfg.Retry = func(ctx context.Context, _ Judged) (bool, error) {
					cancel()
					return false, ctx.Err()
				}
			}
			var l log
			sounded := false
			tally, err := Run(ctx, cfg, answerFunc(func(Prompted) (audio.Source, bool, error) { return r, true, nil }), sinkOf{r}, func(e Event) {
				l.add(e)
				sounded = sounded || brief(e) == "sound"
				if brief(e) == c.at {
					cancel()
				}
			})
			if !errors.Is(err, context.Canceled) {
				t.Fatalf("%v, want context.Canceled", err)
			}
			if got := l[len(l)-2:]; !strings.HasSuffix(got[0], c.last[0]) || got[1] != c.last[1] {
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
	c := config(items(t, "do"))
	c.Compare = true
	level := -30.0
	c.Level = func() float64 { level += 10; return level }
	out := peakSink{audio.Null{Rate: rate}, &peaks}
	if _, err := Run(t.Context(), c, sung(map[[2]int]float64{{1, 1}: 0}, nil), out, func(Event) {}); err != nil {
		t.Fatal(err)
	}
	if len(peaks) != 2 || peaks[0] > -20 || peaks[1] > -10 || peaks[1]-peaks[0] < 9 {
		t.Errorf("peaks of %.1f dBFS, want two, at most -20 and -10", peaks)
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

// Questions that are chosen one by one: the key is set where they say so, a
// verdict that is not told has no right note and no second attempt after it, a
// guess comes before the verdict, and Keep learns of every verdict before the
// view does.
func TestNextChoosesTheQuestions(t *testing.T) {
	list := items(t, "do", "mi", "do-sol", "re")
	other := items(t, "la")[0]
	other.Key = key(t, "C major")
	questions := []Question{
		{Item: list[0], SetKey: true, Feedback: practice.Full},
		{Item: list[1], Feedback: practice.SecondShown, Guess: true},
		{Item: list[2], Feedback: practice.Blind, Guess: true},
		{Item: other, SetKey: true, Feedback: practice.Outside},
		{Item: list[3], SetKey: true, Feedback: practice.Outside, Tolerance: exercise.Tolerance{Cents: 10}},
	}
	for i := range questions[:4] {
		questions[i].Tolerance.Cents = 35
	}
	c := config(nil)
	c.Compare = true
	var l log
	n := 0
	last := 0.0
	c.Next = func(seconds float64) (Question, bool) {
		if n > 0 && seconds < last+0.8 {
			t.Errorf("question %d at %g s, the one before at %g", n+1, seconds, last)
		}
		last = seconds
		if n == len(questions) {
			return Question{}, false
		}
		n++
		return questions[n-1], true
	}
	c.Retry = func(_ context.Context, j Judged) (bool, error) {
		l = append(l, fmt.Sprintf("retry %d?", j.Index))
		return false, nil
	}
	c.Guess = func(context.Context) (exercise.Outcome, error) {
		l = append(l, "guess?")
		return exercise.Sharp, nil
	}
	c.Keep = func(j Judged) {
		l = append(l, fmt.Sprintf("keep %d %v %v hidden=%v guess=%v", j.Index, j.Feedback, j.Tolerance.Cents, j.Hidden, j.Guess))
	}
	answers := sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 40, {3, 1}: 40, {4, 1}: 0, {5, 1}: 20}, nil)
	tally, err := Run(t.Context(), c, answers, audio.Null{Rate: rate}, l.add)
	if err != nil {
		t.Fatal(err)
	}
	same(t, l,
		"key", "ask 1/0.1", "listen", "keep 1 full 35 hidden=false guess=not_measured", "1.1 in_tune counts=true", "sound",
		"ask 2/0.1", "listen", "guess?", "keep 2 second_shown 35 hidden=false guess=sharp", "2.1 sharp counts=true", "sound", "retry 2?",
		"ask 3/0.1", "listen", "guess?", "keep 3 blind 35 hidden=true guess=sharp", "3.1 sharp counts=true",
		"key", "ask 4/0.1", "listen", "keep 4 outside 35 hidden=true guess=not_measured", "4.1 in_tune counts=true",
		"key", "ask 5/0.1", "listen", "keep 5 outside 10 hidden=false guess=not_measured", "5.1 sharp counts=true", "sound", "retry 5?",
		"finished false")
	if tally.All.Asked != 5 || tally.All.Right != 2 || tally.All.Sharp != 3 {
		t.Errorf("tally %+v", tally.All)
	}
}
