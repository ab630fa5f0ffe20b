package session

import (
	"context"
	"errors"
	"math"
	"slices"
	"sync"
	"testing"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/pitch"
	"singback/theory"
)

// loop is a loudspeaker and a microphone on one clock: what is played comes back
// after a delay, at a gain, over noise, with the singer's answer to a note.
type loop struct {
	mu    sync.Mutex
	began chan struct{} // closed when something is being played
	delay int           // samples
	gain  float64
	now   int
	one   bool // the last read was of one sample
	heard map[int]float64
	noise []float64
}

func newLoop(delay float64, gain float64) *loop {
	noise := synth.Pink(rate, 7)
	for i := range noise {
		noise[i] *= 0.001
	}
	return &loop{delay: int(delay * rate), gain: gain, heard: map[int]float64{}, noise: noise}
}

func (l *loop) SampleRate() int             { return rate }
func (l *loop) Close() error                { return nil }
func (l *loop) Drain(context.Context) error { return nil }

func (l *loop) Write(_ context.Context, x []float64) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i, v := range x {
		l.heard[l.now+l.delay+i] += l.gain * v
	}
	if l.began != nil {
		close(l.began)
		l.began = nil
	}
	return nil
}

func (l *loop) Read(ctx context.Context, dst []float64) (int, int64, error) {
	l.mu.Lock()
	began := l.began
	l.mu.Unlock()
	if began != nil {
		<-began
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.one = len(dst) == 1
	for i := range dst {
		dst[i] = l.heard[l.now] + l.noise[l.now%len(l.noise)]
		l.now++
	}
	return len(dst), 0, ctx.Err()
}

// Skip right after one sample was read comes before the test sound is played: the
// clock stands until it is, and the delay counts from there.
func (l *loop) Skip() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.one {
		l.began = make(chan struct{})
	}
	return 0
}

// singer answers with sources made for each ask.
type singer struct {
	live   audio.Source
	sounds func(p Part, ask calib.RangeAsk, hz float64) []float64
	leave  Part
	whole  bool
}

func (s singer) Ready(_ context.Context, p Part) (bool, error) { return p != s.leave, nil }
func (s singer) Done() bool                                    { return false }
func (s singer) Word(context.Context, calib.RangeAsk, []pitch.Note) (calib.Word, error) {
	return calib.Unsaid, nil
}

func (s singer) Source(p Part, ask calib.RangeAsk, hz float64) (audio.Source, bool, bool, error) {
	if s.live != nil {
		return s.live, true, false, nil
	}
	return audio.NewSamples(rate, s.sounds(p, ask, hz)), false, s.whole, nil
}

const nobody Part = -1

func measures(parts ...Part) Calibration {
	return Calibration{Parts: parts, Tuning: theory.Tuning{A4: 440}, Level: -24, On: calib.Date{Year: 2026, Month: 11, Day: 25}}
}

// The delay is that of the loop within 5 ms, and the leak its gain; without a
// path nothing is heard.
func TestCalibrateEcho(t *testing.T) {
	for i, c := range []struct{ delay, gain float64 }{{0.013, 0.3}, {0.12, 0.05}, {0.4, 1}, {0.1, 0}} {
		if raceDetector && i > 0 {
			break
		}
		l := newLoop(c.delay, c.gain)
		var plays int
		m, err := Calibrate(t.Context(), measures(LeakPart), singer{live: l, leave: nobody}, l, func(e Event) {
			if _, ok := e.(Playing); ok {
				plays++
			}
		})
		if err != nil || m.Echo == nil {
			t.Fatalf("%+v: %v", m, err)
		}
		t.Logf("delay %g s, gain %g: %+v", c.delay, c.gain, *m.Echo)
		if plays != echoes || m.Echo.Heard != (c.gain > 0) {
			t.Errorf("delay %g, gain %g: played %d times, heard %+v", c.delay, c.gain, plays, m.Echo)
		}
		if c.gain > 0 && (math.Abs(m.Echo.Delay-c.delay) > 0.005 || math.Abs(m.Echo.Level-20*math.Log10(c.gain)) > 1) {
			t.Errorf("delay %g, gain %g: %+v", c.delay, c.gain, *m.Echo)
		}
	}
}

