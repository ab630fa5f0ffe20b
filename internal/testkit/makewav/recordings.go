package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"hash/fnv"
	"math"
	"slices"

	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit/makewav/truth"
	"singback/theory"
)

// recording says how one recording is made and what must be heard in it.
type recording struct {
	name, title string
	rate        int // hertz; 0 = 22050
	voice       synth.VoiceType
	key, asked  string
	sings       string  // degree; "" = the asked one
	octaves     int     // against the register that the question is put in
	cents       float64 // off the degree sung
	tolerance   float64 // cents; 0 = 35
	outcome     string  // "" = in_tune
	reason      string
	within      float64 // cents; 0 = 5
	sung        string  // in words; "" = made from the above
	shape       func(*synth.Sung)
	disturb     func(x []float64, rate int) []float64
	// sound makes a recording in which nobody sings a note.
	sound func(rate int) []float64
}

// The parts of a recording in seconds, and the level in dBFS of the quiet room
// in which the singers stand.
const (
	before    = 0.25
	held      = 1.55
	after     = 0.25
	roomLevel = -72.0
)

// start says which consonant and vowel a note is sung on.
func start(c synth.Consonant, v synth.Vowel) func(*synth.Sung) {
	return func(n *synth.Sung) { n.Consonant, n.Vowel = c, v }
}

// steady keeps a note from wandering towards a tolerance that lies 5 cents away.
func steady(n *synth.Sung) { n.DriftCents = 1 }

// noise returns samples at an RMS level in dBFS.
func noise(unit []float64, level float64) []float64 {
	for i := range unit {
		unit[i] *= math.Exp2(level / 20 * math.Log2(10))
	}
	return unit
}

