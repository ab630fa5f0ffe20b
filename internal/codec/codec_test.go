package codec

import (
	"bytes"
	"context"
	"errors"
	"fmt"
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

// sung is a second of a voice-like sound that begins at 0.15 s, with a sweep in
// it, so that a delay shows.
func sung(rate int) []float64 {
	x := make([]float64, rate)
	phase := 0.0
	for i := range x {
		at := float64(i) / float64(rate)
		phase += 2 * math.Pi * (180 + 60*at) / float64(rate)
		if at < .15 || at > .9 {
			continue
		}
		for h := 1; h <= 12; h++ {
			x[i] += .2 / float64(h) * math.Sin(float64(h)*phase)
		}
		x[i] *= math.Min(1, math.Min((at-.15)/.01, (.9-at)/.01))
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

// ffmpegs makes a file of a recording.
func ffmpegs(t testing.TB, args ...string) {
	t.Helper()
	if out, err := exec.Command("ffmpeg", append([]string{"-nostdin", "-v", "error", "-y"}, args...)...).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
}

// What phones, messengers and browsers make of a recording comes back in its time, as long
// as it was: the encoders are the ones that everybody uses.
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
		{"voip.opus", 16000, []string{"-c:a", "libopus", "-b:a", "16k", "-application", "voip"}, 1, .93, 2},
		{"six.opus", 48000, []string{"-ac", "6", "-c:a", "libopus", "-b:a", "96k"}, .3, .95, .1},
		{"take.mp3", 44100, []string{"-c:a", "libmp3lame", "-b:a", "64k"}, .1, .98, .1},
		{"vbr.mp3", 48000, []string{"-c:a", "libmp3lame", "-q:a", "5"}, .1, .98, .1},
		{"low.mp3", 22050, []string{"-c:a", "libmp3lame", "-b:a", "32k"}, .1, .98, .1},
		{"lowest.mp3", 8000, []string{"-c:a", "libmp3lame", "-b:a", "16k"}, .1, .9, .1},
		{"untagged.mp3", 44100, []string{"-c:a", "libmp3lame", "-b:a", "64k", "-write_xing", "0"}, 14, .98, 60},
		{"take.m4a", 44100, []string{"-c:a", "aac", "-b:a", "64k"}, .1, .98, 24},
		// Nothing in it says what the encoder has put before the sound.
		{"take.mp4", 44100, []string{"-c:a", "aac", "-b:a", "64k", "-movflags", "frag_keyframe+empty_moov+default_base_moof"}, 24, .98, 50},
		{"video.mp4", 44100, []string{"-f", "lavfi", "-i", "color=c=black:s=32x32:d=1", "-c:v", "mpeg4", "-c:a", "aac", "-b:a", "64k", "-map", "0:a", "-map", "1:v"}, .1, .98, 24},
		{"take.webm", 48000, []string{"-c:a", "libopus", "-b:a", "32k"}, .3, .98, 21},
		{"adpcm.wav", 44100, []string{"-c:a", "adpcm_ima_wav"}, .1, .98, 50},
		{"take.aiff", 44100, nil, 0, .9999, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			x := sung(c.rate)
			wav := filepath.Join(dir, c.name+".in.wav")
			writeWAV(t, wav, c.rate, x)
			path := filepath.Join(dir, c.name)
			ffmpegs(t, append(append([]string{"-i", wav}, c.args...), path)...)
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
			most := c.rate / 300
			if c.late > 3 {
				most = c.rate / 20
			}
			at, alike := delay(x, y, most)
			late := 1000 * float64(at) / float64(c.rate)
			over := 1000 * float64(len(y)-len(x)) / float64(c.rate)
			t.Logf("%d Hz, %d channels: %.2f ms late, alike %.5f, %.2f ms longer", src.SampleRate(), src.Format.Channels, late, alike, over)
			if math.Abs(late) > c.late || alike < c.alike || math.Abs(over) > c.over {
				t.Errorf("%.2f ms late, alike %.5f, %.2f ms longer; want at most %g, at least %g, at most %g", late, alike, over, c.late, c.alike, c.over)
			}
		})
	}
}

