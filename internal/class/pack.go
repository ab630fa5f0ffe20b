package class

import (
	"bufio"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"singback/exercise/grade"
)

// The grains of what is kept of a take: far below what a microphone and a voice can
// tell, and the same on every machine.
const (
	centsGrain = 100    // a hundredth of a cent
	timeGrain  = 20_000 // 50 µs
	levelGrain = 100    // a hundredth of a decibel
)

// mostGrains is beyond any number that a take can have.
const mostGrains = 1 << 50

// packing is the version of the format; it is the first byte.
const packing = 1

// MaxPacked is how many bytes a packed performance has at most, and MaxMoments how
// many points of a curve and notes: six hours of a curve in steps of 10 ms.
const (
	MaxPacked  = 64 << 20
	MaxMoments = 3 << 20
)

// ErrPacked is wrapped by errors about bytes that are no packed performance.
var ErrPacked = errors.New("it holds no measured take")

// Pack returns what was measured of a take as bytes, about 130 a second: the curve
// and the notes, in hundredths of a cent and steps of 50 µs. What [Unpack] returns,
// packs to the same bytes. A performance that has a number which is none, or is
// longer than MaxMoments, is an error.
func Pack(p grade.Performance) ([]byte, error) {
	if len(p.Curve) > MaxMoments || len(p.Notes) > MaxMoments {
		return nil, fmt.Errorf("a curve of %d points and %d notes is too long to be kept", len(p.Curve), len(p.Notes))
	}
	var w packer
	w.uint(uint64(len(p.Notes)))
	for _, n := range p.Notes {
		w.grain(n.Onset, timeGrain)
		w.grain(n.Offset, timeGrain)
		w.grain(n.Cents, centsGrain)
		w.grain(n.Level, levelGrain)
	}
	// Column by column, each as differences: a curve has even steps, changes slowly,
	// and is voiced for long.
	w.uint(uint64(len(p.Curve)))
	var at, step int64
	for _, m := range p.Curve {
		t := w.round(m.At, timeGrain)
		w.int(t - at - step)
		at, step = t, t-at
	}
	voiced, run := false, uint64(0)
	for _, m := range p.Curve {
		if m.Voiced != voiced {
			w.uint(run)
			voiced, run = m.Voiced, 0
		}
		run++
	}
	w.uint(run)
	var cents, slope int64
	for _, m := range p.Curve {
		if m.Voiced {
			c := w.round(m.Cents, centsGrain)
			w.int(c - cents - slope/2)
			cents, slope = c, c-cents
		}
	}
	if w.bad {
		return nil, errors.New("what was measured of it has a number that is none")
	}
	var out bytes.Buffer
	out.WriteByte(packing)
	z, err := flate.NewWriter(&out, 6)
	if err == nil {
		_, err = z.Write(w.Bytes())
	}
	err = errors.Join(err, z.Close())
	return out.Bytes(), err
}

// packer writes numbers.
type packer struct {
	bytes.Buffer
	bad bool // a number is none
}

func (w *packer) uint(v uint64) { w.Write(binary.AppendUvarint(w.AvailableBuffer(), v)) }
func (w *packer) int(v int64)   { w.Write(binary.AppendVarint(w.AvailableBuffer(), v)) }

func (w *packer) grain(v, grain float64) { w.int(w.round(v, grain)) }

func (w *packer) round(v, grain float64) int64 {
	v = math.Round(v * grain)
	if !(math.Abs(v) <= mostGrains) {
		w.bad = true
		return 0
	}
	return int64(v)
}

// Unpack is the way back. Bytes from outside are bounded and checked; an error wraps
// ErrPacked.
func Unpack(b []byte) (p grade.Performance, err error) {
	switch {
	case len(b) == 0 || len(b) > MaxPacked:
		return p, fmt.Errorf("%w: %d bytes", ErrPacked, len(b))
	case b[0] != packing:
		return p, fmt.Errorf("%w: it is of version %d, this program knows %d", ErrPacked, b[0], packing)
	}
	r := unpacker{in: bufio.NewReader(flate.NewReader(bytes.NewReader(b[1:])))}
	notes := r.count()
	for i := 0; i < notes && r.err == nil; i++ {
		n := grade.Sung{Onset: r.grain(timeGrain), Offset: r.grain(timeGrain), Cents: r.grain(centsGrain), Level: r.grain(levelGrain)}
		if r.err == nil && !(n.Onset < n.Offset) {
			r.err = errors.New("a note ends before it begins")
		}
		p.Notes = append(p.Notes, n)
	}
	points := r.count()
	var at, step int64
	for i := 0; i < points && r.err == nil; i++ {
		t := r.within(at + step + r.int())
		at, step = t, t-at
		p.Curve = append(p.Curve, grade.Moment{At: float64(t) / timeGrain})
		if i > 0 && r.err == nil && step < 0 {
			r.err = errors.New("its times go back")
		}
	}
	for i, voiced := 0, false; r.err == nil; voiced = !voiced {
		n := r.count()
		if n > points-i {
			r.err = errors.New("more is voiced than there is")
			break
		}
		for ; n > 0; n-- {
			p.Curve[i].Voiced = voiced
			i++
		}
		if i == points {
			break
		}
	}
	var cents, slope int64
	for i := range p.Curve {
		if p.Curve[i].Voiced && r.err == nil {
			c := r.within(cents + slope/2 + r.int())
			cents, slope = c, c-cents
			p.Curve[i].Cents = float64(c) / centsGrain
		}
	}
	if r.err == nil {
		if _, err := r.in.ReadByte(); err != io.EOF {
			r.err = errors.New("there is more than there should be")
		}
	}
	if r.err != nil {
		return grade.Performance{}, fmt.Errorf("%w: %w", ErrPacked, r.err)
	}
	return p, nil
}

// unpacker reads numbers; after an error all are 0.
type unpacker struct {
	in  *bufio.Reader
	err error
}

func (r *unpacker) count() int {
	if r.err != nil {
		return 0
	}
	v, err := binary.ReadUvarint(r.in)
	if err == nil && v > MaxMoments {
		err = fmt.Errorf("%d of something", v)
	}
	if r.err = err; err != nil {
		return 0
	}
	return int(v)
}

func (r *unpacker) int() int64 {
	if r.err != nil {
		return 0
	}
	v, err := binary.ReadVarint(r.in)
	if r.err = err; err != nil {
		return 0
	}
	return r.within(v)
}

// within returns v, or 0 and an error where it is beyond measure.
func (r *unpacker) within(v int64) int64 {
	if v > mostGrains || v < -mostGrains {
		if r.err == nil {
			r.err = errors.New("a number without measure")
		}
		return 0
	}
	return v
}

func (r *unpacker) grain(grain float64) float64 { return float64(r.int()) / grain }

// Grained returns what Unpack would return of what Pack kept: what is marked first
// is what will be marked again.
func Grained(p grade.Performance) (grade.Performance, []byte, error) {
	b, err := Pack(p)
	if err != nil {
		return p, nil, err
	}
	p, err = Unpack(b)
	return p, b, err
}
