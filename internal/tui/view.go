package tui

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"charm.land/lipgloss/v2"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// View is everything that the screen shows. The zero View is an empty screen.
type View struct {
	Style         report.Style
	Alert         string  // what must be known first, like what answers instead of a microphone
	Note          string  // lines that stay on the screen
	Width, Height int     // of the terminal, in cells
	Level         float64 // dBFS of playback, 0: not shown
	Offered       bool    // a second attempt is offered
	Paused        bool    // the drill waits until the singer has rested
	Ending        bool
	Typing        *Typing                                          // nil where nothing is typed
	Pause         string                                           // what is waited for, "" if nothing is
	Staff         func(s theory.Score, width, height int) []string // draws a melody; nil draws none

	key      theory.Key
	keySet   bool
	phase    string
	prompted *session.Prompted
	heard    session.Heard
	open     bool
	judged   *session.Judged
	guess    string // how the singer's guess was, "" without one
	last     string // the verdict before, while there is no newer one
	right    int
	answered int
	deaf     int          // readings of the level in a row without even noise
	standing string       // where the singer stands
	within   theory.Cents // tolerance of the question, 0 before the first
	before   theory.Cents // and of the one before
	rest     []string     // that the singer should rest now
	restFor  int          // for how many more questions that is shown

	number    int // of the question, where it is not in prompted
	of        int // how many there are, 0 where that is not known
	dictation *compose.Dictation
	named     *session.Named
	line      *theory.Score // the melody to be sung
	graded    *session.LineGraded
}

// Typing is a line that is being typed.
type Typing struct {
	Ask     string // what is asked for
	Text    string // what is there so far
	Problem string // why the last line was not taken
}

// The states of a drill, as the singer reads them.
const (
	phaseKey     = "listen: this is the key"
	phaseFrom    = "listen"
	phaseWait    = "hear it inside, do not sing yet"
	phaseSing    = "sing now, and hold"
	phaseCompare = "compare: this is the note"
	phaseOffer   = "once more?   r yes   space no"
	phaseGuess   = "what was it?   f flat   r right   s sharp   space no idea"
	noted        = "noted: told at the end"
	phaseHear    = "listen: what is it?"
	phaseTold    = "listen again: this was it"
	phaseRead    = "read it"
	phaseCount   = "the beat is counted: %d beats, then sing"
	phaseLine    = "sing now"
	phasePause   = "rest now   Enter goes on"
	phaseEnding  = "ending ..."
)

// Event takes note of what happened.
func (v *View) Event(e session.Event) {
	switch e := e.(type) {
	case session.KeySet:
		v.key, v.keySet, v.phase = e.Key, true, phaseKey
		if v.line == nil || v.graded != nil {
			v.forget()
		}
	case session.Prompted:
		v.forget()
		v.prompted, v.phase = &e, phaseWait
		if e.Attempt <= 1 {
			v.before, v.within = v.within, e.Tolerance.Cents
		}
		if v.restFor--; v.restFor < 0 {
			v.rest = nil
		}
		if e.Item.From != nil {
			v.phase = phaseFrom
		}
	case session.DictationAsked:
		v.forget()
		v.dictation, v.number, v.of, v.phase = &e.Dictation, e.Index, e.Of, phaseHear
	case session.Naming:
		v.phase = ""
	case session.Named:
		v.named, v.phase = &e, ""
		if !e.Hidden {
			v.phase = phaseTold
			v.last = "before: " + v.Style.NamedHeadline(e.Dictation, e.Names, e.Right)
			for _, right := range e.Right {
				v.count(right)
			}
		}
	case session.LinePrompted:
		v.forget()
		v.number, v.of, v.line, v.phase = e.Index, e.Of, &e.Melody.Score, phaseRead
		v.key, v.keySet = e.Melody.Score.Key, true
	case session.CountIn:
		v.phase = fmt.Sprintf(phaseCount, e.Beats)
	case session.LineSung:
		v.open, v.phase = false, ""
	case session.LineGraded:
		e.Lines = slices.Clone(e.Lines)
		for i := range e.Lines {
			e.Lines[i] = plain.Shown(e.Lines[i])
		}
		v.graded, v.last = &e, ""
		if !e.Hidden && len(e.Lines) > 0 {
			v.last = "before: " + e.Lines[0]
		}
	case session.Waiting:
		v.phase = phaseWait
	case session.Listening:
		v.deaf = 0
		if v.line != nil {
			v.phase, v.open, v.heard = phaseLine, true, session.Heard{Level: silent}
			break
		}
		v.phase, v.open, v.heard = phaseSing, true, session.Heard{Level: silent}
	case session.Heard:
		v.heard = e
		if v.deaf++; e.Level > exercise.Silence {
			v.deaf = 0
		}
	case session.Standing:
		v.standing = e.Text
	case session.Guessing:
		v.open, v.phase = false, phaseGuess
	case session.Notice:
		v.Note = plain.Shown(e.Text)
	case session.Judged:
		v.judged, v.open, v.phase = &e, false, ""
		v.guess = guessed(e)
		if e.Hidden {
			v.last = ""
			break
		}
		v.last = "before: " + v.Style.Headline(e.Item, e.Verdict)
		if e.Counts {
			v.count(e.Verdict.Outcome.IsRight())
		}
	case session.Rest:
		v.rest, v.restFor = report.Rest(e.Sung), 3
	case session.Sounding:
		v.phase = phaseCompare
	case session.Finished:
		v.open, v.phase = false, ""
	}
}

