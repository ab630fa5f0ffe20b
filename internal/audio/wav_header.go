package audio

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"unicode/utf8"
)

// remaining returns how many bytes r still holds, or −1 if it is no regular file.
func remaining(r io.Reader) int64 {
	f, ok := r.(*os.File)
	if !ok {
		return -1
	}
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return -1
	}
	at, err := f.Seek(0, io.SeekCurrent)
	if err != nil || info.Size() == 0 { // some files that the kernel makes up say 0
		return -1
	}
	return max(0, info.Size()-at)
}

// open reads chunks up to the first sample.
func (w *WAV) open() error {
	if err := w.form(); err != nil {
		return err
	}
	var long int64 = -1 // size of the data by a ds64 chunk
	for {
		id, size, err := w.chunk()
		if err != nil {
			return err
		}
		switch id {
		case "fmt ":
			err = w.fmt(size)
		case "ds64":
			long, err = w.ds64(size)
		case "data":
			return w.data(int64(size), long)
		default:
			err = w.skip(int64(size))
		}
		if err == nil && size%2 == 1 {
			w.pad()
		}
		if err != nil {
			return err
		}
	}
}

// form checks the first twelve bytes.
func (w *WAV) form() error {
	b, err := w.r.Peek(12)
	if err != nil && err != io.EOF {
		return fmt.Errorf("%s: %w", w.name, cause(err))
	}
	if len(b) == 0 {
		return w.fail(ErrEmpty, "the file is empty; record it again")
	}
	w.order = binary.LittleEndian
	switch id := string(b[:min(4, len(b))]); id {
	case "RIFX":
		w.order = binary.BigEndian
	case "RIFF", "RF64", "BW64":
	default:
		b, _ = w.r.Peek(512) // as much of it as there is
		return w.fail(ErrNotWAV, "it looks like %s", looksLike(b))
	}
	if len(b) < 12 {
		return w.cutHeader(int64(len(b)))
	}
	if kind := string(b[8:12]); kind != "WAVE" {
		return w.fail(ErrNotWAV, "it is a RIFF file of the kind %q; save the sound as WAV (16-bit PCM)", kind)
	}
	return w.skip(12)
}

// chunk reads the head of the next chunk.
func (w *WAV) chunk() (id string, size uint32, err error) {
	var head [8]byte
	n, err := io.ReadFull(w.r, head[:])
	w.pos += int64(n)
	switch err {
	case nil:
		return string(head[:4]), w.order.Uint32(head[4:]), nil
	case io.EOF:
		if w.align == 0 {
			return "", 0, w.cutHeader(w.pos)
		}
		return "", 0, w.fail(ErrEmpty, "it has no data chunk; record it again")
	case io.ErrUnexpectedEOF:
		return "", 0, w.cutHeader(w.pos)
	}
	return "", 0, fmt.Errorf("%s: %w", w.name, cause(err))
}

// body reads the chunk's first len(b) bytes and skips the rest of its size.
func (w *WAV) body(b []byte, size uint32) error {
	n, err := io.ReadFull(w.r, b)
	w.pos += int64(n)
	if err != nil {
		return w.shortHeader(err)
	}
	return w.skip(int64(size) - int64(len(b)))
}

func (w *WAV) skip(n int64) error {
	for n > 0 {
		k, err := w.r.Discard(int(min(n, 1<<30)))
		w.pos += int64(k)
		n -= int64(k)
		if err != nil {
			return w.shortHeader(err)
		}
	}
	return nil
}

// pad skips the byte behind a chunk of odd size. A writer that forgot it is
// forgiven: a chunk's name follows at once then.
func (w *WAV) pad() {
	if b, _ := w.r.Peek(4); len(b) > 0 && (b[0] == 0 || !isName(b)) {
		_ = w.skip(1) // peeked, cannot fail
	}
}

func isName(b []byte) bool {
	for _, c := range b {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return len(b) == 4
}

func (w *WAV) shortHeader(err error) error {
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return w.cutHeader(w.pos)
	}
	return fmt.Errorf("%s: %w", w.name, cause(err))
}

func (w *WAV) cutHeader(at int64) error {
	return w.fail(ErrTruncated, "it ends after %d bytes, before the first sample; copy or record it again", at)
}

// Format tags, from the registry that RFC 2361 prints.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagALaw       = 0x0006
	tagMuLaw      = 0x0007
	tagExtensible = 0xFFFE
)

// codecs names the tags that users meet and that are refused.
var codecs = map[uint32]string{
	0x0002: "ADPCM", 0x0011: "IMA ADPCM", 0x0031: "GSM 6.10", 0x0040: "G.721 ADPCM", 0x0050: "MPEG audio",
	0x0055: "MP3", 0x00FF: "AAC", 0x0161: "WMA", 0x1610: "AAC", 0x2000: "AC-3", 0x674F: "Vorbis", 0x704F: "Opus",
	0xF1AC: "FLAC",
}

