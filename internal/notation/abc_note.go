package notation

import (
	"fmt"
	"strings"
	"unicode"

	"singback/internal/engrave"
	"singback/theory"
)

// number reads digits.
func number(c []rune, i int) (n, used int) {
	for i+used < len(c) && c[i+used] >= '0' && c[i+used] <= '9' && used < 5 {
		n = 10*n + int(c[i+used]-'0')
		used++
	}
	return n, used
}

// note reads a note or a rest.
func (a *abcReader) note(c []rune, i int) (note, int, error) {
	v := a.current()
	start := i
	alter, explicit := int8(0), false
	for i < len(c) && (c[i] == '^' || c[i] == '_' || c[i] == '=') {
		explicit = true
		switch c[i] {
		case '^':
			alter++
		case '_':
			alter--
		}
		if i++; i-start > 2 {
			return note{}, 0, a.errorf("an accidental of more than two signs")
		}
	}
	if i >= len(c) || !strings.ContainsRune("ABCDEFGabcdefgzx", c[i]) {
		if i < len(c) && (c[i] == '/' || unicode.IsDigit(c[i])) {
			return note{}, 0, a.errorf("quarter tones are not supported")
		}
		return note{}, 0, a.errorf("an accidental without a note")
	}
	var n note
	r := c[i]
	i++
	if n.Rest = r == 'z' || r == 'x'; !n.Rest {
		octave := 4
		if unicode.IsLower(r) {
			octave = 5
		}
		letter := theory.Letter(strings.IndexRune("CDEFGAB", unicode.ToUpper(r)))
		for ; i < len(c) && (c[i] == '\'' || c[i] == ','); i++ {
			if octave++; c[i] == ',' {
				octave -= 2
			}
		}
		if octave < -2 || octave > 10 { // B sharp -2 is the lowest note of MIDI
			return note{}, 0, a.errorf("the note lies out of range")
		}
		keep := fmt.Sprint(letter)
		if a.propagate == "octave" {
			keep = fmt.Sprint(letter, octave)
		}
		if v.signs == nil {
			v.signs = map[string]int8{}
		}
		if !explicit {
			var ok bool
			if alter, ok = v.signs[keep]; !ok {
				alter = engrave.Own(v.key, letter)
				// A note that is tied over from the bar before keeps its accidental.
				if last := v.last(); last != nil && last.tied && len(v.now.notes) == 0 && last.Pitch.Letter == letter && last.Pitch.Octave == octave {
					alter = last.Pitch.Alter
				}
			}
		} else if a.propagate != "not" {
			v.signs[keep] = alter
		}
		n.Pitch = theory.Pitch{Note: theory.Note{Letter: letter, Alter: alter}, Octave: octave}
	}
	length, used, err := a.length(c, i)
	if err != nil {
		return n, 0, err
	}
	n.Length = length.Times(v.unit)
	return n, i + used - start, nil
}

// length reads a multiple of the unit.
func (a *abcReader) length(c []rune, i int) (theory.Fraction, int, error) {
	start := i
	num, used := number(c, i)
	if used == 0 {
		num = 1
	}
	i += used
	den := 1
	for i < len(c) && c[i] == '/' {
		i++
		d, used := number(c, i)
		if used == 0 {
			d = 2
		}
		if i += used; d < 1 || den*d > 512 {
			return theory.Fraction{}, 0, a.errorf("a length divided by more than 512, or by nothing")
		}
		den *= d
	}
	if num < 1 || num > 4096 {
		return theory.Fraction{}, 0, a.errorf("a length of %d is out of range", num)
	}
	return theory.NewFraction(num, den), i - start, nil
}

// chord reads the highest note of [CEG].
func (a *abcReader) chord(c []rune, i, end int) (int, error) {
	var best note
	var tones []tone
	found := false
	v := a.current()
	for j := i + 1; j < end; {
		if !strings.ContainsRune("^_=ABCDEFGabcdefg", c[j]) {
			switch from := j; c[j] {
			case '!', '"': // a sign or words within the chord, with letters in them
				for j++; j < end && c[j] != c[from]; j++ {
				}
				if text := string(c[from:min(j+1, end)]); c[from] == '"' {
					a.quoted(text)
				} else {
					a.mark(text)
				}
			case '(':
				v.slurs++
			case ')':
				v.slurs = max(0, v.slurs-1)
			}
			j++
			continue
		}
		n, used, err := a.note(c[:end], j)
		if err != nil {
			return 0, err
		}
		if !found || n.Pitch.MIDI() > best.Pitch.MIDI() {
			best, found = n, true
		}
		tones = append(tones, tone{n.Pitch, false})
		if j += used; j < end && c[j] == '-' {
			best.tied, tones[len(tones)-1].tied = true, true
		}
	}
	if a.all && len(tones) > 1 {
		best.Pitch, best.tied, best.also = tones[0].pitch, tones[0].tied, tones[1:]
	}
	if !found {
		return 0, a.errorf("a chord without notes")
	}
	f, used, err := a.length(c, end+1)
	if err != nil {
		return 0, err
	}
	best.Length = best.Length.Times(f)
	return end + 1 - i + used, a.add(best)
}

// add puts a note into the bar.
func (a *abcReader) add(n note) error {
	v := a.current()
	if a.tupletN > 0 {
		a.tupletN--
		n.Length = n.Length.Times(a.tuplet)
	}
	if v.broken.Num > 0 {
		n.Length, v.broken = n.Length.Times(v.broken), theory.Fraction{}
	}
	if err := a.sound(n.Length); err != nil {
		return err
	}
	if !n.Rest {
		n.Slur = v.slurs > 0
		v.words = append(v.words, place{len(v.bars), len(v.now.notes)})
	}
	return a.put(n)
}

// maxNotes bounds the notes and rests of all voices; a line has fewer.
const maxNotes = 5 * theory.MaxScoreNotes

// put puts a note or rest into the bar as it is.
func (a *abcReader) put(n note) error {
	if a.notes++; a.notes > maxNotes {
		return a.errorf("more than %d notes and rests", maxNotes)
	}
	v := a.current()
	v.now.notes = append(v.now.notes, n)
	return nil
}

// sound refuses lengths that are not kept exactly.
func (a *abcReader) sound(f theory.Fraction) error {
	if 960%f.Den != 0 || f.Num > 1<<20 {
		return a.errorf("a length of %s quarter notes; only halves, thirds and fifths and their halves are supported", f)
	}
	return nil
}

// openTuplet reads (p:q:r.
func (a *abcReader) openTuplet(c []rune, i int) (int, error) {
	var part [3]int
	start := i
	i++
	for k := range part {
		if k > 0 {
			if i >= len(c) || c[i] != ':' {
				break
			}
			i++
		}
		n, used := number(c, i)
		part[k] = n
		i += used
	}
	p, q, n := part[0], part[1], part[2]
	compound := a.current().meter.Compound()
	if q == 0 {
		switch p {
		case 2, 4, 8:
			q = 3
		case 3, 6:
			q = 2
		default:
			if q = 2; compound {
				q = 3
			}
		}
	}
	if n == 0 {
		n = p
	}
	if p < 2 || p > 15 || q < 1 || q > 15 || n > 64 {
		return 0, a.errorf("a tuplet of %d in the time of %d", p, q)
	}
	a.tuplet, a.tupletN = theory.NewFraction(q, p), n
	return i - start, nil
}
