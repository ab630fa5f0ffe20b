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

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/course"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
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

// planner reads the options of a drill.
type planner interface{ Plan() (*drill.Plan, error) }

// drills are one of each kind.
func drills() []planner {
	music := func(key string) *drill.Music {
		return &drill.Music{Key: key, A4: theory.DefaultA4, Tuning: theory.Equal.String(), Names: theory.Movable.String()}
	}
	manner := drill.Manner{
		Setting: synth.ByCadence.String(), Window: exercise.DefaultWindow(), Loudness: synth.DefaultLevel, Compare: true, Retry: "always",
	}
	sitting := course.BuiltIn()
	sitting.Minutes = 2
	return []planner{
		&drill.Sing{
			Music: music("Ab major"), Manner: manner, Degrees: "all", From: "do re mi", Count: 8, KeyEvery: 5,
			Tolerance: exercise.Tolerance{Cents: exercise.DefaultTolerance}, Seed: seed,
		},
		&drill.Series{
			Music: music("Eb"), Level: 2, Count: 2, Setting: synth.ByTonic.String(), Loudness: synth.DefaultLevel, Tolerance: 45, Seed: seed,
		},
		&drill.Dictation{Music: music("Eb"), Manner: manner, Of: "bass", Degrees: "do fa sol", Length: 3, Count: 4, Seed: seed},
		&drill.Today{
			Music: music(""), Manner: manner, Singing: practice.DefaultSung, Feedback: "fading", Guess: true, Seed: seed,
			Course: sitting, Practice: &practice.Practice{}, Start: now, Typed: true,
		},
	}
}

// all runs the drills one after the other.
func all(w io.Writer) error {
	for _, d := range drills() {
		plan, err := d.Plan()
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
