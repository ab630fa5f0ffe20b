package practice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/theory"
)

// keysOf returns the twelve major keys with at most six flats or five sharps.
func twelveKeys() []theory.Key {
	var out []theory.Key
	for _, k := range theory.Keys() {
		if s := k.Signature(); k.Mode == theory.Major && s >= -6 && s <= 5 {
			out = append(out, k)
		}
	}
	return out
}

// diatonic is a course of the seven degrees and all their moves.
func diatonic() Course {
	k := theory.Key{}
	scale := k.ScaleDegrees()
	goal := Goal{Share: 0.8, Of: 20, Days: 2, Keys: 2}
	stage := func(name string, skills []exercise.Skill) Stage {
		return Stage{Name: name, Keys: twelveKeys(), Skills: skills, Tolerance: 35, Series: 8, Goal: goal}
	}
	var degrees []exercise.Skill
	for _, step := range []int{1, 3, 5, 2, 6, 4, 7} {
		degrees = append(degrees, exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: step}})
	}
	return Course{Name: "diatonic", Minutes: 8, New: 3, Stages: []Stage{
		stage("tonic triad", degrees[:3]), stage("its skips", Triad.Between(scale[:])), stage("the others", degrees[3:]),
		stage("steps", Steps.Between(scale[:])), stage("chords", Chords.Between(scale[:])), stage("any", Any.Between(scale[:])),
	}}
}

// learner is a singer of known strengths: a share of answers to each degree that
// is right without practice, and what practice adds and time takes away again.
type learner struct {
	talent map[int]float64 // by step
	gained map[exercise.Skill]float64
	last   map[exercise.Skill]float64 // day of the last answer
	rng    *rand.Rand
}

// chance is the chance of a right answer on a day: what practice has added is
// halved in twelve days.
func (l *learner) chance(s exercise.Skill, day float64) float64 {
	gained := l.gained[s] * math.Exp2(-(day-l.last[s])/12)
	return l.talent[s.Degree.Step] + (0.97-l.talent[s.Degree.Step])*gained
}

func (l *learner) answer(s exercise.Skill, day float64) bool {
	right := l.rng.Float64() < l.chance(s, day)
	kept := l.gained[s] * math.Exp2(-(day-l.last[s])/12)
	l.gained[s], l.last[s] = kept+0.12*(1-kept), day
	return right
}

// A simulated learner practises for 90 days. Fa and ti are weak, the tonic triad
// is strong.
func TestNinetyDays(t *testing.T) {
	for seed := range uint64(4) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) { ninetyDays(t, seed) })
	}
}

