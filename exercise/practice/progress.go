package practice

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"sort"
	"time"

	"singback/exercise"
	"singback/theory"
)

// EnoughAnswers is how many answers there must be before anything is said of
// them but their number.
const EnoughAnswers = 10

// Entry is one answer as the statistics see it. Only first measured answers
// belong into them.
type Entry struct {
	At        time.Time // in the singer's own time zone: its date is the day
	Session   string    // the same for the answers of one sitting
	Question  int       // in the session, 1 …
	Skill     exercise.Skill
	Item      exercise.Item
	Tolerance theory.Cents
	Verdict   exercise.Verdict

	Named             string // of a bass or quality skill: the name that was given, "" for none
	Notes, NotesRight int    // of a melody
}

// Progress is the statistics of one singer. The zero Progress is empty.
type Progress struct {
	answers   []heard
	sung      group // the answers that are one sung degree
	octave    habit
	taken     map[Taken]int
	lines     map[int]*LineStats
	degrees   map[theory.Degree]group
	skills    map[exercise.Skill]group
	keys      map[theory.Key]group
	days      map[string]group
	registers map[int]group
	questions map[int]group
	sessions  map[string]int32 // numbered as they come
	confused  map[Confusion]int
	tolerance [2]theory.Cents // the smallest and the largest
	voices    []voiced        // of the last question, until they are struck
	both      VoiceHand
}

// VoiceHand counts what was sung and then struck: by both, only by one of them, or by
// neither the degree was taken that was asked.
type VoiceHand struct{ Both, Voice, Hand, Neither int }

// voiced is a degree that was asked of the voice.
type voiced struct {
	session  int32
	question int
	degree   theory.Degree
	right    bool // the voice took it, in tune or not
}

// heard is what is kept of an answer.
type heard struct {
	at        time.Time
	session   int32
	question  int
	right, on bool // on the asked degree: it has cents
	note      bool // one sung degree
	cents     float64
	seconds   float64
	tolerance float64
}

// group are indices of answers, in the order in which they were given.
type group []int32

// Stats are the statistics of some answers.
type Stats struct {
	Answers int
	Right   int      // in tune, as they were judged then
	Share   Estimate // of right answers; with at least EnoughAnswers
	Seconds float64  // median from the opening of the window to the answer; with at least EnoughAnswers

	OnDegree int      // answers on the asked degree, right or not
	Cents    Estimate // their median distance from it; with at least EnoughAnswers of them
	Spread   float64  // their standard deviation in cents; likewise
}

// Enough reports whether Share and Seconds say something.
func (s Stats) Enough() bool { return s.Answers >= EnoughAnswers }

// Tuned reports whether Cents and Spread say something.
func (s Stats) Tuned() bool { return s.OnDegree >= EnoughAnswers }

// Part is the statistics of one degree, pair, key, …
type Part[K any] struct {
	Of K
	Stats
}

// Confusion is a degree that was asked and the one that was sung.
type Confusion struct {
	Asked, Sung theory.Degree
}

// Taken is a bass degree or chord quality that was heard and the name that was
// given to it, as the record has it: "b7", "m7b5"; "" where none was.
type Taken struct {
	Skill exercise.Skill
	Named string
}

// LineStats are the statistics of melodies of one level.
type LineStats struct {
	Stats             // Right: passed
	Notes, NotesRight int
	group             group
}

