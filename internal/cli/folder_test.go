package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A folder stands for the recordings in it, by name; what else it has is named. What a
// file is, is seen from how it begins.
func TestFoldersOfTakes(t *testing.T) {
	dir := t.TempDir()
	wav, err := os.ReadFile("../../testdata/wav/la-eb-major-tenor.wav")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"b.wav", "a.WAV", "c.dat", ".hidden.wav", "model.wav", "notes.txt", "folder.wav/x.wav", "empty/x.txt"} {
		wav := wav
		if strings.HasSuffix(name, ".txt") {
			wav = []byte("Here are the takes.")
		}
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, wav, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	var stderr bytes.Buffer
	got, err := spread(&env{stderr: &stderr}, []string{"-", dir, in("b.wav"), in("none.wav")}, in("model.wav"), "")
	if want := []string{"-", in("a.WAV"), in("b.wav"), in("c.dat"), in("b.wav"), in("none.wav")}; err != nil || !slices.Equal(got, want) {
		t.Errorf("%q, %v; want %q", got, err, want)
	}
	if want := dir + ": passed over empty, folder.wav, model.wav, notes.txt.\n"; stderr.String() != want {
		t.Errorf("says %q, want %q", stderr.String(), want)
	}
	if _, err := spread(&env{stderr: &stderr}, []string{in("empty")}); err == nil || !strings.Contains(err.Error(), "no recording in it") {
		t.Errorf("a folder of none: %v", err)
	}
	if got := listed([]string{"1", "2", "3", "4", "5", "6", "7"}); got != "1, 2, 3, 4, 5 and 2 more" {
		t.Errorf("%q", got)
	}
	// Each command that takes several.
	if out, stderr, code := (call{}).run(t, "grade", "--model", in("model.wav"), "--format", "csv", dir); code != exitDone || strings.Count(out, "\n") != 4 || !strings.Contains(stderr, "passed over") {
		t.Errorf("grade: %d %q %q", code, out, stderr)
	}
	for _, command := range []string{"trace", "notes"} {
		to := filepath.Join(t.TempDir(), "out")
		if _, stderr, code := (call{}).run(t, command, "--out", to, dir); code != exitDone {
			t.Errorf("%s: %d %q", command, code, stderr)
		}
		files, err := os.ReadDir(to)
		if err != nil || len(files) != 4 {
			t.Errorf("%s writes %d files, %v; want one for each recording", command, len(files), err)
		}
	}
	// And one that takes one only.
	if _, stderr, code := (call{}).run(t, "judge", "--key", "C", "--degree", "do", dir); code != exitFailed || !strings.Contains(stderr, "folder") {
		t.Errorf("judge: %d %q", code, stderr)
	}
}
