package synth

import (
	"math"
	"math/rand/v2"
	"slices"
)

// VoiceType is one of the model voices.
type VoiceType int8

// The model voices, from low to high.
const (
	Bass VoiceType = iota
	Tenor
	Alto
	Soprano
	Child
)

// String returns the name in lower case.
func (t VoiceType) String() string {
	return [...]string{"bass", "tenor", "alto", "soprano", "child"}[t]
}

// Vowel is what a note is sung on.
type Vowel int8

// The five vowels, as in Italian.
const (
	A Vowel = iota
	E
	I
	O
	U
)

// Consonant is what a note begins with, within its duration.
type Consonant int8

// The kinds of consonant in solfège syllables: none; a burst and a gap (d, t);
// a hum at the pitch of the note (m, n, l); a hiss (s, f).
const (
	NoConsonant Consonant = iota
	Plosive
	Nasal
	Fricative
)

// Sung is one note, or a rest, for a Voice to sing. The zero value of every
// field after Level leaves that trait out, except BreathDB: see NewSung.
type Sung struct {
	Hz        float64 // target; 0 is a rest
	Duration  float64 // seconds, consonant and release included
	Vowel     Vowel
	Consonant Consonant
	Level     float64 // dBFS, RMS of the steady vowel

	VibratoHz    float64 // cycles per second
	VibratoCents float64 // greatest distance from the centre: ±VibratoCents, full after 0.25 s
	ScoopCents   float64 // how far below the target the note starts
	ScoopSeconds float64 // time until the target is reached
	FallCents    float64 // how far the pitch falls in the last 120 ms
	DriftCents   float64 // RMS of a slow wander below 1 Hz, with mean 0 over the note
	JitterCents  float64 // SD from one glottal cycle to the next
	ShimmerDB    float64 // SD of the level from one glottal cycle to the next
	Creak        float64 // 0 … 1: how much weaker every second glottal cycle is
	BreathDB     float64 // level of the voice over its own breath noise; +Inf is no breath

	// Bend, where there is one, is added to the pitch in cents; it is asked for
	// each second since the vowel began.
	Bend func(seconds float64) float64

	// HarmonicDB is added to the level of harmonic 1, 2, … of the vowel;
	// −Inf takes the harmonic out.
	HarmonicDB []float64
}

// NewSung returns a note such as a fair amateur sings it: on ah, with a slight
// scoop, a slight wander and a little breath. The sizes are common practice.
func NewSung(hz, seconds float64) Sung {
	return Sung{
		Hz: hz, Duration: seconds, Level: -20,
		VibratoHz: 5.5, VibratoCents: 8,
		ScoopCents: 40, ScoopSeconds: 0.08, FallCents: 30,
		DriftCents: 3, JitterCents: 4, ShimmerDB: 0.2, BreathDB: 30,
	}
}

// Rest returns silence of the given length.
func Rest(seconds float64) Sung { return Sung{Duration: seconds} }

// Voice is a model voice: a source of harmonics with the spectrum of glottal
// pulses, shaped by five formants. It is additive, so nothing aliases, and the
// frequency of every harmonic is exactly its multiple of F0.
type Voice struct {
	SampleRate int // hertz
	Type       VoiceType
}

// formant is a resonance of the vocal tract, in hertz.
type formant struct{ hz, width float64 }

