package pitch

import "math"

// The edges of a note, found in the samples. A window about a frame at an edge is half
// empty, and what the frame is described by is weak there; but the sound from its centre
// on repeats with the period of the note that follows, or up to its centre with that of
// the note before. So a note begins as soon as it has come within 24 dB of itself, beside
// digital silence, where nothing else tells, as well as in a room. Live frames are not
// looked at: what comes after them has not been heard.
//
// The constants were chosen by trial on the voices of a third synthesiser (voices in the
// reference data) and on the development half of the hard set.
const (
	edgeReach  = .040 // s that a note may begin before the path says, or end after it
	edgeHalf   = .005 // s to either side of the centre that are the frame's own
	edgeFrom   = .020 // s into the note, where its level is read, to
	edgeTo     = .050 // s
	edgeUnder  = .004 // of the note's power a frame has at least: 24 dB under it
	edgeWindow = .004 // s that are compared, or a period where that is longer
	edgeAlike  = .8   // correlation with the next period
	edgeRise   = .02  // of the power of the next period: it rises by 17 dB at most
	edgeGlide  = .03  // of the period, by which that at the edge may differ from it
	edgeFalls  = .15  // of the power is left 10 ms later: a room falls slower
	edgeHollow = .6   // of the power of one half of a window has the other, where an edge lies in it
	edgeStep   = .001 // s: to this an edge is found
	risesFrom  = .060 // s before the end, where silence is looked for, to
	risesTo    = .035 // s
	risesOut   = .003 // of the power that is there then at most
	risesAlike = .85  // correlation of the last period with the one before
	risesLeast = .8   // of its power it has
	risesSure  = -.1  // log probability that it then has
	edgeRun    = 8    // frames that the note has by the path, as far as it is known
)

// begins tells whether a note, of a period of about tau samples, sounds about sample c of
// x, and from there on.
func begins(x []float64, c int, tau, fs float64) bool {
	h, from, to := int(edgeHalf*fs), int(edgeFrom*fs), int(edgeTo*fs)
	to = min(to, len(x)-c)
	if c-h < 0 || to <= from {
		return false
	}
	return mean2(x[c-h:c+h]) > edgeUnder*mean2(x[c+from:c+to]) && repeats(x[c:], tau, fs, 1)
}

// lasts tells whether the note before sample c of x, of a period of about tau samples,
// sounds there still, and falls at once: not as a room does.
func lasts(x []float64, c int, tau, fs float64) bool {
	h, from, to := int(edgeHalf*fs), int(edgeFrom*fs), int(edgeTo*fs)
	w := max(int(tau+.5), int(edgeWindow*fs))
	if c-to < 0 || c+2*h+w > len(x) {
		return false
	}
	return mean2(x[c-h:c+h]) > edgeUnder*mean2(x[c-to:c-from]) &&
		mean2(x[c+2*h:c+2*h+w]) < edgeFalls*mean2(x[c:c+w]) && repeats(x[:c], tau, fs, -1)
}

// repeats tells whether the first samples of x are like those a period of about tau later,
// or with side -1 the last ones like those before, and not too much weaker.
func repeats(x []float64, tau, fs float64, side int) bool {
	alike, share := likeness(x, tau, fs, side)
	return alike >= edgeAlike && share >= edgeRise
}

// likeness is the correlation of the first samples of x with those a period of about tau
// later, or with side -1 of the last ones with those before, and their share of the power.
func likeness(x []float64, tau, fs float64, side int) (alike, share float64) {
	w := max(int(tau+.5), int(edgeWindow*fs))
	slack := int(edgeGlide*tau) + 1
	lag := int(tau + .5)
	n := len(x)
	if w+lag+slack > n {
		return 0, 0
	}
	for l := lag - slack; l <= lag+slack; l++ {
		p, q := x[:w], x[l:l+w]
		if side < 0 {
			p, q = x[n-w:], x[n-w-l:n-l]
		}
		pp, qq := product(p, p), product(q, q)
		if r := product(p, q) / math.Sqrt(pp*qq+nothing); r > alike {
			alike, share = r, pp/(qq+nothing)
		}
	}
	return alike, share
}

// mean2 is the mean power of x.
func mean2(x []float64) float64 { return product(x, x) / float64(len(x)) }

// rises makes a live frame's likeliest candidate likely where a note rises out of silence:
// what is described is still of windows that are mostly empty, but the last two periods
// are alike, and the later one is the stronger.
func (t *Tracker) rises(fr *frame) {
	if fr.n == 0 || fr.level < t.cfg.MinLevel {
		return
	}
	best := 0
	for i := range fr.c[:fr.n] {
		if fr.c[i].logp > fr.c[best].logp {
			best = i
		}
	}
	rate := t.innerRate()
	c := &fr.c[best]
	end := int(fr.pos-t.base) + t.ev.ahead
	if end > len(t.inner) || c.logp > risesSure {
		return
	}
	x := t.inner[:end]
	ago := func(s float64) int { return end - int(s*rate) }
	if mean2(x[ago(risesFrom):ago(risesTo)]) > risesOut*mean2(x[ago(edgeWindow):]) {
		return
	}
	if alike, share := likeness(x, rate/c.f, rate, -1); alike >= risesAlike && share >= risesLeast {
		fr.uv = math.Min(fr.uv, math.Log(1-math.Exp(risesSure)))
		c.logp = risesSure
	}
}

