package audio

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// What can be wrong with a recording. Every error of [OpenWAV], [NewWAV] and
// [WAV.Read] that is about the content wraps one of these, names the file, and
// says what to do.
var (
	ErrNotWAV      = errors.New("not a WAV file")
	ErrBadHeader   = errors.New("damaged header")
	ErrUnsupported = errors.New("a kind of WAV that is not read here")
	ErrTruncated   = errors.New("cut short")
	ErrEmpty       = errors.New("holds no samples")
	ErrNoChannel   = errors.New("no such channel")
)

// MaxChannels is the most channels a recording may have.
const MaxChannels = 64

// Encoding is how a sample is written in a file.
type Encoding int

// The encodings that are read.
const (
	PCM   Encoding = iota // whole numbers: 1 to 8 bits unsigned, 9 to 32 signed
	Float                 // IEEE 754, 32 or 64 bits
	ALaw                  // ITU-T G.711 A-law, 8 bits
	MuLaw                 // ITU-T G.711 mu-law, 8 bits
)

// String gives "PCM", "float", "A-law" or "mu-law".
func (e Encoding) String() string {
	switch e {
	case PCM:
		return "PCM"
	case Float:
		return "float"
	case ALaw:
		return "A-law"
	case MuLaw:
		return "mu-law"
	}
	return fmt.Sprintf("Encoding(%d)", int(e))
}

// Format is what the header of a recording says about its samples.
type Format struct {
	SampleRate int // in hertz, MinSampleRate … MaxSampleRate
	Channels   int // 1 … MaxChannels
	Bits       int // valid bits a sample; the container may be wider
	Encoding   Encoding
	Frames     int64 // samples in each channel; −1 from a pipe that does not tell
}

// Option changes how a recording is read.
type Option func(*WAV)

// Partial accepts a recording that was cut short: what is there is read, then
// comes [io.EOF], and [WAV.Truncated] is true.
func Partial() Option { return func(w *WAV) { w.partial = true } }

// Channel picks one channel, the first being 1; 0, the default, is the average
// of all.
func Channel(n int) Option { return func(w *WAV) { w.channel = n } }

// WAV reads a RIFF, RIFX, RF64 or BW64 recording as one channel. It is a
// [Source]. The exported fields are for reading only.
//
// It reads PCM of up to 32 bits, float of 32 and 64 bits, A-law and mu-law,
// plain or as WAVE_FORMAT_EXTENSIBLE, and skips every chunk it has no use for.
// A data chunk of unknown length is read to the end of the input: its size is
// 0xFFFFFFFF, or 0 with something other than a chunk behind it, or one of the
// sizes just under 2 GiB that writers to a pipe use. What is left of a sample
// frame at the end of the data is dropped.
type WAV struct {
	// Format is known as soon as the file is open.
	Format Format
	// NotFinite counts the float samples that were infinite or not a number;
	// they are read as silence.
	NotFinite int64
	// Over counts the float samples outside [-1, 1]; they are clipped.
	Over int64
	// Truncated tells that the header promised more than there was. A regular
	// file shows it when it is opened, a pipe at its end.
	Truncated bool

	name    string
	r       *bufio.Reader
	closer  io.Closer // nil if the reader is the caller's
	partial bool
	channel int
	err     error // every later Read returns it

	size  int64            // bytes from the start of r to the end of the file; −1 when it cannot be known
	pos   int64            // bytes of r used so far, while the header is read
	order binary.ByteOrder // of the header
	swap  int              // sample size in bytes if samples are big-endian, else 0

	align    int   // bytes a frame
	promised int64 // frames that the header says there are; −1 unknown
	left     int64 // bytes of whole frames still to read; −1: to the end of the input
	got      int64 // frames read

	decode  decoder
	scratch []float64 // interleaved samples, when there are several channels
	mixed   float64   // sum of the squares of the mix
	apart   float64   // sum of the squares of all channels, divided by their number
}

const (
	// bufferSize is what is asked of the input at once.
	bufferSize = 64 << 10
	// scratchSize is how many interleaved samples are mixed at once: the
	// scratch stays in the processor's first cache.
	scratchSize = 2048
)

// OpenWAV opens the recording at path. The errors are those of [NewWAV], and a
// recording that is shorter than its header says is [ErrTruncated] at once
// unless [Partial] is given.
func OpenWAV(path string, options ...Option) (*WAV, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, cause(err))
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		f.Close()
		return nil, fmt.Errorf("%s: %w: it is a folder; name a file in it", path, ErrNotWAV)
	}
	w, err := NewWAV(f, path, options...)
	if err != nil {
		f.Close()
		return nil, err
	}
	w.closer = f
	return w, nil
}

