package codec

import (
	"bufio"
	"encoding/binary"
	"io"

	"github.com/hajimehoshi/go-mp3"
)

// mp3Stream gives the samples of an MP3 (ISO/IEC 11172-3 and 13818-3, layer III). Its
// library gives two channels of 16 bits whatever there is.
type mp3Stream struct {
	d   *mp3.Decoder
	in  *near
	raw []byte
	buf []float32
}

const (
	mp3Channels = 2
	mp3Samples  = 1152 // of a frame of MPEG-1
	mp3Lag      = 529  // frames that a decoder is late: 528 and one
	tagSize     = 10   // of an ID3v2 header
	peeked      = 4096
	lowMP3      = "MP3 of a low sample rate"
)

func openMP3(r io.Reader) (decoder, described, error) {
	file := bufio.NewReaderSize(r, 1<<16)
	if err := skipTags(file); err != nil {
		return nil, described{}, err
	}
	start, _ := file.Peek(peeked)
	h := frameHeader(start)
	switch kind, name := Sniff(start); {
	case h.valid && h.samples != mp3Samples:
		// MPEG-2 and 2.5, 8 to 24 kHz: the library reads some of them wrongly (of LAME's at
		// 22.05 kHz and 32 kb/s, little is like the recording).
		return nil, described{}, elsewhere(lowMP3)
	case h.valid:
	case kind == FLAC:
		return openFLAC(file)
	case kind == Foreign:
		return nil, described{}, elsewhere(name)
	case len(start) == 0:
		return nil, described{}, io.ErrUnexpectedEOF
	}
	tag := infoTag(start)
	if tag.size > 0 {
		if _, err := file.Discard(tag.size); err != nil {
			return nil, described{}, io.ErrUnexpectedEOF
		}
		// The library takes as much memory as a tag says that it is long.
		if err := skipTags(file); err != nil {
			return nil, described{}, err
		}
	}
	in := &near{file, nearest}
	d, err := mp3.NewDecoder(in)
	if err != nil {
		return nil, described{}, err
	}
	t := &trimmed{decoder: &mp3Stream{d: d, in: in, raw: make([]byte, 16384)}, channels: mp3Channels, skip: mp3Lag, left: -1}
	what := described{rate: d.SampleRate(), channels: mp3Channels, frames: -1}
	if tag.delay > 0 || tag.padding > 0 {
		t.skip += int64(tag.delay)
		if tag.frames > 0 {
			t.left = max(0, tag.frames-int64(tag.delay)-int64(tag.padding))
			what.frames = t.left
		}
	}
	return t, what, nil
}

// skipTags passes over the ID3v2 tags at the beginning of a file: there may be several.
func skipTags(in *bufio.Reader) error {
	for {
		head, err := in.Peek(tagSize)
		if err != nil || string(head[:3]) != "ID3" {
			return nil
		}
		size := int(head[6]&127)<<21 | int(head[7]&127)<<14 | int(head[8]&127)<<7 | int(head[9]&127)
		if head[5]&0x10 != 0 { // a footer
			size += tagSize
		}
		if _, err := in.Discard(tagSize + size); err != nil {
			return io.ErrUnexpectedEOF
		}
	}
}

func (m *mp3Stream) next() ([]float32, error) {
	m.in.found()
	n, err := io.ReadFull(m.d, m.raw)
	if err == io.ErrUnexpectedEOF {
		err = nil // of the library: the last block
		if n < 2*mp3Channels {
			err = io.EOF
		}
	}
	m.buf = m.buf[:0]
	for i := 0; i+1 < n; i += 2 {
		m.buf = append(m.buf, float32(int16(binary.LittleEndian.Uint16(m.raw[i:])))/32768)
	}
	m.buf = m.buf[:len(m.buf)/mp3Channels*mp3Channels]
	return m.buf, err
}

// header is the header of a frame of layer III.
type header struct {
	valid   bool
	size    int // bytes of the frame
	samples int // of each channel
	side    int // bytes of side information
}

// Of ISO/IEC 11172-3, 2.4.2.3, and 13818-3, 2.4.2.3: kilobits a second and hertz.
var (
	rates1 = [16]int{0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 0}
	rates2 = [16]int{0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160, 0}
	hertz  = [3]int{44100, 48000, 32000}
)

// frameHeader reads the first four bytes of b, of which there are four.
func frameHeader(b []byte) (h header) {
	if len(b) < 4 || b[0] != 0xff || b[1]&0xe0 != 0xe0 || b[1]>>1&3 != 1 {
		return h
	}
	version, rate, sampling := b[1]>>3&3, b[2]>>4, b[2]>>2&3
	if version == 1 || sampling == 3 {
		return h
	}
	kbps, hz, mono := rates1[rate], hertz[sampling], b[3]>>6 == 3
	h.samples, h.side = 1152, 32
	if mono {
		h.side = 17
	}
	if version != 3 { // MPEG-2, and 2.5 at half its rate
		kbps, hz = rates2[rate], hz/2
		h.samples, h.side = 576, 17
		if mono {
			h.side = 9
		}
		if version == 0 {
			hz /= 2
		}
	}
	if kbps == 0 {
		return header{}
	}
	h.size = h.samples/8*kbps*1000/hz + int(b[2]>>1&1)
	h.valid = true
	return h
}

// info is what the first frame tells that holds no sound: how long it is, and how many
// samples the encoder has put before and after the recording.
type info struct {
	size           int   // bytes; 0: there is no such frame
	frames         int64 // samples of each channel that the file holds; 0: it does not say
	delay, padding int   // samples
}

// infoTag reads the tag of the first frame in b: "Xing" or "Info", as encoders of variable
// and of constant rate write it, with LAME's extension.
func infoTag(b []byte) (t info) {
	h := frameHeader(b)
	if !h.valid || h.size > len(b) {
		return t
	}
	b = b[:h.size]
	at := 4 + h.side
	if len(b) < at+8 || string(b[at:at+4]) != "Xing" && string(b[at:at+4]) != "Info" {
		return t
	}
	t.size = h.size
	flags := binary.BigEndian.Uint32(b[at+4:])
	at += 8
	if flags&1 != 0 && at+4 <= len(b) {
		t.frames = int64(binary.BigEndian.Uint32(b[at:])) * int64(h.samples)
	}
	for i, size := range [4]int{4, 4, 100, 4} { // frames, bytes, seek table, quality
		if flags>>i&1 != 0 {
			at += size
		}
	}
	// LAME's extension: the encoder in 9 bytes, and the delays 12 bytes after them.
	if at+24 > len(b) || b[at] == 0 {
		return t
	}
	t.delay = int(b[at+21])<<4 | int(b[at+22])>>4
	t.padding = int(b[at+22]&15)<<8 | int(b[at+23])
	return t
}
