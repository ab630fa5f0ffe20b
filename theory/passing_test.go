package theory_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "singback/theory"
)

// The devices of church and gospel players with their examples in C (common
// practice). What is expected is among the chords that the rule of that name
// allows, with the share of such moves in published counts, 0 where there is
// none.
func TestPassingChordsExamples(t *testing.T) {
	for _, tc := range []struct {
		from, to, key, device, chords string
		percent                       int
	}{
		{"C", "Dm", "C", "secondary dominant", "A7", 44},
		{"C", "G7", "C", "secondary dominant", "D7", 57},
		{"C", "Am", "C", "secondary dominant", "E7", 56},
		{"G", "F", "C", "secondary dominant", "C7", 49},
		{"C", "Dm", "C", "secondary dominant", "A", 0},
		{"C", "Dm", "C", "ii-V", "Em7b5 A7", 0},
		{"C", "F", "C", "ii-V", "Gm7 C7", 0},
		{"F", "C", "C", "tritone substitute", "Db7", 0},
		{"C", "Dm", "C", "passing diminished, rising", "C#dim7", 0},
		{"F", "C/G", "C", "passing diminished, rising", "F#dim7", 55},
		{"F", "G", "C", "passing diminished, rising", "F#dim7", 0},
		{"C/E", "Dm7", "C", "passing diminished, falling", "Ebdim7", 68},
		{"G", "C", "C", "plagal", "F", 57},
		{"G", "C", "C", "double plagal", "Bb F", 39},
		{"G", "C", "C", "minor plagal", "Fm", 37},
		{"F", "C", "C", "back door", "Fm7 Bb7", 0},
		{"F", "C", "C", "back door", "Bb7", 0},
		{"C", "C", "C", "turnaround", "Am7 Dm7 G7", 0},
		{"C", "C", "C", "turnaround", "A7 Dm7 G7", 0},
		{"C", "C", "C", "turnaround", "A7 D7 G7", 0},
		{"C", "C", "C", "turnaround", "Am F G", 0},
		{"F", "F", "C", "turnaround", "Dm7 Gm7 C7", 0},
		{"Cm", "Cm", "Cm", "turnaround", "Ab Dm7b5 G7", 0},
		{"F", "C", "C", "lowered VI and VII", "Ab Bb", 0},
		{"F", "C", "C", "lowered VI and VII", "Bb", 33},
		{"Fm", "Cm", "Cm", "lowered VI and VII", "Ab Bb", 0},
		{"F", "C", "C", "common-tone diminished", "Cdim7", 0},
		{"F", "C/E", "C", "passing diminished, rising", "D#dim7", 0},
		{"F", "G", "C", "common-tone diminished", "Gdim7", 0},
		{"F", "C", "C", "eleventh dominant", "Dm7/G", 0},
		{"C", "F", "C", "eleventh dominant", "Bb/C", 0},
		{"Fm", "Cm", "Cm", "eleventh dominant", "Dm7b5/G", 0},
		{"F", "C", "C", "suspended dominant", "Gsus4", 49},
		{"F", "C", "C", "suspended dominant", "G9sus4", 0},
		{"C", "Dm", "C", "suspended dominant", "A7sus4 A7", 0},
		{"C", "Am", "C", "coloured dominant", "E7#5", 0},
		{"C", "Am", "C", "coloured dominant", "E7#9#5", 0},
		{"C", "Dm", "C", "coloured dominant", "A7b9", 0},
		{"F", "C", "C", "coloured dominant", "G13", 0},
		{"C", "G7", "C", "chord in fourths", "Dm11", 0},
		{"C", "F", "C", "rising third in the bass", "C/E", 43},
		{"F", "C", "C", "rising third in the bass", "G/B", 33},
		{"C", "F", "C", "rising third in the bass", "Cadd9/E", 0},
		{"C", "Am", "C", "rising third in the bass", "E7/G#", 0},
		{"C", "F/A", "C", "falling seventh in the bass", "C7/Bb", 0},
		{"C", "C/E", "C", "between inversions", "G7/D", 0},
		{"C/E", "C", "C", "between inversions", "Bdim/D", 0},
		{"C/E", "C/G", "C", "between inversions", "Bdim7/F", 0},
		{"C", "Am", "C", "bass run, falling", "C/B", 0},
		{"Am", "F", "C", "bass run, falling", "Am/G", 0},
		{"C", "G", "C", "bass run, falling", "C/B C/A", 0},
		{"Cm", "Ab", "Cm", "bass run, falling", "Cm/Bb", 0},
		{"C", "F", "C", "bass run, rising", "C/D C/E", 0},
		{"C", "Em", "C", "bass run, rising", "C/D", 0},
		{"C", "G", "C", "bass in steps, rising", "Dm7 C/E F", 0},
		{"C/E", "C/G", "C", "bass in steps, rising", "F F#dim7", 0},
		{"G", "C", "C", "bass in steps, rising", "Am7 G/B", 0},
		{"Dm", "G", "C", "bass in steps, rising", "C/E F", 0},
		{"F", "C", "C", "bass in steps, falling", "C/E Dm7", 0},
		{"G", "C", "C", "bass in steps, falling", "F C/E Dm7", 0},
		{"C", "F", "C", "bass in steps, falling", "G/B Am C/G", 0},
		{"Fm", "Cm", "Cm", "bass in steps, falling", "Cm/Eb G7/D", 0},
		{"F", "C", "C", "ii and tritone substitute", "Dm7 Db7", 0},
		{"Fm", "Cm", "Cm", "ii and tritone substitute", "Dm7b5 Db7", 0},
		{"F", "C", "C", "chain of dominants", "D7 G7", 0},
		{"F", "C", "C", "chain of dominants", "A7 D7 G7", 0},
		{"F", "C", "C", "chain of fifths", "Am7 Dm7 G7", 0},
		{"C", "G7", "C", "chain of fifths", "Em7 A7 Dm7", 0},
		{"Am", "C", "C", "IV over sol", "F/G", 42},
		{"Am", "G", "C", "IV over sol", "F/G", 14},
		{"C", "F", "C", "walk-up", "Dm7 C/E", 43},
		{"C", "Am", "C", "walk-down", "G/B", 25},
		{"C", "C/G", "C", "walk-down", "G/B Am", 0},
		{"C", "C/G", "C", "walk-down", "C7/Bb F/A Fm/Ab", 0},
		{"C", "C", "C", "tonic pedal", "F/C", 73},
		{"C", "C", "C", "tonic pedal", "Fm/C", 69},
		{"F", "C", "C", "augmented dominant", "G+", 94},
		{"F", "G", "C", "suspension", "Gsus4", 24},
		{"Cm", "Fm", "Cm", "walk-up", "Dm7b5 Cm/Eb", 0},
	} {
		found := false
		var all []string
		for _, p := range PassingChords(mustChord(t, tc.from), mustChord(t, tc.to), mustKey(t, tc.key)) {
			all = append(all, p.String())
			if p.Device == tc.device && symbols(p.Chords) == tc.chords {
				found = true
				if p.Often.Percent != tc.percent {
					t.Errorf("%s between %s and %s: %d %%, want %d", tc.chords, tc.from, tc.to, p.Often.Percent, tc.percent)
				}
			}
		}
		if !found {
			t.Errorf("between %s and %s in %s: no %s %s in\n%s", tc.from, tc.to, tc.key, tc.device, tc.chords, strings.Join(all, "\n"))
		}
	}
}

