// Package session runs the drill: it sets the key, asks, listens, judges,
// sounds the right note and says what happened.
//
// [Run] runs a whole series and emits [Event]s; [Ear.Listen] is one listening
// window, which the judging of recordings shares. The package owns no screen,
// file or device: sound comes from and goes to the contracts of package audio,
// and time is counted in the samples that they deliver.
package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/theory"
)

// Config says how a run goes.
type Config struct {
	Items     []exercise.Item // at least one, all in one key and register; not with Next
	Setting   synth.KeySetting
	KeyEvery  int // the key is set again after this many items; 0: only at the start
	Tolerance exercise.Tolerance
	Window    exercise.Window
	Level     func() float64 // dBFS, the peak level of playback; asked before each sound
	Think     float64        // seconds of silence between the prompt and the window of a live source
	Compare   bool           // sound the right note after each verdict
	// Still waits so many seconds of inner hearing before a simulated singer answers,
	// who needs none, so that a demonstration shows them. Nil does not wait.
	Still func(ctx context.Context, seconds float64) error

	Hearing   Hearing // of the singer and the room
	Delay     float64 // seconds from playback to capture, where it was measured: a live window stays shut so much longer
	Apart     bool    // set the key in an octave where none of its tones is an answer, if there is one
	RestAfter float64 // seconds of singing after which Rest is emitted; 0: never

	// Retry is asked after a first answer that was not in tune; true repeats
	// the item once. Nil never repeats.
	Retry func(context.Context, Judged) (bool, error)

	// Next chooses the questions one by one instead of Items, until it returns
	// false. Seconds is how much sound has been played and heard so far.
	Next func(seconds float64) (Question, bool)
	// Count is how many questions Next has; 0 where that is not known.
	Count int
	// Guess is asked, where a question wants it, whether the answer was flat,
	// sharp or in tune, before the verdict is told; NotMeasured is no guess. Nil
	// never asks.
	Guess func(context.Context) (exercise.Outcome, error)
	// Pause waits while the singer rests: it is called after Rest, before the next
	// question, and ends early, with ctx's error, if ctx ends. What a live source
	// hears meanwhile is thrown away. Nil does not wait.
	Pause func(context.Context) error
	// Keep is given every verdict before anything else learns of it: when it
	// returns, the verdict may be shown. Nil keeps nothing.
	Keep func(Judged)
	// Remark, asked after a verdict that was told, may have a line to add to it. Nil
	// never has.
	Remark func(Judged) string

	// Name is asked what was heard in a dictation. It returns a name for each
	// chord, none if the singer gives up, or again to have it played once more, and
	// how many seconds after the sound the names came. Only with Next.
	Name func(context.Context, compose.Dictation) (names []exercise.Skill, again bool, seconds float64, err error)
	// KeepNamed is given what was named, as Keep is given verdicts.
	KeepNamed func(Named)
	// Lines says how melodies among the questions are sung; of it Scores, After and
	// Echo are not used. The Answers of such a run are LineAnswers, too.
	Lines Lines
	// Grade grades a melody among the questions, keeps the grade and shows it; it
	// returns how many of its notes were right, 0 of 0 where nothing was measured.
	Grade func(context.Context, LineSung) (right, notes int, err error)
}

// Question is an item and how it is asked.
type Question struct {
	Item      exercise.Item
	Tolerance exercise.Tolerance
	SetKey    bool // set the key before it
	Feedback  practice.Feedback
	Guess     bool

	Part, Parts int // its place in a chain of questions that belong together; 0, 0 outside of one

	// Instead of Asked, with the item's key, tuning and register: chords are heard
	// and named, or a melody is read and sung.
	Dictation *compose.Dictation
	Line      *theory.Score
}

// Answers gives the source that answers an item. The source of a live
// microphone is the same each time; a recording or the simulated singer gives
// a new one for each item. An Answers that has run out returns ErrNoMore; it may
// do so for a second attempt only, which is then not made.
type Answers interface {
	// Source returns what answers; live tells that it is a running device
	// whose earlier sound must be thrown away. A source that is not live is
	// closed after the answer. Source is called before Prompted is emitted.
	Source(p Prompted) (src audio.Source, live bool, err error)
}

// ErrNoMore is returned by Answers when nothing is left to answer with.
var ErrNoMore = errors.New("no recording is left to answer with")

// Skipper is a live source that can forget what it has buffered.
type Skipper interface{ Skip() (skipped int64) }

