package compose

import "singback/theory"

// Voiced voices chords for a keyboard by the rules of voice leading, or where these allow
// nothing each chord by itself.
func Voiced(chords []theory.Roman) []theory.Voicing {
	voices, _, err := theory.KeyboardTexture().Voice(chords)
	if err == nil {
		return voices
	}
	voices = nil
	for _, c := range chords {
		voices = append(voices, closed(c.Chord, c.Chord.Bass, 0))
	}
	return voices
}
