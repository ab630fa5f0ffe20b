package pitch

import (
	"math"
	"slices"
)

// Company is what sounds beside a pitch at one place of a signal.
type Company struct {
	Index int64 // of the point it belongs to
	// F0 is the pitch once more, in hertz, as its strongest harmonic tells it over
	// the whole window: a tone keeps it to a fraction of a cent where a voice does
	// not.
	F0 float64
	// Other is the strongest partial that is no harmonic of the pitch, in dB over
	// the strongest one that is; at least MinCompany. Hum is the strongest one that
	// is on a multiple of the 50 or 60 Hz of the mains, which Other leaves out.
	Other, Hum float64
	// Gaps is how many harmonics are missing below a strong one: of a voice
	// none or one, of a chord that repeats with a period of its own most.
	Gaps int
}

// MinCompany is the Other, in dB, of a pitch that sounds alone.
const MinCompany = -60.0

// Without another source, chosen by trial on made test tones and on real sung notes, on
// both of which what the finder says was measured: of 40 tones −43 dB beside them at most,
// of 36 notes a pitch that strays by 1.7 cents and more, a tone's by under 0.4.
const (
	companyTime   = 0.250  // s, the window: partials 16 Hz apart are two
	companyReach  = 0.100  // s before and after a place that must be voiced
	companyStep   = 0.050  // s between places
	companyBottom = 40.0   // Hz: partials above it,
	companyTop    = 2400.0 // and under it, are looked at
	companyKept   = 0.5    // s of the signal kept behind what is needed
	companySpan   = 100.0  // cents that the pitch may move within the window
	companyNear   = 25.0   // cents: partials of strings and of voices in motion are no exact multiples
	companyLobe   = 9.0    // Hz: half the width of a partial; Hann's lobe of 0.25 s is 8
	companyPeak   = 16.0   // a partial's power over the median around it
	companyBand   = 200.0  // Hz around it
	companyGap    = 25.0   // dB under the strongest above it at which a harmonic is missing
	mostHarmonic  = 16
	companyStill  = 1.0 // Hz from one place to the next
	mostFolds     = 3   // times the lowest pitch that another may be and be taken for it
	mostMains     = 12  // multiples of the mains
	mainsNear     = 1.0 // Hz from one, and
	mainsShare    = 0.004
)

// CompanyFinder tells what sounds beside the voice that a [Tracker] finds. It is
// fed the samples and then the points they have given, and looks at a quarter of a
// second at a time: long enough to tell the tones of a chord apart, which the
// tracker's windows are not. What it finds depends on the signal alone, not on
// how it is split into calls, as long as a call has at most a quarter of a second.
// It allocates nothing once made.
type CompanyFinder struct {
	hop, reach, step int64
	sounding         []float64 // of the Config
	rate             float64   // inner
	ratio            int64
	halvers          []*halver
	clean            [run]float64
	ring             []float64
	pushed           int64 // inner samples
	points           []Point
	known            []float64 // hertz: partials that are no company
	win, seg         []float64
	pow, sorted      []float64
	floor            []float64
	peaks, last      []float64 // partials here, and where the finder looked last
	ft               *transform
	hz               float64
	bins             int
}

// NewCompanyFinder returns a finder for the points of a tracker with the same
// Config.
func NewCompanyFinder(cfg Config) (*CompanyFinder, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	c := &CompanyFinder{hop: int64(cfg.Hop), ratio: 1}
	c.rate = float64(cfg.SampleRate)
	for ; c.rate >= 4*companyTop; c.rate /= 2 {
		c.ratio *= 2
	}
	c.halvers = newHalvers(int(c.ratio))
	hops := func(seconds float64) int64 {
		return max(1, int64(math.Round(seconds*float64(cfg.SampleRate)/float64(cfg.Hop))))
	}
	c.reach, c.step = hops(companyReach), hops(companyStep)
	n := int(companyTime * c.rate)
	c.win = make([]float64, n)
	for i := range c.win {
		c.win[i] = .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/float64(n))
	}
	size := 1024
	for size < n {
		size *= 2
	}
	c.ft = newTransform(size)
	c.hz = c.rate / float64(size)
	c.bins = min(size/2, int(companyTop/c.hz))
	c.pow = make([]float64, c.bins)
	c.floor = make([]float64, int(companyTop/companyBand)+2)
	c.sorted = make([]float64, 0, c.bins)
	c.seg = make([]float64, n)
	c.ring = make([]float64, int((2*companyTime+2*companyReach+companyKept)*c.rate))
	c.points = make([]Point, 0, 2*c.reach+1)
	c.sounding = slices.Clone(cfg.Known)
	c.known = slices.Clone(cfg.Known)
	c.peaks, c.last = make([]float64, 0, c.bins), make([]float64, 0, c.bins)
	return c, nil
}

// Reset makes the finder ready for a new signal.
func (c *CompanyFinder) Reset() {
	for _, h := range c.halvers {
		h.reset()
	}
	clear(c.ring)
	c.pushed = 0
	c.known = append(c.known[:0], c.sounding...)
	c.points, c.peaks = c.points[:0], c.peaks[:0]
}

// Ignore tells that a tone of f0 hertz and its harmonics are the room's until the
// next Reset: they are no company.
func (c *CompanyFinder) Ignore(f0 float64) {
	for f := f0; f0 > 1 && f < companyTop; f += f0 {
		c.known = append(c.known, f)
	}
}

// Samples takes the next samples of the signal.
func (c *CompanyFinder) Samples(x []float64) {
	for len(x) > 0 {
		n := min(len(x), run)
		y := c.clean[:n]
		for i, v := range x[:n] {
			if v-v != 0 {
				v = 0
			}
			y[i] = max(-loudest, min(v, loudest))
		}
		x = x[n:]
		for _, h := range c.halvers {
			y = h.push(y)
		}
		for _, v := range y {
			c.ring[c.pushed%int64(len(c.ring))] = v
			c.pushed++
		}
	}
}

