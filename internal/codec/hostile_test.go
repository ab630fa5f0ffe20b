package codec

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit"
)

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// whatever reads a recording to its end, and checks that an error is one line that names it.
func whatever(t testing.TB, path string, options ...audio.Option) (samples int, err error) {
	t.Helper()
	src, err := Open(path, options...)
	if err == nil {
		var x []float64
		x, err = readAll(src)
		samples = len(x)
		src.Close()
	}
	if err != nil && (!strings.HasPrefix(err.Error(), path+": ") || strings.Contains(err.Error(), "\n")) {
		t.Errorf("%q; want one line that names the file", err)
	}
	return samples, err
}

// pages makes the checksums of an Ogg file right again.
func pages(b []byte) []byte {
	for at := 0; at+27 <= len(b); {
		n := 27 + int(b[at+26])
		for _, s := range b[at+27 : at+n] {
			n += int(s)
		}
		binary.LittleEndian.PutUint32(b[at+22:], 0)
		binary.LittleEndian.PutUint32(b[at+22:], oggSum(0, b[at:at+n]))
		at += n
	}
	return b
}

// What a file claims and is not true: each is handled, or is one line that says what is
// wrong.
func TestClaims(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("PATH", dir) // no program is asked
	flac, ogg, opus, mp3 := readFile(t, "testdata/tone.flac"), readFile(t, "testdata/tone.ogg"), readFile(t, "testdata/tone.opus"), readFile(t, "testdata/tone.mp3")
	changed := func(b []byte, at int, with string) []byte {
		b = slices.Clone(b)
		copy(b[at:], with)
		return b
	}
	for _, c := range []struct {
		name string
		b    []byte
		want string // in the error; "": the samples are read
	}{
		{"song.flac", mp3, ""}, // the ending lies
		{"song.mp3", opus, ""},
		{"song.wav", ogg, ""},
		{"song.txt", flac, ""},
		{"text.mp3", []byte("Dear teacher, here is my take."), "not a recording: it looks like text; name a recording"},
		{"empty.opus", nil, "holds no samples: the file is empty; record it again"},
		{"zeros.m4a", make([]byte, 5000), "not a recording: it looks like nothing known; name a recording"},
		{"score.mp3", []byte("MThd\x00\x00\x00\x06\x00\x01"), "MIDI, which holds notes and no sound"},
		{"letter.flac", []byte("\xff\xfe<\x00h\x00t\x00m\x00l\x00"), "not a recording"},
		// FLAC says 48 kHz in its header, and its frames say 44.1 kHz (RFC 9639, 8.2 and 9.1.2).
		{"rate.flac", changed(flac, 18, "\x0b\xb8\x00"), "its header says 48000 Hz, and a frame 44100 Hz"},
		// The rate of what was coded is for information (RFC 7845, 5.1).
		{"rate.opus", pages(changed(opus, 28+12, "\x40\x1f\x00\x00")), ""},
		{"rate0.ogg", pages(changed(ogg, 28+12, "\x00\x00\x00\x00")), "a sample rate of 0"},
		{"rate.ogg", pages(changed(ogg, 28+12, "\xff\xff\xff\x7f")), "sample rate of 2147483647 Hz"},
		{"channels.ogg", pages(changed(ogg, 28+11, "\x00")), "Vorbis of 0 channels is read through ffmpeg"},
		{"blocks.ogg", pages(changed(ogg, 28+28, "\xff")), "its first header is damaged"},
		{"checksum.opus", changed(opus, len(opus)-9, "abc"), "checksum of an Ogg page is wrong"},
		{"samples0.flac", flac[:42], "cut short"},
		{"header.opus", opus[:28+19], "holds no samples"},
		{"tag.mp3", slices.Concat([]byte("ID3\x04\x00\x00\x00\x00\x00\x0a0123456789"), mp3), ""},
		{"tag.flac", slices.Concat([]byte("ID3\x04\x00\x00\x00\x00\x00\x0a0123456789"), flac), ""},
		{"trailer.flac", slices.Concat(flac, []byte("TAG"), make([]byte, 125)), ""},
		{"trailer.opus", slices.Concat(opus, []byte("TAG"), make([]byte, 125)), ""},
		{"tags.mp3", slices.Concat([]byte("ID3\x04\x00\x00\x7f\x7f\x7f\x7f"), mp3), "the MP3 ends in its header"},
		{"noise.mp3", slices.Concat(mp3[:4], make([]byte, nearest+1000)), "cut short"},
	} {
		path := filepath.Join(dir, c.name)
		if err := os.WriteFile(path, c.b, 0o666); err != nil {
			t.Fatal(err)
		}
		n, err := whatever(t, path)
		switch {
		case c.want == "" && (err != nil || n < 13000):
			t.Errorf("%s: %d samples, %v", c.name, n, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// A file of no samples, of each kind, is one line.
func TestNoSamples(t *testing.T) {
	testkit.Tool(t, "ffmpeg")
	dir := t.TempDir()
	for _, name := range []string{"a.wav", "a.flac", "a.ogg", "a.opus", "a.mp3", "a.m4a", "a.webm"} {
		path := filepath.Join(dir, name)
		ffmpegs(t, "-f", "lavfi", "-i", "anullsrc=r=48000:cl=mono", "-t", "0", path)
		if n, err := whatever(t, path); err == nil && n > 3000 {
			t.Errorf("%s: %d samples, %v", name, n, err)
		} else {
			t.Logf("%s: %d samples, %v", name, n, err)
		}
	}
	ffmpegs(t, "-f", "lavfi", "-i", "color=c=black:s=32x32:d=0.2", "-c:v", "mpeg4", filepath.Join(dir, "silent.mp4"))
	if _, err := whatever(t, filepath.Join(dir, "silent.mp4")); err == nil || !strings.Contains(err.Error(), "there is no sound in this MP4") {
		t.Errorf("a film without sound: %v", err)
	}
}

// Damaged bytes anywhere, with the checksums of Ogg made right again so that they reach the
// decoders: no panic, no search without end, no memory from a claim, one line.
func TestDamage(t *testing.T) {
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(17, 1))
	t.Setenv("PATH", dir) // no program is asked
	for _, c := range tones {
		whole := readFile(t, "testdata/"+c.name)
		failed := 0
		for range 60 {
			b := slices.Clone(whole)
			for range 1 + rng.IntN(4) {
				at := rng.IntN(len(b))
				if rng.IntN(2) == 0 {
					at = rng.IntN(min(len(b), 4200)) // headers
				}
				b[at] ^= byte(1 << rng.IntN(8))
			}
			if strings.HasPrefix(string(b), "OggS") && rng.IntN(4) > 0 {
				func() {
					defer func() { _ = recover() }() // the lengths are damaged too
					pages(b)
				}()
			}
			path := filepath.Join(dir, c.name)
			if err := os.WriteFile(path, b, 0o666); err != nil {
				t.Fatal(err)
			}
			if _, err := whatever(t, path); err != nil {
				failed++
			}
		}
		t.Logf("%s: %d of 60 refused", c.name, failed)
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	if m.HeapSys > 512<<20 {
		t.Errorf("the heap is %d MB", m.HeapSys>>20)
	}
}

// The headers of Vorbis that claim what the library would believe.
func TestCodebooks(t *testing.T) {
	setup := func(head string) []byte { return append([]byte("\x05vorbis"), head...) }
	for _, c := range []struct {
		name string
		b    []byte
	}{
		{"no codebook", setup("\x00")},
		{"16 million entries", setup("\x00BCV\x01\x00\xff\xff\xff\x00")},
		{"no entries", setup("\x00BCV\x01\x00\x00\x00\x00\x00")},
		{"65535 values", setup("\x00BCV\xff\xff\x10\x00\x00\x00")},
		{"a tree without leaves", setup("\x00BCV\x01\x00\x10\x00\x00\x02\x00\x00\x00\x00")},
		{"ordered without end", setup("\x00BCV\x01\x00\x10\x00\x00\x01\x00\x00\x00\x00\x00")},
	} {
		if fits(c.b) {
			t.Errorf("%s fits", c.name)
		}
	}
	// Those of an encoder do.
	r := newOgg(bytes.NewReader(readFile(t, "testdata/tone.ogg")), vorbisMagic)
	for {
		p, err := r.next()
		if err != nil {
			t.Fatal(err)
		}
		if p.data[0] == 5 {
			if !fits(p.data) {
				t.Error("the codebooks of oggenc do not fit")
			}
			break
		}
	}
}

// packing makes a zip.
type packing struct {
	t    *testing.T
	path string
	b    bytes.Buffer
	*zip.Writer
}

func newPacking(t *testing.T, path string) *packing {
	p := &packing{t: t, path: path}
	p.Writer = zip.NewWriter(&p.b)
	return p
}

func (p *packing) add(name string, b []byte) {
	p.t.Helper()
	w, err := p.Create(name)
	if err == nil {
		_, err = w.Write(b)
	}
	if err != nil {
		p.t.Fatal(err)
	}
}

// raw adds a file with a header as it is.
func (p *packing) raw(h zip.FileHeader, b []byte) {
	p.t.Helper()
	h.CompressedSize64, h.CRC32 = uint64(len(b)), crc32.ChecksumIEEE(b)
	if h.UncompressedSize64 == 0 {
		h.UncompressedSize64 = uint64(len(b))
	}
	w, err := p.CreateRaw(&h)
	if err == nil {
		_, err = w.Write(b)
	}
	if err != nil {
		p.t.Fatal(err)
	}
}

func (p *packing) done() []byte {
	p.t.Helper()
	if err := errors.Join(p.Close(), os.WriteFile(p.path, p.b.Bytes(), 0o666)); err != nil {
		p.t.Fatal(err)
	}
	return p.b.Bytes()
}

// What a zip may hold that nobody should read: all of it is named with a reason, and the
// rest is read.
func TestZips(t *testing.T) {
	tone, flac := readFile(t, "testdata/tone.opus"), readFile(t, "testdata/tone.flac")
	path := filepath.Join(t.TempDir(), "week.zip")
	p := newPacking(t, path)
	p.add("ana.opus", tone)
	p.add("bo/ana.opus", tone)
	p.add("ana.opus", flac)
	p.add("../out.opus", tone)
	p.add("/etc/ana.opus", tone)
	p.add(`bo\cy.opus`, tone)
	p.add("a\nb.opus", tone)
	p.add("letter.txt", []byte("Here is my take."))
	p.add("text.mp3", []byte("no sound"))
	p.add("empty.wav", nil)
	p.add(".hidden.opus", tone)
	p.add("more.zip", []byte("PK\x03\x04\x14\x00"))
	p.raw(zip.FileHeader{Name: "locked.opus", Flags: 1}, tone)
	p.raw(zip.FileHeader{Name: "strange.opus", Method: 12}, tone)
	p.raw(zip.FileHeader{Name: "short.flac", UncompressedSize64: 5000}, flac) // says less than it is
	damage := slices.Clone(flac)
	p.raw(zip.FileHeader{Name: "crc.flac"}, damage)
	b := p.done()
	copy(b[bytes.Index(b, []byte("crc.flac"))+12000:], "damaged")
	if err := os.WriteFile(path, b, 0o666); err != nil {
		t.Fatal(err)
	}
	got, others, err := Inside(path)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, g := range got {
		names = append(names, strings.TrimPrefix(g, path+"/"))
	}
	if want := []string{"ana.opus", "bo/ana.opus", "text.mp3", "empty.wav", "short.flac", "crc.flac"}; !slices.Equal(names, want) {
		t.Errorf("recordings %q, want %q", names, want)
	}
	if want := []string{
		"ana.opus (a second file of that name)", "../out.opus (its path leads out of the zip)", "/etc/ana.opus (its path leads out of the zip)",
		`bo\cy.opus (a backslash in its path: pack it again)`, "a\nb.opus (a control character in its name)", "letter.txt (not a recording)",
		"more.zip (a zip in the zip: unpack it first)", "locked.opus (locked by a password: unpack it first)",
		"strange.opus (packed in a way that is not read here: unpack it first)",
	}; !slices.Equal(others, want) {
		t.Errorf("others %q, want %q", others, want)
	}
	for name, want := range map[string]string{"ana.opus": "", "bo/ana.opus": "", "text.mp3": "not a recording", "empty.wav": "holds no samples",
		"crc.flac": "", "short.flac": "", "nobody.opus": "not exist", "locked.opus": "password"} {
		n, err := whatever(t, path+"/"+name)
		switch damaged := name == "crc.flac" || name == "short.flac"; {
		case damaged && err == nil, !damaged && want == "" && (err != nil || n != 14400), want != "" && (err == nil || !strings.Contains(err.Error(), want)):
			t.Errorf("%s: %d samples, %v; want %q", name, n, err, want)
		}
	}
	// A zip that is half there, that is none, whose files lie one upon another.
	for name, b := range map[string][]byte{"half": b[:len(b)/2], "short": b[:10]} {
		if err := os.WriteFile(path, b, 0o666); err != nil {
			t.Fatal(err)
		}
		if _, _, err := Inside(path); !errors.Is(err, ErrPacked) || !strings.HasPrefix(err.Error(), path+": ") {
			t.Errorf("%s: %v", name, err)
		}
	}
	p = newPacking(t, path)
	for _, name := range []string{"a", "b", "c", "d"} {
		p.raw(zip.FileHeader{Name: name + ".flac"}, flac)
	}
	b = p.done()
	at := bytes.Index(b, []byte("PK\x01\x02"))
	last := bytes.LastIndex(b, []byte("PK\x05\x06"))
	over := slices.Concat(b[:len(flac)+100], b[at:]) // the entries, and of the files the first
	for i := len(flac) + 100; ; {
		k := bytes.Index(over[i:], []byte("PK\x01\x02"))
		if k < 0 {
			break
		}
		binary.LittleEndian.PutUint32(over[i+k+42:], 0) // where the file is
		i += k + 4
	}
	binary.LittleEndian.PutUint32(over[len(over)-(len(b)-last)+16:], uint32(len(flac)+100))
	if err := os.WriteFile(path, over, 0o666); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Inside(path); !errors.Is(err, ErrPacked) || !strings.Contains(err.Error(), "one upon another") {
		t.Errorf("files upon another: %v", err)
	}
}

// Many files that each unpack to not too much are as bad as one that does: those that are
// one too many are left out.
func TestManyThin(t *testing.T) {
	path := filepath.Join(t.TempDir(), "thin.zip")
	p := newPacking(t, path)
	silence := append([]byte("RIFF\xff\xff\xff\xffWAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x44\xac\x00\x00\x88\x58\x01\x00\x02\x00\x10\x00data\xff\xff\xff\xff"), make([]byte, 15<<20)...)
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		p.add(name+".wav", silence)
	}
	p.done()
	got, others, err := Inside(path)
	if err != nil || len(got) != 4 || !slices.Equal(others, []string{"e.wav (unpacks, with others, as no recordings do)"}) {
		t.Errorf("%q, %q, %v", got, others, err)
	}
}

// Silence for days in some kilobytes ends, in one line: the frame of FLAC that holds one
// value for 4608 samples, again and again (RFC 9639, 9.2.3).
func TestTooLong(t *testing.T) {
	s := newStream(endless{}, described{rate: 100, channels: 1, frames: -1}, "long.flac", "FLAC")
	if _, err := io.Copy(io.Discard, s); !errors.Is(err, errTooLong) {
		t.Errorf("%v", err)
	}
}

type endless struct{}

func (endless) next() ([]float32, error) { return make([]float32, 1<<16), nil }

func FuzzInside(f *testing.F) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create("a/b.wav")
	if err == nil {
		_, err = io.WriteString(w, "RIFF\x00\x00\x00\x00WAVEfmt ")
	}
	if err = errors.Join(err, z.Close()); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(t.TempDir(), "a.zip")
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		t.Setenv("PATH", t.TempDir())
		got, _, err := Inside(path)
		if err != nil {
			if !strings.HasPrefix(err.Error(), path+": ") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q", err)
			}
			return
		}
		for _, p := range got[:min(len(got), 3)] {
			if src, err := Open(p); err == nil {
				_, _, _ = src.Read(t.Context(), make([]float64, 4096))
				src.Close()
			}
		}
	})
}