// tones are the files of testdata: a tone of 220 Hz with two overtones, 0.3 s at 44.1 kHz,
// by the reference encoders flac 1.4.2, oggenc (libvorbis 1.3.7), opusenc (libopus 1.3.1)
// and LAME 3.100. Nothing outside is needed for them.
var tones = []struct {
	name      string
	rate      int
	frames, e int
}{
	{"tone.flac", 44100, 13230, 0},
	{"tone.ogg", 44100, 13230, 0},
	{"tone.opus", 48000, 14400, 1},
	{"tone.mp3", 44100, 13230, 0},
}

func TestTones(t *testing.T) {
	for _, c := range tones {
		src, err := Open("testdata/" + c.name)
		if err != nil {
			t.Error(err)
			continue
		}
		x, err := readAll(src)
		src.Close()
		if err != nil || src.SampleRate() != c.rate || len(x) < c.frames-c.e || len(x) > c.frames+c.e {
			t.Errorf("%s: %d Hz, %d samples, %v; want %d, %d", c.name, src.SampleRate(), len(x), err, c.rate, c.frames)
			continue
		}
		// The amplitude and phase of 220 Hz in the middle: a sine of 0.3 from time 0.
		var re, im float64
		n := c.rate / 10 // 22 cycles
		for i := n; i < 2*n; i++ {
			at := 2 * math.Pi * 220 * float64(i) / float64(c.rate)
			re, im = re+x[i]*math.Sin(at)*2/float64(n), im+x[i]*math.Cos(at)*2/float64(n)
		}
		if math.Abs(re-.3) > .02 || math.Abs(im) > .02 {
			t.Errorf("%s: %.3f and %.3f of a sine and a cosine of 220 Hz; want 0.3 and 0", c.name, re, im)
		}
	}
}

// All that Opus has in voice messages is decoded as by the reference decoder, opusdec
// (libopus): SILK, hybrid and CELT, from 8 to 48 kb/s, in frames of 2.5 to 120 ms, in one
// and two channels, discontinuous, and one stream behind another (RFC 7845).
func TestOpusAsReference(t *testing.T) {
	testkit.Tool(t, "ffmpeg")
	testkit.Tool(t, "opusenc")
	testkit.Tool(t, "opusdec")
	dir := t.TempDir()
	wav := filepath.Join(dir, "take.wav")
	writeWAV(t, wav, 48000, sung(48000))
	stereo := filepath.Join(dir, "stereo.wav")
	ffmpegs(t, "-i", wav, "-filter_complex", "[0:a]adelay=7[a];[0:a][a]join=inputs=2:channel_layout=stereo[o]", "-map", "[o]", stereo)
	made := map[string]string{}
	for _, c := range []struct{ in, rate, application, frame string }{
		{wav, "8", "voip", "20"}, {wav, "12", "voip", "60"}, {wav, "16", "voip", "40"}, {wav, "24", "voip", "10"},
		{wav, "24", "voip", "20"}, {wav, "32", "audio", "20"}, {wav, "48", "audio", "20"}, {wav, "24", "lowdelay", "2.5"},
		{wav, "24", "audio", "5"}, {wav, "16", "audio", "120"}, {stereo, "16", "voip", "20"}, {stereo, "32", "audio", "60"},
	} {
		name := fmt.Sprintf("%s-%s-%s-%s", filepath.Base(c.in), c.rate, c.application, c.frame)
		made[name] = filepath.Join(dir, name+".opus")
		ffmpegs(t, "-i", c.in, "-c:a", "libopus", "-b:a", c.rate+"k", "-application", c.application, "-frame_duration", c.frame, made[name])
	}
	made["discontinuous"] = filepath.Join(dir, "dtx.opus")
	if out, err := exec.Command("opusenc", "--quiet", "--speech", "--bitrate", "16", "--set-ctl-int", "4016=1", wav, made["discontinuous"]).CombinedOutput(); err != nil {
		t.Fatalf("opusenc: %v: %s", err, out)
	}
	made["chained"] = filepath.Join(dir, "chained.opus")
	var both []byte
	for _, name := range []string{"take.wav-8-voip-20", "take.wav-12-voip-60"} {
		b, err := os.ReadFile(made[name])
		if err != nil {
			t.Fatal(err)
		}
		both = append(both, b...)
	}
	if err := os.WriteFile(made["chained"], both, 0o666); err != nil {
		t.Fatal(err)
	}
	for name, path := range made {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			ref := path + ".wav"
			if out, err := exec.Command("opusdec", "--quiet", "--float", "--rate", "48000", path, ref).CombinedOutput(); err != nil {
				t.Fatalf("opusdec: %v: %s", err, out)
			}
			like(t, path, ref, 30)
		})
	}
}

