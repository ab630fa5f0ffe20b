package synth

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"
)

// plain is a note without any of the traits of a voice that move.
func plain(hz, seconds float64) Sung {
	return Sung{Hz: hz, Duration: seconds, Level: -20, BreathDB: math.Inf(1)}
}

// comfortable holds a note in the middle of each voice, and one near the top.
var comfortable = map[VoiceType][2]float64{
	Bass: {98, 311}, Tenor: {147, 440}, Alto: {262, 587}, Soprano: {392, 880}, Child: {330, 698},
}

// The truth is compared with the samples in two ways that know nothing of the
// synthesis: the period of the waveform, and the phase of the first harmonic
// against a pointer that turns with the stated F0.
func TestF0IsTrue(t *testing.T) {
	const rate = 22050
	worstPeriod, worstPhase := 0.0, 0.0
	for voice := Bass; voice <= Child; voice++ {
		for vowel := A; vowel <= U; vowel++ {
			for _, hz := range comfortable[voice] {
				n := plain(hz, 0.9)
				n.Vowel, n.DriftCents, n.VibratoHz, n.VibratoCents = vowel, 6, 5.5, 30
				n.ScoopCents, n.ScoopSeconds, n.FallCents = 150, 0.15, 40
				x, f0 := Voice{rate, voice}.Sing([]Sung{n}, 3)
				name := fmt.Sprintf("%v on %c at %g Hz", voice, "aeiou"[vowel], hz)

				turned := 0.0
				pointer := make([]complex128, len(x))
				for i, f := range f0 {
					pointer[i] = cmplx.Rect(x[i], -turned)
					turned += 2 * math.Pi * f / rate
				}
				const window = rate / 20
				phase := func(at int) complex128 {
					var sum complex128
					for i := range window {
						sum += pointer[at+i] * complex(0.5-0.5*math.Cos(2*math.Pi*float64(i)/window), 0)
					}
					return sum
				}
				for at := rate / 20; at+window+rate/10 < len(x); at += rate / 10 {
					gap := cmplx.Phase(phase(at+rate/20) / phase(at))
					off := gap / (2 * math.Pi) * 20 / hz * 1200 / math.Ln2
					worstPhase = max(worstPhase, math.Abs(off))
					if math.Abs(off) > 1 {
						t.Errorf("%s: at %d ms the first harmonic is %.2f cents from the stated F0, want within 1", name, at*1000/rate, off)
					}
				}

				frame := int(3.5 * rate / hz)
				for at := rate / 4; at+frame < len(x)-rate/8; at += rate / 10 {
					got := period(x[at:at+frame], rate, hz*0.7, hz*1.4)
					off := cents(got, f0[at+frame/2])
					worstPeriod = max(worstPeriod, math.Abs(off))
					if !(math.Abs(off) < 5) {
						t.Errorf("%s: at %d ms the period says %.2f Hz, the truth is %.2f: %.1f cents", name, at*1000/rate, got, f0[at+frame/2], off)
					}
				}
			}
		}
	}
	t.Logf("worst: %.2f cents by phase, %.2f cents by period", worstPhase, worstPeriod)
}

