package theory

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Meter is a time signature: Beats notes of the value 1/Unit in a bar. The zero
// Meter is none.
type Meter struct{ Beats, Unit int }

// The limits of a Meter, both allowed.
const (
	maxBeats = 32
	maxUnit  = 32
)

// ErrMeter is wrapped by every error about a time signature.
var ErrMeter = errors.New("not a time signature")

// ParseMeter reads "3/4", or the signs "C" (4/4) and "C|" (2/2).
func ParseMeter(s string) (Meter, error) {
	t := strings.TrimSpace(s)
	switch t {
	case "C":
		return Meter{4, 4}, nil
	case "C|":
		return Meter{2, 2}, nil
	}
	over, under, _ := strings.Cut(t, "/")
	beats, err1 := strconv.Atoi(strings.TrimSpace(over))
	unit, err2 := strconv.Atoi(strings.TrimSpace(under))
	if m := (Meter{beats, unit}); err1 == nil && err2 == nil && m.Valid() {
		return m, nil
	}
	return Meter{}, fmt.Errorf("%w: %s; want beats and note value, like 4/4 or 6/8, at most %d beats of 1, 2, 4, 8, 16 or %d", ErrMeter, quote(s), maxBeats, maxUnit)
}

// Valid reports whether m is a time signature that can be written.
func (m Meter) Valid() bool {
	return m.Beats >= 1 && m.Beats <= maxBeats && m.Unit >= 1 && m.Unit <= maxUnit && m.Unit&(m.Unit-1) == 0
}

// String writes "6/8"; "" for none.
func (m Meter) String() string {
	if m == (Meter{}) {
		return ""
	}
	return fmt.Sprintf("%d/%d", m.Beats, m.Unit)
}

// Bar returns the length of a bar in quarter notes. Only for a valid Meter.
func (m Meter) Bar() Fraction { return NewFraction(4*m.Beats, m.Unit) }

// Compound reports whether the beats are counted in threes: 6/8, 9/8, 12/8,
// 6/4 … (common practice; 3/8 is simple).
func (m Meter) Compound() bool { return m.Beats > 3 && m.Beats%3 == 0 && m.Unit >= 4 }

// Pulse returns the length of the beat that is counted, in quarter notes: the
// note value of the signature, or three of them where it is compound.
func (m Meter) Pulse() Fraction {
	if m.Compound() {
		return NewFraction(12, m.Unit)
	}
	return NewFraction(4, m.Unit)
}

// Pulses returns how many beats are counted in a bar.
func (m Meter) Pulses() int {
	if m.Compound() {
		return m.Beats / 3
	}
	return m.Beats
}
