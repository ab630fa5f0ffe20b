package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"singback/exercise"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// The events of sing --format json, one object a line. Each begins with its
// name.
type (
	keyEvent struct {
		Event   string  `json:"event"` // "key"
		Schema  int     `json:"schema"`
		Key     string  `json:"key"`
		Tonic   string  `json:"tonic"`
		TonicHz float64 `json:"tonic_hz"`
		A4Hz    float64 `json:"a4_hz"`
		Tuning  string  `json:"tuning"`
		Setting string  `json:"setting"`
		Again   bool    `json:"again"`
		Names   string  `json:"names"`
		Seed    uint64  `json:"seed"`

		// What is there only with a profile or with --key best.
		Singer  string   `json:"singer,omitempty"`
		Octaves int      `json:"octaves,omitempty"` // by which what sounds lies away from tonic
		Fit     *fitPart `json:"fit,omitempty"`
	}
	fitPart struct {
		Degrees        int      `json:"degrees"`
		Folded         int      `json:"folded"`
		ShiftSemitones float64  `json:"shift_semitones"`
		Among          []string `json:"among"`
	}
	restEvent struct {
		Event string  `json:"event"` // "rest"
		SungS float64 `json:"sung_s"`
	}
	promptEvent struct {
		Event   string `json:"event"` // "prompt"
		Index   int    `json:"index"`
		Of      int    `json:"of"`
		Attempt int    `json:"attempt"`
		report.Prompt
		Part  int `json:"part,omitempty"`  // its place in a series of the course that is sung whole
		Parts int `json:"parts,omitempty"` // and how many it has
	}
	verdictEvent struct {
		Event   string `json:"event"` // "verdict"
		Index   int    `json:"index"`
		Attempt int    `json:"attempt"`
		Counts  bool   `json:"counts"` // in the summary
		report.Verdict
		Feedback string  `json:"feedback"` // what the singer is told: full, second_shown, second_hidden, outside, blind
		Hidden   bool    `json:"hidden"`   // the singer was not told this verdict
		Guess    *string `json:"guess"`    // flat, in_tune or sharp, as the singer took it; null: no guess
	}
	summaryEvent struct {
		Event string `json:"event"` // "summary"
		Key   string `json:"key"`
		Seed  uint64 `json:"seed"`
		report.Summary
	}
)

// results is where a run writes its results. It keeps the first error and ends
// the run with it: nobody should sing for nothing.
type results struct {
	out    io.Writer
	failed func()
	err    error
}

func (r *results) Write(p []byte) (int, error) {
	if r.err != nil {
		return 0, r.err
	}
	n, err := r.out.Write(p)
	if err != nil {
		r.err = err
		r.failed()
	}
	return n, err
}

// jsonLog writes the events of a run as JSON lines.
type jsonLog struct {
	out    *results
	plan   plan
	singer string // whose profile it is; "" without one
}

func (l *jsonLog) event(e session.Event) {
	var record any
	switch e := e.(type) {
	case session.KeySet:
		key := keyEvent{
			Event: "key", Schema: report.Schema, Key: e.Key.ASCII(),
			Tonic: e.Tonic.ASCII(), TonicHz: report.Hz(e.Tuning.Hz(e.Tonic)),
			A4Hz: e.Tuning.A4, Tuning: e.Tuning.String(), Setting: e.Setting.String(), Again: e.Again,
			Names: l.plan.naming.String(), Seed: l.plan.seed, Singer: l.singer, Octaves: e.Octaves,
		}
		if b := l.plan.best; b != nil {
			key.Fit = &fitPart{Degrees: b.degrees, Folded: b.Folded, ShiftSemitones: b.Shift}
			for _, k := range b.among {
				key.Fit.Among = append(key.Fit.Among, k.ASCII())
			}
		}
		record = key
	case session.Rest:
		record = restEvent{"rest", math.Round(e.Sung*100) / 100}
	case session.Prompted:
		record = promptEvent{"prompt", e.Index, e.Of, e.Attempt, report.NewPrompt(e.Item, l.plan.naming), e.Part, e.Parts}
	case session.DictationAsked:
		record = dictationEvent{"dictation", e.Index, e.Of, e.Dictation.Of.String(), e.Dictation.Key.ASCII(), len(e.Dictation.Chords), e.Again}
	case session.Named:
		record = newNamedEvent(e)
	case session.Judged:
		v := verdictEvent{
			"verdict", e.Index, e.Attempt, e.Counts,
			report.NewVerdict(e.Item, e.Verdict, e.Tolerance, l.plan.naming), e.Feedback.String(), e.Hidden, nil,
		}
		if e.Guess != exercise.NotMeasured {
			name := e.Guess.String()
			v.Guess = &name
		}
		record = v
	case session.Finished:
		record = summaryEvent{
			"summary", l.plan.item.Key.ASCII(), l.plan.seed,
			report.NewSummary(l.plan.item.Key, e.Tally, l.plan.naming, e.Interrupted),
		}
	default:
		return
	}
	_ = json.NewEncoder(l.out).Encode(record) // out keeps the error
}

