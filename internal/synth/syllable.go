package synth

import (
	"math"
	"strings"

	"singback/theory"
)

// Syllable is what a Model sings a note on.
type Syllable struct {
	Consonant byte // one of d r m f s l t b
	Vowel     Vowel
	Coda      bool // an l ends it, as in sol
}

// SyllableOf returns what a degree of a key is sung on: its name where that is a syllable,
// without signs that are not sung, and the syllable that a letter of Curwen's stands for
// (sharps on -i, flats on the vowel of law: from memory). Numbers and letters are sung on
// ma, which names no degree and begins with its pitch.
func SyllableOf(n theory.Naming, k theory.Key, d theory.Degree) Syllable {
	s := Syllable{'m', A, false}
	if n == theory.Numbers || n == theory.Letters {
		return s
	}
	name := n.Name(k, d) + "  "
	s.Consonant = name[0]
	v := strings.IndexByte("aeiou", name[1])
	switch {
	case v < 0: // a letter alone
		v = strings.IndexByte("aeiou", "oeiaoai"[max(0, strings.IndexByte("drmfslt", name[0]))])
	case n == theory.Curwen && name[0] == 'b': // bay
		v = int(E)
	case n == theory.Curwen && v == int(A):
		v = int(O)
	case n == theory.Curwen:
		v = int(I)
	}
	s.Vowel, s.Coda = Vowel(v), name[2] == 'l'
	return s
}

// spoken holds the first two formants of a e i o u as men, women and children speak them
// (Hillenbrand et al. 1995). Their e is the open one of head: singers open it, and high up it
// would be an i otherwise.
var spoken = [3][5][2]int16{
	{{768, 1333}, {580, 1799}, {342, 2322}, {497, 910}, {378, 997}},
	{{936, 1551}, {731, 2058}, {437, 2761}, {555, 1035}, {459, 1105}},
	{{1002, 1688}, {749, 2267}, {452, 3081}, {597, 1137}, {494, 1345}},
}

// phone is a consonant as a man speaks it (Klatt 1980, second-hand), the times by common
// practice.
type phone struct {
	_             [0]func()
	letter        byte
	f, width      [3]float64 // of the formants, in hertz
	locus         float64    // where F2 comes from at the vowel's onset, in hertz; 0: from f
	slope         float64    // what the vowel takes of that
	seconds       float64    // before the vowel
	level         float64    // of the voice, beside that of the vowel; 0: none
	move          float64    // seconds of the transition
	ahead         float64    // seconds of it that lie before the voice
	hiss          float64    // level of its noise in dB, beside the vowel's
	noise, spread float64    // of the noise, in hertz; 0: flat
	early         float64    // the noise begins so many seconds before the vowel
	lasts         float64    // and lasts so long
}

// phones are the consonants. Of m the first formant is as wide as its pole and zero leave
// it, since the zero lies near 1 kHz.
var phones = [...]phone{
	{letter: 'd', f: [3]float64{200, 1600, 2600}, width: [3]float64{60, 100, 170}, locus: 1800, slope: 0.45, seconds: 0.065, level: 0.10, move: 0.050, hiss: -13, noise: 4000, spread: 1500, early: 0.015, lasts: 0.009},
	{letter: 'r', f: [3]float64{310, 1060, 1380}, width: [3]float64{70, 100, 120}, seconds: 0.085, level: 0.55, move: 0.060, ahead: 0.01},
	{letter: 'm', f: [3]float64{480, 1270, 2130}, width: [3]float64{250, 200, 200}, locus: 720, slope: 0.87, seconds: 0.090, level: 0.50, move: 0.045},
	{letter: 'f', f: [3]float64{340, 1100, 2080}, width: [3]float64{200, 120, 150}, locus: 720, slope: 0.87, seconds: 0.105, move: 0.045, ahead: 0.01, hiss: -31, early: 0.105, lasts: 0.110},
	{letter: 's', f: [3]float64{320, 1390, 2530}, width: [3]float64{200, 80, 200}, locus: 1800, slope: 0.45, seconds: 0.130, move: 0.045, ahead: 0.01, hiss: -12, noise: 5600, spread: 1600, early: 0.130, lasts: 0.135},
	{letter: 'l', f: [3]float64{310, 1050, 2880}, width: [3]float64{50, 100, 280}, seconds: 0.080, level: 0.50, move: 0.050, ahead: 0.01},
	{letter: 't', f: [3]float64{400, 1600, 2600}, width: [3]float64{300, 120, 250}, locus: 1800, slope: 0.45, seconds: 0.125, move: 0.050, ahead: 0.03, hiss: -11, noise: 4500, spread: 1800, early: 0.062, lasts: 0.012},
	{letter: 'b', f: [3]float64{200, 1100, 2150}, width: [3]float64{60, 110, 130}, locus: 720, slope: 0.87, seconds: 0.065, level: 0.10, move: 0.045, hiss: -18, noise: 1200, spread: 1200, early: 0.013, lasts: 0.009},
}

