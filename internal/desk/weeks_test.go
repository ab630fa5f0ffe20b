package desk

import (
	"reflect"
	"testing"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/class"
	"singback/internal/sheet"
)

// TestWeeks counts first answers by weeks that begin on a Monday (ISO 8601), each on the
// day that the singer's own clock had.
func TestWeeks(t *testing.T) {
	zone := time.FixedZone("", 9*3600)
	var answers []practice.Answer
	add := func(at time.Time, n, right int) {
		for i := range n {
			a := practice.Answer{At: at, Counts: true, Verdict: exercise.Verdict{Outcome: exercise.OtherDegree}}
			if i < right {
				a.Verdict.Outcome = exercise.InTune
			}
			answers = append(answers, a)
		}
	}
	add(time.Date(2026, 10, 1, 9, 0, 0, 0, zone), 50, 50)   // too long ago
	add(time.Date(2026, 11, 15, 23, 30, 0, 0, zone), 10, 7) // a Sunday
	add(time.Date(2026, 11, 16, 0, 10, 0, 0, zone), 3, 3)   // a Monday; in Greenwich it is Sunday still
	add(time.Date(2026, 11, 17, 9, 0, 0, 0, zone), 3, 0)
	answers = append(answers, practice.Answer{At: time.Date(2026, 11, 17, 9, 0, 0, 0, zone)}) // a second try
	got := weeks(answers, "2026-11-28")
	want := []sheet.Week{{From: "2026-11-09", Days: 1, Answers: 10, Right: "70 %"}, {From: "2026-11-16", Days: 2, Answers: 6, Right: "-"}, {From: "2026-11-23", Days: 0, Answers: 0, Right: "-"}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := weeks(nil, "2026-11-28"); got != nil {
		t.Errorf("no answers are %+v", got)
	}
}

func TestDaysLate(t *testing.T) {
	for _, c := range []struct {
		due, day class.Date
		want     int
	}{
		{"2026-11-20", "2026-11-20", 0}, {"2026-11-20", "2026-11-21", 1}, {"2026-11-20", "2026-11-01", 0}, {"2026-02-28", "2026-03-01", 1}, {"2028-02-28", "2028-03-01", 2}, {"", "2026-11-21", 0}, {"2026-11-20", "", 0},
	} {
		if got := daysLate(c.due, c.day); got != c.want {
			t.Errorf("%s after %s: %d days late, want %d", c.day, c.due, got, c.want)
		}
	}
}
