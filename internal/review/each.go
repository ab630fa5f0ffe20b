package review

import (
	"context"
	"runtime"
	"sync"
)

// Each calls work for 0 … n−1, as many at once as there are processors, and
// done with each result in order, from one goroutine at a time. A result waits
// until those before it are done, and no more than a few for each worker wait:
// memory does not grow with n. When ctx ends no new work begins, what is being
// done is waited for, and done is called for what is complete without a gap.
func Each[T any](ctx context.Context, n int, work func(ctx context.Context, i int) (T, error), done func(i int, result T, err error) error) error {
	type result struct {
		value T
		err   error
	}
	workers := min(n, runtime.GOMAXPROCS(0))
	const ahead = 4 // results that may wait, for each worker
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var mu sync.Mutex
	waiting := map[int]result{}
	next := 0
	tickets := make(chan struct{}, ahead*max(1, workers))
	jobs := make(chan int)
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			for i := range jobs {
				var r result
				r.value, r.err = work(ctx, i)
				mu.Lock()
				if ctx.Err() != nil && r.err != nil {
					mu.Unlock() // it did not fail: it was stopped
					continue
				}
				waiting[i] = r
				for {
					r, ok := waiting[next]
					if !ok {
						break
					}
					delete(waiting, next)
					if err := done(next, r.value, r.err); err != nil {
						stop(err)
						break
					}
					next++
					<-tickets
				}
				mu.Unlock()
			}
		})
	}
feed:
	for i := range n {
		select {
		case tickets <- struct{}{}:
		case <-ctx.Done():
			break feed
		}
		select {
		case jobs <- i:
		case <-ctx.Done():
			break feed
		}
	}
	close(jobs)
	group.Wait()
	if next == n {
		return nil
	}
	return context.Cause(ctx)
}
