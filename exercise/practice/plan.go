package practice

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"singback/exercise"
	"singback/theory"
)

// Question is one thing to ask in a sitting.
type Question struct {
	Skill     exercise.Skill
	Key       theory.Key
	SetKey    bool // the key is to be set before it
	Tolerance theory.Cents
	Feedback  Feedback
	Guess     bool // "sharp, flat or right?" is asked before the verdict is told
	New       bool // it was never met before

	Part, Parts int              // its place in a chain of the course that is sung whole; 0, 0 outside of one
	Length      int              // of a bass or quality skill: how many chords are heard, 1 or more
	Known       []exercise.Skill // and what else may be among them: those of its kind that were met, for this key
}

// SittingOptions say what a sitting is like.
type SittingOptions struct {
	Start   time.Time // with the singer's time zone
	Minutes float64   // it ends before this is over; MinMinutes … MaxMinutes
	Sung    float64   // minutes of singing in a day, after which it ends; above 0
	Seed    uint64
	Fading  Fading
	NoGuess bool                      // never ask for a guess
	Asks    func(exercise.Skill) bool // skills that can be asked for; nil: all
}

// Fading says how feedback goes in a sitting.
type Fading int8

// The ways.
const (
	Fade     Fading = iota // as Memory.Feedback says
	AllTold                // always told; nothing can then be mastered
	AllBlind               // never told
)

// DefaultSung is the usual limit of singing, in minutes a day (common practice:
// many short sittings, with rests).
const DefaultSung = 10.0

// End is why a sitting ended.
type End int8

// The reasons.
const (
	GoingOn  End = iota
	TimeOver     // the minutes
	SungOut      // the singing time of the day
	Tired        // errors rise
	NoSkill      // the course has nothing that can be asked
)

// shape is how a question is put and answered, and so how long it takes.
type shape int8

const (
	sungNote shape = iota // one degree is sung
	named                 // chords are heard, and something of them is named
	sungLine              // a melody is read and sung
	reasoned              // a progression is heard, and told in three steps
)

func shapeOf(s exercise.Skill) shape {
	switch {
	case s.Kind == exercise.RootSkill, s.Kind == exercise.InversionSkill:
		return reasoned
	case s.Kind.Heard(), s.Kind == exercise.HandSkill:
		return named
	case s.Kind == exercise.MelodySkill:
		return sungLine
	}
	return sungNote
}

// expected is how many seconds a question takes at least in the plan, before one
// of its shape has taken longer.
var expected = [...]float64{sungNote: 0, named: 15, sungLine: 75, reasoned: 75}

var endNames = [...]string{"", "time_over", "sung_out", "tired", "no_skill"}

// String returns the name; "" while the sitting goes on.
func (e End) String() string {
	if e < 0 || int(e) >= len(endNames) {
		return fmt.Sprintf("End(%d)", int8(e))
	}
	return endNames[e]
}

// Sitting chooses the questions of one sitting, one at a time, from what is due
// and what is weak:
//
//   - It begins with what is known best.
//   - The most urgent comes next: what is likely forgotten, was answered wrong
//     lately, or is due, less what was asked already in this sitting. A little
//     chance keeps the order from being the same each day.
//   - No question is asked twice in a row, nor the same degree, nor two that are
//     named, if there is another.
//   - A chain of the course is sung whole and in order, once in a sitting, when one
//     of its skills is to be asked and all of them were met before. Between two
//     chains, or two melodies, come other questions.
//   - A new skill comes after some known ones, a few a day, in the course's order,
//     and not while many known ones are weak.
//   - Questions come in series. Each series has one key: of those that the most
//     urgent skill is practised in the one in which it was met least, then the one
//     that was used least. So every sound is met in all the keys of its stage.
//   - It ends on time (not if the longest question so far would not fit), when the
//     singing time of the day is over, or when errors rise: see Tired.
type Sitting struct {
	practice *Practice
	course   Course
	options  SittingOptions
	rng      *rand.Rand
	standing Standing
	slipped  map[exercise.Skill]bool // what is in review
	list     []*candidate
	end      End

	asked   int
	counts  map[exercise.Skill]int
	left    int // questions left in the series
	key     theory.Key
	series  int
	lastQ   exercise.Skill
	since   int // questions since the last new skill
	right   []bool
	spent   float64                // seconds, up to the last question
	longest [len(expected)]float64 // seconds that a question of a shape has taken so far

	fresh int     // skills met for the first time on the sitting's day, which is the one on which it began, past midnight too
	sung  float64 // seconds of singing on that day

	chains  []*chain
	queue   []exercise.Skill // what is left of the chain that is being sung
	parts   int              // its length
	unchain int              // questions since the last chain
	unlined int              // questions since the last melody
	lines   int
}

