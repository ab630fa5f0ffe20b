package theory

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Scale is a collection of degrees that melodies are made of.
type Scale int8

// The scales.
const (
	MajorScale   Scale = iota // ionian
	NaturalMinor              // aeolian
	HarmonicMinor
	MelodicMinor // rises with la and ti, falls as NaturalMinor
	DorianScale
	PhrygianScale
	LydianScale
	MixolydianScale
	LocrianScale
	MajorPentatonic
	MinorPentatonic
	Blues // the minor pentatonic with a lowered fifth (common practice)
)

// scales describes the scales as degrees of their mode. A fifth that is not of
// the mode, as in Blues, stands beside it.
var scales = [...]struct {
	name    string
	mode    Mode
	degrees string // steps of the mode: "12345", a sign before a step alters it
	falling string // where it differs, from the tonic up
}{
	MajorScale:      {"major", Major, "1234567", ""},
	NaturalMinor:    {"natural minor", Minor, "1234567", ""},
	HarmonicMinor:   {"harmonic minor", Minor, "123456#7", ""},
	MelodicMinor:    {"melodic minor", Minor, "12345#6#7", "1234567"},
	DorianScale:     {"dorian", Dorian, "1234567", ""},
	PhrygianScale:   {"phrygian", Phrygian, "1234567", ""},
	LydianScale:     {"lydian", Lydian, "1234567", ""},
	MixolydianScale: {"mixolydian", Mixolydian, "1234567", ""},
	LocrianScale:    {"locrian", Locrian, "1234567", ""},
	MajorPentatonic: {"major pentatonic", Major, "12356", ""},
	MinorPentatonic: {"minor pentatonic", Minor, "13457", ""},
	Blues:           {"blues", Minor, "134b557", ""},
}

// scaleSynonyms are further names that are read.
var scaleSynonyms = map[string]Scale{
	"ionian": MajorScale, "minor": NaturalMinor, "aeolian": NaturalMinor, "pentatonic": MajorPentatonic, "minor blues": Blues,
}

// Scales returns all scales, MajorScale first.
func Scales() []Scale {
	ss := make([]Scale, len(scales))
	for i := range ss {
		ss[i] = Scale(i)
	}
	return ss
}

// String returns the name that ParseScale reads: "major", "natural minor",
// "dorian", "major pentatonic", …
func (s Scale) String() string {
	if s < 0 || int(s) >= len(scales) {
		return fmt.Sprintf("Scale(%d)", int8(s))
	}
	return scales[s].name
}

// ErrScale is wrapped by the error about a scale that could not be read.
var ErrScale = errors.New("not a scale")

// ParseScale reads the name of a scale: "dorian", "harmonic minor",
// "major-pentatonic"; also "ionian", "aeolian", "minor" and "pentatonic". Case
// does not matter.
func ParseScale(s string) (Scale, error) {
	name := strings.ToLower(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '-' || r == '_' }), " "))
	if sc, ok := scaleSynonyms[name]; ok {
		return sc, nil
	}
	var names []string
	for i, sc := range scales {
		if name == sc.name {
			return Scale(i), nil
		}
		names = append(names, sc.name)
	}
	return 0, fmt.Errorf("%w: %s; want one of: %s", ErrScale, quote(s), strings.Join(names, ", "))
}

// Mode returns the mode whose signature and names the scale goes by: Minor for
// the three minor scales, the minor pentatonic and the blues.
func (s Scale) Mode() Mode { return scales[s].mode }

// Rising returns the degrees from the tonic up to the last before the octave.
func (s Scale) Rising() []Degree { return s.read(scales[s].degrees) }

// Falling returns the degrees from the last before the octave down to the
// tonic. Only the melodic minor scale falls otherwise than it rises.
func (s Scale) Falling() []Degree {
	spec := scales[s].falling
	if spec == "" {
		spec = scales[s].degrees
	}
	ds := s.read(spec)
	slices.Reverse(ds)
	return ds
}

// read turns the steps of a row of scales into degrees.
func (s Scale) read(spec string) []Degree {
	own := Key{Mode: s.Mode()}.ScaleDegrees()
	var ds []Degree
	alter := 0
	for _, r := range spec {
		switch r {
		case '#':
			alter = 1
		case 'b':
			alter = -1
		default:
			d := own[r-'1']
			d.Alter += alter
			ds, alter = append(ds, d), 0
		}
	}
	return ds
}

// Contains reports whether d belongs to the scale, rising or falling.
func (s Scale) Contains(d Degree) bool {
	return slices.Contains(s.Rising(), d) || slices.Contains(s.Falling(), d)
}

// Key returns the key that spells and names the scale on this tonic.
func (s Scale) Key(tonic Note) Key { return Key{tonic, s.Mode()} }

// Notes spells the scale on any tonic, rising from the tonic.
func (s Scale) Notes(tonic Note) []Note { return s.spell(tonic, s.Rising()) }

// NotesFalling spells the scale on any tonic, falling to the tonic.
func (s Scale) NotesFalling(tonic Note) []Note { return s.spell(tonic, s.Falling()) }

func (s Scale) spell(tonic Note, ds []Degree) []Note {
	ns := make([]Note, len(ds))
	for i, d := range ds {
		ns[i] = s.Key(tonic).Note(d)
	}
	return ns
}
