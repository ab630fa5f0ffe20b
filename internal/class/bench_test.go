package class

import (
	"math/rand/v2"
	"testing"

	"singback/exercise/grade"
)

// What marking a take costs beside grading it.
func BenchmarkMark(b *testing.B) {
	rng := rand.New(rand.NewPCG(6, 28))
	line := madeLine(rng)
	take := madeSingerOf(line, rng).sing(line, []madeFault{{"wrong", 2, 300}})
	rules := grade.DefaultRules()
	g, err := grade.Of(line, take, rules)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("grade", func(b *testing.B) {
		for b.Loop() {
			grade.Of(line, take, rules)
		}
	})
	b.Run("mark", func(b *testing.B) {
		r := everything()
		for b.Loop() {
			r.Mark(line, take, g, rules)
		}
	})
}
