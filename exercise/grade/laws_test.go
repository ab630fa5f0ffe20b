package grade

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// A made singer: how a line is sung when nothing goes wrong.
type madeSinger struct {
	tempo      float64 // seconds for one unit of the line
	up         float64 // cents above the line
	scatter    float64 // cents, standard deviation of a note
	unsteady   float64 // seconds, standard deviation of an onset
	share      float64 // of its time a note sounds
	curved     bool    // the take has a pitch curve
	drift      float64 // cents, first note to last
	scoop      float64 // cents from which a note begins below
	vibrato    float64 // cents to either side
	errorCents []float64
	errorTime  []float64
}

// madeLine is a line of 6 to 16 notes by steps and leaps, some repeated.
func madeLine(rng *rand.Rand) Line {
	line := Line{Timed: true}
	scale := [][]int{{0, 2, 4, 5, 7, 9, 11}, {0, 2, 3, 5, 7, 8, 11}}[rng.IntN(2)]
	at, step := 0.0, 0
	repeats := rng.IntN(2) == 0
	lengths := [][]float64{{1}, {1}, {0.5, 1, 1, 2}, {1, 1, 1, 1.5, 0.5}}[rng.IntN(4)]
	for k := range 6 + rng.IntN(11) {
		if k > 0 {
			move := []int{1, 1, 1, 2, 2, 3, 4}[rng.IntN(7)] * (1 - 2*rng.IntN(2))
			if repeats && rng.IntN(6) == 0 {
				move = 0
			}
			if step+move < -3 || step+move > 8 {
				move = -move
			}
			step += move
		}
		octave := int(math.Floor(float64(step) / 7))
		length := lengths[rng.IntN(len(lengths))]
		line.Notes = append(line.Notes, Due{6000 + 100*float64(scale[step-7*octave]+12*octave), at, length})
		at += length
	}
	switch rng.IntN(3) {
	case 0:
		line.Timed = false
	case 1:
		line.Performed = true
	}
	return line
}

func madeSingerFor(line Line, rng *rand.Rand) madeSinger {
	s := madeSinger{
		tempo: 0.3 + 0.5*rng.Float64(), up: 1800*rng.Float64() - 1200, scatter: 4 + 12*rng.Float64(), unsteady: 0.02 * rng.Float64(),
		share: 0.8 + 0.2*rng.Float64(), curved: rng.IntN(2) == 0, scoop: 80 * rng.Float64(), vibrato: 30 * rng.Float64(),
	}
	for range line.Notes {
		s.errorCents = append(s.errorCents, s.scatter*max(-2, min(2, rng.NormFloat64())))
		s.errorTime = append(s.errorTime, s.unsteady*max(-2, min(2, rng.NormFloat64())))
	}
	return s
}

// A made fault at a written note.
type madeFault struct {
	kind   string
	at     int
	amount float64
}

// sing is the line with faults; at most one of them at a note.
func (s madeSinger) sing(line Line, faults []madeFault) Performance {
	var sung []Sung
	moved := 0.0
	for i, d := range line.Notes {
		n := Sung{Cents: d.Cents + s.up + s.errorCents[i] + s.drift*float64(i)/float64(len(line.Notes)-1)}
		n.Onset = s.tempo*d.Onset + s.errorTime[i] + moved
		n.Offset = n.Onset + s.tempo*d.Length*s.share
		left := false
		for _, f := range faults {
			if f.at != i {
				continue
			}
			switch f.kind {
			case "wrong", "out of tune":
				n.Cents += f.amount - s.errorCents[i]
			case "left out":
				left = true
			case "passed over": // and nobody waits for it
				left = true
				moved -= s.tempo * d.Length
			case "short":
				n.Offset = n.Onset + 0.2*(n.Offset-n.Onset)
			case "late":
				n.Onset += min(0.4*s.tempo*line.beat(), 0.6*(n.Offset-n.Onset))
			case "waited": // before it
				moved += f.amount * s.tempo * line.beat()
				n.Onset, n.Offset = n.Onset+f.amount*s.tempo*line.beat(), n.Offset+f.amount*s.tempo*line.beat()
			case "added": // before it
				by := s.tempo * line.beat()
				sung = append(sung, Sung{Cents: n.Cents + f.amount, Onset: n.Onset, Offset: n.Onset + by*s.share})
				moved += by
				n.Onset, n.Offset = n.Onset+by, n.Offset+by
			default:
				panic(f.kind)
			}
		}
		if !left {
			sung = append(sung, n)
		}
	}
	for k := 1; k < len(sung); k++ {
		sung[k].Onset = max(sung[k].Onset, sung[k-1].Onset+0.02)
		sung[k-1].Offset = min(sung[k-1].Offset, sung[k].Onset)
		sung[k].Offset = max(sung[k].Offset, sung[k].Onset+0.02)
	}
	p := Performance{Notes: sung}
	if !s.curved || len(sung) == 0 {
		return p
	}
	const hop = 0.01
	k := 0
	for f := 0; ; f++ {
		t := sung[0].Onset + (float64(f)+0.5)*hop
		for k < len(sung) && t >= sung[k].Offset {
			k++
		}
		if k == len(sung) {
			break
		}
		m := Moment{At: t}
		if n := sung[k]; t >= n.Onset {
			m.Voiced = true
			m.Cents = n.Cents - s.scoop*math.Exp(-(t-n.Onset)/0.04) + s.vibrato*math.Sin(2*math.Pi*5.5*(t-n.Onset))
		}
		p.Curve = append(p.Curve, m)
	}
	return p
}

