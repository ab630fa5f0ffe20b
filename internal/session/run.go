// Package session runs a drill: one loop over tasks. A [Task] prompts, sounds, takes
// an answer, gives a verdict, and says what skill it credits; a sung degree, chords
// that are named, and a line are in files of their own ([Degree], [Dictation],
// [Line]), and the loop knows none of them. [Calibrate] is a conversation apart, with
// the same ear.
//
// The package owns no screen, file or device: sound comes from and goes to the
// contracts of package audio, package listen hears it, and time is counted in the
// samples that they deliver.
package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/theory"
)

// Task is one thing that is asked of the singer.
type Task interface {
	// Skill is what an answer is credited to.
	Skill() exercise.Skill
	// Do asks, takes the answer, and emits the verdict. It counts the answer in
	// the tally, and the singing.
	Do(ctx context.Context, t *Turn) error
}

// Host is whoever has a drill run: it brings the tasks and learns what happens.
type Host interface {
	// Next returns the next task; nil ends the run. Seconds is how much sound has
	// been played and heard so far.
	Next(seconds float64) (Task, error)
	// Emit is given every event, from one goroutine. A host that keeps verdicts
	// does so before Emit returns: nobody else learns of one earlier.
	Emit(Event)
	// Rest waits while the singer rests: it is called before the first task after
	// a Rest was emitted, and ends early, with ctx's error, if ctx ends. What a live
	// source hears meanwhile is thrown away.
	Rest(ctx context.Context) error
}

// Config says how a run goes.
type Config struct {
	Setting    synth.KeySetting
	Window     exercise.Window
	Level      func() float64   // LUFS, the loudness of playback; asked before each sound
	Instrument synth.Instrument // that plays what is heard
	Model      *synth.Model     // that sings single notes and lines; nil: the instrument plays them
	Think      float64          // seconds of silence between the prompt and the window of a live source
	Compare    bool             // sound the right answer after each verdict that was told
	Count      int              // how many tasks there will be; 0 where that is not known
	// Still waits so many seconds of inner hearing before a simulated singer answers,
	// who needs none, so that a demonstration shows them. Nil does not wait.
	Still func(ctx context.Context, seconds float64) error

	Under *Under // sounds while the singer sings; nil: nothing does

	Hearing   listen.Hearing // of the singer and the room
	Delay     float64        // seconds from playback to capture, where it was measured: a live window stays shut so much longer
	Apart     bool           // set the key in an octave where none of its tones is an answer, if there is one
	RestAfter float64        // seconds of singing after which Rest is emitted; 0: never

	// Back waits for a sound device that has gone silent, as of which err is, and opens
	// it anew: with nil the run goes on, else it ends with what it returns. Source and
	// sink stay the same values, but their rates may be others. Nil: the run ends.
	Back func(ctx context.Context, err error) error
}

// ErrNoMore is returned by whoever answers when nothing is left to answer with. For a
// second attempt it only means that there is none.
var ErrNoMore = errors.New("no recording is left to answer with")

// guard is how long, in seconds, a live window stays shut after the output has
// drained: the driver's report of what has been heard is not exact, and a room
// has a tail.
const guard = 0.2

// gap is the silence, in seconds, written between two sounds.
const gap = 0.25

// Run runs the tasks of a host and returns their tally. It emits events from this
// goroutine. Cancelling ctx ends the run tidily: the tally so far comes back
// with ctx's error. Whatever ends it, Finished is the last event.
func Run(ctx context.Context, cfg Config, out audio.Sink, host Host) (exercise.Tally, error) {
	t := &Turn{
		Config: cfg, out: out, host: host,
		stint:    exercise.Stint{RestAfter: cfg.RestAfter},
		keyboard: synth.Keyboard{SampleRate: out.SampleRate(), Instrument: cfg.Instrument},
	}
	err := t.tasks(ctx)
	host.Emit(Finished{t.Tally, err != nil})
	return t.Tally, err
}

