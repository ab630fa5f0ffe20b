package theory

import "fmt"

// ParseRange reads the lowest and the highest note of a range, like C3-A4.
func ParseRange(s string) (Range, error) {
	low, high := s, ""
	for i, c := range s { // the hyphen behind an octave: not the one of C-1
		if c == '-' && i > 0 && s[i-1] >= '0' && s[i-1] <= '9' {
			low, high = s[:i], s[i+1:]
			break
		}
	}
	from, err1 := ParsePitch(low)
	to, err2 := ParsePitch(high)
	r := Range{Low: from.MIDI(), High: to.MIDI()}
	if err1 != nil || err2 != nil || r.Low > r.High || r.Low < 0 || r.High > 127 {
		return Range{}, fmt.Errorf("%s: want the lowest and the highest note, like C3-A4", quote(s))
	}
	return r, nil
}
