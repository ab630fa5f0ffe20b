package drill

import (
	"fmt"
	"math"
	"strings"

	"singback/exercise/grade"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Ask says what a question asks for: "sing mi", "hear la, sing mi".
func Ask(style report.Style, p *session.Prompted) string {
	ask := "sing " + style.Asked(p.Item)
	switch {
	case p.Away != nil:
		ask = "hear where it leads, then " + ask + " of the new key"
	case p.Item.From != nil:
		ask = "hear " + style.Degree(p.Item.Key, *p.Item.From) + ", " + ask
	case p.Silence.Beats > 0:
		ask = "keep do for " + report.Many(p.Silence.Beats, "beat") + ", then " + ask
	}
	return ask
}

// Wait says how long the singer hears inwardly what comes; "" where no beats count it.
func Wait(w session.Waiting) string {
	if w.Beats == 0 {
		return ""
	}
	return fmt.Sprintf("keep do in mind for %s at %g a minute, then sing", report.Many(w.Beats, "beat"), w.Tempo)
}

// Leads says that a passage leads to another key. Which one, the singer is to hear.
func Leads(style report.Style, m *session.Modulating) string {
	return fmt.Sprintf("from %s to another key: find the new do", style.Key(m.From))
}

// Advice says what somebody should do before singing over what sounds; "" where that is
// nothing.
func (p *Plan) Advice() string {
	if u := p.Config.Under; u == nil || u.Headphones {
		return ""
	}
	return "It sounds while you sing: use headphones, and say --headphones; or play it so softly that the microphone hardly hears it."
}

// TooLoud says that the microphone hears too much of what sounds, and what helps.
func TooLoud(o session.Overheard) string {
	return fmt.Sprintf("The microphone hears what sounds at %.0f dBFS, and beside a voice %.0f is the most: use headphones (then say --headphones), or turn it down. If that was you: wait until you are asked.", o.Own, o.Most)
}

// Inwardly says what else an answer tells of inner hearing: how far do moved in the
// silence, or that the old key was sung on; nil where it tells nothing.
func Inwardly(style report.Style, j *session.Judged) []string {
	var out []string
	if j.Away != nil && j.Verdict.HasSung {
		out = append(out, fmt.Sprintf("it led from %s to %s", style.Key(j.Away.From), style.Key(j.Away.To)))
	}
	if j.Old() {
		out = append(out, fmt.Sprintf("that is %s of %s, the old key", style.Degree(j.Away.From, j.Item.Asked), style.Key(j.Away.From)))
	}
	if cents, ok := j.Drift(); ok {
		out = append(out, fmt.Sprintf("in the silence, %.1f s, do moved by %+.0f cents", j.Silence.Seconds(), cents))
	}
	return out
}

// SilentText says which bars of a line are silent; "" where none is.
func SilentText(p *session.LinePrompted) string {
	switch {
	case p.Silent == nil:
		return ""
	case len(p.SilentBars) == 1:
		return fmt.Sprintf("Bar %d is silent: hear it inwardly, and sing on after it.", p.SilentBars[0])
	}
	return "Bars " + barList(p.SilentBars) + " are silent: hear them inwardly, and sing on after them."
}

// barList writes numbers of bars: "2, 4".
func barList(bars []int) string {
	return strings.ReplaceAll(strings.Trim(fmt.Sprint(bars), "[]"), " ", ", ")
}

// gapRecord is how a singer went on after a gap, as programs read it.
func gapRecord(g *grade.Gap, names theory.Naming, line *grade.Line) report.Gap {
	r := report.Gap{Before: g.Before + 1, After: g.After + 1, Sung: g.Sung}
	if g.After >= len(line.Notes) {
		r.After = 0
	}
	if g.HasDrift {
		drift := math.Round(10*g.Drift)/10 + 0
		r.DriftCents = &drift
	}
	if g.Timed {
		late := math.Round(100*g.Late)/100 + 0
		r.LateBeats = &late
	}
	if g.HasEntered {
		asked, entered := names.NameASCII(line.Key, line.Degrees[g.After]), names.NameASCII(line.Key, g.Entered)
		r.Asked, r.Entered = &asked, &entered
	}
	return r
}
