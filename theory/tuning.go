package theory

import (
	"fmt"
	"math"
)

// Cents is a pitch distance: 1/1200 of an octave, 1/100 of an equal-tempered
// semitone.
type Cents = float64

// CentsBetween returns how far f lies above ref, 1200·log2(f/ref), in cents;
// negative when f is below. Both are in hertz and must be positive.
func CentsBetween(f, ref float64) Cents { return 1200 * math.Log2(f/ref) }

// A4 in hertz.
const (
	// DefaultA4 is the standard pitch, ISO 16:1975 (from memory).
	DefaultA4 = 440.0
	// MinA4 and MaxA4 limit what NewTuning accepts, limits included: about a
	// whole tone around DefaultA4, which holds the pitch standards in use from 415
	// to 466 and leaves room for an instrument that is off.
	MinA4 = 392.0
	MaxA4 = 494.0
)

// Tuning turns spelled pitches into hertz: twelve-tone equal temperament from
// a stated A4. The zero Tuning is none: make one with NewTuning.
type Tuning struct {
	A4 float64 // hertz
}

// NewTuning returns equal temperament on the given A4 in hertz, MinA4 … MaxA4.
func NewTuning(a4 float64) (Tuning, error) {
	if !(a4 >= MinA4 && a4 <= MaxA4) { // also refuses NaN
		return Tuning{}, fmt.Errorf("A4 = %g Hz is out of range: want %g to %g", a4, MinA4, MaxA4)
	}
	return Tuning{a4}, nil
}

// Hz returns the frequency of p: A4·2^((m−69)/12) for MIDI number m.
func (t Tuning) Hz(p Pitch) float64 { return t.A4 * math.Exp2(float64(p.MIDI()-69)/12) }

// Shift returns the frequency that lies c above hz, in hertz.
func Shift(hz float64, c Cents) float64 { return hz * math.Exp2(c/1200) }