func ninetyDays(t *testing.T, seed uint64) {
	course := diatonic()
	l := &learner{
		talent: map[int]float64{1: 0.9, 2: 0.75, 3: 0.85, 4: 0.45, 5: 0.9, 6: 0.7, 7: 0.45},
		gained: map[exercise.Skill]float64{}, last: map[exercise.Skill]float64{}, rng: rand.New(rand.NewPCG(seed, 2)),
	}
	var p Practice
	asked := map[exercise.Skill]int{}
	met := map[exercise.Skill]float64{} // the day on which it was met
	inKeys := map[theory.Degree]map[int]bool{}
	start := time.Date(2026, 1, 1, 19, 0, 0, 0, time.UTC)
	told, guessed, blind, questions := 0, 0, 0, 0
	for day := range 90 {
		at := start.AddDate(0, 0, day)
		s, err := NewSitting(&p, course, SittingOptions{Start: at, Minutes: course.Minutes, Sung: DefaultSung, Seed: uint64(day)})
		if err != nil {
			t.Fatal(err)
		}
		seconds, fresh, series := 0.0, 0, 0
		var last Question
		for n := 0; ; n++ {
			q, ok := s.Next(seconds)
			if !ok {
				break
			}
			if q.SetKey {
				seconds += 5
				series++
			}
			if _, ok := met[q.Skill]; !ok {
				met[q.Skill] = float64(day)
				fresh++
				if n == 0 && day > 0 {
					t.Errorf("day %d begins with %v, which is new", day, q.Skill)
				}
			} else if q.New {
				t.Errorf("day %d: %v is called new and was met on day %g", day, q.Skill, met[q.Skill])
			}
			if n > 0 && q.Skill == last.Skill && len(met) > 1 {
				t.Errorf("day %d: %v twice in a row", day, q.Skill)
			}
			if q.Key != last.Key && !q.SetKey {
				t.Errorf("day %d: the key changed to %v and is not set", day, q.Key)
			}
			last = q
			right := l.answer(q.Skill, float64(day))
			g := Good
			if !right {
				g = Again
			}
			seconds += 10 + 2*l.rng.Float64()
			s.Add(Trial{At: at.Add(time.Duration(seconds * 1e9)), Skill: q.Skill, Key: q.Key, Rating: g, Right: right, Feedback: q.Feedback, Sung: 2})
			asked[q.Skill]++
			if inKeys[q.Skill.Degree] == nil {
				inKeys[q.Skill.Degree] = map[int]bool{}
			}
			inKeys[q.Skill.Degree][q.Key.Tonic.PitchClass()] = true
			questions++
			if q.Feedback.Shows(exercise.Verdict{Outcome: exercise.Flat}) {
				told++
			}
			if q.Guess {
				guessed++
			}
			if q.Feedback == Blind {
				blind++
			}
		}
		// The load: it ends on time, no question runs over, and little is new.
		if seconds > 60*course.Minutes {
			t.Errorf("day %d: %g s, want at most %g", day, seconds, 60*course.Minutes)
		}
		if s.Ended() == TimeOver && seconds < 60*course.Minutes-30 {
			t.Errorf("day %d ends %g s early", day, 60*course.Minutes-seconds)
		}
		if fresh > course.New {
			t.Errorf("day %d: %d new skills, want at most %d", day, fresh, course.New)
		}
	}
	// Everything is met.
	all := 0
	for _, stage := range course.Stages {
		for _, s := range stage.Skills {
			all++
			if asked[s] == 0 {
				t.Errorf("%s: %v was never asked", stage.Name, s)
			}
		}
	}
	// Weak pairs get more practice than strong ones: by day, since they were met.
	rate := func(steps ...int) float64 {
		n, days := 0.0, 0.0
		for s, count := range asked {
			for _, step := range steps {
				if s.Kind == exercise.PairSkill && s.Degree.Step == step {
					n += float64(count)
					days += 90 - met[s]
				}
			}
		}
		return n / days
	}
	weak, strong := rate(4, 7), rate(1, 3, 5)
	if weak < 1.3*strong {
		t.Errorf("pairs to fa and ti: %.3f answers a day, to do, mi and sol %.3f: want 1.3 times as many", weak, strong)
	}
	// The same sound in all twelve keys.
	for d, keys := range inKeys {
		if len(keys) != 12 {
			t.Errorf("%v was met in %d keys, want 12", d, len(keys))
		}
	}
	mastered := 0
	p.Skills(func(s exercise.Skill, m Memory) {
		if m.Mastered() {
			mastered++
		}
	})
	t.Logf("%d questions, %d skills, %d mastered; weak %.3f a day, strong %.3f; %d told, %d guessed, %d blind", questions, all, mastered, weak, strong, told, guessed, blind)
	if told == questions || guessed == 0 || blind == 0 || mastered == 0 {
		t.Errorf("%d of %d told, %d guessed, %d blind, %d mastered: feedback does not fade", told, questions, guessed, blind, mastered)
	}
}

