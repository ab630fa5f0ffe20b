// Package training makes the sounds that the weights of the pitch tracker are
// fitted on, whose fundamental is known exactly: melodies and steady notes
// through a source-filter voice, spoilt in the ways a microphone in a room
// spoils them, test tones, and sounds in which nobody sings. It is another
// synthesiser than the one of the hard set that the tracker is judged on. The
// same seed gives the same samples.
//
// [Make] makes a melody under one of the Conditions, [MakeTone] test tones,
// [MakePrompt] the program's own sound, [Steady] a steady note.
package training

// Note is one sung note of a clip.
type Note struct{ On, Off, F0 float64 } // seconds, seconds, hertz (target)

// Clip is a sound with its truth.
type Clip struct {
	Name      string // condition
	Rate      int
	X         []float64
	F0        []float64 // per sample of a 1 ms grid: hertz, 0 unvoiced, Open undecided
	Notes     []Note
	Cuts      []float64 // seconds, where a gate opens or shuts: there the edge is exact
	Known     []float64 // hertz of partials known to sound (drone, prompt)
	Low, High float64
}

// At gives the true F0 at time t seconds, 0 where unvoiced.
func (c *Clip) At(t float64) float64 {
	i := int(t*1000 + 0.5)
	if i < 0 || i >= len(c.F0) {
		return 0
	}
	return c.F0[i]
}

// Open is the truth where it is not for us to say whether somebody sings: where
// a voice is more than 20 dB under its own note, coming or going.
const Open = -1
