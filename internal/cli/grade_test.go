package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/report"
)

// writeCurve writes a pitch curve: MIDI pitches, 0 for silence, each for so
// many seconds.
func writeCurve(t testing.TB, path string, each float64, midi ...float64) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("time_s,f0_hz\n")
	const step = 0.01
	for k := range int(each*float64(len(midi))/step + 0.5) {
		at := float64(k) * step
		hz := 0.0
		if v := midi[min(len(midi)-1, int(at/each+1e-9))]; v > 0 {
			hz = 440 * math.Exp2((v-69)/12)
		}
		fmt.Fprintf(&b, "%.4f,%.4f\n", at, hz)
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// takes of do re mi fa sol mi do, of 0.4 s each: as written, a fifth lower, an
// omission, a wrong note.
func gradeTakes(t testing.TB) (dir string, paths []string) {
	dir = t.TempDir()
	for _, take := range []struct {
		name string
		midi []float64
	}{
		{"right", []float64{60, 62, 64, 65, 67, 64, 60}},
		{"lower", []float64{53, 55, 57, 58, 60, 57, 53}},
		{"omitted", []float64{60, 62, 64, 67, 64, 60}},
		{"wrong", []float64{60, 62, 64, 66, 67, 64, 60}},
	} {
		paths = append(paths, writeCurve(t, filepath.Join(dir, take.name+".csv"), 0.4, take.midi...))
	}
	return dir, paths
}

const gradeModel = "do re mi fa sol mi do"

func TestGradeCSV(t *testing.T) {
	_, paths := gradeTakes(t)
	out, stderr := call{}.must(t, append([]string{"grade", "--model", gradeModel, "--format", "csv"}, paths...)...)
	if stderr != "" {
		t.Errorf("standard error has %q", stderr)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if lines[0] != "take,score,pass_probability,notes_right,notes_written,omitted,added,median_cents,drift_cents" {
		t.Errorf("header %q", lines[0])
	}
	for i, want := range []string{"7,7,0,0", "7,7,0,0", "6,7,1,0", "6,7,0,0"} {
		cells := strings.Split(lines[i+1], ",")
		if cells[0] != paths[i] || strings.Join(cells[3:7], ",") != want {
			t.Errorf("%s: %s; want right, written, omitted, added %s", paths[i], lines[i+1], want)
		}
	}
	// The model as a curve, and as itself.
	out, _ = call{}.must(t, "grade", "--model", paths[0], "--format", "csv", paths[0], paths[1])
	for line := range strings.Lines(out) {
		if cells := strings.Split(line, ","); cells[0] != "take" && (cells[3] != "7" || cells[1] < "0.9") {
			t.Errorf("against itself: %s", line)
		}
	}
	// In strict mode a fifth lower is not right.
	out, _ = call{}.must(t, "grade", "--model", gradeModel, "--key", "C", "--strict", "--format", "csv", paths[1])
	if cells := strings.Split(strings.Split(out, "\n")[1], ","); cells[2] > "0.2" {
		t.Errorf("strict, a fifth lower: %v", cells)
	}
}

func TestGradeJSON(t *testing.T) {
	_, paths := gradeTakes(t)
	out, _ := call{}.must(t, "grade", "--model", gradeModel, "--format", "json", paths[2], paths[3])
	var doc struct {
		Schema int            `json:"schema"`
		Takes  []report.Grade `json:"takes"`
	}
	d := json.NewDecoder(strings.NewReader(out))
	d.DisallowUnknownFields()
	if err := d.Decode(&doc); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if doc.Schema != report.Schema || len(doc.Takes) != 2 {
		t.Fatalf("schema %d, %d takes", doc.Schema, len(doc.Takes))
	}
	if n := doc.Takes[0].Notes[3]; n.Result != "omitted" || n.Degree != "fa" || n.Cents != nil {
		t.Errorf("the note left out: %+v", n)
	}
	if n := doc.Takes[1].Notes[3]; n.Result != "wrong" || n.Cents == nil || math.Abs(*n.Cents-100) > 20 {
		t.Errorf("the wrong note: %+v", n)
	}
	if len(doc.Takes[1].Why) == 0 || doc.Takes[1].Weakest == nil {
		t.Errorf("no reason: %+v", doc.Takes[1])
	}
}

// One broken take is reported on one line, and the rest go on.
func TestGradeGoesOn(t *testing.T) {
	dir, paths := gradeTakes(t)
	broken := filepath.Join(dir, "broken.csv")
	if err := os.WriteFile(broken, []byte("time_s,f0_hz\n0,440\n0,440\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	out, stderr, code := call{}.run(t, "grade", "--model", gradeModel, "--format", "csv", paths[0], broken, paths[1])
	if code != exitFailed || strings.Count(out, "\n") != 3 {
		t.Errorf("exit %d, %q", code, out)
	}
	want := broken + ": not a pitch curve: line 3: the time 0 s is not after 0 s; want times that ascend\nsingback grade: 1 of 3 takes could not be graded\n"
	if stderr != want {
		t.Errorf("standard error has %q, want %q", stderr, want)
	}
}

// Whatever byte a run was interrupted after, going on gives what a run without
// an interruption gives.
func TestGradeResumes(t *testing.T) {
	dir, paths := gradeTakes(t)
	for _, format := range []string{"csv", "json"} {
		args := func(file string) []string {
			return append([]string{"grade", "--model", gradeModel, "--format", format, "--out", file}, paths...)
		}
		whole := filepath.Join(dir, "whole."+format)
		call{}.must(t, args(whole)...)
		want, err := os.ReadFile(whole)
		if err != nil {
			t.Fatal(err)
		}
		if _, stderr, code := (call{}).run(t, args(whole)...); code != exitFailed || !strings.Contains(stderr, "--resume goes on with it") {
			t.Errorf("over a file that is there: exit %d, %q", code, stderr)
		}
		step := max(1, len(want)/40)
		for cut := 0; cut <= len(want); cut += step {
			torn := filepath.Join(dir, "torn."+format)
			if err := os.WriteFile(torn, want[:cut], 0o600); err != nil {
				t.Fatal(err)
			}
			call{}.must(t, append(args(torn), "--resume")...)
			got, err := os.ReadFile(torn)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Fatalf("%s, cut after %d bytes of %d:\n got %s\nwant %s", format, cut, len(want), got, want)
			}
		}
		other := filepath.Join(dir, "other."+format)
		if err := os.WriteFile(other, []byte("somebody's notes\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, stderr, code := (call{}).run(t, append(args(other), "--resume")...); code != exitFailed || !strings.Contains(stderr, "it was not written by grade") {
			t.Errorf("over another file: exit %d, %q", code, stderr)
		}
		if b, _ := os.ReadFile(other); string(b) != "somebody's notes\n" {
			t.Errorf("another file was changed: %q", b)
		}
	}
}

// The table and the reasons fit a terminal of 80 columns.
func TestGradeText(t *testing.T) {
	_, paths := gradeTakes(t)
	for _, args := range [][]string{{paths[3]}, paths} {
		out, _ := call{}.must(t, append([]string{"grade", "--model", "do re mi fa - sol mi do"}, args...)...)
		for line := range strings.Lines(out) {
			if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 80 {
				t.Errorf("%d columns: %s", n, line)
			}
		}
	}
}
