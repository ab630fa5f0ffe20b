package invented

import (
	"math/rand/v2"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// Answers makes n different answers of a session, with everything that they may
// hold in some of them. The singer is invented.
func Answers(s practice.Session, n int) []practice.Answer {
	rng := rand.New(rand.NewPCG(1, 2))
	keys := theory.Keys()
	tunings := []theory.Tuning{{A4: 440}, {A4: 442, System: theory.Just, SmallRe: true}, {A4: 415.3, System: theory.Pythagorean}}
	var out []practice.Answer
	for i := range n {
		k := keys[rng.IntN(len(keys))]
		degrees := k.ChromaticDegrees()
		it := exercise.Item{Key: k, Tuning: tunings[rng.IntN(3)], Register: exercise.MiddleRegister(k), Asked: degrees[rng.IntN(12)]}
		if rng.IntN(3) > 0 {
			from := degrees[rng.IntN(12)]
			it.From, it.Move = &from, exercise.Direction(rng.IntN(3)-1)
		}
		if rng.IntN(2) > 0 {
			it.Register = exercise.RegisterFor(k, theory.Range{Low: 45, High: 62})
		}
		v := exercise.Verdict{Outcome: exercise.Outcome(rng.IntN(7)), Level: -20 - 10*rng.Float64()}
		if v.Outcome == exercise.NotMeasured {
			v.Reason = exercise.Reason(1 + rng.IntN(5))
		} else {
			v.F0, v.SE, v.Spread, v.FromAsked = 200+rng.Float64(), rng.Float64(), 9*rng.Float64(), 100*rng.Float64()-50
			v.Held, v.Settle, v.Answer, v.Scoop = 2*rng.Float64(), rng.Float64(), 3*rng.Float64(), -60*rng.Float64()
			if rng.IntN(2) > 0 {
				v.VibratoHz, v.VibratoCents = 5.5, 40*rng.Float64()
			}
			v.BySteps = rng.IntN(3) == 0
			if v.Outcome != exercise.Unsteady {
				v.HasSung, v.Sung, v.OctaveShift, v.Cents = true, degrees[rng.IntN(12)], rng.IntN(3)-1, v.FromAsked/3
			}
		}
		if i%7 == 3 {
			out = append(out, OtherAnswer(s, i, it, rng))
			continue
		}
		a := practice.Answer{
			Session: s, Number: i + 1, Index: i + 1, Attempt: 1 + rng.IntN(2), At: s.Started.Add(time.Duration(i+1) * 10 * time.Second),
			Skill: it.Skill(), Item: it, Tolerance: exercise.Tolerance{Cents: 35, StrictOctave: rng.IntN(2) > 0}, Verdict: v,
			Counts: v.Counts(), Again: rng.IntN(4) == 0, Feedback: practice.Feedback(rng.IntN(5)),
		}
		if rng.IntN(4) == 0 {
			a.Guess = []exercise.Outcome{exercise.InTune, exercise.Flat, exercise.Sharp}[rng.IntN(3)]
		}
		out = append(out, a)
	}
	return out
}

// OtherAnswer makes the answer behind i others of a session that is no single sung
// degree.
func OtherAnswer(s practice.Session, i int, it exercise.Item, rng *rand.Rand) practice.Answer {
	it.From, it.Move = nil, exercise.Within
	a := practice.Answer{
		Session: s, Number: i + 1, Index: i + 1, Attempt: 1, At: s.Started.Add(time.Duration(i+1) * 10 * time.Second),
		Item: it, Tolerance: exercise.Tolerance{Cents: 35}, Counts: true, Again: rng.IntN(4) == 0, Feedback: practice.Feedback(rng.IntN(5)),
		Material: "I V6/5 I",
	}
	name := func(asked, other string) {
		a.Verdict = exercise.Verdict{Outcome: exercise.RightAnswer, Answer: 5 * rng.Float64()}
		a.Named = asked
		switch rng.IntN(3) {
		case 0:
			a.Verdict.Outcome, a.Named = exercise.WrongAnswer, other
		case 1:
			a.Verdict.Outcome, a.Named = exercise.WrongAnswer, ""
		}
	}
	switch rng.IntN(3) {
	case 0:
		a.Skill = exercise.Skill{Kind: exercise.BassSkill, Degree: it.Asked}
		name(it.Asked.ASCII(), map[bool]string{true: "5", false: "1"}[it.Asked.Semitones() == 0])
	case 1:
		a.Skill = exercise.Skill{Kind: exercise.QualitySkill, Chord: "m7b5"}
		name("m7b5", "maj")
	case 2:
		a.Skill = exercise.Skill{Kind: exercise.MelodySkill, Level: 1 + rng.IntN(7)}
		a.Material, a.Notes, a.NotesRight = "level 3 seed 4711", 12, rng.IntN(13)
		a.Verdict = exercise.Verdict{Outcome: practice.LineOutcome(a.NotesRight, a.Notes), Held: 9 * rng.Float64(), Level: -20}
	}
	return a
}
