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

// Dictation is the task to tell something of chords that are heard: the degrees in
// the bass, or the qualities. They are named, or sung back.
type Dictation struct {
	Dictation compose.Dictation
	Item      exercise.Item // key, tuning and register
	Credit    exercise.Skill
	SetKey    bool // set the key before it
	Feedback  practice.Feedback

	Namer  Namer
	Singer BackSinger // who sings the degrees back
	Player BackPlayer // who plays them back, or the chords; nil both: they are named
	// Instrument is who plays the degrees back on an instrument that is heard.
	Instrument BackSinger
	Hand       Hand // who plays, once it has been sung, what was heard; nil: nobody
}

// BackPlayer is who plays back what was heard.
type BackPlayer interface {
	// Struck returns what was struck from now on: the degrees, one after the other, or
	// the chords, each held. Nothing is no answer.
	Struck(ctx context.Context, d Dictation) ([]exercise.Strike, error)
}

// BackSinger is who sings back the degrees that were heard.
type BackSinger interface {
	// BackSource returns what answers; see [DegreeSinger]. Attempt is 2 where it was
	// played once more.
	BackSource(d Dictation, index, attempt int) (src audio.Source, live bool, err error)
}

// Namer is who names what was heard.
type Namer interface {
	// Name returns a name for each chord, none if the singer gives up, or again to
	// have it played once more, and how many seconds after the sound the names came.
	Name(ctx context.Context, d compose.Dictation) (names []exercise.Skill, again bool, seconds float64, err error)
}

// DictationAsked tells that chords are to be heard. It comes before the sound.
type DictationAsked struct {
	Index, Of int // as in Prompted
	Dictation compose.Dictation
	Again     bool // it is played once more
	Sung      bool // it is to be sung back
	Played    bool // it is to be played back
	Step      int  // of a progression: 1 the bass, 2 the qualities, 3 the chords; 0 otherwise
}

// Naming tells that the singer is asked to name what was heard.
type Naming struct{ Dictation compose.Dictation }

// Named carries what was named, and what of it is right.
type Named struct {
	Index     int
	Dictation compose.Dictation
	Item      exercise.Item    // key, tuning and register
	Names     []exercise.Skill // one for each chord, the zero Skill where it has none; none at all: given up
	Right     []bool           // one for each chord
	Chords    []theory.Roman   // of the last step of a progression: what was told, the zero Roman where nothing was; none at all: given up
	Step      int              // as in DictationAsked
	Sung      *SungBack        // where it was sung
	Played    *PlayedBack      // where it was played; nil both: it was named
	Again     bool             // it was heard more than once before
	Answer    float64          // seconds from the end of the sound to the names, or to the first note
	Feedback  practice.Feedback
	Hidden    bool    // the singer is not told, it is only noted
	Seconds   float64 // as in Judged
}

// SungBack is what was heard of degrees that were sung back.
type SungBack struct {
	Take   exercise.PhraseTake
	Back   grade.Back
	Reason exercise.Reason // why nothing was measured; NoReason where something was
}

// PlayedBack is what was struck on a keyboard, or heard of an instrument.
type PlayedBack struct {
	Strikes []exercise.Strike    // on a keyboard
	Take    *exercise.PhraseTake // of an instrument; nil: a keyboard
	Reason  exercise.Reason      // as in SungBack, of an instrument
	Back    grade.Back           // of degrees
	Held    []compose.Held       // of chords, one for each Strike; the zero Held is none that is known
}

// Outcomes says of each chord whether it was told right or wrong. What was sung may lie
// between two degrees, and where nothing was heard nothing was measured.
func (n Named) Outcomes() []exercise.Outcome {
	out := make([]exercise.Outcome, len(n.Right))
	for i, right := range n.Right {
		switch out[i] = exercise.WrongAnswer; {
		case n.Reason() != exercise.NoReason:
			out[i] = exercise.NotMeasured
		case right:
			out[i] = exercise.RightAnswer
		case n.Sung != nil && n.Sung.Back.Degrees[i].Outcome == exercise.Ambiguous,
			n.Played != nil && n.Played.Take != nil && n.Played.Back.Degrees[i].Outcome == exercise.Ambiguous:
			out[i] = exercise.Ambiguous
		}
	}
	return out
}

// Reason says why nothing was measured; NoReason where something was.
func (n Named) Reason() exercise.Reason {
	switch {
	case n.Sung != nil:
		return n.Sung.Reason
	case n.Played != nil && n.Played.Take != nil:
		return n.Played.Reason
	case n.Played != nil && len(n.Played.Strikes) == 0:
		return exercise.TooQuiet
	}
	return exercise.NoReason
}

