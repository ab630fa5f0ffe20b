// Package synth computes sound: what the singer hears, and voices that sing.
//
// [Keyboard.Render] turns a [Phrase] into samples; [KeySetting.Phrase] writes
// the phrase that sets a key, [One] the single note of a prompt or an answer.
// [Voice.Sing] is a model voice whose fundamental frequency is known at every
// sample, and [Singer] uses it to answer the drill like a person. [Model] is the
// voice that a singer sings back to: it sings a line on its syllables. The
// disturbances of real rooms and microphones are plain functions on samples.
//
// Everything is computed from sines and seeded noise, nothing is sampled, so
// every pitch is exact. A [Keyboard] sounds like one [Instrument] of three, and every
// phrase is as loud as its Level says, by ITU-R BS.1770. The package plays nothing, reads no clock, judges
// nothing and uses no randomness but the seed it is given. On one architecture
// the same call gives the same samples to the bit: see the note at exp10.
package synth

import "math"

// exp10 and expE return 10^x and e^x by way of math.Exp2. math.Exp and
// math.Pow are avoided throughout: on amd64 their last bit depends on whether
// the processor has a fused multiply-add, and the recordings in testdata must
// come out the same on every machine of that architecture.
func exp10(x float64) float64 { return math.Exp2(x * (math.Ln10 / math.Ln2)) }

func expE(x float64) float64 { return math.Exp2(x * math.Log2E) }

// fromDB returns the amplitude ratio of a level difference in decibels;
// 0 for −Inf.
func fromDB(db float64) float64 { return exp10(db / 20) }

// rise is the raised cosine that goes from 0 at x = 0 to 1 at x = 1, and stays
// flat outside.
func rise(x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*x)
}

// samplesIn returns the number of samples nearest to the given time.
func samplesIn(seconds float64, rate int) int {
	return int(math.Round(seconds * float64(rate)))
}
