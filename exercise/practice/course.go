package practice

import (
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/theory"
)

// Course is what is learnt, in which order.
type Course struct {
	Name    string
	Minutes float64 // the usual length of a day's practice, MinMinutes … MaxMinutes
	New     int     // skills met for the first time in a day, at most; 0 … MaxNew
	Stages  []Stage // at least one; a later one opens when the goal of the one before is reached
}

// Stage is a step of a course.
type Stage struct {
	Name      string
	Keys      []theory.Key       // at least one
	Skills    []exercise.Skill   // what is new in it, in the order in which it is met; of any kind but KeySkill
	Chains    [][]exercise.Skill // of degrees and moves among Skills that are sung one after the other when all were met
	Tolerance theory.Cents
	Series    int // questions before the key is set again and may change, 1 … MaxSeries
	Goal      Goal
}

// Goal is when a stage has been learnt well enough for the next to open: every
// skill of it was met, that share of the last Of answers to them was in tune,
// and they were sung on so many days and in so many keys. Once is enough: what
// slips later is reviewed (see Standing), and the next stage stays open.
type Goal struct {
	Share          float64 // above 0, at most 1
	Of, Days, Keys int     // 1 … MasteryOf; 1 or more
}

// The limits of a course, all allowed.
const (
	MinMinutes, MaxMinutes = 1.0, 30.0
	MaxNew                 = 20
	MaxSeries              = 50
)

// Validate reports the first thing in a course that makes no sense.
func (c Course) Validate() error {
	switch {
	case !(c.Minutes >= MinMinutes && c.Minutes <= MaxMinutes):
		return fmt.Errorf("%g minutes are out of range: want %g to %g", c.Minutes, MinMinutes, MaxMinutes)
	case c.New < 0 || c.New > MaxNew:
		return fmt.Errorf("%d new things a day are out of range: want 0 to %d", c.New, MaxNew)
	case len(c.Stages) == 0:
		return errors.New("there is no stage")
	}
	for i, s := range c.Stages {
		if err := s.Validate(); err != nil {
			return fmt.Errorf("stage %d: %w", i+1, err)
		}
	}
	return nil
}

// Validate reports the first thing in a stage that makes no sense.
func (s Stage) Validate() error {
	for _, skill := range s.Skills {
		switch {
		case skill.Kind == exercise.KeySkill:
			return fmt.Errorf("%s is not asked for in a course", skill)
		case skill.Kind == exercise.MelodySkill && (skill.Level < 1 || skill.Level > compose.Levels):
			return fmt.Errorf("melodies of level %d are out of range: want 1 to %d", skill.Level, compose.Levels)
		}
	}
	for _, c := range s.Chains {
		if len(c) > MaxSeries {
			return fmt.Errorf("a series of %d degrees is too long: want at most %d", len(c), MaxSeries)
		}
		for _, skill := range c {
			if shapeOf(skill) != sungNote || !slices.Contains(s.Skills, skill) {
				return fmt.Errorf("%s is in a series of the stage, but is not sung in it", skill)
			}
		}
	}
	switch {
	case len(s.Keys) == 0:
		return errors.New("there is no key")
	case len(s.Skills) == 0:
		return errors.New("there is nothing to practise")
	case s.Series < 1 || s.Series > MaxSeries:
		return fmt.Errorf("a series of %d questions is out of range: want 1 to %d", s.Series, MaxSeries)
	}
	if err := (exercise.Tolerance{Cents: s.Tolerance}).Validate(); err != nil {
		return err
	}
	return s.Goal.Validate(len(s.Keys))
}

