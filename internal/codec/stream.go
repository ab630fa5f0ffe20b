package codec

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"singback/internal/audio"
)

// stream is what a decoder gives as a WAV file of 32-bit floats (RIFF, WAVE_FORMAT_IEEE_FLOAT),
// so that all that package audio knows of recordings holds for it.
type stream struct {
	d          decoder
	name, kind string
	align      int    // bytes of a frame
	left       int64  // frames that it may yet have
	out        []byte // not read yet
	buf        []byte
	err        error
}

const (
	headerSize  = 44
	unknownSize = math.MaxUint32
	floatFormat = 3
	// hours is how long a recording may be: silence packs so well that a small file
	// could keep a computer busy for days.
	hours = 6
)

// errTooLong ends a recording of more than six hours.
var errTooLong = fmt.Errorf("%w: it is longer than %d hours; cut it into parts", audio.ErrUnsupported, hours)

func newStream(d decoder, what described, name, kind string) *stream {
	s := &stream{d: d, name: name, kind: kind, align: 4 * what.channels, left: hours * 3600 * int64(what.rate)}
	align := int64(s.align)
	size := int64(unknownSize)
	if what.frames >= 0 && what.frames < (unknownSize-headerSize)/align {
		size = what.frames * align
	}
	h := make([]byte, 0, headerSize)
	le := binary.LittleEndian
	h = append(h, "RIFF"...)
	h = le.AppendUint32(h, uint32(min(unknownSize, size+headerSize-8)))
	h = append(h, "WAVEfmt "...)
	h = le.AppendUint32(h, 16)
	h = le.AppendUint16(h, floatFormat)
	h = le.AppendUint16(h, uint16(what.channels))
	h = le.AppendUint32(h, uint32(what.rate))
	h = le.AppendUint32(h, uint32(int64(what.rate)*align))
	h = le.AppendUint16(h, uint16(align))
	h = le.AppendUint16(h, 32)
	h = append(h, "data"...)
	s.out = le.AppendUint32(h, uint32(size))
	return s
}

// Read delivers the file.
func (s *stream) Read(p []byte) (int, error) {
	for len(s.out) == 0 && s.err == nil {
		s.fill()
	}
	if len(s.out) == 0 {
		return 0, s.err
	}
	n := copy(p, s.out)
	s.out = s.out[n:]
	return n, nil
}

func (s *stream) fill() {
	defer func() {
		if p := recover(); p != nil {
			s.err = fmt.Errorf("%w: the %s is damaged; copy it again", audio.ErrTruncated, s.kind)
		}
	}()
	x, err := s.d.next()
	switch {
	case err == nil || err == io.EOF:
		s.err = err
	case errors.Is(err, io.ErrUnexpectedEOF):
		s.err = io.ErrUnexpectedEOF
	default:
		s.err = fmt.Errorf("%w: the %s is damaged: %w; copy it again", audio.ErrTruncated, s.kind, err)
	}
	if s.left -= int64(len(x) * 4 / s.align); s.left < 0 {
		s.err = errTooLong
		return
	}
	s.buf = s.buf[:0]
	for _, v := range x {
		s.buf = binary.LittleEndian.AppendUint32(s.buf, math.Float32bits(v))
	}
	s.out = s.buf
}

// near reads a file for a library that looks for the next frame through anything: if there
// is none near, the file is damaged.
type near struct {
	io.Reader
	left int // bytes
}

const nearest = 4 << 20

var errNoFrame = errors.New("no sound for 4 MB")

func (n *near) Read(p []byte) (int, error) {
	if n.left <= 0 {
		return 0, errNoFrame
	}
	k, err := n.Reader.Read(p[:min(len(p), n.left)])
	n.left -= k
	return k, err
}

// found begins anew, since a frame was found.
func (n *near) found() { n.left = nearest }

// trimmed leaves out the first frames of a decoder, and what comes after some.
type trimmed struct {
	decoder
	channels int
	skip     int64 // frames
	left     int64 // frames that are given after them; −1: all
}

func (t *trimmed) next() ([]float32, error) {
	for {
		if t.left == 0 {
			return nil, io.EOF
		}
		x, err := t.decoder.next()
		frames := int64(len(x) / t.channels)
		cut := min(t.skip, frames)
		t.skip -= cut
		x = x[cut*int64(t.channels):]
		frames -= cut
		if t.left >= 0 {
			frames = min(frames, t.left)
			t.left -= frames
			x = x[:frames*int64(t.channels)]
		}
		if len(x) > 0 || err != nil {
			return x, err
		}
	}
}
