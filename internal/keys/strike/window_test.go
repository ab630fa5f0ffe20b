package strike

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"singback/exercise"
)

var began = time.Date(2026, 11, 28, 19, 0, 0, 0, time.UTC)

// strikes writes what a window has: keys, when, how long.
func strikes(list []exercise.Strike) string {
	var out []string
	for _, s := range list {
		out = append(out, fmt.Sprintf("%v@%.1f/%.1f", s.Keys, s.At, s.Length))
	}
	return strings.Join(out, " ")
}

// What is struck in a window, and when it closes: times in seconds since it opened. The
// limits are common practice.
func TestWindow(t *testing.T) {
	for _, c := range []struct {
		name   string
		count  int
		chords bool
		does   string // "+60@1.0" …
		want   string
		closed float64
	}{
		{"nothing", 2, false, "", "", 20},
		{"two notes", 2, false, "+60@1 -60@1.5 +67@2 -67@2.5", "[60]@1.0/0.5 [67]@2.0/0.5", 4},
		{"one of two", 2, false, "+60@1 -60@1.5", "[60]@1.0/0.5", 7.5},
		{"after a long thought", 2, false, "+60@1 -60@1.5 +67@7 -67@7.5", "[60]@1.0/0.5 [67]@7.0/0.5", 9},
		{"one too many", 1, false, "+60@1 -60@1.5 +67@2 -67@2.2", "[60]@1.0/0.5 [67]@2.0/0.2", 3.7},
		{"octaves are one", 1, false, "+48@1 +36@1.03 -48@2 -36@2", "[36 48]@1.0/1.0", 3.5},
		{"still held", 1, false, "+60@1", "[60]@1.0/1.5", 2.5},
		{"a chord", 1, true, "+60@1 +64@1.01 +67@1.02 -60@2 -64@2 -67@2", "[60 64 67]@1.0/1.0", 2.4},
		{"a chord that is held on", 1, true, "+60@1 +64@1.01 +67@1.02", "[60 64 67]@1.0/1.5", 2.52},
		{"a chord put right", 1, true, "+60@1 +63@1 +67@1 -63@1.3 +64@1.4 -60@2.5 -64@2.5 -67@2.5", "[60 64 67]@1.0/1.1", 2.9},
		{"a chord let go one by one", 1, true, "+60@1 +64@1 +67@1 +70@1 -60@2 -64@2.1 -67@2.2 -70@2.3", "[60 64 67 70]@1.0/1.0", 2.7},
		{"broken, with the pedal", 1, true, "P@0.9 +60@1 -60@1.2 +64@1.3 -64@1.5 +67@1.6 -67@1.8 p@3", "[60 64 67]@1.0/1.4", 3.4},
		{"two chords", 2, true, "+60@1 +64@1 +67@1 -60@2 -64@2 -67@2 +59@3 +62@3 +67@3 -59@4 -62@4 -67@4", "[60 64 67]@1.0/1.0 [59 62 67]@3.0/1.0", 4.4},
		{"two chords under one pedal", 2, true, "P@0.9 +60@1 +64@1 +67@1 -60@1.5 -64@1.5 -67@1.5 +59@3 +62@3 +67@3 -59@4 -62@4 -67@4 p@4.2", "[60 64 67]@1.0/2.0 [59 62 67]@3.0/1.2", 4.6},
	} {
		w := newWindow(c.count, c.chords, began)
		at := func(seconds float64) time.Time { return began.Add(time.Duration(seconds * float64(time.Second))) }
		for _, word := range strings.Fields(c.does) {
			key, when, _ := strings.Cut(word, "@")
			var seconds float64
			change := Change{Pedal: key == "P" || key == "p", Down: key == "P" || key[0] == '+'}
			fmt.Sscan(when, &seconds)
			if change.At = at(seconds); !change.Pedal {
				fmt.Sscan(key[1:], &change.Key)
			}
			if change.At.After(w.until()) {
				t.Errorf("%s: closed before %s", c.name, word)
			}
			w.push(change)
		}
		until := w.until()
		if got := strikes(w.close(until)); got != c.want || until.Sub(at(c.closed)).Abs() > 20*time.Millisecond {
			t.Errorf("%s: %s, closed after %v, want %s after %g s", c.name, got, until.Sub(began), c.want, c.closed)
		}
	}
}
