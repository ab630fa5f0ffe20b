package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/pitch"
	"singback/theory"
)

// Part is a part of the calibration.
type Part int8

// The parts, in the order in which they are measured.
const (
	RoomPart Part = iota
	LevelPart
	LeakPart
	VoicePart
	InstrumentPart
)

// Parts are all of them.
var Parts = []Part{RoomPart, LevelPart, LeakPart, VoicePart, InstrumentPart}

// String returns the name: "room", "level", "leak", "voice" or "instrument".
func (p Part) String() string {
	return [...]string{"room", "level", "leak", "voice", "instrument"}[p]
}

// Calibration says what is measured, and how.
type Calibration struct {
	Parts   []Part        // in the order of Parts
	Growing bool          // a child's or changing voice: the short test
	Tuning  theory.Tuning // of the notes asked, where no instrument has been measured
	First   *theory.Note  // which note the instrument's first one is, where that was said
	Level   float64       // LUFS, the loudness of playback
	Gate    float64       // dBFS, where it is known from before; else 0
	Delay   float64       // seconds, likewise
	On      calib.Date    // today
}

// Measured is what was found; nil is what was not.
type Measured struct {
	Noise *calib.Noise
	Ease  *calib.Ease
	Echo  *calib.Echo
	Voice *calib.Voice
	Tuned *calib.Tuned
}

// Subject is who and what is measured.
type Subject interface {
	// Ready waits until a part may begin; false leaves it out.
	Ready(ctx context.Context, p Part) (bool, error)
	// Source gives what answers a part, or in the range test what was asked;
	// live tells that it is a running device. What is not live is closed after
	// the answer. A recording of the voice holds the whole range, down and up:
	// then whole is true and nothing is asked.
	Source(p Part, ask calib.RangeAsk, hz float64) (src audio.Source, live, whole bool, err error)
	// Word is the singer's word about the note that was just heard.
	Word(ctx context.Context, ask calib.RangeAsk, notes []pitch.Note) (calib.Word, error)
	// Done tells that the singer has played enough notes of the instrument.
	Done() bool
}

// Began tells that a part begins. It comes before its sound.
type Began struct{ Part Part }

// Playing tells that the test sound is being played.
type Playing struct{}

// NoteAsked tells which note of the range test is asked; Hz is 0 where the
// singer chooses.
type NoteAsked struct {
	Ask calib.RangeAsk
	Hz  float64
}

// NoteHeard tells what the range test makes of the answer.
type NoteHeard struct {
	Ask   calib.RangeAsk
	Heard calib.RangeHeard
}

// Found tells that a part was measured; Measured holds everything up to now.
type Found struct {
	Part     Part
	Measured Measured
}

// Missed tells that a part could not be measured. Again tells that it is tried
// once more.
type Missed struct {
	Part  Part
	Err   error
	Again bool
}

// LeftOut tells that the singer left out a part.
type LeftOut struct{ Part Part }

func (Began) event()     {}
func (Playing) event()   {}
func (NoteAsked) event() {}
func (NoteHeard) event() {}
func (Found) event()     {}
func (Missed) event()    {}
func (LeftOut) event()   {}

// How long what is measured lasts, in seconds, at a live source.
const (
	roomSeconds  = 4.0
	easeSeconds  = 4.0
	echoSeconds  = 1.2 // of which the test sound takes half a second
	rangeSeconds = 6.0 // to begin and hold a note
	playSeconds  = 45.0
	playChunk    = 3.0
	// longest is how much of a recording is measured.
	longest = 600.0
)

// tries is how often the room and the level are measured until they count.
const tries = 3

// echoes is how often the test sound is played. When it begins depends on when the
// output asks for its next block, so delays scatter over the length of one: their
// mean counts. Those further than scatter, in seconds, from the median are left
// out.
const (
	echoes  = 8
	scatter = 0.02
)

// An instrument has been heard well enough with so many notes and this standard
// error in cents.
const (
	enoughNotes = 5
	enoughSE    = 0.5
)

