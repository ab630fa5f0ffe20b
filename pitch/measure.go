package pitch

import (
	"math"
	"slices"
)

// measure is the scratch of the measurements on one note. The slices are as long
// as the note, or shorter.
type measure struct {
	sorted   []float64
	cents    []float64 // about the median of the note
	ok       []bool    // which of them are voiced and no slips
	windows  []window
	swing    []float64 // the vibrato by the windows, times their weights
	extent   []float64 // its extent, times their weights
	weight   []float64 // of the windows over a frame
	swings   []bool    // which frames swing
	straight []float64 // cents without the vibrato
	level    []float64 // straight, averaged
	steady   []float64 // straight of the steady part, about its centre
}

func (m *measure) grow(n int) {
	for _, v := range [...]*[]float64{&m.sorted, &m.cents, &m.swing, &m.extent, &m.weight, &m.straight, &m.level, &m.steady} {
		*v = make([]float64, 0, n)
	}
	m.ok, m.swings = make([]bool, 0, n), make([]bool, 0, n)
	m.windows = make([]window, 0, n)
}

// note measures frames, whose first and last are voiced. It reports false for a
// note that is too short.
func (s *Segmenter) note(frames []moment) (Note, bool) {
	m, dt := &s.m, s.spacing()
	n := Note{
		Onset:  frames[0].index,
		Offset: frames[len(frames)-1].index + s.hop*int64(s.thin),
	}
	length := float64(len(frames)) * dt
	if length < minNote-dt/2 {
		return Note{}, false
	}
	middle := m.median(frames, func(f moment) (float64, bool) { return f.cents, f.voiced })
	sung := func(f moment) bool { return f.voiced && math.Abs(f.cents-middle) < slipCents }
	m.cents, m.ok = m.cents[:0], m.ok[:0]
	voiced := 0
	for _, f := range frames {
		n.Lost = n.Lost || f.lost
		m.cents, m.ok = append(m.cents, f.cents-middle), append(m.ok, sung(f))
		if sung(f) {
			voiced++
		}
	}
	if voiced == 0 {
		return Note{}, false
	}
	if m.alternates(frames) {
		m.calm(int(math.Round(calmTime / dt)))
	}
	n.VoicedShare = float64(voiced) / float64(len(frames))
	n.Level = m.median(frames, func(f moment) (float64, bool) { return f.level, sung(f) })

	n.VibratoHz, n.VibratoCents, n.VibratoOnset = m.vibrato(dt)
	extent, cycle := n.VibratoCents, 0.0 // cycle in frames
	if n.VibratoHz > 0 {
		cycle = 1 / (n.VibratoHz * dt)
	}
	from, to, held := m.settled(cycle, dt)
	steady := frames[from:to]
	n.From, n.To = steady[0].index, steady[len(steady)-1].index+s.hop*int64(s.thin)
	m.average(from, to, int(math.Round(cycle))) // what the windows leave of the vibrato
	m.steady = m.steady[:0]
	for i := from; i < to; i++ {
		switch {
		case !m.ok[i]:
		case m.swings[i]:
			m.steady = append(m.steady, m.level[i-from])
		default:
			m.steady = append(m.steady, m.straight[i])
		}
	}
	m.sorted = append(m.sorted[:0], m.steady...)
	centre := Median(m.sorted)
	n.F0 = math.Exp2((middle + centre) / 1200)
	for i := range m.steady {
		m.steady[i] -= centre
	}
	n.Slope = m.slope() / dt
	n.Spread, n.SE = m.scatter(dt)
	if cycle == 0 {
		n.SE = math.Hypot(n.SE, together(steady, m.ok[from:to], n.Spread))
	}
	n.DecayDB, n.DecayFit = decay(steady, sung, dt)
	if held {
		n.Settled = float64(to-from) * dt
	}

	n.Scoop = m.first(max(1, int(math.Round(startTime/dt))), 1) - centre
	n.Fall = m.first(max(1, int(math.Round(startTime/dt))), -1) - centre
	n.Settle = m.settle(frames, centre, settleCents+extent, dt)
	if a, b := m.edges(dt); from <= a && to >= b {
		from, to = 0, len(frames) // else without the way there and away
	}
	near, of := 0, 0
	for i := from; i < to; i++ {
		if m.ok[i] {
			of++
			if math.Abs(m.cents[i]-centre) <= settleCents+extent {
				near++
			}
		}
	}
	n.Near = float64(near) / float64(of)
	return n, true
}

