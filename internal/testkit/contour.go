package testkit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// Contour is the pitch of one sung note or of what is none, in cents about a
// target, every millisecond.
type Contour struct {
	Name  string
	Cents []float64
	// From and To are where it is held, in seconds; both 0 where it is never
	// held. Straight is Cents without the vibrato.
	From, To float64
	Straight []float64
}

// Centre is the mean of the first so many seconds where it is held, vibrato,
// slide and fall aside, in cents.
func (c Contour) Centre(seconds float64) float64 {
	sum, n := 0.0, 0
	for i := int(1000 * c.From); i < int(1000*math.Min(seconds, c.To)); i++ {
		sum += c.Straight[i]
		n++
	}
	return sum / float64(n)
}

// Scatter is the standard deviation from one second to another, in cents.
func (c Contour) Scatter(from, to float64) float64 {
	x := c.Cents[max(0, int(1000*from)):min(len(c.Cents), int(1000*to))]
	mean, squares := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		squares += (v - mean) * (v - mean)
	}
	return math.Sqrt(squares / math.Max(1, float64(len(x))))
}

// Seconds is the length.
func (c Contour) Seconds() float64 { return float64(len(c.Cents)) / 1000 }

// At is the distance from the target in cents at t seconds.
func (c Contour) At(t float64) float64 {
	x := math.Max(0, math.Min(1000*t, float64(len(c.Cents)-1)))
	i := min(int(x), len(c.Cents)-2)
	return c.Cents[i] + (x-float64(i))*(c.Cents[i+1]-c.Cents[i])
}

// Around is the contour as a fundamental about hz.
func (c Contour) Around(hz float64) Curve {
	return func(t float64) float64 { return hz * math.Exp2(c.At(t)/1200) }
}

// between draws evenly from low to high.
func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

// way goes from 1 at x = 0 to 0 at x = 1, evenly, rounded at both ends, or
// quickly first.
func way(kind int, x float64) float64 {
	x = math.Max(0, math.Min(1, x))
	switch kind {
	case 0:
		return 1 - x
	case 1:
		return .5 + .5*math.Cos(math.Pi*x)
	}
	return (1 - x) * (1 - x)
}

// HeldContour draws a note that is centred and held for at least half a second:
// with vibrato of 10 to 120 cents and 4 to 8 Hz that sets in after 0 to 1 s and
// grows in 0 to 0.6 s, evenly or not; with drift, a scoop, a slide of 100 to 700
// cents in 0.1 to 0.6 s before and a fall like that after it.
func HeldContour(r *rand.Rand) Contour {
	hold := between(r, .5, 2.2)
	var slide, slideTime, fall, fallTime float64
	sign := func() float64 { return float64(2*r.IntN(2) - 1) }
	before, after := r.IntN(3), r.IntN(3)
	if r.Float64() < .55 {
		slide, slideTime = sign()*between(r, 100, 700), between(r, .1, .6)
	} else if r.Float64() < .5 {
		slide, slideTime = -between(r, 30, 150), between(r, .05, .15) // a scoop
	}
	if r.Float64() < .45 {
		fall, fallTime = sign()*between(r, 100, 700), between(r, .1, .6)
	}
	drift := 0.0
	if r.Float64() < .4 {
		drift = sign() * between(r, 3, 20) // cents a second
	}
	wander := between(r, 0, 5)
	var wHz, wAt [3]float64
	for i := range wHz {
		wHz[i], wAt[i] = between(r, .2, .8), between(r, 0, 2*math.Pi)
	}
	var extent, rate, onset, ramp, uneven float64
	if r.Float64() < .85 {
		extent, rate = between(r, 10, 120), between(r, 4, 8)
		ramp = between(r, 0, .6)
		if r.Float64() < .2 {
			ramp = 0
		}
		if r.Float64() < .75 {
			onset = between(r, 0, 1)
		}
		if r.Float64() < .4 {
			uneven = between(r, .02, .12)
		}
	}
	if onset > 0 && onset < .5 {
		hold = math.Max(hold, onset+.4) // two cycles of any vibrato can be told
	}
	c := Contour{From: slideTime, To: slideTime + hold}
	c.Name = fmt.Sprintf("hold %.2f s, slide %.0f c in %.2f s (%d), fall %.0f c in %.2f s (%d), drift %.0f c/s, wander %.1f c, vibrato ±%.0f c at %.1f Hz after %.2f s in %.2f s, uneven %.2f",
		hold, slide, slideTime, before, fall, fallTime, after, drift, wander, extent, rate, onset, ramp, uneven)
	n := int(1000 * (slideTime + hold + fallTime))
	phase, r1, e1 := between(r, 0, 2*math.Pi), 0.0, 0.0
	for i := range n {
		t := float64(i) / 1000
		held := t - slideTime
		v := drift * (held - hold/2)
		for j := range wHz {
			v += wander * math.Sqrt(2./3) * math.Sin(wAt[j]+2*math.Pi*wHz[j]*t)
		}
		if held < 0 {
			v += slide * way(before, t/slideTime)
		} else if held > hold {
			v += fall * (1 - way(after, (held-hold)/fallTime))
		}
		c.Straight = append(c.Straight, v)
		// Rate and extent go their own way, with a memory of 0.3 s.
		r1 += -r1/300 + math.Sqrt(2./300)*r.NormFloat64()
		e1 += -e1/300 + math.Sqrt(2./300)*r.NormFloat64()
		phase += 2 * math.Pi * math.Max(math.Min(4, rate), math.Min(8, rate*(1+uneven*r1))) / 1000
		if x := t - slideTime - onset; extent > 0 && x > 0 {
			g := 1.0
			if ramp > 0 {
				g = math.Min(1, x/ramp)
			}
			v += extent * g * math.Max(.3, math.Min(1.3, 1+2*uneven*e1)) * math.Sin(phase)
		}
		c.Cents = append(c.Cents, v)
	}
	return c
}

