// Package strike turns keys that go down and up into what was struck: notes one after the
// other, or chords that are held. It knows no MIDI and no device, so that a browser loads
// it: see [Take].
package strike

import (
	"context"
	"slices"
	"time"

	"singback/exercise"
)

// Change is a key or the pedal that went down or up.
type Change struct {
	Key   int // MIDI number; of no meaning for the pedal
	Down  bool
	Pedal bool
	At    time.Time // when its last byte came
}

// Take opens a window now and returns what is struck in it, so many notes one after the
// other, or chords, each held. It closes when all are there and nothing is struck for a
// while, when nothing more comes for longer, or when nothing was begun. Next waits for a
// change, until a time; false: none came.
func Take(ctx context.Context, count int, chords bool, next func(ctx context.Context, until time.Time) (Change, bool, error)) ([]exercise.Strike, error) {
	w := newWindow(count, chords, time.Now())
	for {
		c, ok, err := next(ctx, w.until())
		if err != nil {
			return nil, err
		}
		if !ok {
			return w.close(time.Now()), nil
		}
		w.push(c)
	}
}

// When a window closes, and what is at once (common practice; a chord of ten notes takes
// 7 ms on the wire, and fingers some 30 ms).
const (
	together = 50 * time.Millisecond // notes within it are one chord
	after    = 1500 * time.Millisecond
	between  = 6 * time.Second  // notes or chords
	begin    = 20 * time.Second // until the first
	settled  = 400 * time.Millisecond
	pedalled = time.Second // a pedal alone holds a chord so long
)

// window takes in what is struck. Of notes, those that are struck together are one
// strike. Of chords, a chord begins with the first key and ends when no key is down:
// what answers is what was held longest of it. The pedal holds keys as fingers do.
type window struct {
	count  int
	chords bool
	began  time.Time
	last   time.Time // something changed
	done   []exercise.Strike

	down     [128]bool
	sounding [128]bool // held, or by the pedal
	pedal    bool
	since    time.Time // the notes that sound have been the same
	first    time.Time // when the chord began; zero: nothing sounds
	best     exercise.Strike
}

func newWindow(count int, chords bool, now time.Time) *window {
	return &window{count: count, chords: chords, began: now, last: now}
}

func (w *window) seconds(at time.Time) float64 { return at.Sub(w.began).Seconds() }

// push takes in a change.
func (w *window) push(c Change) {
	if c.At.Before(w.began) {
		return
	}
	if w.chords && !w.first.IsZero() && w.pedal && !w.fingers() && c.At.Sub(w.last) >= pedalled {
		w.end(c.At)
	}
	w.last = c.At
	before := w.sounding
	switch {
	case c.Pedal:
		w.pedal = c.Down
	default:
		w.down[c.Key] = c.Down
	}
	for k := range w.sounding {
		w.sounding[k] = w.down[k] || w.pedal && w.sounding[k]
	}
	if !w.chords {
		w.note(c)
		return
	}
	if w.sounding == before {
		return
	}
	w.hold(before, c.At)
	if w.since = c.At; w.first.IsZero() {
		w.first = c.At
	}
	if !slices.Contains(w.sounding[:], true) {
		w.end(c.At)
	}
}

func (w *window) fingers() bool { return slices.Contains(w.down[:], true) }

// note takes in a change where notes are wanted.
func (w *window) note(c Change) {
	switch n := len(w.done); {
	case c.Pedal:
	case !c.Down:
		for i := n - 1; i >= 0; i-- {
			if s := &w.done[i]; s.Keys[0] == c.Key && s.Length == 0 {
				s.Length = max(w.seconds(c.At)-s.At, 0.01)
				break
			}
		}
	case n > 0 && c.At.Sub(w.began) < time.Duration(w.done[n-1].At*float64(time.Second))+together:
		s := &w.done[n-1]
		s.Keys = append(s.Keys, c.Key)
		slices.Sort(s.Keys)
	default:
		w.done = append(w.done, exercise.Strike{Keys: []int{c.Key}, At: w.seconds(c.At)})
	}
}

// hold takes note of what has sounded until now.
func (w *window) hold(sounding [128]bool, now time.Time) {
	var keys []int
	for k, on := range sounding {
		if on {
			keys = append(keys, k)
		}
	}
	if len(keys) == 0 || w.first.IsZero() {
		return
	}
	if length := now.Sub(w.since).Seconds(); len(w.best.Keys) < 3 && len(keys) >= 3 || (len(keys) >= 3) == (len(w.best.Keys) >= 3) && length >= w.best.Length {
		w.best = exercise.Strike{Keys: keys, At: w.seconds(w.first), Length: length}
	}
}

// end ends a chord.
func (w *window) end(now time.Time) {
	w.hold(w.sounding, now)
	if len(w.best.Keys) > 0 {
		w.done = append(w.done, w.best)
	}
	w.best, w.first, w.since = exercise.Strike{}, time.Time{}, now
	for k := range w.sounding {
		w.sounding[k] = w.down[k]
	}
}

// until is when the window closes if nothing changes.
func (w *window) until() time.Time {
	switch n := len(w.done); {
	case w.chords && !w.first.IsZero() && n+1 >= w.count:
		return w.last.Add(after) // the last chord is held
	case n >= w.count:
		if w.chords {
			return w.last.Add(settled)
		}
		return w.last.Add(after)
	case n > 0, !w.first.IsZero():
		return w.last.Add(between)
	}
	return w.began.Add(begin)
}

// close returns what was struck.
func (w *window) close(now time.Time) []exercise.Strike {
	if w.chords && !w.first.IsZero() {
		w.end(now)
	}
	for i := range w.done {
		if s := &w.done[i]; s.Length == 0 { // still down
			s.Length = max(w.seconds(now)-s.At, 0.01)
		}
	}
	return w.done
}
