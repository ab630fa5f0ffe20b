// Command wasmdrill runs a drill with a simulated singer and prints its records, one
// JSON object a line. It needs no terminal, device or file, so make wasm-check builds
// it for js/wasm, weighs it, and compares what it prints there with what it prints
// here.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

func main() {
	if err := drill(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "wasmdrill:", err)
		os.Exit(1)
	}
}

const (
	sampleRate = 44100
	seed       = 8 // right, flat, sharp and wrong answers
	questions  = 8
)

// answers are those of the simulated singer.
type answers struct{ synth.Singer }

func (a answers) ask(p session.Prompted) synth.Ask {
	hz := p.Item.Hz(p.Target)
	return synth.Ask{Hz: hz, Below: theory.Shift(hz, -200), Above: theory.Shift(hz, 200), Item: p.Index, Attempt: p.Attempt - 1}
}

func (a answers) Source(p session.Prompted) (audio.Source, bool, error) {
	return a.Answer(a.ask(p)), false, nil
}

// singer is who answers.
var singer = answers{synth.Singer{Voice: synth.Voice{SampleRate: sampleRate, Type: synth.Alto}, Seed: seed}}

// run runs the drill: degrees of A flat major, some of them from another degree.
func run(emit func(session.Event)) (theory.Key, exercise.Tally, error) {
	key, err := theory.ParseKey("Ab major")
	if err != nil {
		return key, exercise.Tally{}, err
	}
	base := exercise.Item{Key: key, Tuning: theory.Tuning{A4: theory.DefaultA4}, Register: exercise.MiddleRegister(key)}
	scale := key.ScaleDegrees()
	items, err := exercise.NewSeries(base, exercise.Order{Asked: scale[:], From: scale[:3], Count: questions, Seed: seed})
	if err != nil {
		return key, exercise.Tally{}, err
	}
	cfg := session.Config{
		Items: items, Setting: synth.ByCadence, Tolerance: exercise.Tolerance{Cents: exercise.DefaultTolerance}, Compare: true,
		Window: exercise.DefaultWindow().Recorded(), Level: func() float64 { return -24 },
		Retry: func(context.Context, session.Judged) (bool, error) { return true, nil },
	}
	tally, err := session.Run(context.Background(), cfg, singer, audio.Null{Rate: sampleRate}, emit)
	return key, tally, err
}

// drill prints a record for each verdict, and the summary.
func drill(w io.Writer) error {
	out := json.NewEncoder(w)
	var failed error
	key, tally, err := run(func(e session.Event) {
		if j, ok := e.(session.Judged); ok && failed == nil {
			failed = out.Encode(report.NewVerdict(j.Item, j.Verdict, j.Tolerance, theory.Movable))
		}
	})
	if err != nil {
		return err
	}
	if failed != nil {
		return failed
	}
	return out.Encode(report.NewSummary(key, tally, theory.Movable, false))
}
