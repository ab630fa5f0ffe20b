package theory

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
)

// Passing is one way to go from a chord to the next by way of others.
type Passing struct {
	Device string // the name of the rule: "secondary dominant"
	Rule   string // the rule in words
	// Chords are put in between, one to three. Those that point at the second
	// chord as a tonic of its own are counted in its key.
	Chords []Roman
	Key    Key // in which the rule was applied
	Often  Share
}

// Share is how often a move was found where chords were counted.
type Share struct {
	Percent int    // of all moves from the last chord put in; 0 where it was not counted
	Of      string // the move, as counted: "VI7 to ii"
	Source  string
}

// Where the shares are from. Of the moves from one chord to another, in major
// keys: the share of those that go on so.
const (
	billboard = "chart songs 1958-91, major keys (McGill Billboard 2.0, Burgoyne, Wild and Fujinaga 2011)"
	rs200     = "rock songs, all modes (RS 200, de Clercq and Temperley 2011)"
)

// pop is a share of the moves in chart songs.
func pop(percent int, of string) Share { return Share{percent, of, billboard} }

// device is a rule that puts chords between two; find returns nothing where it
// does not apply.
type device struct {
	name, rule string
	find       func(b between) []insertion
}

type insertion struct {
	chords  []Chord
	often   Share
	applied bool // counted in the key of the goal
}

// between is what a device looks at: two chords in a key.
type between struct {
	from, to Chord
	key      Key
}

// on builds a chord of this quality on a root, over its own bass.
func on(root Note, q Quality) Chord { return Chord{root, q, root} }

// numeral builds the chord of a numeral of the key that is known to be right.
func (b between) numeral(s string) Chord {
	c, err := b.key.parseNumeral(s)
	if err != nil {
		panic(err)
	}
	return c
}

// is tells whether c stands on this degree, with this degree in the bass, and
// has the third and fifth of a major, or else of a minor chord.
func (b between) is(c Chord, root, bass Degree, minor bool) bool {
	third := Degree{3, 0}
	if minor {
		third.Alter = -1
	}
	return b.key.Degree(c.Root) == root && b.key.Degree(c.Bass) == bass && c.Quality.has(third) && c.Quality.has(Degree{5, 0})
}

// tonic tells whether c is the tonic chord of the key in root position, or with
// bass the fifth in it.
func (b between) tonic(c Chord, bass int) bool {
	return b.is(c, Degree{1, 0}, Degree{bass, 0}, b.key.Mode == Minor)
}

func (b between) minor() bool { return b.key.Mode == Minor }

// goal tells whether a dominant can point at c: it has a third and a perfect
// fifth; and whether it is minor.
func (c Chord) goal() (minor, ok bool) {
	third, has := c.Quality.Tone(3)
	return third.Alter < 0, has && c.Quality.has(Degree{5, 0}) && third.Alter >= -1
}

// onDegree tells the degree of the goal in a major key by number, 0 where it is
// none of the scale.
func (b between) onDegree() int {
	d := b.key.Degree(b.to.Root)
	if b.minor() || d.Alter != 0 {
		return 0
	}
	return d.Step
}

func up(n Note, steps, semitones int) Note { return n.Up(Interval{steps, semitones}) }

// devices are all rules.
var devices = slices.Concat(gospelDevices, churchDevices)

