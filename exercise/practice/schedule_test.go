package practice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/open-spaced-repetition/go-fsrs/v4"

	"singback/exercise"
	"singback/theory"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %.7f, want %.7f within %g", what, got, want, within)
	}
}

// The formulas of FSRS-6 written out anew, from the published description of the
// algorithm (py-fsrs 6.3.1, MIT, with its default weights), against the library.
func TestFSRSFormulas(t *testing.T) {
	w := [21]float64{
		.212, 1.2931, 2.3065, 8.2956, 6.4133, .8334, 3.0194, .001, 1.8722, .1666, .796,
		1.4835, .0614, .2629, 1.6483, .6014, 1.8729, .5425, .0912, .0658, .1542,
	}
	if scheduler.W != fsrs.Weights(w) {
		t.Fatalf("weights %v, want those of py-fsrs 6.3.1", scheduler.W)
	}
	f := math.Pow(0.9, -1/w[20]) - 1
	near(t, "F", f, 0.98035, 1e-5)
	// Worked by hand with the formula R = (1 + F t/S)^-w20.
	for _, c := range []struct{ ratio, want float64 }{{.5, .9403}, {1, .9}, {2, .8459}, {5, .7605}, {10, .6928}} {
		near(t, "R", scheduler.ForgettingCurve(c.ratio*7, 7), c.want, 5e-5)
		near(t, "R by the formula", math.Pow(1+f*c.ratio, -w[20]), c.want, 5e-5)
	}
	at := time.Date(2022, 11, 29, 12, 30, 0, 0, time.UTC)
	for g, want := range map[Rating]float64{Again: 6.4133, Hard: 5.1122, Good: 2.1181, Easy: 1} {
		m := &Memory{card: fsrs.NewCard(at)}
		m.review(at, g, 1)
		near(t, "D0", m.Difficulty, want, 5e-5)
		near(t, "S0", m.Stability, w[g-1], 1e-12)
	}
	for g, want := range map[Rating]float64{Hard: 23.2469, Good: 32.0267, Easy: 51.2539, Again: 1.3920} {
		m := &Memory{card: fsrs.Card{State: fsrs.Review, Stability: 10, Difficulty: 5, LastReview: at}}
		m.review(at.AddDate(0, 0, 10), g, 1)
		near(t, "S after D 5, S 10, R 0.9", m.Stability, want, 5e-5)
		near(t, "D after D 5", m.Difficulty, math.Min(10, math.Max(1,
			w[7]*(w[4]-math.Exp(3*w[5])+1)+(1-w[7])*(5-w[6]*float64(g-3)*5/9))), 1e-9)
	}
	// The same day, S' = S·max(1 if G >= 3, e^(w17(G−3+w18))·S^(−w19)), by hand
	// from S = 10 with 10^−0.0658 = 0.859409:
	//   again  e^(0.5425·(−2+0.0912)) = 0.355040    10·0.355040·0.859409 = 3.0512
	//   hard   e^(0.5425·(−1+0.0912)) = 0.610777    10·0.610777·0.859409 = 5.2491
	//   good   e^(0.5425·0.0912)      = 1.050720    times 0.859409 < 1: 10
	//   easy   e^(0.5425·(1+0.0912))  = 1.807557    10·1.807557·0.859409 = 15.5343
	// A card past its steps is due in that many days, rounded.
	for g, want := range map[Rating]struct{ s, days float64 }{
		Again: {3.0512, 10. / 60 / 24}, Hard: {5.2491, 5}, Good: {10, 10}, Easy: {15.5343, 16},
	} {
		m := &Memory{card: fsrs.Card{State: fsrs.Review, Stability: 10, Difficulty: 5, LastReview: at}}
		m.review(at.Add(time.Minute), g, 1)
		near(t, "S on the same day", m.Stability, want.s, 5e-5)
		near(t, "days until due", m.Due.Sub(at.Add(time.Minute)).Hours()/24, want.days, 1e-9)
	}
	// Within the learning steps too, which are a matter of minutes.
	m := &Memory{card: fsrs.NewCard(at)}
	m.review(at, Good, 1)
	m.review(at.Add(time.Minute), Hard, 1)
	near(t, "S of a new skill, good and at once hard", m.Stability, 1.3334, 5e-5) // 2.3065·0.610777·2.3065^−0.0658 = 2.3065·0.610777·0.946476
	near(t, "minutes until due", m.Due.Sub(at).Minutes(), 7, 1e-9)
}

