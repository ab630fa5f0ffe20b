package drill

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/theory"
)

// namer has what was heard named: by whoever types, or by a simulated listener.
type namer struct {
	run   *Run
	known []exercise.Skill // what the simulated listener takes things for
	asked int
	style theory.Style // of a progression
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
	text, seconds, err := n.words(ctx, n.wanted(d), func(text string) error {
		if names = nil; text == "" {
			return nil
		}
		names, err = d.Read(text, n.run.Style.Names)
		return err
	})
	return names, err == nil && text == "", seconds, err
}

// words has something typed, that read takes: "" is a wish to hear it again, or gives up.
// It returns "" for the wish alone, and how many seconds it took.
func (n *namer) words(ctx context.Context, w Wanted, read func(text string) error) (string, float64, error) {
	begun := n.run.Clock()
	text, err := n.run.Person.Type(ctx, w, func(text string) error {
		if text = strings.TrimSpace(text); strings.Contains(text, GiveUp) {
			text = "" // ? gives up, whatever stands before it
		}
		return read(text)
	})
	if text = strings.TrimSpace(text); err != nil || text == "" {
		return "", 0, err
	}
	return text, n.run.Clock().Sub(begun).Seconds(), nil
}

// wanted says what is to be typed, and for qualities which there are.
func (n *namer) wanted(d compose.Dictation) Wanted {
	w := Wanted{Count: len(d.Chords)}
	may := func(s exercise.Skill) bool { return n.knows(d, s) || slices.Contains(d.Skills(), s) }
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

// knows reports whether a skill may come: where nothing was said, as in a progression,
// the degrees of the scale and the first qualities that are taught.
func (n *namer) knows(d compose.Dictation, s exercise.Skill) bool {
	if len(n.known) > 0 {
		return slices.Contains(n.known, s)
	}
	if scale := d.Key.ScaleDegrees(); s.Kind == exercise.BassSkill {
		return slices.Contains(scale[:], s.Degree)
	}
	return slices.Contains(compose.Qualities()[:firstQualities], s.Chord)
}

// firstQualities are maj, min, 7, dim, m7, maj7 and sus4.
const firstQualities = 7

// simulate names most of it right, after a while.
func (n *namer) simulate(d compose.Dictation) ([]exercise.Skill, bool, float64) {
	rng := rand.New(rand.NewPCG(n.run.Plan.Seed, uint64(n.asked)+0x6e616d65))
	if rng.Float64() < 0.1 && n.asked%2 == 1 {
		return nil, true, 0
	}
	names := d.Skills()
	for i := range names {
		if rng.Float64() >= 0.2 {
			continue
		}
		switch {
		case len(n.known) > 0:
			names[i] = n.known[rng.IntN(len(n.known))]
		case d.Of == exercise.BassSkill:
			names[i].Degree = d.Key.ScaleDegrees()[rng.IntN(7)]
		default:
			names[i].Chord = compose.Qualities()[rng.IntN(firstQualities)]
		}
	}
	return names, false, 2 + 6*rng.Float64()
}
