package session

import (
	"context"
	"errors"
	"fmt"
	"io"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/pitch"
	"singback/theory"
)

// Lines says how written lines are sung, one after the other.
type Lines struct {
	Scores  []theory.Score // at least one; each in the octave in which it is to be sung
	Tuning  theory.Tuning
	Setting synth.KeySetting
	Hearing Hearing // of the singer and the room
	Delay   float64 // seconds from playback to capture, where it was measured
	// Tempo is in beats (Meter.Pulse) a minute, for scores without one.
	Tempo float64
	Study float64        // seconds to read a line in silence, before the key is set
	Free  bool           // the singer's own tempo: there is no count-in
	Click bool           // the beat goes on clicking while the singer sings
	Echo  bool           // the line is played instead of read
	Gap   float64        // seconds between the playing and the singing of an Echo
	Level func() float64 // dBFS, the peak level of playback; asked before each sound

	// Still is as in Config; it waits for Gap.
	Still func(ctx context.Context, seconds float64) error
	// Read waits while a line is studied, or as long as the singer needs.
	Read func(ctx context.Context, seconds float64) error
	// After is asked when a line has been sung; true has it sung again. Nil goes
	// on.
	After func(context.Context, LineSung) (again bool, err error)
}

// LineAnswers gives the source that answers a line; see [Answers]. lead is how
// long, in seconds after its first sample, the first beat comes for which
// everything waits.
type LineAnswers interface {
	LineSource(p LinePrompted, lead float64) (src audio.Source, live bool, err error)
}

// LinePrompted tells that a line is to be read. It comes before the study, or
// before an Echo is played.
type LinePrompted struct {
	Index, Of int // 1-based
	Score     theory.Score
	Tuning    theory.Tuning
	Tempo     float64 // beats a minute
	Quarter   float64 // seconds of a quarter note at that tempo
	Study     float64 // seconds
	Free      bool
	Echo      bool
}

// CountIn tells that the beat is being counted: so many beats come before the
// singer does. It comes before the sound.
type CountIn struct {
	Beats int
	Tempo float64
}

// PlayingLine tells that an Echo is being played.
type PlayingLine struct{ Score theory.Score }

// LineSung carries what was heard of a line.
type LineSung struct {
	LinePrompted
	Take exercise.PhraseTake
	// Samples are what was heard, Take.Heard of them or a few more.
	Samples []float64
	// Downbeat is the sample of the take at which the line should have begun;
	// HasDownbeat is false where the singer chose.
	Downbeat    int64
	HasDownbeat bool

	Feedback practice.Feedback // among other questions
	Seconds  float64           // of sound played and heard in the run up to it
}

// LinesFinished ends a run that was completed or interrupted.
type LinesFinished struct {
	Sung        int
	Interrupted bool
}

func (LinePrompted) event()  {}
func (CountIn) event()       {}
func (PlayingLine) event()   {}
func (LineSung) event()      {}
func (LinesFinished) event() {}

// lead is how long before the first beat the window opens: a singer may be early.
const lead = 0.15

// RunLines has the lines sung. It emits events from this goroutine, LinesFinished
// last, whatever ends it. Cancelling ctx ends the run with ctx's error.
func RunLines(ctx context.Context, cfg Lines, answers LineAnswers, out audio.Sink, emit func(Event)) error {
	one := &run{cfg: Config{Level: cfg.Level, Delay: cfg.Delay, Still: cfg.Still}, out: out, emit: emit}
	one.keyboard = synth.Keyboard{SampleRate: out.SampleRate()}
	r := &lineRun{run: one, cfg: cfg, answers: answers}
	sung := 0
	var err error
	for i := 0; i < len(cfg.Scores) && err == nil; {
		var again bool
		if again, err = r.line(ctx, cfg.Scores[i], i+1); err == nil && !again {
			i++
		}
		if err == nil {
			sung++
		}
	}
	emit(LinesFinished{sung, err != nil})
	return err
}

type lineRun struct {
	*run
	cfg     Lines
	answers LineAnswers
}

func (r *lineRun) line(ctx context.Context, s theory.Score, index int) (again bool, err error) {
	sung, err := r.sing(ctx, s, index, len(r.cfg.Scores))
	if err != nil {
		return false, err
	}
	r.emit(sung)
	if r.cfg.After == nil {
		return false, nil
	}
	return r.cfg.After(ctx, sung)
}