// formants holds the formants of sung vowels a e i o u for bass, tenor, alto
// and soprano: the table of the FOF literature (Rodet 1984 and the Csound
// manual), from memory. A child's are those of the soprano times 1.15 (common
// practice: a shorter tract).
var formants = [4][5][5]formant{
	Bass: {
		{{600, 60}, {1040, 70}, {2250, 110}, {2450, 120}, {2750, 130}},
		{{400, 40}, {1620, 80}, {2400, 100}, {2800, 120}, {3100, 120}},
		{{250, 60}, {1750, 90}, {2600, 100}, {3050, 120}, {3340, 120}},
		{{400, 40}, {750, 80}, {2400, 100}, {2600, 120}, {2900, 120}},
		{{350, 40}, {600, 80}, {2400, 100}, {2675, 120}, {2950, 120}},
	},
	Tenor: {
		{{650, 80}, {1080, 90}, {2650, 120}, {2900, 130}, {3250, 140}},
		{{400, 70}, {1700, 80}, {2600, 100}, {3200, 120}, {3580, 120}},
		{{290, 40}, {1870, 90}, {2800, 100}, {3250, 120}, {3540, 120}},
		{{400, 70}, {800, 80}, {2600, 100}, {2800, 130}, {3000, 135}},
		{{350, 40}, {600, 60}, {2700, 100}, {2900, 120}, {3300, 120}},
	},
	Alto: {
		{{800, 80}, {1150, 90}, {2800, 120}, {3500, 130}, {4950, 140}},
		{{400, 60}, {1600, 80}, {2700, 120}, {3300, 150}, {4950, 200}},
		{{350, 50}, {1700, 100}, {2700, 120}, {3700, 150}, {4950, 200}},
		{{450, 70}, {800, 80}, {2830, 100}, {3500, 130}, {4950, 135}},
		{{325, 50}, {700, 60}, {2530, 170}, {3500, 180}, {4950, 200}},
	},
	Soprano: {
		{{800, 80}, {1150, 90}, {2900, 120}, {3900, 130}, {4950, 140}},
		{{350, 60}, {2000, 100}, {2800, 120}, {3600, 150}, {4950, 200}},
		{{270, 60}, {2140, 90}, {2950, 100}, {3900, 120}, {4950, 120}},
		{{450, 70}, {800, 80}, {2830, 100}, {3800, 130}, {4950, 135}},
		{{325, 50}, {700, 60}, {2700, 170}, {3800, 180}, {4950, 200}},
	},
}

// nasal holds the formants of a hum with closed lips (common practice).
var nasal = [5]formant{{250, 80}, {1000, 200}, {2000, 250}, {2700, 300}, {3400, 300}}

// tract returns the formants of the vowel for a note at hz. Where the pitch
// lies above the first formant the singer opens the mouth and the formant
// follows the pitch (Sundberg's formant tuning, from memory).
func (v Voice) tract(vowel Vowel, hz float64) [5]formant {
	var fs [5]formant
	if v.Type == Child {
		fs = formants[Soprano][vowel]
		for i := range fs {
			fs[i].hz *= 1.15
		}
	} else {
		fs = formants[v.Type][vowel]
	}
	fs[0].hz = max(fs[0].hz, hz)
	fs[1].hz = max(fs[1].hz, fs[0].hz+200)
	return fs
}

// resonance returns the magnitude at hz of a cascade of resonances, each 1 at
// 0 Hz: F² / (F² − f² + jfB).
func resonance(fs *[5]formant, hz float64) float64 {
	mag := 1.0
	for i := range fs {
		f := &fs[i]
		re, im := f.hz*f.hz-hz*hz, hz*f.width
		mag *= f.hz * f.hz / math.Sqrt(re*re+im*im)
	}
	return mag
}

// resonancePhase returns the phase of the same cascade, in radians.
func resonancePhase(fs *[5]formant, hz float64) float64 {
	phase := 0.0
	for _, f := range fs {
		phase -= math.Atan2(hz*f.width, f.hz*f.hz-hz*hz)
	}
	return phase
}

// glottal returns the amplitude of harmonic h of f0 in the derivative of the
// glottal flow: a broad maximum at the fundamental, 6 dB an octave down above
// it and 12 above the spectral tilt at 2.5 kHz (after the spectral description
// of glottal pulse models by Doval and d'Alessandro, from memory).
func glottal(h int, f0 float64) float64 {
	x, y := float64(h), float64(h)*f0/2500
	return x / (1 + x*x) / math.Sqrt(1+y*y)
}

// Lengths of the parts of a note, in seconds, and the levels of consonants
// against the vowel in dB: common practice.
const (
	voiceAttack  = 0.060
	voiceRelease = 0.100
	fallTime     = 0.120
	vibratoOnset = 0.25
	burstTime    = 0.012
	plosiveTime  = 0.025 // burst and gap
	nasalTime    = 0.090
	nasalBlend   = 0.030
	hissTime     = 0.110
	burstDB      = -14.0
	hissDB       = -18.0
	nasalDB      = -6.0
)

