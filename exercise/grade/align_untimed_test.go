//go:build !js

package grade

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Without rhythm: the check cases of edit distance against melodies (common practice), and
// what trained people who aligned recordings of sight-singing took for what
// (sight-singing/alignments.csv of the reference data): a wrong note stays in its place,
// two of them too, where leaving out and adding would save one; of what is sung again
// the first time counts; and the key of who loses it is another.
func TestAlignWithoutRhythm(t *testing.T) {
	scale := "do re mi fa sol la sol fa mi re do"
	off := func(names string, from, to int, cents ...float64) []Sung {
		sung := take(t, names)
		for j := from; j < to; j++ {
			sung[j].Cents += cents[(j-from)%len(cents)]
		}
		return sung
	}
	cut := take(t, "do re re mi fa sol la sol fa mi re do")
	cut[1].Offset = cut[1].Onset + 0.1
	cut[2].Onset = cut[1].Offset
	slip := take(t, "do re mi fa re sol la sol fa mi re do")
	slip[4].Offset = slip[4].Onset + 0.1
	for _, test := range []struct {
		rule, line string
		sung       []Sung
		want       string
	}{
		{"all of it", scale, take(t, scale), "0 1 2 3 4 5 6 7 8 9 10"},
		{"any transposition", "do re mi fa sol", take(t, "fa sol la te do'"), "0 1 2 3 4"},
		{"one omission, four right, not three wrong", "do re mi fa sol", take(t, "do re fa sol"), "0 1 - 2 3"},
		{"two omissions", scale, take(t, "do re mi la sol fa mi re do"), "0 1 2 - - 3 4 5 6 7 8"},
		{"the end is missing", scale, take(t, "do re mi fa sol la"), "0 1 2 3 4 5 - - - - -"},
		{"the beginning is missing", "do mi fa sol la", take(t, "mi fa sol la"), "- 0 1 2 3"},
		{"nothing sung", "do re mi", nil, "- - -"},
		{"one addition", "do re mi fa sol", take(t, "do re la mi fa sol"), "0 1 3 4 5 added:2"},
		{"a slip of the voice", scale, slip, "0 1 2 3 5 6 7 8 9 10 11 added:4"},
		{"one split, not a shift", "do re mi", take(t, "do re re mi"), "0 1+2 3"},
		{"a note that was cut", scale, cut, "0 1+2 3 4 5 6 7 8 9 10 11"},
		{"two of the same held as one", "do re re mi fa", take(t, "do re mi fa"), "0 1 = 2 3"},
		{"a wrong note", scale, take(t, "do re mi la sol la sol fa mi re do"), "0 1 2 3 4 5 6 7 8 9 10"},
		{"two wrong notes, the second as the first should be", scale, take(t, "do re mi re fa la sol fa mi re do"), "0 1 2 3 4 5 6 7 8 9 10"},
		{"two notes the wrong way round", scale, take(t, "do re mi sol fa la sol fa mi re do"), "0 1 2 3 4 5 6 7 8 9 10"},
		{"a fourth flat, then one sharp", "do do re fa re do do", off("do do re fa re do do", 3, 5, -119, 277), "0 1 2 3 4 5 6"},
		{"one note in another octave", scale, off(scale, 4, 5, 1200), "0 1 2 3 4' 5 6 7 8 9 10"},
		{"all of it in another octave", scale, off(scale, 0, 11, -1200), "0 1 2 3 4 5 6 7 8 9 10"},
		{"a drift of a tone", scale, off(scale, 0, 11, 0, -20, -40, -60, -80, -100, -120, -140, -160, -180, -200), "0 1 2 3 4 5 6 7 8 9 10"},
		{"on in a key a tone lower", scale, off(scale, 6, 11, -200), "0 1 2 3 4 5 6 7 8 9 10"},
		{"from the beginning again", "do re mi fa sol", take(t, "do re mi do re mi fa sol"), "0 1 2 6 7 back:3>0@3"},
		{"three notes again", scale, take(t, "do re mi fa sol la fa sol la sol fa mi re do"), "0 1 2 3 4 5 9 10 11 12 13 back:6>3@6"},
		{"a wrong note, and again from before it", scale, take(t, "do re mi la do re mi fa sol la sol fa mi re do"), "0 1 2 3 8 9 10 11 12 13 14 back:4>0@4"},
	} {
		t.Run(test.rule, func(t *testing.T) {
			a, err := Align(dues(t, test.line), false, test.sung, anything)
			if err != nil {
				t.Fatal(err)
			}
			if got := picture(a); got != test.want {
				t.Errorf("%s sung as %v:\n got %s\nwant %s", test.line, test.sung, got, test.want)
			}
			for j, i := range a.Written {
				if w := a.Answers[max(0, i)]; i >= 0 && a.Again[j] != (j < w.First || j >= w.First+w.Count) {
					t.Errorf("sung note %d of written %d: again %v, which is answered by %v", j, i, a.Again[j], w)
				}
			}
		})
	}
}