// Add counts an answer. The answers must come in the order in which they were
// given. Those that are undecided are left out, and Add returns false. What was
// named and melodies count for their own skill and for nothing else; a move that
// was sung the other way (Practice.Turned) does not count for the move.
func (p *Progress) Add(h Entry) bool {
	v := h.Verdict
	if !v.Counts() || h.Skill.Kind == exercise.KeySkill {
		return false
	}
	if p.degrees == nil {
		*p = Progress{
			taken: map[Taken]int{}, lines: map[int]*LineStats{},
			degrees: map[theory.Degree]group{}, skills: map[exercise.Skill]group{}, keys: map[theory.Key]group{}, days: map[string]group{},
			registers: map[int]group{}, questions: map[int]group{}, sessions: map[string]int32{}, confused: map[Confusion]int{},
		}
	}
	session, known := p.sessions[h.Session]
	if !known {
		session = int32(len(p.sessions))
		p.sessions[h.Session] = session
	}
	i := int32(len(p.answers))
	note := shapeOf(h.Skill) == sungNote
	one := heard{at: h.At, session: session, question: h.Question, right: v.Outcome.IsRight(), note: note, seconds: v.Answer, tolerance: h.Tolerance}
	switch v.Outcome {
	case exercise.InTune, exercise.Flat, exercise.Sharp:
		one.on, one.cents = true, v.Cents
	}
	p.answers = append(p.answers, one)
	p.meet(h, session)
	if !note {
		add(p.skills, h.Skill, i)
		if h.Skill.Kind != exercise.MelodySkill {
			p.taken[Taken{h.Skill, h.Named}]++
			return true
		}
		l := p.lines[h.Skill.Level]
		if l == nil {
			l = new(LineStats)
			p.lines[h.Skill.Level] = l
		}
		l.group = append(l.group, i)
		l.Notes += h.Notes
		l.NotesRight += h.NotesRight
		return true
	}
	if len(p.sung) == 0 {
		p.tolerance = [2]theory.Cents{h.Tolerance, h.Tolerance}
	}
	p.tolerance[0], p.tolerance[1] = min(p.tolerance[0], h.Tolerance), max(p.tolerance[1], h.Tolerance)
	p.sung = append(p.sung, i)
	add(p.degrees, h.Item.Asked, i)
	octave := Octave{v.OctaveShift, v.HasSung}
	if wrong := v.Outcome == exercise.OtherDegree && v.Sung != h.Item.Asked; h.Skill.Kind != exercise.PairSkill || wrong || !turned(away(h.Item), octave, &p.octave) {
		add(p.skills, h.Skill, i)
	}
	p.octave.add(octave)
	add(p.keys, h.Item.Key, i)
	add(p.days, h.At.Format(time.DateOnly), i)
	add(p.registers, registerOf(h.Item, v), i)
	add(p.questions, (h.Question-1)/QuestionBlock, i)
	p.confused[Confusion{h.Item.Asked, v.Sung}]++
	return true
}

// meet puts together what was sung and what the hand then took.
func (p *Progress) meet(h Entry, session int32) {
	question := voiced{session, h.Question, h.Skill.Degree, h.Verdict.Outcome.IsRight()}
	if len(p.voices) > 0 && (p.voices[0].session != session || p.voices[0].question != h.Question) {
		p.voices = p.voices[:0]
	}
	switch h.Skill.Kind {
	case exercise.DegreeSkill, exercise.ChromaticSkill, exercise.PairSkill:
		question.right = h.Verdict.HasSung && h.Verdict.Sung == h.Item.Asked
		p.voices = append(p.voices, question)
	case exercise.BassSkill:
		p.voices = append(p.voices, question)
	case exercise.HandSkill:
		i := slices.IndexFunc(p.voices, func(v voiced) bool { return v.degree == question.degree })
		if i < 0 {
			return
		}
		voice := p.voices[i].right
		p.voices = slices.Delete(p.voices, i, i+1)
		switch {
		case voice && question.right:
			p.both.Both++
		case voice:
			p.both.Voice++
		case question.right:
			p.both.Hand++
		default:
			p.both.Neither++
		}
	}
}

// VoiceHand returns how often voice and hand took what was asked, where both were.
func (p *Progress) VoiceHand() VoiceHand { return p.both }

func add[K comparable](m map[K]group, k K, i int32) { m[k] = append(m[k], i) }

// RegisterSize is how many semitones a register of ByRegister spans: half an
// octave.
const RegisterSize = 6

