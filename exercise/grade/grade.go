package grade

import (
	"fmt"
	"math"

	"singback/exercise"
	"singback/theory"
)

// Rules say what a grading lets pass.
type Rules struct {
	Freedom
	Tolerance theory.Cents // distance that is still right, exercise.MinTolerance … MaxTolerance
}

// MaxTolerance is the widest tolerance of a line, in cents. A single note is another degree
// from half a semitone on; of a line that was read at sight a note may be meant that lies
// farther off: those who made the sight-singing data of the
// reference folder took what lies within 80 cents for right.
const MaxTolerance = 100.0

// Validate reports a tolerance out of range.
func (r Rules) Validate() error {
	if !(r.Tolerance >= exercise.MinTolerance && r.Tolerance <= MaxTolerance) {
		return fmt.Errorf("a tolerance of %g cents is out of range: want %g to %g", r.Tolerance, exercise.MinTolerance, MaxTolerance)
	}
	return nil
}

// DefaultRules takes any key and octave, and half a semitone less the width of
// the border in which it is not clear which degree is nearer.
func DefaultRules() Rules {
	return Rules{Freedom{Key: true, Octave: true}, exercise.MaxTolerance - exercise.BorderWidth}
}

// Finding is what a grading says of one written note.
type Finding int8

// The findings.
const (
	Right     Finding = iota // within the tolerance
	OutOfTune                // beyond it, yet nearer than any other degree
	Wrong                    // another degree
	Omitted                  // not sung
	NotHeard                 // some of it is there, too little to be measured
)

var findingNames = [...]string{"right", "out_of_tune", "wrong", "omitted", "not_heard"}

// String returns the name used in machine-readable output.
func (f Finding) String() string { return findingNames[f] }

// Note is what became of one written note.
type Note struct {
	Finding Finding
	Answer  Match
	// Cents is how far it was sung from its pitch in the singer's own key, a
	// steady drift taken away, octaves left out; 0 where it was not sung.
	Cents theory.Cents
	// Onset is the time in seconds at which it was sung. Late is how far that is
	// behind the time that the singer's tempo gives it, in beats, early
	// negative; Timed tells that there is one. A beat is the line's usual note.
	Onset float64
	Late  float64
	Timed bool
	// Length is how long it was held or until the next one began, against its
	// due in the singer's tempo: 1 is as written.
	Length float64
}

// Musical windows of onset, in beats: common practice.
const (
	goodOnset = 1.0 / 8
	fairOnset = 1.0 / 4
	halting   = 1.0 / 2 // beats of waiting from which one says that the singer hesitated
)

// DegreeTuning is how a degree was tuned, over the notes on it that were not
// wrong.
type DegreeTuning struct {
	Degree theory.Degree
	Notes  int
	Mean   theory.Cents // sharp positive
	Spread theory.Cents // standard deviation
}

// Leap is an interval of the line and how it was sung.
type Leap struct {
	From, To int          // the written notes, where it was sung worst
	Cents    theory.Cents // written
	Times    int          // in the line, where both notes were sung
	Error    theory.Cents // mean distance from it; a wrong note counts as leapMost at most
	Worst    theory.Cents // distance from it where it was sung worst
}

