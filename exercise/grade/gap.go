package grade

import (
	"errors"
	"fmt"
	"math"

	"singback/theory"
)

// ErrNoGap is wrapped by errors about silent bars that leave nothing to be sung, or
// nothing to be heard inwardly.
var ErrNoGap = errors.New("no gap")

// SilentBars finds the notes of a score that lie in bars in which the singer falls
// silent: one truth for each note, rests too. Bars are counted from 1; an incomplete first
// bar is 0 (common practice). A note belongs to the bar that it begins in: one that is held
// over a bar line is sung, or heard inwardly, whole.
func SilentBars(s *theory.Score, bars []int) ([]bool, error) {
	starts := s.Bars()
	first := 1
	if s.Start.Num > 0 {
		first = 0
	}
	if len(starts) == 0 {
		return nil, fmt.Errorf("it has no bars")
	}
	last := first + len(starts) - 1
	marked := make([]bool, len(starts))
	for _, b := range bars {
		if b < first || b > last {
			return nil, fmt.Errorf("there is no bar %d: it has bars %d to %d", b, first, last)
		}
		marked[b-first] = true
	}
	silent := make([]bool, len(s.Notes))
	at, bar, sung, inner := theory.NewFraction(0, 1), 0, 0, 0
	for i, n := range s.Notes {
		for bar+1 < len(starts) && !at.Less(starts[bar+1]) {
			bar++
		}
		if silent[i] = marked[bar]; !n.Rest && silent[i] {
			inner++
		} else if !n.Rest {
			sung++
		}
		at = at.Plus(n.Length)
	}
	switch {
	case sung == 0:
		return nil, fmt.Errorf("%w: nothing is left to be sung; leave a bar that sounds", ErrNoGap)
	case inner == 0:
		return nil, fmt.Errorf("%w: no note begins in what is to be silent", ErrNoGap)
	}
	return silent, nil
}

// Without returns a score with rests in the place of its silent notes.
func Without(s theory.Score, silent []bool) theory.Score {
	notes := make([]theory.Written, len(s.Notes))
	copy(notes, s.Notes)
	for i := range notes {
		if i < len(silent) && silent[i] {
			notes[i] = theory.Written{Rest: true, Length: notes[i].Length}
		}
	}
	s.Notes = notes
	return s
}

// Gap is a stretch of a line that the singer hears inwardly, and how it was sung on.
type Gap struct {
	// Before and After are the notes next to it in the line that is sung, from 0; −1 and
	// the number of notes where there is none.
	Before, After int
	Sung          int // notes that were sung in it, which are charged to nobody
	// Drift is how far the singer's key moved over it: the notes after it against those
	// before, or against the key that was set where it begins the line. HasDrift is false
	// where too little was sung.
	Drift    theory.Cents
	HasDrift bool
	// Entered is the degree that was sung after it; HasEntered is false where none was.
	Entered    theory.Degree
	HasEntered bool
	// Late is how many beats of the line's usual note after its time the singer came in
	// again, early negative. Timed is false where that is not known.
	Late  float64
	Timed bool
}

// Beat is the beat that was given to a singer, in seconds of the take; the zero Beat is
// the singer's own.
type Beat struct {
	Start float64 // when the line begins
	Unit  float64 // how long a unit of the line lasts; 0: the singer chose
}

// OfSilent grades a take of a score some of whose notes are heard inwardly, line being the
// rest of them. What is sung of them is told in the gaps, and is taken out of the take: it is
// neither an added note nor an answer to another.
func OfSilent(s *theory.Score, silent []bool, tuning theory.Tuning, line *Line, take *Performance, rules Rules, beat Beat) (*Grading, []Gap, error) {
	full, err := NewLine(*s, tuning)
	if err != nil {
		return nil, nil, err
	}
	g, err := Of(*line, *take, rules)
	if err != nil {
		return nil, nil, err
	}
	var hushed []bool // of the notes of the full line
	for i := range s.Notes {
		if !s.Notes[i].Rest {
			hushed = append(hushed, silent[i])
		}
	}
	gaps, runs := gapsOf(hushed)
	a, err := Align(full.Notes, full.Timed, take.Notes, rules.Freedom)
	if err != nil {
		return nil, nil, err
	}
	if in := sungIn(&a, hushed, runs); within(in, &a, full.Notes, hushed, take.Notes, beat) {
		rest := take.less(in)
		without, err := Of(*line, rest, rules)
		// Who repeats in the next bar what the silent one has was taken to sing it.
		if err == nil && without.Score >= g.Score-gapCharged {
			g, *take = without, rest
			for _, k := range in {
				if k >= 0 {
					gaps[k].Sung++
				}
			}
		}
	}
	for k := range gaps {
		g.over(&gaps[k], line, take.Notes, rules, beat)
	}
	return &g, gaps, nil
}

// gapsOf are the stretches of silent notes, and for each note of the full line which one
// it is in, −1 for none.
func gapsOf(hushed []bool) (gaps []Gap, runs []int) {
	sung := 0
	for i, h := range hushed {
		run := -1
		if h {
			if i == 0 || !hushed[i-1] {
				gaps = append(gaps, Gap{Before: sung - 1, After: sung})
			}
			run = len(gaps) - 1
		} else {
			sung++
		}
		runs = append(runs, run)
	}
	return gaps, runs
}

