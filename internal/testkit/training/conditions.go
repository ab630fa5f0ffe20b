package training

import (
	"math"
	"math/rand/v2"
)

// Conditions in the order they are reported.
var Conditions = []string{"clean", "noise40", "noise20", "noise10", "noise0", "hum", "room", "smallmic", "quiet", "drone", "breathy", "creaky", "bright", "high", "gate", "nobody-room", "nobody-hum", "nobody-breath", "nobody-typing", "nobody-talker", "nobody-prompt", "nobody-gate"}

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
		c.X = c.nobody(r, cond[7:], seed, n, secs)
		quantise(c.X)
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
	if cond == "gate" {
		c.X = c.gate(r, x)
	} else {
		floor := math.Pow(10, -(70+10*r.Float64())/20)
		addNoise(x, noiseShaped(r, n, rate, 60, 2000), floor)
		c.X = c.spoil(r, cond, seed, x)
	}
	for i, v := range c.X {
		c.X[i] = math.Max(-1, math.Min(1, v))
	}
	quantise(c.X)
	return c
}

// nobody renders a sound in which nobody sings.
func (c *Clip) nobody(r *rand.Rand, kind string, seed uint64, n int, secs float64) []float64 {
	rate := c.Rate
	x := make([]float64, n)
	addNoise(x, noiseShaped(r, n, rate, 60, 1500), math.Pow(10, -(50+20*r.Float64())/20))
	switch kind {
	case "hum":
		addNoise(x, hum(r, n, rate, math.Pow(10, -(30+20*r.Float64())/20)), 1)
	case "breath", "gate":
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
	if kind == "gate" { // breath, clicks and what leaks through
		for t := .2; t < secs-.3; t += .1 + .8*r.Float64() {
			i0, f, d := int(t*float64(rate)), 100+1500*r.Float64(), (.004+.03*r.Float64())*float64(rate)
			a := .01 + .1*r.Float64()
			for i := 0; i < int(6*d) && i0+i < n; i++ {
				x[i0+i] += a * math.Exp(-float64(i)/d) * (.3*math.Sin(2*math.Pi*f*float64(i)/float64(rate)) + r.NormFloat64())
			}
		}
		x = c.gate(r, x)
	}
	return x
}

// spoil makes of a voice what a microphone in a room hears.
func (c *Clip) spoil(r *rand.Rand, cond string, seed uint64, x []float64) []float64 {
	rate, n := c.Rate, len(x)
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
		if len(c.Notes) > 0 && seed%3 > 0 { // as a rule one sings with it
			root = c.Notes[r.IntN(len(c.Notes))].F0
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
	return x
}

// seedFrac puts the talkers at five distances.
func seedFrac(s uint64) float64 { return float64(s%5) / 4 }