// WanderingContour draws what has no pitch of its own: an even drift, a glide
// throughout, a random walk, a slow waver, an uneven one, two pitches in turn, a
// trill. It scatters by 36 cents or more, 120 ms at either end aside, and
// stays nowhere within ±30 cents for half a second (a drift: ±20).
func WanderingContour(r *rand.Rand) Contour {
	for {
		c := wandering(r)
		width := 60.0
		if strings.HasPrefix(c.Name, "drift") {
			width = 40
		}
		if c.Scatter(.12, c.Seconds()-.12) < 36 || stays(c.Cents, 500, width) {
			continue
		}
		mean := 0.0
		for _, v := range c.Cents {
			mean += v / float64(len(c.Cents))
		}
		for i := range c.Cents {
			c.Cents[i] -= mean
		}
		return c
	}
}

// stays tells whether n values in a row lie within the given width.
func stays(x []float64, n int, width float64) bool {
	for i := 0; i+n <= len(x); i += 5 {
		low, high := math.Inf(1), math.Inf(-1)
		for j := i; j < i+n; j += 5 {
			low, high = math.Min(low, x[j]), math.Max(high, x[j])
		}
		if high-low <= width {
			return true
		}
	}
	return false
}

func wandering(r *rand.Rand) Contour {
	var c Contour
	seconds := between(r, 1.2, 3)
	n := int(1000 * seconds)
	sign := float64(2*r.IntN(2) - 1)
	switch r.IntN(7) {
	case 0:
		speed := sign * between(r, 60, 300)
		c.Name = fmt.Sprintf("drift of %.0f c/s", speed)
		for i := range n {
			c.Cents = append(c.Cents, speed*float64(i)/1000)
		}
	case 1:
		size, kind := sign*between(r, 200, 900), r.IntN(3)
		c.Name = fmt.Sprintf("glide of %.0f c in %.1f s (%d)", size, seconds, kind)
		for i := range n {
			c.Cents = append(c.Cents, size*way(kind, float64(i)/float64(n)))
		}
	case 2:
		step := between(r, 40, 200)
		c.Name = fmt.Sprintf("random walk of %.0f c/√s", step)
		x, y := 0.0, 0.0
		for range n {
			x += step * math.Sqrt(.001) * r.NormFloat64()
			y += (x - y) / 40 // a voice does not jump
			c.Cents = append(c.Cents, y)
		}
	case 3:
		hz, size, at := between(r, .4, 3), between(r, 55, 150), between(r, 0, 2*math.Pi)
		c.Name = fmt.Sprintf("waver of ±%.0f c at %.1f Hz", size, hz)
		for i := range n {
			c.Cents = append(c.Cents, size*math.Sin(at+2*math.Pi*hz*float64(i)/1000))
		}
	case 4: // of no rate: slower and faster swings, without a rule
		size, x, y := between(r, 60, 120), 0.0, 0.0
		memory := between(r, 80, 250)
		c.Name = fmt.Sprintf("uneven waver, ±%.0f c, memory %.0f ms", size, memory)
		for range n {
			x += -x/memory + math.Sqrt(2/memory)*r.NormFloat64()
			y += (x - y) / 40
			c.Cents = append(c.Cents, size*y)
		}
	default:
		name, size, stay := "two pitches", between(r, 75, 220), between(r, .13, .4)
		move := between(r, .03, .06)
		if r.IntN(2) == 0 {
			name, size, stay = "trill", 100, between(r, .07, .17)
			move = between(r, .2, .4) * stay
		}
		c.Name = fmt.Sprintf("%s %.0f c apart, %.3f s each, %.3f s between", name, size, stay, move)
		for i := range n {
			turn := math.Mod(float64(i)/1000/stay, 2)
			v := 1 - way(1, math.Mod(turn, 1)*stay/move)
			if turn >= 1 {
				v = 1 - v
			}
			c.Cents = append(c.Cents, sign*size*v)
		}
	}
	return c
}
