package listen

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// made is a source of made takes.
type made struct{ *rand.Rand }

func (m made) between(a, b float64) float64 { return a + (b-a)*m.Float64() }

// level scales x in place so that what sounds of it has an RMS of so many dBFS.
func level(x []float64, db float64) []float64 {
	sounding := slices.DeleteFunc(slices.Clone(x), func(v float64) bool { return v == 0 })
	return testkit.Scale(x, math.Pow(10, db/20)/testkit.RMS(sounding))
}

// heard puts x where it is heard: dry, in a room or by a small microphone, in noise,
// after a while.
func (m made) heard(x []float64, db float64) []float64 {
	switch m.IntN(4) {
	case 0:
		x = synth.Room{RT60: m.between(0.2, 0.7), DirectDB: m.between(-2, 8)}.Reverb(x, rate, m.Uint64())
	case 1:
		synth.SmallMicrophone(x, rate)
	}
	x = slices.Concat(silence(m.between(0.1, 1)), level(x, db), silence(1))
	for i, n := range synth.Pink(len(x), m.Uint64()) {
		x[i] += 0.0005 * n // -66 dBFS
	}
	return x
}

// chord is 2 to 4 tones of a usual chord, or of an open fifth, anywhere in the
// keyboard's middle.
func (m made) chord() synth.Phrase {
	steps := [][]float64{{0, 4, 7}, {0, 3, 7}, {0, 4, 7, 10}, {0, 3, 6, 10}, {0, 7}, {0, 4}, {0, 7, 16}, {0, 5, 9}, {0, 12, 16, 19}}
	root := 440 * math.Exp2(float64(m.IntN(28)-30)/12)
	var p synth.Phrase
	seconds, steady := m.between(0.8, 2.5), m.IntN(2) == 0
	for _, s := range steps[m.IntN(len(steps))] {
		p = append(p, synth.Sound{Hz: root * math.Exp2(s/12), Duration: seconds, Steady: steady})
	}
	return p
}

// voice is a note as a singer with a drift of 2 cents and more sings it. Those of real
// singers stray more.
func (m made) voice(hz, seconds float64) []float64 {
	n := synth.NewSung(hz, seconds)
	n.Vowel, n.Consonant = synth.Vowel(m.IntN(5)), synth.Consonant(m.IntN(4))
	n.ScoopCents, n.BreathDB = m.between(0, 100), m.between(18, 35)
	n.VibratoCents = max(0, m.between(-20, 50))
	n.DriftCents, n.JitterCents = m.between(2, 6), m.between(2, 6)
	kind := synth.Tenor
	if hz > 260 {
		kind = synth.Soprano
	}
	x, _ := synth.Voice{SampleRate: rate, Type: kind}.Sing([]synth.Sung{n}, m.Uint64())
	return x
}

