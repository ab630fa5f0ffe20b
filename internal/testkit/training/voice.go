package training

import (
	"math"
	"math/rand/v2"
)

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
