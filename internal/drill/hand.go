package drill

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
)

// Then what was sung may be played.
const ThenPlay = "play"

// readThen reads what comes after what was sung.
func (o *Manner) readThen(p *Plan) error {
	if o.Then != "" && o.Then != ThenPlay {
		return wrongf("--then: %q: want play", plain.Short(o.Then))
	}
	p.hand = o.Then == ThenPlay
	return nil
}

// HandToo reports whether what was sung is then played.
func (p *Plan) HandToo() bool { return p.hand }

// PlayedBack reports whether the plan is a dictation that is played back.
func (p *Plan) PlayedBack() bool { return p.played }

// OneByOne reports whether what is played are notes, which a microphone can hear, and
// not chords.
func (p *Plan) OneByOne() bool { return !p.chords }

// Striking plays so many notes or chords from now on, and returns them.
type Striking func(ctx context.Context, count int, chords bool) ([]exercise.Strike, error)

// hands is who plays what was sung; nil: nobody.
func (r *Run) hands() session.Hand {
	if !r.Plan.hand {
		return nil
	}
	return r
}

// Keyed reports whether a keyboard tells which keys are struck.
func (r *Run) Keyed() bool {
	_, simulated := r.Answers.(*Simulated)
	return simulated || r.Keys != nil
}

// HandKeys returns the keys that were struck.
func (r *Run) HandKeys(ctx context.Context, asked *session.HandAsked) ([]exercise.Strike, error) {
	if s, ok := r.Answers.(*Simulated); ok && r.Keys == nil {
		strikes := s.hand(asked)
		if n := len(strikes); r.Watched && n > 0 {
			return strikes, r.still(ctx, strikes[n-1].At)
		}
		return strikes, nil
	}
	return r.Keys(ctx, len(asked.Asked), false)
}

// HandSource returns what hears the instrument.
func (r *Run) HandSource(asked *session.HandAsked) (audio.Source, bool, error) {
	return r.Answers.HandSource(asked)
}

// hand strikes most of it right.
func (s *Simulated) hand(asked *session.HandAsked) []exercise.Strike {
	s.Played++
	rng := rand.New(rand.NewPCG(s.Singer.Seed, uint64(s.Played)+0x68616e64))
	var out []exercise.Strike
	at := 0.8 + rng.Float64()
	for _, a := range asked.Asked {
		key := int(math.Round(69 + 12*math.Log2(a.Hz/asked.Item.Tuning.A4)))
		if rng.IntN(5) == 0 {
			key += 1 + rng.IntN(2)
		}
		out = append(out, exercise.Strike{Keys: []int{key}, At: at, Length: 0.6})
		at += 0.8 + 0.4*rng.Float64()
	}
	return out
}

// Handed is what was played of what was sung, for its text.
func Handed(h *session.HandStruck) *report.Handed {
	r := &report.Handed{Key: h.Item.Key, Sung: h.Sung, Back: h.Back, Keyed: h.Keyed, Strikes: h.Strikes, Reason: h.Reason, Level: h.Level}
	for _, a := range h.Asked {
		r.Asked = append(r.Asked, a.Degree)
	}
	return r
}

// handAnswers are those of what was played, one for each degree. Their material says
// what was sung.
func handAnswers(h *session.HandStruck) []practice.Answer {
	out := make([]practice.Answer, len(h.Asked))
	for i := range out {
		a, o := &out[i], h.Outcome(i)
		a.Index, a.Attempt, a.Feedback, a.Material = h.Index, 1, h.Feedback, "sung -"
		a.Skill = exercise.Skill{Kind: exercise.HandSkill, Degree: h.Asked[i].Degree}
		a.Item, a.Tolerance.Cents = *h.Item, exercise.DefaultTolerance
		a.Item.Asked, a.Item.From, a.Item.Move = h.Asked[i].Degree, nil, exercise.Within
		a.Verdict.Outcome, a.Verdict.Reason, a.Verdict.Answer = o, h.Reason, h.Back.Onset
		a.Counts = o != exercise.NotMeasured && o != exercise.Ambiguous
		if s := &h.Sung[i]; *s != (exercise.Skill{}) {
			a.Material = "sung " + s.Degree.ASCII()
		}
		if d, ok := h.Struck(i); ok {
			a.Named = d.ASCII()
		}
	}
	return out
}

// The events of what is played, as programs read them.
type (
	handEvent struct {
		Event string `json:"event"` // "hand"
		Index int    `json:"index"`
		By    string `json:"by"` // "keys" or "instrument"
	}
	struckEvent struct {
		Event   string              `json:"event"` // "struck"
		Index   int                 `json:"index"`
		Key     string              `json:"key"`
		By      string              `json:"by"`
		Notes   []report.StruckNote `json:"notes"` // one for each degree asked
		Added   []string            `json:"added"` // degrees struck beside them
		AnswerS *float64            `json:"answer_s"`
		Reason  *string             `json:"reason"`
		Hidden  bool                `json:"hidden"`
		Played  []report.PlayedPart `json:"played,omitempty"` // each strike, of a keyboard
	}
)

// handBy is the word for who tells what was struck.
func handBy(keyed bool) string {
	if keyed {
		return "keys"
	}
	return "instrument"
}

func struckRecord(h *session.HandStruck) *struckEvent {
	ev := &struckEvent{
		Event: "struck", Index: h.Index, Key: h.Item.Key.ASCII(), By: handBy(h.Keyed), Notes: report.NewStruck(Handed(h)),
		Added: []string{}, Hidden: h.Hidden,
	}
	for _, d := range h.Back.Added {
		ev.Added = append(ev.Added, d.ASCII())
	}
	if h.Reason != exercise.NoReason {
		reason := h.Reason.String()
		ev.Reason = &reason
		return ev
	}
	answer := math.Round(100*h.Back.Onset) / 100
	ev.AnswerS = &answer
	if h.Keyed {
		ev.Played = report.NewPlayedBack(h.Strikes, nil)
	}
	return ev
}

// questions is how many questions so many recordings answer; a number that cannot
// answer twice is refused.
func (o *Manner) questions(n int) (int, error) {
	if o.Then != ThenPlay || o.Keyed {
		return n, nil
	}
	if n%2 == 1 {
		return 0, wrongf("--then play: %s given, want two for each question: what was sung, then what was played", report.Many(n, "recording"))
	}
	return n / 2, nil
}

// ErrNoChords says why chords are not heard.
var ErrNoChords = errors.New("chords are not told apart through the microphone: plug in a MIDI keyboard, or name its file with --keys PATH")
