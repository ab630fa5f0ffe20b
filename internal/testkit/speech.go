package testkit

import (
	"math"
	"math/rand/v2"
)

// Speech is about so many seconds of something like speech at a rate, of RMS -20
// dBFS where it sounds: phrases of syllables of 0.12 to 0.3 s on vowels. In each the
// pitch glides, by 2 to 9 semitones about a line that falls through the phrase, and
// the level rises and falls; hisses and stops lie between, and the last syllable may
// creak. It says nothing, and no voice is like it; but its pitch moves as that of
// speech does: hundreds of cents a syllable, hardly a tenth of a second still
// (t'Hart, Collier and Cohen 1990, from memory).
func Speech(rate int, seconds float64, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 11))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	base := 95 * math.Exp2(between(0, 1.3)) // man to child
	var out []float64
	pause := func(s float64) { out = append(out, Silence(int(s*float64(rate)))...) }
	for float64(len(out)) < seconds*float64(rate) {
		n := 2 + r.IntN(5)
		for i := range n {
			length := between(0.12, 0.3)
			last := i == n-1
			if last {
				length *= 1.3
			}
			from := base * math.Exp2((4-6*float64(i)/float64(n)+between(-1.5, 1.5))/12)
			move := between(2, 9)
			if last || r.IntN(2) == 0 {
				move = -move
			}
			bend := between(0.6, 1.6) // it moves faster at its beginning, or at its end
			curve := func(t float64) float64 { return from * math.Exp2(move/12*math.Pow(max(0, t)/length, bend)) }
			x := Tone(rate, length, curve, Vowel(from, 30, between(300, 800), between(900, 2200), 2700))
			creak := last && r.IntN(3) == 0
			for j := range x {
				t := float64(j) / float64(len(x))
				x[j] *= math.Sin(math.Pi * math.Pow(t, 0.7))
				if creak && t > 0.5 && int(float64(j)/float64(rate)*from)%2 == 1 {
					x[j] *= 0.3
				}
			}
			out = append(out, x...)
			switch r.IntN(4) {
			case 0:
				out = append(out, Scale(White(rate/14, r.Uint64()), 0.02)...)
			case 1:
				pause(between(0.03, 0.09))
			}
		}
		pause(between(0.15, 0.4))
	}
	return Scale(out, 0.1/loudRMS(out))
}

// loudRMS is the RMS of what is not silence.
func loudRMS(x []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range x {
		if v != 0 {
			sum += v * v
			n++
		}
	}
	return math.Sqrt(sum / float64(max(1, n)))
}