// A learner of the whole of it for 90 days: degrees, moves, bass degrees,
// qualities, melodies. In the bass fa is weak, of qualities m7b5, of melodies
// level 3. What is weak is asked more often, everything is met, and no day is
// longer than it should be.
func TestNinetyDaysOfAllKinds(t *testing.T) {
	skill := func(text string) exercise.Skill {
		s, err := exercise.ParseSkill(text)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	course := diatonic()
	course.Stages = course.Stages[:3]
	for i, names := range [][]string{
		{"bass 1", "bass 5"}, {"bass 4", "bass 6", "quality maj", "quality min", "melody 1"}, {"quality 7", "quality m7b5", "melody 2", "melody 3"},
	} {
		for _, name := range names {
			course.Stages[i].Skills = append(slices.Clip(course.Stages[i].Skills), skill(name))
		}
	}
	seeds := uint64(3)
	if raceDetector {
		seeds = 1
	}
	for seed := range seeds {
		l := &learner{gained: map[exercise.Skill]float64{}, last: map[exercise.Skill]float64{}, rng: rand.New(rand.NewPCG(seed, 9))}
		talent := func(s exercise.Skill) float64 {
			switch s.String() {
			case "bass 4", "quality m7b5", "melody 3":
				return 0.35
			}
			return 0.85
		}
		answer := func(s exercise.Skill, day float64) bool {
			kept := l.gained[s] * math.Exp2(-(day-l.last[s])/12)
			right := l.rng.Float64() < talent(s)+(0.97-talent(s))*kept
			l.gained[s], l.last[s] = kept+0.12*(1-kept), day
			return right
		}
		var p Practice
		asked, met := map[exercise.Skill]int{}, map[exercise.Skill]float64{}
		longest := 0.0
		for day := range 90 {
			start := time.Date(2026, 1, 1, 19, 0, 0, 0, time.UTC).AddDate(0, 0, day)
			s, err := NewSitting(&p, course, SittingOptions{Start: start, Minutes: course.Minutes, Sung: DefaultSung, Seed: uint64(day) + 1000*seed})
			if err != nil {
				t.Fatal(err)
			}
			seconds := 0.0
			for {
				q, ok := s.Next(seconds)
				if !ok {
					break
				}
				asked[q.Skill]++
				if _, ok := met[q.Skill]; !ok {
					met[q.Skill] = float64(day)
				}
				at := func() time.Time { return start.Add(time.Duration(seconds * float64(time.Second))) }
				switch shapeOf(q.Skill) {
				case sungLine:
					seconds += 50 + 15*l.rng.Float64()
					right := 10
					if !answer(q.Skill, float64(day)) {
						right = 6
					}
					s.Add(NewLineTrial(at(), q.Key, q.Skill.Level, right, 10, 15, false, q.Feedback))
				case named:
					seconds += 6 + 3*float64(q.Length)
					d, err := compose.NewDictation(compose.DictationOrder{Skill: q.Skill, Known: q.Known, Key: q.Key, Length: q.Length, Seed: l.rng.Uint64()})
					if err != nil {
						t.Fatal(err)
					}
					for _, one := range d.Skills() {
						s.Add(NewNamedTrial(at(), q.Key, one, answer(one, float64(day)), 4, false, q.Feedback))
					}
				default:
					seconds += 10
					g := Again
					right := answer(q.Skill, float64(day))
					if right {
						g = Good
					}
					s.Add(Trial{At: at(), Skill: q.Skill, Key: q.Key, Rating: g, Right: right, Feedback: q.Feedback, Sung: 2})
				}
			}
			longest = max(longest, seconds)
		}
		if longest > 60*course.Minutes {
			t.Errorf("seed %d: a day of %.0f s", seed, longest)
		}
		for _, stage := range course.Stages {
			for _, s := range stage.Skills {
				if asked[s] == 0 {
					t.Errorf("seed %d: %v was never asked", seed, s)
				}
			}
		}
		rate := func(name string) float64 { s := skill(name); return float64(asked[s]) / (90 - met[s]) }
		// What is weak becomes strong within weeks, so the difference is not large.
		all, others := 0.0, 0.0
		for _, c := range [][2]string{{"bass 4", "bass 6"}, {"quality m7b5", "quality 7"}, {"melody 3", "melody 2"}} {
			weak, strong := rate(c[0]), rate(c[1])
			if weak <= strong {
				t.Errorf("seed %d: %s is asked %.2f times a day, %s %.2f times", seed, c[0], weak, c[1], strong)
			}
			all, others = all+weak, others+strong
		}
		if all < 1.15*others {
			t.Errorf("seed %d: what is weak is asked %.2f times a day, what is strong %.2f times", seed, all, others)
		}
		mastered := []string{}
		p.Skills(func(s exercise.Skill, m Memory) {
			if shapeOf(s) != sungNote && m.Mastered() {
				mastered = append(mastered, s.String())
			}
		})
		slices.Sort(mastered)
		if len(mastered) == 0 {
			t.Errorf("seed %d: nothing that is heard was mastered", seed)
		}
		t.Logf("seed %d: at most %.0f s a day; bass fa %.2f, la %.2f a day; m7b5 %.2f, 7 %.2f; melodies of level 3 %.2f, 2 %.2f; mastered %v", seed, longest,
			rate("bass 4"), rate("bass 6"), rate("quality m7b5"), rate("quality 7"), rate("melody 3"), rate("melody 2"), mastered)
	}
}

// A sitting in which each answer is right or wrong as told.
func sit(t *testing.T, p *Practice, c Course, o SittingOptions, right func(n int) bool) (asked []Question, seconds float64, end End) {
	t.Helper()
	if o.Start.IsZero() {
		o.Start = time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	}
	if o.Minutes == 0 {
		o.Minutes = 8
	}
	if o.Sung == 0 {
		o.Sung = DefaultSung
	}
	s, err := NewSitting(p, c, o)
	if err != nil {
		t.Fatal(err)
	}
	for n := 0; n < 1000; n++ {
		q, ok := s.Next(seconds)
		if !ok {
			return asked, seconds, s.Ended()
		}
		asked = append(asked, q)
		seconds += 10
		g := Good
		if !right(n) {
			g = Again
		}
		s.Add(Trial{At: o.Start.Add(time.Duration(seconds * 1e9)), Skill: q.Skill, Key: q.Key, Rating: g, Right: right(n), Feedback: q.Feedback, Sung: 2})
	}
	t.Fatal("a thousand questions and no end")
	return
}

func TestSittingEnds(t *testing.T) {
	always := func(int) bool { return true }
	for _, c := range []struct {
		rule  string
		o     SittingOptions
		right func(int) bool
		want  End
		n     int
	}{
		{"on time", SittingOptions{Minutes: 5}, always, TimeOver, 29},
		{"when the singing time is over", SittingOptions{Sung: 0.5}, always, SungOut, 15},
		{"when errors rise", SittingOptions{}, func(n int) bool { return n < 12 || n%3 == 0 }, Tired, 18},
		{"not where everything is hard from the start", SittingOptions{Minutes: 5}, func(n int) bool { return n%3 == 0 }, TimeOver, 29},
		{"not for a few errors", SittingOptions{Minutes: 5}, func(n int) bool { return n < 15 || n > 17 }, TimeOver, 29},
	} {
		var p Practice
		asked, _, end := sit(t, &p, diatonic(), c.o, c.right)
		if end != c.want || len(asked) != c.n {
			t.Errorf("%s: ended after %d questions, %q; want %d, %q", c.rule, len(asked), end, c.n, c.want)
		}
	}
}

func TestSittingAgainOnTheSameDay(t *testing.T) {
	var p Practice
	right := func(int) bool { return true }
	sit(t, &p, diatonic(), SittingOptions{}, right)
	asked, _, _ := sit(t, &p, diatonic(), SittingOptions{Start: time.Date(2026, 5, 1, 18, 0, 0, 0, time.UTC)}, right)
	for _, q := range asked {
		if q.New {
			t.Errorf("%v is new, and three were on that day", q.Skill)
		}
	}
	if len(asked) == 0 {
		t.Error("the second sitting of the day asks nothing")
	}
}

// A sitting that goes on past midnight is still that of the evening.
func TestSittingPastMidnight(t *testing.T) {
	right := func(int) bool { return true }
	for _, sung := range []float64{DefaultSung, 1} {
		var early, late Practice
		want, wantEnd, _ := sit(t, &early, diatonic(), SittingOptions{Sung: sung, Start: time.Date(2026, 5, 1, 18, 0, 0, 0, time.UTC)}, right)
		got, end, _ := sit(t, &late, diatonic(), SittingOptions{Sung: sung, Start: time.Date(2026, 12, 31, 23, 59, 30, 0, time.UTC)}, right)
		fresh := func(list []Question) (n int) {
			for _, q := range list {
				if q.New {
					n++
				}
			}
			return n
		}
		if fresh(got) != fresh(want) || end != wantEnd {
			t.Errorf("%g minutes of singing: %d new and %v, in the evening %d and %v", sung, fresh(got), end, fresh(want), wantEnd)
		}
	}
}

func TestSittingRepeats(t *testing.T) {
	right := func(n int) bool { return n%4 > 0 }
	var a, b Practice
	one, _, _ := sit(t, &a, diatonic(), SittingOptions{Seed: 5}, right)
	two, _, _ := sit(t, &b, diatonic(), SittingOptions{Seed: 5}, right)
	if !reflect.DeepEqual(one, two) {
		t.Error("the same seed gives another sitting")
	}
}

func TestFadingSwitchedOff(t *testing.T) {
	var p Practice
	right := func(int) bool { return true }
	for day := range 10 {
		asked, _, _ := sit(t, &p, diatonic(), SittingOptions{
			Start: time.Date(2026, 5, 1+day, 8, 0, 0, 0, time.UTC), Fading: AllTold, NoGuess: true,
		}, right)
		for _, q := range asked {
			if q.Feedback != Full || q.Guess {
				t.Fatalf("feedback %v, guess %v: want full, none", q.Feedback, q.Guess)
			}
		}
	}
	p.Skills(func(s exercise.Skill, m Memory) {
		if m.Mastered() {
			t.Errorf("%v is mastered, and no answer was without feedback", s)
		}
	})
	asked, _, _ := sit(t, &p, diatonic(), SittingOptions{Start: time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC), Fading: AllBlind}, right)
	for _, q := range asked {
		if q.Feedback != Blind || q.Guess {
			t.Fatalf("feedback %v, guess %v: want blind, none", q.Feedback, q.Guess)
		}
	}
}

