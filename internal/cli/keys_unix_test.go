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
	"time"
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
			time.Sleep(300 * time.Millisecond) // as nobody who reads the line is quicker: the window opens after it
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

// Sung, then played in real time through a pipe, the sound of which comes split and with
// real-time bytes between; after the second degree was sung the keyboard is unplugged. One
// line says so, and what was sung is kept.
func TestSingThenPlayed(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "midi")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	playing := make(chan struct{}, 16)
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
			{{0xfe, 0x90}, {43, 0xf8, 64}, {43}, {0, 0xfe}}, // G2 for sol, two octaves below, on and off again
		} {
			if _, ok := <-playing; !ok {
				return
			}
			time.Sleep(300 * time.Millisecond) // as nobody who reads the line is quicker: the window opens after it
			for _, p := range packets {
				if _, err := f.Write(p); err != nil {
					t.Error(err)
				}
			}
		}
		<-playing
	}()
	stderr := &heeded{said: "Now play it.", heard: playing}
	record := filepath.Join(dir, "r.db")
	stdout, _, code := call{ctx: context.Background(), stderr: stderr}.run(t, "sing", "--then", "play", "--keys", path, "--input", "simulated", "--seed", "3",
		"--key", "C", "--degrees", "sol", "--count", "3", "--output", "none", "--compare=false", "--record", record)
	close(playing)
	<-done
	for _, want := range []string{"1  sang fa, played sol: the hand found it, the voice did not", "2  asked sol: ", "1 of 1 degrees struck right", "3 answers recorded in"} {
		if !strings.Contains(stdout, want) {
			t.Errorf("no %q in %s", want, stdout)
		}
	}
	if text := stderr.String(); code != exitFailed || !strings.Contains(text, "singback sing: answer 2: the keyboard "+path+" is gone: was it unplugged or switched off?") {
		t.Errorf("status %d, %s", code, text)
	}
	export, _ := call{}.must(t, "record", "export", "--record", record)
	if strings.Count(export, ",hand 5,") != 1 || strings.Count(export, ",degree 5,") != 2 || !strings.Contains(export, ",5,sung 4,") {
		t.Error(export)
	}
}

// What answers a dictation that is played back, and what is refused, in one line.
func TestPlayedInputs(t *testing.T) {
	take := filepath.Join("..", "..", "testdata", "wav", "own-prompt.wav")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"dictation", "--answer", "play", "--of", "quality", "--input", take}, "chords are not told apart through the microphone: plug in a MIDI keyboard"},
		{[]string{"dictation", "--answer", "play", "--of", "quality", "--input", "mic"}, "chords are not told apart through the microphone"},
		{[]string{"dictation", "--answer", "play", "--input", "typed"}, "what is played is not typed; want keys, mic, simulated or recordings"},
		{[]string{"dictation", "--answer", "play", "--keys", "x", "--input", "mic"}, "--keys: another --input answers"},
		{[]string{"dictation", "--then", "play", "--input", "simulated"}, "nothing is sung before it; want it with --answer sing"},
		{[]string{"dictation", "--answer", "sing", "--keys", "x"}, "no keyboard is played"},
		{[]string{"sing", "--keys", "x", "--input", "simulated"}, "no keyboard is played; want it with --then play"},
		{[]string{"sing", "--then", "hum", "--input", "simulated"}, `--then: "hum": want play`},
		{[]string{"sing", "--then", "play", "--input", take}, "1 recording given, want two for each question"},
		{[]string{"sing", "--then", "play", "--keys", "nowhere", "--input", "simulated"}, "the keyboard cannot be opened"},
		{[]string{"dictation", "--answer", "play", "--input", take, "--count", "2"}, "2 questions want 2 recordings, 1 given"},
	} {
		_, stderr, code := call{}.run(t, c.args...)
		if code == exitDone || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%v: status %d, %q", c.args, code, stderr)
		}
	}
}

// A recording holds the instrument and nothing else, so what it begins with counts: here
// a keyboard that plays mi.
func TestPlayedRecording(t *testing.T) {
	stdout, _ := call{}.must(t, "dictation", "--answer", "play", "--key", "F", "--degrees", "do", "--input", filepath.Join("..", "..", "testdata", "wav", "own-prompt.wav"))
	if !strings.Contains(stdout, "1  heard do, not mi; struck mi ") {
		t.Error(stdout)
	}
}
