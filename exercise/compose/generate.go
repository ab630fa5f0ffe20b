package compose

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"singback/exercise"
	"singback/theory"
)

// Levels is the number of levels of generated melodies, 1 … Levels.
const Levels = 7

// MelodyOrder tells which melodies to make.
type MelodyOrder struct {
	Level int          // 1 … Levels
	Key   *theory.Key  // one of the 30 keys; nil draws one that the level allows
	Range theory.Range // every note lies in it; the zero Range: around the tonic nearest to middle C
	Count int          // 1 … MaxCount
	Seed  uint64
	Not   []theory.Score // melodies that are not to come again, in whatever key: the last ones sung
}

// SightMelody is a generated line to be sung at sight.
type SightMelody struct {
	Score theory.Score
	Level int
	Skill string // the one difficulty that is new at this level; "" for none
	// Seed makes the melody again: the same order with this Seed, a Count of 1
	// and no Not; at level 1, where a series has one key, with the Key of the
	// Score.
	Seed uint64
	// In and Into say of a phrase that was cut from a line in which meter, and so many
	// quarter notes into a bar of it, it began; no meter where the line has none.
	In   theory.Meter
	Into theory.Fraction
}

// NewMelodies makes melodies of a level of the sight-singing ladder: see
// LevelSkills. Each has at most one difficulty that the level below does not have.
// They start on do, mi or sol and end on do, reached from re, ti or sol; a leap
// of more than a third is followed by a step back; altered notes are reached and
// left by step (at level 7 they may be reached by leap) and go on in the
// direction in which they are altered; ti goes to do, or passes down from do to
// la, and fi goes to sol. In minor three notes or more lie between raised and lowered 6
// or 7. No melody of a series is met twice.
//
// They have two phrases, question and answer: a half cadence in the middle (not where
// the key changes there), motifs that return, and one climax.
//
// Intervals and degrees are drawn by their shares in popular song: see
// intervalShare. The same order gives the same melodies.
func NewMelodies(o MelodyOrder) ([]SightMelody, error) {
	if o.Level < 1 || o.Level > Levels {
		return nil, fmt.Errorf("there is no level %d: want 1 to %d", o.Level, Levels)
	}
	if o.Count < 1 || o.Count > exercise.MaxCount {
		return nil, fmt.Errorf("a series of %d melodies is not possible: want 1 to %d", o.Count, exercise.MaxCount)
	}
	if o.Key != nil && (!o.Key.Valid() || o.Key.Mode > theory.Minor) {
		return nil, fmt.Errorf("no melodies are made in %s: want one of the 30 major and minor keys", o.Key.ASCII())
	}
	if r := o.Range; r != (theory.Range{}) && (r.Low < 0 || r.High > 127 || r.Low > r.High) {
		return nil, fmt.Errorf("a range from %d to %d is no range of pitches: want MIDI numbers 0 to 127, the lower first", r.Low, r.High)
	}
	if o.Level == 1 && o.Key == nil { // one key for the whole series
		keys := levelKeys(1)
		rand.New(rand.NewPCG(o.Seed, 1)).Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
		for _, k := range keys {
			o.Key = &k
			if _, err := newMelody(o, o.Seed); err == nil {
				break
			}
		}
	}
	seen := map[string]bool{}
	for _, s := range o.Not {
		seen[fingerprint(s)] = true
	}
	var out []SightMelody
	for seed, again := o.Seed, 0; len(out) < o.Count; seed++ {
		m, err := newMelody(o, seed)
		if err != nil {
			return nil, err
		}
		f := fingerprint(m.Score)
		if !seen[f] {
			seen[f], again = true, 0
			out = append(out, m)
		} else if again++; again > 1000 {
			return nil, fmt.Errorf("level %d has fewer than %d melodies in this key and range that differ: ask for at most %d", o.Level, o.Count, len(out))
		}
	}
	return out, nil
}

// fingerprint is the same for the same melody in any key.
func fingerprint(s theory.Score) string {
	var b strings.Builder
	fmt.Fprint(&b, s.Meter, s.Key.Mode, s.Start)
	for _, c := range s.Changes {
		up := theory.Pitch{Note: s.Key.Tonic}.IntervalTo(theory.Pitch{Note: c.Key.Tonic})
		fmt.Fprint(&b, c.At, c.Meter, c.Key.Mode, up.Semitones%12)
	}
	var first *theory.Pitch
	for _, n := range s.Notes {
		if n.Rest {
			fmt.Fprint(&b, " r", n.Length)
			continue
		}
		if first == nil {
			first = &n.Pitch
			fmt.Fprint(&b, s.Key.Degree(n.Pitch.Note))
		}
		fmt.Fprint(&b, " ", first.IntervalTo(n.Pitch).Semitones, n.Length)
	}
	return b.String()
}

// skill is a difficulty of reading.
type skill uint64

