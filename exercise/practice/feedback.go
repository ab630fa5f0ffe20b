package practice

import (
	"fmt"
	"strings"

	"singback/exercise"
)

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
func (f Feedback) Shows(v exercise.Verdict) bool {
	switch {
	case !v.Counts(), f <= SecondShown:
		return true
	case f == Outside:
		return !v.Outcome.IsRight()
	}
	return false
}