// gospelDevices are rules as church and gospel players teach them (common
// practice), with the counts there are.
var gospelDevices = []device{
	{
		"secondary dominant", "a major chord or dominant seventh a fifth above the goal",
		func(b between) []insertion {
			if _, ok := b.to.goal(); !ok {
				return nil
			}
			root := up(b.to.Root, 4, 7)
			often := map[int]Share{2: pop(44, "VI7 to ii"), 5: pop(57, "II7 to V"), 6: pop(56, "III7 to vi"), 4: pop(49, "I7 to IV")}[b.onDegree()]
			return []insertion{{[]Chord{on(root, Dominant7)}, often, true}, {[]Chord{on(root, MajorTriad)}, Share{}, true}}
		},
	},
	{
		"ii-V", "the goal's own ii and V: a minor seventh, or before a minor goal a half-diminished one, then the dominant seventh",
		func(b between) []insertion {
			minor, ok := b.to.goal()
			if !ok {
				return nil
			}
			two, five := up(b.to.Root, 1, 2), on(up(b.to.Root, 4, 7), Dominant7)
			var list []insertion
			if minor {
				list = append(list, insertion{chords: []Chord{on(two, HalfDiminished7), five}, applied: true})
			}
			return append(list, insertion{chords: []Chord{on(two, Minor7), five}, applied: true})
		},
	},
	{
		"tritone substitute", "a dominant seventh a semitone above the goal, in place of its dominant",
		func(b between) []insertion {
			if _, ok := b.to.goal(); !ok {
				return nil
			}
			return []insertion{{[]Chord{on(up(b.to.Root, 1, 1), Dominant7)}, Share{Of: "17 chords in 9 of 621 songs: a matter of style", Source: billboard}, true}}
		},
	},
	{
		"passing diminished, rising", "a diminished seventh a semitone below the goal's bass",
		func(b between) []insertion {
			often := Share{}
			if b.tonic(b.to, 5) && !b.minor() {
				often = pop(55, "♯iv° to I or I64")
			}
			_, ok := b.to.goal()
			return []insertion{{[]Chord{on(up(b.to.Bass, -1, -1), Diminished7)}, often, ok && b.to.Bass == b.to.Root}}
		},
	},
	{
		"passing diminished, falling", "a diminished seventh a semitone above the goal's bass",
		func(b between) []insertion {
			often := Share{}
			if b.onDegree() == 2 && b.to.Bass == b.to.Root && b.to.Quality.has(Degree{3, -1}) {
				often = pop(68, "♭iii° to ii or ii7")
			}
			return []insertion{{chords: []Chord{on(up(b.to.Bass, 1, 1), Diminished7)}, often: often}}
		},
	},
	{
		"plagal", "IV before I",
		func(b between) []insertion {
			if !b.tonic(b.to, 1) || b.minor() {
				return nil
			}
			return []insertion{{chords: []Chord{b.numeral("IV")}, often: Share{57, "IV to I", rs200}}}
		},
	},
	{
		"double plagal", "♭VII and IV before I: down a fourth twice",
		func(b between) []insertion {
			if !b.tonic(b.to, 1) || b.minor() {
				return nil
			}
			return []insertion{{chords: []Chord{b.numeral("bVII"), b.numeral("IV")}, often: pop(39, "♭VII to IV")}}
		},
	},
	{
		"minor plagal", "iv before I: its third falls le to sol",
		func(b between) []insertion {
			if !b.tonic(b.to, 1) {
				return nil
			}
			often := pop(37, "iv to I")
			if b.minor() {
				often = Share{}
			}
			return []insertion{{chords: []Chord{b.numeral("iv")}, often: often}}
		},
	},
	{
		"back door", "♭VII7, with its iv7 or without, borrowed from minor, into I",
		func(b between) []insertion {
			if !b.tonic(b.to, 1) || b.minor() {
				return nil
			}
			return []insertion{{chords: []Chord{b.numeral("iv7"), b.numeral("bVII7")}}, {chords: []Chord{b.numeral("bVII7")}}}
		},
	},
	{
		"IV over sol", "the chord on fa with sol in the bass, an eleventh dominant",
		func(b between) []insertion {
			four := b.numeral("IV")
			if b.minor() {
				four = b.numeral("iv")
			}
			four = four.Over(b.key.Note(Degree{5, 0}))
			switch {
			case b.tonic(b.to, 1) && b.minor():
				return []insertion{{chords: []Chord{four}}}
			case b.tonic(b.to, 1):
				return []insertion{{chords: []Chord{four}, often: pop(42, "IV over sol to I")}}
			case b.is(b.to, Degree{5, 0}, Degree{5, 0}, false) && b.minor():
				return []insertion{{chords: []Chord{four}}}
			case b.is(b.to, Degree{5, 0}, Degree{5, 0}, false):
				return []insertion{{chords: []Chord{four}, often: pop(14, "IV over sol to V")}}
			}
			return nil
		},
	},
	{
		"walk-up", "from I to IV the bass climbs do re mi fa",
		func(b between) []insertion {
			if !b.tonic(b.from, 1) || !b.is(b.to, Degree{4, 0}, Degree{4, 0}, b.minor()) {
				return nil
			}
			if b.minor() {
				return []insertion{{chords: []Chord{b.numeral("iiø7"), b.numeral("i6")}}}
			}
			return []insertion{{chords: []Chord{b.numeral("ii7"), b.numeral("I6")}, often: pop(43, "I6 to IV")}}
		},
	},
	{
		"walk-down", "from I the bass falls do ti la, on to sol, or do te la le sol",
		func(b between) []insertion {
			if !b.tonic(b.from, 1) || b.minor() {
				return nil
			}
			dominant := b.is(b.to, Degree{5, 0}, Degree{5, 0}, false)
			switch {
			case b.is(b.to, Degree{6, 0}, Degree{6, 0}, true):
				return []insertion{{chords: []Chord{b.numeral("V6")}, often: pop(25, "V6 to vi")}}
			case b.tonic(b.to, 5) || dominant:
				return []insertion{
					{chords: []Chord{b.numeral("V6"), b.numeral("vi")}},
					{chords: []Chord{b.numeral("I42"), b.numeral("IV6"), b.numeral("iv6")}},
				}
			}
			return nil
		},
	},
	{
		"tonic pedal", "IV or iv over do, which stays in the bass",
		func(b between) []insertion {
			do := b.key.Tonic
			if !b.tonic(b.to, 1) || b.from.Bass != do {
				return nil
			}
			minor := b.numeral("iv").Over(do)
			if b.minor() {
				return []insertion{{chords: []Chord{minor}}}
			}
			return []insertion{
				{chords: []Chord{b.numeral("IV").Over(do)}, often: pop(73, "IV over do to I")},
				{chords: []Chord{minor}, often: pop(69, "iv over do to I")},
			}
		},
	},
	{
		"augmented dominant", "the goal's dominant with its fifth raised, which leads to the third of a major goal",
		func(b between) []insertion {
			if minor, ok := b.to.goal(); !ok || minor {
				return nil
			}
			often := Share{}
			if b.onDegree() == 1 {
				often = pop(94, "V+ to I")
			}
			return []insertion{{[]Chord{on(up(b.to.Root, 4, 7), AugmentedTriad)}, often, true}}
		},
	},
	{
		"suspension", "the goal itself with its fourth for its third, which then falls",
		func(b between) []insertion {
			if _, ok := b.to.goal(); !ok || b.to.Inversion() != 0 {
				return nil
			}
			q := b.to.Quality.without(3).with(Degree{4, 0})
			if _, taken := b.to.Quality.Tone(4); taken {
				return nil
			}
			often := Share{}
			if b.onDegree() == 5 && b.to.Quality.has(Degree{3, 0}) {
				often = pop(24, "Vsus4 to V or V7")
			}
			return []insertion{{chords: []Chord{on(b.to.Root, q)}, often: often}}
		},
	},
}

