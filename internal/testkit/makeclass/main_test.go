package main

import (
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/audio"
)

// What is made is what is said of it: a recording for each student and task, a truth for
// each, and the commands that make the class.
func TestRun(t *testing.T) {
	dir := t.TempDir()
	if err := run(dir, 3, 2, 6, 16000, []string{"wav"}); err != nil {
		t.Fatal(err)
	}
	takes, err := filepath.Glob(filepath.Join(dir, "takes", "*.wav"))
	if err != nil || len(takes) != 6 {
		t.Fatalf("%d takes (%v)", len(takes), err)
	}
	w, err := audio.OpenWAV(takes[0])
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	if n, _, err := w.Read(context.Background(), make([]float64, 16000)); n != 16000 || err != nil || w.SampleRate() != 16000 {
		t.Errorf("%d samples at %d Hz (%v)", n, w.SampleRate(), err)
	}
	f, err := os.Open(filepath.Join(dir, "planted.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 7 {
		t.Errorf("%d rows of truth (%v)", len(rows), err)
	}
	script, err := os.ReadFile(filepath.Join(dir, "make.sh"))
	if err != nil || strings.Count(string(script), "class add task") != 2 {
		t.Errorf("the commands are %q (%v)", script, err)
	}
	if err := run(dir, 1, 1, 6, 16000, []string{"tape"}); err == nil || !strings.Contains(err.Error(), `"tape" is no format`) {
		t.Errorf("another format: %v", err)
	}
}
