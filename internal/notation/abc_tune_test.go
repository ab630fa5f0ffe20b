package notation

import (
	"strings"
	"testing"
)

// Three tunes of an invented choir, with a header for all (the ABC standard 2.1, section
// 2.2: a file header applies to all tunes, and a tune ends at an empty line).
const tunes = `%abc-2.1
L:1/4
% the evening book

X:3
T:Evening light
M:3/4
K:G
GAB|

X:7
T:The long evening
M:4/4
K:F
FGAB|c4|

X:12
T:Morning
K:C
CDEF|
`

func TestTunes(t *testing.T) {
	read := func(tune string) (string, error) {
		s, warnings, err := Parse("book.abc", []byte(tunes), Options{Tune: tune})
		if err != nil {
			return "", err
		}
		text := s.Title + ":"
		for _, n := range s.Notes {
			text += " " + n.Pitch.ASCII()
		}
		if len(warnings) > 0 {
			text += "; " + string(warnings[0])
		}
		return text, nil
	}
	for tune, want := range map[string]string{
		"":  "Evening light: G4 A4 B4; line 10: there are more tunes; only the first one is read (--tune chooses)",
		"3": "Evening light: G4 A4 B4", "7": "The long evening: F4 G4 A4 Bb4 C5", "12": "Morning: C4 D4 E4 F4",
		"morning": "Morning: C4 D4 E4 F4", "the long evening": "The long evening: F4 G4 A4 Bb4 C5", "long": "The long evening: F4 G4 A4 Bb4 C5",
	} {
		if got, err := read(tune); got != want {
			t.Errorf("tune %q: %s, %v; want %s", tune, got, err, want)
		}
	}
	for tune, want := range map[string]string{
		"9": `there is no tune "9": want one of 3 (Evening light), 7 (The long evening), 12 (Morning)`, "evening": `several tunes are like "evening": want one of 3 (Evening light), 7 (The long evening)`,
	} {
		if _, err := read(tune); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("tune %q: %v; want %s", tune, err, want)
		}
	}
	// A mistake in a later tune has its own line.
	broken := strings.Replace(tunes, "K:F", "K:Q", 1)
	if _, _, err := Parse("book.abc", []byte(broken), Options{}); err != nil {
		t.Errorf("the first tune: %v", err)
	}
	if _, _, err := Parse("book.abc", []byte(broken), Options{Tune: "7"}); err == nil || !strings.Contains(err.Error(), "line 14") {
		t.Error(err)
	}
	parts, _, err := ReadParts("book.abc", strings.NewReader(tunes), Options{Tune: "Morning"})
	if err != nil || len(parts) != 1 || len(parts[0].Score.Notes) != 4 {
		t.Errorf("%v, %v", parts, err)
	}
	for name, data := range map[string]string{"line.txt": "do re mi", "line.abc": "do re mi"} {
		if _, _, err := Parse(name, []byte(data), Options{Tune: "2"}); err == nil || !strings.Contains(err.Error(), "there is one tune in it") && !strings.Contains(err.Error(), "no tunes with numbers") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := Parse("x.abc", []byte("K:C\nCDE|\n"), Options{Tune: "1"}); err == nil || !strings.Contains(err.Error(), "it has no tunes with numbers (X:)") {
		t.Error(err)
	}
}
