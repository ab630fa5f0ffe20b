package grade

import (
	"math"
	"slices"
)

// What a note of the line got of the curve. Shares are of its due.
type got struct {
	from, to int     // frames; the same where the note was skipped
	tune     float64 // in tune: all of it within 50 cents, nothing from 100 on
	cents    float64 // median distance of what is near it from the key of the whole take
	near     int     // frames that are
	begins   float64 // s
	ends     float64
}

// following is a curve read as a line: each note of the line is one stretch of
// it, in order, or nothing.
type following struct {
	notes []got
	line  []Due     // equal neighbours are one
	rest  []bool    // which of them are rests: anything or nothing may be there
	near  []int     // about the frame of each
	first []int     // where each of them begins in the line that was given
	key   []float64 // of each frame: how far the singer lies above the line, octaves left out
	pace  float64   // frames that one unit of the line takes
	beat  float64   // the usual length of a note, in units of the line
	value float64   // what the reading is worth, in usual notes in tune
	fr    frames    // the curve that was read
}

// Worths and costs of reading a curve, in frames in tune. They were chosen on
// the answers and the verdicts of a jury (see DEVELOPERS.md); none is critical
// within a factor of two.
const (
	noteSteps  = 15.0  // steps of the usual note
	leastStep  = 0.008 // s
	mostStep   = 0.120 // s
	usualMost  = 80.0  // steps of the usual note: 4 s, slower than anything is sung
	tuneFull   = 60.0  // cents within which a frame is worth all
	tuneNone   = 110.0 // and from which on it costs offCost
	offCost    = 0.7
	skipCost   = 0.5  // of the due of a note that is passed over
	pauseCost  = 0.05 // of a silent frame between notes
	extraCost  = 0.3  // of a frame with a voice between notes
	lengthCost = 0.1  // of the due of a note, for each doubling of its length
	freeLength = 0.02 // the same where the line says nothing of lengths
	dueFull    = 1.3  // of a note's due: being held longer is worth no more
	dueMost    = 2.5  // longest stretch of one note
	curveDrift = 60.0 // cents: how far the reference may move from the key
	keyNear    = 100.0
	cellBudget = 4 << 20 // cells times lengths that are looked at in full
	reach      = 24.0    // usual notes before and after its place in which a note of a long line is looked for
	minFrames  = 4.0     // frames of a note in tune from which its pitch is known
)

// frames is a curve in even steps.
type frames struct {
	step  float64 // s
	zero  float64 // time of the curve's first point
	index []int   // of each frame, counted from there: some may be cut out
	cents []float64
	ok    []bool
}

// frame is where a time lies among the frames.
func (fr frames) frame(seconds float64) int {
	at, _ := slices.BinarySearch(fr.index, int((seconds-fr.zero)/fr.step))
	return at
}

// time is the middle of a frame in seconds of the curve.
func (fr frames) time(f int) float64 { return fr.zero + (float64(fr.index[f])+0.5)*fr.step }

// stepFor is the step at which a take of a line is read: a fixed part of its
// usual note at the pace of the whole take, so that a take at another tempo is
// read the same, within the limits of what is worth looking at.
func stepFor(line []Due, curve []Moment) float64 {
	from, to := 0, len(curve)
	for from < to && !curve[from].Voiced {
		from++
	}
	for to > from && !curve[to-1].Voiced {
		to--
	}
	if from == to {
		return leastStep
	}
	lengths := make([]float64, len(line))
	for i, d := range line {
		lengths[i] = d.Length
	}
	last := line[len(line)-1]
	usual := median(lengths) / (last.Onset + last.Length - line[0].Onset)
	return max(leastStep, min(mostStep, (curve[to-1].At-curve[from].At)*usual/noteSteps))
}

