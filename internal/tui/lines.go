package tui

import (
	"fmt"
	"io"
	"strings"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Lines writes a run as plain lines: prompts for the singer, and, unless
// Results is nil, a line for each verdict.
type Lines struct {
	Results, Prompts io.Writer
	Style            report.Style
	Seed             uint64
	Staff            func(s theory.Score, width, height int) []string // draws a melody
	Width            int                                              // columns of the terminal

	within theory.Cents // tolerance of the last question, 0 before the first
	played bool         // the last question is answered by playing
}

// Event writes what happened.
func (v *Lines) Event(e session.Event) {
	s := v.Style
	switch e := e.(type) {
	case session.KeySet:
		again := ""
		if e.Again {
			again = " again"
		}
		fmt.Fprintf(v.Prompts, "%s%s: %s, %s, seed %d.\n", s.Key(e.Key), again, e.Setting, report.Tuning(e.Tuning), v.Seed)
	case session.Prompted:
		v.prompted(e)
	case session.DictationAsked:
		if v.played = e.Played; e.Again {
			fmt.Fprintln(v.Prompts, "Once more.")
			return
		}
		number := fmt.Sprint(e.Index)
		if e.Of > 0 {
			number += fmt.Sprintf(" of %d", e.Of)
		}
		fmt.Fprintf(v.Prompts, "%s: %s\n", number, s.DictationStep(e.Dictation, e.By(), e.Step))
	case session.Named:
		switch {
		case v.Results == nil:
		case e.Hidden:
			fmt.Fprintf(v.Results, "%d  noted; told at the end\n", e.Index)
		default:
			a := drill.Answered(e)
			line := fmt.Sprintf("%d  heard %s", e.Index, s.AnsweredHeadline(a))
			if e.Dictation.Of == exercise.RootSkill {
				line = fmt.Sprintf("%d  degrees %s", e.Index, s.AnsweredHeadline(a))
			}
			for _, d := range s.AnsweredDetails(a) {
				line += "; " + d
			}
			fmt.Fprintln(v.Results, line)
		}
	case *session.HandAsked:
		fmt.Fprintln(v.Prompts, "Now play it.")
	case *session.HandStruck:
		writeStruck(v.Results, s, e)
	case session.LinePrompted:
		fmt.Fprintf(v.Prompts, "%d: sing at sight, in %s.\n", e.Index, s.Key(e.Melody.Score.Key))
		for _, line := range v.Staff(e.Melody.Score, v.Width, 0) {
			fmt.Fprintln(v.Prompts, line)
		}
	case session.CountIn:
		fmt.Fprintln(v.Prompts, drill.CountIn(e))
	case session.LineGraded:
		switch {
		case v.Results == nil:
		case e.Hidden:
			fmt.Fprintf(v.Results, "%d  noted; told at the end\n", e.Index)
		default:
			for _, line := range e.Lines {
				fmt.Fprintln(v.Results, line)
			}
		}
	case session.Waiting:
		what := "sing"
		if v.played {
			what = "play"
		}
		text := "Hear it inside; do not " + what + " yet."
		if beats := drill.Wait(e); beats != "" {
			text = "Be silent; " + beats + "."
		}
		fmt.Fprintln(v.Prompts, text)
	case session.Modulating:
		fmt.Fprintf(v.Prompts, "Listen: %s.\n", drill.Leads(s, &e))
	case session.Overheard:
		fmt.Fprintln(v.Prompts, drill.TooLoud(e))
	case session.Listening:
		fmt.Fprintln(v.Prompts, "Listening.")
	case session.Standing:
		fmt.Fprintln(v.Prompts, e.Text)
	case session.Gone:
		fmt.Fprintln(v.Prompts, drill.Went(e))
	case session.Notice:
		fmt.Fprintln(v.Prompts, e.Text)
	case session.Judged:
		v.judged(&e)
	case session.Rest:
		for _, line := range report.Rest(e.Sung) {
			fmt.Fprintln(v.Prompts, line)
		}
	}
}

// judged writes what a sung degree was.
func (v *Lines) judged(e *session.Judged) {
	s := v.Style
	if v.Results == nil {
		return
	}
	if e.Hidden {
		fmt.Fprintf(v.Results, "%d  noted; told at the end\n", e.Index)
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
	if d := append(drill.Inwardly(s, e), s.Details(e.Verdict)...); len(d) > 0 {
		line += "; " + strings.Join(d, "; ")
	}
	fmt.Fprintln(v.Results, line)
}

// writeStruck writes what was played of what was sung.
func writeStruck(results io.Writer, style report.Style, e *session.HandStruck) {
	if results == nil || e.Hidden {
		return
	}
	h := drill.Handed(e)
	line := fmt.Sprintf("%d  %s", e.Index, style.HandHeadline(h))
	for _, d := range style.HandDetails(h) {
		line += "; " + d
	}
	fmt.Fprintln(results, line)
}

// prompted writes what is asked.
func (v *Lines) prompted(e session.Prompted) {
	s := v.Style
	v.played = false
	ask := drill.Ask(s, &e)
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
	fmt.Fprintf(v.Prompts, "%s: %s.\n", number, ask)
}

// Graded puts into words how a line was sung, for views of single questions.
func Graded(r *drill.Run, show func(session.Event)) func(session.Event) {
	return func(ev session.Event) {
		show(ev)
		if sung, ok := ev.(session.LineSung); ok {
			show(session.LineGraded{Index: sung.Index, Hidden: sung.Hidden, Lines: r.LineText(sung)})
		}
		if told, ok := ev.(session.Reasoned); ok {
			show(session.LineGraded{Index: told.Index, Hidden: told.Hidden, Lines: r.Explanation(told)})
		}
	}
}
