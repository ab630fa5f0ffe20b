package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/synth"
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

// Recordings sing the bass back: the n-th answers the n-th question, in any octave; one
// with nothing in it is held against nobody.
func TestDictationSungByRecordings(t *testing.T) {
	const rate = 16000
	dir := t.TempDir()
	var args []string
	for i, hz := range []float64{392.0, 196.0, 293.66, 0} { // G4, G3, D4, nothing
		x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{synth.Rest(0.5), synth.NewSung(hz, 1), synth.Rest(1)}, uint64(i))
		path := filepath.Join(dir, "take"+string(rune('1'+i))+".wav")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := audio.WriteWAV(f, rate, x); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		args = append(args, path)
	}
	args = append([]string{"dictation", "--answer", "sing", "--key", "G", "--degrees", "do", "--record", filepath.Join(dir, "r.db")}, args...)
	stdout, stderr, code := (user{}).runs(t, args...)
	if code != exitDone {
		t.Fatalf("status %d, %s", code, stderr)
	}
	for _, want := range []string{
		"1  heard do, right; sung do ", "2  heard do, right; sung do ", "3  heard do, not sol; sung sol ",
		"4  heard do: not measured: no sound at all", "2 of 3 bass degrees named right", "4 answers recorded in", "1 not measured and not counted",
	} {
		if !strings.Contains(stdout, want) {
			t.Errorf("no %q in\n%s", want, stdout)
		}
	}
	export, _, code := (user{}).runs(t, "record", "export", "--record", filepath.Join(dir, "r.db"))
	if rows := strings.Split(strings.TrimSpace(export), "\n"); code != exitDone || len(rows) != 5 ||
		!strings.Contains(rows[3], ",recording,") || !strings.Contains(rows[3], ",wrong,") || !strings.Contains(rows[3], ",5,") || !strings.Contains(rows[4], ",not_measured,") {
		t.Errorf("status %d, %s", code, export)
	}
}
