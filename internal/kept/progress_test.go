package kept

import (
	"errors"
	"fmt"
	"reflect"
	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/testkit/invented"
	"singback/theory"
	"slices"
	"testing"
)

// What an answer is to practice follows from the kind of its skill.
func TestTrials(t *testing.T) {
	k := theory.Keys()[3]
	a := practice.Answer{Session: session("Anna"), At: evening, Item: exercise.Item{Key: k, Asked: theory.Degree{Step: 4}}, Counts: true, Feedback: practice.Blind}
	trial := func(s exercise.Skill, change func(*practice.Answer)) (practice.Trial, bool) {
		a := a
		a.Skill = s
		change(&a)
		return a.Trial()
	}
	planned := func(t practice.Trial) practice.Trial {
		t.Planned = true // session is one of today
		return t
	}
	bass := exercise.Skill{Kind: exercise.BassSkill, Degree: a.Item.Asked}
	got, ok := trial(bass, func(a *practice.Answer) { a.Verdict.Outcome, a.Verdict.Answer = exercise.RightAnswer, 4 })
	if want := planned(practice.NewNamedTrial(evening, k, bass, true, 4, false, practice.Blind)); got != want || !ok || !got.Right {
		t.Errorf("named right: %+v, %v", got, ok)
	}
	got, ok = trial(bass, func(a *practice.Answer) { a.Verdict.Outcome, a.Again = exercise.WrongAnswer, true })
	if want := planned(practice.NewNamedTrial(evening, k, bass, false, 0, true, practice.Blind)); got != want || !ok || got.Rating != practice.Again {
		t.Errorf("named wrong: %+v, %v", got, ok)
	}
	got, ok = trial(bass, func(a *practice.Answer) { a.Verdict.Reason, a.Counts = exercise.TooQuiet, false })
	if ok || got.Rating != practice.Undecided {
		t.Errorf("not measured: %+v, %v", got, ok)
	}
	melody := exercise.Skill{Kind: exercise.MelodySkill, Level: 3}
	line := func(a *practice.Answer) {
		a.Verdict.Outcome, a.Verdict.Held, a.Notes, a.NotesRight = exercise.RightAnswer, 9, 10, 9
	}
	got, ok = trial(melody, line)
	if want := planned(practice.NewLineTrial(evening, k, 3, 9, 10, 9, false, practice.Blind)); got != want || !ok || got.Rating != practice.Good {
		t.Errorf("a line: %+v, %v", got, ok)
	}
	if _, ok := trial(melody, func(a *practice.Answer) { line(a); a.Session.Command = "echo" }); ok {
		t.Error("an echo became a trial")
	}
	got, ok = trial(exercise.Skill{Kind: exercise.DegreeSkill, Degree: a.Item.Asked}, func(a *practice.Answer) {
		a.Verdict.Outcome, a.Verdict.HasSung, a.Verdict.Sung = exercise.InTune, true, a.Item.Asked
	})
	if !ok || !got.Right || got.Skill.Kind != exercise.DegreeSkill || !got.Octave.Known || !got.Planned {
		t.Errorf("a degree: %+v, %v", got, ok)
	}
	got, ok = trial(got.Skill, func(a *practice.Answer) {
		a.Session.Command, a.Verdict.Outcome = "sing", exercise.Unsteady // no degree, as older versions counted it
	})
	if !ok || got.Planned || got.Rating != practice.Undecided {
		t.Errorf("sung without a sitting, no degree: %+v, %v", got, ok)
	}
}

// What is worked out rests on the answers of the singer that count, from the day on and
// in the key that are asked for; what is due rests on all days and keys.
func TestWorkedOut(t *testing.T) {
	first, second := session("Anna"), session("Anna")
	second.Started, second.Source = evening.AddDate(0, 0, 3), "simulated"
	anna := append(invented.Answers(first, 200), invented.Answers(second, 100)...)
	all := append(slices.Clone(anna), invented.Answers(session("Ben"), 50)...)
	broken := fmt.Errorf("line 7: %w", ErrAnswer)
	trials := func(p *practice.Practice) (n int) {
		p.Skills(func(_ exercise.Skill, m practice.Memory) { n += m.Answers })
		return n
	}
	var want practice.Practice
	for _, a := range anna {
		if tr, ok := a.Trial(); ok && a.Counts {
			want.Add(tr)
		}
	}
	p, skipped, err := PracticeOf(each(all, broken), "Anna")
	if err != nil || skipped != 1 || trials(p) != trials(&want) || trials(p) < 150 {
		t.Errorf("practice: %d answers, %d skipped, %v; want %d and 1", trials(p), skipped, err, trials(&want))
	}
	if p, _, _ := PracticeOf(each(all, nil), ""); trials(p) <= trials(&want) {
		t.Errorf("of all singers %d answers, of Anna %d", trials(p), trials(&want))
	}
	entries := func(keep func(practice.Answer) bool) (p practice.Progress, simulated int) {
		for _, a := range anna {
			if !a.Counts || !keep(a) {
				continue
			}
			added := p.Add(practice.Entry{
				At: a.At, Session: a.Session.ID, Question: a.Index, Skill: a.Skill, Item: a.Item,
				Tolerance: a.Tolerance.Cents, Verdict: a.Verdict, Named: a.Named, Notes: a.Notes, NotesRight: a.NotesRight,
			})
			if added && a.Session.Source == "simulated" {
				simulated++
			}
		}
		return p, simulated
	}
	k := anna[0].Item.Key
	for name, c := range map[string]struct {
		of   ProgressQuery
		keep func(practice.Answer) bool
	}{
		"all":       {ProgressQuery{Singer: "Anna"}, func(practice.Answer) bool { return true }},
		"of a day":  {ProgressQuery{Singer: "Anna", Since: "2026-11-26"}, func(a practice.Answer) bool { return a.Session.ID == second.ID }},
		"of a key":  {ProgressQuery{Singer: "Anna", Key: &k}, func(a practice.Answer) bool { return a.Item.Key == k }},
		"of no day": {ProgressQuery{Singer: "Anna", Since: "2027-01-01"}, func(practice.Answer) bool { return false }},
	} {
		got, err := ProgressOf(each(all, broken), c.of)
		want, simulated := entries(c.keep)
		if err != nil || got.Skipped != 1 || got.Simulated != simulated || !reflect.DeepEqual(got.Progress, &want) || trials(got.Practice) != trials(p) {
			t.Errorf("%s: %d skipped, %d simulated, practice of %d, %v; want 1, %d, %d", name, got.Skipped, got.Simulated, trials(got.Practice), err, simulated, trials(p))
		}
	}
	if _, err := ProgressOf(each(nil, nil), ProgressQuery{Since: "yesterday"}); err == nil {
		t.Error("yesterday was taken for a day")
	}
	gone := errors.New("the disk has gone")
	if _, err := ProgressOf(each(anna, gone), ProgressQuery{}); !errors.Is(err, gone) {
		t.Errorf("%v", err)
	}
	if _, _, err := PracticeOf(each(anna, gone), ""); !errors.Is(err, gone) {
		t.Errorf("%v", err)
	}
}

func BenchmarkProgressOf(b *testing.B) {
	list := read(b, many(b, CSV, 20_000))
	for b.Loop() {
		if _, err := ProgressOf(each(list, nil), ProgressQuery{}); err != nil {
			b.Fatal(err)
		}
	}
}
