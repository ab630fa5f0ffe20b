package tui

import (
	"fmt"
	"math"
	"strings"

	"charm.land/lipgloss/v2"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/report"
)

// silent is the level, in dBFS, at the empty end of the meter.
const silent = -60.0

// The colours only repeat what words say.
var (
	bold  = lipgloss.NewStyle().Bold(true)
	faint = lipgloss.NewStyle().Faint(true)
	good  = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Cyan)
	near  = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Yellow)
)

// Render draws the screen. It fills 80 columns and 24 lines; on a larger screen the
// letters grow, on a smaller one details are left out: the question, the phase and
// the verdict in words stay longest.
func (v *View) Render() string {
	s := newDrawing(v.Width, v.Height, v.Style.ASCII)
	if v.Alert != "" {
		s.words(caution, v.Alert, near)
	}
	s.add(heading, v.head(s.inner))
	if v.standing != "" {
		s.add(standing, wrap(v.standing, s.inner)...)
	}
	s.add(space, "")
	s.question(v)
	if len(v.rest) > 0 {
		s.add(space, "")
		s.add(caution, wrap(strings.Join(v.rest, " "), s.inner)...)
	}
	s.add(space, "")
	if phase := v.now(); phase != "" {
		s.words(always, phase, bold)
	} else {
		s.add(space, "")
	}
	s.answer(v)
	foot := s.foot(v)
	return layOut(s.parts, foot, s.margin, s.width, s.height)
}

// drawing is what is drawn so far, from the top down.
type drawing struct {
	width, height int // in cells
	margin        string
	inner         int // cells between the margins
	letters       int // rows to a dot of a large letter
	ascii         bool
	parts         []part
}

// newDrawing returns an empty one for a screen, which has 80 columns and 24 lines
// where its size is not known.
func newDrawing(width, height int, ascii bool) *drawing {
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
	return &drawing{
		width: width, height: height, margin: margin, ascii: ascii,
		inner:   max(1, width-2*len(margin)),
		letters: max(1, (height-besideLetters)/(2*bannerRows)),
	}
}

// add adds lines as they are.
func (s *drawing) add(rank int, lines ...string) { s.parts = append(s.parts, part{rank, lines}) }

// words adds a text, wrapped.
func (s *drawing) words(rank int, text string, style lipgloss.Style) {
	lines := wrap(text, s.inner)
	for i := range lines {
		lines[i] = style.Render(lines[i])
	}
	s.add(rank, lines...)
}

// large adds a text in large letters.
func (s *drawing) large(rank int, text string, style lipgloss.Style) {
	rows := banner(text, s.ascii, s.inner, s.letters)
	for i := range rows {
		rows[i] = style.Render(rows[i])
	}
	s.add(rank, rows...)
}

// question adds what is asked.
func (s *drawing) question(v *View) {
	switch {
	case v.dictation != nil:
		s.add(always, wrap(v.Style.DictationStep(*v.dictation, v.by, v.step), s.inner)...)
		s.add(space, "")
	case v.line != nil:
		var rows []string
		if v.Staff != nil {
			rows = v.Staff(*v.line, s.inner, max(1, s.height-StaffRoom))
		}
		s.add(always, rows[:min(len(rows), max(0, s.height-2))]...)
	case v.prompted != nil:
		s.add(always, wrap(v.ask(), s.inner)...)
		rank := question
		if v.judged != nil {
			rank = questionAgain
		}
		s.large(rank, v.asked(s.inner), bold)
	default:
		s.add(space, make([]string, 1+bannerRows)...)
	}
}

// now is what the singer does now, in words; "" for nothing.
func (v *View) now() string {
	switch {
	case v.Ending:
		return phaseEnding
	case v.Paused:
		return phasePause
	case v.Offered:
		return phaseOffer
	case v.Pause != "":
		return v.Pause
	case v.Typing != nil:
		return v.Typing.Ask
	}
	return v.phase
}

