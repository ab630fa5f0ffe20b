package synth

import "singback/theory"

// Chords plays chords one after the other, each so many seconds, the last one
// half as long again.
func Chords(k theory.Key, t theory.Tuning, voices []theory.Voicing, seconds float64) Phrase {
	return inTurn(k, t, voices, seconds, 1.5*seconds)
}

// Progression plays chords as the cadence that sets a key is played: a beat each,
// the last one two.
func Progression(k theory.Key, t theory.Tuning, voices []theory.Voicing) Phrase {
	return inTurn(k, t, voices, beat, lastChord)
}

// inTurn plays chords one after the other, each so many seconds, the last one
// as long as that.
func inTurn(k theory.Key, t theory.Tuning, voices []theory.Voicing, seconds, last float64) Phrase {
	var p Phrase
	for i, v := range voices {
		// Let go a little early: the chord is gone when the next one comes.
		length := seconds - Release/2
		if i == len(voices)-1 {
			length = last
		}
		for _, tone := range v {
			p = append(p, Sound{Hz: t.HzIn(k, tone), Start: float64(i) * seconds, Duration: length})
		}
	}
	return p
}
