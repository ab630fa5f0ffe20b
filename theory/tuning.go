package theory

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Cents is a pitch distance: 1/1200 of an octave, 1/100 of an equal-tempered
// semitone.
type Cents = float64

// CentsBetween returns how far f lies above ref, 1200·log2(f/ref), in cents;
// negative when f is below. Both are in hertz and must be positive.
func CentsBetween(f, ref float64) Cents { return 1200 * math.Log2(f/ref) }

// A4 in hertz.
const (
	// DefaultA4 is the standard pitch, ISO 16:1975 (from memory).
	DefaultA4 = 440.0
	// MinA4 and MaxA4 limit what NewTuning accepts, limits included: about a
	// whole tone around DefaultA4, which holds the pitch standards in use from 415
	// to 466 and leaves room for an instrument that is off.
	MinA4 = 392.0
	MaxA4 = 494.0
)

// System is a way to size the degrees of a key.
type System int8

// The systems.
const (
	Equal       System = iota // twelve equal semitones
	Just                      // 5-limit: ratios of 2, 3 and 5
	Pythagorean               // ratios of 2 and 3: a chain of pure fifths
)

var systemNames = [...]string{"equal", "just", "pythagorean"}

// String returns the name: "equal", "just" or "pythagorean".
func (s System) String() string {
	if s < 0 || int(s) >= len(systemNames) {
		return fmt.Sprintf("System(%d)", int8(s))
	}
	return systemNames[s]
}

// Tuning turns degrees and spelled pitches into cents and hertz. The tonic
// stands where equal temperament from A4 has it; System sizes the degrees from
// there. The zero Tuning is none: make one with NewTuning, or Tuning{A4: a}.
type Tuning struct {
	A4     float64 // hertz
	System System

	// Just intonation has two sizes of re and of te, a syntonic comma (81/80)
	// apart. SmallRe is 10/9 in place of 9/8: pure with la (the ii chord) and not
	// with sol (the V chord). SmallTe is 16/9 in place of 9/5: pure with fa and
	// not with me. Other systems pay no heed to them.
	SmallRe, SmallTe bool
}

// NewTuning returns equal temperament on the given A4 in hertz, MinA4 … MaxA4.
func NewTuning(a4 float64) (Tuning, error) {
	if !(a4 >= MinA4 && a4 <= MaxA4) { // also refuses NaN
		return Tuning{}, fmt.Errorf("A4 = %g Hz is out of range: want %g to %g", a4, MinA4, MaxA4)
	}
	return Tuning{A4: a4}, nil
}

// ErrTuning is wrapped by the error about a system of tuning that could not be
// read.
var ErrTuning = errors.New("not a tuning")

// ParseTuning reads a system of tuning on the given A4: "equal", "just",
// "pythagorean", or just intonation with a chosen size of re and te:
// "just re=10/9", "just re=10/9 te=16/9". Case does not matter.
func ParseTuning(s string, a4 float64) (Tuning, error) {
	t, err := NewTuning(a4)
	if err != nil {
		return t, err
	}
	words := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r == ' ' || r == ',' || r == '\t' })
	known := len(words) > 0
	if known {
		known = false
		for i, name := range systemNames {
			if words[0] == name {
				t.System, known = System(i), true
			}
		}
		words = words[1:]
	}
	if !known {
		return Tuning{}, fmt.Errorf("%w: %s; want equal, just or pythagorean, or just with re=9/8 or 10/9 and te=9/5 or 16/9", ErrTuning, quote(s))
	}
	for _, w := range words {
		switch {
		case t.System == Just && w == "re=9/8":
			t.SmallRe = false
		case t.System == Just && w == "re=10/9":
			t.SmallRe = true
		case t.System == Just && w == "te=9/5":
			t.SmallTe = false
		case t.System == Just && w == "te=16/9":
			t.SmallTe = true
		case t.System == Just:
			return Tuning{}, fmt.Errorf("%w: %s in %s; want re=9/8, re=10/9, te=9/5 or te=16/9", ErrTuning, quote(w), quote(s))
		default:
			return Tuning{}, fmt.Errorf("%w: %s in %s; nothing follows %v", ErrTuning, quote(w), quote(s), t.System)
		}
	}
	return t, nil
}

// String writes the system as ParseTuning reads it: "equal", "just re=10/9".
// The larger sizes of re and te are not written.
func (t Tuning) String() string {
	s := t.System.String()
	if t.System == Just && t.SmallRe {
		s += " re=10/9"
	}
	if t.System == Just && t.SmallTe {
		s += " te=16/9"
	}
	return s
}

// point is an interval built of pure fifths (the exponent of 3) and pure thirds
// (that of 5); octaves make up the rest.
type point struct{ threes, fives int }

// justDegrees holds the 5-limit degrees, lowered, plain and raised, as the
// powers of 3 and 5 of their ratios, octaves left out. The plain ones and ra, me,
// fi, le and te are those that every table of the tuning gives (16/15, 9/8, 6/5,
// 5/4, 4/3, 45/32, 3/2, 8/5, 5/3, 9/5, 15/8). The others are common practice: se
// is 64/45, the inverse of fi, and di, ri, si and li are the pure thirds of la,
// ti, mi and fi: 25/24, 75/64, 25/16, 225/128.
var justDegrees = [7][3]point{
	{{1, -2}, {0, 0}, {-1, 2}},
	{{-1, -1}, {2, 0}, {1, 2}},
	{{1, -1}, {0, 1}, {-1, 3}},
	{{0, -2}, {-1, 0}, {2, 1}},
	{{-2, -1}, {1, 0}, {0, 2}},
	{{0, -1}, {-1, 1}, {2, 2}},
	{{2, -1}, {1, 1}, {0, 3}},
}

