package drill

import (
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/synth"
	"singback/theory"
)

func TestSoundIsAChoice(t *testing.T) {
	for address, want := range map[string]synth.VoiceType{
		"sing?sound=voice&voice=bass":         synth.Bass,
		"sing?sound=voice&voice=baritone":     synth.Bass,
		"sing?sound=voice&voice=child":        synth.Child,
		"today?sound=voice&voice=mezzo":       synth.Soprano,
		"echo?sound=voice&octave=":            -1,
		"sing?sound=voice&octave=3":           synth.Tenor,
		"sing?sound=voice&octave=2":           synth.Bass,
		"series?sound=voice&voice=tenor":      synth.Tenor,
		"echo?sound=voice&voice=alto":         synth.Alto,
		"echo?sound=keyboard":                 -1,
		"sing":                                -1,
		"sing?sound=piano":                    -1,
		"dictation?sound=voice":               -1,
		"sing?sound=voice&names=numbers&a4=0": -1,
	} {
		_, p, err := readAddress(address)
		switch {
		case want < 0 && (strings.HasSuffix(address, "keyboard") || address == "sing"):
			if err != nil || p.Config.Model != nil {
				t.Errorf("%s: %v", address, err)
			}
		case want < 0:
			if err == nil {
				t.Errorf("%s is taken", address)
			}
		case err != nil || p.Config.Model == nil || p.Config.Model.Type != want:
			t.Errorf("%s: %v, want %v", address, err, want)
		}
	}
	if _, _, err := readAddress("sing?sound=choir"); err == nil || err.Error() != `--sound: "choir": want keyboard or voice` {
		t.Errorf("%v", err)
	}
}

// The voice of a profile sings: its kind, or where it lies; one that grows without vibrato.
func TestModelOfAProfile(t *testing.T) {
	for _, c := range []struct {
		v     calib.Voice
		want  synth.VoiceType
		plain bool
	}{
		{calib.Voice{Kind: "alto", Comfortable: theory.Range{Low: 48, High: 60}}, synth.Alto, false},
		{calib.Voice{Comfortable: theory.Range{Low: 43, High: 62}}, synth.Bass, false},
		{calib.Voice{Comfortable: theory.Range{Low: 48, High: 69}}, synth.Tenor, false},
		{calib.Voice{Comfortable: theory.Range{Low: 53, High: 74}}, synth.Alto, false},
		{calib.Voice{Comfortable: theory.Range{Low: 60, High: 81}}, synth.Soprano, false},
		{calib.Voice{Comfortable: theory.Range{Low: 57, High: 72}, Growing: true}, synth.Child, true},
		{calib.Voice{Comfortable: theory.Range{Low: 45, High: 60}, Growing: true}, synth.Bass, true},
	} {
		m := Music{Known: calib.Profile{Voice: &c.v}}
		got, err := m.Model(ByVoice, theory.Movable, synth.Bass)
		if err != nil || got.Type != c.want || got.Plain != c.plain {
			t.Errorf("%+v: %+v, %v; want %v", c.v, got, err, c.want)
		}
	}
}
