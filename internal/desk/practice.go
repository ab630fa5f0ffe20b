package desk

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/kept"
	"singback/internal/tomlfile"
	"singback/theory"
)

// Practised is what a student's record of practice says.
type Practised struct {
	Student class.Student
	Answers int // that count
	Right   practice.Estimate
	Known   bool  // there are enough of them to say it
	Days    int   // on which something was practised
	Weeks   []int // answers in each of the last weeks, the newest first: of seven days that end today
	Last    class.Date
	Weakest []practice.Weak
	// Stage is where the student stands in the course, and Fit whether it suits.
	Stage string
	Fit   Fit
}

// Fit tells whether a course suits a student.
type Fit int8

const (
	FitUnknown Fit = iota // too few answers to say
	Fits
	TooEasy // nearly all is right
	TooHard // too little is
)

// String returns the name used in machine-readable output.
func (f Fit) String() string { return [...]string{"unknown", "fits", "too_easy", "too_hard"}[f] }

// Words say it.
func (f Fit) Words() string {
	return [...]string{"too few answers to say", "fits", "could go on faster", "is too hard just now"}[f]
}

// A course suits who gets most, and not all, of the last answers right: common practice;
// the numbers are ours. It is said only where the whole interval of the share lies on
// one side.
const (
	fitAnswers = 40   // last answers that count
	fitLeast   = 20   // of which there must be so many
	easyShare  = 0.9  // right from here on it is too easy
	hardShare  = 0.65 // right below it is too hard
)

// fitOf judges the last answers.
func fitOf(right []bool) Fit {
	right = right[max(0, len(right)-fitAnswers):]
	if len(right) < fitLeast {
		return FitUnknown
	}
	n := 0
	for _, r := range right {
		n += b2i(r)
	}
	switch e := practice.Share(n, len(right), practice.Confidence); {
	case e.Low > easyShare:
		return TooEasy
	case e.High < hardShare:
		return TooHard
	}
	return Fits
}

// PracticeOf reads a student's record; weeks says how many are counted. Today is the day
// of the clock that the teacher reads.
func PracticeOf(f *classfile.File, s class.Student, c practice.Course, today time.Time, weeks int) (out Practised, err error) {
	out.Student, out.Weeks = s, make([]int, weeks)
	days := map[string]bool{}
	var right []bool
	for a, err := range f.Practice(s.ID) {
		if err != nil {
			return out, err
		}
		day := a.At.Format(time.DateOnly)
		days[day] = true
		out.Last = class.Date(max(string(out.Last), day))
		if w := weeksAgo(day, today); w >= 0 && w < weeks {
			out.Weeks[w]++
		}
		if t, ok := a.Trial(); ok {
			right = append(right, t.Right)
		}
	}
	out.Days, out.Fit = len(days), fitOf(right)
	p, err := kept.ProgressOf(f.Practice(s.ID), kept.ProgressQuery{Singer: kept.DefaultName})
	if err != nil {
		return out, err
	}
	total := p.Progress.Total()
	out.Answers, out.Right, out.Known = p.Progress.Answers(), total.Share, total.Enough()
	out.Weakest, _ = p.Progress.Weakest()
	if p.Practice.Begun() {
		out.Stage = c.Stages[c.Standing(p.Practice, nil).Stage].Name
	}
	return out, nil
}

// weeksAgo counts whole weeks from a day back from today; -1 for what is still to come.
func weeksAgo(day string, today time.Time) int {
	d, err := time.Parse(time.DateOnly, day)
	t, err2 := time.Parse(time.DateOnly, today.Format(time.DateOnly))
	if err != nil || err2 != nil || d.After(t) {
		return -1
	}
	return int(t.Sub(d).Hours()/24+0.5) / 7
}

// ErrTooLittle says that too little was sung to say what is weak.
var ErrTooLittle = errors.New("too little was sung to say what is weak")

