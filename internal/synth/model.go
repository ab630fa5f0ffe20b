package synth

import (
	"math"
	"math/rand/v2"

	"singback/theory"
)

// Model is a voice to sing back to: it sings notes on their syllables, legato, each exactly
// at its pitch from the vowel's onset on. What is sung before that glides: from the note
// before, or from a little below where none is. A child's voice has no vibrato, nor have
// short notes; others begin it late, and it takes whole cycles, so that the mean is the
// pitch.
//
// A vowel begins where its note does and the consonant before it, as singers do it.
type Model struct {
	SampleRate int // hertz
	Type       VoiceType
	Level      float64       // LUFS, as of a Keyboard
	Names      theory.Naming // of whose syllables
	Plain      bool          // no vibrato at all
}

// ModelType returns the voice that sings in the range of a singer: that of a name, as choirs
// have them, or where the name is none of those the one whose usual range lies about the
// same centre, by MIDI numbers.
func ModelType(name string, low, high int) VoiceType {
	for t := Bass; t <= Child; t++ {
		if t.String() == name {
			return t
		}
	}
	centre := low + high // twice
	switch {
	case name == "baritone" || name == "" && centre < 111:
		return Bass
	case name == "mezzo" || name == "" && centre >= 134:
		return Soprano
	case centre < 122:
		return Tenor
	}
	return Alto
}

// How the model sings: seconds, cents and shares by common practice.
const (
	modelScoop    = 40.0  // cents under the pitch, at the start of a voiced consonant
	modelAttack   = 0.040 // seconds
	modelRelease  = 0.100
	modelBreak    = 0.030 // of the voice before a voiceless consonant
	modelVibrato  = 15.0  // ± cents, half of the mean extent of choirs' amateurs, a fifth of an opera singer's
	modelCycle    = 5.5   // hertz
	modelStraight = 0.400 // seconds before vibrato begins
	modelShortest = 0.900 // notes with vibrato last as long
	modelBreath   = -48.0 // dB beside the voice
	modelCoda     = 0.090
	modelEdge     = 10000.0 // hertz: no partials above
	modelSwell    = 0.9     // level that a vowel begins with, and ends
	modelOpens    = 0.025   // seconds in which the mouth opens after a voiced consonant
	modelShuts    = 0.030   // and shuts before it
	modelLead     = 0.200   // seconds before the first note of several voices
)

// sungNote is one note in time.
type sungNote struct {
	_ [0]func() // never compared, which saves the page a function
	Syllable
	*phone
	hz                 float64
	from, on, end      float64 // seconds: the consonant begins, the vowel, and it ends
	tied, goes         bool    // it follows a note without a break; another follows it so
	vowel, shut, onset posture
	coda               posture // of the l that ends it
	vibrato            float64 // seconds that it takes
	after              float64 // level of the voice of the consonant that follows
	previous           float64 // hertz, of the note that it is tied to
	previously         posture // at the end of that
}

// Render returns the samples of a line, which begins with the first consonant.
func (m Model) Render(line []Timed) []float64 {
	for _, n := range line {
		if n.Hz > 0 {
			return m.renderAfter(line, max(0, phoneOf(m.syllable(n).Consonant).seconds-n.Start))
		}
	}
	return nil
}

// renderAfter returns the samples of a line that begins after so many seconds, in which the
// first consonant has its place: with less than that for it, it is cut short.
func (m Model) renderAfter(line []Timed, lead float64) []float64 {
	out := m.sing(line, lead)
	scale(out, Gain(out, m.SampleRate, m.Level))
	return out
}

// Together returns the samples of lines that models sing together, each with a gain in
// decibels at most 0, as Keyboard.Mix has it. They begin with so many seconds in which the
// first consonants sound.
func Together(models []Model, lines [][]Timed, gains []float64) (out []float64, lead float64) {
	var all []float64
	for i, m := range models {
		x := m.sing(lines[i], modelLead)
		if n := len(x) - len(all); n > 0 {
			all, out = append(all, make([]float64, n)...), append(out, make([]float64, n)...)
		}
		gain := fromDB(min(gains[i], 0))
		for j, v := range x {
			all[j] += v
			out[j] += gain * v
		}
	}
	if len(models) > 0 {
		scale(out, Gain(all, models[0].SampleRate, models[0].Level))
	}
	return out, modelLead
}