const (
	skillSol skill = 1 << iota
	skillDoMi
	skillTwoFour
	skillFaLa
	skillTriad
	skillWhole
	skillEighths
	skillThreeFour
	skillBelow
	skillAbove
	skillRests
	skillDots
	skillThirds
	skillNinth
	skillSixEight
	skillPickup
	skillMinor
	skillSixths
	skillTenth
	skillTies
	skillSyncopation
	skillAltered
	skillOctaves
	skillSixteenths
	skillChromaticLeaps
	skillAnyLeap
	skillTwelfth
	skillModulation
	skillTriplets
	skillMeterChange
)

// ladder holds what is new at each level, with its name. It is built on the
// published criteria of a state choral contest (UIL) for the lowest and the
// highest level; the steps between are common practice.
var ladder = [Levels + 1][]struct {
	skill
	name string
}{
	1: {{0, ""}, {skillSol, "mi-sol"}, {skillDoMi, "do-mi"}, {skillTwoFour, "2/4"}},
	2: {{skillFaLa, "fa and la"}, {skillTriad, "leaps in the tonic triad"}, {skillWhole, "whole notes"}, {skillEighths, "eighths"}, {skillThreeFour, "3/4"}},
	3: {{skillBelow, "low sol and ti"}, {skillAbove, "ti and high do"}, {skillRests, "rests"}, {skillDots, "dotted notes"}},
	4: {{skillThirds, "thirds of V and IV"}, {skillNinth, "a ninth, below do and above"}, {skillSixEight, "6/8"}, {skillPickup, "a pickup"}},
	5: {{skillMinor, "minor"}, {skillSixths, "leaps up to a sixth"}, {skillTenth, "a tenth"}, {skillTies, "ties"}, {skillSyncopation, "syncopation"}},
	6: {{skillAltered, "altered notes by step"}, {skillOctaves, "leaps up to an octave"}, {skillSixteenths, "sixteenths"}},
	7: {{skillChromaticLeaps, "leaps to altered notes"}, {skillAnyLeap, "tritones and sevenths"}, {skillTwelfth, "a twelfth"},
		{skillModulation, "modulation"}, {skillTriplets, "triplets"}, {skillMeterChange, "a change of meter"}},
}

// LevelSkills returns what a level, 1 to Levels, has beyond the one below, each by
// the name that SightMelody.Skill has.
func LevelSkills(level int) []string {
	var names []string
	for _, s := range ladder[level] {
		if s.name != "" {
			names = append(names, s.name)
		}
	}
	return names
}

// signatures holds the most sharps or flats of a key that is drawn.
var signatures = [Levels + 1]int{1: 7, 2: 1, 3: 2, 4: 3, 5: 4, 6: 5, 7: 7}

// levelKeys returns the keys that a level draws from: major ones, and minor ones
// from level 5 on. Level 1 has the twelve usual major ones.
func levelKeys(level int) []theory.Key {
	if level == 1 {
		twelve := theory.TwelveKeys(theory.Major)
		return twelve[:]
	}
	var keys []theory.Key
	for _, k := range theory.Keys() {
		if n := k.Signature(); max(n, -n) <= signatures[level] && (k.Mode == theory.Major || level >= 5) {
			keys = append(keys, k)
		}
	}
	return keys
}

// tries is how often a line is begun anew before something else is tried.
const tries = 400

// newMelody makes one melody from its own seed. o has been checked.
func newMelody(o MelodyOrder, seed uint64) (SightMelody, error) {
	rng := rand.New(rand.NewPCG(seed*0x9e3779b97f4a7c15, 0x6d656c6f6479))
	var have skill
	for level := 1; level < o.Level; level++ {
		for _, s := range ladder[level] {
			have |= s.skill
		}
	}
	keys, drawn := levelKeys(o.Level), o.Key == nil
	if !drawn {
		keys = []theory.Key{*o.Key}
	}
	news := slices.Clone(ladder[o.Level])
	rng.Shuffle(len(news), func(i, j int) { news[i], news[j] = news[j], news[i] })
	rng.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
	for _, fresh := range news {
		for _, k := range keys {
			switch {
			// A minor key is a difficulty of level 5 unless it was asked for.
			case drawn && k.Mode == theory.Minor && o.Level == 5 && fresh.skill != skillMinor,
				fresh.skill == skillMinor && k.Mode != theory.Minor:
				continue
			}
			c := composer{rng: rng, key: k, have: have | fresh.skill, fresh: fresh.skill, level: o.Level, compass: o.Range}
			for _, tonic := range c.tonics() {
				c.tonic = tonic
				if s, ok := c.compose(); ok {
					s.Title = fmt.Sprintf("Level %d, %d", o.Level, seed)
					return SightMelody{Score: s, Level: o.Level, Skill: fresh.name, Seed: seed}, nil
				}
			}
		}
	}
	in := ""
	if o.Key != nil {
		in = " in " + o.Key.ASCII()
	}
	return SightMelody{}, fmt.Errorf("no melody of level %d%s lies within %s to %s: want a wider range or another key",
		o.Level, in, pitchName(o.Range.Low), pitchName(o.Range.High))
}

// pitchName spells a MIDI number.
func pitchName(midi int) string {
	c := theory.Key{}
	d, _ := c.Nearest(float64(100 * (midi % 12)))
	return c.Pitch(d, midi/12-1).ASCII()
}
