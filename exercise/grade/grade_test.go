package grade

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"singback/theory"
)

// scaleLine is a line of eleven equal notes in C major.
func scaleLine(t *testing.T) Line {
	t.Helper()
	m, err := theory.ParseMelody("do re mi fa sol la sol fa mi re do", theory.Key{}, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	line, err := NewMelodyLine(m, 4, theory.Tuning{A4: 440})
	if err != nil {
		t.Fatal(err)
	}
	line.Timed = true
	return line
}

func TestGrade(t *testing.T) {
	line := scaleLine(t)
	for _, test := range []struct {
		name            string
		change          func([]Sung) []Sung
		right, omitted  int
		added, restarts int
		points          int
		flow            bool
	}{
		{"as written", func(s []Sung) []Sung { return s }, 11, 0, 0, 0, 8, true},
		{"an octave lower and a fifth", func(s []Sung) []Sung {
			for j := range s {
				s[j].Cents -= 1900
			}
			return s
		}, 11, 0, 0, 0, 8, true},
		{"one note left out, the others in time", func(s []Sung) []Sung { return slices.Delete(s, 4, 5) }, 10, 1, 0, 0, 6, true},
		{"one wrong note", func(s []Sung) []Sung { s[4].Cents += 200; return s }, 10, 0, 0, 0, 7, true},
		{"a note between", func(s []Sung) []Sung {
			s[4].Offset = s[4].Onset + 0.2
			return slices.Insert(s, 5, Sung{Cents: s[4].Cents + 500, Onset: s[4].Onset + 0.22, Offset: s[4].Onset + 0.45})
		}, 11, 0, 1, 0, 8, true},
		{"a restart", func(s []Sung) []Sung {
			again := slices.Clone(s)
			for j := range again {
				again[j].Onset += 3
				again[j].Offset += 3
			}
			return append(s[:4], again...)
		}, 11, 0, 0, 1, 6, false},
		{"a hesitation", func(s []Sung) []Sung {
			for j := 6; j < len(s); j++ {
				s[j].Onset += 1.5
				s[j].Offset += 1.5
			}
			return s
		}, 11, 0, 0, 0, -1, false},
		{"nothing", func(s []Sung) []Sung { return nil }, 0, 11, 0, 0, 0, false},
	} {
		t.Run(test.name, func(t *testing.T) {
			g, err := Of(line, Performance{Notes: test.change(singLine(line.Notes, 0.5))}, DefaultRules())
			if err != nil {
				t.Fatal(err)
			}
			if g.Right != test.right || g.Omitted != test.omitted || len(g.Added) != test.added || len(g.Alignment.Restarts) != test.restarts {
				t.Errorf("right %d omitted %d added %d restarts %d; want %d %d %d %d (%s)", g.Right, g.Omitted, len(g.Added), len(g.Alignment.Restarts),
					test.right, test.omitted, test.added, test.restarts, picture(g.Alignment))
			}
			if test.points >= 0 && g.Points != test.points {
				t.Errorf("%d points, want %d: %v flow %v", g.Points, test.points, g.Segments, g.Flow)
			}
			if g.PointsOf != 8 || len(g.Segments) != 3 { // eleven beats without bars: 4, 4 and 3, and the flow
				t.Errorf("%d points in %d parts, want 8 in 3", g.PointsOf, len(g.Segments))
			}
			if g.Flow != test.flow {
				t.Errorf("flow %v, want %v (hesitations %v)", g.Flow, test.flow, g.Hesitations)
			}
			if !(g.Score >= 0 && g.Score <= 1 && g.Pass >= 0 && g.Pass <= 1) {
				t.Errorf("score %g, pass %g: out of range", g.Score, g.Pass)
			}
			if test.name == "as written" && (g.Score < 0.9 || g.Pass < 0.9) {
				t.Errorf("a take without a fault: score %g, pass %g, %v", g.Score, g.Pass, g.Faults)
			}
			if test.name == "nothing" && g.Pass > 0.01 {
				t.Errorf("nothing sung: pass %g", g.Pass)
			}
		})
	}
}

// Points are counted by bars: two for a bar that is right, one for pitch or
// rhythm alone, two for the flow; a bar of rest does not count, and one that is
// only held on counts by its pitch (worked out by hand).
func TestGradePoints(t *testing.T) {
	// do re | mi – | – | (rest) | fa sol, two beats to a bar
	line := Line{Timed: true, Bars: []float64{0, 2, 4, 6, 8}, Notes: []Due{
		{Cents: 0, Onset: 0, Length: 1}, {Cents: 200, Onset: 1, Length: 1}, {Cents: 400, Onset: 2, Length: 4},
		{Cents: 500, Onset: 8, Length: 1}, {Cents: 700, Onset: 9, Length: 1},
	}}
	for _, test := range []struct {
		name       string
		change     func([]Sung) []Sung
		timed      bool
		points, of int
	}{
		{"as written", func(s []Sung) []Sung { return s }, true, 10, 10},
		{"nothing", func([]Sung) []Sung { return nil }, true, 0, 10},
		{"a wrong first note", func(s []Sung) []Sung { s[0].Cents += 300; return s }, true, 9, 10},
		{"a late last note", func(s []Sung) []Sung { s[4].Onset += 0.2; return s }, true, 9, 10},
		{"the same, rhythm not judged", func(s []Sung) []Sung { s[4].Onset += 0.2; return s }, false, 10, 10},
		{"a wrong held note", func(s []Sung) []Sung { s[2].Cents += 300; return s }, true, 7, 10},
		{"a wrong first note, rhythm not judged", func(s []Sung) []Sung { s[0].Cents += 300; return s }, false, 8, 10},
	} {
		line.Timed = test.timed
		g, err := Of(line, Performance{Notes: test.change(singLine(line.Notes, 0.5))}, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if g.Points != test.points || g.PointsOf != test.of {
			t.Errorf("%s: %d of %d points, want %d of %d (%v, flow %v, notes %+v)", test.name, g.Points, g.PointsOf, test.points, test.of, g.Segments, g.Flow, g.Notes)
		}
	}
}

// A drift of 60 cents over a take is told, and no note is held against it.
func TestGradeDrift(t *testing.T) {
	line := scaleLine(t)
	sung := singLine(line.Notes, 0.5)
	for j := range sung {
		sung[j].Cents -= 60 * float64(j) / float64(len(sung)-1)
	}
	g, err := Of(line, Performance{Notes: sung}, Rules{Freedom{true, true}, 20})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(g.Drift+60) > 1 || g.Right != 11 || math.Abs(g.Median) > 1 {
		t.Errorf("drift %g, right %d, median %g; want -60, 11, 0", g.Drift, g.Right, g.Median)
	}
}

// In strict mode the key is the line's, the octave is not.
func TestGradeStrict(t *testing.T) {
	line := scaleLine(t)
	for _, test := range []struct{ up, right float64 }{{0, 11}, {-1200, 11}, {30, 11}} {
		sung := singLine(line.Notes, 0.5)
		for j := range sung {
			sung[j].Cents += test.up
		}
		g, err := Of(line, Performance{Notes: sung}, Rules{Freedom{false, true}, 50})
		if err != nil {
			t.Fatal(err)
		}
		if float64(g.Right) != test.right || g.Pass < 0.5 {
			t.Errorf("%g cents up: right %d, pass %g; want %g", test.up, g.Right, g.Pass, test.right)
		}
	}
	sung := singLine(line.Notes, 0.5)
	for j := range sung {
		sung[j].Cents += 500
	}
	g, err := Of(line, Performance{Notes: sung}, Rules{Freedom{false, true}, 50})
	if err != nil || g.Pass > 0.1 || g.Right > 7 {
		t.Errorf("a fourth too high in strict mode: right %d, pass %g, %v", g.Right, g.Pass, err)
	}
}

// Any transposition has the same score.
func TestGradeInAnyKey(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		note := rapid.Map(rapid.IntRange(0, 12), func(n int) float64 { return 6000 + 100*float64(n) })
		line := Line{Timed: true}
		at := 0.0
		for _, c := range rapid.SliceOfN(note, 3, 12).Draw(t, "line") {
			length := rapid.SampledFrom([]float64{0.5, 1, 1, 2}).Draw(t, "length")
			line.Notes = append(line.Notes, Due{c, at, length})
			at += length
		}
		sung := singLine(line.Notes, 0.6)
		for j := range sung {
			sung[j].Cents += rapid.Float64Range(-40, 40).Draw(t, "error")
		}
		want, err := Of(line, Performance{Notes: sung}, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		up := rapid.Float64Range(-2000, 2000).Draw(t, "transposition")
		for j := range sung {
			sung[j].Cents += up
		}
		got, err := Of(line, Performance{Notes: sung}, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Score-want.Score) > 1e-6 || got.Right != want.Right {
			t.Fatalf("%g cents up: score %g, right %d; was %g, %d", up, got.Score, got.Right, want.Score, want.Right)
		}
	})
}

// The tempo changes neither what is right nor, but for one take in some thousands,
// the score: the curve is read in steps of 20 to 120 ms, a part of the usual
// length, which a border between two notes may fall into one way or the other.
func TestGradeInAnyTempo(t *testing.T) {
	takes := 1000
	if raceDetector {
		takes = 100
	}
	rng := rand.New(rand.NewPCG(1, 2))
	apart, most := 0, 0.0
	for range takes {
		line := Line{Timed: true}
		at := 0.0
		for range 3 + rng.IntN(10) {
			length := []float64{0.5, 1, 1, 2}[rng.IntN(4)]
			line.Notes = append(line.Notes, Due{6000 + 100*float64(rng.IntN(13)), at, length})
			at += length
		}
		sung := singLine(line.Notes, 0.6)
		for j := range sung {
			sung[j].Cents += 80*rng.Float64() - 40
		}
		want, err := Of(line, Performance{Notes: sung}, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		tempo := []float64{0.5, 0.8, 1.5, 2}[rng.IntN(4)]
		for j := range sung {
			sung[j].Onset *= tempo
			sung[j].Offset *= tempo
		}
		got, err := Of(line, Performance{Notes: sung}, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if got.Right != want.Right {
			t.Errorf("%g times as slow: right %d; was %d", tempo, got.Right, want.Right)
		}
		off := math.Abs(got.Score - want.Score)
		most = max(most, off)
		if off > 0.05 {
			apart++
		}
	}
	t.Logf("of %d takes %d are more than 0.05 apart, at most %.3f", takes, apart, most)
	if apart > takes/1000 || most > 0.3 {
		t.Errorf("of %d takes %d are more than 0.05 apart, at most %.3f; want %d, 0.3", takes, apart, most, takes/1000)
	}
}

// A long take is kept in a band, and graded as a short one.
func TestGradeLongTake(t *testing.T) {
	line := Line{Timed: true}
	for k := range 360 {
		line.Notes = append(line.Notes, Due{6000 + 100*float64([]int{0, 2, 4, 5, 7, 5, 4, 2}[k%8]), float64(k), 1})
	}
	sung := singLine(line.Notes, 0.5)
	for j := 200; j < len(sung); j++ { // a pause of 20 s
		sung[j].Onset += 20
		sung[j].Offset += 20
	}
	sung = slices.Delete(sung, 100, 101)
	g, err := Of(line, Performance{Notes: sung}, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	if g.Right != 359 || g.Omitted != 1 || !slices.Equal(g.Hesitations, []int{200}) || g.Measures.Missing > 0.02 {
		t.Errorf("right %d, omitted %d, waited before %v, missing %.3f; want 359, 1, [200], under 0.02", g.Right, g.Omitted, g.Hesitations, g.Measures.Missing)
	}
}
