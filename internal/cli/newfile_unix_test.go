//go:build unix

package cli

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// A named pipe is written into, and is not replaced by a file.
func TestFilesThatArePipes(t *testing.T) {
	want, _ := call{}.must(t, "melody", "--level", "1", "--seed", "1", "--to", "abc")
	fifo := filepath.Join(t.TempDir(), "pipe.wav")
	if err := syscall.Mkfifo(fifo, 0o666); err != nil {
		t.Fatal(err)
	}
	got := make(chan []byte, 1)
	go func() {
		b, _ := os.ReadFile(fifo)
		got <- b
	}()
	call{}.must(t, "melody", "--level", "1", "--seed", "1", "--to", "abc", "--out", fifo)
	if b := <-got; string(b) != want {
		t.Errorf("a pipe gets %q, want %q", b, want)
	}
	go func() {
		b, _ := os.ReadFile(fifo)
		got <- b
	}()
	call{}.must(t, "cadence", "--key", "C", "I V I", "--output", fifo)
	if b := <-got; len(b) < 1000 || string(b[:4]) != "RIFF" {
		t.Errorf("a pipe gets %d bytes of sound", len(b))
	}
	if info, err := os.Stat(fifo); err != nil || info.Mode()&os.ModeNamedPipe == 0 {
		t.Errorf("the pipe is %v now, %v", info, err)
	}
}
