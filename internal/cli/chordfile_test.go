package cli

import (
	"strings"
	"testing"
	"unicode/utf8"

	"singback/internal/drill"
)

// Whatever is in a file of progressions: no panic, an error is one line that names the
// line, and what is read can be asked.
func FuzzProgressionLines(f *testing.F) {
	for _, s := range []string{
		"I IV V7 I\n", "1 4 57 1 # the hymn\n", "G: G C D7 G\nI IV\n", "key: Eb major\nEb Ab\n", "C F\n", "key: H\nI\n", "Am: i iv6 V7/V V7 i",
		"# nothing\n", "", "\ufeffI V\n", "I |: V\n", "C5 F5\n", "I\x00V\n", "\xff\n", "6- 4\n", strings.Repeat("I V ", 200), "I C9 IX\n", "G: \n", ":\n", "b7 C\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		o := &dictationOptions{progressions: "lines.txt"}
		o.Music = &drill.Music{Key: "C major", Said: func(string) bool { return false }}
		err := o.readLines(text)
		if err != nil {
			s := err.Error()
			if !strings.HasPrefix(s, "lines.txt: ") || strings.ContainsAny(s, "\n\r") || len(s) > 1000 || !utf8.ValidString(s) {
				t.Fatalf("%q: %q", text, s)
			}
			return
		}
		if len(o.Given) == 0 || len(o.Given) > maxChords {
			t.Fatalf("%q: %d progressions", text, len(o.Given))
		}
		for _, g := range o.Given {
			if len(g.Chords) == 0 {
				t.Fatalf("%q: %+v", text, g)
			}
		}
	})
}
