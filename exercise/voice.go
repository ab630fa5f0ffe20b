package exercise

import (
	"fmt"
	"strings"

	"singback/theory"
)

// Voice is a kind of voice with its usual choral range.
type Voice struct {
	Name  string
	Range theory.Range
}

// voices are the choral ranges that handbooks of choral writing give (from
// memory; sources differ by a step or two), and for children the range of the
// unchanged voice.
var voices = []Voice{
	{"soprano", theory.Range{Low: 60, High: 81}},  // C4–A5
	{"mezzo", theory.Range{Low: 57, High: 77}},    // A3–F5
	{"alto", theory.Range{Low: 53, High: 74}},     // F3–D5
	{"tenor", theory.Range{Low: 48, High: 69}},    // C3–A4
	{"baritone", theory.Range{Low: 45, High: 65}}, // A2–F4
	{"bass", theory.Range{Low: 41, High: 64}},     // F2–E4
	{"child", theory.Range{Low: 57, High: 77}},    // A3–F5
}

// Voices returns the names that VoiceNamed knows, from high to low, children
// last.
func Voices() []string {
	names := make([]string, len(voices))
	for i, v := range voices {
		names[i] = v.Name
	}
	return names
}

// VoiceNamed returns the voice of that name, case ignored.
func VoiceNamed(name string) (Voice, error) {
	for _, v := range voices {
		if strings.EqualFold(v.Name, strings.TrimSpace(name)) {
			return v, nil
		}
	}
	return Voice{}, fmt.Errorf("no voice %q: want one of %s", name, strings.Join(Voices(), ", "))
}

// workingMargin is how far, in semitones, prompts keep away from both ends of
// a range (common practice).
const workingMargin = 2

// octaveSpan is the span, in semitones, in which every degree has a place.
const octaveSpan = 11

// Working returns the part of a comfortable range that drills use: all of it moved
// inwards by two semitones at each end. A range of less than an octave and a
// third gives up only what it has beyond an octave, the odd semitone at its low
// end, so that each degree keeps a place; one of less than an octave is used as
// it is.
func Working(r theory.Range) theory.Range {
	spare := max(0, min(2*workingMargin, r.High-r.Low-octaveSpan))
	return theory.Range{Low: r.Low + (spare+1)/2, High: r.High - spare/2}
}

// Register says where in the singer's voice a key lies: the octave of the
// tonic above which the scale is built, and the range that prompts must keep
// to. The zero Range means that any pitch will do.
type Register struct {
	TonicOctave int
	Range       theory.Range
}

// MiddleRegister is the register for a voice that is not known: the tonic
// nearest to middle C, from F♯3 up to F4. Any octave of an answer counts, so
// it suits low and high voices.
func MiddleRegister(k theory.Key) Register {
	octave := 4
	if p := (theory.Pitch{Note: k.Tonic, Octave: 4}); p.MIDI() > 65 {
		octave = 3
	}
	return Register{TonicOctave: octave}
}

// RegisterFor places a key in a working range: the octave in which most of
// the degrees from the tonic to the seventh fit and which, of those, lies most
// central.
func RegisterFor(k theory.Key, working theory.Range) Register {
	best, bestFit, bestOff := 4, -1, 0
	for octave := 1; octave <= 6; octave++ {
		low := k.Pitch(theory.Degree{Step: 1}, octave).MIDI()
		fit := 0
		for s := low; s <= low+11; s++ {
			if s >= working.Low && s <= working.High {
				fit++
			}
		}
		off := 2*low + 11 - working.Low - working.High
		off = max(off, -off)
		if fit > bestFit || fit == bestFit && off < bestOff {
			best, bestFit, bestOff = octave, fit, off
		}
	}
	return Register{TonicOctave: best, Range: working}
}

// Place returns the pitch of a degree in this register. A degree that would
// leave the range is moved by as few octaves as bring it back, and folded is
// true. Where a narrow range has no place for it in any octave, it is put as
// near to the range as it comes, and is folded too: [Register.Outside] tells.
func (r Register) Place(k theory.Key, d theory.Degree) (p theory.Pitch, folded bool) {
	p = k.Pitch(d, r.TonicOctave)
	if !r.Outside(p) {
		return p, false
	}
	for r.off(p) < 0 {
		p.Octave++
	}
	for r.off(p) > 0 {
		p.Octave--
	}
	above := p
	above.Octave++
	if off := r.off(p); off < 0 && r.off(above) < -off {
		p = above
	}
	return p, true
}

// off is how far, in semitones, a pitch lies above the range, or below it if
// negative.
func (r Register) off(p theory.Pitch) int {
	return max(0, p.MIDI()-r.Range.High) + min(0, p.MIDI()-r.Range.Low)
}

// Outside reports whether a pitch lies outside the range of the register.
func (r Register) Outside(p theory.Pitch) bool {
	return r.Range != (theory.Range{}) && !r.Range.Contains(p)
}
