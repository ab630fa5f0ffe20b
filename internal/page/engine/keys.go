package engine

import (
	"context"
	"errors"
	"time"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/keys/strike"
	"singback/internal/report"
	"singback/internal/session"
)

// Key is a key or the pedal of the keyboard that the browser lends, as it goes down or
// up; or the news that no keyboard is there any more.
type Key struct {
	Key   int  `json:"key"` // MIDI number
	Down  bool `json:"down"`
	Pedal bool `json:"pedal"`
	Gone  bool `json:"gone"`
}

// keyboard is where keys lie until a drill takes them.
type keyboard chan keyed

type keyed struct {
	strike.Change
	gone bool
}

// What is told of a keyboard.
var (
	errGone      = errors.New("the keyboard is gone: was it unplugged or switched off? Connect it, and press Start again; what was shown is kept")
	errNoKeys    = errors.New("no MIDI keyboard is there: connect one and allow it in the browser, or play on an instrument before the microphone (input=mic)")
	errOnlyKeys  = errors.New("chords are not told apart through the microphone: connect a MIDI keyboard, and allow it in the browser")
	byInstrument = "No MIDI keyboard was found: play on an instrument, one note at a time, and the microphone hears it."
)

// push takes in what the page says of a key. Where nobody listens, and has not for long,
// it is lost.
func (k keyboard) push(key Key) {
	if key.Key < 0 || key.Key > 127 {
		return
	}
	select {
	case k <- keyed{strike.Change{Key: key.Key, Down: key.Down, Pedal: key.Pedal, At: time.Now()}, key.Gone}:
	default:
	}
}

// struck returns so many notes or chords that are struck from now on.
func (k keyboard) struck(ctx context.Context, count int, chords bool) ([]exercise.Strike, error) {
	for len(k) > 0 {
		if c := <-k; c.gone {
			return nil, errGone
		}
	}
	return strike.Take(ctx, count, chords, k.next)
}

func (k keyboard) next(ctx context.Context, until time.Time) (strike.Change, bool, error) {
	timer := time.NewTimer(time.Until(until))
	defer timer.Stop()
	select {
	case c := <-k:
		if c.gone {
			return c.Change, false, errGone
		}
		return c.Change, true, nil
	case <-timer.C:
		return strike.Change{}, false, nil
	case <-ctx.Done():
		return strike.Change{}, false, ctx.Err()
	}
}

// empty forgets what was struck.
func (k keyboard) empty() {
	for len(k) > 0 {
		<-k
	}
}

// player is what plays back a dictation; keys tells that a keyboard is there.
func (e *Engine) player(plan *drill.Plan, by drill.Kind, sound Sound, keys bool) (drill.Answers, error) {
	switch {
	case plan.SungBack() && sound.Mic == nil:
		return nil, errNoMicrophone
	case plan.SungBack() && keys:
		return drill.Hands{Answers: drill.Microphone{Live: sound.Mic}, Keyboard: drill.Keyboard{Play: e.keys.struck}}, nil
	case keys && by != drill.ByMicrophone:
		return drill.Keyboard{Play: e.keys.struck}, nil
	case by == drill.ByKeys:
		return nil, errNoKeys
	case !plan.OneByOne():
		return nil, errOnlyKeys
	case sound.Mic == nil:
		return nil, errNoMicrophone
	}
	return drill.Microphone{Live: sound.Mic}, nil
}

// hand gives a run the keyboard on which what was sung is then played, or says that the
// microphone hears it.
func (e *Engine) hand(r *drill.Run, plan *drill.Plan, by drill.Kind, keys bool) {
	_, mic := r.Answers.(drill.Microphone)
	switch {
	case plan.HandToo() && keys:
		r.Keys = e.keys.struck
	case plan.HandToo() && mic, plan.PlayedBack() && mic && by == "":
		e.post(textMessage{"notice", byInstrument})
	}
}

// play says that something is to be played: keys, or notes that are heard.
func (s *show) play() {
	_, mic := s.run.Answers.(drill.Microphone)
	if s.playing = "strike"; mic && s.run.Keys == nil {
		s.playing = "tune"
	}
}

// struck says what was played of what was sung.
func (s *show) struck(ev *session.HandStruck) verdictSaid {
	said := verdictSaid{Hidden: ev.Hidden, Details: []string{}}
	if ev.Hidden {
		said.Mark = "unknown"
		return said
	}
	h := drill.Handed(ev)
	said.Headline, said.Mark = sentence(s.run.Style.HandHeadline(h)), report.HandMark(h)
	for _, line := range s.run.Style.HandDetails(h) {
		said.Details = append(said.Details, sentence(line)+".")
	}
	return said
}
