package exercise

import (
	"testing"

	"singback/pitch"
	"singback/theory"
)

// A voice is judged where it stands OwnMargin over what the program sounds; a still pitch on
// one of its tones, in any octave, is the sound itself, unless it is so much louder that it
// cannot be.
func TestOverheard(t *testing.T) {
	note := func(level, wander, cents float64) Take {
		return Take{
			Found: true, Note: pitch.Note{Level: level, F0: theory.Shift(261.6, cents)}, Own: -50, OwnTones: []float64{130.8, 196},
			Beside: Beside{Looks: 8, Other: -60, Hum: -60, Wander: wander},
		}
	}
	for name, c := range map[string]struct {
		take Take
		want Reason
	}{
		"a voice":                 {note(-30, 3, 0), NoReason},
		"just loud enough":        {note(-50+OwnMargin, 3, 0), NoReason},
		"too soft beside it":      {note(-50+OwnMargin-0.1, 3, 0), TooLoud},
		"the sound, turned up":    {note(-30, 0.5, 1), OwnSound},
		"a still voice beside it": {note(-30, 0.5, 20), NoReason},
		"no voice is so still":    {note(-30, 0.1, 50), OwnSound},
		"far louder":              {note(-5, 0.1, 0), NoReason},
		"nothing":                 {Take{Own: -50}, NoReason},
		"nothing sounds":          {Take{Found: true, Note: pitch.Note{Level: -55, F0: 261.6}}, NoReason},
	} {
		if got := c.take.overheard(); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
	for _, c := range []struct {
		own, voice float64
		want       bool
	}{{-60, 0, false}, {UsualVoice - OwnMargin + 1, 0, true}, {-40, -20, false}, {-30, -20, true}, {-40, -35, true}} {
		if got := Audible(c.own, c.voice); got != c.want {
			t.Errorf("own %g, voice %g: %v", c.own, c.voice, got)
		}
	}
}
