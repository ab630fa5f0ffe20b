package theory_test

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "singback/theory"
)

func mustProgression(t testing.TB, s string, k Key) []Roman {
	t.Helper()
	p, err := ParseProgression(s, k)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func written(p []Roman) string {
	var s []string
	for _, r := range p {
		s = append(s, r.ASCII())
	}
	return strings.Join(s, " ")
}

// The nine cadences as four voices from bass to soprano, in semitones above
// the tonic in the bass octave: close position, shortest way, ti rising, the
// seventh falling (after Open Music Theory and common practice).
var cadenceTable = []struct{ mode, numerals, voices string }{
	{"major", "I IV V7 I", "(0,12,16,19) (5,12,17,21) (7,11,17,19) (0,12,16,19)"},
	{"major", "I ii6 V I", "(0,7,16,24) (5,9,14,26) (7,7,14,23) (0,7,16,24)"},
	{"major", "I vi ii6 V7 I", "(0,12,16,19) (-3,12,16,21) (-7,9,14,21) (-5,11,14,17) (0,12,12,16)"},
	{"major", "I vi IV V I", "(0,12,16,19) (-3,12,16,21) (-7,12,17,21) (-5,11,14,19) (0,12,16,19)"},
	{"major", "V7 vi", "(-5,11,14,17) (-3,12,12,16)"},
	{"major", "IV I", "(5,12,17,21) (0,12,16,19)"},
	{"minor", "i iv V7 i", "(0,12,15,19) (5,12,17,20) (7,11,17,19) (0,12,15,19)"},
	{"minor", "i iio6 V i", "(0,7,15,24) (5,8,14,26) (7,7,14,23) (0,7,15,24)"},
	{"minor", "i VI iv V i", "(0,12,15,19) (-4,12,15,20) (-7,12,17,20) (-5,11,14,19) (0,12,15,19)"},
}

// fromTable spells a row of the table with the bass tonic at C3.
func fromTable(t *testing.T, p []Roman, voices string) []Voicing {
	t.Helper()
	var vs []Voicing
	for i, f := range strings.Fields(voices) {
		var m [4]int
		if _, err := fmt.Sscanf(f, "(%d,%d,%d,%d)", &m[0], &m[1], &m[2], &m[3]); err != nil {
			t.Fatal(err)
		}
		var v Voicing
		for part, above := range m {
			for _, n := range p[i].Chord.Notes() {
				for octave := 1; octave <= 6; octave++ {
					if q := (Pitch{Note: n, Octave: octave}); q.MIDI() == 48+above {
						v[part] = q
					}
				}
			}
		}
		vs = append(vs, v)
	}
	return vs
}

func aboveTonic(vs []Voicing) string {
	var s []string
	for _, v := range vs {
		s = append(s, fmt.Sprintf("(%d,%d,%d,%d)", v[0].MIDI()-48, v[1].MIDI()-48, v[2].MIDI()-48, v[3].MIDI()-48))
	}
	return strings.Join(s, " ")
}

// The search finds voicings that cost no more than the table's, which keep the
// same rules. Both are printed with -v.
func TestCadencesAgainstTable(t *testing.T) {
	wide := ChoirTexture() // wide enough for the table, which has its tonic at C3
	wide.Ranges = [4]Range{{40, 64}, {48, 74}, {48, 79}, {48, 79}}
	for _, tc := range cadenceTable {
		k := mustKey(t, "C "+tc.mode)
		p := mustProgression(t, tc.numerals, k)
		got, cost, err := wide.Voice(p)
		if err != nil {
			t.Errorf("%s: %v", tc.numerals, err)
			continue
		}
		want, err := wide.Cost(p, fromTable(t, p, tc.voices))
		if err != nil {
			t.Errorf("%s: the table's voicing is refused: %v", tc.numerals, err)
			continue
		}
		t.Logf("%-14s found %2d %s", tc.numerals, cost, aboveTonic(got))
		t.Logf("%-14s table %2d %s", tc.numerals, want, tc.voices)
		if cost > want {
			t.Errorf("%s: found %s at cost %d, the table's %s costs %d", tc.numerals, aboveTonic(got), cost, tc.voices, want)
		}
	}
}

// Every named cadence can be set in every key, for choir and keyboard, and two
// octaves of registers.
func TestCadencesInEveryKey(t *testing.T) {
	for _, k := range Keys() {
		for _, c := range Cadences() {
			p, err := CadenceNamed(c.Name, k)
			if err != nil {
				t.Fatal(err)
			}
			for name, texture := range textures() {
				for shift := -12; shift <= 12; shift += 6 {
					moved := texture.Shift(shift)
					v, _, err := moved.Voice(p)
					if err != nil {
						t.Errorf("%s in %v for %s: %v", c.Name, k, name, err)
						continue
					}
					checkVoicing(t, moved, p, v)
				}
			}
		}
	}
	if _, err := CadenceNamed("landini", Key{}); !errors.Is(err, ErrCadence) || !strings.Contains(err.Error(), "plagal") {
		t.Errorf("an unknown cadence gives %v", err)
	}
}

func textures() map[string]Texture {
	return map[string]Texture{"choir": ChoirTexture(), "keyboard": KeyboardTexture()}
}

// checkVoicing checks the rules that Texture.Voice promises, from the spelled
// notes alone: nothing of the search is used.
func checkVoicing(t testing.TB, texture Texture, p []Roman, vs []Voicing) {
	t.Helper()
	if len(vs) != len(p) {
		t.Errorf("%s: %d voicings", written(p), len(vs))
		return
	}
	fail := func(i int, format string, args ...any) {
		t.Helper()
		t.Errorf("%s in %v, chord %d: %s\n%v", written(p), p[0].Key, i+1, fmt.Sprintf(format, args...), vs)
	}
	for i, v := range vs {
		c := p[i].Chord
		if v[0].Note != c.Bass {
			fail(i, "bass %v, want %v", v[0], c.Bass)
		}
		seen := map[Note]int{}
		for part, q := range v {
			if !slices.Contains(c.Notes(), q.Note) {
				fail(i, "%v is no note of %v", q, c)
			}
			if m := q.MIDI(); m < texture.Ranges[part].Low || m > texture.Ranges[part].High {
				fail(i, "%v out of range", q)
			}
			seen[q.Note]++
			if part > 0 && (v[part-1].MIDI() > q.MIDI() || !texture.Unison && v[part-1].MIDI() == q.MIDI()) {
				fail(i, "parts cross or meet")
			}
			if part > 1 && q.MIDI()-v[part-1].MIDI() > texture.Gap {
				fail(i, "upper parts too far apart")
			}
		}
		if texture.Hand > 0 && v[3].MIDI()-v[1].MIDI() > texture.Hand {
			fail(i, "the right hand cannot reach it")
		}
		for _, d := range c.Quality.Tones() {
			n := c.Note(d)
			mayGo := d == Degree{5, 0} && c.Bass == c.Root || len(c.Notes()) > 4
			if seen[n] == 0 && !mayGo {
				fail(i, "%v is missing", n)
			}
			if d.Step == 7 && seen[n] > 1 && c.String() != germanOf(p[i]) {
				fail(i, "the seventh %v is doubled", n)
			}
		}
		if seventh, ok := c.Quality.Tone(7); ok && seen[c.Note(seventh)] == 0 {
			fail(i, "the seventh is missing")
		}
		if n := leadingTone(p[i]); seen[n] > 1 && len(p[i].Chord.Notes()) > 2 {
			fail(i, "the leading tone %v is doubled", n)
		}
		if i > 0 {
			checkStep(p[i-1], p[i], vs[i-1], v, func(format string, args ...any) { t.Helper(); fail(i, format, args...) })
		}
	}
}

// sixth tells an augmented sixth by its numeral.
func sixth(r Roman) bool {
	s := r.String()
	return strings.HasPrefix(s, "It") || strings.HasPrefix(s, "Fr") || strings.HasPrefix(s, "Ger")
}

func germanOf(r Roman) string {
	if strings.HasPrefix(r.String(), "Ger") {
		return r.Chord.String()
	}
	return ""
}

// leadingTone is ti of the key that the numeral is counted in, or fi in an
// augmented sixth.
func leadingTone(r Roman) Note {
	if sixth(r) {
		return r.Local.Note(Degree{4, 1})
	}
	return r.Local.Note(Degree{7, 0})
}

// isDominant tells whether ti of k is in the chord, and the chord one of V,
// vii° and III+ and what is built on them, and more than a power chord.
func isDominant(r Roman, k Key) bool {
	root := k.Degree(r.Chord.Root)
	fifth, _ := r.Chord.Quality.Tone(5)
	return len(r.Chord.Notes()) > 2 && slices.Contains(r.Chord.Notes(), k.Note(Degree{7, 0})) &&
		(root == Degree{5, 0} || root == Degree{7, 0} || root.Step == 3 && fifth.Alter == 1)
}

func checkStep(a, b Roman, x, y Voicing, fail func(string, ...any)) {
	for part := range 4 {
		if part > 0 && y[part].MIDI() < x[part-1].MIDI() || part < 3 && y[part].MIDI() > x[part+1].MIDI() {
			fail("parts overlap")
		}
		for other := range part {
			if x[part] == y[part] || x[other] == y[other] || x[part].MIDI() == y[part].MIDI() || x[other].MIDI() == y[other].MIDI() {
				continue
			}
			was, is := x[part].MIDI()-x[other].MIDI(), y[part].MIDI()-y[other].MIDI()
			if was%12 == 7 && is%12 == 7 {
				fail("parallel fifths")
			}
			if was%12 == 0 && is%12 == 0 {
				fail("parallel octaves")
			}
		}
	}
	next := b.Chord.Notes()
	hasNext := func(want func(down Interval) bool, from Note) bool {
		return slices.ContainsFunc(next, func(n Note) bool {
			down := Pitch{n, 4}.IntervalTo(Pitch{from, 4})
			if down.Steps < 0 {
				down = Pitch{n, 4}.IntervalTo(Pitch{from, 5})
			}
			return want(down)
		})
	}
	stepDown := func(i Interval) bool { return i.Steps == 1 && (i.Semitones == 1 || i.Semitones == 2) }
	if d, ok := a.Chord.Quality.Tone(7); ok && germanOf(a) == "" {
		seventh := a.Chord.Note(d)
		nextSeventh, has := b.Chord.Quality.Tone(7)
		sameChord := has && a.Chord.Root == b.Chord.Root && b.Chord.Note(nextSeventh) == seventh
		for part, q := range x {
			if q.Note != seventh || sameChord {
				continue
			}
			if !hasNext(stepDown, seventh) || stepDown(y[part].IntervalTo(q)) {
				continue
			}
			fifth := b.Chord.Note(Degree{5, 0})
			falls := func(n Note) bool { return n == q.Up(Interval{-1, -1}).Note || n == q.Up(Interval{-1, -2}).Note }
			// Of five tones the fifth may go, of more also what is not the bass.
			mayGo := falls(fifth) && (b.Chord.Bass == b.Chord.Root || len(next) > 4 && b.Chord.Bass != fifth) || len(next) > 5 && !falls(b.Chord.Bass)
			if y[part] != q || !mayGo {
				fail("the seventh %v does not fall", q)
			}
		}
	}
	lead := leadingTone(a)
	goal := lead.Up(Interval{1, 1})
	dominant := sixth(a) || isDominant(a, a.Local)
	again := slices.Contains(next, lead) && leadingTone(b) == lead && isDominant(b, a.Local)
	if !dominant || again || !slices.Contains(next, goal) {
		return
	}
	for part := 1; part < 4; part++ {
		if x[part].Note != lead {
			continue
		}
		if i := x[part].IntervalTo(y[part]); i == (Interval{1, 1}) {
			continue
		}
		seventh, ok := b.Chord.Quality.Tone(7)
		i := y[part].IntervalTo(x[part])
		if !ok || b.Chord.Note(seventh) != y[part].Note || i != (Interval{0, 0}) && i != (Interval{0, 1}) {
			fail("the leading tone %v does not rise", x[part])
		}
	}
}

// Random progressions, diatonic and chromatic, in all 30 keys. What cannot be
// set is said with the pair of chords, and everything before that pair can.
func TestVoiceRandomProgressions(t *testing.T) {
	const each = 100 // progressions in every key and texture
	rng := rand.New(rand.NewPCG(5, 3))
	total, refused, pairs := 0, 0, 0
	reasons := map[string]int{}
	longest := 0
	for _, k := range Keys() {
		numerals := drawnNumeral(k.Mode)
		for n := range each {
			var p []Roman
			for range 2 + rng.IntN(7) {
				p = append(p, mustRoman(t, numerals.Example(int(rng.Uint32())), k))
			}
			for name, texture := range textures() {
				if n%3 == 0 {
					texture = texture.Shift(rng.IntN(25) - 12)
				}
				total++
				pairs += len(p) - 1
				v, _, err := texture.Voice(p)
				if err == nil {
					checkVoicing(t, texture, p, v)
					longest = max(longest, len(p))
					continue
				}
				refused++
				if !errors.Is(err, ErrVoicing) {
					t.Fatal(err)
				}
				reasons[err.Error()[strings.LastIndex(err.Error(), ": ")+2:]]++
				var at, next int
				if _, scan := fmt.Sscanf(err.Error()[strings.Index(err.Error(), "chord ")+6:], "%d", &at); scan != nil {
					t.Fatalf("%s: %v names no chord", written(p), err)
				}
				if i := strings.Index(err.Error(), "to chord "); i >= 0 {
					fmt.Sscanf(err.Error()[i:], "to chord %d", &next)
				}
				if next != 0 && next != at+1 {
					t.Errorf("%v names no pair", err)
				}
				if next != 0 {
					if _, _, err := texture.Voice(p[:at]); err != nil {
						t.Errorf("%s for %s: chord %d is refused after %d was", written(p), name, at, next)
					}
					if _, _, again := texture.Voice(p[:next]); again == nil {
						t.Errorf("%s for %s: %v, but chords 1 to %d can be set", written(p), name, err, next)
					}
				}
			}
		}
	}
	t.Logf("%d progressions of %d chord changes, %d of them cannot be set (%.1f %%)", total, pairs, refused, 100*float64(refused)/float64(total))
	for _, reason := range slices.SortedFunc(maps.Keys(reasons), func(a, b string) int { return reasons[b] - reasons[a] }) {
		t.Logf("%4d %s", reasons[reason], reason)
	}
	if total < 3000 || refused*4 > total || longest < 6 {
		t.Errorf("%d progressions, %d refused, longest set %d: want thousands, few and long", total, refused, longest)
	}
}

// Progressions that harmony textbooks print are all set, in all keys.
func TestVoiceTextbookProgressions(t *testing.T) {
	for mode, list := range map[Mode][]string{
		Major: {
			"I V6 I IV I64 V7 I", "I V43 I6 IV V7 vi", "I vi ii65 V7 I", "I V42 I6 ii65 V I", "I viio6 I6 ii6 I64 V7 I", "I V65/V V I",
			"I V7/vi vi V7/V V7 I", "I IV N6 V7 I", "I iv It6 V I", "I Fr43 V I", "I Ger65 I64 V7 I", "I bVII IV I", "I ii7 V7 Imaj7", "iii7 vi7 ii7 V7 I",
			"I V+ I", "V7sus4 V7 I", "I IV/sol I", "I I6 IV iv I", "vi ii V7/ii ii V7 I", "I V7/IV IV viio7/V V7 I", "ii9 V13 Iadd9", "I ii7 I6 IV", "I V6 vi I64 IV I",
		},
		Minor: {
			"i V6 i iv i64 V7 i", "i iio6 V i", "i iiø65 V7 i", "i VI iv V i", "i viio7 i", "i V43 i6 iv V7 VI", "i N6 V7 i", "i iv6 V", "i v6 iv6 V", "i V7/iv iv V7 i",
			"i VII III VI iiø65 V i", "i It6 V i", "i Fr43 V i", "i Ger65 i64 V i", "i III+ i6", "i viio43 i6",
		},
	} {
		for _, k := range Keys() {
			if k.Mode != mode {
				continue
			}
			for _, s := range list {
				p := mustProgression(t, s, k)
				for name, texture := range textures() {
					v, _, err := texture.Voice(p)
					if err != nil {
						t.Errorf("%s in %v for %s: %v", s, k, name, err)
						continue
					}
					checkVoicing(t, texture, p, v)
				}
			}
		}
	}
}

// A texture and a key moved by the same interval move the voicing by it.
func TestVoiceTransposes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mode := Mode(rapid.IntRange(0, 1).Draw(t, "mode"))
		numerals := rapid.SliceOfN(drawnNumeral(mode), 1, 5).Draw(t, "numerals")
		texture := ChoirTexture()
		if rapid.Bool().Draw(t, "keyboard") {
			texture = KeyboardTexture()
		}
		var ks []Key
		for _, k := range Keys() {
			if k.Mode == mode {
				ks = append(ks, k)
			}
		}
		a, b := rapid.SampledFrom(ks).Draw(t, "from"), rapid.SampledFrom(ks).Draw(t, "to")
		up := Pitch{Note: a.Tonic}.IntervalTo(Pitch{Note: b.Tonic})
		read := func(k Key) (p []Roman) {
			for _, s := range numerals {
				r, err := ParseRoman(s, k)
				if err != nil {
					t.Fatal(err)
				}
				p = append(p, r)
			}
			return p
		}
		x, costX, errX := texture.Voice(read(a))
		y, costY, errY := texture.Shift(up.Semitones).Voice(read(b))
		if costX != costY || len(x) != len(y) || (errX == nil) != (errY == nil) {
			t.Fatalf("%v in %v: %d, %v; in %v: %d, %v", numerals, a, costX, errX, b, costY, errY)
		}
		for i := range x {
			for part := range x[i] {
				if x[i][part].Up(up) != y[i][part] {
					t.Fatalf("%v in %v: %v; in %v: %v", numerals, a, x, b, y)
				}
			}
		}
	})
}