// published is FSRS-6 as it is published (py-fsrs 6.3.1), S and D alone, so many
// days after the last review.
func published(s, d float64, days int, g Rating) (stability, difficulty float64) {
	w, G := scheduler.W, float64(g)
	switch r := math.Pow(1+(math.Pow(0.9, -1/w[20])-1)*float64(days)/s, -w[20]); {
	case days == 0:
		by := math.Exp(w[17]*(G-3+w[18])) * math.Pow(s, -w[19])
		if g >= Good {
			by = math.Max(1, by)
		}
		stability = s * by
	case g == Again:
		stability = math.Min(w[11]*math.Pow(d, -w[12])*(math.Pow(s+1, w[13])-1)*math.Exp(w[14]*(1-r)), s/math.Exp(w[17]*w[18]))
	default:
		by := math.Exp(w[8]) * (11 - d) * math.Pow(s, -w[9]) * (math.Exp(w[10]*(1-r)) - 1)
		switch g {
		case Hard:
			by *= w[15]
		case Easy:
			by *= w[16]
		}
		stability = s * (1 + by)
	}
	easy := w[4] - math.Exp(w[5]*3) + 1
	return math.Max(0.001, stability), math.Min(10, math.Max(1, w[7]*easy+(1-w[7])*(d-w[6]*(G-3)*(10-d)/9)))
}

// Whole histories of random grades and gaps, many on one day, against the
// published formulas written out above.
func TestRandomHistories(t *testing.T) {
	for seed := range uint64(400) {
		random := rand.New(rand.NewPCG(seed, 6))
		at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
		m := &Memory{card: fsrs.NewCard(at)}
		var s, d float64
		for i := range 25 {
			g, days := Rating(1+random.IntN(4)), 0
			if i > 0 && random.IntN(2) == 0 {
				days = 1 + random.IntN(1+random.IntN(60))
			}
			at = at.AddDate(0, 0, days)
			m.review(at.Add(time.Duration(i)*time.Minute), g, 1)
			if i == 0 {
				s, d = scheduler.W[g-1], math.Max(1, scheduler.W[4]-math.Exp(scheduler.W[5]*float64(g-1))+1)
			} else {
				s, d = published(s, d, days, g)
			}
			near(t, fmt.Sprintf("history %d, answer %d: S", seed, i+1), m.Stability/s, 1, 1e-9)
			near(t, fmt.Sprintf("history %d, answer %d: D", seed, i+1), m.Difficulty, d, 1e-9)
		}
		if t.Failed() {
			return
		}
	}
}

// A dozen histories as ts-fsrs 5.4.2 (npm, MIT; default parameters, fuzz off)
// computed them, none with a hard answer on the day of another; see the file.
func TestHistoriesOfTSFSRS(t *testing.T) {
	text, err := os.ReadFile("testdata/fsrs.txt")
	if err != nil {
		t.Fatal(err)
	}
	histories := 0
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		histories++
		at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
		m := &Memory{card: fsrs.NewCard(at)}
		for i, answer := range strings.Fields(line) {
			var gap, due int
			var g Rating
			var s, d float64
			if _, err := fmt.Sscanf(answer, "%d:%d:%f:%f:%d", &gap, &g, &s, &d, &due); err != nil {
				t.Fatalf("history %d: %q: %v", histories, answer, err)
			}
			at = at.Add(time.Duration(gap) * time.Minute)
			m.review(at, g, 1)
			what := fmt.Sprintf("history %d, answer %d: ", histories, i+1)
			near(t, what+"S", m.Stability/s, 1, 1e-6) // theirs is rounded to 8 places at each answer
			near(t, what+"D", m.Difficulty, d, 1e-6)
			if due < 24*60 { // a learning step
				near(t, what+"minutes until due", m.Due.Sub(at).Minutes(), float64(due), 1e-9)
			}
		}
	}
	if histories < 12 {
		t.Errorf("%d histories, want 12", histories)
	}
}

