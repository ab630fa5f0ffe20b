package pitch

import "math"

// Evidence for one frame, in the order it is worked out: a Hann window of
// about 50 ms, its spectrum S with amplitudes compressed to their square root,
// the generalised autocorrelation of S (lag-domain candidates that a formant or
// a noise band cannot dominate), the difference function of the waveform over
// windows that follow the period (YIN's, symmetric about the frame's centre),
// and a weighted comb of harmonics on S read at the candidates only.

const (
	maxCand = 14
)

// cand is one hypothesis about a frame.
type cand struct {
	f    float64 // Hz
	oct  float64 // log2 f
	logp float64 // log probability given the frame alone
	cost float64 // best path ending here
	nv   float64 // noise variance per sample, read between the harmonics
	back int8
}

// frame is what is kept of one analysis frame until its row is decided.
type frame struct {
	n     int
	c     [maxCand]cand
	uv    float64 // log probability of unvoiced
	uvC   float64
	uvB   int8
	pos   int64 // decimated sample nearest the centre
	level float64
	flux  float64
	lost  bool
}

type evidence struct {
	fs         float64
	nfft       int
	bins       int // up to 5 kHz
	win        []float64
	pow        []float64
	s          []float64
	sprev      [2][]float64
	lin        []float64 // power above the noise, weighted
	ps         []float64 // power, smoothed over time
	noise      []float64 // power of what was there before and stays: room, hum, drone
	age        int
	hum        bool // the last frame was mains hum
	pitched    bool // the last frame was clearly periodic
	known      []bool
	sounds     bool // any is
	sumL       float64
	share      float64 // share of S outside known partials
	levels     [64]float64
	loud       float64    // the loudest level of late, in dBFS, falling by 2 dB a second
	fall       float64    // dB: the deepest fall of the level within 100 ms of late, less 1 dB a second: how dry the room is
	follow     [2]float64 // hertz: the best paths' last candidates
	even       []float64
	acf        []float64
	acfNorm    []float64
	acfGain    []float64 // 1/acfNorm, where that is not too small
	minWindow  int       // shortest window of the difference function
	tauMin     int
	tauMax     int
	d          []float64
	live       bool
	back       int       // samples before the centre that analyse needs
	ahead      int       // and after it
	local      []float64 // they, less their mean
	cum        []float64
	z, zcum    []float64
	ft         *transform
	hz         float64 // per bin
	wbin       []float64
	winPow     float64
	feat       [maxCand][numFeat]float64
	ffeat      [numFrame]float64
	minF, maxF float64
}

func newEvidence(fs, minF, maxF float64, live bool) *evidence {
	e := &evidence{fs: fs, live: live, nfft: 1024, minF: minF, maxF: maxF}
	e.ft = newTransform(e.nfft)
	n := int(.050*fs) | 1
	e.win = make([]float64, n)
	for i := range e.win {
		e.win[i] = .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/float64(n))
		if live {
			// peak 12 ms before the end: new notes count at once
			fall := .012 * fs
			if t := float64(n) - float64(i) - .5; t < fall {
				e.win[i] = .5 - .5*math.Cos(math.Pi*t/fall)
			} else {
				e.win[i] = .5 - .5*math.Cos(math.Pi*(float64(i)+.5)/(float64(n)-fall))
			}
		}
		e.winPow += e.win[i] * e.win[i]
	}
	e.hz = fs / float64(e.nfft)
	e.bins = min(e.nfft/2, int(4900/e.hz))
	e.pow = make([]float64, e.nfft/2+2)
	e.s = make([]float64, e.nfft/2+2)
	e.lin = make([]float64, e.nfft/2+2)
	e.ps = make([]float64, e.nfft/2+2)
	e.noise = make([]float64, e.nfft/2+2)
	e.known = make([]bool, e.nfft/2+2)
	e.sprev[0] = make([]float64, e.nfft/2+2)
	e.sprev[1] = make([]float64, e.nfft/2+2)
	e.even = make([]float64, e.nfft/2+1)
	e.acf = make([]float64, e.nfft)
	e.tauMin = int(fs / maxF)
	e.tauMax = int(fs/minF) + 2
	e.d = make([]float64, e.tauMax+3)
	e.wbin = make([]float64, e.nfft/2+1)
	for k := 1; k < e.bins; k++ {
		f := float64(k) * e.hz
		w := 1.0
		if f < 60 {
			w = f / 60
		}
		if f > 3500 {
			w *= (4900 - f) / 1400
		}
		if f > 700 {
			w *= math.Sqrt(700 / f)
		}
		e.wbin[k] = max(0, w)
	}
	// lag window of the method itself: the autocorrelation of one compressed lobe
	ones := make([]float64, n)
	for i := range ones {
		ones[i] = 1
	}
	lobe := int(2.2*fs/float64(n)/e.hz) + 1
	e.ft.power(e.pow[:lobe], e.win, ones)
	for k, p := range e.pow[:lobe] {
		e.even[k] = math.Sqrt(math.Sqrt(p))
	}
	e.acfNorm = make([]float64, e.nfft)
	e.minWindow = int(.009 * fs)
	reach := max(e.tauMax, e.minWindow)
	e.cum = make([]float64, 2*reach+8)
	e.z = make([]float64, reach+8)
	e.zcum = make([]float64, reach+9)
	e.ft.even(e.acfNorm[:e.nfft/2], e.even)
	g := 1 / e.acfNorm[0]
	for i := range e.acfNorm {
		e.acfNorm[i] *= g
	}
	e.acfGain = make([]float64, e.nfft)
	for i, v := range e.acfNorm {
		e.acfGain[i] = 1 / max(.3, v)
	}
	clear(e.even)
	clear(e.pow)
	e.back, e.ahead = e.half(), e.half()
	if live {
		e.ahead = int(.0095 * fs)
		e.back = max(len(e.win), 2*max(e.tauMax, e.minWindow)+20)
	}
	e.local = make([]float64, e.back+e.ahead+2)
	return e
}

