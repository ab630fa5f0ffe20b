package cli

import (
	"strings"
	"testing"
)

// Chords that nobody hears are not to be named by a person at a keyboard; names from
// a file, or of the simulated listener, need no sound.
func TestDictationIsHeard(t *testing.T) {
	args := []string{"dictation", "--key", "G", "--degrees", "do", "--count", "1", "--output", "none"}
	_, stderr, code := (user{stdin: "do\n", terminal: true}).runs(t, args...)
	if code != exitUsage || !strings.Contains(stderr, "--output none: chords that nobody hears cannot be named; want ") {
		t.Errorf("at a terminal: status %d, %q", code, stderr)
	}
	if stdout, stderr, code := (user{stdin: "do\n"}).runs(t, args...); code != exitDone || !strings.Contains(stdout, "1  heard do, right") {
		t.Errorf("from a file: status %d, %q, %q", code, stdout, stderr)
	}
	if stdout, stderr, code := (user{}).runs(t, append(args, "--input", "simulated")...); code != exitDone || !strings.Contains(stdout, "1 of 1") && !strings.Contains(stdout, "0 of 1") {
		t.Errorf("simulated: status %d, %q, %q", code, stdout, stderr)
	}
}