// A stage in minor keys changes the key to a minor one.
func TestStagesHaveTheirOwnKeys(t *testing.T) {
	c := diatonic()
	minor, _ := theory.ParseKey("A minor")
	me := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 3, Alter: -1}}
	c.Stages = append(c.Stages[:1], Stage{Name: "minor", Keys: []theory.Key{minor}, Skills: []exercise.Skill{me}, Tolerance: 25, Series: 4, Goal: Goal{1, 1, 1, 1}})
	var p Practice
	right := func(int) bool { return true }
	met := false
	for day := range 8 {
		asked, _, _ := sit(t, &p, c, SittingOptions{Start: time.Date(2026, 5, 1+day, 8, 0, 0, 0, time.UTC)}, right)
		for _, q := range asked {
			if (q.Skill == me) != (q.Key == minor) {
				t.Fatalf("%v is asked in %v", q.Skill, q.Key)
			}
			if q.Skill == me {
				met = true
				if q.Tolerance != 25 {
					t.Fatalf("tolerance %g, want that of the stage, 25", q.Tolerance)
				}
			}
		}
	}
	if !met {
		t.Error("me was never asked")
	}
}

func TestSittingRefuses(t *testing.T) {
	good := SittingOptions{Minutes: 8, Sung: 10}
	for _, c := range []struct {
		rule string
		edit func(*Course, *SittingOptions)
	}{
		{"no minutes", func(_ *Course, o *SittingOptions) { o.Minutes = 0 }},
		{"an hour", func(_ *Course, o *SittingOptions) { o.Minutes = 60 }},
		{"no number", func(_ *Course, o *SittingOptions) { o.Minutes = math.NaN() }},
		{"no singing", func(_ *Course, o *SittingOptions) { o.Sung = 0 }},
		{"no stage", func(c *Course, _ *SittingOptions) { c.Stages = nil }},
		{"no key", func(c *Course, _ *SittingOptions) { c.Stages[1].Keys = nil }},
		{"nothing to sing", func(c *Course, _ *SittingOptions) { c.Stages[1].Skills = nil }},
		{"a key", func(c *Course, _ *SittingOptions) {
			c.Stages[1].Skills = []exercise.Skill{{Kind: exercise.KeySkill}}
		}},
		{"a level that there is not", func(c *Course, _ *SittingOptions) {
			c.Stages[1].Skills = []exercise.Skill{{Kind: exercise.MelodySkill, Level: compose.Levels + 1}}
		}},
		{"a chain of what is not in the stage", func(c *Course, _ *SittingOptions) {
			c.Stages[1].Chains = [][]exercise.Skill{{c.Stages[3].Skills[0]}}
		}},
		{"a chain of chords", func(c *Course, _ *SittingOptions) {
			bass := exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 1}}
			c.Stages[1].Skills, c.Stages[1].Chains = []exercise.Skill{bass}, [][]exercise.Skill{{bass}}
		}},
		{"a goal out of reach", func(c *Course, _ *SittingOptions) { c.Stages[1].Goal.Keys = 13 }},
		{"a wide tolerance", func(c *Course, _ *SittingOptions) { c.Stages[1].Tolerance = 60 }},
		{"an endless series", func(c *Course, _ *SittingOptions) { c.Stages[1].Series = 0 }},
	} {
		course, o := diatonic(), good
		c.edit(&course, &o)
		if _, err := NewSitting(&Practice{}, course, o); err == nil {
			t.Errorf("%s: no error", c.rule)
		}
	}
}