// The published tests of py-fsrs 6.3.1 (also in its Go port), through Practice.
func TestPublishedIntervals(t *testing.T) {
	var p Practice
	skill := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}
	at := time.Date(2022, 11, 29, 12, 30, 0, 0, time.UTC)
	var got []int
	for _, g := range []Rating{Good, Good, Good, Good, Good, Good, Again, Again, Good, Good, Good, Good, Good} {
		p.Add(Trial{At: at, Skill: skill, Rating: g})
		m, _ := p.Memory(skill)
		got = append(got, int(m.Due.Sub(at).Hours()/24))
		at = m.Due
	}
	if want := []int{0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21}; !slices.Equal(got, want) {
		t.Errorf("intervals %v days, want %v", got, want)
	}

	p = Practice{}
	at = time.Date(2022, 11, 29, 12, 30, 0, 0, time.UTC)
	gaps := []int{0, 0, 1, 3, 8, 21}
	for i, g := range []Rating{Again, Good, Good, Good, Good, Good} {
		at = at.AddDate(0, 0, gaps[i])
		p.Add(Trial{At: at, Skill: skill, Rating: g})
	}
	m, _ := p.Memory(skill)
	near(t, "S", m.Stability, 53.62691, 1e-4)
	near(t, "D", m.Difficulty, 6.3574867, 1e-4)
}

// A day is the singer's: half past eleven at night and half an hour later are
// two days, wherever that is.
func TestDaysAreTheSingers(t *testing.T) {
	east := time.FixedZone("", 11*3600)
	at := time.Date(2026, 3, 1, 23, 40, 0, 0, east)
	var p Practice
	skill := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}
	p.Add(Trial{At: at, Skill: skill, Rating: Good})
	later := at.Add(30 * time.Minute)
	p.Add(Trial{At: later, Skill: skill, Rating: Good})
	m, _ := p.Memory(skill)
	// R after one day at S = 2.3065, not the rule for the same day.
	r := scheduler.ForgettingCurve(1, 2.3065)
	want := 2.3065 * (1 + math.Exp(1.8722)*(11-2.118104)*math.Pow(2.3065, -.1666)*(math.Exp(.796*(1-r))-1))
	near(t, "S", m.Stability, want, 1e-4)
	if n, _ := p.NewToday(later); n != 0 {
		t.Errorf("%d new skills on the second day, want 0", n)
	}
	if n, _ := p.NewToday(at); n != 0 {
		t.Errorf("%d new skills, want 0: the last day is another one", n)
	}
}

func TestClockSetBack(t *testing.T) {
	var p Practice
	skill := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	p.Add(Trial{At: at, Skill: skill, Rating: Good})
	p.Add(Trial{At: at.AddDate(-1, 0, 0), Skill: skill, Rating: Good})
	if m, _ := p.Memory(skill); m.Answers != 2 || m.Last.Before(at) {
		t.Errorf("answers %d, last %v: want 2, at %v", m.Answers, m.Last, at)
	}
}

func TestCredits(t *testing.T) {
	key, _ := theory.ParseKey("Ab major")
	la, fa, fi := theory.Degree{Step: 6}, theory.Degree{Step: 4}, theory.Degree{Step: 4, Alter: 1}
	pair := exercise.Skill{Kind: exercise.PairSkill, From: fa, Degree: la, Way: exercise.Up}
	inKey := Credit{exercise.Skill{Kind: exercise.KeySkill, Key: key}, 0.25}
	degree := exercise.Skill{Kind: exercise.DegreeSkill, Degree: la}
	for _, c := range []struct {
		rule  string
		skill exercise.Skill
		grade Rating
		want  []Credit
	}{
		{"a right la from fa is worth the pair, la and a little of the key", pair, Good, []Credit{{pair, 1}, {degree, 1}, inKey}},
		{"a wrong one may be the move's fault", pair, Again, []Credit{{pair, 1}, {degree, 0.5}, inKey}},
		{"out of tune is the right degree", pair, Hard, []Credit{{pair, 1}, {degree, 1}, inKey}},
		{"a degree alone says nothing of pairs", degree, Good, []Credit{{degree, 1}, inKey}},
		{"a chromatic end is a chromatic skill", exercise.Skill{Kind: exercise.PairSkill, From: fa, Degree: fi, Way: exercise.Up}, Good,
			[]Credit{{exercise.Skill{Kind: exercise.PairSkill, From: fa, Degree: fi, Way: exercise.Up}, 1}, {exercise.Skill{Kind: exercise.ChromaticSkill, Degree: fi}, 1}, inKey}},
		{"a melody is its level", exercise.Skill{Kind: exercise.MelodySkill, Level: 3}, Good, []Credit{{exercise.Skill{Kind: exercise.MelodySkill, Level: 3}, 1}, inKey}},
		{"what was not measured is worth nothing", pair, Undecided, nil},
	} {
		if got := (Trial{Skill: c.skill, Key: key, Rating: c.grade}).Credits(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.rule, got, c.want)
		}
	}
}

