package theory

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Mode tells which notes of a signature a key is built on: the major scale
// begun on another of its degrees.
type Mode int8

// The modes: the two of the 30 keys, and the other church modes.
const (
	Major Mode = iota // ionian
	Minor             // aeolian
	Dorian
	Phrygian
	Lydian
	Mixolydian
	Locrian
)

// modes holds the name of each mode and the degree of the major scale with the
// same signature that is its tonic.
var modes = [...]struct {
	name string
	home int
}{
	Major: {"major", 1}, Minor: {"minor", 6}, Dorian: {"dorian", 2}, Phrygian: {"phrygian", 3},
	Lydian: {"lydian", 4}, Mixolydian: {"mixolydian", 5}, Locrian: {"locrian", 7},
}

// String returns the name in lower case: "major", "minor", "dorian", …
func (m Mode) String() string {
	if m < 0 || int(m) >= len(modes) {
		return fmt.Sprintf("Mode(%d)", int8(m))
	}
	return modes[m].name
}

// aboveRelative is the interval from the tonic of the major key with the same
// signature up to the tonic of m: a major sixth for minor.
func (m Mode) aboveRelative() Interval { return Degree{Step: modes[m].home}.Interval() }

// relative returns the major key with the same signature.
func (k Key) relative() Key {
	i := k.Mode.aboveRelative()
	return Key{Tonic: k.Tonic.Up(Interval{-i.Steps, -i.Semitones})}
}

// Key is a tonic and a mode. The zero Key is C major. The keys that [Keys]
// lists and [ParseKey] reads are the 30 major and minor ones with at most seven
// sharps or flats; the church modes are keys too for spelling and naming.
type Key struct {
	Tonic Note
	Mode  Mode
}

// fifths holds how many fifths each natural letter lies above C.
var fifths = [7]int{0, 2, 4, -1, 1, 3, 5}

// Signature returns the key signature as a count of sharps, or of flats as a
// negative number.
func (k Key) Signature() int {
	return fifths[k.Tonic.Letter] + 7*int(k.Tonic.Alter) - fifths[modes[k.Mode].home-1]
}

// Valid reports whether k has at most seven sharps or flats.
func (k Key) Valid() bool {
	s := k.Signature()
	return s >= -7 && s <= 7
}

// Keys returns the 30 keys: for each signature from seven flats to seven
// sharps the major key and its relative minor.
func Keys() []Key {
	ks := make([]Key, 0, 30)
	for s := -7; s <= 7; s++ {
		// The tonic lies s fifths above C, the relative minor's a sixth higher.
		tonic := Note{Letter: C}
		up := Interval{4, 7}
		if s < 0 {
			up = Interval{-4, -7}
		}
		for range max(s, -s) {
			tonic = tonic.Up(up)
		}
		ks = append(ks, Key{tonic, Major}, Key{tonic.Up(Interval{5, 9}), Minor})
	}
	return ks
}

// String names the key with musical signs: "A♭ major", "F♯ minor".
func (k Key) String() string { return k.Tonic.String() + " " + k.Mode.String() }

// ASCII names the key with letters only: "Ab major", "F# minor".
func (k Key) ASCII() string { return k.Tonic.ASCII() + " " + k.Mode.String() }

// Scale returns the seven notes of the major scale, the natural minor scale or
// the church mode, from the tonic up.
func (k Key) Scale() [7]Note {
	var s [7]Note
	for i, d := range k.ScaleDegrees() {
		s[i] = k.Note(d)
	}
	return s
}

// Note spells the degree d in this key: the letter follows from the step, so
// an altered degree keeps its letter and changes the accidental.
func (k Key) Note(d Degree) Note { return k.Tonic.Up(d.Interval()) }

// Degree returns the degree that n is in this key, the inverse of [Key.Note]:
// the step follows from the letter, so D♯ in C major is ♯2 and E♭ is ♭3.
func (k Key) Degree(n Note) Degree {
	return degreeAt(Pitch{Note: k.Tonic}.IntervalTo(Pitch{Note: n}))
}

// Pitch returns the pitch of d in the octave that starts at the tonic of
// tonicOctave. The octave number turns over at C, not at the tonic: in A♭
// major from A♭3, ♭3 is C♭4. Lowered firsts lie below the tonic and raised
// sevenths may reach the next one: the spelling decides.
func (k Key) Pitch(d Degree, tonicOctave int) Pitch {
	return Pitch{k.Tonic, tonicOctave}.Up(d.Interval())
}