// Grading is what a grade says of a take.
type Grading struct {
	// Heard is what the take holds. Of one that was not sung the rest says little.
	Heard Heard
	// Score is 1 for a take without a fault, towards 0 as they add up. Pass is
	// the probability that a jury would let it pass.
	Score, Pass float64
	// Faults are the parts of the score, the heaviest first.
	Faults   []Fault
	Measures Measures

	Alignment Alignment
	Notes     []Note // one for each written note
	Added     []int  // sung notes that answer nothing

	Right, Omitted int          // of the written notes
	Median         theory.Cents // of the cents of the notes, sharp positive
	Spread         theory.Cents // their standard deviation
	Degrees        []DegreeTuning
	Drift          theory.Cents // of the singer's key, from the first note to the last
	Pace           float64      // seconds for one unit of the line; 0 where it is not timed
	Unsteady       float64      // median distance of a note's onset from its time, in beats
	Hesitations    []int        // written notes before which the singer waited
	Away           theory.Cents // how far the whole lies from the key, or the octave, that the rules ask for; 0: it is there
	Weakest        *Leap        // nil where no interval went wrong

	// The two marks: the share of notes that are right, and points for whole bars.
	NoteShare float64
	Segments  []bool // bars, and whether they are right in pitch and rhythm
	Flow      bool   // no hesitation and no restart, and a segment that is right
	Points    int    // 0 … PointsOf: see mark
	PointsOf  int

	zero, slope float64   // of the singer's key: cents above the line at the take's begin, and cents a second
	key         []float64 // of each sung note, above the line
	jumps       []float64 // of each written note that has a time: see jumpsOf
}

// Of compares a take with a line. It is the same for any transposition and
// octave that the rules allow, and for any uniform tempo. In a take that was not
// sung every note is left out.
func Of(line Line, take Performance, rules Rules) (Grading, error) {
	heard := take.Heard()
	if heard != Singing {
		take = Performance{}
	}
	a, err := Align(line.Notes, line.Timed, take.Notes, rules.Freedom)
	if err != nil {
		return Grading{}, err
	}
	g := Grading{Heard: heard}
	if free, off := away(line, take, a, rules); off != 0 {
		a, g.Away = free, off
	}
	a.claim(line, take.Notes)
	g.Alignment = a
	c := g.hear(line, take, rules)
	g.findKey(line, take)
	g.judge(line, take, rules, c)
	g.tune(line)
	g.time(line)
	g.weigh(line, take, rules, c)
	g.mark(line)
	return g, nil
}

// away is how far a take lies as a whole from the key that the rules ask for, where it is
// the line in another: then it must fit much better there.
func away(line Line, take Performance, a Alignment, rules Rules) (free Alignment, off theory.Cents) {
	if rules.Key || len(take.Notes) < awayLeast {
		return a, 0
	}
	free, err := Align(line.Notes, line.Timed, take.Notes, Freedom{Key: true, Octave: true})
	if err != nil {
		return a, 0
	}
	if off = free.Transposition; rules.Octave {
		off = octaveFold(off)
	}
	if math.Abs(off) <= keyReach || free.Cost > awayBetter*a.Cost {
		return a, 0
	}
	return free, off
}

const (
	awayLeast  = 3   // notes of which one can tell
	awayBetter = 0.5 // of the cost of the alignment that is left in the other key
)

// hear reads the curve as the line. A restart is taken out where that makes
// more sense of it.
func (g *Grading) hear(line Line, take Performance, rules Rules) following {
	curve := take.curve()
	fr := sample(curve, stepFor(line.Notes, curve))
	keys, spread := []float64{0}, keyReach
	if rules.Key {
		keys, spread = g.Alignment.keys, 40
	}
	when := g.when(line, take)
	whole := readCurve(line.Notes, line.Timed, fr.trim(), keys, spread, when)
	if len(g.Alignment.Restarts) == 0 || len(curve) == 0 {
		return whole
	}
	part := fr
	for k := len(g.Alignment.Restarts) - 1; k >= 0; k-- {
		from, to := g.repeated(k, line.Timed)
		until := len(part.ok)
		if to < len(take.Notes) {
			until = part.frame(take.Notes[to].Onset)
		}
		part = part.cut(part.frame(take.Notes[from].Onset), until)
	}
	if again := readCurve(line.Notes, line.Timed, part.trim(), keys, spread, when); again.value > whole.value+backCost*float64(len(g.Alignment.Restarts)) {
		return again
	}
	return whole
}