// A move that was sung the other way is worth its degree and not the move. The way
// is seen from the octave in which the singer answers everything.
func TestMoveSungTheOtherWay(t *testing.T) {
	key := theory.Key{}
	up := exercise.Item{Key: key, Tuning: theory.Tuning{A4: theory.DefaultA4}, Register: exercise.Register{TonicOctave: 4}, Asked: theory.Degree{Step: 6},
		From: &theory.Degree{Step: 1}, Move: exercise.Up}
	down := up
	down.Move = exercise.Down
	trial := func(it exercise.Item, shift int) Trial {
		return NewTrial(time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), it, exercise.Verdict{Outcome: exercise.InTune, HasSung: true, Sung: it.Asked, OctaveShift: shift, Answer: 2}, false, Full)
	}
	if d := trial(down, 0).Away; d != -3 {
		t.Fatalf("la down from do is %d semitones away", d)
	}
	for _, c := range []struct {
		rule   string
		before int // the octave of ten answers before
		item   exercise.Item
		shift  int
		turned bool
	}{
		{"up as asked", 0, up, 0, false},
		{"down for up", 0, up, -1, true},
		{"up, two octaves apart", 0, up, 1, false},
		{"down as asked", 0, down, 0, false},
		{"up for down", 0, down, 1, true},
		{"a low voice, up as asked", -1, up, -1, false},
		{"a low voice, down for up", -1, up, -2, true},
		{"a low voice in the octave of the keyboard", -1, down, 0, true},
	} {
		var p Practice
		degree := up
		degree.From, degree.Move = nil, exercise.Within
		for range 10 {
			p.Add(trial(degree, c.before))
		}
		one := trial(c.item, c.shift)
		if p.Turned(one) != c.turned {
			t.Errorf("%s: turned %v", c.rule, !c.turned)
		}
		p.Add(one)
		pair, _ := p.Memory(one.Skill)
		la, _ := p.Memory(exercise.Skill{Kind: exercise.DegreeSkill, Degree: up.Asked})
		if want := 1 - btoi(c.turned); pair.Answers != want || la.Answers != 10 {
			t.Errorf("%s: %d answers to the move, %d to la itself; want %d, 10", c.rule, pair.Answers, la.Answers, want)
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestGradesOfNamesAndLines(t *testing.T) {
	for _, c := range []struct {
		rule    string
		right   bool
		seconds float64
		again   bool
		want    Rating
	}{
		{"wrong", false, 1, false, Again}, {"at once", true, 2, false, Easy}, {"soon", true, 6, false, Good},
		{"slow", true, 12, false, Hard}, {"heard twice", true, 2, true, Hard},
	} {
		if got := RateNamed(c.right, c.seconds, c.again); got != c.want {
			t.Errorf("a name given %s: %v, want %v", c.rule, got, c.want)
		}
	}
	for _, c := range []struct {
		right, notes int
		again        bool
		want         Rating
		outcome      exercise.Outcome
	}{
		{0, 0, false, Undecided, exercise.NotMeasured}, {7, 10, false, Again, exercise.WrongAnswer}, {8, 10, false, Hard, exercise.RightAnswer},
		{9, 10, false, Good, exercise.RightAnswer}, {10, 10, false, Easy, exercise.RightAnswer}, {10, 10, true, Hard, exercise.RightAnswer}, {4, 5, false, Hard, exercise.RightAnswer},
	} {
		if got, o := RateLine(c.right, c.notes, c.again), LineOutcome(c.right, c.notes); got != c.want || o != c.outcome {
			t.Errorf("%d of %d, again %v: %v, %v; want %v, %v", c.right, c.notes, c.again, got, o, c.want, c.outcome)
		}
	}
	at, key := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), theory.Key{}
	if tr := NewLineTrial(at, key, 3, 9, 10, 12, false, Blind); tr.Skill.String() != "melody 3" || !tr.Right || tr.Sung != 12 || tr.Feedback != Blind {
		t.Errorf("a line of level 3: %+v", tr)
	}
	bass := exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 4}}
	if tr := NewNamedTrial(at, key, bass, false, 2, false, Full); tr.Skill != bass || tr.Right || tr.Rating != Again {
		t.Errorf("a bass note: %+v", tr)
	}
}

