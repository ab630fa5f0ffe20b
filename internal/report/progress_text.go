package report

import (
	"cmp"
	"fmt"
	"math"
	"sort"
	"strings"
	"unicode/utf8"

	"singback/exercise"
	"singback/exercise/practice"
)

// shownDays is how many days a table in the terminal shows, the latest.
const shownDays = 14

// notEnough is what is said where there are too few answers.
const notEnough = "not enough data"

// Text writes the progress for a terminal of 80 columns.
func (p *Progress) Text() string {
	var b strings.Builder
	b.WriteString(Hang("Practise next:", p.NextLine(), 2) + "\n\n")
	for _, line := range p.intro() {
		b.WriteString(line + "\n")
	}
	for _, t := range p.tables() {
		if len(t.rows) == 0 {
			continue
		}
		if more := len(t.rows) - shownDays; t.field == "day" && more > 0 {
			t.heading += fmt.Sprintf(", the latest %d of %d", shownDays, len(t.rows))
			t.rows = t.rows[more:]
		}
		b.WriteString("\n" + t.heading + "\n")
		p.table(&b, t)
		if t.field == "question" {
			b.WriteString(p.DriftLine() + "\n")
		}
	}
	for _, g := range p.Matrices() {
		b.WriteString("\n" + g.Heading + "\n")
		g.write(&b, p.style.ASCII)
	}
	heading, lines := p.ChangeLines()
	b.WriteString("\nWhat changed\n" + heading + "\n")
	for _, line := range lines {
		b.WriteString(line + "\n")
	}
	heading, lines = p.WeakLines()
	b.WriteString("\nWhat is weak\n" + heading + "\n")
	for _, line := range lines {
		b.WriteString(line + "\n")
	}
	b.WriteString("\nHow to read this\n")
	for _, line := range p.reading() {
		b.WriteString(line + "\n")
	}
	return trimLines(b.String())
}

// nextMost is how many skills are proposed at once, and nextBelow the share right
// under which one is that is not certainly weak: what mastery asks for.
const (
	nextMost  = 3
	nextBelow = 0.9
)

// Next is a skill to practise next, and why, in words.
type Next struct {
	Text  string
	Skill exercise.Skill
}

// Next returns what to practise next: what is weak, else what was right least often of
// what there is enough data about, which enough reports.
func (p *Progress) Next() (next []Next, enough bool) {
	say := func(skill, name string, share float64, answers int) {
		if s, err := exercise.ParseSkill(skill); err == nil && len(next) < nextMost {
			next = append(next, Next{fmt.Sprintf("%s (%.0f %% of %d right)", name, 100*share, answers), s})
		}
	}
	for _, w := range p.Weak {
		say(w.Skill, w.shown, w.Share, w.Answers)
	}
	if len(next) > 0 {
		return next, true
	}
	type row struct {
		Stats
		skill string
	}
	var low []row
	for _, t := range p.tables() {
		switch t.field {
		case "degree", "pair", "bass", "quality":
		default:
			continue
		}
		for _, s := range t.rows {
			if s.Share == nil {
				continue
			}
			if enough = true; *s.Share < nextBelow {
				if t.field == "bass" {
					s.Shown = "bass " + s.Shown
				}
				low = append(low, row{s, t.field + " " + s.Name})
			}
		}
	}
	sort.SliceStable(low, func(i, j int) bool { return cmp.Compare(*low[i].Share, *low[j].Share) < 0 })
	for _, s := range low {
		say(s.skill, s.Shown, *s.Share, s.Answers)
	}
	return next, enough
}

// NextLine says what to practise next in a line.
func (p *Progress) NextLine() string {
	next, enough := p.Next()
	switch {
	case len(next) > 0:
		var what []string
		for _, n := range next {
			what = append(what, n.Text)
		}
		return strings.Join(what, ", ") + "."
	case enough:
		return "nothing stands out; singback today takes what is due."
	}
	return "singback today; there is too little yet to say what is weak."
}

// WeakLines says what goes worse than the rest, and how that was found.
func (p *Progress) WeakLines() (heading string, lines []string) {
	if p.compared == 0 {
		return "Compared is each skill with all others of its kind: " + notEnough + ".", nil
	}
	heading = "Each skill against all others of its kind; listed is what is lower by more than\nchance, and by how many points, 95 % sure for all together."
	for _, w := range p.Weak {
		lines = append(lines, fmt.Sprintf("%s: %.0f %% of %d, the others %.0f %%, lower by %.0f-%.0f",
			w.shown, 100*w.Share, w.Answers, 100*w.Others, math.Floor(100*w.FallLow), math.Ceil(100*w.FallHigh)))
	}
	if len(lines) == 0 {
		lines = []string{"Nothing that the data shows."}
	}
	return heading, lines
}

// grids lists the matrices of confusions.
// Matrices are what was asked and what was sung or named instead; none where
// nothing was.
func (p *Progress) Matrices() []Matrix {
	out := p.taken
	if len(p.asked) > 0 {
		out = append([]Matrix{p.sungGrid()}, out...)
	}
	return out
}

