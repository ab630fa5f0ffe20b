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
// the major scale, the natural minor scale 1 2 ♭3 4 5 ♭6 ♭7, or the church mode.
func (k Key) ScaleDegrees() [7]Degree {
	var ds [7]Degree
	home := k.Mode.aboveRelative()
	for i := range ds {
		up := Degree{Step: (home.Steps+i)%7 + 1}.Interval()
		ds[i] = degreeAt(Interval{up.Steps - home.Steps, up.Semitones - home.Semitones})
	}
	return ds
}

// ChromaticDegrees returns the twelve degrees of the chromatic scale from the
// tonic up, with the syllables in common use for a rising line: do di re ri mi
// fa fi sol si la li ti in major; do di re me mi fa fi sol le la te ti in
// minor, which never has ri, si or li. Source: Open Music Theory. The church
// modes follow major or minor by their third and keep the degrees of their own
// scale (common practice).
func (k Key) ChromaticDegrees() [12]Degree {
	ds := [12]Degree{{1, 0}, {1, 1}, {2, 0}, {2, 1}, {3, 0}, {4, 0}, {4, 1}, {5, 0}, {5, 1}, {6, 0}, {6, 1}, {7, 0}}
	own := k.ScaleDegrees()
	if own[2].Alter < 0 {
		ds[3], ds[8], ds[10] = Degree{3, -1}, Degree{6, -1}, Degree{7, -1}
	}
	for _, d := range own {
		ds[d.Semitones()] = d
	}
	return ds
}

// ChromaticFalling returns the twelve degrees of the falling chromatic scale
// from the seventh down to the tonic, with the syllables in common use: ti te la
// le sol se fa mi me re ra do, in major and in minor. Source: Open Music Theory.
// The church modes keep the degrees of their own scale (common practice).
func (k Key) ChromaticFalling() [12]Degree {
	ds := [12]Degree{{7, 0}, {7, -1}, {6, 0}, {6, -1}, {5, 0}, {5, -1}, {4, 0}, {3, 0}, {3, -1}, {2, 0}, {2, -1}, {1, 0}}
	for _, d := range k.ScaleDegrees() {
		ds[11-d.Semitones()] = d
	}
	return ds
}

// SpellLine spells a line that was heard and not read, given in semitones above
// the tonic: a chromatic note that rises to the next other note is raised, one
// that falls is lowered, as in [Key.ChromaticDegrees] and
// [Key.ChromaticFalling]; the last note goes by the way it was reached, and a
// note that never moves is spelled as in [Key.Nearest]. The note between fa and
// sol is fi, falling too, since it nearly always leads to sol (Open Music
// Theory), unless the mode has se of its own.
func (k Key) SpellLine(semitones []int) []Degree {
	up, down := k.ChromaticDegrees(), k.ChromaticFalling()
	// move is the direction from the i-th note to the next other one.
	out := make([]Degree, len(semitones))
	move := 0
	for i := len(semitones) - 1; i >= 0; i-- {
		if i+1 < len(semitones) && semitones[i+1] != semitones[i] {
			move = semitones[i+1] - semitones[i]
		}
		if move == 0 { // the last note, perhaps repeated
			for j := i - 1; j >= 0 && move == 0; j-- {
				move = semitones[i] - semitones[j]
			}
		}
		s := mod(semitones[i], 12)
		switch {
		case s == 6 || move > 0:
			out[i] = up[s]
		default:
			out[i] = down[11-s]
		}
	}
	return out
}
