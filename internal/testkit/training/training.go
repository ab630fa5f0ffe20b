// Package training makes the sounds that the weights of the pitch tracker are
// fitted on, whose fundamental is known exactly: melodies and steady notes
// through a source-filter voice, spoilt in the ways a microphone in a room
// spoils them, test tones, and sounds in which nobody sings. It is another
// synthesiser than the one of the hard set that the tracker is judged on. The
// same seed gives the same samples.
//
// [Make] makes a melody under one of the Conditions, [MakeTone] test tones,
// [MakePrompt] the program's own sound, [Steady] a steady note.
package training

import (
	"math"
	"math/rand/v2"
)

// Note is one sung note of a clip.
type Note struct{ On, Off, F0 float64 } // seconds, seconds, hertz (target)

// Clip is a sound with its truth.
type Clip struct {
	Name      string // condition
	Rate      int
	X         []float64
	F0        []float64 // per sample of a 1 ms grid: hertz, 0 unvoiced, Open undecided
	Notes     []Note
	Known     []float64 // hertz of partials known to sound (drone, prompt)
	Low, High float64
}

// At gives the true F0 at time t seconds, 0 where unvoiced.
func (c *Clip) At(t float64) float64 {
	i := int(t*1000 + 0.5)
	if i < 0 || i >= len(c.F0) {
		return 0
	}
	return c.F0[i]
}

// Open is the truth where it is not for us to say whether somebody sings: where
// a voice is more than 20 dB under its own note, coming or going.
const Open = -1

type voice struct {
	lo, hi      float64 // Hz
	form        float64 // formant scale
	tilt        float64 // dB/oct of the source
	model       int     // 0 additive, 1 Rosenberg pulses
	oq          float64
	jitter      float64 // fraction per period
	shimmer     float64
	vibHz, vibC float64
	breath      float64 // aspiration amplitude relative to voice
	fry         float64 // diplophonia depth
	h2          float64 // dB boost of the second harmonic
	bright      bool    // F1 follows 2 F0
}

var vowels = [][3]float64{{730, 1090, 2440}, {570, 840, 2410}, {300, 870, 2240}, {530, 1840, 2480}, {270, 2290, 3010}, {660, 1720, 2410}, {490, 1350, 1690}}

func newVoice(r *rand.Rand, kind string) voice {
	v := voice{model: r.IntN(2), tilt: -6 - 8*r.Float64(), oq: .45 + .35*r.Float64(), jitter: .0005 + .0035*r.Float64()*r.Float64(), shimmer: .01 + .04*r.Float64(), vibHz: 4.8 + 2*r.Float64(), breath: .002 + .01*r.Float64()}
	if r.Float64() < .6 {
		v.vibC = 15 + 60*r.Float64()
	}
	switch kind {
	case "bass":
		v.lo, v.hi, v.form = 65, 250, .92
	case "tenor":
		v.lo, v.hi, v.form = 110, 420, 1
	case "alto":
		v.lo, v.hi, v.form = 165, 600, 1.12
	case "soprano":
		v.lo, v.hi, v.form = 260, 1050, 1.18
	case "high":
		v.lo, v.hi, v.form = 660, 1300, 1.2
	case "child":
		v.lo, v.hi, v.form = 230, 900, 1.35
	case "belt":
		v.lo, v.hi, v.form = 330, 660, 1.1
		v.bright = true
		v.tilt = -4 - 4*r.Float64()
	}
	return v
}

var kinds = []string{"bass", "tenor", "alto", "soprano", "child"}

// seg is one vowel with its control curves.
type melodyOut struct {
	f0, amp, truth []float64 // per ms
	notes          []Note
	vow            [][3]float64 // per ms
	fric           []float64    // frication noise amplitude per ms
	nasal          []float64
	loud           []float64 // of the note
}

