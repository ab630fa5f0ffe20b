package notation

import (
	"bytes"
	"math"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"

	"singback/theory"
)

func parsed(t *testing.T, abc string) theory.Score {
	t.Helper()
	s, _, err := Parse("x.abc", []byte("X:1\n"+abc+"\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The clef that fits: the usual ranges of voices (common practice).
func TestClefFor(t *testing.T) {
	for abc, want := range map[string]theory.Clef{"C c g": theory.TrebleClef, "G, D A": theory.TrebleClef, "C, G, G": theory.TrebleDownClef, "E,, B,, E,": theory.BassClef} {
		if got := theory.ClefFor(parsed(t, "K:C\n"+abc)); got != want {
			t.Errorf("%s: %v, want %v", abc, got, want)
		}
	}
}

// A line played by hand, up to a twentieth of a beat early or late and let go
// early, is read as the line that was meant.
func TestMIDIPlayedByHand(t *testing.T) {
	meant := parsed(t, "M:4/4\nL:1/4\nQ:1/4=90\nK:G\nG A/B/ c2|(3B/A/G/ d/>c/ B A|G4|")
	const quarter = 480
	var track smf.Track
	var notes []played
	at := 0.0
	for i, n := range meant.Notes {
		length := n.Length.Float()
		push := 0.05 * math.Sin(float64(7*i+1))
		if i == 0 {
			push = 0
		}
		notes = append(notes, played{from: int64((at + push) * quarter), to: int64((at + length*0.8 - 0.01) * quarter), pitch: n.Pitch.MIDI()})
		at += length
	}
	track.Add(0, smf.MetaMeter(4, 4))
	track.Add(0, smf.MetaKey(7, true, 1, false))
	last := int64(0)
	for _, n := range notes {
		track.Add(uint32(n.from-last), midi.NoteOn(0, uint8(n.pitch), 90))
		track.Add(uint32(n.to-n.from), midi.NoteOff(0, uint8(n.pitch)))
		last = n.to
	}
	track.Close(0)
	file := smf.New()
	file.TimeFormat = smf.MetricTicks(quarter)
	if err := file.Add(track); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := file.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	got, warnings, err := Parse("x.mid", b.Bytes(), Options{})
	if err != nil || len(warnings) != 1 {
		t.Fatalf("%v %v", err, warnings)
	}
	last0 := len(got.Notes) - 1
	got.Notes[last0].Length = meant.Notes[last0].Length // how long the end is held says nothing
	if show(got) != show(meant) || got.Key != meant.Key || got.Meter != meant.Meter {
		t.Errorf("got  %s\nwant %s", show(got), show(meant))
	}
}
