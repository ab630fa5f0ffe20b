package drill

import (
	"fmt"
	"strings"

	"singback/exercise"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// CountIn says how many beats are counted in, and what comes then.
func CountIn(c session.CountIn) string {
	text := report.Many(c.Beats, "beat") + " are counted"
	switch {
	case c.Sung:
		text = "do is sung on " + report.Many(c.Beats, "beat")
	case c.Beats == 1:
		text = "1 beat is counted"
	}
	if c.Call {
		return text + ", then comes the call: sing it back in time."
	}
	return text + ", then sing."
}

// LineAsked is what was asked of a line, for its text.
func LineAsked(s session.LineSung) report.LineAsked {
	a := report.LineAsked{
		Key: s.Melody.Score.Key, Level: s.Melody.Level, Title: s.Melody.Score.Title, Model: s.Model, Tempo: s.Tempo, Echo: s.Echo,
		Mute: s.Take.Loudest <= exercise.Silence,
	}
	if s.Free {
		a.Tempo = 0
	}
	return a
}

// Answered is what was answered to a dictation, for its text.
func Answered(n session.Named) report.Answered {
	a := report.Answered{Dictation: n.Dictation, Names: n.Names, Outcomes: n.Outcomes(), Reason: n.Reason()}
	if n.Sung != nil {
		a.Back, a.Level = &n.Sung.Back, n.Sung.Take.Loudest
	}
	if n.Played != nil {
		a.Played, a.Held = true, n.Played.Held
		if take := n.Played.Take; take != nil {
			a.Heard, a.Level = true, take.Loudest
		}
		if n.Dictation.Of == exercise.BassSkill {
			a.Back = &n.Played.Back
		}
	}
	return a
}

// reasonedOf is what is explained of a progression, for its text.
func reasonedOf(e session.Reasoned) *report.Reasoned {
	return &report.Reasoned{
		Index: e.Index, Dictation: e.Dictation, Named: e.Named, Marks: e.Marks, Unheard: [3]bool{e.NoBass, e.NoQuality, e.NoChords},
		ByBass: e.ByBass, ByQuality: e.ByQuality,
	}
}

// Explanation explains a progression, a line each.
func (r *Run) Explanation(e session.Reasoned) []string { return r.Style.Reasoned(reasonedOf(e)) }

// LineText says how a line was sung, without the table of its notes.
func (r *Run) LineText(sung session.LineSung) []string {
	record, asked := r.Sung(sung), LineAsked(sung)
	text, measured := r.Style.LineHead(record, asked)
	if measured {
		text += "\n" + r.Style.LineDetails(record, asked)
	}
	return strings.Split(strings.TrimRight(text, "\n"), "\n")
}

// Summary sums up a drill: its lines, or what the tally counted.
func (r *Run) Summary(t exercise.Tally) string {
	if r.Plan.sings() {
		text := r.Plan.Sums().text()
		if t.Hand.Of > 0 {
			text += fmt.Sprintf("%d of %d notes struck right.\n", t.Hand.Right, t.Hand.Of)
		}
		return text
	}
	if sat, ok := r.Plan.Sat(); ok {
		return sat.summary(r.Style, t)
	}
	if r.Plan.reasons {
		return r.Style.Balanced(r.Plan.Item.Key, &t)
	}
	return r.driftText() + r.Style.Summary(r.Plan.Item.Key, t)
}

// text sums up a series.
func (s Sums) text() string {
	if s.Sung == 0 {
		return "\nNothing was sung that could be measured.\n"
	}
	return fmt.Sprintf("\n%d sung: %d of %d notes right, %d of %d points.\n", s.Sung, s.Right, s.Written, s.Points, s.Of)
}

// summary sums up a sitting.
func (s Sat) summary(style report.Style, tally exercise.Tally) string {
	if len(s.Keys) == 0 {
		return "Nothing was asked.\n"
	}
	if len(s.Keys) > 1 && style.Names != theory.Numbers {
		style.Names = theory.Movable // for names of notes, or syllables that differ between major and minor
	}
	return style.SummaryOf(s.Keys, tally)
}

// Told says where the singer stands after a sitting, and what was noted, a line each.
func (s Sat) Told(style report.Style) []string {
	var out []string
	if list := style.Missed(s.Noted, s.Missed); list != "" {
		out = append(out, strings.Split(strings.TrimRight(list, "\n"), "\n")...)
		out = append(out, "")
	}
	out = append(out, style.Standing(s.Course, s.Standing, fmt.Sprintf(" New today: %d.", len(s.New)))...)
	if why := report.EndText(s.Ended); why != "" {
		out = append(out, fmt.Sprintf("Ended: %s.", why))
	}
	return out
}
