package drill

import (
	"cmp"
	"slices"

	"singback/internal/plain"
	"singback/internal/synth"
	"singback/theory"
)

// What --sound may be.
const (
	ByKeyboard = "keyboard"
	ByVoice    = "voice"
)

// AddSound defines what single notes and lines are heard from.
func AddSound(f Flags, p *string) {
	f.StringVar(p, "sound", ByKeyboard, "`WHAT` sounds notes and lines: keyboard, or voice, which sings them on their syllables, in your range")
}

// CheckSound reads the option sound; "" is the keyboard.
func CheckSound(sound string) (voice bool, err error) {
	if !slices.Contains([]string{"", ByKeyboard, ByVoice}, sound) {
		return false, wrongf("--sound: %q: want keyboard or voice", plain.Short(sound))
	}
	return sound == ByVoice, nil
}

// Model returns the voice that sings, where it is a voice that sounds: that of the singer
// or of the option voice, else the one whose range lies about those of the notes. A voice
// that grows is sung to without vibrato.
func (m *Music) Model(sound string, names theory.Naming, low, high int) (*synth.Model, error) {
	voice, err := CheckSound(sound)
	if !voice {
		return nil, err
	}
	model := synth.Model{Names: names}
	name := m.Voice
	if v := m.Known.Voice; v != nil && name == "" {
		name, low, high = v.Kind, v.Comfortable.Low, v.Comfortable.High
		model.Plain = v.Growing
		if v.Growing && low >= 52 {
			name = cmp.Or(name, "child")
		}
	}
	model.Type = synth.ModelType(name, low, high)
	return &model, nil
}

// Span returns the lowest and the highest note of a line, as MIDI numbers.
func Span(s theory.Score) (low, high int) {
	low = 127
	for _, n := range s.Notes {
		if !n.Rest {
			low, high = min(low, n.Pitch.MIDI()), max(high, n.Pitch.MIDI())
		}
	}
	return low, high
}

// model reads the option sound into the plan, once its item and naming are known.
func (p *Plan) model(sound string) (err error) {
	tonic := theory.Pitch{Note: p.Item.Key.Tonic, Octave: p.Item.Register.TonicOctave}.MIDI()
	p.Config.Model, err = p.music.Model(sound, p.Naming, tonic, tonic+12)
	return err
}
