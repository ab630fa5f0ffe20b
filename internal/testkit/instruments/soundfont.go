package instruments

import (
	"context"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit"
)

// font is the free soundfont of the Debian package timgm6mb-soundfont (GPL-2, Tim
// Brechbill). It is read where it was installed, and no part of this repository.
const font = "/usr/share/sounds/sf2/TimGM6mb.sf2"

// Program is a program of General MIDI.
type Program struct {
	Name    string
	Number  int // from 0
	Low, Hi int // keys that are played
}

// Programs are those that tests go through.
func Programs() []Program {
	return []Program{
		{"piano", 0, 24, 93}, {"electric piano", 4, 28, 84}, {"vibraphone", 11, 53, 84}, {"organ", 16, 36, 84}, {"church organ", 19, 36, 84},
		{"nylon guitar", 24, 40, 76}, {"steel guitar", 25, 40, 79}, {"acoustic bass", 32, 28, 55}, {"electric bass", 33, 28, 60}, {"harp", 46, 36, 84}, {"flute", 73, 60, 93},
	}
}

// Soundfont returns what fluidsynth makes of notes with the soundfont, without its own
// room, at 48 kHz. The test is skipped where one of them is missing, and fails if
// SINGBACK_REQUIRE_TOOLS is 1.
func Soundfont(t testing.TB, program int, notes []Note) []float64 {
	t.Helper()
	tool := testkit.Tool(t, "fluidsynth")
	if _, err := os.Stat(font); err != nil {
		if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" {
			t.Fatalf("the soundfont is not installed, and SINGBACK_REQUIRE_TOOLS=1 asks for it: %v", err)
		}
		t.Skipf("the soundfont is not installed (package timgm6mb-soundfont): %v", err)
	}
	dir := t.TempDir()
	score, sound := filepath.Join(dir, "notes.mid"), filepath.Join(dir, "notes.wav")
	if err := os.WriteFile(score, smf(program, notes), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.6", "-r", "48000", "-T", "wav", "-F", sound, font, score).CombinedOutput()
	if err != nil {
		t.Fatalf("fluidsynth: %v: %s", err, out)
	}
	w, err := audio.OpenWAV(sound)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	var x []float64
	block := make([]float64, 1<<14)
	for {
		n, _, err := w.Read(context.Background(), block)
		x = append(x, block[:n]...)
		if err != nil || n == 0 {
			return x
		}
	}
}

// smf is a Standard MIDI File of one track: 480 ticks a quarter, which lasts half a
// second, the tempo of a file that names none.
func smf(program int, notes []Note) []byte {
	const ticks = 960.0 // a second
	type event struct {
		at    int
		bytes []byte
	}
	var events []event
	for _, n := range notes {
		loud := n.Loud
		if loud == 0 {
			loud = 0.8
		}
		events = append(events, event{int(n.At * ticks), []byte{0x90, byte(n.Key), byte(1 + 126*loud)}})
		events = append(events, event{int((n.At + n.Length) * ticks), []byte{0x80, byte(n.Key), 0}})
	}
	slices.SortStableFunc(events, func(a, b event) int { return a.at - b.at })
	track := []byte{0, 0xc0, byte(program)}
	at := 0
	for _, e := range events {
		track = append(append(track, length(e.at-at)...), e.bytes...)
		at = e.at
	}
	track = append(append(track, length(ticks)...), 0xff, 0x2f, 0)
	file := []byte("MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk")
	return append(binary.BigEndian.AppendUint32(file, uint32(len(track))), track...)
}

// length writes a number as MIDI files have it, of seven bits a byte.
func length(n int) []byte {
	out := []byte{byte(n & 0x7f)}
	for n >>= 7; n > 0; n >>= 7 {
		out = append([]byte{byte(n&0x7f) | 0x80}, out...)
	}
	return out
}