var recordings = []recording{
	// Every degree of the scale on pitch.
	{name: "do-c-major-tenor", title: "do on pitch", voice: synth.Tenor, key: "C major", asked: "do", octaves: -1, shape: start(synth.Plosive, synth.O)},
	{name: "re-ab-major-alto", title: "re on pitch", voice: synth.Alto, key: "Ab major", asked: "re", shape: start(synth.NoConsonant, synth.E)},
	{name: "mi-g-major-soprano", title: "mi on pitch", voice: synth.Soprano, key: "G major", asked: "mi", octaves: 1, shape: start(synth.Nasal, synth.I)},
	{name: "fa-fsharp-major-bass", title: "fa on pitch", voice: synth.Bass, key: "F# major", asked: "fa", octaves: -1, shape: start(synth.Fricative, synth.A)},
	{name: "sol-bb-major-child", title: "sol on pitch", voice: synth.Child, key: "Bb major", asked: "sol", shape: start(synth.Fricative, synth.O)},
	{name: "la-eb-major-tenor", title: "la on pitch", voice: synth.Tenor, key: "Eb major", asked: "la", octaves: -1, shape: start(synth.Nasal, synth.A)},
	{name: "ti-b-major-alto", title: "ti on pitch", voice: synth.Alto, key: "B major", asked: "ti", shape: start(synth.Plosive, synth.I)},
	{name: "me-c-minor-tenor", title: "me on pitch", voice: synth.Tenor, key: "C minor", asked: "me", octaves: -1, shape: start(synth.Nasal, synth.E)},
	{name: "le-fsharp-minor-soprano", title: "le on pitch", voice: synth.Soprano, key: "F# minor", asked: "le", octaves: 1, shape: start(synth.Nasal, synth.E)},
	{name: "te-eb-minor-bass", title: "te on pitch", voice: synth.Bass, key: "Eb minor", asked: "te", octaves: -2, shape: start(synth.Plosive, synth.E)},
	{name: "do-gsharp-minor-child", title: "do on pitch", voice: synth.Child, key: "G# minor", asked: "do", octaves: 1, shape: start(synth.Plosive, synth.O)},
	{name: "fi-d-major-alto", title: "fi, a degree outside the scale, on pitch", voice: synth.Alto, key: "D major", asked: "fi", shape: start(synth.Fricative, synth.I)},

	// Mistakes.
	{name: "sharp-20-within-35", title: "20 cents sharp, within a tolerance of 35", voice: synth.Soprano, key: "D major", asked: "fa", cents: 20},
	{name: "sharp-20-beyond-15", title: "20 cents sharp, beyond a tolerance of 15", voice: synth.Alto, key: "Db major", asked: "mi", cents: 20, tolerance: 15, outcome: "sharp",
		shape: steady},
	{name: "flat-40", title: "40 cents flat", voice: synth.Tenor, key: "A major", asked: "ti", octaves: -1, cents: -40, outcome: "flat",
		shape: steady},
	{name: "la-for-sol", title: "the degree above the one asked", voice: synth.Alto, key: "F major", asked: "sol", sings: "la", octaves: -1, outcome: "other_degree"},
	{name: "octave-below", title: "the right degree an octave below", voice: synth.Bass, key: "E minor", asked: "sol", octaves: -1},
	{name: "border-50", title: "half way between two degrees", voice: synth.Soprano, key: "G major", asked: "la", cents: -50, outcome: "ambiguous"},
	{name: "too-short", title: "a note of 90 ms", voice: synth.Tenor, key: "C major", asked: "mi", octaves: -1, outcome: "not_measured", reason: "too_short",
		shape: func(n *synth.Sung) { n.Duration = 0.09; n.ScoopCents, n.FallCents = 0, 0 }},
	{name: "very-quiet", title: "a voice at -70 dBFS", voice: synth.Alto, key: "C major", asked: "mi", outcome: "not_measured", reason: "too_quiet",
		shape: func(n *synth.Sung) { n.Level = -70 }},

	// What voices do.
	{name: "vibrato-70", title: "vibrato of 6 Hz and 70 cents to each side", voice: synth.Soprano, key: "Bb major", asked: "mi", octaves: 1,
		shape: func(n *synth.Sung) { n.VibratoHz, n.VibratoCents = 6, 70 }},
	{name: "scoop-200", title: "a scoop from 200 cents below in 120 ms", voice: synth.Alto, key: "E major", asked: "do",
		shape: func(n *synth.Sung) { n.ScoopCents, n.ScoopSeconds = 200, 0.12 }},
	{name: "breathy-10db", title: "a breathy voice, 10 dB above its breath", voice: synth.Child, key: "F major", asked: "mi",
		shape: func(n *synth.Sung) { n.BreathDB = 10 }},
	{name: "creaky-e2", title: "a creaky low note, every second cycle weaker", voice: synth.Bass, key: "C major", asked: "mi", octaves: -2, within: 10,
		shape: func(n *synth.Sung) { n.Creak, n.JitterCents, n.ShimmerDB, n.BreathDB = 0.15, 12, 0.6, 20 }},
	{name: "soprano-a5", title: "a high soprano", rate: 44100, voice: synth.Soprano, key: "D major", asked: "sol", octaves: 1,
		shape: func(n *synth.Sung) { n.VibratoHz, n.VibratoCents = 5.8, 30 }},
	{name: "missing-fundamental", title: "the first harmonic taken out", voice: synth.Tenor, key: "G minor", asked: "re", octaves: -1,
		shape: func(n *synth.Sung) { n.HarmonicDB = []float64{math.Inf(-1)} }},
	{name: "second-harmonic-12db", title: "the second harmonic 12 dB up", voice: synth.Alto, key: "A minor", asked: "me",
		shape: func(n *synth.Sung) { n.HarmonicDB = []float64{0, 12} }},

	// What rooms and microphones do.
	{name: "hum-behind-voice", title: "mains hum of 50 Hz, 30 dB below the voice", voice: synth.Tenor, key: "Eb major", asked: "sol", octaves: -1,
		disturb: func(x []float64, rate int) []float64 {
			synth.AddAt(x, synth.Hum(len(x), rate, 50), 30)
			return x
		}},
	{name: "clipped-12db", title: "12 dB beyond full scale, cut off", rate: 44100, voice: synth.Tenor, key: "Ab minor", asked: "sol", octaves: -1,
		shape:   func(n *synth.Sung) { n.Level = -13 },
		disturb: func(x []float64, _ int) []float64 { synth.Clip(x, 12); return x }},
	{name: "room", title: "a room with a reverberation time of 0.6 s", voice: synth.Soprano, key: "C# minor", asked: "me", octaves: 1,
		disturb: func(x []float64, rate int) []float64 {
			return synth.Room{RT60: 0.6, DirectDB: 3}.Reverb(x, rate, 29)
		}},
	{name: "small-microphone", title: "a small microphone: nothing below 250 Hz or above 4 kHz", voice: synth.Bass, key: "D minor", asked: "sol", octaves: -2,
		disturb: func(x []float64, rate int) []float64 { synth.SmallMicrophone(x, rate); return x }},
	{name: "pink-15db", title: "a noisy room, 15 dB below the voice", voice: synth.Child, key: "B minor", asked: "me",
		disturb: func(x []float64, _ int) []float64 { synth.AddAt(x, synth.Pink(len(x), 31), 15); return x }},

	// Nobody sings the answer.
	{name: "silence", title: "digital silence", key: "C major", asked: "do", outcome: "not_measured", reason: "too_quiet", sung: "nothing",
		sound: func(rate int) []float64 { return make([]float64, rate) }},
	{name: "pink-noise", title: "pink noise at -30 dBFS", key: "C major", asked: "do", outcome: "not_measured", reason: "too_noisy", sung: "nothing",
		sound: func(rate int) []float64 { return noise(synth.Pink(2*rate, 33), -30) }},
	{name: "mains-hum", title: "mains hum of 50 Hz at -45 dBFS", key: "G major", asked: "do", outcome: "not_measured", reason: "too_noisy", sung: "nothing",
		sound: func(rate int) []float64 { return noise(synth.Hum(2*rate, rate, 50), -45) }},
	{name: "own-prompt", title: "the sound of the program itself", key: "F major", asked: "mi", outcome: "not_measured", reason: "own_sound", sung: "nothing: the keyboard plays mi (A4)",
		sound: func(rate int) []float64 {
			return synth.NewKeyboard(rate).Render(synth.One(440))
		}},
	{name: "speech-glides", title: "glides as in speech", key: "C major", asked: "sol", outcome: "not_measured", reason: "not_held", sung: "a spoken phrase: no pitch is held",
		sound: speech},
	{name: "wobble", title: "a wobble of 2.5 Hz and 110 cents to each side", key: "C major", asked: "sol", outcome: "unsteady", sung: "about G3, and never there",
		sound: wobble},
}

