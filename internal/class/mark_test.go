package class

import (
	"maps"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/theory"
)

// What each criterion comes to, worked out by hand: eight quarter notes in two bars, do re
// mi fa sol la sol do, with one thing wrong at a time.
func TestCriteria(t *testing.T) {
	all := func(n []grade.Sung) []grade.Sung { return n }
	later := func(n []grade.Sung, from int, by float64) []grade.Sung {
		for k := from; k < len(n); k++ {
			n[k].Onset, n[k].Offset = n[k].Onset+by, n[k].Offset+by
		}
		return n
	}
	for _, test := range []struct {
		name   string
		change func(n []grade.Sung) []grade.Sung
		want   map[Criterion]float64
	}{
		{"as written", all, map[Criterion]float64{Faults: 1, Notes: 1, Intervals: 1, Rhythm: 1, Flow: 1, Bars: 1, Segments: 1, Intonation: 1, Steadiness: 1, Key: 1}},
		{"la a minor third too low", func(n []grade.Sung) []grade.Sung { n[5].Cents -= 300; return n },
			map[Criterion]float64{Notes: 7. / 8, Intervals: 5. / 7, Rhythm: 1, Flow: 1, Bars: 1. / 2, Segments: 3. / 4, Intonation: 7. / 8, Key: 1}},
		{"the last is wrong", func(n []grade.Sung) []grade.Sung { n[7].Cents += 200; return n },
			map[Criterion]float64{Notes: 7. / 8, Intervals: 6. / 7, Segments: 3. / 4, Bars: 1. / 2}},
		{"fa 30 cents sharp", func(n []grade.Sung) []grade.Sung { n[3].Cents += 30; return n },
			map[Criterion]float64{Notes: 1, Intervals: 1, Bars: 1, Intonation: (7 + 0.5) / 8}},
		{"fa 48 cents sharp: out of tune, and no step is", func(n []grade.Sung) []grade.Sung { n[3].Cents += 48; return n },
			map[Criterion]float64{Notes: 7. / 8, Intervals: 1, Bars: 1. / 2, Intonation: (7 + 0.05) / 8}},
		{"the second bar a semitone higher", func(n []grade.Sung) []grade.Sung {
			for k := 4; k < 8; k++ {
				n[k].Cents += 100
			}
			return n
		}, map[Criterion]float64{Intervals: 6. / 7, Rhythm: 1, Key: 100. / 175}},
		{"mi left out", func(n []grade.Sung) []grade.Sung { return append(n[:2:2], n[3:]...) },
			map[Criterion]float64{Notes: 7. / 8, Intervals: 5. / 7, Rhythm: 7. / 8, Flow: 1, Bars: 1. / 2, Segments: 3. / 4, Intonation: 7. / 8}},
		{"waited for a beat before sol", func(n []grade.Sung) []grade.Sung { return later(n, 4, 0.5) },
			map[Criterion]float64{Notes: 1, Intervals: 1, Flow: 0, Intonation: 1, Key: 1}},
		{"fa 0.4 beats late", func(n []grade.Sung) []grade.Sung { n[3].Onset += 0.2; return n },
			map[Criterion]float64{Notes: 1, Rhythm: 7. / 8, Bars: 1. / 2, Segments: 3. / 4}},
		{"the second bar at two thirds of the tempo", func(n []grade.Sung) []grade.Sung {
			for k := 4; k < 8; k++ {
				n[k].Onset = n[3].Onset + 0.5*1.5*float64(k-3)
				n[k].Offset = n[k].Onset + 0.6
			}
			return n
		}, map[Criterion]float64{Notes: 1, Steadiness: 0.5, Key: 1}},
	} {
		line, take := scale(t, test.change)
		got := values(t, line, take, grade.DefaultRules())
		for c, want := range test.want {
			if math.Abs(got[c]-want) > 0.005 {
				t.Errorf("%s: %s comes to %.3f, want %.3f", test.name, c, got[c], want)
			}
		}
	}
}

