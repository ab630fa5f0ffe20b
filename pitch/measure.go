package pitch

import (
	"math"
	"slices"
)

// measure is the scratch of the measurements on one note.
type measure struct {
	sorted []float64
	cents  []float64 // of the steady part, about the centre
	ok     []bool    // which of them are voiced and no slips
	smooth []float64 // cents, averaged over one cycle of the vibrato
}

func (m *measure) grow(n int) {
	m.sorted = make([]float64, 0, n)
	m.cents = make([]float64, 0, n)
	m.ok = make([]bool, 0, n)
	m.smooth = make([]float64, 0, n)
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
	voiced := 0
	for _, f := range frames {
		n.Lost = n.Lost || f.lost
		if sung(f) {
			voiced++
		}
	}
	if voiced == 0 {
		return Note{}, false
	}
	n.VoicedShare = float64(voiced) / float64(len(frames))
	n.Level = m.median(frames, func(f moment) (float64, bool) { return f.level, sung(f) })

	steady := steadyPart(frames, dt)
	m.cents, m.ok = m.cents[:0], m.ok[:0]
	count := 0
	for _, f := range steady {
		m.cents = append(m.cents, f.cents-middle)
		m.ok = append(m.ok, sung(f))
		if sung(f) {
			count++
		}
	}
	if count == 0 { // nothing but a gap: judge the whole
		steady = frames
		m.cents, m.ok = m.cents[:0], m.ok[:0]
		for _, f := range steady {
			m.cents = append(m.cents, f.cents-middle)
			m.ok = append(m.ok, sung(f))
		}
	}

	centre := m.median(steady, func(f moment) (float64, bool) { return f.cents - middle, sung(f) })
	rate, extent := m.vibrato(dt)
	if rate > 0 {
		n.VibratoHz, n.VibratoCents = rate, extent
		centre = m.wholeCycles(rate * dt)
	}
	n.F0 = math.Exp2((middle + centre) / 1200)
	for i := range m.cents {
		m.cents[i] -= centre
	}
	m.average(rate * dt)
	n.Slope = m.slope() / dt
	n.Spread, n.SE = m.scatter(rate == 0)
	n.DecayDB, n.DecayFit = decay(steady, sung, dt)

	centre += middle
	n.Scoop = m.first(frames, sung, max(1, int(math.Round(startTime/dt))), 1) - centre
	n.Fall = m.first(frames, sung, max(1, int(math.Round(startTime/dt))), -1) - centre
	n.Settle = settle(frames, sung, centre, settleCents+extent, dt)
	near := 0
	for _, f := range frames {
		if sung(f) && math.Abs(f.cents-centre) <= settleCents+extent {
			near++
		}
	}
	n.Near = float64(near) / float64(voiced)
	return n, true
}

// steadyPart drops the first and last 120 ms, or a quarter at either end.
func steadyPart(frames []moment, dt float64) []moment {
	drop := int(math.Round(edge / dt))
	if float64(len(frames)-2*drop)*dt < minSteady-dt/2 {
		drop = len(frames) / 4
	}
	return frames[drop : len(frames)-drop]
}

// median of the values that count; 0 if none does.
func (m *measure) median(frames []moment, value func(moment) (float64, bool)) float64 {
	m.sorted = m.sorted[:0]
	for _, f := range frames {
		if v, ok := value(f); ok {
			m.sorted = append(m.sorted, v)
		}
	}
	return m.middle()
}

func (m *measure) middle() float64 {
	n := len(m.sorted)
	if n == 0 {
		return 0
	}
	slices.Sort(m.sorted)
	return (m.sorted[(n-1)/2] + m.sorted[n/2]) / 2
}

// first is the median of the first n sung frames, or of the last for dir −1.
func (m *measure) first(frames []moment, sung func(moment) bool, n, dir int) float64 {
	m.sorted = m.sorted[:0]
	i := 0
	if dir < 0 {
		i = len(frames) - 1
	}
	for ; i >= 0 && i < len(frames) && len(m.sorted) < n; i += dir {
		if sung(frames[i]) {
			m.sorted = append(m.sorted, frames[i].cents)
		}
	}
	return m.middle()
}

