package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"singback/internal/testkit"
	"singback/internal/testkit/metrics"
)

// The tables beside the third voices are read line by line, a line counts to the very
// edge, and a weight of 0 takes it out.
func TestThirdVoicesAreRead(t *testing.T) {
	dir := t.TempDir()
	folder := filepath.Join(dir, "voices")
	if err := os.Mkdir(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	if got, err := readVoices(t.TempDir()); err != nil || got != nil {
		t.Errorf("without a folder: %v, %v", got, err)
	}
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := saveWAV(filepath.Join(folder, "grid.wav"), 44100, testkit.Silence(2205)); err != nil {
		t.Fatal(err)
	}
	write("grid.f0.csv", "0.00,0,1\n0.01,200,1\n0.02,220,1\n0.03,0,0\n0.04,0,1\n")
	write("grid.notes.csv", "0.0050,0.0250,210\n")
	voices, err := readVoices(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(voices) != 1 || voices[0].kind != voiceGrid || len(voices[0].notes) != 1 || voices[0].notes[0] != (metrics.Note{Onset: 0.005, Offset: 0.025, Hz: 210}) {
		t.Fatalf("read %+v", voices)
	}
	v := &voices[0]
	// Readings 3 ms late: each is compared with the truth at its own moment.
	track := []reading{
		{at: 0.003}, {at: 0.013, hz: 200 * math.Pow(1.1, 0.3), voiced: true}, {at: 0.023, hz: 220, voiced: true},
		{at: 0.033, hz: 220, voiced: true}, {at: 0.043, hz: 220, voiced: true},
	}
	f := v.frames(track)
	if len(f) != 4 || metrics.RawPitch(f, 1e-6) != 1 || metrics.VoicingFalseAlarm(f) != 0.5 {
		t.Errorf("frames %+v, want four, the two sung ones right, one of the others called sung", f)
	}
	write("grid.f0.csv", "0.00,0,1\n0.02,200,1\n")
	if _, err := readVoices(dir); err == nil {
		t.Error("a table with a line too few: no error")
	}
	write("grid.f0.csv", "0.00,0\n")
	if _, err := readVoices(dir); err == nil {
		t.Error("a table without weights: no error")
	}
}

// A note is known for good from the first reading after the last wrong one.
func TestLock(t *testing.T) {
	n := metrics.Note{Onset: 1, Offset: 1.5, Hz: 200}
	var track []reading
	for k := range 60 {
		at := 0.95 + float64(k)*step
		track = append(track, reading{at: at, hz: 200, voiced: at > 1.005, ready: at + 0.02})
	}
	if l := lock(n, track); math.Abs(l.ms-30) > 1e-6 || l.hz != 200 {
		t.Errorf("known after %+v, want 30 ms", l)
	}
	track[10].hz = 400 // at 1.05 s
	if l := lock(n, track); math.Abs(l.ms-80) > 1e-6 {
		t.Errorf("with an octave at 50 ms known after %g ms, want 80", l.ms)
	}
	track[50].voiced = false // at 1.45 s
	track[52].voiced = false // at 1.47 s, the last that counts
	if l := lock(n, track); !math.IsInf(l.ms, 1) && l.ms < 400 {
		t.Errorf("lost at its end: known after %g ms", l.ms)
	}
}

// The folder of the reference data is read whole.
func TestThirdVoicesReference(t *testing.T) {
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE is not set: the third voices are skipped")
	}
	voices, err := readVoices(dir)
	if err != nil {
		t.Fatal(err)
	}
	notes, kinds := 0, map[string]int{}
	for _, v := range voices {
		notes += len(v.notes)
		kinds[v.kind]++
	}
	// The counts of its README.
	if len(voices) != 8 || kinds[voiceMelody] != 3 || kinds[voiceBreathy] != 2 || notes < 25+12 {
		t.Errorf("%d recordings of kinds %v, %d notes", len(voices), kinds, notes)
	}
}

// The swing of a contour that is made: ±40 cents at 5.5 Hz on a trend, and none.
func TestSwing(t *testing.T) {
	v := &voice{}
	for k := range 150 {
		at := float64(k) * step
		v.f0 = append(v.f0, 200*math.Exp2((20*at+40*math.Sin(1+2*math.Pi*5.5*at))/1200))
	}
	n := metrics.Note{Onset: 0.1, Offset: 1.3, Hz: 200}
	if got := v.swing(n); math.Abs(got-40) > 0.01 {
		t.Errorf("swings by %g cents, want 40", got)
	}
	for k := range v.f0 {
		v.f0[k] = 200 * math.Exp2(20*float64(k)*step/1200)
	}
	if got := v.swing(n); got > 0.01 {
		t.Errorf("a straight note swings by %g cents", got)
	}
	if got := v.swing(metrics.Note{Onset: 0.1, Offset: 0.5}); !math.IsNaN(got) {
		t.Errorf("a short note swings by %g cents", got)
	}
}