// sounding marks the bins around partials, in hertz, that the program itself
// sounds.
func (e *evidence) sounding(known []float64) {
	for _, f := range known {
		for k := range e.known {
			if math.Abs(float64(k)*e.hz-f) < 2.6*e.hz {
				e.known[k] = true
				e.sounds = true
			}
		}
	}
}

// reset forgets everything heard.
func (e *evidence) reset() {
	clear(e.sprev[0])
	clear(e.sprev[1])
	clear(e.ps)
	clear(e.noise)
	clear(e.levels[:])
	e.age, e.loud, e.share, e.fall = 0, 0, 0, 0
	e.pitched, e.hum = false, false
	e.follow = [2]float64{}
}

// remember keeps where the two best paths to a frame are: the next frame looks
// there too.
func (e *evidence) remember(fr *frame) {
	e.follow = [2]float64{}
	first, second := math.Inf(-1), math.Inf(-1)
	for i := range fr.c[:fr.n] {
		switch c := &fr.c[i]; {
		case c.cost > first:
			second, e.follow[1] = first, e.follow[0]
			first, e.follow[0] = c.cost, c.f
		case c.cost > second:
			second, e.follow[1] = c.cost, c.f
		}
	}
}

// half is how many samples on each side of the centre analyse needs.
func (e *evidence) half() int { return max(len(e.win)/2+1, max(e.tauMax, e.minWindow)+8) }

