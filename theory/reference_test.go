package theory_test

import (
	"strconv"
	"strings"
	"testing"

	. "singback/theory"
)

// reference reads a table of values that the open-source library music21
// computed (see the folder's README), without its header.
func reference(t *testing.T, name string) [][]string {
	t.Helper()
	return referenceFile(t, "theory-tables", name)
}

// key, pitch, pitch_class, degree, semitones_above_tonic, syllable. Syllables
// are do-based in minor too.
func TestReferenceSolfege(t *testing.T) {
	checked := map[string]bool{}
	for _, row := range reference(t, "solfege.csv") {
		k, n := mustKey(t, row[0]), mustNote(t, row[1])
		d := k.Degree(n)
		if got := []string{strconv.Itoa(n.PitchClass()), strconv.Itoa(d.Step), strconv.Itoa(d.Semitones())}; got[0] != row[2] || got[1] != row[3] || got[2] != row[4] {
			t.Errorf("%v in %v: pitch class, degree, semitones %v, want %v", n, k, got, row[2:5])
		}
		if got := k.Note(d); got != n {
			t.Errorf("%v in %v is spelled %v, want %v", d, k, got, n)
		}
		name := Movable.Name(k, d)
		if strings.ContainsAny(name, "♯♭𝄪𝄫") {
			continue // no syllable of its own here
		}
		checked[name] = true
		if name != row[5] {
			t.Errorf("%v in %v = %s, want %s", n, k, name, row[5])
		}
		if got, err := ParseDegree(row[5], k, Movable); got != d || err != nil {
			t.Errorf("ParseDegree(%q, %v) = %v, %v; want %v", row[5], k, got, err, d)
		}
	}
	if len(checked) != 17 {
		t.Errorf("checked %d syllables, want all 17", len(checked))
	}
}

// tonic, scale, degree, pitch, pitch_class.
func TestReferenceScales(t *testing.T) {
	checked := map[string]int{}
	for _, row := range reference(t, "scales.csv") {
		name, down := strings.CutSuffix(row[1], " down")
		s, err := ParseScale(strings.TrimSuffix(name, " up"))
		if err != nil {
			t.Fatal(err)
		}
		step, err := strconv.Atoi(row[2])
		if err != nil {
			t.Fatal(err)
		}
		tonic := mustNote(t, row[0])
		got := s.Notes(tonic)[step-1]
		if falling := s.NotesFalling(tonic); down {
			got = falling[len(falling)-step]
		}
		if got.ASCII() != row[3] || strconv.Itoa(got.PitchClass()) != row[4] {
			t.Errorf("%s %s, degree %s: %v, want %s", row[0], row[1], row[2], got, row[3])
		}
		checked[row[1]]++
	}
	if len(checked) != 10 {
		t.Errorf("checked %d scales, want 10: %v", len(checked), checked)
	}
	for name, n := range checked {
		if n != 56 {
			t.Errorf("%s: checked %d notes, want seven on eight tonics", name, n)
		}
	}
}

// key, sharps_positive_flats_negative.
func TestReferenceSignatures(t *testing.T) {
	for _, row := range reference(t, "key_signatures.csv") {
		if k := mustKey(t, row[0]); strconv.Itoa(k.Signature()) != row[1] {
			t.Errorf("%v: signature %d, want %s", k, k.Signature(), row[1])
		}
	}
}
