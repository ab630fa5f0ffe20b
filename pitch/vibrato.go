package pitch

import "math"

// A vibrato, and the windows it is looked for in. Where no source stands, the numbers were
// chosen by trial, on made contours.
const (
	minVibrato, maxVibrato = 4.0, 8.0 // Hz: what is called so in singing (common practice)
	minExtent              = 15.0     // c to either side
	minCycles              = 2.0
	// A vibrato is looked for in windows, of which a slow one fills half with one
	// cycle and a half. The limits were chosen on the first half of the contours
	// in internal/session/held_test.go.
	windowTime    = 0.360 // s
	windowStep    = 0.060 // s
	windowSung    = 0.8   // share of the frames
	leastWindow   = 14    // frames: more than a fit of four numbers takes
	rateStep      = 0.5   // Hz
	rateSlack     = 0.35  // Hz
	minVibratoFit = 0.7   // share of the variance that the swing explains in a window,
	runFit        = 0.8   // and in the mean of those that follow each other
	inPhase       = 0.7   // cosine of the angle between neighbours
	// Two pitches in turn are flat on top. A sine has no third harmonic, a trill
	// that takes two thirds of its time to move 0.13 of the first.
	flatTops = 0.12

	outsideRate  = 1.5  // Hz beyond the rates of a vibrato that are tried: what fits better there is none
	mostRate     = 0.4  // cycles a frame that are tried at most
	finerStep    = 5    // of the last step: how the best rate is found more finely,
	finestStep   = 10   // down to this part of rateStep
	likeExtent   = 3    // times the extent of the next window at most
	quietSwing   = 8    // minExtent²/8 a frame: with less about a line, a quarter of that of a sine, nothing swings
	windowSlack  = 2    // rateSlacks that a single window may lie under minVibrato, and
	windowSlack2 = 3    // over maxVibrato
	halfExtent   = 2    // of minExtent: a single window's may be so much less
	thirdMost    = 0.45 // cycles a frame up to which a third harmonic can be seen
	edgeWeight   = 1e-3 // of a frame at the very edge of a window
	leastTerm    = 1e-9 // cents²: a term of the fit that the others explain
)

// window is a short part of a note and the sine that fits it.
type window struct {
	from, to     int
	rate         float64 // cycles a frame
	cosine, sine float64 // parts of the sine whose phase is 0 at from, in cents
	extent       float64 // cents to either side
	share        float64 // of the variance about a line that it explains
	flat         float64 // the third harmonic in phase, over extent
	swings       bool    // the rest is set
}

// vibrato finds where the pitch swings evenly, and fills straight with what is
// left without that, so that neither a vibrato's onset nor an uneven one hides
// what the voice holds. It returns the mean rate in hertz and the mean extent to
// either side in cents where it swings for longest, and where in seconds it
// reaches minExtent there; zeros where it does not.
func (m *measure) vibrato(dt float64) (rate, extent, onset float64) {
	n := len(m.cents)
	size := min(n, max(int(math.Round(windowTime/dt)), leastWindow))
	step := max(1, int(math.Round(windowStep/dt)))
	m.windows = m.windows[:0]
	for from := 0; from+size < n; from += step {
		m.windows = append(m.windows, m.window(from, from+size, dt))
	}
	m.windows = append(m.windows, m.window(n-size, n, dt))
	m.swing, m.extent, m.weight, m.swings = m.swing[:0], m.extent[:0], m.weight[:0], m.swings[:0]
	for range n {
		m.swing, m.extent, m.weight, m.swings = append(m.swing, 0), append(m.extent, 0), append(m.weight, 0), append(m.swings, false)
	}
	longest, first := 0, 0
	for i := 0; i < len(m.windows); {
		j := i + 1
		for j < len(m.windows) && goesOn(&m.windows[j-1], &m.windows[j]) {
			j++
		}
		run := m.windows[i:j]
		i = j
		var r, e, flat, share float64
		for _, w := range run {
			r += w.rate / float64(len(run))
			e += w.extent / float64(len(run))
			flat += w.flat / float64(len(run))
			share += w.share / float64(len(run))
		}
		length := run[len(run)-1].to - run[0].from
		swings := run[0].swings && e >= minExtent && float64(length)*r >= minCycles && share >= runFit && flat < flatTops &&
			r/dt >= minVibrato-rateSlack && r/dt <= maxVibrato+rateSlack
		for k := range run {
			m.lay(&run[k], swings)
		}
		if swings && length > longest {
			longest, first = length, run[0].from
			rate, extent = math.Max(minVibrato, math.Min(r/dt, maxVibrato)), e
		}
	}
	m.straight = m.straight[:0]
	for i, v := range m.cents {
		m.straight = append(m.straight, v-m.swing[i]/m.weight[i])
	}
	if rate > 0 {
		for first < n-1 && m.extent[first] < minExtent*m.weight[first] {
			first++
		}
		onset = float64(first) * dt
	}
	return rate, extent, onset
}