// guessed says how the guess compares with what was sung.
func guessed(e session.Judged) string {
	words := map[exercise.Outcome]string{exercise.Flat: "flat", exercise.InTune: "right", exercise.Sharp: "sharp"}
	guess, ok := words[e.Guess]
	switch {
	case !ok:
		return ""
	case e.Guess == e.Verdict.Outcome:
		return "you heard that: " + guess
	}
	return "you took it for " + guess
}

func (v *View) count(right bool) {
	v.answered++
	if right {
		v.right++
	}
}

// forget clears the question and what was said of its answer.
func (v *View) forget() {
	v.prompted, v.judged, v.open = nil, nil, false
	v.dictation, v.named, v.line, v.graded = nil, nil, nil, nil
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

// part is some lines of the screen that are shown together or not at all. On a
// low screen parts of the lowest rank find room first.
type part struct {
	rank  int
	lines []string
}

// The ranks, from what must be seen to what is nice to have.
const (
	always = iota
	caution
	question
	meter
	answer
	help
	questionAgain // the large question, once it has been answered
	heading
	label // of the large answer
	ruler
	standing
	note
	detail
	before
	space
)

// Render draws the screen. It fills 80 columns and 24 lines; on a larger screen the
// letters grow, on a smaller one details are left out: the question, the phase and
// the verdict in words stay longest.
func (v *View) Render() string {
	width, height := v.Width, v.Height
	if width <= 0 {
		width = 80
	}
	if height <= 0 {
		height = 24
	}
	margin := "   "
	if width < 60 {
		margin = " "
	}
	inner := max(1, width-2*len(margin))
	var parts []part
	add := func(rank int, lines ...string) { parts = append(parts, part{rank, lines}) }
	words := func(rank int, s string, style lipgloss.Style) {
		lines := wrap(s, inner)
		for i := range lines {
			lines[i] = style.Render(lines[i])
		}
		add(rank, lines...)
	}
	letters := max(1, (height-besideLetters)/(2*bannerRows)) // rows to a dot of a large letter
	large := func(rank int, s string, style lipgloss.Style) {
		rows := banner(s, v.Style.ASCII, inner, letters)
		for i := range rows {
			rows[i] = style.Render(rows[i])
		}
		add(rank, rows...)
	}

	if v.Alert != "" {
		words(caution, v.Alert, near)
	}
	add(heading, v.head(inner))
	if v.standing != "" {
		add(standing, wrap(v.standing, inner)...)
	}
	add(space, "")
	switch {
	case v.dictation != nil:
		add(always, wrap(v.Style.Dictation(*v.dictation), inner)...)
		add(space, "")
	case v.line != nil:
		var rows []string
		if v.Staff != nil {
			rows = v.Staff(*v.line, inner, max(1, height-StaffRoom))
		}
		add(always, rows[:min(len(rows), max(0, height-2))]...)
	case v.prompted != nil:
		add(always, wrap(v.ask(), inner)...)
		rank := question
		if v.judged != nil {
			rank = questionAgain
		}
		large(rank, v.asked(inner), bold)
	default:
		add(space, make([]string, 1+bannerRows)...)
	}
	if len(v.rest) > 0 {
		add(space, "")
		add(caution, wrap(strings.Join(v.rest, " "), inner)...)
	}
	add(space, "")
	phase := v.phase
	switch {
	case v.Ending:
		phase = phaseEnding
	case v.Paused:
		phase = phasePause
	case v.Offered:
		phase = phaseOffer
	case v.Pause != "":
		phase = v.Pause
	case v.Typing != nil:
		phase = v.Typing.Ask
	}
	if phase != "" {
		words(always, phase, bold)
	} else {
		add(space, "")
	}
	switch {
	case v.judged != nil && v.judged.Hidden, v.named != nil && v.named.Hidden, v.graded != nil && v.graded.Hidden:
		add(always, bold.Render(noted))
	case v.Typing != nil:
		add(always, tail("> "+v.Typing.Text+"_", inner))
		if v.Typing.Problem != "" {
			add(always, wrap(v.Typing.Problem, inner)...)
		}
	case v.named != nil:
		style, mark := good, "ok "
		if slices.Contains(v.named.Right, false) {
			style, mark = near, "x  "
		}
		words(always, mark+v.Style.NamedHeadline(v.named.Dictation, v.named.Names, v.named.Right), style)
		add(space, "it was")
		large(answer, v.Style.Named(v.named.Dictation.Key, v.named.Dictation.Skills()), style)
	case v.graded != nil:
		for i, line := range v.graded.Lines {
			rank := detail
			if i == 0 {
				rank = always
			}
			add(rank, wrap(line, inner)...)
		}
	case v.judged != nil:
		it, verdict := v.judged.Item, v.judged.Verdict
		style, mark := near, "x  "
		switch verdict.Outcome {
		case exercise.InTune:
			style, mark = good, "ok "
		case exercise.NotMeasured, exercise.Ambiguous:
			style, mark = bold, "?  "
		}
		words(always, mark+v.Style.Headline(it, verdict), style)
		add(label, "sung")
		large(answer, v.sign(it, verdict), style)
		if verdict.HasSung && verdict.Outcome != exercise.OtherDegree {
			add(ruler, scale(verdict.FromAsked, v.judged.Tolerance.Cents, v.Style.ASCII, inner))
		}
		for _, line := range append([]string{report.OutBy(verdict, v.judged.Tolerance), v.guess}, v.Style.Details(verdict)...) {
			if line != "" {
				add(detail, wrap(line, inner)...)
			}
		}
	case v.open && v.line != nil:
		add(meter, v.meter(inner))
	case v.open:
		add(space, "", "")
		large(answer, "sing", bold)
		add(meter, v.meter(inner))
	case v.last != "":
		add(before, append([]string{""}, wrap(v.last, inner)...)...)
	}
	foot := 0
	for line := range strings.Lines(v.Note) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		add(note, wrap(line, inner)...)
		foot++
	}
	keys := fill(v.keys(), "   ", inner)
	if height < 16 && v.Typing == nil {
		keys = keys[:1] // how to end
	}
	for i := range keys {
		keys[i] = faint.Render(keys[i])
	}
	add(help, keys...)
	foot++
	return layOut(parts, foot, margin, width, height)
}

