package audio

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
)

// ErrTooLong tells that a recording would outgrow the 4 GiB of a WAV file: at
// 48 kHz that is 12 hours and 25 minutes.
var ErrTooLong = errors.New("longer than a WAV file can be (4 GiB)")

const (
	headerSize = 44
	// maxFrames keeps the RIFF size, which counts all but its own eight bytes,
	// below the size that stands for an unknown length.
	maxFrames = (unknownSize - 1 - (headerSize - 8)) / 2
)

// header is that of a mono recording in 16-bit PCM; frames < 0 is an unknown
// number.
func header(rate int, frames int64) [headerSize]byte {
	riff, data := uint32(unknownSize), uint32(unknownSize)
	if frames >= 0 {
		data = uint32(2 * frames)
		riff = data + headerSize - 8
	}
	var b [headerSize]byte
	le := binary.LittleEndian
	copy(b[0:], "RIFF")
	le.PutUint32(b[4:], riff)
	copy(b[8:], "WAVEfmt ")
	le.PutUint32(b[16:], 16)
	le.PutUint16(b[20:], tagPCM)
	le.PutUint16(b[22:], 1)
	le.PutUint32(b[24:], uint32(rate))
	le.PutUint32(b[28:], uint32(2*rate))
	le.PutUint16(b[32:], 2)
	le.PutUint16(b[34:], 16)
	copy(b[36:], "data")
	le.PutUint32(b[40:], data)
	return b
}

func checkRate(rate int) error {
	if rate < MinSampleRate || rate > MaxSampleRate {
		return fmt.Errorf("a sample rate of %d Hz, want %d to %d", rate, MinSampleRate, MaxSampleRate)
	}
	return nil
}

// quantise rounds x to the nearest of the 65536 steps of 1/32768, halves to
// even. What lies outside [-1, 1−1/32768] is clipped, NaN is silence. There is
// no dither, so the same samples give the same bytes.
func quantise(x float64) int16 {
	switch {
	case x >= math.MaxInt16/32768.:
		return math.MaxInt16
	case x <= -1:
		return math.MinInt16
	case x != x:
		return 0
	}
	return int16(math.RoundToEven(x * 32768))
}

// writeSamples writes samples as 16-bit PCM.
func writeSamples(w *bufio.Writer, samples []float64) error {
	for len(samples) > 0 {
		if w.Available() < 2 {
			if err := w.Flush(); err != nil {
				return err
			}
		}
		n := min(len(samples), w.Available()/2)
		b := w.AvailableBuffer()
		for _, x := range samples[:n] {
			b = binary.LittleEndian.AppendUint16(b, uint16(quantise(x)))
		}
		if _, err := w.Write(b); err != nil {
			return err
		}
		samples = samples[n:]
	}
	return nil
}

// WriteWAV writes a whole mono recording in 16-bit PCM. Samples are rounded to
// the nearest step, clipped to [-1, 1] and not dithered: the same samples give
// the same bytes, and what [NewWAV] read from 16 bits comes out as it was. The
// rate is in hertz, MinSampleRate … MaxSampleRate. More than 4 GiB is
// [ErrTooLong], and nothing is written.
func WriteWAV(w io.Writer, rate int, samples []float64) error {
	if err := checkRate(rate); err != nil {
		return err
	}
	if int64(len(samples)) > maxFrames {
		return ErrTooLong
	}
	b := bufio.NewWriterSize(w, bufferSize)
	head := header(rate, int64(len(samples)))
	if _, err := b.Write(head[:]); err != nil {
		return err
	}
	if err := writeSamples(b, samples); err != nil {
		return err
	}
	return b.Flush()
}

// WAVFile is a [Sink] that keeps what it gets as a mono recording in 16-bit
// PCM, rounded as [WriteWAV] does.
//
// Its header says unknown length until Close completes it, so a file that was
// never closed can be read up to the last Drain, or the last 64 KiB.
type WAVFile struct {
	name   string
	rate   int
	file   *os.File // nil if the writer is the caller's
	w      *bufio.Writer
	frames int64
	err    error // every later call returns it
}

// CreateWAV makes the file at path, or empties the one that is there. A pipe
// or device that path names gets a recording of unknown length.
func CreateWAV(path string, rate int) (*WAVFile, error) {
	if err := checkRate(rate); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, cause(err))
	}
	return InFile(f, path, rate)
}

// InFile is CreateWAV with a file that is open already, which it closes; name
// stands for it in errors.
func InFile(f *os.File, name string, rate int) (*WAVFile, error) {
	w, err := NewWAVFile(f, name, rate)
	if err != nil {
		f.Close()
		return nil, err
	}
	w.file = f
	return w, nil
}

// NewWAVFile writes a recording of unknown length to w, which Close flushes
// but does not close; name stands for it in errors.
func NewWAVFile(w io.Writer, name string, rate int) (*WAVFile, error) {
	if err := checkRate(rate); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	f := &WAVFile{name: name, rate: rate, w: bufio.NewWriterSize(w, bufferSize)}
	head := header(rate, -1)
	_, err := f.w.Write(head[:])
	if err == nil {
		err = f.w.Flush() // now, so that a file that cannot be written is known at once
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, cause(err))
	}
	return f, nil
}

// SampleRate is in hertz.
func (f *WAVFile) SampleRate() int { return f.rate }

// Write adds samples, without allocating. Samples that would make the file
// outgrow 4 GiB are refused with [ErrTooLong]; what was written before stays.
func (f *WAVFile) Write(ctx context.Context, samples []float64) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if f.err != nil {
		return f.err
	}
	if f.frames+int64(len(samples)) > maxFrames {
		return fmt.Errorf("%s: %w", f.name, ErrTooLong)
	}
	f.frames += int64(len(samples))
	return f.keep(writeSamples(f.w, samples))
}

// Drain hands everything over to the system.
func (f *WAVFile) Drain(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if f.err != nil {
		return f.err
	}
	return f.keep(f.w.Flush())
}

// Close completes the header of a regular file of [CreateWAV] or [InFile], and
// closes it. It returns the first error of all, once.
func (f *WAVFile) Close() error {
	if errors.Is(f.err, fs.ErrClosed) {
		return nil
	}
	err := f.err
	if err == nil {
		err = f.keep(f.w.Flush())
	}
	if f.file != nil {
		if info, e := f.file.Stat(); err == nil && e == nil && info.Mode().IsRegular() {
			head := header(f.rate, f.frames)
			_, e := f.file.WriteAt(head[:], 0)
			err = f.keep(e)
		}
		if e := f.file.Close(); err == nil {
			err = f.keep(e)
		}
	}
	f.err = fmt.Errorf("%s: %w", f.name, fs.ErrClosed)
	return err
}

// keep names the file in err and remembers it.
func (f *WAVFile) keep(err error) error {
	if err != nil {
		f.err = fmt.Errorf("%s: %w", f.name, cause(err))
	}
	return f.err
}
