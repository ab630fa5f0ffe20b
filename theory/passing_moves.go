package theory

import (
	"slices"
	"strings"
)

// goalKey is the key whose tonic is the goal, if a dominant can point at it.
func (b between) goalKey() (Key, bool) {
	minor, ok := b.to.goal()
	k := Key{Tonic: b.to.Root}
	if minor {
		k.Mode = Minor
	}
	return k, ok
}

// into reads ways of numerals that are counted in the key of the goal, of which the
// first are those before a major goal and the second those before a minor one. There
// is none where the goal is no triad in root position. Chords that the key has itself
// are counted in it.
func (b between) into(major, minor []string) []insertion {
	k, ok := b.goalKey()
	if !ok || b.to.Bass != b.to.Root {
		return nil
	}
	ways := major
	if k.Mode == Minor {
		ways = minor
	}
	list := between{key: k}.ways(ways...)
	for i := range list {
		list[i].applied = slices.ContainsFunc(list[i].chords, func(c Chord) bool { return !b.key.owns(c) })
	}
	return list
}

// ways reads ways of numerals of the key.
func (b between) ways(ways ...string) []insertion {
	var list []insertion
	for _, way := range ways {
		var in insertion
		for s := range strings.FieldsSeq(way) {
			in.chords = append(in.chords, b.numeral(s))
		}
		list = append(list, in)
	}
	return list
}

// firstOften tells of the first way how often it was counted.
func firstOften(list []insertion, often Share) []insertion {
	if len(list) > 0 {
		list[0].often = often
	}
	return list
}

// dominantGoal tells whether the goal is a major chord or a dominant seventh in root
// position that is on sol, or has a minor seventh: one that leads on.
func (b between) dominantGoal() bool {
	seventh, has := b.to.Quality.Tone(7)
	minor, ok := b.to.goal()
	return ok && !minor && b.to.Bass == b.to.Root && (b.key.Degree(b.to.Root) == Degree{5, 0} || has && seventh.Alter < 0)
}

// sameTriad tells whether both chords are major, or both minor, on the same root.
func (b between) sameTriad() bool {
	x, ok := b.from.goal()
	y, too := b.to.goal()
	return ok && too && x == y && b.from.Root == b.to.Root
}

// walks are the ways of a bass in steps, by the chords between which it goes, in
// major and in minor.
var walks = []struct {
	mode     Mode
	from, to string
	up       bool
	chords   string
}{
	{Major, "I", "V", true, "ii7 I6 IV"}, {Major, "ii", "V", true, "I6 IV"}, {Major, "V", "I", true, "vi7 V6"},
	{Major, "I6", "I64", true, "IV #ivo7"}, {Minor, "i", "V", true, "iiø7 i6 iv"}, {Minor, "i6", "i64", true, "iv #ivo7"},
	{Major, "IV", "I", false, "I6 ii7"}, {Major, "IV", "ii", false, "I6"}, {Major, "V", "I", false, "IV I6 ii7"},
	{Major, "I", "IV", false, "V6 vi I64"}, {Minor, "iv", "i", false, "i6 V43"}, {Minor, "V", "i", false, "iv i6 V43"},
}

// walking are the walks in one direction that fit.
func (b between) walking(up bool) []insertion {
	fits := func(c Chord, s string) bool {
		want := b.numeral(s)
		third, _ := want.Quality.Tone(3)
		return b.is(c, b.key.Degree(want.Root), b.key.Degree(want.Bass), third.Alter < 0)
	}
	var list []insertion
	for _, w := range walks {
		if w.up == up && w.mode == b.key.Mode && fits(b.from, w.from) && fits(b.to, w.to) {
			list = append(list, b.ways(w.chords)...)
		}
	}
	return list
}

// run returns the first chord over the notes of the scale between the two basses,
// where those are a third apart, or a fourth.
func (b between) run(down bool) []insertion {
	low, high, by := b.from.Bass, b.to.Bass, 1
	if down {
		low, high, by = high, low, -1
	}
	span := Pitch{Note: low}.IntervalTo(Pitch{Note: high})
	steps, semitones := mod(span.Steps, 7), mod(span.Semitones, 12)
	if steps != 2 && steps != 3 || semitones < 3 || semitones > 5 || steps == 3 && semitones < 5 {
		return nil
	}
	var in insertion
	at := b.from.Bass
	for range steps - 1 {
		letter := Letter(mod(int(at.Letter)+by, 7))
		d := b.key.Degree(Note{Letter: letter})
		at = b.key.Note(b.key.ScaleDegrees()[d.Step-1])
		in.chords = append(in.chords, b.from.Over(at))
	}
	// Each a step from the one before it.
	before := b.from.Bass
	for _, c := range append(in.chords, b.to) {
		x, y := before, c.Bass
		if down {
			x, y = y, x
		}
		if n := mod(y.PitchClass()-x.PitchClass(), 12); n != 1 && n != 2 {
			return nil
		}
		before = c.Bass
	}
	return []insertion{in}
}

