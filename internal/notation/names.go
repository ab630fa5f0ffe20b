package notation

import (
	"strings"

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

// voiceClefs are the clefs that voices read (common practice).
var voiceClefs = map[string]theory.Clef{
	"soprano": theory.TrebleClef, "mezzo": theory.TrebleClef, "alto": theory.TrebleClef, "child": theory.TrebleClef,
	"tenor": theory.TrebleDownClef, "baritone": theory.BassClef, "bass": theory.BassClef,
}

// VoiceClef returns the clef that a voice reads, by its name; ok is false for
// what is no voice.
func VoiceClef(voice string) (c theory.Clef, ok bool) {
	c, ok = voiceClefs[strings.ToLower(strings.TrimSpace(voice))]
	return c, ok
}
