package synth

import (
	"math"
	"math/rand/v2"

	"singback/internal/audio"
	"singback/theory"
)

// Timed is one note of a line in time.
type Timed struct {
	Hz              float64 // 0 is a rest
	Start, Duration float64 // seconds
	Key             theory.Key
	Pitch           theory.Pitch
}

// Line lays a written line out in time: every note where t has its degree in the
// key of the moment, quarter seconds for each quarter note.
func Line(s theory.Score, t theory.Tuning, quarter float64) []Timed {
	notes := make([]Timed, 0, len(s.Notes))
	at, key, changes := theory.Fraction{Num: 0, Den: 1}, s.Key, s.Changes
	for _, n := range s.Notes {
		for len(changes) > 0 && changes[0].At.Float() <= at.Float() {
			key, changes = changes[0].Key, changes[1:]
		}
		timed := Timed{Start: at.Float() * quarter, Duration: n.Length.Float() * quarter, Key: key, Pitch: n.Pitch}
		if !n.Rest {
			timed.Hz = t.HzIn(key, n.Pitch)
		}
		notes = append(notes, timed)
		at = at.Plus(n.Length)
	}
	return notes
}

// detached is the share of its length that a key is held down for.
const detached = 0.94

// PhraseOf plays a line on the keyboard.
func PhraseOf(line []Timed) Phrase {
	var p Phrase
	for _, n := range line {
		if n.Hz > 0 {
			p = append(p, Sound{Hz: n.Hz, Start: n.Start, Duration: n.Duration * detached})
		}
	}
	return p
}

// Beat is one click, in seconds from the start; Strong is the first of a bar, Half the
// third of four.
type Beat struct {
	At           float64
	Strong, Half bool
}

// clickLength is how long a click lasts, in seconds, and clickDecay the time in
// which it falls to 1/e: too short for any pitch tracker to find a note in it.
const (
	clickLength = 0.030
	clickDecay  = 0.005
)

// clickPartials are the partials of a click in hertz: in no simple ratio, and
// above every sung fundamental, so that it is no hint of a pitch.
var clickPartials = [2][2]float64{{1960, 2930}, {2490, 3710}}

// Clicks returns the samples of the clicks, length seconds in all. Weak ones are
// 8 dB under strong ones, those at half a bar 4, which peak, in dBFS, 8 above k.Level in LUFS, where notes peak too,
// or at the ceiling.
func (k Keyboard) Clicks(beats []Beat, length float64) []float64 {
	out := make([]float64, samplesIn(length, k.SampleRate))
	rate := float64(k.SampleRate)
	for _, b := range beats {
		gain, partials := fromDB(min(k.Level+8, ceiling)-8), clickPartials[0]
		switch {
		case b.Strong:
			gain, partials = fromDB(min(k.Level+8, ceiling)), clickPartials[1]
		case b.Half:
			gain *= fromDB(4)
		}
		from := samplesIn(b.At, k.SampleRate)
		n := samplesIn(clickLength, k.SampleRate)
		for i := 0; i < n && from+i < len(out); i++ {
			t := float64(i) / rate
			// Both ends are at rest: the attack takes 0.5 ms, the end fades.
			env := gain / 2 * rise(t/0.0005) * expE(-t/clickDecay) * (1 - rise((t-clickLength+0.01)/0.01))
			for _, f := range partials {
				if f < bandEdge*rate {
					out[from+i] += env * math.Sin(2*math.Pi*f*t)
				}
			}
		}
	}
	return out
}

// How the simulated singer goes wrong in a line: out of a hundred notes so many
// are a neighbour of the right one, left out, or off by 25 to 45 cents; the rest
// scatter by lineScatter cents (SD) about a tonic that wanders.
const (
	lineWrong, lineOmitted, lineMistuned = 5, 2, 8
	lineScatter                          = 9.0
)

// Line sings a line as someone with a fair ear does: with consonants, small
// errors of pitch and time and, now and then, a wrong note or none. It begins
// after lead seconds and ends with two seconds of silence, in a quiet room. The
// same seed and item give the same samples.
func (s Singer) Line(line []Timed, lead float64, item int) audio.Source {
	rng := rand.New(rand.NewPCG(s.Seed, uint64(item)<<16|0xffff))
	sung := []Sung{Rest(lead)}
	wander := 0.0
	previous := 0.0
	for _, n := range line {
		if n.Hz == 0 {
			sung = append(sung, Rest(n.Duration))
			continue
		}
		wander += 2 * rng.NormFloat64()
		cents := wander + max(-22, min(22, lineScatter*rng.NormFloat64()))
		side := float64(1 - 2*rng.IntN(2))
		switch chance := rng.IntN(100); {
		case chance < lineWrong:
			cents += 200 * side
		case chance < lineWrong+lineOmitted:
			sung = append(sung, Rest(n.Duration))
			continue
		case chance < lineWrong+lineOmitted+lineMistuned:
			cents += side * (25 + 20*rng.Float64())
		}
		note := NewSung(n.Hz*math.Exp2(cents/1200), n.Duration)
		note.Vowel = Vowel(rng.IntN(5))
		note.Consonant = Consonant(1 + rng.IntN(3))
		note.BreathDB = 24 + 8*rng.Float64()
		if previous > 0 && n.Hz > previous {
			note.ScoopCents = 30 * rng.Float64()
		}
		if n.Duration > 0.8 {
			note.VibratoHz, note.VibratoCents = 5+1.5*rng.Float64(), 30*rng.Float64()
		}
		previous = n.Hz
		sung = append(sung, note)
	}
	sung = append(sung, Rest(2))
	x, _ := s.Voice.Sing(sung, s.Seed+uint64(item)<<16)
	for i, n := range Pink(len(x), s.Seed^uint64(item)) {
		x[i] += fromDB(roomLevel) * n
	}
	return audio.NewSamples(s.Voice.SampleRate, x)
}
