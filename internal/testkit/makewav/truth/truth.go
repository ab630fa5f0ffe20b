// Package truth reads and writes the text file that lies beside every
// recording in testdata/wav: where the recording comes from and what a judge
// must say of it.
//
// [Read] gives the truth of FILE.wav, [Truth.String] is the text of FILE.txt.
// The package judges nothing and makes no sound.
package truth

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
)

// Truth is what is known of one recording.
type Truth struct {
	Title   string
	Origin  string
	Licence string
	SHA256  string // of the whole .wav file, in hexadecimal
	// Key and Asked make the question: "Ab major" and a syllable of movable do
	// with do as tonic in minor too. TonicOctave is the octave of the tonic
	// that octave shifts count from.
	Key         string
	TonicOctave int
	Asked       string
	Sung        string  // what really sounds, in words
	Tolerance   float64 // cents
	Outcome     string  // as in the output of the program
	Reason      string  // why nothing can be measured; "" where something can
	// Note is what was sung, nil where no note can be named.
	Note *Note
	// F0 is the pitch that a trace must find, nil where there is none or where
	// it does not stay.
	F0 *F0
}

// Note is the note that a verdict must name.
type Note struct {
	Degree      string  // syllable
	OctaveShift int     // octaves above the place of Degree over the tonic of TonicOctave
	Cents       float64 // from Degree
	Within      float64 // cents by which the verdict may differ
}

// F0 is the geometric mean of the fundamental frequency over a stretch of the
// recording in which the note is held.
type F0 struct {
	Hz       float64
	From, To float64 // seconds
}

// Outcomes are the words that Truth.Outcome can hold.
var Outcomes = []string{"in_tune", "flat", "sharp", "other_degree", "ambiguous", "unsteady", "not_measured"}

// none stands for a value that a recording does not have.
const none = "-"

// keys are the keys of the text file, in order; every file has every key once.
var keys = []string{
	"title", "origin", "licence", "sha256", "key", "tonic_octave", "asked", "sung", "tolerance",
	"expect_outcome", "expect_sung_degree", "expect_octave_shift", "expect_cents", "expect_cents_within",
	"expect_reason", "f0",
}

// ErrTruth is wrapped by every error about a text that is not a truth file.
var ErrTruth = errors.New("not a truth file")

// Read reads the file at path, the .txt beside a recording.
func Read(path string) (Truth, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return Truth{}, err
	}
	t, err := Parse(string(b))
	if err != nil {
		return Truth{}, fmt.Errorf("%s: %w", path, err)
	}
	return t, nil
}

// Parse reads the text of a truth file: one "key: value" a line, every key
// exactly once, in any order. Unknown keys are errors.
func Parse(text string) (Truth, error) {
	values := map[string]string{}
	for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		key, value, ok := strings.Cut(line, ": ")
		switch _, seen := values[key]; {
		case !ok || strings.TrimSpace(value) == "":
			return Truth{}, fmt.Errorf("%w: line %d is %q, want \"key: value\"", ErrTruth, i+1, line)
		case !slices.Contains(keys, key):
			return Truth{}, fmt.Errorf("%w: line %d has the unknown key %q", ErrTruth, i+1, key)
		case seen:
			return Truth{}, fmt.Errorf("%w: line %d has the key %q a second time", ErrTruth, i+1, key)
		}
		values[key] = value
	}
	for _, key := range keys {
		if values[key] == "" {
			return Truth{}, fmt.Errorf("%w: the key %q is missing", ErrTruth, key)
		}
	}
	var err error
	number := func(key string) float64 {
		x, e := strconv.ParseFloat(values[key], 64)
		if e != nil && err == nil {
			err = fmt.Errorf("%w: %s is %q, want a number", ErrTruth, key, values[key])
		}
		return x
	}
	whole := func(key string) int {
		x, e := strconv.Atoi(values[key])
		if e != nil && err == nil {
			err = fmt.Errorf("%w: %s is %q, want a whole number", ErrTruth, key, values[key])
		}
		return x
	}
	t := Truth{
		Title: values["title"], Origin: values["origin"], Licence: values["licence"], SHA256: values["sha256"],
		Key: values["key"], TonicOctave: whole("tonic_octave"), Asked: values["asked"], Sung: values["sung"],
		Tolerance: number("tolerance"), Outcome: values["expect_outcome"],
	}
	if !slices.Contains(Outcomes, t.Outcome) {
		return Truth{}, fmt.Errorf("%w: expect_outcome is %q, want one of %s", ErrTruth, t.Outcome, strings.Join(Outcomes, ", "))
	}
	if v := values["expect_reason"]; v != none {
		t.Reason = v
	}
	if (t.Outcome == "not_measured") != (t.Reason != "") {
		return Truth{}, fmt.Errorf("%w: expect_reason is %q with outcome %s: a reason belongs to not_measured only, and there always", ErrTruth, values["expect_reason"], t.Outcome)
	}
	if values["expect_sung_degree"] != none {
		t.Note = &Note{
			Degree: values["expect_sung_degree"], OctaveShift: whole("expect_octave_shift"),
			Cents: number("expect_cents"), Within: number("expect_cents_within"),
		}
	}
	if v := values["f0"]; v != none {
		t.F0 = new(F0)
		if _, e := fmt.Sscanf(v, f0Format, &t.F0.Hz, &t.F0.From, &t.F0.To); e != nil {
			return Truth{}, fmt.Errorf("%w: f0 is %q, want like \"220.000 Hz from 0.400 to 1.600 s\"", ErrTruth, v)
		}
	}
	return t, err
}

const f0Format = "%f Hz from %f to %f s"

// String returns the text of the file.
func (t Truth) String() string {
	or := func(s string) string {
		if s == "" {
			return none
		}
		return s
	}
	degree, shift, cents, within, f0 := none, none, none, none, none
	if n := t.Note; n != nil {
		degree, shift = n.Degree, strconv.Itoa(n.OctaveShift)
		cents, within = fmt.Sprintf("%.1f", n.Cents), fmt.Sprintf("%g", n.Within)
	}
	if t.F0 != nil {
		f0 = fmt.Sprintf("%.3f Hz from %.3f to %.3f s", t.F0.Hz, t.F0.From, t.F0.To)
	}
	values := []string{
		t.Title, t.Origin, t.Licence, t.SHA256, t.Key, strconv.Itoa(t.TonicOctave), t.Asked, t.Sung,
		fmt.Sprintf("%g", t.Tolerance), t.Outcome, degree, shift, cents, within, or(t.Reason), f0,
	}
	var b strings.Builder
	for i, key := range keys {
		fmt.Fprintf(&b, "%s: %s\n", key, values[i])
	}
	return b.String()
}
