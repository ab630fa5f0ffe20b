package report

import (
	"fmt"
	"strings"

	"singback/exercise"
)

// Judgement is the record of a recording of one degree.
type Judgement struct {
	Schema int    `json:"schema"`
	Take   string `json:"take"`
	Verdict
}

// Judgement says what was asked, what was sung, and how it was measured.
func (s Style) Judgement(it exercise.Item, v exercise.Verdict, tol exercise.Tolerance) string {
	var b strings.Builder
	target, _ := it.Target()
	fmt.Fprintf(&b, "asked  %s in %s: %s, %.2f Hz at %s, tolerance %g cents\n",
		s.Degree(it.Key, it.Asked), s.Key(it.Key), s.Pitch(target), it.Hz(target), Tuning(it.Tuning), tol.Cents)
	fmt.Fprintf(&b, "sung   %s\n", s.Headline(it, v))
	for _, line := range s.Details(v) {
		fmt.Fprintf(&b, "       %s\n", line)
	}
	if v.Outcome != exercise.NotMeasured {
		fmt.Fprintf(&b, "       measured %.2f Hz, %s%.1f cents\n", v.F0, s.plusMinus(), max(0.1, v.SE))
	}
	if note := s.TuningNote([]exercise.Item{it}, tol); note != "" {
		fmt.Fprintf(&b, "note   %s\n", note)
	}
	return b.String()
}

// plusMinus is the sign before a measure of error.
func (s Style) plusMinus() string {
	if s.ASCII {
		return "+-"
	}
	return "±"
}