func TestTraitsOfANote(t *testing.T) {
	const rate = 22050
	v := Voice{rate, Tenor}
	n := plain(220, 2)
	track := func(n Sung) (c []float64) { // cents from the target, every 5 ms, as heard
		x, _ := v.Sing([]Sung{n}, 11)
		frame := 3 * rate / 220
		for at := 0; at+frame < len(x); at += rate / 200 {
			c = append(c, cents(period(x[at:at+frame], rate, 150, 320), n.Hz))
		}
		return c
	}
	t.Run("vibrato", func(t *testing.T) {
		n := n
		n.VibratoHz, n.VibratoCents = 6, 70
		c := track(n)[80:360] // 0.4 … 1.8 s
		bestHz, best := 0.0, 0.0
		for hz := 4.0; hz <= 8; hz += 0.02 {
			var sum complex128
			for i, v := range c {
				w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(c)))
				sum += complex(v*w, 0) * cmplx.Rect(4/float64(len(c)), -2*math.Pi*hz*float64(i)/200)
			}
			if a := cmplx.Abs(sum); a > best {
				bestHz, best = hz, a
			}
		}
		if math.Abs(bestHz-6) > 0.05 || math.Abs(best-70) > 3 {
			t.Errorf("vibrato of %.2f Hz and ±%.1f cents, want 6 Hz and ±70", bestHz, best)
		}
	})
	t.Run("scoop", func(t *testing.T) {
		n := n
		n.ScoopCents, n.ScoopSeconds = 200, 0.12
		c := track(n)
		// A raised cosine is half way at half its time; a frame of 14 ms
		// that starts at 55 ms is centred there.
		if c[0] > -180 || math.Abs(c[11]+100) > 25 || math.Abs(c[30]) > 2 {
			t.Errorf("scoop of %.0f cents at the start, %.0f after 62 ms, %.1f after 157 ms; want about -197, -100, 0", c[0], c[11], c[30])
		}
	})
	t.Run("fall", func(t *testing.T) {
		n := n
		n.FallCents = 80
		c := track(n)
		if last := c[len(c)-1]; math.Abs(c[370]) > 2 || last > -70 || last < -81 {
			t.Errorf("%.1f cents at 1.86 s and %.1f at the end, want 0 and about -79", c[370], last)
		}
	})
	t.Run("drift", func(t *testing.T) {
		n := n
		n.DriftCents = 10
		c := track(n)[10:380]
		mean, sd := meanSD(c)
		if math.Abs(mean) > 2 || sd < 4 || sd > 16 {
			t.Errorf("drift has mean %.1f and SD %.1f cents, want about 0 and 10", mean, sd)
		}
	})
	t.Run("jitter", func(t *testing.T) {
		n := n
		n.Duration, n.JitterCents = 6, 20
		_, f0 := v.Sing([]Sung{n}, 5)
		// One value a cycle: the mean of F0 between two turns of the phase.
		var perCycle []float64
		turn, last := 0.0, 0
		for i, f := range f0 {
			if turn += f / rate; turn >= 1 {
				turn--
				sum := 0.0
				for _, f := range f0[last : i+1] {
					sum += cents(f, n.Hz)
				}
				perCycle = append(perCycle, sum/float64(i+1-last))
				last = i + 1
			}
		}
		// The mean of a line between two draws of SD 20 has SD 20/√2.
		if _, sd := meanSD(perCycle); math.Abs(sd-14.14) > 1.5 {
			t.Errorf("cycles have an SD of %.1f cents, want 14.1", sd)
		}
	})
	t.Run("level", func(t *testing.T) {
		for _, level := range []float64{-20, -40} {
			n := n
			n.Level = level
			x, _ := v.Sing([]Sung{n}, 5)
			// The middle of a note is 1 dB down: it loses 2 dB from start to end.
			if got := toDB(rms(x[rate*9/10 : rate*11/10])); math.Abs(got-level+1) > 0.1 {
				t.Errorf("level %.2f dBFS, want %g", got, level-1)
			}
		}
	})
	t.Run("shimmer", func(t *testing.T) {
		n := n
		spread := func() float64 {
			x, _ := v.Sing([]Sung{n}, 5)
			var c []float64
			for at := rate / 4; at < rate*3/2; at += rate / 220 {
				c = append(c, toDB(rms(x[at:at+rate/220])))
			}
			_, sd := meanSD(c)
			return sd
		}
		still := spread()
		n.ShimmerDB = 1
		if got := spread(); got < still+0.3 {
			t.Errorf("cycles differ by %.2f dB, without shimmer by %.2f: want more", got, still)
		}
	})
	t.Run("creak", func(t *testing.T) {
		n := n
		n.Hz = 100
		sub := func() float64 { // the level of F0/2·3 against F0
			x, _ := v.Sing([]Sung{n}, 5)
			return toDB(cmplx.Abs(tone(x[rate/2:rate*3/2], rate, 150)) / cmplx.Abs(tone(x[rate/2:rate*3/2], rate, 100)))
		}
		clean := sub()
		n.Creak = 0.3
		if got := sub(); clean > -60 || got < -25 {
			t.Errorf("half way between harmonics: %.0f dB without creak, %.0f with; want below -60 and above -25", clean, got)
		}
	})
	t.Run("harmonics", func(t *testing.T) {
		n := n
		amplitude := func(h float64) float64 {
			x, _ := v.Sing([]Sung{n}, 5)
			return cmplx.Abs(tone(x[rate/2:rate*3/2], rate, 220*h))
		}
		ratio := amplitude(2) / amplitude(3)
		n.HarmonicDB = []float64{math.Inf(-1), 12}
		if got := amplitude(1) / amplitude(3); got > 1e-4 {
			t.Errorf("the missing fundamental has %g times the third harmonic's amplitude", got)
		}
		if got := toDB(amplitude(2) / amplitude(3) / ratio); math.Abs(got-12) > 0.05 {
			t.Errorf("the second harmonic is up by %.2f dB, want 12", got)
		}
	})
}

