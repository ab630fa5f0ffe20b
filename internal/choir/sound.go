package choir

import (
	"math"

	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// Sound says how a choir sounds, each part in its pitch.
type Sound struct {
	SampleRate int
	Level      float64          // LUFS
	Instrument synth.Instrument // that plays it; an organ holds its tones as voices do
	Tuning     theory.Tuning
	Quarter    float64 // seconds of a quarter note
	Count      bool    // a bar is counted in
	Counting   session.Counting
	Click      bool // the beat goes on clicking
	Sung       bool // by voices, on the syllables of Names, in place of Instrument
	Names      theory.Naming
}

// Hear is which parts sound.
type Hear int

// What is heard. Mine has the own part as loud as in All, and the others softer.
const (
	All    Hear = iota
	Mine        // all, one louder than the others
	Others      // all but one
	Alone       // one
)

// Gains are the gains of so many parts in decibels for what is heard of part mine;
// louder is how many decibels the others lie under it in Mine.
func (h Hear) Gains(parts, mine int, louder float64) []float64 {
	gains := make([]float64, parts)
	for i := range gains {
		switch {
		case h == Mine && i != mine:
			gains[i] = -louder
		case h == Others && i == mine, h == Alone && i != mine:
			gains[i] = math.Inf(-1)
		}
	}
	return gains
}

// Seconds is how long the piece sounds, without a count-in.
func (c Choir) Seconds(quarter float64) (longest float64) {
	for _, p := range c.Parts {
		longest = max(longest, p.Score.Length().Float()*quarter)
	}
	return longest
}

// Samples are the sound of the choir with a gain for each part.
func (c Choir) Samples(s Sound, gains []float64) []float64 {
	k := synth.Keyboard{SampleRate: s.SampleRate, Level: s.Level, Instrument: s.Instrument}
	var out []float64
	lead := 0.0 // seconds of consonants before the first note
	if s.Sung {
		out, lead = c.sung(s, gains)
	} else {
		out = k.Mix(c.phrases(s.Instrument, s.Tuning, s.Quarter), gains)
	}
	if !s.Count && !s.Click {
		return out
	}
	beat := session.Accompanied{
		Keyboard: k, Score: &c.Parts[0].Score, Tuning: s.Tuning, Quarter: s.Quarter, Count: s.Count, Counting: s.Counting, Click: s.Click,
	}
	sound, begins, _ := beat.Sound()
	if begins < lead {
		sound.After(lead - begins)
		begins = lead
	}
	sound.Add(begins-lead, out)
	all := make([]float64, sound.Samples())
	sound.Fill(all, 0)
	return all
}

// Beside sounds all parts but one, as session.Line wants it.
func (c Choir) Beside(mine int) func(k synth.Keyboard, t theory.Tuning, quarter float64) []float64 {
	return func(k synth.Keyboard, t theory.Tuning, quarter float64) []float64 {
		return k.Mix(c.phrases(synth.Organ, t, quarter), Others.Gains(len(c.Parts), mine, 0))
	}
}

func (c Choir) phrases(i synth.Instrument, t theory.Tuning, quarter float64) (out []synth.Phrase) {
	play := synth.PhraseOf
	if i == synth.Organ {
		play = synth.Held
	}
	for _, p := range c.Parts {
		out = append(out, play(synth.Line(p.Score, t, quarter)))
	}
	return out
}