// edges is the note less 120 ms at either end, or its middle half.
func (m *measure) edges(dt float64) (from, to int) {
	n := len(m.cents)
	drop := int(math.Round(edge / dt))
	if float64(n-2*drop)*dt < minSteady-dt/2 {
		drop = n / 4
	}
	return drop, n - drop
}

// settled is the steady part: where the pitch stays, and held is true, if it
// does so for heldTime; else the note less its edges. cycle is that of the
// vibrato in frames, 0 where there is none.
func (m *measure) settled(cycle, dt float64) (from, to int, held bool) {
	from, to = m.edges(dt)
	a, b, held := m.stays(cycle, dt)
	if held {
		from, to = max(from, a), min(to, b)
	}
	if !slices.Contains(m.ok[from:to], true) { // nothing but a gap: judge the whole
		return 0, len(m.cents), false
	}
	return from, to, held
}

// stays looks for the longest stretch about one pitch, or about one that drifts
// slowly. What is before and after it is left out where it is the way there, or
// away; what moves no faster than the rest, or goes on for long, is part of it.
func (m *measure) stays(cycle, dt float64) (from, to int, ok bool) {
	n := len(m.cents)
	width := int(math.Round(levelTime / dt))
	m.average(0, n, width)
	centre, slope, middle := m.mode(stayCents), 0.0, 0.0
	for range stayTimes {
		from, to = m.stretch(centre, slope, middle)
		if float64(to-from)*dt < heldTime-dt/2 {
			return 0, 0, false
		}
		centre, slope, middle = m.line(from, to)
		slope = math.Max(-driftRate*dt, math.Min(slope, driftRate*dt))
	}
	// How fast it moves where it stays, in cents a second.
	m.average(from, to, max(width, int(math.Round(cycle))))
	step := max(1, int(math.Round(speedTime/dt)))
	moved := 0.0
	for i := 0; i+step < to-from; i++ {
		moved += math.Abs(m.level[i+step] - m.level[i])
	}
	speed := moved / float64(max(1, to-from-step)) / (float64(step) * dt)
	if speed > stirs {
		return 0, 0, false
	}
	// The last of the way is still within stayCents.
	m.average(0, n, width)
	guard := int(math.Round(guardTime / dt))
	if m.away(0, from, centre, faster*speed, dt) {
		for i := 0; i < guard && math.Abs(m.level[from]-centre) > guardCents; i++ {
			from++
		}
	} else {
		from = 0
	}
	if m.away(to, n, centre, faster*speed, dt) {
		for i := 0; i < guard && math.Abs(m.level[to-1]-centre) > guardCents; i++ {
			to--
		}
	} else {
		to = n
	}
	return from, to, true
}

// away tells whether frames from ... to are the way to centre or away from it:
// longer than an edge, not too long, and at least as fast as the given speed in
// cents a second.
func (m *measure) away(from, to int, centre, speed, dt float64) bool {
	farthest := 0.0
	for i := from; i < to; i++ {
		if m.ok[i] {
			farthest = math.Max(farthest, math.Abs(m.level[i]-centre))
		}
	}
	time := float64(to-from) * dt
	return time > edge && time <= wayTime && farthest >= math.Max(settleCents, speed*time)
}

// average fills level with straight of frames from ... to, averaged over the n
// frames about each that count there; over one for n < 2.
func (m *measure) average(from, to, n int) {
	m.level = m.level[:0]
	sum, count, last := 0.0, 0, 0.0
	add := func(i, sign int) {
		if i >= from && i < to && m.ok[i] {
			sum += float64(sign) * m.straight[i]
			count += sign
		}
	}
	for i := from; i < from+n/2; i++ {
		add(i, 1)
	}
	for i := from; i < to; i++ {
		add(i+n/2, 1)
		if count > 0 {
			last = sum / float64(count)
		}
		m.level = append(m.level, last)
		add(i-n/2, -1)
	}
}

