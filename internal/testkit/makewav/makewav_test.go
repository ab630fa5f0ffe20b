package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"singback/internal/testkit/makewav/truth"
	"singback/theory"
)

var dir = filepath.Join("..", "..", "..", "testdata", "wav")

// Made again, every recording is the file in the tree: to the byte on amd64,
// where the files were made. Elsewhere the compiler may fuse a multiplication
// with an addition, so a sample may round to the neighbouring step.
func TestRecordingsAreMadeAgainToTheByte(t *testing.T) {
	for _, r := range recordings {
		wav, made, err := r.make()
		if err != nil {
			t.Errorf("%s: %v", r.name, err)
			continue
		}
		kept, err := os.ReadFile(filepath.Join(dir, r.name+".wav"))
		if err != nil {
			t.Errorf("%v; run go run ./internal/testkit/makewav at the top of the project", err)
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, r.name+".txt"))
		if err != nil {
			t.Error(err)
			continue
		}
		if runtime.GOARCH == "amd64" {
			if !bytes.Equal(wav, kept) {
				t.Errorf("%s.wav differs from what makewav makes now, %d and %d bytes", r.name, len(kept), len(wav))
			}
			if made.String() != string(text) {
				t.Errorf("%s.txt is\n%s\nand would now be\n%s", r.name, text, made)
			}
			continue
		}
		if len(wav) != len(kept) {
			t.Errorf("%s.wav has %d bytes, now %d", r.name, len(kept), len(wav))
			continue
		}
		for i := 44; i < len(wav); i += 2 { // after the header
			a, b := int16(binary.LittleEndian.Uint16(wav[i:])), int16(binary.LittleEndian.Uint16(kept[i:]))
			if d := int(a) - int(b); d > 1 || d < -1 {
				t.Errorf("%s.wav: sample %d is %d, now %d", r.name, (i-44)/2, b, a)
				break
			}
		}
	}
}

// The folder holds the recordings of the table, each with its truth, and
// nothing else.
func TestEveryRecordingHasItsTruth(t *testing.T) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	names, total := map[string]bool{}, int64(0)
	for _, r := range recordings {
		names[r.name+".wav"], names[r.name+".txt"] = true, true
	}
	for _, e := range entries {
		if !names[e.Name()] {
			t.Errorf("%s belongs to no recording of the table", e.Name())
		}
		delete(names, e.Name())
		if info, err := e.Info(); err == nil {
			total += info.Size()
		}
	}
	for name := range names {
		t.Errorf("%s is missing", name)
	}
	if total > 4<<20 {
		t.Errorf("the folder has %d bytes, want at most 4 MiB", total)
	}
	outcomes := map[string]int{}
	for _, r := range recordings {
		tr, err := truth.Read(filepath.Join(dir, r.name+".txt"))
		if err != nil {
			t.Error(err)
			continue
		}
		outcomes[tr.Outcome]++
		wav, err := os.ReadFile(filepath.Join(dir, r.name+".wav"))
		if err != nil {
			t.Error(err)
			continue
		}
		if sum := fmt.Sprintf("%x", sha256.Sum256(wav)); sum != tr.SHA256 {
			t.Errorf("%s: the SHA-256 of the recording is %s, its truth says %s", r.name, sum, tr.SHA256)
		}
	}
	for _, o := range truth.Outcomes {
		if outcomes[o] == 0 {
			t.Errorf("no recording expects %s", o)
		}
	}
}

// What the truth says is consistent with theory: F0 and cents name the degree
// in its key, and the outcome follows from cents and tolerance.
func TestTruthIsConsistent(t *testing.T) {
	for _, r := range recordings {
		tr, err := truth.Read(filepath.Join(dir, r.name+".txt"))
		if err != nil {
			t.Error(err)
			continue
		}
		k, err := theory.ParseKey(tr.Key)
		if err != nil {
			t.Errorf("%s: %v", r.name, err)
		}
		if _, ok := degrees[tr.Asked]; !ok {
			t.Errorf("%s asks for %q", r.name, tr.Asked)
		}
		n := tr.Note
		if n == nil {
			if tr.Outcome != "not_measured" && tr.Outcome != "unsteady" {
				t.Errorf("%s: outcome %s without a note", r.name, tr.Outcome)
			}
			continue
		}
		d, ok := degrees[n.Degree]
		if !ok || tr.F0 == nil {
			t.Errorf("%s: sung degree %q, F0 %v", r.name, n.Degree, tr.F0)
			continue
		}
		p := theory.Pitch{Note: k.Tonic, Octave: tr.TonicOctave}.Up(d.Interval())
		p.Octave += n.OctaveShift
		if off := theory.CentsBetween(tr.F0.Hz, theory.Tuning{A4: 440}.Hz(p)); math.Abs(off-n.Cents) > 0.1 {
			t.Errorf("%s: F0 is %.1f cents from %v, expect_cents %.1f", r.name, off, p, n.Cents)
		}
		if math.Abs(n.Cents-r.cents) > 3 {
			t.Errorf("%s: is %.1f cents off, meant to be %g", r.name, n.Cents, r.cents)
		}
		want := "in_tune"
		switch {
		case n.Degree != tr.Asked:
			want = "other_degree"
		case math.Abs(math.Abs(n.Cents)-50) <= 5:
			want = "ambiguous"
		case n.Cents > tr.Tolerance:
			want = "sharp"
		case n.Cents < -tr.Tolerance:
			want = "flat"
		}
		if tr.Outcome != want {
			t.Errorf("%s: %.1f cents from %s at tolerance %g is %s, the truth says %s", r.name, n.Cents, n.Degree, tr.Tolerance, want, tr.Outcome)
		}
		// No verdict may depend on the last cents of a measurement.
		if gap := math.Abs(math.Abs(n.Cents) - tr.Tolerance); gap < 4 && want != "ambiguous" {
			t.Errorf("%s: only %.1f cents from the tolerance", r.name, gap)
		}
	}
}