// answer adds what is said of the answer or heard of it, while there is one.
func (s *drawing) answer(v *View) {
	switch {
	case v.judged != nil && v.judged.Hidden, v.named != nil && v.named.Hidden, v.graded != nil && v.graded.Hidden:
		s.add(always, bold.Render(noted))
	case v.Typing != nil:
		s.add(always, tail("> "+v.Typing.Text+"_", s.inner))
		if v.Typing.Problem != "" {
			s.add(always, wrap(v.Typing.Problem, s.inner)...)
		}
		if v.step > 1 && v.last != "" { // of a progression the step before helps
			s.add(before, append([]string{""}, wrap(v.last, s.inner)...)...)
		}
	case v.named != nil:
		s.named(v)
	case v.graded != nil:
		for i, line := range v.graded.Lines {
			rank := detail
			if i == 0 {
				rank = always
			}
			s.add(rank, wrap(line, s.inner)...)
		}
	case v.judged != nil:
		s.verdict(v)
	case v.open && (v.line != nil || v.dictation != nil || v.playing):
		s.add(meter, v.meter(s.inner))
	case v.open:
		s.add(space, "", "")
		s.large(answer, "sing", bold)
		s.add(meter, v.meter(s.inner))
	case v.last != "":
		s.add(before, append([]string{""}, wrap(v.last, s.inner)...)...)
	}
}

// named adds what is said of a dictation.
func (s *drawing) named(v *View) {
	a := drill.Answered(*v.named)
	style, mark := good, "ok "
	switch a.Mark() {
	case "wrong":
		style, mark = near, "x  "
	case "unknown":
		style, mark = bold, "?  "
	}
	s.words(always, mark+v.Style.AnsweredHeadline(a), style)
	s.add(space, "it was")
	s.large(answer, v.Style.Named(a.Dictation.Key, a.Dictation.Skills()), style)
	for _, line := range v.Style.AnsweredDetails(a) {
		s.add(detail, wrap(line, s.inner)...)
	}
	s.struck(v)
}

// struck adds what is said of what was then played.
func (s *drawing) struck(v *View) {
	if v.struck == nil || v.struck.Hidden {
		return
	}
	h := drill.Handed(v.struck)
	style, mark := good, "ok "
	switch report.HandMark(h) {
	case "wrong":
		style, mark = near, "x  "
	case "unknown":
		style, mark = bold, "?  "
	}
	s.words(always, mark+v.Style.HandHeadline(h), style)
	for _, line := range v.Style.HandDetails(h) {
		s.add(detail, wrap(line, s.inner)...)
	}
}

// verdict adds what is said of a sung degree.
func (s *drawing) verdict(v *View) {
	it, verdict := v.judged.Item, v.judged.Verdict
	style, mark := near, "x  "
	switch verdict.Outcome {
	case exercise.InTune:
		style, mark = good, "ok "
	case exercise.NotMeasured, exercise.Ambiguous:
		style, mark = bold, "?  "
	}
	s.words(always, mark+v.Style.Headline(it, verdict), style)
	s.add(label, "sung")
	s.large(answer, v.Style.Sign(it, verdict), style)
	if verdict.HasSung && verdict.Outcome != exercise.OtherDegree {
		s.add(ruler, scale(verdict.FromAsked, v.judged.Tolerance.Cents, v.Style.ASCII, s.inner))
	}
	said := append([]string{report.OutBy(verdict, v.judged.Tolerance), v.guess}, drill.Inwardly(v.Style, v.judged)...)
	for _, line := range append(said, v.Style.Details(verdict)...) {
		if line != "" {
			s.add(detail, wrap(line, s.inner)...)
		}
	}
	s.struck(v)
}

// foot adds what stands at the bottom, and returns how many parts that is.
func (s *drawing) foot(v *View) (parts int) {
	for line := range strings.Lines(v.Note) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		s.add(note, wrap(line, s.inner)...)
		parts++
	}
	keys := fill(v.keys(), "   ", s.inner)
	if s.height < 16 && v.Typing == nil {
		keys = keys[:1] // how to end
	}
	for i := range keys {
		keys[i] = faint.Render(keys[i])
	}
	s.add(help, keys...)
	parts++
	return parts
}

// besideLetters is how many lines a screen needs beside the large letters of a
// question and its answer.
const besideLetters = 16

// StaffRoom is how many lines a screen needs beside a melody: the phase, the meter,
// the keys and two between them.
const StaffRoom = 5

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
	ask := drill.Ask(v.Style, v.prompted)
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
		sound += fmt.Sprintf(" (%.0f LUFS)", v.Level)
	}
	return []string{"q: end", sound}
}
