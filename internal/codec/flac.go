package codec

import (
	"fmt"
	"io"
	"math"

	"github.com/mewkiz/flac"

	"singback/internal/audio"
)

// flacStream gives the samples of a FLAC file (RFC 9639).
type flacStream struct {
	s     *flac.Stream
	in    *near
	scale float32
	buf   []float32
}

func openFLAC(r io.Reader) (decoder, described, error) {
	in := &near{r, math.MaxInt} // pictures may stand before the sound, and are passed over
	s, err := flac.New(in)
	if err != nil {
		return nil, described{}, err
	}
	info := s.Info
	if info.NChannels < 1 || info.BitsPerSample < 4 || info.BitsPerSample > 32 {
		return nil, described{}, fmt.Errorf("%w: FLAC of %d channels and %d bits", audio.ErrUnsupported, info.NChannels, info.BitsPerSample)
	}
	in.found()
	channels, frames := int(info.NChannels), int64(-1)
	if info.NSamples > 0 && info.NSamples < math.MaxInt64/64 {
		frames = int64(info.NSamples)
	}
	d := &flacStream{s: s, in: in, scale: float32(math.Ldexp(1, 1-int(info.BitsPerSample)))}
	// What stands behind the last frame, a tag, is not read.
	return &trimmed{decoder: d, channels: channels, left: frames}, described{rate: int(info.SampleRate), channels: channels, frames: frames}, nil
}

func (f *flacStream) next() ([]float32, error) {
	fr, err := f.s.ParseNext()
	if err != nil {
		return nil, err
	}
	f.in.found()
	channels := int(f.s.Info.NChannels)
	if rate := fr.SampleRate; rate != 0 && rate != f.s.Info.SampleRate {
		return nil, fmt.Errorf("its header says %d Hz, and a frame %d Hz", f.s.Info.SampleRate, rate)
	}
	if len(fr.Subframes) != channels {
		return nil, fmt.Errorf("a frame of %d channels among those of %d", len(fr.Subframes), channels)
	}
	n := len(fr.Subframes[0].Samples)
	f.buf = f.buf[:0]
	for i := range n {
		for _, sub := range fr.Subframes {
			f.buf = append(f.buf, float32(sub.Samples[i])*f.scale)
		}
	}
	return f.buf, nil
}
