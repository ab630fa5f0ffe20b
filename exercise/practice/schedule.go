package practice

import (
	"math"
	"time"

	"github.com/open-spaced-repetition/go-fsrs/v4"

	"singback/exercise"
	"singback/theory"
)

// scheduler is FSRS-6 with its published default weights, learning steps and a
// wanted retention of 0.9, without fuzz, but for what hardSameDay and putOff put
// right. The weights were fitted on flash cards; for singing they are a starting
// point, not a finding.
var scheduler = fsrs.NewFSRS(fsrs.DefaultParam())

// Mastery is what a skill is mastered by (common practice in ear training):
// that share of the last so many unaided answers, on so many days, in so many
// keys, and then a blind check.
const (
	MasteryShare = 0.9
	MasteryOf    = 20
	MasteryDays  = 2
	MasteryKeys  = 2
	BlindCheck   = 4 // blind answers in a row, all right
)

// Memory is what practice knows of one skill.
type Memory struct {
	Answers, Right int       // answers to this skill itself; of them in tune
	Last           time.Time // the last answer that was worth anything for it
	Due            time.Time // when it should be met again; see local
	Stability      float64   // days until it is remembered with a chance of 0.9
	Difficulty     float64   // 1 … 10

	card    fsrs.Card
	recent  []answered // the last answers to the skill itself, the newest last
	unaided []answered // of these the unaided ones
	keys    map[theory.Key]int
	days    map[time.Time]bool
	index   int  // in Practice.met, from the first answer on
	planned bool // the first answer was to a sitting
}

// answered is one answer in a memory.
type answered struct {
	at    time.Time
	key   theory.Key
	right bool
	blind bool
}

// window keeps the last MasteryOf answers.
func window(list []answered, a answered) []answered {
	if len(list) == MasteryOf {
		list = append(list[:0], list[1:]...)
	}
	return append(list, a)
}

// Practice is what is known of a singer's skills. It is worked out from all
// answers, in the order in which they were given; nothing of it is kept
// elsewhere. The zero Practice knows nothing.
type Practice struct {
	skills map[exercise.Skill]*Memory
	met    []*Memory // in the order in which they were met
	given  []given   // all answers, for the goals of a course
	begun  bool      // a sitting has asked something
	today  dayCount
	octave habit
}

// dayCount counts what was done on one day.
type dayCount struct {
	day  time.Time
	new  int
	sung float64
}