// repeated are the sung notes, from … to−1, that do not count because of restart k: with
// rhythm what was sung before it of the notes that were sung again, without rhythm what
// was sung after it until the singer had come as far as before.
func (g *Grading) repeated(k int, timed bool) (from, to int) {
	a := &g.Alignment
	r := a.Restarts[k]
	if timed {
		for from = r.Sung; from > 0 && (a.Again[from-1] || a.Written[from-1] < 0); from-- {
		}
		return from, r.Sung
	}
	for to = r.Sung; to < len(a.Written) && a.Written[to] < r.From && (k+1 == len(a.Restarts) || to < a.Restarts[k+1].Sung); to++ {
	}
	return r.Sung, to
}

// when is about the time in seconds at which each written note was sung: of one
// that was left out, that of the note before it.
func (g *Grading) when(line Line, take Performance) []float64 {
	when := make([]float64, len(line.Notes))
	last := 0.0
	if len(take.Notes) > 0 {
		last = take.Notes[0].Onset
	}
	for i, w := range g.Alignment.Answers {
		if w.Count > 0 {
			last = max(last, take.Notes[w.First].Onset)
		}
		when[i] = last
	}
	return when
}

// findKey finds the singer's key and its drift. The drift is the trend of what
// the notes are off, from the first to the last. The notes are judged against
// the key of the whole take, as people do who hear it once, unless the trend
// explains what they are off: then it is the key that moved, and not the notes
// that were wrong. (Judged against the moving reference of the alignment, most
// of the notes that annotators call wrong would be excused.)
func (g *Grading) findKey(line Line, take Performance) {
	a := &g.Alignment
	var x, y, all []float64
	for j, i := range a.Written {
		if i < 0 {
			continue
		}
		d := octaveFold(take.Notes[j].Cents - line.Notes[i].Cents - a.Transposition)
		if all = append(all, d); math.Abs(d) <= driftReach {
			x, y = append(x, take.Notes[j].Onset), append(y, d)
		}
	}
	g.key = make([]float64, len(take.Notes))
	middle := median(y)
	if !line.Timed { // as people count it who only look at pitch
		middle = median(all)
	}
	slope, zero := 0.0, middle
	if len(x) >= 4 {
		slope = slopeOf(x, y)
		g.Drift = slope * (x[len(x)-1] - x[0])
		rest := make([]float64, len(x))
		for k := range x {
			rest[k] = y[k] - slope*x[k]
		}
		zero = median(rest)
		still, moving, home := 0.0, 0.0, median(y)
		for k := range x {
			still += math.Abs(y[k] - home)
			moving += math.Abs(rest[k] - zero)
		}
		if moving > driftExplains*still || moving > stepped(y) {
			slope, zero = 0, middle
		}
	}
	g.zero, g.slope = a.Transposition+zero, slope
	if g.Away != 0 { // nor is it the one that was asked for
		g.zero, g.slope = math.Round((a.Transposition-g.Away)/1200)*1200, 0
	}
	for j := range g.key {
		g.key[j] = g.keyAt(take.Notes[j].Onset)
	}
}

// keyAt is the singer's key at a time in seconds, in cents above the line.
func (g *Grading) keyAt(seconds float64) float64 { return g.zero + g.slope*seconds }

// stepped is what is left of values, in sum, where they are those of two keys, one after
// the other: a key that was left at once has not drifted.
func stepped(y []float64) float64 {
	const most = 64 // places that are looked at
	least := math.Inf(1)
	for at := 2; at < len(y)-1; at += 1 + len(y)/most {
		sum := 0.0
		for _, part := range [][]float64{y[:at], y[at:]} {
			middle := median(part)
			for _, v := range part {
				sum += math.Abs(v - middle)
			}
		}
		least = min(least, sum)
	}
	return least
}

// driftExplains is the part of what the notes are off that may be left where a
// drift is what it was.
const driftExplains = 0.5

