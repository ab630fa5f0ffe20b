package choir

import (
	"singback/internal/session"
	"singback/internal/synth"
)

// sung has voices sing the parts. Without a count-in the first consonants sound before the first beat.
func (c Choir) sung(k synth.Keyboard, s Sound, gains []float64) []float64 {
	var models []synth.Model
	var lines [][]synth.Timed
	for _, p := range c.Parts {
		models = append(models, synth.Model{
			SampleRate: s.SampleRate, Level: s.Level, Names: s.Names,
			Type: synth.ModelType(p.Voice.Name, p.Reach.Low.MIDI(), p.Reach.High.MIDI()),
		})
		lines = append(lines, synth.Line(p.Score, s.Tuning, s.Quarter))
	}
	out, lead := synth.Together(models, lines, gains)
	if !s.CountIn {
		return out
	}
	clicks, seconds := session.CountInOf(k, c.Parts[0].Score, s.Quarter)
	at := max(0, int((seconds-lead)*float64(s.SampleRate)+0.5))
	all := make([]float64, max(len(clicks), at+len(out)))
	copy(all, clicks)
	for i, v := range out {
		all[at+i] += v
	}
	return all
}