// mode is the middle of the width in which most of level lies.
func (m *measure) mode(width float64) float64 {
	m.sorted = m.sorted[:0]
	for i, v := range m.level {
		if m.ok[i] {
			m.sorted = append(m.sorted, v)
		}
	}
	slices.Sort(m.sorted)
	best, at, from := 0, 0.0, 0
	for to, v := range m.sorted {
		for m.sorted[from] < v-2*width {
			from++
		}
		if to-from+1 > best {
			best, at = to-from+1, (m.sorted[from]+v)/2
		}
	}
	return at
}

// stretch is where level stays about a line through centre at frame middle: each
// frame counts one less the square of its distance in stayCents, and the sum is
// the greatest.
func (m *measure) stretch(centre, slope, middle float64) (from, to int) {
	best, sum, start := 0.0, 0.0, 0
	for i, v := range m.level {
		if m.ok[i] {
			d := (v - centre - slope*(float64(i)-middle)) / stayCents
			sum += math.Max(-strayMost, 1-d*d)
		}
		if sum <= 0 {
			sum, start = 0, i+1
		} else if sum > best {
			best, from, to = sum, start, i+1
		}
	}
	return from, to
}

// line is the least-squares line through level from ... to.
func (m *measure) line(from, to int) (centre, slope, middle float64) {
	var n, x, y, xx, xy float64
	for i := from; i < to; i++ {
		if m.ok[i] {
			t := float64(i - from)
			n++
			x += t
			y += m.level[i]
			xx += t * t
			xy += t * m.level[i]
		}
	}
	if d := n*xx - x*x; d > 0 {
		slope = (n*xy - x*y) / d
	}
	return y / n, slope, float64(from) + x/n
}

// median of the values that count; 0 if none does.
func (m *measure) median(frames []moment, value func(moment) (float64, bool)) float64 {
	m.sorted = m.sorted[:0]
	for _, f := range frames {
		if v, ok := value(f); ok {
			m.sorted = append(m.sorted, v)
		}
	}
	return Median(m.sorted)
}

// first is the median of the first n sung frames, or of the last for dir −1.
func (m *measure) first(n, dir int) float64 {
	m.sorted = m.sorted[:0]
	i := 0
	if dir < 0 {
		i = len(m.cents) - 1
	}
	for ; i >= 0 && i < len(m.cents) && len(m.sorted) < n; i += dir {
		if m.ok[i] {
			m.sorted = append(m.sorted, m.cents[i])
		}
	}
	return Median(m.sorted)
}

// slope is the least-squares trend of steady per frame. Gaps count as nothing:
// they are short.
func (m *measure) slope() float64 {
	mid := float64(len(m.steady)-1) / 2
	var top, bottom float64
	for i, v := range m.steady {
		x := float64(i) - mid
		top += x * v
		bottom += x * x
	}
	if bottom == 0 {
		return 0
	}
	return top / bottom
}

// scatter is the standard deviation of steady and the standard error of its
// centre, of two parts. Within blocks that are longer than the windows of the frames
// the error is the tracker's: frames whose windows overlap err to opposite sides, and
// their median by withinPart of their variance over their number (for the phase slopes
// of a Hann window, by Rosenblatt's formula for a median of correlated Gaussian values).
// Between blocks it is the voice's: the variance of a mean of n values with
// autocorrelation ρ is σ²/n·(1 + 2Σρ_k), summed up in pairs ρ_2k + ρ_2k+1 until one falls
// to 0 (the initial positive sequence of Geyer, Practical Markov Chain Monte Carlo, 1992,
// from memory), and of few blocks the error has Student's distribution. For independent
// values both make the π/2 of a median.
func (m *measure) scatter(dt float64) (spread, se float64) {
	n := len(m.steady)
	sum := 0.0
	for _, v := range m.steady {
		sum += v * v // about the centre, not about the mean
	}
	spread = math.Sqrt(sum / float64(max(1, n-1)))
	blocks := max(2, min(int(float64(n)*dt/blockTime), mostBlocks))
	if n < 2*blocks {
		return spread, math.Hypot(leastSE, spread)
	}
	m.sorted = m.sorted[:0] // the means of the blocks
	mean, within := 0.0, 0.0
	for k := range blocks {
		of := m.steady[k*n/blocks : (k+1)*n/blocks]
		centre := 0.0
		for _, v := range of {
			centre += v / float64(len(of))
		}
		for _, v := range of {
			within += (v - centre) * (v - centre)
		}
		m.sorted = append(m.sorted, centre)
		mean += centre / float64(blocks)
	}
	within /= float64(n - blocks)
	lagged := func(lag int) (sum float64) {
		for i := lag; i < blocks; i++ {
			sum += (m.sorted[i] - mean) * (m.sorted[i-lag] - mean)
		}
		return sum
	}
	between := lagged(0)
	factor := -1.0
	for k := 0; k+1 < blocks && between > 0; k += 2 {
		pair := (lagged(k) + lagged(k+1)) / between
		if pair <= 0 {
			break
		}
		factor += 2 * pair
	}
	few := 1 + student/float64(blocks-1)
	between *= few * few * math.Max(1, factor) / float64((blocks-1)*blocks)
	return spread, math.Sqrt(leastSE*leastSE + withinPart*within/float64(n) + between)
}