// Sing sings the notes one after the other. For every sample it also returns
// the instantaneous fundamental frequency in hertz; 0 where nothing voiced
// sounds: in rests, bursts and hisses. The same seed gives the same samples.
func (v Voice) Sing(notes []Sung, seed uint64) (samples, f0 []float64) {
	for i, n := range notes {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		x := make([]float64, samplesIn(n.Duration, v.SampleRate))
		f := make([]float64, len(x))
		if n.Hz > 0 {
			v.sing(x, f, n, rng)
		}
		samples, f0 = append(samples, x...), append(f0, f...)
	}
	return samples, f0
}

// sing fills x and f0 with one note.
func (v Voice) sing(x, f0 []float64, n Sung, rng *rand.Rand) {
	rate := float64(v.SampleRate)
	start := 0
	switch n.Consonant {
	case Plosive:
		v.hiss(x, samplesIn(burstTime, v.SampleRate), n.Level+burstDB, 3000, 0.004, rng)
		start = samplesIn(plosiveTime, v.SampleRate)
	case Fricative:
		start = samplesIn(hissTime, v.SampleRate)
		v.hiss(x, start, n.Level+hissDB, 5000, 1, rng)
	}
	start = min(start, len(x))
	x, f0 = x[start:], f0[start:]
	if len(x) == 0 {
		return
	}
	phase := make([]float64, len(x))
	level := make([]float64, len(x)) // linear, 1 = steady vowel
	v.curves(f0, phase, level, n, rng)
	v.harmonics(x, f0, phase, n)
	gain := fromDB(n.Level)
	voiced := 0.0
	for i := range x {
		x[i] *= gain * level[i] * (1 - n.Creak*(0.5+0.5*math.Cos(phase[i]/2)))
		voiced += x[i] * x[i]
	}
	if math.IsInf(n.BreathDB, 1) {
		return
	}
	fs := v.tract(n.Vowel, n.Hz)
	noise := breath(len(x), rate, fs[:], rng)
	total := 0.0
	for i := range noise {
		noise[i] *= level[i]
		total += noise[i] * noise[i]
	}
	if total == 0 {
		return
	}
	scale := math.Sqrt(voiced/total) * fromDB(-n.BreathDB)
	for i := range x {
		x[i] += scale * noise[i]
	}
}

// curves writes F0, its running phase in radians and the envelope of a note.
func (v Voice) curves(f0, phase, level []float64, n Sung, rng *rand.Rand) {
	rate := float64(v.SampleRate)
	seconds := float64(len(f0)) / rate
	attack, release := min(voiceAttack, seconds/3), min(voiceRelease, seconds/3)
	drift := wander(len(f0), rate, n.DriftCents, rng)
	vibratoPhase := 2 * math.Pi * rng.Float64()
	var jitter, shimmer [2]float64 // at the start and at the end of this glottal cycle
	jitter[1], shimmer[1] = rng.NormFloat64(), rng.NormFloat64()
	turn, at := 1.0, 0.0 // cycles since the last draw; phase in radians
	for i := range f0 {
		t := float64(i) / rate
		if turn >= 1 {
			turn -= math.Floor(turn)
			jitter = [2]float64{jitter[1], rng.NormFloat64()}
			shimmer = [2]float64{shimmer[1], rng.NormFloat64()}
		}
		cents := drift[i] + n.JitterCents*(jitter[0]+(jitter[1]-jitter[0])*turn)
		if n.ScoopSeconds > 0 {
			cents -= n.ScoopCents * (1 - rise(t/n.ScoopSeconds))
		}
		cents -= n.FallCents * rise(1-(seconds-t)/fallTime)
		cents += n.VibratoCents * rise(t/vibratoOnset) * math.Sin(vibratoPhase+2*math.Pi*n.VibratoHz*t)
		if n.Bend != nil {
			cents += n.Bend(t)
		}
		f0[i] = n.Hz * math.Exp2(cents/1200)
		phase[i] = at
		at += 2 * math.Pi * f0[i] / rate
		turn += f0[i] / rate
		level[i] = rise(t/attack) * rise((seconds-t)/release) *
			fromDB(-2*t/seconds+n.ShimmerDB*(shimmer[0]+(shimmer[1]-shimmer[0])*turn))
	}
}

