package theory

import (
	"slices"
	"strings"
)

// simple tells whether a symbol or numeral has no doubled sign: nobody reads
// B𝄫7 or 𝄫VII at sight.
func simple(text string) bool {
	return !strings.ContainsAny(text, "𝄪𝄫") && !strings.Contains(text, "♯♯") && !strings.Contains(text, "♭♭")
}

// shifts are the ways to spell the same sounds on other letters, by how many
// letters up; the nearest first.
var shifts = [...]int{0, 1, -1, 2, -2, 3, -3}

// Readable returns the chord by which c is written for people: c itself where its
// symbol has no doubled sign, else one that sounds the same over the same bass:
// A7 for B𝄫7, D° for C𝄪°, and A♭7 for the German sixth of C.
func (c Chord) Readable() Chord {
	if simple(c.String()) {
		return c
	}
	best, least := c, -1
	try := func(d Chord, cost int) {
		if !simple(d.String()) {
			return
		}
		for _, n := range []Note{d.Root, d.Bass} {
			cost += 2 * abs(int(n.Alter))
			if n.Alter != 0 && slices.Contains(naturalSize[:], n.PitchClass()) { // B♯, F♭
				cost++
			}
		}
		if least < 0 || cost < least {
			best, least = d, cost
		}
	}
	for _, steps := range shifts {
		d := c.Up(Interval{Steps: steps})
		try(d, 0)
		// The bass alone may stay on its own letter: C°7/A.
		for _, low := range shifts {
			try(d.Over(c.Bass.Up(Interval{Steps: low})), 1)
		}
	}
	if least >= 0 {
		return best
	}
	return c.byEar()
}

// costByEar is what a root that is not the bass costs where a chord is named by
// ear: more than any symbol.
const costByEar = 100

// byEar names a chord whose symbol no spelling makes simple, by the sounds above
// one of its tones, the bass before others: the augmented sixths.
func (c Chord) byEar() Chord {
	degrees := [12]Degree{{1, 0}, {2, -1}, {2, 0}, {3, -1}, {3, 0}, {4, 0}, {5, -1}, {5, 0}, {5, 1}, {6, 0}, {7, -1}, {7, 0}}
	best, least := c, -1
	for _, root := range c.Notes() {
		for _, steps := range shifts {
			spelled := root.Up(Interval{Steps: steps})
			var q Quality
			ok := true
			for _, n := range c.Notes() {
				d := degrees[mod(n.PitchClass()-root.PitchClass(), 12)]
				if _, taken := q.Tone(d.Step); taken && d.Step > 1 {
					ok = false
				}
				q = q.with(d)
			}
			if !ok || !q.legal() {
				continue
			}
			d := Chord{spelled, q, spelled}
			for _, low := range shifts {
				if n := c.Bass.Up(Interval{Steps: low}); root != c.Bass {
					d = d.overSound(n)
				}
			}
			_, cost := q.write(symbolBases)
			if root != c.Bass {
				cost += costByEar
			}
			cost = 4*cost + abs(int(d.Root.Alter)) + abs(int(d.Bass.Alter))
			if simple(d.String()) && (least < 0 || cost < least) {
				best, least = d, cost
			}
		}
	}
	return best
}

// Readable returns the numeral by which r is written for people: r itself where it
// has no doubled sign, else that of the same sounds on other letters: vi°7 for
// 𝄫VII°7. Its chord need not be that of Chord.Readable: ♭II7/♭VI is as readable
// as it is, and its B𝄫7 is A7.
func (r Roman) Readable() Roman {
	for _, low := range shifts {
		for _, steps := range shifts {
			by := Interval{Steps: steps}
			s := Roman{Key: r.Key, Local: r.Local, Chord: r.Chord.Up(by)}
			s.Chord.Bass = s.Chord.Bass.Up(Interval{Steps: low})
			if r.Local != r.Key {
				s.Local.Tonic = r.Local.Tonic.Up(by)
			}
			text := s.String()
			bass := s.Local.Degree(s.Chord.Bass)
			if simple(text) && (abs(bass.Alter) < 2 || !strings.Contains(text, "/"+Movable.NameASCII(s.Local, bass))) {
				return s
			}
		}
		if r.Chord.Inversion() >= 0 { // only a foreign bass is spelled by itself
			break
		}
	}
	return r
}

// Readable returns k, or the key with fewer signs that sounds the same where the
// tonic has a doubled one.
func (k Key) Readable() Key {
	if abs(int(k.Tonic.Alter)) > 1 {
		return k.respelled()
	}
	return k
}
