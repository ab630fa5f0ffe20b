package pitch

import "math"

// refiner turns a rough F0 into a fine one. Around the frame's centre it takes
// a Hann window w of a whole number m ≥ 2 of periods, so that every other
// harmonic falls on a zero of its transform, and reads at each harmonic h
//
//	X = Σ w(t) x(t) e^(−jhωt)    D = Σ w′(t) x(t) e^(−jhωt)
//
// A partial at hω + δ gives D = −jδX, so δ = −Im(D/X): the phase slope at the
// centre, exact for a steady tone and without lag on a glide. The slopes δ/h
// are averaged with weights h²|X|²/N, N the noise power between the harmonics:
// the maximum-likelihood combination for a harmonic signal in noise.
//
// Cramér-Rao bound for the F0 (rad/sample) of harmonics of amplitude A_h in
// white noise of variance σ² over n samples, phases and amplitudes unknown:
//
//	var ω ≥ 24 σ² / (n (n²−1) Σ h² A_h²)
//
// (Christensen & Jakobsson, Multi-Pitch Estimation, 2009, eq. 2.35). The Hann
// window costs a factor π²/6 = 1.645 in variance, 1.28 in standard error.
type refiner struct {
	fs             float64
	ee, eo, de, do []float64 // even and odd parts of w·x and w′·x
	c1, s1, ch, sh []float64 // e^(jω t) and e^(jhω t)
}

// Without another source, chosen by trial on the training sounds and the development
// half of the hard set.
const (
	refineHarm   = 8    // harmonics that are read
	firstHarm    = 3    // of the first pass: higher ones leave their lobe where f is far off
	refineTime   = .024 // s of window at least, in whole periods
	refineLong   = .060 // s of the second window, where the first one was not sure
	refineLeast  = 2    // periods: fewer do not put the other harmonics on zeros
	refineLobes  = 4    // periods: fewer leave the lobes of neighbouring harmonics on each other
	lobesCents   = .08  // by which they pull each other
	refineUnsure = .25  // cents of standard error from which the second window is tried
	refineAgrees = 3    // standard errors that it may differ by: else the pitch moves
	refineAgain  = .004 // of f: a larger step is followed by another, 7 cents
	refineMost   = .045 // of f that it is moved at all: 76 cents
	endSlack     = 1.03 // of the window, where it is moved before the end of what is there

	// The scratch holds three periods of the lowest pitch or 60 ms, the longest window,
	// from the centre to one side, and some samples more.
	scratchPeriods = 1.7
	scratchTime    = .035

	topShare    = .42   // of the rate: harmonics nearer to half of it are left out
	topHarmonic = 4700  // Hz: under topHz by a window's lobe and more
	emptyPower  = 1e-30 // |X|² that keeps ratios finite
	silentPower = 1e-29 // |X|² under which all harmonics are silence
	leakage     = 1e-7  // of the strongest harmonic's power: 70 dB under it
	hannShare   = .75   // Σw² of 2n samples of a Hann window, over n: 2·3/8
	student     = .6    // over the degrees of freedom: how much wider 68 % of Student's t is than one
	seLeast     = .1    // of a harmonic's weight that counts in noise
	modelNoise  = 1e-10 // (δ/ω)²: what is no noise, a voice's own 0.02 cents
	robust      = 9     // three standard errors, squared: a harmonic so far off counts half
)

func newRefiner(fs, minF float64) refiner {
	n := int(scratchPeriods*fs/minF) + 2
	if m := int(scratchTime*fs) + 2; m > n {
		n = m
	}
	buf := func() []float64 { return make([]float64, n) }
	return refiner{fs: fs, ee: buf(), eo: buf(), de: buf(), do: buf(), c1: buf(), s1: buf(), ch: buf(), sh: buf()}
}

