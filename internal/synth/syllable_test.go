package synth

import (
	"fmt"
	"math"
	"testing"

	"singback/theory"
)

// What singers and speakers have as formants of a e i o, in hertz: the singers' table of the
// Csound manual (bass, tenor, alto, soprano) and the means of Hillenbrand et al. 1995 for men,
// women and children; the spoken e is that of head.
// A child's sung vowels are the soprano's times 1.15 (common practice).
var (
	sungFormants = map[VoiceType][4][5]float64{
		Bass:    {{600, 1040, 2250, 2450, 2750}, {400, 1620, 2400, 2800, 3100}, {250, 1750, 2600, 3050, 3340}, {400, 750, 2400, 2600, 2900}},
		Tenor:   {{650, 1080, 2650, 2900, 3250}, {400, 1700, 2600, 3200, 3580}, {290, 1870, 2800, 3250, 3540}, {400, 800, 2600, 2800, 3000}},
		Alto:    {{800, 1150, 2800, 3500, 4950}, {400, 1600, 2700, 3300, 4950}, {350, 1700, 2700, 3700, 4950}, {450, 800, 2830, 3500, 4950}},
		Soprano: {{800, 1150, 2900, 3900, 4950}, {350, 2000, 2800, 3600, 4950}, {270, 2140, 2950, 3900, 4950}, {450, 800, 2830, 3800, 4950}},
		Child:   {{920, 1322, 3335, 4485, 5692}, {402, 2300, 3220, 4140, 5692}, {310, 2461, 3392, 4485, 5692}, {517, 920, 3254, 4370, 5692}},
	}
	spokenFormants = map[VoiceType][4][2]float64{
		Bass:    {{768, 1333}, {580, 1799}, {342, 2322}, {497, 910}},
		Tenor:   {{768, 1333}, {580, 1799}, {342, 2322}, {497, 910}},
		Alto:    {{936, 1551}, {731, 2058}, {437, 2761}, {555, 1035}},
		Soprano: {{936, 1551}, {731, 2058}, {437, 2761}, {555, 1035}},
		Child:   {{1002, 1688}, {749, 2267}, {452, 3081}, {597, 1137}},
	}
)

// tractScale is by how much a voice's resonances lie above a man's: the ratio of the mean
// formants of Hillenbrand's women and children to his men's, within 4 %.
var tractScale = map[VoiceType]float64{Bass: 1, Tenor: 1, Alto: 1.15, Soprano: 1.15, Child: 1.25}

// pitchesOf are those at which syllables are tried, over the range of a voice.
var pitchesOf = map[VoiceType][]float64{
	Bass: {87.3, 110, 146.8, 196, 261.6}, Tenor: {123.5, 164.8, 220, 293.7, 392},
	Alto: {174.6, 220, 293.7, 392, 523.3}, Soprano: {246.9, 329.6, 440, 523.3, 659.3}, Child: {220, 293.7, 392, 493.9, 587.3},
}

// all seventeen syllables of movable do.
var syllables = []string{"do", "re", "mi", "fa", "sol", "la", "ti", "di", "ri", "fi", "si", "li", "ra", "me", "se", "le", "te"}

// syllableRate is the sample rate of these tests.
const syllableRate = 24000

var cMajor = theory.Key{Tonic: theory.Note{Letter: theory.C}}