func (m Model) syllable(n Timed) Syllable {
	return SyllableOf(m.Names, n.Key, n.Key.Degree(n.Pitch.Note))
}

// notes lays out a line that begins after lead seconds.
func (m Model) notes(line []Timed, lead float64) []sungNote {
	var notes []sungNote
	for _, n := range line {
		if n.Hz <= 0 || n.Duration <= 0 {
			continue
		}
		s := sungNote{Syllable: m.syllable(n), hz: n.Hz, on: lead + n.Start, end: lead + n.Start + n.Duration}
		s.phone = phoneOf(s.Consonant)
		s.vowel = m.vowel(s.Vowel)
		s.shut, s.onset = m.steady(s.phone, s.vowel)
		s.coda, _ = m.steady(phoneOf('l'), s.vowel)
		s.from = max(0, s.on-s.seconds)
		if len(notes) > 0 {
			p := &notes[len(notes)-1]
			// A consonant takes no more than half of the note before it.
			s.from = max(s.from, (p.on+min(p.end, s.on))/2)
			if s.from-p.end < modelRelease {
				p.end, p.goes, p.after = s.from, true, s.level
				s.tied, s.previous, s.previously = true, p.hz, p.vowel
				if p.Coda {
					s.previously = p.coda
				}
			}
		}
		notes = append(notes, s)
	}
	for i := range notes {
		s := &notes[i]
		if held := s.end - s.on; held >= modelShortest && m.Type != Child && !m.Plain {
			s.vibrato = math.Floor((held-modelStraight-modelRelease)*modelCycle) / modelCycle
		}
	}
	return notes
}

// cents is how far a note is from its pitch so many seconds after the start of the sound.
func (s *sungNote) cents(t float64) float64 {
	if t < s.on {
		if s.level == 0 {
			return 0
		}
		below := -modelScoop
		if s.tied {
			below = 1200 * math.Log2(s.previous/s.hz)
		}
		return below * (1 - rise((t-s.from)/(s.on-s.from)))
	}
	t -= s.on + modelStraight
	if t <= 0 || t >= s.vibrato {
		return 0
	}
	return modelVibrato * rise(min(t, s.vibrato-t)*modelCycle) * math.Sin(2*math.Pi*modelCycle*t)
}

// sounds returns the level of the voice, 1 in the vowel.
func (s *sungNote) sounds(t float64) float64 {
	level := modelSwell + (1-modelSwell)*rise((t-s.on)/0.25) - (1-modelSwell)*max(0, t-s.on)/(s.end-s.on)
	if s.level == 0 {
		level *= rise((t - s.on) / modelBreak)
	} else {
		level *= s.level + (1-s.level)*rise((t-s.on)/modelOpens+0.4)
		if s.tied {
			level += (modelSwell - level) * (1 - rise((t-s.from)/modelShuts))
		} else {
			level *= rise((t - s.from) / min(modelAttack, s.on-s.from+1e-6))
		}
	}
	switch {
	case !s.goes:
		level *= rise((s.end - t) / min(modelRelease, (s.end-s.on)/3))
	case s.after == 0:
		level *= rise((s.end - t) / modelBreak)
	}
	return level
}

// mouth returns the posture so many seconds after the start of the sound.
func (s *sungNote) mouth(t float64) posture {
	if t < s.on && s.level > 0 {
		p := s.shut
		if s.tied {
			p = s.previously.towards(p, rise((t-s.from)/modelShuts))
		}
		if s.letter == 'm' { // the lips open
			p = p.towards(s.onset, rise((t-s.on)/0.008+1))
		}
		return p
	}
	p := s.onset.towards(s.vowel, rise((t-s.on+s.ahead)/s.move))
	if s.Coda {
		p = p.towards(s.coda, rise((t-s.end+modelCoda)/(modelCoda/2)))
	}
	return p
}

