package report

import (
	"fmt"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/theory"
)

// Missed is the record of an answer that was not right, and of which the singer
// was not told when it was given.
type Missed struct {
	Index      int      `json:"index"` // of the question
	Key        string   `json:"key"`
	Skill      string   `json:"skill"`            // as the record has it
	Asked      string   `json:"asked"`            // the degree, the quality, or the level of a melody
	Outcome    string   `json:"outcome"`          // as in the record
	Sung       *string  `json:"sung"`             // the degree that was sung; null for what is no single sung degree
	Octave     int      `json:"octave_shift"`     // of it
	Cents      *float64 `json:"cents"`            // from the degree in sung; likewise null
	FromAsked  *float64 `json:"cents_from_asked"` // likewise
	Named      *string  `json:"named"`            // the name that was given; null for what was sung, and where none was
	Notes      int      `json:"notes,omitempty"`  // of a melody
	NotesRight int      `json:"notes_right,omitempty"`

	shown [3]string // asked, sung, off
}

// MissedNote makes the record of a sung degree.
func (s Style) MissedNote(index int, skill exercise.Skill, it exercise.Item, v exercise.Verdict) Missed {
	m := newMissed(index, it.Key, skill, v.Outcome)
	m.Asked = it.Asked.ASCII()
	sung := v.Sung.ASCII()
	m.Sung, m.Octave, m.Cents, m.FromAsked = &sung, v.OctaveShift, number(v.Cents, 2), number(v.FromAsked, 2)
	m.shown = [3]string{s.Asked(it), s.Degree(it.Key, v.Sung), ""}
	if it.From != nil {
		m.shown[0] = s.Degree(it.Key, *it.From) + " - " + m.shown[0]
	}
	switch {
	case v.Sung != it.Asked:
	case v.Outcome == exercise.OtherDegree: // the right one, where the octave counts
		m.shown[2] = octave(v.OctaveShift)
	case v.Outcome == exercise.Unsteady:
		m.shown[2] = cents(v.Cents) + ", not held steady"
	default:
		m.shown[2] = cents(v.Cents)
	}
	return m
}

// MissedName makes the record of a bass degree or quality that was heard; name is
// nil where none was given.
func (s Style) MissedName(index int, k theory.Key, skill exercise.Skill, name *exercise.Skill) Missed {
	m := newMissed(index, k, skill, exercise.WrongAnswer)
	m.Asked = Code(skill)
	m.shown = [3]string{s.heard(k, skill), "not named", ""}
	if name != nil {
		given := Code(*name)
		m.Named, m.shown[1] = &given, s.heard(k, *name)
	}
	return m
}

// Code is what was told by ear as the record has it: the degree of a bass or a root
// ("b7"), a quality ("m7b5"), the number of an inversion ("1").
func Code(s exercise.Skill) string {
	switch s.Kind {
	case exercise.QualitySkill:
		return s.Chord
	case exercise.InversionSkill:
		return strconv.Itoa(s.Level)
	}
	return s.Degree.ASCII()
}

// MissedLine makes the record of a melody that was not passed.
func (s Style) MissedLine(index int, k theory.Key, level, right, notes int) Missed {
	m := newMissed(index, k, exercise.Skill{Kind: exercise.MelodySkill, Level: level}, exercise.WrongAnswer)
	m.Asked, m.Notes, m.NotesRight = fmt.Sprint(level), notes, right
	m.shown = [3]string{fmt.Sprintf("a melody of level %d", level), fmt.Sprintf("%d of %d notes right", right, notes), ""}
	return m
}

func newMissed(index int, k theory.Key, skill exercise.Skill, o exercise.Outcome) Missed {
	return Missed{Index: index, Key: k.ASCII(), Skill: skill.String(), Outcome: o.String()}
}

// Missed lists what was missed among so many answers that were noted and not told;
// "" where there was no such answer.
func (s Style) Missed(noted int, list []Missed) string {
	switch {
	case noted == 0:
		return ""
	case len(list) == 0 && noted == 1:
		return "The one answer that was only noted was right.\n"
	case len(list) == 0:
		return fmt.Sprintf("The %d answers that were only noted were right.\n", noted)
	}
	var b strings.Builder
	were := "were"
	if len(list) == 1 {
		were = "was"
	}
	fmt.Fprintf(&b, "Of %d that were only noted %d %s missed:\n\n", noted, len(list), were)
	w := newColumns(&b)
	fmt.Fprintln(w, "question\tasked\tsung\tcents")
	for _, m := range list {
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\n", m.Index, m.shown[0], m.shown[1], m.shown[2])
	}
	w.Flush()
	return trimLines(b.String())
}
