package codec

import (
	"io"

	"github.com/jfreymuth/oggvorbis"
)

// vorbisStream gives the samples of an Ogg Vorbis file. Its library cuts both ends by the
// granules (Vorbis I, appendix A.2).
type vorbisStream struct {
	r   *oggvorbis.Reader
	buf []float32
}

func openVorbis(r io.Reader) (decoder, described, error) {
	v, err := oggvorbis.NewReader(onlyReader{r})
	if err != nil {
		return nil, described{}, err
	}
	return &vorbisStream{r: v, buf: make([]float32, 8192/v.Channels()*v.Channels())},
		described{rate: v.SampleRate(), channels: v.Channels(), frames: -1}, nil
}

func (v *vorbisStream) next() ([]float32, error) {
	n, err := v.r.Read(v.buf)
	return v.buf[:n], err
}

// onlyReader hides that a file could be sought in: the library would read it twice.
type onlyReader struct{ io.Reader }
