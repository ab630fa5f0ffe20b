package theory

import "fmt"

// cadential tells which roots may stand before the last chord of a progression that is
// drawn, in semitones above the tonic: a cadence (common practice).
var cadential = map[int]uint16{
	0: 1<<7 | 1<<5 | 1<<11 | 1<<10, // V, IV, VII and ♭VII to I
	7: 1<<0 | 1<<2 | 1<<5 | 1<<8,   // half closes
	9: 1 << 7,                      // deceptive, in major
	8: 1 << 7,                      // and in minor
}

// closes is how many of ten progressions that are drawn end on I; the others end on V,
// or where V is expected to go to I, on VI (judgement).
const closes = 0.8

// Draw draws n chords of k in a style, by a number from [0, 1) at each call of random:
// three and more begin on the tonic where they can, and end in a cadence; in between each chord is drawn by its
// share in the style, times how much likelier it is after the one before it, as
// [Deduce] weighs them. Only chords that were counted, or are in the style's judgement,
// come, and none twice in a row. The key must be major or minor, and n 1 or more.
func (s Style) Draw(k Key, n int, random func() float64) ([]Roman, error) {
	if k.Mode != Major && k.Mode != Minor || n < 1 {
		return nil, fmt.Errorf("%w: no %d chords of %s can be drawn: want one or more of a major or minor key", ErrKey, n, k.ASCII())
	}
	id := idioms[s][k.Mode]()
	home := func(st standing) float64 {
		if st.root != 0 || !st.upright() || st.roman.Chord.Quality != homeTriad(k.Mode) {
			return 0
		}
		return 1
	}
	goal := home
	if n > 2 && random() >= closes {
		goal = elsewhere
	}
	drawn := make([]standing, n)
	drawn[n-1] = id.draw(random, goal)
	last := drawn[n-1]
	if n > 1 {
		drawn[n-2] = id.draw(random, func(st standing) float64 {
			if cadential[last.root]&(1<<st.root) == 0 || st.root != 11 && !st.upright() {
				return 0
			}
			return id.follows(st, last)
		})
	}
	for i := range n - 2 {
		drawn[i] = id.draw(random, func(st standing) float64 {
			w := 1.0
			if i == n-3 {
				w = id.follows(st, drawn[n-2])
			}
			switch {
			case i > 0:
				return w * id.follows(drawn[i-1], st)
			case n == 3 && drawn[1].root == 0: // what comes before the tonic is another chord
				return w
			}
			return w * home(st)
		})
	}
	out := make([]Roman, n)
	for i, st := range drawn {
		out[i] = Deduction{Key: k}.candidate(st).Roman
	}
	return out, nil
}

// draw draws a chord that was counted, by its share of all chords and a weight.
func (id *idiom) draw(random func() float64, weigh func(standing) float64) standing {
	var list []standing
	var upTo []float64
	sum := 0.0
	for bass, row := range id.on {
		for _, st := range row {
			if st.times == 0 || st.roman.Chord.Inversion() < 0 {
				continue
			}
			if w := id.weight[bass] * st.share * weigh(st); w > 0 {
				sum += w
				list, upTo = append(list, st), append(upTo, sum)
			}
		}
	}
	at, left := 0, sum*random()
	for at < len(list)-1 && upTo[at] <= left {
		at++
	}
	return list[at]
}

// follows returns how much likelier a chord is after another than it is anywhere; 0
// where hardly anything moves.
func (id *idiom) follows(a, b standing) float64 {
	if a.bass == b.bass && a.root == b.root {
		return 0
	}
	return id.step(a.bass, a.root, b)
}

// upright tells that the root is in the bass.
func (st standing) upright() bool { return st.bass == st.root }

// elsewhere weighs the last chord of what does not end at home: a triad with its fifth,
// on V no minor one.
func elsewhere(st standing) float64 {
	triad := st.roman.Chord.Quality.Triad()
	if st.root == 0 || cadential[st.root] == 0 || !st.upright() || triad != MajorHeard && (triad != MinorHeard || st.root == 7) {
		return 0
	}
	return 1
}

// homeTriad is the triad that ends in a key.
func homeTriad(m Mode) Quality {
	if m == Minor {
		return MinorTriad
	}
	return MajorTriad
}
