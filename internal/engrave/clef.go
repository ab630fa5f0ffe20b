package engrave

import (
	"strings"

	"singback/theory"
)

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
