package drill

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/plain"
	"singback/internal/session"
	"singback/theory"
)

// OfProgression is the word for a dictation of progressions: bass, qualities, chords.
const OfProgression = "progression"

// Reasons reports whether the plan is a dictation of progressions.
func (p *Plan) Reasons() bool { return p.reasons }

// UsualStyle is the style where nobody says one, and the profile neither.
const UsualStyle = theory.Hymn

// usualLength is how many chords a progression has.
const usualLength = 4

// StyleHelp is what the option for a style says.
func StyleHelp() string {
	var names []string
	for _, s := range theory.Styles() {
		names = append(names, s.String())
	}
	return "the `STYLE` of the harmony: " + strings.Join(names, ", ") + " (else that of the profile, else " + UsualStyle.String() + ")"
}

// ReadStyle reads a style that an option gave, or takes that of the singer, or the usual
// one; from says where it comes from: "", "of the profile" or "usual".
func ReadStyle(word, known string) (s theory.Style, from string, err error) {
	switch {
	case word != "":
	case known != "":
		word, from = known, "of the profile"
	default:
		return UsualStyle, "unless --style says another", nil
	}
	if s, err = theory.ParseStyle(word); err != nil {
		return s, from, wrong(fmt.Errorf("--style: %w", err))
	}
	return s, from, nil
}

// ways are how the three steps are answered; of what has one step all three are that.
func (o *Dictation) ways() (ways [3]string, err error) {
	words := strings.FieldsFunc(o.Answer, func(r rune) bool { return r == ',' || r == ' ' })
	if o.Of != OfProgression && len(words) > 1 {
		return ways, wrongf("--answer: %q: several ways are for --of progression; want name, sing or play", plain.Short(o.Answer))
	}
	switch len(words) {
	case 0:
		words = []string{ByName, ByName, ByName}
	case 1:
		words = []string{words[0], words[0], words[0]}
		if o.Of == OfProgression && words[0] == BySinging {
			words[1], words[2] = ByName, ByName
		}
	case 3:
	default:
		return ways, wrongf("--answer: %q: want one way, or three: of bass, qualities and chords, like sing,name,play", plain.Short(o.Answer))
	}
	for i, w := range words {
		if w != ByName && w != BySinging && w != ByPlaying {
			return ways, wrongf("--answer: %q: want name, sing or play", plain.Short(w))
		}
		if o.Of == OfProgression && i > 0 && w == BySinging {
			return ways, wrongf("--answer: one voice sings no chord; sing the bass, and name or play the rest: sing,name,name")
		}
	}
	return [3]string(words), nil
}

// begin takes what questions that were read say.
func (o *Dictation) begin(p *Plan) {
	if len(o.Given) > 0 {
		p.Item = o.item(p, o.Given[0].Key)
		if !o.Music.said("count") && o.Recordings == 0 {
			o.Count = min(len(o.Given), exercise.MaxCount)
		}
	}
	if o.Of == OfProgression && !o.Music.said("length") {
		o.Length = usualLength
	}
}

// item is what is shared by what is asked, in the key of a question.
func (o *Dictation) item(p *Plan, k theory.Key) exercise.Item {
	it := p.Item
	if k != it.Key {
		it.Key = k
		if r, err := o.Music.Register(k); err == nil { // the options were read before
			it.Register = r
		}
	}
	return it
}

// setsKey reports whether the key is set before a question.
func (o *Dictation) setsKey(questions []compose.Dictation, i int) bool {
	return i == 0 || o.KeyEvery > 0 && i%o.KeyEvery == 0 || questions[i].Key != questions[i-1].Key
}

// style reads the style, and has it said which it is.
func (o *Dictation) style(p *Plan) (theory.Style, error) {
	if o.Of != OfProgression {
		if o.Music.said("style") {
			return 0, wrongf("--style: only a progression is drawn from a style; want it with --of progression")
		}
		return theory.Pop, nil
	}
	s, from, err := ReadStyle(o.Style, o.Music.Known.Style)
	if err != nil {
		return s, err
	}
	what := "Progressions in the style "
	if len(o.Given) > 0 {
		what = "Progressions as given, explained in the style "
	}
	if p.Note = what + s.String(); from != "" {
		p.Note += ", " + from
	}
	if s.Judged() {
		p.Note += "; its numbers are judgement, nothing was counted"
	}
	p.Note += "."
	return s, nil
}