// wobble returns a note that stays nowhere long enough to have a pitch.
func wobble(rate int) []float64 {
	n := synth.NewSung(196, held)
	n.VibratoHz, n.VibratoCents = 2.5, 110
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{synth.Rest(before), n, synth.Rest(after)}, 37)
	return room(x)
}

// speech returns an invented phrase of four syllables, spoken: each glides by
// more than a third and none stays.
func speech(rate int) []float64 {
	notes := []synth.Sung{synth.Rest(before)}
	for i, s := range []struct{ hz, seconds, rises, falls float64 }{
		{150, 0.30, 300, 0}, {175, 0.42, 550, 0}, {160, 0.32, -450, 0}, {130, 0.50, -700, 0},
	} {
		n := synth.NewSung(s.hz, s.seconds)
		n.Consonant, n.Vowel = []synth.Consonant{synth.Nasal, synth.Plosive, synth.NoConsonant, synth.Nasal}[i], synth.Vowel(i)
		n.ScoopCents, n.ScoopSeconds, n.FallCents, n.VibratoCents = s.rises, s.seconds, s.falls, 0
		n.JitterCents = 8
		notes = append(notes, n)
	}
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing(append(notes, synth.Rest(after)), 35)
	return room(x)
}

// room adds the sound of a quiet room.
func room(x []float64) []float64 {
	for i, s := range noise(synth.Pink(len(x), 7), roomLevel) {
		x[i] += s
	}
	return x
}

// degrees holds the degrees that the recordings use, by syllable.
var degrees = map[string]theory.Degree{
	"do": {Step: 1}, "re": {Step: 2}, "me": {Step: 3, Alter: -1}, "mi": {Step: 3}, "fa": {Step: 4}, "fi": {Step: 4, Alter: 1},
	"sol": {Step: 5}, "le": {Step: 6, Alter: -1}, "la": {Step: 6}, "te": {Step: 7, Alter: -1}, "ti": {Step: 7},
}

