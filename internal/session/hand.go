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
	HandKeys(ctx context.Context, asked *HandAsked) ([]exercise.Strike, error)
	// HandSource returns what hears the instrument; see [DegreeSinger].
	HandSource(asked *HandAsked) (src audio.Source, live bool, err error)
}

// HandAsked tells that what was sung is to be played. It comes after the verdict on what
// was sung.
type HandAsked struct {
	Index  int
	Item   *exercise.Item
	Asked  []grade.Sounded // degrees, and where they were asked
	Keyed  bool            // as in Hand
	Hidden bool            // as in Judged
}

// HandStruck says what was played, and what of it is right.
type HandStruck struct {
	HandAsked
	Sung     []exercise.Skill  // the degrees that were sung; the zero Skill where none can be named
	Strikes  []exercise.Strike // where a keyboard told them
	Back     grade.Back
	Reason   exercise.Reason // why nothing was measured; NoReason where something was
	Level    float64         // dBFS, the loudest that was heard
	Feedback practice.Feedback
	Seconds  float64 // as in Judged
}

// Outcome says of the i-th degree whether the hand took it.
func (h *HandStruck) Outcome(i int) exercise.Outcome {
	if h.Reason != exercise.NoReason {
		return exercise.NotMeasured
	}
	return h.Back.Degrees[i].Outcome
}

// Struck returns the degree that was struck for the i-th; false without one.
func (h *HandStruck) Struck(i int) (d theory.Degree, ok bool) {
	if h.Reason != exercise.NoReason {
		return d, false
	}
	b := &h.Back.Degrees[i]
	return b.Degree, b.Sung && b.Outcome != exercise.Ambiguous
}

func (*HandAsked) event()  {}
func (*HandStruck) event() {}

// play has what was sung played, and says what of it is right. The answer to one degree
// is the first key that is struck: what follows is told, and puts nothing right.
func (t *Turn) play(ctx context.Context, hand Hand, h *HandStruck) error {
	asked := &h.HandAsked
	asked.Index, asked.Keyed = t.Index, hand.Keyed()
	t.Emit(asked)
	it := tempered(asked.Item)
	var notes []grade.Sung
	if asked.Keyed {
		t.Emit(Listening{t.Index})
		strikes, err := hand.HandKeys(ctx, asked)
		if err != nil {
			return fmt.Errorf("answer %d: %w", t.Index, err)
		}
		it.Tuning.A4 = theory.DefaultA4
		h.Strikes, notes = strikes, asNotes(strikes)
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
		notes, h.Reason, h.Level = heard.Notes, unstruck(&take, &heard, len(asked.Asked)), take.Loudest
	}
	if h.Reason == exercise.NoReason {
		h.Back = readHand(&it, asked.Asked, notes)
	}
	h.Seconds = t.Seconds()
	for i := range asked.Asked {
		o := h.Outcome(i)
		if o != exercise.RightAnswer && o != exercise.WrongAnswer {
			continue
		}
		var name *exercise.Skill
		if d, ok := h.Struck(i); ok {
			name = &exercise.Skill{Kind: exercise.HandSkill, Degree: d}
		}
		t.Tally.AddNamed(exercise.Skill{Kind: exercise.HandSkill, Degree: asked.Asked[i].Degree}, name, o == exercise.RightAnswer)
	}
	t.Emit(h)
	return nil
}

// tempered is an item as an instrument has it, which is tuned in equal temperament.
func tempered(it *exercise.Item) exercise.Item {
	out := *it
	out.Tuning = theory.Tuning{A4: it.Tuning.A4}
	return out
}

// readHand reads what was struck as the degrees that were sung.
func readHand(it *exercise.Item, asked []grade.Sounded, notes []grade.Sung) grade.Back {
	if len(asked) > 1 {
		return grade.SingBack(*it, asked, notes)
	}
	b := grade.SingBack(*it, asked, notes[:1])
	first := b.Degrees[0].Degree
	tonic := grade.CentsOnA4(it.Hz(theory.Pitch{Note: it.Key.Tonic, Octave: 4}), theory.DefaultA4)
	for _, n := range notes[1:] {
		if d, _ := it.Tuning.Nearest(n.Cents-tonic, theory.Degree{Step: 1}); d.Semitones() != first.Semitones() {
			b.Added = append(b.Added, d)
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
func unstruck(take *exercise.PhraseTake, heard *listen.Instrument, wanted int) exercise.Reason {
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