// Validate reports a goal that cannot be reached with so many keys.
func (g Goal) Validate(keys int) error {
	switch {
	case !(g.Share > 0 && g.Share <= 1):
		return fmt.Errorf("a goal of %g %% right is out of range: want 1 to 100", 100*g.Share)
	case g.Of < 1 || g.Of > MasteryOf:
		return fmt.Errorf("a goal over %d answers is out of range: want 1 to %d", g.Of, MasteryOf)
	case g.Days < 1 || g.Days > g.Of:
		return fmt.Errorf("a goal on %d days is out of range: want 1 to %d", g.Days, g.Of)
	case g.Keys < 1 || g.Keys > min(g.Of, keys):
		return fmt.Errorf("a goal in %d keys is out of range: want 1 to %d", g.Keys, min(g.Of, keys))
	}
	return nil
}

// Standing is where a singer stands in a course.
type Standing struct {
	// Stage is the index of the best stage reached. It and those before it are
	// open, and stay so.
	Stage int
	// Review are the stages whose goal was met once and is not just now, the first
	// first.
	Review []Review
}

// Review is a stage of which something has slipped.
type Review struct {
	Stage  int              // its index
	Skills []exercise.Skill // of it, with a wrong one among the answers that its goal looks at; most of them first
}

// Standing works out where a singer stands from all answers. A stage is reached
// when the goals of all before it were met, at any time. Where the course was
// changed, or more can be asked now than could before, it is also reached when a
// sitting has begun something that is new in it, and half or more of what comes
// before it was met: what has once been reached does not close again. Skills that
// cannot be asked are left out, and a stage of nothing else counts as met; with
// asks nil all can be asked.
func (c Course) Standing(p *Practice, asks func(exercise.Skill) bool) Standing {
	ways := make([]way, len(c.Stages))
	in := make([][]*way, len(p.met)) // of each skill that was met the stages that have it
	stage, known, all := 0, 0, 0     // of the skills before a stage: those that were met, and all
	seen := map[exercise.Skill]bool{}
	for i, s := range c.Stages {
		w := &ways[i]
		w.goal = s.Goal
		begun, own := false, map[exercise.Skill]bool{}
		before := 2*known >= all
		for _, skill := range s.Skills {
			if own[skill] || asks != nil && !asks(skill) {
				continue
			}
			own[skill] = true
			w.skills++
			m := p.skills[skill]
			met := m != nil && m.Answers > 0
			if met {
				in[m.index] = append(in[m.index], w)
			}
			if !seen[skill] {
				seen[skill] = true
				all++
				if met {
					known++
					begun = begun || m.planned
				}
			}
		}
		w.met = w.skills == 0
		if begun && before {
			stage = i
		}
	}
	first := make([]bool, len(p.met))
	for _, a := range p.given {
		for _, w := range in[a.skill] {
			w.add(a, !first[a.skill])
		}
		first[a.skill] = true
	}
	for i := 0; i < len(ways)-1 && ways[i].met; i++ {
		stage = max(stage, i+1)
	}
	out := Standing{Stage: stage}
	for i := range ways {
		if w := &ways[i]; i <= stage && w.skills > 0 && w.met && w.share() < w.goal.Share-1e-9 {
			out.Review = append(out.Review, Review{i, w.slipped(c.Stages[i].Skills, p)})
		}
	}
	return out
}

// given is one answer to a skill, as the goals of a course see it.
type given struct {
	skill int32 // the index of its memory
	day   int32 // since 1970
	key   theory.Key
	right bool
}

// way is how far a singer has come towards the goal of a stage.
type way struct {
	goal    Goal
	skills  int // that can be asked
	begun   int // of them met
	answers int
	last    [MasteryOf]given // the last goal.Of answers, as a ring
	right   int              // of them
	days    []int32          // the first ones, no more than the goal wants
	keys    []theory.Key     // likewise
	met     bool             // the goal, at any time
}

