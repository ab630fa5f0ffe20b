package cli

import (
	"errors"

	"github.com/spf13/cobra"

	"singback/internal/drill"
	"singback/internal/keys"
)

// byInstrument is told where no keyboard was found, and the microphone hears what is
// played.
const byInstrument = "No MIDI keyboard was found: play on an instrument, one note at a time, and the microphone hears it."

// addKeys adds the flag that names a keyboard.
func (s *soundFlags) addKeys(cmd *cobra.Command) {
	cmd.Flags().StringVar(&s.keys, "keys", "", "the MIDI keyboard: its `PATH`, a device or a named pipe (else the first of /dev/snd/midi*)")
	must(cmd.MarkFlagFilename("keys"))
	completed(cmd, "then", fixed(drill.ThenPlay))
}

// played sorts out what answers a dictation that is played back: a keyboard where there
// is one, or else an instrument that the microphone hears.
func (o *dictationOptions) played(args []string) (kind string, recordings []string, err error) {
	words := append(append([]string{}, o.input...), args...)
	chords := o.PlaysChords()
	switch {
	case len(words) == 1 && words[0] == inputTyped:
		return "", nil, usagef("--input typed: what is played is not typed; want keys, mic, simulated or recordings, or --answer name")
	case o.keys != "" && (len(words) > 1 || len(words) == 1 && words[0] != inputKeys):
		return "", nil, usagef("--keys: another --input answers; want one of them")
	case len(words) == 1 && words[0] == inputKeys, o.keys != "":
		return inputKeys, nil, nil
	case len(words) == 0 && (chords || found()):
		return inputKeys, nil, nil // or the error that there is none
	}
	kind, recordings, err = o.inputs(args)
	if err == nil && chords && kind != inputSimulated {
		err = usagef("--input %s: %w", short(words[0]), drill.ErrNoChords)
	}
	return kind, recordings, err
}

// found reports whether a keyboard is there.
func found() bool {
	_, err := keys.Find()
	return err == nil
}

// openHand opens the keyboard on which what was sung is then played; without one it
// is heard of an instrument, or of recordings.
func (o *stageOptions) openHand(s *stage, p *drill.Plan) error {
	if p.PlayedBack() {
		if _, mic := s.answers.(drill.Microphone); mic && len(o.input) == 0 {
			s.advice = append(s.advice, byInstrument)
		}
	}
	if !p.HandToo() {
		if o.keys != "" && !p.PlayedBack() {
			return usagef("--keys: no keyboard is played; want it with --then play")
		}
		return nil
	}
	if hands, ok := s.answers.(drill.Hands); ok { // the keyboard is open
		s.keys = hands.Keyboard.Play
		return nil
	}
	path := o.keys
	if path == "" {
		switch a := s.answers.(type) {
		case *drill.Simulated: // its hand is simulated, too
			return nil
		case *drill.Recordings:
			a.Pairs = true
			return nil
		}
		var err error
		if path, err = keys.Find(); errors.Is(err, keys.ErrNone) {
			s.advice = append(s.advice, byInstrument)
			return nil
		} else if err != nil {
			return err
		}
	}
	k, err := keys.Open(path)
	if err != nil {
		return err
	}
	s.keys = k.Struck
	s.closers = append(s.closers, k)
	return nil
}
