package kept

import (
	"iter"
	"reflect"
	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
	"strings"
	"testing"
	"time"
)

var evening = time.Date(2026, 11, 25, 19, 30, 0, 250e6, time.FixedZone("", 3600))

// sessions is how many there were.
var sessions byte

func session(singer string) practice.Session {
	sessions++
	return NewSession([16]byte{sessions}, singer, "today", "mic", 18446744073709551615, "pitch 3", evening)
}

// equal compares answers; times are compared as instants with their offset.
func equal(t testing.TB, got, want []practice.Answer) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d answers, want %d", len(got), len(want))
	}
	for i := range got {
		g, w := got[i], want[i]
		if g.At.Format(time.RFC3339Nano) != w.At.Format(time.RFC3339Nano) || g.Session.Started.Format(time.RFC3339Nano) != w.Session.Started.Format(time.RFC3339Nano) {
			t.Fatalf("answer %d at %v in a session of %v, want %v, %v", i, g.At, g.Session.Started, w.At, w.Session.Started)
		}
		g.At, g.Session.Started = w.At, w.Session.Started
		if !reflect.DeepEqual(g, w) {
			t.Fatalf("answer %d:\n got %+v\nwant %+v", i, g, w)
		}
	}
}

// each yields answers, and an error behind them if it is one.
func each(list []practice.Answer, err error) iter.Seq2[practice.Answer, error] {
	return func(yield func(practice.Answer, error) bool) {
		for _, a := range list {
			if !yield(a, nil) {
				return
			}
		}
		if err != nil {
			yield(practice.Answer{}, err)
		}
	}
}

// What is taken of each kind of skill, and what it refuses.
func TestAnswersOfEachKind(t *testing.T) {
	four := theory.Degree{Step: 4}
	bass := exercise.Skill{Kind: exercise.BassSkill, Degree: four}
	quality := exercise.Skill{Kind: exercise.QualitySkill, Chord: "m7b5"}
	melody := exercise.Skill{Kind: exercise.MelodySkill, Level: 3}
	degree := exercise.Skill{Kind: exercise.DegreeSkill, Degree: four}
	pair := exercise.Skill{Kind: exercise.PairSkill, From: theory.Degree{Step: 1}, Degree: four, Way: exercise.Up}
	const (
		right, wrong, not = exercise.RightAnswer, exercise.WrongAnswer, exercise.NotMeasured
	)
	for _, c := range []struct {
		skill         exercise.Skill
		outcome       exercise.Outcome
		named         string
		material      string
		notes, rights int
		want          string // "": taken
	}{
		{bass, right, "4", "I V65 IV", 0, 0, ""},
		{bass, wrong, "#4", "", 0, 0, ""},
		{bass, wrong, "", "", 0, 0, ""}, // given up
		{bass, not, "", "", 0, 0, ""},
		{bass, not, "4", "", 0, 0, "named: none belongs to bass 4 that is not_measured"},
		{bass, right, "", "", 0, 0, `named: "" cannot be right for bass 4`},
		{bass, right, "5", "", 0, 0, `named: "5" cannot be right for bass 4`},
		{bass, wrong, "fa", "", 0, 0, `named: "fa" is no name for bass 4`},
		{bass, wrong, "5", "", 4, 1, "notes: none belongs to bass 4"},
		{bass, exercise.InTune, "4", "", 0, 0, "outcome: in_tune for bass 4: want right, wrong or not_measured"},
		{bass, exercise.Ambiguous, "", "", 0, 0, ""}, // sung between two degrees
		{bass, exercise.Ambiguous, "4", "", 0, 0, "named: none belongs to bass 4 that is ambiguous"},
		{quality, right, "m7b5", "iiø7", 0, 0, ""},
		{quality, wrong, "m7", "", 0, 0, ""},
		{quality, wrong, "a m7", "", 0, 0, `named: "a m7" is no name for quality m7b5`},
		{quality, exercise.Ambiguous, "", "", 0, 0, "outcome: ambiguous for quality m7b5"},
		{melody, right, "", "level 3 seed 4711", 12, 12, ""},
		{melody, wrong, "", "", 12, 0, ""},
		{melody, not, "", "level 3 seed 4711", 0, 0, ""},
		{melody, not, "", "", 12, 0, "notes: none belongs to melody 3 that is not_measured"},
		{melody, right, "", "", 0, 0, "notes_right: 0 of notes 0"},
		{melody, wrong, "", "", 4, 5, "notes_right: 5 of notes 4"},
		{melody, wrong, "", "", 4, -1, "notes_right: -1 of notes 4"},
		{melody, wrong, "4", "", 4, 1, "named: none belongs to melody 3"},
		{melody, exercise.Sharp, "", "", 4, 1, "outcome: sharp for melody 3"},
		{melody, right, "", strings.Repeat("x", 400), 4, 4, ""},
		{melody, right, "", strings.Repeat("x", 401), 4, 4, "want one line of at most 400 bytes"},
		{melody, right, "", "two\nlines", 4, 4, "want one line"},
		{degree, exercise.InTune, "", "", 0, 0, ""},
		{degree, right, "", "", 0, 0, "outcome: right for degree 4, which is sung"},
		{degree, exercise.Flat, "4", "", 0, 0, "named: none belongs to degree 4"},
		{degree, exercise.Flat, "", "I", 0, 0, "material: none belongs to degree 4"},
		{pair, wrong, "", "", 0, 0, "outcome: wrong for pair 1-4 up, which is sung"},
		{pair, exercise.Flat, "", "", 4, 1, "notes: none belongs to pair 1-4 up"},
	} {
		k := theory.Keys()[3]
		a := practice.Answer{
			Session: session("Anna"), Number: 1, Index: 1, Attempt: 1, At: evening, Skill: c.skill, Counts: exercise.Verdict{Outcome: c.outcome}.Counts(),
			Item:      exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: four},
			Tolerance: exercise.Tolerance{Cents: 35}, Verdict: exercise.Verdict{Outcome: c.outcome},
			Named: c.named, Material: c.material, Notes: c.notes, NotesRight: c.rights,
		}
		switch {
		case c.outcome == not:
			a.Verdict.Reason = exercise.TooQuiet
		case c.skill.Kind == exercise.MelodySkill:
			a.Verdict.Held = 7.5
		default:
			a.Verdict.Answer = 2.5
		}
		err := Check(a)
		if c.want == "" {
			if err != nil {
				t.Errorf("%v, %v: %v", c.skill, c.outcome, err)
				continue
			}
			rw := NewRow(a)
			got, err := NewReader().Answer(&rw)
			if err != nil {
				t.Errorf("%v, %v, read again: %v", c.skill, c.outcome, err)
				continue
			}
			equal(t, []practice.Answer{got}, []practice.Answer{a})
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, %v, named %q, %d of %d: %v, want %q", c.skill, c.outcome, c.named, c.rights, c.notes, err, c.want)
		}
	}
}

func TestNamesOfSingers(t *testing.T) {
	for _, good := range []string{"Anna", "Zoë, the 2nd \"z\"", "=1+1", strings.Repeat("a", 160)} {
		if err := CheckSinger(good); err != nil {
			t.Error(err)
		}
	}
	for _, bad := range []string{"", " Anna", "Anna ", "An\tna", "An\nna", "\x7f", "An\xffna", strings.Repeat("a", 161)} {
		if err := CheckSinger(bad); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", bad, err)
		}
	}
	a, b := session("Anna"), session("Anna")
	if a.ID == b.ID || len(a.ID) != 32 {
		t.Errorf("sessions %q, %q", a.ID, b.ID)
	}
}
