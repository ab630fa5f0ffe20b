package exercise

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"singback/theory"
)

// Kind is a kind of skill.
type Kind int8

// The kinds.
const (
	DegreeSkill    Kind = iota // to sing a degree of the key's scale after the key has been set
	PairSkill                  // to sing a degree from another one, up or down
	KeySkill                   // to be at home in a key
	ChromaticSkill             // to sing a degree outside the key's scale
	BassSkill                  // to tell which degree the bass has
	QualitySkill               // to tell the quality of a chord
	MelodySkill                // to sing melodies of a level
)

var kindNames = [...]string{"degree", "pair", "key", "chromatic", "bass", "quality", "melody"}

// String returns the name: "degree", "pair", …
func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindNames) {
		return fmt.Sprintf("Kind(%d)", int8(k))
	}
	return kindNames[k]
}

// Skill is one thing that can be practised. Skills are values and compare with
// ==; fields that the kind does not name are zero. A degree is meant as counted
// from the tonic, in every key.
type Skill struct {
	Kind   Kind
	Degree theory.Degree // of a degree, chromatic or bass skill; the end of a pair
	From   theory.Degree // the start of a pair
	Way    Direction     // of a pair: Up or Down
	Key    theory.Key    // of a key skill
	Chord  string        // of a quality skill: the chord's symbol without its root
	Level  int           // of a melody skill, 1 …
}

// String writes the skill as the record keeps it: "degree 6", "pair 4-6 up",
// "key Ab major", "chromatic #4", "bass 4", "quality m7b5", "melody 3".
func (s Skill) String() string {
	name := s.Kind.String() + " "
	switch s.Kind {
	case PairSkill:
		return name + s.From.ASCII() + "-" + s.Degree.ASCII() + " " + s.Way.String()
	case KeySkill:
		return name + s.Key.ASCII()
	case QualitySkill:
		return name + s.Chord
	case MelodySkill:
		return name + strconv.Itoa(s.Level)
	}
	return name + s.Degree.ASCII()
}

// maxLevel is the highest level of a melody that ParseSkill reads.
const maxLevel = 99

// ParseSkill reads what String writes.
func ParseSkill(text string) (Skill, error) {
	kind, rest, _ := strings.Cut(text, " ")
	s := Skill{Kind: -1}
	for k, name := range kindNames {
		if name == kind {
			s.Kind = Kind(k)
		}
	}
	ok := false
	switch s.Kind {
	case -1:
		return Skill{}, fmt.Errorf("no skill %.40q: want one that begins with %s", text, strings.Join(kindNames[:], ", "))
	case PairSkill:
		pair, way, _ := strings.Cut(rest, " ")
		from, to, _ := strings.Cut(pair, "-")
		s.Way = map[string]Direction{"up": Up, "down": Down}[way]
		var a, b bool
		s.From, a = readDegree(from)
		s.Degree, b = readDegree(to)
		ok = a && b && s.Way != Within
	case KeySkill:
		var err error
		s.Key, err = theory.ParseModalKey(rest)
		ok = err == nil
	case QualitySkill:
		s.Chord = rest
		ok = len(rest) <= 16 && !strings.ContainsFunc(rest, func(r rune) bool { return r <= ' ' || r > '~' })
	case MelodySkill:
		var err error
		s.Level, err = strconv.Atoi(rest)
		ok = err == nil && s.Level >= 1 && s.Level <= maxLevel
	default:
		s.Degree, ok = readDegree(rest)
	}
	if !ok {
		return Skill{}, fmt.Errorf("no skill %.40q: want one like \"degree 6\", \"pair 4-b6 up\", \"key Ab major\", \"chromatic #4\", \"bass 4\", \"quality m7b5\" or \"melody 3\"", text)
	}
	return s, nil
}