func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean) / float64(len(v)-1)
	}
	return mean, math.Sqrt(sd)
}

func TestBreathIsAsAsked(t *testing.T) {
	const rate, hz = 22050, 220.0
	for voice := Bass; voice <= Child; voice++ {
		for _, want := range []float64{0, 10, 30}[voice%2:] {
			n := plain(hz, 4)
			n.BreathDB = want
			x, _ := Voice{rate, voice}.Sing([]Sung{n}, 9)
			// Power in bands of ±8 Hz around the harmonics, and what lies
			// between, which is noise alone; noise below the bands is taken
			// to be as strong as beside them.
			x = x[rate/2 : rate/2+1<<16]
			p := spectrum(x)
			voiced, noise := 0.0, 0.0
			for k := 0.0; k < rate/2/hz; k++ {
				beside := band(p, len(x), rate, (k-0.5)*hz, k*hz-8) + band(p, len(x), rate, k*hz+8, (k+0.5)*hz)
				near := band(p, len(x), rate, k*hz-8, k*hz+8)
				under := 0.0
				for _, side := range []float64{-24, 8} {
					under += band(p, len(x), rate, k*hz+side, k*hz+side+16) / 2
				}
				noise += beside + under
				voiced += near - under
			}
			if got := 10 * math.Log10(voiced/noise); math.Abs(got-want) > 0.5 {
				t.Errorf("%v: harmonics %.2f dB above the breath, want %g ± 0.5", voice, got, want)
			}
		}
	}
}

func TestVoiceDoesNotAlias(t *testing.T) {
	const rate = 22050
	for voice := Bass; voice <= Child; voice++ {
		hz := comfortable[voice][1]
		x, _ := Voice{rate, voice}.Sing([]Sung{plain(hz, 2)}, 1)
		x = x[rate/2 : rate/2+1<<14]
		p := spectrum(x)
		all := band(p, len(x), rate, 0, rate/2)
		between := 0.0
		for k := 0.0; k < rate/2/hz; k++ {
			between += band(p, len(x), rate, k*hz+20, (k+1)*hz-20)
		}
		if db := 10 * math.Log10(between/all); db > -80 {
			t.Errorf("%v at %g Hz: %.1f dB between the harmonics, want at most -80", voice, hz, db)
		}
	}
}

// The strongest harmonic of a low note lies at the first formant, the ear's
// mark of the vowel: for a bass ah 600 Hz, for a tenor ee 290 Hz, for a
// soprano oh 450 Hz (FOF tables, from memory).
func TestVowelsHaveTheirFormants(t *testing.T) {
	const rate = 22050
	for _, c := range []struct {
		voice VoiceType
		vowel Vowel
		want  float64
	}{{Bass, A, 600}, {Tenor, I, 290}, {Soprano, O, 450}, {Child, A, 920}} {
		n := plain(50, 1)
		n.Vowel = c.vowel
		x, _ := Voice{rate, c.voice}.Sing([]Sung{n}, 1)
		loudest, at := 0.0, 0.0
		for k := 1.0; k < 40; k++ {
			if a := cmplx.Abs(tone(x[rate/4:rate*3/4], rate, 50*k)); a > loudest {
				loudest, at = a, 50*k
			}
		}
		if math.Abs(at-c.want) > 50 {
			t.Errorf("%v on %c is strongest at %g Hz, want within 50 Hz of %g", c.voice, "aeiou"[c.vowel], at, c.want)
		}
	}
}

