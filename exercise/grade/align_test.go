package grade

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"singback/theory"
)

// dues are notes of equal length, one beat each, in C major.
func dues(t *testing.T, names string) []Due {
	t.Helper()
	key, err := theory.ParseKey("C major")
	if err != nil {
		t.Fatal(err)
	}
	m, err := theory.ParseMelody(names, key, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	var line []Due
	for i, p := range m.Pitches(4) {
		line = append(line, Due{Cents: 100 * float64(p.MIDI()), Onset: float64(i), Length: 1})
	}
	return line
}

// take sings notes of equal length, half a second each.
func take(t *testing.T, names string) []Sung { return singLine(dues(t, names), 0.5) }

func singLine(line []Due, pace float64) []Sung {
	var sung []Sung
	for _, d := range line {
		sung = append(sung, Sung{Cents: d.Cents, Onset: d.Onset * pace, Offset: (d.Onset + 0.9*d.Length) * pace, Level: -20})
	}
	return sung
}

// picture writes an alignment as a row of what answers each written note:
// numbers of sung notes, - for none, = for held over, ' and , for octaves; then
// the notes added, and where the singer went back.
func picture(a Alignment) string {
	var b strings.Builder
	for _, w := range a.Answers {
		switch {
		case w.Count == 0:
			b.WriteString("- ")
			continue
		case w.Merged:
			b.WriteString("= ")
			continue
		}
		fmt.Fprintf(&b, "%d", w.First)
		for k := 1; k < w.Count; k++ {
			fmt.Fprintf(&b, "+%d", w.First+k)
		}
		b.WriteString(strings.Repeat("'", max(0, w.Octave)) + strings.Repeat(",", max(0, -w.Octave)) + " ")
	}
	for j, i := range a.Written {
		if i < 0 {
			fmt.Fprintf(&b, "added:%d ", j)
		}
	}
	for _, r := range a.Restarts {
		fmt.Fprintf(&b, "back:%d>%d@%d ", r.From, r.To, r.Sung)
	}
	return strings.TrimSpace(b.String())
}

var anything = Freedom{Key: true, Octave: true}

// The check cases of edit distance against melodies, and one of each mistake
// that a teacher knows: common practice.
func TestAlign(t *testing.T) {
	scale := "do re mi fa sol la sol fa mi re do"
	drifting := take(t, scale)
	for j := range drifting {
		drifting[j].Cents += -60 * float64(j) / float64(len(drifting)-1)
	}
	octave := take(t, scale)
	octave[4].Cents += 1200
	whole := take(t, scale)
	for j := range whole {
		whole[j].Cents -= 1200
	}
	half := singLine(dues(t, scale), 1.0)
	wrong := take(t, scale)
	wrong[3].Cents += 100
	pause := take(t, scale)
	for j := 6; j < len(pause); j++ {
		pause[j].Onset, pause[j].Offset = pause[j].Onset+2, pause[j].Offset+2
	}
	for _, test := range []struct {
		rule, line string
		sung       []Sung
		want       string
	}{
		{"one omission, four right, not three wrong", "do re mi fa sol", take(t, "do re fa sol"), "0 1 - 2 3"},
		{"one split, not a shift", "do re mi", take(t, "do re re mi"), "0 1+2 3"},
		{"all of it", scale, take(t, scale), "0 1 2 3 4 5 6 7 8 9 10"},
		{"any transposition", "do re mi fa sol", take(t, "fa sol la te do'"), "0 1 2 3 4"},
		{"one addition", "do re mi fa sol", take(t, "do re la mi fa sol"), "0 1 3 4 5 added:2"},
		{"a wrong note stays in its place", scale, wrong, "0 1 2 3 4 5 6 7 8 9 10"},
		{"a restart from the beginning", "do re mi fa sol", take(t, "do re mi do re mi fa sol"), "3 4 5 6 7 back:3>0@3"},
		{"a restart on the way", scale, take(t, "do re mi fa sol la fa sol la sol fa mi re do"), "0 1 2 6 7 8 9 10 11 12 13 back:6>3@6"},
		{"two of the same held as one", "do re re mi fa", take(t, "do re mi fa"), "0 1 = 2 3"},
		{"a drift of 60 cents", scale, drifting, "0 1 2 3 4 5 6 7 8 9 10"},
		{"one note in another octave", scale, octave, "0 1 2 3 4' 5 6 7 8 9 10"},
		{"all of it in another octave", scale, whole, "0 1 2 3 4 5 6 7 8 9 10"},
		{"half the tempo", scale, half, "0 1 2 3 4 5 6 7 8 9 10"},
		{"a long hesitation", scale, pause, "0 1 2 3 4 5 6 7 8 9 10"},
		{"nothing sung", "do re mi", nil, "- - -"},
		{"the end is missing", scale, take(t, "do re mi fa sol la"), "0 1 2 3 4 5 - - - - -"},
		{"the beginning is missing", "do mi fa sol la", take(t, "mi fa sol la"), "- 0 1 2 3"},
	} {
		t.Run(test.rule, func(t *testing.T) {
			a, err := Align(dues(t, test.line), true, test.sung, anything)
			if err != nil {
				t.Fatal(err)
			}
			if got := picture(a); got != test.want {
				t.Errorf("%s sung as %v:\n got %s\nwant %s", test.line, test.sung, got, test.want)
			}
		})
	}
}

// bruteCost is the least cost by trying every way. It shares the costs of single
// operations with the dynamic programme, and nothing else.
func bruteCost(s *search, i, j int, back bool) float64 {
	m, n := len(s.line), len(s.sung)
	if i == m && j == n {
		return 0
	}
	best := math.Inf(1)
	try := func(cost float64, i, j int) {
		if rest := bruteCost(s, i, j, false); cost+rest < best {
			best = cost + rest
		}
	}
	if i < m && !back {
		try(omitCost, i+1, j)
	}
	if j < n {
		try(s.add[j], i, j+1)
		for k := 1; k <= pieces && j+k <= n && i < m; k++ {
			if k == 1 {
				c, _, _ := s.pitch(i, j)
				try(c+s.time(i, j), i+1, j+1)
			} else if c, ok := s.split(i, j, j+k); ok {
				try(c, i+1, j+k)
			}
		}
		for k := 2; k <= pieces && i+k <= m && s.level(i, i+k); k++ {
			c, _, _ := s.pitch(i, j)
			try(c+s.time(i, j)+mergeCost*float64(k-1), i+k, j+1)
		}
		if !back {
			for to := range i {
				if rest := bruteCost(s, to, j, true); backCost+rest < best {
					best = backCost + rest
				}
			}
		}
	}
	return best
}

func TestAlignAgainstEveryWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		note := rapid.Float64Range(-700, 700)
		if rapid.Bool().Draw(t, "few pitches") {
			note = rapid.Map(rapid.IntRange(0, 3), func(n int) float64 { return 200 * float64(n) })
		}
		pitches := rapid.SliceOfN(note, 1, 4).Draw(t, "line")
		sungs := rapid.SliceOfN(note, 0, 4).Draw(t, "sung")
		s := &search{timed: true, start: 0.3, pace: 0.5}
		for i, c := range pitches {
			s.line = append(s.line, Due{c, float64(i), 1})
		}
		for j, c := range sungs {
			s.sung = append(s.sung, Sung{Cents: c, Onset: 0.6 * float64(j), Offset: 0.6*float64(j) + 0.2 + 0.1*float64(j%3)})
		}
		s.prepare()
		s.late = make([]float64, len(s.sung))
		a := s.run()
		if want := bruteCost(s, 0, 0, false); math.Abs(a.Cost-want) > 1e-9 {
			t.Fatalf("line %v sung %v: cost %g, every way %g", pitches, sungs, a.Cost, want)
		}
		// What the moves say adds up to what they cost.
		cost := 0.0
		for j, i := range a.Written {
			if i < 0 {
				cost += s.add[j]
			}
		}
		cost += backCost * float64(len(a.Restarts))
		if len(a.Restarts) > 0 {
			return // earlier passes are told only in part
		}
		for i, w := range a.Answers {
			switch {
			case w.Count == 0:
				cost += omitCost
			case w.Merged:
				cost += mergeCost
			case w.Count > 1:
				c, _ := s.split(i, w.First, w.First+w.Count)
				cost += c
			default:
				c, _, _ := s.pitch(i, w.First)
				cost += c + s.time(i, w.First)
			}
		}
		if math.Abs(cost-a.Cost) > 1e-9 {
			t.Fatalf("line %v sung %v: %s costs %g, said %g", pitches, sungs, picture(a), cost, a.Cost)
		}
	})
}

