package theory

import (
	"math/rand/v2"
	"testing"
)

// The dynamic program against the obvious search: every path through all
// voicings of three chords, by the same rules and costs.
func TestVoiceAgainstBruteForce(t *testing.T) {
	texture := KeyboardTexture()
	texture.Ranges = [4]Range{{36, 53}, {55, 74}, {55, 74}, {55, 74}}
	numerals := []string{"I", "I6", "I64", "ii6", "ii65", "iii", "IV", "V", "V6", "V7", "V43", "vi", "viio6", "V7/V", "V65/ii", "iv6", "bVII", "N6", "Fr43", "V+", "V9", "IV/sol", "Imaj7"}
	rng := rand.New(rand.NewPCG(7, 1))
	compared := 0
	for range 150 {
		k := Keys()[rng.IntN(30)]
		k.Mode = Major
		var p []Roman
		for range 3 {
			r, err := ParseRoman(numerals[rng.IntN(len(numerals))], k)
			if err != nil {
				t.Fatal(err)
			}
			p = append(p, r)
		}
		_, got, err := texture.Voice(p)

		plans := [3]plan{newPlan(p[0]), newPlan(p[1]), newPlan(p[2])}
		least := -1
		for _, x := range texture.states(&plans[0]) {
			for _, y := range texture.states(&plans[1]) {
				first := newStep(&plans[0], &plans[1])
				if first.broken(&x, &y, false) != 0 {
					continue
				}
				second := newStep(&plans[1], &plans[2])
				sofar := x.cost + costTop(int(x.midi[3])-texture.Top) + first.cost(&x, &y) + y.cost
				for _, z := range texture.states(&plans[2]) {
					if second.broken(&y, &z, false) != 0 {
						continue
					}
					if c := sofar + second.cost(&y, &z) + z.cost; least < 0 || c < least {
						least = c
					}
				}
			}
		}
		if err != nil && least >= 0 || err == nil && got != least {
			t.Errorf("%v %v %v in %v: dynamic programming %d, %v; brute force %d", p[0], p[1], p[2], k, got, err, least)
		}
		if least >= 0 {
			compared++
		}
	}
	if compared < 50 {
		t.Errorf("only %d of 150 progressions could be set", compared)
	}
}
