package codec

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit"
)

// sung is a second and a half of a voice-like sound that begins at 0.25 s, with a sweep in
// it, so that a delay shows.
func sung(rate int) []float64 {
	x := make([]float64, rate*3/2)
	phase := 0.0
	for i := range x {
		at := float64(i) / float64(rate)
		phase += 2 * math.Pi * (180 + 60*at) / float64(rate)
		if at < .25 || at > 1.3 {
			continue
		}
		for h := 1; h <= 12; h++ {
			x[i] += .2 / float64(h) * math.Sin(float64(h)*phase)
		}
		x[i] *= math.Min(1, math.Min((at-.25)/.01, (1.3-at)/.01))
	}
	return x
}

func writeWAV(t *testing.T, path string, rate int, x []float64) {
	t.Helper()
	w, err := audio.CreateWAV(path, rate)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Write(context.Background(), x), w.Drain(context.Background()), w.Close()); err != nil {
		t.Fatal(err)
	}
}

func readAll(src audio.Source) ([]float64, error) {
	var x []float64
	buf := make([]float64, 4096)
	for {
		n, _, err := src.Read(context.Background(), buf)
		x = append(x, buf[:n]...)
		if errors.Is(err, io.EOF) {
			return x, nil
		}
		if err != nil {
			return x, err
		}
	}
}

// delay is how many samples b lies behind a, and how alike they then are.
func delay(a, b []float64, most int) (at int, alike float64) {
	for d := -most; d <= most; d++ {
		ab, aa, bb := 0.0, 1e-12, 1e-12
		for i := range a {
			if j := i + d; j >= 0 && j < len(b) {
				ab += a[i] * b[j]
				aa += a[i] * a[i]
				bb += b[j] * b[j]
			}
		}
		if r := ab / math.Sqrt(aa*bb); r > alike {
			at, alike = d, r
		}
	}
	return at, alike
}

// What phones, messengers and browsers make of a recording (TRADE: Recorded files) comes
// back in its time, as long as it was: the encoders are the ones that everybody uses.
func TestDecoded(t *testing.T) {
	testkit.Tool(t, "ffmpeg")
	dir := t.TempDir()
	for _, c := range []struct {
		name  string
		rate  int
		args  []string
		late  float64 // ms that remain
		alike float64
		over  float64 // ms by which it may be longer
	}{
		{"take.flac", 44100, nil, 0, .9999, 0},
		{"take24.flac", 48000, []string{"-sample_fmt", "s32"}, 0, .9999, 0},
		{"take.ogg", 44100, []string{"-c:a", "libvorbis", "-q:a", "1"}, .1, .98, .1},
		{"take.opus", 48000, []string{"-c:a", "libopus", "-b:a", "24k"}, .3, .98, .1},
		{"voip.opus", 16000, []string{"-c:a", "libopus", "-b:a", "16k", "-application", "voip"}, 1, .95, 2},
		{"take.mp3", 44100, []string{"-c:a", "libmp3lame", "-b:a", "64k"}, .1, .98, .1},
		{"vbr.mp3", 48000, []string{"-c:a", "libmp3lame", "-q:a", "5"}, .1, .98, .1},
		{"44k.mp3", 44100, []string{"-c:a", "libmp3lame", "-b:a", "32k"}, .1, .98, .1},
		{"low.mp3", 22050, []string{"-c:a", "libmp3lame", "-b:a", "32k"}, .1, .98, .1},
		{"lowest.mp3", 8000, []string{"-c:a", "libmp3lame", "-b:a", "16k"}, .1, .9, .1},
		{"untagged.mp3", 44100, []string{"-c:a", "libmp3lame", "-b:a", "64k", "-write_xing", "0"}, 26, .98, 60},
		{"take.m4a", 44100, []string{"-c:a", "aac", "-b:a", "64k"}, .1, .98, 24},
		{"video.mp4", 44100, []string{"-f", "lavfi", "-i", "color=c=black:s=32x32:d=1.5", "-c:v", "mpeg4", "-c:a", "aac", "-b:a", "64k", "-map", "0:a", "-map", "1:v"}, .1, .98, 24},
		{"take.webm", 48000, []string{"-c:a", "libopus", "-b:a", "32k"}, .3, .98, 21},
		{"take.aiff", 44100, nil, 0, .9999, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := sung(c.rate)
			wav := filepath.Join(dir, c.name+".wav")
			writeWAV(t, wav, c.rate, x)
			path := filepath.Join(dir, c.name)
			args := append(append([]string{"-nostdin", "-v", "error", "-i", wav}, c.args...), path)
			if out, err := exec.Command("ffmpeg", args...).CombinedOutput(); err != nil {
				t.Fatalf("ffmpeg: %v: %s", err, out)
			}
			src, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer src.Close()
			y, err := readAll(src)
			if err != nil {
				t.Fatal(err)
			}
			// Opus has 48 kHz whatever went in.
			if step := src.SampleRate() / c.rate; step > 1 {
				z := make([]float64, len(y)/step)
				for i := range z {
					z[i] = y[i*step]
				}
				y = z
			}
			at, alike := delay(x, y, c.rate/30)
			late := 1000 * float64(at) / float64(c.rate)
			over := 1000 * float64(len(y)-len(x)) / float64(c.rate)
			t.Logf("%d Hz, %d channels: %.2f ms late, alike %.5f, %.2f ms longer", src.SampleRate(), src.Format.Channels, late, alike, over)
			if math.Abs(late) > c.late || alike < c.alike || math.Abs(over) > c.over {
				t.Errorf("%.2f ms late, alike %.5f, %.2f ms longer; want at most %g, at least %g, at most %g", late, alike, over, c.late, c.alike, c.over)
			}
		})
	}
}

