package listen

import (
	"math"

	"singback/pitch"
)

// own is what the program sounds while the Ear listens, as the microphone hears it. The
// zero own is nothing.
type own struct {
	turns []turn
	rate  float64
	left  int     // samples of the block that were heard
	block int     // samples of a block
	level float64 // dBFS, of the loudest block; 0: none was heard to its end
}

// turn is a partial, which is looked for with a window.
type turn struct{ hz, re, im, cos, sin float64 }

// A block is long enough to tell partials 16 Hz apart, as in pitch.CompanyFinder. What
// comes as near to a partial as ownNear counts with it, and the partials that are
// looked for have all but a fiftieth of the power of a tone of the keyboard.
const (
	ownBlock = 0.25 // s
	ownNear  = 8.0  // Hz
	ownGate  = 5.0  // dB over it is silence: two tones that beat are 3 dB over their mean
)

// Sounding tells which partials, in hertz, the program sounds from now on; nil: none.
// What Pass hears then tells how loud the microphone hears them: of all that sounds
// there no more than that is the singer's. Heard is told all samples that are read.
func (e *Ear) Sounding(partials []float64, heard func(samples int64)) {
	rate := float64(e.src.SampleRate())
	e.own, e.heard = own{rate: rate, block: int(ownBlock * rate)}, heard
	for _, f := range partials {
		near := f >= rate/2
		for _, t := range e.own.turns {
			near = near || math.Abs(t.hz-f) < ownNear
		}
		if !near {
			sin, cos := math.Sincos(2 * math.Pi * f / rate)
			e.own.turns = append(e.own.turns, turn{hz: f, cos: cos, sin: sin})
		}
	}
}

// Over is the hearing of a singer while the program sounds, which the microphone hears at
// a level in dBFS; 0: it is not known.
func (h Hearing) Over(own float64) Hearing {
	if own != 0 && (h.Gate == 0 || h.Gate < own+ownGate) {
		h.Gate = math.Max(pitch.MinLevel, math.Min(0, own+ownGate))
	}
	return h
}

// Own is how loud the microphone heard what the program sounds, in dBFS: the loudest
// quarter of a second of it, at least pitch.MinLevel; 0: it was not measured.
func (e *Ear) Own() float64 { return e.own.level }

// Recall tells how loud that was heard before; 0: it is not known. What is heard now
// may only be louder.
func (e *Ear) Recall(level float64) { e.own.level = level }

func (e *Ear) tell(samples int64) {
	if e.heard != nil {
		e.heard(samples)
	}
}

// hear takes in samples of the moment before the singer is asked.
func (o *own) hear(samples []float64) {
	if len(o.turns) == 0 {
		return
	}
	for _, x := range samples {
		// Hann's window, so that no partial is heard as another.
		x *= 1 - math.Cos(2*math.Pi*(float64(o.left)+0.5)/float64(o.block))
		for i := range o.turns {
			t := &o.turns[i]
			t.re, t.im = t.re*t.cos-t.im*t.sin+x, t.re*t.sin+t.im*t.cos
		}
		if o.left++; o.left == o.block {
			o.ends()
		}
	}
}

// ends sums up a block.
func (o *own) ends() {
	power := 0.0
	for i := range o.turns {
		t := &o.turns[i]
		power += 2 * (t.re*t.re + t.im*t.im) / float64(o.block) / float64(o.block)
		t.re, t.im = 0, 0
	}
	o.left = 0
	level := math.Max(pitch.MinLevel, 10*math.Log10(power+1e-13))
	if o.level == 0 || level > o.level {
		o.level = level
	}
}

// hush makes points unvoiced that are no louder than what the program sounds.
func (o *own) hush(points []pitch.Point) {
	if o.level == 0 {
		return
	}
	for i := range points {
		if p := &points[i]; p.Voiced && p.Level < o.level+ownGate {
			p.Voiced, p.F0, p.SE, p.Confidence = false, 0, 0, 1-p.Confidence
		}
	}
}
