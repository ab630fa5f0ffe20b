package drill

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
	"singback/internal/session"
)

// resting is a person who rests as long as it takes, by a clock that a test moves.
type resting struct {
	Nobody
	rest func()
}

func (p resting) Rest(context.Context) error {
	p.rest()
	return nil
}

// The minutes of today's practice pass while it goes on, and not while the singer
// rests, nor while the computer sleeps, nor when its clock is put right. The date of an
// answer is that of the day, and never earlier than the one before.
func TestTheMinutesOfASittingAreThoseOfPractice(t *testing.T) {
	const minute = time.Minute
	heard := session.Heard{}
	for _, c := range []struct {
		what  string
		does  func(r *Run, passes func(d time.Duration, events ...session.Event))
		asks  bool          // a question comes after it, in a sitting of 5 minutes
		after time.Duration // the date of an answer then, counted from the start
	}{
		{"practice", func(r *Run, passes func(time.Duration, ...session.Event)) {
			for range 22 {
				passes(minute, session.Waiting{})
			}
		}, false, 22 * minute},
		{"a rest", func(r *Run, passes func(time.Duration, ...session.Event)) {
			passes(minute, session.Waiting{})
			r.Person = resting{rest: func() { passes(20 * minute) }}
			if err := r.Rest(t.Context()); err != nil {
				t.Fatal(err)
			}
		}, true, 21 * minute},
		{"long thinking", func(r *Run, passes func(time.Duration, ...session.Event)) { passes(11*minute, heard) }, false, 11 * minute},
		{"eight hours of sleep while nobody sings", func(r *Run, passes func(time.Duration, ...session.Event)) { passes(8*time.Hour, heard) }, true, 8 * time.Hour},
		{"five minutes of sleep in a listening window", func(r *Run, passes func(time.Duration, ...session.Event)) {
			passes(time.Second, heard)
			passes(6*minute, heard)
		}, true, 6*minute + time.Second},
		{"an hour back", func(r *Run, passes func(time.Duration, ...session.Event)) {
			passes(minute, heard)
			passes(-time.Hour, heard)
			passes(time.Second, heard)
		}, true, 2 * minute},
	} {
		o := today(t)
		o.Course.Minutes = 5
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		r, _ := run(p, nil)
		now := began
		r.Clock = func() time.Time { return now }
		r.watch.begin(now)
		if task, err := r.Next(0); task == nil || err != nil {
			t.Fatalf("no first question: %v", err)
		}
		r.at(0)
		c.does(r, func(d time.Duration, events ...session.Event) {
			now = now.Add(d)
			for _, e := range events {
				r.Emit(e)
			}
		})
		if task, err := r.Next(120); (task != nil) != c.asks || err != nil {
			t.Errorf("after %s: a question %v, want %v; %v", c.what, task != nil, c.asks, err)
		}
		before := r.at(120)
		if got := before.Sub(o.Start); got != c.after {
			t.Errorf("after %s: an answer is dated %v after the start, want %v", c.what, got, c.after)
		}
		now = now.Add(-3 * time.Hour)
		if again := r.at(121); again.Before(before) {
			t.Errorf("after %s: an answer is dated %v before the one before", c.what, before.Sub(again))
		}
	}
}

// A night's sleep in the middle of a sitting: what is sung after it is of the new day.
func TestAnAnswerAfterMidnightIsOfTheNewDay(t *testing.T) {
	o := today(t)
	o.Start = time.Date(2026, 11, 28, 23, 58, 0, 0, time.FixedZone("", 3600))
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	r, _ := run(p, nil)
	now := o.Start
	r.Start, r.Clock = o.Start, func() time.Time { return now }
	r.watch.begin(now)
	for _, c := range []struct {
		passes time.Duration
		day    string
	}{{time.Minute, "2026-11-28"}, {8 * time.Hour, "2026-11-29"}, {-20 * time.Hour, "2026-11-29"}} {
		now = now.Add(c.passes)
		if got := r.at(0).Format(time.DateOnly); got != c.day {
			t.Errorf("%v later the day is %s, want %s", c.passes, got, c.day)
		}
	}
}

// goes is a loudspeaker that goes silent in the n-th of its writes, once.
type goes struct {
	audio.Null
	at, writes int
}

func (g *goes) Write(ctx context.Context, samples []float64) error {
	if g.writes++; g.writes == g.at {
		return audio.ErrStalled
	}
	return g.Null.Write(ctx, samples)
}