// sing has one line read, or played, and sung.
func (r *lineRun) sing(ctx context.Context, s theory.Score, index, of int) (sung LineSung, err error) {
	p := LinePrompted{
		Index: index, Of: of, Score: s, Tuning: r.cfg.Tuning,
		Tempo: r.cfg.Tempo, Study: r.cfg.Study, Free: r.cfg.Free, Echo: r.cfg.Echo,
	}
	if s.Tempo > 0 {
		p.Tempo = s.Tempo
	}
	pulse := theory.Fraction{Num: 1, Den: 1}
	if s.Meter.Valid() {
		pulse = s.Meter.Pulse()
	}
	p.Quarter = 60 / p.Tempo / pulse.Float()
	line := synth.Line(s, r.cfg.Tuning, p.Quarter)
	tonic := r.tonic(s)

	r.emit(p)
	if !p.Echo && p.Study > 0 {
		if err := r.cfg.Read(ctx, p.Study); err != nil {
			return sung, err
		}
	}
	r.emit(KeySet{Key: s.Key, Tuning: r.cfg.Tuning, Setting: r.cfg.Setting, Tonic: tonic, Again: r.keySet && r.key == s.Key})
	r.key, r.keySet = s.Key, true
	if err := r.play(ctx, r.cfg.Setting.Phrase(s.Key, r.cfg.Tuning, tonic.Octave)); err != nil {
		return sung, err
	}
	if p.Echo {
		r.emit(PlayingLine{s})
		if err := r.play(ctx, synth.PhraseOf(line)); err != nil {
			return sung, err
		}
	}
	before := 0.0
	if !p.Free && !p.Echo {
		before = lead
	}
	src, live, err := r.answers.LineSource(p, before)
	if err != nil {
		return sung, err
	}
	sung.LinePrompted = p
	sung.Take, sung.Samples, sung.Downbeat, err = r.hearLine(ctx, p, src, live)
	sung.HasDownbeat = before > 0
	r.seconds += float64(len(sung.Samples)) / float64(src.SampleRate())
	if !live {
		if e := src.Close(); e != nil && err == nil {
			err = fmt.Errorf("close answer %d: %w", index, e)
		}
	}
	return sung, err
}

// tonic is where the key is set: the tonic nearest below the middle of the line.
func (r *lineRun) tonic(s theory.Score) theory.Pitch {
	low, high := 127, 0
	for _, n := range s.Notes {
		if !n.Rest {
			low, high = min(low, n.Pitch.MIDI()), max(high, n.Pitch.MIDI())
		}
	}
	p := theory.Pitch{Note: s.Key.Tonic, Octave: 4}
	if low > high {
		return p
	}
	for p.MIDI() > (low+high)/2 {
		p.Octave--
	}
	for p.MIDI()+12 <= (low+high)/2 {
		p.Octave++
	}
	return p
}

// hearLine counts in, or lets the sound die away, and listens to the line.
func (r *lineRun) hearLine(ctx context.Context, p LinePrompted, src audio.Source, live bool) (take exercise.PhraseTake, samples []float64, downbeat int64, err error) {
	if err := await(ctx, src); err != nil {
		return take, nil, 0, err
	}
	ear, err := r.cfg.Hearing.NewEar(src)
	if err != nil {
		return take, nil, 0, err
	}
	defer func(think float64) { r.run.cfg.Think = think }(r.run.cfg.Think)
	length := p.Score.Length().Float() * p.Quarter
	window := exercise.NewPhraseWindow(length)
	if p.Free || p.Echo {
		window.Length = length / 2 // the singer may be faster
	}
	switch {
	case p.Echo:
		if live {
			r.run.cfg.Think = r.cfg.Gap
			if err := r.wait(ctx, src); err != nil {
				return take, nil, 0, err
			}
		} else if err := r.still(ctx, r.cfg.Gap); err != nil {
			return take, nil, 0, err
		}
	case p.Free:
		if live {
			r.run.cfg.Think = 0
			if err := r.wait(ctx, src); err != nil {
				return take, nil, 0, err
			}
		}
	default:
		if downbeat, err = r.countIn(ctx, p, src, live); err != nil {
			return take, nil, 0, err
		}
	}
	if !live {
		window = window.Recorded()
	}
	r.emit(Listening{})
	clicks := make(chan error, 1)
	clicking := r.cfg.Click && live && !p.Free && !p.Echo
	listening, stop := context.WithCancel(ctx)
	defer stop()
	if clicking {
		beats := beatsFrom(p, 0, p.Score.Length().Float(), lead)
		r.keyboard.Level = r.cfg.Level()
		sound := r.keyboard.Clicks(beats, length+lead)
		go func() { clicks <- r.out.Write(listening, sound) }()
	}
	take, samples, err = ear.ListenLine(ctx, window, func(h Heard) { r.emit(h) })
	stop()
	if clicking {
		if e := <-clicks; e != nil && !errors.Is(e, context.Canceled) && err == nil {
			err = fmt.Errorf("play: %w", e)
		}
	}
	if err != nil {
		return take, nil, 0, fmt.Errorf("listen to answer %d: %w", p.Index, err)
	}
	return take, samples, downbeat, nil
}