// wander returns n samples of a slow curve of the given RMS: three sines of
// 0.2 … 0.8 Hz with random phases, without the mean they have over n.
func wander(n int, rate, rms float64, rng *rand.Rand) []float64 {
	c := make([]float64, n)
	mean := 0.0
	var start [3]float64
	for j := range start {
		start[j] = 2 * math.Pi * rng.Float64()
	}
	if rms == 0 {
		return c
	}
	for i := range c {
		for j, hz := range [3]float64{0.23, 0.41, 0.79} {
			c[i] += rms * math.Sqrt(2.0/3) * math.Sin(start[j]+2*math.Pi*hz*float64(i)/rate)
		}
		mean += c[i]
	}
	for i := range c {
		c[i] -= mean / float64(n)
	}
	return c
}

// controlStep is the number of samples between two evaluations of the
// harmonics' amplitudes, which are interpolated in between.
const controlStep = 32

// harmonics adds the voiced sound of the note, with RMS 1 at the target.
func (v Voice) harmonics(x, f0, phase []float64, n Sung) {
	rate := float64(v.SampleRate)
	lowest := f0[0]
	for _, f := range f0 {
		lowest = min(lowest, f)
	}
	count := int(bandEdge * rate / lowest)
	vowel, hum := v.tract(n.Vowel, n.Hz), nasal
	// amplitude of harmonic h at fundamental f; blend 1 is the vowel, 0 the hum.
	vowelGain, humGain := 1.0, 1.0
	amplitude := func(h int, f, blend float64) float64 {
		hz := f * float64(h)
		edge := 1 - rise((hz/rate-0.40)/(bandEdge-0.40))
		if edge == 0 {
			return 0
		}
		a := resonance(&vowel, hz)
		a *= blend * vowelGain
		if blend < 1 {
			a += (1 - blend) * humGain * resonance(&hum, hz)
		}
		a *= edge * glottal(h, f)
		if h <= len(n.HarmonicDB) {
			a *= fromDB(n.HarmonicDB[h-1])
		}
		return a
	}
	vowelRMS := rmsOf(count, func(h int) float64 { return amplitude(h, n.Hz, 1) })
	humRMS := rmsOf(count, func(h int) float64 { return amplitude(h, n.Hz, 0) })
	if vowelRMS == 0 || humRMS == 0 {
		return
	}
	vowelGain, humGain = 1/vowelRMS, fromDB(nasalDB)/humRMS

	blend := func(i int) float64 {
		if n.Consonant != Nasal {
			return 1
		}
		return rise((float64(i)/rate - nasalTime + nasalBlend) / nasalBlend)
	}
	// The phases of the tract at the target; they stay, so that each harmonic
	// keeps to its multiple of F0 while the pitch moves.
	sin, cos := make([]float64, count), make([]float64, count)
	for h := range count {
		sin[h], cos[h] = math.Sincos(resonancePhase(&vowel, n.Hz*float64(h+1)))
	}
	sumHarmonics(x, phase, sin, cos, func(dst []float64, i int) {
		i = min(i, len(f0)-1)
		b := blend(i)
		for h := range dst {
			dst[h] = amplitude(h+1, f0[i], b)
		}
	})
}

// sumHarmonics adds harmonics to x: the first is a sine of the running phase, and each has
// a phase of its own, by sine and cosine. Fill gives the amplitudes at a sample, asked for
// each controlStep.
func sumHarmonics(x, phase, sin, cos []float64, fill func(dst []float64, i int)) {
	now, next := make([]float64, len(sin)), make([]float64, len(sin))
	fill(next, 0)
	for from := 0; from < len(x); from += controlStep {
		now, next = next, now
		fill(next, from+controlStep)
		to := min(from+controlStep, len(x))
		i := from
		for ; i+3 < to; i += 4 {
			addFour(x[i:i+4], now, next, sin, cos, phase[i:i+4], i-from)
		}
		if i < to { // the note ends here
			var last, at [4]float64
			copy(at[:], phase[i:to])
			addFour(last[:], now, next, sin, cos, at[:], i-from)
			for j := range x[i:to] {
				x[i+j] += last[j]
			}
		}
	}
}