// leastRange is the narrowest range, in semitones, that is kept: a test that was
// ended earlier says nothing.
const leastRange = 5

// errTalked is the error about a room in which somebody spoke or sang.
var errTalked = errors.New("a voice was heard, and silence was wanted")

// errDeaf is the error about a room in which there is not even noise: no microphone
// that works is as still as that.
var errDeaf = errors.New("no sound at all, not even noise: is the microphone muted or unplugged?")

// Calibrate measures the parts. It emits events from this goroutine. A part that
// cannot be measured is told and passed over; cancelling ctx, or an error of a
// device, ends the run with that error, and then nothing of it should be kept.
func Calibrate(ctx context.Context, cfg Calibration, who Subject, out audio.Sink, emit func(Event)) (Measured, error) {
	c := &calibration{cfg: cfg, who: who, out: out, emit: emit}
	c.keyboard = synth.Keyboard{SampleRate: out.SampleRate(), Level: cfg.Level}
	for _, p := range cfg.Parts {
		if err := ctx.Err(); err != nil {
			return c.found, err
		}
		ready, err := who.Ready(ctx, p)
		if err != nil {
			return c.found, err
		}
		if !ready {
			emit(LeftOut{p})
			continue
		}
		if err := c.part(ctx, p); err != nil {
			return c.found, fmt.Errorf("%s: %w", p, err)
		}
	}
	return c.found, ctx.Err()
}

type calibration struct {
	cfg      Calibration
	who      Subject
	out      audio.Sink
	emit     func(Event)
	keyboard synth.Keyboard
	found    Measured
}

// unmeasured is an error about the sound, not about the device it came from.
type unmeasured struct{ error }

func (u unmeasured) Unwrap() error { return u.error }

func (c *calibration) part(ctx context.Context, p Part) error {
	for try := 1; ; try++ {
		c.emit(Began{p})
		again, err := c.measure(ctx, p)
		var u unmeasured
		switch {
		case err == nil:
			c.emit(Found{p, c.found})
			return nil
		case !errors.As(err, &u):
			return err
		}
		again = again && try < tries
		c.emit(Missed{p, u.error, again})
		if !again {
			return nil
		}
	}
}

// measure measures a part once; again tells that another try may help.
func (c *calibration) measure(ctx context.Context, p Part) (again bool, err error) {
	src, live, whole, err := c.who.Source(p, calib.RangeAsk{}, 0)
	if err != nil {
		return false, err
	}
	if !live {
		defer func() { err = errors.Join(err, src.Close()) }()
	}
	switch p {
	case RoomPart:
		err = c.room(ctx, src, live)
	case LevelPart:
		err = c.ease(ctx, src, live)
	case LeakPart:
		err = c.echo(ctx, src, live)
	case VoicePart:
		if whole {
			return false, c.wholeVoice(ctx, src)
		}
		return false, c.voice(ctx)
	case InstrumentPart:
		return false, c.instrument(ctx, src, live)
	}
	return live, err
}

// record reads so many seconds of a live source, or the whole of another one,
// longest at the most.
func (c *calibration) record(ctx context.Context, src audio.Source, live bool, seconds float64) ([]float64, error) {
	if !live {
		seconds = longest
	}
	return listen.Record(ctx, src, seconds)
}

// settle throws away what a live source heard of the tool's own sound.
func (c *calibration) settle(ctx context.Context, src audio.Source, live bool) error {
	if !live {
		return nil
	}
	if s, ok := src.(audio.Skipper); ok {
		s.Skip()
	}
	_, err := c.record(ctx, src, true, guard+c.delay())
	return err
}

// delay is that from playback to capture, in seconds, as far as it is known.
func (c *calibration) delay() float64 {
	if e := c.found.Echo; e != nil && e.Heard {
		return e.Delay
	}
	return c.cfg.Delay
}