// Devices returns the names of the rules that PassingChords applies.
func Devices() []string {
	var names []string
	for _, d := range devices {
		names = append(names, d.name)
	}
	return names
}

// PassingChords returns the chords, pairs and walks of three that a rule allows
// between two chords of k: those that were counted most often in published
// collections first, then those that were not counted, in the order of Devices.
// What would only repeat one of the two chords is left out, and so are chords that
// a rule before it offers already, but counted chords are told again. Both chords may be
// chromatic in k; rules that speak of I apply to the tonic of k.
func PassingChords(from, to Chord, k Key) []Passing {
	var list []Passing
	b := between{from, to, k}
	for _, d := range devices {
		for _, in := range d.find(b) {
			old := func(c Chord) bool { return repeats(from, c) || repeats(to, c) }
			p := Passing{d.name, d.rule, b.count(in), k, in.often}
			told := func(q Passing) bool {
				return q.Device != p.Device && p.Often.Percent <= q.Often.Percent && sameChords(p, q)
			}
			if !slices.ContainsFunc(in.chords, old) && !slices.ContainsFunc(list, told) {
				list = append(list, p)
			}
		}
	}
	sortPassing(list)
	return list
}

// count writes what was put in as numerals.
func (b between) count(in insertion) []Roman {
	rs := make([]Roman, len(in.chords))
	for i, c := range in.chords {
		rs[i] = b.key.Roman(c)
		if in.applied {
			rs[i].Local = Key{Tonic: b.to.Root}
			if minor, _ := b.to.goal(); minor {
				rs[i].Local.Mode = Minor
			}
		}
	}
	return rs
}

