package testkit

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

func TestKeepResult(t *testing.T) {
	dir := t.TempDir()
	r := Result{Name: "pitch-dev", Title: "Pitch", Make: "make evaluate HALF=dev", Text: "| a |\n"}
	path, err := r.Keep(dir, time.Date(2026, 11, 28, 23, 0, 0, 0, time.UTC), "commit 0123456789ab")
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	want := "# Pitch\n\nMeasured on 2026-11-28 at commit 0123456789ab by `make evaluate HALF=dev`. Written by that command; do not edit.\n\n| a |\n"
	if path != filepath.Join(dir, "2026-11-28-pitch-dev.md") || err != nil || string(got) != want {
		t.Errorf("%s, %v:\n%s\nwant\n%s", path, err, got, want)
	}
}