// intro says of what the numbers are.
func (p *Progress) intro() []string {
	where := ""
	if p.Key != nil {
		where = " in " + p.style.Key(p.key)
	}
	n := p.Total.Answers
	if n == 0 {
		n = p.all
	}
	answers := Many(n, "answer")
	when := "on " + p.First
	if p.First != p.Last {
		when = p.First + " to " + p.Last
	}
	lines := []string{fmt.Sprintf("%s: %s%s, %s,", p.Singer, answers, where, when)}
	right := fmt.Sprintf("%d right; %s.", p.Total.Right, notEnough)
	switch {
	case p.Total.Answers == 0:
		right = "none of them one sung degree."
	case p.Total.Share != nil:
		right = fmt.Sprintf("%d right: %s.", p.Total.Right, p.share(p.Total))
	}
	if utf8.RuneCountInString(lines[0]+" "+right) <= 80 {
		lines[0] += " " + right
	} else {
		lines = append(lines, right)
	}
	lines = append(lines, p.others()...)
	switch p.Simulated {
	case 0:
	case p.all:
		lines = append(lines, "A simulated singer gave them, not you.")
	default:
		lines = append(lines, fmt.Sprintf("A simulated singer gave %d of them.", p.Simulated))
	}
	lines = append(lines, p.standing...)
	return lines
}

// reading says how the numbers are meant.
func (p *Progress) reading() []string {
	tolerance := fmt.Sprintf("%g cents", p.ToleranceCents[0])
	if p.ToleranceCents[0] != p.ToleranceCents[1] {
		tolerance = fmt.Sprintf("%g to %g cents, as it was then", p.ToleranceCents[0], p.ToleranceCents[1])
	}
	if p.Total.Answers == 0 {
		return []string{"In brackets: the interval that holds the true number, 95 % sure if answers are",
			"independent. Time: median until the name came. Below ten answers: not",
			"enough data."}
	}
	return []string{
		"Right: within " + tolerance + ". In brackets: the interval",
		"that holds the true number, 95 % sure if answers are independent. Cents: median",
		"of the answers on the degree asked; spread: their standard deviation;",
		"time: median until the answer began. Below ten answers: " + notEnough + ".",
	}
}

// others says in a line each what there is beside sung degrees.
func (p *Progress) others() []string {
	var out []string
	for _, group := range []struct {
		words string
		rows  []Stats
	}{{"bass degrees named right", p.ByBass}, {"chord qualities named right", p.ByQuality}, {"melodies passed", p.ByLevel}, {"degrees struck right", p.ByHand}} {
		right, of := 0, 0
		for _, s := range group.rows {
			right, of = right+s.Right, of+s.Answers
		}
		if of > 0 {
			out = append(out, fmt.Sprintf("%d of %d %s.", right, of, group.words))
		}
	}
	if v := p.VoiceHand; v != nil {
		out = append(out, fmt.Sprintf("Voice and hand: both right %d times, only the voice %d, only the hand %d, neither %d.", v.Both, v.Voice, v.Hand, v.Neither))
	}
	return out
}

// share says "93 % (87-96)".
func (p *Progress) share(s Stats) string {
	return fmt.Sprintf("%.0f %% (%.0f-%.0f)", 100**s.Share, math.Floor(100**s.ShareLow), math.Ceil(100**s.ShareHigh))
}

// median says "+3 (-1, +8)".
func (s Stats) median() string {
	return fmt.Sprintf("%s (%s, %s)", signed(*s.MedianCents), signed(*s.MedianLow), signed(*s.MedianHigh))
}

func signed(x float64) string {
	if r := math.Round(x); r != 0 {
		return fmt.Sprintf("%+.0f", r)
	}
	return "0"
}

// tenths says "+0.5".
func tenths(x float64) string {
	if r := math.Round(10*x) / 10; r != 0 {
		return fmt.Sprintf("%+.1f", r)
	}
	return "0.0"
}

// table writes rows of at most 80 columns.
func (p *Progress) table(b *strings.Builder, t statsTable) {
	width := len(t.first)
	for _, s := range t.rows {
		width = max(width, utf8.RuneCountInString(s.Shown))
	}
	head := "cents          spread   time"
	switch {
	case t.heard():
		head = " time"
	case t.field == "level":
		head = "notes right"
	}
	fmt.Fprintf(b, "%s answers  right          %s  %s\n", pad(t.first, width), "0    50  100", head)
	for _, s := range t.rows {
		fmt.Fprintf(b, "%s %7d  ", pad(s.Shown, width), s.Answers)
		if s.Share == nil {
			b.WriteString(notEnough)
			if s.Notes != nil {
				fmt.Fprintf(b, "%s%d of %d", strings.Repeat(" ", 29-len(notEnough)), *s.NotesRight, *s.Notes)
			}
			b.WriteString("\n")
			continue
		}
		fmt.Fprintf(b, "%-14s %s  ", p.share(s), p.bar(s))
		switch {
		case t.heard():
			fmt.Fprintf(b, "%.1fs\n", *s.AnswerS)
			continue
		case s.Notes != nil:
			fmt.Fprintf(b, "%d of %d\n", *s.NotesRight, *s.Notes)
			continue
		}
		if s.MedianCents == nil {
			fmt.Fprintf(b, "%-14s %6s", "-", "-")
		} else {
			fmt.Fprintf(b, "%-14s %6.0f", s.median(), *s.SDCents)
		}
		fmt.Fprintf(b, " %5.1fs\n", *s.AnswerS)
	}
}