func melody(r *rand.Rand, v voice, secs float64) melodyOut {
	n := int(secs * 1000)
	m := melodyOut{f0: make([]float64, n), amp: make([]float64, n), truth: make([]float64, n), vow: make([][3]float64, n), fric: make([]float64, n), nasal: make([]float64, n), loud: make([]float64, n)}
	lo, hi := math.Log2(v.lo), math.Log2(v.hi)
	cur := lo + (hi-lo)*(.2+.6*r.Float64())
	t := 200 + r.IntN(400)
	prev := 0.0
	lastEnd := -1000
	vow := vowels[r.IntN(len(vowels))]
	drift := 0.0
	for t < n-1200 {
		step := float64(r.IntN(9)-4) / 12
		if r.Float64() < .15 {
			step = float64(r.IntN(25)-12) / 12
		}
		if r.Float64() < .12 {
			step = 0
		}
		if cur+step < lo || cur+step > hi {
			step = -step
		}
		if cur+step < lo || cur+step > hi {
			step = 0
		}
		cur += step
		drift += .01 * r.NormFloat64() / 12
		target := cur + drift + .1*r.NormFloat64()/12
		dur := 220 + int(650*r.Float64()*r.Float64()+100*r.Float64())
		kind := r.IntN(7) // 0 legato, 1 stop, 2 fric, 3 nasal, 4 gap, 5 long gap, 6 fric
		if lastEnd < t-50 && kind == 0 {
			kind = 4
		}
		start := t
		switch kind {
		case 1:
			start += 25 + r.IntN(50)
			for i := 0; i < 10 && start-12+i < n; i++ {
				m.fric[start-12+i] = .1 * math.Exp(-float64(i)/4)
			}
		case 2, 6:
			d := 50 + r.IntN(70)
			a := .02 + .1*r.Float64()
			for i := 0; i < d && start+i < n; i++ {
				m.fric[start+i] = a * math.Sin(math.Pi*float64(i)/float64(d))
			}
			start += d - 10
		case 4:
			start += 60 + r.IntN(120)
		case 5:
			start += 250 + r.IntN(700)
		}
		if r.Float64() < .8 {
			vow = vowels[r.IntN(len(vowels))]
		}
		if start+dur >= n-300 {
			break
		}
		// pitch curve
		att := float64(12 + r.IntN(50))
		rel := float64(30 + r.IntN(80))
		scoop, scT := 0.0, 1.0
		if r.Float64() < .45 {
			scoop = -(50 + 200*r.Float64()) / 1200
			scT = 30 + 50*r.Float64()
		}
		fall := 0.0
		if r.Float64() < .3 {
			fall = -(50 + 150*r.Float64()) / 1200
		}
		glide := 25 + 60*r.Float64()
		legato := kind == 0 || kind == 3
		vd := 0.0
		ph := 2 * math.Pi * r.Float64()
		vC := v.vibC * (.6 + .6*r.Float64()) / 1200
		if dur < 350 {
			vC *= .3
		}
		loud := .5 + .5*r.Float64()
		for i := 0; i < dur; i++ {
			j := start + i
			x := float64(i)
			vd = math.Min(1, math.Max(0, (x-120)/200))
			p := target + vC*vd*math.Sin(2*math.Pi*v.vibHz*x/1000+ph)
			if legato && prev > 0 {
				p += (prev - target) / (1 + math.Exp((x-glide/2)/(glide/8)))
			} else if scoop != 0 {
				p += scoop * math.Exp(-x/scT)
			}
			e := float64(dur-1-i) / 120
			if fall != 0 && e < 1 {
				p += fall * (1 - e) * (1 - e)
			}
			m.f0[j] = math.Exp2(p)
			a := loud * (.8 + .2*math.Sin(math.Pi*x/float64(dur)))
			if !legato || prev == 0 {
				a *= 1 - math.Exp(-x/att*2.3)
			} else if kind == 3 {
				d := math.Exp(-(x - 30) * (x - 30) / 1200)
				m.nasal[j] = d
				a *= 1 - .6*d
			}
			if f := float64(dur - i); f < rel {
				a *= f / rel
			}
			m.amp[j] = math.Max(a, m.amp[j])
			m.loud[j] = loud
			m.vow[j] = vow
		}
		m.notes = append(m.notes, Note{float64(start) / 1000, float64(start+dur) / 1000, math.Exp2(target)})
		prev = target
		t = start + dur
		lastEnd = t
		if kind != 0 && r.Float64() < .1 {
			prev = 0
		}
		// legato next notes overlap the release
		if r.Float64() < .35 {
			t -= int(rel)
			k := len(m.notes) - 1
			m.notes[k].Off = float64(t) / 1000
		}
	}
	for i := range m.truth {
		switch {
		case m.amp[i] > .1*m.loud[i]:
			m.truth[i] = m.f0[i]
		case m.amp[i] > 0:
			m.truth[i] = Open
		}
		if m.vow[i][0] == 0 {
			m.vow[i] = vowels[0]
		}
	}
	return m
}

