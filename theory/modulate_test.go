package theory

import (
	"errors"
	"strings"
	"testing"
)

// The chords in common are those that a table of pivot chords has (common practice:
// closely related keys share the chords of both scales), and the dominant seventh of the
// new key leads to its tonic by the rules of voice leading.
func TestModulation(t *testing.T) {
	c, _ := ParseKey("C")
	a, _ := ParseKey("am")
	for _, tt := range []struct {
		from       Key
		goal, to   string
		pivot, all string
	}{
		{c, "V", "G major", "Am", "I V7 I, G major: ii V7 I"},
		{c, "IV", "F major", "Dm", "I V7 I, F major: vi V7 I"},
		{c, "vi", "A minor", "Dm", "I V7 I, A minor: iv V7 i"},
		{c, "ii", "D minor", "F", "I V7 I, D minor: III V7 i"},
		{c, "iii", "E minor", "Am", "I V7 I, E minor: iv V7 i"},
		{c, "II", "D major", "Em", "I V7 I, D major: ii V7 I"},
		{c, "bII", "Db major", "", "I V7 I, Db major: V7 I"},
		{c, "6-", "A minor", "Dm", "I V7 I, A minor: iv V7 i"},
		{c, "Eb", "Eb major", "", ""},
		{a, "III", "C major", "Dm", "i V7 i, C major: ii V7 I"},
		{a, "v", "E minor", "Am", "i V7 i, E minor: iv V7 i"},
		{a, "iv", "D minor", "", ""},
	} {
		m, err := NewModulation(tt.from, tt.goal)
		if err != nil {
			t.Errorf("%v to %s: %v", tt.from, tt.goal, err)
			continue
		}
		if m.To.ASCII() != tt.to || len(m.Voices) != len(m.Chords) || tt.all != "" && m.Material() != tt.all {
			t.Errorf("%v to %s: %s, %s", tt.from, tt.goal, m.To.ASCII(), m.Material())
		}
		if tt.pivot != "" && (!m.Pivot || m.Chords[m.Home].Chord.ASCII() != tt.pivot) {
			t.Errorf("%v to %s goes by %v, want %s", tt.from, tt.goal, m.Chords[m.Home].Chord, tt.pivot)
		}
	}
	for _, goal := range []string{"I", "i", "V7", "viio", "I6", "X", "", "C"} {
		if _, err := NewModulation(c, goal); err == nil {
			t.Errorf("C major goes to %q", goal)
		}
	}
	if _, err := NewModulation(c.WithMode(Dorian), "V"); !errors.Is(err, ErrModulation) {
		t.Errorf("from dorian: %v", err)
	}
}

// From every key to every major and minor one there is a way that can be voiced, whose
// first chords are all in the old scale and whose pivot is in both.
func TestModulationsOfAllKeys(t *testing.T) {
	goals := strings.Fields("bII ii II bIII iii bIII IV iv V v bVI vi VI bVII bvii")
	for _, from := range Keys() {
		for _, goal := range goals {
			if from.Mode == Minor && strings.HasPrefix(goal, "b") {
				goal = strings.TrimPrefix(goal, "b")
			}
			m, err := NewModulation(from, goal)
			if err != nil {
				t.Errorf("%v to %s: %v", from, goal, err)
				continue
			}
			if !m.To.Valid() {
				t.Errorf("%v to %s: %v is no key", from, goal, m.To)
			}
			for i, r := range m.Chords {
				if i <= m.Home && (i < m.Home || m.Pivot) && !from.owns(r.Chord) {
					t.Errorf("%v to %s: %v is not in the old key", from, goal, r.Chord)
				}
			}
			last := m.Chords[len(m.Chords)-1].Chord
			if last.Root != m.To.Tonic || m.Voices[len(m.Voices)-1][0].Note != m.To.Tonic {
				t.Errorf("%v to %s ends on %v", from, goal, last)
			}
			do := Degree{Step: 1}
			if old := m.To.Degree(from.Tonic); !m.AsBefore(do, old) || m.AsBefore(do, do) {
				t.Errorf("%v to %s: the old do %v is not known", from, goal, old)
			}
		}
	}
}
