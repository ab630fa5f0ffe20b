package course

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// The built-in course follows the order of the textbooks: the tonic triad, then
// re and la, then fa and ti, then below and above, minor, fi and te, the rest of
// the chromatic scale; steps before skips, skips in the tonic triad before those
// in V7 and IV, then any (common practice of teaching movable do).
func TestBuiltInFollowsTheTeachingOrder(t *testing.T) {
	c := BuiltIn()
	first := map[string]int{}
	n := 0
	for _, stage := range c.Stages {
		for _, s := range stage.Skills {
			n++
			if _, ok := first[s.String()]; !ok {
				first[s.String()] = n
			}
		}
		if len(stage.Keys) != 12 {
			t.Errorf("%s: %d keys, want 12", stage.Name, len(stage.Keys))
		}
	}
	order := []string{
		"degree 1", "degree 3", "degree 5", "pair 1-5 down", "degree 2", "degree 6", "pair 1-2 up", "degree 4", "degree 7", "pair 3-4 up",
		"pair 1-7 down", "pair 1-6 down", "degree b3", "degree b6", "degree b7", "chromatic #4", "chromatic b7", "pair 5-2 down", "pair 3-6 up", "chromatic #1", "chromatic b5", "pair 1-#1 up",
	}
	for i, s := range order {
		if first[s] == 0 {
			t.Errorf("%s is not in the course", s)
		}
		if i > 0 && s != "pair 1-#1 up" && s != "pair 1-7 down" && s != "pair 1-6 down" && first[s] < first[order[i-1]] {
			t.Errorf("%s comes before %s", s, order[i-1])
		}
	}
	scale, chromatic := theory.Key{}.ScaleDegrees(), theory.Key{}.ChromaticDegrees()
	for _, s := range append(practice.Any.Between(scale[:]), practice.Any.Between(chromatic[:])...) {
		if first[s.String()] == 0 {
			t.Errorf("%v is not in the course: all 42 and all 132 pairs should be", s)
		}
	}
}

// The built-in course, practised for a year by a quick learner, opens all its
// stages.
func TestBuiltInCanBeFinished(t *testing.T) {
	c := BuiltIn()
	var p practice.Practice
	rng := rand.New(rand.NewPCG(1, 1))
	start := time.Date(2026, 1, 1, 19, 0, 0, 0, time.UTC)
	for day := range 365 {
		at := start.AddDate(0, 0, day)
		s, err := practice.NewSitting(&p, c, practice.SittingOptions{Start: at, Minutes: c.Minutes, Sung: practice.DefaultSung, Seed: uint64(day)})
		if err != nil {
			t.Fatal(err)
		}
		for seconds := 0.0; ; seconds += 12 { // a melody takes a minute
			q, ok := s.Next(seconds)
			if !ok {
				break
			}
			if q.Skill.Kind == exercise.MelodySkill {
				seconds += 48
			}
			right, g := rng.Float64() < 0.93, practice.Good
			if !right {
				g = practice.Again
			}
			s.Add(practice.Trial{At: at.Add(time.Duration(seconds * 1e9)), Skill: q.Skill, Key: q.Key, Rating: g, Right: right, Feedback: q.Feedback, Sung: 2})
		}
		if c.Standing(&p, nil).Stage == len(c.Stages)-1 {
			t.Logf("the last stage opens on day %d", day+1)
			return
		}
	}
	t.Errorf("after a year the singer is in stage %d of %d", c.Standing(&p, nil).Stage+1, len(c.Stages))
}

