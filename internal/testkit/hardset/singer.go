package hardset

import (
	"math"
	"math/rand/v2"

	"singback/internal/synth"
	"singback/internal/testkit"
)

// singer is one voice with its habits, drawn from the seed of an item.
type singer struct {
	rng       *rand.Rand
	rate      int
	voice     synth.VoiceType
	low, high float64 // hertz
	tonic     float64 // hertz, at or above low

	vibratoHz, vibratoCents float64
	jitter, shimmer         float64 // cents, dB
	breath                  float64 // dB of the voice above it
	creak                   float64

	bright bool // the first formant near the second harmonic
	fast   bool // short notes that start at once
	apart  bool // a rest after each note
}

// ranges of the voices in hertz: the solo ranges of textbooks (from memory),
// the bass down to C2.
var ranges = [...][2]float64{
	synth.Bass: {65.4, 262}, synth.Tenor: {123, 440}, synth.Alto: {165, 660}, synth.Soprano: {247, 1047}, synth.Child: {220, 880},
}

func newSinger(rng *rand.Rand, rate int, voice synth.VoiceType) singer {
	s := singer{
		rng: rng, rate: rate, voice: voice, low: ranges[voice][0], high: ranges[voice][1],
		vibratoHz: 4.8 + 1.8*rng.Float64(), jitter: 1 + 3*rng.Float64(), shimmer: 0.1 + 0.2*rng.Float64(), breath: 25 + 15*rng.Float64(),
	}
	if rng.IntN(5) < 3 {
		s.vibratoCents = 10 + 50*rng.Float64()
	}
	return s.within(s.low, s.high)
}

// within gives the singer another range, and a tonic in its lower half.
func (s singer) within(low, high float64) singer {
	s.low, s.high = low, high
	s.tonic = low * math.Exp2(s.rng.Float64()*min(1, math.Log2(high/low)/2))
	return s
}

var major = [7]int{0, 2, 4, 5, 7, 9, 11}

// degree returns the frequency of a degree counted from the tonic, 0, within
// the equal-tempered major scale.
func (s singer) degree(d int) float64 {
	octave := int(math.Floor(float64(d) / 7))
	return s.tonic * math.Exp2(float64(octave)+float64(major[d-7*octave])/12)
}

// melody sings about that many seconds: phrases of two to five notes, of
// syllables or slurred, with rests between.
func (s singer) melody(seconds float64) take {
	var t take
	d := 0
	for {
		t.rest(0.15+0.5*s.rng.Float64(), s.rate)
		var targets, lengths []float64
		for range 2 + s.rng.IntN(4) {
			switch s.rng.IntN(8) {
			case 0: // the same note again
			case 1:
				d += s.rng.IntN(15) - 7
			default:
				d += s.rng.IntN(7) - 3
			}
			for s.degree(d) > s.high {
				d -= 7
			}
			for s.degree(d) < s.low {
				d += 7
			}
			if s.degree(d) > s.high { // less than an octave
				d--
			}
			hz := s.degree(d) * math.Exp2(12*s.rng.NormFloat64()/1200)
			length := 0.25 + 0.6*s.rng.Float64()
			if s.fast {
				length = 0.13 + 0.12*s.rng.Float64()
			}
			targets, lengths = append(targets, hz), append(lengths, length)
		}
		switch {
		case s.fast:
			for i := range targets {
				t.append(s.slur(targets[i:i+1], lengths[i:i+1]), s.rate)
				t.rest(0.04+0.08*s.rng.Float64(), s.rate)
			}
		case s.apart:
			for i := range targets {
				if s.creak == 0 && s.rng.IntN(2) == 0 {
					t.append(s.slur(targets[i:i+1], lengths[i:i+1]), s.rate)
				} else {
					t.append(s.syllable(targets[i], lengths[i]), s.rate)
				}
				t.rest(0.03+0.15*s.rng.Float64(), s.rate)
			}
		case s.rng.IntN(3) == 0 && s.creak == 0:
			t.append(s.slur(targets, lengths), s.rate)
		default:
			for i := range targets {
				t.append(s.syllable(targets[i], lengths[i]), s.rate)
			}
		}
		if float64(len(t.x)) > (seconds-0.3)*float64(s.rate) {
			t.rest(0.3, s.rate)
			return t
		}
	}
}

// rest adds silence.
func (t *take) rest(seconds float64, rate int) {
	n := int(seconds * float64(rate))
	t.x, t.f0 = append(t.x, make([]float64, n)...), append(t.f0, make([]float64, n)...)
}

