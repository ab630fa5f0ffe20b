package engine

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/calibrate"
	"singback/internal/report"
	"singback/internal/session"
	"singback/pitch"
	"singback/theory"
)

// measurer is who is measured at the page: the parts of a [session.Subject] that talk
// are choices to tap, with the words of the conversation in the terminal.
type measurer struct {
	*calibrate.Subject
	engine  *Engine
	growing bool
	told    bool // the caution about levels
}

func (m *measurer) say(part session.Part, text string) {
	m.engine.post(calibrationMessage{"calibration", "say", part.String(), text})
}

// Ready says what is to be done, with the cautions that belong to it, and waits.
func (m *measurer) Ready(ctx context.Context, p session.Part) (bool, error) {
	for _, text := range calibrate.Cautions(p, m.growing, !m.told) {
		m.say(p, text)
	}
	m.told = m.told || calibrate.Cautioned(p)
	text, err := m.engine.ask(ctx, askMessage{
		What: "begin", Text: calibrate.Instruction(p),
		Choices: []choice{{"begin", "Begin", "Enter"}, {"leave", "Leave it out", "s"}, {"stop", "Stop and keep nothing", "q"}},
	}, nil)
	if text == "stop" {
		return false, calibrate.ErrStopped
	}
	return text != "leave", err
}

// Word asks how the note was that was just heard.
func (m *measurer) Word(ctx context.Context, ask calib.RangeAsk, notes []pitch.Note) (calib.Word, error) {
	if m.Simulated != nil {
		return m.Subject.Word(ctx, ask, notes)
	}
	question := "How was it?"
	if len(notes) == 0 {
		question = "Nothing was heard. How was it?"
	}
	text, err := m.engine.ask(ctx, askMessage{
		What: "word", Text: question,
		Choices: []choice{{"", "Comfortable", "Enter"}, {"strained", "Strained", "s"}, {"enough", "Enough", "q"}},
	}, nil)
	switch text {
	case "strained":
		return calib.Strain, err
	case "enough":
		return calib.Stop, err
	}
	return calib.Comfortable, err
}

// Source is the microphone, or the simulated singer.
func (m *measurer) Source(p session.Part, ask calib.RangeAsk, hz float64) (src audio.Source, live, whole bool, err error) {
	if m.Live != nil {
		return m.Live, true, false, nil
	}
	return m.Subject.Source(p, ask, hz)
}

// Done tells that enough of the instrument was played.
func (m *measurer) Done() bool { return m.engine.enough.Swap(false) }

// calibrate measures what an address asks for, and keeps what was found.
func (e *Engine) calibrate(ctx context.Context, at address, known Known, sound Sound) {
	e.mu.Lock()
	e.command = at.Command
	e.mu.Unlock()
	y, month, day := e.host.Clock().Date()
	today := calib.Date{Year: y, Month: int(month), Day: day}
	before := known.Profile
	if before.Version == 0 {
		before = calib.Profile{Version: calib.Version, Name: known.Singer}
	}
	parts, err := at.parts()
	if err != nil {
		e.post(textMessage{"wrong", err.Error()})
		return
	}
	result := calibrate.Result{Before: before, Outcomes: calibrate.Outcomes{}, On: today, Simulated: at.Simulated, Widen: at.Widen}
	cfg := session.Calibration{Parts: parts, Growing: at.Growing, Tuning: theory.Tuning{A4: theory.DefaultA4}, Level: at.Loudness, On: today}
	if v := before.Voice; v != nil && v.Growing {
		cfg.Growing = true
	}
	if i := before.Instrument; i != nil {
		cfg.Tuning.A4 = i.A4
	}
	if r := before.Room; r != nil {
		cfg.Gate, cfg.Delay = r.Gate, r.Delay
	}
	who := &measurer{Subject: &calibrate.Subject{}, engine: e, growing: cfg.Growing}
	switch {
	case sound.Speaker == nil:
		e.ended(errNoSpeaker, nil, "")
		return
	case at.Simulated:
		if who.Simulated, err = calibrate.NewSinger(nil, cfg.Growing, sound.Speaker.SampleRate(), cfg.Tuning.A4, at.Seed); err != nil {
			e.ended(err, nil, "")
			return
		}
		who.Pace = e.Pace
	case sound.Mic == nil:
		e.ended(errNoMicrophone, nil, "")
		return
	default:
		who.Live = sound.Mic
	}
	result.Found, err = session.Calibrate(ctx, cfg, who, sound.Speaker, func(ev session.Event) {
		e.calibrating(ev)
		result.Outcomes.Tell(ev)
	})
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, calibrate.ErrStopped):
		e.ended(nil, []string{"Stopped: nothing was kept, and what was known before is as it was."}, "")
	case err != nil:
		e.ended(err, nil, "")
	default:
		e.measured(ctx, result)
	}
}

// measured keeps what was found, and says it.
func (e *Engine) measured(ctx context.Context, r calibrate.Result) {
	p, record := r.Profile(), r.Record()
	file, keptIn := "", ""
	var err error
	if r.Something() && !r.Simulated {
		if file, err = e.store.SaveProfile(ctx, p); err == nil {
			record.Saved = &file
			keptIn = "Kept in " + file + "."
			e.mu.Lock()
			e.known.Profile = p
			e.mu.Unlock()
		}
	}
	record.Profile = report.NewProfile(p, file, true)
	text := report.Style{Names: theory.Movable}.Calibration(record)
	e.shown(record, eventMessage{Said: linesSaid{Lines: append(lines(text), lateLines(r)...)}})
	if err == nil && !r.Something() {
		err = errors.New("nothing could be measured, and nothing was kept")
	}
	if r.Simulated {
		keptIn = "Not kept: a simulated singer was measured."
	}
	e.ended(err, nil, keptIn)
}

// lateSeconds is the delay between loudspeaker and microphone from which on a page says
// so: headphones without a wire have more, headphones with one less.
const lateSeconds = 0.15

// lateLine says what to do about a long way from loudspeaker to microphone.
const lateLine = "The sound comes back after %.0f ms: that is as late as headphones without a wire are. Plug in headphones with a wire, or sing lines in your own tempo (free), where no beat is kept."

func lateLines(r calibrate.Result) []string {
	if echo := r.Found.Echo; echo != nil && echo.Heard && echo.Delay > lateSeconds {
		return []string{fmt.Sprintf(lateLine, 1000*echo.Delay)}
	}
	return nil
}

// calibrating tells what happens.
func (e *Engine) calibrating(ev session.Event) {
	tell := func(name string, part session.Part) {
		e.post(calibrationMessage{"calibration", name, part.String(), sentence(strings.TrimSpace(calibrate.Words(ev)))})
	}
	switch ev := ev.(type) {
	case session.Began:
		e.measuring = ev.Part
		tell("began", ev.Part)
	case session.Found:
		tell("found", ev.Part)
	case session.Missed:
		tell("missed", ev.Part)
	case session.LeftOut:
		tell("left", ev.Part)
	case session.NoteAsked:
		e.state("from")
		tell("note", session.VoicePart)
	case session.NoteHeard:
		tell("heard", session.VoicePart)
	case session.Playing:
		e.state("probe")
	case session.Listening:
		e.post(stateMessage{Is: "state", Name: "measure", Text: calibrate.Instruction(e.measuring)})
	case session.Heard:
		e.meter(ev, nil)
	}
}