// What cannot be set is told with the pair and the rule.
func TestVoiceErrors(t *testing.T) {
	for _, tc := range []struct{ progression, want string }{
		{"I V42 I", "from chord 2, V42, to chord 3, I: every way has a seventh that does not fall by step"},
		{"I V7 Imaj42 IV", "from chord 3, Imaj42, to chord 4, IV"},
	} {
		_, _, err := ChoirTexture().Voice(mustProgression(t, tc.progression, Key{}))
		if !errors.Is(err, ErrVoicing) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q", tc.progression, err, tc.want)
		}
	}
	narrow := ChoirTexture()
	narrow.Ranges[3] = Range{62, 61}
	if _, _, err := narrow.Voice(mustProgression(t, "V", Key{})); !errors.Is(err, ErrVoicing) || !strings.Contains(err.Error(), "chord 1, V") {
		t.Errorf("an empty range gives %v", err)
	}
	if _, _, err := narrow.Voice(nil); !errors.Is(err, ErrVoicing) {
		t.Errorf("no chord gives %v", err)
	}
	p := mustProgression(t, "I V", Key{})
	if _, err := ChoirTexture().Cost(p, make([]Voicing, 1)); !errors.Is(err, ErrVoicing) {
		t.Errorf("one voicing for two chords gives %v", err)
	}
}