// What cannot be measured does not count, and is said.
func TestNotMeasured(t *testing.T) {
	line, take := scale(t, func(n []grade.Sung) []grade.Sung { n[5].Cents -= 300; return n })
	line.Timed, line.Bars, line.Degrees = false, nil, nil
	r := Rubric{Name: "x", Pass: 0.5}
	r.Weights[Notes], r.Weights[Rhythm] = 1, 3
	m := marked(t, r, line, take)
	if math.Abs(m.Value-7./8) > 1e-9 || m.Parts[1].Measured || !strings.Contains(m.Parts[1].Why, "no rhythm") {
		t.Errorf("%+v", m)
	}
	if want := "7 of 8 notes right; note 6 a minor third too low"; m.Parts[0].Why != want {
		t.Errorf("%q, want %q", m.Parts[0].Why, want)
	}
	if m.Tally.Degrees != nil {
		t.Errorf("a line without a key has degrees: %v", m.Tally)
	}
	r.Weights[Notes] = 0
	if m := marked(t, r, line, take); m.Value != 0 || m.Pass || m.Doubt != 0.5 {
		t.Errorf("nothing was measured: %+v", m)
	}
}

// The sentences bear out the values, and the places lie where the notes are.
func TestWhy(t *testing.T) {
	line, take := scale(t, func(n []grade.Sung) []grade.Sung { n[5].Cents -= 300; return append(n[:2:2], n[3:]...) })
	m := marked(t, everything(), line, take)
	for c, want := range map[Criterion]string{
		Notes:      "6 of 8 notes right; bar 1: mi left out; bar 2: la a minor third too low",
		Intervals:  "3 of 7 steps right; bar 1: re to mi not both sung; bar 1: mi to fa not both sung; bar 2: sol to la 300 cents too low; and 1 more",
		Rhythm:     "7 of 8 notes in time; bar 1: mi left out",
		Flow:       "went on without a halt",
		Bars:       "0 of 2 bars right; bar 1: mi left out; bar 2: la a minor third too low",
		Segments:   "2 of 4 segments right; segment 2: bar 1, mi left out; segment 3: bar 2, la a minor third too low",
		Intonation: "0 cents from their pitch on average, 6 of 8 notes; bar 1: mi left out; bar 2: la a minor third too low",
		Key:        "the key moved by 0 cents",
	} {
		for _, p := range m.Parts {
			if p.Criterion == c && p.Why != want {
				t.Errorf("%s: %q, want %q", c, p.Why, want)
			}
		}
	}
	places := m.Parts[Notes].Places
	if len(places) != 2 || places[1] != (Place{3.5, 3.95, 5, 5, "bar 2: la a minor third too low"}) {
		t.Errorf("places %+v", places)
	}
	if p := places[0]; p.First != 2 || p.From < 1.5 || p.To > 3 || p.From > 2 || p.To < 2.45 {
		t.Errorf("what was left out is looked for at %+v, want it about 2 to 2.45 s", p)
	}
}

// Places of takes of all kinds lie in the take, their notes in the line.
func TestPlacesLieInTheTake(t *testing.T) {
	tried(11, 30, func(rng *rand.Rand, line grade.Line, s madeSinger) {
		var faults []madeFault
		for i := range line.Notes {
			if f := madeFaultOf(line, madeKinds[rng.IntN(len(madeKinds))], i, rng); rng.IntN(3) == 0 && f.fits(line) {
				faults = append(faults, f)
			}
		}
		take := s.sing(line, faults)
		if k := len(take.Notes) / 2; rng.IntN(3) == 0 && k > 3 { // begun again
			by := take.Notes[k].Onset
			again := grade.Performance{Notes: append([]grade.Sung(nil), take.Notes[:k]...)}
			for _, n := range take.Notes {
				n.Onset, n.Offset = n.Onset+by, n.Offset+by
				again.Notes = append(again.Notes, n)
			}
			take = again
		}
		if len(take.Notes) == 0 {
			return
		}
		m := marked(t, everything(), line, take)
		first, last := take.Notes[0].Onset, take.Notes[len(take.Notes)-1].Offset
		for _, part := range m.Parts {
			if part.Why == "" || strings.ContainsAny(part.Why, "\n") {
				t.Errorf("%s says %q", part.Criterion, part.Why)
			}
			for _, p := range part.Places {
				if !(p.From >= first-1e-9 && p.To <= last+1e-9 && p.From <= p.To) || p.First < -1 || p.Last >= len(line.Notes) || p.Last < p.First || p.What == "" {
					t.Errorf("%s: %+v, the take is %.2f to %.2f, the line has %d notes", part.Criterion, p, first, last, len(line.Notes))
				}
			}
		}
		if !(m.Error >= 0 && m.Doubt >= 0 && m.Doubt <= 0.5) {
			t.Errorf("error %g, doubt %g", m.Error, m.Doubt)
		}
	})
}