// together is by how much frames err to the same side: they say by how much each errs,
// and do not scatter by that.
func together(frames []moment, ok []bool, spread float64) float64 {
	sum, n := 0.0, 0.0
	for i, f := range frames {
		if ok[i] {
			sum += f.se * f.se
			n++
		}
	}
	return math.Sqrt(max(0, sum/max(1, n)-scatters*spread*spread))
}

// decay is the trend of the level in dB per second and the share of its
// variance that the trend explains.
func decay(frames []moment, sung func(moment) bool, dt float64) (slope, fit float64) {
	var n, sx, sy, sxx, sxy, syy float64
	for i, f := range frames {
		if !sung(f) {
			continue
		}
		x, y := (float64(i)-float64(len(frames))/2)*dt, f.level-frames[0].level
		n++
		sx += x
		sy += y
		sxx += x * x
		sxy += x * y
		syy += y * y
	}
	if n < 3 {
		return 0, 0
	}
	vx, vy, cov := sxx-sx*sx/n, syy-sy*sy/n, sxy-sx*sy/n
	if vx <= leastTime {
		return 0, 0
	}
	if vy > leastVariance {
		fit = math.Min(1, cov*cov/(vx*vy))
	}
	return cov / vx, fit
}

// settle is the time until the track first stays within limit of centre for
// settleTime, from its first frame.
func (m *measure) settle(frames []moment, centre, limit, dt float64) float64 {
	start := -1
	for i, f := range frames {
		switch {
		case !f.voiced:
		case m.ok[i] && math.Abs(m.cents[i]-centre) <= limit:
			if start < 0 {
				start = i
			}
			if float64(i+1-start)*dt >= settleTime-dt/2 {
				return float64(start) * dt
			}
		default:
			start = -1
		}
	}
	return float64(len(frames)) * dt
}

// alternates tells whether the pitch turns back at every other frame, as none does that a
// voice holds, swings or slides: where every second pulse comes early or late (creak), a
// frame shows one of two pitches, and what is heard lies between them.
func (m *measure) alternates(frames []moment) bool {
	turns, sure, of := 0.0, 0.0, 0.0
	for i := 1; i+1 < len(m.cents); i++ {
		if !m.ok[i-1] || !m.ok[i] || !m.ok[i+1] {
			continue
		}
		of++
		if frames[i].sure {
			sure++
		}
		a, b := m.cents[i]-m.cents[i-1], m.cents[i]-m.cents[i+1]
		if a*b > 0 && math.Min(math.Abs(a), math.Abs(b)) >= turnCents {
			turns++
		}
	}
	return of > 0 && turns >= turnShare*of && sure >= sureShare*of
}

// calm takes the middle between the highest and the lowest of the n frames about each that
// counts in its place: two pitches in turn lie as far above what is heard as below, however
// many frames show the one or the other.
func (m *measure) calm(n int) {
	m.straight = append(m.straight[:0], m.cents...)
	for i := range m.cents {
		low, high := math.Inf(1), math.Inf(-1)
		for j := max(0, i-n/2); j < min(len(m.cents), i+n/2+1); j++ {
			if m.ok[j] {
				low, high = math.Min(low, m.straight[j]), math.Max(high, m.straight[j])
			}
		}
		if m.ok[i] {
			m.cents[i] = (low + high) / 2
		}
	}
}