// vibrato fits a level, a trend and one sine to the steady part at rates from 4
// to 8 Hz, and returns the rate in hertz and the extent to either side in cents
// of the best; 0, 0 where there is no vibrato.
func (m *measure) vibrato(dt float64) (rate, extent float64) {
	length := float64(len(m.cents)) * dt
	if length*minVibrato < minCycles-1e-9 && length*maxVibrato < minCycles-1e-9 {
		return 0, 0
	}
	total, _, _ := m.fit(0)
	if !(total > 0) {
		return 0, 0
	}
	const step = 0.1
	best := math.Inf(1)
	for hz := minVibrato - 0.5; hz <= maxVibrato+0.5; hz += step {
		if hz*length < minCycles || hz*dt > 0.4 {
			continue
		}
		if rest, _, _ := m.fit(hz * dt); rest < best {
			best, rate = rest, hz
		}
	}
	if rate == 0 {
		return 0, 0
	}
	// Golden section between the neighbours of the best rate of the grid.
	lo, hi := rate-step, rate+step
	for hi-lo > 1e-3 {
		a, b := hi-0.618*(hi-lo), lo+0.618*(hi-lo)
		ra, _, _ := m.fit(a * dt)
		rb, _, _ := m.fit(b * dt)
		if ra < rb {
			hi = b
		} else {
			lo = a
		}
	}
	rate = (lo + hi) / 2
	rest, c, s := m.fit(rate * dt)
	extent = math.Hypot(c, s)
	swing := m.swing(rate * dt)
	if rate < minVibrato || rate > maxVibrato || extent < minExtent || swing < minExtent || rest > (1-minVibratoFit)*total {
		return 0, 0
	}
	return rate, extent
}

// swing is half the distance from the lowest to the highest value within one
// cycle, the least over all cycles: a single bend is no vibrato.
func (m *measure) swing(cycles float64) float64 {
	n := max(2, int(math.Round(1/cycles)))
	least := math.Inf(1)
	for i := 0; i+n <= len(m.cents); i++ {
		low, high := math.Inf(1), math.Inf(-1)
		for j := i; j < i+n; j++ {
			if m.ok[j] {
				low, high = math.Min(low, m.cents[j]), math.Max(high, m.cents[j])
			}
		}
		if high >= low {
			least = math.Min(least, (high-low)/2)
		}
	}
	return least
}

// fit is the sum of squares left by the least-squares fit of a level, a trend,
// and a sine of the given cycles per frame (none at 0), and the sine's parts.
func (m *measure) fit(cycles float64) (rest, cosine, sine float64) {
	terms := 4
	if cycles == 0 {
		terms = 2
	}
	var a [4][5]float64
	squares := 0.0
	sr, cr := math.Sincos(2 * math.Pi * cycles)
	s, c := 0.0, 1.0
	mid := float64(len(m.cents)-1) / 2
	for i, v := range m.cents {
		if m.ok[i] {
			row := [5]float64{1, (float64(i) - mid) / (mid + 1), c, s, v}
			for j := 0; j < terms; j++ {
				for k := j; k < terms; k++ {
					a[j][k] += row[j] * row[k]
				}
				a[j][4] += row[j] * v
			}
			squares += v * v
		}
		s, c = s*cr+c*sr, c*cr-s*sr
	}
	// Cholesky-like elimination on the symmetrical system; a term that the
	// others already explain is left out.
	rest = squares
	for j := 0; j < terms; j++ {
		if a[j][j] <= 1e-9 {
			continue
		}
		rest -= a[j][4] * a[j][4] / a[j][j]
		for i := j + 1; i < terms; i++ {
			f := a[j][i] / a[j][j]
			for k := i; k < terms; k++ {
				a[i][k] -= f * a[j][k]
			}
			a[i][4] -= f * a[j][4]
		}
	}
	if terms == 4 && a[3][3] > 1e-9 && a[2][2] > 1e-9 {
		sine = a[3][4] / a[3][3]
		cosine = (a[2][4] - a[2][3]*sine) / a[2][2]
	}
	return math.Max(0, rest), cosine, sine
}

