package session

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/pitch"
	"singback/theory"
)

// Degree is the task to sing one degree. The answer is judged at once.
type Degree struct {
	Item      exercise.Item
	Credit    exercise.Skill // the zero Skill: the item's
	Tolerance exercise.Tolerance
	SetKey    bool            // set the key before it
	Coming    []exercise.Item // what is asked until the key is set again; none: this one
	Feedback  practice.Feedback
	Guess     bool // ask for a guess before the verdict

	Part, Parts int // its place in a chain of tasks that belong together; 0, 0 outside of one

	Silence Silence            // before the answer, in place of the moment of inner hearing
	Away    *theory.Modulation // a passage leads from the key that is set to that of the item; nil: none does

	Singer DegreeSinger
	Hand   Hand // who plays the degree once it has been sung; nil: nobody
}

// DegreeSinger is who sings degrees.
type DegreeSinger interface {
	// Source returns what answers; live tells that it is a running device whose
	// earlier sound must be thrown away, and that it is the same each time. A source
	// that is not live is closed after the answer. Source is called before Prompted
	// is emitted.
	Source(p Prompted) (src audio.Source, live bool, err error)
	// Retry is asked after a first answer that was told and was not in tune; true
	// repeats the item once.
	Retry(ctx context.Context, j Judged) (bool, error)
	// Guess is asked, where the task wants it, whether the answer was flat, sharp or
	// in tune, before the verdict is told; NotMeasured is no guess.
	Guess(ctx context.Context) (exercise.Outcome, error)
}

// Prompted tells that an item is being asked. It comes before the sound of the
// degree to start from, if there is one.
type Prompted struct {
	Index, Of int // 1-based; Of is 0 where the number of tasks is not known
	Attempt   int // 1, or 2 for the retry
	Item      exercise.Item
	Target    theory.Pitch
	Folded    bool // moved by an octave to fit the voice
	Tolerance exercise.Tolerance

	Part, Parts int // as in Degree
	Silence     Silence
	Away        *theory.Modulation
}

// Judged carries the verdict of one attempt.
type Judged struct {
	Index   int
	Attempt int
	Item    exercise.Item
	Skill   exercise.Skill // what it is credited to
	Verdict exercise.Verdict
	Take    exercise.Take
	Curve   []pitch.Point // of the window, in order; of a very long one the last half minute or more
	Counts  bool          // it is the first measured answer to the item, the one in the tally

	Tolerance exercise.Tolerance
	Feedback  practice.Feedback
	Hidden    bool             // the singer is not told, it is only noted
	Guess     exercise.Outcome // what the singer took it for; NotMeasured: no guess
	Seconds   float64          // of sound played and heard in the run up to it
	Silence   Silence
	Away      *theory.Modulation
}

// Drift is how far the degree asked for has moved in the silence before it; false where
// there was none, or another degree was sung.
func (j *Judged) Drift() (cents theory.Cents, ok bool) {
	v := &j.Verdict
	return v.Cents, j.Silence.Beats > 0 && v.Counts() && v.HasSung && v.Sung == j.Item.Asked
}

// Old reports whether it was sung as if the key had not changed.
func (j *Judged) Old() bool {
	v := &j.Verdict
	return j.Away != nil && v.Outcome == exercise.OtherDegree && v.HasSung && j.Away.AsBefore(j.Item.Asked, v.Sung)
}

// Guessing tells that the singer is asked whether the answer was flat, sharp or
// in tune, before the verdict.
type Guessing struct{}

// Sounding tells that the right note is being sounded for comparison.
type Sounding struct {
	Item   exercise.Item
	Target theory.Pitch
}

func (Prompted) event() {}
func (Judged) event()   {}
func (Guessing) event() {}
func (Sounding) event() {}

// Skill returns what an answer is credited to.
func (d Degree) Skill() exercise.Skill {
	if d.Credit != (exercise.Skill{}) {
		return d.Credit
	}
	return d.Item.Skill()
}

