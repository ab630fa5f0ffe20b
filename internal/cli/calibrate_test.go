package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"singback/calib"
	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/calibrate"
	"singback/internal/fold"
	"singback/internal/report"
	"singback/internal/synth"
)

func (c call) calibrate(t *testing.T, args ...string) report.Calibration {
	t.Helper()
	stdout, _ := c.must(t, append(append([]string{"calibrate"}, args...), "--format", "json")...)
	var r report.Calibration
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatalf("%q: %v", stdout, err)
	}
	return r
}

// Each simulated singer's range is found within a semitone, the instrument within
// 2 cents, and on a clean singer in a quiet room there is nothing to advise.
func TestCalibrateSimulated(t *testing.T) {
	for _, name := range exercise.Voices() {
		if raceDetector && name != "soprano" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			v, err := exercise.VoiceNamed(name)
			if err != nil {
				t.Fatal(err)
			}
			c := call{data: t.TempDir()}
			r := c.calibrate(t, "--input", "simulated", "--only", "room,level,leak,voice,instrument", "--voice", name)
			if r.Schema != report.Schema || !r.Simulated || r.Saved != nil || len(r.Advice) != 0 || len(r.Parts) != 5 {
				t.Errorf("%+v", r)
			}
			for _, p := range r.Parts {
				if p.Outcome != "measured" {
					t.Errorf("%+v", p)
				}
			}
			got := r.Profile.Voice
			if math.Abs(float64(got.Comfortable.LowMIDI-v.Range.Low)) > 1 || math.Abs(float64(got.Comfortable.HighMIDI-v.Range.High)) > 1 || got.Stated {
				t.Errorf("found %+v, is %+v", got.Comfortable, v.Range)
			}
			if off := 1200 * math.Log2(r.Tuned.A4Hz/calibrate.SimulatedA4); math.Abs(off) > 2 {
				t.Errorf("instrument %+v is %.2f cents off", r.Tuned, off)
			}
			if names, _ := os.ReadDir(c.data); len(names) != 0 {
				t.Errorf("a simulated singer left %v", names)
			}
		})
	}
}

// The recordings of a singer are measured and kept; parts that were not measured
// keep their old values, and the profile before is kept.
func TestCalibrateKeeps(t *testing.T) {
	c, file := measured(t)
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var song []synth.Sung
	for _, midi := range []int{55, 52, 50, 48, 47, 52, 55, 59, 62, 64} {
		song = append(song, synth.NewSung(440*math.Exp2(float64(midi-69)/12), .8))
	}
	x, _ := synth.Voice{SampleRate: sampleRate, Type: synth.Tenor}.Sing(song, 3)
	wav := filepath.Join(t.TempDir(), "range.wav")
	out, err := audio.CreateWAV(wav, sampleRate)
	if err != nil {
		t.Fatal(err)
	}
	if err := out.Write(t.Context(), x); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	r := c.calibrate(t, "--only", "voice", "--input", wav)
	p := c.profile(t)
	if r.Saved == nil || *r.Saved != file || r.Profile.Voice.Comfortable.LowMIDI != 47 || p.Voice.Comfortable.HighMIDI != 64 || p.Room.GateDBFS != -46 || p.Instrument.A4Hz != 432.44 {
		t.Errorf("%+v; kept %+v %+v", r, p.Voice, p.Room)
	}
	old, err := filepath.Glob(filepath.Join(filepath.Dir(file), "old", "Otto.*"))
	if err != nil || len(old) != 1 {
		t.Fatalf("%v: %v", old, err)
	}
	if kept, err := os.ReadFile(old[0]); err != nil || !bytes.Equal(kept, before) {
		t.Errorf("%v: kept %q", err, kept)
	}
	if p := c.calibrate(t, "--only", "voice", "--input", wav, "--widen").Profile.Voice; p.Comfortable.LowMIDI != 47 {
		t.Errorf("widened %+v", p)
	}
	// Stated, for another singer.
	r = c.calibrate(t, "--input", "simulated", "--voice", "I am a tenor", "--only", "room", "--profile", filepath.Join(c.data, "x.toml"), "--singer", "Ute")
	if v := r.Profile.Voice; r.Profile.Name != "Ute" || !v.Stated || *v.Kind != "tenor" || r.Saved == nil || r.Parts[3].Outcome != "stated" {
		t.Errorf("%+v", r)
	}
	// With nothing to measure there is nobody to hear, and it is kept.
	r = c.calibrate(t, "--only", "voice", "--range", "my range is C3 to G4")
	if v := c.profile(t).Voice; r.Simulated || r.Saved == nil || !v.Stated || v.Comfortable.LowMIDI != 48 || v.Comfortable.HighMIDI != 67 {
		t.Errorf("%+v, kept %+v", r, v)
	}
	r = c.calibrate(t, "--input", "simulated", "--growing", "--only", "voice", "--voice", "child")
	if r.Again == nil || r.Again.From != clock().AddDate(0, 0, 6*7).Format(time.DateOnly) || !r.Profile.Voice.Growing {
		t.Errorf("a growing voice: %+v", r.Again)
	}
}

