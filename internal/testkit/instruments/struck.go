// Package instruments has notes of instruments for tests: struck, plucked and blown ones
// made here, and those of a free soundfont as an outside voice.
package instruments

import (
	"math"
	"math/rand/v2"
)

// Note is a key that is struck.
type Note struct {
	Key        int     // MIDI number
	At, Length float64 // seconds; when it begins, and how long it is held
	Loud       float64 // 0 … 1; 0 stands for 0.8
}

// Timbre is how an instrument that is struck or plucked sounds. Numbers are of common
// practice, but for the inharmonicity of piano strings.
type Timbre struct {
	Name    string
	Low, Hi int     // keys that it has
	T60     float64 // seconds in which the fundamental of middle C falls by 60 dB; 0: it is held
	Bright  float64 // amplitude of partial n is n^-Bright
	Strings float64 // inharmonicity over that of a piano's strings
	Hammer  float64 // level of the noise of the blow, over that of the note
	Slow    float64 // seconds of the attack
	Only    []int   // the partials that there are; nil: all
	Damp    float64 // seconds in which it is silent once it is let go
}

// Timbres are those that tests go through: bright and dull, dry and long, with and
// without noise.
func Timbres() []Timbre {
	return []Timbre{
		{Name: "grand piano", Low: 24, Hi: 88, T60: 5, Bright: 1.2, Strings: 1, Hammer: 0.3, Slow: 0.003, Damp: 0.2},
		{Name: "small piano", Low: 28, Hi: 84, T60: 3, Bright: 0.9, Strings: 3, Hammer: 0.6, Slow: 0.002, Damp: 0.15},
		{Name: "dull piano", Low: 28, Hi: 84, T60: 6, Bright: 2.2, Strings: 1, Hammer: 0.1, Slow: 0.006, Damp: 0.3},
		{Name: "nylon guitar", Low: 40, Hi: 76, T60: 2.5, Bright: 1.5, Strings: 0.2, Hammer: 0.15, Slow: 0.002, Damp: 0.1},
		{Name: "steel guitar", Low: 40, Hi: 79, T60: 4, Bright: 0.7, Strings: 0.4, Hammer: 0.25, Slow: 0.001, Damp: 0.1},
		{Name: "electric bass", Low: 28, Hi: 55, T60: 8, Bright: 1.3, Strings: 0.6, Hammer: 0.1, Slow: 0.004, Damp: 0.1},
		{Name: "tine piano", Low: 33, Hi: 84, T60: 4, Bright: 2.5, Hammer: 0.05, Slow: 0.003, Only: []int{1, 2, 3}, Damp: 0.1},
		{Name: "organ", Low: 36, Hi: 84, Bright: 0.5, Slow: 0.02, Only: []int{1, 2, 3, 4, 8}, Damp: 0.05},
	}
}

// inharmonicity of a piano's string (form of Rigaud 2013, numbers of Rigaud 2011).
func inharmonicity(key int) float64 {
	return math.Exp(0.0926*float64(key)-13.64) + math.Exp(-0.0847*float64(key)-5.82)
}

// Play returns notes as an instrument in equal temperament on A4 plays them, so many
// seconds of it, at a peak of about -6 dBFS for each.
func (t Timbre) Play(rate int, a4 float64, notes []Note, seconds float64, seed uint64) []float64 {
	out := make([]float64, int(seconds*float64(rate)))
	rng := rand.New(rand.NewPCG(seed, 0x7374727563))
	for _, n := range notes {
		from := int(n.At * float64(rate))
		if from < len(out) {
			t.add(out[from:], float64(rate), a4*math.Exp2(float64(n.Key-69)/12), n, rng)
		}
	}
	return out
}

func (t Timbre) add(out []float64, rate, hz float64, n Note, rng *rand.Rand) {
	loud := n.Loud
	if loud == 0 {
		loud = 0.8
	}
	stiff := t.Strings * inharmonicity(n.Key)
	partials := t.Only
	for k := 1; t.Only == nil && k <= 24; k++ {
		partials = append(partials, k)
	}
	type partial struct{ turn, phase, gain, decay float64 }
	var list []partial
	sum := 0.0
	for _, k := range partials {
		f := float64(k) * hz * math.Sqrt((1+stiff*float64(k*k))/(1+stiff)) // the first is in tune
		if f > 0.45*rate {
			break
		}
		p := partial{turn: 2 * math.Pi * f / rate, phase: 2 * math.Pi * rng.Float64(), gain: math.Pow(float64(k), -t.Bright*(1.4-0.5*loud))}
		if t.T60 > 0 {
			t60 := min(max(t.T60*math.Sqrt(261.6/hz), 0.4), 3*t.T60) / (1 + 0.3*float64(k-1))
			p.decay = math.Ln10 * 3 / (t60 * rate)
		}
		list = append(list, p)
		sum += p.gain
	}
	held := n.Length * rate
	end := min(len(out), int(held+t.Damp*rate))
	for i := range end {
		env := loud / sum * min(1, float64(i)/(t.Slow*rate))
		if x := float64(i) - held; x > 0 {
			env *= math.Exp(-7 * x / (t.Damp * rate))
		}
		v := 0.0
		for _, p := range list {
			v += p.gain * math.Exp(-p.decay*float64(i)) * math.Sin(p.turn*float64(i)+p.phase)
		}
		if s := float64(i) / rate; s < 0.05 {
			v += t.Hammer * sum * 0.3 * math.Exp(-s/0.008) * rng.NormFloat64()
		}
		out[i] += 0.5 * env * v
	}
}