// QuestionBlock is how many questions make a row of ByQuestion.
const QuestionBlock = 10

// registerOf numbers the half octave in which the asked note lies, moved to the
// octave in which it was answered: MIDI numbers by RegisterSize.
func registerOf(it exercise.Item, v exercise.Verdict) int {
	target, _ := it.Target()
	midi := target.MIDI()
	if v.HasSung {
		shift := v.OctaveShift
		if v.Sung != it.Asked {
			place, _ := it.Register.Place(it.Key, v.Sung)
			shift = exercise.Octaves(theory.Cents(100 * (place.MIDI() + 12*v.OctaveShift - midi)))
		}
		midi += 12 * shift
	}
	return int(math.Floor(float64(midi) / RegisterSize))
}

// stats works out the statistics of a group.
func (p *Progress) stats(g group) Stats {
	s := Stats{Answers: len(g)}
	seconds, cents := make([]float64, 0, len(g)), make([]float64, 0, len(g))
	for _, i := range g {
		a := &p.answers[i]
		if a.right {
			s.Right++
		}
		if a.on {
			cents = append(cents, a.cents)
		}
		seconds = append(seconds, a.seconds)
	}
	s.OnDegree = len(cents)
	if s.Enough() {
		s.Share = Share(s.Right, s.Answers, Confidence)
		s.Seconds = Median(seconds, Confidence).Value
	}
	if s.Tuned() {
		s.Cents, s.Spread = Median(cents, Confidence), deviation(cents)
	}
	return s
}

func parts[K comparable](p *Progress, m map[K]group, compare func(a, b K) int) []Part[K] {
	out := make([]Part[K], 0, len(m))
	for k, g := range m {
		out = append(out, Part[K]{k, p.stats(g)})
	}
	sort.SliceStable(out, func(i, j int) bool { return compare(out[i].Of, out[j].Of) < 0 })
	return out
}

// Total returns the statistics of all sung degrees.
func (p *Progress) Total() Stats { return p.stats(p.sung) }

// Answers returns how many answers there are of all kinds.
func (p *Progress) Answers() int { return len(p.answers) }

// ByName returns the statistics of what was named: of a kind BassSkill or
// QualitySkill; of HandSkill those of what was struck once it had been sung.
func (p *Progress) ByName(k exercise.Kind) []Part[exercise.Skill] { return p.bySkill(k) }

// Taken returns how often what was heard was given each name.
func (p *Progress) Taken() map[Taken]int { return p.taken }

// Level is the statistics of the melodies of one level.
type Level struct {
	Level int
	LineStats
}

// ByLevel returns those of the melodies of each level. Seconds, Cents and Spread
// say nothing of them.
func (p *Progress) ByLevel() []Level {
	out := make([]Level, 0, len(p.lines))
	for n, l := range p.lines {
		one := Level{n, *l}
		one.Stats = p.stats(l.group)
		out = append(out, one)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Level-out[j].Level < 0 })
	return out
}

// ByDegree returns those of each degree asked, from wherever, from the tonic up.
func (p *Progress) ByDegree() []Part[theory.Degree] {
	return parts(p, p.degrees, exercise.CompareDegrees)
}

// ByPair returns those of each from-to pair with its direction.
func (p *Progress) ByPair() []Part[exercise.Skill] { return p.bySkill(exercise.PairSkill) }

func (p *Progress) bySkill(k exercise.Kind) []Part[exercise.Skill] {
	return slices.DeleteFunc(parts(p, p.skills, compareSkills), func(s Part[exercise.Skill]) bool { return s.Of.Kind != k })
}

func compareSkills(a, b exercise.Skill) int {
	return cmp.Or(int(a.Kind)-int(b.Kind), exercise.CompareDegrees(a.From, b.From), exercise.CompareDegrees(a.Degree, b.Degree), int(b.Way)-int(a.Way),
		cmp.Compare(a.Chord, b.Chord), a.Level-b.Level)
}

