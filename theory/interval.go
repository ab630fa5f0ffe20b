package theory

import (
	"strconv"
	"strings"
)

// Interval is a spelled interval: staff steps (a second is 1) and semitones.
// Negative intervals go down.
type Interval struct {
	Steps     int
	Semitones int
}

// plus returns the interval i followed by j.
func (i Interval) plus(j Interval) Interval {
	return Interval{i.Steps + j.Steps, i.Semitones + j.Semitones}
}

// naturalSize holds the semitones of the perfect or major interval of each
// number of steps within an octave: also each natural letter above C.
var naturalSize = [7]int{0, 2, 4, 5, 7, 9, 11}

// String names the interval in the usual short form: "P1", "m3", "A4", "d5",
// "P8", "M9"; doubly altered ones repeat the letter ("AA4"); descending ones
// carry a minus sign.
func (i Interval) String() string {
	if i.Steps < 0 || i.Steps == 0 && i.Semitones < 0 {
		return "-" + Interval{-i.Steps, -i.Semitones}.String()
	}
	d := degreeAt(i)
	perfect := d.Step == 1 || d.Step == 4 || d.Step == 5
	var quality string
	switch {
	case d.Alter > 0:
		quality = strings.Repeat("A", d.Alter)
	case d.Alter == 0 && perfect:
		quality = "P"
	case d.Alter == 0:
		quality = "M"
	case perfect:
		quality = strings.Repeat("d", -d.Alter)
	case d.Alter == -1:
		quality = "m"
	default:
		quality = strings.Repeat("d", -d.Alter-1)
	}
	return quality + strconv.Itoa(i.Steps+1)
}
