// Package invented makes the answers of singers who do not exist, for tests of what
// is said about progress.
package invented

import (
	"fmt"
	"math/rand/v2"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// Sung makes the progress of an invented singer who sits down on so many
// days for 14 questions, learns la, and sings mi from sol too low.
func Sung(days int) *practice.Progress {
	rng := rand.New(rand.NewPCG(1, 2))
	keys := []theory.Key{
		{Tonic: theory.Note{Letter: theory.A, Alter: -1}, Mode: theory.Major},
		{Tonic: theory.Note{Letter: theory.F}, Mode: theory.Major},
	}
	do, mi, sol, la := theory.Degree{Step: 1}, theory.Degree{Step: 3}, theory.Degree{Step: 5}, theory.Degree{Step: 6}
	start := time.Date(2026, 9, 1, 19, 30, 0, 0, time.FixedZone("", 7200))
	p := &practice.Progress{}
	for d := range days {
		k := keys[d%2]
		for q := range 14 {
			it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: do}
			v := exercise.Verdict{HasSung: true, Cents: 8 * rng.NormFloat64(), Answer: 0.5 + rng.Float64()}
			right := 0.95
			switch q % 3 {
			case 1:
				it.Asked, right = la, 0.3+0.6*float64(d)/float64(days)
			case 2:
				it.Asked, it.From, it.Move = mi, &sol, exercise.Down
				v.Cents -= 20
			}
			v.Sung, v.Outcome = it.Asked, exercise.InTune
			switch {
			case rng.Float64() > right && q == 4:
				v.Outcome = exercise.Unsteady
			case rng.Float64() > right:
				v.Outcome, v.Sung = exercise.OtherDegree, sol
			case v.Cents < -35:
				v.Outcome = exercise.Flat
			case v.Cents > 35:
				v.Outcome = exercise.Sharp
			}
			p.Add(practice.Entry{At: start.AddDate(0, 0, d), Session: fmt.Sprint(d), Question: q + 1, Skill: it.Skill(), Item: it, Tolerance: 35, Verdict: v})
		}
	}
	return p
}

// Heard adds to a progress what an invented singer has named, and melodies:
// fa in the bass is taken for la, m7b5 is named by chance.
func Heard(p *practice.Progress) *practice.Progress {
	rng := rand.New(rand.NewPCG(3, 4))
	at := time.Date(2026, 10, 11, 19, 30, 0, 0, time.FixedZone("", 7200))
	put := func(skill exercise.Skill, right bool, named string, notes, good int) {
		v := exercise.Verdict{Outcome: exercise.WrongAnswer, Answer: 2 + rng.Float64()}
		if right {
			v.Outcome = exercise.RightAnswer
		}
		item := exercise.Item{Asked: theory.Degree{Step: 1}}
		p.Add(practice.Entry{At: at, Session: "last", Question: 1, Skill: skill, Item: item, Tolerance: 35, Verdict: v, Named: named, Notes: notes, NotesRight: good})
	}
	for i := range 40 {
		for _, step := range []int{1, 4, 5} {
			name := fmt.Sprint(step)
			if step == 4 && i%2 == 0 {
				name = "6"
			}
			put(exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: step}}, name == fmt.Sprint(step), name, 0, 0)
		}
		for j, q := range []string{"m7b5", "maj"} {
			name := q
			if j == 0 && i%4 > 0 {
				name = []string{"", "dim7", "m7"}[i%4-1]
			}
			put(exercise.Skill{Kind: exercise.QualitySkill, Chord: q}, name == q, name, 0, 0)
		}
	}
	for i := range 14 {
		put(exercise.Skill{Kind: exercise.MelodySkill, Level: 1 + i%7/6}, i%3 > 0, "", 10, 6+i%3*2)
	}
	return p
}