// sample reads a curve in steps of step seconds: the median of what lies in one, voiced where
// most of it is. A curve with a coarser step holds its values.
func sample(curve []Moment, step float64) frames {
	fr := frames{step: step}
	if len(curve) == 0 {
		return fr
	}
	zero := curve[0].At
	fr.zero = zero
	n := min(maxFrames, int((curve[len(curve)-1].At-zero)/step+1e-6)+1)
	var steps []float64
	for k := 1; k < len(curve) && k < 200; k++ {
		steps = append(steps, curve[k].At-curve[k-1].At)
	}
	hold := max(step, 1.5*median(steps))
	fr.cents, fr.ok, fr.index = make([]float64, n), make([]bool, n), make([]int, n)
	var inside []float64
	k := 0
	for f := range n {
		fr.index[f] = f
		inside = inside[:0]
		all, end := 0, float64(f+1)*step-1e-6
		for k < len(curve) && curve[k].At-zero < end {
			if curve[k].Voiced {
				inside = append(inside, curve[k].Cents)
			}
			all++
			k++
		}
		switch {
		case all > 0 && 2*len(inside) >= all && len(inside) > 0:
			slices.Sort(inside)
			fr.cents[f], fr.ok[f] = inside[len(inside)/2], true
		case all == 0 && k > 0 && curve[k-1].Voiced && end-step-(curve[k-1].At-zero) <= hold:
			fr.cents[f], fr.ok[f] = curve[k-1].Cents, true
		}
	}
	return fr
}

// maxFrames bounds what a curve with a wild time can take: two hours at the
// finest step.
const maxFrames = 2 * 3600 * 125

// trim returns the frames from the first to the last voiced one.
func (fr frames) trim() frames {
	from, to := 0, len(fr.ok)
	for from < to && !fr.ok[from] {
		from++
	}
	for to > from && !fr.ok[to-1] {
		to--
	}
	return frames{fr.step, fr.zero, fr.index[from:to], fr.cents[from:to], fr.ok[from:to]}
}

// cut returns the frames without those in [from, to).
func (fr frames) cut(from, to int) frames {
	from, to = max(0, min(from, len(fr.ok))), max(0, min(to, len(fr.ok)))
	if from >= to {
		return fr
	}
	return frames{fr.step, fr.zero, slices.Concat(fr.index[:from], fr.index[to:]), slices.Concat(fr.cents[:from], fr.cents[to:]), slices.Concat(fr.ok[:from], fr.ok[to:])}
}

// restLeast is the shortest silence of a line, in usual notes, that is not only
// the way in which a note ends.
const restLeast = 0.35

// joined merges neighbours on one pitch, since a curve does not tell them
// apart, and puts rests in where nothing is due.
func joined(line []Due) (out []Due, rest []bool, first []int) {
	lengths := make([]float64, len(line))
	for i, d := range line {
		lengths[i] = d.Length
	}
	least := restLeast * median(lengths)
	for i, d := range line {
		n := len(out)
		if n > 0 {
			end := out[n-1].Onset + out[n-1].Length
			switch gap := d.Onset - end; {
			case gap > least:
				out, rest, first = append(out, Due{0, end, gap}), append(rest, true), append(first, i)
			case math.Abs(out[n-1].Cents-d.Cents) <= mergeReach:
				out[n-1].Length = d.Onset + d.Length - out[n-1].Onset
				continue
			}
		}
		out, rest, first = append(out, d), append(rest, false), append(first, i)
	}
	return out, rest, first
}

// readCurve reads a curve as a line, for the best of the keys given, each to be
// looked for within spread cents. when is about the time in seconds of each
// note of the line, by which a long line is kept in a band.
func readCurve(line []Due, timed bool, fr frames, keys []float64, spread float64, when []float64) following {
	best := following{value: math.Inf(-1)}
	w := following{}
	w.line, w.rest, w.first = joined(line)
	var lengths []float64
	for i, d := range w.line {
		if !w.rest[i] {
			lengths = append(lengths, d.Length)
		}
	}
	w.beat = median(lengths)
	w.key = make([]float64, len(fr.ok))
	for _, i := range w.first {
		w.near = append(w.near, fr.frame(when[i]))
	}
	end := w.line[len(w.line)-1]
	full := min(max(float64(len(fr.ok)), 1)/(end.Onset+end.Length-w.line[0].Onset), usualMost/w.beat)
	paces := []float64{0.7, 0.8, 0.9, 1, 1.1}
	if w.long(fr, full) {
		keys, paces = keys[:1], paces[1:4]
	}
	for _, key := range keys {
		key = fr.tuned(line, key, spread)
		for _, r := range paces {
			if len(keys) > 1 && r != 0.9 {
				continue
			}
			if v := w.read(timed, fr, key, full*r); v.value > best.value {
				best = v
			}
		}
	}
	key := best.home(fr)
	if len(keys) > 1 {
		for _, r := range paces {
			if v := w.read(timed, fr, key, full*r); v.value > best.value {
				best = v
			}
		}
	}
	for range 2 {
		best = best.again(timed, fr, key)
	}
	return best
}

