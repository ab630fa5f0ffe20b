package pitch_test

import (
	"fmt"

	"singback/internal/testkit"
	"singback/pitch"
)

// A voice that scoops up to A3 and holds it for a second.
func Example() {
	const rate = 44100
	samples := testkit.Tone(rate, 1, testkit.Scoop(220, -200, 0.12), testkit.Harmonics(10, 6))

	cfg := pitch.DefaultConfig(rate)
	tracker, err := pitch.NewTracker(cfg)
	if err != nil {
		fmt.Println(err)
		return
	}
	points := tracker.Push(nil, samples) // as often as samples come
	points = tracker.Flush(points)
	notes, err := pitch.Notes(cfg, points)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, n := range notes {
		fmt.Printf("%.1f Hz, settled after %.1f s\n", n.F0, n.Settle)
	}
	// Output: 220.0 Hz, settled after 0.1 s
}
