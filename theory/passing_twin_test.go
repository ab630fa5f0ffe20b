package theory_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "singback/theory"
)

// heard is a chord as it sounds: pitch classes, and which of them is below.
type heard struct {
	root, bass int
	above      [12]bool // by semitones over the root
}

func hear(c Chord) heard {
	h := heard{root: c.Root.PitchClass(), bass: c.Bass.PitchClass()}
	for _, d := range c.Quality.Tones() {
		h.above[((c.Note(d).PitchClass()-h.root)%12+12)%12] = true
	}
	return h
}

func (h heard) over(home int) int { return ((h.root-home)%12 + 12) % 12 }
func (h heard) low(home int) int  { return ((h.bass-home)%12 + 12) % 12 }
func (h heard) major() bool       { return h.above[4] && !h.above[3] }
func (h heard) dominant() bool    { return h.above[10] && (h.above[4] || h.above[5]) }
func (h heard) diminished() bool  { return h.above[3] && h.above[6] }

// promises says of every rule what its chords sound like, in semitones from the goal,
// from the home key, and from the chord before: nothing of the rules is used.
var promises = map[string]func(home int, minor bool, from, to heard, cs []heard) bool{
	"secondary dominant":        func(_ int, _ bool, _, to heard, cs []heard) bool { return one(cs, to, 7) && cs[0].major() },
	"ii-V":                      func(_ int, _ bool, _, to heard, cs []heard) bool { return roots(cs, to, 2, 7) && cs[1].dominant() },
	"tritone substitute":        func(_ int, _ bool, _, to heard, cs []heard) bool { return one(cs, to, 1) && cs[0].dominant() },
	"ii and tritone substitute": func(_ int, _ bool, _, to heard, cs []heard) bool { return roots(cs, to, 2, 1) && cs[1].dominant() },
	"passing diminished, rising": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return cs[0].low(to.bass) == 11 && cs[0].diminished()
	},
	"passing diminished, falling": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return cs[0].low(to.bass) == 1 && cs[0].diminished()
	},
	"common-tone diminished": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return one(cs, to, 0) && cs[0].diminished() && to.major()
	},
	"plagal": func(home int, _ bool, _, to heard, cs []heard) bool {
		return to.root == home && one(cs, to, 5) && cs[0].major()
	},
	"minor plagal": func(home int, _ bool, _, to heard, cs []heard) bool {
		return to.root == home && one(cs, to, 5) && cs[0].above[3]
	},
	"double plagal": func(home int, _ bool, _, to heard, cs []heard) bool { return to.root == home && roots(cs, to, 10, 5) },
	"back door": func(home int, minor bool, _, to heard, cs []heard) bool {
		last := cs[len(cs)-1]
		return !minor && to.root == home && last.over(home) == 10 && last.dominant() && (len(cs) == 1 || cs[0].over(home) == 5 && cs[0].above[3])
	},
	"lowered VI and VII": func(home int, _ bool, _, to heard, cs []heard) bool {
		last := cs[len(cs)-1]
		return to.root == home && last.over(home) == 10 && last.major() && (len(cs) == 1 || cs[0].over(home) == 8 && cs[0].major())
	},
	"IV over sol": func(home int, _ bool, _, _ heard, cs []heard) bool {
		return cs[0].over(home) == 5 && cs[0].low(home) == 7
	},
	"eleventh dominant": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return cs[0].low(to.root) == 7 && (cs[0].over(to.root) == 5 || cs[0].over(to.root) == 2)
	},
	"suspended dominant": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return roots(cs, to, []int{7, 7}[:len(cs)]...) && cs[0].above[5] && !cs[0].above[4] && (len(cs) == 1 || cs[1].dominant() && cs[1].major())
	},
	"coloured dominant": func(_ int, _ bool, _, to heard, cs []heard) bool {
		h := cs[0].above
		return one(cs, to, 7) && cs[0].dominant() && (to.major() && h[2] || !to.major() && (h[1] || h[3] || h[8]))
	},
	"augmented dominant": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return one(cs, to, 7) && cs[0].above[8] && !cs[0].above[7]
	},
	"suspension": func(_ int, _ bool, _, to heard, cs []heard) bool { return one(cs, to, 0) && cs[0].above[5] },
	"chord in fourths": func(_ int, _ bool, _, to heard, cs []heard) bool {
		h := cs[0].above // the fourths re sol do fa: 0, 5, 10 and 15 semitones
		return one(cs, to, 7) && h[0] && h[5] && h[10] && h[3]
	},
	"rising third in the bass": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return cs[0].over(to.root) == 7 && cs[0].low(to.bass) == 11 && cs[0].major()
	},
	"falling seventh in the bass": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return cs[0].over(to.root) == 7 && cs[0].low(to.root) == 5 && cs[0].dominant()
	},
	"between inversions": func(_ int, _ bool, from, to heard, cs []heard) bool {
		// The bass goes on by steps, and the chord has the goal's leading tone.
		leads := cs[0].above[((to.root+11-cs[0].root)%12+12)%12]
		return from.root == to.root && from.bass != to.bass && stepwise(from, to, cs) && leads
	},
	"bass run, falling":      func(_ int, _ bool, from, to heard, cs []heard) bool { return stays(from, cs) && line(from, to, cs, -1) },
	"bass run, rising":       func(_ int, _ bool, from, to heard, cs []heard) bool { return stays(from, cs) && line(from, to, cs, 1) },
	"bass in steps, rising":  func(_ int, _ bool, from, to heard, cs []heard) bool { return line(from, to, cs, 1) },
	"bass in steps, falling": func(_ int, _ bool, from, to heard, cs []heard) bool { return line(from, to, cs, -1) },
	"walk-up": func(home int, _ bool, from, to heard, cs []heard) bool {
		return from.root == home && line(from, to, cs, 1)
	},
	"walk-down": func(home int, _ bool, from, to heard, cs []heard) bool {
		return from.root == home && downward(from, cs)
	},
	"tonic pedal": func(home int, _ bool, _, _ heard, cs []heard) bool {
		return cs[0].bass == home && cs[0].over(home) == 5
	},
	"chain of dominants": func(_ int, _ bool, _, to heard, cs []heard) bool {
		return fifths(to, cs) && !slices.ContainsFunc(cs, notDominant)
	},
	"chain of fifths": func(_ int, _ bool, _, to heard, cs []heard) bool { return len(cs) == 3 && fifths(to, cs) },
	"turnaround": func(_ int, _ bool, from, to heard, cs []heard) bool {
		last := cs[len(cs)-1]
		six := cs[0].over(to.root)
		return from.root == to.root && len(cs) == 3 && last.over(to.root) == 7 && last.major() && (six == 9 || six == 8)
	},
}

