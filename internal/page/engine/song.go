package engine

import (
	"context"
	"time"

	"singback/internal/drill"
	"singback/internal/listen"
	"singback/theory"
)

// How long, in seconds, a note is held that goes on by itself: longer than a cough or a
// word, shorter than an answer. And how long nothing is heard at first: what was sung
// before dies away.
const (
	heldToGoOn  = 0.5
	deafAtFirst = time.Second
)

// await listens, while a question is open and hands are at a keyboard, for a note that
// is sung and held, and then calls what it does. The function that it returns ends that,
// before anybody else listens.
func (e *Engine) await(ctx context.Context, does func()) (stop func()) {
	e.mu.Lock()
	mic, profile, simulated := e.sound.Mic, e.known.Profile, e.simulated
	e.mu.Unlock()
	if mic == nil || simulated {
		return func() {}
	}
	ctx, cancel := context.WithCancel(ctx)
	over := make(chan struct{})
	go func() {
		defer close(over)
		a4 := theory.DefaultA4
		if i := profile.Instrument; i != nil {
			a4 = i.A4
		}
		ear, err := listen.New(mic, drill.Hearing(profile, a4, true))
		if err != nil {
			return
		}
		if ear.Pass(ctx, int64(deafAtFirst.Seconds()*float64(mic.SampleRate())), 0) != nil {
			return
		}
		for {
			_, err := ear.Notes(ctx, drainPatience.Seconds(), func(s listen.State) {
				if s.Singing && s.Held >= heldToGoOn && ctx.Err() == nil {
					does()
					cancel()
				}
			})
			if err != nil {
				return // ctx is over, or nothing can be heard
			}
		}
	}()
	return func() {
		cancel()
		<-over
	}
}
