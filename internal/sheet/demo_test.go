package sheet

import (
	"math"
	"os"
	"testing"

	"singback/exercise/grade"
	"singback/internal/notation"
	"singback/theory"
)

// harbour is a line that was invented for this project.
func harbour(t testing.TB) theory.Score {
	f, err := os.Open("../../testdata/harbour.abc")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	score, _, err := notation.Read("harbour.abc", f, notation.Options{Voice: "S"})
	if err != nil {
		t.Fatal(err)
	}
	return score
}

// sung makes a take of a line, pace seconds for each quarter note, cents above the line:
// what becomes of note i is said by faults, in cents, or NaN for one that is left out.
// Before a note of waits there is silence of so many seconds.
func sung(line grade.Line, pace, above float64, faults, waits map[int]float64) grade.Performance {
	var p grade.Performance
	at := 0.8
	last := 0.0
	for i, n := range line.Notes {
		at += (n.Onset-last)*pace + waits[i]
		last = n.Onset
		off := faults[i]
		if math.IsNaN(off) {
			continue
		}
		end := at + n.Length*pace*0.93
		cents := n.Cents + above + off
		p.Notes = append(p.Notes, grade.Sung{Cents: cents, Onset: at, Offset: end})
		for t := at; t < end; t += 0.01 {
			wobble := 12*math.Sin(2*math.Pi*5.2*t) - 90*math.Exp(-(t-at)/0.03)
			p.Curve = append(p.Curve, grade.Moment{At: t, Cents: cents + wobble, Voiced: true})
		}
		p.Curve = append(p.Curve, grade.Moment{At: end})
	}
	return p
}

// demo is a picture of the line sung so many times on end, with faults.
func demo(t testing.TB, times int, faulty bool) Picture {
	score := harbour(t)
	line, err := grade.NewLine(score, theory.Tuning{A4: 440})
	if err != nil {
		t.Fatal(err)
	}
	one := line
	length := score.Length().Float()
	for k := 1; k < times; k++ {
		for i, n := range one.Notes {
			n.Onset += length * float64(k)
			line.Notes = append(line.Notes, n)
			line.Degrees = append(line.Degrees, one.Degrees[i])
		}
		for _, b := range one.Bars {
			line.Bars = append(line.Bars, b+length*float64(k))
		}
	}
	faults, waits := map[int]float64{3: 70, 9: math.NaN(), 14: -200, 17: -62}, map[int]float64{12: 1.2}
	if faulty {
		faults[16] = math.NaN()
	}
	take := sung(line, 0.7, -317, faults, waits)
	rules := grade.DefaultRules()
	g, err := grade.Of(line, take, rules)
	if err != nil {
		t.Fatal(err)
	}
	return Picture{Line: line, Take: take, Grading: g, Tolerance: rules.Tolerance, Names: theory.Movable, Pickup: score.Start.Num > 0}
}