// syllable sings one note of solfège with the synthesiser's voice.
func (s singer) syllable(hz, seconds float64) take {
	r := s.rng
	n := synth.Sung{
		Hz: hz, Duration: seconds, Level: -20 + 3*r.NormFloat64(),
		Vowel:     [...]synth.Vowel{synth.O, synth.E, synth.I, synth.A, synth.O, synth.A, synth.I}[r.IntN(7)],
		Consonant: synth.Consonant(r.IntN(4)),
		VibratoHz: s.vibratoHz, VibratoCents: s.vibratoCents * (0.6 + 0.6*r.Float64()),
		DriftCents: 3, JitterCents: s.jitter, ShimmerDB: s.shimmer, BreathDB: s.breath, Creak: s.creak,
	}
	if r.IntN(2) == 0 {
		n.ScoopCents, n.ScoopSeconds = 30+120*r.Float64(), 0.06+0.06*r.Float64()
	}
	if r.IntN(3) == 0 {
		n.FallCents = 20 + 80*r.Float64()
	}
	if seconds < 0.35 {
		n.VibratoCents /= 3
	}
	switch {
	case s.bright:
		n.Vowel, n.HarmonicDB = synth.A, []float64{-2, 2 + 5*r.Float64()}
	case s.breath < 15: // a soft voice has weak harmonics
		n.HarmonicDB = []float64{0, -3, -6, -8, -10, -12, -14, -16}
	case r.IntN(8) == 0: // now and then a note with the second harmonic on top
		n.HarmonicDB = []float64{-3, 6}
	}
	x, f0 := synth.Voice{SampleRate: s.rate, Type: s.voice}.Sing([]synth.Sung{n}, r.Uint64())
	t := take{x: x, f0: f0}
	onset := 0
	for onset < len(f0)-1 && f0[onset] == 0 {
		onset++
	}
	t.notes = []Note{{float64(onset) / float64(s.rate), float64(len(x)) / float64(s.rate), hz}}
	return t
}

// vowels holds three formants of a e i o u (men's averages of Peterson and
// Barney 1952, from memory), and tracts the factor for each voice.
var (
	vowels = [...][3]float64{{730, 1090, 2440}, {530, 1840, 2480}, {270, 2290, 3010}, {570, 840, 2410}, {300, 870, 2240}}
	tracts = [...]float64{synth.Bass: 0.95, synth.Tenor: 1, synth.Alto: 1.12, synth.Soprano: 1.17, synth.Child: 1.35}
)

// slur sings several notes on one breath and one vowel, moving from each to
// the next within 60 to 130 ms.
func (s singer) slur(targets, lengths []float64) take {
	r := s.rng
	starts := make([]float64, len(targets)+1)
	for i, l := range lengths {
		starts[i+1] = starts[i] + l
	}
	seconds := starts[len(targets)]
	glide := 0.06 + 0.07*r.Float64()
	scoop, vibrato := -100*r.Float64(), s.vibratoCents*(0.6+0.6*r.Float64())
	phase, wander := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
	if s.fast {
		scoop, vibrato = 0, vibrato/3
	}
	curve := func(t float64) float64 {
		cents := 1200 * math.Log2(targets[0])
		for i := 1; i < len(targets); i++ {
			cents += 1200 * math.Log2(targets[i]/targets[i-1]) * rise((t-starts[i])/glide+0.5)
		}
		cents += scoop*(1-rise(t/0.1)) + vibrato*rise(t/0.3)*math.Sin(phase+2*math.Pi*s.vibratoHz*t) + 4*math.Sin(wander+2*math.Pi*0.6*t)
		return math.Exp2(cents / 1200)
	}
	mean := math.Exp2(func() (c float64) {
		for i, l := range lengths {
			c += math.Log2(targets[i]) * l / seconds
		}
		return c
	}())
	f := vowels[r.IntN(len(vowels))]
	for i := range f {
		f[i] *= tracts[s.voice]
	}
	if s.bright {
		f[0], f[1] = 2.04*mean, max(f[1], 2.6*mean)
	}
	f[0] = max(f[0], mean) // formant tuning, as in synth
	f[1] = max(f[1], f[0]+200)
	amps := testkit.Vowel(mean, min(60, int(9000/mean)), f[0], f[1], f[2])
	if s.breath < 15 {
		for i := range amps {
			amps[i] *= math.Pow(float64(i+1), -0.8)
		}
	}
	t := take{x: testkit.Tone(s.rate, seconds, curve, amps)}
	t.f0 = make([]float64, len(t.x))
	attack, release := 0.04, 0.08
	if s.fast {
		attack, release = 0.004, 0.03
	}
	if s.apart {
		attack, release = 0.004+0.04*r.Float64(), 0.01+0.07*r.Float64()
	}
	noise := synth.Voice{SampleRate: s.rate, Type: s.voice}.Breath(len(t.x), r.Uint64())
	soft := testkit.RMS(t.x) * math.Pow(10, -s.breath/20)
	for i := range t.x {
		at := float64(i) / float64(s.rate)
		t.f0[i] = curve(at)
		t.x[i] = (t.x[i] + soft*noise[i]) * rise(at/attack) * rise((seconds-at)/release)
	}
	for i, hz := range targets {
		t.notes = append(t.notes, Note{starts[i], starts[i+1], hz})
	}
	return t
}

// rise is the raised cosine from 0 at x = 0 to 1 at x = 1.
func rise(x float64) float64 { return 0.5 - 0.5*math.Cos(math.Pi*min(max(x, 0), 1)) }
