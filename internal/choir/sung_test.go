package choir

import (
	"math"
	"testing"

	"singback/internal/synth"
	"singback/theory"
)

// Voices that sing the parts are as loud as the level says together, each part is what is
// missing without it, and the count-in ends on the beat on which the vowels begin.
func TestSungParts(t *testing.T) {
	c := harbour(t)
	s := Sound{SampleRate: 16000, Level: -23, Tuning: theory.Tuning{A4: 440}, Quarter: 0.4, Sung: true}
	all := c.Samples(s, All.Gains(4, 0, 6))
	alone, others := c.Samples(s, Alone.Gains(4, 1, 6)), c.Samples(s, Others.Gains(4, 1, 6))
	far, loud := 0.0, 0.0
	for i := range all {
		far, loud = max(far, math.Abs(all[i]-alone[i]-others[i])), max(loud, math.Abs(all[i]))
	}
	if far > 1e-9 || loud < 0.02 {
		t.Errorf("all is %g off its parts, peak %g", far, loud)
	}
	if g := synth.Gain(all, s.SampleRate, -23); math.Abs(20*math.Log10(g)) > 0.1 {
		t.Errorf("it is %.2f dB off its level", -20*math.Log10(g))
	}
	s.Count = true
	counted := c.Samples(s, All.Gains(4, 0, 6))
	if d := float64(len(counted)-len(all))/16000 - (7*0.4 - 0.2); math.Abs(d) > 0.001 { // 0.2 s of them for consonants
		t.Errorf("the count-in is %.3f s off", d)
	}
}
