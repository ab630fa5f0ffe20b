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
	var last, before standing
	drawn := make([]standing, 0, n)
	draw := func(weigh func(standing) float64) standing {
		sum := 0.0
		for pass := range 2 {
			left := sum * random()
			if pass == 0 {
				left = -1
			}
			for bass, row := range id.on {
				for _, st := range row {
					if st.times == 0 || st.roman.Chord.Inversion() < 0 {
						continue
					}
					w := id.weight[bass] * st.share * weigh(st)
					if pass == 0 {
						sum += w
					} else if left -= w; w > 0 && left < 0 {
						return st
					}
				}
			}
		}
		panic("theory: no chord is likely") // a table is wrong
	}
	rootBelow := func(st standing) bool { return st.bass == st.root }
	follows := func(a, b standing) float64 {
		if a.bass == b.bass && a.root == b.root {
			return 0 // hardly anything moves
		}
		return id.step(a.bass, a.root, b)
	}
	home := func(st standing) float64 {
		if st.root != 0 || !rootBelow(st) || st.roman.Chord.Quality != homeTriad(k.Mode) {
			return 0
		}
		return 1
	}
	goal := home
	if n > 2 && random() >= closes {
		goal = func(st standing) float64 {
			switch st.roman.Chord.Quality.Triad() {
			case MajorHeard:
			case MinorHeard:
				if st.root == 7 {
					return 0
				}
			default:
				return 0
			}
			if st.root == 0 || cadential[st.root] == 0 || !rootBelow(st) {
				return 0
			}
			return 1
		}
	}
	last = draw(goal)
	if n > 1 {
		before = draw(func(st standing) float64 {
			if cadential[last.root]&(1<<st.root) == 0 || st.root != 11 && !rootBelow(st) {
				return 0
			}
			return follows(st, last)
		})
	}
	for i := range n {
		switch {
		case i == n-1:
			drawn = append(drawn, last)
		case i == n-2:
			drawn = append(drawn, before)
		case i == 0:
			drawn = append(drawn, draw(func(st standing) float64 {
				switch {
				case n == 3 && before.root == 0:
					return follows(st, before)
				case n == 3:
					return home(st) * follows(st, before)
				}
				return home(st)
			}))
		default:
			drawn = append(drawn, draw(func(st standing) float64 {
				w := follows(drawn[i-1], st)
				if i == n-3 {
					w *= follows(st, before)
				}
				return w
			}))
		}
	}
	out := make([]Roman, n)
	for i, st := range drawn {
		out[i] = Deduction{Key: k}.candidate(st).Roman
	}
	return out, nil
}

// homeTriad is the triad that ends in a key.
func homeTriad(m Mode) Quality {
	if m == Minor {
		return MinorTriad
	}
	return MajorTriad
}
