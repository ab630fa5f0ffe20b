//go:build unix

package cli

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// heeded tells each time that something is written that says so.
type heeded struct {
	bytes.Buffer
	said  string
	heard chan<- struct{}
}

func (h *heeded) Write(p []byte) (int, error) {
	if strings.Contains(string(p), h.said) {
		h.heard <- struct{}{}
	}
	return h.Buffer.Write(p)
}

// A keyboard in real time, through a pipe: a right note by running status, split in its
// middle, a wrong one with its octave, and then it is unplugged. What was answered is
// told and kept, and one line says what happened.
func TestDictationPlayed(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "midi")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	listening := make(chan struct{}, 16)
	done := make(chan struct{})
	go func() {
		defer close(done)
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Error(err)
			return
		}
		defer f.Close()
		for _, packets := range [][][]byte{
			{{0xfe, 0x90, 43, 64}, {43}, {0, 0xfe}},                // G2, on and off again
			{{0x90, 50}, {64, 0xf8, 38, 64, 0x80, 38}, {0, 50, 0}}, // D3 and D2
		} {
			if _, ok := <-listening; !ok {
				return
			}
			for _, p := range packets {
				if _, err := f.Write(p); err != nil {
					t.Error(err)
				}
			}
		}
		<-listening
	}()
	stderr := &heeded{said: "Listening.", heard: listening}
	record := filepath.Join(dir, "r.db")
	stdout, _, code := call{ctx: context.Background(), stderr: stderr}.run(t, "dictation", "--answer", "play", "--keys", path,
		"--key", "G", "--degrees", "do", "--count", "3", "--output", "none", "--compare=false", "--record", record)
	close(listening)
	<-done
	for _, want := range []string{"1  heard do, right; struck do", "2  heard do, not sol; struck sol", "1 of 2 bass degrees named right", "2 answers recorded in"} {
		if !strings.Contains(stdout, want) {
			t.Errorf("no %q in %s", want, stdout)
		}
	}
	if text := stderr.String(); code != exitFailed || !strings.Contains(text, "singback dictation: answer 3: the keyboard "+path+" is gone: was it unplugged or switched off?") {
		t.Errorf("status %d, %s", code, text)
	}
	export, _ := call{}.must(t, "record", "export", "--record", record)
	if strings.Count(export, ",keys,") != 2 {
		t.Error(export)
	}
}