func notDominant(h heard) bool { return !h.dominant() || !h.major() }

// roots tells whether the chords stand on these semitones above the goal's root, each
// over its own root.
func roots(cs []heard, to heard, above ...int) bool {
	for i, c := range cs {
		if c.over(to.root) != above[i] || c.bass != c.root {
			return false
		}
	}
	return len(cs) == len(above)
}

func one(cs []heard, to heard, above int) bool { return roots(cs, to, above) }

// fifths tells whether each root lies a fifth above the next, the last above the goal.
func fifths(to heard, cs []heard) bool {
	for i, c := range cs {
		next := to.root
		if i+1 < len(cs) {
			next = cs[i+1].root
		}
		if c.over(next) != 7 {
			return false
		}
	}
	return true
}

// basses are the basses from the first chord to the last.
func basses(from, to heard, cs []heard) []int {
	list := []int{from.bass}
	for _, c := range append(cs[:len(cs):len(cs)], to) {
		list = append(list, c.bass)
	}
	return list
}

// line tells whether the bass goes in steps of one or two semitones, one way.
func line(from, to heard, cs []heard, way int) bool {
	list := basses(from, to, cs)
	for i := 1; i < len(list); i++ {
		if n := ((list[i]-list[i-1])*way%12 + 12) % 12; n != 1 && n != 2 {
			return false
		}
	}
	return true
}

