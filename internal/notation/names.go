package notation

import (
	"singback/theory"
)

// NamesOf writes a line in names below a heading with its key, so that it is
// read back as the same line: octaves are marked from where names without a mark
// are read, the octave that Options.Octave gives for the key.
func NamesOf(s theory.Score, n theory.Naming, octaveOf func(theory.Key) int, ascii bool) (string, error) {
	m, octave, err := s.Melody()
	if err != nil {
		return "", err
	}
	up := octave - octaveOf(m.Key)
	for i := range m.Tones {
		if t := &m.Tones[i]; !t.Rest {
			t.Octave += up
			if t.Bridge != (theory.Degree{}) {
				t.BridgeOctave += up
			}
		}
	}
	text, err := m.Text(n, ascii)
	return m.Heading() + ". " + text, err
}