// chain is a chain of the course that may be sung.
type chain struct {
	skills []exercise.Skill
	sung   bool // in this sitting
}

// candidate is a skill that may be asked.
type candidate struct {
	skill exercise.Skill
	stage int
	keys  []theory.Key
}

// The measures of a sitting (common practice; the simulated learner of the tests
// practises by them).
const (
	margin     = 2.0 // seconds that a question may take longer than the longest so far
	newAfter   = 4   // questions between two new skills
	manyWeak   = 5   // so many weak known skills, and no new one is begun
	weakAt     = 0.5 // Weakness of a weak skill
	guessEvery = 4   // every fourth told question asks for a guess first
	chainAfter = 6   // questions between two chains
	lineAfter  = 8   // questions between two melodies, and before the first
	mostLines  = 2   // melodies in a sitting
)

// NewSitting begins a sitting. Trials given to Add go into p as well.
func NewSitting(p *Practice, c Course, o SittingOptions) (*Sitting, error) {
	if err := c.Validate(); err != nil {
		return nil, fmt.Errorf("course: %w", err)
	}
	if !(o.Minutes >= MinMinutes && o.Minutes <= MaxMinutes) {
		return nil, fmt.Errorf("a sitting of %g minutes is out of range: want %g to %g", o.Minutes, MinMinutes, MaxMinutes)
	}
	if !(o.Sung > 0) {
		return nil, fmt.Errorf("a singing time of %g minutes is out of range: want more than 0", o.Sung)
	}
	s := &Sitting{
		practice: p, course: c, options: o,
		rng:     rand.New(rand.NewPCG(o.Seed, 0x746f646179)),
		since:   newAfter,
		counts:  map[exercise.Skill]int{},
		longest: expected,
	}
	s.fresh, s.sung = p.NewToday(o.Start)
	s.open()
	return s, nil
}

// open lists what may be asked: the skills of the stages that are open by now, and
// of later ones what was met. That happens where the course was changed, or
// something was sung outside of it.
func (s *Sitting) open() {
	s.standing, s.list = s.Standing(), nil
	s.slipped = map[exercise.Skill]bool{}
	for _, r := range s.standing.Review {
		for _, skill := range r.Skills {
			s.slipped[skill] = true
		}
	}
	at := map[exercise.Skill]*candidate{}
	chains := 0
	for i, stage := range s.course.Stages {
		for _, c := range stage.Chains {
			if chains++; chains > len(s.chains) { // the stages before stay open
				s.chains = append(s.chains, &chain{skills: c})
			}
		}
		for _, skill := range stage.Skills {
			if s.options.Asks != nil && !s.options.Asks(skill) {
				continue
			}
			if m := s.practice.skills[skill]; i > s.standing.Stage && (m == nil || m.Answers == 0) {
				continue
			}
			if at[skill] == nil {
				at[skill] = &candidate{skill: skill}
				s.list = append(s.list, at[skill])
			}
			at[skill].stage = i
			for _, k := range stage.Keys {
				if !slices.Contains(at[skill].keys, k) {
					at[skill].keys = append(at[skill].keys, k)
				}
			}
		}
	}
}

// Standing returns where the singer stands in the course, by all answers so far.
func (s *Sitting) Standing() Standing { return s.course.Standing(s.practice, s.options.Asks) }

// Ended returns why the sitting has ended; GoingOn if it has not.
func (s *Sitting) Ended() End { return s.end }

// Next returns the next question; false when the sitting has ended. Seconds is
// how much of it is over.
func (s *Sitting) Next(seconds float64) (Question, bool) {
	now := s.options.Start.Add(time.Duration(seconds * float64(time.Second)))
	if s.asked > 0 {
		last := shapeOf(s.lastQ)
		s.longest[last] = max(s.longest[last], seconds-s.spent)
	}
	s.spent = seconds
	switch {
	case s.end != GoingOn:
	case s.asked > 0 && !s.fits(1, slices.MinFunc([]shape{sungNote, named, sungLine}, func(a, b shape) int {
		return cmp.Compare(s.longest[a], s.longest[b])
	})):
		s.end = TimeOver
	case s.sung >= 60*s.options.Sung:
		s.end = SungOut
	case s.tired():
		s.end = Tired
	}
	if s.end != GoingOn {
		return Question{}, false
	}
	setKey := s.left == 0 && len(s.queue) == 0
	if setKey {
		if !s.newSeries(now) {
			s.end = NoSkill
			return Question{}, false
		}
	}
	c := s.take(now)
	if c == nil {
		if s.end = NoSkill; s.asked > 0 {
			s.end = TimeOver // what is left takes longer
		}
		return Question{}, false
	}
	m, known := s.practice.Memory(c.skill)
	known = known && m.Answers > 0
	q := Question{
		Skill: c.skill, Key: s.key, SetKey: setKey, New: !known,
		Tolerance: s.course.Stages[c.stage].Tolerance,
	}
	switch s.options.Fading {
	case Fade:
		q.Feedback = m.Feedback(now)
	case AllBlind:
		q.Feedback = Blind
	}
	shape := shapeOf(c.skill)
	q.Guess = !s.options.NoGuess && known && shape == sungNote && !q.Feedback.Unaided() && s.asked%guessEvery == guessEvery-1
	if s.parts > 0 {
		q.Part, q.Parts = s.parts-len(s.queue), s.parts
		if len(s.queue) == 0 {
			s.parts = 0
		}
	}
	if shape == named {
		q.Length, q.Known = m.chords(c.skill.Kind), s.met(c.skill.Kind)
	}
	s.asked++
	s.left = max(0, s.left-1)
	s.since++
	s.unchain++
	s.unlined++
	if q.New {
		s.since = 0
	}
	if q.Parts > 0 {
		s.unchain = 0
	}
	if shape == sungLine {
		s.unlined = 0
		s.lines++
	}
	s.counts[c.skill]++
	s.lastQ = c.skill
	return q, true
}

