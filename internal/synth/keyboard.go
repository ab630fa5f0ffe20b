package synth

import "math"

// Sound is one note of a Phrase: an exact pitch in hertz, its start from the
// beginning of the phrase, at least 0, and how long the key is held down, both
// in seconds.
type Sound struct {
	Hz, Start, Duration float64
	// Steady holds the tone at full strength as an organ does; otherwise it
	// decays as a struck string does.
	Steady bool
}

// Phrase is a number of sounds in any order; they may overlap.
type Phrase []Sound

// Length returns the time in seconds from the start of the phrase until the
// last key is let go. The rendered phrase rings on for Release.
func (p Phrase) Length() float64 {
	end := 0.0
	for _, s := range p {
		end = max(end, s.Start+s.Duration)
	}
	return end
}

// How a keyboard note begins and ends, in seconds: raised cosines, so that
// neither end clicks. The attack of a Steady tone is that of a soft pipe.
const (
	Attack       = 0.008
	SteadyAttack = 0.030
	Release      = 0.080
)

// DefaultLevel is the level in dBFS that playback starts with: quiet, since
// the listener's volume is unknown.
const DefaultLevel = -24.0

// Keyboard is an additive keyboard instrument: ten harmonic partials, exactly
// in tune, each decaying at its own rate, the higher ones weaker and faster.
//
// Every note has the same fixed gain, so that a chord of four can be at most
// as loud as Level; only a phrase with more notes at once is turned down as a
// whole. There is no limiter.
type Keyboard struct {
	SampleRate int // hertz
	// Level is the peak in dBFS that no sample of a phrase exceeds; above 0
	// it counts as 0.
	Level float64
}

// NewKeyboard returns a keyboard that plays at DefaultLevel.
func NewKeyboard(sampleRate int) Keyboard {
	return Keyboard{SampleRate: sampleRate, Level: DefaultLevel}
}

// partials holds the amplitudes of the partials at the moment of attack, by
// ear: a mellow piano without the hammer.
var partials = [10]float64{1, 0.60, 0.38, 0.26, 0.17, 0.12, 0.085, 0.06, 0.043, 0.03}

// partialSum bounds the peak of one note of unit gain.
const partialSum = 1 + 0.60 + 0.38 + 0.26 + 0.17 + 0.12 + 0.085 + 0.06 + 0.043 + 0.03

const (
	fullChord = 4    // notes at once that the fixed gain leaves room for
	bandEdge  = 0.45 // of the sample rate: partials above are left out
)

// decayTime returns the time in seconds in which partial k, counted from 1, of
// a note falls to 1/e: 1.2 s for the fundamental of A3 (220 Hz), shorter with
// the square root of the frequency, within 0.4 … 1.35 s; partial k decays
// 1 + 0.4·(k−1) times as fast. Even the slowest falls by more than 6 dB a
// second, which no held sung note does: a judge can tell the two apart.
func decayTime(hz float64, k int) float64 {
	t := min(max(1.2*math.Sqrt(220/hz), 0.4), 1.35)
	return t / (1 + 0.4*float64(k-1))
}

// Render returns the samples of p, from its start until the last sound has
// died away; the last sample is 0. Sounds whose fundamental lies above 0.45 of
// the sample rate are silent.
func (k Keyboard) Render(p Phrase) []float64 {
	if len(p) == 0 {
		return nil
	}
	end := 0
	for _, s := range p {
		end = max(end, samplesIn(s.Start, k.SampleRate)+samplesIn(s.Duration, k.SampleRate))
	}
	out := make([]float64, end+samplesIn(Release, k.SampleRate)+1)
	gain := fromDB(min(k.Level, 0)) / (partialSum * max(fullChord, p.density()))
	for _, s := range p {
		k.add(out[samplesIn(s.Start, k.SampleRate):], s, gain)
	}
	return out
}

// add mixes one sound into out, which begins where the sound does.
func (k Keyboard) add(out []float64, s Sound, gain float64) {
	rate := float64(k.SampleRate)
	held := samplesIn(s.Duration, k.SampleRate)
	n := min(held+samplesIn(Release, k.SampleRate), len(out))
	attack := Attack
	if s.Steady {
		attack = SteadyAttack
	}
	env := make([]float64, n)
	for i := range env {
		env[i] = gain * rise(float64(i)/(attack*rate)) * (1 - rise(float64(i-held)/(Release*rate)))
	}
	var turn [len(partials)]pointer
	for j, a := range partials {
		f := s.Hz * float64(j+1)
		if f > bandEdge*rate {
			break
		}
		shrink := 1.0
		if !s.Steady {
			shrink = expE(-1 / (decayTime(s.Hz, j+1) * rate))
		}
		sin, cos := math.Sincos(2 * math.Pi * f / rate)
		turn[j] = pointer{re: a, sin: sin * shrink, cos: cos * shrink}
	}
	addFive(out, env, turn[:5])
	addFive(out, env, turn[5:])
}

// pointer turns by the same angle and shrinks by the same factor every sample.
type pointer struct{ re, im, sin, cos float64 }

// addFive adds the imaginary parts of five pointers, under an envelope. Five at
// once, since each turn of a pointer waits for the one before it.
func addFive(out, env []float64, turn []pointer) {
	a, b, c, d, e := turn[0], turn[1], turn[2], turn[3], turn[4]
	out = out[:len(env)]
	for i, v := range env {
		x := out[i]
		x += v * a.im
		x += v * b.im
		x += v * c.im
		x += v * d.im
		x += v * e.im
		out[i] = x
		a.re, a.im = a.re*a.cos-a.im*a.sin, a.re*a.sin+a.im*a.cos
		b.re, b.im = b.re*b.cos-b.im*b.sin, b.re*b.sin+b.im*b.cos
		c.re, c.im = c.re*c.cos-c.im*c.sin, c.re*c.sin+c.im*c.cos
		d.re, d.im = d.re*d.cos-d.im*d.sin, d.re*d.sin+d.im*d.cos
		e.re, e.im = e.re*e.cos-e.im*e.sin, e.re*e.sin+e.im*e.cos
	}
}

// density returns the greatest number of full-strength notes that sound at the
// same moment, where a note that has decayed or been let go counts only with
// the strength left to its fundamental. Strengths only fall after their start,
// so the greatest sum is found at one of the starts.
func (p Phrase) density() float64 {
	most := 0.0
	for _, at := range p {
		sum := 0.0
		for _, s := range p {
			age := at.Start - s.Start
			if age < 0 {
				continue
			}
			left := 1 - rise((age-s.Duration)/Release)
			if !s.Steady {
				left *= expE(-age / decayTime(s.Hz, 1))
			}
			sum += left
		}
		most = max(most, sum)
	}
	return most
}
