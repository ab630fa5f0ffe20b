package exercise

import (
	"math"

	"singback/theory"
)

// What the program's own sound may be while a singer is heard: chosen on model voices
// over drones and vamps (internal/session/under_test.go, which has what they are worth).
const (
	// OwnMargin is how many dB a voice must stand over it, so that a verdict is
	// that of the voice alone.
	OwnMargin = 12.0
	// ownStill is how far, in cents, the pitch strays at least of what lies within
	// ownNear of a tone of the program's, in any octave, and is none: of held notes of
	// real singers by 1.7 cents and more. What is stiller than ownFrozen is no voice.
	ownStill, ownNear, ownFrozen = 0.8, 3.0, 0.3
	// ownTurned is by how many dB it may have become louder than it was when it was
	// measured.
	ownTurned = 30.0
	// UsualVoice is the level of a singer, in dBFS, where it was not measured.
	UsualVoice = -24.0
)

// Audible reports whether the program's own sound, at a level in dBFS, is too loud for a
// voice of another, 0: not known, to be measured beside it.
func Audible(own, voice float64) bool {
	if voice == 0 {
		voice = UsualVoice
	}
	return own > voice-OwnMargin
}

// overheard returns why what was heard may be the program's own sound, and not a voice;
// NoReason where it is a voice, or nothing sounded.
func (t Take) overheard() Reason {
	switch {
	case t.Own == 0 || !t.Found:
		return NoReason
	case t.Note.Level < t.Own+OwnMargin:
		return TooLoud
	case t.Note.Level > t.Own+OwnMargin+ownTurned:
	case t.Beside.still(ownFrozen):
		return OwnSound
	case t.Beside.still(ownStill):
		for _, hz := range t.OwnTones {
			if c := theory.CentsBetween(t.Note.F0, hz); math.Abs(c-1200*math.Round(c/1200)) < ownNear {
				return OwnSound
			}
		}
	}
	return NoReason
}
