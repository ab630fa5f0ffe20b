package training

import (
	"math"
	"math/rand/v2"

	"singback/internal/synth"
)

// Tones are the kinds of test tone that MakeTone makes: what a tuning fork, a
// signal generator or a cheap loudspeaker leaves of a voice.
var Tones = []string{"sine", "missing", "second", "equal", "odd", "few", "saw", "low", "peak", "clicks"}

// MakeTone makes short steady, gliding or swinging tones of one kind with
// pauses between them, at all pitches from 65 to 1400 Hz, some from the very
// first sample on.
func MakeTone(kind string, seed uint64, rate int, seconds float64) *Clip {
	r := rand.New(rand.NewPCG(seed, 0x746f6e65))
	n := int(seconds * float64(rate))
	c := &Clip{Name: "tone-" + kind, Rate: rate, X: make([]float64, n), F0: make([]float64, int(seconds*1000)+1)}
	level := math.Pow(10, -(10+25*r.Float64())/20)
	at := 0.0
	if seed%2 == 1 {
		at = 0.1 + 0.4*r.Float64()
	}
	for at < seconds-0.2 {
		length := math.Min(seconds-at-0.05, 0.15+0.9*r.Float64()*r.Float64())
		f := 65 * math.Exp2(4.42*r.Float64())
		switch kind {
		case "missing":
			f = 65 * math.Exp2(3.6*r.Float64())
		case "low":
			f = 64 * math.Exp2(1.2*r.Float64())
		case "clicks":
			every := int((0.05 + 0.3*r.Float64()) * float64(rate))
			die := (0.0002 + 0.002*r.Float64()) * float64(rate)
			for i := int(at * float64(rate)); i < int((at+length)*float64(rate)); i++ {
				k := i % every
				c.X[i] += 4 * level * math.Exp(-float64(k)/die) * r.NormFloat64()
				if k < 2 {
					c.X[i] += 6 * level
				}
			}
			at += length
			continue
		}
		amps := partials(r, kind)
		glide, swing, speed := 0.0, 0.0, 5+2*r.Float64()
		switch r.IntN(4) {
		case 0:
			glide = 600 * (2*r.Float64() - 1)
		case 1:
			swing = 70 * r.Float64()
		}
		phase := 2 * math.Pi * r.Float64()
		fade := 0.002 + 0.01*r.Float64()
		first := int(at * float64(rate))
		for i := 0; i < int(length*float64(rate)); i++ {
			t := float64(i) / float64(rate)
			hz := f * math.Exp2((glide*t+swing*math.Sin(2*math.Pi*speed*t))/1200)
			phase += 2 * math.Pi * hz / float64(rate)
			g := level * math.Min(1, math.Min(t, length-t)/fade)
			s := 0.0
			for h, a := range amps {
				if float64(h+1)*hz < 0.45*float64(rate) {
					s += a * math.Sin(float64(h+1)*phase+float64(h*h))
				}
			}
			c.X[first+i] += g * s
			if ms := int((at + t) * 1000); ms < len(c.F0) {
				c.F0[ms] = hz
			}
		}
		at += length
		if r.IntN(3) > 0 {
			at += 0.05 + 0.4*r.Float64()
		}
	}
	noise := level * math.Pow(10, -(15+45*r.Float64())/20)
	for i := range c.X {
		c.X[i] += noise * r.NormFloat64()
	}
	return c
}

// partials draws amplitudes, of unit power.
func partials(r *rand.Rand, kind string) []float64 {
	a := make([]float64, 10)
	slope := 3 + 9*r.Float64() // dB an octave
	for h := range a {
		a[h] = math.Pow(10, -slope*math.Log2(float64(h+1))/20)
	}
	switch kind {
	case "sine":
		a = a[:1]
	case "missing", "low":
		a[0] = 0
		if kind == "low" && r.IntN(2) == 0 {
			a[0], a[1] = 0.3, 3*a[1]
		}
	case "second":
		a[1] *= math.Pow(10, (6+12*r.Float64())/20)
	case "peak": // a formant on one harmonic
		a[1+r.IntN(4)] *= math.Pow(10, (6+16*r.Float64())/20)
	case "equal":
		for h := range a {
			a[h] = 1
		}
	case "odd":
		for h := 1; h < len(a); h += 2 {
			a[h] = 0
		}
	case "few":
		a = a[:2+r.IntN(3)]
	}
	sum := 0.0
	for _, v := range a {
		sum += v * v / 2
	}
	for h := range a {
		a[h] /= math.Sqrt(sum)
	}
	return a
}

// MakePrompt makes the program's own keyboard notes coming back from a room
// into the microphone, with nobody singing; Known has their partials.
func MakePrompt(seed uint64, rate int, seconds float64) *Clip {
	r := rand.New(rand.NewPCG(seed, 0x70726f6d))
	n := int(seconds * float64(rate))
	c := &Clip{Name: "prompt", Rate: rate, F0: make([]float64, int(seconds*1000)+1)}
	var p synth.Phrase
	for at := 0.6 * r.Float64(); at < seconds-0.5; at += 0.3 + 1.2*r.Float64() {
		hz := 90 * math.Exp2(3*r.Float64())
		p = append(p, synth.Sound{Hz: hz, Start: at, Duration: 0.4 + r.Float64(), Steady: r.IntN(4) == 0})
		for h := 1; h <= 10; h++ {
			c.Known = append(c.Known, float64(h)*hz)
		}
	}
	k := synth.NewKeyboard(rate)
	k.Level = -6 - 30*r.Float64()
	c.X = k.Render(p)
	if r.IntN(3) > 0 {
		c.X = synth.Room{RT60: 0.2 + 0.7*r.Float64(), DirectDB: 10 * (r.Float64() - 0.5)}.Reverb(c.X, rate, seed)
	}
	c.X = append(c.X, make([]float64, n)...)[:n]
	floor := math.Pow(10, -(50+30*r.Float64())/20)
	for i, v := range synth.Pink(n, seed+1) {
		c.X[i] += floor * v
	}
	return c
}