// goesOn tells whether the swing of a window is that of the next one: of like
// extent, and in phase at the middle of what they share.
func goesOn(a, b *window) bool {
	if !a.swings || !b.swings || a.extent > likeExtent*b.extent || b.extent > likeExtent*a.extent {
		return false
	}
	at := float64(b.from+a.to) / 2
	phase := func(w *window) float64 {
		return math.Atan2(w.cosine, w.sine) + 2*math.Pi*w.rate*(at-float64(w.from))
	}
	return math.Cos(phase(a)-phase(b)) > inPhase
}

// lay adds the sine of a window to swing, if it is part of a vibrato, and its
// weight, which falls to either end.
func (m *measure) lay(w *window, swings bool) {
	sr, cr := math.Sincos(2 * math.Pi * w.rate)
	s, c := 0.0, 1.0
	half := float64(w.to-w.from) / 2
	for i := w.from; i < w.to; i++ {
		x := (float64(i-w.from) + 0.5 - half) / half
		weight := (1-x*x)*(1-x*x) + edgeWeight
		m.weight[i] += weight
		if swings {
			m.swing[i] += weight * (w.cosine*c + w.sine*s)
			m.extent[i] += weight * w.extent
			m.swings[i] = true
			s, c = s*cr+c*sr, c*cr-s*sr
		}
	}
}

// window fits a level, a trend and one sine to frames from ... to.
func (m *measure) window(from, to int, dt float64) window {
	w := window{from: from, to: to}
	counted := 0
	for _, ok := range m.ok[from:to] {
		if ok {
			counted++
		}
	}
	if float64(counted) < windowSung*float64(to-from) {
		return w
	}
	total, _, _ := m.fit(from, to, 0)
	if total < float64(counted)*minExtent*minExtent/quietSwing {
		return w
	}
	// A rate far outside may fit better: then it is no vibrato.
	best, hz := math.Inf(1), 0.0
	for at := minVibrato - outsideRate; at <= maxVibrato+outsideRate && at*dt <= mostRate; at += rateStep {
		if rest, _, _ := m.fit(from, to, at*dt); rest < best {
			best, hz = rest, at
		}
	}
	if hz == 0 {
		return w
	}
	// The vertex of the parabola through the best rate and its neighbours, of the
	// grid, then nearer.
	for step := rateStep; step > rateStep/finestStep; step /= finerStep {
		before, _, _ := m.fit(from, to, (hz-step)*dt)
		after, _, _ := m.fit(from, to, (hz+step)*dt)
		if bend := before - 2*best + after; bend > 0 {
			hz += step * math.Max(-1, math.Min((before-after)/(2*bend), 1))
		}
		best, w.cosine, w.sine = m.fit(from, to, hz*dt)
	}
	w.rate, w.extent, w.share = hz*dt, math.Hypot(w.cosine, w.sine), 1-best/total
	// A run of windows is held to the limits; one of them may lie outside.
	w.swings = hz >= minVibrato-windowSlack*rateSlack && hz <= maxVibrato+windowSlack2*rateSlack && w.extent >= minExtent/halfExtent && w.share >= minVibratoFit
	if !w.swings || 3*w.rate > thirdMost {
		return w
	}
	// sin x + a·sin 3x is flat on top for a > 0: square for a = 1/3.
	var top, bottom float64
	at := math.Atan2(w.cosine, w.sine)
	for i := from; i < to; i++ {
		if m.ok[i] {
			s := math.Sin(3 * (at + 2*math.Pi*w.rate*float64(i-from)))
			top += s * m.cents[i]
			bottom += s * s
		}
	}
	if bottom > 0 {
		w.flat = top / bottom / w.extent
	}
	return w
}

// fit is the sum of squares left in frames from ... to by the least-squares fit
// of a level, a trend, and a sine of the given cycles per frame (none at 0), and
// the sine's parts.
func (m *measure) fit(from, to int, cycles float64) (rest, cosine, sine float64) {
	terms := 4
	if cycles == 0 {
		terms = 2
	}
	var a [4][5]float64
	squares := 0.0
	sr, cr := math.Sincos(2 * math.Pi * cycles)
	s, c := 0.0, 1.0
	mid := float64(to-from-1) / 2
	for i, v := range m.cents[from:to] {
		if m.ok[from+i] {
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
		if a[j][j] <= leastTerm {
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
	if terms == 4 && a[3][3] > leastTerm && a[2][2] > leastTerm {
		sine = a[3][4] / a[3][3]
		cosine = (a[2][4] - a[2][3]*sine) / a[2][2]
	}
	return math.Max(0, rest), cosine, sine
}