// countIn counts one bar, or two where the bar has at most two beats, and what
// an incomplete first bar lacks. The window opens lead seconds before the line
// begins; what comes back is that place in the take.
func (r *lineRun) countIn(ctx context.Context, p LinePrompted, src audio.Source, live bool) (int64, error) {
	meter := p.Score.Meter
	if !meter.Valid() {
		meter = theory.Meter{Beats: 4, Unit: 4}
	}
	bar := meter.Bar().Float()
	count := bar
	if meter.Pulses() <= 2 {
		count = 2 * bar
	}
	if start := p.Score.Start; start.Num > 0 {
		count += bar - start.Float()
	}
	pulse := meter.Pulse().Float()
	var beats []synth.Beat
	for at := 0.0; at < count-1e-9; at += pulse {
		beats = append(beats, synth.Beat{At: at * p.Quarter, Strong: onBar(at, bar)})
	}
	r.emit(CountIn{len(beats), p.Tempo})
	r.keyboard.Level = r.cfg.Level()
	samples := r.keyboard.Clicks(beats, count*p.Quarter-lead)
	r.seconds += count * p.Quarter
	if err := r.out.Write(ctx, samples); err != nil {
		return 0, fmt.Errorf("play: %w", err)
	}
	if err := r.out.Drain(ctx); err != nil {
		return 0, fmt.Errorf("play: %w", err)
	}
	if s, ok := src.(Skipper); ok && live {
		s.Skip()
	}
	return int64(lead * float64(src.SampleRate())), nil
}

// onBar tells whether a place lies on a bar line.
func onBar(at, bar float64) bool {
	bars := at / bar
	return bars-float64(int(bars+0.5)) < 1e-9 && float64(int(bars+0.5))-bars < 1e-9
}

// beatsFrom returns the beats of the line between two places in quarter notes,
// after shift seconds.
func beatsFrom(p LinePrompted, from, to, shift float64) []synth.Beat {
	meter, changes := p.Score.Meter, p.Score.Changes
	if !meter.Valid() {
		meter = theory.Meter{Beats: 4, Unit: 4}
	}
	origin := 0.0 // of the bars
	if start := p.Score.Start; start.Num > 0 {
		origin = start.Float() - meter.Bar().Float()
	}
	var beats []synth.Beat
	for at := origin; at < to-1e-9; {
		for len(changes) > 0 && changes[0].At.Float() <= at+1e-9 {
			if changes[0].Meter.Valid() {
				meter, origin = changes[0].Meter, changes[0].At.Float()
			}
			changes = changes[1:]
		}
		if at >= from-1e-9 {
			beats = append(beats, synth.Beat{At: at*p.Quarter + shift, Strong: onBar(at-origin, meter.Bar().Float())})
		}
		at += meter.Pulse().Float()
	}
	return beats
}

// ListenLine opens a window for a whole line now; otherwise as Listen. It returns
// the samples that were heard, too; what was lost is silence in them.
func (e *Ear) ListenLine(ctx context.Context, w exercise.PhraseWindow, heard func(Heard)) (exercise.PhraseTake, []float64, error) {
	e.tracker.Reset()
	attempt, err := exercise.NewPhraseAttempt(e.config, w)
	if err != nil {
		return exercise.PhraseTake{}, nil, fmt.Errorf("listen: %w", err)
	}
	meter := newHeardMeter(e.config, heard)
	var samples []float64
	for {
		n, lost, err := e.src.Read(ctx, e.block)
		e.points = e.points[:0]
		if lost > 0 {
			e.points = e.tracker.Lost(e.points, lost)
			samples = append(samples, make([]float64, min(lost, maxLost))...)
		}
		samples = append(samples, e.block[:n]...)
		e.points = e.tracker.Push(e.points, e.block[:n])
		if errors.Is(err, io.EOF) {
			e.points = e.tracker.Flush(e.points)
		}
		if attempt.Push(e.points) || errors.Is(err, io.EOF) {
			return attempt.Close(), samples, nil
		}
		if len(samples) > maxLine*e.config.SampleRate {
			return attempt.Close(), samples, fmt.Errorf("the line is longer than %d minutes", maxLine/60)
		}
		for _, p := range e.points {
			meter.push(p)
		}
		if err != nil {
			return attempt.Close(), samples, err
		}
	}
}

// What a line may take at most: samples lost at once, and seconds.
const (
	maxLost = 1 << 20
	maxLine = 1800
)

// heardMeter tells the level, and the pitch of the moment, ten times a second.
type heardMeter struct {
	heard        func(Heard)
	frames, each int
	level        float64
}

func newHeardMeter(cfg pitch.Config, heard func(Heard)) *heardMeter {
	return &heardMeter{heard: heard, each: max(1, cfg.SampleRate/10/cfg.Hop), level: pitch.MinLevel}
}

func (m *heardMeter) push(p pitch.Point) {
	m.level = max(m.level, p.Level)
	if m.frames++; m.heard != nil && m.frames%m.each == 0 {
		m.heard(Heard{Level: m.level, Singing: p.Voiced, F0: p.F0})
		m.level = pitch.MinLevel
	}
}