// NewWAV reads the header of the recording that r delivers and waits for its
// first frame. The input is never sought in, so r may be a pipe; name stands
// for it in errors. Close does not close r.
//
// Errors wrap [ErrNotWAV], [ErrBadHeader], [ErrUnsupported], [ErrTruncated],
// [ErrEmpty], [ErrNoChannel] or the error of r.
func NewWAV(r io.Reader, name string, options ...Option) (*WAV, error) {
	w := &WAV{name: name, r: bufio.NewReaderSize(r, bufferSize), size: remaining(r)}
	for _, set := range options {
		set(w)
	}
	if err := w.open(); err != nil {
		return nil, err
	}
	return w, nil
}

// SampleRate is in hertz.
func (w *WAV) SampleRate() int { return w.Format.SampleRate }

// Read follows the contract of [Source]. It waits for one frame and then takes
// what has arrived. At the end of a pipe that was cut short the error is
// [ErrTruncated]. The context is looked at between reads: it does not wake a
// Read that waits for a pipe. Read does not allocate.
func (w *WAV) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	if err := ctx.Err(); err != nil {
		return 0, 0, err
	}
	if w.err != nil || len(dst) == 0 {
		return 0, 0, w.err
	}
	if w.left == 0 {
		w.err = io.EOF
		return 0, 0, w.err
	}
	if b, err := w.r.Peek(w.align); len(b) < w.align {
		w.err = w.end(err)
		return 0, 0, w.err
	}
	for n < len(dst) {
		frames := min(len(dst)-n, w.r.Buffered()/w.align)
		if w.left >= 0 {
			frames = int(min(int64(frames), w.left/int64(w.align)))
		}
		if w.Format.Channels > 1 {
			frames = min(frames, scratchSize/w.Format.Channels)
		}
		if frames == 0 {
			break
		}
		b, _ := w.r.Peek(frames * w.align) // buffered, cannot fail
		if w.swap > 1 {
			reverse(b, w.swap) // these bytes are used once, then discarded
		}
		w.frames(dst[n:n+frames], b)
		_, _ = w.r.Discard(len(b)) // buffered, cannot fail
		n += frames
		if w.left >= 0 {
			w.left -= int64(len(b))
		}
	}
	w.got += int64(n)
	return n, 0, nil
}

// Close closes the file that [OpenWAV] opened. A Read after it fails.
func (w *WAV) Close() error {
	w.err = fmt.Errorf("%s: %w", w.name, fs.ErrClosed)
	if w.closer == nil {
		return nil
	}
	err := w.closer.Close()
	w.closer = nil
	return err
}

// OnClose says what is closed with the recording: what its reader reads.
func (w *WAV) OnClose(c io.Closer) { w.closer = c }

// Closer is what is closed with the recording; nil if nothing is.
func (w *WAV) Closer() io.Closer { return w.closer }

// Cancelled tells that the channels read so far undo each other in the mix, as
// a microphone wired in opposite phase does: the mix has less than 1% of the
// mean energy of the channels, and that mean is above −60 dBFS. One channel
// that sounds among 63 silent ones leaves 1/64, which is more. It is false if
// there is one channel or [Channel] picked one; picking one is the remedy.
func (w *WAV) Cancelled() bool {
	return w.apart > 1e-6*float64(w.got) && w.mixed < 0.01*w.apart
}

// end turns what stopped the input before the end of the data into the error
// of Read.
func (w *WAV) end(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, ErrTruncated) { // of what is decoded
		w.Truncated = true
		switch {
		case w.partial && w.got > 0:
			return io.EOF
		case errors.Is(err, ErrTruncated):
			return fmt.Errorf("%s: %w", w.name, err)
		}
		return w.fail(ErrTruncated, "the file ends in the middle of the sound, after %.3f s; copy or record it again",
			float64(w.got)/float64(w.Format.SampleRate))
	}
	if err != io.EOF {
		return fmt.Errorf("%s: %w", w.name, cause(err))
	}
	if w.left < 0 {
		return io.EOF
	}
	w.Truncated = true
	if w.partial && w.got > 0 {
		return io.EOF
	}
	return w.cutShort(w.got)
}

func (w *WAV) cutShort(frames int64) error {
	rate := float64(w.Format.SampleRate)
	return w.fail(ErrTruncated, "the header promises %.3f s, the file holds %.3f s; copy or record it again",
		float64(w.promised)/rate, float64(frames)/rate)
}

func (w *WAV) fail(what error, format string, args ...any) error {
	return fmt.Errorf("%s: %w: %s", w.name, what, fmt.Sprintf(format, args...))
}

// cause strips the path from a file error; the caller names the file.
func cause(err error) error {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		return path.Err
	}
	return err
}