func env(x []float64, i, rate int) float64 {
	t := float64(i) * 1000 / float64(rate)
	k := int(t)
	if k+1 >= len(x) {
		return x[len(x)-1]
	}
	f := t - float64(k)
	return x[k] + f*(x[k+1]-x[k])
}

func formantGain(f float64, F [3]float64, scale float64) float64 {
	g := 1.0
	bw := [3]float64{80, 100, 140}
	for k := range F {
		c := F[k] * scale
		b := bw[k] + .04*c
		d := (c*c - f*f)
		g *= c * c / math.Sqrt(d*d+b*b*f*f)
	}
	return g
}

// Sing renders curves through a voice.
func sing(r *rand.Rand, v voice, m melodyOut, rate int) []float64 {
	n := len(m.f0) * rate / 1000
	x := make([]float64, n)
	breath := noiseShaped(r, n, rate, 900, 5000)
	fr := noiseShaped(r, n, rate, 3000, 9000)
	if v.model == 0 || v.bright {
		// additive, gains updated each ms
		H := 40
		phase := 0.0
		g := make([]float64, H+1)
		gt := make([]float64, H+1)
		phi := make([]float64, H+1)
		for h := range phi {
			phi[h] = 2 * math.Pi * r.Float64()
			if r.IntN(2) == 0 {
				phi[h] = float64(h) * .3
			}
		}
		jit, jitN, shim, sub := 0.0, 0.0, 1.0, 1.0
		cyc := 0
		per := rate / 1000
		for i := 0; i < n; i++ {
			f0 := env(m.f0, i, rate)
			k := i * 1000 / rate
			if k >= len(m.f0) {
				k = len(m.f0) - 1
			}
			if m.f0[k] == 0 || m.amp[k] == 0 {
				continue
			}
			if k+1 < len(m.f0) && m.f0[k+1] == 0 {
				f0 = m.f0[k]
			}
			if per == 0 || i%per == 0 {
				F := m.vow[k]
				if v.bright {
					F[0] = 2 * f0 / v.form * 1.02
				}
				for h := 1; h <= H; h++ {
					f := float64(h) * f0
					if f > 10000 || f > .47*float64(rate) {
						gt[h] = 0
						continue
					}
					q := math.Pow(float64(h), v.tilt/6.02) * formantGain(f, F, v.form)
					if h == 2 {
						q *= math.Pow(10, v.h2/20)
					}
					if m.nasal[k] > 0 && f > 400 {
						q *= 1 - .85*m.nasal[k]
					}
					gt[h] = q
				}
			}
			fi := f0 * (1 + jit)
			phase += fi / float64(rate)
			if phase >= 1 {
				phase -= 1
				cyc++
				jitN = v.jitter * r.NormFloat64()
				shim = 1 + v.shimmer*r.NormFloat64()
				if v.fry > 0 && cyc%2 == 0 {
					sub = 1 - v.fry
				} else {
					sub = 1
				}
			}
			jit += .02 * (jitN - jit)
			s := 0.0
			w := 2 * math.Pi * phase
			// recurrence for harmonics via complex rotation
			c1, s1 := math.Cos(w), math.Sin(w)
			c, sn := c1, s1
			for h := 1; h <= H; h++ {
				g[h] += .02 * (gt[h] - g[h])
				if gt[h] == 0 && g[h] < 1e-9 {
					break
				}
				s += g[h] * (sn*math.Cos(phi[h]) + c*math.Sin(phi[h]))
				c, sn = c*c1-sn*s1, c*s1+sn*c1
			}
			x[i] = s * shim * sub * env(m.amp, i, rate)
		}
	} else {
		// Rosenberg pulses, 4x oversampled in closed form by averaging, then resonators
		src := make([]float64, n)
		phase := 0.0
		cyc := 0
		jit, shim, sub := 0.0, 1.0, 1.0
		const os = 4
		prev := 0.0
		for i := 0; i < n; i++ {
			f0 := env(m.f0, i, rate)
			k := min(i*1000/rate, len(m.f0)-1)
			if m.f0[k] == 0 || m.amp[k] == 0 {
				prev = 0
				continue
			}
			if k+1 < len(m.f0) && m.f0[k+1] == 0 {
				f0 = m.f0[k]
			}
			acc := 0.0
			for o := 0; o < os; o++ {
				phase += f0 * (1 + jit) / float64(rate*os)
				if phase >= 1 {
					phase -= 1
					cyc++
					jit = v.jitter * r.NormFloat64()
					shim = 1 + v.shimmer*r.NormFloat64()
					sub = 1
					if v.fry > 0 && cyc%2 == 0 {
						sub = 1 - v.fry
					}
				}
				p := phase / v.oq
				u := 0.0
				if p < .66 {
					u = .5 * (1 - math.Cos(math.Pi*p/.66))
				} else if p < 1 {
					u = math.Cos(math.Pi / 2 * (p - .66) / .34)
				}
				acc += u * shim * sub
			}
			acc /= os
			src[i] = (acc - prev) * math.Sqrt(float64(rate)/44100) * 6
			prev = acc
		}
		// three resonators in series, coefficients each ms
		var z1, z2 [3]float64
		var a, b, cc [3]float64
		bw := [3]float64{80, 100, 140}
		per := max(1, rate/1000)
		for i := 0; i < n; i++ {
			k := min(i*1000/rate, len(m.f0)-1)
			if i%per == 0 {
				for q := 0; q < 3; q++ {
					F := math.Min(m.vow[k][q]*v.form, .45*float64(rate))
					B := bw[q] + .04*F
					rr := math.Exp(-math.Pi * B / float64(rate))
					b[q] = 2 * rr * math.Cos(2*math.Pi*F/float64(rate))
					cc[q] = -rr * rr
					a[q] = 1 - b[q] - cc[q]
				}
			}
			y := src[i]
			for q := 0; q < 3; q++ {
				t := a[q]*y + b[q]*z1[q] + cc[q]*z2[q]
				z2[q], z1[q] = z1[q], t
				y = t
			}
			x[i] = y * env(m.amp, i, rate)
			if m.nasal[k] > 0 {
				x[i] *= 1 - .5*m.nasal[k]
			}
		}
	}
	// normalise voiced rms to 0.1
	e, c := 0.0, 0
	for i := range x {
		if env(m.amp, i, rate) > .3 {
			e += x[i] * x[i]
			c++
		}
	}
	if c > 0 && e > 0 {
		g := .1 / math.Sqrt(e/float64(c))
		for i := range x {
			x[i] *= g
		}
	}
	for i := range x {
		a := env(m.amp, i, rate)
		x[i] += .1*v.breath*breath[i]*a + .3*env(m.fric, i, rate)*fr[i]
	}
	return x
}

