package desk

import (
	"cmp"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strings"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/sheet"
	"singback/theory"
)

// known is what is known of one student when a sheet is made.
type known struct {
	who    class.Student
	tasks  []class.Task
	rows   map[int64][]classfile.Row
	newest *classfile.Row // that was sung and counts; nil: none
	marked Marked         // of newest
	tally  class.Tally    // of all takes that count, in the mode of newest

	ascii   bool
	answers []practice.Answer
	line    func(class.Task) (Line, error)
}

// From what on something is said; common practice but for the numbers, which are ours.
const (
	mostWell     = 4
	mostPractise = 2
	alwaysLeast  = 4    // times that a degree was sung and right each time
	degreeLeast  = 3    // times that a degree was sung
	moveLeast    = 3    // times that a move was sung
	missedLeast  = 2    // times that it was not right
	weakShare    = 0.8  // right of them, below which it is weak
	heldDrift    = 25.0 // cents that the key may move and is held
	leftDrift    = 40.0 // cents that it moves and is not
	driftLeast   = 8    // notes that were sung
	steadyBeats  = 0.10 // median distance of a note from its time, which is in time
	loose        = 0.20 // likewise, which is not
	tunedSpread  = 15.0 // cents of spread about the notes that is in tune
	tunedOff     = 20.0 // cents that a degree lies off on average, which is not
	tunedLeast   = 3    // notes of it
)