// Turn is what a task is run with: its place in the run, and what all tasks share.
type Turn struct {
	Config
	Index int            // of the task in the run, 1-based
	Tally exercise.Tally // of the run

	out      audio.Sink
	host     Host
	keyboard synth.Keyboard
	ear      *listen.Ear // of the live source
	stint    exercise.Stint
	tired    bool    // a rest is due, before the next task
	judged   bool    // a verdict of the task was told
	seconds  float64 // of sound played and heard
	key      theory.Key
	keySet   bool      // key is in the ear
	faded    bool      // it was, and is to be set anew
	own      []float64 // partials that the ear of the live source takes for no voice
	leak     leaked
	beats    Silence // that is being waited
}

func (t *Turn) tasks(ctx context.Context) error {
	for t.Index = 1; ; t.Index++ {
		task, err := t.host.Next(t.seconds)
		if err != nil || task == nil {
			return err
		}
		if t.tired {
			if err := t.host.Rest(ctx); err != nil {
				return err
			}
		}
		t.tired = false
		t.judged = false
		for again := true; again; {
			if again, err = t.back(ctx, task.Do(ctx, t)); err != nil {
				return err
			}
			again = again && !t.judged // what was judged is not asked again
		}
	}
}

// back waits, where err is that of a sound device that has gone silent, until it is back,
// and reports whether it had gone: nothing of the key is in the ear any more then, and
// nothing is known of the room. Any other error it returns as it is.
func (t *Turn) back(ctx context.Context, err error) (gone bool, _ error) {
	if t.Back == nil || !errors.Is(err, audio.ErrStalled) {
		return false, err
	}
	if err := t.Back(ctx, err); err != nil {
		return true, err
	}
	t.ear, t.faded, t.leak = nil, t.keySet, leaked{}
	t.keyboard.SampleRate = t.out.SampleRate()
	return true, nil
}

// Emit tells the host what happens.
func (t *Turn) Emit(e Event) {
	switch e.(type) {
	case Judged, Named, LineSung:
		t.judged = true
	}
	t.host.Emit(e)
}

// Seconds is how much sound has been played and heard in the run.
func (t *Turn) Seconds() float64 { return t.seconds }

// Sung counts so many seconds of singing, after which a rest may be due.
func (t *Turn) Sung(seconds float64) {
	if t.stint.Add(seconds) {
		t.tired = true
		t.Emit(Rest{t.stint.Sung})
	}
}

// Need says which key a task needs in the ear.
type Need struct {
	Item  exercise.Item   // of which key, tuning and register count
	Fresh bool            // it is set even if it is in the ear
	Apart []exercise.Item // from whose answers it is set apart, with Config.Apart; none: from Item's
}

// NeedKey sets a key, unless it is in the ear. A run may begin without one.
func (t *Turn) NeedKey(ctx context.Context, n Need) error {
	it := n.Item
	again := t.keySet && it.Key == t.key
	due := n.Fresh || t.faded || t.keySet && !again
	t.key, t.keySet = it.Key, true
	if !due {
		return nil
	}
	octave := it.Register.TonicOctave
	moved := 0
	if t.Apart {
		from := n.Apart
		if len(from) == 0 {
			from = []exercise.Item{it}
		}
		moved = apart(t.Setting, from)
	}
	return t.setKey(ctx, KeySet{
		Key: it.Key, Tuning: it.Tuning, Again: again, Octaves: moved,
		Tonic: theory.Pitch{Note: it.Key.Tonic, Octave: octave},
	})
}

// setKey sets a key as the event says.
func (t *Turn) setKey(ctx context.Context, k KeySet) error {
	k.Setting = t.Setting
	t.key, t.keySet, t.faded = k.Key, true, false
	t.Emit(k)
	return t.Play(ctx, t.Setting.Phrase(k.Key, k.Tuning, k.Tonic.Octave+k.Octaves))
}

