package session

import (
	"context"
	"fmt"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/theory"
)

// Line is the task to sing a written line: read at sight, or heard and sung back. It
// is graded as a whole.
type Line struct {
	Melody compose.SightMelody // its score in the octave in which it is to be sung
	Tuning theory.Tuning
	// Tempo is in beats (Meter.Pulse) a minute, for a score without one.
	Tempo float64
	Study float64 // seconds to read the line in silence, before the key is set
	Hear  bool    // the line is played before it is sung, in its time
	Free  bool    // the singer's own tempo: there is no count-in
	Click bool    // the beat goes on clicking while the singer sings
	// Beside is what sounds while the singer sings, from the first beat on, so many seconds
	// a quarter note, at the level of the keyboard; nil: nothing.
	Beside   func(k synth.Keyboard, t theory.Tuning, quarter float64) []float64
	Band     *Band   // plays while it is sung, from the first bar on; nil: none
	Counting         // how it is counted in
	Echo     bool    // the line is played instead of read
	Gap      float64 // seconds between the playing and the singing of an Echo
	Silent   []bool  // of the score's notes those that are heard inwardly; nil: none
	Bars     []int   // the numbers of the bars that they are in
	Rules    grade.Rules
	Hand     Hand // who plays the line once it has been sung; nil: nobody
	Feedback practice.Feedback

	Singer LineSinger
}

// LineSinger is who sings lines.
type LineSinger interface {
	// LineSource returns what answers a line; see [DegreeSinger]. lead is how long, in
	// seconds after its first sample, the first beat comes for which everything waits.
	LineSource(p LinePrompted, lead float64) (src audio.Source, live bool, err error)
	// Read waits while a line is studied, or as long as the singer needs.
	Read(ctx context.Context, seconds float64) error
	// Again is asked when a line has been sung and graded; true has it sung again.
	Again(ctx context.Context, sung LineSung) (again bool, err error)
}

// LinePrompted tells that a line is to be read. It comes before the study, or
// before an Echo is played.
type LinePrompted struct {
	Index, Of  int // 1-based; Of is 0 where the number of tasks is not known
	Attempt    int // at the line, 1 …
	Melody     compose.SightMelody
	Tuning     theory.Tuning
	Tempo      float64 // beats a minute
	Quarter    float64 // seconds of a quarter note at that tempo
	Study      float64 // seconds
	Free       bool
	Echo       bool
	InTime     bool   // it is sung on a beat that is heard, an Echo too
	Swing      bool   // its halves of beats are swung
	Silent     []bool // as in Line, and the numbers of their bars
	SilentBars []int
	Feedback   practice.Feedback
}

// ToSing is what is to be sung: rests stand for what is heard inwardly.
func (p *LinePrompted) ToSing() theory.Score { return grade.Without(p.score(), p.Silent) }

// score is the line as it sounds.
func (p *LinePrompted) score() theory.Score {
	if p.Swing {
		return p.Melody.Score.Swung()
	}
	return p.Melody.Score
}

// CountIn tells that the beat is being counted: so many beats come before the
// singer does. It comes before the sound.
type CountIn struct {
	Beats int
	Tempo float64
	Sung  bool // on do, by a voice
	Call  bool // and then comes a phrase to sing back
}

// PlayingLine tells that an Echo, or a line to Hear, is being played.
type PlayingLine struct{ Score theory.Score }

// LineSung carries what was heard of a line, and its grade.
type LineSung struct {
	LinePrompted
	Take exercise.PhraseTake
	// Samples are what was heard: Take.Heard of them, or where a recording ended
	// within a frame, up to one frame less.
	Samples []float64
	// Due is when the line should have begun, in seconds of the take; HasDue is
	// false where the singer chose.
	Due    float64
	HasDue bool

	// Own is how loud the microphone heard what sounded meanwhile, in dBFS, 0 where
	// that was not measured. Masked tells that it was too loud beside the voice.
	Own    float64
	Masked bool

	Model   grade.Line // of what was due
	Gaps    []grade.Gap
	Sung    grade.Performance
	Grade   grade.Grading
	Rules   grade.Rules
	Outcome exercise.Outcome // RightAnswer if it was passed, else WrongAnswer; NotMeasured

	Hidden  bool    // the singer is not told, it is only noted
	Seconds float64 // of sound played and heard in the run up to it
}

func (LinePrompted) event() {}
func (CountIn) event()      {}
func (PlayingLine) event()  {}
func (LineSung) event()     {}

// Heard reports whether a voice was heard.
func (s LineSung) Heard() bool { return len(s.Sung.Notes) > 0 }

// Counts reports whether the line was heard whole.
func (s LineSung) Counts() bool { return s.Heard() && !s.Take.Lost && !s.Masked }