// lineView writes a run as plain lines: prompts for the singer, and, unless
// results is nil, a line for each verdict.
type lineView struct {
	results, prompts io.Writer
	style            report.Style
	plan             plan
	staff            func(s theory.Score, width, height int) []string // draws a melody
	width            int                                              // columns of the terminal
	within           theory.Cents                                     // tolerance of the last question, 0 before the first
}

func (v *lineView) event(e session.Event) {
	s := v.style
	switch e := e.(type) {
	case session.KeySet:
		again := ""
		if e.Again {
			again = " again"
		}
		fmt.Fprintf(v.prompts, "%s%s: %s, %s, seed %d.\n", s.Key(e.Key), again, e.Setting, report.Tuning(e.Tuning), v.plan.seed)
	case session.Prompted:
		ask := "sing " + s.Asked(e.Item)
		if e.Item.From != nil {
			ask = "hear " + s.Degree(e.Item.Key, *e.Item.From) + ", " + ask
		}
		if e.Attempt > 1 {
			ask = "once more: " + ask
		}
		if e.Tolerance.Cents != 0 {
			ask += ", " + report.Within(e.Tolerance.Cents, v.within)
			v.within = e.Tolerance.Cents
		}
		if e.Folded {
			ask += " (" + report.Folded(e.Item) + ")"
		}
		if e.Parts > 0 {
			ask += fmt.Sprintf(" (a series: %d of %d)", e.Part, e.Parts)
		}
		number := fmt.Sprint(e.Index)
		if e.Of > 0 {
			number += fmt.Sprintf(" of %d", e.Of)
		}
		fmt.Fprintf(v.prompts, "%s: %s.\n", number, ask)
	case session.DictationAsked:
		if e.Again {
			fmt.Fprintln(v.prompts, "Once more.")
			return
		}
		number := fmt.Sprint(e.Index)
		if e.Of > 0 {
			number += fmt.Sprintf(" of %d", e.Of)
		}
		fmt.Fprintf(v.prompts, "%s: %s\n", number, s.Dictation(e.Dictation))
	case session.Named:
		switch {
		case v.results == nil:
		case e.Hidden:
			fmt.Fprintf(v.results, "%d  noted; told at the end\n", e.Index)
		default:
			fmt.Fprintf(v.results, "%d  heard %s\n", e.Index, s.NamedHeadline(e.Dictation, e.Names, e.Right))
		}
	case session.LinePrompted:
		fmt.Fprintf(v.prompts, "%d: sing at sight, in %s.\n", e.Index, s.Key(e.Score.Key))
		for _, line := range v.staff(e.Score, v.width, 0) {
			fmt.Fprintln(v.prompts, line)
		}
	case session.CountIn:
		fmt.Fprintf(v.prompts, "%s, then sing.\n", countIn(e.Beats))
	case session.LineGraded:
		switch {
		case v.results == nil:
		case e.Hidden:
			fmt.Fprintf(v.results, "%d  noted; told at the end\n", e.Index)
		default:
			for _, line := range e.Lines {
				fmt.Fprintln(v.results, line)
			}
		}
	case session.Waiting:
		fmt.Fprintln(v.prompts, "Hear it inside; do not sing yet.")
	case session.Listening:
		fmt.Fprintln(v.prompts, "Listening.")
	case session.Standing:
		fmt.Fprintln(v.prompts, e.Text)
	case session.Notice:
		fmt.Fprintln(v.prompts, e.Text)
	case session.Judged:
		if v.results == nil {
			return
		}
		if e.Hidden {
			fmt.Fprintf(v.results, "%d  noted; told at the end\n", e.Index)
			return
		}
		asked := s.Asked(e.Item)
		if e.Item.From != nil {
			asked = s.Degree(e.Item.Key, *e.Item.From) + " - " + asked
		}
		line := fmt.Sprintf("%d  asked %s: %s", e.Index, asked, s.Headline(e.Item, e.Verdict))
		if e.Attempt > 1 && !e.Counts {
			line += " (second attempt)"
		}
		if missed := report.OutBy(e.Verdict, e.Tolerance); missed != "" {
			line += "; " + missed
		}
		if d := s.Details(e.Verdict); len(d) > 0 {
			line += "; " + strings.Join(d, "; ")
		}
		fmt.Fprintln(v.results, line)
	case session.Rest:
		for _, line := range report.Rest(e.Sung) {
			fmt.Fprintln(v.prompts, line)
		}
	}
}