// everything is a course of all kinds: what the tonic triad, bass notes,
// qualities, melodies and two series ask for.
func everything() Course {
	c := diatonic()
	triad := c.Stages[1].Skills
	find := func(from, to int, way exercise.Direction) exercise.Skill {
		return exercise.Skill{Kind: exercise.PairSkill, From: theory.Degree{Step: from}, Degree: theory.Degree{Step: to}, Way: way}
	}
	c.Stages = c.Stages[:2]
	c.Stages[1].Skills = append(append([]exercise.Skill{}, triad...),
		exercise.Skill{Kind: exercise.MelodySkill, Level: 1}, exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 1}},
		exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 5}}, exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 4}},
		exercise.Skill{Kind: exercise.QualitySkill, Chord: "maj"}, exercise.Skill{Kind: exercise.QualitySkill, Chord: "m7b5"}, exercise.Skill{Kind: exercise.MelodySkill, Level: 2})
	c.Stages[1].Chains = [][]exercise.Skill{
		{find(1, 3, exercise.Up), find(3, 5, exercise.Up), find(5, 1, exercise.Up)},
		{find(5, 3, exercise.Down), find(3, 5, exercise.Up), find(5, 3, exercise.Down), find(3, 1, exercise.Down)},
	}
	return c
}