// noiseShaped gives unit-rms noise between two frequencies (soft edges).
func noiseShaped(r *rand.Rand, n, rate int, lo, hi float64) []float64 {
	x := make([]float64, n)
	a := math.Exp(-2 * math.Pi * lo / float64(rate))
	b := 1 - math.Exp(-2*math.Pi*math.Min(hi, .4*float64(rate))/float64(rate))
	var h, l, l2, e float64
	var px float64
	for i := range x {
		w := r.NormFloat64()
		h = a * (h + w - px)
		px = w
		l += b * (h - l)
		l2 += b * (l - l2)
		x[i] = l2
		e += l2 * l2
	}
	g := 1 / math.Sqrt(e/float64(n)+1e-30)
	for i := range x {
		x[i] *= g
	}
	return x
}

func addNoise(x, w []float64, g float64) {
	for i := range x {
		x[i] += g * w[i]
	}
}

func reverb(r *rand.Rand, x []float64, rate int, rt, direct float64) []float64 {
	// sparse exponential noise tail
	n := int(rt * 1.1 * float64(rate))
	y := make([]float64, len(x))
	type tap struct {
		d int
		g float64
	}
	var taps []tap
	e := 0.0
	for d := rate * 4 / 1000; d < n; d += 1 + r.IntN(max(1, rate*3/2000)) {
		g := r.NormFloat64() * math.Exp(-6.9*float64(d)/(rt*float64(rate)))
		taps = append(taps, tap{d, g})
		e += g * g
	}
	q := math.Pow(10, -direct/20) / math.Sqrt(e)
	copy(y, x)
	for _, t := range taps {
		g := q * t.g
		for i := t.d; i < len(x); i++ {
			y[i] += g * x[i-t.d]
		}
	}
	return y
}

