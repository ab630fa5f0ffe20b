package hardset

import (
	"math"
	"math/rand/v2"
)

// shutter is what lets nothing through where it takes nobody to sing.
type shutter int8

const (
	scissors shutter = iota // an editor's cuts: exact zeros
	phone                   // a phone's noise gate: exact zeros
	codec                   // a codec that sends comfort noise instead
	shutters
)

// Lengths in seconds of what a gate and a codec decide on at once: common practice.
const (
	gateBlock  = 0.010
	codecFrame = 0.020
)

// Levels are those of the voice, in dB: the share of a take's voiced samples.
const (
	gateUnder  = 12.0 // how far under the voice a gate's threshold lies at least,
	gateRange  = 14.0 // and how much farther at most
	hysteresis = 4.0  // how far under that the level falls before it shuts
)

// shut applies s to x, what the microphone heard of the take, and gives the gain
// of every sample: 0 where nothing of x is left.
func (t *take) shut(rng *rand.Rand, s shutter, x []float64, rate int) {
	switch s {
	case scissors:
		t.gain = t.cuts(rng, rate)
	case phone:
		hold := [...]float64{0.02, 0.06, 0.15, 0.3}[rng.IntN(4)]
		attack := [...]float64{0, 0.002, 0.01}[rng.IntN(3)]
		release := [...]float64{0, 0.005, 0.04}[rng.IntN(3)]
		open := t.opens(rng, x, int(gateBlock*float64(rate)), hold, rate)
		t.gain = ramps(open, attack, release, rate)
	case codec:
		hold := codecFrame * float64(2+rng.IntN(8))
		t.gain = ramps(t.opens(rng, x, int(codecFrame*float64(rate)), hold, rate), 0, 0, rate)
	}
	for i, g := range t.gain {
		x[i] *= g
	}
	if s == codec {
		comfort(rng, x, t.gain, rate)
	}
	for i := range t.notes { // as they are heard
		n := &t.notes[i]
		from, to := int(n.Onset*float64(rate)), min(len(x), int(n.Offset*float64(rate)))
		for from < to-1 && t.gain[from] == 0 {
			from++
		}
		for to > from+1 && t.gain[to-1] == 0 {
			to--
		}
		n.Onset, n.Offset = max(n.Onset, float64(from)/float64(rate)), min(n.Offset, float64(to)/float64(rate))
	}
}

// cuts is the gain where an editor cuts: between notes that have a rest between
// them, at the voice's very ends, up to 30 ms outside the sound, or 10 to 40 ms within the voice.
func (t *take) cuts(rng *rand.Rand, rate int) []float64 {
	open := make([]bool, len(t.x))
	// side is where a cut lies that is made at the sound's end or at the voice's, with
	// the sound to the given side.
	side := func(sound, voice, to int) int {
		switch rng.IntN(3) {
		case 0:
			return voice
		case 1:
			return sound - to*int(0.03*rng.Float64()*float64(rate))
		}
		return voice + to*int((0.01+0.03*rng.Float64())*float64(rate))
	}
	for from := 0; from < len(t.x); {
		if t.x[from] == 0 && t.f0[from] == 0 {
			from++
			continue
		}
		to, last, sings, sang := from, from, -1, from
		for ; to < len(t.x) && to-last < rate/50; to++ {
			if t.x[to] != 0 || t.f0[to] != 0 {
				last = to
			}
			if t.f0[to] != 0 {
				sang = to
				if sings < 0 {
					sings = to
				}
			}
		}
		a, b := side(from, sings, 1), side(last+1, sang+1, -1)
		for i := max(0, a); i < min(len(t.x), b); i++ {
			open[i] = true
		}
		from = to
	}
	ramp := [...]float64{0, 0.001, 0.005}[rng.IntN(3)]
	return ramps(open, ramp, ramp, rate)
}

