package main

import (
	"bytes"
	"math"
	"testing"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/synth"
)

// The verdicts are what the simulated singer was about to sing, which is known
// before anything is heard.
func TestDrillHearsWhatWasMeant(t *testing.T) {
	plan, err := plan(addresses[0])
	if err != nil {
		t.Fatal(err)
	}
	answers := drill.NewSimulated(plan, sampleRate)
	r := newRun(plan, answers)
	judged := 0
	r.Show = func(e session.Event) {
		j, ok := e.(session.Judged)
		if !ok {
			return
		}
		judged++
		meant := answers.Singer.Intend(synth.Ask{Item: j.Index, Attempt: j.Attempt - 1})
		if meant.Degree != 0 {
			if j.Verdict.Outcome == exercise.InTune {
				t.Errorf("question %d: in tune; meant degree %+d", j.Index, meant.Degree)
			}
			return
		}
		right := math.Abs(meant.Cents) < exercise.DefaultTolerance
		// The notes have vibrato, a scoop and breath; 5 cents are far less than what
		// tells these intents apart.
		if off := math.Abs(j.Verdict.Cents - meant.Cents); right != (j.Verdict.Outcome == exercise.InTune) || off > 5 {
			t.Errorf("question %d: %v, %.1f cents; meant %+.1f cents", j.Index, j.Verdict.Outcome, j.Verdict.Cents, meant.Cents)
		}
	}
	tally, err := r.Do(t.Context())
	if err != nil || tally.All.Asked != 8 || judged < 8 {
		t.Errorf("%d questions, %d verdicts, %v", tally.All.Asked, judged, err)
	}
}

func TestDrillsAreTheSameEveryTime(t *testing.T) {
	var a, b bytes.Buffer
	for _, w := range []*bytes.Buffer{&a, &b} {
		if err := all(w); err != nil {
			t.Fatal(err)
		}
	}
	if a.String() != b.String() {
		t.Errorf("%s\n%s", &a, &b)
	}
	for _, event := range []string{"key", "prompt", "listening", "verdict", "line", "sung", "dictation", "named", "summary"} {
		if !bytes.Contains(a.Bytes(), []byte(`{"event":"`+event+`"`)) {
			t.Errorf("no event %s", event)
		}
	}
}
