package keys

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"singback/exercise"
)

var began = time.Date(2026, 11, 28, 9, 0, 0, 0, time.UTC)

// said writes changes: "+60" a key down, "-60" up, "P" and "p" the pedal.
func said(changes []Change) string {
	var out []string
	for _, c := range changes {
		switch {
		case c.Pedal && c.Down:
			out = append(out, "P")
		case c.Pedal:
			out = append(out, "p")
		case c.Down:
			out = append(out, fmt.Sprintf("+%d", c.Key))
		default:
			out = append(out, fmt.Sprintf("-%d", c.Key))
		}
	}
	return strings.Join(out, " ")
}

// streams are bytes and what they say, by MIDI 1.0 (from memory; singback's data sheet
// has the same): running status, velocity 0, real-time bytes anywhere, a system message
// that ends running status, exclusive messages, messages that are cut short.
var streams = []struct {
	name  string
	bytes []byte
	want  string
}{
	{"on and off", []byte{0x90, 60, 64, 0x80, 60, 0}, "+60 -60"},
	{"velocity 0 is off", []byte{0x90, 60, 64, 0x90, 60, 0}, "+60 -60"},
	{"running status", []byte{0x93, 60, 64, 64, 64, 67, 64, 60, 0, 64, 0, 67, 0}, "+60 +64 +67 -60 -64 -67"},
	{"real-time bytes within a message", []byte{0x90, 0xfe, 60, 0xf8, 64, 0xfe, 62, 0xfe, 64}, "+60 +62"},
	{"a system message ends running status", []byte{0x90, 60, 64, 0xf6, 62, 64, 0x90, 64, 64}, "+60 +64"},
	{"an exclusive message, with a clock in it", []byte{0xf0, 0x7e, 0x90 & 0x7f, 0xf8, 9, 1, 0xf7, 0x90, 60, 64}, "+60"},
	{"an exclusive message that is broken off", []byte{0xf0, 0x7e, 60, 64, 0x90, 61, 64}, "+61"},
	{"a message that is cut short", []byte{0x90, 60, 0x90, 62, 64}, "+62"},
	{"data before any status", []byte{60, 64, 0x90, 62, 64}, "+62"},
	{"the pedal, half down too", []byte{0xb0, 64, 127, 64, 63, 64, 64, 64, 65, 64, 0}, "P p P p"},
	{"all notes off", []byte{0x90, 60, 64, 64, 64, 0xb0, 123, 0}, "+60 +64 -60 -64"},
	{"all sound off", []byte{0x90, 60, 64, 0xb0, 120, 0}, "+60 -60"},
	{"reset of the controllers", []byte{0xb0, 64, 127, 121, 0}, "P p"},
	{"other controllers, bends, pressure and programs", []byte{0xb0, 1, 9, 0xe0, 0, 64, 0xd0, 9, 0xa0, 60, 9, 0xc0, 4, 0x90, 60, 1}, "+60"},
	{"a key that is down struck again", []byte{0x90, 60, 64, 60, 70}, "+60 -60 +60"},
	{"a key that is up let go", []byte{0x80, 60, 0}, ""},
	{"what is undefined", []byte{0xf4, 60, 64, 0xf5, 0xfd, 0x90, 60, 64}, "+60"},
}

// However the bytes are split into packets, they say the same.
func TestDecoder(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, s := range streams {
		for split := range 40 {
			d := newDecoder()
			var got []Change
			for rest := s.bytes; len(rest) > 0; {
				n := len(rest)
				if split > 0 {
					n = 1 + rng.IntN(min(n, 1+split%4))
				}
				got = append(got, d.push(rest[:n], began)...)
				rest = rest[n:]
			}
			if said(got) != s.want {
				t.Errorf("%s: %q, want %q", s.name, said(got), s.want)
				break
			}
		}
	}
}

// Once active sensing has come, silence lets go of everything.
func TestActiveSensing(t *testing.T) {
	d := newDecoder()
	d.push([]byte{0x90, 60, 64, 0xb0, 64, 127}, began)
	if d.senses {
		t.Error("no active sensing has come")
	}
	d.push([]byte{0xfe}, began)
	if got := said(d.silent(began)); !d.senses == false || got != "-60 p" {
		t.Errorf("senses %v, %q", d.senses, got)
	}
}

func FuzzDecoder(f *testing.F) {
	for _, s := range streams {
		f.Add(s.bytes)
	}
	f.Fuzz(func(t *testing.T, bytes []byte) {
		one, many := newDecoder(), newDecoder()
		whole := slices.Clone(one.push(bytes, began))
		var parts []Change
		for i := range bytes {
			parts = append(parts, many.push(bytes[i:i+1], began)...)
		}
		if !slices.Equal(whole, parts) {
			t.Errorf("% x: %s in one, %s byte by byte", bytes, said(whole), said(parts))
		}
	})
}