func TestConsonantsAndRests(t *testing.T) {
	const rate = 48000
	v := Voice{rate, Alto}
	for _, c := range []struct {
		consonant Consonant
		unvoiced  int // samples
	}{{NoConsonant, 0}, {Plosive, rate * 25 / 1000}, {Nasal, 0}, {Fricative, rate * 110 / 1000}} {
		n := plain(300, 0.5)
		n.Consonant = c.consonant
		x, f0 := v.Sing([]Sung{Rest(0.1), n, Rest(0.2)}, 4)
		if len(x) != rate*8/10 || len(f0) != len(x) {
			t.Fatalf("consonant %d: %d samples and %d of F0, want %d", c.consonant, len(x), len(f0), rate*8/10)
		}
		start := rate / 10
		for i, f := range f0 {
			voiced := i >= start+c.unvoiced && i < start+rate/2
			if (f > 0) != voiced {
				t.Errorf("consonant %d: F0 is %g at %.1f ms", c.consonant, f, float64(i)*1000/rate)
				break
			}
		}
		if peak(x[:start]) != 0 || peak(x[start+rate/2:]) != 0 {
			t.Errorf("consonant %d: rests are not silent", c.consonant)
		}
		if c.unvoiced > 0 {
			// Noise is far from periodic, and far from silent.
			if r := toDB(rms(x[start:start+c.unvoiced]) / rms(x[start+rate/5:start+rate/4])); r > -8 || r < -40 {
				t.Errorf("consonant %d: %.0f dB against the vowel, want -40 to -8", c.consonant, r)
			}
		}
		if c.consonant == Nasal {
			hum, vowel := x[start+rate/50:start+rate/20], x[start+rate/5:start+rate*23/100]
			brightness := func(x []float64) float64 {
				p := spectrum(x)
				return band(p, len(x), rate, 700, 5000) / band(p, len(x), rate, 0, 5000)
			}
			if h, w := brightness(hum), brightness(vowel); h > w/3 {
				t.Errorf("the hum has %.3f of its power above 700 Hz, the vowel %.3f: want a darker hum", h, w)
			}
		}
	}
}

func TestVoiceStartsAndEndsSoftly(t *testing.T) {
	const rate = 44100
	x, _ := Voice{rate, Soprano}.Sing([]Sung{plain(440, 1)}, 4)
	held := bend(x[rate*4/10 : rate*6/10])
	if s, e := bend(x[:rate/20]), bend(x[len(x)-rate/20:]); s > held || e > held {
		t.Errorf("second differences: start %g, end %g, held %g: want no click", s, e, held)
	}
	if math.Abs(x[0]) > 1e-6 || math.Abs(x[len(x)-1]) > 1e-6 {
		t.Errorf("starts at %g and ends at %g, want nearly 0", x[0], x[len(x)-1])
	}
}

func TestSameSeedSameSong(t *testing.T) {
	v := Voice{8000, Child}
	notes := []Sung{NewSung(400, 0.3), Rest(0.1), NewSung(450, 0.3)}
	a, fa := v.Sing(notes, 1)
	b, fb := v.Sing(notes, 1)
	c, _ := v.Sing(notes, 2)
	if !slices.Equal(a, b) || !slices.Equal(fa, fb) {
		t.Error("the same seed gives two songs")
	}
	if slices.Equal(a, c) {
		t.Error("another seed gives the same song")
	}
}

// Whatever the traits, a voice gives finite samples.
func TestExtremeNotes(t *testing.T) {
	for _, n := range []Sung{
		NewSung(65, 0.001), NewSung(1200, 0), NewSung(20, 0.05), NewSung(3900, 0.05), NewSung(200, 0.01),
		{Hz: 100, Duration: 0.02, Consonant: Fricative}, {Hz: 100, Duration: 0.05, Creak: 1, BreathDB: -20},
		{Hz: 300, Duration: 0.05, HarmonicDB: []float64{math.Inf(-1)}, BreathDB: math.Inf(1)},
	} {
		for _, rate := range []int{8000, 48000} {
			x, f0 := Voice{rate, Bass}.Sing([]Sung{n}, 1)
			for i := range x {
				if math.IsNaN(x[i]) || math.IsInf(x[i], 0) || math.IsNaN(f0[i]) {
					t.Errorf("%+v at %d Hz: sample %d is %g, F0 %g", n, rate, i, x[i], f0[i])
					break
				}
			}
		}
	}
}