func (c *calibration) stretch(ctx context.Context, src audio.Source, live bool, seconds float64) ([]float64, error) {
	if err := c.settle(ctx, src, live); err != nil {
		return nil, err
	}
	c.emit(Listening{})
	return c.record(ctx, src, live, seconds)
}

func (c *calibration) room(ctx context.Context, src audio.Source, live bool) error {
	x, err := c.stretch(ctx, src, live, roomSeconds)
	if err != nil {
		return err
	}
	n, err := calib.MeasureNoise(x, src.SampleRate())
	switch {
	case err != nil:
		return unmeasured{err}
	case n.Loud <= pitch.MinLevel:
		return unmeasured{errDeaf}
	case n.Talked():
		return unmeasured{errTalked}
	}
	c.found.Noise = &n
	return nil
}

func (c *calibration) ease(ctx context.Context, src audio.Source, live bool) error {
	x, err := c.stretch(ctx, src, live, easeSeconds)
	if err != nil {
		return err
	}
	e, err := calib.MeasureEase(x, src.SampleRate())
	if err != nil {
		return unmeasured{err}
	}
	c.found.Ease = &e
	return nil
}

// echo plays the test sound and looks for it in what is captured from that
// moment on.
func (c *calibration) echo(ctx context.Context, src audio.Source, live bool) error {
	if !live {
		x, err := c.record(ctx, src, false, 0)
		if err != nil {
			return err
		}
		e, err := calib.FindEcho(x, src.SampleRate(), c.cfg.Level)
		if err != nil {
			return unmeasured{err}
		}
		c.found.Echo = &e
		return nil
	}
	if err := c.settle(ctx, src, true); err != nil {
		return err
	}
	var all []calib.Echo
	for range echoes {
		e, err := c.once(ctx, src)
		if err != nil {
			return err
		}
		all = append(all, e)
	}
	heard := slices.DeleteFunc(slices.Clone(all), func(e calib.Echo) bool { return !e.Heard })
	if len(heard)*2 <= len(all) {
		c.found.Echo = &calib.Echo{Ratio: all[0].Ratio}
		return nil
	}
	order := func(a, b calib.Echo) int {
		if a.Delay < b.Delay {
			return -1
		}
		return 1
	}
	sort.SliceStable(heard, func(i, j int) bool { return order(heard[i], heard[j]) < 0 })
	e := heard[len(heard)/2]
	heard = slices.DeleteFunc(heard, func(o calib.Echo) bool { return math.Abs(o.Delay-e.Delay) > scatter })
	sum := 0.0
	for _, o := range heard {
		sum += o.Delay
	}
	e.Delay = sum / float64(len(heard))
	c.found.Echo = &e
	return nil
}

