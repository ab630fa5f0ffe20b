package main

import (
	"bytes"
	"math"
	"testing"

	"singback/exercise"
	"singback/internal/session"
)

// The verdicts are what the simulated singer was about to sing, which is known
// before anything is heard.
func TestDrillHearsWhatWasMeant(t *testing.T) {
	last := session.Prompted{}
	judged := 0
	_, tally, err := run(func(e session.Event) {
		switch e := e.(type) {
		case session.Prompted:
			last = e
		case session.Judged:
			judged++
			meant := singer.Intend(singer.ask(last))
			right := meant.Degree == 0 && math.Abs(meant.Cents) < exercise.DefaultTolerance
			// The notes have vibrato, a scoop and breath; 5 cents are far less than what
			// tells these intents apart.
			if off := math.Abs(e.Verdict.Cents - meant.Cents); right != (e.Verdict.Outcome == exercise.InTune) || off > 5 {
				t.Errorf("question %d: %v, %.1f cents; meant %+.1f cents, degree %+d", e.Index, e.Verdict.Outcome, e.Verdict.Cents, meant.Cents, meant.Degree)
			}
		}
	})
	if err != nil || tally.All.Asked != questions || judged < questions {
		t.Errorf("%d of %d questions, %d verdicts, %v", tally.All.Asked, questions, judged, err)
	}
}

func TestDrillIsTheSameEveryTime(t *testing.T) {
	var a, b bytes.Buffer
	if err := drill(&a); err != nil {
		t.Fatal(err)
	}
	if err := drill(&b); err != nil {
		t.Fatal(err)
	}
	if a.String() != b.String() || bytes.Count(a.Bytes(), []byte("\n")) < questions+1 {
		t.Errorf("%s\n%s", &a, &b)
	}
}
