package practice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"singback/exercise"
	"singback/theory"
)

// heardOf makes an answer of an invented singer: so many cents from the degree
// asked, or another degree.
func heardOf(at time.Time, session string, question int, it exercise.Item, cents float64, sung theory.Degree) Entry {
	v := exercise.Verdict{Sung: sung, HasSung: true, Cents: cents, FromAsked: cents, Answer: 1}
	tol := 25.0
	switch {
	case sung != it.Asked:
		v.Outcome = exercise.OtherDegree
	case cents > tol:
		v.Outcome = exercise.Sharp
	case cents < -tol:
		v.Outcome = exercise.Flat
	default:
		v.Outcome = exercise.InTune
	}
	return Entry{At: at, Session: session, Question: question, Skill: it.Skill(), Item: it, Tolerance: tol, Verdict: v}
}

var firstDay = time.Date(2026, 9, 1, 19, 0, 0, 0, time.UTC)

// What is named, melodies and moves sung the other way count for what they are.
func TestProgressOfOtherKinds(t *testing.T) {
	var p Progress
	bass, quality := exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: 4}}, exercise.Skill{Kind: exercise.QualitySkill, Chord: "m7b5"}
	put := func(s exercise.Skill, right bool, name string, notes, good int) {
		o := exercise.WrongAnswer
		if right {
			o = exercise.RightAnswer
		}
		if !p.Add(Entry{At: firstDay, Session: "a", Question: 1, Skill: s, Item: exercise.Item{Asked: s.Degree}, Tolerance: 35,
			Verdict: exercise.Verdict{Outcome: o, Answer: 3}, Named: name, Notes: notes, NotesRight: good}) {
			t.Errorf("%v was left out", s)
		}
	}
	for i := range 12 {
		put(bass, i < 9, map[bool]string{true: "4", false: "6"}[i < 9], 0, 0)
	}
	put(quality, false, "", 0, 0)
	put(exercise.Skill{Kind: exercise.MelodySkill, Level: 2}, true, "", 10, 9)
	put(exercise.Skill{Kind: exercise.MelodySkill, Level: 2}, false, "", 12, 6)
	if got := p.ByName(exercise.BassSkill); len(got) != 1 || got[0].Of != bass || got[0].Answers != 12 || got[0].Right != 9 || got[0].Seconds != 3 || got[0].OnDegree != 0 {
		t.Errorf("bass: %+v", got)
	}
	if got := p.ByName(exercise.QualitySkill); len(got) != 1 || got[0].Of != quality || got[0].Enough() {
		t.Errorf("qualities: %+v", got)
	}
	if got := p.Taken(); len(got) != 3 || got[Taken{bass, "6"}] != 3 || got[Taken{bass, "4"}] != 9 || got[Taken{quality, ""}] != 1 {
		t.Errorf("taken for: %v", got)
	}
	if got := p.ByLevel(); len(got) != 1 || got[0].Level != 2 || got[0].Answers != 2 || got[0].Right != 1 || got[0].Notes != 22 || got[0].NotesRight != 15 {
		t.Errorf("melodies: %+v", got)
	}
	if p.Total().Answers != 0 || len(p.ByDegree())+len(p.ByDay())+len(p.ByKey()) > 0 || p.Answers() != 15 {
		t.Errorf("they count as sung degrees: %+v", p.Total())
	}
	up := exercise.Item{Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 4}, Asked: theory.Degree{Step: 6}, From: &theory.Degree{Step: 1}, Move: exercise.Up}
	sing := func(shift int) {
		h := heardOf(firstDay, "a", 2, up, 3, up.Asked)
		h.Verdict.OctaveShift = shift
		p.Add(h)
	}
	sing(0)
	sing(0)
	sing(-1)
	if got := p.ByPair(); len(got) != 1 || got[0].Answers != 2 || p.Total().Answers != 3 {
		t.Errorf("a move sung the other way counts for the move: %+v", got)
	}
}

