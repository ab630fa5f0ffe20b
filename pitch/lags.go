package pitch

import "math"

// What the lags say: the autocorrelation, YIN's difference function, and the
// candidates that the peaks of one and the dips of the other are. Where no other
// source stands, the constants were chosen by trial: see evidence.go.

// The autocorrelation is that of a mixture: powers above the noise, which are sharp,
// with a little of the compressed amplitudes, which no formant dominates.
const (
	mixAmplitude = .05
	mixPower     = .95
	lagsKnown    = 3   // times the longest period that it is worked out to
	lobe         = 2.2 // of the window's resolution, 20 Hz: Hann's lobe is 2 to either side
	lagLeast     = .3  // of the window's own autocorrelation is divided by, at least
)

// The difference function.
const (
	// splitHz: longer periods are compared on a signal of half the rate. What is lost
	// lies above 2 to 5 kHz, where a low voice has little.
	splitHz = 197
)

// Candidates.
const (
	acfPeaks     = 7    // of the autocorrelation, the best
	acfPeakLeast = .05  // autocorrelation of a peak at least
	lagCost      = .04  // of autocorrelation an octave of lag: of two alike the shorter wins
	multiples    = 6    // of a short lag that are looked at
	lagSlack     = 2    // lags that a multiple, or a followed one, may be beside its place
	multipleLeft = .5   // of the peak's autocorrelation a multiple has at least
	dips         = 3    // of the difference function, the first
	dipDepth     = .35  // difference function of a dip at most
	alikeLow     = .985 // ratio of two frequencies that are one candidate: 26 cents
	alikeHigh    = 1.015
)

// relatives of the best candidate that are candidates too.
var relatives = [...]float64{2, .5, 3, 1. / 3}

// setLagWindow works out what the window itself does to the autocorrelation: that of
// one compressed lobe.
func (e *evidence) setLagWindow() {
	n := len(e.win)
	ones := make([]float64, n)
	for i := range ones {
		ones[i] = 1
	}
	width := int(lobe*e.fs/float64(n)/e.hz) + 1
	e.ft.power(e.pow[:width], e.win, ones)
	for k, p := range e.pow[:width] {
		e.even[k] = math.Sqrt(math.Sqrt(p))
	}
	e.acfNorm = make([]float64, e.nfft)
	e.ft.even(e.acfNorm[:e.nfft/2], e.even)
	g := 1 / e.acfNorm[0]
	for i := range e.acfNorm {
		e.acfNorm[i] *= g
	}
	e.acfGain = make([]float64, e.nfft)
	for i, v := range e.acfNorm {
		e.acfGain[i] = 1 / max(lagLeast, v)
	}
	clear(e.even)
	clear(e.pow)
}

// correlate fills acf from even, 1 at lag 0, the window's own fall taken out.
func (e *evidence) correlate() {
	acf := e.acf[:min(lagsKnown*e.tauMax, e.nfft/2)]
	e.ft.even(acf, e.even)
	g := 1 / (acf[0] + nothing)
	for t, v := range e.acfGain[:len(acf)] {
		acf[t] *= g * v
	}
}

func (e *evidence) acfAt(tau float64) float64 {
	k := int(tau)
	if k+1 >= e.nfft/2 {
		return 0
	}
	r := tau - float64(k)
	return (e.acf[k] + r*(e.acf[k+1]-e.acf[k]))
}

func (e *evidence) dAt(tau float64) float64 {
	k := int(tau)
	if k < e.tauMin-1 {
		k = e.tauMin - 1
		tau = float64(k)
	}
	if k+1 > e.tauMax {
		return 1
	}
	r := tau - float64(k)
	return e.d[k] + r*(e.d[k+1]-e.d[k])
}

// difference is YIN's d(τ) over windows as long as the period, symmetric about
// the centre, divided by the energy of its two halves: 0 periodic, about 1 noise.
func (e *evidence) difference(x []float64, c int) {
	m := e.tauMax
	reach := max(m, e.minWindow)
	span := reach + 3
	right := c + e.ahead // live: windows end here
	base := c - span
	if e.live {
		base = right - 2*span
	}
	cum := e.cum[:2*span+1]
	s := 0.0
	cum[0] = 0
	for i := 0; i < 2*span; i++ {
		v := x[base+i]
		s += v * v
		cum[i+1] = s
	}
	wMin := e.minWindow
	split := min(m, int(e.fs/splitHz)) &^ 1
	for tau := max(1, e.tauMin-1); tau < split; tau++ {
		w := max(tau, wMin)
		a := c - (tau+w)/2
		if e.live {
			a = right - tau - w
		}
		d, n := e.d[tau:], cum[a-base:]
		if !e.live && tau < wMin && (tau+w)%2 == 0 && tau+1 < split { // the next has the same window
			s0, s1 := products(x[a:a+w], x[a+tau:a+tau+w+1])
			d[0], d[1] = differs(s0, n, w, tau), differs(s1, n, w, tau+1)
			tau++
			continue
		}
		d[0] = differs(product(x[a:a+w], x[a+tau:a+tau+w]), n, w, tau)
	}
	// long lags on a signal of half the rate
	h := reach/2 + 2
	z, zc := e.z[:2*h+1], e.zcum[:2*h+2]
	if e.live {
		c = right - 2*h - 2
	}
	s = 0
	for j := range z {
		i := c + 2*(j-h)
		v := .5*x[i] + .25*(x[i-1]+x[i+1])
		z[j] = v
		s += v * v
		zc[j+1] = s
	}
	for l := split / 2; 2*l <= m; l++ {
		w := max(l, wMin/2)
		a := h - (l+w)/2
		if e.live {
			a = 2*h + 1 - l - w
		}
		e.d[2*l] = differs(product(z[a:a+w], z[a+l:a+l+w]), zc[a:], w, l)
	}
	for tau := split + 1; tau < m; tau += 2 {
		e.d[tau] = .5 * (e.d[tau-1] + e.d[tau+1])
	}
	if m&1 == 1 {
		e.d[m] = e.d[m-1]
	}
}

