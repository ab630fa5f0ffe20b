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
