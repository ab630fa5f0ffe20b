package engine

import (
	"fmt"
	"math"
	"strings"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/drill"
	"singback/internal/engrave"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// show turns the events of a drill into messages: what programs are told, and beside it
// what a screen shows.
type show struct {
	*Engine
	run       *drill.Run
	voice     string       // whose clef a line has, "": the one that fits
	quiet     bool         // a short drill within a drill: nothing of it is told to programs
	width     int          // CSS pixels that a staff may take; 0: not known
	cursor    bool         // show while a line is sung which degree is heard
	tolerance float64      // of the lines of a series
	within    theory.Cents // tolerance of the question before
	line      bool         // the last question was a line
	playing   string       // the state in which something is to be played; "": nothing is
}

// What screens are told beside the events; the fields stand in the description of the
// messages in the package's documentation of the page.
type (
	keySaid struct {
		Key  string `json:"key"`
		How  string `json:"how"`
		Line string `json:"line"`
	}
	promptSaid struct {
		Asked     string  `json:"asked"`
		From      string  `json:"from"`
		Ask       string  `json:"ask"`
		Index     int     `json:"index"`
		Of        int     `json:"of"`
		Folded    string  `json:"folded"`
		Part      string  `json:"part"`
		Tolerance float64 `json:"tolerance"`
		Again     bool    `json:"again"`
		Hold      float64 `json:"hold"` // seconds after which a held note is an answer
	}
	verdictSaid struct {
		Headline string   `json:"headline"`
		Asked    string   `json:"asked"`
		Sung     string   `json:"sung"`
		Mark     string   `json:"mark"` // "right", "wrong" or "unknown"
		Details  []string `json:"details"`
		Hidden   bool     `json:"hidden"`
		Guess    string   `json:"guess"`
	}
	lineSaid struct {
		Headline string `json:"headline"`
		Index    int    `json:"index"`
		Of       int    `json:"of"`
		Echo     bool   `json:"echo"`
		// Tolerance is in cents, for the meter of --cursor; 0 where there is none.
		Tolerance float64 `json:"tolerance"`
	}
	linesSaid struct {
		Lines    []string   `json:"lines"`
		Mark     string     `json:"mark,omitempty"`
		Hidden   bool       `json:"hidden,omitempty"`
		Practise string     `json:"practise,omitempty"` // the address of the weakest interval
		Notes    [][]string `json:"notes,omitempty"`    // the table of the notes, its first row the heading
	}
	namedSaid struct {
		Ask      string `json:"ask,omitempty"`
		Headline string `json:"headline,omitempty"`
		Mark     string `json:"mark,omitempty"`
		Was      string `json:"was,omitempty"`
		Hidden   bool   `json:"hidden,omitempty"`
		Index    int    `json:"index"`
		Of       int    `json:"of"`

		Details []string `json:"details,omitempty"` // of what was sung
	}
)

func tenth(x float64) float64 { return math.Round(10*x)/10 + 0 }

// event tells what happened.
func (s *show) event(ev session.Event) {
	style := s.run.Style
	m := eventMessage{}
	switch ev := ev.(type) {
	case session.KeySet:
		again := ""
		if ev.Again {
			again = " again"
		}
		m.Said = keySaid{style.Key(ev.Key), ev.Setting.String(), fmt.Sprintf("%s%s: %s, %s.", style.Key(ev.Key), again, ev.Setting, report.Tuning(ev.Tuning))}
		s.state("key")
	case session.Prompted:
		m.Said = s.prompted(ev)
		s.line, s.playing = false, ""
	case session.DictationAsked:
		if s.line, s.playing = ev.Sung, ""; ev.Played {
			s.play()
		}
		m.Said = namedSaid{Ask: sentence(style.DictationStep(ev.Dictation, ev.By(), ev.Step)), Index: ev.Index, Of: ev.Of}
		s.state("hear")
	case session.Named:
		m.Said = s.named(ev)
	case session.Reasoned:
		m.Said = s.reasoned(ev)
	case *session.HandAsked:
		s.play()
	case *session.HandStruck:
		m.Said = s.struck(ev)
		s.playing = ""
	case session.LinePrompted:
		s.line, s.playing = true, ""
		m.Said = s.prompt(ev)
		if !ev.Echo {
			m.SVG = s.staff(ev.Melody.Score, ev.Silent, nil)
		}
	case session.LineSung:
		said := s.lineSung(ev)
		if m.Said = said; !said.Hidden {
			m.SVG = s.staff(ev.Melody.Score, ev.Silent, s.marks(ev))
		}
	case session.Modulating:
		m.Said = linesSaid{Lines: []string{sentence(drill.Leads(style, &ev)) + "."}}
		s.post(stateMessage{Is: "state", Name: "key", Text: "Listen: " + drill.Leads(style, &ev) + "."})
	case session.Judged:
		said := s.judged(ev)
		if m.Said = said; !said.Hidden {
			m.Picture = s.picture(ev)
		}
	case session.Rest:
		s.rest(ev.Sung)
		m.Said = linesSaid{Lines: report.Rest(ev.Sung)}
	case session.Finished:
		m.Said = linesSaid{Lines: summary(s.run, ev.Tally)}
	default:
		s.other(ev)
	}
	detail := s.run.EventRecord(ev)
	if _, key := ev.(session.KeySet); key && detail == nil && m.Said != nil {
		detail = struct { // of a line, whose record has its key
			Event string `json:"event"`
		}{"key"}
		s.post(stateMessage{Is: "state", Name: "key", Text: m.Said.(keySaid).Line})
		return
	}
	m.Quiet = s.quiet
	s.shown(detail, m)
}

// other tells what only a screen is told.
func (s *show) other(ev session.Event) {
	switch ev := ev.(type) {
	case session.Waiting:
		switch {
		case s.playing != "":
			s.post(stateMessage{Is: "state", Name: "wait", Text: "Hear it inside; do not play yet."})
		case ev.Beats == 0:
			s.state("wait")
		default:
			s.post(stateMessage{Is: "state", Name: "wait", Text: sentence(drill.Wait(ev)) + ".", Beats: ev.Beats, Tempo: ev.Tempo})
		}
	case session.Overheard:
		s.post(textMessage{"notice", drill.TooLoud(ev)})
	case session.Listening:
		switch {
		case s.playing != "":
			s.state(s.playing)
		case s.line:
			s.state("line")
		default:
			s.state("sing")
		}
	case session.Heard:
		s.meter(ev, s.cents(ev))
	case session.Sounding:
		s.state("compare")
	case session.Guessing:
		s.state("guess")
	case session.PlayingLine:
		s.state("play")
	case session.CountIn:
		s.post(stateMessage{
			Is: "state", Name: "count", Beats: ev.Beats, Tempo: ev.Tempo,
			Text: drill.CountIn(ev),
		})
	case session.Standing:
		s.post(textMessage{"standing", ev.Text})
	case session.Notice:
		s.post(textMessage{"notice", ev.Text})
	}
}

// cents are those above the tonic that a line's window hears now; nil without.
func (s *show) cents(h session.Heard) *float64 {
	if !s.cursor || !h.Singing || h.F0 <= 0 {
		return nil
	}
	item := s.run.Plan.Item
	tonic := item.Tuning.Hz(theory.Pitch{Note: item.Key.Tonic, Octave: item.Register.TonicOctave})
	c := tenth(theory.CentsBetween(h.F0, tonic))
	return &c
}

func sentence(text string) string {
	if text == "" {
		return ""
	}
	first := []rune(text)
	return strings.ToUpper(string(first[:1])) + string(first[1:])
}

// prompted says what is asked.
func (s *show) prompted(ev session.Prompted) promptSaid {
	style, it := s.run.Style, ev.Item
	said := promptSaid{
		Asked: style.Asked(it), Index: ev.Index, Of: ev.Of, Tolerance: ev.Tolerance.Cents, Again: ev.Attempt > 1, Hold: s.run.Plan.Config.Window.Hold,
		Ask: drill.Ask(style, &ev),
	}
	if ev.Away == nil {
		said.Ask += " in " + style.Key(it.Key)
	}
	name := "wait"
	if it.From != nil {
		said.From = style.Degree(it.Key, *it.From)
		name = "from"
	}
	if ev.Attempt > 1 {
		said.Ask = "once more: " + said.Ask
	}
	if c := ev.Tolerance.Cents; c != 0 {
		said.Ask += ", " + report.Within(c, s.within)
		s.within = c
	}
	said.Ask = sentence(said.Ask) + "."
	if ev.Folded {
		said.Folded = report.Folded(it)
	}
	if ev.Parts > 0 {
		said.Part = fmt.Sprintf("a series: %d of %d", ev.Part, ev.Parts)
	}
	s.state(name)
	return said
}

// marks of a verdict: a word, since no colour stands alone.
func markOf(o exercise.Outcome) string {
	switch {
	case o.IsRight():
		return "right"
	case o == exercise.NotMeasured || o == exercise.Ambiguous:
		return "unknown"
	}
	return "wrong"
}

// judged says a verdict.
func (s *show) judged(ev session.Judged) verdictSaid {
	style, it, v := s.run.Style, ev.Item, ev.Verdict
	said := verdictSaid{Hidden: ev.Hidden, Details: []string{}, Asked: style.Asked(it)}
	if ev.Hidden {
		said.Headline, said.Mark = "Noted: told at the end.", "unknown"
		return said
	}
	said.Headline, said.Mark = sentence(style.Headline(it, v)), markOf(v.Outcome)
	said.Sung = style.Sign(it, v)
	told := append([]string{report.OutBy(v, ev.Tolerance)}, drill.Inwardly(style, &ev)...)
	for _, line := range append(told, style.Details(v)...) {
		if line != "" {
			said.Details = append(said.Details, line)
		}
	}
	said.Guess = report.Guessed(ev.Guess, v.Outcome)
	return said
}

// named says what was named.
func (s *show) named(ev session.Named) namedSaid {
	style := s.run.Style
	said := namedSaid{Hidden: ev.Hidden, Index: ev.Index, Of: s.run.Plan.Config.Count}
	if ev.Hidden {
		said.Headline, said.Mark = "Noted: told at the end.", "unknown"
		return said
	}
	a := drill.Answered(ev)
	said.Headline, said.Mark = sentence(style.AnsweredHeadline(a)), a.Mark()
	said.Was = style.Named(ev.Dictation.Key, ev.Dictation.Skills())
	for _, line := range style.AnsweredDetails(a) {
		said.Details = append(said.Details, sentence(line)+".")
	}
	if s.run.Plan.Config.Compare {
		s.state("told")
	}
	return said
}

// reasoned explains a progression.
func (s *show) reasoned(ev session.Reasoned) namedSaid {
	said := namedSaid{Hidden: ev.Hidden, Index: ev.Index, Of: s.run.Plan.Config.Count, Headline: "Noted: told at the end.", Mark: "unknown"}
	if ev.Hidden {
		return said
	}
	lines := s.run.Explanation(ev)
	_, head, _ := strings.Cut(lines[0], "  ")
	said.Headline, said.Mark, said.Was = sentence(head), "right", s.run.Style.Romans(ev.Dictation.Chords)
	for _, line := range lines[1:] {
		said.Details = append(said.Details, sentence(strings.TrimSpace(line))+".")
	}
	for _, m := range ev.Marks {
		if !m.Bass || !m.Quality || !m.Chord {
			said.Mark = "wrong"
		}
	}
	if s.run.Plan.Config.Compare {
		s.state("told")
	}
	return said
}

// prompt says which line is to be sung.
func (s *show) prompt(ev session.LinePrompted) lineSaid {
	m, what := ev.Melody, "A melody"
	if ev.Echo {
		what = "A phrase"
	}
	text := fmt.Sprintf("%s in %s, level %d", what, s.run.Style.Key(m.Score.Key), m.Level)
	if m.Skill != "" {
		text += ", " + m.Skill
	}
	text += fmt.Sprintf(", %g beats a minute.", ev.Tempo)
	if silent := drill.SilentText(&ev); silent != "" {
		text += " " + silent
	}
	return lineSaid{text, ev.Index, ev.Of, ev.Echo, s.tolerance}
}

// staff draws a line; marks stand at its notes.
func (s *show) staff(score theory.Score, silent []bool, marks []engrave.Mark) string {
	view := engrave.View{Width: units(s.width), Marks: marks, Silent: silent}
	if c, ok := engrave.VoiceClef(s.voice); ok {
		view.Clef = &c
	}
	if s.run.Shown() || marks != nil {
		view.Labels = score.Labels(s.run.Style.Names, false)
	}
	text, err := engrave.Printed(score, view)
	if err != nil { // a made line can be drawn
		return ""
	}
	return text
}

// staffUnits is how wide a staff is drawn, in tenths of a staff space: a system holds
// some three bars, and can still be read on a phone.
const (
	staffUnits            = 760
	leastUnits, mostUnits = 340, 1400
)

// units is how wide a staff is drawn that may take so many CSS pixels; 0: that is not
// known.
func units(width int) int {
	if width <= 0 {
		return staffUnits
	}
	return max(leastUnits, min(mostUnits, width))
}

// lineSung says how a line was sung.
func (s *show) lineSung(ev session.LineSung) linesSaid {
	said := linesSaid{Hidden: ev.Hidden}
	if ev.Hidden {
		said.Lines, said.Mark = []string{"Noted: told at the end."}, "unknown"
		return said
	}
	said.Lines, said.Mark = lineText(s.run.LineText(ev)), markOf(ev.Outcome)
	if !ev.Counts() {
		said.Mark = "unknown"
	}
	said.Practise = s.run.WeakestAddress(ev)
	return said
}

// lineText is the text of a line without the columns that a terminal has: "marks     5 of
// 6" is "Marks: 5 of 6". The number of the line and the command that practises it stand
// elsewhere on a screen.
func lineText(lines []string) []string {
	out := []string{}
	for i, line := range lines {
		head, rest, columns := strings.Cut(line, "  ")
		rest = strings.TrimSpace(rest)
		switch {
		case !columns:
			out = append(out, line)
		case i == 0:
			out = append(out, rest)
		case head == "practise":
		case head == "" && len(out) > 0:
			out[len(out)-1] += "; " + rest
		default:
			out = append(out, sentence(head)+": "+rest)
		}
	}
	return out
}

// marks are what became of the notes of a line.
func (s *show) marks(ev session.LineSung) []engrave.Mark {
	score := ev.Melody.Score
	marks := make([]engrave.Mark, len(score.Notes))
	if !ev.Counts() {
		return marks
	}
	graded := 0 // the grade has the notes without the rests
	for i, n := range score.Notes {
		if n.Rest || i < len(ev.Silent) && ev.Silent[i] || graded >= len(ev.Grade.Notes) {
			continue
		}
		g := ev.Grade.Notes[graded]
		m := engrave.Mark{Cents: g.Cents}
		switch g.Finding {
		case grade.Right:
			m.Kind = engrave.MarkRight
		case grade.OutOfTune:
			m.Kind, m.Text = engrave.MarkOff, fmt.Sprintf("%+.0f", g.Cents)
		case grade.Wrong:
			m.Kind, m.Text = engrave.MarkWrong, s.sungName(ev, graded, g.Cents)
		default:
			m.Kind = engrave.MarkAbsent
		}
		marks[i], graded = m, graded+1
	}
	return marks
}

// sungName names the degree that was sung for a note, so many cents away from its own.
func (s *show) sungName(ev session.LineSung, note int, cents theory.Cents) string {
	key, tuning := ev.Melody.Score.Key, ev.Tuning
	if ev.Model.Degrees == nil {
		return ""
	}
	own := ev.Model.Degrees[note]
	d, _ := tuning.Nearest(tuning.Cents(own)+cents, own)
	return s.run.Style.Degree(key, d)
}

// rest notes for how long somebody has sung when a rest was due.
func (e *Engine) rest(sung float64) {
	e.mu.Lock()
	e.rested = sung
	e.mu.Unlock()
}

// sungFor is for how long somebody had sung when the last rest was due.
func (e *Engine) sungFor() float64 {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.rested
}