// opens tells where a gate is open that measures the level of x block by block.
// It opens with the block that is loud and shuts after the hold.
func (t *take) opens(rng *rand.Rand, x []float64, block int, hold float64, rate int) []bool {
	voice, n := 0.0, 0
	for i, f := range t.f0 {
		if f > 0 {
			voice += x[i] * x[i]
			n++
		}
	}
	threshold := voice / float64(max(n, 1)) * math.Pow(10, -(gateUnder+gateRange*rng.Float64())/10)
	if n == 0 { // nobody sings: what is there opens it now and then
		for _, v := range x {
			voice += v * v
		}
		threshold = voice / float64(len(x))
	}
	open := make([]bool, len(t.x))
	left := 0
	first := rng.IntN(block)
	for from := -first; from < len(open); from += block {
		a, b := max(0, from), min(len(open), from+block)
		power := 0.0
		for _, v := range x[a:b] {
			power += v * v / float64(b-a)
		}
		switch {
		case power > threshold, left > 0 && power > threshold*math.Pow(10, -hysteresis/10):
			left = int(math.Round(hold*float64(rate)/float64(block))) + 1
		case left > 0:
			left--
		}
		for i := a; i < b; i++ {
			open[i] = left > 0
		}
	}
	return open
}

// ramps is the gain of what opens and shuts within the given seconds.
func ramps(open []bool, attack, release float64, rate int) []float64 {
	gain := make([]float64, len(open))
	up, down := 1/max(1, attack*float64(rate)), 1/max(1, release*float64(rate))
	g := 0.0
	for i, o := range open {
		if o {
			g = min(1, g+up)
		} else {
			g = max(0, g-down)
		}
		gain[i] = g
	}
	return gain
}

// comfort fills what is shut with noise whose level and spectrum are renewed every
// few frames, of −75 to −55 dBFS: what RFC 3389 sends, with two coefficients.
func comfort(rng *rand.Rand, x, gain []float64, rate int) {
	level := -75 + 20*rng.Float64()
	frame := int(codecFrame * float64(rate))
	var a1, a2, y1, y2, size float64
	for i := range x {
		if i%(8*frame) == 0 {
			k1, k2 := -0.9+0.5*rng.Float64(), -0.2+0.5*rng.Float64() // reflection coefficients
			a1, a2 = k1*(1+k2), k2
			size = math.Pow(10, (level+1.5*rng.NormFloat64())/20) * math.Sqrt((1-k1*k1)*(1-k2*k2))
		}
		y := size*rng.NormFloat64() - a1*y1 - a2*y2
		y1, y2 = y, y1
		if gain[i] == 0 {
			x[i] = y
		}
	}
}

// cutTruth is the truth per millisecond of a take that was shut in places. See
// the package comment.
func (t take) cutTruth(rate int) []float64 {
	n := len(t.x)
	sum := make([]float64, n+1)
	sounds := make([]int, n+1)     // samples of voice that are let through
	lets := make([]int, n+1)       // samples that are let through
	energy := make([]float64, n+1) // of the voice that is let through
	whole := make([]float64, n+1)  // of all of it
	for i, f := range t.f0 {
		sum[i+1], sounds[i+1], lets[i+1] = sum[i], sounds[i], lets[i]
		v := t.x[i] * t.gain[i]
		energy[i+1], whole[i+1] = energy[i]+v*v, whole[i]+t.x[i]*t.x[i]
		if t.gain[i] > 0 {
			lets[i+1]++
			if f > 0 {
				sum[i+1] += f
				sounds[i+1]++
			}
		}
	}
	loud := t.loudness(whole, rate)
	side, margin, wide := int(meanOver/2*float64(rate)), int(quietAfter*float64(rate)), rate/100
	out := make([]float64, int(1000*float64(n)/float64(rate)))
	for k := range out {
		at := k * rate / 1000
		from, to := max(0, at-side), min(n, at+side+1)
		a, b := max(0, at-wide), min(n, at+wide+1)
		level := 10 * math.Log10((energy[b]-energy[a])/float64(max(1, lets[b]-lets[a]))+1e-30)
		switch {
		case t.gain[at] == 0, sounds[min(n, at+margin+1)] == sounds[max(0, at-margin)]:
			out[k] = 0
		case t.f0[at] > 0 && sounds[to]-sounds[from] == lets[to]-lets[from] && level >= loud[at]+sungAbove:
			out[k] = (sum[to] - sum[from]) / float64(sounds[to]-sounds[from])
		default:
			out[k] = open
		}
	}
	return out
}