func hum(r *rand.Rand, n, rate int, rms float64) []float64 {
	f := 50.0
	if r.IntN(2) == 0 {
		f = 60
	}
	f *= 1 + .0005*r.NormFloat64()
	x := make([]float64, n)
	e := 0.0
	for h := 1; h <= 24; h++ {
		g := math.Pow(float64(h), -.7) * math.Exp(.6*r.NormFloat64())
		if h%2 == 0 && r.IntN(2) == 0 {
			g *= .4
		}
		p := 2 * math.Pi * r.Float64()
		w := 2 * math.Pi * f * float64(h) / float64(rate)
		for i := range x {
			x[i] += g * math.Sin(w*float64(i)+p)
		}
		e += g * g / 2
	}
	q := rms / math.Sqrt(e)
	for i := range x {
		x[i] *= q
	}
	return x
}

func drone(r *rand.Rand, n, rate int, root, rms float64) ([]float64, []float64) {
	x := make([]float64, n)
	var known []float64
	e := 0.0
	for _, ratio := range []float64{1, 1.5} {
		for h := 1; h <= 6; h++ {
			f := root * ratio * float64(h)
			if f > 4000 {
				break
			}
			known = append(known, f)
			g := 1 / float64(h)
			e += g * g / 2
			w := 2 * math.Pi * f / float64(rate)
			p := 2 * math.Pi * r.Float64()
			for i := range x {
				x[i] += g * math.Sin(w*float64(i)+p)
			}
		}
	}
	q := rms / math.Sqrt(e)
	for i := range x {
		x[i] *= q
	}
	return x, known
}

func quantise(x []float64) {
	for i := range x {
		x[i] = math.Round(x[i]*32767) / 32768
	}
}

// Conditions in the order they are reported.
var Conditions = []string{"clean", "noise40", "noise20", "noise10", "noise0", "hum", "room", "smallmic", "quiet", "drone", "breathy", "creaky", "bright", "high", "nobody-room", "nobody-hum", "nobody-breath", "nobody-typing", "nobody-talker", "nobody-prompt"}