// Awaiter is a source that may keep the singer waiting before its sample rate is
// known, like a pipe. Await is called once, when the question has been asked and
// before any other method but Close; it returns early, with ctx's error, if ctx
// ends.
type Awaiter interface {
	Await(ctx context.Context) error
}

// await waits for what src waits for.
func await(ctx context.Context, src audio.Source) error {
	if a, ok := src.(Awaiter); ok {
		return a.Await(ctx)
	}
	return nil
}

// guard is how long, in seconds, a live window stays shut after the output has
// drained: the driver's report of what has been heard is not exact, and a room
// has a tail.
const guard = 0.2

// gap is the silence, in seconds, written between two sounds.
const gap = 0.25

// Run runs the series and returns its tally. It emits events from this
// goroutine. Cancelling ctx ends the run tidily: the tally so far comes back
// with ctx's error. Whatever ends it, Finished is the last event.
func Run(ctx context.Context, cfg Config, answers Answers, out audio.Sink, emit func(Event)) (exercise.Tally, error) {
	r := &run{cfg: cfg, answers: answers, out: out, emit: emit, stint: exercise.Stint{RestAfter: cfg.RestAfter}}
	r.keyboard = synth.Keyboard{SampleRate: out.SampleRate()}
	err := r.items(ctx)
	emit(Finished{r.tally, err != nil})
	return r.tally, err
}

type run struct {
	cfg      Config
	answers  Answers
	out      audio.Sink
	emit     func(Event)
	keyboard synth.Keyboard
	ear      *Ear
	tally    exercise.Tally
	stint    exercise.Stint
	tired    bool // a rest is due, before the next question
	block    []float64
	seconds  float64 // of sound played and heard
	key      theory.Key
	keySet   bool // key is in the ear
}

func (r *run) items(ctx context.Context) error {
	next := r.cfg.Next
	if next == nil {
		next = r.listed()
	}
	for index := 1; ; index++ {
		q, ok := next(r.seconds)
		if !ok {
			return nil
		}
		if r.tired && r.cfg.Pause != nil {
			if err := r.cfg.Pause(ctx); err != nil {
				return err
			}
		}
		r.tired = false
		// A melody may have been in another key.
		if (q.SetKey || r.keySet && q.Item.Key != r.key) && q.Line == nil {
			coming := []exercise.Item{q.Item}
			if r.cfg.Next == nil {
				coming = r.cfg.Items[index-1:]
				if n := r.cfg.KeyEvery; n > 0 && n < len(coming) {
					coming = coming[:n]
				}
			}
			if err := r.setKey(ctx, coming, r.keySet && q.Item.Key == r.key); err != nil {
				return err
			}
		}
		if q.Line == nil {
			r.key, r.keySet = q.Item.Key, true
		}
		put := r.item
		switch {
		case q.Dictation != nil:
			put = r.dictation
		case q.Line != nil:
			put = r.melody
		}
		if err := put(ctx, q, index); err != nil {
			return err
		}
	}
}

// chordLength is how long a chord of a dictation sounds, in seconds.
const chordLength = 1.2

// dictation asks what is heard, and plays it once more when it has been told.
func (r *run) dictation(ctx context.Context, q Question, index int) error {
	d := *q.Dictation
	named := Named{Index: index, Dictation: d, Item: q.Item, Feedback: q.Feedback}
	sound := synth.Chords(d.Key, q.Item.Tuning, d.Voices, chordLength)
	for {
		r.emit(DictationAsked{Index: index, Of: r.count(), Dictation: d, Again: named.Again})
		if err := r.play(ctx, sound); err != nil {
			return err
		}
		r.emit(Naming{d})
		names, again, seconds, err := r.cfg.Name(ctx, d)
		if err != nil {
			return err
		}
		if !again {
			named.Names, named.Answer = names, seconds
			break
		}
		named.Again = true
	}
	named.Right = d.Right(named.Names)
	named.Seconds = r.seconds
	hidden := true
	for i, skill := range d.Skills() {
		var name *exercise.Skill
		if i < len(named.Names) {
			name = &named.Names[i]
		}
		r.tally.AddNamed(skill, name, named.Right[i])
		o := exercise.WrongAnswer
		if named.Right[i] {
			o = exercise.RightAnswer
		}
		hidden = hidden && !q.Feedback.Shows(exercise.Verdict{Outcome: o})
	}
	named.Hidden = hidden
	if r.cfg.KeepNamed != nil {
		r.cfg.KeepNamed(named)
	}
	r.emit(named)
	if hidden || !r.cfg.Compare {
		return nil
	}
	return r.play(ctx, sound)
}

