package notation

import (
	"strings"
	"testing"

	"singback/internal/engrave"
	"singback/internal/plain"
)

// Titles, words and warnings are text, whatever a file has there.
func TestTitlesAndWordsArePlain(t *testing.T) {
	const hostile = "a\x1b[31m\u009b2J\u202egnp\u2066b\u200fc"
	const xml = "a\u009b2J\u202egnp\u2066b\u200fc" // XML 1.0 has no escape
	for name, file := range map[string]string{
		"ABC":  "X:1\nT:" + hostile + "\nM:4/4\nL:1/4\nK:C\nC {D}E F G|\nw:" + hostile + " b c d\n",
		"MIDI": "MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x00\x00\x00\x44\x00\xff\x03" + string(rune(len(hostile))) + hostile + "\x00\xff\x05" + string(rune(len(hostile))) + hostile + "\x00\x90\x3c\x50\x60\x80\x3c\x40\x00\xff\x2f\x00",
		"XML":  `<?xml version="1.0"?><score-partwise version="4.0"><work><work-title>` + xml + `</work-title></work><part-list><score-part id="P1"><part-name>P</part-name></score-part></part-list><part id="P1"><measure number="` + xml + `"><attributes><divisions>1</divisions></attributes><note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><lyric><text>` + xml + `</text></lyric></note><note><grace/><pitch><step>D</step><octave>4</octave></pitch></note></measure></part></score-partwise>`,
	} {
		s, warnings, err := Parse("x", []byte(file), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		texts := []string{s.Title, s.Notes[0].Words}
		for _, text := range texts {
			if !strings.Contains(text, "gnpb") {
				t.Errorf("%s: %q is not what stands there", name, text)
			}
		}
		for _, w := range warnings {
			texts = append(texts, string(w))
		}
		svg, err := engrave.SVG(s, engrave.View{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, text := range append(texts, strings.ReplaceAll(svg, "\n", "")) {
			if plain.Line(text) != text {
				t.Errorf("%s: %q has controls", name, text)
			}
		}
	}
}
