package drill

import (
	"context"
	"math/rand/v2"
	"slices"
	"time"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// Kind is what answers.
type Kind string

// What can answer; the words are those of the record.
const (
	ByMicrophone Kind = "mic"
	ByRecording  Kind = "recording"
	BySimulation Kind = "simulated"
	ByTyping     Kind = "typed"
	ByKeys       Kind = "keys"
)

// Answers is what answers. Its sources are those of [session.DegreeSinger],
// [session.LineSinger], [session.BackSinger] and [session.Hand].
type Answers interface {
	Kind() Kind
	Source(p session.Prompted) (src audio.Source, live bool, err error)
	LineSource(p session.LinePrompted, lead float64) (src audio.Source, live bool, err error)
	BackSource(d session.Dictation, index, attempt int) (src audio.Source, live bool, err error)
	HandSource(asked *session.HandAsked) (src audio.Source, live bool, err error)
}

// Microphone answers everything with a running microphone.
type Microphone struct{ Live audio.Source }

// Kind returns ByMicrophone.
func (Microphone) Kind() Kind { return ByMicrophone }

// Source returns the microphone.
func (m Microphone) Source(session.Prompted) (audio.Source, bool, error) { return m.Live, true, nil }

// LineSource returns the microphone.
func (m Microphone) LineSource(session.LinePrompted, float64) (audio.Source, bool, error) {
	return m.Live, true, nil
}

// BackSource returns the microphone.
func (m Microphone) BackSource(session.Dictation, int, int) (audio.Source, bool, error) {
	return m.Live, true, nil
}

// HandSource returns the microphone.
func (m Microphone) HandSource(*session.HandAsked) (audio.Source, bool, error) {
	return m.Live, true, nil
}

// Typing is somebody who types and does not sing.
type Typing struct{}

// Kind returns ByTyping.
func (Typing) Kind() Kind { return ByTyping }

// Source has nothing to answer with.
func (Typing) Source(session.Prompted) (audio.Source, bool, error) {
	return nil, false, session.ErrNoMore
}

// LineSource has nothing to answer with.
func (Typing) LineSource(session.LinePrompted, float64) (audio.Source, bool, error) {
	return nil, false, session.ErrNoMore
}

// BackSource has nothing to answer with.
func (Typing) BackSource(session.Dictation, int, int) (audio.Source, bool, error) {
	return nil, false, session.ErrNoMore
}

// HandSource has nothing to answer with.
func (Typing) HandSource(*session.HandAsked) (audio.Source, bool, error) {
	return nil, false, session.ErrNoMore
}

// Keyboard is a keyboard that is played on.
type Keyboard struct {
	Typing // it sings nothing
	// Play returns so many notes or chords that were struck from now on.
	Play Striking
}

// Kind returns ByKeys.
func (Keyboard) Kind() Kind { return ByKeys }

// Struck returns what was struck.
func (k Keyboard) Struck(ctx context.Context, d session.Dictation) ([]exercise.Strike, error) {
	return k.Play(ctx, len(d.Dictation.Chords), d.Dictation.Of != exercise.BassSkill)
}

// Hands sing with one thing and play on a keyboard.
type Hands struct {
	Answers
	Keyboard Keyboard
}

// Struck returns what was struck.
func (h Hands) Struck(ctx context.Context, d session.Dictation) ([]exercise.Strike, error) {
	return h.Keyboard.Struck(ctx, d)
}

// Recordings answer the n-th question with the n-th recording.
type Recordings struct {
	Count int
	Open  func(n int) (audio.Source, error) // from 0
	Pairs bool                              // two for each question: what was sung, then what was played
}

// Kind returns ByRecording.
func (*Recordings) Kind() Kind { return ByRecording }

// Source opens the recording for a question.
func (r *Recordings) Source(p session.Prompted) (audio.Source, bool, error) {
	return r.open(p.Index, p.Attempt)
}

// LineSource opens the recording for a line.
func (r *Recordings) LineSource(p session.LinePrompted, _ float64) (audio.Source, bool, error) {
	return r.open(p.Index, p.Attempt)
}

// HandSource opens the recording of what was played.
func (r *Recordings) HandSource(asked *session.HandAsked) (audio.Source, bool, error) {
	if 2*asked.Index > r.Count {
		return nil, false, session.ErrNoMore
	}
	src, err := r.Open(2*asked.Index - 1)
	return src, false, err
}

// BackSource opens the recording for what is sung back.
func (r *Recordings) BackSource(_ session.Dictation, index, attempt int) (audio.Source, bool, error) {
	return r.open(index, attempt)
}

func (r *Recordings) open(index, attempt int) (audio.Source, bool, error) {
	if r.Pairs {
		index = 2*index - 1
	}
	if attempt > 1 || index > r.Count {
		return nil, false, session.ErrNoMore
	}
	src, err := r.Open(index - 1)
	return src, false, err
}

// Simulated answers with the simulated singer.
type Simulated struct {
	Singer synth.Singer
	Pace   func(context.Context, time.Duration) error // waits, so as to sing no faster than a person; nil: at once
	Lines  int                                        // of a series that it has sung: each sounds a little otherwise
	Played int                                        // answers that it has played
}

// NewSimulated returns a simulated singer whose voice lies where the prompts of a plan
// do.
func NewSimulated(p *Plan, sampleRate int) *Simulated {
	return &Simulated{Singer: synth.Singer{Voice: synth.Voice{SampleRate: sampleRate, Type: voiceFor(p.Item)}, Seed: p.Seed}}
}

// Kind returns BySimulation.
func (*Simulated) Kind() Kind { return BySimulation }

// voiceFor chooses a model voice that lies where the prompts do.
func voiceFor(it exercise.Item) synth.VoiceType {
	tonic := theory.Pitch{Note: it.Key.Tonic, Octave: it.Register.TonicOctave}
	switch m := tonic.MIDI(); {
	case m < 46:
		return synth.Bass
	case m < 54:
		return synth.Tenor
	case m < 62:
		return synth.Alto
	}
	return synth.Soprano
}

// Source returns the answer to a question.
func (s *Simulated) Source(p session.Prompted) (audio.Source, bool, error) {
	it := p.Item
	above := it.Tuning.Cents(it.Asked)
	scale := it.Key.ScaleDegrees()
	// The nearest degrees of the scale on both sides, as distances in cents.
	lower, upper := theory.Cents(-1200), theory.Cents(1200)
	for _, d := range scale {
		for _, octave := range []theory.Cents{-1200, 0, 1200} {
			off := it.Tuning.Cents(d) + octave - above
			if off < 0 {
				lower = max(lower, off)
			} else if off > 0 {
				upper = min(upper, off)
			}
		}
	}
	hz := it.Hz(p.Target)
	return s.paced(s.Singer.Answer(synth.Ask{
		Hz: hz, Below: theory.Shift(hz, lower), Above: theory.Shift(hz, upper),
		Item: p.Index, Attempt: p.Attempt - 1,
	})), false, nil
}

// LineSource returns a line as it is sung.
func (s *Simulated) LineSource(p session.LinePrompted, lead float64) (audio.Source, bool, error) {
	if lead == 0 {
		lead = 0.6
	}
	line := synth.Line(p.ToSing(), p.Tuning, p.Quarter)
	return s.paced(s.Singer.Line(line, lead, p.Index+100*s.Lines)), false, nil
}

// BackSource returns the bass as it is sung back, in the singer's register.
func (s *Simulated) BackSource(d session.Dictation, index, _ int) (audio.Source, bool, error) {
	const length = 0.9 // seconds of a note
	it := d.Item
	var line []synth.Timed
	for i, skill := range d.Dictation.Skills() {
		it.Asked = skill.Degree
		p, _ := it.Target()
		line = append(line, synth.Timed{Hz: it.Hz(p), Start: length * float64(i), Duration: length, Key: it.Key, Pitch: p})
	}
	return s.paced(s.Singer.Line(line, 0.6, index)), false, nil
}

// HandSource has nothing: a simulated hand strikes keys.
func (s *Simulated) HandSource(*session.HandAsked) (audio.Source, bool, error) {
	return nil, false, session.ErrNoMore
}

// Struck plays most of it right.
func (s *Simulated) Struck(_ context.Context, d session.Dictation) ([]exercise.Strike, error) {
	s.Played++
	rng := rand.New(rand.NewPCG(s.Singer.Seed, uint64(s.Played)+0x6b657973))
	var out []exercise.Strike
	at := 0.8 + rng.Float64()
	for _, v := range d.Dictation.Voices {
		strike := exercise.Strike{At: at, Length: 0.6}
		for _, p := range v {
			strike.Keys = append(strike.Keys, p.MIDI())
		}
		slices.Sort(strike.Keys)
		off := 0
		if rng.IntN(5) == 0 {
			off = 1 + rng.IntN(2)
		}
		if d.Dictation.Of == exercise.BassSkill {
			strike.Keys = strike.Keys[:1]
			strike.Keys[0] += off
		} else if off > 0 {
			strike.Keys[len(strike.Keys)-1] += off
		}
		out = append(out, strike)
		at += 0.8 + 0.4*rng.Float64()
	}
	return out, nil
}

func (s *Simulated) paced(src audio.Source) audio.Source {
	if s.Pace == nil {
		return src
	}
	return audio.NewPaced(src, s.Pace)
}
