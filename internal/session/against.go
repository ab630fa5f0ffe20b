package session

import (
	"context"
	"errors"
	"math"

	"singback/theory"
)

// beside is what sounds while a line is sung: the other parts, and the beat where it goes
// on clicking; nil where nothing does. The beat clicks for who sings into a microphone
// alone; the parts sound whoever sings.
func (l Line) beside(t *Turn, p LinePrompted, live bool) []float64 {
	if p.Free || p.Echo {
		return nil
	}
	score := l.Melody.Score
	var out []float64
	if l.Beside != nil {
		t.keyboard.Level = t.Level()
		if l.Click && live {
			t.keyboard.Level -= 6 // a click takes the other half
		}
		before := int(lead * float64(t.out.SampleRate()))
		out = append(make([]float64, before), l.Beside(t.keyboard, l.Tuning, p.Quarter)...)
	}
	if l.Click && live {
		length := score.Length().Float()
		clicks := t.clicks(beatsFrom(score, p.Quarter, 0, length, lead), length*p.Quarter+lead)
		if len(out) < len(clicks) {
			out, clicks = clicks, out
		}
		for i, x := range clicks {
			out[i] += x
		}
	}
	return out
}

// longestRest is the longest rest of a line in quarter notes.
func longestRest(s theory.Score) (longest float64) {
	for _, n := range s.Notes {
		if n.Rest {
			longest = max(longest, n.Length.Float())
		}
	}
	return longest
}

// alongside is sound that goes on while a window is open. A goroutine owns the output
// until join has returned.
type alongside struct {
	stop chan struct{}
	done chan error
}

// step is how much of it, in seconds, is written at a time: as long as it takes to fade
// where it is cut.
const step = 0.05

// along begins to sound samples; nothing sounds where there are none.
func (t *Turn) along(ctx context.Context, samples []float64) alongside {
	a := alongside{make(chan struct{}), make(chan error, 1)}
	if len(samples) == 0 {
		a.done <- nil
		return a
	}
	n := max(1, int(step*float64(t.out.SampleRate())))
	go func() {
		for len(samples) > 0 {
			block := samples[:min(n, len(samples))]
			samples = samples[len(block):]
			select {
			case <-a.stop:
				for i := range block {
					block[i] *= 0.5 + 0.5*math.Cos(math.Pi*float64(i+1)/float64(len(block)))
				}
				samples = nil
			default:
			}
			if err := t.out.Write(ctx, block); err != nil {
				a.done <- err
				return
			}
		}
		a.done <- nil
	}()
	return a
}

// cut fades it out, within two steps.
func (a alongside) cut() { close(a.stop) }

// join waits until the output is free again. That the run was ended is no error of it.
func (a alongside) join() error {
	if err := <-a.done; err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}
