package calibrate

import (
	"context"
	"time"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/session"
	"singback/pitch"
)

// Subject is who is measured: a singer at a running microphone, in recordings, or
// simulated. It is a [session.Subject].
type Subject struct {
	Conversation
	Live      audio.Source                                     // the microphone; nil without
	Recording func(p session.Part) (audio.Source, error)       // opens what answers a part; nil without
	Simulated *Singer                                          // nil for a person
	Pace      func(ctx context.Context, d time.Duration) error // has the simulated singer take the time that a person does; nil: not
}

// Word is the word of the simulated singer, or what the person answers.
func (s *Subject) Word(ctx context.Context, ask calib.RangeAsk, notes []pitch.Note) (calib.Word, error) {
	if s.Simulated != nil {
		return s.Simulated.Word(ask), nil
	}
	return s.Conversation.Word(ctx, ask, notes)
}

// Source gives what answers a part.
func (s *Subject) Source(p session.Part, ask calib.RangeAsk, hz float64) (src audio.Source, live, whole bool, err error) {
	switch {
	case s.Live != nil:
		for p == session.VoicePart && s.Done() {
			continue // what was typed before was no word about this note
		}
		return s.Live, true, false, nil
	case s.Recording != nil:
		src, err = s.Recording(p)
		return src, false, true, err
	}
	src = audio.NewSamples(s.Simulated.rate, s.Simulated.Sound(p, ask, hz))
	if s.Pace != nil {
		src = audio.NewPaced(src, s.Pace)
	}
	return src, false, false, nil
}
