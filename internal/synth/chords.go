package synth

import "singback/theory"

// Chords plays chords one after the other, each so many seconds, the last one
// half as long again.
func Chords(k theory.Key, t theory.Tuning, voices []theory.Voicing, seconds float64) Phrase {
	return inTurn(k, t, notesOf(voices), seconds, 1.5*seconds)
}

// Progression plays chords as the cadence that sets a key is played: a beat each,
// the last one two.
func Progression(k theory.Key, t theory.Tuning, voices []theory.Voicing) Phrase {
	return ProgressionOf(k, t, notesOf(voices))
}

// ProgressionOf plays chords of any number of notes as Progression does.
func ProgressionOf(k theory.Key, t theory.Tuning, chords [][]theory.Pitch) Phrase {
	return inTurn(k, t, chords, beat, lastChord)
}

func notesOf(voices []theory.Voicing) [][]theory.Pitch {
	out := make([][]theory.Pitch, len(voices))
	for i := range voices {
		out[i] = voices[i][:]
	}
	return out
}

// inTurn plays chords one after the other, each so many seconds, the last one
// as long as that.
func inTurn(k theory.Key, t theory.Tuning, chords [][]theory.Pitch, seconds, last float64) Phrase {
	var p Phrase
	for i, v := range chords {
		// Let go a little early: the chord is gone when the next one comes.
		length := seconds - Release/2
		if i == len(chords)-1 {
			length = last
		}
		for _, tone := range v {
			p = append(p, Sound{Hz: t.HzIn(k, tone), Start: float64(i) * seconds, Duration: length})
		}
	}
	return p
}
