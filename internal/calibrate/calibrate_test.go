package calibrate

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/report"
	"singback/internal/session"
	"singback/pitch"
	"singback/theory"
)

var _ session.Subject = (*Subject)(nil)

var today = calib.Date{Year: 2026, Month: 11, Day: 25}

func TestParts(t *testing.T) {
	room, level, leak, voice, instrument := session.RoomPart, session.LevelPart, session.LeakPart, session.VoicePart, session.InstrumentPart
	for _, c := range []struct {
		rule   string
		choice Choice
		want   []session.Part
	}{
		{"in a pipe nobody plays the instrument", Choice{}, []session.Part{room, level, leak, voice}},
		{"somebody who is asked may", Choice{Asking: true}, session.Parts},
		{"recordings have no leak", Choice{Recordings: true}, []session.Part{room, level, voice}},
		{"but where it is asked for", Choice{Recordings: true, Only: []session.Part{leak}}, []session.Part{leak}},
		{"what is stated is not measured", Choice{Stated: true}, []session.Part{room, level, leak}},
		{"even where it is asked for", Choice{Stated: true, Only: []session.Part{voice}}, nil},
		{"also where no part is named", Choice{Recordings: true, Also: []session.Part{leak}}, []session.Part{room, level, leak, voice}},
		{"in their own order", Choice{Only: []session.Part{voice, room}}, []session.Part{room, voice}},
		{"the instrument beside others", Choice{Only: []session.Part{room}, Also: []session.Part{instrument}}, []session.Part{room, instrument}},
		{"what is left out wins", Choice{Only: []session.Part{room}, Skip: []session.Part{room, instrument}, Also: []session.Part{instrument}}, nil},
	} {
		if got := c.choice.Parts(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v gives %v, want %v", c.rule, c.choice, got, c.want)
		}
	}
	if got, err := ParseParts([]string{" Voice ", "room"}); err != nil || !slices.Equal(got, []session.Part{voice, room}) {
		t.Errorf("%v %v", got, err)
	}
	if got, err := ParseParts([]string{"room", "rome"}); err == nil || !strings.Contains(err.Error(), `"rome"`) {
		t.Errorf("%v %v", got, err)
	}
}

// What was not measured keeps its old value.
func TestProfile(t *testing.T) {
	before := calib.Profile{
		Version: calib.Version, Name: "Otto", Made: calib.Date{Year: 2026, Month: 1, Day: 2},
		Room:       &calib.Room{Floor: -60, Gate: -50, Voice: -20, Peak: -10, LeakTried: true, Delay: 0.1},
		Voice:      &calib.Voice{Kind: "tenor", Comfortable: theory.Range{Low: 48, High: 67}},
		Instrument: &calib.Instrument{A4: 442},
	}
	sung := &calib.Voice{Comfortable: theory.Range{Low: 50, High: 69}}
	for _, c := range []struct {
		rule   string
		result Result
		holds  func(p calib.Profile) bool
	}{
		{"nothing measured changes nothing but the day", Result{}, func(p calib.Profile) bool {
			return p.Made == today && p.Room == before.Room && p.Voice == before.Voice && p.Instrument == before.Instrument
		}},
		{"a voice that was sung keeps its kind", Result{Found: session.Measured{Voice: sung}}, func(p calib.Profile) bool {
			return p.Voice.Kind == "tenor" && p.Voice.Comfortable == sung.Comfortable && p.Room == before.Room
		}},
		{"widened it has the notes of both", Result{Widen: true, Found: session.Measured{Voice: sung}}, func(p calib.Profile) bool {
			return p.Voice.Comfortable == theory.Range{Low: 48, High: 69}
		}},
		{"a stated one stands before a sung one", Result{Stated: &calib.Voice{Stated: true}, Found: session.Measured{Voice: sung}}, func(p calib.Profile) bool {
			return p.Voice.Stated
		}},
		{"a new noise keeps voice and delay, and fits the gate to them", Result{Found: session.Measured{Noise: &calib.Noise{Floor: -70, Loud: -65}}}, func(p calib.Profile) bool {
			noise := calib.Noise{Floor: -70, Loud: -65}
			return p.Room.Floor == -70 && p.Room.Voice == -20 && p.Room.Peak == -10 && p.Room.LeakTried && p.Room.Delay == 0.1 && p.Room.Gate == noise.Gate(-20)
		}},
		{"a new level keeps the noise", Result{Found: session.Measured{Ease: &calib.Ease{Level: -30, Peak: -15}}}, func(p calib.Profile) bool {
			return p.Room.Floor == -60 && p.Room.Gate == -50 && p.Room.Voice == -30 && p.Room.Peak == -15 && p.Room.Date == today
		}},
		{"an instrument is of today", Result{Found: session.Measured{Tuned: &calib.Tuned{A4: 432, Notes: 6}}}, func(p calib.Profile) bool {
			return p.Instrument.A4 == 432 && p.Instrument.Date == today
		}},
	} {
		c.result.Before, c.result.On = before, today
		if p := c.result.Profile(); !c.holds(p) {
			t.Errorf("%s: %+v %+v %+v", c.rule, p.Room, p.Voice, p.Instrument)
		}
	}
	if before.Room.Voice != -20 || before.Voice.Comfortable.Low != 48 {
		t.Error("what was known before was changed")
	}
	// Without a noise a level alone is no room.
	if p := (Result{On: today, Found: session.Measured{Ease: &calib.Ease{Level: -30}}}).Profile(); p.Room != nil {
		t.Errorf("%+v", p.Room)
	}
}