// melody has a line read, sung and graded.
func (r *run) melody(ctx context.Context, q Question, index int) error {
	answers, ok := r.answers.(LineAnswers)
	if !ok {
		return fmt.Errorf("question %d is a melody, and nothing here can answer one", index)
	}
	cfg := r.cfg.Lines
	cfg.After = nil
	l := &lineRun{run: r, cfg: cfg, answers: answers}
	sung, err := l.sing(ctx, *q.Line, index, r.count())
	if err != nil {
		return err
	}
	sung.Feedback, sung.Seconds = q.Feedback, r.seconds
	r.emit(sung)
	right, notes, err := r.cfg.Grade(ctx, sung)
	if err != nil {
		return err
	}
	if notes > 0 {
		r.tally.AddLine(practice.LineOutcome(right, notes).IsRight())
	}
	if r.stint.Add(sung.Take.Voiced) {
		r.tired = true
		r.emit(Rest{r.stint.Sung})
	}
	return nil
}

// listed asks the items of the configuration in their order.
func (r *run) listed() func(float64) (Question, bool) {
	i := -1
	return func(float64) (Question, bool) {
		if i++; i >= len(r.cfg.Items) {
			return Question{}, false
		}
		return Question{
			Item: r.cfg.Items[i], Tolerance: r.cfg.Tolerance,
			SetKey: i == 0 || r.cfg.KeyEvery > 0 && i%r.cfg.KeyEvery == 0,
		}, true
	}
}

// item asks one question, and once more if the answer was not in tune and Retry
// says so. The first answer that could be measured counts; an attempt that
// could not is nobody's fault, so a second one takes its place. Where the verdict
// is not told, the right note is not sounded either, and there is no second
// attempt.
func (r *run) item(ctx context.Context, q Question, index int) error {
	first, err := r.ask(ctx, q, index, 1, true)
	if err != nil {
		return err
	}
	counted := first.Verdict
	defer func() { r.tally.Add(q.Item, counted) }()
	if first.Hidden {
		return nil
	}
	if err := r.compare(ctx, q.Item); err != nil {
		return err
	}
	if r.cfg.Retry == nil || first.Verdict.Outcome == exercise.InTune {
		return nil
	}
	again, err := r.cfg.Retry(ctx, first)
	if err != nil || !again {
		return err
	}
	second, err := r.ask(ctx, q, index, 2, !first.Counts)
	if errors.Is(err, ErrNoMore) {
		return nil // there is one recording for each item
	}
	if err != nil {
		return err
	}
	if second.Counts {
		counted = second.Verdict
	}
	if second.Hidden {
		return nil
	}
	return r.compare(ctx, q.Item)
}

