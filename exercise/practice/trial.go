package practice

import (
	"time"

	"singback/exercise"
	"singback/theory"
)

// Rating is how well an answer was known, for the schedule.
type Rating int8

// The ratings; the numbers are those of FSRS.
const (
	Undecided Rating = iota // not measured, ambiguous or no degree: counts for nothing
	Again                   // the wrong degree
	Hard                    // the right degree, but out of tune, slow, found by steps, or after a second hearing
	Good                    // right
	Easy                    // right within easyCents and at once
)

// The limits of the ratings (common practice).
const (
	easyCents = 15.0 // how near, in cents
	atOnce    = 1.5  // seconds from the opening of the window
	slow      = 4.0
)

// Rate rates a verdict; again tells that the question was heard more than
// once before the answer.
func Rate(it exercise.Item, v exercise.Verdict, again bool) Rating {
	away := max(v.Cents, -v.Cents)
	switch {
	case !v.Counts():
		return Undecided
	case v.Outcome == exercise.OtherDegree && v.Sung != it.Asked:
		return Again
	case v.Outcome != exercise.InTune, again, v.BySteps, v.Answer > slow:
		return Hard
	case away <= easyCents && v.Answer <= atOnce:
		return Easy
	}
	return Good
}

// Trial is one answer as practice sees it. Only first measured answers belong
// into practice.
type Trial struct {
	At       time.Time      // of the answer, in the singer's own time zone: its date is the day that counts
	Skill    exercise.Skill // what was asked for
	Key      theory.Key
	Rating   Rating
	Right    bool // in tune, named right, or a line passed
	Feedback Feedback
	Sung     float64 // seconds of singing
	Octave   Octave  // of a sung answer
	Away     int     // semitones from the degree sounded up to the one asked, negative down; 0 without one
	Planned  bool    // a sitting asked for it, and not the singer

	turned bool // the move was sung the other way; see Practice.Turned
}

// Octave is the octave in which a sung answer lay against the one in which the
// question placed it: the OctaveShift of its verdict. Known is false where no
// degree was sung.
type Octave struct {
	Shift int
	Known bool
}

// NewTrial returns the trial of a sung answer.
func NewTrial(at time.Time, it exercise.Item, v exercise.Verdict, again bool, f Feedback) Trial {
	return Trial{
		At: at, Skill: it.Skill(), Key: it.Key, Rating: Rate(it, v, again), Right: v.Outcome.IsRight(), Feedback: f,
		Sung: v.Held, Octave: Octave{v.OctaveShift, v.HasSung}, Away: away(it),
	}
}

// away is how many semitones an item goes up from its From; 0 without one.
func away(it exercise.Item) int {
	if it.From == nil {
		return 0
	}
	to, _ := it.Target()
	return to.MIDI() - it.FromPitch().MIDI()
}

// How fast a name is given at once, and from when it is slow, in seconds from the
// end of the sound (common practice).
const (
	namedAtOnce = 3.0
	namedSlow   = 10.0
)

// RateNamed rates a name that was given to what was heard, so many seconds
// after it had sounded; again tells that it was heard more than once.
func RateNamed(right bool, seconds float64, again bool) Rating {
	switch {
	case !right:
		return Again
	case again, seconds > namedSlow:
		return Hard
	case seconds <= namedAtOnce:
		return Easy
	}
	return Good
}

// NewNamedTrial returns the trial of a named bass degree or chord quality.
func NewNamedTrial(at time.Time, k theory.Key, s exercise.Skill, right bool, seconds float64, again bool, f Feedback) Trial {
	return Trial{At: at, Skill: s, Key: k, Rating: RateNamed(right, seconds, again), Right: right, Feedback: f}
}

// LineShare is the share of the notes of a line that must be right for the line
// to be passed, and GoodLine that for a good one (common practice).
const (
	LineShare = 0.8
	GoodLine  = 0.9
)

// LineOutcome says whether a line of which so many notes were right was passed:
// RightAnswer or WrongAnswer; NotMeasured without a note.
func LineOutcome(right, notes int) exercise.Outcome {
	switch {
	case notes < 1:
		return exercise.NotMeasured
	case float64(right) >= LineShare*float64(notes)-1e-9:
		return exercise.RightAnswer
	}
	return exercise.WrongAnswer
}

// RateLine rates a sung line; again tells that it was sung before.
func RateLine(right, notes int, again bool) Rating {
	switch o := LineOutcome(right, notes); {
	case o == exercise.NotMeasured:
		return Undecided
	case o == exercise.WrongAnswer:
		return Again
	case again, float64(right) < GoodLine*float64(notes)-1e-9:
		return Hard
	case right < notes:
		return Good
	}
	return Easy
}

// NewLineTrial returns the trial of a sung line of a level; sung is in seconds. A
// line credits its level and, with a share, its key: no single degree or move.
func NewLineTrial(at time.Time, k theory.Key, level, right, notes int, sung float64, again bool, f Feedback) Trial {
	return Trial{
		At: at, Skill: exercise.Skill{Kind: exercise.MelodySkill, Level: level}, Key: k, Rating: RateLine(right, notes, again),
		Right: LineOutcome(right, notes) == exercise.RightAnswer, Feedback: f, Sung: sung,
	}
}

// Credit is the share of a review that an answer is worth for a skill, above 0
// and at most 1.
type Credit struct {
	Skill exercise.Skill
	Share float64
}

// The shares of skills that an answer touches beside the one asked for. They
// are cautious: a wrong answer to a pair may be the move's fault and not the
// degree's, and a key is learnt by many answers (common practice).
const (
	wrongEnd = 0.5
	inKey    = 0.25
)

// Credits returns what an answer is worth, and for which skills:
//
//   - the skill asked for: all of it;
//   - a pair: also the degree it leads to, all of a right degree and half of a
//     wrong one; of one that was sung the other way only that degree, not the move;
//   - the key: a quarter;
//   - an undecided answer: nothing.
//
// Nothing else is inferred: not the pair the other way, not the same degree from
// elsewhere.
func (t Trial) Credits() []Credit {
	if t.Rating == Undecided {
		return nil
	}
	credits := []Credit{{t.Skill, 1}}
	if t.turned {
		credits = nil
	}
	if t.Skill.Kind == exercise.PairSkill {
		share := 1.0
		if t.Rating == Again {
			share = wrongEnd
		}
		credits = append(credits, Credit{exercise.DegreeSkillOf(t.Key, t.Skill.Degree), share})
	}
	if t.Skill.Kind != exercise.KeySkill {
		credits = append(credits, Credit{exercise.Skill{Kind: exercise.KeySkill, Key: t.Key}, inKey})
	}
	return credits
}
