package compose

import (
	"fmt"
	"strings"
	"testing"

	"singback/theory"
)

// Chords from the keys that hold them: every quality on every root, in every inversion
// and voicing, with the root that was heard; what each is made of is written out here
// once more (semitones above the root, as in every textbook).
func TestRecognise(t *testing.T) {
	semitones := map[string][]int{
		"maj": {0, 4, 7}, "min": {0, 3, 7}, "7": {0, 4, 7, 10}, "dim": {0, 3, 6}, "m7": {0, 3, 7, 10}, "maj7": {0, 4, 7, 11},
		"sus4": {0, 5, 7}, "sus2": {0, 2, 7}, "6": {0, 4, 7, 9}, "m7b5": {0, 3, 6, 10}, "dim7": {0, 3, 6, 9}, "aug": {0, 4, 8},
		"mMaj7": {0, 3, 7, 11},
	}
	if len(semitones) != len(Qualities()) {
		t.Fatalf("%d qualities, %d here", len(Qualities()), len(semitones))
	}
	seen := 0
	for _, key := range theory.Keys() {
		for name, tones := range semitones {
			for _, d := range key.ChromaticDegrees() {
				root := key.Note(d)
				low := (theory.Pitch{Note: root, Octave: 3}).MIDI()
				for inversion := range tones {
					for _, open := range []bool{false, true} {
						keys := []int{low + tones[inversion]}
						from := keys[0]
						for i := 1; i < len(tones); i++ {
							k := low + tones[(inversion+i)%len(tones)]
							for k <= from {
								k += 12
							}
							if open && i == len(tones)-1 {
								k += 12
							}
							from = k
							keys = append(keys, k)
						}
						h, ok := Recognise(key, root, keys)
						seen++
						if !ok || h.Name != name || h.Inversion != inversion || h.Open != open || len(h.Voicing) != len(keys) || h.Chord.Root != root {
							t.Fatalf("%s %s%s, inversion %d, open %v, %v: %+v, %v", key, root, name, inversion, open, keys, h, ok)
						}
						for i, p := range h.Voicing {
							if p.MIDI() != keys[i] {
								t.Fatalf("%s %s%s: %v lies at %v", key, root, name, keys, h.Voicing)
							}
						}
					}
				}
			}
		}
	}
	t.Logf("%d chords", seen)
	c := theory.Note{Letter: theory.C}
	for _, e := range []struct {
		name  string
		heard theory.Note
		keys  []int
		want  string
	}{
		{"the root that was heard: a sixth chord", c, []int{48, 64, 67, 69}, "6 C inversion 0: C3 E4 G4 A4"},
		{"else the lowest note", theory.Note{Letter: theory.F}, []int{45, 60, 64, 67}, "m7 A inversion 0: A2 C4 E4 G4"},
		{"doubled", c, []int{36, 48, 60, 64, 67, 72}, "maj C inversion 0: C2 C3 C4 E4 G4 C5"},
		{"a seventh without its fifth", c, []int{48, 58, 64}, "7 C inversion 0: C3 Bb3 E4"},
		{"a triad without its fifth, as voice leading has it", c, []int{48, 60, 64}, "maj C inversion 0: C3 C4 E4"},
		{"two notes are none", c, []int{48, 55}, ""},
		{"a cluster is none", c, []int{60, 61, 62}, ""},
	} {
		got := ""
		if h, ok := Recognise(theory.Key{Tonic: c}, e.heard, e.keys); ok {
			var notes []string
			for _, p := range h.Voicing {
				notes = append(notes, p.ASCII())
			}
			got = fmt.Sprintf("%s %s inversion %d: %s", h.Name, h.Chord.Root.ASCII(), h.Inversion, strings.Join(notes, " "))
		}
		if got != e.want {
			t.Errorf("%s: %v is %q, want %q", e.name, e.keys, got, e.want)
		}
	}
}