// counted is a context that is cancelled when it is looked at for the n-th time.
type counted struct {
	context.Context
	stop context.CancelFunc
	left *atomic.Int64
}

func (c counted) Err() error {
	if c.left.Add(-1) <= 0 {
		c.stop()
	}
	return c.Context.Err()
}

// Interrupted anywhere, the profile is the old one, to the byte, or at the end the
// new one whole.
func TestCalibrateInterrupted(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "singer.toml")
	c := call{data: t.TempDir()}
	parts := "room,level,leak,voice"
	if raceDetector {
		parts = "room,level,leak"
	}
	args := []string{"calibrate", "--input", "simulated", "--profile", file, "--only", parts, "--voice", "bass"}
	c.must(t, append(args, "--seed", "5")...)
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	args = append(args, "--seed", "6")
	interrupted := 0
	for n := int64(1); ; n = n*2 + 3 {
		left := &atomic.Int64{}
		left.Store(n)
		c.interruptible = func(ctx context.Context) (context.Context, context.CancelFunc) {
			ctx, stop := context.WithCancel(ctx)
			return counted{ctx, stop, left}, stop
		}
		stdout, stderr, code := c.run(t, args...)
		after, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if code == exitDone {
			if bytes.Equal(after, before) {
				t.Error("the new profile was not kept")
			}
			break
		}
		interrupted++
		if code != exitFailed || stdout != "" || !strings.Contains(stderr, "nothing was kept") {
			t.Errorf("looked at %d times: exit %d, %q, %q", n, code, stdout, stderr)
		}
		if !bytes.Equal(after, before) {
			t.Fatalf("looked at %d times: the profile changed", n)
		}
	}
	if interrupted < 8 {
		t.Errorf("interrupted %d times only", interrupted)
	}
}

func TestCalibrateRefusals(t *testing.T) {
	c := call{data: t.TempDir()}
	bad := filepath.Join(t.TempDir(), "bad.toml")
	if err := os.WriteFile(bad, []byte("version = 9\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, r := range []struct {
		args string
		code int
		want string
	}{
		{"--only rum", exitUsage, "want room, level, leak, voice or instrument"},
		{"--skip x", exitUsage, "--skip"},
		{"--only room --skip room", exitUsage, "nothing is left"},
		{"--voice trumpet", exitUsage, "want one of"},
		{"--range C3", exitUsage, "want two"},
		{"--singer ../x", exitUsage, "letters, digits"},
		{"--singer a --profile b", exitUsage, "want one singer"},
		{"--loudness 0", exitUsage, "out of range"},
		{"--note H2", exitUsage, "--note"},
		{"--input nowhere.wav", exitUsage, "one for each part: room, level, voice"},
		{"--only room --input nowhere.wav", exitFailed, "nowhere.wav"},
		{"--input simulated --device x", exitUsage, "--device"},
		{"--input simulated --profile " + bad, exitFailed, "left alone"},
	} {
		args := append([]string{"calibrate"}, strings.Fields(r.args)...)
		stdout, stderr, code := c.run(t, args...)
		refused(t, args, stdout, stderr, code, r.code, r.want)
	}
	if data, err := os.ReadFile(bad); err != nil || string(data) != "version = 9\n" {
		t.Errorf("the file was changed: %q, %v", data, err)
	}
}

// The cautions come before what they are about, and every line fits.
func TestCalibrateCautions(t *testing.T) {
	stdout, stderr := call{data: t.TempDir()}.must(t, "calibrate", "--input", "simulated", "--growing")
	level, leak := strings.Index(stderr, fold.Text(calib.LevelCaution, 79)), strings.Index(stderr, "Loudspeaker:")
	caution, voice := strings.Index(stderr, fold.Text(calib.RangeCaution, 79)), strings.Index(stderr, "Sing any note")
	if level < 0 || level > leak || caution < 0 || caution > voice || !strings.Contains(stderr, "A growing voice is never pushed") {
		t.Errorf("%s", stderr)
	}
	for line := range strings.Lines(stdout + stderr) {
		if len([]rune(line)) > 80 {
			t.Errorf("too long: %q", line)
		}
	}
	for _, want := range []string{"A simulated singer was measured, not you.", "19 cents", "25 cents", "again from"} {
		if !strings.Contains(strings.Join(strings.Fields(stdout), " "), want) {
			t.Errorf("%q is missing in\n%s", want, stdout)
		}
	}
	if strings.Contains(stdout, "SPL") {
		t.Error("a level in dB SPL is claimed")
	}
}