// wholeCycles is the mean over as many whole cycles as the steady part has,
// about its middle. A part of n cycles that are not whole is off by up to
// extent·|sin πn|/(πn).
func (m *measure) wholeCycles(cycles float64) float64 {
	n := math.Floor(float64(len(m.cents)) * cycles)
	if n < 1 {
		n = 1
	}
	return m.mean(float64(len(m.cents))/2, n/cycles)
}

// mean is the mean of the given width in frames about place, where frame i
// spans i … i+1: frames partly inside count in part. Where nothing counts it is
// the value nearest to the place.
func (m *measure) mean(place, width float64) float64 {
	from, to := math.Max(0, place-width/2), math.Min(float64(len(m.cents)), place+width/2)
	var sum, weight float64
	for i := int(from); i < len(m.cents) && float64(i) < to; i++ {
		if m.ok[i] {
			w := math.Min(to, float64(i+1)) - math.Max(from, float64(i))
			sum += w * m.cents[i]
			weight += w
		}
	}
	if weight > 1e-9 {
		return sum / weight
	}
	for off := 0; off < len(m.cents); off++ {
		for _, i := range [...]int{int(place) - off, int(place) + off} {
			if i >= 0 && i < len(m.cents) && m.ok[i] {
				return m.cents[i]
			}
		}
	}
	return 0
}

// average fills smooth: the sung values of the steady part, averaged over one
// cycle where the cycle lies inside it; as they are for cycles = 0.
func (m *measure) average(cycles float64) {
	m.smooth = m.smooth[:0]
	half := 0.0
	if cycles > 0 {
		half = 0.5 / cycles
	}
	for i := range m.cents {
		place := float64(i) + 0.5
		switch {
		case !m.ok[i]:
		case half == 0:
			m.smooth = append(m.smooth, m.cents[i])
		case place-half >= 0 && place+half <= float64(len(m.cents)):
			m.smooth = append(m.smooth, m.mean(place, 2*half))
		}
	}
	if len(m.smooth) == 0 {
		m.smooth = append(m.smooth, 0)
	}
}

// slope is the least-squares trend of smooth per frame. Gaps count as nothing:
// they are short.
func (m *measure) slope() float64 {
	mid := float64(len(m.smooth)-1) / 2
	var top, bottom float64
	for i, v := range m.smooth {
		x := float64(i) - mid
		top += x * v
		bottom += x * x
	}
	if bottom == 0 {
		return 0
	}
	return top / bottom
}

// scatter is the standard deviation of smooth and the standard error of its
// centre. The variance of a mean of n values with autocorrelation ρ is
// σ²/n·(1 + 2Σ(1−k/n)·ρ_k); the sum ends where ρ falls to 0, at most at n/3 or 200
// frames. A median of Gaussian values is √(π/2) times as uncertain as their mean.
func (m *measure) scatter(median bool) (spread, se float64) {
	n := len(m.smooth)
	mean := 0.0
	for _, v := range m.smooth {
		mean += v
	}
	mean /= float64(n)
	sum := 0.0
	for _, v := range m.smooth {
		sum += v * v // about the centre, not about the mean
	}
	spread = math.Sqrt(sum / float64(max(1, n-1)))
	sum = 0
	for _, v := range m.smooth {
		sum += (v - mean) * (v - mean)
	}
	if sum == 0 || n < 2 {
		return spread, 0
	}
	factor := 1.0
	for k := 1; k <= max(1, min(n/3, 200)) && k < n; k++ {
		r := 0.0
		for i := k; i < n; i++ {
			r += (m.smooth[i] - mean) * (m.smooth[i-k] - mean)
		}
		if r <= 0 {
			break
		}
		factor += 2 * r / sum
	}
	se = math.Sqrt(sum / float64(n-1) / float64(n) * factor)
	if median {
		se *= math.Sqrt(math.Pi / 2)
	}
	return spread, se
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
	if vx <= 1e-12 {
		return 0, 0
	}
	if vy > 1e-9 {
		fit = math.Min(1, cov*cov/(vx*vy))
	}
	return cov / vx, fit
}

// settle is the time until the track first stays within limit of centre for
// settleTime, from its first frame.
func settle(frames []moment, sung func(moment) bool, centre, limit, dt float64) float64 {
	start := -1
	for i, f := range frames {
		switch {
		case !f.voiced:
		case sung(f) && math.Abs(f.cents-centre) <= limit:
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