// pass reads the phase slopes once, with a window of m periods of f hertz about
// x[c]. nv is the noise variance per sample. It gives the correction to f in
// hertz and its variance, infinite where the window does not fit and where
// there is nothing in it.
func (r *refiner) pass(x []float64, c int, f float64, m, harm int, nv float64) (delta, variance float64) {
	fs := r.fs
	half := .5 * float64(m) * fs / f
	n := int(half)
	if c-n < 0 || c+n >= len(x) || n+1 > len(r.ee) {
		return 0, math.Inf(1)
	}
	dw := math.Pi / half
	w0 := 2 * math.Pi * f / fs
	ee, eo, de, do := r.ee[:n+1], r.eo[:n+1], r.de[:n+1], r.do[:n+1]
	c1, s1, ch, sh := r.c1[:n+1], r.s1[:n+1], r.ch[:n+1], r.sh[:n+1]
	wc, ws := 1.0, 0.0
	wc1, ws1 := math.Cos(dw), math.Sin(dw)
	hc, hs := 1.0, 0.0
	hc1, hs1 := math.Cos(w0), math.Sin(w0)
	sd := 0.0
	for i := range ee {
		p, q := x[c+i], x[c-i]
		w := .5 + .5*wc
		d := -.5 * dw * ws
		sd += 2 * d * d
		ee[i] = w * (p + q)
		eo[i] = w * (p - q)
		de[i] = d * (p - q)
		do[i] = d * (p + q)
		c1[i], s1[i] = hc, hs
		ch[i], sh[i] = hc, hs
		wc, ws = wc*wc1-ws*ws1, wc*ws1+ws*wc1
		hc, hs = hc*hc1-hs*hs1, hc*hs1+hs*hc1
	}
	ee[0] *= .5
	var es, as, wt, ps [refineHarm + 1]float64
	H := 1
	for H < harm && float64(H+1)*f <= min(topShare*fs, topHarmonic) {
		H++
	}
	strongest := 0.0
	for h := 1; h <= H; h += 2 {
		xr, xi, dr, di, yr, yi, er, ei := r.harmonics(n + 1)
		ps[h] = xr*xr + xi*xi + emptyPower
		es[h] = (dr*xi - di*xr) / ps[h] / float64(h)
		as[h] = (dr*xr + di*xi) / ps[h]
		strongest = max(strongest, ps[h])
		if h < H {
			ps[h+1] = yr*yr + yi*yi + emptyPower
			es[h+1] = (er*yi - ei*yr) / ps[h+1] / float64(h+1)
			as[h+1] = (er*yr + ei*yi) / ps[h+1]
			strongest = max(strongest, ps[h+1])
		}
	}
	if strongest <= silentPower { // digital silence: the sound is before or after it
		return 0, math.Inf(1)
	}
	// A harmonic 70 dB below the strongest is leakage, however quiet the room.
	nv = max(nv, leakage*strongest/(hannShare*float64(n)))
	var num, den float64
	for h := 1; h <= H; h++ {
		// σ² Σw′² / (2|X|² h²), and a floor for what is not noise
		wt[h] = 1 / (nv*sd/(2*float64(h*h)*ps[h]) + modelNoise*w0*w0)
		num += es[h] * wt[h]
		den += wt[h]
	}
	mean := num / den
	// one robust step: a harmonic far from the rest is somebody else's
	var gs [refineHarm + 1]float64
	n2, d2, slope, power := 0.0, 0.0, 0.0, 0.0
	for h := 1; h <= H; h++ {
		e := es[h] - mean
		k := e * e * wt[h]
		gs[h] = wt[h] / (1 + k/robust)
		n2 += gs[h] * es[h]
		d2 += gs[h]
		slope += ps[h] * as[h]
		power += ps[h]
	}
	mean = n2 / d2
	slope /= power
	return mean * fs / (2 * math.Pi), r.variance(&es, &as, &ps, &gs, mean, slope, sd, hannShare*float64(n), w0, H) * fs * fs / (4 * math.Pi * math.Pi)
}

// variance is that of the mean of the slopes es with weights gs, from what they say
// themselves: noise turns each D about what it should be, along X and across it, as
// likely to one side as to the other and by as much in every harmonic. Across X lies
// the slope of the phase, along it that of the amplitude, whose mean is a fade.
func (r *refiner) variance(es, as, ps, gs *[refineHarm + 1]float64, mean, slope, sd, bin, w0 float64, H int) float64 {
	noise := 0.0 // twice the power of the noise a sample, times sd
	for h := 1; h <= H; h++ {
		e, a := float64(h)*(es[h]-mean), as[h]-slope
		noise += ps[h] * (e*e + a*a)
	}
	free := float64(max(1, 2*H-2))
	noise *= (1 + student/free) * (1 + student/free) / free
	inBin := 2 * noise / sd * bin // the noise's share of |X|²
	var top, bottom, model float64
	for h := 1; h <= H; h++ {
		top += gs[h] * gs[h] * noise / (float64(h*h) * ps[h])
		model += gs[h] * gs[h]
		bottom += gs[h] * max(seLeast, 1-inBin/ps[h])
	}
	return (top + modelNoise*w0*w0*model) / (bottom * bottom)
}

// harmonics sums up X and D of the harmonic whose phases are in ch and sh, and of
// the next one, over the first n pairs of samples, and moves the phases on by two.
func (r *refiner) harmonics(n int) (xr, xi, dr, di, yr, yi, er, ei float64) {
	ee, eo, de, do := r.ee[:n], r.eo[:n], r.de[:n], r.do[:n]
	c1, s1, ch, sh := r.c1[:n], r.s1[:n], r.ch[:n], r.sh[:n]
	for i, c := range c1 {
		co, si, s := ch[i], sh[i], s1[i]
		c2, s2 := co*c-si*s, co*s+si*c
		ch[i], sh[i] = c2*c-s2*s, c2*s+s2*c
		a := ee[i]
		xr += a * co
		yr += a * c2
		a = de[i]
		dr += a * co
		er += a * c2
		a = eo[i]
		xi -= a * si
		yi -= a * s2
		a = do[i]
		di -= a * si
		ei -= a * s2
	}
	return
}

