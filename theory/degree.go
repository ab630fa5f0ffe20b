package theory

import (
	"errors"
	"strconv"
)

// Degree is a degree of a key: the step 1 … 7 and its alteration in semitones
// against the major scale on the same tonic, in major and in minor alike. The
// third of C minor is {3, −1}, its leading tone {7, 0}. Names of degrees are
// views of this value and are never stored. A step outside 1 … 7, as in the
// zero Degree, is no degree; methods that need the step panic on it.
type Degree struct {
	Step  int
	Alter int
}

// ErrDegree is wrapped by every error about a degree that could not be read.
var ErrDegree = errors.New("not a degree")

// Interval returns the interval from the tonic up to the degree.
func (d Degree) Interval() Interval {
	return Interval{d.Step - 1, naturalSize[d.Step-1] + d.Alter}
}

// degreeAt is the inverse of [Degree.Interval], folded into one octave.
func degreeAt(i Interval) Degree {
	step, octave := mod(i.Steps, 7), floorDiv(i.Steps, 7)
	return Degree{step + 1, i.Semitones - 12*octave - naturalSize[step]}
}

// Semitones returns the semitones above the tonic, folded into 0 … 11.
func (d Degree) Semitones() int { return mod(d.Interval().Semitones, 12) }

// String writes the degree counted from the major scale: "1", "♭3", "♯4".
func (d Degree) String() string { return accidental(d.Alter) + strconv.Itoa(d.Step) }

// ASCII writes the degree counted from the major scale with letters only:
// "1", "b3", "#4".
func (d Degree) ASCII() string { return asciiSigns.Replace(d.String()) }

// ScaleDegrees returns the seven degrees of the key's scale from the tonic up:
// the major scale, or the natural minor scale 1 2 ♭3 4 5 ♭6 ♭7.
func (k Key) ScaleDegrees() [7]Degree {
	var ds [7]Degree
	for i := range ds {
		ds[i] = Degree{Step: i + 1}
	}
	if k.Mode == Minor {
		ds[2].Alter, ds[5].Alter, ds[6].Alter = -1, -1, -1
	}
	return ds
}

// ChromaticDegrees returns the twelve degrees of the chromatic scale from the
// tonic up, with the syllables in common use for a rising line: do di re ri mi
// fa fi sol si la li ti in major; do di re me mi fa fi sol le la te ti in
// minor, which never has ri, si or li. Source: Open Music Theory.
func (k Key) ChromaticDegrees() [12]Degree {
	ds := [12]Degree{{1, 0}, {1, 1}, {2, 0}, {2, 1}, {3, 0}, {4, 0}, {4, 1}, {5, 0}, {5, 1}, {6, 0}, {6, 1}, {7, 0}}
	if k.Mode == Minor {
		ds[3], ds[8], ds[10] = Degree{3, -1}, Degree{6, -1}, Degree{7, -1}
	}
	return ds
}