// add takes note of an answer to a skill of the stage; first is its first.
func (w *way) add(a given, first bool) {
	if first {
		w.begun++
	}
	at := w.answers % w.goal.Of
	if w.answers >= w.goal.Of && w.last[at].right {
		w.right--
	}
	if w.last[at] = a; a.right {
		w.right++
	}
	w.answers++
	if len(w.days) < w.goal.Days && !slices.Contains(w.days, a.day) {
		w.days = append(w.days, a.day)
	}
	if len(w.keys) < w.goal.Keys && !slices.Contains(w.keys, a.key) {
		w.keys = append(w.keys, a.key)
	}
	w.met = w.met || w.begun == w.skills && w.answers >= w.goal.Of && w.share() >= w.goal.Share-1e-9 &&
		len(w.days) == w.goal.Days && len(w.keys) == w.goal.Keys
}

// share is the share right of the last goal.Of answers.
func (w *way) share() float64 { return float64(w.right) / float64(w.goal.Of) }

// slipped returns the skills that were answered wrong among the last goal.Of
// answers, the one with the most wrong ones first.
func (w *way) slipped(skills []exercise.Skill, p *Practice) []exercise.Skill {
	wrong := map[int32]int{}
	for _, a := range w.last[:w.goal.Of] {
		if !a.right {
			wrong[a.skill]++
		}
	}
	var out []exercise.Skill
	for _, s := range skills {
		if m := p.skills[s]; m != nil && m.Answers > 0 && wrong[int32(m.index)] > 0 && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	compare := func(a, b exercise.Skill) int {
		return wrong[int32(p.skills[b].index)] - wrong[int32(p.skills[a].index)]
	}
	sort.SliceStable(out, func(i, j int) bool { return compare(out[i], out[j]) < 0 })
	return out
}

// NewToday returns how many skills were met for the first time on the day of
// now, and how many seconds were sung.
func (p *Practice) NewToday(now time.Time) (skills int, sung float64) {
	if !p.today.day.Equal(dayOf(now)) {
		return 0, 0
	}
	return p.today.new, p.today.sung
}

// Moves is a set of moves between degrees, in the order in which they are
// taught: steps, skips inside the tonic triad, skips inside the chords of
// tension and of the subdominant, then any.
type Moves int8

// The sets.
const (
	Steps  Moves = iota // to the next letter, up and down
	Triad               // between do, mi (me) and sol, up and down
	Chords              // inside V7 or IV, within the octave above the tonic
	Any                 // every pair, within the octave above the tonic
)

var movesNames = [...]string{"steps", "triad", "chords", "any"}

// MovesNamed returns the set of that name.
func MovesNamed(name string) (Moves, error) {
	for m, n := range movesNames {
		if n == name {
			return Moves(m), nil
		}
	}
	return 0, fmt.Errorf("no moves %.20q: want steps, triad, chords, any", name)
}

// Between returns the moves of the set between the degrees given, those from the
// first degree first. A pair of a degree with itself is none.
func (m Moves) Between(degrees []theory.Degree) []exercise.Skill {
	var out []exercise.Skill
	for _, from := range degrees {
		for _, to := range degrees {
			if from == to || from.Semitones() == to.Semitones() {
				continue
			}
			for _, way := range []exercise.Direction{exercise.Up, exercise.Down} {
				if m.has(from, to, way) {
					out = append(out, exercise.Skill{Kind: exercise.PairSkill, From: from, Degree: to, Way: way})
				}
			}
		}
	}
	return out
}

func (m Moves) has(from, to theory.Degree, way exercise.Direction) bool {
	within := exercise.Up
	if to.Interval().Semitones < from.Interval().Semitones {
		within = exercise.Down
	}
	both := func(steps ...int) bool {
		in := func(d theory.Degree) bool {
			for _, s := range steps {
				if d.Step == s {
					return true
				}
			}
			return false
		}
		return in(from) && in(to)
	}
	switch m {
	case Steps:
		return (to.Step-from.Step-int(way))%7 == 0
	case Triad:
		return both(1, 3, 5) && from.Step != to.Step
	case Chords:
		return way == within && (both(5, 7, 2, 4) || both(4, 6, 1))
	}
	return way == within
}