var madeKinds = []string{"wrong", "out of tune", "left out", "passed over", "short", "late", "waited", "added"}

func madeFaultOf(kind string, at int, rng *rand.Rand) madeFault {
	f := madeFault{kind: kind, at: at}
	sign := float64(1 - 2*rng.IntN(2))
	switch kind {
	case "wrong":
		f.amount = sign * 100 * float64(1+rng.IntN(5))
	case "out of tune":
		f.amount = sign * 80
	case "waited":
		f.amount = 1
	case "added":
		f.amount = sign * 100 * float64(3+rng.IntN(3))
	}
	return f
}

// fits tells whether a fault can be told from others at its note: who passes over the first
// note has not begun, who passes over one of two equal notes sings one note shorter, a note
// more on a neighbour's pitch is that note in pieces, and a late short note is let go early.
func (f madeFault) fits(line Line) bool {
	n, at := len(line.Notes), f.at
	near := func(i int, cents float64) bool { return math.Abs(octaveFold(line.Notes[i].Cents-cents)) < 150 }
	switch f.kind {
	case "waited":
		return line.Timed && at > 0
	case "late":
		return line.Timed && line.Notes[at].Length >= line.beat()
	case "passed over":
		return at > 0 && at < n-1 && !near(at-1, line.Notes[at].Cents) && !near(at+1, line.Notes[at].Cents)
	case "added":
		return at > 0 && !near(at-1, line.Notes[at].Cents+f.amount)
	case "out of tune":
		return (at == 0 || !near(at-1, line.Notes[at].Cents+f.amount)) && (at == n-1 || !near(at+1, line.Notes[at].Cents+f.amount))
	}
	return true
}

