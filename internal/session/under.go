package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/theory"
)

// Under is what sounds while the singer sings: a drone, or chords that repeat.
type Under struct {
	// Sound is what it is in a key, whose tonic lies in an octave; its keyboard is left
	// to the run.
	Sound func(k theory.Key, t theory.Tuning, tonicOctave int) (synth.Under, error)
	// Band, in its place, is a band that plays in a key.
	Band func(kb synth.Keyboard, k theory.Key, t theory.Tuning) (*synth.Band, error)
	// Headphones tells that the microphone does not hear it, as the singer says or a
	// calibration has found. It is measured all the same.
	Headphones bool
	Voice      float64 // dBFS, of the singer at ease; 0 where it was not measured
}

// Overheard tells that the microphone hears too much of what the tool itself sounds:
// nothing can be measured beside it, and the window stays shut.
type Overheard struct {
	Index int
	Own   float64 // dBFS: as loud as it is heard
	Most  float64 // dBFS: as loud as it may be
}

func (Overheard) event() {}

// underAhead is how much sound, in seconds, is handed over before it is due. It lies
// above what a device takes at a time, and below what a sink keeps that is asked to wait.
const underAhead = 0.2

// ownPartials of a tone are looked for in the microphone: they have all but a fiftieth
// of its power.
const ownPartials = 5

// leaked is how loud the microphone heard what sounds, and of which sound that was said.
type leaked struct {
	chords [][]float64
	level  float64 // dBFS, of playback
	heard  float64 // dBFS; 0: not known
}

// filler is a sound that goes on: Fill writes it from sample at on.
type filler interface {
	Fill(dst []float64, at int64)
}

// going is a sound that goes on, with the chords in it, how many samples it takes until it
// repeats, and the level that was asked for.
type going struct {
	filler
	chords [][]float64
	round  int64
	level  float64
}

// underway is a sound that goes on. One goroutine has the sink until it is stopped.
type underway struct {
	sink  audio.Sink
	sound filler
	heard atomic.Int64  // samples of the sink that are due
	more  chan struct{} // of size 1: heard has changed
	last  chan struct{} // closed: nothing more is due
	ended chan error
}

// goes hands the sound over as it becomes due. It ends softly when nothing more is due,
// or with the context.
func (u *underway) goes(ctx context.Context) {
	rate := int64(u.sink.SampleRate())
	block := make([]float64, rate/20)
	at, stopped := int64(0), false
	for {
		for due := u.heard.Load() + int64(underAhead*float64(rate)); at < due; {
			n := min(int64(len(block)), due-at)
			u.sound.Fill(block[:n], at)
			if err := u.sink.Write(ctx, block[:n]); err != nil {
				u.ended <- err
				return
			}
			at += n
		}
		if stopped {
			break
		}
		select {
		case <-u.more:
		case <-u.last: // what was due until then is played
			stopped = true
		case <-ctx.Done():
			u.ended <- ctx.Err()
			return
		}
	}
	release := make([]float64, int(synth.Release*float64(rate)))
	u.sound.Fill(release, at)
	for i := range release {
		release[i] *= 1 - float64(i+1)/float64(len(release))
	}
	u.ended <- u.sink.Write(ctx, release)
}

// begin has a sound go on while an ear listens, as long as what the ear hears lasts, and
// returns how it is stopped, which waits until nobody has the sink.
func (t *Turn) begin(ctx context.Context, sound filler, chords [][]float64, ear *listen.Ear) (stop func() error) {
	u := &underway{
		sink: t.out, sound: sound, more: make(chan struct{}, 1), last: make(chan struct{}), ended: make(chan error, 1),
	}
	from, to, samples := int64(ear.Source().SampleRate()), int64(t.out.SampleRate()), int64(0)
	ear.Sounding(soughtIn(chords), func(n int64) {
		samples += n
		u.heard.Store(samples * to / from)
		select {
		case u.more <- struct{}{}:
		default:
		}
	})
	go u.goes(ctx)
	return func() error {
		ear.Sounding(nil, nil)
		close(u.last)
		err := <-u.ended
		if err != nil && !errors.Is(err, context.Canceled) {
			return fmt.Errorf("play: %w", err)
		}
		return err
	}
}