// The least cost is found: every setting of short progressions within a narrow
// texture is tried, with notes that are placed here and not by the search.
func TestVoiceAgainstEnumeration(t *testing.T) {
	texture := Texture{Ranges: [4]Range{{43, 57}, {52, 64}, {57, 69}, {62, 74}}, Gap: 12, Unison: true, Top: 67}
	for _, s := range []string{"V7 I", "ii6 V7", "IV I", "V7/V V", "viio6 I6", "Ger65 V", "N6 V7", "IV/sol I"} {
		p := mustProgression(t, s, mustKey(t, "D"))
		var settings [2][]Voicing
		for i, r := range p {
			var pitches [4][]Pitch
			for part, span := range texture.Ranges {
				for _, n := range r.Chord.Notes() {
					for octave := 1; octave <= 6; octave++ {
						if q := (Pitch{n, octave}); q.MIDI() >= span.Low && q.MIDI() <= span.High && (part > 0 || n == r.Chord.Bass) {
							pitches[part] = append(pitches[part], q)
						}
					}
				}
			}
			for _, b := range pitches[0] {
				for _, te := range pitches[1] {
					for _, a := range pitches[2] {
						for _, so := range pitches[3] {
							v := Voicing{b, te, a, so}
							if _, err := texture.Cost(p[i:i+1], []Voicing{v}); err == nil {
								settings[i] = append(settings[i], v)
							}
						}
					}
				}
			}
		}
		least, tried := -1, 0
		for _, x := range settings[0] {
			for _, y := range settings[1] {
				tried++
				if c, err := texture.Cost(p, []Voicing{x, y}); err == nil && (least < 0 || c < least) {
					least = c
				}
			}
		}
		_, cost, err := texture.Voice(p)
		if err != nil && least >= 0 || err == nil && cost != least {
			t.Errorf("%s: found cost %d, %v; the least of %d settings is %d", s, cost, err, tried, least)
		}
		if tried < 20 {
			t.Errorf("%s: only %d settings were tried", s, tried)
		}
	}
}

func BenchmarkVoice(b *testing.B) {
	for name, texture := range textures() {
		p := mustProgression(b, "I vi ii65 V7 I IV I64 V7", mustKey(b, "Ab"))
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, _, err := texture.Voice(p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
