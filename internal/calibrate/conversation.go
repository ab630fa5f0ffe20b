package calibrate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"singback/calib"
	"singback/internal/report"
	"singback/internal/session"
	"singback/pitch"
)

// ErrStopped is what ends the calibration on the singer's word.
var ErrStopped = errors.New("stopped: nothing was kept, and what was known before is as it was")

// Conversation is the half of a [session.Subject] that talks with the singer.
type Conversation struct {
	Growing bool              // a child's or changing voice
	Say     func(text string) // shows a paragraph
	Prompt  func(text string) // shows a question, whose answer is typed behind it
	// Lines are the lines that are typed, in small letters and without blanks about
	// them; nil where nobody can be asked.
	Lines <-chan string

	cautioned bool
}

// ask asks, and waits for a line; ok is false where nobody can be asked, or answers
// any more.
func (c *Conversation) ask(ctx context.Context, question string) (answer string, ok bool, err error) {
	if c.Lines == nil {
		return "", false, nil
	}
	c.Prompt(question)
	select {
	case answer, ok = <-c.Lines:
	case <-ctx.Done():
		err = ctx.Err()
	}
	if !ok {
		c.Prompt("\n")
	}
	return answer, ok, err
}

// Done tells that a line was typed that nothing has asked for: the singer has
// played enough notes of the instrument.
func (c *Conversation) Done() bool {
	select {
	case _, ok := <-c.Lines:
		return ok
	default:
		return false
	}
}

// instructions say what happens in a part.
var instructions = map[session.Part]string{
	session.RoomPart:       "Room: be silent for four seconds.",
	session.LevelPart:      "Level: sing anything, at ease, for four seconds.",
	session.LeakPart:       "Loudspeaker: a short test sound is played eight times; be silent.",
	session.VoicePart:      "Voice: sing the notes softly, and hold each for more than a second.",
	session.InstrumentPart: "Instrument: play A, or any note, on your keyboard, then others, one at a time, each for a second.",
}

// Instruction says what is to be done in a part.
func Instruction(p session.Part) string { return instructions[p] }

// Cautions are those that belong to a part; growing tells that of a child's or changing
// voice, and first that none was told before.
func Cautions(p session.Part, growing, first bool) []string {
	var out []string
	if first && Cautioned(p) {
		out = append(out, calib.LevelCaution)
	}
	if p == session.VoicePart {
		out = append(out, calib.RangeCaution)
		if growing {
			out = append(out, calib.GrowingCaution)
		}
	}
	return out
}

// Cautioned tells that before a part the caution about levels is due.
func Cautioned(p session.Part) bool { return p == session.LeakPart || p == session.VoicePart }

// Ready says what is to be done in a part, with the cautions that belong to it,
// and waits until the singer is ready; false leaves the part out.
func (c *Conversation) Ready(ctx context.Context, p session.Part) (bool, error) {
	for _, text := range Cautions(p, c.Growing, !c.cautioned) {
		c.Say(text)
	}
	c.cautioned = c.cautioned || Cautioned(p)
	c.Say(Instruction(p))
	answer, ok, err := c.ask(ctx, "Enter: begin; s: leave it out; q: stop and keep nothing: ")
	switch {
	case err != nil:
		return false, err
	case ok && strings.HasPrefix(answer, "q"):
		return false, ErrStopped
	}
	return !ok || !strings.HasPrefix(answer, "s"), nil
}

// Word asks for the singer's word about the note that was just heard.
func (c *Conversation) Word(ctx context.Context, _ calib.RangeAsk, notes []pitch.Note) (calib.Word, error) {
	question := "Enter: comfortable; s: strained; q: enough: "
	if len(notes) == 0 {
		question = "Nothing was heard. " + question
	}
	answer, ok, err := c.ask(ctx, question)
	switch {
	case err != nil || !ok:
		return calib.Unsaid, err
	case strings.HasPrefix(answer, "s"):
		return calib.Strain, nil
	case strings.HasPrefix(answer, "q"):
		return calib.Stop, nil
	}
	return calib.Comfortable, nil
}

var heardWords = map[calib.RangeHeard]string{
	calib.Nothing: "not heard", calib.Held: "held", calib.Elsewhere: "another note", calib.Unsteady: "too unsteady",
	calib.Whistle: "whistle register, which does not count", calib.Broke: "the voice broke", calib.Strained: "strained", calib.Stopped: "enough",
}

// Words says in one line what happens in a calibration; "" of what needs no words.
func Words(ev session.Event) string {
	switch ev := ev.(type) {
	case session.LeftOut:
		return fmt.Sprintf("%s: left out.", ev.Part)
	case session.Missed:
		if ev.Again {
			return fmt.Sprintf("%s: %v; once more.", ev.Part, ev.Err)
		}
		return fmt.Sprintf("%s: not measured: %v.", ev.Part, ev.Err)
	case session.NoteAsked:
		if ev.Ask.Step == calib.AtEase {
			return "Sing any note that comes easily."
		}
		note := report.PitchName(ev.Ask.Pitch)
		switch {
		case ev.Ask.Rest:
			return "Back to an easy one: " + note
		case ev.Ask.Step == calib.Softly:
			return "The same once more, softly: " + note
		case ev.Ask.Step == calib.Down:
			return "Down: " + note
		}
		return "Up: " + note
	case session.NoteHeard:
		return "  " + heardWords[ev.Heard]
	case session.Found:
		return "  " + found(ev)
	}
	return ""
}

func found(ev session.Found) string {
	switch m := ev.Measured; ev.Part {
	case session.RoomPart:
		return fmt.Sprintf("%.1f dBFS", m.Noise.Floor)
	case session.LevelPart:
		return fmt.Sprintf("%.1f dBFS, peaks %.1f dBFS", m.Ease.Level, m.Ease.Peak)
	case session.LeakPart:
		if !m.Echo.Heard {
			return "not heard by the microphone"
		}
		return fmt.Sprintf("heard after %.0f ms, %.0f dB against what was played", 1000*m.Echo.Delay, math.Round(m.Echo.Level)+0)
	case session.VoicePart:
		return fmt.Sprintf("comfortable from %s to %s", report.PitchName(m.Voice.Comfortable.Low), report.PitchName(m.Voice.Comfortable.High))
	}
	return fmt.Sprintf("A4 = %.1f Hz, standard error %.1f cents, from %d notes", ev.Measured.Tuned.A4, ev.Measured.Tuned.SE, ev.Measured.Tuned.Notes)
}