// A share of a review goes that part of the way, whatever the grade: between
// nothing and a whole review, and in order.
func TestShareOfAReview(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for _, g := range []Rating{Again, Hard, Good, Easy} {
		var last Memory
		for i, share := range []float64{0.01, 0.25, 0.5, 0.99, 1} {
			m := Memory{card: fsrs.Card{State: fsrs.Review, Stability: 10, Difficulty: 5, LastReview: at}}
			m.review(at.AddDate(0, 0, 10), g, share)
			if i > 0 && (g == Again) != (m.Stability < last.Stability) {
				t.Errorf("grade %d: share %g gives S %g after %g for less", g, share, m.Stability, last.Stability)
			}
			if i == 0 {
				near(t, "S after hardly a review", m.Stability, 10, 0.25)
				near(t, "its time, in days", m.Last.Sub(at).Hours()/24, 10, 1e-9)
			}
			last = m
		}
	}
	// Half a good review of S 10, D 5 after ten days: the geometric mean of 10
	// and 32.0267, and five days ago.
	m := Memory{card: fsrs.Card{State: fsrs.Review, Stability: 10, Difficulty: 5, LastReview: at}}
	m.review(at.AddDate(0, 0, 10), Good, 0.5)
	near(t, "S", m.Stability, math.Sqrt(10*32.0267), 1e-3)
	if want := at.AddDate(0, 0, 5+18); !m.Due.Equal(want) {
		t.Errorf("due %v, want %v: 18 days after the 5th", m.Due, want)
	}
}

// The grade map; the limits of time are common practice.
func TestRate(t *testing.T) {
	key, _ := theory.ParseKey("C major")
	la, ti := theory.Degree{Step: 6}, theory.Degree{Step: 7}
	it := exercise.Item{Key: key, Tuning: theory.Tuning{A4: 440}, Asked: la}
	for _, c := range []struct {
		rule  string
		v     exercise.Verdict
		again bool
		want  Rating
	}{
		{"wrong degree", exercise.Verdict{Outcome: exercise.OtherDegree, Sung: ti, HasSung: true}, false, Again},
		{"no degree at all", exercise.Verdict{Outcome: exercise.Unsteady, Answer: 1}, false, Undecided},
		{"right degree, another octave, where that counts", exercise.Verdict{Outcome: exercise.OtherDegree, Sung: la, HasSung: true}, false, Hard},
		{"too low", exercise.Verdict{Outcome: exercise.Flat, Sung: la, HasSung: true, Cents: -40, Answer: 1}, false, Hard},
		{"too high", exercise.Verdict{Outcome: exercise.Sharp, Sung: la, HasSung: true, Cents: 40, Answer: 1}, false, Hard},
		{"not steady", exercise.Verdict{Outcome: exercise.Unsteady, Sung: la, HasSung: true, Answer: 1}, false, Hard},
		{"right but slow", exercise.Verdict{Outcome: exercise.InTune, Sung: la, HasSung: true, Cents: 2, Answer: 4.1}, false, Hard},
		{"right, found by steps", exercise.Verdict{Outcome: exercise.InTune, Sung: la, HasSung: true, Cents: 2, Answer: 1, BySteps: true}, false, Hard},
		{"wrong, by steps", exercise.Verdict{Outcome: exercise.OtherDegree, Sung: ti, HasSung: true, Answer: 1, BySteps: true}, false, Again},
		{"right after a second hearing", exercise.Verdict{Outcome: exercise.InTune, Sung: la, HasSung: true, Cents: 2, Answer: 1}, true, Hard},
		{"right", exercise.Verdict{Outcome: exercise.InTune, Sung: la, HasSung: true, Cents: -16, Answer: 1}, false, Good},
		{"right, not at once", exercise.Verdict{Outcome: exercise.InTune, Sung: la, HasSung: true, Cents: 2, Answer: 1.6}, false, Good},
		{"right, near, at once", exercise.Verdict{Outcome: exercise.InTune, Sung: la, HasSung: true, Cents: -15, Answer: 1.5}, false, Easy},
		{"ambiguous", exercise.Verdict{Outcome: exercise.Ambiguous, Sung: la, HasSung: true}, false, Undecided},
		{"not measured", exercise.Verdict{}, false, Undecided},
	} {
		if got := Rate(it, c.v, c.again); got != c.want {
			t.Errorf("%s: grade %d, want %d", c.rule, got, c.want)
		}
	}
}

