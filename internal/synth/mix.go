package synth

import "math"

// shortest is the gap, in seconds, before the next note of a line that is held, a fifth of
// a short note: so short that the line goes on, so long that a note struck again is heard.
const shortest = 0.05

// legato is how many times one tone a held line can be where a tone begins while the
// one before it dies away: 1 and what shortest leaves of it.
const legato = 1.35

// Held plays a line with tones that keep their strength, as an organ has them: a voice
// does not die away. Rests are silent.
func Held(line []Timed) Phrase {
	var p Phrase
	for _, n := range line {
		if n.Hz > 0 {
			p = append(p, Sound{Hz: n.Hz, Start: n.Start, Duration: n.Duration - min(shortest, n.Duration/5), Steady: true})
		}
	}
	return p
}

// Mix renders phrases that sound together, each with a gain in decibels, at most 0; of
// one of −Inf nothing is heard. No sample exceeds k.Level, whatever meets whatever, and a
// phrase sounds as loud beside others as alone as long as they are at most four.
func (k Keyboard) Mix(phrases []Phrase, gains []float64) []float64 {
	sum := 0.0
	for i, p := range phrases {
		sum += fromDB(min(gains[i], 0)) * p.density()
	}
	var out []float64
	for i, p := range phrases {
		if math.IsInf(gains[i], -1) {
			continue
		}
		end := 0
		for _, s := range p {
			end = max(end, samplesIn(s.Start, k.SampleRate)+samplesIn(s.Duration, k.SampleRate))
		}
		if n := end + samplesIn(Release, k.SampleRate) + 1; n > len(out) {
			out = append(out, make([]float64, n-len(out))...)
		}
		gain := fromDB(min(k.Level, 0)+min(gains[i], 0)) / (partialSum * max(legato*fullChord, sum))
		for _, s := range p {
			k.add(out[samplesIn(s.Start, k.SampleRate):], s, gain)
		}
	}
	return out
}