// FLAC, Vorbis and MP3 are decoded as by the programs of those who made the formats: flac,
// oggdec and lame, which cut the delays, too.
func TestAsReference(t *testing.T) {
	dir := t.TempDir()
	wav := filepath.Join(dir, "take.wav")
	writeWAV(t, wav, 44100, sung(44100))
	at := func(name string) string { return filepath.Join(dir, name) }
	for _, c := range []struct {
		name           string
		encode, decode []string
		ratio          float64 // dB; oggdec and lame write 16 bits, and go-mp3 gives 16
	}{
		{"a.flac", []string{"flac", "--silent", "-8", "-o", at("a.flac"), wav}, []string{"flac", "--silent", "-d", "-o", at("a.flac.wav"), at("a.flac")}, 200},
		{"a.ogg", []string{"oggenc", "-Q", "-q", "0", "-o", at("a.ogg"), wav}, []string{"oggdec", "-Q", "-o", at("a.ogg.wav"), at("a.ogg")}, 60},
		{"a.mp3", []string{"lame", "--quiet", "-b", "48", "-m", "m", wav, at("a.mp3")}, []string{"lame", "--quiet", "--decode", at("a.mp3"), at("a.mp3.wav")}, 60},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, command := range [][]string{c.encode, c.decode} {
				testkit.Tool(t, command[0])
				if out, err := exec.Command(command[0], command[1:]...).CombinedOutput(); err != nil {
					t.Fatalf("%s: %v: %s", command[0], err, out)
				}
			}
			like(t, at(c.name), at(c.name+".wav"), c.ratio)
		})
	}
}

// like compares a recording with what a reference made of it: as many samples, and by so
// many dB above the difference.
func like(t *testing.T, path, reference string, least float64) {
	t.Helper()
	var both [2][]float64
	for i, p := range []string{path, reference} {
		src, err := Open(p)
		if err != nil {
			t.Fatal(err)
		}
		both[i], err = readAll(src)
		src.Close()
		if err != nil {
			t.Fatal(err)
		}
	}
	x, y := both[0], both[1]
	if len(x) != len(y) {
		t.Fatalf("%d samples, the reference has %d", len(x), len(y))
	}
	var signal, noise float64
	for i := range y {
		signal, noise = signal+y[i]*y[i], noise+(x[i]-y[i])*(x[i]-y[i])
	}
	ratio := 10 * math.Log10(signal/(noise+1e-30))
	t.Logf("%.1f dB above the difference", ratio)
	if ratio < least {
		t.Errorf("only %.1f dB above the difference from the reference, want %g", ratio, least)
	}
}