// In the key of the line a take a tone off is wrong notes, not another key.
func TestAlignWithoutRhythmInItsKey(t *testing.T) {
	scale := "do re mi fa sol la sol fa mi re do"
	sung := take(t, scale)
	for j := 4; j < 11; j++ {
		sung[j].Cents += 300
	}
	a, err := Align(dues(t, scale), false, sung, Freedom{Octave: true})
	if err != nil {
		t.Fatal(err)
	}
	for j, r := range a.Reference {
		if math.Abs(octaveFold(r)) > keyReach+equal {
			t.Errorf("sung note %d: the key lies %.0f cents from the line's", j, r)
		}
	}
}

// ways is the least cost by trying every way. It shares the costs of single operations
// with the dynamic programme, and nothing else.
type ways struct {
	r    *untimed
	seen map[[4]int]float64
}

func (w *ways) from(i, j, key, back int) float64 {
	r := w.r
	m, n := len(r.line), len(r.sung)
	if i == m && j == n {
		return 0
	}
	at := [4]int{i, j, key, back}
	if best, ok := w.seen[at]; ok {
		return best
	}
	best := math.Inf(1)
	if i < m && back == 0 {
		best = freeOmit + w.from(i+1, j, key, 0)
	}
	if j < n {
		best = min(best, r.by(j, freeSlip, freeAdd)+w.from(i, j+1, key, 0))
		for k := range r.offset {
			moved := freeMove
			switch k - key {
			case 0:
				moved = 0
			case 1, -1:
				moved = freeStep
			}
			for p := 1; p <= pieces && j+p <= n && i < m; p++ {
				cost := r.off(i, j, k)
				if p > 1 {
					var ok bool
					if cost, ok = r.parts(i, j, j+p, k); !ok {
						continue
					}
				}
				best = min(best, moved+cost+w.from(i+1, j+p, k, 0))
			}
			for p := 2; p <= pieces && i+p <= m && r.level(i, i+p); p++ {
				best = min(best, moved+r.off(i, j, k)+freeHeld*float64(p-1)+w.from(i+p, j+1, k, 0))
			}
		}
		for to := 0; to < i && back == 0; to++ {
			best = min(best, freeBack+w.from(to, j, key, 1))
		}
	}
	w.seen[at] = best
	return best
}

func TestAlignWithoutRhythmAgainstEveryWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		note := rapid.Float64Range(-700, 700)
		if rapid.Bool().Draw(t, "few pitches") {
			note = rapid.Map(rapid.IntRange(0, 3), func(n int) float64 { return 200 * float64(n) })
		}
		s := &search{}
		for i, c := range rapid.SliceOfN(note, 1, 5).Draw(t, "line") {
			s.line = append(s.line, Due{c, float64(i), 1})
		}
		for j, c := range rapid.SliceOfN(note, 0, 6).Draw(t, "sung") {
			s.sung = append(s.sung, Sung{Cents: c, Onset: 0.6 * float64(j), Offset: 0.6*float64(j) + 0.2 + 0.1*float64(j%3)})
		}
		s.prepare()
		r := s.newUntimed()
		r.begin(0, anything)
		a, _ := r.read()
		want := math.Inf(1)
		for k := range r.offset {
			w := ways{r, map[[4]int]float64{}}
			want = min(want, r.first[k]+w.from(0, 0, k, 0))
		}
		if math.Abs(a.Cost-want) > 1e-9 {
			t.Fatalf("line %v sung %v: cost %g, every way %g", s.line, s.sung, a.Cost, want)
		}
	})
}

// A long line is aligned as over all cells without rhythm, too, in one key.
func TestLongLineWithoutRhythm(t *testing.T) {
	if raceDetector {
		t.Skip("one goroutine: there is nothing for the race detector, under which it takes long")
	}
	line, sung := longLine(2200, 7, func(i int) int { return i - 100*b2i(i == 1100) })
	s := &search{line: line, sung: sung}
	s.prepare()
	s.setKey(-300)
	cost := func() float64 {
		r := s.newUntimed()
		r.begin(-300, anything)
		a, _ := r.read()
		if len(r.offset) != 1 {
			t.Errorf("%d notes are looked at in %d keys", len(line), len(r.offset))
		}
		return a.Cost
	}
	banded := cost()
	if s.width > len(line) {
		t.Fatalf("%d notes are looked at in full", len(line))
	}
	s.width = len(line) + 1
	if full := cost(); math.Abs(banded-full) > 1e-6 {
		t.Errorf("cost %.3f, over all cells %.3f", banded, full)
	}
}