// A take that was not sung has no mark, and who sings another melody is told so.
func TestNotTheLine(t *testing.T) {
	line, _ := scale(t, nil)
	m := marked(t, Default(), line, grade.Performance{})
	if m.Value != 0 || m.Pass || m.Heard != grade.Nothing || m.Parts[0].Why != "nothing was heard" || !(m.Doubt > 0) || m.Tally.Degrees != nil {
		t.Errorf("silence: %+v", m)
	}
	var talk []grade.Moment // a pitch that never stays
	for k := range 300 {
		talk = append(talk, grade.Moment{At: 0.01 * float64(k), Cents: 5000 + 400*math.Sin(float64(k)/7), Voiced: k%40 < 30})
	}
	m = marked(t, Default(), line, grade.OfCurve(talk))
	if m.Value != 0 || m.Pass || m.Heard != grade.Spoken || !strings.HasPrefix(m.Parts[0].Why, "spoken, not sung") {
		t.Errorf("speech: %+v", m)
	}
}

// Who sings another melody passes nowhere, and is often told so; who sings this one with
// faults is not.
func TestAnotherMelody(t *testing.T) {
	told, falsely, n := 0, 0, 0
	const words = "hardly anything of the line; "
	var last grade.Line
	tried(12, 60, func(rng *rand.Rand, line grade.Line, s madeSinger) {
		if len(line.Notes) < 8 {
			return
		}
		var faults []madeFault
		for i := range line.Notes {
			if rng.IntN(3) == 0 {
				faults = append(faults, madeFaultOf(line, "wrong", i, rng))
			}
		}
		take := s.sing(line, faults)
		if strings.HasPrefix(marked(t, Default(), line, take).Parts[0].Why, words) {
			falsely++
		}
		if last.Notes != nil {
			n++
			for _, r := range Builtin()[:3] {
				m := marked(t, r, last, take)
				if m.Pass {
					t.Errorf("another melody passes by %s with %g", r.Name, m.Value)
				}
				if strings.HasPrefix(m.Parts[0].Why, words) {
					told++
					if m.Tally.Degrees != nil {
						t.Error("another melody is tallied")
					}
				}
			}
		}
		last = line
	})
	t.Logf("of %d takes of another melody %d are told so, of as many of this one with faults %d", n, told/3, falsely)
	if told/3 < n/4 || falsely > n/20 {
		t.Errorf("of %d takes of another melody %d are told so, of as many of this one with faults %d; want a quarter, a twentieth", n, told/3, falsely)
	}
}

// Where the key is asked for and all lies elsewhere, that is said, and degrees are those
// that were meant.
func TestAway(t *testing.T) {
	line, take := scale(t, func(n []grade.Sung) []grade.Sung { n[5].Cents -= 300; return n })
	rules := grade.DefaultRules()
	rules.Key = false
	g, err := grade.Of(line, take, rules)
	if err != nil {
		t.Fatal(err)
	}
	m := Builtin()[1].Mark(line, take, g, rules)
	if want := "all of it is a fourth too high; 0 of 8 notes right"; !strings.HasPrefix(m.Parts[0].Why, want) || m.Pass {
		t.Errorf("%q, %v; want %q", m.Parts[0].Why, m.Pass, want)
	}
	if c := m.Tally.Degrees[theory.Degree{Step: 5}]; c != (Count{2, 2}) {
		t.Errorf("sol %+v, want it right twice", c)
	}
}

func TestTally(t *testing.T) {
	line, take := scale(t, func(n []grade.Sung) []grade.Sung {
		n[3].Cents += 48  // out of tune, yet fa
		n[5].Cents -= 300 // another degree
		return n
	})
	m := marked(t, Default(), line, take)
	d := func(step int) theory.Degree { return theory.Degree{Step: step} }
	degrees := map[theory.Degree]Count{d(1): {2, 2}, d(2): {1, 1}, d(3): {1, 1}, d(4): {1, 1}, d(5): {2, 2}, d(6): {0, 1}}
	moves := map[Move]Count{{d(1), d(2)}: {1, 1}, {d(2), d(3)}: {1, 1}, {d(3), d(4)}: {1, 1}, {d(4), d(5)}: {1, 1}, {d(5), d(6)}: {0, 1}, {d(5), d(1)}: {1, 1}}
	if !maps.Equal(m.Tally.Degrees, degrees) || !maps.Equal(m.Tally.Moves, moves) {
		t.Errorf("%v, want %v, %v", m.Tally, degrees, moves)
	}
}

