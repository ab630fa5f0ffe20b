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
func (d *Dictation) strike(ctx context.Context, t *Turn, named *Named) (again bool, err error) {
	attempt := 1
	if named.Again {
		attempt = 2
	}
	src, live, err := d.Instrument.BackSource(*d, t.Index, attempt)
	if err != nil {
		return false, err
	}
	before := t.Seconds()
	heard, take, err := t.instrument(ctx, src, live, len(d.Dictation.Chords), max(t.Think, leastThink))
	if err != nil {
		return false, err
	}
	p := &PlayedBack{Take: &take, Reason: unstruck(&take, &heard, len(d.Dictation.Chords))}
	named.Played, named.Names = p, nil
	if p.Reason == exercise.NoReason {
		keys := tempered(&d.Item)
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
func (d *Dictation) hand(ctx context.Context, t *Turn, named *Named) error {
	h := &HandStruck{Sung: make([]exercise.Skill, len(d.Dictation.Chords)), Feedback: d.Feedback}
	copy(h.Sung, named.Names)
	h.Item, h.Asked, h.Hidden = &d.Item, d.sounded(tempered(&d.Item)), named.Hidden
	return t.play(ctx, d.Hand, h)
}

// hand has the degree played that was sung.
func (d *Degree) hand(ctx context.Context, t *Turn, sung *Judged) error {
	h := &HandStruck{Sung: make([]exercise.Skill, 1), Feedback: d.Feedback}
	keys, it := tempered(&d.Item), &d.Item
	target, _ := it.Target()
	if v := &sung.Verdict; v.HasSung {
		h.Sung[0] = exercise.DegreeSkillOf(it.Key, v.Sung)
	}
	h.Item, h.Asked, h.Hidden = it, []grade.Sounded{{Degree: it.Asked, Hz: keys.Hz(target)}}, sung.Hidden
	return t.play(ctx, d.Hand, h)
}

// hand has the line played that was sung.
func (l *Line) hand(ctx context.Context, t *Turn, sung *LineSung) error {
	s := &l.Melody.Score
	it := exercise.Item{Key: s.Key, Tuning: l.Tuning, Register: exercise.Register{TonicOctave: tonicOf(*s).Octave}}
	keys := tempered(&it)
	h := &HandStruck{Feedback: l.Feedback}
	for i, n := range sungNotes(s.Notes) {
		h.Asked = append(h.Asked, grade.Sounded{Degree: s.Key.Degree(n.Pitch.Note), Hz: keys.Hz(n.Pitch)})
		h.Sung = append(h.Sung, exercise.Skill{})
		if i < len(sung.Grade.Notes) && len(sung.Silent) == 0 {
			h.Sung[i] = sungAs(&it, n, &sung.Grade.Notes[i])
		}
	}
	h.Item = &it
	return t.play(ctx, l.Hand, h)
}

// sungNotes are the notes without the rests.
func sungNotes(notes []theory.Written) (out []theory.Written) {
	for _, n := range notes {
		if !n.Rest {
			out = append(out, n)
		}
	}
	return out
}

// sungAs is the degree that a note of a line was sung as; the zero Skill where it was not
// sung.
func sungAs(it *exercise.Item, n theory.Written, g *grade.Note) exercise.Skill {
	if g.Finding == grade.Omitted {
		return exercise.Skill{}
	}
	asked := it.Key.Degree(n.Pitch.Note)
	d, _ := it.Tuning.Nearest(it.Tuning.Cents(asked)+g.Cents, asked)
	return exercise.DegreeSkillOf(it.Key, d)
}