func symbols(rs []Roman) string {
	var s []string
	for _, r := range rs {
		s = append(s, r.Chord.ASCII())
	}
	return strings.Join(s, " ")
}

// The rules do not apply elsewhere.
func TestPassingChordsLimits(t *testing.T) {
	for _, tc := range []struct{ from, to, key, device string }{
		{"C", "F", "C", "plagal"},              // the goal is not I
		{"F", "Am", "C", "walk-down"},          // not from I
		{"G", "C", "C", "tonic pedal"},         // no do in the bass to stay
		{"C", "Dm", "C", "augmented dominant"}, // the raised fifth is the goal's own third
		{"C", "Bdim", "C", "secondary dominant"},
		{"C", "Bdim", "C", "ii-V"},
		{"G7", "C", "C", "secondary dominant"}, // it is there already
		{"C", "F/A", "C", "suspension"},
		{"Cm", "Fm", "Cm", "walk-down"},
		{"C", "F", "C", "turnaround"},              // not one chord
		{"C/E", "C", "C", "turnaround"},            // nor two positions of one
		{"C", "Cm", "C", "between inversions"},     // nor major and minor
		{"C", "C", "C", "between inversions"},      // nor one position
		{"F", "G", "C", "lowered VI and VII"},      // the goal is not I
		{"F", "Cm", "Cm", "back door"},             // nothing is borrowed
		{"C", "Dm", "C", "common-tone diminished"}, // the goal is minor
		{"C", "Dm", "C", "bass run, falling"},      // no third or fourth
		{"C", "F#m", "C", "bass run, rising"},      // a tritone
		{"F", "C/E", "C", "coloured dominant"},     // the goal is inverted
		{"F", "F/C", "C", "falling seventh in the bass"},
		{"C", "Am", "C", "chord in fourths"},
		{"Dm", "Am", "C", "bass in steps, rising"},
	} {
		for _, p := range PassingChords(mustChord(t, tc.from), mustChord(t, tc.to), mustKey(t, tc.key)) {
			if p.Device == tc.device {
				t.Errorf("between %s and %s in %s: %v", tc.from, tc.to, tc.key, p)
			}
		}
	}
}