// Do asks the item, and once more if the answer was not in tune and the singer wants
// to. The first answer that could be measured counts; an attempt that could not is
// nobody's fault, so a second one takes its place. Where the verdict is not told, the
// right note is not sounded either, and there is no second attempt.
func (d Degree) Do(ctx context.Context, t *Turn) error {
	need := Need{Item: d.Item, Fresh: d.SetKey, Apart: d.Coming}
	if d.Away != nil { // the old key is set
		need.Item.Key, need.Apart = d.Away.From, nil
	}
	if err := t.NeedKey(ctx, need); err != nil {
		return err
	}
	first, err := d.ask(ctx, t, 1, true)
	if err != nil {
		return err
	}
	counted := first.Verdict
	defer func() { t.Tally.Add(d.Item, counted) }()
	if d.Hand != nil {
		if err := d.hand(ctx, t, &first); err != nil {
			return err
		}
	}
	if first.Hidden {
		return nil
	}
	if err := d.compare(ctx, t); err != nil {
		return err
	}
	if first.Verdict.Outcome == exercise.InTune {
		return nil
	}
	again, err := d.Singer.Retry(ctx, first)
	if err != nil || !again {
		return err
	}
	second, err := d.ask(ctx, t, 2, !first.Counts)
	if errors.Is(err, ErrNoMore) {
		return nil // there is one recording for each item
	}
	if err != nil {
		return err
	}
	if second.Counts {
		counted = second.Verdict
	}
	if second.Hidden {
		return nil
	}
	return d.compare(ctx, t)
}

// ask asks once and returns the verdict; first tells that no earlier attempt at the
// item has counted.
func (d Degree) ask(ctx context.Context, t *Turn, attempt int, first bool) (Judged, error) {
	target, folded := d.Item.Target()
	prompted := Prompted{
		Index: t.Index, Of: t.Count, Attempt: attempt, Item: d.Item, Target: target, Folded: folded, Tolerance: d.Tolerance,
		Part: d.Part, Parts: d.Parts, Silence: d.Silence, Away: d.Away,
	}
	under, err := t.below(d.Item.Key, d.Item.Tuning, d.Item.Register.TonicOctave)
	sounds := under != nil
	if err != nil {
		return Judged{}, err
	}
	src, live, err := d.Singer.Source(prompted)
	if err != nil {
		return Judged{}, err
	}
	t.Emit(prompted)
	think, err := d.before(ctx, t)
	if err != nil {
		if !live {
			src.Close()
		}
		return Judged{}, err
	}
	var take exercise.Take
	var curve []pitch.Point
	own, heard := 0.0, false
	err = t.Answer(ctx, src, live, func(ear *listen.Ear) (err error) {
		note := func() (err error) {
			t.Emit(Listening{t.Index})
			heard = true
			take, err = ear.Note(ctx, t.Window, t.meter)
			curve = slices.Clone(ear.Curve())
			t.heard(take.Heard, src.SampleRate())
			if err != nil {
				return fmt.Errorf("listen to answer %d: %w", t.Index, err)
			}
			return nil
		}
		if sounds {
			own, err = t.beneath(ctx, *under, ear, live, think, note)
			return err
		}
		if err = t.Wait(ctx, ear, live, think); err != nil {
			return err
		}
		return note()
	})
	if err != nil {
		return Judged{}, err
	}
	if sounds {
		take.Own, take.OwnTones = own, slices.Concat(under.chords...)
	}
	verdict := exercise.Judge(d.Item, take, d.Tolerance)
	if !heard { // the window stayed shut
		verdict = exercise.Verdict{Reason: exercise.TooLoud, Level: own}
	}
	judged := Judged{
		Index: t.Index, Attempt: attempt, Item: d.Item, Skill: d.Skill(), Verdict: verdict, Take: take, Curve: curve,
		Counts:    first && verdict.Counts(),
		Tolerance: d.Tolerance, Feedback: d.Feedback, Hidden: !d.Feedback.Shows(verdict), Seconds: t.Seconds(),
		Silence: d.Silence, Away: d.Away,
	}
	if d.Guess && attempt == 1 && verdict.Counts() {
		t.Emit(Guessing{})
		if judged.Guess, err = d.Singer.Guess(ctx); err != nil {
			return Judged{}, err
		}
	}
	t.Emit(judged)
	t.Sung(take.Voiced)
	return judged, nil
}

// before sounds what comes before the answer, and returns how many seconds the singer has
// then to hear it inwardly.
func (d *Degree) before(ctx context.Context, t *Turn) (think float64, err error) {
	if d.Away != nil {
		if err := d.lead(ctx, t); err != nil {
			return 0, err
		}
	}
	if d.Item.From != nil {
		if err := t.note(ctx, d.Item, d.Item.FromPitch()); err != nil {
			return 0, err
		}
	}
	t.beats = d.Silence
	return t.silence(ctx, d.Silence)
}

// compare sounds the right note.
func (d Degree) compare(ctx context.Context, t *Turn) error {
	if !t.Compare {
		return nil
	}
	target, _ := d.Item.Target()
	t.Emit(Sounding{d.Item, target})
	return t.note(ctx, d.Item, target)
}