// tuned is the key near the one given in which most of the frames lie on notes
// of the line.
func (fr frames) tuned(line []Due, key, spread float64) float64 {
	best, at := -1.0, key
	for off := -spread; off <= spread; off += 10 {
		sum := 0.0
		for f, ok := range fr.ok {
			if !ok {
				continue
			}
			near := 0.0
			for _, d := range line[:min(len(line), 60)] {
				near = max(near, 1-math.Abs(octaveFold(fr.cents[f]-d.Cents-key-off))/50)
			}
			sum += near
		}
		if sum *= 1 - math.Abs(off)/1000; sum > best {
			best, at = sum, key+off
		}
	}
	return at
}

// home is the key of a reading, as one number.
func (w following) home(fr frames) float64 { return median(w.key) }

// again reads once more with the pace and the drift that a reading shows.
func (w following) again(timed bool, fr frames, key float64) following {
	var at, due, mid, off []float64
	for i, g := range w.notes {
		if g.to == g.from || w.rest[i] {
			continue
		}
		at, due = append(at, float64(g.from)), append(due, w.line[i].Onset)
		var near []float64
		for f := g.from; f < g.to; f++ {
			if d := octaveFold(fr.cents[f] - w.line[i].Cents - key); fr.ok[f] && math.Abs(d) < keyNear {
				near = append(near, d)
			}
		}
		if len(near) >= minFrames {
			mid, off = append(mid, float64(g.from+g.to)/2), append(off, median(near))
		}
	}
	pace := w.pace
	if len(at) > 1 {
		if p := slopeOf(due, at); p > 0 {
			pace = p
		}
	}
	next := w
	next.key = make([]float64, len(fr.ok))
	k := 0
	for f := range next.key {
		next.key[f] = key
		if len(off) > 2 {
			for k+1 < len(mid) && math.Abs(mid[k+1]-float64(f)) < math.Abs(mid[k]-float64(f)) {
				k++
			}
			m := median(off[max(0, k-2):min(len(off), k+3)])
			next.key[f] += max(-curveDrift, min(curveDrift, m))
		}
	}
	return next.path(timed, fr, pace)
}

// read reads with one key and one pace.
func (w following) read(timed bool, fr frames, key, pace float64) following {
	w.key = make([]float64, len(fr.ok))
	for f := range w.key {
		w.key[f] = key
	}
	return w.path(timed, fr, pace)
}

// long reports whether a reading is too much work to be done in full.
func (w *following) long(fr frames, pace float64) bool {
	return float64(len(w.line))*float64(len(fr.ok))*w.beat*pace*dueMost > cellBudget
}

// members are the written notes, of n, that note k stands for.
func (w *following) members(k, n int) (from, to int) {
	if k+1 < len(w.first) {
		n = w.first[k+1]
	}
	return w.first[k], n
}

// worth is what a frame is worth for a note.
func (w *following) worth(i, f int, fr frames) float64 {
	if !fr.ok[f] || w.rest[i] {
		return 0
	}
	d := math.Abs(octaveFold(fr.cents[f] - w.line[i].Cents - w.key[f]))
	switch {
	case d <= tuneFull:
		return 1
	case d >= tuneNone:
		return -offCost
	}
	return 1 - (1+offCost)*(d-tuneFull)/(tuneNone-tuneFull)
}

