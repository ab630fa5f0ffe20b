package theory

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// Profile says how much of a melody each semitone above the tonic takes up, in
// major and in minor. Only the shape matters, not the scale.
type Profile struct {
	Name         string // what it was made from: our own label
	Source       string // who published it, and where
	Major, Minor [12]float64
}

// profiles holds the published ones, the default first. The weights of the last
// three are as the library music21 gives them.
var profiles = []Profile{
	{"textbook", "examples of a harmony textbook (Kostka and Payne), counted by D. Temperley, Music and Probability, 2007",
		[12]float64{.748, .060, .488, .082, .670, .460, .096, .715, .104, .366, .057, .400},
		[12]float64{.712, .084, .474, .618, .049, .460, .105, .747, .404, .067, .133, .330}},
	{"by-hand", "set by hand: D. Temperley, Music Perception 17:65, 1999",
		[12]float64{5, 2, 3.5, 2, 4.5, 4, 2, 4.5, 2, 3.5, 1.5, 4},
		[12]float64{5, 2, 3.5, 4.5, 2, 4, 2, 4.5, 3.5, 2, 1.5, 4}},
	{"listeners", "how well listeners found a note to fit: C. Krumhansl and E. Kessler, Psychological Review 89:334, 1982",
		[12]float64{6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88},
		[12]float64{6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17}},
	{"concert-works", "works of concert music: J. Albrecht and D. Shanahan, Music Perception 31:59, 2013",
		[12]float64{.238, .006, .111, .006, .137, .094, .016, .214, .009, .080, .008, .081},
		[12]float64{.220, .006, .104, .123, .019, .103, .012, .214, .062, .022, .061, .052}},
	{"folk-songs", "folk songs of the Essen collection: B. Aarden, Dynamic Melodic Expectancy, 2003",
		[12]float64{17.7661, .145624, 14.9265, .160186, 19.8049, 11.3587, .291248, 22.062, .145624, 8.15494, .232998, 4.95122},
		[12]float64{18.2648, .737619, 14.0499, 16.8599, .702494, 14.4362, .702494, 18.6161, 4.56621, 1.93186, 7.37619, 1.75623}},
	{"chord-counts", "chords counted by H. Budge, A Study of Chord Frequencies, 1943: H. Bellman, 2005",
		[12]float64{16.8, .86, 12.95, 1.41, 13.49, 11.93, 1.25, 20.28, 1.8, 8.04, .62, 10.57},
		[12]float64{18.16, .69, 12.99, 13.34, 1.07, 11.15, 1.38, 21.07, 7.49, 1.53, .92, 10.21}},
	{"scale", "the scale, its tonic and fifth twice: weights of C. Sapp",
		[12]float64{2, 0, 1, 0, 1, 1, 0, 2, 0, 1, 0, 1},
		[12]float64{2, 0, 1, 1, 0, 1, 0, 2, 1, 0, .5, .5}},
}

// Profiles returns the published profiles, the default first.
func Profiles() []Profile { return slices.Clone(profiles) }

// ErrProfile is wrapped by the error about a profile that is not known.
var ErrProfile = errors.New("not a key profile")

// oldProfiles are the names that profiles had before, by author.
var oldProfiles = map[string]string{
	"kostka-payne": "textbook", "temperley": "by-hand", "krumhansl-kessler": "listeners", "albrecht-shanahan": "concert-works",
	"aarden-essen": "folk-songs", "bellman-budge": "chord-counts", "simple": "scale",
}

// ParseProfile returns the profile of that name, or of the name it had before.
// Case does not matter.
func ParseProfile(s string) (Profile, error) {
	name := strings.ToLower(strings.TrimSpace(s))
	if now, ok := oldProfiles[name]; ok {
		name = now
	}
	var names []string
	for _, p := range profiles {
		if name == p.Name {
			return p, nil
		}
		names = append(names, p.Name)
	}
	return Profile{}, fmt.Errorf("%w: %s; want one of %s", ErrProfile, quote(s), strings.Join(names, " "))
}

// KeyScore is a key that a melody may be in.
type KeyScore struct {
	Key   Key     // spelled with the fewest sharps or flats
	Score float64 // correlation with the profile, −1 … 1
}

