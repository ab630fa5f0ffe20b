package codec

import (
	"errors"
	"fmt"
	"io"
	"math/bits"

	"github.com/jfreymuth/vorbis"

	"singback/internal/audio"
)

// vorbisStream gives the samples of an Ogg Vorbis file (Vorbis I). The granules of the
// first and the last page say what is no sound there (appendix A.2).
type vorbisStream struct {
	r        *oggReader
	d        vorbis.Decoder
	channels int
	begun    bool
	done     int64 // granules
	held     []float32
	buf      []float32
}

const vorbisMagic = "\x01vorbis"

func openVorbis(r io.Reader) (decoder, described, error) {
	s := &vorbisStream{r: newOgg(r, vorbisMagic)}
	head, err := s.r.next()
	if err != nil {
		return nil, described{}, cutOff(err)
	}
	if err := s.begin(head.data); err != nil {
		return nil, described{}, err
	}
	return s, described{rate: s.d.SampleRate(), channels: s.channels, frames: -1}, nil
}

// begin reads the three headers of a stream, of which the comments are passed over.
func (v *vorbisStream) begin(head []byte) error {
	v.d = vorbis.Decoder{}
	v.begun, v.held = false, v.held[:0]
	// 4.2.2: the version in 4 bytes, the channels, the rate and three bit rates in 4 each,
	// and the two block sizes as powers of two, from 64 to 8192.
	if len(head) < 30 || head[28]&15 < 6 || head[28]>>4 > 13 || head[28]&15 > head[28]>>4 {
		return errors.New("its first header is damaged")
	}
	if err := v.d.ReadHeader(head); err != nil {
		return err
	}
	switch {
	case v.channels == 0 && (v.d.Channels() < 1 || v.d.Channels() > 8):
		return elsewhere(fmt.Sprintf("Vorbis of %d channels", v.d.Channels()))
	case v.channels != 0 && v.channels != v.d.Channels():
		return errors.New("a second stream in it has another number of channels")
	}
	v.channels = v.d.Channels()
	for {
		p, err := v.r.next()
		switch {
		case err != nil:
			return cutOff(err)
		case len(p.data) == 0 || p.data[0]&1 == 0:
			return errors.New("its headers are not complete")
		case p.data[0] != 5:
			continue
		}
		if !fits(p.data) {
			return errors.New("its codebooks are damaged")
		}
		if err := v.d.ReadHeader(p.data); err != nil {
			return err
		}
		v.buf = make([]float32, v.d.BufferSize())
		return nil
	}
}

func (v *vorbisStream) next() ([]float32, error) {
	for {
		p, err := v.r.next()
		if err != nil {
			return nil, err
		}
		if p.first {
			rate := v.d.SampleRate()
			if err := v.begin(p.data); err != nil {
				return nil, err
			}
			if v.d.SampleRate() != rate {
				return nil, fmt.Errorf("%w: a second stream in it has another sample rate", audio.ErrUnsupported)
			}
			continue
		}
		x, err := v.d.DecodeInto(p.data, v.buf)
		if err != nil {
			return nil, err
		}
		v.done += int64(len(x) / v.channels)
		if !v.begun {
			v.held = append(v.held, x...)
			if p.granule < 0 && len(v.r.queue) > 0 {
				continue
			}
			v.begun = true
			x = v.held
			if frames := int64(len(x) / v.channels); p.granule >= 0 && p.end < 0 {
				x = x[max(0, frames-p.granule)*int64(v.channels):]
			} else {
				v.done = frames
			}
			if p.granule >= 0 && p.end < 0 {
				v.done = p.granule
			}
		}
		if p.end >= 0 && v.done > p.end {
			frames := int64(len(x) / v.channels)
			x = x[:max(0, frames-(v.done-p.end))*int64(v.channels)]
			v.done = p.end
		}
		return x, nil
	}
}

// The limits of codebooks: those of encoders have some thousand entries of at most
// eight values.
const (
	mostEntries    = 1 << 16
	mostDimensions = 16
	mostValues     = 1 << 22 // of all together
)

// fits tells whether the codebooks of a setup header (3.2.1 and 4.2.4) are as the library
// needs them: within limits, since it believes their sizes, and each a whole tree, since
// in another it would search for ever.
func fits(setup []byte) bool {
	b := bitsOf{data: setup, at: 8 * 7}
	total := 0
	for range b.read(8) + 1 {
		if b.read(24) != 0x564342 {
			return false
		}
		dimensions, entries := b.read(16), b.read(24)
		total += entries * dimensions
		if dimensions < 1 || dimensions > mostDimensions || entries < 1 || entries > mostEntries || total > mostValues {
			return false
		}
		used, sum := lengths(&b, entries)
		if sum != 1<<32 && used != 1 {
			return false
		}
		switch kind := b.read(4); kind {
		case 0:
		case 1, 2:
			b.at += 64
			width := b.read(4) + 1
			b.read(1)
			n := entries * dimensions
			if kind == 1 {
				n = lookup1(entries, dimensions)
			}
			b.at += n * width
		default:
			return false
		}
		if b.at > 8*len(setup) {
			return false
		}
	}
	return true
}

// lengths reads how long the codewords of a codebook are: how many there are, and the
// share of the tree that they take, in 2⁻³².
func lengths(b *bitsOf, entries int) (used int, sum uint64) {
	if b.read(1) == 0 { // each by itself
		sparse := b.read(1) == 1
		for range entries {
			if !sparse || b.read(1) == 1 {
				used++
				sum += 1 << (31 - b.read(5))
			}
		}
		return used, sum
	}
	length := b.read(5)
	for used < entries && length < 32 {
		n := b.read(bits.Len(uint(entries - used)))
		if n > entries-used {
			return 0, 0
		}
		used += n
		sum += uint64(n) << (31 - length)
		length++
	}
	if used < entries {
		return 0, 0
	}
	return used, sum
}

// lookup1 is the greatest number whose power of dimensions is not above entries.
func lookup1(entries, dimensions int) int {
	for n := 1; ; n++ {
		power := 1
		for range dimensions {
			if power *= n + 1; power > entries {
				return n
			}
		}
	}
}

// bitsOf reads the bits of a packet, least significant first; 0 behind its end.
type bitsOf struct {
	data []byte
	at   int
}

func (b *bitsOf) read(n int) (v int) {
	for i := range n {
		if k := b.at >> 3; k < len(b.data) && b.data[k]>>(b.at&7)&1 == 1 {
			v |= 1 << i
		}
		b.at++
	}
	return v
}
