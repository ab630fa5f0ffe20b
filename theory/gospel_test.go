package theory_test

import (
	"testing"

	. "singback/theory"
)

// Gospel is judgement, so that it is held to what is taught: each bass line, with
// what is heard, has the chords of its device as the most probable ones. Falling
// fifths, back door and a substitute for V7 are named in Mulholland and Hojnacki
// (2013) and Terefenko (2014); passing diminished sevenths, walks and IV over V
// are common practice of church players (from memory).
func TestGospel(t *testing.T) {
	for _, tc := range []struct{ key, name, bass, want string }{
		{"C", "di up to re", "do di re sol do", "C C#dim7 Dm7 G7 C"},
		{"C", "me down to re", "mi me re sol:sus do", "C/E Ebdim7 Dm7 G7sus4 C"},
		{"C", "fi up to I over V", "fa fi sol:maj:+do", "F F#dim7 C/G"},
		{"C", "walk up to IV", "do mi fa", "C C/E F"},
		{"C", "walk down to vi", "do ti la", "C G/B Am7"},
		{"C", "altered third up to vi", "do si la", "C E7/G# Am7"},
		{"C", "back door", "fa:min te:7 do", "Fm Bb7 C"},
		{"C", "IV inside I", "do do:+fa:+la do", "C F/C C"},
		{"C", "lowered VI and VII to I", "le te do", "Ab Bb C"},
		{"C", "substitute for V7", "re:min7 ra:7:+ti do:maj7", "Dm7 Db7 Cmaj7"},
		{"C", "dominants in fifths", "mi:7 la:7 re:7 sol:7 do", "E7 A7 D7 G7 C"},
		{"A minor", "ii V i", "do re sol do", "Am Bm7b5 E7 Am"},
		{"A minor", "fi up to V", "fa fi sol", "Dm7 D#dim7 E7"},
	} {
		k := mustKey(t, tc.key)
		d, err := Deduce(k, Gospel, mustLine(t, tc.bass, k), 1)
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if got := symbols(d.Progressions[0].Chords); got != tc.want {
			t.Errorf("%s, %s in %s: %s, want %s", tc.name, tc.bass, tc.key, got, tc.want)
		}
	}
	for _, s := range Styles() {
		if s.Judged() != (s == Gospel) {
			t.Errorf("%v: judged %v", s, s.Judged())
		}
	}
}