// ErrNoKey is returned where no key can be told from another: there are no
// notes, or all twelve sound equally long.
var ErrNoKey = errors.New("no key can be told: want notes of unequal share")

// FindKeys returns the 24 keys, the best first, by how the histogram of pitch
// classes (index 0 is C; durations in any unit, none negative) correlates with
// the profile turned to each tonic (Krumhansl and Schmuckler's method: Pearson's
// r). Of equal scores the major key and the lower tonic come first. It proposes:
// a fifth away or the relative key is often as good, so ask.
func FindKeys(histogram [12]float64, p Profile) ([]KeyScore, error) {
	scores := make([]KeyScore, 0, 24)
	for mode, weights := range [...]*[12]float64{Major: &p.Major, Minor: &p.Minor} {
		for tonic := range 12 {
			var turned [12]float64
			for i, w := range weights {
				turned[(tonic+i)%12] = w
			}
			r, ok := correlation(histogram, turned)
			if !ok {
				return nil, ErrNoKey
			}
			scores = append(scores, KeyScore{keyOn(tonic, Mode(mode)), r})
		}
	}
	compare := func(a, b KeyScore) int {
		switch {
		case math.Abs(a.Score-b.Score) < 1e-12: // equal but for rounding
			return 0
		case a.Score > b.Score:
			return -1
		}
		return 1
	}
	sort.SliceStable(scores, func(i, j int) bool { return compare(scores[i], scores[j]) < 0 })
	return scores, nil
}

// keyOn returns the key on a pitch class that has the fewest accidentals.
func keyOn(pitchClass int, m Mode) Key {
	n := Pitch{Note: Note{Letter: C}}.Up(nearest[pitchClass].Interval()).Note
	return Key{n, m}.respelled()
}

// TwelveKeys returns a key of the mode for each piano key from C up, spelled
// with the fewest sharps or flats; flats where two tie.
func TwelveKeys(m Mode) [12]Key {
	var ks [12]Key
	for i := range ks {
		ks[i] = keyOn(i, m)
	}
	return ks
}

// correlation returns Pearson's r; ok is false where either has no variance or
// is not finite.
func correlation(a, b [12]float64) (r float64, ok bool) {
	var meanA, meanB float64
	for i := range a {
		meanA, meanB = meanA+a[i]/12, meanB+b[i]/12
	}
	var ab, aa, bb, size float64
	for i := range a {
		x, y := a[i]-meanA, b[i]-meanB
		ab, aa, bb = ab+x*y, aa+x*x, bb+y*y
		size += a[i] * a[i]
	}
	r = ab / math.Sqrt(aa*bb)
	// A flat histogram leaves rounding errors, not exactly nothing.
	return r, aa > 1e-18*size && bb > 0 && !math.IsNaN(r) && !math.IsInf(r, 0)
}

// Histogram returns how long each pitch class sounds in the melody, in pulses.
func (m Melody) Histogram() [12]float64 {
	var h [12]float64
	_ = m.keys(func(i int, k Key, _ Pitch) error {
		if t := m.Tones[i]; !t.Rest {
			h[k.Note(t.Degree).PitchClass()] += t.Length.Float()
		}
		return nil
	})
	return h
}

// Histogram returns how long each pitch class sounds in the line, in quarter
// notes, and how many notes there are.
func (s Score) Histogram() (h [12]float64, notes int) {
	for _, n := range s.Notes {
		if !n.Rest {
			h[n.Pitch.PitchClass()] += n.Length.Float()
			notes++
		}
	}
	return h, notes
}

// Offset returns how far, in cents, −50 … 50, the notes lie as a whole from the
// semitones of equal temperament, and how well they agree about it, 0 … 1: the
// direction and length of the mean of unit vectors, a semitone to the turn, each
// weighted by its duration. cents are counted from any note of that scale. With
// nothing to go by it returns 0, 0.
func Offset(cents []Cents, durations []float64) (offset Cents, agreement float64) {
	var x, y, all float64
	for i, c := range cents {
		sin, cos := math.Sincos(2 * math.Pi * c / 100)
		x, y, all = x+durations[i]*cos, y+durations[i]*sin, all+durations[i]
	}
	if !(all > 0) {
		return 0, 0
	}
	return math.Atan2(y, x) * 100 / (2 * math.Pi), math.Hypot(x, y) / all
}