// practise adds n answers on a day of March.
func practise(p *Practice, s exercise.Skill, key string, day, n int, right bool, f Feedback) {
	k, err := theory.ParseKey(key)
	if err != nil {
		panic(err)
	}
	for i := range n {
		g := Good
		if !right {
			g = Again
		}
		p.Add(Trial{At: time.Date(2026, 3, day, 12, i, 0, 0, time.UTC), Skill: s, Key: k, Rating: g, Right: right, Feedback: f})
	}
}

func TestMastery(t *testing.T) {
	s := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}
	for _, c := range []struct {
		rule        string
		sing        func(p *Practice)
		ready, done bool
	}{
		{"20 right, two days, two keys, unaided, blind check", func(p *Practice) {
			practise(p, s, "C", 1, 8, true, Outside)
			practise(p, s, "D", 2, 8, true, SecondHidden)
			practise(p, s, "D", 2, 4, true, Blind)
		}, true, true},
		{"2 of 20 wrong is 90 %", func(p *Practice) {
			practise(p, s, "C", 1, 2, false, Outside)
			practise(p, s, "C", 1, 8, true, Outside)
			practise(p, s, "D", 2, 6, true, Outside)
			practise(p, s, "D", 2, 4, true, Blind)
		}, true, true},
		{"3 of 20 wrong is not", func(p *Practice) {
			practise(p, s, "C", 1, 3, false, Outside)
			practise(p, s, "C", 1, 8, true, Outside)
			practise(p, s, "D", 2, 5, true, Outside)
			practise(p, s, "D", 2, 4, true, Blind)
		}, false, false},
		{"only the last 20 count", func(p *Practice) {
			practise(p, s, "C", 1, 30, false, Outside)
			practise(p, s, "C", 1, 10, true, Outside)
			practise(p, s, "D", 2, 10, true, Blind)
		}, true, true},
		{"19 are too few", func(p *Practice) {
			practise(p, s, "C", 1, 9, true, Outside)
			practise(p, s, "D", 2, 10, true, Blind)
		}, false, false},
		{"one day is not enough", func(p *Practice) {
			practise(p, s, "C", 1, 10, true, Outside)
			practise(p, s, "D", 1, 10, true, Blind)
		}, false, false},
		{"one key is not enough", func(p *Practice) {
			practise(p, s, "C", 1, 10, true, Outside)
			practise(p, s, "C", 2, 10, true, Blind)
		}, false, false},
		{"answers with feedback do not count", func(p *Practice) {
			practise(p, s, "C", 1, 10, true, Full)
			practise(p, s, "D", 2, 6, true, SecondShown)
			practise(p, s, "D", 2, 4, true, Blind)
		}, false, false},
		{"and do not stand in the way", func(p *Practice) {
			practise(p, s, "C", 1, 10, true, Outside)
			practise(p, s, "D", 2, 10, true, Blind)
			practise(p, s, "D", 2, 10, false, Full)
		}, true, true},
		{"without the blind check", func(p *Practice) {
			practise(p, s, "C", 1, 10, true, Outside)
			practise(p, s, "D", 2, 10, true, Outside)
		}, true, false},
		{"a blind check failed", func(p *Practice) {
			practise(p, s, "C", 1, 8, true, Outside)
			practise(p, s, "D", 2, 8, true, Outside)
			practise(p, s, "D", 2, 1, false, Blind)
			practise(p, s, "D", 2, 3, true, Blind)
		}, true, false},
	} {
		var p Practice
		c.sing(&p)
		m, _ := p.Memory(s)
		if m.Ready() != c.ready || m.Mastered() != c.done {
			t.Errorf("%s: ready %v, mastered %v, want %v, %v", c.rule, m.Ready(), m.Mastered(), c.ready, c.done)
		}
	}
}