// nearest spells each semitone above the tonic for a note that was heard and
// not read: the falling chromatic scale, with ♯4 for ♭5, which is the usual
// choice even in a falling line (Open Music Theory). It holds every degree of
// the major and of the natural, harmonic and melodic minor scale.
var nearest = [12]Degree{{1, 0}, {2, -1}, {2, 0}, {3, -1}, {3, 0}, {4, 0}, {4, 1}, {5, 0}, {6, -1}, {6, 0}, {7, -1}, {7, 0}}

// Nearest returns the degree that lies nearest to c cents above the tonic, in
// whatever octave, and the cents that remain, in (−50, 50]: positive is sharp.
// Degrees are equal-tempered; c must be finite. Pitch alone cannot tell di
// from ra, so the spelling is always 1 ♭2 2 ♭3 3 4 ♯4 5 ♭6 6 ♭7 7.
func (k Key) Nearest(c Cents) (Degree, Cents) {
	c = math.Mod(c, 1200)
	semitone := math.Round(c / 100)
	rest := c - 100*semitone
	if rest <= -50 {
		semitone, rest = semitone-1, rest+100
	}
	return nearest[mod(int(semitone), 12)], rest
}

// ErrKey is wrapped by every error about a key that could not be read.
var ErrKey = errors.New("not a key")

// ParseKey reads one of the 30 keys: "Ab major", "A♭", "f#m", "F# minor",
// "c-sharp minor", "Bb maj". A bare letter is major; a trailing m is minor.
// Case does not matter, except that a trailing M is major.
func ParseKey(s string) (Key, error) { return parseKey(s, majorMinor, "") }

// ParseModalKey reads a key as ParseKey does, and the church modes: "D dorian",
// "F# lydian", "Bb mixolydian".
func ParseModalKey(s string) (Key, error) {
	return parseKey(s, allModes, ", or a mode, like \"D dorian\"")
}

func parseKey(s string, suffixes []modeSuffix, more string) (Key, error) {
	tonic, mode := cutMode(strings.TrimSpace(s), suffixes)
	n, err := ParseNote(tonic)
	if err != nil {
		return Key{}, fmt.Errorf("%w: %s; want a tonic A to G with # or b, then major or minor, like \"Ab major\" or f#m%s",
			ErrKey, quote(s), more)
	}
	k := Key{n, mode}
	if !k.Valid() {
		count, kind := k.Signature(), "sharps"
		if count < 0 {
			count, kind = -count, "flats"
		}
		return Key{}, fmt.Errorf("%w: %s would have %d %s and a key has at most 7; want %s",
			ErrKey, quote(s), count, kind, k.respelled().ASCII())
	}
	return k, nil
}

// modeSuffix is a word behind a tonic that names the mode.
type modeSuffix struct {
	text string
	mode Mode
}

var (
	majorMinor = []modeSuffix{{"major", Major}, {"minor", Minor}, {"maj", Major}, {"min", Minor}}
	allModes   = func() []modeSuffix {
		list := slices.Clone(majorMinor)
		for m := Locrian; m >= Dorian; m-- { // mixolydian before lydian, which it ends with
			list = append(list, modeSuffix{m.String(), m})
		}
		return list
	}()
)

// cutMode splits the name of a key into tonic and mode.
func cutMode(s string, suffixes []modeSuffix) (tonic string, mode Mode) {
	for _, suffix := range suffixes {
		if i := len(s) - len(suffix.text); i >= 0 && strings.EqualFold(s[i:], suffix.text) {
			return strings.TrimRight(s[:i], " -"), suffix.mode
		}
	}
	if t, ok := strings.CutSuffix(s, "m"); ok {
		return strings.TrimRight(t, " "), Minor
	}
	return strings.TrimRight(strings.TrimSuffix(s, "M"), " "), Major
}

// WithMode returns the key of another mode with the same signature.
func (k Key) WithMode(m Mode) Key {
	return Key{k.relative().Tonic.Up(m.aboveRelative()), m}
}

// respelled returns the key on the same piano key as k that has the fewest
// accidentals; flats where two tie (F♯ and G♭ major, D♯ and E♭ minor).
func (k Key) respelled() Key {
	// A church mode goes by the major key with its signature.
	if k.Mode > Minor {
		return k.relative().respelled().WithMode(k.Mode)
	}
	var best Key
	found := false
	for _, c := range Keys() {
		if c.Mode != k.Mode || c.Tonic.PitchClass() != k.Tonic.PitchClass() {
			continue
		}
		if !found || abs(c.Signature()) < abs(best.Signature()) {
			best, found = c, true
		}
	}
	return best
}