// addFour adds the sums of the harmonics to four samples of x, the first of which
// lies past samples after the amplitudes were now. Four at once, since what a
// harmonic is, is read once for all.
func addFour(x, now, next, sin, cos, phase []float64, past int) {
	next, sin, cos = next[:len(now)], sin[:len(now)], cos[:len(now)]
	part0, part1, part2, part3 := float64(past)/controlStep, float64(past+1)/controlStep, float64(past+2)/controlStep, float64(past+3)/controlStep
	wi0, wr0 := math.Sincos(phase[0])
	wi1, wr1 := math.Sincos(phase[1])
	wi2, wr2 := math.Sincos(phase[2])
	wi3, wr3 := math.Sincos(phase[3])
	re0, im0, re1, im1 := wr0, wi0, wr1, wi1
	re2, im2, re3, im3 := wr2, wi2, wr3, wi3
	sum0, sum1, sum2, sum3 := 0.0, 0.0, 0.0, 0.0
	for h, a := range now {
		step, s, c := next[h]-a, sin[h], cos[h]
		sum0 += (a + step*part0) * (im0*c + re0*s)
		sum1 += (a + step*part1) * (im1*c + re1*s)
		sum2 += (a + step*part2) * (im2*c + re2*s)
		sum3 += (a + step*part3) * (im3*c + re3*s)
		re0, im0 = re0*wr0-im0*wi0, re0*wi0+im0*wr0
		re1, im1 = re1*wr1-im1*wi1, re1*wi1+im1*wr1
		re2, im2 = re2*wr2-im2*wi2, re2*wi2+im2*wr2
		re3, im3 = re3*wr3-im3*wi3, re3*wi3+im3*wr3
	}
	x[0] += sum0
	x[1] += sum1
	x[2] += sum2
	x[3] += sum3
}

// rmsOf returns the RMS of a sum of harmonics of the given amplitudes.
func rmsOf(count int, amplitude func(h int) float64) float64 {
	power := 0.0
	for h := 1; h <= count; h++ {
		a := amplitude(h)
		power += a * a / 2
	}
	return math.Sqrt(power)
}

// hiss adds n samples of noise around hz at the given RMS level in dBFS before
// fading; fade is the time in seconds in which it dies to 1/e.
func (v Voice) hiss(x []float64, n int, level, hz, fade float64, rng *rand.Rand) {
	rate := float64(v.SampleRate)
	noise := breath(n, rate, []formant{{min(hz, 0.35*rate), 1500}}, rng)
	unitRMS(noise)
	for i := range min(n, len(x)) {
		t := float64(i) / rate
		x[i] += fromDB(level) * noise[i] * rise(t/0.001) * rise(float64(n-i)/rate/0.004) * expE(-t/fade)
	}
}

// breath returns n samples of turbulence shaped by formants: white noise that
// rises by 6 dB an octave from the mouth, through resonances twice as wide as
// those of the voice, since the glottis is open. An eighth of it by amplitude
// is not shaped: the hiss at the teeth, above the formants.
func breath(n int, rate float64, fs []formant, rng *rand.Rand) []float64 {
	x := make([]float64, n)
	last := 0.0
	for i := range x {
		w := rng.NormFloat64()
		x[i], last = w-0.9*last, w
	}
	hiss := slices.Clone(x)
	for _, f := range fs {
		if f.hz > bandEdge*rate {
			continue
		}
		r := expE(-math.Pi * 2 * f.width / rate)
		b1, b2 := 2*r*math.Cos(2*math.Pi*f.hz/rate), -r*r
		y1, y2 := 0.0, 0.0
		for i := range x {
			y := (1-b1-b2)*x[i] + b1*y1 + b2*y2
			y1, y2 = y, y1
			x[i] = y
		}
	}
	unitRMS(x)
	unitRMS(hiss)
	for i := range x {
		x[i] += hiss[i] / 8
	}
	return x
}

// unitRMS scales x to RMS 1; silence stays silence.
func unitRMS(x []float64) {
	sum := 0.0
	for _, s := range x {
		sum += s * s
	}
	if sum == 0 {
		return
	}
	scale := math.Sqrt(float64(len(x)) / sum)
	for i := range x {
		x[i] *= scale
	}
}
