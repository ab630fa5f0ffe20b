package drill

import (
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
	if sound != "" && sound != ByKeyboard && sound != ByVoice {
		err = wrongf("--sound: %q: want keyboard or voice", plain.Short(sound))
	}
	return sound == ByVoice, err
}

// Model returns the voice that sings, where it is a voice that sounds: that of the singer
// or of the option voice, else the usual one. A voice that grows is sung to without vibrato.
func (m *Music) Model(sound string, names theory.Naming, usual synth.VoiceType) (*synth.Model, error) {
	voice, err := CheckSound(sound)
	if !voice {
		return nil, err
	}
	model := &synth.Model{Names: names, Type: usual}
	switch v := m.Known.Voice; {
	case m.Voice != "":
		model.Type = synth.ModelType(m.Voice, 0, 0)
	case v != nil:
		kind := v.Kind
		if model.Plain = v.Growing; v.Growing && kind == "" && v.Comfortable.Low >= lowestChild {
			kind = synth.Child.String()
		}
		model.Type = synth.ModelType(kind, v.Comfortable.Low, v.Comfortable.High)
	}
	return model, nil
}

// lowestChild is the lowest comfortable note of a voice that has not changed, as a MIDI
// number: E3, five under the range of children's choirs.
const lowestChild = 52

// model reads the option sound into the plan, once its item and naming are known.
func (p *Plan) model(sound string) (err error) {
	p.Config.Model, err = p.music.Model(sound, p.Naming, voiceFor(p.Item))
	return err
}