// What is no voice is never judged as an answer, and what is one always is. The takes
// are made anew here; what the limits were chosen on was made by another generator.
func TestWhatIsNoVoice(t *testing.T) {
	m := made{rand.New(rand.NewPCG(2026, 3))}
	keyboard := synth.Keyboard{SampleRate: rate, Level: -12}
	hzOf := func() float64 { return 440 * math.Exp2(m.between(-26, 3)/12) }
	for _, c := range []struct {
		name  string
		least int // of 40, that must come out so
		sung  bool
		take  func() (x []float64, hz float64)
	}{
		{"a chord", 40, false, func() ([]float64, float64) {
			return m.heard(keyboard.Render(m.chord()), m.between(-35, -15)), 0
		}},
		{"the own prompt", 40, false, func() ([]float64, float64) {
			x := keyboard.Render(synth.Phrase{{Hz: hzOf(), Duration: m.between(0.6, 2)}})
			x = x[m.IntN(len(x)/3):] // its beginning was not heard
			return m.heard(x, m.between(-40, -15)), 0
		}},
		{"a tone over hum", 38, false, func() ([]float64, float64) {
			x := testkit.Scale(testkit.Tone(rate, m.between(1.5, 3), testkit.Steady(m.between(150, 900)), testkit.Harmonics(1+m.IntN(8), 9)), 1)
			hum := synth.Hum(len(x), rate, []float64{50, 60}[m.IntN(2)])
			g := math.Pow(10, m.between(-45, -18)/20)
			for i := range x {
				x[i] += g * hum[i]
			}
			return m.heard(x, m.between(-35, -15)), 0
		}},
		{"speech", 39, false, func() ([]float64, float64) {
			return m.heard(testkit.Speech(rate, m.between(0.5, 2.5), m.Uint64()), m.between(-30, -15)), 0
		}},
		{"a singer", 40, true, func() ([]float64, float64) {
			hz := hzOf()
			return m.heard(m.voice(hz, m.between(0.6, 2.2)), m.between(-30, -15)), hz
		}},
		{"a singer after speech", 39, true, func() ([]float64, float64) {
			hz := hzOf()
			x := level(m.voice(hz, m.between(0.8, 2.2)), m.between(-25, -18))
			return m.heard(slices.Concat(testkit.Speech(rate, m.between(0.3, 1.2), m.Uint64()), silence(m.between(0, 1)), x), -20), hz
		}},
		{"a singer over hum", 38, true, func() ([]float64, float64) {
			hz := hzOf()
			x := level(m.voice(hz, m.between(0.8, 2.2)), -20)
			for i, h := range synth.Hum(len(x), rate, []float64{50, 60}[m.IntN(2)]) {
				x[i] += 0.01 * h // 20 dB below
			}
			return m.heard(x, -20), hz
		}},
		{"a singer over a held fifth", 39, true, func() ([]float64, float64) {
			hz := hzOf()
			x := level(m.voice(hz, m.between(0.8, 2.2)), -20)
			do := 440 * math.Exp2(m.between(-24, -9)/12)
			fifth := level(keyboard.Render(synth.Phrase{{Hz: do, Duration: 3, Steady: true}, {Hz: 1.5 * do, Duration: 3, Steady: true}}), -40)
			for i := range x {
				x[i] += fifth[i]
			}
			return m.heard(x, -20), hz
		}},
		{"a chord on another instrument", 40, false, func() ([]float64, float64) {
			other := keyboard
			other.Instrument = []synth.Instrument{synth.Organ, synth.ElectricPiano}[m.IntN(2)]
			return m.heard(other.Render(m.chord()), m.between(-35, -15)), 0
		}},
	} {
		n, of, least := 0, 40, c.least
		if raceDetector {
			of, least = 2, 1
		}
		var miss string
		for i := range of {
			x, hz := c.take()
			it := exercise.Item{Key: key(t, "A major"), Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 3}, Asked: theory.Degree{Step: 1}}
			if hz > 0 { // asked for do where it is sung
				it.Tuning.A4 = hz * math.Exp2(math.Round(math.Log2(440/hz)))
			}
			v := exercise.Judge(it, listen(t, audio.NewSamples(rate, x), exercise.DefaultWindow()), exercise.Tolerance{Cents: 35})
			if (v.Outcome == exercise.InTune) == c.sung && (c.sung || v.Outcome == exercise.NotMeasured) {
				n++
			} else {
				miss += fmt.Sprintf("\n\ttake %d at %.1f Hz: %v %v, %.1f Hz", i, hz, v.Outcome, v.Reason, v.F0)
			}
		}
		if n < least {
			t.Errorf("%s: %d of %d as they should, want %d%s", c.name, n, of, least, miss)
		} else {
			t.Logf("%s: %d of %d%s", c.name, n, of, miss)
		}
	}
}

// A climb in one breath is found by steps, the note alone is not, in tones of a
// synthesised voice as from a file.
func TestAClimbIsFoundBySteps(t *testing.T) {
	it := asked(t, "la")
	target, _ := it.Target()
	do := it.Hz(target) / math.Exp2(9./12)
	for _, c := range []struct {
		name  string
		steps []float64 // semitones above do
		last  float64   // seconds
		want  bool
	}{
		{"la", []float64{9}, 1.2, false},
		{"fa sol la", []float64{5, 7, 9}, 1.2, true},
		{"fa sol la, as long", []float64{5, 7, 9}, 0.45, true},
		{"do re mi fa sol la", []float64{0, 2, 4, 5, 7, 9}, 1, true},
		{"do' ti la", []float64{12, 11, 9}, 1, true},
		{"sol la", []float64{7, 9}, 1.2, false},
	} {
		for _, slur := range []bool{false, true} {
			var notes []synth.Sung
			for i, s := range c.steps {
				n := synth.NewSung(do*math.Exp2(s/12), 0.45)
				if i == len(c.steps)-1 {
					n.Duration = c.last
				}
				if n.Consonant = synth.Plosive; slur {
					n.Consonant, n.ScoopCents, n.ScoopSeconds = synth.NoConsonant, 100, 0.06
				}
				notes = append(notes, n)
			}
			x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing(append(notes, synth.Rest(1)), 5)
			v := exercise.Judge(it, listen(t, audio.NewSamples(rate, x), exercise.DefaultWindow()), exercise.Tolerance{Cents: 35})
			if v.Outcome != exercise.InTune || v.BySteps != c.want {
				t.Errorf("%s, slurred %v: %v, found by steps %v; want in tune, %v", c.name, slur, v.Outcome, v.BySteps, c.want)
			}
		}
	}
}