// ByKey returns those of each key: major before minor, by the tonic's place on the
// keyboard.
func (p *Progress) ByKey() []Part[theory.Key] {
	return parts(p, p.keys, func(a, b theory.Key) int {
		return cmp.Or(int(a.Mode)-int(b.Mode), a.Tonic.PitchClass()-b.Tonic.PitchClass(), cmp.Compare(a.ASCII(), b.ASCII()))
	})
}

// ByDay returns those of each day, like "2026-11-25", the first first.
func (p *Progress) ByDay() []Part[string] { return parts(p, p.days, cmp.Compare[string]) }

// ByRegister returns those of each half octave, from below: Of is the MIDI number
// of its lowest note divided by RegisterSize. It is the asked note that counts,
// in the octave in which it was answered.
func (p *Progress) ByRegister() []Part[int] { return parts(p, p.registers, cmp.Compare[int]) }

// ByQuestion returns those of the first QuestionBlock questions of the sessions
// (Of is 0), of the next (1), and so on.
func (p *Progress) ByQuestion() []Part[int] { return parts(p, p.questions, cmp.Compare[int]) }

// Confused returns how often each degree was sung for each that was asked.
func (p *Progress) Confused() map[Confusion]int { return p.confused }

// Sessions returns how many sessions the answers are from.
func (p *Progress) Sessions() int { return len(p.sessions) }

// Span returns the times of the first and the last answer; false without one.
func (p *Progress) Span() (first, last time.Time, ok bool) {
	if len(p.answers) == 0 {
		return first, last, false
	}
	return p.answers[0].at, p.answers[len(p.answers)-1].at, true
}

// Tolerances returns the smallest and the largest tolerance that answers were judged
// with.
func (p *Progress) Tolerances() (least, most theory.Cents) { return p.tolerance[0], p.tolerance[1] }

// Drift estimates by how many cents the answers on the asked degree rise with
// each question of a session, and from how many answers. Only answers to the same
// skill in the same session are compared, so neither a session that lies higher
// nor what was asked late in it looks like a drift. It is false if there are too
// few.
func (p *Progress) Drift() (e Estimate, answers int, ok bool) {
	var groups [][][2]float64
	free := 0
	for _, skill := range slices.SortedFunc(maps.Keys(p.skills), compareSkills) {
		var points [][2]float64
		session := int32(-1)
		done := func() {
			if n := len(points); n > 1 {
				groups, answers, free = append(groups, points), answers+n, free+n-1
			}
			points = nil
		}
		for _, i := range p.skills[skill] { // in the order of sessions
			a := &p.answers[i]
			if a.session != session {
				done()
				session = a.session
			}
			if a.on {
				points = append(points, [2]float64{float64(a.question), a.cents})
			}
		}
		done()
	}
	if free < EnoughAnswers { // with fewer the quantile is not exact either
		return e, answers, false
	}
	e, ok = Slope(groups, Confidence)
	return e, answers, ok
}

// CompareMost is how many of the first answers Changes compares with as many of
// the latest, at most.
const CompareMost = 50

// Change compares the first answers to a skill with the latest.
type Change struct {
	Skill     exercise.Skill
	Answers   int          // how many of the first, and as many of the latest
	Tolerance theory.Cents // with which both are judged: that of the latest answer
	Before    float64      // share right of the first
	After     float64      // of the latest
	Rise      Estimate     // from Before to After
	Since     time.Time    // of the last of the first answers
	From      time.Time    // of the first of the latest
}

// Better reports that the share has risen by more than chance explains.
func (c Change) Better() bool { return c.Rise.Low > 0 }

// Worse reports that the share has fallen by more than chance explains.
func (c Change) Worse() bool { return c.Rise.High < 0 }

