package synth

import "math"

// Sound is one note of a Phrase: an exact pitch in hertz, its start from the
// beginning of the phrase, at least 0, and how long the key is held down, both
// in seconds.
type Sound struct {
	Hz, Start, Duration float64
	// Steady holds the tone at full strength, with the organ's partials, whatever the
	// instrument.
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
// neither end clicks. The attack of a Steady tone is that of a soft pipe. Strings and tines
// are damped besides, and ring on for longer: see letGo.
const (
	Attack       = 0.004
	SteadyAttack = 0.030
	Release      = 0.080
)

// DefaultLevel is the loudness in LUFS that playback starts with: that of EBU R 128, 7 to
// 9 dB under what music is streamed at, since the listener's volume is unknown.
const DefaultLevel = -23.0

// Keyboard is an instrument with keys. What it sounds like, see Instrument: partials, of
// which those that carry the pitch are exactly in tune, each with its own strength by register
// and blow and its own decay, and the noises that keys make.
//
// Every phrase is as loud as Level says, whether one note sounds in it or many. There is no
// limiter: what would exceed −1 dBTP is turned down as a whole.
type Keyboard struct {
	SampleRate int // hertz
	// Level is the loudness in LUFS, by ITU-R BS.1770.
	Level      float64
	Instrument Instrument
}

// NewKeyboard returns a piano that plays at DefaultLevel.
func NewKeyboard(sampleRate int) Keyboard {
	return Keyboard{SampleRate: sampleRate, Level: DefaultLevel}
}

// Render returns the samples of p, from its start until the last sound has
// died away; the last sample is 0. Sounds whose fundamental lies above 0.45 of
// the sample rate are silent.
func (k Keyboard) Render(p Phrase) []float64 {
	if len(p) == 0 {
		return nil
	}
	out := make([]float64, k.samples(p))
	for _, s := range p {
		k.add(out[samplesIn(s.Start, k.SampleRate):], s, 1)
	}
	scale(out, Gain(out, k.SampleRate, k.Level))
	return out
}

// samples returns how many samples a phrase lasts.
func (k Keyboard) samples(p Phrase) int {
	end := 0
	for _, s := range p {
		tail, _ := k.letGo(s)
		end = max(end, samplesIn(s.Start, k.SampleRate)+samplesIn(s.Duration, k.SampleRate)+samplesIn(tail, k.SampleRate))
	}
	return end + 1
}

// letGo returns for how many seconds a note is heard after its key was let go, and by how
// many nepers it is damped meanwhile. A damper takes 0.1 to 0.3 s for 60 dB, longest in the
// bass; there is none above F6.
func (k Keyboard) letGo(s Sound) (tail, damped float64) {
	switch {
	case s.Steady || k.Instrument == Organ:
		return Release, 0
	case s.Hz > 1400:
		return 1, 0
	}
	return min(max(0.24-0.05*math.Log2(s.Hz/261.6), 0.12), 0.34), 3 * math.Ln10
}

func scale(x []float64, by float64) {
	for i := range x {
		x[i] *= by
	}
}

// add mixes one sound into out, which begins where the sound does.
func (k Keyboard) add(out []float64, s Sound, gain float64) {
	rate := float64(k.SampleRate)
	held := samplesIn(s.Duration, k.SampleRate)
	tail, damped := k.letGo(s)
	n := min(held+samplesIn(tail, k.SampleRate), len(out))
	attack := Attack
	if s.Steady || k.Instrument == Organ {
		attack = SteadyAttack
	}
	env := make([]float64, n)
	for i := range env {
		env[i] = gain * rise(float64(i)/(attack*rate))
		if i > held {
			gone := float64(i-held) / (tail * rate)
			env[i] *= (1 - rise(gone)) * expE(-damped*gone)
		}
	}
	struck := !s.Steady && k.Instrument == Piano
	var room [mostPartials]partial
	var waves [mostPartials + farPartials + 4]wave
	used := 0
	for j, p := range k.partialsOf(room[:0], s) {
		// Phases that bend, and differ from note to note: partials that met in one peak would
		// buzz, and leave less room for loudness.
		phase := float64(j*j)/7 + s.Hz/97
		if struck && j < farPartials {
			waves[used] = waveOf(p.amplitude*afterLevel, phase, p.hz/rate, p.fall*afterFall/rate)
			used++
		}
		waves[used] = waveOf(p.amplitude, phase, p.hz/rate, p.fall/rate)
		used++
	}
	for i := 0; i < used; i += 5 {
		// Five end where the last of them has lost 80 dB.
		five, longest := waves[i:i+5], float64(n)
		less := max(five[0].less, five[1].less, five[2].less, five[3].less, five[4].less)
		if less < 1 {
			longest = min(longest, -18.4/math.Log(less))
		}
		addFive(out, env[:int(longest)], five)
	}
	if struck && used > 0 {
		seed := math.Float64bits(s.Hz)
		knock(out, env, rate, hammerNoise, hammerEdge, hammerTime, seed)
		knock(out, env, rate, keyNoise, keyEdge, keyTime, ^seed)
		if held < n {
			for i := range env[held:] { // the key goes back while its string is damped
				env[held+i] *= rise(float64(i) / (attack * rate))
			}
			knock(out[held:], env[held:], rate, backNoise, hammerEdge, keyTime, seed+1)
		}
	}
}

// waveOf returns a wave of an amplitude that begins at a phase and goes on by so many turns
// every sample, falling by so many nepers.
func waveOf(amplitude, phase, turn, fall float64) wave {
	shrink := expE(-fall)
	return wave{
		now: amplitude * math.Sin(2*math.Pi*phase), before: amplitude / shrink * math.Sin(2*math.Pi*(phase-turn)),
		by: 2 * shrink * math.Cos(2*math.Pi*turn), less: shrink * shrink,
	}
}

// wave is a sine that dies away: the next sample is the one now times by, less the one
// before times less.
type wave struct{ now, before, by, less float64 }

// addFive adds five waves, under an envelope. Five at once, since each sample of a wave
// waits for the one before it.
func addFive(out, env []float64, waves []wave) {
	a, b, c, d, e := waves[0], waves[1], waves[2], waves[3], waves[4]
	out = out[:len(env)]
	for i, v := range env {
		out[i] += v * (a.now + b.now + c.now + d.now + e.now)
		a.now, a.before = a.by*a.now-a.less*a.before, a.now
		b.now, b.before = b.by*b.now-b.less*b.before, b.now
		c.now, c.before = c.by*c.now-c.less*c.before, c.now
		d.now, d.before = d.by*d.now-d.less*d.before, d.now
		e.now, e.before = e.by*e.now-e.less*e.before, e.now
	}
}