// What follows the format tag in the sub-format of WAVE_FORMAT_EXTENSIBLE, in
// little and in big byte order. Some writers of RIFX leave it little.
const (
	guidTail    = "\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"
	guidTailBig = "\x00\x00\x00\x10\x80\x00\x00\xaa\x00\x38\x9b\x71"
)

// fmt reads the fmt chunk.
func (w *WAV) fmt(size uint32) error {
	if size < 16 {
		return w.fail(ErrBadHeader, "a fmt chunk of %d bytes, at least 16 are needed; save it again as PCM", size)
	}
	var room [40]byte
	b := room[:min(size, 40)]
	if err := w.body(b, size); err != nil {
		return err
	}
	tag := uint32(w.order.Uint16(b))
	channels := int(w.order.Uint16(b[2:]))
	rate := w.order.Uint32(b[4:])
	align := int(w.order.Uint16(b[12:]))
	bits := int(w.order.Uint16(b[14:]))
	valid := bits
	if tag == tagExtensible {
		if len(b) < 40 {
			return w.fail(ErrBadHeader, "an extensible fmt chunk of %d bytes, 40 are needed; save it again as PCM", size)
		}
		if v := int(w.order.Uint16(b[18:])); v > 0 {
			valid = v
		}
		switch string(b[28:]) {
		case guidTail:
			tag = uint32(w.order.Uint16(b[24:])) | uint32(w.order.Uint16(b[26:]))<<16
		case guidTailBig:
			tag = binary.BigEndian.Uint32(b[24:])
		default:
			return w.fail(ErrUnsupported, "codec with the identifier %x; save it as PCM", b[24:])
		}
	}

	var encoding Encoding
	switch tag {
	case tagPCM:
		encoding = PCM
	case tagFloat:
		encoding = Float
	case tagALaw:
		encoding = ALaw
	case tagMuLaw:
		encoding = MuLaw
	default:
		name := ""
		if s, ok := codecs[tag]; ok {
			name = " (" + s + ")"
		}
		return w.fail(ErrUnsupported, "codec 0x%04x%s; save it as PCM", tag, name)
	}
	switch {
	case channels == 0:
		return w.fail(ErrBadHeader, "0 channels; save it again with 1 or 2")
	case channels > MaxChannels:
		return w.fail(ErrUnsupported, "%d channels, at most %d are read; save it with 1 or 2", channels, MaxChannels)
	case rate == 0:
		return w.fail(ErrBadHeader, "a sample rate of 0; save it again at 44100 or 48000 Hz")
	case rate < MinSampleRate || rate > MaxSampleRate:
		return w.fail(ErrUnsupported, "a sample rate of %d Hz, from %d to %d are read; save it at 44100 or 48000 Hz",
			rate, MinSampleRate, MaxSampleRate)
	case bits == 0:
		return w.fail(ErrBadHeader, "0 bits a sample; save it again as 16-bit PCM")
	case valid > bits:
		return w.fail(ErrBadHeader, "%d valid bits in a sample of %d; save it again as PCM", valid, bits)
	}
	bytes := (bits + 7) / 8
	if w.decode = decoderFor(encoding, bits); w.decode == nil {
		return w.fail(ErrUnsupported, "%s of %d bits a sample; save it as 16-bit PCM", encoding, bits)
	}
	if align != channels*bytes {
		return w.fail(ErrBadHeader, "a block align of %d where %d × %d bits take %d bytes; save it again as PCM",
			align, channels, bits, channels*bytes)
	}
	if w.channel < 0 || w.channel > channels {
		return w.fail(ErrNoChannel, "%d asked for, the file has %d; choose from 1 to %d", w.channel, channels, channels)
	}
	w.Format = Format{SampleRate: int(rate), Channels: channels, Bits: valid, Encoding: encoding}
	w.align = align
	w.swap = 0
	if w.order == binary.BigEndian {
		w.swap = bytes
	}
	if w.scratch = nil; channels > 1 {
		w.scratch = make([]float64, scratchSize)
	}
	return nil
}

// ds64 reads the 64-bit sizes of an RF64 or BW64 file (EBU Tech 3306, ITU-R
// BS.2088) and returns that of the data.
func (w *WAV) ds64(size uint32) (int64, error) {
	if size < 16 {
		return 0, w.fail(ErrBadHeader, "a ds64 chunk of %d bytes, at least 16 are needed; save it again as WAV", size)
	}
	var b [16]byte // RIFF size, data size
	if err := w.body(b[:], size); err != nil {
		return 0, err
	}
	long := w.order.Uint64(b[8:])
	switch {
	case long == math.MaxUint64:
		return -1, nil
	case long > 1<<62:
		return 0, w.fail(ErrBadHeader, "%d bytes of data; copy or record it again", long)
	}
	return int64(long), nil
}