// early tells that frame k, a little before a note, is of it, and puts its pitch into p.
func (t *Tracker) early(p *Point, k int64) bool {
	n := int64(len(t.frames))
	j := k + 1
	for j < t.next && t.path[j%n] < 0 {
		j++
	}
	if j >= t.next || (j-k)*int64(t.cfg.Hop) > t.edgeReach() || t.passing(j) {
		return false
	}
	for i := j + 1; i < min(j+edgeRun, t.next); i++ {
		if t.path[i%n] < 0 {
			return false
		}
	}
	next := &t.frames[j%n]
	c := &next.c[t.path[j%n]]
	f, _ := t.ref.refine(t.inner, int(next.pos-t.base), c.f, c.nv, 0)
	rate := t.innerRate()
	at := int(t.frames[k%n].pos - t.base)
	return begins(t.inner, at, rate/f, rate) && t.atEdge(p, at, f, c, 1)
}

// late tells that frame k, a little after a note, is of it, and puts its pitch into p.
func (t *Tracker) late(p *Point, k int64) bool {
	c := &t.ended
	if c.f == 0 || p.Index-t.endedAt > t.edgeReach() || t.held < edgeRun {
		return false
	}
	rate := t.innerRate()
	at := int(t.frames[k%int64(len(t.frames))].pos - t.base)
	return lasts(t.inner, at, rate/c.f, rate) && t.atEdge(p, at, c.f, c, -1)
}

// within is where a window of half samples to either side of sample c of x is moved to,
// where it reaches over the edge of a note.
func within(x []float64, c, half int, fs float64) int {
	if c-half < 0 || c+half > len(x) {
		return c
	}
	left, right := mean2(x[c-half:c]), mean2(x[c:c+half])
	step := int(edgeStep * fs)
	switch {
	case left < edgeHollow*right:
		for at := c - half; at < c; at += step {
			if mean2(x[at:at+step]) > edgeUnder*right {
				return at + half
			}
		}
		return c + half
	case right < edgeHollow*left:
		for at := c + half; at > c; at -= step {
			if mean2(x[at-step:at]) > edgeUnder*left {
				return at - half
			}
		}
		return c - half
	}
	return c
}

// faint tells that frame k, at the beginning or the end of what the path calls a note, has
// not come within 24 dB of it.
func (t *Tracker) faint(k int64) bool {
	n, rate := int64(len(t.frames)), t.innerRate()
	x, c := t.inner, int(t.frames[k%n].pos-t.base)
	h, from, to := int(edgeHalf*rate), int(edgeFrom*rate), int(edgeTo*rate)
	if c-to < 0 || c+h > len(x) {
		return false
	}
	own := mean2(x[c-h : c+h])
	begins := t.ended.f == 0 || k*int64(t.cfg.Hop)-t.endedAt > int64(t.cfg.Hop)
	if ahead := min(to, len(x)-c); begins && ahead > from && own < edgeUnder*mean2(x[c+from:c+ahead]) {
		return true
	}
	for j := k + 1; j < t.next && (j-k)*int64(t.cfg.Hop) <= t.edgeReach(); j++ {
		if t.path[j%n] < 0 {
			return own < edgeUnder*mean2(x[c-to:c-from])
		}
	}
	return false
}

// atEdge puts the pitch at sample at of the inner signal into p: that of a window that
// begins there, or ends there with side -1, about f hertz.
func (t *Tracker) atEdge(p *Point, at int, f float64, c *cand, side int) bool {
	p.F0, p.SE = t.ref.refine(t.inner, at+side*t.window(f), f, c.nv, t.bending())
	p.Voiced = p.F0 >= t.cfg.MinHz && p.F0 <= t.cfg.MaxHz
	if !p.Voiced {
		p.F0, p.SE = 0, 0
		return false
	}
	p.Confidence = math.Exp(c.logp)
	return true
}

// window is half of the window, in inner samples, in which f hertz are refined.
func (t *Tracker) window(f float64) int {
	return int(math.Max(refineLeast, math.Ceil(refineTime*f)) / 2 * t.innerRate() / f)
}

// bending is how sharply the pitch turns, in cents/s².
func (t *Tracker) bending() float64 {
	return t.bends.rate(float64(t.cfg.Hop) / float64(t.cfg.SampleRate))
}

// innerRate is the rate of the inner signal in hertz.
func (t *Tracker) innerRate() float64 { return float64(t.cfg.SampleRate) / float64(t.step) }

// edgeReach is edgeReach in samples.
func (t *Tracker) edgeReach() int64 { return int64(edgeReach * float64(t.cfg.SampleRate)) }