func sortPassing(list []Passing) {
	sort.SliceStable(list, func(i, j int) bool { return list[j].Often.Percent < list[i].Often.Percent })
}

// repeats tells whether b brings nothing that a has not: its notes, over the
// same bass.
func repeats(a, b Chord) bool {
	if a.Bass != b.Bass {
		return false
	}
	have := a.Notes()
	for _, n := range b.Notes() {
		if !slices.Contains(have, n) {
			return false
		}
	}
	return true
}

// PassingKeys returns the keys that both chords belong to: those whose tonic
// chord is the first come first, then those where it is the second, then the
// others, major before minor. Where there is none, the roots of the two chords
// are taken as tonics.
func PassingKeys(from, to Chord) []Key {
	var ks []Key
	rank := func(k Key) int {
		owner := 2
		switch {
		case k.tonicOf(from):
			owner = 0
		case k.tonicOf(to):
			owner = 1
		}
		return 2*owner + int(k.Mode)
	}
	// Any key that has the first root lies within six fifths of it.
	for _, mode := range []Mode{Major, Minor} {
		for f := -6; f <= 6; f++ {
			k := Key{from.Root, mode}
			for range abs(f) {
				k.Tonic = up(k.Tonic, 4*f/abs(f), 7*f/abs(f))
			}
			if k.owns(from) && k.owns(to) {
				ks = append(ks, k)
			}
		}
	}
	if len(ks) == 0 {
		for _, c := range []Chord{from, to} {
			k := Key{Tonic: c.Root}
			if minor, _ := c.goal(); minor {
				k.Mode = Minor
			}
			if !slices.Contains(ks, k) {
				ks = append(ks, k)
			}
		}
		return ks
	}
	sort.SliceStable(ks, func(i, j int) bool { return rank(ks[i]) < rank(ks[j]) })
	return ks
}

// tonicOf tells whether c is the tonic chord of k.
func (k Key) tonicOf(c Chord) bool {
	minor, ok := c.goal()
	return ok && c.Root == k.Tonic && minor == (k.Mode == Minor)
}

// PassingAnywhere returns what PassingChords allows in any of PassingKeys. The
// same chords by the same rule come once, in the key where they were counted
// most often, or else the first.
func PassingAnywhere(from, to Chord) []Passing {
	var list []Passing
	for _, k := range PassingKeys(from, to) {
		for _, p := range PassingChords(from, to, k) {
			i := slices.IndexFunc(list, func(q Passing) bool { return q.Device == p.Device && sameChords(q, p) })
			switch {
			case i < 0:
				list = append(list, p)
			case p.Often.Percent > list[i].Often.Percent:
				list[i] = p
			}
		}
	}
	order := Devices()
	earlier := func(a, b Passing) int {
		return cmp.Compare(slices.Index(order, a.Device), slices.Index(order, b.Device))
	}
	sort.SliceStable(list, func(i, j int) bool { return earlier(list[i], list[j]) < 0 })
	sortPassing(list)
	return list
}

func sameChords(a, b Passing) bool {
	return slices.EqualFunc(a.Chords, b.Chords, func(x, y Roman) bool { return x.Chord == y.Chord })
}

// String says it in one line: "A7, in C major: V7/ii (secondary dominant)".
func (p Passing) String() string {
	chords, numerals := "", ""
	for i, r := range p.Chords {
		if i > 0 {
			chords, numerals = chords+" ", numerals+" "
		}
		chords += r.Chord.Readable().String()
		numerals += r.Readable().String()
	}
	return fmt.Sprintf("%s, in %v: %s (%s)", chords, p.Key.Readable(), numerals, p.Device)
}
