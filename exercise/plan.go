package exercise

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"singback/theory"
)

// Question is one thing to ask in a sitting.
type Question struct {
	Skill     Skill
	Key       theory.Key
	SetKey    bool // the key is to be set before it
	Tolerance theory.Cents
	Feedback  Feedback
	Guess     bool // "sharp, flat or right?" is asked before the verdict is told
	New       bool // it was never met before
}

// SittingOptions say what a sitting is like.
type SittingOptions struct {
	Start   time.Time // with the singer's time zone
	Minutes float64   // it ends before this is over; MinMinutes … MaxMinutes
	Sung    float64   // minutes of singing in a day, after which it ends; above 0
	Seed    uint64
	Fading  Fading
	NoGuess bool             // never ask for a guess
	Asks    func(Skill) bool // skills that can be asked for; nil: all
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

var endWords = [...]string{"", "the time is over", "that was enough singing for today", "errors were rising: rest, and go on later or tomorrow", "the course asks for nothing that can be sung here"}

// String says the reason in words; "" while the sitting goes on.
func (e End) String() string {
	if e < 0 || int(e) >= len(endWords) {
		return fmt.Sprintf("End(%d)", int8(e))
	}
	return endWords[e]
}

// Sitting chooses the questions of one sitting, one at a time, from what is due
// and what is weak:
//
//   - It begins with what is known best.
//   - The most urgent comes next: what is likely forgotten, was answered wrong
//     lately, or is due, less what was asked already in this sitting. A little
//     chance keeps the order from being the same each day.
//   - No question is asked twice in a row, nor the same degree, if there is
//     another.
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
	stage    int
	list     []*candidate
	end      End

	asked   int
	counts  map[Skill]int
	left    int // questions left in the series
	key     theory.Key
	series  int
	lastQ   Skill
	since   int // questions since the last new skill
	right   []bool
	spent   float64 // seconds, up to the last question
	longest float64 // seconds that a question has taken so far
}

// candidate is a skill that may be asked.
type candidate struct {
	skill Skill
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
		rng:    rand.New(rand.NewPCG(o.Seed, 0x746f646179)),
		since:  newAfter,
		counts: map[Skill]int{},
	}
	s.open()
	return s, nil
}

// open lists what may be asked in the stages that are open by now.
func (s *Sitting) open() {
	s.stage, s.list = s.course.Stage(s.practice), nil
	at := map[Skill]*candidate{}
	for i, stage := range s.course.Stages[:s.stage+1] {
		for _, skill := range stage.Skills {
			if s.options.Asks != nil && !s.options.Asks(skill) {
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

// Stage returns the index of the stage that the sitting is in. It may grow when a
// series begins.
func (s *Sitting) Stage() int { return s.stage }

// Ended returns why the sitting has ended; GoingOn if it has not.
func (s *Sitting) Ended() End { return s.end }

// Next returns the next question; false when the sitting has ended. Seconds is
// how much of it is over.
func (s *Sitting) Next(seconds float64) (Question, bool) {
	now := s.options.Start.Add(time.Duration(seconds * float64(time.Second)))
	s.longest = max(s.longest, seconds-s.spent)
	s.spent = seconds
	_, sung := s.practice.NewToday(now)
	switch {
	case s.end != GoingOn:
	case s.asked > 0 && seconds+s.longest+margin > 60*s.options.Minutes:
		s.end = TimeOver
	case sung >= 60*s.options.Sung:
		s.end = SungOut
	case s.tired():
		s.end = Tired
	}
	if s.end != GoingOn {
		return Question{}, false
	}
	setKey := s.left == 0
	if setKey {
		if !s.newSeries(now) {
			s.end = NoSkill
			return Question{}, false
		}
	}
	c := s.choose(now, func(c *candidate) bool { return slices.Contains(c.keys, s.key) })
	if c == nil {
		s.end = NoSkill
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
		q.Feedback = m.Feedback()
	case AllBlind:
		q.Feedback = Blind
	}
	q.Guess = !s.options.NoGuess && known && !q.Feedback.Unaided() && s.asked%guessEvery == guessEvery-1
	s.asked++
	s.left--
	s.since++
	if q.New {
		s.since = 0
	}
	s.counts[c.skill]++
	s.lastQ = c.skill
	return q, true
}

// Add takes note of the answer to the last question.
func (s *Sitting) Add(t Trial) {
	if t.Grade != Undecided {
		s.right = append(s.right, t.Right)
	}
	s.practice.Add(t)
}

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
		if m := s.practice.skills[Skill{Kind: KeySkill, Key: k}]; m != nil {
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
// there is none.
func (s *Sitting) choose(now time.Time, may func(*candidate) bool) *candidate {
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
			if !may(c) || pass == 0 && s.asked > 0 && c.skill.Degree == s.lastQ.Degree || c.skill == s.lastQ && s.asked > 0 && pass == 0 {
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
	met, _ := s.practice.NewToday(now)
	canBegin := fresh != nil && met < s.course.New && weak < manyWeak
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
// forgotten (0 … 1) and weak (0 … 1, half as much again), half for being due, a little for a key in
// which it was never met and for chance, less for each time that it was asked in
// this sitting.
func (s *Sitting) urgency(c *candidate, m Memory, now time.Time) float64 {
	u := 1 - m.Recall(now) + 1.5*m.Weakness() - 0.3*float64(s.counts[c.skill]) + 0.1*s.rng.Float64()
	if m.IsDue(now) {
		u += 0.5
	}
	if s.left > 0 && m.keys[s.key] == 0 {
		u += 0.1
	}
	return u
}