// strikes writes what a window has: keys, when, how long.
func strikes(list []exercise.Strike) string {
	var out []string
	for _, s := range list {
		out = append(out, fmt.Sprintf("%v@%.1f/%.1f", s.Keys, s.At, s.Length))
	}
	return strings.Join(out, " ")
}

// What is struck in a window, and when it closes: times in seconds since it opened. The
// limits are common practice.
func TestWindow(t *testing.T) {
	for _, c := range []struct {
		name   string
		count  int
		chords bool
		does   string // "+60@1.0" …
		want   string
		closed float64
	}{
		{"nothing", 2, false, "", "", 20},
		{"two notes", 2, false, "+60@1 -60@1.5 +67@2 -67@2.5", "[60]@1.0/0.5 [67]@2.0/0.5", 4},
		{"one of two", 2, false, "+60@1 -60@1.5", "[60]@1.0/0.5", 7.5},
		{"after a long thought", 2, false, "+60@1 -60@1.5 +67@7 -67@7.5", "[60]@1.0/0.5 [67]@7.0/0.5", 9},
		{"one too many", 1, false, "+60@1 -60@1.5 +67@2 -67@2.2", "[60]@1.0/0.5 [67]@2.0/0.2", 3.7},
		{"octaves are one", 1, false, "+48@1 +36@1.03 -48@2 -36@2", "[36 48]@1.0/1.0", 3.5},
		{"still held", 1, false, "+60@1", "[60]@1.0/1.5", 2.5},
		{"a chord", 1, true, "+60@1 +64@1.01 +67@1.02 -60@2 -64@2 -67@2", "[60 64 67]@1.0/1.0", 2.4},
		{"a chord that is held on", 1, true, "+60@1 +64@1.01 +67@1.02", "[60 64 67]@1.0/1.5", 2.52},
		{"a chord put right", 1, true, "+60@1 +63@1 +67@1 -63@1.3 +64@1.4 -60@2.5 -64@2.5 -67@2.5", "[60 64 67]@1.0/1.1", 2.9},
		{"a chord let go one by one", 1, true, "+60@1 +64@1 +67@1 +70@1 -60@2 -64@2.1 -67@2.2 -70@2.3", "[60 64 67 70]@1.0/1.0", 2.7},
		{"broken, with the pedal", 1, true, "P@0.9 +60@1 -60@1.2 +64@1.3 -64@1.5 +67@1.6 -67@1.8 p@3", "[60 64 67]@1.0/1.4", 3.4},
		{"two chords", 2, true, "+60@1 +64@1 +67@1 -60@2 -64@2 -67@2 +59@3 +62@3 +67@3 -59@4 -62@4 -67@4", "[60 64 67]@1.0/1.0 [59 62 67]@3.0/1.0", 4.4},
		{"two chords under one pedal", 2, true, "P@0.9 +60@1 +64@1 +67@1 -60@1.5 -64@1.5 -67@1.5 +59@3 +62@3 +67@3 -59@4 -62@4 -67@4 p@4.2", "[60 64 67]@1.0/2.0 [59 62 67]@3.0/1.2", 4.6},
	} {
		w := newWindow(c.count, c.chords, began)
		at := func(seconds float64) time.Time { return began.Add(time.Duration(seconds * float64(time.Second))) }
		for _, word := range strings.Fields(c.does) {
			key, when, _ := strings.Cut(word, "@")
			var seconds float64
			change := Change{Pedal: key == "P" || key == "p", Down: key == "P" || key[0] == '+'}
			fmt.Sscan(when, &seconds)
			if change.At = at(seconds); !change.Pedal {
				fmt.Sscan(key[1:], &change.Key)
			}
			if change.At.After(w.until()) {
				t.Errorf("%s: closed before %s", c.name, word)
			}
			w.push(change)
		}
		until := w.until()
		if got := strikes(w.close(until)); got != c.want || until.Sub(at(c.closed)).Abs() > 20*time.Millisecond {
			t.Errorf("%s: %s, closed after %v, want %s after %g s", c.name, got, until.Sub(began), c.want, c.closed)
		}
	}
}

// What is no keyboard is refused with one line that says what is wanted.
func TestOpenRefuses(t *testing.T) {
	for path, want := range map[string]string{
		"nowhere":      "the keyboard cannot be opened: stat nowhere",
		"keys_test.go": "keys_test.go is no keyboard: want a MIDI device",
		".":            ". is no keyboard",
	} {
		if _, err := Open(path); err == nil || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// The first keyboard is found, and where there is none one line says so.
func TestFind(t *testing.T) {
	dir := t.TempDir()
	pattern := filepath.Join(dir, "midi*")
	if path, err := find(pattern); !errors.Is(err, ErrNone) || path != "" || !strings.Contains(err.Error(), "name its file with --keys PATH") {
		t.Errorf("%q, %v", path, err)
	}
	for _, name := range []string{"midiC2D0", "midiC1D0", "umpC0D0", "controlC0"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if path, err := find(pattern); err != nil || filepath.Base(path) != "midiC1D0" {
		t.Errorf("%q, %v", path, err)
	}
}