// answers is an invented singer from A2 to D4 in a quiet room with a keyboard at
// 441 Hz.
func answers(p Part, ask calib.RangeAsk, hz float64) []float64 {
	var x []float64
	voice := synth.Voice{SampleRate: rate, Type: synth.Bass}
	switch {
	case p == LevelPart:
		x, _ = voice.Sing([]synth.Sung{synth.NewSung(140, 3)}, 1)
	case p == VoicePart && ask.Step == calib.AtEase:
		x, _ = voice.Sing([]synth.Sung{synth.NewSung(146.83, 1.5), synth.Rest(.5)}, 1)
	case p == VoicePart && ask.Pitch >= 45 && ask.Pitch <= 62:
		x, _ = voice.Sing([]synth.Sung{synth.Rest(.2), synth.NewSung(hz, 1.5), synth.Rest(.5)}, uint64(ask.Pitch))
	case p == InstrumentPart:
		var phrase synth.Phrase
		for i, n := range []float64{0, 3, 7, -2, -5} {
			phrase = append(phrase, synth.Sound{Hz: 441 * math.Exp2(n/12), Start: 1.2 * float64(i), Duration: 1})
		}
		x = synth.Keyboard{SampleRate: rate, Level: -12}.Render(phrase)
	default:
		x = make([]float64, 3*rate)
	}
	for i, v := range synth.Pink(len(x), 5) {
		x[i] += 0.0003 * v
	}
	return x
}

func TestCalibrate(t *testing.T) {
	var parts []Part
	m, err := Calibrate(t.Context(), measures(Parts...), singer{sounds: answers, leave: nobody}, audio.Null{Rate: rate}, func(e Event) {
		if f, ok := e.(Found); ok {
			parts = append(parts, f.Part)
		}
	})
	if err != nil || !slices.Equal(parts, Parts) {
		t.Fatalf("measured %v: %v", parts, err)
	}
	floor := 20 * math.Log10(0.0003)
	if math.Abs(m.Noise.Floor-floor) > 3 || m.Noise.Hum != 0 || m.Ease.Clipped() || m.Echo.Heard {
		t.Errorf("noise %+v, want a floor of %.1f; ease %+v, echo %+v", m.Noise, floor, m.Ease, m.Echo)
	}
	if r := m.Voice.Comfortable; math.Abs(float64(r.Low-45)) > 1 || math.Abs(float64(r.High-62)) > 1 || m.Voice.Error > 10 {
		t.Errorf("voice %+v, want A2 to D4", m.Voice)
	}
	if math.Abs(theory.CentsBetween(m.Tuned.A4, 441)) > 2 {
		t.Errorf("A4 = %.2f Hz, want 441", m.Tuned.A4)
	}
}

// What cannot be measured, or was left out, is passed over.
func TestCalibratePassesOver(t *testing.T) {
	quiet := singer{leave: LeakPart, sounds: func(p Part, ask calib.RangeAsk, hz float64) []float64 {
		if p == RoomPart {
			return tone(3, 220) // somebody sings
		}
		return silence(3)
	}}
	missed := map[Part]error{}
	var left []Part
	m, err := Calibrate(t.Context(), measures(Parts...), quiet, audio.Null{Rate: rate}, func(e Event) {
		switch e := e.(type) {
		case Missed:
			missed[e.Part] = e.Err
		case LeftOut:
			left = append(left, e.Part)
		case Found:
			t.Errorf("%v was found", e.Part)
		}
	})
	if err != nil || m != (Measured{}) || !slices.Equal(left, []Part{LeakPart}) {
		t.Errorf("%+v, left out %v: %v", m, left, err)
	}
	for p, want := range map[Part]error{RoomPart: errTalked, LevelPart: calib.ErrNoVoice, VoicePart: calib.ErrNoVoice, InstrumentPart: calib.ErrTooFewNotes} {
		if !errors.Is(missed[p], want) {
			t.Errorf("%v: %v, want %v", p, missed[p], want)
		}
	}
}

// A microphone that is muted or unplugged gives no quiet room.
func TestCalibrateDeaf(t *testing.T) {
	deaf := singer{leave: nobody, sounds: func(Part, calib.RangeAsk, float64) []float64 { return silence(4) }}
	var why error
	m, err := Calibrate(t.Context(), measures(RoomPart), deaf, audio.Null{Rate: rate}, func(e Event) {
		if e, ok := e.(Missed); ok {
			why = e.Err
		}
	})
	if err != nil || m.Noise != nil || !errors.Is(why, errDeaf) {
		t.Errorf("%+v, %v: %v, want %v", m.Noise, err, why, errDeaf)
	}
}

// A recording of the voice holds all of it.
func TestCalibrateRecordedVoice(t *testing.T) {
	recorded := singer{leave: nobody, whole: true, sounds: func(Part, calib.RangeAsk, float64) []float64 {
		var song []synth.Sung
		for _, midi := range []int{55, 52, 50, 48, 52, 55, 59, 62, 64} {
			song = append(song, synth.NewSung(440*math.Exp2(float64(midi-69)/12), .8))
		}
		x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing(song, 3)
		return x
	}}
	m, err := Calibrate(t.Context(), measures(VoicePart), recorded, audio.Null{Rate: rate}, func(Event) {})
	if err != nil || m.Voice == nil || m.Voice.Comfortable != (theory.Range{Low: 48, High: 64}) {
		t.Errorf("%+v: %v", m.Voice, err)
	}
}