// path finds the best reading by dynamic programming over notes, frames and
// lengths. A cell (i, f) is: i notes are done at frame f. It is reached by a
// frame that belongs to no note, by passing note i−1 over, or by a stretch of
// frames for it. What lies before the first and after the last note costs
// nothing where it is silent.
//
// Of a long line only the cells near the place that the alignment of the notes
// gives are looked at: work and memory grow with its length, not with its square.
//
// Long: one recurrence, whose three moves share the running sums of a cell; apart,
// each would be handed a dozen of them.
func (w following) path(timed bool, fr frames, pace float64) following {
	m, n := len(w.line), len(fr.ok)
	w.pace = min(max(pace, 2/w.beat), usualMost/w.beat)
	due := make([]float64, m)
	for i, d := range w.line {
		due[i] = d.Length * w.pace
	}
	perOctave := lengthCost
	if !timed {
		perOctave = freeLength
	}
	// The band of frames of each row.
	low, high := make([]int, m+1), make([]int, m+1)
	usual := w.beat * w.pace
	banded := w.long(fr, w.pace)
	for i := range low {
		low[i], high[i] = 0, n
		if banded {
			at := float64(n)
			if i < m {
				at = float64(w.near[i])
			}
			low[i] = max(0, int(at-reach*usual))
			high[i] = min(n, int(at+reach*usual))
			if i > 0 {
				low[i] = max(low[i-1], min(low[i], high[i-1]))
				high[i] = max(high[i], high[i-1], low[i])
			}
		}
	}
	low[0], high[m] = 0, n

	// How a cell was reached: by so many frames of a note, or by these.
	const (
		skip    int32 = 0
		idle    int32 = -1
		nothing int32 = -2
	)
	back := make([][]int32, m+1)
	var before, now []float64
	sum := make([]float64, 0, n+1)
	var lengths []float64
	for i := 0; i <= m; i++ {
		lo, hi := low[i], high[i]
		now = slices.Grow(now[:0], hi-lo+1)[:hi-lo+1]
		back[i] = make([]int32, hi-lo+1)
		var last float64
		base := 0
		if i > 0 {
			base = low[i-1]
			sum = append(sum[:0], 0)
			for f := base; f < hi; f++ {
				sum = append(sum, sum[len(sum)-1]+w.worth(i-1, f, fr))
			}
			most := max(1, int(due[i-1]*dueMost))
			lengths = append(lengths[:0], 0)
			for l := 1; l <= most; l++ {
				lengths = append(lengths, perOctave*due[i-1]*min(2, math.Abs(math.Log2(float64(l)/due[i-1]))))
			}
			last = dueFull * due[i-1]
		}
		for f := lo; f <= hi; f++ {
			v, b := math.Inf(-1), nothing
			if i == 0 && f == 0 {
				v = 0
			}
			if f > lo {
				cost := pauseCost
				switch {
				case fr.ok[f-1]:
					cost = extraCost
				case i == 0 || i == m:
					cost = 0
				}
				if x := now[f-1-lo] - cost; x > v {
					v, b = x, idle
				}
			}
			if i > 0 {
				if f <= high[i-1] {
					cost := skipCost * due[i-1]
					if w.rest[i-1] {
						cost *= 0.5
					}
					if x := before[f-base] - cost; x > v {
						v, b = x, skip
					}
				}
				here := sum[f-base]
				for l := max(1, f-high[i-1]); l < len(lengths) && f-l >= base; l++ {
					if x := before[f-l-base] + min(here-sum[f-l-base], last) - lengths[l]; x > v {
						v, b = x, int32(l)
					}
				}
			}
			now[f-lo], back[i][f-lo] = v, b
		}
		before, now = now, before
	}
	w.value = before[n-low[m]] / usual
	w.notes = make([]got, m)
	for i, f := m, n; i > 0 || f > 0; {
		switch b := back[i][f-low[i]]; b {
		case idle:
			f--
		case skip:
			i--
			w.notes[i].from, w.notes[i].to = f, f
		case nothing:
			panic("exercise: a curve without a way back")
		default:
			i--
			w.notes[i].from, w.notes[i].to = f-int(b), f
			f -= int(b)
		}
	}
	home := median(w.key)
	for i := range w.notes {
		g := &w.notes[i]
		var near []float64
		for f := g.from; f < g.to; f++ {
			if !fr.ok[f] {
				continue
			}
			d := octaveFold(fr.cents[f] - w.line[i].Cents - w.key[f])
			g.tune += inTune(d)
			if math.Abs(d) <= 100 {
				near = append(near, d)
			}
		}
		g.near, g.cents = len(near), median(near)
		if g.near > 0 {
			g.cents += w.key[(g.from+g.to)/2] - home
		}
		g.tune /= due[i]
		if g.to > g.from {
			g.begins, g.ends = fr.time(g.from)-fr.step/2, fr.time(g.to-1)+fr.step/2
		}
	}
	w.fr = fr
	return w
}

// inTune is what a frame that is so many cents off is in tune: all of it within 50,
// nothing from 100 on.
func inTune(cents float64) float64 { return max(0, min(1, (100-math.Abs(cents))/50)) }