// Entry returns how many seconds after its time the first note began; false where
// that is not known.
func (s LineSung) Entry() (seconds float64, ok bool) {
	if !s.HasDue || len(s.Grade.Notes) == 0 || s.Grade.Notes[0].Answer.Count == 0 {
		return 0, false
	}
	return s.Grade.Notes[0].Onset - s.Due - s.Model.Notes[0].Onset*s.Quarter, true
}

// Weakest returns the interval to practise, between two different degrees of one
// key; false if there is none.
func (s LineSung) Weakest() (pair [2]theory.Degree, ok bool) {
	w := s.Grade.Weakest
	if w == nil || s.Model.Degrees == nil {
		return pair, false
	}
	pair = [2]theory.Degree{s.Model.Degrees[w.From], s.Model.Degrees[w.To]}
	return pair, pair[0] != pair[1]
}

// lead is how long before the first beat the window opens: a singer may be early.
const lead = 0.15

// hush is how long, in seconds, a live source is listened to before a line, to learn
// what the room sounds like: 0.4 s of frames, and what the tracker needs around them.
const hush = 0.6

// Skill returns the level of the melody.
func (l Line) Skill() exercise.Skill {
	return exercise.Skill{Kind: exercise.MelodySkill, Level: l.Melody.Level}
}

// Do has the line read, or played, and sung, as often as the singer wants to.
func (l Line) Do(ctx context.Context, t *Turn) error {
	for attempt := 1; ; attempt++ {
		p := l.prompted(t, attempt)
		t.Emit(p)
		sung, err := l.sing(ctx, t, p)
		if err != nil {
			return err
		}
		if err := l.grade(ctx, t, &sung); err != nil {
			return err
		}
		if sung.Outcome != exercise.NotMeasured {
			t.Tally.AddLine(sung.Outcome.IsRight())
		}
		t.Emit(sung)
		t.Sung(sung.Take.Voiced)
		if l.Hand != nil {
			if err := l.hand(ctx, t, &sung); err != nil {
				return err
			}
		}
		if again, err := l.Singer.Again(ctx, sung); err != nil || !again {
			return err
		}
	}
}

func (l Line) prompted(t *Turn, attempt int) LinePrompted {
	s := l.Melody.Score
	p := LinePrompted{
		Index: t.Index, Of: t.Count, Attempt: attempt, Melody: l.Melody, Tuning: l.Tuning,
		Tempo: l.Tempo, Study: l.Study, Free: l.Free, Echo: l.Echo, Silent: l.Silent, SilentBars: l.Bars, Feedback: l.Feedback,
		InTime: l.inTime(), Swing: l.Band != nil && l.Band.swings(s.Meter),
	}
	if s.Tempo > 0 {
		p.Tempo = s.Tempo
	}
	p.Quarter = 60 / p.Tempo / BeatOf(s)
	return p
}

// BeatOf is the beat of a score in quarter notes.
func BeatOf(s theory.Score) float64 {
	if s.Meter.Valid() {
		return s.Meter.Pulse().Float()
	}
	return 1
}

// sing has the line read, or played, and sung once.
func (l Line) sing(ctx context.Context, t *Turn, p LinePrompted) (sung LineSung, err error) {
	s := l.Melody.Score
	if !p.Echo && p.Study > 0 {
		if err := l.Singer.Read(ctx, p.Study); err != nil {
			return sung, err
		}
	}
	tonic := tonicOf(s)
	again := t.keySet && t.key == s.Key
	if err := t.setKey(ctx, KeySet{Key: s.Key, Tuning: l.Tuning, Tonic: tonic, Again: again}); err != nil {
		return sung, err
	}
	if p.Echo && !p.InTime || l.Hear {
		t.Emit(PlayingLine{s})
		line := synth.Line(p.score(), l.Tuning, p.Quarter)
		if err := t.line(ctx, line, synth.PhraseOf(line)); err != nil {
			return sung, err
		}
	}
	before := 0.0
	if p.InTime {
		before = lead
	}
	under, sounds, err := t.sounding(s.Key, l.Tuning, tonic.Octave)
	if err != nil {
		return sung, err
	}
	src, live, err := l.Singer.LineSource(p, before)
	if err != nil {
		return sung, err
	}
	sung = LineSung{LinePrompted: p, Rules: l.Rules}
	beside := l.beside(t, p, live)
	err = t.Answer(ctx, src, live, func(ear *listen.Ear) error {
		if before > 0 {
			sung.Due, sung.HasDue = lead+t.Delay, true
		}
		var err error
		if l.Band != nil || p.Echo && p.InTime {
			err = l.together(ctx, t, &sung, ear, live)
		} else if sounds {
			err = l.above(ctx, t, under, &sung, ear, live)
		} else if err = l.ready(ctx, t, p, ear, live); err == nil {
			err = l.hear(ctx, t, &sung, ear, live, beside)
		}
		t.heard(int64(len(sung.Samples)), src.SampleRate())
		if err == nil {
			err = l.listenAgain(ctx, t, &sung, ear)
		}
		return err
	})
	return sung, err
}

