package cli

import (
	"fmt"
	"io"
	"strings"

	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// lineView writes a run as plain lines: prompts for the singer, and, unless
// results is nil, a line for each verdict.
type lineView struct {
	results, prompts io.Writer
	style            report.Style
	seed             uint64
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
		fmt.Fprintf(v.prompts, "%s%s: %s, %s, seed %d.\n", s.Key(e.Key), again, e.Setting, report.Tuning(e.Tuning), v.seed)
	case session.Prompted:
		v.prompted(e)
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
		fmt.Fprintf(v.prompts, "%d: sing at sight, in %s.\n", e.Index, s.Key(e.Melody.Score.Key))
		for _, line := range v.staff(e.Melody.Score, v.width, 0) {
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

// prompted writes what is asked.
func (v *lineView) prompted(e session.Prompted) {
	s := v.style
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
}