// Of four skills one goes worse; the intervals are those of Newcombe at the
// confidence of four comparisons.
func TestWeakest(t *testing.T) {
	var p Progress
	c, _ := theory.ParseKey("C major")
	put := func(skill exercise.Skill, right, wrong int) {
		for i := range right + wrong {
			h := Entry{At: firstDay, Session: "a", Question: i + 1, Skill: skill, Tolerance: 35,
				Item: exercise.Item{Key: c, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 4}, Asked: skill.Degree}, Verdict: exercise.Verdict{Outcome: exercise.InTune}}
			if skill.Kind == exercise.BassSkill {
				h.Verdict.Outcome = exercise.RightAnswer
			}
			if i >= right {
				h.Verdict.Outcome = exercise.OtherDegree
				if skill.Kind == exercise.BassSkill {
					h.Verdict.Outcome = exercise.WrongAnswer
				}
			}
			p.Add(h)
		}
	}
	degree := func(kind exercise.Kind, step int) exercise.Skill {
		return exercise.Skill{Kind: kind, Degree: theory.Degree{Step: step}}
	}
	put(degree(exercise.DegreeSkill, 1), 38, 2)
	put(degree(exercise.DegreeSkill, 4), 10, 20)
	put(degree(exercise.DegreeSkill, 5), 27, 3)
	put(degree(exercise.DegreeSkill, 7), 0, 9)            // too few
	put(degree(exercise.BassSkill, 4), 12, 3)             // nothing of its kind to compare with
	put(exercise.Skill{Kind: exercise.MelodySkill}, 0, 0) // nothing at all
	got, compared := p.Weakest()
	if compared != 3 || len(got) != 1 || got[0].Skill != degree(exercise.DegreeSkill, 4) || got[0].Answers != 30 {
		t.Fatalf("compared %d: %+v", compared, got)
	}
	w, want := got[0], Difference(10, 30, 65, 79, 1-(1-Confidence)/3)
	if math.Abs(w.Share-1./3) > 1e-12 || math.Abs(w.Others-65./79) > 1e-12 || w.Fall != want || want.Low < 0.2 {
		t.Errorf("fa: %+v, want a fall of %+v", w, want)
	}
}

// A small record counted by hand.
func TestProgressByHand(t *testing.T) {
	c, _ := theory.ParseKey("C major")
	do, mi, fa, la := theory.Degree{Step: 1}, theory.Degree{Step: 3}, theory.Degree{Step: 4}, theory.Degree{Step: 6}
	base := exercise.Item{Key: c, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 4}}
	var p Progress
	for i := range 12 { // mi after the key: ten on it from −20 to 25 cents, two fa
		it := base
		it.Asked = mi
		h := heardOf(firstDay.AddDate(0, 0, i/6), fmt.Sprint(i/6), 1+i%6, it, float64(5*i-20), mi)
		h.Verdict.Answer = float64(i)
		if i >= 10 {
			h = heardOf(firstDay.AddDate(0, 0, 1), "1", 11+i, it, 3, fa)
			h.Verdict.Answer = float64(i)
		}
		if !p.Add(h) {
			t.Fatal("not added")
		}
	}
	pair := base
	pair.Asked, pair.From, pair.Move = la, &do, exercise.Down
	for range 9 {
		p.Add(heardOf(firstDay.AddDate(0, 0, 2), "2", 1, pair, 30, la))
	}
	undecided := heardOf(firstDay, "2", 1, pair, 0, la)
	undecided.Verdict.Outcome = exercise.Ambiguous
	other := heardOf(firstDay, "2", 1, pair, 0, la)
	other.Skill = exercise.Skill{Kind: exercise.KeySkill}
	moving := heardOf(firstDay, "2", 1, pair, 0, la)
	moving.Verdict.Outcome, moving.Verdict.HasSung = exercise.Unsteady, false
	if p.Add(undecided) || p.Add(other) || p.Add(moving) {
		t.Error("an answer that counts for nothing was counted")
	}
	degrees := p.ByDegree()
	if len(degrees) != 2 || degrees[0].Of != mi || degrees[1].Of != la {
		t.Fatalf("degrees %+v", degrees)
	}
	m := degrees[0].Stats
	if m.Answers != 12 || m.Right != 10 || m.OnDegree != 10 || m.Share != Share(10, 12, 0.95) || m.Seconds != 5.5 {
		t.Errorf("mi: %+v", m)
	}
	if m.Cents != (Estimate{2.5, -15, 20}) {
		t.Errorf("cents of mi: %+v, want the middle and the second from either end", m.Cents)
	}
	near(t, "spread", m.Spread, 15.1383, 0.0001) // √(25·(10²−1)/12·10/9)
	if l := degrees[1].Stats; l.Answers != 9 || l.Right != 0 || l.Enough() || l.Tuned() || l.Share != (Estimate{}) || l.Cents != (Estimate{}) {
		t.Errorf("la, nine answers: %+v, want nothing but the number", l)
	}
	if pairs := p.ByPair(); len(pairs) != 1 || pairs[0].Of.String() != "pair 1-6 down" || pairs[0].Answers != 9 {
		t.Errorf("pairs %+v", pairs)
	}
	if days := p.ByDay(); len(days) != 3 || days[0].Of != "2026-09-01" || days[1].Answers != 6 || p.Sessions() != 3 {
		t.Errorf("days %+v, sessions %d", days, p.Sessions())
	}
	if n := p.Confused()[Confusion{mi, fa}]; n != 2 || len(p.Confused()) != 3 {
		t.Errorf("confusions %v", p.Confused())
	}
	// E4 is 64 and A3 is 57: half octaves 10 and 9.
	if r := p.ByRegister(); len(r) != 2 || r[0].Of != 9 || r[0].Answers != 9 || r[1].Of != 10 {
		t.Errorf("registers %+v", r)
	}
	if q := p.ByQuestion(); len(q) != 2 || q[0].Of != 0 || q[0].Answers != 19 || q[1].Of != 2 {
		t.Errorf("questions %+v", q)
	}
	if total := p.Total(); total.Answers != 21 || total.Right != 10 {
		t.Errorf("total %+v", total)
	}
}