// refine improves f (hertz) and gives its standard error in cents, at most
// roughSE. nv is the noise variance per sample, bend how sharply the pitch has been
// turning, in cents/s².
func (r *refiner) refine(x []float64, c int, f, nv, bend float64) (float64, float64) {
	m := max(refineLeast, int(math.Ceil(refineTime*f)))
	if have := float64(len(x) - 2 - c); .5*float64(m)*r.fs/f > have {
		m = max(refineLeast, int(2*have*f/r.fs))
		if lack := .5*float64(m)*r.fs/f*endSlack - have; lack > 0 {
			c -= int(lack) + 1
		}
	}
	f0 := f
	d, v := r.pass(x, c, f, m, firstHarm, nv)
	if math.IsInf(v, 1) {
		return f, roughSE
	}
	f = clampStep(f, d, f0)
	d, v = r.pass(x, c, f, m, refineHarm, nv)
	if math.Abs(d) > refineAgain*f {
		f = clampStep(f, d, f0)
		d, v = r.pass(x, c, f, m, refineHarm, nv)
	}
	f = clampStep(f, d, f0)
	se := math.Hypot(1200/math.Ln2*math.Sqrt(v)/f, rounds(bend, float64(m)/f))
	if m < refineLobes {
		se = math.Hypot(se, lobesCents)
	}
	m2 := max(refineLeast+1, int(math.Ceil(refineLong*f)))
	if rounded := rounds(bend, float64(m2)/f); rounded < se && (se > refineUnsure || m < refineLobes) {
		d2, v2 := r.pass(x, c, f, m2, refineHarm, nv)
		se2 := math.Hypot(1200/math.Ln2*math.Sqrt(v2)/f, rounded)
		if dc := math.Abs(1200 / math.Ln2 * d2 / f); se2 < se && dc < refineAgrees*se {
			f = clampStep(f, d2, f0)
			se = se2
		}
	}
	return f, math.Min(roughSE, se)
}

// rounds is by how many cents a window of so many seconds rounds off a pitch that
// turns by bend cents/s²: it sees the mean of the F0 weighted by the window, whose
// variance is (1/12 − 1/2π²) of its length squared, where the pitch of a moment is the
// mean over momentTime.
func rounds(bend, seconds float64) float64 {
	return bend / 2 * max(0, hannVariance*seconds*seconds-momentTime*momentTime/12)
}

// bends follows how sharply the pitch turns: the mean square of the second derivative,
// each by a parabola through bendFrames frames, over the last of them.
type bends struct {
	cents [bendFrames]float64
	n     int
	mean  float64 // cents² a frame⁴
}

const (
	bendFrames   = 7
	bendSum      = 84  // Σ(x²−4)² over −3 … 3
	bendKeeps    = .9  // of the mean from frame to frame: half a cycle of a vibrato
	bendPart     = 1.5 // times the root of the mean: as much as half of a swing stays below
	bendJump     = 150 // cents from frame to frame: another note
	hannVariance = .0327
	momentTime   = .010 // s
)

// add takes the next voiced frame's pitch in hertz; 0 is an unvoiced one.
func (b *bends) add(hz float64) {
	if hz == 0 {
		b.n, b.mean = 0, 0
		return
	}
	cents := 1200 * math.Log2(hz)
	if b.n > 0 && math.Abs(cents-b.cents[bendFrames-1]) > bendJump {
		b.n = 0
	}
	copy(b.cents[:], b.cents[1:])
	b.cents[bendFrames-1] = cents
	if b.n++; b.n < bendFrames {
		return
	}
	sum := 0.0
	for i, c := range b.cents {
		x := float64(i - bendFrames/2)
		sum += (x*x - 4) * (c - cents)
	}
	turn := 2 * sum / bendSum
	b.mean += (1 - bendKeeps) * (turn*turn - b.mean)
}

// rate is the second derivative in cents/s².
func (b *bends) rate(hop float64) float64 { return bendPart * math.Sqrt(b.mean) / (hop * hop) }

// roughSE is the standard error, in cents, of a frequency that could not be
// improved. What clampStep leaves is never off by much more.
const roughSE = 50

// clampStep is f + d, within refineMost of f0.
func clampStep(f, d, f0 float64) float64 {
	f += d
	if f > f0*(1+refineMost) {
		f = f0 * (1 + refineMost)
	} else if f < f0*(1-refineMost) {
		f = f0 * (1 - refineMost)
	}
	return f
}