// Lost tells that the next n samples never arrived.
func (c *CompanyFinder) Lost(n int64) {
	for n > 0 {
		some := min(n, run)
		c.Samples(silence[:some])
		n -= some
	}
}

// Point takes the next point. Now and then, where there is a voice, it tells what
// sounds beside it, a little while before that point.
func (c *CompanyFinder) Point(p Point) (Company, bool) {
	if len(c.points) > 0 && p.Index != c.points[len(c.points)-1].Index+c.hop {
		c.points = c.points[:0]
	}
	if len(c.points) == cap(c.points) {
		c.points = c.points[:copy(c.points, c.points[1:])]
	}
	c.points = append(c.points, p)
	if p.Index/c.hop%c.step != 0 || len(c.points) < cap(c.points) {
		return Company{}, false
	}
	low, high := math.Inf(1), 0.0
	for _, q := range c.points {
		if !q.Voiced || q.Lost {
			c.peaks = c.peaks[:0]
			return Company{}, false
		}
		low, high = math.Min(low, q.F0), math.Max(high, q.F0)
	}
	centre := c.points[c.reach]
	if span := 1200 * math.Log2(high/low); span <= companySpan {
		return c.look(centre.Index, math.Sqrt(low*high), span/2+companyNear, false), true
	}
	// An octave taken for another is no movement.
	f0, folds := low, true
	for _, q := range c.points {
		h := math.Round(q.F0 / low)
		folds = folds && h <= mostFolds && math.Abs(1200*math.Log2(q.F0/(h*low))) <= companySpan
	}
	if !folds {
		f0 = centre.F0
	}
	return c.look(centre.Index, f0, companySpan/2+companyNear, !folds), true
}

// look reads the spectrum around a place for a pitch that is f0 within cents. Where
// the pitch moves, what does not is no part of it, and nothing else is told apart.
func (c *CompanyFinder) look(index int64, f0, cents float64, moving bool) Company {
	from := (index+c.ratio/2)/c.ratio - int64(len(c.win)/2)
	for i := range c.seg {
		c.seg[i] = 0
		if at := from + int64(i); at >= 0 && at < c.pushed {
			c.seg[i] = c.ring[at%int64(len(c.ring))]
		}
	}
	c.ft.power(c.pow, c.seg, c.win)
	band := int(companyBand / c.hz)
	c.floor = c.floor[:0]
	for from := 0; from < c.bins; from += band {
		c.sorted = append(c.sorted[:0], c.pow[from:min(from+band, c.bins)]...)
		slices.Sort(c.sorted)
		c.floor = append(c.floor, c.sorted[len(c.sorted)/2])
	}
	var harmonics [mostHarmonic + 1]float64
	wide := math.Exp2(cents/1200) - 1
	own, other, hum := 0.0, 0.0, 0.0
	m := Company{Index: index, F0: f0, Other: MinCompany, Hum: MinCompany}
	c.last, c.peaks = c.peaks, c.last[:0]
	for k := int(companyBottom/c.hz) + 1; k < c.bins-1; k++ {
		p := c.pow[k]
		if p < c.pow[k-1] || p <= c.pow[k+1] {
			continue
		}
		// The top of a parabola through the logarithms of three bins.
		l, n, r := math.Log(c.pow[k-1]+1e-30), math.Log(p+1e-30), math.Log(c.pow[k+1]+1e-30)
		f := (float64(k) + .5*(l-r)/(l-2*n+r-1e-12)) * c.hz
		h := max(1, math.Round(f/f0))
		clear := p > companyPeak*c.floor[k/band]
		if clear {
			c.peaks = append(c.peaks, f)
		}
		if math.Abs(f-h*f0) <= companyLobe+wide*h*f0 {
			if p > own {
				own = p
				m.F0 = f / h
			}
			if h <= mostHarmonic {
				harmonics[int(h)] = math.Max(harmonics[int(h)], p)
			}
			continue
		}
		if !clear || moving && !c.stood(f) || c.isKnown(f) {
			continue
		}
		if onMains(f) {
			hum = math.Max(hum, p)
		} else {
			other = math.Max(other, p)
		}
	}
	if own > 0 && other > 0 {
		m.Other = math.Max(MinCompany, 10*math.Log10(other/own))
	}
	if own > 0 && hum > 0 {
		m.Hum = math.Max(MinCompany, 10*math.Log10(hum/own))
	}
	if moving {
		return m
	}
	above := 0.0
	for h := mostHarmonic; h >= 1; h-- {
		if harmonics[h] < above*math.Pow(10, -companyGap/10) {
			m.Gaps++
		}
		above = math.Max(above, harmonics[h])
	}
	return m
}

// stood tells that there was a partial at f when the finder looked last.
func (c *CompanyFinder) stood(f float64) bool {
	for _, q := range c.last {
		if math.Abs(q-f) < companyStill {
			return true
		}
	}
	return false
}

// isKnown tells that a partial at f is the program's own, or the room's.
func (c *CompanyFinder) isKnown(f float64) bool {
	for _, k := range c.known {
		if math.Abs(f-k) < companyLobe {
			return true
		}
	}
	return false
}

// onMains tells whether f is one of the first multiples of 50 or 60 Hz.
func onMains(f float64) bool {
	for _, mains := range [...]float64{50, 60} {
		h := math.Round(f / mains)
		if h >= 1 && h <= mostMains && math.Abs(f-h*mains) < mainsNear+mainsShare*f {
			return true
		}
	}
	return false
}
