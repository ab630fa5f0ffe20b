package takedown

import (
	"math"

	"singback/exercise/grade"
	"singback/theory"
)

// Note is one note of a line that was taken down.
type Note struct {
	Sound
	Degree theory.Degree // of the key
	Octave int           // 0: from the home that was sung up to the seventh above it
	Up     int           // semitones above the home
	Off    theory.Cents  // off that degree, the drift taken out
	Drift  theory.Cents  // how far the home had moved by then
	// Unclear tells why the note is not sure, in a word: see Unclear.
	Unclear Unclear
}

// Unclear is why a note is marked and not guessed.
type Unclear int8

// The reasons. A note is between where it lies about as near to the next semitone,
// unsteady where less than half of it lies at one pitch.
const (
	Clear Unclear = iota
	Between
	Unsteady
)

// String returns "", "between" or "unsteady".
func (u Unclear) String() string { return [...]string{"", "between", "unsteady"}[u] }

// What is unclear, in cents off the degree and in the share of the curve at the pitch
// of the note.
const (
	betweenCents = 43.0
	unsteadyPart = 0.45
)

// Taken is a line that was taken down.
type Taken struct {
	Key   theory.Key
	Home  Home
	Notes []Note
	// Played is that of the options.
	Played bool
	// Major and Minor are how well the notes fit a key of that mode on the home, as
	// correlations (see theory.FindKeys); both 0 where the mode was given.
	Major, Minor float64
}

// Drifted is how far the home has moved from the first note to the last, in cents, and
// the farthest from where it was sung.
func (t Taken) Drifted() (end, most theory.Cents) {
	for _, n := range t.Notes {
		if math.Abs(float64(n.Drift)) > math.Abs(float64(most)) {
			most = n.Drift
		}
		end = n.Drift
	}
	return end, most
}

// Options are how a take is read.
type Options struct {
	Home Home
	A4   float64      // Hz, of the piano that keys are named by
	Mode *theory.Mode // nil: found
	// Key names the home, whatever it is near to; nil: the nearest.
	Key *theory.Key
	// From is where the line begins, in seconds: what is sung before is no part of it.
	From float64
	// Played tells that it was played and not sung: nothing is mended.
	Played  bool
	Profile theory.Profile // for the mode
}

// Read takes down what was sung of a line.
func Read(p grade.Performance, o Options) (Taken, error) {
	var list []Sound
	for _, s := range sounds(p) {
		if s.Onset >= o.From {
			list = append(list, s)
		}
	}
	t := Taken{Home: o.Home, Played: o.Played}
	if len(list) == 0 {
		return t, ErrNoNotes
	}
	mode := theory.Major
	switch {
	case o.Key != nil:
		mode = o.Key.Mode
	case o.Mode != nil:
		mode = *o.Mode
	default:
		mode = t.mode(list, o.Profile)
	}
	t.Key = o.Home.Key(o.A4, mode)
	if o.Key != nil {
		t.Key = *o.Key
	}
	scale := own(mode)
	path := drift(list, o.Home.Cents, func(k int) float64 {
		if scale[((k%12)+12)%12] {
			return 0
		}
		return chromatic
	}, homeScatter)
	var ups []int
	for i, s := range list {
		up := s.Cents - o.Home.Cents - path[i]
		k := int(math.Round(up / 100))
		n := Note{Sound: s, Up: k, Off: theory.Cents(up - 100*float64(k)), Drift: theory.Cents(path[i])}
		switch {
		case s.Near < unsteadyPart:
			n.Unclear = Unsteady
		case math.Abs(float64(n.Off)) > betweenCents:
			n.Unclear = Between
		}
		t.Notes = append(t.Notes, n)
		ups = append(ups, k)
	}
	t.octaves()
	for i := range t.Notes {
		ups[i] = t.Notes[i].Up
	}
	for i, d := range t.Key.SpellLine(ups) {
		t.Notes[i].Degree = d
		t.Notes[i].Octave = octaveOf(ups[i], d)
	}
	return t, nil
}

// octaveOf is the octave above the home of a degree so many semitones above it.
func octaveOf(up int, d theory.Degree) int {
	o := up - d.Interval().Semitones
	return int(math.Floor(float64(o)/12 + 0.5))
}

// clearlyMinor is how much better a line must fit minor to be taken for it: a bass of do,
// fa, sol and te fits both. Tried on every second hymn and chart song; of the others it
// has 45 of 45 and 149 of 166 right, but of 26 songs in minor only 16.
const clearlyMinor = 0.1

// Doubtful tells whether the notes hardly say if they are major or minor, where
// that was found.
func (t Taken) Doubtful() bool {
	return (t.Major != 0 || t.Minor != 0) && math.Abs(t.Minor-t.Major-clearlyMinor) < clearlyMinor
}

// mode finds whether the notes are rather major or minor on the home.
func (t *Taken) mode(list []Sound, profile theory.Profile) theory.Mode {
	path := drift(list, t.Home.Cents, func(int) float64 { return 0 }, homeScatter)
	var histogram [12]float64
	for i, s := range list {
		k := int(math.Round((s.Cents - t.Home.Cents - path[i]) / 100))
		histogram[((k%12)+12)%12] += s.length()
	}
	scores, err := theory.FindKeys(histogram, profile)
	if err != nil {
		return theory.Major
	}
	for _, s := range scores {
		if s.Key.Tonic.PitchClass() == 0 {
			if s.Key.Mode == theory.Major {
				t.Major = s.Score
			} else {
				t.Minor = s.Score
			}
		}
	}
	if t.Minor > t.Major+clearlyMinor {
		return theory.Minor
	}
	return theory.Major
}

// farLeap is a leap in semitones that no line makes there and back; an octave nearer
// is what was meant.
const farLeap = 14

// octaves undoes single notes that are heard an octave off.
func (t *Taken) octaves() {
	for i := 1; i+1 < len(t.Notes); i++ {
		n := &t.Notes[i]
		before, after := n.Up-t.Notes[i-1].Up, n.Up-t.Notes[i+1].Up
		switch {
		case before > farLeap && after > farLeap:
			n.Up -= 12
		case before < -farLeap && after < -farLeap:
			n.Up += 12
		}
	}
}