func (c *calibration) once(ctx context.Context, src audio.Source) (calib.Echo, error) {
	c.emit(Playing{})
	if err := listen.Freshly(ctx, src); err != nil {
		return calib.Echo{}, err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	probe := calib.Probe(c.out.SampleRate(), c.cfg.Level)
	played := make(chan error, 1)
	go func() {
		err := c.out.Write(ctx, probe)
		if err == nil {
			err = c.out.Drain(ctx)
		}
		played <- err
	}()
	x, err := c.record(ctx, src, true, echoSeconds)
	if err != nil {
		stop()
		<-played
		return calib.Echo{}, err
	}
	if err := <-played; err != nil {
		return calib.Echo{}, fmt.Errorf("play: %w", err)
	}
	e, err := calib.FindEcho(x, src.SampleRate(), c.cfg.Level)
	if err != nil {
		return e, unmeasured{err}
	}
	return e, nil
}

// hearing is how the singer is heard in the range test: with what was found of
// the room, and as far up as there is to hear.
func (c *calibration) hearing() listen.Hearing {
	h := listen.Hearing{Gate: c.cfg.Gate, Top: calib.RangeTop}
	if n := c.found.Noise; n != nil {
		voice := 0.0
		if e := c.found.Ease; e != nil {
			voice = e.Level
		}
		h.Gate = n.Gate(voice)
	}
	return h
}

func (c *calibration) wholeVoice(ctx context.Context, src audio.Source) error {
	x, err := c.record(ctx, src, false, 0)
	if err != nil {
		return err
	}
	var notes []pitch.Note
	heard := audio.NewSamples(src.SampleRate(), x)
	err = listen.Melody(ctx, heard, c.hearing(), func(found []pitch.Note) { notes = append(notes, found...) })
	if err != nil {
		return err
	}
	v, ok := calib.VoiceOf(notes, src.SampleRate(), c.cfg.Tuning, c.cfg.Growing, c.cfg.On)
	if !ok {
		return unmeasured{calib.ErrNoVoice}
	}
	c.found.Voice = &v
	return nil
}

// voice runs the range test.
func (c *calibration) voice(ctx context.Context) error {
	test := calib.NewRangeTest(c.cfg.Tuning, c.cfg.Growing)
	var ear *listen.Ear
	for ask := test.Next(); ask.Step != calib.AllDone; ask = test.Next() {
		hz := 0.0
		if ask.Step != calib.AtEase {
			hz = test.Hz(ask)
		}
		src, live, _, err := c.who.Source(VoicePart, ask, hz)
		if err != nil {
			return err
		}
		c.emit(NoteAsked{ask, hz})
		if ear == nil || ear.Source() != src {
			if ear, err = listen.New(src, c.hearing()); err != nil {
				return err
			}
			if live { // the room is learnt once, before the first note
				quiet := int64(hush * float64(src.SampleRate()))
				if err := ear.Pass(ctx, quiet, quiet); err != nil {
					return err
				}
			}
		}
		notes, err := c.note(ctx, ear, hz, live)
		if !live {
			err = errors.Join(err, src.Close())
		}
		if err != nil {
			return err
		}
		word, err := c.who.Word(ctx, ask, notes)
		if err != nil {
			return err
		}
		c.emit(NoteHeard{ask, test.Hear(calib.RangeReply{Notes: notes, Rate: src.SampleRate(), Word: word})})
	}
	v, ok := test.Voice(c.cfg.On)
	if !ok {
		return unmeasured{calib.ErrNoVoice}
	}
	if n := v.Comfortable.High - v.Comfortable.Low; n < leastRange {
		return unmeasured{fmt.Errorf("the test ended with a range of %d semitones: want at least %d", n, leastRange)}
	}
	c.found.Voice = &v
	return nil
}

// note plays the note asked and returns what is sung after it.
func (c *calibration) note(ctx context.Context, ear *listen.Ear, hz float64, live bool) ([]pitch.Note, error) {
	if hz > 0 {
		phrase := c.keyboard.Render(synth.One(hz))
		if err := c.out.Write(ctx, phrase); err != nil {
			return nil, fmt.Errorf("play: %w", err)
		}
		if err := c.out.Drain(ctx); err != nil {
			return nil, fmt.Errorf("play: %w", err)
		}
	}
	if err := c.settle(ctx, ear.Source(), live); err != nil {
		return nil, err
	}
	c.emit(Listening{})
	return ear.Notes(ctx, rangeSeconds, func(s listen.State) { c.emit(Heard(s)) })
}

// instrument listens until enough notes were played.
func (c *calibration) instrument(ctx context.Context, src audio.Source, live bool) error {
	if err := c.settle(ctx, src, live); err != nil {
		return err
	}
	c.emit(Listening{})
	rate := src.SampleRate()
	var x []float64
	for {
		more, err := c.record(ctx, src, live, playChunk)
		if err != nil {
			return err
		}
		x = append(x, more...)
		t, err := calib.FindTuning(x, rate, c.cfg.First)
		switch {
		case err == nil && t.Notes >= enoughNotes && t.SE <= enoughSE,
			!live, c.who.Done(), float64(len(x)) >= playSeconds*float64(rate):
			if err != nil {
				return unmeasured{err}
			}
			c.found.Tuned = &t
			return nil
		}
	}
}