// churchDevices are more rules, as players of church bands teach them (common
// practice; Mulholland and Hojnacki, The Berklee Book of Jazz Harmony, 2013, for
// chains of dominants and the back door; Terefenko, Jazz Theory, 2014, for chords in
// fourths).
var churchDevices = []device{
	{
		"turnaround", "away from a chord and back to it: 1 6 2 5, with 6 and 2 minor or major",
		func(b between) []insertion {
			if !b.sameTriad() || b.from.Bass != b.from.Root {
				return nil
			}
			return b.into([]string{"vi7 ii7 V7", "VI7 ii7 V7", "VI7 II7 V7", "vi IV V"}, []string{"VI iiø7 V7", "VI iv V7"})
		},
	},
	{
		"lowered VI and VII", "♭VI and ♭VII climb to I in whole steps; ♭VII alone too",
		func(b between) []insertion {
			switch {
			case !b.tonic(b.to, 1):
				return nil
			case b.minor():
				return b.ways("VII", "VI VII")
			}
			return firstOften(b.ways("bVII", "bVI bVII"), pop(33, "♭VII to I"))
		},
	},
	{
		"common-tone diminished", "a diminished seventh on the goal's own root, which stays while the others move by step",
		func(b between) []insertion {
			if minor, ok := b.to.goal(); !ok || minor || b.to.Bass != b.to.Root {
				return nil
			}
			return []insertion{{chords: []Chord{on(b.to.Root, Diminished7)}}}
		},
	},
	{
		"eleventh dominant", "the goal's IV or ii over the bass of its dominant: no leading tone",
		func(b between) []insertion {
			list := b.into([]string{"ii7/sol", "IV/sol"}, []string{"iiø7/sol", "iv/sol"})
			for i := range list {
				list[i].applied = false // IV/sol/ii is hard to read
			}
			return list
		},
	},
	{
		"suspended dominant", "the goal's dominant with its fourth for its third, which may fall before the goal",
		func(b between) []insertion {
			list := b.into([]string{"Vsus4", "V7sus4", "V9sus4", "V7sus4 V7"}, []string{"V7sus4", "V7sus4 V7"})
			if b.tonic(b.to, 1) && !b.minor() {
				return firstOften(list, pop(49, "Vsus4 to I"))
			}
			return list
		},
	},
	{
		"coloured dominant", "the goal's dominant with ninth and thirteenth, before a minor goal with altered ones",
		func(b between) []insertion {
			return b.into([]string{"V9", "V13"}, []string{"V7b9", "V7#5", "V7#5#9"})
		},
	},
	{
		"chord in fourths", "a minor eleventh a fifth above a dominant, played as a stack of fourths from its root",
		func(b between) []insertion {
			if !b.dominantGoal() {
				return nil
			}
			return []insertion{{chords: []Chord{on(up(b.to.Root, 4, 7), minor11)}}}
		},
	},
	{
		"rising third in the bass", "the goal's dominant with its third in the bass, a semitone below the goal",
		func(b between) []insertion {
			switch list := b.into([]string{"V6", "V65", "Vadd9/ti"}, []string{"V6", "V65"}); b.onDegree() {
			case 4:
				return firstOften(list, pop(43, "I6 to IV"))
			case 1:
				return firstOften(list, pop(33, "V6 to I"))
			default:
				return list
			}
		},
	},
	{
		"falling seventh in the bass", "the goal's dominant with its seventh in the bass, which falls to the goal's third",
		func(b between) []insertion {
			k, ok := b.goalKey()
			if !ok || b.to.Inversion() != 1 {
				return nil
			}
			in := between{key: k}.ways("V42")
			in[0].applied = true
			return in
		},
	},
	{
		"between inversions", "a dominant or diminished chord over the bass between two positions of one chord",
		func(b between) []insertion {
			k, _ := b.goalKey()
			x, y := b.from.Inversion(), b.to.Inversion()
			if !b.sameTriad() || x < 0 || y < 0 {
				return nil
			}
			var list []insertion
			switch {
			case x+y == 1:
				list = between{key: k}.ways("V43", "viio6")
			case x+y == 3 && x < 3 && y < 3:
				list = between{key: k}.ways("viio43", "V42")
			}
			for i := range list {
				list[i].applied = true
			}
			return list
		},
	},
	{
		"bass run, falling", "the first chord stays and the bass falls by the scale to the next",
		func(b between) []insertion { return b.run(true) },
	},
	{
		"bass run, rising", "the first chord stays and the bass climbs by the scale to the next",
		func(b between) []insertion { return b.run(false) },
	},
	{
		"bass in steps, rising", "a chord for each step of a bass that climbs to the goal",
		func(b between) []insertion { return b.walking(true) },
	},
	{
		"bass in steps, falling", "a chord for each step of a bass that falls to the goal",
		func(b between) []insertion { return b.walking(false) },
	},
	{
		"ii and tritone substitute", "the goal's ii, then the dominant seventh a semitone above the goal: the bass falls by semitones",
		func(b between) []insertion {
			return b.into([]string{"ii7 bII7"}, []string{"iiø7 bII7"})
		},
	},
	{
		"chain of dominants", "dominant sevenths, each a fifth above the next",
		func(b between) []insertion {
			if _, ok := b.to.goal(); !ok || b.to.Bass != b.to.Root {
				return nil
			}
			five := up(b.to.Root, 4, 7)
			two := up(five, 4, 7)
			chain := []Chord{on(up(two, 4, 7), Dominant7), on(two, Dominant7), on(five, Dominant7)}
			return []insertion{{chords: chain[1:]}, {chords: chain}}
		},
	},
	{
		"chain of fifths", "three sevenths of the goal's key, each a fifth above the next",
		func(b between) []insertion {
			list := b.into([]string{"vi7 ii7 V7"}, nil)
			if b.dominantGoal() {
				k := Key{Tonic: up(b.to.Root, 3, 5)}
				list = append(list, between{key: k}.ways("iii7 vi7 ii7", "iii7 VI7 ii7")...)
			}
			return list
		},
	},
}

var minor11 = NewQuality(Degree{3, -1}, Degree{5, 0}, Degree{7, -1}, Degree{2, 0}, Degree{4, 0})
