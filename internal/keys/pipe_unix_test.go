//go:build unix

package keys

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// pipe is a keyboard that a test plays on.
func pipe(t *testing.T) (*Keyboard, *os.File) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "midiC1D0")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	k, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return k, f
}

// wire sends bytes after so many milliseconds.
type wire struct {
	after int
	bytes []byte
}

func send(t *testing.T, f *os.File, list []wire) {
	for _, w := range list {
		<-time.After(time.Duration(w.after) * time.Millisecond)
		if _, err := f.Write(w.bytes); err != nil {
			t.Error(err)
		}
	}
}

// In real time through a pipe: running status over packets that are split within a
// message, active sensing between and within them, an octave, and what was struck
// before the window opened, which does not count.
func TestPipe(t *testing.T) {
	k, f := pipe(t)
	send(t, f, []wire{{0, []byte{0x90, 50, 64, 50, 0}}, {100, nil}})
	go send(t, f, []wire{
		{200, []byte{0xfe}}, {100, []byte{0x90}}, {5, []byte{48}}, {5, []byte{0xfe, 64, 60}}, {2, []byte{70}},
		{200, []byte{0xfe}}, {200, []byte{48, 0, 60}}, {3, []byte{0}}, {200, []byte{0xfe}},
		{100, []byte{55, 64}}, {200, []byte{0xfe}}, {200, []byte{55, 0}}, {200, []byte{0xfe}},
	})
	got, err := k.Struck(t.Context(), 2, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 || strikes(got[:1]) == "" || len(got[0].Keys) != 2 || got[0].Keys[0] != 48 || got[0].Keys[1] != 60 || got[1].Keys[0] != 55 {
		t.Fatalf("%s", strikes(got))
	}
	if away := got[1].At - got[0].At; away < 0.5 || got[0].Length < 0.3 {
		t.Errorf("%s", strikes(got))
	}
}

// A keyboard that has sent active sensing and falls silent holds nothing any more; and
// one whose bytes end is gone, which is one line.
func TestPipeFallsSilent(t *testing.T) {
	k, f := pipe(t)
	go send(t, f, []wire{{100, []byte{0xfe, 0x90, 60, 64, 64, 64, 67, 64}}})
	got, err := k.Struck(t.Context(), 1, true)
	if err != nil || len(got) != 1 || len(got[0].Keys) != 3 || got[0].Length < 0.25 || got[0].Length > 1 {
		t.Fatalf("%s, %v", strikes(got), err)
	}
	go func() {
		send(t, f, []wire{{50, []byte{0x90, 62}}})
		f.Close()
	}()
	_, err = k.Struck(t.Context(), 1, false)
	var gone *GoneError
	if !errors.As(err, &gone) || !strings.Contains(err.Error(), "midiC1D0 is gone: was it unplugged") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
	if _, err = k.Struck(t.Context(), 1, false); !errors.As(err, &gone) {
		t.Errorf("asked again: %v", err)
	}
}

// Waiting ends with the drill, and a pipe into which nobody writes can be closed.
func TestPipeEnds(t *testing.T) {
	k, _ := pipe(t)
	ctx, stop := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer stop()
	if _, err := k.Struck(ctx, 1, false); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
	path := filepath.Join(t.TempDir(), "nobody")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	lonely, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := lonely.Close(); err != nil {
		t.Error(err)
	}
}