// A half-sent file is one line that says so; with Partial what is there is read.
func TestHalfSent(t *testing.T) {
	testkit.Tool(t, "ffmpeg")
	dir := t.TempDir()
	wav := filepath.Join(dir, "take.wav")
	writeWAV(t, wav, 44100, sung(44100))
	for _, name := range []string{"take.flac", "take.ogg", "take.opus", "take.mp3", "take.m4a"} {
		path := filepath.Join(dir, name)
		if out, err := exec.Command("ffmpeg", "-nostdin", "-v", "error", "-i", wav, path).CombinedOutput(); err != nil {
			t.Fatalf("ffmpeg: %v: %s", err, out)
		}
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range []int{0, 1, 10, 40, 200, len(whole) / 2, len(whole) * 9 / 10} {
			if err := os.WriteFile(path, whole[:part], 0o666); err != nil {
				t.Fatal(err)
			}
			src, err := Open(path)
			if err == nil {
				_, err = readAll(src)
				src.Close()
			}
			if err == nil || !strings.HasPrefix(err.Error(), path+": ") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s, %d of %d bytes: %v", name, part, len(whole), err)
			} else {
				t.Logf("%d of %d bytes: %s", part, len(whole), strings.TrimPrefix(err.Error(), dir+"/"))
			}
		}
		if name == "take.m4a" {
			continue
		}
		if err := os.WriteFile(path, whole[:len(whole)*9/10], 0o666); err != nil {
			t.Fatal(err)
		}
		src, err := Open(path, audio.Partial())
		if err != nil {
			t.Fatal(err)
		}
		x, err := readAll(src)
		if err != nil || len(x) < 44100 || !src.Truncated {
			t.Errorf("%s, partial: %d samples, truncated %v, %v", name, len(x), src.Truncated, err)
		}
		src.Close()
	}
}

// What a file is, is told by its first bytes: RFC 9639, RFC 3533 and 7845, Vorbis I, ISO/IEC
// 11172-3, 14496-12, RIFF, RFC 8794 (EBML), RFC 4867.
func TestSniff(t *testing.T) {
	for _, c := range []struct {
		head string
		want Kind
		name string
	}{
		{"RIFF\x00\x00\x00\x00WAVEfmt ", WAV, "WAV"},
		{"fLaC\x00\x00\x00\x22", FLAC, "FLAC"},
		{"OggS\x00\x02" + strings.Repeat("\x00", 22) + "\x01vorbis", Vorbis, "Ogg Vorbis"},
		{"OggS\x00\x02" + strings.Repeat("\x00", 22) + "OpusHead", Opus, "Ogg Opus"},
		{"OggS\x00\x02" + strings.Repeat("\x00", 22) + "Speex   ", Foreign, "Ogg"},
		{"\xff\xfb\x90\x64", MP3, "MP3"},
		{"ID3\x04\x00", MP3, "MP3"},
		{"\x00\x00\x00\x1cftypM4A ", Foreign, "MP4 (M4A, video)"},
		{"\x1a\x45\xdf\xa3\x01", Foreign, "WebM or Matroska"},
		{"#!AMR\n", Foreign, "AMR"},
		{"\xff\xf1\x50\x80", Foreign, "AAC"},
		{"%PDF-1.7", Unknown, ""},
		{"", Unknown, ""},
		{"\xff\xfe<\x00h\x00", Unknown, ""}, // a text in UTF-16
	} {
		if kind, name := Sniff([]byte(c.head)); kind != c.want || name != c.name {
			t.Errorf("%q: %d, %q; want %d, %q", c.head, kind, name, c.want, c.name)
		}
	}
}

// Without ffmpeg the line says what to type.
func TestWithoutProgram(t *testing.T) {
	path := filepath.Join(t.TempDir(), "memo.m4a")
	if err := os.WriteFile(path, []byte("\x00\x00\x00\x1cftypM4A \x00\x00\x00\x00"), 0o666); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", t.TempDir())
	_, err := Open(path)
	if !errors.Is(err, ErrNeedsProgram) || !strings.Contains(err.Error(), "install") {
		t.Errorf("%v", err)
	}
}

func FuzzOpen(f *testing.F) {
	for _, seed := range []string{"fLaC\x00\x00\x00\x22", "OggS\x00\x02\x00\x00\x00\x00\x00\x00\x00\x00\x01\x02\x03\x04\x00\x00\x00\x00\x00\x00\x00\x00\x01\x13OpusHead\x01\x01\x38\x01\x80\xbb\x00\x00\x00\x00\x00",
		"\xff\xfb\x90\x64\x00\x0f\xf0\x00", "ID3\x04\x00\x00\x00\x00\x00\x01\x00\xff\xfb\x90\x64", "OggS\x00\x02" + strings.Repeat("\x00", 22) + "\x01vorbis\x00\x00\x00\x00"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := New(bytes.NewReader(data), "fuzzed")
		if err != nil {
			if strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "fuzzed: ") {
				t.Errorf("%q", err)
			}
			return
		}
		defer src.Close()
		n := 0
		buf := make([]float64, 4096)
		for n < 1<<20 {
			k, _, err := src.Read(context.Background(), buf)
			n += k
			for _, v := range buf[:k] {
				if !(v >= -1 && v <= 1) {
					t.Fatalf("sample %g", v)
				}
			}
			if err != nil {
				break
			}
		}
	})
}