func (e *evidence) sAt(f float64) float64 {
	x := f / e.hz
	k := int(x)
	if k >= e.bins {
		return 0
	}
	r := x - float64(k)
	return e.s[k] + r*(e.s[k+1]-e.s[k])
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

var primes = [...]int{1, 2, 3, 5, 7, 11, 13, 17, 19}

// analyse fills fr from the samples x; x[c] is the frame's centre.
func (e *evidence) analyse(fr *frame, x []float64, c int) {
	x = x[c-e.back : c+e.ahead+2]
	mean := average(x)
	local := e.local[:len(x)]
	for i, v := range x {
		local[i] = v - mean
	}
	x, c = e.local, e.back
	n := len(e.win)
	from := c - n/2
	if e.live {
		from = c + e.ahead - n
	}
	seg := x[from : from+n]
	e.ft.power(e.pow[:e.bins], seg, e.win)
	clear(e.s[e.bins:])
	tot, lowE, snrP, snrN := 0.0, 0.0, 1e-12, 1e-12
	up1 := 1.02
	if e.hum {
		up1 = 1.08
	} else if e.pitched {
		up1 = 1.002
	}
	bins := e.bins
	pow, smooth, noise, lin := e.pow[:bins], e.ps[:bins], e.noise[:bins], e.lin[:bins]
	amp, weight, known, even := e.s[:bins], e.wbin[:bins], e.known[:bins], e.even[:bins]
	if e.age < 4 {
		e.start(e.age == 0)
	}
	e.age++
	out, in := 0.0, 1e-12
	sumS, sumL := 1e-12, 1e-12
	upKnown := up1
	if e.share < .3 {
		upKnown = 1.25
	}
	for k, p := range pow {
		ps := .75*smooth[k] + .25*p
		smooth[k] = ps
		nz := noise[k]
		if ps < nz {
			nz += .12 * (ps - nz)
		} else {
			u := up1
			if known[k] {
				u = upKnown
			}
			if nz = nz*u + 1e-13; nz > ps {
				nz = ps
			}
		}
		noise[k] = nz
		w := weight[k]
		snrP += w * p
		snrN += w * nz
		q := p - 5*nz
		if q < .01*p {
			q = .01 * p
		}
		root := math.Sqrt(q)
		a := math.Sqrt(root)
		amp[k] = a
		tot += root
		if k < 90 {
			lowE += root
		}
		aw := a * w
		if q > nz {
			in += aw
			if !known[k] {
				out += aw
			}
		}
		qw := q * w
		lin[k] = qw
		sumS += aw
		sumL += qw
		even[k] = aw // to be mixed with lin below
	}
	e.share = out / in
	e.sumL = sumL
	gS, gL := .05/sumS, .95/sumL
	for k, v := range even {
		even[k] = gS*v + gL*lin[k]
	}
	snr := 10 * math.Log10(snrP/snrN)
	lv := &e.levels
	copy(lv[1:], lv[:len(lv)-1])
	lv[0] = fr.level
	clear(e.even[e.bins:])
	// flux against the frame two back
	up, all := 0.0, 1e-9
	now := amp[4:]
	for k, old := range e.sprev[1][4:bins] {
		v := now[k]
		if v > old {
			up += v - old
		}
		all += v
	}
	fr.flux = up / all
	e.sprev[1], e.sprev[0] = e.sprev[0], e.sprev[1]
	copy(e.sprev[0], e.s)

	acf := e.acf[:min(3*e.tauMax, e.nfft/2)]
	e.ft.even(acf, e.even)
	g := 1 / (acf[0] + 1e-12)
	for t, v := range e.acfGain[:len(acf)] {
		acf[t] *= g * v
	}
	e.mains(fr.level)
	e.difference(x, c)
	fr.n = 0
	e.candidates(fr)
	e.score(fr, tot, lowE, snr)
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
	split := min(m, int(e.fs/197)) &^ 1
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
	// long lags on a signal of half the rate: what is lost lies above 2.7 kHz
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

func (fr *frame) add(f float64) {
	if fr.n == maxCand {
		return
	}
	for i := 0; i < fr.n; i++ {
		if r := f / fr.c[i].f; r > .985 && r < 1.015 {
			return
		}
	}
	fr.c[fr.n] = cand{f: f}
	fr.n++
}

// peakLag refines an integer extremum of y at k by a parabola; sign +1 for a maximum.
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

func (e *evidence) candidates(fr *frame) {
	// best peaks of the generalised autocorrelation
	const np = 7
	var pk [np]int
	var pv [np]float64
	cnt := 0
	for t := max(2, e.tauMin); t < e.tauMax; t++ {
		v := e.acf[t]
		if v <= e.acf[t-1] || v < e.acf[t+1] || v < .05 {
			continue
		}
		v -= .04 * logTab[t]
		i := cnt
		if cnt < np {
			cnt++
		} else {
			i = np - 1
			if v <= pv[i] {
				continue
			}
		}
		for i > 0 && pv[i-1] < v {
			pv[i], pk[i] = pv[i-1], pk[i-1]
			i--
		}
		pv[i], pk[i] = v, t
	}
	for i := 0; i < cnt; i++ {
		tau := peakLag(e.acf, pk[i])
		// multiples of a short lag say the same more finely
		for m := 2; float64(m)*tau < float64(e.tauMax) && m <= 6; m++ {
			k := int(float64(m)*tau + .5)
			best := k
			for j := k - 2; j <= k+2; j++ {
				if e.acf[j] > e.acf[best] {
					best = j
				}
			}
			if best == k-2 || best == k+2 || e.acf[best] < .5*e.acf[pk[i]] {
				break
			}
			tau = peakLag(e.acf, best) / float64(m)
		}
		fr.add(e.fs / tau)
	}
	// the first dips of the difference function
	nd := 0
	for t := max(2, e.tauMin); t < e.tauMax && nd < 3; t++ {
		v := e.d[t]
		if v < .35 && v < e.d[t-1] && v <= e.d[t+1] {
			fr.add(e.fs / peakLag(e.d, t))
			nd++
		}
	}
	// where the path was
	for _, f := range e.follow {
		if f > 0 {
			k := int(e.fs/f + .5)
			best := k
			for j := k - 2; j <= k+2; j++ {
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
		for _, r := range [...]float64{2, .5, 3, 1. / 3} {
			if g := f * r; g >= e.minF && g <= e.maxF {
				fr.add(g)
			}
		}
	}
	for i := 0; i < fr.n; i++ {
		fr.c[i].oct = math.Log2(fr.c[i].f)
	}
}

// comb reads S at a candidate: harmonics against the valleys between them.
func (e *evidence) comb(f float64) (all, prime, odd, first float64, noise float64) {
	top := float64(e.bins-2) * e.hz
	h := 1
	var num, den, pnum, pden, onum, oden, nv float64
	v0 := e.sAt(.5 * f)
	pi := 0
	for ; float64(h)*f < top && h <= 19; h++ {
		p := e.sAt(float64(h) * f)
		v1 := e.sAt((float64(h) + .5) * f)
		k := invSqrt[h]
		c := p - .5*(v0+v1)
		num += k * c
		den += k * (p + .5*(v0+v1))
		if pi < len(primes) && primes[pi] == h {
			pnum += k * c
			pden += k * (p + .5*(v0+v1))
			pi++
		}
		if h&1 == 1 && h > 1 {
			onum += k * c
			oden += k * (p + .5*(v0+v1))
		}
		if h == 1 {
			first = p
		}
		if h <= 5 {
			nv += v1
			noise = nv / float64(h)
		}
		v0 = v1
	}
	first /= (num/float64(h) + 1e-9)
	return num / (den + 1e-9), pnum / (pden + 1e-9), onum / (oden + 1e-9), first, noise
}

// overtone is where partials lie between the harmonics of a candidate that is
// itself an overtone of what is sung, and where the valleys between those are,
// in parts of its frequency.
type overtone struct {
	number        float64 // of the overtone
	harmonics     int     // to look below
	peaks, valley []float64
}

var (
	thirds = &overtone{3, 4, []float64{1. / 3, 2. / 3}, []float64{.5, .5}}
	fifths = &overtone{5, 2, []float64{.2, .4, .6, .8}, []float64{.3, .3, .7, .7}}
)

// between tells how far S stands above its valleys where partials are between
// the harmonics of a candidate that is an overtone: 0 where nothing is there.
func (e *evidence) between(f float64, o *overtone) float64 {
	if f < o.number*e.minF {
		return 0
	}
	num, den := 0.0, 1e-9
	for h := range o.harmonics {
		for i, p := range o.peaks {
			s := e.sAt((float64(h) + p) * f)
			num += s - e.sAt((float64(h)+o.valley[i])*f)
			den += .5 * s
		}
		den += .5 * float64(len(o.peaks)) * e.sAt(float64(h+1)*f)
	}
	return num / den
}

var logTab = func() (t [1024]float64) {
	for i := 1; i < len(t); i++ {
		t[i] = math.Log2(float64(i))
	}
	return
}()

var invSqrt = func() (t [32]float64) {
	for i := 1; i < len(t); i++ {
		t[i] = 1 / math.Sqrt(float64(i))
	}
	return
}()

// start sets the noise spectrum from the first frames: what is there before
// anybody sings, or, where the sound starts with a clearly periodic frame, only
// what lies between its partials.
func (e *evidence) start(first bool) {
	if first {
		for k := range e.noise {
			e.noise[k] = 1e9
			e.ps[k] = e.pow[k]
		}
		clear(e.levels[:])
		for i := range e.levels {
			e.levels[i] = -100
		}
	}
	const r = 12
	for k := 0; k < e.bins; k++ {
		lo := e.pow[k]
		for j := max(0, k-r); j <= min(e.bins-1, k+r); j++ {
			lo = min(lo, e.pow[j])
		}
		if e.known[k] {
			lo = e.pow[k] / 4
		}
		e.noise[k] = min(e.noise[k], 4*lo+1e-13)
	}
}

// explained tells how far a candidate's first six harmonics stand above the
// noise tracked there (log10 of the mean ratio of powers), which share of all
// power above the noise its harmonics hold, and which share of the power at them
// lies where the program itself sounds.
func (e *evidence) explained(f float64) (above, share, own float64) {
	n, ratio, held := 0, 1e-12, 0.0
	ours, all := 0.0, 1e-12
	for h := 1; h <= 19; h++ {
		k := int(float64(h)*f/e.hz + .5)
		if k+2 >= e.bins {
			break
		}
		held += e.lin[k-2] + e.lin[k-1] + e.lin[k] + e.lin[k+1] + e.lin[k+2]
		if h <= 6 {
			ratio += e.pow[k] / (e.noise[k] + 1e-12)
			n++
		}
		if e.sounds {
			for j := k - 2; j <= k+2; j++ {
				all += e.pow[j]
				if e.known[j] {
					ours += e.pow[j]
				}
			}
		}
	}
	return min(4, math.Log10(ratio/float64(max(1, n)))), min(1, held/e.sumL), ours / all
}

// mains looks for hum: a quiet sound of steady level that repeats every 1/50 or
// 1/60 s. It belongs to the room, so the noise spectrum may follow it at once
// at the start, and soon later. (A quiet low note within 1 % of 100 or 120 Hz looks
// the same until its level moves.)
func (e *evidence) mains(level float64) {
	e.hum = false
	if level > -28 || e.age < 4 {
		return
	}
	n := min(e.age, 10)
	low, high := level, level
	for _, l := range e.levels[:n] {
		low, high = min(low, l), max(high, l)
	}
	if high-low > 2.5 && e.age > 7 {
		return
	}
	for _, f := range [...]float64{50, 60} {
		tau := e.fs / f
		k := int(tau + .5)
		if k >= e.nfft/2-1 {
			continue
		}
		v := max(e.acf[k], max(e.acf[k-1], e.acf[k+1])) * max(.3, e.acfNorm[k]) / max(.05, e.acfNorm[k])
		if v > .8 && !e.faster(.85) {
			e.hum = true
		}
	}
	if e.hum && e.age <= 7 {
		for k := 0; k < e.bins; k++ {
			e.noise[k] = max(e.noise[k], .7*e.pow[k])
		}
	}
}

// humHighest, in hertz, is above the 100 and 120 Hz of mains whose odd harmonics
// are weak.
const humHighest = 130

// faster tells whether the sound also repeats by more than r after a shorter
// time than any hum does: the voice of all but the lowest notes.
func (e *evidence) faster(r float64) bool {
	for t := max(2, e.tauMin); float64(t) < e.fs/humHighest; t++ {
		if v := e.acf[t]; v > r && v >= e.acf[t-1] && v >= e.acf[t+1] {
			return true
		}
	}
	return false
}

// over is a hinge: how far x lies above the knot. A weighted sum of hinges is a
// curve of straight pieces, which is all the bending that the model can do.
func over(x, knot float64) float64 { return max(0, x-knot) }

// hat is 1 at mid and falls to 0 at half on either side.
func hat(x, mid, half float64) float64 { return max(0, 1-math.Abs(x-mid)/half) }

// score describes the candidates and the frame to the model, by the features of
// the tables in features.go: that is all that classify knows.
func (e *evidence) score(fr *frame, tot, lowE, snr float64) {
	bestR, bestC, bestP, bestD := 0.0, -1.0, -1.0, 2.0
	for i := 0; i < fr.n; i++ {
		f := fr.c[i].f
		tau := e.fs / f
		x := &e.feat[i]
		all, prime, odd, first, v := e.comb(f)
		fr.c[i].nv = v * v * v * v / e.winPow
		r := e.acfAt(tau)
		d := math.Sqrt(e.dAt(tau))
		x[ofAcf] = r
		x[ofDiff] = d
		x[ofComb] = all
		x[ofPrime] = prime
		x[ofOdd] = odd
		x[ofFirst] = min(3, first)
		x[ofAcfHalf] = e.acfAt(tau / 2)
		x[ofAcfDouble] = e.acfAt(2 * tau)
		x[ofDiffHalf] = math.Sqrt(min(1.5, e.dAt(tau/2)))
		x[ofDiffDouble] = math.Sqrt(min(1.5, e.dAt(2*tau)))
		x[ofOctave] = fr.c[i].oct - 8
		x[ofOctaveSquared] = x[ofOctave] * x[ofOctave]
		x[ofAcfThird] = e.acfAt(tau / 3)
		if r > bestR {
			bestR = r
		}
		bestC = max(bestC, all)
		bestP = max(bestP, prime)
		bestD = min(bestD, d)
	}
	for i := 0; i < fr.n; i++ {
		x := &e.feat[i]
		x[ofBehindAcf] = bestR - x[ofAcf]
		x[ofBehindComb] = bestC - x[ofComb]
		x[ofBehindPrime] = bestP - x[ofPrime]
		x[ofBehindDiff] = x[ofDiff] - bestD
		x[ofAcfTimesComb] = x[ofAcf] * x[ofComb]
		x[ofOctaveTimesPrime] = x[ofOctave] * x[ofPrime]
		x[ofOctaveTimesDiff] = x[ofOctave] * x[ofDiff]
	}
	sz := min(max(snr, 0), 30) / 10
	bestH, bestE := -1.0, 0.0
	for i := 0; i < fr.n; i++ {
		x := &e.feat[i]
		hs, ex, own := e.explained(fr.c[i].f)
		x[ofBehindAcfSquared] = x[ofBehindAcf] * x[ofBehindAcf]
		x[ofOctaveTimesFirst] = x[ofOctave] * x[ofFirst]
		x[ofAbove] = hs
		x[ofAboveSquared] = hs * hs
		x[ofBehindCombTimesSNR] = x[ofBehindComb] * sz
		x[ofBehindAcfTimesSNR] = x[ofBehindAcf] * sz
		x[ofBehindPrimeTimesSNR] = x[ofBehindPrime] * sz
		x[ofShare] = ex
		x[ofCombSquared] = x[ofComb] * x[ofComb]
		x[ofDiffTimesAcf] = x[ofDiff] * x[ofAcf]
		x[ofOddTimesSNR] = x[ofOdd] * sz
		x[ofDiffSquared] = x[ofDiff] * x[ofDiff]
		x[ofHalfTimesSNR] = (x[ofAcf] - x[ofAcfHalf]) * sz
		x[ofShareSquared] = ex * ex
		x[ofBehindCombSquared] = x[ofBehindComb] * x[ofBehindComb]
		x[ofOwn] = own
		x[ofOwnOver70] = over(own, .7)
		x[ofThirds] = e.between(fr.c[i].f, thirds)
		x[ofFifths] = e.between(fr.c[i].f, fifths)
		bestH = max(bestH, hs)
		bestE = max(bestE, ex)
	}
	for i := 0; i < fr.n; i++ {
		x := &e.feat[i]
		x[ofBehindShare] = bestE - x[ofShare]
		x[ofAcfOver45] = over(x[ofAcf], .45)
		x[ofAcfOver70] = over(x[ofAcf], .7)
		x[ofAcfOver90] = over(x[ofAcf], .9)
		x[ofDiffOver30] = over(x[ofDiff], .3)
		x[ofDiffOver55] = over(x[ofDiff], .55)
		x[ofCombOver25] = over(x[ofComb], .25)
		x[ofCombOver55] = over(x[ofComb], .55)
		x[ofPrimeOver25] = over(x[ofPrime], .25)
		x[ofPrimeOver55] = over(x[ofPrime], .55)
		x[ofShareOver50] = over(x[ofShare], .5)
		x[ofAboveOver1] = over(x[ofAbove], 1)
		x[ofAboveOver2] = over(x[ofAbove], 2)
		x[ofFirstOver1] = over(x[ofFirst], 1)
		x[ofAcfTimesOctave] = x[ofAcf] * x[ofOctave]
		x[ofCombTimesOctave] = x[ofComb] * x[ofOctave]
		x[ofOddOver40] = over(x[ofOdd], .4)
		x[ofHalfOver] = over(x[ofAcfHalf]-x[ofAcf], -.1)
		x[ofDiffHalfOver30] = over(x[ofDiffHalf], .3)
		x[ofThirdsOver10] = over(x[ofThirds], .1)
		x[ofThirdsTimesSNR] = x[ofThirds] * sz
		x[ofFifthsOver10] = over(x[ofFifths], .1)
	}
	lv := &e.levels
	top1, top2, top3 := -120.0, -120.0, -120.0
	for i, l := range lv {
		if l > top3 {
			top3 = l
		}
		switch i {
		case 9:
			top1 = top3
		case 24:
			top2 = top3
		}
	}
	z := &e.ffeat
	z[inBestAcf] = bestR
	z[inBestComb] = bestC
	z[inBestPrime] = bestP
	z[inBestDiff] = bestD
	z[inQuiet] = min(0, fr.level+65) / 20
	z[inLow] = lowE / (tot + 1e-12)
	z[inAcfTimesDiff] = z[inBestAcf] * z[inBestDiff]
	z[inCombSquared] = z[inBestComb] * z[inBestComb]
	z[inBestAbove] = bestH
	z[inAboveSquared] = bestH * bestH
	z[inBestShare] = bestE
	z[inShareTimesAbove] = bestE * bestH
	z[inAcfSquared] = z[inBestAcf] * z[inBestAcf]
	z[inOne] = 1
	z[inSnr] = snr / 10
	z[inSnrTo15] = min(snr, 15) / 10
	z[inUnder100ms] = (top1 - fr.level) / 10
	z[inUnder250ms] = (top2 - fr.level) / 10
	z[inUnder640ms] = (top3 - fr.level) / 10
	z[inRise50ms] = (fr.level - lv[4]) / 10
	z[inUnder100Squared] = z[inUnder100ms] * z[inUnder100ms]
	z[inUnder640Squared] = z[inUnder640ms] * z[inUnder640ms]
	z[inDiffTimesSNR] = z[inBestDiff] * z[inSnr]
	z[inOthers] = min(0, e.share-.25) * 4
	z[inAcfOver45] = over(z[inBestAcf], .45)
	z[inAcfOver70] = over(z[inBestAcf], .7)
	z[inAcfOver90] = over(z[inBestAcf], .9)
	z[inDiffOver30] = over(z[inBestDiff], .3)
	z[inDiffOver55] = over(z[inBestDiff], .55)
	z[inSnrOver5] = over(z[inSnr], .5)
	z[inSnrOver10] = over(z[inSnr], 1)
	z[inSnrOver20] = over(z[inSnr], 2)
	z[inCombOver40] = over(z[inBestComb], .4)
	z[inUnder640Over15] = over(z[inUnder640ms], 1.5)
	z[inAboveOver1] = over(z[inBestAbove], 1)
	z[inShareOver60] = over(z[inBestShare], .6)
	if e.age == 1 {
		e.loud = fr.level
	}
	e.loud = max(fr.level, e.loud-.02)
	z[inUnderLoudest] = min(5, (e.loud-fr.level)/10)
	z[inLoudestOver10] = over(z[inUnderLoudest], 1)
	z[inLoudestOver18] = over(z[inUnderLoudest], 1.8)
	z[inLoudestOver26] = over(z[inUnderLoudest], 2.6)
	z[inRise130ms] = max(-3, min(3, (fr.level-lv[12])/10))
	z[inFallTimesLoudest] = min(0, z[inRise130ms]) * z[inUnderLoudest]
	// Tails: the sound has dropped and falls on at the pace of a room, in a room
	// where nothing falls faster.
	drop := min(2.5, z[inUnder250ms])
	z[inTail30ms] = hat(lv[3]-fr.level, 3.5, 3)
	z[inTail30Drop] = z[inTail30ms] * drop
	z[inTail60ms] = hat(lv[6]-fr.level, 7, 6)
	z[inTail60Drop] = z[inTail60ms] * drop
	z[inDropTimesDiff] = drop * z[inBestDiff]
	z[inDropTimesSNR] = drop * z[inSnr]
	z[inFaster] = over(lv[3]-fr.level, 6) / 10
	z[inDropOver8] = over(drop, .8)
	if e.age > 12 {
		e.fall = max(e.fall-.01, lv[10]-fr.level)
	}
	wet := max(0, min(1, (38-e.fall)/22))
	z[inWet] = wet
	z[inWetDrop] = wet * drop
	z[inWetTail30] = wet * z[inTail30Drop]
	z[inWetTail60] = wet * z[inTail60Drop]
	z[inWetDropOver8] = wet * z[inDropOver8]
	z[inWetLoudest] = wet * z[inUnderLoudest]
	e.pitched = bestD < .35 && bestP > .5
}