// Full on the first two days, then every second answer, then only outside the
// tolerance, then a blind check.
func TestFeedbackFades(t *testing.T) {
	s := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}
	var p Practice
	var got []Feedback
	now := func(day int) time.Time { return time.Date(2026, 3, day, 8, 0, 0, 0, time.UTC) }
	for i := range 70 {
		m, _ := p.Memory(s)
		f := m.Feedback(now(1 + i/10))
		got = append(got, f)
		key := "C"
		if i%2 == 1 {
			key = "G"
		}
		practise(&p, s, key, 1+i/10, 1, true, f)
	}
	for i, f := range got[:20] {
		if f != Full {
			t.Errorf("answer %d, on the first two days: %v, want full", i+1, f)
		}
	}
	want := []Feedback{SecondShown, SecondHidden, SecondShown, SecondHidden, SecondShown, SecondHidden, Outside}
	if !slices.Equal(got[20:27], want) {
		t.Errorf("on the third day: %v, want %v", got[20:27], want)
	}
	// 3 hidden and 17 outside make 20; then the blind check of 4; then one in 4.
	if i := slices.Index(got, Blind); i != 43 {
		t.Errorf("the first blind answer is the %d-th, want the 44th", i+1)
	}
	if !slices.Equal(got[43:47], []Feedback{Blind, Blind, Blind, Blind}) {
		t.Errorf("the blind check: %v", got[43:47])
	}
	for i, f := range got[47:] {
		if (f == Blind) != ((47+i)%4 == 0) || f != Blind && f != Outside {
			t.Errorf("answer %d: %v, want a blind one in four, the others outside", 48+i, f)
		}
	}
	if m, _ := p.Memory(s); !m.Mastered() {
		t.Error("70 right answers on 7 days in 2 keys: not mastered")
	}
	practise(&p, s, "C", 20, 6, false, Outside)
	if m, _ := p.Memory(s); m.Feedback(now(20)) != Full {
		t.Errorf("after six wrong answers: %v, want full", m.Feedback(now(20)))
	}
}

// However many answers there are on them, nothing is held back on the first two
// days of a skill, and with few answers on later ones neither.
func TestFeedbackIsFullAtFirst(t *testing.T) {
	s := exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}
	for _, c := range []struct {
		rule string
		days []int // answers on each
		want Feedback
	}{
		{"much on one day", []int{60}, Full},
		{"much on the second day", []int{60, 59}, Full},
		{"the third day", []int{4, 4, 0}, SecondShown},
		{"the third day, few answers", []int{1, 2, 0}, Full},
		{"the sixth day, few answers", []int{1, 1, 1, 1, 1, 0}, Full},
	} {
		var p Practice
		for i, n := range c.days {
			practise(&p, s, "C", 1+i, n, true, Full)
		}
		m, _ := p.Memory(s)
		if got := m.Feedback(time.Date(2026, 3, len(c.days), 20, 0, 0, 0, time.UTC)); got != c.want {
			t.Errorf("%s: %v, want %v", c.rule, got, c.want)
		}
	}
}

func TestFeedbackShows(t *testing.T) {
	for _, c := range []struct {
		f    Feedback
		want [5]bool // in tune, flat, not measured, unsteady, no degree
	}{
		{Full, [5]bool{true, true, true, true, true}}, {SecondShown, [5]bool{true, true, true, true, true}},
		{SecondHidden, [5]bool{false, false, true, false, true}},
		{Outside, [5]bool{false, true, true, true, true}}, {Blind, [5]bool{false, false, true, false, true}},
	} {
		var got [5]bool
		for i, v := range []exercise.Verdict{{Outcome: exercise.InTune}, {Outcome: exercise.Flat}, {}, {Outcome: exercise.Unsteady, HasSung: true}, {Outcome: exercise.Unsteady}} {
			got[i] = c.f.Shows(v)
		}
		if got != c.want {
			t.Errorf("%v shows in tune, flat, not measured, unsteady, no degree: %v, want %v", c.f, got, c.want)
		}
		if back, err := ParseFeedback(c.f.String()); err != nil || back != c.f {
			t.Errorf("ParseFeedback(%q) = %v, %v", c.f.String(), back, err)
		}
	}
}

func BenchmarkPractice(b *testing.B) {
	var trials []Trial
	at := time.Date(2026, 1, 1, 8, 0, 0, 0, time.UTC)
	degrees := theory.Key{}.ScaleDegrees()
	pairs := Any.Between(degrees[:])
	keys := theory.Keys()
	for i := range 100_000 {
		trials = append(trials, Trial{At: at.Add(time.Duration(i) * 10 * time.Minute), Skill: pairs[i*31%len(pairs)], Key: keys[i/8%len(keys)], Rating: Rating(1 + i*7%4), Right: i%5 > 0, Feedback: Outside})
	}
	for b.Loop() {
		var p Practice
		for _, t := range trials {
			p.Add(t)
		}
	}
}