// tonicOf is where the key is set: the tonic nearest below the middle of the line.
func tonicOf(s theory.Score) theory.Pitch {
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

// ready lets the tool's own sound die away, learns what the room sounds like, and
// counts in.
func (l Line) ready(ctx context.Context, t *Turn, p LinePrompted, ear *listen.Ear, live bool) error {
	switch {
	case p.Echo:
		return t.Wait(ctx, ear, live, l.Gap)
	case live:
		if err := t.Wait(ctx, ear, live, hush); err != nil {
			return err
		}
	}
	return l.counted(ctx, t, p, ear, live)
}

// counted counts in, unless the singer begins when it suits.
func (l Line) counted(ctx context.Context, t *Turn, p LinePrompted, ear *listen.Ear, live bool) error {
	if p.Free || p.Echo {
		return nil
	}
	if err := l.countIn(ctx, t, p); err != nil {
		return err
	}
	if s, ok := ear.Source().(audio.Skipper); ok && live {
		s.Skip()
	}
	return nil
}

// hear opens the window for the line, beside which sounds what is beside it.
func (l Line) hear(ctx context.Context, t *Turn, sung *LineSung, ear *listen.Ear, live bool, beside []float64) error {
	p := sung.LinePrompted
	score := l.Melody.Score
	length := score.Length().Float() * p.Quarter
	window := exercise.NewPhraseWindow(length)
	if !p.InTime {
		window.Length = length / 2 // the singer may be faster
	}
	longest := l.longestSilence() * p.Quarter
	window.Pause, window.Timeout = window.Pause+longest, window.Timeout+longest
	if !live {
		window = window.Recorded()
	} else if l.Beside != nil { // who has rests beside others waits
		longest := longestRest(score) * p.Quarter
		window.Pause, window.Timeout = window.Pause+longest, window.Timeout+longest
	}
	t.Emit(Listening{t.Index})
	sounding := t.along(ctx, beside)
	var err error
	sung.Take, sung.Samples, err = ear.Line(ctx, window, t.meter)
	if live || err != nil {
		sounding.cut()
	}
	if e := sounding.join(); e != nil && err == nil {
		err = fmt.Errorf("play: %w", e)
	}
	if err != nil {
		return fmt.Errorf("listen to answer %d: %w", p.Index, err)
	}
	return nil
}

// listenAgain reads what was heard once more, as recordings are read: with what
// follows each moment known.
func (l Line) listenAgain(ctx context.Context, t *Turn, sung *LineSung, ear *listen.Ear) (err error) {
	heard := audio.NewSamples(sung.Take.SampleRate, sung.Samples)
	sung.Sung, err = listen.Take(ctx, heard, t.Hearing.Over(sung.Own), ear.Room())
	return err
}

// grade grades what was sung.
func (l Line) grade(ctx context.Context, t *Turn, sung *LineSung) (err error) {
	sung.Masked = sung.Masked || sung.masked()
	if l.Silent != nil {
		err = l.gradeGaps(sung)
	} else if sung.Model, err = grade.NewLine(sung.score(), l.Tuning); err == nil {
		sung.Grade, err = grade.Of(sung.Model, sung.Sung, l.Rules)
	}
	if err != nil {
		return err
	}
	if sung.Counts() {
		sung.Outcome = practice.LineOutcome(sung.Grade.Right, len(sung.Grade.Notes))
	}
	sung.Seconds = t.Seconds()
	sung.Hidden = !l.Feedback.Shows(exercise.Verdict{Outcome: sung.Outcome})
	return ctx.Err()
}

// onBar tells whether a place lies on a bar line.
func onBar(at, bar float64) bool {
	bars := at / bar
	return bars-float64(int(bars+0.5)) < 1e-9 && float64(int(bars+0.5))-bars < 1e-9
}

// beatsFrom returns the beats of a line between two places in quarter notes, of so
// many seconds each, after shift seconds.
func beatsFrom(s theory.Score, quarter, from, to, shift float64) []synth.Beat {
	meter, changes := s.Meter, s.Changes
	if !meter.Valid() {
		meter = theory.Meter{Beats: 4, Unit: 4}
	}
	origin := 0.0 // of the bars
	if start := s.Start; start.Num > 0 {
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
			beats = append(beats, accented(meter, at-origin, at*quarter+shift))
		}
		at += meter.Pulse().Float()
	}
	return beats
}