// pad fills a name with blanks to a width.
func pad(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s)))
}

// barWidth is the width of the small chart of a share.
const barWidth = 12

// bar draws a share and its interval on a line from 0 to 100 %.
func (p *Progress) bar(s Stats) string {
	at := func(x float64) int { return min(barWidth-1, int(x*barWidth)) }
	line, span, mark := '·', '─', '●'
	if p.style.ASCII {
		line, span, mark = '.', '-', 'o'
	}
	out := make([]rune, barWidth)
	for i := range out {
		out[i] = line
		if i >= at(*s.ShareLow) && i <= at(*s.ShareHigh) {
			out[i] = span
		}
	}
	out[at(*s.Share)] = mark
	return string(out)
}

// DriftLine says whether the pitch moves within a session.
func (p *Progress) DriftLine() string {
	d := p.Drift
	if d == nil {
		return "Drift within a session: " + notEnough + "."
	}
	how := "none that the data shows"
	switch {
	case d.Low > 0:
		how = "the pitch rises"
	case d.High < 0:
		how = "the pitch sinks"
	}
	return fmt.Sprintf("Drift within a session: %s;\n%s cents in 10 questions (%s, %s).", how, tenths(d.Cents), tenths(d.Low), tenths(d.High))
}

// ChangeLines says what has changed, and since when; and how that was found.
func (p *Progress) ChangeLines() (heading string, lines []string) {
	if len(p.Changes) == 0 {
		return "Compared are the first with the latest answers: " + notEnough + ".", nil
	}
	all := ""
	if n := len(p.Changes); n > 1 {
		all = fmt.Sprintf(",\nfor all %d skills together", n)
	}
	heading = fmt.Sprintf("Each skill's first answers against its latest, up to %d each, judged alike.\n"+
		"Listed is what is more than chance, and by how many points, 95 %% sure%s.", practice.CompareMost, all)
	for _, c := range p.Changes {
		if c.Verdict == "unclear" {
			continue
		}
		low, high := 100*c.RiseLow, 100*c.RiseHigh
		if c.Verdict == "worse" {
			low, high = -high, -low
		}
		lines = append(lines, fmt.Sprintf("%s: %s: %.0f %% until %s, %.0f %% since %s, by %.0f-%.0f",
			c.shown, c.Verdict, 100*c.Before, c.Since, 100*c.After, c.From, math.Floor(low), math.Ceil(high)))
	}
	if len(lines) == 0 {
		lines = []string{"Nothing that the data shows."}
	}
	return heading, lines
}

// sungGrid is the matrix of the degrees that were asked and those that were sung.
func (p *Progress) sungGrid() Matrix {
	g := Matrix{Field: "confusion", Heading: "Asked (rows) and sung (columns)", X: "sung", Y: "asked"}
	g.Cells = make([][]int, len(p.asked))
	rows, columns := map[string]int{}, map[string]int{}
	for i, d := range p.asked {
		g.Cells[i] = make([]int, len(p.sung))
		rows[d.ASCII()] = i
		g.Rows = append(g.Rows, p.style.Degree(p.key, d))
	}
	for i, d := range p.sung {
		columns[d.ASCII()] = i
		g.Columns = append(g.Columns, p.style.Degree(p.key, d))
	}
	for _, c := range p.Confusion {
		g.Cells[rows[c.Asked]][columns[c.Sung]] += c.Answers
	}
	return g
}

// gridWidth is how many columns fit into a line of a matrix.
const gridWidth = 12

// write writes the matrix in blocks that fit 80 columns.
func (g Matrix) write(b *strings.Builder, ascii bool) {
	for from := 0; from < len(g.Columns); from += gridWidth {
		if from > 0 {
			b.WriteString("\n")
		}
		to := min(len(g.Columns), from+gridWidth)
		b.WriteString(pad("", 6))
		for _, c := range g.Columns[from:to] {
			b.WriteString(strings.Repeat(" ", max(1, 6-utf8.RuneCountInString(c))) + c)
		}
		b.WriteString("\n")
		for i, name := range g.Rows {
			b.WriteString(pad(name, 6))
			for _, n := range g.Cells[i][from:to] {
				if n == 0 {
					fmt.Fprintf(b, "%6s", dot(ascii))
				} else {
					fmt.Fprintf(b, "%6d", n)
				}
			}
			b.WriteString("\n")
		}
	}
}

// dot stands for nothing in a table of numbers.
func dot(ascii bool) string {
	if ascii {
		return "."
	}
	return "·"
}