// Wherever the loudspeaker goes silent in a sitting, the drill waits, says so, and goes
// on: every question is asked until it is judged, once, and the time that was waited does
// not count.
func TestADrillGoesOnWhenTheSoundIsBack(t *testing.T) {
	asked := -1
	for _, at := range []int{0, 1, 3, 6} {
		synctest.Test(t, func(t *testing.T) {
			o := today(t)
			o.Course.Minutes = 1
			p, err := o.Plan()
			if err != nil {
				t.Fatal(err)
			}
			var record memory
			r, events := run(p, &record)
			out := &goes{Null: audio.Null{Rate: 16000}, at: at}
			r.Out, r.Clock = out, time.Now
			waited := 0
			r.GoesOn(func(context.Context) error {
				waited++
				time.Sleep(time.Hour)
				return nil
			})
			tally, err := r.Do(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if at == 0 {
				asked = tally.All.Asked
			}
			told := 0
			seen := map[[2]int]int{}
			for _, e := range *events {
				switch e := e.(type) {
				case session.Gone:
					if e.Back != (told == 1) {
						t.Errorf("silent in write %d: told %+v after %d", at, e, told)
					}
					told++
				case session.Judged:
					if seen[[2]int{e.Index, e.Attempt}]++; seen[[2]int{e.Index, e.Attempt}] > 1 {
						t.Errorf("silent in write %d: question %d was judged twice", at, e.Index)
					}
				}
			}
			if want := min(at, 1); waited != want || told != 2*want {
				t.Errorf("silent in write %d: waited %d times and told it %d times", at, waited, told)
			}
			// What is sounded once more takes some of the two minutes.
			if tally.All.Asked < asked-1 {
				t.Errorf("silent in write %d: %d questions, want %d", at, tally.All.Asked, asked)
			}
		})
	}
}

// A device that does not come back ends the drill with what is known of it.
func TestADrillEndsWithoutSound(t *testing.T) {
	o := today(t)
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	r, events := run(p, nil)
	r.Out = &goes{Null: audio.Null{Rate: 16000}, at: 3}
	late := errors.New("it did not come back")
	r.GoesOn(func(context.Context) error { return late })
	if _, err := r.Do(t.Context()); !errors.Is(err, audio.ErrStalled) || !errors.Is(err, late) {
		t.Errorf("%v, want both errors", err)
	}
	if last, ok := (*events)[len(*events)-1].(session.Finished); !ok || !last.Interrupted {
		t.Errorf("the last event is %+v", (*events)[len(*events)-1])
	}
	if p, err = o.Plan(); err != nil {
		t.Fatal(err)
	}
	r, _ = run(p, nil)
	r.Out = &goes{Null: audio.Null{Rate: 16000}, at: 1}
	ctx, end := context.WithCancel(t.Context())
	r.GoesOn(func(ctx context.Context) error { end(); <-ctx.Done(); return ctx.Err() })
	if _, err := r.Do(ctx); err != nil {
		t.Errorf("ended by the singer while it waits: %v", err)
	}
}

// A clock that jumps by hours, to either side, in the middle of questions: the same is
// asked, and judged alike, for as long as without.
func TestAJumpOfTheClockChangesNoAnswer(t *testing.T) {
	sit := func(jumps map[int]time.Duration) (told []string) {
		o := today(t)
		o.Course.Minutes = 1
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		var record memory
		r, events := run(p, &record)
		now, looks := began, 0
		r.Clock = func() time.Time {
			looks++
			now = now.Add(time.Millisecond + jumps[looks])
			return now
		}
		if _, err := r.Do(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, e := range *events {
			if j, ok := e.(session.Judged); ok {
				told = append(told, fmt.Sprintf("%d %v %.2f %v", j.Index, j.Item.Asked, j.Verdict.Cents, j.Verdict.Outcome))
			}
		}
		for i := 1; i < len(record.answers); i++ {
			if record.answers[i].At.Before(record.answers[i-1].At) {
				t.Errorf("answer %d is dated before the one before", i+1)
			}
		}
		return told
	}
	steady := sit(nil)
	jumpy := sit(map[int]time.Duration{20: 8 * time.Hour, 60: -10 * time.Hour, 90: time.Hour, 120: 26 * time.Hour, 180: -time.Hour})
	if len(steady) < 3 || !slices.Equal(steady, jumpy) {
		t.Errorf("with jumps\n%s\nwithout\n%s", strings.Join(jumpy, "\n"), strings.Join(steady, "\n"))
	}
}
