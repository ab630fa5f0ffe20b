package pitch

import "math"

// What the harmonics of a candidate say. Where no other source stands, the constants
// were chosen by trial: see evidence.go.
const (
	combHarmonics = 19 // that are looked at: to 4.9 kHz of a voice of 258 Hz
	combValleys   = 5  // the first: what lies in them is taken for noise
	firstAbove    = 6  // harmonics that are compared with the noise
	mostAbove     = 4  // decades that they are above it, at most
	harmonicReach = 2  // bins to either side that belong to a harmonic
)

// primes are the harmonics, with the first, whose comb stands on few partials of a
// sound an octave or a twelfth above its pitch (Camacho & Harris 2008, J. Acoust. Soc.
// Am. 124:1638; so are the weights 1/√h).
var primes = [...]int{1, 2, 3, 5, 7, 11, 13, 17, 19}

// comb reads S at a candidate of f hertz: harmonics against the valleys between them,
// each weighed by 1/√h. It tells it of all harmonics, of the prime ones and of the odd
// ones from the third on, the first harmonic over what is a mean one, and the noise in
// the valleys.
func (e *evidence) comb(f float64) (all, prime, odd, first float64, noise float64) {
	top := float64(e.bins-2) * e.hz
	h := 1
	var num, den, pnum, pden, onum, oden, nv float64
	v0 := e.sAt(.5 * f)
	pi := 0
	for ; float64(h)*f < top && h <= combHarmonics; h++ {
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
		if h <= combValleys {
			nv += v1
			noise = nv / float64(h)
		}
		v0 = v1
	}
	first /= (num/float64(h) + nothingS)
	return num / (den + nothingS), pnum / (pden + nothingS), onum / (oden + nothingS), first, noise
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
	num, den := 0.0, nothingS
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

// invSqrt is 1/√i of whole numbers.
var invSqrt = func() (t [32]float64) {
	for i := 1; i < len(t); i++ {
		t[i] = 1 / math.Sqrt(float64(i))
	}
	return
}()

// explained tells how far a candidate's first six harmonics stand above the
// noise tracked there (log10 of the mean ratio of powers), which share of all
// power above the noise its harmonics hold, and which share of the power at them
// lies where the program itself sounds.
func (e *evidence) explained(f float64) (above, share, own float64) {
	n, ratio, held := 0, nothing, 0.0
	ours, all := 0.0, nothing
	for h := 1; h <= combHarmonics; h++ {
		k := int(float64(h)*f/e.hz + .5)
		if k+harmonicReach >= e.bins {
			break
		}
		held += e.lin[k-2] + e.lin[k-1] + e.lin[k] + e.lin[k+1] + e.lin[k+2]
		if h <= firstAbove {
			ratio += e.pow[k] / (e.noise[k] + nothing)
			n++
		}
		if e.sounds {
			for j := k - harmonicReach; j <= k+harmonicReach; j++ {
				all += e.pow[j]
				if e.known[j] {
					ours += e.pow[j]
				}
			}
		}
	}
	return min(mostAbove, math.Log10(ratio/float64(max(1, n)))), min(1, held/e.sumL), ours / all
}