func TestPassingAnywhere(t *testing.T) {
	got := PassingAnywhere(mustChord(t, "C"), mustChord(t, "F"))
	var lines []string
	for _, p := range got {
		lines = append(lines, fmt.Sprintf("%s %s %d", symbols(p.Chords), p.Key.ASCII(), p.Often.Percent))
	}
	// Read in C, where F is IV, and in F, where it is I.
	for _, want := range []string{"C7 C major 49", "Dm7 C/E C major 43", "C+ F major 94", "Bb F major 57", "Bbm F major 37", "Bb/C F major 42", "Gb7 C major 0"} {
		if !slices.Contains(lines, want) {
			t.Errorf("%s is not in\n%s", want, strings.Join(lines, "\n"))
		}
	}
	if !slices.IsSortedFunc(got, func(a, b Passing) int { return b.Often.Percent - a.Often.Percent }) {
		t.Errorf("not sorted: %v", got)
	}
	for _, tc := range []struct{ from, to, want string }{
		{"C", "F", "C major, F major"}, {"Am", "Dm", "A minor, D minor"}, {"C", "F#", "C major, F# major"},
	} {
		var names []string
		for _, k := range PassingKeys(mustChord(t, tc.from), mustChord(t, tc.to))[:2] {
			names = append(names, k.ASCII())
		}
		if s := strings.Join(names, ", "); s != tc.want {
			t.Errorf("%s and %s are first read in %s, want %s", tc.from, tc.to, s, tc.want)
		}
	}
}

// Transposing the two chords transposes what lies between them, spelling and
// all, and every chord reads back as the numeral and symbol it is written as.
func TestPassingChordsTranspose(t *testing.T) {
	qualities := []string{"", "m", "7", "m7", "maj7", "dim", "sus4", "6"}
	rapid.Check(t, func(t *rapid.T) {
		mode := Mode(rapid.IntRange(0, 1).Draw(t, "mode"))
		var ks []Key
		for _, k := range Keys() {
			if k.Mode == mode {
				ks = append(ks, k)
			}
		}
		a, b := rapid.SampledFrom(ks).Draw(t, "a"), rapid.SampledFrom(ks).Draw(t, "b")
		by := Pitch{Note: a.Tonic}.IntervalTo(Pitch{Note: b.Tonic})
		chord := func(label string) Chord {
			root := a.Note(Degree{rapid.IntRange(1, 7).Draw(t, label), rapid.IntRange(-1, 1).Draw(t, label+" sign")})
			q, err := ParseQuality(rapid.SampledFrom(qualities).Draw(t, label+" quality"))
			if err != nil {
				t.Fatal(err)
			}
			c := Chord{Root: root, Quality: q}
			return c.Over(rapid.SampledFrom(Chord{root, q, root}.Notes()).Draw(t, label+" bass"))
		}
		from, to := chord("from"), chord("to")
		check := func(x, y []Passing) {
			if len(x) != len(y) {
				t.Fatalf("%d between %v and %v, %d a %v away", len(x), from, to, len(y), by)
			}
			for i := range x {
				if x[i].Device != y[i].Device || x[i].Often != y[i].Often {
					t.Fatalf("%v and %v", x[i], y[i])
				}
				for j, r := range x[i].Chords {
					c := r.Chord
					if y[i].Chords[j].Chord != c.Up(by) || y[i].Chords[j].String() != r.String() {
						t.Fatalf("%v and a %v away %v", x[i], by, y[i])
					}
					if c == from || len(x[i].Chords) == 1 && c == to {
						t.Fatalf("%v repeats a chord between %v and %v", x[i], from, to)
					}
					if d, b, g := r.Local.Degree(c.Root), r.Local.Degree(c.Bass), r.Key.Degree(r.Local.Tonic); abs(d.Alter) > 2 || abs(b.Alter) > 2 || abs(g.Alter) > 2 {
						continue // far outside the key: no numeral is read that far
					}
					if got, err := ParseRoman(r.ASCII(), x[i].Key); err != nil || got.Chord != c {
						t.Fatalf("%v in %v is written %v, which is %v, %v", c, x[i].Key, r, got.Chord, err)
					}
				}
			}
		}
		check(PassingChords(from, to, a), PassingChords(from.Up(by), to.Up(by), b))
		check(PassingAnywhere(from, to), PassingAnywhere(from.Up(by), to.Up(by)))
	})
}

