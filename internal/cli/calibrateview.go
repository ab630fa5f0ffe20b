package cli

import (
	"fmt"
	"io"
	"math"

	"singback/calib"
	"singback/internal/report"
	"singback/internal/session"
)

// calibrationView says on standard error what happens in a calibration.
type calibrationView struct{ out io.Writer }

var heardWords = map[calib.RangeHeard]string{
	calib.Nothing: "not heard", calib.Held: "held", calib.Elsewhere: "another note", calib.Unsteady: "too unsteady",
	calib.Whistle: "whistle register, which does not count", calib.Broke: "the voice broke", calib.Strained: "strained", calib.Stopped: "enough",
}

func (v calibrationView) event(ev session.Event) {
	say := func(format string, args ...any) { fmt.Fprintf(v.out, format+"\n", args...) }
	switch ev := ev.(type) {
	case session.LeftOut:
		say("%s: left out.", ev.Part)
	case session.Missed:
		if ev.Again {
			say("%s: %v; once more.", ev.Part, ev.Err)
		} else {
			say("%s: not measured: %v.", ev.Part, ev.Err)
		}
	case session.NoteAsked:
		switch ask := ev.Ask; {
		case ask.Step == calib.AtEase:
			say("Sing any note that comes easily.")
		case ask.Rest:
			say("Back to an easy one: %s", report.PitchName(ask.Pitch))
		case ask.Step == calib.Softly:
			say("The same once more, softly: %s", report.PitchName(ask.Pitch))
		default:
			say("%s: %s", map[calib.RangeStep]string{calib.Down: "Down", calib.Up: "Up"}[ask.Step], report.PitchName(ask.Pitch))
		}
	case session.NoteHeard:
		say("  %s", heardWords[ev.Heard])
	case session.Found:
		v.found(ev, say)
	}
}

func (v calibrationView) found(ev session.Found, say func(string, ...any)) {
	switch m := ev.Measured; ev.Part {
	case session.RoomPart:
		say("  %.1f dBFS", m.Noise.Floor)
	case session.LevelPart:
		say("  %.1f dBFS, peaks %.1f dBFS", m.Ease.Level, m.Ease.Peak)
	case session.LeakPart:
		if m.Echo.Heard {
			say("  heard after %.0f ms, %.0f dB against what was played", 1000*m.Echo.Delay, math.Round(m.Echo.Level)+0)
		} else {
			say("  not heard by the microphone")
		}
	case session.VoicePart:
		say("  comfortable from %s to %s", report.PitchName(m.Voice.Comfortable.Low), report.PitchName(m.Voice.Comfortable.High))
	case session.InstrumentPart:
		say("  A4 = %.1f Hz, standard error %.1f cents, from %d notes", m.Tuned.A4, m.Tuned.SE, m.Tuned.Notes)
	}
}