// Due returns how many of the skills that may be asked are due, so many seconds after
// the start.
func (s *Sitting) Due(seconds float64) int {
	now, n := s.options.Start.Add(time.Duration(seconds*float64(time.Second))), 0
	for _, c := range s.known() {
		if m, _ := s.practice.Memory(c.skill); m.IsDue(now) {
			n++
		}
	}
	return n
}

// Left returns how many seconds are left after so many.
func (s *Sitting) Left(seconds float64) float64 { return max(0, 60*s.options.Minutes-seconds) }

// fits reports whether so many questions of a shape end in time.
func (s *Sitting) fits(n int, of shape) bool {
	return s.spent+float64(n)*s.longest[of]+margin <= 60*s.options.Minutes
}

// take takes the next candidate: what is left of a chain, or the one to choose,
// or the first of a chain that has it. Nil if there is none.
func (s *Sitting) take(now time.Time) *candidate {
	inKey := func(c *candidate) bool { return slices.Contains(c.keys, s.key) }
	if len(s.queue) == 0 {
		c := s.choose(now, inKey)
		if c == nil || !s.begin(c.skill) {
			return c
		}
	}
	next := s.queue[0]
	s.queue = s.queue[1:]
	for _, c := range s.list {
		if c.skill == next {
			return c
		}
	}
	return nil // unreachable: begin has looked
}

// begin begins a chain with the skill in it, if there is one to be sung now.
func (s *Sitting) begin(skill exercise.Skill) bool {
	if s.unchain < chainAfter || shapeOf(skill) != sungNote {
		return false
	}
	ready := func(c *chain) bool {
		if c.sung || !slices.Contains(c.skills, skill) || !s.fits(len(c.skills), sungNote) {
			return false
		}
		return !slices.ContainsFunc(c.skills, func(part exercise.Skill) bool {
			m, _ := s.practice.Memory(part)
			return m.Answers == 0 || !slices.ContainsFunc(s.list, func(c *candidate) bool {
				return c.skill == part && slices.Contains(c.keys, s.key)
			})
		})
	}
	var can []*chain
	for _, c := range s.chains {
		if ready(c) {
			can = append(can, c)
		}
	}
	if len(can) == 0 {
		return false
	}
	c := can[s.rng.IntN(len(can))]
	c.sung = true
	s.queue, s.parts = c.skills, len(c.skills)
	return true
}

// met returns the skills of a kind that may be asked in this key and were met
// before.
func (s *Sitting) met(k exercise.Kind) []exercise.Skill {
	var out []exercise.Skill
	for _, c := range s.known() {
		if c.skill.Kind == k && slices.Contains(c.keys, s.key) {
			out = append(out, c.skill)
		}
	}
	return out
}

// Add takes note of the answer to the last question.
func (s *Sitting) Add(t Trial) {
	t.Planned = true
	if t.Rating != Undecided {
		s.right = append(s.right, t.Right)
	}
	if m, ok := s.practice.Memory(t.Skill); !ok || m.Answers == 0 {
		s.fresh++
	}
	s.sung += t.Sung
	s.practice.Add(t)
}

// Turned reports whether a move was sung the other way; to be asked before Add.
func (s *Sitting) Turned(t Trial) bool { return s.practice.Turned(t) }

// Tired is when a sitting ends early: of the last six answers at least four
// were wrong, and that is at least 40 points more than before them. At least
// twelve answers must have been given (common practice).
const (
	tiredOf    = 6
	tiredWrong = 4
	tiredRise  = 0.4
)

