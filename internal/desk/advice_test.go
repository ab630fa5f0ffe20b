package desk

import (
	"testing"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/sheet"
	"singback/theory"
)

// everyAdvice is every piece of advice that there is: all namings, all keys of major and
// minor and church modes on C, all degrees and moves between neighbours, all voices.
func everyAdvice(t testing.TB) (out []sheet.Advice) {
	t.Helper()
	var keys []theory.Key
	keys = append(keys, theory.Keys()...)
	for _, mode := range []string{"D dorian", "E phrygian", "F lydian", "G mixolydian"} {
		k, err := theory.ParseModalKey(mode)
		if err != nil {
			t.Fatal(err)
		}
		keys = append(keys, k)
	}
	voices := []string{""}
	voices = append(voices, exercise.Voices()...)
	for i, k := range keys {
		for _, names := range theory.Namings() {
			tally := class.Tally{Degrees: map[theory.Degree]class.Count{}, Moves: map[class.Move]class.Count{}}
			g := grade.Grading{Hesitations: []int{1}, Pace: 1, Unsteady: 0.5, Drift: 80}
			degrees := k.ChromaticDegrees()
			for j, d := range degrees {
				tally.Degrees[d] = class.Count{Right: 1, Of: 5}
				tally.Moves[class.Move{From: degrees[(j+5)%12], To: d}] = class.Count{Right: 1, Of: 5}
				g.Degrees = append(g.Degrees, grade.DegreeTuning{Degree: d, Notes: 4, Mean: 30})
			}
			g.Notes = make([]grade.Note, driftLeast)
			known := known{who: class.Student{Voice: voices[i%len(voices)]}, newest: &classfile.Row{TaskName: "x"}, tally: tally,
				marked: Marked{Grading: g, Line: Line{Line: grade.Line{Key: k, Degrees: []theory.Degree{{Step: 1}}}, Names: names}}}
			for _, list := range [][]drilled{known.weakDegrees(), known.weakMoves(), known.ofTake()} {
				for _, e := range list {
					out = append(out, e.advice())
				}
			}
		}
	}
	return append(append(out, (&known{}).practise()...), ofRecord(t, keys)...)
}

// ofRecord is what is advised of records of practice, and of melodies that were not passed.
func ofRecord(t testing.TB, keys []theory.Key) (out []sheet.Advice) {
	home, fi := theory.Degree{Step: 1}, theory.Degree{Step: 4, Alter: 1}
	known := known{who: class.Student{Voice: "tenor"}}
	for _, skill := range []exercise.Skill{
		{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}}, {Kind: exercise.ChromaticSkill, Degree: fi}, {Kind: exercise.PairSkill, Degree: theory.Degree{Step: 6}, From: home},
		{Kind: exercise.MelodySkill, Level: 3}, {Kind: exercise.BassSkill, Degree: theory.Degree{Step: 4}}, {Kind: exercise.QualitySkill, Chord: "m7b5"},
	} {
		for range 12 {
			known.answers = append(known.answers, practice.Answer{Skill: skill, Counts: true})
		}
	}
	for _, e := range known.weakSkills() {
		out = append(out, e.advice())
	}
	if len(out) != 6 {
		t.Errorf("%d skills are weak, want 6: %v", len(out), out)
	}
	for i, k := range keys {
		names := theory.Namings()[i%len(theory.Namings())]
		scale := k.ScaleDegrees()
		known.tasks = []class.Task{{ID: 1, Name: "x", Rubric: class.Default()}}
		known.rows = map[int64][]classfile.Row{1: {{Counts: true, Mark: &class.Mark{Value: 0.4}}}}
		known.line = func(class.Task) (Line, error) {
			return Line{Line: grade.Line{Key: k, Degrees: scale[:]}, Names: names}, nil
		}
		for _, e := range known.failed() {
			out = append(out, e.advice())
		}
	}
	return out
}
