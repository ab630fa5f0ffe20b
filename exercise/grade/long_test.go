package grade

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// longLine is a walk on the major scale, and a take of it: some notes wrong, left
// out, added and in two pieces, and what restart says.
func longLine(notes int, seed uint64, restart func(i int) int) (line []Due, sung []Sung) {
	rng := rand.New(rand.NewPCG(seed, 1))
	scale := []float64{0, 200, 400, 500, 700, 900, 1100, 1200}
	for i, at := 0, 3; i < notes; i++ {
		at = max(0, min(7, at+[]int{-2, -1, 1, 2}[rng.IntN(4)]))
		line = append(line, Due{Cents: 6000 + scale[at], Onset: float64(i), Length: 1})
	}
	now := 0.0
	sing := func(cents, length float64) {
		sung = append(sung, Sung{Cents: cents - 300 + 15*rng.NormFloat64(), Onset: now, Offset: now + 0.9*length})
		now += length
	}
	for i := 0; i < notes; i++ {
		if to := restart(i); to != i {
			restart, i = func(i int) int { return i }, to
		}
		switch d := line[i]; rng.IntN(40) {
		case 0:
			now += 0.5
		case 1:
			sing(d.Cents+300, 0.5)
		case 2:
			sing(d.Cents, 0.5)
			sing(d.Cents+400, 0.3)
		case 3:
			sing(d.Cents, 0.25)
			sing(d.Cents, 0.25)
		default:
			sing(d.Cents, 0.5)
		}
	}
	return line, sung
}

// A line that is not looked at in full is aligned as if it were: the cost of the
// best reading over all cells is the oracle.
func TestLongLinesAlignAsInFull(t *testing.T) {
	const notes = 3000
	for name, restart := range map[string]func(int) int{
		"straight through":   func(i int) int { return i },
		"100 notes again":    func(i int) int { return i - 100*b2i(i == 1500) },
		"600 notes again":    func(i int) int { return i - 600*b2i(i == 1500) }, // the take is so much longer
		"700 notes left out": func(i int) int { return i + 700*b2i(i == 800) },  // and shorter
	} {
		if raceDetector && name != "600 notes again" {
			continue
		}
		line, sung := longLine(notes, 7, restart)
		s := &search{line: line, timed: true, sung: sung}
		s.prepare()
		if s.width > len(line) {
			t.Fatalf("%s: %d notes are looked at in full", name, notes)
		}
		s.setKey(-300)
		banded := s.run()
		s.width = len(line) + 1
		full := s.run()
		if math.Abs(banded.Cost-full.Cost) > 1e-6 {
			t.Errorf("%s: cost %.3f, over all cells %.3f", name, banded.Cost, full.Cost)
		}
		answered := 0
		for i, a := range banded.Answers {
			if a.Count > 0 && full.Answers[i] == a {
				answered++
			}
		}
		if want := notes * 6 / 10; answered < want {
			t.Errorf("%s: %d notes are answered as over all cells, want %d", name, answered, want)
		}
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// The work on a long line grows with its length, and what would be too much is
// refused before any memory is taken.
func TestLongLinesAreBounded(t *testing.T) {
	cells := func(n int) int { return bandWidth(n, n) * (n + 1) }
	if a, b := cells(10_000), cells(20_000); float64(b) > 2.05*float64(a) {
		t.Errorf("%d cells for 10 000 notes, %d for 20 000", a, b)
	}
	if bandWidth(40, 2000) != 41 || bandWidth(1, 4<<20) > 2 {
		t.Error("an ordinary take is not looked at in full")
	}
	line := make([]Due, 20_000)
	long := make([]Sung, 2_000_000)
	if n := testing.AllocsPerRun(1, func() {
		_, err := Align(line, true, long, Freedom{})
		if !errors.Is(err, ErrTooLong) || !strings.Contains(err.Error(), "20000 written, 2000000 sung") {
			t.Errorf("2 000 000 sung notes: %v", err)
		}
	}); n > 10 {
		t.Errorf("%g allocations before the line is refused", n)
	}
}