// readDegree reads a degree as Degree.ASCII writes it: "6", "b3", "##4".
func readDegree(s string) (theory.Degree, bool) {
	digit := strings.TrimLeft(s, "b#")
	signs := s[:len(s)-len(digit)]
	if len(digit) != 1 || digit[0] < '1' || digit[0] > '7' || len(signs) > 2 {
		return theory.Degree{}, false
	}
	d := theory.Degree{Step: int(digit[0] - '0'), Alter: strings.Count(signs, "#") - strings.Count(signs, "b")}
	return d, d.ASCII() == s
}

// ParseDegree reads a degree as theory.Degree.ASCII writes it, counted from the
// major scale: "6", "b3", "#4".
func ParseDegree(s string) (theory.Degree, error) {
	d, ok := readDegree(s)
	if !ok {
		return d, fmt.Errorf("%w: %.20q; want 1 to 7 with b or # before it, like b3", theory.ErrDegree, s)
	}
	return d, nil
}

// inScale reports whether d belongs to the scale of k, the harmonic and melodic
// forms of minor included.
func inScale(k theory.Key, d theory.Degree) bool {
	for _, own := range k.ScaleDegrees() {
		if own == d {
			return true
		}
	}
	return k.Mode == theory.Minor && (d == theory.Degree{Step: 6} || d == theory.Degree{Step: 7})
}

// single is the skill of singing one degree of a key.
func single(k theory.Key, d theory.Degree) Skill {
	if inScale(k, d) {
		return Skill{Kind: DegreeSkill, Degree: d}
	}
	return Skill{Kind: ChromaticSkill, Degree: d}
}

// Skill returns what an item asks for: the pair if it has a From, else the
// degree.
func (it Item) Skill() Skill {
	if way := it.Direction(); way != Within {
		return Skill{Kind: PairSkill, From: *it.From, Degree: it.Asked, Way: way}
	}
	return single(it.Key, it.Asked)
}

// Ask returns base, with its key, as the question for a skill; false for skills
// that are no single sung degree.
func (s Skill) Ask(base Item) (Item, bool) {
	base.Asked, base.From, base.Move = s.Degree, nil, Within
	switch s.Kind {
	case DegreeSkill, ChromaticSkill:
		return base, true
	case PairSkill:
		base.From, base.Move = &s.From, s.Way
		return base, true
	}
	return Item{}, false
}

// Grade is how well an answer went, for the schedule.
type Grade int8

// The grades; the numbers are those of FSRS.
const (
	Undecided Grade = iota // not measured, ambiguous or no degree: counts for nothing
	Again                  // the wrong degree
	Hard                   // the right degree, but out of tune, slow, found by steps, or after a second hearing
	Good                   // right
	Easy                   // right within easyCents and at once
)

// The limits of the grades (common practice).
const (
	easyCents = 15.0 // how near, in cents
	atOnce    = 1.5  // seconds from the opening of the window
	slow      = 4.0
)

// GradeOf grades a verdict; again tells that the question was heard more than
// once before the answer.
func GradeOf(it Item, v Verdict, again bool) Grade {
	away := max(v.Cents, -v.Cents)
	switch {
	case !v.Counts():
		return Undecided
	case v.Outcome == OtherDegree && v.Sung != it.Asked:
		return Again
	case v.Outcome != InTune, again, v.BySteps, v.Answer > slow:
		return Hard
	case away <= easyCents && v.Answer <= atOnce:
		return Easy
	}
	return Good
}