// apart returns how many octaves away from the singer's register the key is set
// for the items, at least one: nearest first, down before up, where none of its
// tones is at a pitch that is asked; a singer who had just heard it would only
// have to copy. Where there is no such octave, it is the one with the fewest.
func apart(setting synth.KeySetting, items []exercise.Item) int {
	it := items[0]
	best, fewest := 0, -1
	for _, octaves := range [...]int{0, -1, 1, -2, 2} {
		phrase := setting.Phrase(it.Key, it.Tuning, it.Register.TonicOctave+octaves)
		n := 0
		for _, asked := range items {
			target, _ := asked.Target()
			if slices.ContainsFunc(phrase, func(s synth.Sound) bool {
				return math.Abs(theory.CentsBetween(s.Hz, asked.Hz(target))) < 50
			}) {
				n++
			}
		}
		if fewest < 0 || n < fewest {
			best, fewest = octaves, n
		}
	}
	return best
}

// Play sounds a phrase and a short silence, and waits until it has been heard.
func (t *Turn) Play(ctx context.Context, p synth.Phrase) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	t.keyboard.Level = t.Level()
	return t.sound(ctx, t.keyboard.Render(p))
}

// sound sounds samples and a short silence, and waits until they have been heard.
func (t *Turn) sound(ctx context.Context, samples []float64) error {
	samples = append(samples, make([]float64, int(gap*float64(t.out.SampleRate())))...)
	t.seconds += float64(len(samples)) / float64(t.out.SampleRate())
	return t.write(ctx, samples)
}

// clicks sounds beats that last so many seconds.
func (t *Turn) clicks(beats []synth.Beat, seconds float64) []float64 {
	t.keyboard.Level = t.Level()
	return t.keyboard.Clicks(beats, seconds)
}

// write sounds samples and waits until they have been heard.
func (t *Turn) write(ctx context.Context, samples []float64) error {
	if err := t.out.Write(ctx, samples); err != nil {
		return fmt.Errorf("play: %w", err)
	}
	if err := t.out.Drain(ctx); err != nil {
		return fmt.Errorf("play: %w", err)
	}
	return nil
}

// Answer hands the ear for a source to hear, when the source is ready, and then
// closes the source unless it is live: that of a live one is kept, with what it
// knows of the room.
func (t *Turn) Answer(ctx context.Context, src audio.Source, live bool, hear func(*listen.Ear) error) error {
	err := func() error {
		if live && t.ear != nil && t.ear.Source() == src && slices.Equal(t.own, t.Hearing.Own) {
			return hear(t.ear)
		}
		if err := listen.Await(ctx, src); err != nil {
			return err
		}
		ear, err := listen.New(src, t.Hearing)
		if err != nil {
			return err
		}
		if live {
			t.ear, t.own = ear, t.Hearing.Own
		}
		return hear(ear)
	}()
	if live {
		return err
	}
	if e := src.Close(); e != nil && err == nil {
		err = fmt.Errorf("close answer %d: %w", t.Index, e)
	}
	return err
}

// Wait gives the singer so many seconds to hear inwardly what comes. At a live source
// the tool's own sound dies away first. What the microphone hears meanwhile answers
// nothing; the ear learns from it what the room sounds like.
func (t *Turn) Wait(ctx context.Context, ear *listen.Ear, live bool, think float64) error {
	if !live {
		if t.Still == nil || think == 0 {
			return nil
		}
		t.Emit(Waiting{t.beats})
		t.seconds += think
		return t.Still(ctx, think)
	}
	t.Emit(Waiting{t.beats})
	rate := float64(ear.Source().SampleRate())
	if err := ear.Pass(ctx, int64((guard+t.Delay+think)*rate), int64(think*rate)); err != nil {
		return fmt.Errorf("wait for the answer: %w", err)
	}
	t.seconds += guard + think
	return nil
}

// heard counts samples that were heard.
func (t *Turn) heard(samples int64, rate int) { t.seconds += float64(samples) / float64(rate) }

// meter tells the host what an open window hears.
func (t *Turn) meter(s listen.State) { t.Emit(Heard(s)) }