// besideLetters is how many lines a screen needs beside the large letters of a
// question and its answer.
const besideLetters = 16

// StaffRoom is how many lines a screen needs beside a melody: the phase, the meter,
// the keys and two between them.
const StaffRoom = 5

// layOut takes the parts that find room, those of the lowest rank first, and
// puts what is left of the last foot parts at the bottom.
func layOut(parts []part, foot int, margin string, width, height int) string {
	room := height
	shown := make([]bool, len(parts))
	for rank := always; rank <= space; rank++ {
		for i, p := range parts {
			if p.rank == rank && len(p.lines) <= room {
				shown[i] = true
				room -= len(p.lines)
			}
		}
	}
	clip := lipgloss.NewStyle().MaxWidth(width)
	var out []string
	for i, p := range parts {
		if i == len(parts)-foot {
			out = append(out, make([]string, room)...)
		}
		if !shown[i] {
			continue
		}
		for _, line := range p.lines {
			if line != "" {
				line = clip.Render(margin + line)
			}
			out = append(out, line)
		}
	}
	return strings.Join(out, "\n")
}

// wrap breaks s into lines of at most width cells where it can.
func wrap(s string, width int) []string { return strings.Split(lipgloss.Wrap(s, width, ""), "\n") }

// fill puts items beside each other, as many as fit into a line of so many cells.
func fill(items []string, between string, width int) (lines []string) {
	for _, item := range items {
		if n := len(lines) - 1; n >= 0 && lipgloss.Width(lines[n]+between+item) <= width {
			lines[n] += between + item
			continue
		}
		lines = append(lines, wrap(item, width)...)
	}
	return lines
}