// Trial is one answer as practice sees it. Only first measured answers belong
// into practice.
type Trial struct {
	At       time.Time // of the answer, in the singer's own time zone: its date is the day that counts
	Skill    Skill     // what was asked for
	Key      theory.Key
	Grade    Grade
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
func NewTrial(at time.Time, it Item, v Verdict, again bool, f Feedback) Trial {
	return Trial{
		At: at, Skill: it.Skill(), Key: it.Key, Grade: GradeOf(it, v, again), Right: v.Outcome.IsRight(), Feedback: f,
		Sung: v.Held, Octave: Octave{v.OctaveShift, v.HasSung}, Away: away(it),
	}
}

// away is how many semitones an item goes up from its From; 0 without one.
func away(it Item) int {
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

// GradeNamed grades a name that was given to what was heard, so many seconds
// after it had sounded; again tells that it was heard more than once.
func GradeNamed(right bool, seconds float64, again bool) Grade {
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
func NewNamedTrial(at time.Time, k theory.Key, s Skill, right bool, seconds float64, again bool, f Feedback) Trial {
	return Trial{At: at, Skill: s, Key: k, Grade: GradeNamed(right, seconds, again), Right: right, Feedback: f}
}

// LineShare is the share of the notes of a line that must be right for the line
// to be passed, and GoodLine that for a good one (common practice).
const (
	LineShare = 0.8
	GoodLine  = 0.9
)

// LineOutcome says whether a line of which so many notes were right was passed:
// RightAnswer or WrongAnswer; NotMeasured without a note.
func LineOutcome(right, notes int) Outcome {
	switch {
	case notes < 1:
		return NotMeasured
	case float64(right) >= LineShare*float64(notes)-1e-9:
		return RightAnswer
	}
	return WrongAnswer
}

// GradeLine grades a sung line; again tells that it was sung before.
func GradeLine(right, notes int, again bool) Grade {
	switch o := LineOutcome(right, notes); {
	case o == NotMeasured:
		return Undecided
	case o == WrongAnswer:
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
		At: at, Skill: Skill{Kind: MelodySkill, Level: level}, Key: k, Grade: GradeLine(right, notes, again),
		Right: LineOutcome(right, notes) == RightAnswer, Feedback: f, Sung: sung,
	}
}

// Credit is the share of a review that an answer is worth for a skill, above 0
// and at most 1.
type Credit struct {
	Skill Skill
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
	if t.Grade == Undecided {
		return nil
	}
	credits := []Credit{{t.Skill, 1}}
	if t.turned {
		credits = nil
	}
	if t.Skill.Kind == PairSkill {
		share := 1.0
		if t.Grade == Again {
			share = wrongEnd
		}
		credits = append(credits, Credit{single(t.Key, t.Skill.Degree), share})
	}
	if t.Skill.Kind != KeySkill {
		credits = append(credits, Credit{Skill{Kind: KeySkill, Key: t.Key}, inKey})
	}
	return credits
}

// Feedback says what a singer is told after an answer.
type Feedback int8

// The kinds of feedback, from the most to none.
const (
	Full         Feedback = iota // always told
	SecondShown                  // every second answer is told: this one is
	SecondHidden                 // this one is not
	Outside                      // told only where it was outside the tolerance
	Blind                        // a check: never told
)

var feedbackNames = [...]string{"full", "second_shown", "second_hidden", "outside", "blind"}

// String returns the name used in the record.
func (f Feedback) String() string {
	if f < 0 || int(f) >= len(feedbackNames) {
		return fmt.Sprintf("Feedback(%d)", int8(f))
	}
	return feedbackNames[f]
}

// ParseFeedback reads what String writes.
func ParseFeedback(s string) (Feedback, error) {
	for f, name := range feedbackNames {
		if name == s {
			return Feedback(f), nil
		}
	}
	return 0, fmt.Errorf("no feedback %.20q: want %s", s, strings.Join(feedbackNames[:], ", "))
}

// Unaided reports whether an answer was sung without the promise of feedback.
func (f Feedback) Unaided() bool { return f >= SecondHidden }

// Shows reports whether a verdict is told. What could not be decided always is:
// the singer must know that nothing was heard.
func (f Feedback) Shows(v Verdict) bool {
	switch {
	case !v.Counts(), f <= SecondShown:
		return true
	case f == Outside:
		return !v.Outcome.IsRight()
	}
	return false
}
