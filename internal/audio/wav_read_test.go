package audio

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"singback/internal/testkit"
)

// take describes a recording; bytes writes it by hand, so that nothing here
// depends on the package's own writer. Zero values mean 16-bit mono at 44100.
type take struct {
	form       string // "RIFF" if empty
	tag        uint16
	extensible bool
	valid      uint16 // of an extensible file; 0 is written as 0
	channels   uint16
	rate       uint32
	bits       uint16
	align      int // −1: what fits
	before     string
	after      string
	dataSize   int64 // −1: what is true
	ds64       bool
	frames     int
	signal     func(frame, channel int) float64
}

func newTake() take {
	return take{form: "RIFF", tag: tagPCM, channels: 1, rate: 44100, bits: 16, align: -1, dataSize: -1, frames: 22050,
		// 440 Hz for half a second is 220 periods: no DC. The phases are
		// multiples of 1/2205 of a period, so one is within 1e-6 of the peak.
		signal: func(i, _ int) float64 { return 0.5 * math.Sin(2*math.Pi*440*float64(i)/44100) }}
}

func (f take) bytes() []byte {
	var order binary.AppendByteOrder = binary.LittleEndian
	if f.form == "RIFX" {
		order = binary.BigEndian
	}
	chunk := func(dst []byte, id string, body []byte) []byte {
		dst = order.AppendUint32(append(dst, id...), uint32(len(body)))
		dst = append(dst, body...)
		if len(body)%2 == 1 {
			dst = append(dst, 0)
		}
		return dst
	}
	var data []byte
	for i := range f.frames {
		for c := range int(f.channels) {
			data = f.sample(order, data, f.signal(i, c))
		}
	}

	align := int(f.channels) * (int(f.bits+7) / 8)
	if f.align >= 0 {
		align = f.align
	}
	tag := f.tag
	if f.extensible {
		tag = tagExtensible
	}
	head := order.AppendUint16(nil, tag)
	head = order.AppendUint16(head, f.channels)
	head = order.AppendUint32(head, f.rate)
	head = order.AppendUint32(head, f.rate*uint32(align))
	head = order.AppendUint16(head, uint16(align))
	head = order.AppendUint16(head, f.bits)
	if f.extensible {
		head = order.AppendUint16(head, 22)
		head = order.AppendUint16(head, f.valid)
		head = order.AppendUint32(head, 0)
		// KSDATAFORMAT_SUBTYPE: {tag-0000-0010-8000-00aa00389b71}
		head = order.AppendUint32(head, uint32(f.tag))
		head = order.AppendUint16(head, 0)
		head = order.AppendUint16(head, 0x10)
		head = append(head, "\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	}

	out := append([]byte(f.form), "\xff\xff\xff\xffWAVE"...)
	if f.ds64 {
		long := order.AppendUint64(nil, 0) // RIFF size: of no use
		long = order.AppendUint64(long, uint64(len(data)))
		long = order.AppendUint64(long, uint64(f.frames))
		out = chunk(out, "ds64", order.AppendUint32(long, 0))
	}
	out = chunk(out, "fmt ", head)
	out = append(out, f.before...)
	size := f.dataSize
	if size < 0 {
		size = int64(len(data))
	}
	out = order.AppendUint32(append(out, "data"...), uint32(size))
	out = append(out, data...)
	if f.after != "" && len(data)%2 == 1 {
		out = append(out, 0)
	}
	out = append(out, f.after...)
	if len(out) > 8 && f.form != "RF64" {
		copy(out[4:], order.AppendUint32(nil, uint32(len(out)-8)))
	}
	return out
}

// sample appends x in the take's encoding.
func (f take) sample(order binary.AppendByteOrder, dst []byte, x float64) []byte {
	switch {
	case f.tag == tagALaw:
		return append(dst, nearest(aLawLinear, x))
	case f.tag == tagMuLaw:
		return append(dst, nearest(muLawLinear, x))
	case f.tag == tagFloat && f.bits == 64:
		return order.AppendUint64(dst, math.Float64bits(x))
	case f.tag == tagFloat:
		return order.AppendUint32(dst, math.Float32bits(float32(x)))
	case f.bits <= 8:
		return append(dst, byte(math.Round(x*128)+128))
	}
	valid := int(f.bits)
	if f.valid > 0 {
		valid = int(f.valid)
	}
	step := math.Ldexp(1, valid-1)
	v := int32(min(math.Round(x*step), step-1)) << (32 - valid) // valid bits are the upper ones
	size := int(f.bits+7) / 8
	for i := range size {
		shift := 8 * (4 - size + i)
		if order == binary.AppendByteOrder(binary.BigEndian) {
			shift = 8 * (3 - i)
		}
		dst = append(dst, byte(v>>shift))
	}
	return dst
}

func nearest(linear func(byte) int, x float64) byte {
	best, distance := byte(0), math.Inf(1)
	for c := range 256 {
		if d := math.Abs(float64(linear(byte(c)))/32768 - x); d < distance {
			best, distance = byte(c), d
		}
	}
	return best
}

// aLawLinear and muLawLinear expand G.711 to 16-bit PCM the way telephone
// software commonly does, by shifts; from memory.
func aLawLinear(c byte) int {
	c ^= 0x55
	t := int(c&15)<<4 + 8
	if segment := int(c >> 4 & 7); segment > 0 {
		t = (t + 0x100) << (segment - 1)
	}
	if c&0x80 == 0 {
		return -t
	}
	return t
}

func muLawLinear(c byte) int {
	c = ^c
	t := (int(c&15)<<3+0x84)<<(c>>4&7) - 0x84
	if c&0x80 != 0 {
		return -t
	}
	return t
}

// readAll reads to the end in blocks and checks the contract of Source.
func readAll(t testing.TB, s Source, block int) ([]float64, error) {
	t.Helper()
	var all []float64
	dst := make([]float64, block)
	for {
		n, lost, err := s.Read(context.Background(), dst)
		if lost != 0 || n < 0 || n > block || err == nil && n == 0 || err != nil && n != 0 {
			t.Fatalf("Read of %d gave n %d, lost %d, error %v: against the contract", block, n, lost, err)
		}
		all = append(all, dst[:n]...)
		if err != nil {
			if _, _, again := s.Read(context.Background(), dst); again == nil || again.Error() != err.Error() {
				t.Fatalf("Read after %v gave %v, want the same", err, again)
			}
			if err == io.EOF {
				err = nil
			}
			return all, err
		}
	}
}

// pipe hides everything but Read, as a pipe does.
type pipe struct{ io.Reader }

// The 25 files of the project's comparison of WAV readers and some more. The
// right answer for each: 22,050 frames, peak 0.5, no DC, 44100 Hz.
func TestWAVMatrix(t *testing.T) {
	odd := "junk\x05\x00\x00\x00hello\x00" + "LIST\x0d\x00\x00\x00INFOISFT\x01\x00\x00\x00a\x00"
	for _, test := range []struct {
		name   string
		change func(*take)
		format Format
		step   float64 // of the encoding at 0.5; 0: float
	}{
		{"PCM 16", func(f *take) {}, Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"PCM 8 is unsigned", func(f *take) { f.bits = 8 }, Format{44100, 1, 8, PCM, 22050}, 1. / (1 << 7)},
		{"PCM 24", func(f *take) { f.bits = 24 }, Format{44100, 1, 24, PCM, 22050}, 1. / (1 << 23)},
		{"PCM 32", func(f *take) { f.bits = 32 }, Format{44100, 1, 32, PCM, 22050}, 1. / (1 << 31)},
		{"PCM 12 lies in the upper bits of 16", func(f *take) { f.bits, f.valid = 12, 12 },
			Format{44100, 1, 12, PCM, 22050}, 1. / (1 << 11)},
		{"float 32", func(f *take) { f.tag, f.bits = tagFloat, 32 }, Format{44100, 1, 32, Float, 22050}, 0},
		{"float 64", func(f *take) { f.tag, f.bits = tagFloat, 64 }, Format{44100, 1, 64, Float, 22050}, 0},
		{"extensible 16", func(f *take) { f.extensible, f.valid = true, 16 }, Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"extensible 24", func(f *take) { f.extensible, f.valid, f.bits = true, 24, 24 },
			Format{44100, 1, 24, PCM, 22050}, 1. / (1 << 23)},
		{"extensible 20 in 24", func(f *take) { f.extensible, f.valid, f.bits = true, 20, 24 },
			Format{44100, 1, 20, PCM, 22050}, 1. / (1 << 19)},
		{"extensible 24 in 32", func(f *take) { f.extensible, f.valid, f.bits = true, 24, 32 },
			Format{44100, 1, 24, PCM, 22050}, 1. / (1 << 23)},
		{"extensible 32", func(f *take) { f.extensible, f.valid, f.bits = true, 32, 32 },
			Format{44100, 1, 32, PCM, 22050}, 1. / (1 << 31)},
		{"extensible float 32", func(f *take) { f.extensible, f.valid, f.tag, f.bits = true, 32, tagFloat, 32 },
			Format{44100, 1, 32, Float, 22050}, 0},
		{"extensible, valid bits left at 0", func(f *take) { f.extensible = true },
			Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"A-law", func(f *take) { f.tag, f.bits = tagALaw, 8 }, Format{44100, 1, 8, ALaw, 22050}, 1. / 32},
		{"mu-law", func(f *take) { f.tag, f.bits = tagMuLaw, 8 }, Format{44100, 1, 8, MuLaw, 22050}, 1. / 32},
		{"stereo", func(f *take) { f.channels = 2 }, Format{44100, 2, 16, PCM, 22050}, 1. / (1 << 15)},
		{"8 channels, extensible 24", func(f *take) { f.channels, f.extensible, f.valid, f.bits = 8, true, 24, 24 },
			Format{44100, 8, 24, PCM, 22050}, 1. / (1 << 23)},
		{"64 channels", func(f *take) { f.channels = 64 }, Format{44100, 64, 16, PCM, 22050}, 1. / (1 << 15)},
		{"odd-sized chunks before the data", func(f *take) { f.before = odd }, Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"odd-sized chunk without its pad byte", func(f *take) { f.before = "junk\x03\x00\x00\x00abc" },
			Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"chunks after the data", func(f *take) { f.after = odd }, Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"length 0xFFFFFFFF", func(f *take) { f.dataSize = 0xFFFFFFFF }, Format{44100, 1, 16, PCM, -1}, 1. / (1 << 15)},
		{"length 0", func(f *take) { f.dataSize = 0 }, Format{44100, 1, 16, PCM, -1}, 1. / (1 << 15)},
		{"length 0x7FFFF000", func(f *take) { f.dataSize = 0x7FFFF000 }, Format{44100, 1, 16, PCM, -1}, 1. / (1 << 15)},
		{"length 0x80000000", func(f *take) { f.dataSize = 0x80000000 }, Format{44100, 1, 16, PCM, -1}, 1. / (1 << 15)},
		{"RF64", func(f *take) { f.form, f.ds64, f.dataSize = "RF64", true, 0xFFFFFFFF },
			Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"BW64", func(f *take) { f.form, f.ds64, f.dataSize, f.bits = "BW64", true, 0xFFFFFFFF, 24 },
			Format{44100, 1, 24, PCM, 22050}, 1. / (1 << 23)},
		{"RIFX 16", func(f *take) { f.form = "RIFX" }, Format{44100, 1, 16, PCM, 22050}, 1. / (1 << 15)},
		{"RIFX 24 stereo", func(f *take) { f.form, f.bits, f.channels = "RIFX", 24, 2 },
			Format{44100, 2, 24, PCM, 22050}, 1. / (1 << 23)},
		{"RIFX extensible float 64", func(f *take) { f.form, f.extensible, f.tag, f.bits = "RIFX", true, tagFloat, 64 },
			Format{44100, 1, 64, Float, 22050}, 0},
	} {
		t.Run(test.name, func(t *testing.T) {
			f := newTake()
			test.change(&f)
			data := f.bytes()
			open := func(r io.Reader) *WAV {
				w, err := NewWAV(r, "take.wav")
				if err != nil {
					t.Fatal(err)
				}
				return w
			}
			w := open(pipe{bytes.NewReader(data)})
			if w.Format != test.format || w.SampleRate() != 44100 {
				t.Errorf("format %v, want %v", w.Format, test.format)
			}
			got, err := readAll(t, w, 4096)
			if err != nil {
				t.Fatal(err)
			}
			if w.NotFinite != 0 || w.Over != 0 || w.Truncated || w.Cancelled() {
				t.Errorf("NotFinite %d, Over %d, Truncated %t, Cancelled %t, want none", w.NotFinite, w.Over, w.Truncated, w.Cancelled())
			}

			if len(got) != 22050 {
				t.Fatalf("%d frames, want 22050", len(got))
			}
			var peak, sum, worst float64
			for i, x := range got {
				peak = max(peak, math.Abs(x))
				sum += x
				worst = max(worst, math.Abs(x-f.signal(i, 0)))
			}
			tolerance := test.step/2 + 1e-6 // half a step of the encoding, the phase nearest to the peak, float 32
			if math.Abs(peak-0.5) > tolerance || worst > tolerance {
				t.Errorf("peak %.7f, want 0.5; worst error %.3g, want at most %.3g", peak, worst, tolerance)
			}
			if dc := sum / 22050; math.Abs(dc) > 1e-3*tolerance+1e-9 {
				t.Errorf("DC %.3g, want 0", dc)
			}

			for _, block := range []int{1, 7} {
				again, err := readAll(t, open(bytes.NewReader(data)), block)
				same(t, fmt.Sprintf("blocks of %d", block), again, err, got)
			}
			if len(data) < 1<<20 { // 64 channels take too long
				again, err := readAll(t, open(iotest.OneByteReader(bytes.NewReader(data))), 4096)
				same(t, "byte by byte", again, err, got)
			}
			again, err := readAll(t, open(iotest.DataErrReader(bytes.NewReader(data))), 4096)
			same(t, "end together with the last data", again, err, got)

			path := filepath.Join(t.TempDir(), "take.wav")
			if err := os.WriteFile(path, data, 0o666); err != nil {
				t.Fatal(err)
			}
			w, err = OpenWAV(path)
			if err != nil {
				t.Fatal(err)
			}
			defer w.Close()
			if w.Format.Frames != 22050 {
				t.Errorf("a regular file has %d frames, want 22050", w.Format.Frames)
			}
			again, err = readAll(t, w, 4096)
			same(t, "regular file", again, err, got)
		})
	}
}

func same(t *testing.T, how string, got []float64, err error, want []float64) {
	t.Helper()
	if err != nil {
		t.Errorf("%s: %v", how, err)
	}
	if len(got) != len(want) {
		t.Errorf("%s: %d samples, want %d", how, len(got), len(want))
		return
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("%s: sample %d is %v, want %v", how, i, got[i], want[i])
			return
		}
	}
}

func TestWAVRefused(t *testing.T) {
	change := func(change func(*take)) string {
		f := newTake()
		f.frames = 100
		change(&f)
		return string(f.bytes())
	}
	whole := change(func(f *take) {})
	for _, test := range []struct {
		name, data string
		options    []Option
		is         error
		message    string
	}{
		{"empty file", "", nil, ErrEmpty, "holds no samples: the file is empty; record it again"},
		{"text", "one two three\n", nil, ErrNotWAV, "not a WAV file: it looks like text; name a recording"},
		{"UTF-8 text cut inside a character", strings.Repeat("é", 300)[:511], nil, ErrNotWAV,
			"not a WAV file: it looks like text; name a recording"},
		{"FLAC", "fLaC\x00\x00\x00\x22", nil, ErrNotWAV, "not a WAV file: it looks like FLAC; convert it to WAV (16-bit PCM)"},
		{"Ogg", "OggS\x00\x02", nil, ErrNotWAV,
			"not a WAV file: it looks like Ogg (Vorbis or Opus); convert it to WAV (16-bit PCM)"},
		{"MP3 with tags", "ID3\x04\x00", nil, ErrNotWAV, "not a WAV file: it looks like MP3; convert it to WAV (16-bit PCM)"},
		{"MP3", "\xff\xfb\x90\x64\x00", nil, ErrNotWAV, "not a WAV file: it looks like MP3; convert it to WAV (16-bit PCM)"},
		{"M4A", "\x00\x00\x00\x20ftypM4A ", nil, ErrNotWAV,
			"not a WAV file: it looks like MP4 or M4A; convert it to WAV (16-bit PCM)"},
		{"MIDI", "MThd\x00\x00\x00\x06", nil, ErrNotWAV,
			"not a WAV file: it looks like MIDI, which holds notes and no sound; record it as WAV"},
		{"archive", "PK\x03\x04\x14\x00", nil, ErrNotWAV, "not a WAV file: it looks like a compressed archive; unpack it first"},
		{"zeros", strings.Repeat("\x00", 4096), nil, ErrNotWAV,
			"not a WAV file: it looks like nothing known; name a WAV recording"},
		{"other RIFF", "RIFF\x10\x00\x00\x00AVI LIST", nil, ErrNotWAV,
			`not a WAV file: it is a RIFF file of the kind "AVI "; save the sound as WAV (16-bit PCM)`},
		{"cut in the first header", whole[:7], nil, ErrTruncated,
			"cut short: it ends after 7 bytes, before the first sample; copy or record it again"},
		{"cut before the fmt chunk", whole[:12], nil, ErrTruncated,
			"cut short: it ends after 12 bytes, before the first sample; copy or record it again"},
		{"cut in the fmt chunk", whole[:30], nil, ErrTruncated,
			"cut short: it ends after 30 bytes, before the first sample; copy or record it again"},
		{"cut in a chunk's head", whole[:40], nil, ErrTruncated,
			"cut short: it ends after 40 bytes, before the first sample; copy or record it again"},
		{"cut in a chunk of 4 GiB", whole[:36] + "LIST\xfe\xff\xff\xffINFO", nil, ErrTruncated,
			"cut short: it ends after 48 bytes, before the first sample; copy or record it again"},
		{"no data chunk", whole[:36], nil, ErrEmpty, "holds no samples: it has no data chunk; record it again"},
		{"no frames", change(func(f *take) { f.frames = 0 }), nil, ErrEmpty,
			"holds no samples: its data are shorter than one sample; record it again"},
		{"no frames, chunk behind", change(func(f *take) { f.frames, f.after = 0, "LIST\x04\x00\x00\x00INFO" }), nil, ErrEmpty,
			"holds no samples: its data are shorter than one sample; record it again"},
		{"no frames from a pipe", change(func(f *take) { f.frames, f.dataSize = 0, 0xFFFFFFFF }), nil, ErrEmpty,
			"holds no samples: its data are shorter than one sample; record it again"},
		{"data before fmt", whole[:12] + whole[36:], nil, ErrBadHeader,
			"damaged header: the data come before the fmt chunk; save it again as PCM"},
		{"short fmt chunk", whole[:16] + "\x0e" + whole[17:], nil, ErrBadHeader,
			"damaged header: a fmt chunk of 14 bytes, at least 16 are needed; save it again as PCM"},
		{"extensible without extension", change(func(f *take) { f.tag = tagExtensible }), nil, ErrBadHeader,
			"damaged header: an extensible fmt chunk of 16 bytes, 40 are needed; save it again as PCM"},
		{"more valid bits than bits", change(func(f *take) { f.extensible, f.valid = true, 17 }), nil, ErrBadHeader,
			"damaged header: 17 valid bits in a sample of 16; save it again as PCM"},
		{"ADPCM", change(func(f *take) { f.tag, f.bits = 2, 4 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: codec 0x0002 (ADPCM); save it as PCM"},
		{"IMA ADPCM", change(func(f *take) { f.tag, f.bits = 0x11, 4 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: codec 0x0011 (IMA ADPCM); save it as PCM"},
		{"MP3 in WAV", change(func(f *take) { f.tag, f.bits = 0x55, 0 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: codec 0x0055 (MP3); save it as PCM"},
		{"unknown codec", change(func(f *take) { f.tag = 0x1234 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: codec 0x1234; save it as PCM"},
		{"0 channels", change(func(f *take) { f.channels = 0 }), nil, ErrBadHeader,
			"damaged header: 0 channels; save it again with 1 or 2"},
		{"65 channels", change(func(f *take) { f.channels = 65 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: 65 channels, at most 64 are read; save it with 1 or 2"},
		{"rate 0", change(func(f *take) { f.rate = 0 }), nil, ErrBadHeader,
			"damaged header: a sample rate of 0; save it again at 44100 or 48000 Hz"},
		{"rate below the range", change(func(f *take) { f.rate = 7999 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: a sample rate of 7999 Hz, from 8000 to 192000 are read; save it at 44100 or 48000 Hz"},
		{"rate above the range", change(func(f *take) { f.rate = 4294967295 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: a sample rate of 4294967295 Hz, from 8000 to 192000 are read; save it at 44100 or 48000 Hz"},
		{"0 bits", change(func(f *take) { f.bits = 0 }), nil, ErrBadHeader,
			"damaged header: 0 bits a sample; save it again as 16-bit PCM"},
		{"PCM 64", change(func(f *take) { f.bits, f.frames = 64, 0 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: PCM of 64 bits a sample; save it as 16-bit PCM"},
		{"float 16", change(func(f *take) { f.tag, f.frames = tagFloat, 0 }), nil, ErrUnsupported,
			"a kind of WAV that is not read here: float of 16 bits a sample; save it as 16-bit PCM"},
		{"block align 0", change(func(f *take) { f.align = 0 }), nil, ErrBadHeader,
			"damaged header: a block align of 0 where 1 × 16 bits take 2 bytes; save it again as PCM"},
		{"block align too wide", change(func(f *take) { f.align, f.bits = 4, 24 }), nil, ErrBadHeader,
			"damaged header: a block align of 4 where 1 × 24 bits take 3 bytes; save it again as PCM"},
		{"short ds64", "RF64\xff\xff\xff\xffWAVEds64\x08\x00\x00\x00abcdefgh", nil, ErrBadHeader,
			"damaged header: a ds64 chunk of 8 bytes, at least 16 are needed; save it again as WAV"},
		{"absurd ds64", "RF64\xff\xff\xff\xffWAVEds64\x10\x00\x00\x00abcdefgh\xfe\xff\xff\xff\xff\xff\xff\xff", nil, ErrBadHeader,
			"damaged header: 18446744073709551614 bytes of data; copy or record it again"},
		{"channel that is not there", whole, []Option{Channel(2)}, ErrNoChannel, "no such channel: 2 asked for, the file has 1; choose from 1 to 1"},
		{"negative channel", whole, []Option{Channel(-1)}, ErrNoChannel, "no such channel: -1 asked for, the file has 1; choose from 1 to 1"},
		{"all of the data missing", whole[:44], []Option{Partial()}, ErrTruncated,
			"cut short: the header promises 0.002 s, the file holds 0.000 s; copy or record it again"},
	} {
		t.Run(test.name, func(t *testing.T) {
			for _, r := range []io.Reader{strings.NewReader(test.data), iotest.OneByteReader(strings.NewReader(test.data))} {
				w, err := NewWAV(r, "take.wav", test.options...)
				if err == nil {
					t.Fatalf("accepted as %v", w.Format)
				}
				if !errors.Is(err, test.is) || err.Error() != "take.wav: "+test.message {
					t.Errorf("error %q\nwant  %q, a %v", err, "take.wav: "+test.message, test.is)
				}
			}
		})
	}
}

func TestWAVFileErrors(t *testing.T) {
	dir := t.TempDir()
	missing := filepath.Join(dir, "none.wav")
	if _, err := OpenWAV(missing); !errors.Is(err, fs.ErrNotExist) || err.Error() != missing+": no such file or directory" {
		t.Errorf("missing file: %v", err)
	}
	if _, err := OpenWAV(dir); !errors.Is(err, ErrNotWAV) || err.Error() != dir+": not a WAV file: it is a folder; name a file in it" {
		t.Errorf("folder: %v", err)
	}
	boom := errors.New("the cable fell out")
	data := newTake().bytes()
	for _, n := range []int{0, 3, 20, 39, 44} {
		_, err := NewWAV(io.MultiReader(bytes.NewReader(data[:n]), iotest.ErrReader(boom)), "take.wav")
		if !errors.Is(err, boom) || err.Error() != "take.wav: the cable fell out" {
			t.Errorf("input that fails after %d bytes: %v", n, err)
		}
	}
	w, err := NewWAV(io.MultiReader(bytes.NewReader(data[:144]), iotest.ErrReader(boom)), "take.wav")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := readAll(t, w, 4096); !errors.Is(err, boom) || len(got) != 50 {
		t.Errorf("input that fails after 50 samples: %d samples, %v", len(got), err)
	}

	w, _ = NewWAV(bytes.NewReader(data), "take.wav")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if n, _, err := w.Read(ctx, make([]float64, 8)); n != 0 || err != context.Canceled {
		t.Errorf("Read with a dead context: %d, %v", n, err)
	}
	if err := errors.Join(w.Close(), w.Close()); err != nil {
		t.Errorf("Close: %v", err)
	}
	if n, _, err := w.Read(context.Background(), make([]float64, 8)); n != 0 || !errors.Is(err, fs.ErrClosed) {
		t.Errorf("Read after Close: %d, %v", n, err)
	}
}

// A recording of 3 s of which 1.21 s are there.
func TestWAVTruncated(t *testing.T) {
	f := newTake()
	f.frames = 3 * 44100
	const there = 121 * 441
	data := f.bytes()[:44+2*there+1] // the last sample is cut in the middle
	path := filepath.Join(t.TempDir(), "take.wav")
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	const message = ": cut short: the header promises 3.000 s, the file holds 1.210 s; copy or record it again"

	t.Run("regular file: when opened", func(t *testing.T) {
		if _, err := OpenWAV(path); !errors.Is(err, ErrTruncated) || err.Error() != path+message {
			t.Errorf("error %v", err)
		}
	})
	t.Run("regular file as standard input, not from its start", func(t *testing.T) {
		f, err := os.CreateTemp(t.TempDir(), "")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := f.Write(append([]byte("0123456789"), data...)); err != nil {
			t.Fatal(err)
		}
		if _, err := f.Seek(10, io.SeekStart); err != nil {
			t.Fatal(err)
		}
		if _, err := NewWAV(f, "standard input"); !errors.Is(err, ErrTruncated) || err.Error() != "standard input"+message {
			t.Errorf("error %v", err)
		}
	})
	t.Run("pipe: at the end of Read", func(t *testing.T) {
		w, err := NewWAV(pipe{bytes.NewReader(data)}, "take.wav")
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(t, w, 1000)
		if len(got) != there || !errors.Is(err, ErrTruncated) || err.Error() != "take.wav"+message || !w.Truncated {
			t.Errorf("%d samples, want %d; error %v; Truncated %t", len(got), there, err, w.Truncated)
		}
	})
	t.Run("Partial, regular file", func(t *testing.T) {
		w, err := OpenWAV(path, Partial())
		if err != nil {
			t.Fatal(err)
		}
		defer w.Close()
		if !w.Truncated || w.Format.Frames != there {
			t.Errorf("Truncated %t, %d frames, want true, %d", w.Truncated, w.Format.Frames, there)
		}
		if got, err := readAll(t, w, 1000); len(got) != there || err != nil {
			t.Errorf("%d samples, want %d; error %v", len(got), there, err)
		}
	})
	t.Run("Partial, pipe", func(t *testing.T) {
		w, err := NewWAV(pipe{bytes.NewReader(data)}, "take.wav", Partial())
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(t, w, 1000)
		if len(got) != there || err != nil || !w.Truncated {
			t.Errorf("%d samples, want %d; error %v; Truncated %t", len(got), there, err, w.Truncated)
		}
	})
	t.Run("header of 4 GiB less a little", func(t *testing.T) {
		f := newTake()
		f.dataSize = 0xFFFFFFF0
		if err := os.WriteFile(path, f.bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
		const message = ": cut short: the header promises 48695.774 s, the file holds 0.500 s; copy or record it again"
		if _, err := OpenWAV(path); !errors.Is(err, ErrTruncated) || err.Error() != path+message {
			t.Errorf("error %v", err)
		}
	})
	t.Run("the data hold half a frame more than fits", func(t *testing.T) {
		f := newTake()
		f.channels, f.frames = 2, 10
		for _, size := range []int64{38, 0xFFFFFFFF} {
			f.dataSize = size // the tenth frame has one channel
			data := f.bytes()
			w, err := NewWAV(bytes.NewReader(data[:len(data)-2]), "take.wav")
			if err != nil {
				t.Fatal(err)
			}
			if got, err := readAll(t, w, 4); len(got) != 9 || err != nil || w.Truncated {
				t.Errorf("size %d: %d samples, want 9; error %v; Truncated %t", size, len(got), err, w.Truncated)
			}
		}
	})
}

// What follows the data of a pipe is not waited for, nor is a full buffer.
func TestWAVTakesWhatHasArrived(t *testing.T) {
	f := newTake()
	f.frames = 20
	data := f.bytes()
	arrived := 44 + 2*10
	r := readerFunc(func(p []byte) (int, error) {
		if arrived == 0 {
			t.Error("Read waits for more although 10 samples have arrived")
			return 0, io.EOF
		}
		n := copy(p, data[:arrived])
		arrived = 0
		return n, nil
	})
	w, err := NewWAV(r, "standard input")
	if err != nil {
		t.Fatal(err)
	}
	if n, _, err := w.Read(context.Background(), make([]float64, 4096)); n != 10 || err != nil {
		t.Errorf("Read gave %d, %v, want 10", n, err)
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

func TestWAVChannels(t *testing.T) {
	const a, b, c = 0.5, -0.25, 0.125
	f := newTake()
	f.channels, f.frames = 3, 3000
	f.signal = func(_, channel int) float64 { return []float64{a, b, c}[channel] }
	data := f.bytes()
	for channel, want := range []float64{(a + b + c) / 3, a, b, c} {
		w, err := NewWAV(bytes.NewReader(data), "take.wav", Channel(channel))
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(t, w, 777)
		if len(got) != 3000 || err != nil {
			t.Fatalf("%d samples, %v", len(got), err)
		}
		for i, x := range got {
			if math.Abs(x-want) > 1e-15 {
				t.Fatalf("channel %d, frame %d: %v, want %v", channel, i, x, want)
			}
		}
	}
}

func TestWAVCancelled(t *testing.T) {
	sine := newTake().signal
	for _, test := range []struct {
		name     string
		channels uint16
		channel  int
		signal   func(i, c int) float64
		want     bool
	}{
		{"opposite phase", 2, 0, func(i, c int) float64 { return sine(i, 0) * float64(1-2*c) }, true},
		{"opposite phase, 5% difference of gain", 2, 0, func(i, c int) float64 { return sine(i, 0) * (1 - 1.95*float64(c)) }, true},
		{"opposite phase, one channel picked", 2, 1, func(i, c int) float64 { return sine(i, 0) * float64(1-2*c) }, false},
		{"same phase", 2, 0, func(i, c int) float64 { return sine(i, 0) }, false},
		{"one of two channels", 2, 0, func(i, c int) float64 { return sine(i, 0) * float64(c) }, false},
		{"one of 64 channels", 64, 0, func(i, c int) float64 { return sine(i, 0) * float64(c/63) }, false},
		{"90 degrees apart", 2, 0, func(i, c int) float64 { return 0.5 * math.Sin(float64(i)/16+math.Pi/2*float64(c)) }, false},
		{"silence", 2, 0, func(i, c int) float64 { return 0 }, false},
		{"noise below -60 dBFS in opposite phase", 2, 0, func(i, c int) float64 { return float64((i%2*2-1)*(c*2-1)) / 2000 }, false},
	} {
		f := newTake()
		f.channels, f.signal, f.frames = test.channels, test.signal, 4410
		w, err := NewWAV(bytes.NewReader(f.bytes()), "take.wav", Channel(test.channel))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := readAll(t, w, 1000); err != nil {
			t.Fatal(err)
		}
		if w.Cancelled() != test.want {
			t.Errorf("%s: Cancelled %t, want %t", test.name, w.Cancelled(), test.want)
		}
	}
}

func TestWAVFloatOutsideTheRange(t *testing.T) {
	values := []float64{0.25, math.NaN(), math.Inf(1), math.Inf(-1), 1, -1, 1.5, -32768, math.MaxFloat32, -0.25}
	want := []float64{0.25, 0, 0, 0, 1, -1, 1, -1, 1, -0.25}
	for _, bits := range []uint16{32, 64} {
		f := newTake()
		f.tag, f.bits, f.frames = tagFloat, bits, len(values)
		f.signal = func(i, _ int) float64 { return values[i] }
		w, err := NewWAV(bytes.NewReader(f.bytes()), "take.wav")
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(t, w, 3)
		same(t, fmt.Sprintf("float %d", bits), got, err, want)
		if w.NotFinite != 3 || w.Over != 3 {
			t.Errorf("float %d: NotFinite %d, Over %d, want 3, 3", bits, w.NotFinite, w.Over)
		}
	}
}

func TestG711(t *testing.T) {
	// Character signals and decoder output values at both ends of each segment:
	// ITU-T G.711 (11/88), tables 1a and 2a; from memory.
	for _, test := range []struct {
		name   string
		table  *[256]float64
		scale  float64
		values map[byte]float64 // positive; the sign is the first bit
	}{
		{"A-law", &aLawTable, 4096, map[byte]float64{
			0xFF ^ 0x55: 4032, 0xF0 ^ 0x55: 2112, 0xEF ^ 0x55: 2016, 0xE0 ^ 0x55: 1056, 0xDF ^ 0x55: 1008, 0xD0 ^ 0x55: 528,
			0xCF ^ 0x55: 504, 0xC0 ^ 0x55: 264, 0xBF ^ 0x55: 252, 0xB0 ^ 0x55: 132, 0xAF ^ 0x55: 126, 0xA0 ^ 0x55: 66,
			0x9F ^ 0x55: 63, 0x90 ^ 0x55: 33, 0x8F ^ 0x55: 31, 0x80 ^ 0x55: 1}},
		{"mu-law", &muLawTable, 8192, map[byte]float64{
			0x80: 8031, 0x8F: 4191, 0x90: 3999, 0x9F: 2079, 0xA0: 1983, 0xAF: 1023, 0xB0: 975, 0xBF: 495,
			0xC0: 471, 0xCF: 231, 0xD0: 219, 0xDF: 99, 0xE0: 93, 0xEF: 33, 0xF0: 30, 0xFE: 2, 0xFF: 0}},
	} {
		for code, want := range test.values {
			if got := test.table[code] * test.scale; got != want {
				t.Errorf("%s %08b: %v, want %v", test.name, code, got, want)
			}
			if got := test.table[code^0x80] * test.scale; got != -want {
				t.Errorf("%s %08b: %v, want %v", test.name, code^0x80, got, -want)
			}
		}
	}
	for c := range 256 {
		if got, want := aLawTable[c]*32768, float64(aLawLinear(byte(c))); got != want {
			t.Errorf("A-law %#02x: %v, want %v", c, got, want)
		}
		if got, want := muLawTable[c]*32768, float64(muLawLinear(byte(c))); got != want {
			t.Errorf("mu-law %#02x: %v, want %v", c, got, want)
		}
	}
	// The sine of 1 kHz at 0 dBm0 of G.711, tables 5 and 6, lies 3.14 dB (A-law)
	// and 3.17 dB (mu-law, overload at 8159) below overload; from memory.
	level := func(table [256]float64, codes string) float64 {
		var m Meter
		for _, c := range []byte(codes) {
			m.Push([]float64{table[c]})
		}
		return m.Level() + 20*math.Log10(math.Sqrt2) // of a sine, against its overload
	}
	if got := level(aLawTable, "\x34\x21\x21\x34\xb4\xa1\xa1\xb4"); math.Abs(got+3.14) > 0.01 {
		t.Errorf("A-law 0 dBm0: %.3f dB, want -3.14", got)
	}
	if got := level(muLawTable, "\x1e\x0b\x0b\x1e\x9e\x8b\x8b\x9e") + 20*math.Log10(8192./8159); math.Abs(got+3.17) > 0.01 {
		t.Errorf("mu-law 0 dBm0: %.3f dB, want -3.17", got)
	}
}

// sox writes the same sound in every way it can; its own reading of each file
// is what we must find in it.
func TestWAVAgainstSox(t *testing.T) {
	program := testkit.Tool(t, "sox")
	sox := func(args ...string) []byte {
		t.Helper()
		var out, message bytes.Buffer
		cmd := exec.Command(program, append([]string{"-V1", "-R", "-D"}, args...)...)
		cmd.Stdout, cmd.Stderr = &out, &message
		if err := cmd.Run(); err != nil {
			t.Fatalf("sox %s: %v\n%s", strings.Join(args, " "), err, message.Bytes())
		}
		return out.Bytes()
	}
	dir := t.TempDir()
	for _, test := range []struct {
		encoding string
		channels int
		err      error
	}{
		{"-e unsigned -b 8", 1, nil}, {"-e signed -b 16", 1, nil}, {"-e signed -b 24", 1, nil}, {"-e signed -b 32", 1, nil},
		{"-e float -b 32", 1, nil}, {"-e float -b 64", 1, nil}, {"-e a-law", 1, nil}, {"-e mu-law", 1, nil},
		{"-e signed -b 16", 2, nil}, {"-e signed -b 24", 6, nil}, {"-e float -b 32", 8, nil}, {"-e a-law", 3, nil},
		{"-B -e signed -b 16", 1, nil}, {"-B -e signed -b 24", 2, nil}, {"-B -e float -b 32", 1, nil},
		{"-B -e signed -b 32", 4, nil}, {"-e signed -b 16 -r 8000", 1, nil}, {"-e signed -b 16 -r 192000", 1, nil},
		{"-e signed -b 16 -r 22050 --comment odd", 1, nil},
		{"-e ms-adpcm", 1, ErrUnsupported}, {"-e ima-adpcm", 1, ErrUnsupported}, {"-e gsm-full-rate -r 8000", 1, ErrUnsupported},
	} {
		t.Run(fmt.Sprintf("%s, %d channels", test.encoding, test.channels), func(t *testing.T) {
			path := filepath.Join(dir, "take.wav")
			how := append([]string{"-n", "-c", fmt.Sprint(test.channels)}, strings.Fields(test.encoding)...)
			what := strings.Fields("synth 0.25 sine 200-900 vol 0.8")
			sox(append(append(how, path), what...)...)
			w, err := OpenWAV(path)
			if test.err != nil {
				if !errors.Is(err, test.err) {
					t.Fatalf("error %v, want %v", err, test.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			defer w.Close()
			raw := sox(path, "-t", "f64", "-L", "-")
			var want []float64
			for len(raw) > 0 {
				var sum float64
				for range test.channels {
					sum += math.Float64frombits(binary.LittleEndian.Uint64(raw))
					raw = raw[8:]
				}
				want = append(want, sum/float64(test.channels))
			}
			compare := func(how string, w *WAV) {
				got, err := readAll(t, w, 999)
				if err != nil || len(got) != len(want) || w.Format.Channels != test.channels {
					t.Fatalf("%s: %d samples, %d channels, error %v, want %d, %d", how, len(got), w.Format.Channels, err, len(want), test.channels)
				}
				var worst float64
				for i := range got {
					worst = max(worst, math.Abs(got[i]-want[i]))
				}
				if worst > 1./(1<<30) { // sox works in 32 bits
					t.Errorf("%s: worst difference %.3g", how, worst)
				}
			}
			compare("file", w)
			if w.Format.Frames != int64(len(want)) {
				t.Errorf("%d frames, want %d", w.Format.Frames, len(want))
			}
			// To a pipe sox cannot write the length.
			w, err = NewWAV(bytes.NewReader(sox(append(append(how, "-t", "wav", "-"), what...)...)), "standard input")
			if err != nil {
				t.Fatal(err)
			}
			if w.Format.Frames != -1 {
				t.Errorf("from a pipe: %d frames, want -1", w.Format.Frames)
			}
			compare("pipe", w)
		})
	}
	t.Run("all codes of G.711", func(t *testing.T) {
		var codes []byte
		for c := range 256 {
			codes = append(codes, byte(c))
		}
		path := filepath.Join(dir, "codes")
		if err := os.WriteFile(path, codes, 0o666); err != nil {
			t.Fatal(err)
		}
		for name, table := range map[string]*[256]float64{"al": &aLawTable, "ul": &muLawTable} {
			raw := sox("-t", name, "-r", "8000", "-c", "1", path, "-t", "f64", "-L", "-")
			for c := range 256 {
				if want := math.Float64frombits(binary.LittleEndian.Uint64(raw[8*c:])); table[c] != want {
					t.Errorf("%s %#02x: %v, want %v", name, c, table[c], want)
				}
			}
		}
	})
}

// A header that promises 4 GiB and more must not cost memory.
func TestWAVLyingLengths(t *testing.T) {
	whole := string(newTake().bytes()[:144])
	ds64 := "ds64\x10\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\xff\xff\xff\xff\xff\xff\xff\x3f"
	for name, data := range map[string]string{
		"fmt":   whole[:16] + "\xfe\xff\xff\xff" + whole[20:],
		"other": whole[:36] + "LIST\xfe\xff\xff\xff" + whole[36:],
		"data":  whole[:40] + "\xf0\xff\xff\xff" + whole[44:],
		"ds64":  "RF64\xff\xff\xff\xffWAVE" + ds64 + whole[12:40] + "\xff\xff\xff\xff" + whole[44:],
	} {
		var before, after runtime.MemStats
		dst := make([]float64, 1000)
		runtime.ReadMemStats(&before)
		w, err := NewWAV(pipe{strings.NewReader(data)}, "take.wav")
		for err == nil {
			_, _, err = w.Read(context.Background(), dst)
		}
		runtime.ReadMemStats(&after)
		if !errors.Is(err, ErrTruncated) {
			t.Errorf("%s: error %v, want %v", name, err, ErrTruncated)
		}
		if used := after.TotalAlloc - before.TotalAlloc; used > 2*bufferSize {
			t.Errorf("%s: %d bytes allocated for a file of %d", name, used, len(data))
		}
	}
}

func TestWAVReadDoesNotAllocate(t *testing.T) {
	for _, change := range []func(*take){
		func(f *take) {},
		func(f *take) { f.bits, f.channels, f.form = 24, 2, "RIFX" },
		func(f *take) { f.tag, f.bits = tagFloat, 32 },
		func(f *take) { f.tag, f.bits, f.channels = tagMuLaw, 8, 8 },
	} {
		f := newTake()
		change(&f)
		w, err := NewWAV(bytes.NewReader(f.bytes()), "take.wav")
		if err != nil {
			t.Fatal(err)
		}
		ctx, dst := context.Background(), make([]float64, 200)
		if n := testing.AllocsPerRun(100, func() {
			if n, _, err := w.Read(ctx, dst); n == 0 || err != nil {
				t.Fatal(n, err)
			}
		}); n != 0 {
			t.Errorf("%v: %v allocations per Read, want 0", w.Format, n)
		}
	}
}

func FuzzWAV(f *testing.F) {
	for _, change := range []func(*take){
		func(f *take) {},
		func(f *take) { f.bits = 8 },
		func(f *take) { f.bits, f.channels = 24, 2 },
		func(f *take) { f.bits, f.extensible, f.valid = 32, true, 20 },
		func(f *take) { f.tag, f.bits = tagFloat, 32 },
		func(f *take) { f.tag, f.bits, f.channels = tagFloat, 64, 3 },
		func(f *take) { f.tag, f.bits = tagALaw, 8 },
		func(f *take) { f.tag, f.bits = tagMuLaw, 8 },
		func(f *take) { f.form = "RIFX" },
		func(f *take) { f.form, f.ds64, f.dataSize = "RF64", true, 0xFFFFFFFF },
		func(f *take) { f.dataSize = 0 },
		func(f *take) { f.dataSize = 0x7FFFF000 },
		func(f *take) { f.before = "junk\x03\x00\x00\x00abc\x00" },
		func(f *take) { f.dataSize = 1000 },
		func(f *take) { f.channels, f.frames = 0, 0 },
	} {
		t := newTake()
		t.frames = 20
		change(&t)
		f.Add(t.bytes(), 0, true)
	}
	paths, err := filepath.Glob("../../testdata/wav/*.wav")
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data[:min(len(data), 4096)], 1, false) // the start is enough to mutate
	}
	f.Fuzz(func(t *testing.T, data []byte, channel int, partial bool) {
		options := []Option{Channel(channel)}
		if partial {
			options = append(options, Partial())
		}
		read := func(r io.Reader, block int) ([]float64, error) {
			w, err := NewWAV(r, "take.wav", options...)
			if err != nil {
				return nil, err
			}
			if rate := w.SampleRate(); rate < MinSampleRate || rate > MaxSampleRate {
				t.Fatalf("rate %d", rate)
			}
			got, err := readAll(t, w, block)
			if want := w.Format.Frames; err == nil && !w.Truncated && want >= 0 && want != int64(len(got)) {
				t.Fatalf("%d frames promised, %d read", want, len(got))
			}
			return got, err
		}
		got, err := read(bytes.NewReader(data), 4096)
		if err != nil && strings.ContainsAny(err.Error(), "\n\r") {
			t.Fatalf("error of several lines: %q", err)
		}
		if len(got) > len(data) {
			t.Fatalf("%d samples from %d bytes", len(got), len(data))
		}
		for i, x := range got {
			if !(x >= -1 && x <= 1) {
				t.Fatalf("sample %d is %v", i, x)
			}
		}
		if len(data) > 1<<16 {
			return
		}
		again, err2 := read(iotest.OneByteReader(bytes.NewReader(data)), 7)
		if fmt.Sprint(err) != fmt.Sprint(err2) {
			t.Fatalf("error %v; byte by byte %v", err, err2)
		}
		same(t, "byte by byte", again, nil, got)
	})
}

// b.SetBytes counts the bytes of the file.
func BenchmarkWAVRead(b *testing.B) {
	for _, bench := range []struct {
		name   string
		change func(*take)
	}{
		{"PCM16", func(f *take) {}},
		{"PCM16stereo", func(f *take) { f.channels = 2 }},
		{"PCM24", func(f *take) { f.bits = 24 }},
		{"float32", func(f *take) { f.tag, f.bits = tagFloat, 32 }},
	} {
		b.Run(bench.name, func(b *testing.B) {
			f := newTake()
			f.frames = 1 << 18
			bench.change(&f)
			data := f.bytes()
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			ctx, dst := context.Background(), make([]float64, 1024)
			for b.Loop() {
				w, err := NewWAV(bytes.NewReader(data), "take.wav")
				for err == nil {
					_, _, err = w.Read(ctx, dst)
				}
				if err != io.EOF {
					b.Fatal(err)
				}
			}
		})
	}
}
