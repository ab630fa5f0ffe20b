package session

import (
	"context"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/theory"
)

// Progression is the task to hear a progression and to reason out what it is: first its
// bass, then the qualities of its chords, then the chords. It is heard once, and again
// before any step at the listener's wish.
type Progression struct {
	Dictation compose.Dictation
	Style     theory.Style // in which it is explained
	Item      exercise.Item
	Credit    exercise.Skill
	SetKey    bool
	Feedback  practice.Feedback

	Steps  [3]Step // of bass, qualities and chords
	Reader Reader  // who waits while it is explained; nil: nobody reads
}

// Step is who answers a step: one of the three. A Namer of chords is a [Reasoner].
type Step struct {
	Namer  Namer
	Singer BackSinger // of the bass alone
	Player BackPlayer
	// Instrument is who plays the bass where a microphone hears it.
	Instrument BackSinger
}

// Reasoner is who names the chords of a progression.
type Reasoner interface {
	// Chords returns a chord for each that was heard; else as in [Namer].
	Chords(ctx context.Context, d compose.Dictation) (chords []theory.Roman, again bool, seconds float64, err error)
}

// Reader waits while an explanation is read.
type Reader interface {
	Explained(ctx context.Context, r Reasoned) error
}

// Reasoned tells, after the last step, what of each chord is right, and explains which
// chords were possible over the bass.
type Reasoned struct {
	Index     int
	Dictation compose.Dictation
	Named     []theory.Roman // as in Named.Chords
	Marks     []compose.Mark // one for each chord
	NoBass    bool           // nothing was measured of the bass, and its marks say nothing
	NoQuality bool           // nor of the qualities
	NoChords  bool           // nor of the chords
	ByBass    theory.Deduction
	ByQuality theory.Deduction // with the qualities as well
	Hidden    bool             // the singer is not told, it is only noted
}

func (Reasoned) event() {}

// Skill returns what an answer is credited to; of each chord what was asked is, too.
func (p Progression) Skill() exercise.Skill { return p.Credit }

// Do asks for the three steps, explains, and plays it once more. Who plays the qualities
// and the chords plays the chords once.
func (p Progression) Do(ctx context.Context, t *Turn) error {
	if err := t.NeedKey(ctx, Need{Item: p.Item, Fresh: p.SetKey}); err != nil {
		return err
	}
	var told [3]Named
	for i, of := range [...]exercise.Kind{exercise.BassSkill, exercise.QualitySkill, exercise.RootSkill} {
		step := &p.Steps[i]
		d := &Dictation{
			Dictation: p.Dictation.Step(of), Item: p.Item, Feedback: p.Feedback, Namer: step.Namer, Singer: step.Singer, Player: step.Player,
			Instrument: step.Instrument,
		}
		named := &told[i]
		if named.Index, named.Step = t.Index, i+1; i > 0 {
			named.Again = told[i-1].Again
		}
		if i == 2 && d.Player != nil && p.Steps[1].Player != nil {
			d.begin(named)
			named.Answer = told[1].Answer
			d.struck(named, told[1].Played.Strikes)
			d.judge(t, named)
			t.Emit(*named)
		} else if err := p.ask(ctx, t, d, named, i == 0); err != nil {
			return err
		}
	}
	r, err := p.reason(t.Index, &told)
	if err != nil {
		return err
	}
	t.Emit(r)
	if r.Hidden {
		return nil
	}
	if t.Compare {
		if err := t.Play(ctx, (&Dictation{Dictation: p.Dictation, Item: p.Item}).sound()); err != nil {
			return err
		}
	}
	if p.Reader != nil {
		return p.Reader.Explained(ctx, r)
	}
	return nil
}

// ask asks for a step: anew, with the key and all that is heard, where the sound had gone.
func (p *Progression) ask(ctx context.Context, t *Turn, d *Dictation, named *Named, play bool) error {
	for empty := *named; ; play = true {
		gone, err := t.back(ctx, d.ask(ctx, t, named, play))
		if err != nil || !gone || len(named.Right) > 0 { // a step that was judged is not asked again
			return err
		}
		*named = empty
		if err := t.NeedKey(ctx, Need{Item: p.Item}); err != nil {
			return err
		}
	}
}

// reason works out what is explained.
func (p *Progression) reason(index int, told *[3]Named) (Reasoned, error) {
	unheard := func(i int) bool { return told[i].Reason() != exercise.NoReason }
	r := Reasoned{
		Index: index, Dictation: p.Dictation, Named: told[2].Chords, Marks: p.Dictation.Marks(told[0].Right, told[1].Right, told[2].Chords),
		NoBass: unheard(0), NoQuality: unheard(1), NoChords: unheard(2),
		Hidden: told[0].Hidden && told[1].Hidden && told[2].Hidden,
	}
	line := make([]theory.Bass, len(p.Dictation.Chords))
	for i, c := range p.Dictation.Chords {
		line[i].Degree = p.Dictation.Key.Degree(c.Chord.Bass)
	}
	var err error
	if r.ByBass, err = theory.Deduce(p.Dictation.Key, p.Style, line, 1); err != nil {
		return r, err
	}
	for i, c := range p.Dictation.Chords {
		line[i].Heard.Triad, line[i].Heard.Seventh = c.Chord.Quality.Triad(), c.Chord.Quality.Seventh()
	}
	if with, err := theory.Deduce(p.Dictation.Key, p.Style, line, 1); err == nil {
		r.ByQuality = with // no chord of the style's may have the quality
	}
	return r, nil
}

// tell takes down the chords that were told.
func (d *Dictation) tell(named *Named, chords []theory.Roman) {
	named.Chords = chords
	named.Names = d.Dictation.Told(d.Dictation.Of, chords)
}

// Inversions are what was told of the inversions, as if it had been named, and what of
// it is right; of the last step of a progression.
func (n *Named) Inversions() (asked, named []exercise.Skill, right []bool) {
	d := n.Dictation.Step(exercise.InversionSkill)
	named = d.Told(d.Of, n.Chords)
	return d.Skills(), named, d.Right(named)
}

// countInversion counts what was told of the inversion of a chord.
func (t *Turn) countInversion(n *Named, i int) {
	asked, named, right := n.Inversions()
	var name *exercise.Skill
	if i < len(named) && named[i] != (exercise.Skill{}) {
		name = &named[i]
	}
	t.Tally.AddNamed(asked[i], name, right[i])
}