// Of takes about the pass the mark is less sure than of others, and nearer to it the less.
func TestDoubtFallsAwayFromThePass(t *testing.T) {
	r, _ := RubricNamed("notes")
	last := 1.0
	for _, wrong := range []int{2, 1, 0} { // pass 0.8: 6, 7 and 8 of 8
		line, take := scale(t, func(n []grade.Sung) []grade.Sung {
			for k := range wrong {
				n[2+2*k].Cents += 300
			}
			return n
		})
		m := marked(t, r, line, take)
		if m.Doubt >= last {
			t.Errorf("%d wrong: doubt %.2f, of one nearer to the pass %.2f", wrong, m.Doubt, last)
		}
		last = m.Doubt
	}
	// A note near the border of the tolerance makes the mark less sure.
	line, sure := scale(t, func(n []grade.Sung) []grade.Sung { n[2].Cents += 300; return n })
	_, near := scale(t, func(n []grade.Sung) []grade.Sung { n[2].Cents += 300; n[4].Cents += 43; n[1].Cents -= 44; return n })
	a, b := marked(t, r, line, sure), marked(t, r, line, near)
	if a.Value != b.Value || !(b.Error > a.Error && b.Doubt > a.Doubt) {
		t.Errorf("values %g and %g, errors %g and %g", a.Value, b.Value, a.Error, b.Error)
	}
}

// Whatever is sung of whatever line, marks are numbers in their range and say why.
func TestMarksOfAnything(t *testing.T) {
	rng := rand.New(rand.NewPCG(99, 1))
	for range 120 {
		line := madeLine(rng)
		switch rng.IntN(4) {
		case 0:
			line.Notes, line.Degrees = line.Notes[:1], line.Degrees[:1]
		case 1: // rests first, an incomplete bar, bars that change
			for i := range line.Notes {
				line.Notes[i].Onset += 1.5
			}
			line.Bars = []float64{0, 1, 4, 7, 11, 12, 30}
		case 2:
			line.Degrees = nil
		}
		var take grade.Performance
		at := 0.0
		for range rng.IntN(30) {
			at += rng.Float64() * rng.Float64() * 3
			long := 0.03 + rng.Float64()
			take.Notes = append(take.Notes, grade.Sung{Cents: 4000 + 3000*rng.Float64(), Onset: at, Offset: at + long})
			at += long
		}
		if rng.IntN(3) == 0 { // a curve without notes
			for k := range rng.IntN(300) {
				take.Curve = append(take.Curve, grade.Moment{At: 0.01 * float64(k), Cents: 6000 + 100*float64(k/40), Voiced: k%40 < 35})
			}
			if rng.IntN(2) == 0 {
				take.Notes = nil
			}
		}
		rules := grade.Rules{Freedom: grade.Freedom{Key: rng.IntN(2) == 0, Octave: rng.IntN(2) == 0}, Tolerance: 5 + 95*rng.Float64()}
		g, err := grade.Of(line, take, rules)
		if err != nil {
			t.Fatal(err)
		}
		r := everything()
		if r.Pieces = rng.IntN(MaxPieces + 1); rng.IntN(2) == 0 {
			r.Pieces = 0
		}
		m := r.Mark(line, take, g, rules)
		good := func(x float64) bool { return x >= 0 && x <= 1 }
		if !good(m.Value) || !good(m.Doubt) || m.Doubt > 0.5 || !(m.Error >= 0) || math.IsInf(m.Error, 0) {
			t.Fatalf("%+v", m)
		}
		for _, p := range m.Parts {
			if !good(p.Value) || p.Why == "" {
				t.Fatalf("%s: %+v", p.Criterion, p)
			}
			for _, at := range p.Places {
				if !(at.From <= at.To) || at.Last >= len(line.Notes) {
					t.Fatalf("%s: %+v", p.Criterion, at)
				}
			}
		}
	}
}
