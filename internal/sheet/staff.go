package sheet

import (
	"errors"

	"singback/exercise/grade"
	"singback/internal/engrave"
	"singback/theory"
)

// ErrNoStaff is returned where a score is not that of a picture's line.
var ErrNoStaff = errors.New("the score has other notes than the line")

// Staff is the line as staff notation, with marks of what was sung, in a picture as wide
// as p.
func (p Picture) Staff(s theory.Score) (string, error) {
	d := p.lay()
	marks := make([]engrave.Mark, len(s.Notes))
	labels := s.Labels(p.Names, p.ASCII)
	k := 0
	for i, n := range s.Notes {
		if n.Rest {
			continue
		}
		if k >= len(d.shapes) {
			return "", ErrNoStaff
		}
		o := d.shapes[k]
		m := engrave.Mark{Cents: o.sung - o.due, Text: o.text}
		switch o.finding {
		case grade.Right:
			m.Kind = engrave.MarkRight
		case grade.OutOfTune:
			m.Kind = engrave.MarkOff
		case grade.Wrong:
			m.Kind = engrave.MarkWrong
		default:
			m.Kind = engrave.MarkAbsent
		}
		marks[i], k = m, k+1
	}
	if k != len(d.shapes) {
		return "", ErrNoStaff
	}
	return engrave.Printed(s, engrave.View{Width: int(d.width), Labels: labels, Marks: marks})
}