// Whatever a course mixes, a sitting ends on time, keeps melodies apart, puts no
// two names in a row where it can, and sings a chain whole, in its order, in one
// key, once, when all of it is known.
func TestSittingOfAllKinds(t *testing.T) {
	course := everything()
	for seed := range uint64(5) {
		var p Practice
		rng := rand.New(rand.NewPCG(seed, 7))
		asked, met := map[exercise.Kind]int{}, map[exercise.Skill]bool{}
		chains, names, pairs := 0, 0, 0
		for day := range 40 {
			start := time.Date(2026, 1, 1, 19, 0, 0, 0, time.UTC).AddDate(0, 0, day)
			s, err := NewSitting(&p, course, SittingOptions{Start: start, Minutes: 8, Sung: DefaultSung, Seed: uint64(day) + 100*seed})
			if err != nil {
				t.Fatal(err)
			}
			seconds, unlined, lines := 0.0, lineAfter, 0
			var last Question
			sung := map[string]bool{}
			var parts []exercise.Skill
			for n := 0; ; n++ {
				q, ok := s.Next(seconds)
				if !ok {
					break
				}
				asked[q.Skill.Kind]++
				took := 6 + 3*rng.Float64()
				switch shapeOf(q.Skill) {
				case named:
					took = 8 + 6*rng.Float64()
					if n > 0 && shapeOf(last.Skill) == named {
						names++
					}
					if q.Length < 1 || q.Length > 4 || q.Guess {
						t.Errorf("%v: %d chords, guess %v", q.Skill, q.Length, q.Guess)
					}
					for _, known := range q.Known {
						if known.Kind != q.Skill.Kind || !met[known] {
							t.Errorf("%v asks among %v, which was never met", q.Skill, known)
						}
					}
				case sungLine:
					took = 50 + 20*rng.Float64()
					if unlined < lineAfter || lines == mostLines {
						t.Errorf("day %d, question %d: melody %d after %d others", day, n, lines+1, unlined)
					}
					unlined = -1
					lines++
				}
				unlined++
				if q.SetKey {
					took += 4
				}
				if last.Part < last.Parts && q.Part != last.Part+1 {
					t.Errorf("part %d of %d is followed by part %d", last.Part, last.Parts, q.Part)
				}
				if q.Parts > 0 {
					pairs++
					if q.Part > 1 && (q.SetKey || q.Key != last.Key) {
						t.Error("the key changes in a chain")
					}
					if q.New {
						t.Errorf("%v is new, in a chain", q.Skill)
					}
					parts = append(parts, q.Skill)
					if q.Part == q.Parts {
						whole := fmt.Sprint(parts)
						if whole != fmt.Sprint(course.Stages[1].Chains[0]) && whole != fmt.Sprint(course.Stages[1].Chains[1]) {
							t.Errorf("a chain of %v", parts)
						}
						if sung[whole] {
							t.Errorf("%v twice in a sitting", parts)
						}
						sung[whole] = true
						chains++
						parts = nil
					}
				}
				seconds += took
				met[q.Skill] = true
				at := start.Add(time.Duration(seconds * float64(time.Second)))
				switch {
				case q.Skill.Kind == exercise.MelodySkill:
					s.Add(NewLineTrial(at, q.Key, q.Skill.Level, 8+rng.IntN(3), 10, 15, false, q.Feedback))
				case shapeOf(q.Skill) == named:
					s.Add(NewNamedTrial(at, q.Key, q.Skill, rng.Float64() < 0.8, 4, false, q.Feedback))
				default:
					s.Add(Trial{At: at, Skill: q.Skill, Key: q.Key, Rating: Good, Right: true, Feedback: q.Feedback, Sung: 2})
				}
				last = q
			}
			if seconds > 8*60 {
				t.Errorf("day %d took %.0f s", day, seconds)
			}
			if seconds < 6*60 && s.Ended() == TimeOver {
				t.Errorf("day %d ended after %.0f s: %v", day, seconds, s.Ended())
			}
		}
		for _, skill := range append(course.Stages[0].Skills, course.Stages[1].Skills...) {
			if !met[skill] {
				t.Errorf("seed %d: %v was never asked", seed, skill)
			}
		}
		if chains < 20 || names > asked[exercise.BassSkill]/4 {
			t.Errorf("seed %d: %d chains in 40 days, %d names after names of %d", seed, chains, names, asked[exercise.BassSkill]+asked[exercise.QualitySkill])
		}
		t.Logf("seed %d: %v, %d chains of %d notes, %d names after names", seed, asked, chains, pairs, names)
	}
}

