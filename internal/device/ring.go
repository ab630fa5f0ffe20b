package device

import (
	"math/bits"
	"sync/atomic"
)

// ring is a queue between one goroutine that pushes and one that pops, without
// locks: neither ever waits for the other. Its indices run freely from 0, so
// they are also the positions of the items in the whole stream.
type ring[T any] struct {
	buf  []T // a power of two long
	_    [64]byte
	head atomic.Uint64 // items pushed so far; written by the pusher only
	_    [56]byte
	tail atomic.Uint64 // items popped so far; written by the popper only
	_    [56]byte
}

// newRing returns a ring with room for at least n items, n ≥ 1.
func newRing[T any](n int) *ring[T] {
	return &ring[T]{buf: make([]T, 1<<bits.Len(uint(n-1)))}
}

// push appends as many items of src as there is room for and returns how many.
func (r *ring[T]) push(src []T) int {
	head := r.head.Load()
	n := min(len(src), len(r.buf)-int(head-r.tail.Load()))
	at := int(head) & (len(r.buf) - 1)
	k := copy(r.buf[at:], src[:n])
	copy(r.buf, src[k:n])
	r.head.Store(head + uint64(n))
	return n
}

// pop removes as many of the oldest items as dst takes and returns how many.
func (r *ring[T]) pop(dst []T) int {
	tail := r.tail.Load()
	n := min(len(dst), int(r.head.Load()-tail))
	at := int(tail) & (len(r.buf) - 1)
	k := copy(dst[:n], r.buf[at:])
	copy(dst[k:n], r.buf)
	r.tail.Store(tail + uint64(n))
	return n
}

// peek returns the oldest item. Only the popper may call it.
func (r *ring[T]) peek() (item T, ok bool) {
	tail := r.tail.Load()
	if tail == r.head.Load() {
		return item, false
	}
	return r.buf[int(tail)&(len(r.buf)-1)], true
}

// drop removes every item before position to. Only the popper may call it; to
// is at most a value of head it has seen.
func (r *ring[T]) drop(to uint64) { r.tail.Store(to) }

// len is the number of items held. Only the two sides can rely on it: the
// pusher that it will not grow, the popper that it will not shrink.
func (r *ring[T]) len() int { return int(r.head.Load() - r.tail.Load()) }