// singing returns a syllable that a model sings.
func singing(t testing.TB, m Model, syllable string, hz, seconds float64) []float64 {
	t.Helper()
	d, err := theory.ParseDegree(syllable, cMajor, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	return m.Render([]Timed{{Hz: hz, Duration: seconds, Key: cMajor, Pitch: cMajor.Pitch(d, 4)}})
}

// heardSyllable is what is measured of one syllable, of the sound alone.
type heardSyllable struct {
	hz               float64
	vowel            []float64 // the steady vowel
	onset            int       // sample at which the vowel begins
	sonorant         []float64 // a stretch of voice before it, if there is one
	noiseMS, noiseDB float64   // of what is voiceless before it, beside the vowel
	noise            []float64
	closed           float64 // ms of less than −40 dB, or of a weak voice, before the vowel
	beforeVoiced     bool    // and that is a voice
}

// hearSyllable takes a syllable of so many seconds of vowel apart: by levels and by the
// autocorrelation at the vowel's own period.
func hearSyllable(x []float64, rate float64, low, high float64) heardSyllable {
	var h heardSyllable
	n := len(x)
	h.vowel = x[n-int(0.27*rate) : n-int(0.13*rate)]
	h.hz = rate / longPeriod(h.vowel, rate, low, high)
	rms := func(x []float64) float64 {
		sum := 1e-14
		for _, v := range x {
			sum += v * v
		}
		return 10 * math.Log10(sum/float64(len(x)))
	}
	ref := rms(h.vowel)
	hop, window := int(0.004*rate), int(max(0.012*rate, 2.2*rate/h.hz))
	like := func(at int) float64 {
		best := 0.0
		for lag := int(0.95 * rate / h.hz); lag <= int(1.05*rate/h.hz)+1; lag++ {
			var ab, aa, bb float64
			for i := at; i < at+window && i+lag < n; i++ {
				a, b := x[i], x[i+lag]
				ab, aa, bb = ab+a*b, aa+a*a, bb+b*b
			}
			best = max(best, ab/math.Sqrt(aa*bb+1e-14))
		}
		return best
	}
	type frame struct {
		db     float64
		voiced bool
	}
	var frames []frame
	for at := 0; at+window < n-int(0.3*rate); at += hop {
		f := frame{db: rms(x[at:at+window]) - ref}
		f.voiced = f.db > -45 && like(at) > 0.75
		frames = append(frames, f)
	}
	first := len(frames) - 1
	for first > 0 && frames[first-1].voiced && frames[first-1].db > -3.5 {
		first--
	}
	h.onset = first * hop
	for i := first - 1; i >= 0; i-- {
		f := frames[i]
		switch {
		case f.voiced && f.db > -15:
			continue
		case !f.voiced && f.db > -42:
			h.noiseMS += 4
			at := i * hop
			h.noise = append(append([]float64{}, x[at:at+hop]...), h.noise...)
		default:
			h.closed += 4
			h.beforeVoiced = h.beforeVoiced || f.voiced && i < first-10 // not the voice that begins
		}
	}
	if len(h.noise) > 0 {
		h.noiseDB = rms(h.noise) - ref
	}
	if i := first - int(0.040*rate)/hop; i >= 0 && frames[i].voiced && frames[i].db > -15 {
		at := max(0, h.onset-int(0.065*rate))
		h.sonorant = x[at : at+int(0.045*rate)]
	}
	return h
}

// envelope is the level in dB at hz of a tract with these formants behind a source that
// falls by 6 dB an octave: a template.
func envelope(hz float64, f []float64, width float64) float64 {
	db := -20 * math.Log10(hz/100)
	for _, f := range f {
		x, y := 1-hz*hz/(f*f), hz*width/(f*f)
		db -= 10 * math.Log10(x*x+y*y)
	}
	return db
}

// unlike is how far the partials of hz are from a template, in dB, whatever the level; what is
// 40 dB under the strongest counts for nothing.
func unlike(levels []float64, hz float64, template func(hz float64) float64) float64 {
	loudest, highest := -300.0, -300.0
	for i, a := range levels {
		loudest, highest = max(loudest, 20*math.Log10(a+1e-7)), max(highest, template(hz*float64(i+1)))
	}
	var sum, mean, weights float64
	for i, a := range levels {
		got, want := 20*math.Log10(a+1e-7)-loudest, template(hz*float64(i+1))-highest
		w := max(0.02, 1+max(got, want)/40)
		mean, sum, weights = mean+w*(got-want), sum+w*(got-want)*(got-want), weights+w
	}
	return math.Sqrt(sum/weights - mean*mean/weights/weights)
}

// vowelOf returns which of a e i o lies nearest: templates are the places half-way between
// the singers' formants and the speakers', F1 raised to the pitch as singers do.
func (h *heardSyllable) vowelOf(v VoiceType, rate float64) byte {
	best, which := math.Inf(1), byte('?')
	levels := partialLevels(h.vowel, rate, h.hz, 3200*tractScale[v])
	for i, letter := range []byte("aeio") {
		sung, spoken := sungFormants[v][i], spokenFormants[v][i]
		f := []float64{max(math.Sqrt(sung[0]*spoken[0]), h.hz), math.Sqrt(sung[1] * spoken[1]), sung[2], sung[3], sung[4]}
		d := unlike(levels, h.hz, func(hz float64) float64 { return envelope(hz, f, max(90, h.hz/5)) })
		if d < best {
			best, which = d, letter
		}
	}
	return which
}

// consonantOf returns which consonant lies nearest. Of one with a voice before the vowel
// the templates are the formants of m l r (Klatt 1980, second-hand: m's murmur at 270 Hz);
// of others the length of what is voiceless and its level: burst and voice-onset time of d
// up to 30 ms, of t 60 to 90; noise of s 100 to 180 ms, of f 80 to 130 and 20 dB weaker.
func (h *heardSyllable) consonantOf(v VoiceType, rate float64) byte {
	best, which := math.Inf(1), byte('?')
	if h.sonorant != nil {
		s := tractScale[v]
		strongest, hz := 0.0, h.hz
		for by := 0.97; by < 1.01; by += 0.003 { // it glides into the pitch
			sum := 0.0
			for _, a := range partialLevels(h.sonorant, rate, by*h.hz, 2000) {
				sum += a
			}
			if sum > strongest {
				strongest, hz = sum, by*h.hz
			}
		}
		levels := partialLevels(h.sonorant, rate, hz, 3300*s)
		for letter, f := range map[byte][]float64{
			'm': {270, 1270 * s, 2130 * s, 3400 * s},
			'l': {310 * s, 1050 * s, 2880 * s, 3400 * s},
			'r': {310 * s, 1060 * s, 1380 * s, 3400 * s},
		} {
			if letter != 'm' {
				f[0] = max(f[0], hz)
			}
			d := unlike(levels, hz, func(hz float64) float64 {
				db := envelope(hz, f, max(110, h.hz/5))
				if letter == 'm' { // the zero of the nose
					x, y := 1-hz*hz/(1000*1000*s*s), hz*200/(1000*1000*s*s)
					db += 10 * math.Log10(x*x+y*y)
					first := max(480*s, h.hz)
					x, y = 1-hz*hz/(first*first), hz*150/(first*first)
					db -= 10 * math.Log10(x*x+y*y)
				}
				return db
			})
			if d < best {
				best, which = d, letter
			}
		}
		return which
	}
	for letter, cue := range map[byte][2]float64{'d': {15, -20}, 't': {75, -20}, 's': {140, -12}, 'f': {105, -32}} {
		if d := math.Hypot((h.noiseMS-cue[0])/25, (h.noiseDB-cue[1])/6); d < best {
			best, which = d, letter
		}
	}
	return which
}

// Every syllable is told from all others by what is measured of its sound, over all voices
// and their ranges.
func TestSyllablesAreToldApart(t *testing.T) {
	wrong, all := 0, 0
	confused := map[string]int{}
	for v := Bass; v <= Child; v++ {
		for i, hz := range pitchesOf[v] {
			if testing.Short() && i%2 == 1 {
				continue
			}
			m := Model{SampleRate: syllableRate, Type: v, Level: DefaultLevel}
			for _, s := range syllables {
				h := hearSyllable(singing(t, m, s, hz, 0.45), syllableRate, 70, 800)
				heard := fmt.Sprintf("%c%c", h.consonantOf(v, syllableRate), h.vowelOf(v, syllableRate))
				all++
				if heard != s[:2] {
					wrong++
					confused[fmt.Sprintf("%s as %s", s[:2], heard)]++
					t.Errorf("%v at %.0f Hz: %s is heard as %s (noise %.0f ms %.0f dB, sonorant %v)", v, hz, s, heard, h.noiseMS, h.noiseDB, h.sonorant != nil)
				}
			}
		}
	}
	t.Logf("%d of %d syllables right; confused: %v", all-wrong, all, confused)
}
