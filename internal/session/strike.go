package session

import (
	"context"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/theory"
)

// leastThink is the least time, in seconds, between the chords and the window of an
// instrument.
const leastThink = 0.01

// strike has the bass played back on an instrument that is heard. Where a live source
// heard nothing it is played once more.
func (d Dictation) strike(ctx context.Context, t *Turn, named *Named) (again bool, err error) {
	attempt := 1
	if named.Again {
		attempt = 2
	}
	src, live, err := d.Instrument.BackSource(d, t.Index, attempt)
	if err != nil {
		return false, err
	}
	before := t.Seconds()
	heard, take, err := t.instrument(ctx, src, live, len(d.Dictation.Chords), max(t.Think, leastThink))
	if err != nil {
		return false, err
	}
	keys := d.Item
	keys.Tuning = theory.Tuning{A4: d.Item.Tuning.A4} // an instrument is tuned in equal temperament
	p := &PlayedBack{Take: &take, Reason: unstruck(take, heard, len(d.Dictation.Chords))}
	named.Played, named.Names = p, nil
	if p.Reason == exercise.NoReason {
		p.Back = grade.SingBack(keys, d.sounded(keys), heard.Notes)
		named.Names = d.names(p.Back)
	}
	if live && attempt == 1 && (p.Reason == exercise.TooQuiet || p.Reason == exercise.OwnSound) {
		return true, nil
	}
	named.Answer = t.Seconds() - before - take.Seconds(take.Heard) + p.Back.Onset
	return false, nil
}

// hand has what was sung back played, too.
func (d Dictation) hand(ctx context.Context, t *Turn, named Named) error {
	keys := d.Item
	keys.Tuning = theory.Tuning{A4: d.Item.Tuning.A4}
	asked := HandAsked{Item: d.Item, Asked: d.sounded(keys), Hidden: named.Hidden}
	sung := make([]exercise.Skill, len(asked.Asked))
	copy(sung, named.Names)
	return t.play(ctx, d.Hand, asked, HandStruck{Sung: sung, Voice: named.Outcomes(), Feedback: d.Feedback})
}

// hand has the degree played that was sung.
func (d Degree) hand(ctx context.Context, t *Turn, sung Judged) error {
	target, _ := d.Item.Target()
	keys := d.Item
	keys.Tuning = theory.Tuning{A4: d.Item.Tuning.A4}
	asked := HandAsked{Item: d.Item, Asked: []grade.Sounded{{Degree: d.Item.Asked, Hz: keys.Hz(target)}}, Hidden: sung.Hidden}
	named := exercise.Skill{}
	if v := sung.Verdict; v.HasSung {
		named = exercise.DegreeSkillOf(d.Item.Key, v.Sung)
	}
	return t.play(ctx, d.Hand, asked, HandStruck{Sung: []exercise.Skill{named}, Voice: []exercise.Outcome{sung.Verdict.Outcome}, Feedback: d.Feedback})
}
