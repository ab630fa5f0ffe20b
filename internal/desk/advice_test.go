package desk

import (
	"testing"

	"singback/exercise"
	"singback/exercise/grade"
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
	for _, v := range exercise.Voices() {
		voices = append(voices, v)
	}
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
	return append(out, (&known{}).practise()...)
}