// Name returns what a chord was taken for; false where it was not.
func (n Named) Name(i int) (exercise.Skill, bool) {
	if i >= len(n.Names) || n.Names[i] == (exercise.Skill{}) {
		return exercise.Skill{}, false
	}
	return n.Names[i], true
}

// By says how it is answered: "sing" or "play"; "" where it is named.
func (d DictationAsked) By() string {
	switch {
	case d.Sung:
		return "sing"
	case d.Played:
		return "play"
	}
	return ""
}

func (DictationAsked) event() {}
func (Naming) event()         {}
func (Named) event()          {}

// chordLength is how long a chord of a dictation sounds, in seconds.
const chordLength = 1.2

// Skill returns what an answer is credited to: of more chords each is, by its own
// skill, too.
func (d Dictation) Skill() exercise.Skill { return d.Credit }

// Do asks what is heard, and plays it once more when it has been told.
func (d Dictation) Do(ctx context.Context, t *Turn) error {
	if err := t.NeedKey(ctx, Need{Item: d.Item, Fresh: d.SetKey}); err != nil {
		return err
	}
	named := Named{Index: t.Index}
	if err := d.ask(ctx, t, &named, true); err != nil || named.Hidden || !t.Compare {
		return err
	}
	return t.Play(ctx, d.sound())
}

// sound is how the chords sound.
func (d *Dictation) sound() synth.Phrase {
	return synth.Chords(d.Dictation.Key, d.Item.Tuning, d.Dictation.Voices, chordLength)
}

// ask asks, and tells what of the answer is right. What named has of Index, Step and
// Again is kept; play tells that it is heard first.
func (d *Dictation) ask(ctx context.Context, t *Turn, named *Named, play bool) error {
	d.begin(named)
	answer := d.name
	switch {
	case d.Singer != nil:
		answer = d.sing
	case d.Player != nil:
		answer = d.play
	case d.Instrument != nil:
		answer = d.strike
	}
	for again := false; ; {
		t.Emit(DictationAsked{
			Index: t.Index, Of: t.Count, Dictation: d.Dictation, Again: again, Sung: d.Singer != nil, Played: d.Player != nil || d.Instrument != nil, Step: named.Step,
		})
		if play || again {
			if err := t.Play(ctx, d.sound()); err != nil {
				return err
			}
		}
		var err error
		if again, err = answer(ctx, t, named); err != nil {
			return err
		}
		if !again {
			break
		}
		named.Again = true
	}
	d.judge(t, named)
	t.Emit(*named)
	if named.Sung != nil {
		t.Sung(named.Sung.Take.Voiced)
		if d.Hand != nil {
			return d.hand(ctx, t, named)
		}
	}
	return nil
}

// begin begins an answer.
func (d *Dictation) begin(named *Named) {
	named.Dictation, named.Item, named.Feedback = d.Dictation, d.Item, d.Feedback
}

// name has it named.
func (d *Dictation) name(ctx context.Context, t *Turn, named *Named) (again bool, err error) {
	t.Emit(Naming{d.Dictation})
	if r, ok := d.Namer.(Reasoner); ok && d.Dictation.Of == exercise.RootSkill {
		chords, again, seconds, err := r.Chords(ctx, d.Dictation)
		if err == nil && !again {
			d.tell(named, chords)
			named.Answer = seconds
		}
		return again, err
	}
	names, again, seconds, err := d.Namer.Name(ctx, d.Dictation)
	if err == nil && !again {
		named.Names, named.Answer = names, seconds
	}
	return again, err
}

// judge says what of it is right, and counts it.
func (d *Dictation) judge(t *Turn, named *Named) {
	named.Right = d.Dictation.Right(named.Names)
	named.Seconds = t.Seconds()
	named.Hidden = true
	outcomes := named.Outcomes()
	for i, skill := range d.Dictation.Skills() {
		o := outcomes[i]
		if o == exercise.RightAnswer || o == exercise.WrongAnswer {
			var name *exercise.Skill
			if n, ok := named.Name(i); ok {
				name = &n
			}
			t.Tally.AddNamed(skill, name, named.Right[i])
			if d.Dictation.Of == exercise.RootSkill {
				t.countInversion(named, i)
			}
		}
		named.Hidden = named.Hidden && !d.Feedback.Shows(exercise.Verdict{Outcome: o})
	}
}