// Changes compares the first with the latest answers to each skill that has
// EnoughAnswers on each side. Skills are not thrown together: what is asked later
// is harder. Both sides are judged anew with the same tolerance. The intervals
// hold at Confidence for all comparisons together (Bonferroni): of singers who
// have not changed at all, one in twenty at most is told of any change.
func (p *Progress) Changes() []Change {
	var skills []exercise.Skill
	for s, g := range p.skills {
		if len(g) >= 2*EnoughAnswers {
			skills = append(skills, s)
		}
	}
	sort.SliceStable(skills, func(i, j int) bool { return compareSkills(skills[i], skills[j]) < 0 })
	confidence := 1 - (1-Confidence)/float64(max(1, len(skills)))
	out := make([]Change, 0, len(skills))
	for _, s := range skills {
		g := p.skills[s]
		n := min(len(g)/2, CompareMost)
		first, latest := g[:n], g[len(g)-n:]
		c := Change{Skill: s, Answers: n, Tolerance: p.answers[latest[n-1]].tolerance,
			Since: p.answers[first[n-1]].at, From: p.answers[latest[0]].at}
		before, after := p.within(first, c.Tolerance), p.within(latest, c.Tolerance)
		c.Before, c.After = float64(before)/float64(n), float64(after)/float64(n)
		c.Rise = Difference(before, n, after, n, confidence)
		out = append(out, c)
	}
	return out
}

// Weak is a skill that goes worse than the others of its kind.
type Weak struct {
	Skill   exercise.Skill
	Answers int
	Share   float64  // right of them
	Others  float64  // right of the answers to all others of its kind
	Fall    Estimate // from Others to Share, positive
}

// Weakest returns the skills whose share right is lower than that of the others
// of their kind by more than chance explains, the largest difference first. Sung
// degrees and moves are one kind; levels of melodies are not compared, since a
// higher one is harder. Skills with fewer than EnoughAnswers are left out. The
// intervals hold at Confidence for all comparisons together (Bonferroni), whose
// number is returned, too.
func (p *Progress) Weakest() (out []Weak, compared int) {
	kind := func(s exercise.Skill) exercise.Kind {
		if shapeOf(s) == sungNote {
			return exercise.DegreeSkill
		}
		return s.Kind
	}
	all, right := map[exercise.Kind]int{}, map[exercise.Kind]int{}
	for s, g := range p.skills {
		for _, i := range g {
			all[kind(s)]++
			if p.answers[i].right {
				right[kind(s)]++
			}
		}
	}
	enough := func(s exercise.Skill, g group) bool {
		return len(g) >= EnoughAnswers && all[kind(s)]-len(g) >= EnoughAnswers && s.Kind != exercise.MelodySkill
	}
	for s, g := range p.skills {
		if enough(s, g) {
			compared++
		}
	}
	confidence := 1 - (1-Confidence)/float64(max(1, compared))
	for s, g := range p.skills {
		if !enough(s, g) {
			continue
		}
		n, k := len(g), 0
		for _, i := range g {
			if p.answers[i].right {
				k++
			}
		}
		rest, restRight := all[kind(s)]-n, right[kind(s)]-k
		fall := Difference(k, n, restRight, rest, confidence)
		if fall.Low > 0 {
			out = append(out, Weak{s, n, float64(k) / float64(n), float64(restRight) / float64(rest), fall})
		}
	}
	compare := func(a, b Weak) int {
		return cmp.Or(cmp.Compare(b.Fall.Value, a.Fall.Value), compareSkills(a.Skill, b.Skill))
	}
	sort.SliceStable(out, func(i, j int) bool { return compare(out[i], out[j]) < 0 })
	return out, compared
}

// within counts the answers that are right with a tolerance. It is what Judge
// would say: an answer on the asked degree is right within it. What is not one
// sung degree was right or not.
func (p *Progress) within(g group, tolerance theory.Cents) int {
	n := 0
	for _, i := range g {
		if a := &p.answers[i]; a.note && a.on && math.Abs(a.cents) <= tolerance || !a.note && a.right {
			n++
		}
	}
	return n
}