// Singers who answer right so often, with days off, a slump and a long absence,
// practise the built-in course: no stage closes again, whatever can be asked, new
// things go on coming to those who earn them, and what has slipped is told.
func TestStagesNeverGoBack(t *testing.T) {
	c := BuiltIn()
	noHearing := func(s exercise.Skill) bool { return !s.Kind.Heard() }
	daily := func(int) bool { return true }
	for _, singer := range []struct {
		name    string
		share   func(day int) float64
		sings   func(day int) bool
		days    int
		stage   int // reached at the end, at least
		dry     int // days of practice in a row without anything new, at most
		review  bool
		hearing func(day int) bool
	}{
		{"79 %", func(int) float64 { return 0.79 }, daily, 40, 8, 4, true, daily},
		{"95 %", func(int) float64 { return 0.95 }, daily, 40, 9, 0, false, daily},
		{"60 %", func(int) float64 { return 0.6 }, daily, 60, 3, 25, true, daily},
		{"85 %, not at weekends", func(int) float64 { return 0.85 }, func(d int) bool { return d%7 < 5 }, 56, 8, 3, true, daily},
		{"90 %, and a week of 40 %", func(d int) float64 {
			if d >= 20 && d < 27 {
				return 0.4
			}
			return 0.9
		}, daily, 40, 8, 12, true, daily},
		{"85 %, four months away", func(int) float64 { return 0.85 }, func(d int) bool { return d < 20 || d >= 140 }, 160, 8, 3, true, daily},
		{"85 %, at a keyboard on every third day", func(int) float64 { return 0.85 }, daily, 40, 8, 4, true, func(d int) bool { return d%3 == 0 }},
	} {
		for seed := range uint64(2) {
			var p practice.Practice
			rng := rand.New(rand.NewPCG(seed, 77))
			start := time.Date(2026, 1, 1, 19, 0, 0, 0, time.UTC)
			best, dry, driest := 0, 0, 0
			reviewed := 0
			var stages []int
			for day := range singer.days {
				if !singer.sings(day) {
					continue
				}
				var asks func(exercise.Skill) bool
				if !singer.hearing(day) {
					asks = noHearing
				}
				at := start.AddDate(0, 0, day)
				s, err := practice.NewSitting(&p, c, practice.SittingOptions{Start: at, Minutes: c.Minutes, Sung: practice.DefaultSung, Seed: uint64(day), Asks: asks})
				if err != nil {
					t.Fatal(err)
				}
				if got := s.Standing().Stage; got < best {
					t.Errorf("%s, seed %d: day %d begins in stage %d, after %d", singer.name, seed, day+1, got+1, best+1)
				}
				fresh := 0
				for seconds := 0.0; ; seconds += 12 {
					q, ok := s.Next(seconds)
					if !ok {
						break
					}
					if q.New {
						fresh++
					}
					if q.Skill.Kind == exercise.MelodySkill {
						seconds += 48
					}
					right, g := rng.Float64() < singer.share(day), practice.Good
					if !right {
						g = practice.Again
					}
					s.Add(practice.Trial{At: at.Add(time.Duration(seconds * 1e9)), Skill: q.Skill, Key: q.Key, Rating: g, Right: right, Feedback: q.Feedback, Sung: 2})
				}
				now := s.Standing()
				if now.Stage < best {
					t.Errorf("%s, seed %d: day %d ends in stage %d, after %d", singer.name, seed, day+1, now.Stage+1, best+1)
				}
				best = max(best, now.Stage)
				if len(now.Review) > 0 {
					reviewed++
				}
				if dry++; fresh > 0 {
					dry = 0
				}
				driest = max(driest, dry)
				stages = append(stages, now.Stage+1)
			}
			t.Logf("%s, seed %d: stages %v; at most %d days without a new thing; something in review on %d days", singer.name, seed, stages, driest, reviewed)
			if best+1 < singer.stage || driest > singer.dry || singer.review && reviewed == 0 {
				t.Errorf("%s, seed %d: stage %d, want %d; %d days without a new thing, want at most %d; in review on %d days",
					singer.name, seed, best+1, singer.stage, driest, singer.dry, reviewed)
			}
		}
	}
}