// A take in another key, octave and tempo is the same take.
func TestAlignInAnyKeyAndTempo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		note := rapid.Map(rapid.IntRange(0, 12), func(n int) float64 { return 6000 + 100*float64(n) })
		var line []Due
		at := 0.0
		for _, c := range rapid.SliceOfN(note, 2, 12).Draw(t, "line") {
			length := rapid.SampledFrom([]float64{0.5, 1, 1, 2}).Draw(t, "length")
			line = append(line, Due{c, at, length})
			at += length
		}
		sung := singLine(line, 0.6)
		for j := range sung {
			sung[j].Cents += rapid.Float64Range(-40, 40).Draw(t, "error")
			if rapid.IntRange(0, 5).Draw(t, "wrong") == 0 {
				sung[j].Cents += 200
			}
		}
		drop := rapid.IntRange(0, len(sung)-1).Draw(t, "dropped")
		sung = slices.Delete(sung, drop, drop+1)
		timed := rapid.Bool().Draw(t, "timed")
		want, err := Align(line, timed, sung, anything)
		if err != nil {
			t.Fatal(err)
		}
		up := rapid.Float64Range(-2000, 2000).Draw(t, "transposition")
		tempo := rapid.SampledFrom([]float64{0.5, 0.7, 1, 1.9, 2}).Draw(t, "tempo")
		moved := slices.Clone(sung)
		for j := range moved {
			moved[j].Cents += up
			moved[j].Onset = moved[j].Onset*tempo + 3
			moved[j].Offset = moved[j].Offset*tempo + 3
		}
		got, err := Align(line, timed, moved, anything)
		if err != nil {
			t.Fatal(err)
		}
		if picture(got) != picture(want) {
			t.Fatalf("moved by %g cents and %g times as bruteCost:\n got %s\nwant %s", up, tempo, picture(got), picture(want))
		}
		if math.Abs(got.Transposition-want.Transposition-up) > 0.01 {
			t.Fatalf("moved by %g cents: transposition %g, was %g", up, got.Transposition, want.Transposition)
		}
	})
}
