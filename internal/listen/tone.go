package listen

import (
	"math"

	"singback/pitch"
	"singback/theory"
)

// Tone is a tone that the room has before a window opens, like the whine of
// a motor: it is voiced for the tracker, and would close the window as an answer.
// No voice is so steady, and no struck string keeps its level. The zero Tone
// has heard nothing.
type Tone struct {
	begun          int // frames that are left out, up to toneEdge
	points, voiced int
	first          float64 // hertz, of the first voiced frame
	sum, squares   float64 // of the distances from it, in cents
	errors         float64 // squared standard errors of the frames
	levels         float64 // sum, dBFS
	low, high      float64 // level of the weakest and of the strongest voiced frame
}

// What a tone of the room is. A whine 10 to 40 dB above the room's noise has an SD
// of 0.3 to 5 cents, some 1.6 times its standard errors; straight notes of the
// simulated singers have 1.9 and more, eight times theirs.
const (
	toneEdge   = 2   // frames: the first, half of it before the sound, is 3 dB too weak and up to 7 cents off; the second 0.6 dB
	toneFrames = 40  // 0.4 s
	toneShare  = 0.9 // of all frames, that are voiced
	toneSpread = 1.0 // cents, SD, beyond twice the standard error
	toneLevels = 2.0 // dB between the weakest frame and the strongest
)

// What lies no further from the tone than this, or than four times its SD, and is
// no louder, is the tone again.
const (
	toneNear   = 8.0 // cents
	toneLouder = 2.0 // dB
)

// hear takes in the next points of what comes before the window.
func (r *Tone) hear(points []pitch.Point) {
	for _, p := range points {
		if r.begun < toneEdge {
			r.begun++
			continue
		}
		r.points++
		if !p.Voiced {
			continue
		}
		if r.voiced == 0 {
			r.first, r.low, r.high = p.F0, p.Level, p.Level
		}
		r.voiced++
		c := theory.CentsBetween(p.F0, r.first)
		r.sum += c
		r.squares += c * c
		r.errors += p.SE * p.SE
		r.levels += p.Level
		r.low, r.high = min(r.low, p.Level), max(r.high, p.Level)
	}
}

// variance is that of the voiced frames, in squared cents.
func (r *Tone) variance() float64 {
	n := float64(r.voiced)
	return r.squares/n - r.sum/n*(r.sum/n)
}

// steady tells that what was heard is a tone of the room.
func (r *Tone) steady() bool {
	return r.voiced >= toneFrames && float64(r.voiced) >= toneShare*float64(r.points) &&
		r.high-r.low <= toneLevels &&
		r.variance() <= toneSpread*toneSpread+4*r.errors/float64(r.voiced)
}

// pitch is that of the tone, in hertz.
func (r *Tone) pitch() float64 { return theory.Shift(r.first, r.sum/float64(r.voiced)) }

// hush makes the points that are no more than the tone, which is steady, unvoiced.
func (r *Tone) hush(points []pitch.Point) {
	f0, level := r.pitch(), r.levels/float64(r.voiced)
	near := max(toneNear, 4*math.Sqrt(r.variance()))
	for i := range points {
		p := &points[i]
		if p.Voiced && p.Level < level+toneLouder && math.Abs(theory.CentsBetween(p.F0, f0)) < near {
			p.Voiced, p.F0, p.SE, p.Confidence = false, 0, 0, 1-p.Confidence
		}
	}
}