// sungIn finds the sung notes that belong to silent ones: for each which gap, −1 for none;
// nil where there are none at all. A note that answers nothing belongs to a gap that lies
// between the notes before and after it.
func sungIn(a *Alignment, hushed []bool, runs []int) []int {
	in := make([]int, len(a.Written))
	before := -1 // the written note that was sung last
	for j, w := range a.Written {
		in[j] = -1
		if w >= 0 {
			in[j], before = runs[w], w
			continue
		}
		after := len(hushed)
		for _, next := range a.Written[j+1:] {
			if next >= 0 {
				after = next
				break
			}
		}
		for i := max(0, before); i < min(after+1, len(hushed)); i++ {
			if runs[i] >= 0 {
				in[j] = runs[i]
				break
			}
		}
	}
	return in
}

// within leaves of what is in the gaps that which lies in their time, and reports whether
// anything is left. Where no time is known, all of it is.
func within(in []int, a *Alignment, full []Due, hushed []bool, take []Sung, beat Beat) bool {
	type span struct {
		begins, ends, pace, zero float64
		timed                    bool
	}
	var spans []span
	for i, h := range hushed {
		if !h {
			continue
		}
		if i == 0 || !hushed[i-1] {
			s := span{begins: full[i].Onset}
			s.pace, s.zero, s.timed = clock(full[:i], func(k int) (float64, bool) {
				if hushed[k] || a.Answers[k].Count == 0 {
					return 0, false
				}
				return take[a.Answers[k].First].Onset, true
			}, beat)
			spans = append(spans, s)
		}
		spans[len(spans)-1].ends = full[i].Onset + full[i].Length
	}
	left := false
	for j, k := range in {
		if k < 0 {
			continue
		}
		if s := &spans[k]; s.timed {
			if at := ((take[j].Onset+take[j].Offset)/2 - s.zero) / s.pace; at < s.begins || at > s.ends {
				in[j] = -1
				continue
			}
		}
		left = true
	}
	return left
}

// clock is the time of the line as the singer keeps it over some notes, of which onset tells
// when they were sung: seconds for a unit, and when the line began; false where nothing tells.
func clock(notes []Due, onset func(i int) (float64, bool), beat Beat) (pace, zero float64, ok bool) {
	var x, y []float64
	for i, d := range notes {
		if at, ok := onset(i); ok {
			x, y = append(x, d.Onset), append(y, at)
		}
	}
	switch pace = beat.Unit; {
	case pace > 0 && len(x) == 0:
		return pace, beat.Start, true
	case pace > 0:
	case len(x) < leastClock:
		return 0, 0, false
	default:
		if pace = slopeOf(x, y); pace <= 0 {
			return 0, 0, false
		}
	}
	var zeros []float64
	for i := max(0, len(x)-besideGap); i < len(x); i++ {
		zeros = append(zeros, y[i]-pace*x[i])
	}
	return pace, median(zeros), true
}

// leastClock notes before a gap tell the tempo of a singer who chose it.
const leastClock = 3

// less returns a take without the notes that are in something, and without their sound.
func (t *Performance) less(in []int) Performance {
	var out Performance
	for j, n := range t.Notes {
		if in[j] < 0 {
			out.Notes = append(out.Notes, n)
		}
	}
	out.Curve = append(out.Curve, t.Curve...)
	for j, n := range t.Notes {
		if in[j] < 0 {
			continue
		}
		for i := range out.Curve {
			if m := &out.Curve[i]; m.At >= n.Onset-curveEdge && m.At <= n.Offset+curveEdge {
				m.Voiced = false
			}
		}
	}
	return out
}

// curveEdge is how far, in seconds, the sound of a note reaches beyond it.
const curveEdge = 0.03

// gapCharged is how much better a score may be that takes what was sung in the silence for
// notes of the line, and not be believed.
const gapCharged = 0.03

// besideGap is how many notes on each side of a gap tell the key and the time there.
const besideGap = 4

// gapReach is how far, in cents, a note may be from its pitch and still tell the key.
const gapReach = 250.0

// over finds how the singer went on after a gap.
func (g *Grading) over(gap *Gap, line *Line, take []Sung, rules Rules, beat Beat) {
	off := func(i int) float64 { // of note i from the line, the octave of the take left out
		return octaveFold(take[g.Notes[i].Answer.First].Cents - line.Notes[i].Cents)
	}
	key := func(from, to int) (cents []float64) {
		for i := max(0, from); i < min(to, len(g.Notes)); i++ {
			if g.Notes[i].Answer.Count == 0 {
				continue
			}
			if c := off(i); math.Abs(octaveFold(c-octaveFold(g.Alignment.Transposition))) <= gapReach {
				cents = append(cents, c)
			}
		}
		return cents
	}
	before, after := key(gap.Before+1-besideGap, gap.Before+1), key(gap.After, gap.After+besideGap)
	if gap.Before < 0 && !rules.Key {
		before = []float64{0}
	}
	if len(before) > 0 && len(after) > 0 {
		gap.Drift, gap.HasDrift = octaveFold(median(after)-median(before)), true
	}
	if gap.After >= len(g.Notes) || g.Notes[gap.After].Answer.Count == 0 {
		return
	}
	if line.Degrees != nil {
		own := line.Degrees[gap.After]
		gap.Entered, gap.HasEntered = own, true
		home := before // what follows tells in which key it was, where there is enough of it
		if len(after) >= leastClock {
			home = after
		}
		if away := octaveFold(off(gap.After) - median(home)); math.Abs(away) > 50 {
			c := 100*float64(own.Semitones()) + away
			gap.Entered, _ = line.Key.Nearest(c - 1200*math.Floor(c/1200))
		}
	}
	onset := func(i int) (float64, bool) { return g.Notes[i].Onset, g.Notes[i].Answer.Count > 0 }
	if pace, zero, ok := clock(line.Notes[:gap.Before+1], onset, beat); ok {
		gap.Late, gap.Timed = (g.Notes[gap.After].Onset-zero-pace*line.Notes[gap.After].Onset)/(pace*line.beat()), true
	}
}
