package session

import (
	"context"

	"singback/exercise"
	"singback/internal/synth"
	"singback/theory"
)

// note sounds a note of the item's key: on the keyboard, or sung on its syllable.
func (t *Turn) note(ctx context.Context, it exercise.Item, p theory.Pitch) error {
	one := synth.One(it.Hz(p))
	return t.line(ctx, []synth.Timed{{Hz: one[0].Hz, Duration: one[0].Duration, Key: it.Key, Pitch: p}}, one)
}

// line sounds a line, which is played as p, or sung by the model.
func (t *Turn) line(ctx context.Context, line []synth.Timed, p synth.Phrase) error {
	if t.Model == nil {
		return t.Play(ctx, p)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	m := *t.Model
	m.SampleRate, m.Level = t.out.SampleRate(), t.Level()
	return t.sound(ctx, m.Render(line))
}
