package theory

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Letter is one of the seven note letters, C = 0 … B = 6: the staff position
// of a note within its octave.
type Letter int8

// The seven letters in staff order.
const (
	C Letter = iota
	D
	E
	F
	G
	A
	B
)

const letterNames = "CDEFGAB"

// String returns the upper-case letter, "C" … "B".
func (l Letter) String() string {
	if l < C || l > B {
		return fmt.Sprintf("Letter(%d)", int8(l))
	}
	return letterNames[l : l+1]
}

// Note is a spelled note without an octave: a letter and its alteration in
// semitones (♯ = +1, ♭ = −1). E♭ and D♯ are different Notes. The zero Note is
// C. Methods panic on a letter outside C … B.
type Note struct {
	Letter Letter
	Alter  int8
}

// maxAlter is the largest alteration of a note or degree that is read. The
// keys and their chromatic degrees need no more than two; transposing may go
// further and stays exact.
const maxAlter = 2

// maxSigns is the largest alteration that any name of a degree altered by
// maxAlter shows: the twice raised seventh of A♯ minor is G with four sharps.
const maxSigns = 4

// PitchClass returns the semitones of n above C, folded into 0 … 11.
func (n Note) PitchClass() int { return mod(naturalSize[n.Letter]+int(n.Alter), 12) }

// String spells n with the usual signs: "C", "F♯", "B♭", "F𝄪", "E𝄫".
func (n Note) String() string { return n.Letter.String() + accidental(int(n.Alter)) }

// ASCII spells n with letters only: "C", "F#", "Bb", "F##", "Ebb".
func (n Note) ASCII() string { return asciiSigns.Replace(n.String()) }

// Up returns the note that lies i above n; the spelling follows the steps of i.
func (n Note) Up(i Interval) Note {
	return Pitch{Note: n}.Up(i).Note
}

// accidental writes an alteration with musical signs; 0 is the empty string.
func accidental(alter int) string {
	switch {
	case alter == 2:
		return "𝄪"
	case alter == -2:
		return "𝄫"
	case alter > 0:
		return strings.Repeat("♯", alter)
	default:
		return strings.Repeat("♭", -alter)
	}
}

// asciiSigns turns musical signs into the letters that are typed for them.
var asciiSigns = strings.NewReplacer("♯", "#", "♭", "b", "♮", "n", "𝄪", "##", "𝄫", "bb")

// ErrNote is wrapped by every error about a note that could not be read.
var ErrNote = errors.New("not a note name")

// ParseNote reads a letter name such as "C", "ab", "F♯", "F##", "Fx", "E𝄫",
// "B flat" or "c-sharp". Case does not matter. At most two sharps or flats.
func ParseNote(s string) (Note, error) {
	n, ok := readNote(s)
	if !ok || abs(int(n.Alter)) > maxAlter {
		return Note{}, fmt.Errorf("%w: %s; want a letter A to G with at most two # or b, like Ab", ErrNote, quote(s))
	}
	return n, nil
}

// readNote reads a letter name of at most maxSigns sharps or flats.
func readNote(s string) (n Note, ok bool) {
	t := strings.TrimSpace(s)
	if t == "" {
		return Note{}, false
	}
	letter := strings.IndexByte(letterNames, t[0]&^0x20) // upper case
	alter, ok := readAccidental(t[1:])
	if letter < 0 || !ok {
		return Note{}, false
	}
	return Note{Letter(letter), int8(alter)}, true
}

// readAccidental reads the whole of s as an alteration of at most maxSigns:
// signs, or a word that a space or hyphen may go before. The empty string and
// a natural are 0.
func readAccidental(s string) (alter int, ok bool) {
	t := strings.ToLower(strings.TrimSpace(s))
	switch strings.ReplaceAll(strings.TrimPrefix(t, "-"), "-", " ") {
	case "natural":
		return 0, true
	case "sharp":
		return 1, true
	case "flat":
		return -1, true
	case "double sharp":
		return 2, true
	case "double flat":
		return -2, true
	}
	if t == "n" || t == "♮" {
		return 0, true
	}
	for _, r := range t {
		sign := 0
		switch r {
		case '#', '♯':
			sign = 1
		case 'b', '♭':
			sign = -1
		case 'x', '𝄪':
			sign = 2
		case '𝄫':
			sign = -2
		}
		if sign == 0 || alter*sign < 0 || abs(alter+sign) > maxSigns {
			return 0, false // no sign, sharps mixed with flats, or too many
		}
		alter += sign
	}
	return alter, true
}

// quote quotes what was read for an error message, cut to a readable length.
func quote(s string) string {
	const mostRunes, mostBytes = 40, 80 // bytes as they are written: a control character takes four
	runes, bytes := 0, 0
	for i, r := range s {
		runes++
		bytes += len(strconv.Quote(string(r))) - len(`""`)
		if runes > mostRunes || bytes > mostBytes {
			return strconv.Quote(s[:i]) + "…"
		}
	}
	return strconv.Quote(s)
}

// Pitch is a spelled note in an octave. The octave number belongs to the
// letter and changes at C: B♯3 sounds like C4, C♭4 like B3. C4 is middle C.
type Pitch struct {
	Note
	Octave int
}

// MIDI returns the MIDI note number, 60 for C4.
func (p Pitch) MIDI() int {
	return 12*(p.Octave+1) + naturalSize[p.Letter] + int(p.Alter)
}

// String writes the note and its octave: "E♭4".
func (p Pitch) String() string { return fmt.Sprintf("%s%d", p.Note, p.Octave) }

// ASCII writes the note and its octave with letters only: "Eb4".
func (p Pitch) ASCII() string { return asciiSigns.Replace(p.String()) }

// ParsePitch reads a note and its octave, −1 … 9: "C4", "Eb4", "f♯3", "B flat 2",
// "C-1". C4 is middle C.
func ParsePitch(s string) (Pitch, error) {
	t := strings.TrimSpace(s)
	if i := len(t) - 1; i > 0 && t[i] >= '0' && t[i] <= '9' {
		octave, name := int(t[i]-'0'), t[:i]
		if lower, ok := strings.CutSuffix(name, "-"); ok && octave == 1 {
			octave, name = -1, lower
		}
		if n, err := ParseNote(name); err == nil {
			return Pitch{n, octave}, nil
		}
	}
	return Pitch{}, fmt.Errorf("%w with an octave: %s; want a letter A to G with # or b and an octave -1 to 9, like Eb4", ErrNote, quote(s))
}

// Up returns the pitch that lies i above p, spelled by the steps of i; a
// negative interval goes down.
func (p Pitch) Up(i Interval) Pitch {
	step := 7*p.Octave + int(p.Letter) + i.Steps
	q := Pitch{Note{Letter: Letter(mod(step, 7))}, floorDiv(step, 7)}
	q.Alter = int8(p.MIDI() + i.Semitones - q.MIDI())
	return q
}

// IntervalTo returns the spelled interval from p up to q, negative when q lies
// below.
func (p Pitch) IntervalTo(q Pitch) Interval {
	return Interval{
		Steps:     7*(q.Octave-p.Octave) + int(q.Letter) - int(p.Letter),
		Semitones: q.MIDI() - p.MIDI(),
	}
}

func abs(a int) int { return max(a, -a) }

// mod returns a modulo n with the sign of n.
func mod(a, n int) int { return ((a % n) + n) % n }

// floorDiv returns the quotient of a by n rounded towards −∞.
func floorDiv(a, n int) int { return (a - mod(a, n)) / n }
