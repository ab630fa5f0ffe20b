package theory_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	. "singback/theory"
)

// reference reads a table of values that the open-source library music21
// computed (see the folder's README), without its header.
func reference(t *testing.T, name string) [][]string {
	t.Helper()
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE is not set: no comparison with the reference tables")
	}
	f, err := os.Open(filepath.Join(dir, "theory-tables", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
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
	// The steps of each scale that leave the major or natural minor scale.
	scales := map[string]struct {
		mode   Mode
		raised string
	}{
		"major": {Major, ""}, "natural minor": {Minor, ""}, "harmonic minor": {Minor, "7"},
		"melodic minor up": {Minor, "67"}, "melodic minor down": {Minor, ""},
	}
	checked := map[string]int{}
	for _, row := range reference(t, "scales.csv") {
		scale, ok := scales[row[1]]
		if !ok {
			continue // a church mode
		}
		word := row[2]
		if strings.Contains(scale.raised, word) {
			word = "#" + word
		}
		k := Key{mustNote(t, row[0]), scale.mode}
		d, err := ParseDegree(word, k, Numbers)
		if err != nil {
			t.Fatal(err)
		}
		if got := k.Note(d).ASCII(); got != row[3] {
			t.Errorf("%s %s, degree %s: %s, want %s", row[0], row[1], row[2], got, row[3])
		}
		checked[row[1]]++
	}
	for name := range scales {
		if checked[name] < 7 {
			t.Errorf("%s: checked %d notes, want a scale at least", name, checked[name])
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