func (s *Sitting) tired() bool {
	n := len(s.right)
	if n < 2*tiredOf {
		return false
	}
	wrong := func(list []bool) (n float64) {
		for _, right := range list {
			if !right {
				n++
			}
		}
		return n
	}
	late, early := wrong(s.right[n-tiredOf:]), wrong(s.right[:n-tiredOf])
	return late >= tiredWrong && late/tiredOf-early/float64(n-tiredOf) >= tiredRise
}

// newSeries chooses the key of a series; false if nothing can be asked.
func (s *Sitting) newSeries(now time.Time) bool {
	s.open()
	c := s.choose(now, func(*candidate) bool { return true })
	if c == nil {
		return false
	}
	own := map[theory.Key]int{}
	if m := s.practice.skills[c.skill]; m != nil {
		own = m.keys
	}
	used := func(k theory.Key) int {
		if m := s.practice.skills[exercise.Skill{Kind: exercise.KeySkill, Key: k}]; m != nil {
			return int(m.card.Reps)
		}
		return 0
	}
	again := func(k theory.Key) int { // the key of the series before comes last
		if s.series > 0 && k == s.key {
			return 1
		}
		return 0
	}
	s.key = slices.MinFunc(c.keys, func(a, b theory.Key) int {
		return cmp.Or(again(a)-again(b), own[a]-own[b], used(a)-used(b))
	})
	s.left = s.course.Stages[c.stage].Series
	s.series++
	return true
}

// choose returns the candidate to ask next among those that may be; nil if
// there is none. Melodies keep their distance if there is anything else.
func (s *Sitting) choose(now time.Time, may func(*candidate) bool) *candidate {
	inTime := func(c *candidate) bool {
		return may(c) && (s.asked == 0 && shapeOf(c.skill) == sungNote || s.fits(1, shapeOf(c.skill)))
	}
	spaced := func(c *candidate) bool {
		return inTime(c) && (shapeOf(c.skill) != sungLine || s.unlined >= lineAfter && s.lines < mostLines)
	}
	if c := s.pick(now, spaced); c != nil {
		return c
	}
	return s.pick(now, inTime)
}

func (s *Sitting) pick(now time.Time, may func(*candidate) bool) *candidate {
	var best, fresh *candidate
	var most float64
	weak := 0
	for pass := 0; best == nil && pass < 2; pass++ {
		for _, c := range s.list {
			m, ok := s.practice.Memory(c.skill)
			if !ok || m.Answers == 0 {
				if fresh == nil && may(c) {
					fresh = c
				}
				continue
			}
			if pass == 0 && m.Weakness() > weakAt {
				weak++
			}
			if !may(c) || pass == 0 && s.asked > 0 && s.like(c.skill) {
				continue
			}
			u := s.urgency(c, m, now)
			if s.asked == 0 { // something known
				u = m.Recall(now) - m.Weakness()
			}
			if best == nil || u > most {
				best, most = c, u
			}
		}
	}
	canBegin := fresh != nil && s.fresh < s.course.New && weak < manyWeak
	switch {
	case best == nil: // nothing is known yet
		return fresh
	case canBegin && s.since >= newAfter && s.asked > 0:
		return fresh
	case canBegin && len(s.known()) < 2 && s.asked > 0:
		return fresh // with one skill there is nothing to mix
	}
	return best
}

// like reports whether a skill is too like the last question to follow it.
func (s *Sitting) like(skill exercise.Skill) bool {
	if shape := shapeOf(skill); shape != sungNote {
		return shape == shapeOf(s.lastQ)
	}
	return skill == s.lastQ || shapeOf(s.lastQ) == sungNote && skill.Degree == s.lastQ.Degree
}

// known returns the candidates that were met before.
func (s *Sitting) known() []*candidate {
	var out []*candidate
	for _, c := range s.list {
		if m, ok := s.practice.Memory(c.skill); ok && m.Answers > 0 {
			out = append(out, c)
		}
	}
	return out
}

// urgency says how much a known skill should be asked now: what is likely
// forgotten (0 … 1) and weak (0 … 1, half as much again), half for being due, a
// little for a key in which it was never met and for chance, less for each time
// that it was asked in this sitting. What has slipped in a stage counts a little
// more, so that the stage is soon as it was.
func (s *Sitting) urgency(c *candidate, m Memory, now time.Time) float64 {
	u := 1 - m.Recall(now) + 1.5*m.Weakness() - 0.3*float64(s.counts[c.skill]) + 0.1*s.rng.Float64()
	if m.IsDue(now) {
		u += 0.5
	}
	if s.left > 0 && m.keys[s.key] == 0 {
		u += 0.1
	}
	if s.slipped[c.skill] {
		u += 0.3
	}
	return u
}
