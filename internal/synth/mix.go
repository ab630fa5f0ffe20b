package synth

import "math"

// shortest is the gap, in seconds, before the next note of a line that is held, a fifth of
// a short note: so short that the line goes on, so long that a note struck again is heard.
const shortest = 0.05

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
// one of −Inf nothing is heard. All of them together, at 0 dB, are as loud as k.Level: a
// phrase sounds the same whichever of the others sound.
func (k Keyboard) Mix(phrases []Phrase, gains []float64) []float64 {
	longest, even := 0, true
	for i, p := range phrases {
		if len(p) > 0 {
			longest = max(longest, k.samples(p))
		}
		even = even && gains[i] == 0
	}
	all := make([]float64, longest)
	out := all
	if !even {
		out = make([]float64, longest)
	}
	last := 0
	for i, p := range phrases {
		for _, s := range p {
			at := samplesIn(s.Start, k.SampleRate)
			k.add(all[at:], s, 1)
			if !even && !math.IsInf(gains[i], -1) {
				k.add(out[at:], s, fromDB(min(gains[i], 0)))
			}
		}
		if len(p) > 0 && !math.IsInf(gains[i], -1) {
			last = max(last, k.samples(p))
		}
	}
	scale(out, Gain(all, k.SampleRate, k.Level))
	return out[:last]
}