// soughtIn are the strongest partials of what sounds.
func soughtIn(chords [][]float64) []float64 {
	var out []float64
	for _, chord := range chords {
		for _, hz := range chord {
			for h := 1; h <= ownPartials; h++ {
				out = append(out, hz*float64(h))
			}
		}
	}
	return out
}

// sounding is what sounds under an answer in a key; false where nothing does. It tells the
// ear that is made for the answer which partials are no voice: those of a drone. Chords
// that change have too many, and would make it deaf for the tones of the key: they are
// told from a voice by their level.
func (t *Turn) sounding(k theory.Key, tuning theory.Tuning, octave int) (u synth.Under, ok bool, err error) {
	t.Hearing.Own = nil
	if t.Under == nil {
		return u, false, nil
	}
	if u, err = t.Under.Sound(k, tuning, octave); err != nil {
		return u, false, err
	}
	u.Keyboard = synth.Keyboard{SampleRate: t.out.SampleRate(), Level: t.Level(), Instrument: t.Instrument}
	if len(u.Chords) == 1 && !t.Under.Headphones {
		t.Hearing.Own = u.Partials()
	}
	return u, true, nil
}

// beneath opens a window under which the sound goes on: it waits as [Turn.Wait] does, and
// listens, unless the microphone hears too much of the tool's own sound. Chords that
// repeat are heard once round before the first window, and so is each of them measured.
// Own is how loud it was heard in dBFS, 0 where that was not measured.
func (t *Turn) beneath(ctx context.Context, u going, ear *listen.Ear, live bool, think float64, hear func() error) (own float64, err error) {
	stop := t.begin(ctx, u, u.chords, ear)
	defer func() {
		if e := stop(); err == nil {
			err = e
		}
	}()
	known := t.leak.heard != 0 && t.leak.level == u.level && slices.EqualFunc(t.leak.chords, u.chords, slices.Equal[[]float64])
	if known {
		ear.Recall(t.leak.heard)
	} else if !t.Under.Headphones {
		think = max(think, float64(u.round)/float64(t.out.SampleRate()))
	}
	if live {
		think = max(think, leastSounding)
	}
	if err := t.Wait(ctx, ear, live, think); err != nil {
		return 0, err
	}
	if own = ear.Own(); live {
		t.leak = leaked{u.chords, u.level, own}
	}
	voice := t.Under.Voice
	if t.overheard(own, voice) {
		t.leak.heard = 0 // measured anew: it may have been turned down
		return own, nil
	}
	return own, hear()
}

// overheard tells, and says, that the microphone hears too much of what sounds beside a
// voice; 0 where either was not measured.
func (t *Turn) overheard(own, voice float64) bool {
	if own == 0 || !exercise.Audible(own, voice) {
		return false
	}
	if voice == 0 {
		voice = exercise.UsualVoice
	}
	t.Emit(Overheard{Index: t.Index, Own: own, Most: voice - exercise.OwnMargin})
	return true
}

// leastSounding is how long, in seconds, the tool's own sound is measured at the least.
const leastSounding = 0.6

// below is what sounds under a degree in a key; nil where nothing does.
func (t *Turn) below(k theory.Key, tuning theory.Tuning, octave int) (*going, error) {
	if t.Under == nil || t.Under.Band == nil {
		u, ok, err := t.sounding(k, tuning, octave)
		if !ok {
			return nil, err
		}
		return &going{u, u.Chords, u.Round(), u.Level}, nil
	}
	t.Hearing.Own = nil
	t.keyboard.Level = t.Level()
	band, err := t.Under.Band(t.keyboard, k, tuning)
	if err != nil {
		return nil, err
	}
	return &going{band, band.Tones(), band.Round(), t.keyboard.Level}, nil
}
