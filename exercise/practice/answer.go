package practice

import (
	"time"

	"singback/exercise"
)

// Session is what the answers of one run have in common.
type Session struct {
	ID        string // 32 hexadecimal digits, the same nowhere else; whoever begins one draws it
	Singer    string
	Started   time.Time // with the singer's time zone
	Command   string    // "sing", "today", …
	Source    string    // what answered: "mic", "recording", "simulated"
	Seed      uint64
	Estimator string // pitch.Version
}

// Answer is one judged attempt, with all that is needed to judge it again.
type Answer struct {
	Session   Session
	Number    int // in the session, 1 …; set by Add
	Index     int // of the question in the session, 1 …
	Attempt   int // at the question, 1 …
	At        time.Time
	Skill     exercise.Skill
	Item      exercise.Item
	Tolerance exercise.Tolerance
	Verdict   exercise.Verdict
	Counts    bool // the first measured answer to its question
	Again     bool // the question was heard more than once before it
	Feedback  Feedback
	Guess     exercise.Outcome // flat, sharp or in tune, as the singer guessed; NotMeasured: no guess

	// Of what is no single sung degree. Its item asks for the bass degree, the
	// degree of the chord's root, or that of a melody's first note; its verdict
	// has an Outcome and a Reason, and as Answer the seconds from the end of the
	// sound to the name, or as Held those of singing.
	Named             string // the bass degree or quality that was named, or the degree that was struck, as in Skill.String; "": given up, or not measured
	Material          string // what was heard, read or, before it was struck, sung: "I V65 I", "level 3 seed 4711", "sung 6"; one line of at most 400 bytes
	Notes, NotesRight int    // of a sung line; 0 where nothing was measured
}

// Trial returns the answer as practice sees it; false if it does not count. An
// echo never does: its phrase was heard just before, so it shows memory, not that
// the level can be read.
func (a Answer) Trial() (Trial, bool) {
	counts := a.Counts && a.Session.Command != "echo"
	planned := a.Session.Command == "today"
	switch {
	case a.Skill.Kind.Heard(), a.Skill.Kind == exercise.HandSkill:
		t := NewNamedTrial(a.At, a.Item.Key, a.Skill, a.Verdict.Outcome.IsRight(), a.Verdict.Answer, a.Again, a.Feedback)
		if !a.Verdict.Counts() {
			t.Rating = Undecided
		}
		t.Planned = planned
		return t, counts
	case a.Skill.Kind == exercise.MelodySkill:
		t := NewLineTrial(a.At, a.Item.Key, a.Skill.Level, a.NotesRight, a.Notes, a.Verdict.Held, a.Again, a.Feedback)
		t.Planned = planned
		return t, counts
	}
	t := NewTrial(a.At, a.Item, a.Verdict, a.Again, a.Feedback)
	t.Skill, t.Planned = a.Skill, planned
	return t, counts
}
