package device

import (
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

// The slow obvious queue: a slice.
func TestRingIsAQueue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRing[int](rapid.IntRange(1, 20).Draw(t, "room"))
		var queue []int
		next := 0
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			n := rapid.IntRange(0, 40).Draw(t, "n")
			switch rapid.SampledFrom([]string{"push", "pop", "peek", "drop"}).Draw(t, "op") {
			case "push":
				src := make([]int, n)
				for i := range src {
					src[i] = next + i
				}
				got, want := r.push(src), min(n, len(r.buf)-len(queue))
				if got != want {
					t.Fatalf("push of %d with %d of %d held took %d, want %d", n, len(queue), len(r.buf), got, want)
				}
				queue = append(queue, src[:got]...)
				next += got
			case "pop":
				dst := make([]int, n)
				got := r.pop(dst)
				if want := queue[:min(n, len(queue))]; !slices.Equal(dst[:got], want) {
					t.Fatalf("pop gave %v, want %v", dst[:got], want)
				}
				queue = queue[got:]
			case "peek":
				item, ok := r.peek()
				if ok != (len(queue) > 0) || ok && item != queue[0] {
					t.Fatalf("peek = %v, %v of %v", item, ok, queue)
				}
			case "drop":
				k := min(n, len(queue))
				r.drop(r.tail.Load() + uint64(k))
				queue = queue[k:]
			}
			if r.len() != len(queue) {
				t.Fatalf("len = %d, want %d", r.len(), len(queue))
			}
			if int(r.head.Load()) != next {
				t.Fatalf("head = %d, want the count of items pushed, %d", r.head.Load(), next)
			}
		}
	})
}

// Two goroutines, every item once and in order; the race detector looks on.
func TestRingBetweenTwoGoroutines(t *testing.T) {
	const total = 200_000
	r := newRing[int](61)
	var wg sync.WaitGroup
	wg.Go(func() {
		block := make([]int, 17)
		for next := 0; next < total; {
			n := min(1+next%len(block), total-next)
			for i := range n {
				block[i] = next + i
			}
			next += r.push(block[:n])
		}
	})
	dst := make([]int, 23)
	for want := 0; want < total; {
		for _, got := range dst[:r.pop(dst[:1+want%len(dst)])] {
			if got != want {
				t.Fatalf("item %d came as %d", want, got)
			}
			want++
		}
	}
	wg.Wait()
}