// judge finds what became of each written note, from the notes and, where they
// say nothing of it, from the curve.
func (g *Grading) judge(line Line, take Performance, rules Rules, c following) {
	a := &g.Alignment
	g.Notes = make([]Note, len(line.Notes))
	part, home := 0, median(c.key)
	for i, w := range a.Answers {
		for part+1 < len(c.first) && c.first[part+1] <= i {
			part++
		}
		n := &g.Notes[i]
		n.Answer = w
		heard := c.notes[part]
		heard.cents = octaveFold(heard.cents + home - g.keyAt((heard.begins+heard.ends)/2)) // one key for notes and curve
		there := g.Away == 0 && heard.tune >= heardShare && heard.near >= minFrames && math.Abs(heard.cents) <= rules.Tolerance && !g.elsewhere(take, c, part, i)
		if w.Count == 0 {
			switch {
			case there:
				n.Finding, n.Cents = Right, heard.cents
			case heard.near >= minFrames:
				n.Finding = NotHeard
			default:
				n.Finding = Omitted
			}
			continue
		}
		n.Onset = take.Notes[w.First].Onset
		n.Cents = g.cents(line, take, i)
		switch off := math.Abs(n.Cents); {
		case off <= rules.Tolerance:
			n.Finding = Right
		case off > keyNear && there && !g.another(line, take, i):
			n.Finding, n.Cents = Right, heard.cents
		case off <= exercise.MaxTolerance:
			n.Finding = OutOfTune
		default:
			n.Finding = Wrong
		}
		octave := w.Octave + int(math.Round(g.Away/1200))
		if n.Finding == Right && octave != 0 && !rules.Octave && !rules.Key {
			n.Finding = Wrong
		}
	}
	for j, i := range a.Written {
		if i < 0 {
			g.Added = append(g.Added, j)
		}
	}
	for _, n := range g.Notes {
		switch n.Finding {
		case Right:
			g.Right++
		case Omitted:
			g.Omitted++
		}
	}
	g.NoteShare = float64(g.Right) / float64(len(g.Notes))
}

// heardShare of a note's due in tune is a note that was sung, whatever the
// segmenter made of it.
const heardShare = 0.5

// cents is how far written note i was sung from its pitch in the singer's key:
// of its pieces the longest counts.
func (g *Grading) cents(line Line, take Performance, i int) float64 {
	w := g.Alignment.Answers[i]
	longest := w.First
	for j := w.First; j < w.First+w.Count; j++ {
		if n, l := take.Notes[j], take.Notes[longest]; n.Offset-n.Onset > l.Offset-l.Onset {
			longest = j
		}
	}
	return octaveFold(take.Notes[longest].Cents - line.Notes[i].Cents - g.key[longest])
}

// tune sums up the tuning.
func (g *Grading) tune(line Line) {
	var all []float64
	at := map[theory.Degree]int{}
	values := [][]float64{}
	for i, n := range g.Notes {
		if n.Finding != Right && n.Finding != OutOfTune {
			continue
		}
		all = append(all, n.Cents)
		if line.Degrees == nil {
			continue
		}
		d := line.Degrees[i]
		k, ok := at[d]
		if !ok {
			k = len(values)
			at[d] = k
			values = append(values, nil)
			g.Degrees = append(g.Degrees, DegreeTuning{Degree: d})
		}
		values[k] = append(values[k], n.Cents)
	}
	g.Median = median(all)
	_, g.Spread = meanAndSpread(all)
	for k := range g.Degrees {
		d := &g.Degrees[k]
		d.Notes = len(values[k])
		d.Mean, d.Spread = meanAndSpread(values[k])
	}
	g.leaps(line)
}

