package codec

import (
	"fmt"
	"io"
	"math"

	"github.com/pion/opus"
	"github.com/pion/opus/pkg/oggreader"

	"singback/internal/audio"
)

// opusStream gives the samples of an Ogg Opus file at 48 kHz (RFC 7845): less the
// pre-skip, and to the last granule.
type opusStream struct {
	r        *oggreader.OggReader
	d        opus.Decoder
	channels int
	gain     float32
	done     int64 // frames decoded, with the pre-skip
	buf      []float32
}

const (
	opusRate    = 48000
	opusLongest = 5760 // frames of a packet, 120 ms: RFC 6716, 2.1.4
)

func openOpus(r io.Reader) (decoder, described, error) {
	in, head, err := oggreader.NewWith(r)
	if err != nil {
		return nil, described{}, err
	}
	channels := int(head.Channels)
	if head.ChannelMap != 0 || channels < 1 || channels > 2 {
		return nil, described{}, fmt.Errorf("%w: Opus of %d channels in mapping %d; want one or two in mapping 0", audio.ErrUnsupported, channels, head.ChannelMap)
	}
	d, err := opus.NewDecoderWithOutput(opusRate, channels)
	if err != nil {
		return nil, described{}, err
	}
	// The output gain is a whole number of 1/256 dB (RFC 7845, 5.1).
	gain := float32(math.Pow(10, float64(int16(head.OutputGain))/(20*256)))
	s := &opusStream{r: in, d: d, channels: channels, gain: gain, buf: make([]float32, opusLongest*channels)}
	return &trimmed{decoder: s, channels: channels, skip: int64(head.PreSkip), left: -1},
		described{rate: opusRate, channels: channels, frames: -1}, nil
}

func (o *opusStream) next() ([]float32, error) {
	packet, page, err := o.r.ParseNextPacket()
	if err != nil {
		return nil, err
	}
	if len(packet) >= 8 && string(packet[:8]) == "OpusTags" {
		return nil, nil
	}
	n, err := o.d.DecodeToFloat32(packet, o.buf)
	if err != nil {
		return nil, err
	}
	// The last page says where the sound ends, within what its packets hold. A page on
	// which no packet ends has no position, −1.
	keep := int64(n)
	if end := int64(page.GranulePosition); end >= 0 {
		keep = max(0, min(keep, end-o.done))
	}
	o.done += int64(n)
	x := o.buf[:keep*int64(o.channels)]
	if o.gain != 1 {
		for i := range x {
			x[i] *= o.gain
		}
	}
	return x, nil
}