// An answer an octave below belongs to the register in which it was sung, and a
// wrong degree across the octave's border to that of the note asked.
func TestProgressRegister(t *testing.T) {
	c, _ := theory.ParseKey("C major")
	it := exercise.Item{Key: c, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 4}, Asked: theory.Degree{Step: 7}} // B4, 71
	ti, do := theory.Degree{Step: 7}, theory.Degree{Step: 1}
	for _, test := range []struct {
		sung  theory.Degree
		shift int
		want  int
	}{{ti, 0, 11}, {ti, -1, 9}, {do, 1, 11}, {do, 0, 9}} { // do C5 is near B4, do C4 near B3
		v := exercise.Verdict{HasSung: true, Sung: test.sung, OctaveShift: test.shift}
		if got := registerOf(it, v); got != test.want {
			t.Errorf("ti asked, %v sung, %d octaves: half octave %d, want %d", test.sung, test.shift, got, test.want)
		}
	}
}

// An invented singer who learns la, and not mi, and whose voice sinks by half a cent a
// question: progress says all of that. Tolerance changes in between are no
// progress.
func TestProgressFindsWhatIsThere(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	c, _ := theory.ParseKey("C major")
	var p Progress
	for s := range 40 {
		for q := range 10 {
			it := exercise.Item{Key: c, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 4}, Asked: theory.Degree{Step: 3}}
			sung := it.Asked
			if q%2 == 0 {
				it.Asked = theory.Degree{Step: 6}
				sung = it.Asked
				if rng.Float64() < 0.6-float64(s)*0.015 {
					sung = theory.Degree{Step: 5}
				}
			}
			cents := 4*rng.NormFloat64() - 0.5*float64(q) + float64(s)/10
			if q == 9 { // a fourth, only at the end, and always sharp: no drift
				it.Asked, cents = theory.Degree{Step: 4}, cents+20
				sung = it.Asked
			}
			h := heardOf(firstDay.AddDate(0, 0, s), fmt.Sprint(s), q+1, it, cents, sung)
			if s < 20 { // judged strictly at first: 5 cents
				h.Tolerance = 5
				if h.Verdict.Outcome == exercise.InTune && (cents > 5 || cents < -5) {
					h.Verdict.Outcome = exercise.Sharp
				}
			}
			p.Add(h)
		}
	}
	changes := p.Changes()
	if len(changes) != 3 {
		t.Fatalf("%d changes", len(changes))
	}
	mi, la := changes[0], changes[2]
	if mi.Better() || mi.Worse() || mi.Answers != 50 || mi.Tolerance != 25 {
		t.Errorf("mi: %+v", mi)
	}
	if !la.Better() || la.Worse() || la.Since.Format(time.DateOnly) != "2026-09-10" || la.From.Format(time.DateOnly) != "2026-10-01" {
		t.Errorf("la: %+v", la)
	}
	drift, n, ok := p.Drift()
	if !ok || n < 250 || drift.Low > -0.5 || drift.High < -0.5 || drift.High > 0 {
		t.Errorf("drift %+v of %d answers, want −0.5", drift, n)
	}
	if least, most := p.Tolerances(); least != 5 || most != 25 {
		t.Errorf("tolerances %g to %g", least, most)
	}
}

// Singers who do not change are hardly ever told of a change, though many things
// are compared.
func TestProgressClaimsNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	c, _ := theory.ParseKey("C major")
	told := 0
	const singers = 200
	for range singers {
		var p Progress
		for i := range 12 * 40 {
			it := exercise.Item{Key: c, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 4}, Asked: c.ChromaticDegrees()[i%12]}
			cents := 0.0
			if rng.Float64() < 0.3 {
				cents = 40
			}
			p.Add(heardOf(firstDay, "s", i+1, it, cents, it.Asked))
		}
		for _, ch := range p.Changes() {
			if ch.Better() || ch.Worse() {
				told++
				break
			}
		}
	}
	if told > singers/10 {
		t.Errorf("%d of %d singers who stayed the same were told of a change, want about 5 in 100 at most", told, singers)
	}
}

func TestProgressEmpty(t *testing.T) {
	var p Progress
	if _, _, ok := p.Span(); ok || p.Total().Answers != 0 || len(p.ByDegree()) != 0 || len(p.Changes()) != 0 {
		t.Error("the empty progress has something in it")
	}
	if _, _, ok := p.Drift(); ok {
		t.Error("the empty progress drifts")
	}
}