// homeOctave returns the octave of the tonic for a singer whose range is not
// known: the one nearest to middle C, from F♯3 up to F4.
func homeOctave(k theory.Key) int {
	if (theory.Pitch{Note: k.Tonic, Octave: 4}).MIDI() > 65 {
		return 3
	}
	return 4
}

// or returns v, or the default if v is the zero value.
func or[T comparable](v, standard T) T {
	var zero T
	if v == zero {
		return standard
	}
	return v
}

// make returns the .wav file and the truth about it.
func (r recording) make() ([]byte, truth.Truth, error) {
	key, err := theory.ParseKey(r.key)
	if err != nil {
		return nil, truth.Truth{}, err
	}
	rate := or(r.rate, 22050)
	t := truth.Truth{
		Title:       r.title,
		Origin:      "made by the synthesiser of this project (internal/testkit/makewav)",
		Licence:     "the same as the project",
		Key:         r.key,
		TonicOctave: homeOctave(key),
		Asked:       r.asked,
		Sung:        r.sung,
		Tolerance:   or(r.tolerance, 35),
		Outcome:     or(r.outcome, "in_tune"),
		Reason:      r.reason,
	}
	var x []float64
	if r.sound != nil {
		x = r.sound(rate)
	} else {
		x = r.sing(key, rate, &t)
	}
	var wav bytes.Buffer
	if err := audio.WriteWAV(&wav, rate, x); err != nil {
		return nil, t, err
	}
	t.SHA256 = fmt.Sprintf("%x", sha256.Sum256(wav.Bytes()))
	return wav.Bytes(), t, nil
}

// sing makes the samples of a recording with a sung note and completes its
// truth.
func (r recording) sing(key theory.Key, rate int, t *truth.Truth) []float64 {
	degree := or(r.sings, r.asked)
	p := theory.Pitch{Note: key.Tonic, Octave: t.TonicOctave}.Up(degrees[degree].Interval())
	p.Octave += r.octaves
	exact := theory.Tuning{A4: theory.DefaultA4}.Hz(p)
	n := synth.NewSung(exact*math.Exp2(r.cents/1200), held)
	if r.shape != nil {
		r.shape(&n)
	}
	// Each name its own seed, so that a new recording changes no other.
	seed := fnv.New64a()
	seed.Write([]byte(r.name))
	x, f0 := synth.Voice{SampleRate: rate, Type: r.voice}.Sing([]synth.Sung{synth.Rest(before), n, synth.Rest(after)}, seed.Sum64())
	if r.disturb != nil {
		x = r.disturb(x, rate)
	}
	if n.Level > roomLevel+10 {
		x = room(x)
	}
	t.Origin += ", with an invented singer, the " + r.voice.String() + " of an invented choir"
	t.Sung = fmt.Sprintf("%s (%s)", degree, p.ASCII())
	if r.cents != 0 {
		t.Sung += fmt.Sprintf(", %+g cents", r.cents)
	}
	if t.Reason != "" {
		return x
	}
	t.F0 = mean(f0, rate)
	t.Note = &truth.Note{Degree: degree, OctaveShift: r.octaves, Cents: math.Round(10*theory.CentsBetween(t.F0.Hz, exact))/10 + 0, Within: or(r.within, 5)}
	return x
}

// mean returns the geometric mean over the second that begins 0.3 s after the
// start of the voiced part, behind consonant, scoop and growing vibrato: whole
// cycles of a vibrato of 6 Hz.
func mean(f0 []float64, rate int) *truth.F0 {
	from := slices.IndexFunc(f0, func(f float64) bool { return f > 0 }) + rate*3/10
	to := from + rate
	sum := 0.0
	for _, f := range f0[from:to] {
		sum += math.Log2(f)
	}
	return &truth.F0{
		Hz:   math.Exp2(sum / float64(to-from)),
		From: float64(from) / float64(rate),
		To:   float64(to) / float64(rate),
	}
}
