// Command wasmdrill runs drills of each kind with a simulated singer and prints their
// events, one JSON object a line, as singback prints them with --format json. It needs
// no terminal, device or file, so make wasm-check builds it for js/wasm, weighs it, and
// compares what it prints there with what it prints here.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/course"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
)

func main() {
	if err := all(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "wasmdrill:", err)
		os.Exit(1)
	}
}

const (
	sampleRate = 44100
	seed       = 8 // right, flat, sharp and wrong answers
)

// now is the time at which all of it happens.
var now = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

// addresses are drills of each kind.
var addresses = []string{
	"sing?key=Ab+major&from=do+re+mi&count=8&think=0&retry=always",
	"series?key=Eb&level=2&count=2&set=tonic&study=0",
	"dictation?key=Eb&degrees=do+fa+sol&length=3&count=4",
	"today?think=0&retry=always&minutes=2",
}

// plan reads an address, of which the seed, and for today what is known, is left open.
func plan(address string) (*drill.Plan, error) {
	a, err := drill.ReadAddress(address + fmt.Sprint("&seed=", seed))
	if err != nil {
		return nil, err
	}
	if o, ok := a.Drill.(*drill.Today); ok {
		o.Course, o.Practice, o.Start, o.Typed = course.BuiltIn(), &practice.Practice{}, now, true
	}
	return a.Drill.Plan()
}

// all runs the drills one after the other.
func all(w io.Writer) error {
	for _, address := range addresses {
		plan, err := plan(address)
		if err != nil {
			return err
		}
		if err := run(plan, w); err != nil {
			return fmt.Errorf("%s: %w", plan.Command, err)
		}
	}
	return nil
}

// run runs a drill and prints its events.
func run(plan *drill.Plan, w io.Writer) error {
	out := json.NewEncoder(w)
	var failed error
	r := newRun(plan, drill.NewSimulated(plan, sampleRate))
	r.Show = func(e session.Event) {
		if record := r.EventRecord(e); record != nil && failed == nil {
			failed = out.Encode(record)
		}
	}
	if _, err := r.Do(context.Background()); err != nil {
		return err
	}
	return failed
}

// newRun is a run in silence, of which nothing is kept.
func newRun(plan *drill.Plan, answers drill.Answers) *drill.Run {
	return &drill.Run{
		Plan: plan, Style: report.Style{Names: plan.Naming}, Answers: answers, Out: audio.Null{Rate: sampleRate},
		Level: func() float64 { return synth.DefaultLevel }, Person: drill.Nobody{}, Keeper: &drill.Keeper{},
		NotRecorded: error.Error, Silent: true, Start: now, Clock: func() time.Time { return now },
	}
}