// tail is the end of a line that is being typed, as much as fits.
func tail(s string, width int) string {
	for r := []rune(s); len(r) > 0; r = r[1:] {
		if s = string(r); lipgloss.Width(s) <= width {
			break
		}
	}
	return s
}

// asked is the question in a few characters that can be read from afar: the degree
// that is asked and, where that fits in letters as large, the one to start from, which
// else stands there alone while it sounds.
func (v *View) asked(width int) string {
	it := v.prompted.Item
	asked := v.Style.Degree(it.Key, it.Asked)
	if it.From == nil {
		return asked
	}
	from := v.Style.Degree(it.Key, *it.From)
	if both := from + "→" + asked; fits(both, width) {
		return both
	}
	if v.phase == phaseFrom {
		return from
	}
	return asked
}

// fits tells whether a text can be drawn in letters of their full width.
func fits(text string, width int) bool {
	n, ok := dots(text)
	return ok && 2*n <= width
}

// ask says the question in words, and once it has been answered what it was.
func (v *View) ask() string {
	it := v.prompted.Item
	if v.judged != nil {
		asked := "asked " + v.Style.Asked(it)
		if it.From != nil {
			asked += ", from " + v.Style.Degree(it.Key, *it.From)
		}
		return asked
	}
	ask := "sing " + v.Style.Asked(it)
	if it.From != nil {
		ask = "hear " + v.Style.Degree(it.Key, *it.From) + ", " + ask
	}
	if v.prompted.Attempt > 1 {
		ask = "once more: " + ask
	}
	if v.within != 0 {
		ask += ", " + report.Within(v.within, v.before)
	}
	if p := v.prompted; p.Parts > 0 {
		ask += fmt.Sprintf("  (a series: %d of %d)", p.Part, p.Parts)
	}
	if v.prompted.Folded {
		ask += "  (" + report.Folded(it) + ")"
	}
	return ask
}

// sign is the verdict in a few characters that can be read from afar: the
// degree sung with the cents it was off, "~" where it was not held, "?" where
// it could not be told. Another octave is marked as in notation: 8va above, 8vb
// below.
func (v *View) sign(it exercise.Item, verdict exercise.Verdict) string {
	if !verdict.HasSung || verdict.Outcome == exercise.Ambiguous {
		if verdict.Outcome == exercise.Unsteady {
			return "~"
		}
		return "?"
	}
	sung := v.Style.Degree(it.Key, verdict.Sung)
	switch verdict.Outcome {
	case exercise.InTune, exercise.Flat, exercise.Sharp:
		if c := math.Round(verdict.Cents); c != 0 {
			return fmt.Sprintf("%s %+.0f", sung, c)
		}
		return sung + " 0"
	case exercise.OtherDegree:
		if verdict.Sung != it.Asked {
			return sung
		}
		switch n := verdict.OctaveShift; {
		case n == 1:
			return sung + " 8va"
		case n == -1:
			return sung + " 8vb"
		case n > 0:
			return sung + " 15ma"
		default:
			return sung + " 15mb"
		}
	}
	return sung + " ~" // unsteady
}

