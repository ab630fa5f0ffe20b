package synth

import (
	"math"

	"singback/theory"
)

// Under is sound that goes on while somebody sings: a drone, or chords that repeat. Its
// tones are held as an organ holds them.
type Under struct {
	Keyboard
	Chords  [][]float64 // the tones of each chord in hertz, in order
	Seconds float64     // of each chord; with one chord it never ends
	After   float64     // seconds of silence before it begins
}

// NewDrone holds the tonic of a key, and with fifth the sol above it too. The octave is
// that of the tonic.
func NewDrone(k theory.Key, t theory.Tuning, tonicOctave int, fifth bool) Under {
	do := tonicPitch(k, tonicOctave)
	tones := []float64{t.Hz(do)}
	if fifth {
		tones = append(tones, t.HzIn(k, do.Up(theory.Interval{Steps: 4, Semitones: 7})))
	}
	return Under{Chords: [][]float64{tones}}
}

// NewVamp repeats chords, each of so many seconds.
func NewVamp(k theory.Key, t theory.Tuning, voices []theory.Voicing, seconds float64) Under {
	u := Under{Seconds: seconds}
	for _, v := range voices {
		var tones []float64
		for _, p := range v {
			tones = append(tones, t.HzIn(k, p))
		}
		u.Chords = append(u.Chords, tones)
	}
	return u
}

// Round is how many samples it takes until the sound repeats; 0: it never changes.
func (u Under) Round() int64 {
	if len(u.Chords) < 2 {
		return 0
	}
	return int64(len(u.Chords)) * u.each()
}

func (u Under) each() int64 { return int64(samplesIn(u.Seconds, u.SampleRate)) }

// Partials returns the frequencies in hertz of all that sounds in it.
func (u Under) Partials() []float64 {
	var out []float64
	for _, chord := range u.Chords {
		for _, p := range u.held(nil, chord) {
			out = append(out, p.hz)
		}
	}
	return out
}

// held appends the partials of a chord to out, which is empty, as loud together as Level
// says. Where two tones have one in common, both are in phase.
func (u Under) held(out []partial, tones []float64) []partial {
	var room [mostPartials]partial
	for _, hz := range tones {
		out = append(out, u.partialsOf(room[:0], Sound{Hz: hz, Steady: true})...)
	}
	sum, peak := 0.0, 1e-9
	for _, p := range out {
		for _, q := range out {
			if math.Abs(p.hz-q.hz) < 1e-6*p.hz {
				sum += p.amplitude * q.amplitude / 2 * weight(p.hz)
			}
		}
		peak += p.amplitude
	}
	gain := min(math.Sqrt(powerAt(u.Level)/max(sum, 1e-9)), fromDB(ceiling)/peak)
	for i := range out {
		out[i].amplitude *= gain
	}
	return out
}

// Fill writes the sound from sample at on into dst. It begins softly at sample 0, and
// each chord ends before the next one comes. The split into calls changes nothing, and a
// call does not allocate with up to eight tones in a chord.
func (u Under) Fill(dst []float64, at int64) {
	clear(dst)
	after := int64(samplesIn(u.After, u.SampleRate))
	dst, at = dst[min(int64(len(dst)), max(0, after-at)):], max(0, at-after)
	for len(dst) > 0 {
		chord, from, n, held := 0, at, int64(len(dst)), int64(math.MaxInt64)
		if each := u.each(); len(u.Chords) > 1 {
			chord, from = int(at/each)%len(u.Chords), at%each
			n, held = min(n, each-from), each-int64(samplesIn(Release, u.SampleRate))
		}
		u.hold(dst[:n], u.Chords[chord], from, held)
		dst, at = dst[n:], at+n
	}
}

// hold adds the tones of a chord from its sample at on; it is let go at sample held.
func (u Under) hold(dst, tones []float64, at, held int64) {
	rate := float64(u.SampleRate)
	var room [8 * len(drawbars)]partial
	all := u.held(room[:0], tones)
	var some [512]float64
	for len(dst) > 0 {
		env := some[:min(len(some), len(dst))]
		for i := range env {
			k := float64(at + int64(i))
			env[i] = rise(k / (SteadyAttack * rate))
			if held < math.MaxInt64 {
				env[i] *= 1 - rise((k-float64(held))/(Release*rate))
			}
		}
		for from := 0; from < len(all); from += 5 {
			var turn [5]wave
			for j, p := range all[from:min(from+5, len(all))] {
				// Whole turns are left out, so that the phase is exact however long it lasts.
				_, turns := math.Modf(p.hz / rate * float64(at))
				turn[j] = waveOf(p.amplitude, turns, p.hz/rate, 0)
			}
			addFive(dst[:len(env)], env, turn[:])
		}
		dst, at = dst[len(env):], at+int64(len(env))
	}
}