// A course of melodies alone asks for melodies alone.
func TestSittingOfMelodies(t *testing.T) {
	c := everything()
	c.Stages = c.Stages[1:]
	c.Stages[0].Skills, c.Stages[0].Chains = []exercise.Skill{{Kind: exercise.MelodySkill, Level: 1}}, nil
	s, err := NewSitting(&Practice{}, c, SittingOptions{Minutes: 8, Sung: DefaultSung})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for seconds := 0.0; ; seconds += 60 {
		q, ok := s.Next(seconds)
		if !ok {
			break
		}
		n++
		s.Add(NewLineTrial(time.Time{}, q.Key, 1, 10, 10, 10, false, q.Feedback))
	}
	if n < 6 || n > 8 || s.Ended() != TimeOver {
		t.Errorf("%d melodies of a minute in eight minutes, ended: %v", n, s.Ended())
	}
}

func ExampleSitting() {
	var known Practice // of a singer who has sung nothing yet
	s, err := NewSitting(&known, diatonic(), SittingOptions{
		Start: time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), Minutes: 5, Sung: DefaultSung, Seed: 1,
	})
	if err != nil {
		panic(err)
	}
	for n := range 3 {
		q, _ := s.Next(10 * float64(n))
		fmt.Println(q.Skill, "in", q.Key)
		s.Add(Trial{At: time.Date(2026, 5, 1, 8, 0, 10*n, 0, time.UTC), Skill: q.Skill, Key: q.Key, Rating: Good, Right: true})
	}
	// Output:
	// degree 1 in G♭ major
	// degree 3 in G♭ major
	// degree 1 in G♭ major
}
