package review

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/codec"
	"singback/internal/listen"
)

// Reader reads takes and models.
type Reader struct {
	Stdin   io.Reader        // what "-" is; nil: nothing
	Options []audio.Option   // for recordings
	Heard   func(*audio.WAV) // called with each recording that was read; nil: nobody
	Hearing listen.Hearing   // of who sings
}

// Read reads a recording, or where the name ends in .csv a pitch curve (see
// [ReadCurve]). "-" is standard input, and what it holds is seen from how it
// begins.
func (r Reader) Read(ctx context.Context, path string) (grade.Performance, error) {
	if path == "-" {
		if r.Stdin == nil {
			return grade.Performance{}, errors.New("standard input is read only once")
		}
		in := bufio.NewReaderSize(r.Stdin, 1<<16)
		start, _ := in.Peek(codec.Sniffed)
		if kind, _ := codec.Sniff(start); kind == codec.Unknown {
			return named("standard input", in)
		}
		src, err := codec.New(in, "standard input", r.Options...)
		if err != nil {
			return grade.Performance{}, err
		}
		defer src.Close()
		return r.recording(ctx, src)
	}
	if IsCurve(path) {
		f, err := codec.OpenRaw(path)
		if err != nil {
			return grade.Performance{}, err
		}
		defer f.Close()
		return named(path, f)
	}
	src, err := codec.Open(path, r.Options...)
	if err != nil {
		return grade.Performance{}, err
	}
	defer src.Close()
	return r.recording(ctx, src)
}

// IsCurve reports whether a file is a pitch curve by its name.
func IsCurve(path string) bool { return strings.EqualFold(filepath.Ext(path), ".csv") }

func named(name string, in io.Reader) (grade.Performance, error) {
	curve, err := ReadCurve(in)
	if err != nil {
		return grade.Performance{}, fmt.Errorf("%s: %w", name, err)
	}
	return grade.OfCurve(curve), nil
}

func (r Reader) recording(ctx context.Context, src *audio.WAV) (grade.Performance, error) {
	p, err := listen.Take(ctx, src, r.Hearing, nil)
	if err == nil && r.Heard != nil {
		r.Heard(src)
	}
	return p, err
}

// a4 is the A4 that all cents are counted on.
const a4 = 440.0

// The limits of a curve, so that no file can be without measure.
const (
	maxPoints  = 8 << 20
	maxSeconds = 6 * 3600.0
	minHz      = 10.0
	maxHz      = 20_000.0
	maxRow     = 1 << 16
)

// ErrCurve is wrapped by every error about a pitch curve that could not be
// read.
var ErrCurve = errors.New("not a pitch curve")

// ReadCurve reads a pitch curve as CSV: a header with the columns time_s and
// f0_hz, which may have others beside them, and a row for each moment. Times
// are in seconds and ascend, in even steps or not. A frequency of 0 or less, or
// none, is no pitch. Without a header the first two columns are taken. Lines
// that begin with # are comments.
func ReadCurve(in io.Reader) ([]grade.Moment, error) {
	r := bufio.NewReaderSize(in, maxRow)
	var out []grade.Moment
	at, hz := 0, 1
	begun := false
	for line := 1; ; line++ {
		row, err := r.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			return nil, fmt.Errorf("%w: line %d is longer than %d bytes", ErrCurve, line, maxRow)
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		last := err != nil
		if line == 1 {
			row = bytes.TrimPrefix(row, []byte("\ufeff"))
		}
		row = bytes.TrimSpace(row)
		switch {
		case len(row) == 0 || row[0] == '#':
		case !begun && !startsNumber(row):
			begun = true
			names := strings.Split(string(row), ",")
			at, hz = -1, -1
			for k, name := range names {
				switch strings.Trim(strings.TrimSpace(name), `"`) {
				case "time_s":
					at = k
				case "f0_hz":
					hz = k
				}
			}
			if at < 0 || hz < 0 {
				return nil, fmt.Errorf("%w: line %d has no columns time_s and f0_hz; want a header like time_s,f0_hz", ErrCurve, line)
			}
		default:
			begun = true
			m, err := readMoment(row, at, hz)
			if err != nil {
				return nil, fmt.Errorf("%w: line %d: %w", ErrCurve, line, err)
			}
			if n := len(out); n > 0 && m.At <= out[n-1].At {
				return nil, fmt.Errorf("%w: line %d: the time %g s is not after %g s; want times that ascend", ErrCurve, line, m.At, out[n-1].At)
			}
			if len(out) > 0 && m.At-out[0].At > maxSeconds || len(out) == maxPoints {
				return nil, fmt.Errorf("%w: line %d: longer than %g hours or %d points", ErrCurve, line, maxSeconds/3600, maxPoints)
			}
			out = append(out, m)
		}
		if last {
			break
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%w: it has no rows; want a header time_s,f0_hz and a row for each moment", ErrCurve)
	}
	return out, nil
}

// startsNumber reports whether a row is one of numbers, not a header.
func startsNumber(row []byte) bool { return bytes.IndexByte([]byte("0123456789+-."), row[0]) >= 0 }

func readMoment(row []byte, at, hz int) (grade.Moment, error) {
	var text [2]string
	var has [2]bool
	for k := 0; ; k++ {
		cell, rest, more := bytes.Cut(row, []byte(","))
		for i, column := range [2]int{at, hz} {
			if k == column {
				text[i], has[i] = string(bytes.TrimSpace(cell)), true
			}
		}
		if !more {
			break
		}
		row = rest
	}
	if !has[0] || !has[1] {
		return grade.Moment{}, fmt.Errorf("want a time in column %d and a frequency in column %d", at+1, hz+1)
	}
	seconds, err := strconv.ParseFloat(text[0], 64)
	if err != nil || math.IsNaN(seconds) || math.Abs(seconds) > 1e9 {
		return grade.Moment{}, fmt.Errorf("%s is not a time in seconds", quoted(text[0]))
	}
	if text[1] == "" {
		return grade.Moment{At: seconds}, nil
	}
	f, err := strconv.ParseFloat(text[1], 64)
	if err != nil || math.IsNaN(f) || f > maxHz || f > 0 && f < minHz {
		return grade.Moment{}, fmt.Errorf("%s is not a frequency in hertz; want %g to %g, or 0 for no pitch", quoted(text[1]), minHz, maxHz)
	}
	return grade.NewMoment(seconds, max(0, f), a4), nil
}

func quoted(s string) string {
	if len(s) > 40 {
		s = s[:40] + "..."
	}
	return strconv.Quote(s)
}