// Make renders one clip of the condition. Seeds from 1000 up are the held-out
// half.
func Make(cond string, seed uint64, rate int, secs float64) *Clip {
	r := rand.New(rand.NewPCG(seed, uint64(len(cond))*7919+uint64(cond[0])*31+uint64(cond[len(cond)-1])))
	kind := kinds[int(seed)%len(kinds)]
	switch cond {
	case "bright":
		kind = "belt"
	case "high":
		kind = "high"
	case "creaky":
		kind = []string{"bass", "tenor", "alto"}[int(seed)%3]
	}
	c := &Clip{Name: cond, Rate: rate}
	n := int(secs*1000) * rate / 1000
	if len(cond) > 6 && cond[:6] == "nobody" {
		c.F0 = make([]float64, int(secs*1000))
		x := make([]float64, n)
		addNoise(x, noiseShaped(r, n, rate, 60, 1500), math.Pow(10, -(50+20*r.Float64())/20))
		switch cond[7:] {
		case "hum":
			addNoise(x, hum(r, n, rate, math.Pow(10, -(30+20*r.Float64())/20)), 1)
		case "breath":
			w := noiseShaped(r, n, rate, 500, 4000)
			p := r.Float64() * 6
			for i := range x {
				e := math.Max(0, math.Sin(2*math.Pi*float64(i)/float64(rate)/1.7+p))
				x[i] += .02 * e * e * w[i]
			}
		case "typing":
			for t := .2; t < secs-.3; t += .06 + .25*r.Float64() {
				i0 := int(t * float64(rate))
				f := 300 + 3500*r.Float64()
				d := (.003 + .01*r.Float64()) * float64(rate)
				a := .02 + .15*r.Float64()
				for i := 0; i < int(8*d) && i0+i < n; i++ {
					x[i0+i] += a * math.Exp(-float64(i)/d) * (.5*math.Sin(2*math.Pi*f*float64(i)/float64(rate)) + .5*r.NormFloat64())
				}
			}
		case "talker":
			v := newVoice(r, []string{"bass", "tenor", "alto"}[r.IntN(3)])
			m := talk(r, v, secs)
			y := reverb(r, sing(r, v, m, rate), rate, .6, -6)
			l := 0.0
			for i := range y { // far away: dull
				l += .25 * 44100 / float64(rate) * (y[i] - l)
				x[i] += l * math.Pow(10, -(22+8*seedFrac(seed))/20)
			}
		case "prompt":
			y, known := drone(r, n, rate, 130+200*r.Float64(), math.Pow(10, -(25+15*r.Float64())/20))
			for i := range y {
				t := float64(i) / float64(rate)
				if math.Mod(t, 3) > 1.5 {
					y[i] = 0
				}
			}
			addNoise(x, y, 1)
			c.Known = known
		}
		quantise(x)
		c.X = x
		return c
	}
	v := newVoice(r, kind)
	switch cond {
	case "breathy":
		v.breath = .25 + .35*r.Float64()
		v.tilt -= 6
		v.model = 0
	case "creaky":
		v.fry = .05 + .25*r.Float64()
		v.jitter = .004 + .012*r.Float64()
		v.shimmer = .1
	}
	if r.Float64() < .15 && cond != "bright" {
		v.h2 = 6 + 6*r.Float64()
	}
	m := melody(r, v, secs)
	x := sing(r, v, m, rate)
	c.F0, c.Notes = m.truth, m.notes
	floor := math.Pow(10, -(70+10*r.Float64())/20)
	addNoise(x, noiseShaped(r, n, rate, 60, 2000), floor)
	snr := func(db float64) {
		lo, hi := 200+600*r.Float64(), 2500+4000*r.Float64()
		addNoise(x, noiseShaped(r, n, rate, lo, hi), .1*math.Pow(10, -db/20))
	}
	switch cond {
	case "noise40":
		snr(40)
	case "noise20":
		snr(20)
	case "noise10":
		snr(10)
	case "noise0":
		snr(0)
	case "hum":
		addNoise(x, hum(r, n, rate, .1*math.Pow(10, -(15+15*r.Float64())/20)), 1)
	case "room":
		x = reverb(r, x, rate, .3*math.Exp2(1.6*r.Float64()), 9*r.Float64())
	case "smallmic":
		var h, p, l float64
		a := math.Exp(-2 * math.Pi * (250 + 150*r.Float64()) / float64(rate))
		b := 1 - math.Exp(-2*math.Pi*3500/float64(rate))
		for i := range x {
			w := x[i]
			h = a * (h + w - p)
			p = w
			l += b * (h - l)
			x[i] = math.Tanh(4*l)/4 + .0008*r.NormFloat64()
		}
	case "quiet":
		g := math.Pow(10, -(25+10*r.Float64())/20)
		for i := range x {
			x[i] *= g
		}
		addNoise(x, noiseShaped(r, n, rate, 60, 2000), math.Pow(10, -80./20))
	case "drone":
		root := 110 + 110*r.Float64()
		if len(m.notes) > 0 && seed%3 > 0 { // as a rule one sings with it
			root = m.notes[r.IntN(len(m.notes))].F0
			if seed%3 == 1 {
				root *= 2. / 3
			}
			for root > 220 {
				root /= 2
			}
		}
		y, known := drone(r, n, rate, root, .1*math.Pow(10, -18./20))
		addNoise(x, y, 1)
		c.Known = known
	}
	for i := range x {
		x[i] = math.Max(-1, math.Min(1, x[i]))
	}
	quantise(x)
	c.X = x
	return c
}

