package tui

import (
	"fmt"
	"math"
	"strings"

	"charm.land/lipgloss/v2"

	"singback/exercise"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// View is everything that the screen shows. The zero View is an empty screen.
type View struct {
	Style         report.Style
	Note          string
	Width, Height int     // of the terminal, in cells
	Level         float64 // dBFS of playback, 0: not shown
	Offered       bool    // a second attempt is offered
	Ending        bool

	key      theory.Key
	keySet   bool
	phase    string
	prompted *session.Prompted
	heard    session.Heard
	open     bool
	judged   *session.Judged
	right    int
	answered int
}

// The states of a drill, as the singer reads them.
const (
	phaseKey     = "the key: listen"
	phaseFrom    = "listen"
	phaseWait    = "hear it inside"
	phaseSing    = "SING NOW"
	phaseCompare = "compare: this is the note"
	phaseJudged  = " "
)

// Event takes note of what happened.
func (v *View) Event(e session.Event) {
	switch e := e.(type) {
	case session.KeySet:
		v.key, v.keySet, v.phase = e.Key, true, phaseKey
		if e.Again {
			v.prompted, v.judged = nil, nil
		}
	case session.Prompted:
		v.prompted, v.judged, v.phase = &e, nil, phaseFrom
	case session.Waiting:
		v.phase = phaseWait
	case session.Listening:
		v.phase, v.open, v.heard = phaseSing, true, session.Heard{Level: silent}
	case session.Heard:
		v.heard = e
	case session.Judged:
		v.judged, v.open, v.phase = &e, false, phaseJudged
		if e.Counts {
			v.answered++
			if e.Verdict.Outcome == exercise.InTune {
				v.right++
			}
		}
	case session.Sounding:
		v.phase = phaseCompare
	}
}

// silent is the level, in dBFS, at the empty end of the meter.
const silent = -60.0

// The colours only repeat what words say.
var (
	bold  = lipgloss.NewStyle().Bold(true)
	faint = lipgloss.NewStyle().Faint(true)
	good  = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Cyan)
	near  = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Yellow)
)

// margin is the empty columns at the left.
const margin = "   "

// Render draws the screen. It fits into 80 columns and 24 lines, and into less
// by leaving out details.
func (v *View) Render() string {
	width := v.Width
	if width <= 0 {
		width = 80
	}
	var lines []string
	add := func(s string) { lines = append(lines, margin+s) }

	add(v.head(width - 2*len(margin)))
	add("")
	if v.prompted != nil {
		it := v.prompted.Item
		ask := "sing"
		if it.From != nil {
			ask = "hear " + v.Style.Degree(it.Key, *it.From) + ", sing"
		}
		if v.prompted.Attempt > 1 {
			ask = "once more: " + ask
		}
		if v.prompted.Folded {
			ask += "  (an octave moved to suit the voice)"
		}
		add(ask)
		add("")
		for _, row := range banner(v.Style.Degree(it.Key, it.Asked), v.Style.ASCII) {
			add(bold.Render(row))
		}
	} else {
		for range 2 + bannerRows {
			add("")
		}
	}
	add("")
	phase := v.phase
	if v.Ending {
		phase = "ending ..."
	}
	if v.open && !v.Ending {
		add(bold.Render(fmt.Sprintf("%-16s", phase)) + v.meter())
	} else {
		add(phase)
	}
	add("")
	if v.judged != nil {
		v.verdict(add)
	}
	room := v.Height
	if room <= 0 {
		room = 24
	}
	foot := []string{}
	if v.Note != "" {
		foot = append(foot, margin+cut(v.Note, width-2*len(margin)))
	}
	foot = append(foot, margin+faint.Render(cut(v.keys(), width-2*len(margin))))
	for len(lines) > max(0, room-len(foot)) {
		lines = lines[:len(lines)-1]
	}
	for len(lines) < room-len(foot) {
		lines = append(lines, "")
	}
	return strings.Join(append(lines, foot...), "\n")
}

// head is the top line: the key at the left, how far the series is at the right.
func (v *View) head(width int) string {
	left := ""
	if v.keySet {
		left = v.Style.Key(v.key)
	}
	right := ""
	if v.prompted != nil {
		right = fmt.Sprintf("%d of %d", v.prompted.Index, v.prompted.Of)
	}
	if v.answered > 0 {
		right += fmt.Sprintf("    right so far: %d of %d", v.right, v.answered)
	}
	blank := max(1, width-lipgloss.Width(left)-lipgloss.Width(right))
	return bold.Render(left) + strings.Repeat(" ", blank) + right
}

// meter draws the level while the window is open.
func (v *View) meter() string {
	const cells = 30
	n := int(math.Round((v.heard.Level - silent) / -silent * cells))
	n = max(0, min(cells, n))
	full, empty := "█", "·"
	if v.Style.ASCII {
		full, empty = "#", "."
	}
	s := strings.Repeat(full, n) + strings.Repeat(empty, cells-n)
	switch {
	case v.heard.Level >= -0.5:
		return s + "  too loud: turn down"
	case v.heard.Singing:
		return s + fmt.Sprintf("  held %.1f s", v.heard.Held)
	}
	return s
}

// verdict writes the verdict, the place on a scale of cents, and the details.
func (v *View) verdict(add func(string)) {
	it, verdict := v.judged.Item, v.judged.Verdict
	style, mark := near, "x  "
	switch verdict.Outcome {
	case exercise.InTune:
		style, mark = good, "ok "
	case exercise.NotMeasured, exercise.Ambiguous:
		style, mark = bold, "?  "
	}
	add(style.Render(mark + v.Style.Headline(it, verdict)))
	if verdict.HasSung && verdict.Outcome != exercise.OtherDegree {
		add("   " + scale(verdict.FromAsked, v.Style.ASCII))
	}
	for _, line := range v.Style.Details(verdict) {
		add("   " + line)
	}
}

// scale places a distance on a line from 50 cents flat to 50 cents sharp.
func scale(cents float64, ascii bool) string {
	const half = 20 // cells for 50 cents
	line, centre, here := "─", "┼", "◆"
	if ascii {
		line, centre, here = "-", "+", "V"
	}
	at := half + int(math.Round(cents/50*half))
	at = max(0, min(2*half, at))
	var b strings.Builder
	b.WriteString("flat ")
	for i := range 2*half + 1 {
		switch i {
		case at:
			b.WriteString(here)
		case half:
			b.WriteString(centre)
		default:
			b.WriteString(line)
		}
	}
	b.WriteString(" sharp")
	return b.String()
}

// keys says which keys do something now.
func (v *View) keys() string {
	s := "q end   up, down: sound louder, softer"
	if v.Level != 0 {
		s += fmt.Sprintf(" (%.0f dBFS)", v.Level)
	}
	if v.Offered {
		s = "r once more   space go on   " + s
	}
	return s
}

// cut shortens s to so many cells.
func cut(s string, width int) string {
	r := []rune(s)
	if width > 0 && len(r) > width {
		return string(r[:width])
	}
	return s
}