// humming is a singer of steady tones from E3 to A3.
func humming(p Part, ask calib.RangeAsk, hz float64) []float64 {
	switch {
	case p == RoomPart:
		return silence(2)
	case hz == 0:
		return tone(1, 196)
	case ask.Pitch < 52 || ask.Pitch > 57:
		return silence(.5)
	}
	return tone(.8, hz)
}

// Ended at any event the run says so, with ctx's error.
func TestCalibrateEndsAtEachEvent(t *testing.T) {
	count := func(stopAt int) (events int, err error) {
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		_, err = Calibrate(ctx, measures(RoomPart, LevelPart, VoicePart), singer{sounds: humming, leave: nobody}, audio.Null{Rate: rate}, func(e Event) {
			if _, ok := e.(Heard); ok {
				return
			}
			if events++; events == stopAt {
				stop()
			}
		})
		return events, err
	}
	all, err := count(0)
	if err != nil || all < 20 {
		t.Fatalf("%d events: %v", all, err)
	}
	step := 1
	if raceDetector {
		step = 4
	}
	for stopAt := 1; stopAt <= all; stopAt += step + stopAt/2 {
		if n, err := count(stopAt); !errors.Is(err, context.Canceled) || n > stopAt+2 {
			t.Errorf("stopped at event %d of %d: %d events, %v", stopAt, all, n, err)
		}
	}
}

// A whistle an octave above the note asked is heard where it is, and not as the
// note asked.
func TestRangeTestHearsWhistle(t *testing.T) {
	const asked = 880.0
	n := synth.NewSung(2*asked, 2)
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Soprano}.Sing([]synth.Sung{synth.Rest(.4), n, synth.Rest(.6)}, 1)
	for i, v := range synth.Pink(len(x), 2) {
		x[i] += 3e-4 * v
	}
	ear, err := listen.New(audio.NewSamples(rate, x), (&calibration{}).hearing())
	if err != nil {
		t.Fatal(err)
	}
	notes, err := ear.Notes(t.Context(), 6, nil)
	if err != nil || len(notes) != 1 || math.Abs(theory.CentsBetween(notes[0].F0, 2*asked)) > 20 {
		t.Errorf("%+v, %v; want one note of %g Hz", notes, err, 2*asked)
	}
}

// A whine of the room answers nothing in the range test: the notes are those that were
// sung, and where nobody sings there are none.
func TestRangeTestInARoomThatWhines(t *testing.T) {
	for _, whine := range []float64{-50, -40} {
		m := &microphone{whine: whine, hz: 160} // between two notes
		var asks []NoteAsked
		var heard []pitch.Note
		who := words{singer{live: m, leave: nobody}, func(ask calib.RangeAsk, notes []pitch.Note) {
			for _, n := range notes {
				if math.Abs(theory.CentsBetween(n.F0, m.hz)) < 25 {
					t.Errorf("whine of %g dBFS: it answers %+v: %.1f Hz", whine, ask, n.F0)
				}
			}
			heard = append(heard, notes...)
		}}
		found, err := Calibrate(t.Context(), measures(VoicePart), who, audio.Null{Rate: rate}, func(e Event) {
			switch e := e.(type) {
			case NoteAsked:
				asks = append(asks, e)
			case Listening:
				m.voice = nil
				switch ask := asks[len(asks)-1]; {
				case ask.Hz == 0:
					m.voice = tone(1, 196)
				case ask.Ask.Pitch >= 50 && ask.Ask.Pitch <= 59:
					m.voice = tone(1, ask.Hz)
				}
			}
		})
		if err != nil || found.Voice == nil || found.Voice.Comfortable != (theory.Range{Low: 50, High: 59}) {
			t.Errorf("whine of %g dBFS: %+v after %d notes asked, %v; want MIDI 50 to 59", whine, found.Voice, len(asks), err)
		}
		if len(heard) < 8 {
			t.Errorf("whine of %g dBFS: %d notes heard", whine, len(heard))
		}
	}
}

// words is a singer who is told what was heard.
type words struct {
	singer
	told func(calib.RangeAsk, []pitch.Note)
}

func (w words) Word(_ context.Context, ask calib.RangeAsk, notes []pitch.Note) (calib.Word, error) {
	w.told(ask, notes)
	return calib.Unsaid, nil
}