// time finds what is early, late, long and short.
func (g *Grading) time(line Line) {
	a := &g.Alignment
	if !line.Timed || a.Pace == 0 {
		return
	}
	g.Pace = a.Pace
	beat := line.beat()
	var index []int
	var off []float64
	for i := range g.Notes {
		if w := g.Notes[i].Answer; w.Count > 0 && !w.Merged {
			index = append(index, i)
			off = append(off, ((g.Notes[i].Onset-a.Start)/a.Pace-line.Notes[i].Onset)/beat)
		}
	}
	g.jumps = g.jumpsOf(line, index, beat)
	var away []float64
	for k, i := range index {
		n := &g.Notes[i]
		n.Timed = true
		n.Late = off[k] - median(off[max(0, k-driftWindow):min(len(off), k+driftWindow+1)])
		away = append(away, math.Abs(n.Late))
		n.Length = 1
		if k+1 < len(index) {
			next := index[k+1]
			if due := line.Notes[next].Onset - line.Notes[i].Onset; due > 0 {
				n.Length = (g.Notes[next].Onset - n.Onset) / (a.Pace * due)
			}
			if g.jumps[k+1] > halting {
				g.Hesitations = append(g.Hesitations, next)
			}
		}
	}
	g.Unsteady = median(away)
}

// jumpsOf are the beats by which each of some notes begins later than the note
// before it and the tempo about it have it: who slows down does not wait.
func (g *Grading) jumpsOf(line Line, index []int, beat float64) []float64 {
	between := func(k int) (due, took float64) {
		from, to := index[k-1], index[k]
		return line.Notes[to].Onset - line.Notes[from].Onset, g.Notes[to].Onset - g.Notes[from].Onset
	}
	const least = 4 // tempos of which one that is odd does not move the median
	jumps := make([]float64, len(index))
	for k := 1; k < len(index); k++ {
		var about []float64
		for q := max(1, k-driftWindow); q < min(len(index), k+driftWindow+1); q++ {
			if due, took := between(q); due > 0 && took > 0 {
				about = append(about, took/due)
			}
		}
		pace := g.Pace
		if len(about) >= least {
			pace = median(about)
		}
		due, took := between(k)
		jumps[k] = (took/pace - due) / beat
	}
	return jumps
}

// beat is the line's usual note.
func (l Line) beat() float64 {
	lengths := make([]float64, len(l.Notes))
	for i, d := range l.Notes {
		lengths[i] = d.Length
	}
	return median(lengths)
}

// mark counts the parts of the line, its bars, that are right: two points for one
// whose notes are all right and begin in time, one for one that is right in pitch
// alone or in rhythm alone, and two more for the flow. Where the line says nothing
// of rhythm, pitch has both points. In time is within fairOnset of the singer's
// own tempo, right within the tolerance. A part in which nothing sounds does not
// count. It is a way of counting of our own and no examination's.
func (g *Grading) mark(line Line) {
	at := line.segments()
	right := 0
	for k := 0; k+1 < len(at); k++ {
		pitch, rhythm, sounds, begins := true, line.Timed, false, false
		for i, d := range line.Notes {
			n := g.Notes[i]
			end := d.Onset + d.Length
			if end <= at[k]+equal || d.Onset >= at[k+1]-equal {
				continue
			}
			sounds = true
			pitch = pitch && n.Finding == Right
			if d.Onset >= at[k]-equal {
				begins = true
				rhythm = rhythm && n.Answer.Count > 0 && (!n.Timed || math.Abs(n.Late) <= fairOnset)
			}
		}
		if !sounds {
			continue
		}
		if !begins || !line.Timed {
			rhythm = pitch
		}
		g.Segments = append(g.Segments, pitch && rhythm)
		switch {
		case pitch && rhythm:
			right++
			g.Points += 2
		case pitch || rhythm:
			g.Points++
		}
	}
	g.PointsOf = 2*len(g.Segments) + 2
	g.Flow = right > 0 && len(g.Hesitations) == 0 && len(g.Alignment.Restarts) == 0
	if g.Flow {
		g.Points += 2
	}
}

func meanAndSpread(x []float64) (mean, spread float64) {
	if len(x) == 0 {
		return 0, 0
	}
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		spread += (v - mean) * (v - mean) / float64(len(x))
	}
	return mean, math.Sqrt(spread)
}
