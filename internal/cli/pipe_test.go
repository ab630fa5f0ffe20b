package cli

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/testkit"
	"singback/theory"
)

// What asks says the question before anything comes through the pipe, and one
// interrupt ends it with what there is to say, status 0: before the header of
// the recording and in the middle of it. What only reads ends at once, too.
func TestInterruptedAtAPipe(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir()) // nobody has a profile
	// What runs in the background of a script ignores interrupts, and so do its
	// children, unless it takes them itself.
	interrupts := make(chan os.Signal, 1)
	signal.Notify(interrupts, os.Interrupt)
	defer signal.Stop(interrupts)
	begun := form{1, 1, 48000, 16, false, nil, 0xFFFFFFFF, make([]byte, 9600)}.bytes()
	more := form{1, 1, 48000, 16, false, nil, 0xFFFFFFFF, make([]byte, 1<<18)}.bytes() // than a pipe holds
	for _, c := range []struct {
		args  []string
		feed  []byte
		ready string
		code  int
		says  string
	}{
		{[]string{"sing", "-"}, nil, "1 of 1: sing ", exitDone, "Nothing was answered."},
		{[]string{"sing", "-"}, begun, "Listening.", exitDone, "Nothing was answered."},
		{[]string{"sing", "-", "--format", "json"}, nil, "1 of 1: sing ", exitDone, `"interrupted":true`},
		{[]string{"today", "-"}, nil, "1: sing do", exitDone, "Nothing was answered."},
		{[]string{"echo", "-"}, begun, "Sing now.", exitDone, "Nothing was sung"},
		{[]string{"series", "-", "--level", "1"}, nil, "melody in", exitDone, "Nothing was sung"},
		{[]string{"grade", "-", "--model", "do re mi", "--format", "csv", "--out", filepath.Join(t.TempDir(), "marks.csv")}, more, "", exitFailed, ""},
		{[]string{"judge", "--key", "C", "--degree", "do", "-"}, more, "", -1, ""},
		{[]string{"notes", "-"}, more, "", -1, ""},
		{[]string{"trace", "-"}, more, "", -1, ""},
	} {
		name := fmt.Sprintf("%s, %d bytes", strings.Join(c.args[:1], " "), len(c.feed))
		cmd := exec.CommandContext(t.Context(), "singback", c.args...)
		stdin, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		var stdout bytes.Buffer
		cmd.Stdout = &stdout
		stderr, err := cmd.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if _, err := stdin.Write(c.feed); err != nil {
			t.Fatal(err)
		}
		said := ""
		for b := make([]byte, 4096); !strings.Contains(said, c.ready); {
			n, err := stderr.Read(b)
			if said += string(b[:n]); err != nil {
				t.Fatalf("%s said %q: %v", name, said, err)
			}
		}
		cmd.Process.Signal(os.Interrupt)
		io.Copy(io.Discard, stderr)
		cmd.Wait()
		if code := cmd.ProcessState.ExitCode(); code != c.code || !strings.Contains(stdout.String(), c.says) {
			t.Errorf("%s: exit %d, want %d; standard output %q, want %q", name, code, c.code, stdout.String(), c.says)
		}
	}
}

// A recording through a pipe that is named, as a shell's <(command) is, is read
// once and gets the verdict of the file.
func TestNamedPipe(t *testing.T) {
	samples := make([]float64, 48000)
	for i, s := range testkit.Tone(48000, 0.8, testkit.Steady(theory.Tuning{A4: 440}.Hz(theory.Pitch{Octave: 4})), testkit.Harmonics(5, -6)) {
		samples[i+4000] = s
	}
	file := filepath.Join(t.TempDir(), "do.wav")
	wav := pcm16(t, 48000, samples)
	if err := os.WriteFile(file, wav, 0o600); err != nil {
		t.Fatal(err)
	}
	want, _ := call{}.must(t, "sing", "--degrees", "do", file)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	go func() {
		w.Write(wav)
		w.Close()
	}()
	path := fmt.Sprintf("/dev/fd/%d", r.Fd())
	if !isPipe(path) {
		t.Skip("this system has no names for open pipes in /dev/fd")
	}
	got, _ := call{}.must(t, "sing", "--degrees", "do", path)
	if got != want || !strings.Contains(want, ", right (") {
		t.Errorf("through a pipe %q, from the file %q", got, want)
	}
}

// slow hands out a byte at a time, then waits for ever.
type slow struct {
	left  []byte
	never chan struct{}
}

func (s *slow) Read(b []byte) (int, error) {
	if len(s.left) == 0 {
		<-s.never
	}
	n := copy(b[:1], s.left)
	s.left = s.left[n:]
	return n, nil
}

func TestPatient(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	r := newPatient(ctx, &slow{[]byte("abc"), make(chan struct{})})
	b := make([]byte, 3)
	if _, err := io.ReadFull(r, b); err != nil || string(b) != "abc" {
		t.Errorf("%q, %v", b, err)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := r.Read(b)
		ended <- err
	}()
	cancel()
	if err := <-ended; err != context.Canceled {
		t.Errorf("a Read that waits returns %v", err)
	}
	if n, err := r.Read(b); n != 0 || err != context.Canceled || string(b) != "abc" {
		t.Errorf("after that: %d, %v, %q", n, err, b)
	}
	// The end of what is read, and its errors, come through.
	if all, err := io.ReadAll(newPatient(t.Context(), strings.NewReader("abc"))); string(all) != "abc" || err != nil {
		t.Errorf("%q, %v", all, err)
	}
	if _, err := newPatient(t.Context(), &late{path: filepath.Join(t.TempDir(), "none")}).Read(b); !os.IsNotExist(err) {
		t.Errorf("no file: %v", err)
	}
}