func TestRead(t *testing.T) {
	c, err := Read([]byte(`
name = "Two\u001b weeks\u202e" # a comment, and what no terminal may get
minutes = 5.5
[[stage]]
name = 'first'
keys = ["Ab major", # black keys first
  'f#m']
degrees = "do, mi 5"
series = ["sol, do re ti,", "do mi", "sol"]
bass = "do fa"
qualities = "maj m7b5"
melodies = [1, 3]
tolerance = 20
set_every = 4
goal = { right = 95, of = 10, days = 1 }
[[stage]]
degrees = "la"
melodies = 2
goal.keys = 3
`))
	if err != nil {
		t.Fatal(err)
	}
	var skills []string
	for _, s := range c.Stages[0].Skills {
		skills = append(skills, s.String())
	}
	if want := []string{"degree 1", "degree 3", "degree 5", "pair 5-1 up", "pair 1-2 up", "pair 2-7 down", "pair 1-3 up",
		"bass 1", "bass 4", "quality maj", "quality m7b5", "melody 1", "melody 3"}; !slices.Equal(skills, want) {
		t.Errorf("skills %v, want %v", skills, want)
	}
	if got, want := fmt.Sprint(c.Stages[0].Chains), "[[degree 5 pair 5-1 up pair 1-2 up pair 2-7 down] [degree 1 pair 1-3 up]]"; got != want {
		t.Errorf("series %s, want %s", got, want)
	}
	got := fmt.Sprintln(c.Name, c.Minutes, c.New, c.Stages[0].Name, c.Stages[0].Keys, c.Stages[0].Tolerance, c.Stages[0].Series, c.Stages[0].Goal, len(c.Stages[1].Keys), c.Stages[1].Tolerance, c.Stages[1].Series, c.Stages[1].Goal)
	if want := "Two weeks 5.5 3 first [A♭ major F♯ minor] 20 4 {0.95 10 1 2} 12 35 8 {0.8 20 2 3}\n"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Each mistake is told with its line, its column and the word.
func TestMistakesAreFound(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"[[stage]]\ndegrees = \"do mi soul\"\n", `line 2, column 18, "soul": `},
		{"[[stage]]\ndegrees = \"\"\"do\nmi\nxy\"\"\"\n", `line 4, column 1, "xy": `},
		{"[[stage]]\nkeys = [\"C major\", \"H major\"]\ndegrees = \"do\"\n", `line 2, column 20, "H major": `},
		{"[[stage]]\nkeys = 5\ndegrees = \"do\"\n", `line 2, column 8, "5": keys wants`},
		{"[[stage]]\nkeys = []\ndegrees = \"do\"\n", `line 2, column 1: keys is empty`},
		{"[[stage]]\ndegrees = \"do\"\ntolerence = 30\n", `line 3, column 1, "tolerence": no such key in [[stage]]: want name, keys`},
		{"[[stage]]\ndegrees = \"do\"\ntolerance = 60\n", `line 3, column 13, "60": tolerance is out of range: want 5 to 50`},
		{"[[stage]]\ndegrees = \"do\"\ntolerance = \"30\"\n", `line 3, column 13, "30": tolerance wants a number`},
		{"[[stage]]\ndegrees = \"do\"\nset_every = 2.5\n", `line 3, column 13, "2.5": set_every wants a whole number`},
		{"[[stage]]\ndegrees = \"do mi\"\nmoves = \"steps leaps\"\n", `line 3, column 16, "leaps": no such moves: want steps, triad, chords, any`},
		{"[[stage]]\nseries = [\"do re\", \"do' do, mi'\", \"sol sul\"]\n", `line 2, column 20, "do' do, mi'": from do to mi is more than an octave`},
		{"[[stage]]\nseries = [\"sol sul\"]\n", `line 2, column 11, "sol sul": `},
		{"[[stage]]\nname = \"empty\"\n", `line 1, column 3, "stage": there is nothing to practise in it`},
		{"[[stage]]\nbass = \"do xa\"\n", `line 2, column 12, "xa": `},
		{"[[stage]]\nqualities = \"maj xyz\"\n", `line 2, column 18, "xyz": `},
		{"[[stage]]\nmelodies = 8\n", `line 2, column 12, "8": a level of melodies wants a whole number from 1 to 7`},
		{"[[stage]]\nmelodies = [1, \"2\"]\n", `line 2, column 16, "2": a level of melodies wants a whole number from 1 to 7`},
		{"name = \"none\"\n", `line 2, column 1: there is no [[stage]]`},
		{"", `line 1, column 1: there is no [[stage]]`},
		{"[stage]\ndegrees = \"do\"\n", `line 1, column 2, "stage": a stage begins with [[stage]]`},
		{"[[stages]]\ndegrees = \"do\"\n", `line 1, column 3, "stages": no such table`},
		{"[[stage]]\ndegrees = \"do\"\n[stage.goal]\nright = 0\n", `line 4, column 9, "0": right is out of range: want 1 to 100`},
		{"[[stage]]\ndegrees = \"do\"\nkeys = [\"C\"]\ngoal = { keys = 2 }\n", `line 4, column 17, "2": keys is out of range: want 1 to 1`},
		{"[[stage]]\ndegrees = \"do\"\ngoal = { of = 2, days = 3 }\n", `line 3, column 25, "3": more days than the 2 answers of the goal`},
		{"[[stage]]\ndegrees = \"do\"\ngoal = { write = 2 }\n", `line 3, column 10, "write": no such key in goal: want right, of, days, keys`},
		{"minutes = 99\n[[stage]]\ndegrees = \"do\"\n", `line 1, column 11, "99": minutes is out of range: want 1 to 30`},
		{"[[stage]]\ndegrees = \"do\"\ndegrees = \"re\"\n", `line 3, column 1: `},
		{"[[stage]]\ndegrees = do\n", `line 2, column 11: `},
		{"[[stage]\n", `line 1, column 8: `},
		{"é = 1\n", `line 1, column 1: `},
	} {
		_, err := Read([]byte(c.text))
		var e *Error
		if !errors.As(err, &e) || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || len(err.Error()) > 300 {
			t.Errorf("%q:\n got %v\nwant %s", c.text, err, c.want)
		}
	}
	if _, err := Read(make([]byte, MaxSize+1)); err == nil {
		t.Error("a file that is too large was read")
	}
}

// No file is a panic, and what is read is a valid course.
func FuzzRead(f *testing.F) {
	f.Add(Text)
	f.Add([]byte("[[stage]]\nkeys = [\"C major\", 'f#m']\ndegrees = \"do mi\"\nseries = [\"sol, do\"]\ngoal = { right = 90 }\n"))
	f.Add([]byte("[[stage]]\ndegrees = \"\"\"do\\\n mi\"\"\"\ngoal.keys = 1\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(data)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Line < 1 || e.Column < 1 || e.Line > 1+strings.Count(string(data), "\n") || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q: %v", data, err)
			}
			return
		}
		if err := c.Validate(); err != nil {
			t.Fatal(err)
		}
	})
}