// point returns the place of a degree in the lattice of a system that is not
// Equal. Beyond the table each further sign is a chromatic semitone 25/24.
func (t Tuning) point(d Degree) point {
	if t.System == Pythagorean {
		return point{threes: fifths[d.Step-1] + 7*d.Alter}
	}
	within := max(-1, min(1, d.Alter))
	p := justDegrees[d.Step-1][within+1]
	switch {
	case t.SmallRe && d == Degree{2, 0}:
		p = point{-2, 1}
	case t.SmallTe && d == Degree{7, -1}:
		p = point{-2, 0}
	}
	beyond := d.Alter - within
	return point{p.threes - beyond, p.fives + 2*beyond}
}

// twos returns the exponent of 2 that puts p so many semitones up: a fifth and
// an octave (3) is 19 of them, a third and two octaves (5) is 28.
func (p point) twos(semitones int) int {
	return floorDiv(semitones-19*p.threes-28*p.fives, 12)
}

// Cents returns how far the degree lies above the tonic below it, as
// [Degree.Interval] counts: −100 for ♭1 in equal temperament. The key does not
// matter: every key has the same degrees.
func (t Tuning) Cents(d Degree) Cents {
	semitones := d.Interval().Semitones
	if t.System == Equal {
		return 100 * float64(semitones)
	}
	p := t.point(d)
	return 1200 * (float64(p.twos(semitones)) + float64(p.threes)*math.Log2(3) + float64(p.fives)*math.Log2(5))
}

// Ratio returns the frequency of the degree against the tonic below it as a
// fraction in lowest terms. Equal temperament has none but 1/1, and of degrees
// altered by more than two semitones none is given; ok is false.
func (t Tuning) Ratio(d Degree) (num, den int64, ok bool) {
	if abs(d.Alter) > maxAlter || t.System == Equal && d != (Degree{Step: 1}) {
		return 0, 0, false
	}
	p := t.point(d)
	if t.System == Equal {
		p = point{}
	}
	num, den = 1, 1
	for _, f := range []struct {
		prime    int64
		exponent int
	}{{2, p.twos(d.Interval().Semitones)}, {3, p.threes}, {5, p.fives}} {
		for range f.exponent {
			num *= f.prime
		}
		for range -f.exponent {
			den *= f.prime
		}
	}
	return num, den, true
}

// Hz returns the frequency of p in equal temperament, whatever the System:
// A4·2^((m−69)/12) for MIDI number m. Tonics stand there. For the degrees of a
// key in the System of t see HzIn.
func (t Tuning) Hz(p Pitch) float64 { return t.A4 * math.Exp2(float64(p.MIDI()-69)/12) }

// HzIn returns the frequency of p as a degree of k, by its spelling: the tonic
// in equal temperament and, in the other systems, the ratio of the degree above
// it. In equal temperament it is Hz.
func (t Tuning) HzIn(k Key, p Pitch) float64 {
	if t.System == Equal {
		return t.Hz(p)
	}
	tonic := Pitch{k.Tonic, p.Octave}
	i := tonic.IntervalTo(p)
	return Shift(t.Hz(tonic), t.Cents(degreeAt(i))+1200*float64(floorDiv(i.Steps, 7)))
}

// Nearest returns the degree that lies nearest to c cents above the tonic, in
// whatever octave, and the cents that remain, positive when c is sharp; of two
// equally near the lower. It chooses among the twelve of [Key.Nearest], where
// as stands in for the one on the same piano key: a degree that was asked keeps
// its spelling and its size. c must be finite.
func (t Tuning) Nearest(c Cents, as Degree) (Degree, Cents) {
	best, rest := Degree{}, math.Inf(1)
	for _, d := range nearest {
		if d.Semitones() == as.Semitones() {
			d = as
		}
		off := c - t.Cents(d)
		off -= 1200 * math.Ceil(off/1200-0.5) // above −600, at most 600
		if math.Abs(off) < math.Abs(rest) || math.Abs(off) == math.Abs(rest) && off > rest {
			best, rest = d, off
		}
	}
	return best, rest
}

// Borders returns how far below and above the degree the middle to the next
// chromatic degree lies, both positive: 50 in equal temperament.
func (t Tuning) Borders(d Degree) (below, above Cents) {
	if t.System == Equal {
		return 50, 50
	}
	half := func(other Degree) Cents {
		off := math.Abs(t.Cents(d) - t.Cents(other))
		off = math.Mod(off, 1200)
		return min(off, 1200-off) / 2
	}
	s := d.Semitones()
	return half(nearest[mod(s-1, 12)]), half(nearest[mod(s+1, 12)])
}

// Shift returns the frequency that lies c above hz, in hertz.
func Shift(hz float64, c Cents) float64 { return hz * math.Exp2(c/1200) }