// progressions draws them, with a chord on each of the roots in turn, if there are any.
func (o *Dictation) progressions(p *Plan, roots []exercise.Skill, style theory.Style) ([]compose.Dictation, error) {
	rng := rand.New(rand.NewPCG(p.Seed, 0x70726f67))
	out := make([]compose.Dictation, o.Count)
	for i := range out {
		order := compose.ProgressionOrder{Key: p.Item.Key, Style: style, Length: o.Length, Seed: rng.Uint64()}
		if len(roots) > 0 {
			order.Root = &roots[i%len(roots)].Degree
		}
		var err error
		if out[i], err = compose.NewProgression(order); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// given takes those that were read, from the first again where more are asked for.
func (o *Dictation) given() []compose.Dictation {
	out := make([]compose.Dictation, o.Count)
	for i := range out {
		out[i] = o.Given[i%len(o.Given)]
		if out[i].Of = exercise.BassSkill; o.Of == "quality" {
			out[i].Of = exercise.QualitySkill
		}
	}
	return out
}

// reasoning asks for progressions, step by step.
func (o *Dictation) reasoning(p *Plan, questions []compose.Dictation, style theory.Style) asker {
	ways, _ := o.ways()
	n := &namer{style: style}
	return &listed{tasks: func(r *Run, i int) session.Task {
		if i >= len(questions) {
			return nil
		}
		n.run = r
		return session.Progression{
			Dictation: questions[i], Style: style, Item: o.item(p, questions[i].Key), Credit: questions[i].Skills()[0],
			SetKey: o.setsKey(questions, i), Steps: r.steps(n, ways), Reader: r,
		}
	}}
}

// steps are who answers each step.
func (r *Run) steps(n *namer, ways [3]string) (steps [3]session.Step) {
	for i, w := range ways {
		switch w {
		case BySinging:
			steps[i].Singer = r
		case ByPlaying:
			if steps[i].Player, steps[i].Instrument = r.player(); i > 0 {
				steps[i].Player, steps[i].Instrument = r, nil // chords want a keyboard
			}
		default:
			steps[i].Namer = n
		}
	}
	return steps
}

// Explained waits until an explanation was read.
func (r *Run) Explained(ctx context.Context, _ session.Reasoned) error {
	return r.Person.Explained(ctx)
}

// Chords asks once for the chords of a progression. An empty line is a wish to hear it
// again.
func (n *namer) Chords(ctx context.Context, d compose.Dictation) (chords []theory.Roman, again bool, seconds float64, err error) {
	if n.simulated() {
		n.asked++
		chords, again, seconds = n.simulateChords(d)
		if n.run.Watched {
			err = n.run.still(ctx, seconds)
		}
		return chords, again, seconds, err
	}
	text, seconds, err := n.words(ctx, n.wantedChords(d), func(text string) error {
		if chords = nil; text == "" {
			return nil
		}
		chords, err = d.ReadChords(text)
		return err
	})
	return chords, err == nil && text == "", seconds, err
}

// How many chords that are likely on each bass are offered to those who do not type.
const (
	offered       = 3
	worthOffering = 0.05
)

// wantedChords says what is to be typed, and which chords may be chosen.
func (n *namer) wantedChords(d compose.Dictation) Wanted {
	w := Wanted{Count: len(d.Chords), Text: "the chord, as a numeral, a number or a symbol"}
	if w.Count > 1 {
		w.Text = fmt.Sprintf("the %d chords, as numerals, numbers or symbols", w.Count)
	}
	add := func(r theory.Roman) { // in the order of their names, which tells nothing
		word, at := n.run.Style.Roman(r), 0
		for at < len(w.Words) && w.Words[at] < word {
			at++
		}
		if at == len(w.Words) || w.Words[at] != word {
			w.Words = append(w.Words, word)
			copy(w.Words[at+1:], w.Words[at:])
			w.Words[at] = word
		}
	}
	for i, place := range n.deduced(d) {
		add(d.Chords[i])
		for j := range place.Candidates[:offered] {
			if c := &place.Candidates[j]; c.P >= worthOffering {
				add(c.Roman)
			}
		}
	}
	return w
}

// deduced is what can stand on the bass of a progression.
func (n *namer) deduced(d compose.Dictation) []theory.Place {
	line := make([]theory.Bass, len(d.Chords))
	for i, c := range d.Chords {
		line[i].Degree = d.Key.Degree(c.Chord.Bass)
	}
	found, err := theory.Deduce(d.Key, n.style, line, 1)
	if err != nil {
		return nil
	}
	return found.Places
}

// simulateChords names most of them right, and of the others what else stands on the
// bass.
func (n *namer) simulateChords(d compose.Dictation) ([]theory.Roman, bool, float64) {
	rng := rand.New(rand.NewPCG(n.run.Plan.Seed, uint64(n.asked)+0x63686f72))
	chords := slices.Clone(d.Chords)
	for i, place := range n.deduced(d) {
		if rng.Float64() < 0.2 {
			chords[i] = place.Candidates[rng.IntN(offered)].Roman
		}
	}
	return chords, false, 4 + 8*rng.Float64()
}