// phoneOf returns the consonant of a letter, m for one that is none.
func phoneOf(letter byte) *phone {
	for i := range phones {
		if phones[i].letter == letter {
			return &phones[i]
		}
	}
	return &phones[2]
}

// posture is what the vocal tract is at a moment: formants, and the pole and zero of the
// nose, which cancel each other where they are the same.
type posture struct {
	_          [0]func() // never compared, as in sungNote
	f          [5]formant
	pole, zero formant
}

var noNose = formant{500, 100}

// lengthOf is by how much consonants lie higher than a man's, the tract being shorter.
var lengthOf = [...]float64{Bass: 0.96, Tenor: 1, Alto: 1.1, Soprano: 1.15, Child: 1.25}

// vowel returns the posture of a vowel: formants half-way, in octaves, between those of
// singers and those of speakers, so that all vowels stay apart in every voice.
func (m Model) vowel(v Vowel) posture {
	p := posture{pole: noNose, zero: noNose}
	p.f = Voice{Type: m.Type}.tract(v, 0)
	who := int(max(0, m.Type-Tenor)+1) / 2 // men, women, children
	for i, hz := range spoken[who][v] {
		p.f[i].hz = math.Sqrt(p.f[i].hz * float64(hz))
	}
	return p
}

// steady returns the posture in the consonant c before a vowel, and onset that at the
// moment the vowel begins.
func (m Model) steady(c *phone, v posture) (steady, onset posture) {
	scale := lengthOf[m.Type]
	steady = v
	for i := range c.f {
		steady.f[i] = formant{c.f[i] * scale, c.width[i]}
	}
	steady.f[3], steady.f[4] = formant{3400 * scale, 200}, formant{4200 * scale, 250}
	onset = steady
	if c.locus > 0 {
		locus := c.locus * scale
		onset.f[1] = formant{locus + c.slope*(v.f[1].hz-locus), v.f[1].width}
		onset.f[0] = formant{(steady.f[0].hz + v.f[0].hz) / 2, v.f[0].width}
	}
	if c.letter == 'm' {
		steady.pole, steady.zero = formant{270, 60}, formant{1000 * scale, 100}
	}
	return steady, onset
}

// towards returns the posture on the way to another: share 0 … 1.
func (p posture) towards(q posture, share float64) posture {
	mix := func(a *formant, b formant) {
		a.hz += share * (b.hz - a.hz)
		a.width += share * (b.width - a.width)
	}
	for i := range p.f {
		mix(&p.f[i], q.f[i])
	}
	mix(&p.pole, q.pole)
	mix(&p.zero, q.zero)
	return p
}

// opened returns the posture for a pitch: where it lies above the first formant, that
// follows it (Sundberg 1975), and no resonance is much narrower than the partials lie
// apart, or one of them would be all that is heard.
func (p posture) opened(f0 float64) posture {
	p.f[0].hz = max(p.f[0].hz, f0)
	p.f[1].hz = max(p.f[1].hz, p.f[0].hz+200)
	for i := range p.f {
		p.f[i].width = max(p.f[i].width, f0/5)
	}
	return p
}

// power returns the squared magnitude of the tract at a frequency; what resonances above
// the fifth would lift is in it, about 6 dB at 3 kHz.
func (p *posture) power(hz float64) float64 {
	one := func(f *formant) float64 { // of a resonance, inverted
		x, y := 1-hz*hz/(f.hz*f.hz), hz*f.width/(f.hz*f.hz)
		return x*x + y*y
	}
	all := one(&p.pole)
	for i := range p.f {
		all *= one(&p.f[i])
	}
	above := 1 + hz*hz/9e6
	return one(&p.zero) / all * above * above
}
