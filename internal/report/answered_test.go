package report

import (
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/theory"
)

// What is said of answers to I V6/… in C that were named, sung and played.
func TestAnswered(t *testing.T) {
	k := theory.Key{Tonic: theory.Note{Letter: theory.C}}
	chords, err := theory.ParseProgression("I IV V", k)
	if err != nil {
		t.Fatal(err)
	}
	d := compose.Dictation{Of: exercise.BassSkill, Key: k, Chords: chords}
	skill := func(step int) exercise.Skill {
		return exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: step}}
	}
	right, wrong := exercise.RightAnswer, exercise.WrongAnswer
	note := func(o exercise.Outcome, step int, cents float64, octave int, wait float64) grade.BackDegree {
		return grade.BackDegree{Outcome: o, Sung: true, Degree: theory.Degree{Step: step}, Cents: cents, Octave: octave, Wait: wait}
	}
	sung := func(list ...grade.BackDegree) *grade.Back { return &grade.Back{Degrees: list} }
	extra := sung(note(right, 1, 0, 0, 0), note(right, 4, 0.2, 0, 0), note(right, 5, 0, 0, 0))
	extra.Added = []theory.Degree{{Step: 2}}
	quality := compose.Dictation{Of: exercise.QualitySkill, Key: k, Chords: chords[:2]}
	held := func(heard theory.Note, keys ...int) compose.Held {
		h, _ := compose.Recognise(k, heard, keys)
		return h
	}
	maj := exercise.Skill{Kind: exercise.QualitySkill, Chord: "maj"}
	for _, c := range []struct {
		a    Answered
		mark string
		want string
	}{
		{Answered{Dictation: d, Names: []exercise.Skill{skill(1), skill(4), skill(5)}, Outcomes: []exercise.Outcome{right, right, right}}, "right", "do fa sol, right"},
		{Answered{Dictation: d, Names: []exercise.Skill{skill(1), skill(4), skill(5)}, Outcomes: []exercise.Outcome{right, right, right},
			Back: sung(note(right, 1, 4.4, 1, 0), note(right, 4, -12, 1, 1.6), note(right, 5, 0, 2, 0))}, "right",
			"do fa sol, right; sung do +4, fa -12, sol 0 cents; an octave above the bass, sol an octave above the others; hesitated 1.6 s before fa"},
		{Answered{Dictation: d, Names: []exercise.Skill{skill(1), {}, skill(6)}, Outcomes: []exercise.Outcome{right, wrong, wrong},
			Back: sung(note(right, 1, 0, -1, 0), grade.BackDegree{}, note(wrong, 6, 20, 3, 0))}, "wrong",
			"do fa sol, not do - la: 1 of 3 right; sung do 0, -, la +20 cents; an octave below the bass; 1 note too few"},
		{Answered{Dictation: d, Names: []exercise.Skill{skill(1), {}, skill(5)}, Outcomes: []exercise.Outcome{right, exercise.Ambiguous, right},
			Back: sung(note(right, 1, 0, 0, 0), note(exercise.Ambiguous, 4, 48, 0, 0), note(right, 5, 0, 0, 0))}, "right",
			"do fa sol, not do - sol: 2 of 2 right, 1 between two degrees and not decided; sung do 0, fa +48, sol 0 cents"},
		{Answered{Dictation: d, Names: []exercise.Skill{skill(1), skill(4), skill(5)}, Outcomes: []exercise.Outcome{right, right, right}, Back: extra}, "right",
			"do fa sol, right; sung do 0, fa 0, sol 0 cents; 1 note too many: re"},
		{Answered{Dictation: d, Outcomes: []exercise.Outcome{0, 0, 0}, Reason: exercise.TooQuiet, Level: -50, Back: sung()}, "unknown",
			"do fa sol: not measured: too quiet; come nearer to the microphone or turn its level up"},
		{Answered{Dictation: d, Names: []exercise.Skill{skill(1), skill(4), skill(5)}, Outcomes: []exercise.Outcome{right, right, right}, Played: true,
			Back: sung(note(right, 1, 0, 0, 0), note(right, 4, 0, 0, 0), note(right, 5, 0, 0, 0))}, "right", "do fa sol, right; struck do, fa, sol"},
		{Answered{Dictation: d, Outcomes: []exercise.Outcome{0, 0, 0}, Reason: exercise.TooQuiet, Played: true}, "unknown", "do fa sol: nothing was struck, not counted"},
		{Answered{Dictation: quality, Names: []exercise.Skill{maj, {}}, Outcomes: []exercise.Outcome{right, wrong}, Played: true,
			Held: []compose.Held{held(chords[0].Chord.Root, 52, 60, 67, 79), {}}}, "wrong",
			"maj maj, not maj -: 1 of 2 right; struck maj on C, first inversion, open: E3 C4 G4 G5; struck no chord that is asked"},
		{Answered{Dictation: quality, Names: []exercise.Skill{maj, {}}, Outcomes: []exercise.Outcome{right, wrong}, Played: true,
			Held: []compose.Held{held(theory.Note{Letter: theory.B}, 55, 59, 62)}}, "wrong",
			"maj maj, not maj -: 1 of 2 right; struck maj on G, not on C, root position, close: G3 B3 D4; 1 chord too few"},
	} {
		s := Style{ASCII: true}
		if got := strings.Join(append([]string{s.AnsweredHeadline(c.a)}, s.AnsweredDetails(c.a)...), "; "); got != c.want {
			t.Errorf("%s\nwant %s", got, c.want)
		}
		if got := c.a.Mark(); got != c.mark {
			t.Errorf("%s is marked %s, want %s", c.want, got, c.mark)
		}
	}
}