// A half-sent file is one line that says so; with Partial what is there is read.
func TestHalfSent(t *testing.T) {
	testkit.Tool(t, "ffmpeg")
	dir := t.TempDir()
	wav := filepath.Join(dir, "take.wav")
	writeWAV(t, wav, 44100, sung(44100))
	for _, c := range []struct {
		name string
		args []string
	}{{name: "take.flac"}, {name: "take.ogg", args: []string{"-page_duration", "100000"}}, {name: "take.opus", args: []string{"-page_duration", "100000"}}, {name: "take.mp3"}, {name: "take.m4a"}, {name: "take.webm"},
		{name: "fast.m4a", args: []string{"-movflags", "faststart"}}, {name: "raw.aac"}, {name: "bare.mp3", args: []string{"-write_xing", "0", "-id3v2_version", "0"}},
		{name: "low.mp3", args: []string{"-ar", "16000", "-write_xing", "0"}}} {
		path := filepath.Join(dir, c.name)
		ffmpegs(t, append(append([]string{"-i", wav}, c.args...), path)...)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		foreign := filepath.Ext(path) == ".m4a" || filepath.Ext(path) == ".webm" || c.name == "low.mp3"
		parts := []int{0, 1, 10, 40, 200, len(whole)/2 + 50, len(whole)*9/10 + 50}
		if foreign {
			parts = []int{0, 10, 200, len(whole) / 2}
		}
		for _, part := range parts {
			if err := os.WriteFile(path, whole[:part], 0o666); err != nil {
				t.Fatal(err)
			}
			src, err := Open(path)
			if err == nil {
				_, err = readAll(src)
				src.Close()
			}
			if err == nil || !strings.HasPrefix(err.Error(), path+": ") || strings.Contains(err.Error(), "\n") || strings.Count(err.Error(), dir) != 1 {
				t.Errorf("%s, %d of %d bytes: %v", c.name, part, len(whole), err)
			} else {
				t.Logf("%d of %d bytes: %s", part, len(whole), strings.TrimPrefix(err.Error(), dir+"/"))
			}
		}
		if foreign {
			continue
		}
		if err := os.WriteFile(path, whole, 0o666); err != nil {
			t.Fatal(err)
		}
		if _, err := whatever(t, path); err != nil {
			t.Errorf("%s, all of it: %v", c.name, err)
		}
		if err := os.WriteFile(path, whole[:len(whole)*9/10+50], 0o666); err != nil {
			t.Fatal(err)
		}
		src, err := Open(path, audio.Partial())
		if err != nil {
			t.Fatal(err)
		}
		x, err := readAll(src)
		if err != nil || len(x) < 25000 || !src.Truncated {
			t.Errorf("%s, partial: %d samples, truncated %v, %v", c.name, len(x), src.Truncated, err)
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
		{"\xff\xfd\x90\x04", Foreign, "MP2"},
		{"\x00\x00\x00\x08wide\x00", Foreign, "QuickTime"},
		{"FORM\x00\x00\x00\x00AIFFCOMM", Foreign, "AIFF"},
		{"#EXTM3U\nhttp://", Unknown, ""}, // a playlist is not followed
		{"\xff\xd8\xff\xe0", Unknown, ""}, // a picture
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
	if _, err := Open(path); !errors.Is(err, ErrNeedsProgram) || !strings.Contains(err.Error(), "ffmpeg") {
		t.Errorf("%v", err)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := New(f, "standard input"); !errors.Is(err, ErrNeedsProgram) {
		t.Errorf("%v", err)
	}
	for system, want := range map[string]string{"darwin": "brew install ffmpeg", "windows": "winget install ffmpeg", "linux": "sudo apt install ffmpeg"} {
		if got := install(system, func(program string) bool { return program == "apt-get" }); got != want {
			t.Errorf("%s: %s, want %s", system, got, want)
		}
	}
	if got := install("linux", func(program string) bool { return program == "dnf" }); got != "sudo dnf install ffmpeg-free" {
		t.Error(got)
	}
}

func FuzzOpen(f *testing.F) {
	for _, seed := range []string{"fLaC\x00\x00\x00\x22", "OggS\x00\x02\x00\x00\x00\x00\x00\x00\x00\x00\x01\x02\x03\x04\x00\x00\x00\x00\x00\x00\x00\x00\x01\x13OpusHead\x01\x01\x38\x01\x80\xbb\x00\x00\x00\x00\x00",
		"\xff\xfb\x90\x64\x00\x0f\xf0\x00", "ID3\x04\x00\x00\x00\x00\x00\x01\x00\xff\xfb\x90\x64", "OggS\x00\x02" + strings.Repeat("\x00", 22) + "\x01vorbis\x00\x00\x00\x00"} {
		f.Add([]byte(seed))
	}
	for _, c := range tones {
		f.Add(readFile(f, "testdata/"+c.name))
	}
	f.Fuzz(opened)
}

// The decoders, each from a file of its own.
func FuzzFLAC(f *testing.F)   { fuzzTone(f, "tone.flac") }
func FuzzVorbis(f *testing.F) { fuzzTone(f, "tone.ogg") }
func FuzzOpus(f *testing.F)   { fuzzTone(f, "tone.opus") }
func FuzzMP3(f *testing.F)    { fuzzTone(f, "tone.mp3") }

func fuzzTone(f *testing.F, name string) {
	f.Add(readFile(f, "testdata/"+name))
	f.Fuzz(opened)
}

// opened reads what may be a recording; Ogg with checksums that are right, too.
func opened(t *testing.T, data []byte) {
	one(t, data)
	if strings.HasPrefix(string(data), "OggS") {
		func() {
			defer func() { _ = recover() }() // the lengths are not
			data = pages(bytes.Clone(data))
		}()
		one(t, data)
	}
}

func one(t *testing.T, data []byte) {
	if kind, _ := Sniff(data[:min(len(data), Sniffed)]); kind == Foreign {
		return // whose program is not fuzzed here
	}
	src, err := New(bytes.NewReader(data), "fuzzed")
	if err != nil {
		if strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "fuzzed: ") {
			t.Errorf("%q", err)
		}
		return
	}
	defer src.Close()
	buf := make([]float64, 4096)
	for n := 0; n < 1<<20; {
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
}

// BenchmarkDecode says how many seconds of sound a second decodes.
func BenchmarkDecode(b *testing.B) {
	testkit.Tool(b, "ffmpeg")
	dir := b.TempDir()
	wav := filepath.Join(dir, "take.wav")
	w, err := audio.CreateWAV(wav, 44100)
	if err != nil {
		b.Fatal(err)
	}
	const seconds = 20
	x := sung(44100)
	for range seconds {
		if err := w.Write(context.Background(), x); err != nil {
			b.Fatal(err)
		}
	}
	if err := errors.Join(w.Drain(context.Background()), w.Close()); err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
	}{{name: "take.wav"}, {name: "a.flac"}, {"a.ogg", []string{"-q:a", "1"}}, {"a.opus", []string{"-b:a", "24k"}}, {"a.mp3", []string{"-b:a", "64k"}},
		{"a.m4a", []string{"-b:a", "64k"}}, {"a.webm", []string{"-c:a", "libopus", "-b:a", "24k"}}} {
		path := filepath.Join(dir, c.name)
		if path != wav {
			ffmpegs(b, append(append([]string{"-i", wav}, c.args...), path)...)
		}
		b.Run(strings.TrimPrefix(filepath.Ext(path), "."), func(b *testing.B) {
			b.ReportAllocs()
			buf := make([]float64, 4096)
			for b.Loop() {
				src, err := Open(path)
				if err != nil {
					b.Fatal(err)
				}
				for err == nil {
					_, _, err = src.Read(context.Background(), buf)
				}
				if src.Close(); !errors.Is(err, io.EOF) {
					b.Fatal(err)
				}
			}
			b.ReportMetric(seconds*float64(b.N)/b.Elapsed().Seconds(), "times-real-time")
		})
	}
}