// sing has it sung back. Where a live source heard nothing it is played once more.
func (d *Dictation) sing(ctx context.Context, t *Turn, named *Named) (again bool, err error) {
	attempt := 1
	if named.Again {
		attempt = 2
	}
	src, live, err := d.Singer.BackSource(*d, t.Index, attempt)
	if err != nil {
		return false, err
	}
	sung := &SungBack{}
	named.Sung = sung
	err = t.Answer(ctx, src, live, func(ear *listen.Ear) error {
		before := t.Seconds()
		if err := t.Wait(ctx, ear, live, t.Think); err != nil {
			return err
		}
		named.Answer = t.Seconds() - before
		window := exercise.NewNotesWindow(len(d.Dictation.Chords))
		if !live {
			window = window.Recorded()
		}
		t.Emit(Listening{t.Index})
		take, samples, err := ear.Line(ctx, window, t.meter)
		t.heard(int64(len(samples)), src.SampleRate())
		if err != nil {
			return fmt.Errorf("listen to answer %d: %w", t.Index, err)
		}
		sung.Take = take
		heard, err := listen.Take(ctx, audio.NewSamples(take.SampleRate, samples), t.Hearing, ear.Room())
		if err != nil {
			return err
		}
		sung.Back = grade.SingBack(d.Item, d.sounded(d.Item), heard.Notes)
		sung.Reason = unheard(take, heard)
		return nil
	})
	if err != nil {
		return false, err
	}
	if live && attempt == 1 && sung.Reason == exercise.TooQuiet {
		return true, nil
	}
	named.Answer += sung.Back.Onset
	if named.Names = nil; sung.Reason == exercise.NoReason {
		named.Names = d.names(sung.Back)
	}
	return false, nil
}

// play has it played back. Where nothing was struck it is played once more.
func (d *Dictation) play(ctx context.Context, t *Turn, named *Named) (again bool, err error) {
	t.Emit(Listening{t.Index})
	strikes, err := d.Player.Struck(ctx, *d)
	if err != nil {
		return false, fmt.Errorf("answer %d: %w", t.Index, err)
	}
	if len(strikes) == 0 && !named.Again {
		return true, nil
	}
	if len(strikes) > 0 {
		last := strikes[len(strikes)-1]
		t.seconds += last.At + last.Length
		named.Answer = strikes[0].At
	}
	d.struck(named, strikes)
	return false, nil
}

// struck says what was named by striking it.
func (d *Dictation) struck(named *Named, strikes []exercise.Strike) {
	p := &PlayedBack{Strikes: strikes}
	named.Played, named.Names = p, nil
	if len(strikes) == 0 {
		return
	}
	if d.Dictation.Of == exercise.BassSkill {
		keys := d.Item
		keys.Tuning = theory.Tuning{A4: theory.DefaultA4}
		p.Back = grade.SingBack(keys, d.sounded(keys), asNotes(strikes))
		named.Names = d.names(p.Back)
		return
	}
	named.Names = make([]exercise.Skill, len(d.Dictation.Chords))
	chords := make([]theory.Roman, len(d.Dictation.Chords))
	for i, s := range strikes {
		heard := d.Item.Key.Tonic
		if i < len(d.Dictation.Chords) {
			heard = d.Dictation.Chords[i].Chord.Root
		}
		h, ok := compose.Recognise(d.Item.Key, heard, s.Keys)
		if p.Held = append(p.Held, h); ok && i < len(named.Names) {
			named.Names[i] = exercise.Skill{Kind: exercise.QualitySkill, Chord: h.Name}
			chords[i] = d.Item.Key.Roman(h.Chord)
		}
	}
	if d.Dictation.Of == exercise.RootSkill {
		d.tell(named, chords)
	}
}

// asNotes are keys as notes of equal temperament: a key is never out of tune. Of a chord
// the lowest counts.
func asNotes(strikes []exercise.Strike) []grade.Sung {
	var out []grade.Sung
	for _, s := range strikes {
		out = append(out, grade.Sung{Cents: 100 * float64(s.Keys[0]), Onset: s.At, Offset: s.At + s.Length})
	}
	return out
}

// sounded is what was heard in the bass, in the tuning of an item.
func (d *Dictation) sounded(it exercise.Item) []grade.Sounded {
	var out []grade.Sounded
	for i, skill := range d.Dictation.Skills() {
		out = append(out, grade.Sounded{Degree: skill.Degree, Hz: it.Hz(d.Dictation.Voices[i][0])})
	}
	return out
}

// unheard says why nothing of a line was measured; NoReason where something was.
func unheard(take exercise.PhraseTake, heard grade.Performance) exercise.Reason {
	switch {
	case take.Lost:
		return exercise.LostSamples
	case len(heard.Notes) > 0:
		return exercise.NoReason
	case take.Voiced >= 0.03:
		return exercise.TooShort
	}
	return exercise.TooQuiet
}

// names are the degrees that were sung, as if they had been named: none where none
// answers, or none can be told.
func (d *Dictation) names(b grade.Back) []exercise.Skill {
	out := make([]exercise.Skill, len(b.Degrees))
	for i, n := range b.Degrees {
		if n.Sung && n.Outcome != exercise.Ambiguous {
			out[i] = exercise.Skill{Kind: exercise.BassSkill, Degree: n.Degree}
		}
	}
	return out
}