// sing returns the samples of a line that begins after lead seconds, its vowels as loud as
// a sound of power 1.
func (m Model) sing(line []Timed, lead float64) []float64 {
	notes := m.notes(line, lead)
	if len(notes) == 0 {
		return nil
	}
	rate := float64(m.SampleRate)
	x := make([]float64, samplesIn(notes[len(notes)-1].end, m.SampleRate)+1)
	f0, phase := make([]float64, len(x)), make([]float64, len(x))
	of := make([]int32, len(x)/controlStep+1) // the note of each step
	rng := rand.New(rand.NewPCG(uint64(m.Type), 0x73796c))
	lowest := notes[0].hz
	at, now := 0.0, 0
	for i := range x {
		t := float64(i) / rate
		if now+1 < len(notes) && t >= notes[now+1].from {
			now++
		}
		of[i/controlStep] = int32(now)
		f0[i] = notes[now].hz * math.Exp2(notes[now].cents(t)/1200)
		lowest = min(lowest, f0[i])
		phase[i] = at
		at += 2 * math.Pi * f0[i] / rate
	}
	edge := min(modelEdge, bandEdge*rate)
	sin, cos := make([]float64, int(edge/lowest)), make([]float64, int(edge/lowest))
	throat := m.vowel(A).opened(200).f
	for h := range sin {
		sin[h], cos[h] = math.Sincos(resonancePhase(&throat, lowest*float64(h+1)))
	}
	sumHarmonics(x, phase, sin, cos, func(dst []float64, i int) {
		i = min(i, len(x)-1)
		s, t := &notes[of[i/controlStep]], float64(i)/rate
		clear(dst)
		level := s.sounds(t)
		if level == 0 {
			return
		}
		mouth, sum := s.mouth(t).opened(f0[i]), 0.0
		for h := range dst {
			hz := f0[i] * float64(h+1)
			if hz > edge {
				break
			}
			a := glottal(h+1, f0[i])
			a *= a * mouth.power(hz)
			sum += a / 2 * weight(hz)
			dst[h] = math.Sqrt(a) * (1 - rise((hz/edge-0.9)/0.1))
		}
		if sum > 0 {
			scale(dst, level/math.Sqrt(sum))
		}
	})
	for i := range notes {
		m.air(x, &notes[i], rng)
	}
	return x
}

// air adds what a note has of noise: of its consonant, and of breath.
func (m Model) air(x []float64, s *sungNote, rng *rand.Rand) {
	rate := float64(m.SampleRate)
	put := func(noise []float64, from, db, attack, release float64) {
		unitRMS(noise)
		start := samplesIn(from, m.SampleRate)
		for i, v := range noise {
			if at := start + i; at >= 0 && at < len(x) {
				x[at] += fromDB(db) * v * rise(float64(i)/rate/attack) * rise(float64(len(noise)-i)/rate/release)
			}
		}
	}
	mouth := s.vowel.opened(s.hz).f
	put(breath(samplesIn(s.end-s.on, m.SampleRate), rate, mouth[:], rng), s.on, modelBreath, modelAttack, modelRelease)
	if s.lasts == 0 {
		return
	}
	early := min(s.early, s.on-s.from) // less where the note before is short
	n := samplesIn(min(s.lasts, early+s.lasts-min(s.lasts, s.early)), m.SampleRate)
	from := s.on - early
	edge := 0.020
	switch s.letter {
	case 'f':
		noise := make([]float64, n)
		for i := range noise {
			noise[i] = rng.NormFloat64()
		}
		put(noise, from, s.hiss, edge, edge)
		return
	case 't': // the breath that follows the burst
		put(breath(samplesIn(early, m.SampleRate), rate, mouth[:], rng), from+0.004, s.hiss-9, 0.004, edge)
		fallthrough
	case 'd', 'b':
		edge = 0.002
	}
	hiss := formant{min(s.noise*lengthOf[m.Type], 0.4*rate), s.spread}
	put(breath(n, rate, []formant{hiss}, rng), from, s.hiss, edge, edge)
}