// The shares that are cited were counted on the whole of each collection. On
// the half that is at hand they must come out near, where there are enough
// chords to count: within 12 points of the moves from a hundred chords or more.
func TestPassingSharesOnCorpus(t *testing.T) {
	type chord struct {
		root, bass int
		family     string
	}
	songs := map[string][]chord{}
	var order []string
	for _, row := range referenceFile(t, "billboard-chords", "chords.csv.gz") {
		id := row[0] + row[1]
		if songs[id] == nil {
			order = append(order, id)
		}
		c := chord{-1, -1, ""}
		if row[7] != "" {
			c.root, _ = strconv.Atoi(row[7])
			c.bass, _ = strconv.Atoi(row[9])
			c.family = harteFamily(row[8])
		}
		if s := songs[id]; len(s) == 0 || s[len(s)-1] != c {
			songs[id] = append(s, c)
		}
	}
	is := func(root, bass int, families string) func(chord) bool {
		return func(c chord) bool {
			return c.root == root && (bass < 0 || c.bass == bass) && slices.Contains(strings.Fields(families), c.family)
		}
	}
	const major, minor = "maj maj7 7", "min min7"
	moves := []struct {
		of       string
		from, to func(chord) bool
		enough   int
	}{
		{"VI7 to ii", is(9, -1, "7"), is(2, -1, minor), 100},
		{"II7 to V", is(2, -1, "7"), func(c chord) bool { return c.root == 7 }, 100},
		{"I7 to IV", is(0, -1, "7"), is(5, -1, major), 100},
		{"♭VII to IV", is(10, -1, major), is(5, -1, major), 100},
		{"iv to I", is(5, -1, minor), is(0, -1, major), 100},
		{"IV over sol to I", is(5, 7, "maj maj7"), is(0, -1, major), 100},
		{"IV over sol to V", is(5, 7, "maj maj7"), func(c chord) bool { return c.root == 7 }, 100},
		{"I6 to IV", is(0, 4, major), is(5, -1, major), 100},
		{"V6 to I", is(7, 11, major), is(0, -1, major), 100},
		{"Vsus4 to I", is(7, -1, "sus4"), is(0, -1, major), 100},
		{"♭VII to I", is(10, -1, major), is(0, -1, major), 100},
		{"V6 to vi", is(7, 11, major), is(9, -1, minor), 100},
		{"IV over do to I", is(5, 0, "maj maj7"), is(0, -1, major), 100},
		{"Vsus4 to V or V7", is(7, -1, "sus4"), is(7, -1, major), 100},
	}
	cited := map[string]int{}
	for _, from := range []string{"C", "F", "G", "Am", "C/E", "Dm"} {
		for _, to := range []string{"C", "Dm", "Em", "F", "G", "Am", "C/G", "Dm7"} {
			for _, p := range PassingChords(mustChord(t, from), mustChord(t, to), Key{}) {
				cited[p.Often.Of] = p.Often.Percent
			}
		}
	}
	for _, m := range moves {
		all, so := 0, 0
		for _, id := range order {
			song := songs[id]
			mode := 0
			for _, c := range song {
				if is(0, -1, major)(c) {
					mode++
				} else if is(0, -1, minor)(c) {
					mode--
				}
			}
			for i := 1; i < len(song); i++ {
				if mode > 0 && m.from(song[i-1]) && song[i].root >= 0 && song[i] != song[i-1] {
					all++
					if m.to(song[i]) {
						so++
					}
				}
			}
		}
		percent := 100 * float64(so) / float64(max(all, 1))
		t.Logf("%-18s %4d of %4d = %2.0f %%, cited %d %%", m.of, so, all, percent, cited[m.of])
		if off := percent - float64(cited[m.of]); all < m.enough || off < -12 || off > 12 {
			t.Errorf("%s: %d of %d = %.0f %%, cited %d %%", m.of, so, all, percent, cited[m.of])
		}
	}
}

// harteFamily sorts the chord names of the collection.
func harteFamily(q string) string {
	for _, f := range []struct{ prefix, family string }{
		{"maj7", "maj7"}, {"maj9", "maj7"}, {"maj13", "maj7"}, {"maj", "maj"}, {"minmaj", "minmaj"},
		{"min7", "min7"}, {"min9", "min7"}, {"min11", "min7"}, {"min13", "min7"}, {"min", "min"},
		{"sus4", "sus4"}, {"7", "7"}, {"9", "7"}, {"11", "7"}, {"13", "7"},
	} {
		if strings.HasPrefix(q, f.prefix) {
			return f.family
		}
	}
	return "other"
}