func stepwise(from, to heard, cs []heard) bool {
	return line(from, to, cs, 1) || line(from, to, cs, -1)
}

// downward tells whether the bass falls by step as far as the chords put in go.
func downward(from heard, cs []heard) bool {
	return line(from, cs[len(cs)-1], cs[:len(cs)-1], -1) || len(cs) == 1 && line(from, cs[0], nil, -1)
}

func stays(from heard, cs []heard) bool {
	return !slices.ContainsFunc(cs, func(c heard) bool { return c.root != from.root || c.above != from.above })
}

// Whatever two chords and key: each way sounds as its rule promises, has one to three
// chords, and is written so that it can be read. Every rule has a promise, and is
// tried.
func TestPassingChordsPromises(t *testing.T) {
	tried := map[string]int{}
	var diatonic []Chord
	check := func(t rapid.TB, from, to Chord, k Key) {
		for _, p := range PassingChords(from, to, k) {
			promise := promises[p.Device]
			if promise == nil {
				t.Fatalf("%s: no promise is written down", p.Device)
			}
			tried[p.Device]++
			var cs []heard
			for _, r := range p.Chords {
				cs = append(cs, hear(r.Chord))
				if number, _ := r.ReadableNumber(); !plainSigns(r.Chord.Readable().String()) || !plainSigns(r.Readable().String()) || !plainSigns(number) {
					t.Fatalf("between %v and %v in %v: %v, %v, %s are offered", from, to, k, r.Chord.Readable(), r.Readable(), number)
				}
			}
			if len(cs) < 1 || len(cs) > 3 || !promise(k.Tonic.PitchClass(), k.Mode == Minor, hear(from), hear(to), cs) {
				t.Fatalf("between %v and %v: %v does not sound as %s promises", from, to, p, p.Device)
			}
		}
	}
	for _, k := range Keys() {
		diatonic = diatonic[:0]
		for _, s := range []string{"I", "I6", "I64", "ii", "iii", "IV", "IV6", "V", "V7", "V6", "vi", "i", "i6", "i64", "iv", "bVI", "bVII", "bIII", "II7", "Imaj7", "ii7"} {
			diatonic = append(diatonic, mustRoman(t, s, Key{Tonic: k.Tonic}).Chord)
		}
		for _, from := range diatonic {
			for _, to := range diatonic {
				check(t, from, to, k)
			}
		}
	}
	for _, name := range Devices() {
		if tried[name] < 15 {
			t.Errorf("%s was tried %d times", name, tried[name])
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(Keys()).Draw(t, "key")
		draw := func(label string) Chord {
			root := k.Note(Degree{Step: rapid.IntRange(1, 7).Draw(t, label), Alter: rapid.IntRange(-1, 1).Draw(t, label+" sign")})
			q, err := ParseQuality(rapid.SampledFrom([]string{"", "m", "7", "m7", "maj7", "dim", "sus4", "6", "m7b5", "9"}).Draw(t, label+" quality"))
			if err != nil {
				t.Fatal(err)
			}
			c := Chord{Root: root, Quality: q, Bass: root}
			return c.Over(rapid.SampledFrom(c.Notes()).Draw(t, label+" bass"))
		}
		check(t, draw("from"), draw("to"), k)
	})
}

// plainSigns tells whether no sign is doubled.
func plainSigns(s string) bool {
	return !strings.ContainsAny(s, "𝄪𝄫") && !strings.Contains(s, "♯♯") && !strings.Contains(s, "♭♭")
}