// local returns t as the calendar and clock of its own zone have it, on a scale
// without zones: days are the singer's days.
func local(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

func dayOf(t time.Time) time.Time { return local(t).Truncate(24 * time.Hour) }

// Add takes note of an answer. Where its time lies before an earlier one (a
// clock was set back), the earlier one's is taken.
func (p *Practice) Add(t Trial) {
	if p.skills == nil {
		p.skills = map[exercise.Skill]*Memory{}
	}
	at := local(t.At)
	if d := dayOf(t.At); d.After(p.today.day) {
		p.today = dayCount{day: d}
	}
	p.today.sung += t.Sung
	t.turned = t.turnedFrom(&p.octave)
	p.octave.add(t.Octave)
	for _, c := range t.Credits() {
		m := p.skills[c.Skill]
		if m == nil {
			m = &Memory{card: fsrs.NewCard(at), keys: map[theory.Key]int{}, days: map[time.Time]bool{}}
			p.skills[c.Skill] = m
		}
		if c.Skill == t.Skill {
			if m.Answers == 0 {
				p.today.new++
				m.index, m.planned = len(p.met), t.Planned
				p.met = append(p.met, m)
			}
			m.Answers++
			p.begun = p.begun || t.Planned
			p.given = append(p.given, given{int32(m.index), int32(dayOf(t.At).Unix() / 86400), t.Key, t.Right})
			m.keys[t.Key]++
			m.days[dayOf(t.At)] = true
			a := answered{at, t.Key, t.Right, t.Feedback == Blind}
			if t.Right {
				m.Right++
			}
			m.recent = window(m.recent, a)
			if t.Feedback.Unaided() {
				m.unaided = window(m.unaided, a)
			}
		}
		m.review(at, t.Rating, c.Share)
	}
}

// Turned reports whether an answer to a move, had it been given now, went the
// other way: la below do for la above it. It is then worth nothing for the move.
// Some singers answer everything an octave lower than they are asked, so the way
// is seen from the octave in which most of their latest answers were.
func (p *Practice) Turned(t Trial) bool { return t.turnedFrom(&p.octave) }

// habit is the octave in which a singer answers: the shifts of the latest answers.
type habit []int

// habitOf is how many of the latest answers show the habit.
const habitOf = 12

func (h *habit) add(o Octave) {
	if !o.Known {
		return
	}
	if len(*h) == habitOf {
		*h = append((*h)[:0], (*h)[1:]...)
	}
	*h = append(*h, o.Shift)
}

// shift returns the shift of more than half of the answers; 0 where none is.
func (h habit) shift() int {
	for _, s := range h {
		n := 0
		for _, other := range h {
			if other == s {
				n++
			}
		}
		if 2*n > len(h) {
			return s
		}
	}
	return 0
}

// turnedFrom reports whether the way sung is the other one than the way asked,
// for a singer of that habit.
func (t Trial) turnedFrom(h *habit) bool {
	return t.Skill.Kind == exercise.PairSkill && t.Rating >= Hard && turned(t.Away, t.Octave, h)
}

// turned reports whether what lies in that octave is on the other side of the note
// sounded than what was asked, so many semitones away.
func turned(away int, o Octave, h *habit) bool {
	if !o.Known || away == 0 {
		return false
	}
	shift := o.Shift - h.shift()
	if shift == 0 {
		return false
	}
	return (away+12*shift > 0) != (away > 0)
}

// review counts so much of a review. The whole of one is FSRS. A share c of one
// goes that part of the way: stability in proportion, S^(1−c)·S′^c, difficulty
// and the time of the last review along a line; learning steps and lapses stay
// as they are. A skill that is met for the first time begins as by a whole one.
func (m *Memory) review(at time.Time, g Rating, share float64) {
	before := m.card
	if at.Before(before.LastReview) {
		at = before.LastReview
	}
	info, err := scheduler.Next(before, at, fsrs.Rating(g))
	if err != nil {
		return // unreachable: the grade, the card and the time are in order
	}
	after := info.Card
	if g == Hard && before.State != fsrs.New && dayOf(at).Equal(dayOf(before.LastReview)) {
		after.Stability = hardSameDay(before.Stability)
	}
	if share < 1 && before.State != fsrs.New {
		part := before
		part.Stability = math.Pow(before.Stability, 1-share) * math.Pow(after.Stability, share)
		part.Difficulty = before.Difficulty + share*(after.Difficulty-before.Difficulty)
		part.LastReview = before.LastReview.Add(time.Duration(share * float64(at.Sub(before.LastReview))))
		after = part
	}
	putOff(&after)
	m.card = after
	m.Last, m.Due, m.Stability, m.Difficulty = at, after.Due, after.Stability, after.Difficulty
}

// hardSameDay is the stability after a hard answer on the day of the answer
// before it: S·e^(w17(G−3+w18))·S^(−w19) with G = 2, as in py-fsrs 6.3.1. There
// only good and easy never lower it; in the library, as in the TypeScript port
// of the same makers, hard does not either.
func hardSameDay(s float64) float64 {
	w := scheduler.W
	return math.Max(0.001, s*math.Exp(w[17]*(2-3+w[18]))*math.Pow(s, -w[19]))
}

// putOff sets when a card past its learning steps is due, at a retention of 0.9:
// as many days after its last review as its stability, rounded, 1 at least. The
// library would put good a day behind hard, and easy a day behind good.
func putOff(c *fsrs.Card) {
	if c.State != fsrs.Review {
		return
	}
	days := math.Max(1, math.Round(c.Stability))
	c.ScheduledDays = uint64(days)
	c.Due = c.LastReview.Add(time.Duration(days * float64(24*time.Hour)))
}

// Begun reports whether a sitting has ever asked anything: without one nobody
// stands anywhere in a course.
func (p *Practice) Begun() bool { return p.begun }

// Memory returns what is known of a skill; false if it was never met.
func (p *Practice) Memory(s exercise.Skill) (Memory, bool) {
	m := p.skills[s]
	if m == nil {
		return Memory{}, false
	}
	return *m, true
}

// Skills calls visit for every skill that was met, in no order.
func (p *Practice) Skills(visit func(exercise.Skill, Memory)) {
	for s, m := range p.skills {
		visit(s, *m)
	}
}

// Recall returns the chance, by the forgetting curve of FSRS, that the skill is
// remembered at that time.
func (m Memory) Recall(now time.Time) float64 {
	days := math.Max(0, local(now).Sub(m.card.LastReview).Hours()/24)
	return scheduler.ForgettingCurve(days, m.Stability)
}

// IsDue reports whether the skill should be met again by that time: a skill
// that is due later on the same day is due.
func (m Memory) IsDue(now time.Time) bool {
	if m.card.State == fsrs.Review {
		return !m.Due.Truncate(24 * time.Hour).After(dayOf(now))
	}
	return !m.Due.After(local(now))
}

// weakOf is how many of the last answers say how weak a skill is.
const weakOf = 10

// Weakness estimates the share of wrong answers from the last ten, with one
// half added to each side: 1/2 where nothing is known.
func (m Memory) Weakness() float64 {
	list := m.recent[max(0, len(m.recent)-weakOf):]
	wrong := 0.5
	for _, a := range list {
		if !a.right {
			wrong++
		}
	}
	return wrong / float64(len(list)+1)
}

// meets reports whether the last of answers are right at the share, on so many
// days, in so many keys.
func meets(list []answered, share float64, of, days, keys int) bool {
	if len(list) < of || of < 1 {
		return false
	}
	right := 0
	onDays, inKeys := map[time.Time]bool{}, map[theory.Key]bool{}
	for _, a := range list[len(list)-of:] {
		if a.right {
			right++
		}
		onDays[a.at.Truncate(24*time.Hour)] = true
		inKeys[a.key] = true
	}
	return float64(right) >= share*float64(of)-1e-9 && len(onDays) >= days && len(inKeys) >= keys
}

// Ready reports whether only the blind check is missing to mastery.
func (m Memory) Ready() bool {
	return meets(m.unaided, MasteryShare, MasteryOf, MasteryDays, MasteryKeys)
}

// Mastered reports whether the skill is mastered: Ready, and the last
// BlindCheck blind answers among those that count were all right.
func (m Memory) Mastered() bool {
	if !m.Ready() {
		return false
	}
	right := 0
	for i := len(m.unaided) - 1; i >= 0 && right < BlindCheck; i-- {
		if a := m.unaided[i]; a.blind {
			if !a.right {
				return false
			}
			right++
		}
	}
	return right == BlindCheck
}

// Feedback says how much is told after the next answer, as it fades: everything
// at first (on the skill's first fadeDays days, with fewer than fadeFrom answers, or
// under 60 % of the last ten right), then every second answer, then, from 80 % of
// the last ten right, only what lies outside the tolerance. Ready skills get a
// blind check, and mastered ones one in every fourth answer.
//
// Whoever is always told sings better at once and remembers less (the guidance
// hypothesis, Salmoni, Schmidt & Walter 1984); telling all at first and less and
// less later did best on later tests (Winstein & Schmidt 1990). Where it begins to
// fade is common practice: not on the days on which a thing is first learnt.
func (m Memory) Feedback(now time.Time) Feedback {
	share := m.share()
	days := len(m.days)
	if m.days[dayOf(now)] {
		days--
	}
	switch {
	case m.Ready() && (!m.Mastered() || m.Answers%4 == 0):
		return Blind
	case m.Answers < fadeFrom || days < fadeDays || share < 0.6:
		return Full
	case len(m.unaided) >= fadeFrom/2 && share >= 0.8:
		return Outside
	case m.Answers%2 == 0:
		return SecondShown
	}
	return SecondHidden
}

// chords is how many chords are heard in one question of the kind, as it is
// learnt: one at first; of a bass line one more with every six answers, up to
// four, of qualities with every ten, up to three; one again while it is weak. A
// progression has three at first, and up to five.
func (m Memory) chords(k exercise.Kind) int {
	switch {
	case m.share() < 0.6 && k == exercise.RootSkill:
		return 3
	case m.share() < 0.6:
		return 1
	case k == exercise.RootSkill:
		return 3 + min(2, m.Answers/20)
	case k == exercise.BassSkill:
		return 1 + min(3, m.Answers/6)
	}
	return 1 + min(2, m.Answers/10)
}

// So many answers to a skill are all told, and those on so many days; fadeFrom
// answers more are told every second time at least.
const (
	fadeFrom = 6
	fadeDays = 2
)

// share is the share right of the last ten answers, 0 without one.
func (m Memory) share() float64 {
	list := m.recent[max(0, len(m.recent)-weakOf):]
	if len(list) == 0 {
		return 0
	}
	right := 0
	for _, a := range list {
		if a.right {
			right++
		}
	}
	return float64(right) / float64(len(list))
}