// head is the top line: the key at the left, how far the series is at the right.
func (v *View) head(width int) string {
	left := ""
	if v.keySet {
		left = v.Style.Key(v.key)
	}
	right := ""
	if v.dictation != nil || v.line != nil {
		right = numbered(v.number, v.of)
	}
	if v.prompted != nil {
		right = numbered(v.prompted.Index, v.prompted.Of)
	}
	if v.answered > 0 {
		score := fmt.Sprintf("    right so far: %d of %d", v.right, v.answered)
		if lipgloss.Width(left+right+score) < width {
			right += score
		}
	}
	blank := max(1, width-lipgloss.Width(left)-lipgloss.Width(right))
	return bold.Render(left) + strings.Repeat(" ", blank) + right
}

// numbered says which question it is, of how many if that is known.
func numbered(index, of int) string {
	if of == 0 {
		return fmt.Sprintf("question %d", index)
	}
	return fmt.Sprintf("%d of %d", index, of)
}

// tooLoud is the level in dBFS of a frame beyond which a voice is about to be
// cut off: peaks of a sung note stand 6 dB and more above its RMS (common
// practice).
const tooLoud = -6.0

// deafAfter is after how many readings without even noise, ten a second, the
// microphone is asked about.
const deafAfter = 10

// meter draws the level, and how long the note has been held.
func (v *View) meter(width int) string {
	cells := max(5, min(40, width-24))
	n := int(math.Round((v.heard.Level - silent) / -silent * float64(cells)))
	n = max(0, min(cells, n))
	full, empty := "█", "·"
	if v.Style.ASCII {
		full, empty = "#", "."
	}
	s := strings.Repeat(full, n) + strings.Repeat(empty, cells-n)
	switch {
	case v.heard.Level >= tooLoud:
		return s + "  too loud"
	case v.deaf >= deafAfter:
		return s + "  muted or unplugged?"
	case v.heard.Singing && v.line == nil:
		return s + fmt.Sprintf("  held %.1f s", v.heard.Held)
	}
	return s
}

// scale places a distance on a line from 50 cents flat to 50 cents sharp, with marks
// at both ends of what is right; without them where the tolerance is 0.
func scale(cents, tolerance float64, ascii bool, width int) string {
	half := max(2, min(25, (width-12)/2)) // cells for 50 cents
	line, centre, here, low, high := "─", "┼", "◆", "├", "┤"
	if ascii {
		line, centre, here, low, high = "-", "+", "V", "[", "]"
	}
	cells := func(cents float64) int { return int(math.Round(cents / 50 * float64(half))) }
	edge := min(half, max(1, cells(tolerance)))
	at := max(-half, min(half, cells(cents)))
	if tolerance > 0 && edge < half { // what is right stands within the marks, what is not outside
		if math.Abs(cents) <= tolerance {
			at = max(-edge, min(edge, at))
		} else if -edge <= at && at <= edge {
			at = int(math.Copysign(float64(edge+1), cents))
		}
	}
	var b strings.Builder
	b.WriteString("flat ")
	for i := -half; i <= half; i++ {
		switch {
		case i == at:
			b.WriteString(here)
		case i == 0:
			b.WriteString(centre)
		case tolerance > 0 && i == -edge:
			b.WriteString(low)
		case tolerance > 0 && i == edge:
			b.WriteString(high)
		default:
			b.WriteString(line)
		}
	}
	b.WriteString(" sharp")
	return b.String()
}

// keys says which keys do something.
func (v *View) keys() []string {
	if v.Typing != nil {
		return []string{"Enter: that is it", "empty: hear it again", "?: give up", "Esc: clear", "Ctrl-C: end"}
	}
	sound := "up, down: sound louder, softer"
	if v.Level != 0 {
		sound += fmt.Sprintf(" (%.0f dBFS)", v.Level)
	}
	return []string{"q: end", sound}
}
