package kept

import (
	"cmp"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
)

// NewSession returns a session whose ID are the 32 hexadecimal digits of id, which is
// drawn by whoever keeps the record.
func NewSession(id [16]byte, singer, command, source string, seed uint64, estimator string, started time.Time) practice.Session {
	return practice.Session{
		ID: hex.EncodeToString(id[:]), Singer: singer, Started: started,
		Command: command, Source: source, Seed: seed, Estimator: estimator,
	}
}

// CheckSinger reports a name that the record does not take: it must not be empty,
// longer than 160 bytes, or have control characters or blanks around it.
func CheckSinger(name string) error {
	if !plainText(name, 160) {
		return fmt.Errorf("%.40q is no name: want letters, without blanks around them", name)
	}
	return nil
}

// plainText reports whether text is one line of at most so many bytes without
// blanks around it.
func plainText(text string, most int) bool {
	return text != "" && len(text) <= most && strings.TrimSpace(text) == text &&
		!strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0xfffd || r == 0x7f })
}

// Check refuses an answer that could not be handed out again as it is: one of a
// session, or with a value, that is out of range, or with what an answer to a skill of
// its kind does not have.
func Check(a practice.Answer) error { return cmp.Or(validSession(a.Session), validAnswer(a)) }

// validSession refuses a session that the record could not hand out again as it is.
func validSession(s practice.Session) error {
	switch id, err := hex.DecodeString(s.ID); {
	case err != nil || len(id) != 16 || strings.ToLower(s.ID) != s.ID:
		return fmt.Errorf("session: %.40q is no session: want 32 hexadecimal digits", s.ID)
	case CheckSinger(s.Singer) != nil:
		return fmt.Errorf("singer: %w", CheckSinger(s.Singer))
	case !plainText(s.Command, 20), !plainText(s.Source, 20), !plainText(s.Estimator, 40):
		return fmt.Errorf("command %.20q, source %.20q, estimator %.40q: want one word each", s.Command, s.Source, s.Estimator)
	case s.Started.Year() < 1 || s.Started.Year() > 9999:
		return fmt.Errorf("started: the year %d is out of range", s.Started.Year())
	}
	return nil
}

func validAnswer(a practice.Answer) error {
	switch {
	case a.Number < 1 || a.Index < 1 || a.Attempt < 1:
		return fmt.Errorf("number %d, item %d, attempt %d: want 1 or more", a.Number, a.Index, a.Attempt)
	case a.Item.Move < exercise.Down || a.Item.Move > exercise.Up:
		return fmt.Errorf("move: %d: want -1, 0 or 1", a.Item.Move)
	case a.Item.Register.TonicOctave < -1 || a.Item.Register.TonicOctave > 9:
		return fmt.Errorf("tonic_octave: %d is out of range: want -1 to 9", a.Item.Register.TonicOctave)
	case a.At.Year() < 1 || a.At.Year() > 9999:
		return fmt.Errorf("at: the year %d is out of range", a.At.Year())
	case a.Guess != exercise.NotMeasured && a.Guess != exercise.InTune && a.Guess != exercise.Flat && a.Guess != exercise.Sharp:
		return fmt.Errorf("guess: %s: want flat, sharp or in_tune", a.Guess)
	case a.Verdict.Outcome == exercise.NotMeasured && a.Verdict.Reason == exercise.NoReason:
		return errors.New("reason: missing for an outcome of not_measured")
	case a.Material != "" && !plainText(a.Material, 400):
		return fmt.Errorf("material: %.40q: want one line of at most 400 bytes", a.Material)
	}
	return suits(a)
}

// suits refuses what an answer to a skill of its kind does not have.
func suits(a practice.Answer) error {
	o := a.Verdict.Outcome
	judged := o == exercise.RightAnswer || o == exercise.WrongAnswer
	named, noted := a.Named != "", a.Notes != 0 || a.NotesRight != 0
	none := func(columns string, there bool) error {
		if there {
			return fmt.Errorf("%s: none belongs to %s that is %s", columns, a.Skill, o)
		}
		return nil
	}
	switch {
	case a.Skill.Kind.Heard(), a.Skill.Kind == exercise.HandSkill:
		name := a.Skill
		var err error
		if named {
			name, err = exercise.ParseSkill(a.Skill.Kind.String() + " " + a.Named)
		}
		switch {
		case !judged && o != exercise.NotMeasured && !(o == exercise.Ambiguous && a.Skill.Kind != exercise.QualitySkill):
			return fmt.Errorf("outcome: %s for %s: want right, wrong or not_measured", o, a.Skill)
		case err != nil:
			return fmt.Errorf("named: %.20q is no name for %s", a.Named, a.Skill)
		case o == exercise.RightAnswer && !(named && compose.SameSound(a.Skill, name)):
			return fmt.Errorf("named: %.20q cannot be right for %s", a.Named, a.Skill)
		}
		return cmp.Or(none("named", named && !judged), none("notes", noted))
	case a.Skill.Kind == exercise.MelodySkill:
		switch {
		case !judged && o != exercise.NotMeasured:
			return fmt.Errorf("outcome: %s for %s: want right, wrong or not_measured", o, a.Skill)
		case judged && (a.Notes < 1 || a.NotesRight < 0 || a.NotesRight > a.Notes):
			return fmt.Errorf("notes_right: %d of notes %d: want 1 note or more, and 0 to all of them right", a.NotesRight, a.Notes)
		}
		return cmp.Or(none("named", named), none("notes", noted && !judged))
	}
	if judged {
		return fmt.Errorf("outcome: %s for %s, which is sung", o, a.Skill)
	}
	return cmp.Or(none("named", named), none("material", a.Material != ""), none("notes", noted))
}
