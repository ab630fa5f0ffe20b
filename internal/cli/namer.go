package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/session"
)

// namer asks the singer to name what was heard: on a screen, as typed lines, or
// a simulated listener.
type namer struct {
	rig       *rig
	simulated bool
	seed      uint64
	known     []exercise.Skill // what the simulated listener takes things for
	asked     int
}

// newNamer returns a namer for a rig.
func newNamer(r *rig, seed uint64) *namer {
	s, simulated := r.stage.answers.(simulated)
	n := &namer{rig: r, simulated: simulated, seed: seed}
	if simulated && s.paced && !r.stage.silent {
		n.simulated = false // a person at the screen hears it and may try
	}
	return n
}

// What a singer may type instead of a name.
const giveUp = "?"

// name asks once. An empty line is a wish to hear it again.
func (n *namer) name(ctx context.Context, d compose.Dictation) (names []exercise.Skill, again bool, seconds float64, err error) {
	n.asked++
	if n.simulated {
		names, again, seconds, err = n.simulate(d)
		if n.rig.stage.watched && err == nil {
			err = n.rig.env.wait(ctx, time.Duration(seconds*float64(time.Second)))
		}
		return names, again, seconds, err
	}
	read := func(text string) error {
		if names = nil; strings.TrimSpace(text) == "" || strings.Contains(text, giveUp) {
			return nil // ? gives up, whatever stands before it
		}
		names, err = d.Read(text, n.rig.style.Names)
		return err
	}
	begun := n.rig.env.clock()
	var text string
	switch {
	case n.rig.ask.Type != nil:
		text, err = n.rig.ask.Type(ctx, "type "+n.wanted(d)+", then Enter", read)
	case n.rig.keys != nil:
		fmt.Fprintf(n.rig.env.stderr, "Type %s, then Enter. Empty: hear it again; %s: give up.\n", n.wanted(d), giveUp)
		for {
			if text, err = n.rig.keys.line(ctx); err != nil {
				break
			}
			problem := read(text)
			if problem == nil {
				break
			}
			fmt.Fprintln(n.rig.env.stderr, problem)
		}
	default:
		return nil, false, 0, errEnough // nobody can answer
	}
	if err != nil {
		return nil, false, 0, err
	}
	if text = strings.TrimSpace(text); text == "" {
		return nil, true, 0, nil
	}
	return names, false, n.rig.env.clock().Sub(begun).Seconds(), nil
}

// wanted says what is to be typed, and for qualities which there are.
func (n *namer) wanted(d compose.Dictation) string {
	if d.Of == exercise.BassSkill {
		if len(d.Chords) == 1 {
			return "its degree"
		}
		return fmt.Sprintf("the %d degrees", len(d.Chords))
	}
	what := "its quality"
	if len(d.Chords) > 1 {
		what = fmt.Sprintf("the %d qualities", len(d.Chords))
	}
	var choices []string
	for _, q := range compose.Qualities() {
		s := exercise.Skill{Kind: exercise.QualitySkill, Chord: q}
		if slices.Contains(n.known, s) || slices.Contains(d.Skills(), s) {
			choices = append(choices, q)
		}
	}
	return what + " (" + strings.Join(choices, " ") + ")"
}

// simulate names most of it right, after a while.
func (n *namer) simulate(d compose.Dictation) ([]exercise.Skill, bool, float64, error) {
	rng := rand.New(rand.NewPCG(n.seed, uint64(n.asked)+0x6e616d65))
	if rng.Float64() < 0.1 && n.asked%2 == 1 {
		return nil, true, 0, nil
	}
	names := d.Skills()
	for i := range names {
		if rng.Float64() < 0.2 && len(n.known) > 0 {
			names[i] = n.known[rng.IntN(len(n.known))]
		}
	}
	return names, false, 2 + 6*rng.Float64(), nil
}

// The events of dictations with --format json.
type (
	dictationEvent struct {
		Event  string `json:"event"` // "dictation"
		Index  int    `json:"index"`
		Of     int    `json:"of"`   // 0 in today
		Kind   string `json:"kind"` // "bass" or "quality"
		Key    string `json:"key"`
		Chords int    `json:"chords"` // that are heard
		Again  bool   `json:"again"`  // played once more
	}
	namedEvent struct {
		Event    string   `json:"event"` // "named"
		Index    int      `json:"index"`
		Kind     string   `json:"kind"`
		Key      string   `json:"key"`
		Chords   string   `json:"chords"` // as Roman numerals
		Asked    []string `json:"asked"`  // degrees counted from the major scale, or qualities
		Named    []string `json:"named"`  // empty: given up
		Right    []bool   `json:"right"`
		AnswerS  float64  `json:"answer_s"` // from the end of the sound to the names
		Again    bool     `json:"again"`    // it was heard more than once
		Feedback string   `json:"feedback"`
		Hidden   bool     `json:"hidden"`
	}
)

func newNamedEvent(e session.Named) namedEvent {
	ev := namedEvent{
		"named", e.Index, e.Dictation.Of.String(), e.Dictation.Key.ASCII(), e.Dictation.Material(), []string{}, []string{}, e.Right,
		float64(time.Duration(e.Answer*float64(time.Second)).Round(10*time.Millisecond)) / float64(time.Second), e.Again, e.Feedback.String(), e.Hidden,
	}
	for _, s := range e.Dictation.Skills() {
		ev.Asked = append(ev.Asked, nameOf(s))
	}
	for _, s := range e.Names {
		ev.Named = append(ev.Named, nameOf(s))
	}
	return ev
}

// record writes an event of lines or dictations.
func (l *jsonLog) record(v any) { _ = json.NewEncoder(l.out).Encode(v) } // out keeps the error
