package exercise

import "math"

// Line is what a take is compared with: written, or found in a performance.
type Line struct {
	Notes []Due
	// Timed tells that the onsets and lengths mean something.
	Timed bool
}

// Moment is one point of the pitch curve of a take.
type Moment struct {
	At     float64 // seconds
	Cents  float64 // as of Sung; means nothing where Voiced is false
	Voiced bool
}

// At is the moment at which a pitch of hz is heard, on A4; hz at most 0 is no
// pitch.
func At(seconds, hz, a4 float64) Moment {
	if !(hz > 0) {
		return Moment{At: seconds}
	}
	return Moment{At: seconds, Cents: 6900 + 1200*math.Log2(hz/a4), Voiced: true}
}