// CourseFor writes a course, as a file, for what a student finds hardest: the degrees and
// moves that were wrong oftenest in the takes that count, and the skills that go worse
// than others in the record of practice. Degrees are those of a key of their mode. The
// error wraps ErrTooLittle where nothing can be said.
func CourseFor(f *classfile.File, s class.Student) (string, error) {
	var tally class.Tally
	minor := map[bool]int{}
	for r, err := range f.Takes(classfile.Query{Student: s.ID, Counting: true}) {
		if err != nil {
			return "", err
		}
		if r.Mark != nil {
			tally.Add(r.Mark.Tally)
			for d, c := range r.Mark.Tally.Degrees {
				if d.Step == 3 {
					minor[d.Alter < 0] += c.Of
				}
			}
		}
	}
	p, err := kept.ProgressOf(f.Practice(s.ID), kept.ProgressQuery{Singer: kept.DefaultName})
	if err != nil {
		return "", err
	}
	k := theory.Key{} // C major
	keys := "all major"
	if minor[true] > minor[false] {
		k.Mode, keys = theory.Minor, "all minor" // names of degrees are those of the tonic in both
	}
	degrees, moves := weakOf(tally)
	weakest, _ := p.Progress.Weakest()
	for _, w := range weakest {
		switch w.Skill.Kind {
		case exercise.DegreeSkill, exercise.ChromaticSkill:
			degrees = append(degrees, w.Skill.Degree)
		case exercise.PairSkill:
			moves = append(moves, class.Move{From: w.Skill.From, To: w.Skill.Degree})
		}
	}
	degrees, moves = firstOf(degrees, 4), firstOf(moves, 6)
	if len(degrees)+len(moves) == 0 {
		return "", fmt.Errorf("%s: %w: no degree and no move of which at least %d were asked goes worse than the rest", s.Name, ErrTooLittle, leastWeak)
	}
	name := func(d theory.Degree) string { return theory.Movable.NameASCII(k, d) }
	var b strings.Builder
	fmt.Fprintf(&b, "# A course for %s: what was wrong oftenest in the takes and the practice so far.\n# Practise it with \"singback today --course FILE\".\n\n", s.Name)
	fmt.Fprintf(&b, "name = %s\nminutes = 8\nnew = 4\n", tomlfile.Text("What is hard for "+s.Name))
	if len(degrees) > 0 {
		var names []string
		for _, d := range degrees {
			names = append(names, name(d))
		}
		fmt.Fprintf(&b, "\n[[stage]]\nname = \"degrees: %s\"\nkeys = %q\ndegrees = %q\ntolerance = 45\n", strings.Join(names, ", "), keys, strings.Join(names, " "))
	}
	if len(moves) > 0 {
		var series, names []string
		for _, m := range moves {
			series = append(series, tomlfile.Text(name(m.From)+" "+name(m.To)+" "+name(m.From)))
			names = append(names, name(m.From)+" "+name(m.To))
		}
		fmt.Fprintf(&b, "\n[[stage]]\nname = \"moves: %s\"\nkeys = %q\nseries = [%s]\ntolerance = 45\n", strings.Join(names, ", "), keys, strings.Join(series, ", "))
	}
	return b.String(), nil
}

func firstOf[T comparable](list []T, most int) (out []T) {
	for _, v := range list {
		if len(out) < most && !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	return out
}

// leastWeak is how often something must have been sung to be called weak; weakBelow the
// share of right answers under which it is.
const (
	leastWeak = 4
	weakBelow = 0.75
)

// weakOf are the weak degrees and moves of a tally, the weakest first.
func weakOf(t class.Tally) (degrees []theory.Degree, moves []class.Move) {
	degrees = weakest(t.Degrees, func(a, b theory.Degree) int { return cmp.Or(a.Step-b.Step, a.Alter-b.Alter) })
	moves = weakest(t.Moves, func(a, b class.Move) int {
		return cmp.Or(a.From.Step-b.From.Step, a.From.Alter-b.From.Alter, a.To.Step-b.To.Step, a.To.Alter-b.To.Alter)
	})
	return degrees, slices.DeleteFunc(moves, func(m class.Move) bool { return m.From == m.To })
}

func weakest[K comparable](of map[K]class.Count, compare func(a, b K) int) (out []K) {
	share := func(k K) float64 { return float64(of[k].Right) / float64(of[k].Of) }
	for k, c := range of {
		if c.Of >= leastWeak && share(k) < weakBelow {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, func(a, b K) int { return cmp.Or(cmp.Compare(share(a), share(b)), compare(a, b)) })
	return out
}
