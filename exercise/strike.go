package exercise

// Strike is what was struck at once on a keyboard, or held together.
type Strike struct {
	Keys   []int   // MIDI numbers, from the bottom up
	At     float64 // seconds since somebody could answer
	Length float64 // seconds for which it was held
}