// Parts come in order; those of which nothing was told were stated or skipped, and a
// part that is tried again has not failed yet.
func TestRecord(t *testing.T) {
	out := Outcomes{}
	out.Tell(session.Missed{Part: session.RoomPart, Err: errors.New("noise"), Again: true})
	out.Tell(session.Missed{Part: session.InstrumentPart, Err: fmt.Errorf("too far: %w", calib.ErrDetuned)})
	out.Tell(session.LeftOut{Part: session.LevelPart})
	r := Result{Stated: &calib.Voice{}, Outcomes: out, On: today}.Record()
	var got []string
	for _, p := range r.Parts {
		got = append(got, p.Part+" "+p.Outcome)
	}
	want := []string{"room skipped", "level skipped", "leak skipped", "voice stated", "instrument not_measured"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if retune := report.NewAdvice([]calib.Advice{calib.Retune}); !slices.Equal(r.Advice, retune) {
		t.Errorf("advice %+v, want %+v", r.Advice, retune)
	}
	out.Tell(session.Missed{Part: session.RoomPart, Err: errors.New("noise")})
	r = Result{Outcomes: out, On: today}.Record()
	if both := report.NewAdvice([]calib.Advice{calib.BeSilent, calib.Retune}); !slices.Equal(r.Advice, both) {
		t.Errorf("advice %+v, want %+v", r.Advice, both)
	}
}

func TestConversation(t *testing.T) {
	var said, asked []string
	talk := func(lines ...string) *Conversation {
		typed := make(chan string, len(lines))
		for _, l := range lines {
			typed <- l
		}
		close(typed)
		said, asked = nil, nil
		return &Conversation{Lines: typed, Say: func(s string) { said = append(said, s) }, Prompt: func(s string) { asked = append(asked, s) }}
	}
	for _, c := range []struct {
		line  string
		begin bool
		err   error
	}{{"", true, nil}, {"s", false, nil}, {"skip", false, nil}, {"q", false, ErrStopped}, {"what?", true, nil}} {
		if begin, err := talk(c.line).Ready(t.Context(), session.RoomPart); begin != c.begin || err != c.err {
			t.Errorf("%q: %v %v, want %v %v", c.line, begin, err, c.begin, c.err)
		}
	}
	for line, want := range map[string]calib.Word{"": calib.Comfortable, "s": calib.Strain, "q": calib.Stop} {
		if got, err := talk(line).Word(t.Context(), calib.RangeAsk{}, []pitch.Note{{}}); got != want || err != nil {
			t.Errorf("%q: %v %v, want %v", line, got, err, want)
		}
	}
	// Whoever cannot be asked, or has gone, says nothing, and the parts begin.
	if got, err := talk().Word(t.Context(), calib.RangeAsk{}, nil); got != calib.Unsaid || err != nil || !strings.HasPrefix(asked[0], "Nothing was heard.") {
		t.Errorf("%v %v %q", got, err, asked)
	}
	c := talk()
	c.Lines, c.Growing = nil, true
	for _, p := range session.Parts {
		if begin, err := c.Ready(t.Context(), p); !begin || err != nil {
			t.Errorf("%v: %v %v", p, begin, err)
		}
	}
	if len(asked) > 0 {
		t.Errorf("asked %q", asked)
	}
	// Each caution stands before the first sound that it is about, and once.
	all := strings.Join(said, "\n")
	for _, caution := range []string{calib.LevelCaution, calib.RangeCaution, calib.GrowingCaution} {
		if strings.Count(all, caution) != 1 || strings.Index(all, caution) > strings.Index(all, "Voice: ") {
			t.Errorf("the caution %q in %q", caution, all)
		}
	}
	if strings.Index(all, calib.LevelCaution) > strings.Index(all, "Loudspeaker: ") {
		t.Errorf("the level's caution comes after the test sound: %q", all)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	waiting := Conversation{Lines: make(chan string), Say: func(string) {}, Prompt: func(string) {}}
	if begin, err := waiting.Ready(ctx, session.RoomPart); begin || !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v %v", begin, err)
	}
	if talk("").Done() != true || talk().Done() || waiting.Done() {
		t.Error("a typed line ends the instrument, and nothing else does")
	}
}

// The same seed gives the same sounds; notes out of reach are strained and silent but
// for the room.
func TestSinger(t *testing.T) {
	alto := &calib.Voice{Comfortable: theory.Range{Low: 55, High: 74}}
	sing := func(seed uint64, midi int) ([]float64, calib.Word) {
		s, err := NewSinger(alto, false, 16000, 440, seed)
		if err != nil {
			t.Fatal(err)
		}
		ask := calib.RangeAsk{Step: calib.Down, Pitch: midi}
		return s.Sound(session.VoicePart, ask, theory.Shift(440, 100*float64(midi-69))), s.Word(ask)
	}
	first, word := sing(1, 55)
	if again, _ := sing(1, 55); !slices.Equal(first, again) || word != calib.Unsaid {
		t.Errorf("the same seed, another sound; %v", word)
	}
	if other, _ := sing(2, 55); slices.Equal(first, other) {
		t.Error("another seed, the same sound")
	}
	low, word := sing(1, 54)
	if loudest := max(slices.Max(low), -slices.Min(low)); word != calib.Strain || loudest > 20*simulatedFloor {
		t.Errorf("out of reach: %v, as loud as %g", word, loudest)
	}
}
