package drill

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"singback/calib"
	"singback/exercise"
	"singback/internal/listen"
	"singback/internal/plain"
	"singback/theory"
)

// Music says key, tuning, naming and register, as several commands share them.
type Music struct {
	Key    string  // a key, or where one may be drawn "random", "random major", "random minor"
	A4     float64 // hertz
	Tuning string
	Scale  string // a scale on the tonic, or ""
	Names  string
	Voice  string
	Octave int // of the tonic

	Known calib.Profile            // of the singer; nothing but zeros where nobody is known
	Said  func(option string) bool // whether an option was given, by its word; nil: none was
}

func (m *Music) said(option string) bool { return m.Said != nil && m.Said(option) }

// ReadKey reads the key that an option gave, or with Scale the key that names the
// scale on any tonic. Seed draws a random key; without it none may be drawn.
func (m *Music) ReadKey(option string, seed func() uint64) (theory.Key, error) {
	if m.Scale != "" {
		scale, err := theory.ParseScale(m.Scale)
		if err != nil {
			return theory.Key{}, wrong(fmt.Errorf("--scale: %w", err))
		}
		if tonic, err := theory.ParseNote(m.Key); err == nil {
			return scale.Key(tonic), nil
		}
		key, err := ReadKey(m.Key, seed)
		if err != nil {
			return key, wrong(fmt.Errorf("%s: %w", option, err))
		}
		return scale.Key(key.Tonic), nil
	}
	key, err := ReadKey(m.Key, seed)
	if err != nil {
		return key, wrong(fmt.Errorf("%s: %w", option, err))
	}
	return key, nil
}

// Base reads the options into an item that asks for nothing yet. A random key is
// drawn with the seed; it is refused where seed is nil.
func (m *Music) Base(seed func() uint64) (exercise.Item, theory.Naming, error) {
	naming, err := theory.ParseNaming(m.Names)
	if err != nil {
		return exercise.Item{}, 0, wrong(fmt.Errorf("--names: %w", err))
	}
	tuning, err := m.ReadTuning()
	if err != nil {
		return exercise.Item{}, 0, err
	}
	key, err := m.ReadKey("--key", seed)
	if err != nil {
		return exercise.Item{}, 0, err
	}
	register, err := m.Register(key)
	if err != nil {
		return exercise.Item{}, 0, err
	}
	return exercise.Item{Key: key, Tuning: tuning, Register: register}, naming, nil
}

// ReadTuning reads A4 and the system; where no A4 was given it takes the tuning of the
// singer's instrument.
func (m *Music) ReadTuning() (theory.Tuning, error) {
	a4 := m.Instrument()
	if t, err := theory.NewTuning(a4); err != nil {
		return t, wrong(fmt.Errorf("--a4: %w", err))
	}
	t, err := theory.ParseTuning(m.Tuning, a4)
	if err != nil {
		return t, wrong(fmt.Errorf("--tuning: %w", err))
	}
	return t, nil
}

// Instrument returns A4 in hertz: that of the option, or else of the singer's
// instrument.
func (m *Music) Instrument() float64 {
	if i := m.Known.Instrument; i != nil && !m.said("a4") {
		return i.A4
	}
	return m.A4
}

// Reach is where the notes are to lie: the working range and the tessitura of
// the voice asked for, or else of the singer; ok is false where neither is
// known.
func (m *Music) Reach() (working, tessitura theory.Range, ok bool, err error) {
	if m.Voice != "" {
		v, err := exercise.VoiceNamed(m.Voice)
		if err != nil {
			return working, tessitura, false, wrong(fmt.Errorf("--voice: %w", err))
		}
		return exercise.Working(v.Range), exercise.Working(v.Range), true, nil
	}
	v := m.Known.Voice
	if v == nil {
		return working, tessitura, false, nil
	}
	working = exercise.Working(v.Comfortable)
	if tessitura = v.Tessitura; tessitura == (theory.Range{}) {
		tessitura = working
	}
	return working, tessitura, true, nil
}

// Register places the key for the voice or octave asked for, or for the singer.
func (m *Music) Register(key theory.Key) (exercise.Register, error) {
	r := exercise.MiddleRegister(key)
	working, _, known, err := m.Reach()
	if err != nil {
		return r, err
	}
	if known {
		r = exercise.RegisterFor(key, working)
	}
	if m.said("octave") {
		if m.Octave < 1 || m.Octave > 6 {
			return r, wrongf("--octave: %d is out of range: want 1 to 6", m.Octave)
		}
		r.TonicOctave = m.Octave
	}
	return r, nil
}

// ReadKey reads a key, church modes included, or draws one where seed is not nil:
// "random", "random major", "random minor".
func ReadKey(s string, seed func() uint64) (theory.Key, error) {
	word, rest, _ := strings.Cut(strings.ToLower(strings.TrimSpace(s)), " ")
	if word != "random" || seed == nil {
		return theory.ParseModalKey(s)
	}
	keys := theory.Keys()
	switch strings.TrimSpace(rest) {
	case "":
	case "major", "minor":
		kept := keys[:0]
		for _, k := range keys {
			if k.Mode.String() == strings.TrimSpace(rest) {
				kept = append(kept, k)
			}
		}
		keys = kept
	default:
		return theory.Key{}, fmt.Errorf("%w: %q; want random, random major or random minor", theory.ErrKey, plain.Short(s))
	}
	return keys[rand.New(rand.NewPCG(seed(), 0x6b6579)).IntN(len(keys))], nil
}

// expected is how far beyond the comfortable range, in semitones, the singer is
// still expected: amateurs have 31 to 45 semitones in all (Herbst et al. 2012,
// IJRCS 4(1):47), of which they call some 20 comfortable.
const expected = 7

// Hearing is how to listen to the singer of a profile, where A4 has so many hertz. The
// gate is that of the singer's own microphone and room, and is left out for other
// sound.
func Hearing(known calib.Profile, a4 float64, gate bool) listen.Hearing {
	var h listen.Hearing
	if v := known.Voice; v != nil {
		h.Low = max(20, theory.Shift(a4, 100*float64(v.Comfortable.Low-expected-69)))
		h.High = min(5000, theory.Shift(a4, 100*float64(v.Comfortable.High+expected-69)))
	}
	if r := known.Room; r != nil && gate {
		h.Gate = r.Gate
	}
	return h
}

// delay is that from playback to capture, in seconds, where it was measured.
func (m *Music) delay() float64 {
	if room := m.Known.Room; room != nil {
		return room.Delay
	}
	return 0
}

// restAfter is the singing time, in seconds, after which a rest is due.
func (m *Music) restAfter() float64 {
	if v := m.Known.Voice; v != nil && v.Growing {
		return exercise.RestAfterGrowing
	}
	return exercise.RestAfter
}
