package audio

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

func TestWriteWAVBytes(t *testing.T) {
	var out bytes.Buffer
	samples := []float64{0, 0.5, -0.5, 1, -1, 2, math.Inf(-1), math.NaN(), 1.5 / 32768, 2.5 / 32768, -0.4 / 32768, 32766.6 / 32768}
	if err := WriteWAV(&out, 48000, samples); err != nil {
		t.Fatal(err)
	}
	// The canonical header of 44 bytes, then whole numbers: rounded to the
	// nearest, halves to even, and clipped.
	want := "RIFF\x3c\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x80\xbb\x00\x00\x00\x77\x01\x00\x02\x00\x10\x00data\x18\x00\x00\x00" +
		"\x00\x00\x00\x40\x00\xc0\xff\x7f\x00\x80\xff\x7f\x00\x80\x00\x00\x02\x00\x02\x00\x00\x00\xff\x7f"
	if out.String() != want {
		t.Errorf("wrote %q\nwant  %q", out.String(), want)
	}
}

func TestWriteWAVRoundTrip(t *testing.T) {
	samples := make([]float64, 65536) // every value there is
	for i := range samples {
		samples[i] = float64(i-32768) / 32768
	}
	var out bytes.Buffer
	if err := WriteWAV(&out, 44100, samples); err != nil {
		t.Fatal(err)
	}
	w, err := NewWAV(&out, "take.wav")
	if err != nil {
		t.Fatal(err)
	}
	if want := (Format{44100, 1, 16, PCM, 65536}); w.Format != want {
		t.Errorf("format %v, want %v", w.Format, want)
	}
	got, err := readAll(t, w, 4096)
	same(t, "round trip", got, err, samples)
}

func TestWriteWAVRefused(t *testing.T) {
	for rate, want := range map[int]string{
		7999:   "a sample rate of 7999 Hz, want 8000 to 192000",
		192001: "a sample rate of 192001 Hz, want 8000 to 192000",
	} {
		if err := WriteWAV(io.Discard, rate, nil); err == nil || err.Error() != want {
			t.Errorf("WriteWAV: %v, want %s", err, want)
		}
		path := filepath.Join(t.TempDir(), "take.wav")
		if _, err := CreateWAV(path, rate); err == nil || err.Error() != path+": "+want {
			t.Errorf("CreateWAV: %v, want %s", err, want)
		}
		if _, err := os.Stat(path); err == nil {
			t.Error("CreateWAV left a file behind a refusal")
		}
	}
	path := filepath.Join(t.TempDir(), "none", "take.wav")
	if _, err := CreateWAV(path, 44100); !errors.Is(err, fs.ErrNotExist) || err.Error() != path+": no such file or directory" {
		t.Errorf("CreateWAV in a missing folder: %v", err)
	}
}

func TestWAVFile(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "take.wav")
	if err := os.WriteFile(path, bytes.Repeat([]byte("longer than what comes"), 1000), 0o666); err != nil {
		t.Fatal(err)
	}
	f, err := CreateWAV(path, 44100)
	if err != nil {
		t.Fatal(err)
	}
	samples := make([]float64, 1000)
	for i := range samples {
		samples[i] = float64(i) / 32768
	}
	if err := errors.Join(f.Write(ctx, samples[:1]), f.Write(ctx, nil), f.Write(ctx, samples[1:500]), f.Drain(ctx)); err != nil {
		t.Fatal(err)
	}

	// Interrupted here, the file is as good as finished.
	w, err := OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	got, err := readAll(t, w, 4096)
	same(t, "never closed", got, err, samples[:500])
	w.Close()

	if err := errors.Join(f.Write(ctx, samples[500:]), f.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	if err := f.Write(ctx, samples); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("Write after Close: %v", err)
	}
	onDisk, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	if err := WriteWAV(&want, 44100, samples); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(onDisk, want.Bytes()) {
		t.Errorf("the closed file differs from what WriteWAV writes")
	}
	if _, err := exec.LookPath("sox"); err != nil {
		t.Log("sox is not installed: it does not read what we wrote")
		return
	}
	raw, err := exec.Command("sox", path, "-t", "s16", "-L", "-").Output()
	if err != nil || !bytes.Equal(raw, want.Bytes()[44:]) {
		t.Errorf("sox reads other samples, or fails: %v", err)
	}
}

func TestWAVFileToPipe(t *testing.T) {
	ctx := context.Background()
	var out bytes.Buffer
	f, err := NewWAVFile(&out, "standard output", 8000)
	if err != nil {
		t.Fatal(err)
	}
	samples := make([]float64, 100000)
	for i := range samples {
		samples[i] = float64(i%100) / 128
	}
	if err := errors.Join(f.Write(ctx, samples), f.Close()); err != nil {
		t.Fatal(err)
	}
	w, err := NewWAV(&out, "standard input")
	if err != nil {
		t.Fatal(err)
	}
	if want := (Format{8000, 1, 16, PCM, -1}); w.Format != want {
		t.Errorf("format %v, want %v", w.Format, want)
	}
	got, err := readAll(t, w, 4096)
	same(t, "pipe", got, err, samples)
}

// Stands in for a file of 4 GiB: all but the last sample is taken as written.
func TestWAVFileTooLong(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "take.wav")
	f, err := CreateWAV(path, 48000)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	f.frames = maxFrames - 1
	if err := f.Write(ctx, []float64{0, 0}); !errors.Is(err, ErrTooLong) || err.Error() != path+": longer than a WAV file can be (4 GiB)" {
		t.Errorf("one sample too many: %v", err)
	}
	if err := f.Write(ctx, []float64{0}); err != nil {
		t.Errorf("the last sample: %v", err)
	}
	head := header(48000, maxFrames)
	// RIFF size 36 + data, both below the 0xFFFFFFFF of an unknown length.
	if string(head[4:8]) != "\xfe\xff\xff\xff" || string(head[40:44]) != "\xda\xff\xff\xff" {
		t.Errorf("sizes %x and %x, want feffffff and daffffff", head[4:8], head[40:44])
	}
}

func TestWAVFileFailure(t *testing.T) {
	ctx := context.Background()
	full := errors.New("no space left")
	room := 44
	f, err := NewWAVFile(writerFunc(func(p []byte) (int, error) {
		if len(p) > room {
			return 0, full
		}
		room -= len(p)
		return len(p), nil
	}), "take.wav", 44100)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Write(ctx, []float64{0}); err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{f.Drain(ctx), f.Write(ctx, []float64{0}), f.Close()} {
		if !errors.Is(err, full) || err.Error() != "take.wav: no space left" {
			t.Errorf("error %v, want take.wav: no space left", err)
		}
	}
	if err := f.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
	if _, err := NewWAVFile(writerFunc(func(p []byte) (int, error) { return 0, full }), "take.wav", 44100); !errors.Is(err, full) {
		t.Errorf("header: %v", err)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

func TestWAVFileWriteDoesNotAllocate(t *testing.T) {
	f, err := NewWAVFile(io.Discard, "take.wav", 44100)
	if err != nil {
		t.Fatal(err)
	}
	ctx, samples := context.Background(), make([]float64, 4111)
	if n := testing.AllocsPerRun(100, func() {
		if err := f.Write(ctx, samples); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations per Write, want 0", n)
	}
}