func seedFrac(s uint64) float64 { return float64(s%5) / 4 }

func talk(r *rand.Rand, v voice, secs float64) melodyOut {
	n := int(secs * 1000)
	m := melodyOut{f0: make([]float64, n), amp: make([]float64, n), truth: make([]float64, n), vow: make([][3]float64, n), fric: make([]float64, n), nasal: make([]float64, n), loud: make([]float64, n)}
	base := v.lo * 1.5
	t := 100
	for t < n-500 {
		d := 80 + r.IntN(180)
		p0, p1 := math.Exp2(.3*r.NormFloat64()), math.Exp2(.3*r.NormFloat64())
		vow := vowels[r.IntN(len(vowels))]
		for i := 0; i < d; i++ {
			q := float64(i) / float64(d)
			m.f0[t+i] = base * (p0 + (p1-p0)*q)
			m.amp[t+i] = math.Sin(math.Pi * q)
			m.vow[t+i] = vow
		}
		t += d + 30 + r.IntN(120)
		if r.Float64() < .15 {
			t += 400
		}
	}
	for i := range m.vow {
		if m.vow[i][0] == 0 {
			m.vow[i] = vowels[0]
		}
	}
	return m
}

// Steady renders one steady note of the grid: half a second of a voice-like
// tone at f0 hertz starting at on seconds in a clip of secs, in white-ish noise
// at snr dB (+Inf none).
func Steady(f0, snr float64, seed uint64, rate int, on, secs float64) *Clip {
	r := rand.New(rand.NewPCG(seed, math.Float64bits(f0)))
	n := int(secs * float64(rate))
	c := &Clip{Name: "steady", Rate: rate, X: make([]float64, n), F0: make([]float64, int(secs*1000))}
	F := vowels[r.IntN(len(vowels))]
	tilt := -6 - 6*r.Float64()
	e := 0.0
	type hh struct{ g, p float64 }
	var hs []hh
	for h := 1; float64(h)*f0 < math.Min(8000, .45*float64(rate)); h++ {
		g := math.Pow(float64(h), tilt/6.02) * formantGain(float64(h)*f0, F, 1.05)
		hs = append(hs, hh{g, 2 * math.Pi * r.Float64()})
		e += g * g / 2
	}
	q := .1 / math.Sqrt(e)
	i0 := int(on * float64(rate))
	for i := i0; i < n; i++ {
		t := float64(i-i0) / float64(rate)
		a := math.Min(1, t/.005)
		s := 0.0
		w := 2 * math.Pi * f0 * t
		for h, k := range hs {
			s += k.g * math.Sin(float64(h+1)*w+k.p)
		}
		c.X[i] = q * a * s
	}
	for i := range c.F0 {
		if float64(i)/1000 >= on {
			c.F0[i] = f0
		}
	}
	if !math.IsInf(snr, 1) {
		g := .1 * math.Pow(10, -snr/20)
		for i := range c.X {
			c.X[i] += g * r.NormFloat64()
		}
	}
	return c
}
