package synth

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"singback/theory"
)

// KeySetting is a way of setting a key in the singer's ear.
type KeySetting int8

// The ways of setting a key. Only the first two sound both fa and ti, and so
// leave no doubt (common practice).
const (
	ByCadence KeySetting = iota
	ByScale
	ByTonic
	ByDrone
)

var keySettingNames = [...]string{"cadence", "scale", "tonic", "drone"}

// KeySettingNames returns the names that ParseKeySetting reads.
func KeySettingNames() []string { return slices.Clone(keySettingNames[:]) }

// String returns the name: "cadence", "scale", "tonic" or "drone".
func (s KeySetting) String() string {
	if s < 0 || int(s) >= len(keySettingNames) {
		return fmt.Sprintf("KeySetting(%d)", int8(s))
	}
	return keySettingNames[s]
}

// ErrKeySetting is wrapped by the error about a way of setting the key that
// could not be read.
var ErrKeySetting = errors.New("not a way to set the key")

// ParseKeySetting reads a name as String writes it, in any case.
func ParseKeySetting(name string) (KeySetting, error) {
	i := slices.Index(keySettingNames[:], strings.ToLower(strings.TrimSpace(name)))
	if i < 0 {
		return 0, fmt.Errorf("%w: %q; want %s", ErrKeySetting, name, strings.Join(keySettingNames[:], ", "))
	}
	return KeySetting(i), nil
}

// Phrase writes the phrase that sets k in this way. The octave is that of the
// tonic that the singer is to take as home. Every note sounds where t has its
// degree. In just intonation so do the chords: I, IV and V7 of the cadence are
// pure, ti too; none of them holds a re. The scale sounds the re of t: 9/8 is
// pure with sol, the V chord, and a comma wide of la; 10/9 is pure with la, the
// ii chord.
func (s KeySetting) Phrase(k theory.Key, t theory.Tuning, tonicOctave int) Phrase {
	switch s {
	case ByScale:
		return Scale(k, t, tonicOctave)
	case ByTonic:
		return Tonic(k, t, tonicOctave)
	case ByDrone:
		return Drone(k, t, tonicOctave)
	default:
		return Cadence(k, t, tonicOctave)
	}
}

// The length of notes in key-setting phrases, in seconds. The pace is that of
// 72 beats a minute, in the middle of what is usual in sight-singing (common practice).
const (
	beat        = 60.0 / 72
	scaleNote   = beat / 2
	lastChord   = 2 * beat
	tonicLength = 2 * beat
	droneLength = 4 * beat
	oneLength   = 1.2 // long enough to hear a pitch inwardly (common practice)
)

// lowestMIDI and highestMIDI bound the register of what is played, C2 to C6:
// below, small loudspeakers have nothing; above, no voice follows.
const (
	lowestMIDI  = 36
	highestMIDI = 84
)

// cadence holds the voicing of I–IV–V7–I in degrees of the major scale, from
// the bass up, each with its octave above the bass tonic: the usual close
// position with the shortest way between chords, where V7 doubles its root and
// drops its fifth, so that ti rises to do and the seventh falls.
var cadence = [4][4]struct{ step, octave int }{
	{{1, 0}, {1, 1}, {3, 1}, {5, 1}},
	{{4, 0}, {1, 1}, {4, 1}, {6, 1}},
	{{5, 0}, {7, 0}, {4, 1}, {5, 1}},
	{{1, 0}, {1, 1}, {3, 1}, {5, 1}},
}

// CadencePitches returns the four chords of I–IV–V7–I, or i–iv–V7–i in minor,
// each from bass to soprano, spelled in the key. The bass tonic lies in the
// octave below tonicOctave, or as many octaves away from there as it takes to
// keep all notes within C2 … C6.
func CadencePitches(k theory.Key, tonicOctave int) [4][4]theory.Pitch {
	scale := k.ScaleDegrees()
	scale[6].Alter = 0 // the leading tone, raised in minor
	bass := theory.Pitch{Note: k.Tonic, Octave: tonicOctave - 1}
	bass.Octave += octavesToFit(bass.MIDI(), 21)
	var chords [4][4]theory.Pitch
	for i, chord := range cadence {
		for j, v := range chord {
			p := bass.Up(scale[v.step-1].Interval())
			p.Octave += v.octave
			chords[i][j] = p
		}
	}
	return chords
}

// octavesToFit returns how many octaves a phrase must move so that its lowest
// note and the one span semitones above lie within the register played.
func octavesToFit(lowest, span int) int {
	n := 0
	for lowest+12*n+span > highestMIDI {
		n--
	}
	for lowest+12*n < lowestMIDI {
		n++
	}
	return n
}

// Cadence plays the chords of CadencePitches, the last one longest.
func Cadence(k theory.Key, t theory.Tuning, tonicOctave int) Phrase {
	var voices []theory.Voicing
	for _, chord := range CadencePitches(k, tonicOctave) {
		voices = append(voices, chord)
	}
	return Progression(k, t, voices)
}

// tonicPitch returns the tonic in the octave asked for, moved by octaves so
// that the octave above it stays within the register played.
func tonicPitch(k theory.Key, octave int) theory.Pitch {
	p := theory.Pitch{Note: k.Tonic, Octave: octave}
	p.Octave += octavesToFit(p.MIDI(), 12)
	return p
}

// ScalePitches returns the scale up to the octave and down again, spelled in
// the key. In minor it goes up melodic and down natural, as scales are
// practised (common practice): so la and ti are heard on the way up, te and le
// on the way down, and no augmented second has to be followed.
func ScalePitches(k theory.Key, tonicOctave int) [15]theory.Pitch {
	tonic := tonicPitch(k, tonicOctave)
	up, down := k.ScaleDegrees(), k.ScaleDegrees()
	if k.Mode == theory.Minor {
		up[5].Alter, up[6].Alter = 0, 0
	}
	var ps [15]theory.Pitch
	for i := range 7 {
		ps[i] = tonic.Up(up[i].Interval())
		ps[14-i] = tonic.Up(down[i].Interval())
	}
	ps[7] = theory.Pitch{Note: tonic.Note, Octave: tonic.Octave + 1}
	return ps
}

// Scale plays the notes of ScalePitches, the last one longest.
func Scale(k theory.Key, t theory.Tuning, tonicOctave int) Phrase {
	var p Phrase
	pitches := ScalePitches(k, tonicOctave)
	for i, q := range pitches {
		length := scaleNote
		if i == len(pitches)-1 {
			length = 2 * beat
		}
		p = append(p, Sound{Hz: t.HzIn(k, q), Start: float64(i) * scaleNote, Duration: length})
	}
	return p
}

// Tonic plays the tonic alone.
func Tonic(k theory.Key, t theory.Tuning, tonicOctave int) Phrase {
	return Phrase{{Hz: t.Hz(tonicPitch(k, tonicOctave)), Duration: tonicLength}}
}

// Drone holds do and the sol above it as an organ would. It ends before the
// prompt, so that none of it sounds while the singer is heard.
func Drone(k theory.Key, t theory.Tuning, tonicOctave int) Phrase {
	do := tonicPitch(k, tonicOctave)
	sol := do.Up(theory.Interval{Steps: 4, Semitones: 7})
	return Phrase{
		{Hz: t.Hz(do), Duration: droneLength, Steady: true},
		{Hz: t.HzIn(k, sol), Duration: droneLength, Steady: true},
	}
}

// One plays a single note: the degree to start from, or the answer.
func One(hz float64) Phrase { return Phrase{{Hz: hz, Duration: oneLength}} }
