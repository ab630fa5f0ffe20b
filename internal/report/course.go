package report

import (
	"fmt"
	"strings"

	"singback/exercise"
	"singback/exercise/practice"
)

// Course is the record of a course.
type Course struct {
	Schema  int     `json:"schema"`
	Name    string  `json:"name"`
	Minutes float64 `json:"minutes"`
	New     int     `json:"new"`
	Stages  []Stage `json:"stages"`

	Standing *Standing `json:"standing"` // of the singer; null: the record has no practice of a course
}

// Stage is the record of one stage of a course.
type Stage struct {
	Name           string     `json:"name"`
	Keys           []string   `json:"keys"`
	Skills         []string   `json:"skills"` // as the record has them
	Series         [][]string `json:"series"` // of skills, sung whole
	ToleranceCents float64    `json:"tolerance_cents"`
	SetEvery       int        `json:"set_every"`
	Right          float64    `json:"right_percent"`
	Of             int        `json:"of"`
	Days           int        `json:"days"`
	InKeys         int        `json:"in_keys"`
}

// NewCourse makes the record of a course, and of where a singer stands in it;
// nil where that is not known.
func NewCourse(c practice.Course, at *practice.Standing) Course {
	out := Course{Schema: Schema, Name: c.Name, Minutes: c.Minutes, New: c.New}
	if at != nil {
		standing := NewStanding(c, *at)
		out.Standing = &standing
	}
	for _, s := range c.Stages {
		stage := Stage{s.Name, nil, skillNames(s.Skills), [][]string{}, s.Tolerance, s.Series, 100 * s.Goal.Share, s.Goal.Of, s.Goal.Days, s.Goal.Keys}
		for _, k := range s.Keys {
			stage.Keys = append(stage.Keys, k.ASCII())
		}
		for _, chain := range s.Chains {
			stage.Series = append(stage.Series, skillNames(chain))
		}
		out.Stages = append(out.Stages, stage)
	}
	return out
}

// skillNames are skills as the record has them.
func skillNames(skills []exercise.Skill) []string {
	var names []string
	for _, s := range skills {
		names = append(names, s.String())
	}
	return names
}

// Course lists the stages of a course, and says where a singer stands in it; at
// is nil where that is not known.
func (s Style) Course(c practice.Course, at *practice.Standing, singer string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s a day, at most %s\n", c.Name, Many(c.Minutes, "minute"), Many(c.New, "new thing"))
	seen := map[exercise.Skill]bool{}
	for i, stage := range c.Stages {
		keys := make([]string, len(stage.Keys))
		for j, k := range stage.Keys {
			keys[j] = s.Key(k)
		}
		in := strings.Join(keys, ", ")
		if len(keys) > 3 {
			in = fmt.Sprintf("%d keys", len(keys))
		}
		fmt.Fprintf(&b, "\n%2d  %s\n    %s\n    in %s, within %g cents\n    goal: %g %% of the last %d, on %s, in %s\n",
			i+1, stage.Name, s.fresh(stage, seen), in, stage.Tolerance, 100*stage.Goal.Share, stage.Goal.Of, Many(stage.Goal.Days, "day"), Many(stage.Goal.Keys, "key"))
	}
	if at != nil {
		fmt.Fprintf(&b, "\n%s:\n", singer)
		for _, line := range s.Standing(c, *at, "") {
			b.WriteString(line + "\n")
		}
	}
	return b.String()
}

// fresh says what a stage has that was not seen in one before.
func (s Style) fresh(stage practice.Stage, seen map[exercise.Skill]bool) string {
	var degrees, bass, qualities, roots, levels []string
	moves := 0
	for _, skill := range stage.Skills {
		if seen[skill] {
			continue
		}
		seen[skill] = true
		switch skill.Kind {
		case exercise.PairSkill:
			moves++
		case exercise.BassSkill:
			bass = append(bass, s.Degree(stage.Keys[0], skill.Degree))
		case exercise.QualitySkill:
			qualities = append(qualities, skill.Chord)
		case exercise.RootSkill:
			roots = append(roots, s.Degree(stage.Keys[0], skill.Degree))
		case exercise.MelodySkill:
			levels = append(levels, fmt.Sprint(skill.Level))
		default:
			degrees = append(degrees, s.Degree(stage.Keys[0], skill.Degree))
		}
	}
	var what []string
	list := func(of string, names []string) {
		if len(names) > 0 {
			what = append(what, of+strings.Join(names, " "))
		}
	}
	list("", degrees)
	if moves > 0 {
		what = append(what, Many(moves, "move"))
	}
	if n := len(stage.Chains); n > 0 {
		what = append(what, fmt.Sprintf("%d series", n))
	}
	list("bass ", bass)
	list("chords ", qualities)
	list("progressions with chords on ", roots)
	list("melodies of level ", levels)
	return strings.Join(what, "; ")
}