// unknownSize is the size of a chunk whose length is not known, or told by a
// ds64 chunk.
const unknownSize = 0xFFFFFFFF

// Writers to a pipe that have no better idea write 0x7FFFF000, less what is
// left of a frame, or 2 GiB.
const (
	pipeSizeLow  = 0x7FFFF000 - MaxChannels*8
	pipeSizeHigh = 0x80000000
)

// data settles how much there is to read from here on.
func (w *WAV) data(size, long int64) error {
	if w.align == 0 {
		return w.fail(ErrBadHeader, "the data come before the fmt chunk; save it again as PCM")
	}
	available := int64(-1)
	if w.size >= 0 {
		available = max(0, w.size-w.pos)
	}
	if size == unknownSize && long >= 0 {
		size = long
	}
	align := int64(w.align)
	switch {
	case size == unknownSize && long < 0,
		size == 0 && !w.chunkFollows(),
		size >= pipeSizeLow && size <= pipeSizeHigh && (available < 0 || available < size):
		w.promised = -1
		w.left = available
	default:
		w.promised = size / align
		w.left = size
	}
	if w.left >= 0 {
		w.left -= w.left % align
	}
	if available >= 0 && w.left > available {
		w.Truncated = true
		if !w.partial {
			return w.cutShort(available / align)
		}
		w.left = available - available%align
	}
	w.Format.Frames = -1
	if w.left >= 0 {
		w.Format.Frames = w.left / align
	}
	if w.left != 0 {
		b, err := w.r.Peek(w.align)
		if len(b) == w.align {
			return nil
		}
		if err := w.end(err); err != io.EOF {
			return err
		}
	}
	return w.fail(ErrEmpty, "its data are shorter than one sample; record it again")
}

// chunkFollows tells whether a data chunk of size 0 is one: nothing, or a
// chunk known to stand behind data, comes next.
func (w *WAV) chunkFollows() bool {
	b, _ := w.r.Peek(4)
	if len(b) == 0 {
		return true
	}
	switch string(b) {
	case "LIST", "bext", "cue ", "fact", "smpl", "inst", "plst", "PEAK", "JUNK", "junk", "PAD ", "FLLR",
		"id3 ", "ID3 ", "iXML", "axml", "chna", "_PMX", "acid", "afsp", "DISP":
		return true
	}
	return false
}

// looksLike says what a file that is no WAV starts like, and what to do.
func looksLike(b []byte) string {
	const convert = "; convert it to WAV (16-bit PCM)"
	for _, m := range []struct {
		at          int
		magic, name string
	}{
		{0, "fLaC", "FLAC"},
		{0, "OggS", "Ogg (Vorbis or Opus)"},
		{0, "ID3", "MP3"},
		{0, "\xff\xfb", "MP3"}, {0, "\xff\xfa", "MP3"}, {0, "\xff\xf3", "MP3"}, {0, "\xff\xf2", "MP3"},
		{0, "\xff\xf1", "AAC"}, {0, "\xff\xf9", "AAC"},
		{4, "ftyp", "MP4 or M4A"},
		{0, "FORM", "AIFF"},
		{0, ".snd", "AU"},
		{0, "caff", "CAF"},
		{0, "riff", "Wave64"},
		{0, "wvpk", "WavPack"},
		{0, "MAC ", "APE"},
		{0, "#!AMR", "AMR"},
		{0, "\x1a\x45\xdf\xa3", "WebM or Matroska"},
	} {
		if len(b) >= m.at+len(m.magic) && string(b[m.at:m.at+len(m.magic)]) == m.magic {
			return m.name + convert
		}
	}
	switch {
	case len(b) >= 4 && string(b[:4]) == "MThd":
		return "MIDI, which holds notes and no sound; record it as WAV"
	case len(b) >= 4 && string(b[:4]) == "PK\x03\x04", len(b) >= 2 && string(b[:2]) == "\x1f\x8b":
		return "a compressed archive; unpack it first"
	case isText(b):
		return "text; name a recording"
	}
	return "nothing known; name a WAV recording"
}

// isText tells whether b, the start of a file, is UTF-8 without control
// characters. A character cut at the end is forgiven.
func isText(b []byte) bool {
	for len(b) > 0 {
		c, n := utf8.DecodeRune(b)
		if c == utf8.RuneError && n == 1 {
			return !utf8.FullRune(b)
		}
		if c < ' ' && c != '\n' && c != '\r' && c != '\t' && c != '\f' {
			return false
		}
		b = b[n:]
	}
	return true
}
