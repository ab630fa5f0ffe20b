package theory

import (
	"fmt"
	"math"
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

// The path through the settings of a band's keyboard is the best of all: every one is
// tried.
func TestBandAgainstEnumeration(t *testing.T) {
	tried := 0
	for _, symbols := range []string{"Dm9 G13 Cmaj9", "C F G7", "E7#9 Am9 D7b9", "F/G C/E Fsus2"} {
		p, err := ParseProgression(symbols, Key{})
		if err != nil {
			t.Fatal(err)
		}
		texture := BandTexture{Parts: 5, Bass: Range{36, 47}, Upper: Range{50, 74}, Left: 14, Right: 12, Top: 67}
		hands, cost, err := texture.Voice(p)
		if err != nil {
			t.Fatal(err)
		}
		var plans [3]bandPlan
		var states [3][]bandState
		for i, r := range p {
			plans[i] = newBandPlan(r)
			states[i] = texture.states(&plans[i])
		}
		least, sets := math.MaxInt, map[string]bool{}
		for a := range states[0] {
			x := &states[0][a]
			first := x.cost + costTop(int(x.midi[4])-texture.Top)
			for b := range states[1] {
				y := &states[1][b]
				second := first + y.cost + texture.move(&plans[0], x, &plans[1], y)
				for c := range states[2] {
					z := &states[2][c]
					tried++
					sum := second + z.cost + texture.move(&plans[1], y, &plans[2], z)
					if sum < least {
						least, sets = sum, map[string]bool{}
					}
					if sum == least {
						sets[fmt.Sprint(texture.hands(&plans[0], x), texture.hands(&plans[1], y), texture.hands(&plans[2], z))] = true
					}
				}
			}
		}
		if cost != least || !sets[fmt.Sprint(hands[0], hands[1], hands[2])] {
			t.Errorf("%s: %v at %d, the best of all are %v at %d", symbols, hands, cost, sets, least)
		}
	}
	if tried < 5000 {
		t.Errorf("%d ways: is anything tried?", tried)
	}
}
