package session

import (
	"context"
	"fmt"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/theory"
)

// Hand is who plays on an instrument what was sung.
type Hand interface {
	// Keyed reports whether a keyboard tells which keys are struck. Otherwise the
	// instrument is heard.
	Keyed() bool
	// HandKeys returns the keys that were struck.
	HandKeys(ctx context.Context, asked HandAsked) ([]exercise.Strike, error)
	// HandSource returns what hears the instrument; see [DegreeSinger].
	HandSource(asked HandAsked) (src audio.Source, live bool, err error)
}

// HandAsked tells that what was sung is to be played. It comes after the verdict on what
// was sung.
type HandAsked struct {
	Index  int
	Item   exercise.Item
	Asked  []grade.Sounded // degrees, and where they were asked
	Keyed  bool            // as in Hand
	Hidden bool            // as in Judged
}

// HandStruck says what was played, and what of it is right.
type HandStruck struct {
	HandAsked
	Sung     []exercise.Skill // the degrees that were sung; the zero Skill where none can be named
	Voice    []exercise.Outcome
	Strikes  []exercise.Strike // where a keyboard told them
	Back     grade.Back
	Reason   exercise.Reason // why nothing was measured; NoReason where something was
	Level    float64         // dBFS, the loudest that was heard
	Feedback practice.Feedback
	Seconds  float64 // as in Judged
}

// Outcomes says of each degree whether the hand took it.
func (h HandStruck) Outcomes() []exercise.Outcome {
	out := make([]exercise.Outcome, len(h.Asked))
	for i := range out {
		if h.Reason == exercise.NoReason {
			out[i] = h.Back.Degrees[i].Outcome
		}
	}
	return out
}

// Struck returns the degree that was struck for the i-th; false without one.
func (h HandStruck) Struck(i int) (theory.Degree, bool) {
	if h.Reason != exercise.NoReason || !h.Back.Degrees[i].Sung || h.Back.Degrees[i].Outcome == exercise.Ambiguous {
		return theory.Degree{}, false
	}
	return h.Back.Degrees[i].Degree, true
}

func (HandAsked) event()  {}
func (HandStruck) event() {}

// play has what was sung played, and says what of it is right. The answer to one degree
// is the first key that is struck: what follows is told, and puts nothing right.
func (t *Turn) play(ctx context.Context, hand Hand, asked HandAsked, h HandStruck) error {
	asked.Index, asked.Keyed = t.Index, hand.Keyed()
	h.HandAsked = asked
	t.Emit(asked)
	it := asked.Item
	it.Tuning = theory.Tuning{A4: it.Tuning.A4} // an instrument is tuned in equal temperament
	var notes []grade.Sung
	if asked.Keyed {
		t.Emit(Listening{t.Index})
		strikes, err := hand.HandKeys(ctx, asked)
		if err != nil {
			return fmt.Errorf("answer %d: %w", t.Index, err)
		}
		it.Tuning.A4 = theory.DefaultA4
		h.Strikes, notes = strikes, struck(strikes)
		if n := len(strikes); n > 0 {
			t.seconds += strikes[n-1].At + strikes[n-1].Length
		} else {
			h.Reason = exercise.TooQuiet
		}
	} else {
		src, live, err := hand.HandSource(asked)
		if err != nil {
			return err
		}
		heard, take, err := t.instrument(ctx, src, live, len(asked.Asked), 0)
		if err != nil {
			return err
		}
		notes, h.Reason, h.Level = heard.Notes, unstruck(take, heard, len(asked.Asked)), take.Loudest
	}
	if h.Reason == exercise.NoReason {
		h.Back = readHand(it, asked.Asked, notes)
	}
	h.Seconds = t.Seconds()
	outcomes := h.Outcomes()
	for i, a := range asked.Asked {
		o := outcomes[i]
		if o != exercise.RightAnswer && o != exercise.WrongAnswer {
			continue
		}
		var name *exercise.Skill
		if d, ok := h.Struck(i); ok {
			name = &exercise.Skill{Kind: exercise.HandSkill, Degree: d}
		}
		t.Tally.AddNamed(exercise.Skill{Kind: exercise.HandSkill, Degree: a.Degree}, name, o == exercise.RightAnswer)
	}
	t.Emit(h)
	return nil
}

// readHand reads what was struck as the degrees that were sung.
func readHand(it exercise.Item, asked []grade.Sounded, notes []grade.Sung) grade.Back {
	if len(asked) > 1 {
		return grade.SingBack(it, asked, notes)
	}
	b := grade.SingBack(it, asked, notes[:1])
	b.Added = nil
	for _, n := range notes[1:] {
		more := grade.SingBack(it, asked, []grade.Sung{n})
		if d := more.Degrees[0]; d.Degree != b.Degrees[0].Degree {
			b.Added = append(b.Added, d.Degree)
		}
	}
	return b
}

// instrument hears so many notes of an instrument, once the tool's own sound has died
// away and so many seconds of inner hearing are over; without any nothing has sounded
// that has to die away but the singer.
func (t *Turn) instrument(ctx context.Context, src audio.Source, live bool, notes int, think float64) (heard listen.Instrument, take exercise.PhraseTake, err error) {
	err = t.Answer(ctx, src, live, func(ear *listen.Ear) error {
		if think > 0 {
			if err := t.Wait(ctx, ear, live, think); err != nil {
				return err
			}
		} else if live { // nothing was played since the singing: what was sung dies away
			if err := ear.Pass(ctx, int64(guard*float64(src.SampleRate())), 0); err != nil {
				return fmt.Errorf("wait for the answer: %w", err)
			}
		}
		window := exercise.NewStruckWindow(notes)
		if !live {
			window = window.Recorded()
		}
		t.Emit(Listening{t.Index})
		var samples []float64
		var err error
		take, samples, err = ear.Line(ctx, window, t.meter)
		t.heard(int64(len(samples)), src.SampleRate())
		if err != nil {
			return fmt.Errorf("listen to answer %d: %w", t.Index, err)
		}
		heard, err = listen.Struck(ctx, samples, take.SampleRate, t.Hearing, ear.Room(), live)
		return err
	})
	return heard, take, err
}

// unstruck says why nothing of an instrument was measured; NoReason where something was.
// Where what sounded as the window opened was left out, and notes are missing, one of
// them may have been struck too early.
func unstruck(take exercise.PhraseTake, heard listen.Instrument, wanted int) exercise.Reason {
	switch {
	case take.Lost:
		return exercise.LostSamples
	case heard.Opening && len(heard.Notes) < wanted:
		return exercise.OwnSound
	case len(heard.Notes) > 0:
		return exercise.NoReason
	case take.Voiced >= 0.03:
		return exercise.TooShort
	}
	return exercise.TooQuiet
}
