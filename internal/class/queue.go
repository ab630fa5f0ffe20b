package class

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Queue is the order in which marks are worth a teacher's hearing: the most doubtful
// first; of equal doubt the nearest to the pass, then as they were taken in. It gives
// indices of marks.
func Queue(marks []Mark) []int {
	order := make([]int, len(marks))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := marks[a], marks[b]
		return cmp.Or(cmp.Compare(y.Doubt, x.Doubt), cmp.Compare(math.Abs(x.Value-x.PassAt), math.Abs(y.Value-y.PassAt)), cmp.Compare(x.Take, y.Take))
	})
	return order
}

// Draw draws at most n of the marks by lot, as indices in the order of the lot. Each take has
// a number that follows from the seed and its id, and the lowest are drawn: so the same
// seed draws the same takes in whatever order they come, more of them begin with the same,
// and a take that is handed in later moves none of the others by more than one place.
func Draw(marks []Mark, n int, seed uint64) []int {
	lots := make([]uint64, len(marks))
	order := make([]int, len(marks))
	for i, m := range marks {
		lots[i], order[i] = rand.NewPCG(seed, uint64(m.Take)).Uint64(), i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(lots[a], lots[b]), cmp.Compare(marks[a].Take, marks[b].Take))
	})
	return order[:max(0, min(n, len(order)))]
}

// Expected is how many of the marks are on the wrong side of the pass, if doubts are what
// they say.
func Expected(marks []Mark) float64 {
	sum := 0.0
	for _, m := range marks {
		sum += m.Doubt
	}
	return sum
}
