package choir

import (
	"singback/internal/synth"
)

// sung has voices sing the parts. Without a count-in the first consonants sound before the first beat.
func (c Choir) sung(s Sound, gains []float64) (out []float64, lead float64) {
	var models []synth.Model
	var lines [][]synth.Timed
	for _, p := range c.Parts {
		models = append(models, synth.Model{
			SampleRate: s.SampleRate, Level: s.Level, Names: s.Names,
			Type: synth.ModelType(p.Voice.Name, p.Reach.Low.MIDI(), p.Reach.High.MIDI()),
		})
		lines = append(lines, synth.Line(p.Score, s.Tuning, s.Quarter))
	}
	return synth.Together(models, lines, gains)
}
