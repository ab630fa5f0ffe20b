package calibrate

import (
	"math/rand/v2"

	"singback/calib"
	"singback/exercise"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// Of the simulated room and instrument: the noise as a share of full scale, and A4
// in hertz.
const (
	simulatedFloor = 0.0003
	SimulatedA4    = 442.0
)

// Singer is the simulated singer with an instrument in a quiet room. The same seed
// gives the same sounds.
type Singer struct {
	rate  int     // samples a second
	a4    float64 // hertz, of the notes that are asked
	seed  uint64
	reach theory.Range
	model synth.VoiceType
	asked uint64
}

// NewSinger returns a singer with a voice, a tenor where that is nil.
func NewSinger(voice *calib.Voice, growing bool, rate int, a4 float64, seed uint64) (*Singer, error) {
	s := &Singer{rate: rate, a4: a4, seed: seed}
	if voice == nil {
		tenor, err := exercise.VoiceNamed(synth.Tenor.String())
		if err != nil {
			return nil, err
		}
		voice = &calib.Voice{Comfortable: tenor.Range}
	}
	s.reach = voice.Comfortable
	switch middle := (s.reach.Low + s.reach.High) / 2; {
	case voice.Growing || growing:
		s.model = synth.Child
	case middle < 56:
		s.model = synth.Bass
	case middle < 61:
		s.model = synth.Tenor
	case middle < 68:
		s.model = synth.Alto
	default:
		s.model = synth.Soprano
	}
	return s, nil
}

func (s *Singer) reaches(midi int) bool { return midi >= s.reach.Low && midi <= s.reach.High }

// Word is the singer's word about a note that was asked.
func (s *Singer) Word(ask calib.RangeAsk) calib.Word {
	if ask.Step != calib.AtEase && !s.reaches(ask.Pitch) {
		return calib.Strain
	}
	return calib.Unsaid
}

// Sound is what the singer, or the instrument, lets hear in a part, where ask is
// asked at hz in the range test.
func (s *Singer) Sound(p session.Part, ask calib.RangeAsk, hz float64) []float64 {
	s.asked++
	rng := rand.New(rand.NewPCG(s.seed, s.asked))
	at := func(a4 float64, midi int) float64 { return a4 * theory.Shift(1, 100*float64(midi-69)) }
	middle := s.reach.Low + 2*(s.reach.High-s.reach.Low)/5
	model := synth.Voice{SampleRate: s.rate, Type: s.model}
	var x []float64
	switch p {
	case session.RoomPart, session.LeakPart:
		x = make([]float64, 4*s.rate)
	case session.LevelPart:
		var song []synth.Sung
		for _, step := range []int{0, 2, 4, 2, 0} {
			song = append(song, synth.NewSung(at(s.a4, middle+step), .8))
		}
		x, _ = model.Sing(song, s.seed)
	case session.VoicePart:
		if ask.Step == calib.AtEase {
			hz = at(s.a4, middle)
		} else if !s.reaches(ask.Pitch) {
			x = make([]float64, s.rate)
			break
		}
		note := synth.NewSung(theory.Shift(hz, 12*rng.NormFloat64()), 1.8)
		note.Level = -26
		x, _ = model.Sing([]synth.Sung{synth.Rest(.4), note, synth.Rest(.6)}, s.seed+s.asked)
	case session.InstrumentPart:
		var phrase synth.Phrase
		for i, midi := range []int{69, 60, 64, 67, 62, 65} {
			phrase = append(phrase, synth.Sound{Hz: at(SimulatedA4, midi), Start: .3 + 1.2*float64(i), Duration: 1})
		}
		x = synth.Keyboard{SampleRate: s.rate, Level: -18}.Render(phrase)
	}
	for i, v := range synth.Pink(len(x), s.seed^s.asked) {
		x[i] += simulatedFloor * v
	}
	return x
}
