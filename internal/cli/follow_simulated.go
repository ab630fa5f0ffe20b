package cli

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/takedown"
	"singback/theory"
)

// simulatedTempo is the tempo of the simulated singer where none is asked for.
const simulatedTempo = 88

// simulated takes down what the simulated singer sings along with nothing: the bass of
// three cadences, drawn, after home.
func (o *followOptions) simulated(ctx context.Context, e *env, w following) error {
	if !o.cmd.Flags().Changed("seed") {
		o.seed = e.seed()
	}
	tempo := o.tempo
	if tempo == 0 {
		tempo = simulatedTempo
	}
	s, err := newSong(o.seed, w, tempo, sampleRate)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stderr, "A simulated singer sings home and the bass of %s in %s, %g beats a minute (seed %d).\n",
		s.chords, w.words.Key(s.key), tempo, o.seed)
	var src audio.Source = audio.NewSamples(sampleRate, s.samples)
	if e.terminal(e.stdin) && e.terminal(e.stderr) {
		src = audio.NewPaced(src, e.wait)
	}
	beats := takedown.Steady(w.meter, tempo, s.first, s.first+float64(s.beats-1)*60/tempo)
	return o.sung(ctx, e, w, src, &beats)
}

// song is what a simulated singer sings.
type song struct {
	key     theory.Key
	chords  string
	samples []float64
	first   float64 // seconds until the first beat
	beats   int
}

// Of the simulated singer, in seconds: how long home is held, and the silence about
// it.
const (
	simulatedHome  = 1.6
	simulatedPause = 1.0
)

// newSong draws a song: three cadences, two beats a chord, home anywhere.
func newSong(seed uint64, w following, tempo float64, rate int) (s song, err error) {
	rng := rand.New(rand.NewPCG(seed, 0x666f6c6c6f77))
	mode := theory.Major
	if w.mode != nil {
		mode = *w.mode
	}
	s.key = theory.TwelveKeys(mode)[rng.IntN(12)]
	if w.key != nil {
		s.key = *w.key
	}
	var chords []theory.Roman
	for range 3 {
		list := theory.Cadences()
		c := list[4+rng.IntN(len(list)-4)] // the longer ones
		more, err := theory.CadenceNamed(c.Name, s.key)
		if err != nil {
			return s, err
		}
		chords = append(chords, more...)
		for i, r := range more {
			if i > 0 || s.chords != "" {
				s.chords += " "
			}
			s.chords += w.words.Roman(r)
		}
	}
	off := 90*rng.Float64() - 45
	home := theory.Pitch{Note: s.key.Tonic, Octave: 2}
	if home.MIDI() < 41 {
		home.Octave++
	}
	hz := func(p theory.Pitch, cents float64) float64 {
		return theory.DefaultA4 * math.Exp2((float64(p.MIDI()-69)+(off+cents)/100)/12)
	}
	note := func(hz, seconds float64) synth.Sung {
		n := synth.NewSung(hz, seconds)
		n.Consonant = synth.Consonant(1 + rng.IntN(3))
		n.Vowel = synth.Vowel(rng.IntN(5))
		return n
	}
	line := []synth.Sung{synth.Rest(simulatedPause), note(hz(home, 0), simulatedHome), synth.Rest(simulatedPause)}
	s.first = 2*simulatedPause + simulatedHome
	beat := 60 / tempo
	for _, r := range chords {
		p := theory.Pitch{Note: r.Chord.Bass, Octave: home.Octave}
		for p.MIDI() < home.MIDI()-5 {
			p.Octave++
		}
		for p.MIDI() > home.MIDI()+7 {
			p.Octave--
		}
		line = append(line, note(hz(p, 8*rng.NormFloat64()), 2*beat))
		s.beats += 2
	}
	line = append(line, synth.Rest(simulatedPause))
	voice := synth.Voice{SampleRate: rate, Type: synth.Bass}
	s.samples, _ = voice.Sing(line, seed)
	synth.AddAt(s.samples, synth.Pink(len(s.samples), seed), 40)
	return s, nil
}