// differs is Σ (p−q)² over the energy of both, where p has w samples, q is p a lag
// later, pq is Σ pq and cum the running sum of squares from the start of p on.
func differs(pq float64, cum []float64, w, lag int) float64 {
	energy := cum[w] - cum[0] + cum[lag+w] - cum[lag]
	return max(0, energy-2*pq) / (energy + 1e-12)
}

// product is Σ pq.
func product(p, q []float64) float64 {
	q = q[:len(p)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+3 < len(p); i += 4 {
		s0 += p[i] * q[i]
		s1 += p[i+1] * q[i+1]
		s2 += p[i+2] * q[i+2]
		s3 += p[i+3] * q[i+3]
	}
	for ; i < len(p); i++ {
		s0 += p[i] * q[i]
	}
	return s0 + s1 + s2 + s3
}

// products are Σ p[i]q[i] and Σ p[i]q[i+1]; q is one longer than p.
func products(p, q []float64) (float64, float64) {
	q = q[:len(p)+1]
	var s0, s1, t0, t1 float64
	i := 0
	b := q[0]
	for ; i+1 < len(p); i += 2 {
		u, v := p[i], p[i+1]
		c, d := q[i+1], q[i+2]
		s0 += u * b
		s1 += v * c
		t0 += u * c
		t1 += v * d
		b = d
	}
	if i < len(p) {
		s0 += p[i] * b
		t0 += p[i] * q[i+1]
	}
	return s0 + s1, t0 + t1
}

// add makes f, in hertz, a candidate, unless there is one like it or no room.
func (fr *frame) add(f float64) {
	if fr.n == maxCand {
		return
	}
	for i := 0; i < fr.n; i++ {
		if r := f / fr.c[i].f; r > alikeLow && r < alikeHigh {
			return
		}
	}
	fr.c[fr.n] = cand{f: f}
	fr.n++
}

// peakLag is the place, within half a sample of k, of the extremum of y that is at k:
// of the parabola through three values.
func peakLag(y []float64, k int) float64 {
	a, b, c := y[k-1], y[k], y[k+1]
	den := a - 2*b + c
	if den == 0 {
		return float64(k)
	}
	d := .5 * (a - c) / den
	if d > .5 {
		d = .5
	} else if d < -.5 {
		d = -.5
	}
	return float64(k) + d
}

// candidates fills fr with hypotheses: of like ones, the first stays.
func (e *evidence) candidates(fr *frame) {
	pk, cnt := e.peaks()
	for i := 0; i < cnt; i++ {
		fr.add(e.fs / e.finer(pk[i]))
	}
	// the first dips of the difference function
	nd := 0
	for t := max(2, e.tauMin); t < e.tauMax && nd < dips; t++ {
		v := e.d[t]
		if v < dipDepth && v < e.d[t-1] && v <= e.d[t+1] {
			fr.add(e.fs / peakLag(e.d, t))
			nd++
		}
	}
	// where the path was
	for _, f := range e.follow {
		if f > 0 {
			k := int(e.fs/f + .5)
			best := k
			for j := k - lagSlack; j <= k+lagSlack; j++ {
				if j > 0 && e.acf[j] > e.acf[best] {
					best = j
				}
			}
			fr.add(e.fs / peakLag(e.acf, best))
		}
	}
	// octave relatives of the best
	if cnt > 0 && fr.n > 0 {
		f := fr.c[0].f
		for _, r := range relatives {
			if g := f * r; g >= e.minF && g <= e.maxF {
				fr.add(g)
			}
		}
	}
	for i := 0; i < fr.n; i++ {
		fr.c[i].oct = math.Log2(fr.c[i].f)
	}
}

// peaks are the n best peaks of the autocorrelation, in lags, the best first.
func (e *evidence) peaks() (lags [acfPeaks]int, n int) {
	var height [acfPeaks]float64
	for t := max(2, e.tauMin); t < e.tauMax; t++ {
		v := e.acf[t]
		if v <= e.acf[t-1] || v < e.acf[t+1] || v < acfPeakLeast {
			continue
		}
		v -= lagCost * logTab[t]
		i := n
		if n < acfPeaks {
			n++
		} else {
			i = acfPeaks - 1
			if v <= height[i] {
				continue
			}
		}
		for i > 0 && height[i-1] < v {
			height[i], lags[i] = height[i-1], lags[i-1]
			i--
		}
		height[i], lags[i] = v, t
	}
	return lags, n
}

// finer is the period, in samples, whose peak is at lag k: the multiples of a short
// lag say the same more finely.
func (e *evidence) finer(k int) float64 {
	tau := peakLag(e.acf, k)
	for m := 2; float64(m)*tau < float64(e.tauMax) && m <= multiples; m++ {
		at := int(float64(m)*tau + .5)
		best := at
		for j := at - lagSlack; j <= at+lagSlack; j++ {
			if e.acf[j] > e.acf[best] {
				best = j
			}
		}
		if best == at-lagSlack || best == at+lagSlack || e.acf[best] < multipleLeft*e.acf[k] {
			break
		}
		tau = peakLag(e.acf, best) / float64(m)
	}
	return tau
}

// logTab is log2 of whole numbers.
var logTab = func() (t [1024]float64) {
	for i := 1; i < len(t); i++ {
		t[i] = math.Log2(float64(i))
	}
	return
}()