// setKey sets the key for the items that are coming, at least one.
func (r *run) setKey(ctx context.Context, coming []exercise.Item, again bool) error {
	it := coming[0]
	octave := it.Register.TonicOctave
	moved := 0
	if r.cfg.Apart {
		moved = apart(r.cfg.Setting, coming)
	}
	r.emit(KeySet{
		Key: it.Key, Tuning: it.Tuning, Setting: r.cfg.Setting, Again: again, Octaves: moved,
		Tonic: theory.Pitch{Note: it.Key.Tonic, Octave: octave},
	})
	return r.play(ctx, r.cfg.Setting.Phrase(it.Key, it.Tuning, octave+moved))
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

// count is how many questions there are; 0 where that is not known.
func (r *run) count() int {
	if r.cfg.Next != nil {
		return r.cfg.Count
	}
	return len(r.cfg.Items)
}

// ask asks one item once and returns the verdict; first tells that no earlier
// attempt at the item has counted.
func (r *run) ask(ctx context.Context, q Question, index, attempt int, first bool) (Judged, error) {
	it := q.Item
	target, folded := it.Target()
	prompted := Prompted{
		Index: index, Of: r.count(), Attempt: attempt, Item: it, Target: target, Folded: folded, Tolerance: q.Tolerance,
		Part: q.Part, Parts: q.Parts,
	}
	src, live, err := r.answers.Source(prompted)
	if err != nil {
		return Judged{}, err
	}
	r.emit(prompted)
	take, err := r.hear(ctx, it, index, src, live)
	if !live {
		r.ear = nil
		if e := src.Close(); e != nil && err == nil {
			err = fmt.Errorf("close answer %d: %w", index, e)
		}
	}
	if err != nil {
		return Judged{}, err
	}
	verdict := exercise.Judge(it, take, q.Tolerance)
	judged := Judged{
		Index: index, Attempt: attempt, Item: it, Verdict: verdict, Counts: first && verdict.Counts(),
		Tolerance: q.Tolerance, Feedback: q.Feedback, Hidden: !q.Feedback.Shows(verdict), Seconds: r.seconds,
	}
	if q.Guess && attempt == 1 && r.cfg.Guess != nil && verdict.Counts() {
		r.emit(Guessing{})
		if judged.Guess, err = r.cfg.Guess(ctx); err != nil {
			return Judged{}, err
		}
	}
	if r.cfg.Keep != nil {
		r.cfg.Keep(judged)
	}
	r.emit(judged)
	if r.cfg.Remark != nil && !judged.Hidden {
		if text := r.cfg.Remark(judged); text != "" {
			r.emit(Notice{text})
		}
	}
	if r.stint.Add(take.Voiced) {
		r.tired = true
		r.emit(Rest{r.stint.Sung})
	}
	return judged, nil
}

// hear sounds the degree to start from, if there is one, and listens to src.
func (r *run) hear(ctx context.Context, it exercise.Item, index int, src audio.Source, live bool) (exercise.Take, error) {
	if it.From != nil {
		if err := r.play(ctx, synth.One(it.Hz(it.FromPitch()))); err != nil {
			return exercise.Take{}, err
		}
	}
	if r.ear == nil || r.ear.src != src {
		err := await(ctx, src)
		if err != nil {
			return exercise.Take{}, err
		}
		if r.ear, err = r.cfg.Hearing.NewEar(src); err != nil {
			return exercise.Take{}, err
		}
	}
	if live {
		if err := r.wait(ctx, src); err != nil {
			return exercise.Take{}, err
		}
	} else if err := r.still(ctx, r.cfg.Think); err != nil {
		return exercise.Take{}, err
	}
	r.emit(Listening{})
	take, err := r.ear.Listen(ctx, r.cfg.Window, func(h Heard) { r.emit(h) })
	r.seconds += float64(take.Heard) / float64(src.SampleRate())
	if err != nil {
		return take, fmt.Errorf("listen to answer %d: %w", index, err)
	}
	return take, nil
}

// compare sounds the right note.
func (r *run) compare(ctx context.Context, it exercise.Item) error {
	if !r.cfg.Compare {
		return nil
	}
	target, _ := it.Target()
	r.emit(Sounding{it, target})
	return r.play(ctx, synth.One(it.Hz(target)))
}

// wait lets the tool's own sound die away and gives the singer the moment to
// hear the note inwardly. What the microphone hears meanwhile answers nothing; the
// ear learns from it what the room sounds like.
func (r *run) wait(ctx context.Context, src audio.Source) error {
	r.emit(Waiting{})
	if s, ok := src.(Skipper); ok {
		s.Skip()
	}
	if r.block == nil {
		r.block = make([]float64, blockSize)
	}
	thinking := int64(r.cfg.Think * float64(src.SampleRate()))
	left := int64((guard + r.cfg.Delay + r.cfg.Think) * float64(src.SampleRate()))
	if r.ear != nil {
		r.ear.Before(nil)
	}
	for left > 0 {
		n, lost, err := src.Read(ctx, r.block[:min(left, blockSize)])
		if err != nil {
			return fmt.Errorf("wait for the answer: %w", err)
		}
		if r.ear != nil && left <= thinking && n > 0 { // the tool's own sound has died away
			r.ear.Before(r.block[:n])
		}
		left -= int64(n) + lost
	}
	r.seconds += guard + r.cfg.Think
	return nil
}

// still shows the moment of inner hearing before a simulated singer answers.
func (r *run) still(ctx context.Context, seconds float64) error {
	if r.cfg.Still == nil || seconds == 0 {
		return nil
	}
	r.emit(Waiting{})
	r.seconds += seconds
	return r.cfg.Still(ctx, seconds)
}

// play sounds a phrase and a short silence, and waits until it has been heard.
func (r *run) play(ctx context.Context, p synth.Phrase) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	r.keyboard.Level = r.cfg.Level()
	samples := r.keyboard.Render(p)
	samples = append(samples, make([]float64, int(gap*float64(r.out.SampleRate())))...)
	r.seconds += float64(len(samples)) / float64(r.out.SampleRate())
	if err := r.out.Write(ctx, samples); err != nil {
		return fmt.Errorf("play: %w", err)
	}
	if err := r.out.Drain(ctx); err != nil {
		return fmt.Errorf("play: %w", err)
	}
	return nil
}
