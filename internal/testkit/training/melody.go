package training

import (
	"math"
	"math/rand/v2"
)

// curves are what a voice is told to do, one value a millisecond.
type curves struct {
	f0, amp, truth []float64
	notes          []Note
	vow            [][3]float64
	fric           []float64 // amplitude of the noise of consonants
	nasal          []float64
	loud           []float64 // of the note
}

func newCurves(n int) curves {
	return curves{f0: make([]float64, n), amp: make([]float64, n), truth: make([]float64, n), vow: make([][3]float64, n), fric: make([]float64, n), nasal: make([]float64, n), loud: make([]float64, n)}
}

// How a note begins.
const (
	slurred = iota
	stopped
	hissed
	nasal
	apart    // after a short rest
	farApart // after a long one
	hissedToo
	begins
)

// gesture is how one note is sung.
type gesture struct {
	begin            int // how
	start, length    int // ms
	target, previous float64
	attack, release  float64 // ms
	scoop, scoopTime float64 // octaves, ms
	fall             float64
	glide            float64 // ms
	phase, swing     float64 // of the vibrato
	loud             float64
	vowel            [3]float64
}

func melody(r *rand.Rand, v voice, secs float64) curves {
	n := int(secs * 1000)
	m := newCurves(n)
	lo, hi := math.Log2(v.lo), math.Log2(v.hi)
	cur := lo + (hi-lo)*(.2+.6*r.Float64())
	t := 200 + r.IntN(400)
	prev := 0.0
	lastEnd := -1000
	vow := vowels[r.IntN(len(vowels))]
	drift := 0.0
	for t < n-1200 {
		cur += step(r, cur, lo, hi)
		drift += .01 * r.NormFloat64() / 12
		g := gesture{target: cur + drift + .1*r.NormFloat64()/12, previous: prev}
		g.length = 220 + int(650*r.Float64()*r.Float64()+100*r.Float64())
		g.begin = r.IntN(begins)
		if lastEnd < t-50 && g.begin == slurred {
			g.begin = apart
		}
		g.start = t + m.consonant(r, g.begin, t)
		if r.Float64() < .8 {
			vow = vowels[r.IntN(len(vowels))]
		}
		if g.start+g.length >= n-300 {
			break
		}
		g.vowel = vow
		g.draw(r, v)
		m.sing(g, v)
		m.notes = append(m.notes, Note{float64(g.start) / 1000, float64(g.start+g.length) / 1000, math.Exp2(g.target)})
		prev = g.target
		t = g.start + g.length
		lastEnd = t
		if g.begin != slurred && r.Float64() < .1 {
			prev = 0
		}
		// legato next notes overlap the release
		if r.Float64() < .35 {
			t -= int(g.release)
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

// step draws the way to the next note, in octaves, within the range.
func step(r *rand.Rand, cur, lo, hi float64) float64 {
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
	return step
}

// consonant puts what comes before the vowel at t, and returns for how long.
func (m *curves) consonant(r *rand.Rand, begin, t int) (ms int) {
	n := len(m.f0)
	switch begin {
	case stopped:
		ms = 25 + r.IntN(50)
		start := t + ms
		for i := 0; i < 10 && start-12+i < n; i++ {
			m.fric[start-12+i] = .1 * math.Exp(-float64(i)/4)
		}
	case hissed, hissedToo:
		d := 50 + r.IntN(70)
		a := .02 + .1*r.Float64()
		for i := 0; i < d && t+i < n; i++ {
			m.fric[t+i] = a * math.Sin(math.Pi*float64(i)/float64(d))
		}
		ms = d - 10
	case apart:
		ms = 60 + r.IntN(120)
	case farApart:
		ms = 250 + r.IntN(700)
	}
	return ms
}

// draw draws the shape of a note.
func (g *gesture) draw(r *rand.Rand, v voice) {
	g.attack = float64(12 + r.IntN(50))
	g.release = float64(30 + r.IntN(80))
	g.scoopTime = 1.0
	if r.Float64() < .45 {
		g.scoop = -(50 + 200*r.Float64()) / 1200
		g.scoopTime = 30 + 50*r.Float64()
	}
	if r.Float64() < .3 {
		g.fall = -(50 + 150*r.Float64()) / 1200
	}
	g.glide = 25 + 60*r.Float64()
	g.phase = 2 * math.Pi * r.Float64()
	g.swing = v.vibC * (.6 + .6*r.Float64()) / 1200
	if g.length < 350 {
		g.swing *= .3
	}
	g.loud = .5 + .5*r.Float64()
}

// sing puts a note into the curves.
func (m *curves) sing(g gesture, v voice) {
	legato := g.begin == slurred || g.begin == nasal
	for i := range g.length {
		j := g.start + i
		x := float64(i)
		grown := math.Min(1, math.Max(0, (x-120)/200))
		p := g.target + g.swing*grown*math.Sin(2*math.Pi*v.vibHz*x/1000+g.phase)
		if legato && g.previous > 0 {
			p += (g.previous - g.target) / (1 + math.Exp((x-g.glide/2)/(g.glide/8)))
		} else if g.scoop != 0 {
			p += g.scoop * math.Exp(-x/g.scoopTime)
		}
		e := float64(g.length-1-i) / 120
		if g.fall != 0 && e < 1 {
			p += g.fall * (1 - e) * (1 - e)
		}
		m.f0[j] = math.Exp2(p)
		a := g.loud * (.8 + .2*math.Sin(math.Pi*x/float64(g.length)))
		if !legato || g.previous == 0 {
			a *= 1 - math.Exp(-x/g.attack*2.3)
		} else if g.begin == nasal {
			d := math.Exp(-(x - 30) * (x - 30) / 1200)
			m.nasal[j] = d
			a *= 1 - .6*d
		}
		if f := float64(g.length - i); f < g.release {
			a *= f / g.release
		}
		m.amp[j] = math.Max(a, m.amp[j])
		m.loud[j] = g.loud
		m.vow[j] = g.vowel
	}
}

// talk is somebody who talks.
func talk(r *rand.Rand, v voice, secs float64) curves {
	n := int(secs * 1000)
	m := newCurves(n)
	base := v.lo * 1.5
	t := 100
	for t < n-500 {
		d := 80 + r.IntN(180)
		p0, p1 := math.Exp2(.3*r.NormFloat64()), math.Exp2(.3*r.NormFloat64())
		vow := vowels[r.IntN(len(vowels))]
		for i := range d {
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
