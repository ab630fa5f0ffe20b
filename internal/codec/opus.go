package codec

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/pion/opus"

	"singback/internal/audio"
)

// opusStream gives the samples of an Ogg Opus file at 48 kHz (RFC 7845): less the
// pre-skip, and to the last granule.
type opusStream struct {
	r        *oggReader
	d        opus.Decoder
	channels int
	gain     float32
	skip     int64 // frames before the sound
	done     int64 // position in granules, which count from the pre-skip on
	counted  bool  // done is that of the file
	last     int   // frames of the packet before
	buf      []float32
}

const (
	opusRate    = 48000
	opusLongest = 5760 // frames of a packet, 120 ms: RFC 6716, 2.1.4
)

func openOpus(r io.Reader) (decoder, described, error) {
	s := &opusStream{r: newOgg(r, "OpusHead")}
	head, err := s.r.next()
	if err != nil {
		return nil, described{}, cutOff(err)
	}
	if err := s.begin(head.data); err != nil {
		return nil, described{}, err
	}
	return s, described{rate: opusRate, channels: s.channels, frames: -1}, nil
}

// begin reads the first packet of a stream. One that is chained behind another keeps the
// channels that the first has.
func (o *opusStream) begin(b []byte) (err error) {
	if len(b) < 19 || string(b[:8]) != "OpusHead" || b[8]>>4 != 0 {
		return errors.New("its first packet is not that of Opus")
	}
	channels, mapping := int(b[9]), b[18]
	if mapping != 0 || channels < 1 || channels > 2 {
		return elsewhere(fmt.Sprintf("Opus of %d channels", channels))
	}
	if o.channels == 0 {
		o.channels = channels
		o.buf = make([]float32, opusLongest*channels)
	}
	if o.d, err = opus.NewDecoderWithOutput(opusRate, o.channels); err != nil {
		return err
	}
	// The output gain is a whole number of 1/256 dB (RFC 7845, 5.1).
	o.gain = float32(math.Pow(10, float64(int16(binary.LittleEndian.Uint16(b[16:])))/(20*256)))
	o.skip = int64(binary.LittleEndian.Uint16(b[10:]))
	o.done, o.counted, o.last = 0, false, 960
	return nil
}

func (o *opusStream) next() ([]float32, error) {
	p, err := o.r.next()
	switch {
	case err != nil:
		return nil, err
	case p.first:
		return nil, o.begin(p.data)
	case strings.HasPrefix(string(p.data[:min(len(p.data), 8)]), "OpusTags"):
		return nil, nil
	}
	if !o.counted {
		// Where the first page ends says where it begins, in what was cut out of a
		// stream (RFC 7845, 4.1); not where it is the last too, whose end is cut.
		o.counted = true
		frames := opusFrames(p.data)
		end := p.granule
		for _, q := range o.r.queue {
			frames += opusFrames(q.data)
			end = q.granule
		}
		if p.end < 0 {
			o.done = max(0, end-int64(frames))
		}
	}
	n := o.last
	if len(p.data) == 0 { // lost
		clear(o.buf[:n*o.channels])
	} else if n, err = o.d.DecodeToFloat32(p.data, o.buf); err != nil {
		return nil, err
	}
	o.last = n
	keep := int64(n)
	if p.end >= 0 {
		keep = max(0, min(keep, p.end-o.done))
	}
	o.done += int64(n)
	cut := min(o.skip, keep)
	o.skip -= cut
	x := o.buf[cut*int64(o.channels) : keep*int64(o.channels)]
	if o.gain != 1 {
		for i := range x {
			x[i] *= o.gain
		}
	}
	return x, nil
}

// opusFrames is how long a packet is, in frames at 48 kHz: RFC 6716, 3.1.
func opusFrames(p []byte) int {
	if len(p) == 0 {
		return 0
	}
	config, size := int(p[0]>>3), 0
	switch {
	case config < 12: // SILK: 10, 20, 40, 60 ms
		size = [4]int{480, 960, 1920, 2880}[config%4]
	case config < 16: // hybrid: 10, 20 ms
		size = 480 << (config % 2)
	default: // CELT: 2.5, 5, 10, 20 ms
		size = 120 << (config % 4)
	}
	switch p[0] & 3 {
	case 0:
		return size
	case 3:
		if len(p) < 2 {
			return 0
		}
		return min(opusLongest, size*int(p[1]&63))
	}
	return 2 * size
}

// elsewhere is what a recording is that its library does not read, and ffmpeg may.
type elsewhere string

func (e elsewhere) Error() string { return fmt.Sprintf("%v: %s", audio.ErrUnsupported, string(e)) }

func (e elsewhere) Unwrap() error { return audio.ErrUnsupported }
