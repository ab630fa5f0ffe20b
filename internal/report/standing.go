package report

import (
	"fmt"
	"strings"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// Standing is the record of where a singer stands in a course.
type Standing struct {
	Course string   `json:"course"`
	Stage  int      `json:"stage"` // the best one reached, from 1
	Stages int      `json:"stages"`
	Review []Review `json:"review"` // stages whose goal was met once and is not just now
}

// Review is the record of a stage of which something has slipped.
type Review struct {
	Stage  int      `json:"stage"`  // from 1
	Skills []string `json:"skills"` // of what was lately wrong, as the record has them
}

// NewStanding makes the record of where a singer stands.
func NewStanding(c practice.Course, s practice.Standing) Standing {
	out := Standing{c.Name, s.Stage + 1, len(c.Stages), []Review{}}
	for _, r := range s.Review {
		review := Review{r.Stage + 1, []string{}}
		for _, skill := range r.Skills {
			review.Skills = append(review.Skills, skill.String())
		}
		out.Review = append(out.Review, review)
	}
	return out
}

// reviewed is how many skills are named of a stage in review.
const reviewed = 4

// Standing says in lines where a singer stands: the best stage reached, and what
// is in review. More is what the first line ends with. Stages have many keys, so
// degrees are counted from the tonic.
func (s Style) Standing(c practice.Course, at practice.Standing, more string) []string {
	if s.Names != theory.Numbers {
		s.Names = theory.Movable
	}
	first := fmt.Sprintf("Stage %d of %d", at.Stage+1, len(c.Stages))
	if name := c.Stages[at.Stage].Name; name != "" {
		first += ": " + name
	}
	lines := []string{first + "." + more}
	for _, r := range at.Review {
		var names []string
		for _, skill := range r.Skills[:min(len(r.Skills), reviewed)] {
			names = append(names, s.Practised(c.Stages[r.Stage].Keys[0], skill))
		}
		line := fmt.Sprintf("In review, from stage %d: %s", r.Stage+1, strings.Join(names, ", "))
		if n := len(r.Skills) - len(names); n > 0 {
			line += fmt.Sprintf(" and %d more", n)
		}
		lines = append(lines, line+".")
	}
	return lines
}

// Practised names a skill: "la", "fa - la up", "bass fa", "m7b5", "melodies of level
// 2".
func (s Style) Practised(k theory.Key, skill exercise.Skill) string {
	switch skill.Kind {
	case exercise.QualitySkill:
		return skill.Chord
	case exercise.InversionSkill:
		return inversionOf(skill.Level)
	case exercise.MelodySkill:
		return fmt.Sprintf("melodies of level %d", skill.Level)
	}
	name := s.Degree(k, skill.Degree)
	switch skill.Kind {
	case exercise.PairSkill:
		return s.Degree(k, skill.From) + " - " + name + " " + skill.Way.String()
	case exercise.BassSkill:
		return "bass " + name
	case exercise.RootSkill:
		return "chords on " + name
	case exercise.HandSkill:
		return "hand " + name
	}
	return name
}
