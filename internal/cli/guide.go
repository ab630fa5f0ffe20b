package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// usualTempo is that of a melody that says none, in beats a minute.
const usualTempo = 72

// soundWords are what --sound may be.
var soundWords = []string{drill.ByKeyboard, drill.ByVoice}

// longestGuide bounds a guide track, in seconds.
const longestGuide = 1800

// sound checks the flags about how the melody sounds, and returns what sounds it: nil
// where it is not to sound.
func (o *melodyOptions) sound(e *env, lines []line) (func(context.Context) error, error) {
	if o.output == "" && o.outputDevice == "" {
		for _, flag := range []string{"tempo", "count-in", "click", "backing", "a4", "tuning", "loudness", "instrument", "sound"} {
			if o.cmd.Flags().Changed(flag) {
				return nil, usagef("--%s is about how it sounds: say where with --output", flag)
			}
		}
		return nil, nil
	}
	if o.tempo != 0 && !(o.tempo >= 30 && o.tempo <= 200) {
		return nil, usagef("--tempo: %g is out of range: want 30 to 200", o.tempo)
	}
	played, err := drill.ReadInstrument(o.plays)
	if err != nil {
		return nil, err
	}
	if err := cmp.Or(drill.CheckLoudness(o.loudness), o.soundFlags.check("")); err != nil {
		return nil, err
	}
	if len(lines) > 1 {
		return nil, usagef("--count: one melody sounds at a time: name its --seed")
	}
	tuning, err := o.music.readTuning()
	if err != nil {
		return nil, err
	}
	score := lines[0].score
	quarter := 60 / cmp.Or(o.tempo, score.Tempo, usualTempo) / session.BeatOf(score)
	if seconds := score.Length().Float() * quarter; seconds > longestGuide {
		return nil, usagef("--output: it lasts %.0f s at that tempo: want at most %d s", seconds, longestGuide)
	}
	guide, err := o.guide(score, tuning, quarter)
	if err != nil {
		return nil, err
	}
	guide.Model, err = o.model(score)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context) error {
		ctx, stop := e.interruptible(ctx)
		defer stop()
		var s stage
		defer s.close()
		where := stageOptions{soundFlags: o.soundFlags}
		if err := where.openOutput(ctx, e, &s, "", nil); err != nil {
			return err
		}
		if s.out == nil {
			return nil
		}
		guide.Keyboard = synth.Keyboard{SampleRate: s.out.SampleRate(), Level: o.loudness, Instrument: played}
		if err := s.out.Write(ctx, guide.Samples()); err != nil {
			return err
		}
		return errors.Join(s.out.Drain(ctx), s.close())
	}, nil
}

// model is the voice that sings the line, where --sound asks for one.
func (o *melodyOptions) model(s theory.Score) (*synth.Model, error) {
	names := theory.Movable
	if o.names != "none" {
		var err error
		if names, err = theory.ParseNaming(o.names); err != nil {
			return nil, usage(fmt.Errorf("--names: %w; or none", err))
		}
	}
	low, high := 127, 0
	for _, n := range s.Notes {
		if !n.Rest {
			low, high = min(low, n.Pitch.MIDI()), max(high, n.Pitch.MIDI())
		}
	}
	m := drill.Music{Voice: o.voice}
	return m.Model(o.heard, names, synth.ModelType("", low, high))
}