func costOf(t *testing.T, line Line, p Performance) float64 {
	t.Helper()
	g, err := Of(line, p, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	return -scoreScale * math.Log(g.Score)
}

// tried runs f for so many made lines and singers. Nothing was chosen on these seeds.
func tried(t *testing.T, seed uint64, lines int, f func(rng *rand.Rand, line Line, s madeSinger)) {
	t.Helper()
	if raceDetector {
		lines = (lines + 9) / 10
	}
	rng := rand.New(rand.NewPCG(2026, seed))
	for range lines {
		line := madeLine(rng)
		f(rng, line, madeSingerFor(line, rng))
	}
}

func madeFaultKind(line Line, rng *rand.Rand) string {
	for {
		kind := madeKinds[rng.IntN(len(madeKinds))]
		if line.Timed || kind != "late" && kind != "waited" {
			return kind
		}
	}
}

// The same fault costs about the same wherever it stands: of the places of a line, the
// dearest but a tenth against the cheapest but a tenth, and what it costs in all lines
// together, for each note of the line.
func TestLawOfPlace(t *testing.T) {
	limits := map[string]struct{ usual, most float64 }{
		"wrong": {1.2, 2}, "out of tune": {3, 5}, "left out": {1.1, 1.25}, "passed over": {1.5, 2.5},
		"short": {1.5, 2}, "late": {2, 4}, "waited": {1.35, 2.2}, "added": {1.6, 5},
	}
	ratios, costs := map[string][]float64{}, map[string][]float64{}
	gradings := 0
	tried(t, 1, 16, func(rng *rand.Rand, line Line, s madeSinger) {
		zero := costOf(t, line, s.sing(line, nil))
		for _, kind := range madeKinds {
			f := madeFaultOf(kind, 0, rng)
			var at []float64
			for f.at = range line.Notes {
				if f.fits(line) {
					at = append(at, (costOf(t, line, s.sing(line, []madeFault{f}))-zero)*float64(len(line.Notes)))
				}
			}
			gradings += len(at)
			if len(at) >= 4 {
				ratios[kind] = append(ratios[kind], share(at, 0.9)/max(0.1, share(at, 0.1)))
				costs[kind] = append(costs[kind], at...)
			}
		}
	})
	for _, kind := range madeKinds {
		usual, most := share(ratios[kind], 0.5), share(ratios[kind], 0.9)
		t.Logf("%-12s costs %5.1f (%.1f to %.1f); by its place %.2f times as much, of one line in ten %.2f", kind,
			share(costs[kind], 0.5), share(costs[kind], 0.05), share(costs[kind], 0.95), usual, most)
		if l := limits[kind]; usual > l.usual || most > l.most {
			t.Errorf("%s: by its place %.2f times as much, of one line in ten %.2f; want at most %g, %g", kind, usual, most, l.usual, l.most)
		}
	}
	t.Logf("%d gradings", gradings)
}

// One fault more never raises the score; rounding of the curve to its steps may, by a hair.
func TestLawOfOneMore(t *testing.T) {
	n, raised, most := 0, 0, 0.0
	tried(t, 2, 80, func(rng *rand.Rand, line Line, s madeSinger) {
		order := rng.Perm(len(line.Notes))
		var faults []madeFault
		before := math.Inf(-1)
		for q := range 1 + len(line.Notes)/3 {
			after := costOf(t, line, s.sing(line, faults))
			n++
			if up := math.Exp(-after/scoreScale) - math.Exp(-before/scoreScale); up > hair {
				raised, most = raised+1, max(most, up)
			}
			before = after
			f := madeFaultOf(madeFaultKind(line, rng), order[q], rng)
			beside := slices.ContainsFunc(faults, func(o madeFault) bool { return o.at-f.at <= 1 && f.at-o.at <= 1 })
			if f.fits(line) && !beside { // one note less and one more are a wrong one
				faults = append(faults, f)
			}
		}
	})
	t.Logf("of %d faults %d raise the score by more than %g, at most by %.3f", n, raised, hair, most)
	if float64(raised) > 0.02*float64(n) || most > 0.2 {
		t.Errorf("of %d faults %d raise the score by more than %g, at most by %.3f; want 2 %%, 0.2", n, raised, hair, most)
	}
}

// hair is what rounding a curve to its steps may change of a score.
const hair = 0.01

// Three wrong notes cost more than the dearest of them; also the same three semitones at
// the end, which might be taken for another key.
func TestLawOfThree(t *testing.T) {
	least := math.Inf(1)
	var ending []float64
	tried(t, 3, 60, func(rng *rand.Rand, line Line, s madeSinger) {
		n := len(line.Notes)
		if n < 7 {
			return // three are half of them
		}
		zero := costOf(t, line, s.sing(line, nil))
		one := func(f madeFault) float64 { return costOf(t, line, s.sing(line, []madeFault{f})) - zero }
		order := rng.Perm(n)
		var three, end []madeFault
		dearest := 0.0
		for q := range 3 {
			three = append(three, madeFaultOf("wrong", order[q], rng))
			dearest = max(dearest, one(three[q]))
			end = append(end, madeFault{"wrong", n - 3 + q, 100})
		}
		if n < 9 {
			end = nil
		}
		least = min(least, (costOf(t, line, s.sing(line, three))-zero)/dearest)
		if end != nil {
			ending = append(ending, (costOf(t, line, s.sing(line, end))-zero)/(weightsOf(line).missing/float64(n)))
		}
	})
	few, usual := share(ending, 0.05), share(ending, 0.5)
	t.Logf("three wrong notes cost at least %.2f times the dearest; a semitone sharp at the end %.2f wrong notes, in one take of 20 %.2f", least, usual, few)
	if least < 1 || usual < 1.1 || few < 0.6 {
		t.Errorf("three wrong notes cost %.2f times the dearest of them, a semitone sharp at the end %.2f wrong notes, in one take of 20 %.2f; want 1, 1.1, 0.6", least, usual, few)
	}
}

// A take without a fault loses nothing by its key, its tempo, or by how it is sung.
func TestLawOfFreedom(t *testing.T) {
	most, key, tempo := 0.0, 0.0, 0.0
	tried(t, 4, 120, func(rng *rand.Rand, line Line, s madeSinger) {
		k := rng.IntN(len(line.Notes))
		faults := []madeFault{madeFaultOf("wrong", k, rng)}
		clean, poor := costOf(t, line, s.sing(line, nil)), costOf(t, line, s.sing(line, faults))
		most = max(most, 1-math.Exp(-clean/scoreScale))
		other := s
		other.up += 2400*rng.Float64() - 1200
		key = max(key, math.Abs(math.Exp(-costOf(t, line, other.sing(line, faults))/scoreScale)-math.Exp(-poor/scoreScale)))
		other = s
		if other.curved = false; !s.curved { // a curve has its own steps
			r := 0.6 + rng.Float64()
			other.tempo *= r
			for i := range other.errorTime {
				other.errorTime = slices.Clone(other.errorTime)
				other.errorTime[i] *= r
			}
			tempo = max(tempo, math.Abs(math.Exp(-costOf(t, line, other.sing(line, faults))/scoreScale)-math.Exp(-poor/scoreScale)))
		}
	})
	t.Logf("without a fault the score lacks at most %.3f; another key changes it by %.1e, another tempo by %.3f", most, key, tempo)
	if most > 0.05 || key > 1e-3 || tempo > 0.1 {
		t.Errorf("without a fault the score lacks %.3f, another key changes it by %.1e, another tempo by %.3f; want at most 0.05, 1e-3, 0.1", most, key, tempo)
	}
}

// Who drifts more does not score higher, and a drift of a semitone costs less than a wrong
// note: of the jury's takes as many that drift so far pass as others of the same faults.
func TestLawOfDrift(t *testing.T) {
	worse, n := 0, 0
	dear := []float64{}
	tried(t, 5, 40, func(rng *rand.Rand, line Line, s madeSinger) {
		sign := float64(1 - 2*rng.IntN(2))
		var cost []float64
		for _, d := range []float64{0, 50, 100, 200} {
			s.drift = sign * d
			cost = append(cost, costOf(t, line, s.sing(line, nil)))
		}
		for k := 1; k < len(cost); k++ {
			n++
			if math.Exp(-cost[k]/scoreScale) > math.Exp(-cost[k-1]/scoreScale)+hair {
				worse++
			}
		}
		dear = append(dear, (cost[2]-cost[0])*float64(len(line.Notes))/12)
	})
	t.Logf("%d of %d drifts score higher than half of them; a semitone costs %.2f wrong notes, of one in ten %.2f", worse, n, share(dear, 0.5), share(dear, 0.9))
	if worse > 0 || share(dear, 0.9) > 1.5 {
		t.Errorf("%d of %d drifts score higher than half of them; a semitone costs %.2f wrong notes in one of ten, want at most 1.5", worse, n, share(dear, 0.9))
	}
}

// share is the value that a share of the values do not exceed.
func share(x []float64, p float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return s[int(p*float64(len(s)-1))]
}

// Of a take in one tempo, whose notes begin up to some hundredths of a second beside their
// time, as consonants make them, no other tempo is told; and one that changes is.
func TestTempoIsNoScatter(t *testing.T) {
	told, missed, n := 0, 0, 0
	tried(t, 6, 100, func(rng *rand.Rand, line Line, s madeSinger) {
		if line.Timed = true; len(line.Notes) < 8 {
			return
		}
		n++
		s.curved = false
		for i := range s.errorTime {
			s.errorTime[i] = 0.03 * rng.NormFloat64()
		}
		named := func(p Performance) bool {
			g, err := Of(line, p, DefaultRules())
			if err != nil {
				t.Fatal(err)
			}
			return slices.ContainsFunc(g.Faults, func(f Fault) bool { return f.Name == "tempo" && f.Cost >= 0.05 })
		}
		p := s.sing(line, nil)
		if named(p) {
			told++
		}
		for i := range s.errorTime {
			s.errorTime[i] *= 0.3
		}
		p = s.sing(line, nil)
		k := len(p.Notes) / 2
		zero := p.Notes[k].Onset
		for j := k; j < len(p.Notes); j++ {
			p.Notes[j].Onset, p.Notes[j].Offset = zero+1.5*(p.Notes[j].Onset-zero), zero+1.5*(p.Notes[j].Offset-zero)
		}
		if !named(p) {
			missed++
		}
	})
	t.Logf("of %d takes in one tempo %d are told another, of as many with two %d are not", n, told, missed)
	if float64(told) > 0.02*float64(n) || float64(missed) > 0.15*float64(n) {
		t.Errorf("of %d takes in one tempo %d are told another, of as many with two %d are not; want 2 %%, 15 %%", n, told, missed)
	}
}

// A take that is the line a fourth too low is told so where the key is asked for; so is an
// octave where that is, and neither where it is free.
func TestAway(t *testing.T) {
	line := scaleLine(t)
	for _, test := range []struct {
		up   float64
		free Freedom
		away float64
	}{
		{-500, Freedom{false, true}, -500}, {-1700, Freedom{false, true}, -500}, {-1200, Freedom{false, true}, 0},
		{-1200, Freedom{false, false}, -1200}, {-500, Freedom{true, true}, 0}, {30, Freedom{false, true}, 0}, {700, Freedom{false, false}, 700},
	} {
		sung := singLine(line.Notes, 0.5)
		for j := range sung {
			sung[j].Cents += test.up
		}
		g, err := Of(line, Performance{Notes: sung}, Rules{test.free, 40})
		if err != nil {
			t.Fatal(err)
		}
		right := 0
		if test.away == 0 {
			right = len(line.Notes)
		}
		if math.Abs(g.Away-test.away) > 1 || g.Right != right {
			t.Errorf("%g cents up, %+v: %g from the key, %d right; want %g, %d", test.up, test.free, g.Away, g.Right, test.away, right)
		}
	}
}

// Of an interval that was sung wrong once and right elsewhere both are told (by hand: 200
// cents once of four times is 50 on average).
func TestWeakest(t *testing.T) {
	line := Line{}
	for k, c := range []float64{6000, 6200, 6400, 6500, 6700, 6900} {
		line.Notes = append(line.Notes, Due{c, float64(k), 1})
	}
	sung := singLine(line.Notes, 0.5)
	sung[5].Cents += 200
	g, err := Of(line, Performance{Notes: sung}, DefaultRules())
	if err != nil || g.Weakest == nil || g.Weakest.From != 4 || g.Weakest.Times != 4 || math.Abs(g.Weakest.Worst-200) > 1 || math.Abs(g.Weakest.Error-50) > 1 {
		t.Errorf("weakest %+v, %v; want notes 4 to 5, 200 cents at worst, 50 on average of 4", g.Weakest, err)
	}
}

// The order of takes of one line: what is worse has the lower score. The takes are those of
// a teacher's list: a take without a fault, a curve with a hole and an octave leap within
// notes, one wrong note, one passed over, three wrong notes of which the last are a semitone sharp.
func TestOrderOfTakes(t *testing.T) {
	line := Line{}
	pitches := []float64{6000, 6200, 6400, 6500, 6700, 6900, 6700, 6000}
	for k, c := range pitches {
		line.Notes = append(line.Notes, Due{c, float64(k), 1})
	}
	sing := func(cents []float64, spoil bool) Performance {
		var curve []Moment
		for i, c := range cents {
			for k := range 50 {
				m := Moment{0.5*float64(i) + 0.01*float64(k), c, k < 46}
				if spoil && i == 2 && k >= 20 && k < 30 {
					m.Voiced = false
				}
				if spoil && i == 4 && k >= 20 && k < 30 {
					m.Cents += 1200
				}
				curve = append(curve, m)
			}
		}
		return OfCurve(curve)
	}
	with := func(change map[int]float64) []float64 {
		c := slices.Clone(pitches)
		for i, by := range change {
			c[i] += by
		}
		return c
	}
	last := 2.0
	for _, test := range []struct {
		name       string
		take       Performance
		low, high  float64
		right, add int
	}{
		{"as written", sing(pitches, false), 0.99, 1, 8, 0},
		{"a curve with a hole and a leap", sing(pitches, true), 0.97, 1, 8, 0},
		{"the first is wrong", sing(with(map[int]float64{0: 300}), false), 0.7, 0.9, 7, 0},
		{"fa is passed over", sing(slices.Delete(slices.Clone(pitches), 3, 4), false), 0.4, 0.7, 7, 0},
		{"three are wrong, a semitone sharp at the end", sing(with(map[int]float64{2: 200, 6: 100, 7: 100}), false), 0.3, 0.57, 5, 0},
	} {
		g, err := Of(line, test.take, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%-45s score %.2f, pass %.2f", test.name, g.Score, g.Pass)
		if g.Score > last || g.Score < test.low || g.Score > test.high || g.Right != test.right || len(g.Added) != test.add {
			t.Errorf("%s: score %.2f, %d right, %d added; want %g to %g and at most %.2f, %d, %d", test.name, g.Score, g.Right, len(g.Added), test.low, test.high, last, test.right, test.add)
		}
		last = g.Score
	}
}