// well says what went well, from what was measured.
func (k *known) well() []string {
	var out []string
	say := func(format string, args ...any) {
		if len(out) < mostWell {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	if k.newest != nil {
		g, name := &k.marked.Grading, k.newest.TaskName
		if before, now, day, ok := k.better(); ok {
			say("%s is better than on %s: %s, now %s", name, day, before, now)
		}
		if n := len(g.Notes); n > 0 && float64(g.Right) >= 0.7*float64(n) {
			say("%d of %d notes of %s right", g.Right, n, name)
		}
		if right := k.always(); right != "" {
			say("%s", right)
		}
		if sung := sungNotes(g); sung >= driftLeast && math.Abs(g.Drift) <= heldDrift && g.Away == 0 {
			say("the key was held: it moved by %.0f cents from the first note of %s to the last", math.Abs(g.Drift), name)
		}
		if g.Flow {
			say("%s was sung through without a halt", name)
		}
		if g.Pace > 0 && g.Unsteady <= steadyBeats {
			say("in time: the notes of %s begin within %.2f beats of theirs", name, g.Unsteady)
		}
		if sungNotes(g) >= driftLeast && g.Right*10 >= 8*len(g.Notes) && g.Spread <= tunedSpread {
			say("in tune: the notes of %s lie within %.0f cents of each other's pitch (standard deviation)", name, g.Spread)
		}
		if g.Right > 0 && len(out) == 0 {
			say("%d of %d notes of %s right", g.Right, len(g.Notes), name)
		}
	}
	handed, due := 0, 0
	for _, t := range k.tasks {
		if t.Kind != class.Melody || t.Due == "" {
			continue
		}
		for _, row := range k.rows[t.ID] {
			if row.Measured != "" && daysLate(t.Due, dayOf(row.Handed)) == 0 {
				handed++
				break
			}
		}
		if len(k.rows[t.ID]) > 0 {
			due++
		}
	}
	if due >= 2 && handed == due {
		say("all of %d tasks handed in in time", due)
	}
	return out
}

func sungNotes(g *grade.Grading) int {
	n := 0
	for _, note := range g.Notes {
		if note.Finding != grade.Omitted && note.Finding != grade.NotHeard {
			n++
		}
	}
	return n
}

// better compares the newest take with the one before of the same task.
func (k *known) better() (before, now string, day class.Date, ok bool) {
	var old *classfile.Row
	for i, row := range k.rows[k.newest.Task] {
		if row.ID != k.newest.ID && row.Mark != nil && row.Mark.RubricSum == k.newest.Mark.RubricSum && row.Handed < k.newest.Handed && (old == nil || row.Handed > old.Handed) {
			old = &k.rows[k.newest.Task][i]
		}
	}
	if old == nil || k.newest.Mark.Value-old.Mark.Value < 0.05 {
		return "", "", "", false
	}
	rubric := k.marked.Of.Rubric
	return rubric.Shown(old.Mark.Value), rubric.Shown(k.newest.Mark.Value), dayOf(old.Handed), true
}

// always names the degrees that were right every time.
func (k *known) always() string {
	var names []string
	times := 0
	for _, d := range sortedDegrees(k.tally.Degrees) {
		if c := k.tally.Degrees[d]; c.Of >= alwaysLeast && c.Right == c.Of {
			names = append(names, k.name(d))
			times += c.Of
		}
	}
	if len(names) == 0 {
		return ""
	}
	out := names[0]
	if n := len(names); n > 1 {
		out = strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return fmt.Sprintf("%s right every time, %d of %d", out, times, times)
}

func sortedDegrees[V any](m map[theory.Degree]V) []theory.Degree {
	out := make([]theory.Degree, 0, len(m))
	for d := range m {
		out = append(out, d)
	}
	slices.SortFunc(out, func(a, b theory.Degree) int {
		return cmp.Or(cmp.Compare(a.Step, b.Step), cmp.Compare(a.Alter, b.Alter))
	})
	return out
}

func (k *known) name(d theory.Degree) string {
	if k.ascii {
		return k.typed(d)
	}
	return k.marked.Line.Names.Name(k.marked.Line.Key, d)
}

// drilled is something to be practised, and how much speaks for it.
type drilled struct {
	what, why string
	weight    float64
	about     theory.Degree // zero: no degree
	command   string
	options   []string // words and values; "true" is a bare word
}

// practise says what to practise: the two things that were missed most.
func (k *known) practise() []sheet.Advice {
	var list []drilled
	if k.newest != nil {
		list = append(append(k.weakDegrees(), k.weakMoves()...), k.ofTake()...)
	}
	list = append(append(list, k.weakSkills()...), k.failed()...)
	slices.SortStableFunc(list, func(a, b drilled) int { return cmp.Compare(b.weight, a.weight) })
	var out []sheet.Advice
	var about []theory.Degree
	for _, e := range list {
		if len(out) == mostPractise {
			break
		}
		if e.about != (theory.Degree{}) && slices.Contains(about, e.about) {
			continue
		}
		about = append(about, e.about)
		out = append(out, e.advice())
	}
	if len(out) < mostPractise {
		out = append(out, drilled{what: "what is due and what is weak, as the record of practice has it", command: "today", options: []string{"minutes", "10"}}.advice())
	}
	return out
}

// asked are the options about the key and the names of a line.
func (k *known) asked(options ...string) []string {
	l := k.marked.Line
	out := []string{"key", l.Key.ASCII()}
	if l.Names != theory.Movable {
		options = append(options, "names", l.Names.String())
	}
	if k.who.Voice != "" {
		options = append(options, "voice", k.who.Voice)
	}
	return append(out, options...)
}

func (k *known) typed(d theory.Degree) string {
	return k.marked.Line.Names.NameASCII(k.marked.Line.Key, d)
}

// weakDegrees are the degrees that were often missed.
func (k *known) weakDegrees() (out []drilled) {
	home := theory.Degree{Step: 1}
	for _, d := range sortedDegrees(k.tally.Degrees) {
		c := k.tally.Degrees[d]
		if c.Of < degreeLeast || c.Of-c.Right < missedLeast || float64(c.Right) >= weakShare*float64(c.Of) {
			continue
		}
		degrees := k.typed(d)
		if d != home {
			degrees = k.typed(home) + " " + degrees
		}
		out = append(out, drilled{
			what: k.name(d), why: fmt.Sprintf("right %d of %d times in what was handed in", c.Right, c.Of), weight: float64(c.Of - c.Right), about: d,
			command: "sing", options: k.asked("degrees", degrees, "count", "10"),
		})
	}
	return out
}

// weakMoves are the moves that were often missed.
func (k *known) weakMoves() (out []drilled) {
	moves := make([]class.Move, 0, len(k.tally.Moves))
	for m := range k.tally.Moves {
		moves = append(moves, m)
	}
	slices.SortFunc(moves, func(a, b class.Move) int {
		return cmp.Or(cmp.Compare(a.From.Step, b.From.Step), cmp.Compare(a.From.Alter, b.From.Alter), cmp.Compare(a.To.Step, b.To.Step), cmp.Compare(a.To.Alter, b.To.Alter))
	})
	for _, m := range moves {
		c := k.tally.Moves[m]
		if c.Of < moveLeast || c.Of-c.Right < missedLeast || float64(c.Right) >= weakShare*float64(c.Of) {
			continue
		}
		out = append(out, drilled{
			what: fmt.Sprintf("from %s to %s", k.name(m.From), k.name(m.To)), why: fmt.Sprintf("right %d of %d times in what was handed in", c.Right, c.Of),
			weight: float64(c.Of-c.Right) + 0.5, about: m.To,
			command: "sing", options: k.asked("from", k.typed(m.From), "degrees", k.typed(m.To), "count", "10"),
		})
	}
	return out
}

// ofTake is what the newest take as a whole asks for.
func (k *known) ofTake() (out []drilled) {
	g, line, name := &k.marked.Grading, k.marked.Line, k.newest.TaskName
	keyed := line.Degrees != nil
	if keyed && sungNotes(g) >= driftLeast && math.Abs(g.Drift) >= leftDrift {
		out = append(out, drilled{
			what: "holding the key in mind", why: fmt.Sprintf("it moved by %+.0f cents in %s", g.Drift, name), weight: math.Abs(g.Drift) / 20,
			command: "sing", options: k.asked("wait", "4", "set-every", "0", "count", "8"),
		})
	}
	for _, d := range g.Degrees {
		if !keyed || d.Notes < tunedLeast || math.Abs(d.Mean) < tunedOff {
			continue
		}
		side := "high"
		if d.Mean < 0 {
			side = "low"
		}
		out = append(out, drilled{
			what: k.name(d.Degree) + " against the tonic, in headphones", why: fmt.Sprintf("%.0f cents too %s on average of %d in %s", math.Abs(d.Mean), side, d.Notes, name),
			weight: math.Abs(d.Mean) / 20, about: d.Degree,
			command: "sing", options: k.asked("degrees", k.typed(d.Degree), "drone", drill.DroneTonic, "headphones", "true", "count", "8"),
		})
	}
	if n := len(g.Hesitations) + len(g.Alignment.Restarts); n > 0 {
		out = append(out, drilled{
			what: "singing on without a halt", why: halts(g) + " in " + name, weight: 1 + float64(n),
			command: "series", options: k.read("level", "2", "count", "3"),
		})
	}
	if g.Pace > 0 && g.Unsteady >= loose {
		out = append(out, drilled{
			what: "reading in time", why: fmt.Sprintf("notes of %s begin %.2f beats from their time (median)", name, g.Unsteady), weight: 10 * g.Unsteady,
			command: "series", options: k.read("level", "1", "tempo", "60", "count", "3"),
		})
	}
	return out
}

// read are the options of a series: its level has keys of its own.
func (k *known) read(options ...string) []string {
	if k.who.Voice != "" {
		options = append(options, "voice", k.who.Voice)
	}
	return options
}

// The record of practice: the latest answers of a skill that are looked at, and from how
// many on, and the weight of the weakest.
const (
	latestAnswers = 20
	skillWeight   = 2.0
)

// weakSkills are what the record of practice has as weakest.
func (k *known) weakSkills() (out []drilled) {
	latest := map[exercise.Skill][]bool{}
	var order []exercise.Skill
	for _, a := range k.answers {
		if !a.Counts || a.Skill.Kind == exercise.HandSkill || a.Skill.Kind == exercise.KeySkill {
			continue
		}
		if latest[a.Skill] == nil {
			order = append(order, a.Skill)
		}
		latest[a.Skill] = append(latest[a.Skill], a.Verdict.Outcome.IsRight())
	}
	for _, skill := range order {
		list := latest[skill]
		list = list[max(0, len(list)-latestAnswers):]
		right := 0
		for _, ok := range list {
			if ok {
				right++
			}
		}
		if len(list) < practice.EnoughAnswers || float64(right) >= weakShare*float64(len(list)) {
			continue
		}
		e := drilled{
			what: report.Style{ASCII: k.ascii}.Practised(theory.Key{}, skill), why: fmt.Sprintf("right in %d of the last %d answers of practice", right, len(list)),
			weight: skillWeight * (1 - float64(right)/float64(len(list))), about: skill.Degree,
		}
		e.command, e.options = optionsOf(drill.SkillAddress(skill))
		if k.who.Voice != "" && e.command != "dictation" {
			e.options = append(e.options, "voice", k.who.Voice)
		}
		out = append(out, e)
	}
	return out
}

// optionsOf takes an address apart that this program has written.
func optionsOf(address string) (command string, options []string) {
	command, query, _ := strings.Cut(address, "?")
	for part := range strings.SplitSeq(query, "&") {
		word, value, ok := strings.Cut(part, "=")
		if text, err := url.QueryUnescape(value); ok && err == nil {
			options = append(options, word, text)
		}
	}
	return command, options
}

// The melody that was not passed: how long one may be that is sung by its degrees, and its
// weight, which is below all that says more.
const (
	mostDegrees  = 24
	failedWeight = 0.3
)

// failed is the melody that went worst of those that were not passed.
func (k *known) failed() []drilled {
	var worst *classfile.Row
	var of class.Task
	for _, t := range k.tasks {
		for i, row := range k.rows[t.ID] {
			value, pass, ok := row.Value()
			if row.Counts && ok && !pass && (row.Mark == nil || row.Mark.Heard == grade.Singing) {
				if worst != nil {
					if least, _, _ := worst.Value(); least <= value {
						continue
					}
				}
				worst, of = &k.rows[t.ID][i], t
			}
		}
	}
	if worst == nil || k.line == nil {
		return nil
	}
	l, err := k.line(of)
	if err != nil || l.Degrees == nil || len(l.Degrees) > mostDegrees || len(l.Degrees) < 2 {
		return nil
	}
	names := make([]string, len(l.Degrees))
	for i, d := range l.Degrees {
		names[i] = l.Names.NameASCII(l.Key, d)
	}
	value, _, _ := worst.Value()
	options := []string{"key", l.Key.ASCII(), "degrees", strings.Join(names, " "), "count", "1"}
	if l.Names != theory.Movable {
		options = append(options, "names", l.Names.String())
	}
	return []drilled{{what: "the degrees of " + of.Name + " once more, in any octave", why: of.Rubric.Shown(value) + ", not passed", weight: failedWeight, command: "series", options: k.read(options...)}}
}

// halts counts them.
func halts(g *grade.Grading) string {
	var out []string
	if n := len(g.Alignment.Restarts); n > 0 {
		out = append(out, "went back "+report.Many(n, "time"))
	}
	if n := len(g.Hesitations); n > 0 {
		out = append(out, "waited "+report.Many(n, "time"))
	}
	return strings.Join(out, " and ")
}

// advice is an exercise with the command and the address that start it.
func (e drilled) advice() sheet.Advice {
	command := "singback " + e.command
	for i := 0; i+1 < len(e.options); i += 2 {
		command += " --" + e.options[i]
		if v := e.options[i+1]; v != "true" {
			command += " " + quoted(v)
		}
	}
	return sheet.Advice{What: e.what, Why: e.why, Command: command, Address: drill.WriteAddress(e.command, e.options...)}
}

// quoted is a word as it is typed in a shell.
func quoted(s string) string {
	if strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '.')
	}) {
		return `"` + s + `"`
	}
	return s
}
