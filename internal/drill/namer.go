package drill

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
)

// namer has what was heard named: by whoever types, or by a simulated listener.
type namer struct {
	run   *Run
	known []exercise.Skill // what the simulated listener takes things for
	asked int
}

// GiveUp is what a singer may type instead of a name.
const GiveUp = "?"

// simulated reports whether a simulated listener names things. A person at the screen
// hears them and may try.
func (n *namer) simulated() bool {
	return n.run.Answers.Kind() == BySimulation && (!n.run.Watched || n.run.Silent)
}

// Name asks once. An empty line is a wish to hear it again.
func (n *namer) Name(ctx context.Context, d compose.Dictation) (names []exercise.Skill, again bool, seconds float64, err error) {
	n.asked++
	if n.simulated() {
		names, again, seconds = n.simulate(d)
		if n.run.Watched {
			err = n.run.still(ctx, seconds)
		}
		return names, again, seconds, err
	}
	begun := n.run.Clock()
	text, err := n.run.Person.Type(ctx, n.wanted(d), func(text string) error {
		if names = nil; strings.TrimSpace(text) == "" || strings.Contains(text, GiveUp) {
			return nil // ? gives up, whatever stands before it
		}
		names, err = d.Read(text, n.run.Style.Names)
		return err
	})
	if err != nil {
		return nil, false, 0, err
	}
	if text = strings.TrimSpace(text); text == "" {
		return nil, true, 0, nil
	}
	return names, false, n.run.Clock().Sub(begun).Seconds(), nil
}

// wanted says what is to be typed, and for qualities which there are.
func (n *namer) wanted(d compose.Dictation) Wanted {
	w := Wanted{Count: len(d.Chords)}
	may := func(s exercise.Skill) bool { return slices.Contains(n.known, s) || slices.Contains(d.Skills(), s) }
	if d.Of == exercise.BassSkill {
		if w.Text = "its degree"; w.Count > 1 {
			w.Text = fmt.Sprintf("the %d degrees", w.Count)
		}
		for _, degree := range d.Key.ChromaticDegrees() {
			if may(exercise.Skill{Kind: exercise.BassSkill, Degree: degree}) {
				w.Words = append(w.Words, n.run.Style.Degree(d.Key, degree))
			}
		}
		for _, s := range slices.Concat(d.Skills(), n.known) { // as they are spelled in the course, like se beside fi
			if name := n.run.Style.Degree(d.Key, s.Degree); s.Kind == exercise.BassSkill && !slices.Contains(w.Words, name) {
				w.Words = append(w.Words, name)
			}
		}
		return w
	}
	if w.Text = "its quality"; w.Count > 1 {
		w.Text = fmt.Sprintf("the %d qualities", w.Count)
	}
	for _, q := range compose.Qualities() {
		if may(exercise.Skill{Kind: exercise.QualitySkill, Chord: q}) {
			w.Words = append(w.Words, q)
		}
	}
	w.Text += " (" + strings.Join(w.Words, " ") + ")"
	return w
}

// simulate names most of it right, after a while.
func (n *namer) simulate(d compose.Dictation) ([]exercise.Skill, bool, float64) {
	rng := rand.New(rand.NewPCG(n.run.Plan.Seed, uint64(n.asked)+0x6e616d65))
	if rng.Float64() < 0.1 && n.asked%2 == 1 {
		return nil, true, 0
	}
	names := d.Skills()
	for i := range names {
		if rng.Float64() < 0.2 && len(n.known) > 0 {
			names[i] = n.known[rng.IntN(len(n.known))]
		}
	}
	return names, false, 2 + 6*rng.Float64()
}
