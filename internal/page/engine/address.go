package engine

import (
	"errors"
	"fmt"
	"strings"

	"singback/internal/calibrate"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// address is what the address of a drill asks for.
type address struct {
	Command   string
	Options   drill.Options // nil for a calibration
	Simulated bool          // a simulated singer answers
	By        drill.Kind    // who answers, where the address says so
	Loudness  float64       // LUFS
	Voice     string
	Seed      uint64

	// Of a series.
	Cursor    bool
	Tolerance float64 // cents

	// Of a calibration.
	only, skip     string
	Growing, Widen bool
}

// Places are the commands that are no drills, by which addresses of the page begin.
var Places = []string{"calibrate", "progress", "melody", "key", "chords", "record", "help"}

// readAddress reads the address of a drill or a calibration. Every mistake is a
// [drill.Wrong].
func (e *Engine) readAddress(text string, known Known) (address, error) {
	at, err := drill.ReadAddress(text, Places...)
	if err != nil {
		return address{}, err
	}
	a := address{Command: at.Command, Options: at.Drill, Simulated: at.By == drill.BySimulation, By: at.By, Seed: e.host.Seed()}
	var seed *uint64
	switch o := at.Drill.(type) {
	case *drill.Sing:
		o.Music.Known, seed, a.Voice, a.Loudness = known.Profile, &o.Seed, o.Music.Voice, o.Manner.Loudness
	case *drill.Series:
		o.Music.Known, seed, a.Voice, a.Loudness = known.Profile, &o.Seed, o.Music.Voice, o.Loudness
		a.Cursor, a.Tolerance = o.Cursor, o.Tolerance
	case *drill.Dictation:
		o.Music.Known, seed, a.Loudness = known.Profile, &o.Seed, o.Manner.Loudness
	case *drill.Today:
		o.Music.Known, seed, a.Voice, a.Loudness = known.Profile, &o.Seed, o.Music.Voice, o.Manner.Loudness
	default:
		if at.Command != "calibrate" {
			return a, drill.NoCommand(at.Command, drill.Commands()...)
		}
		return a, a.calibration(at)
	}
	if !at.Said("seed") {
		*seed = a.Seed
	}
	return a, nil
}

// calibration reads the options of a calibration.
func (a *address) calibration(at drill.Address) error {
	var input string
	if err := at.Read(a.flags(&input)); err != nil {
		return err
	}
	kind, err := drill.ReadKind(input, drill.ByMicrophone, drill.BySimulation)
	a.Simulated = kind == drill.BySimulation
	return err
}

// flags defines the options of a calibration.
func (a *address) flags(input *string) func(drill.Flags) {
	return func(f drill.Flags) {
		f.StringVar(&a.only, "only", "", "measure only these `PARTS`: room, level, leak, voice, instrument")
		f.StringVar(&a.skip, "skip", "", "leave out these `PARTS`")
		f.BoolVar(&a.Growing, "growing", false, "a child's or changing voice: a shorter test, to be repeated")
		f.BoolVar(&a.Widen, "widen", false, "keep the notes too that an earlier test found")
		drill.AddLoudness(f, &a.Loudness)
		f.Uint64Var(&a.Seed, "seed", 1, "number that draws what the simulated singer does")
		f.StringVar(input, "input", string(drill.ByMicrophone), "what answers: mic or simulated")
	}
}

// parts are those to measure.
func (a address) parts() ([]session.Part, error) {
	read := func(option, text string) ([]session.Part, error) {
		if text == "" {
			return nil, nil
		}
		parts, err := calibrate.ParseParts(strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' }))
		if err != nil {
			return nil, fmt.Errorf("--%s: %w", option, err)
		}
		return parts, nil
	}
	only, err := read("only", a.only)
	if err != nil {
		return nil, err
	}
	skip, err := read("skip", a.skip)
	if err != nil {
		return nil, err
	}
	parts := calibrate.Choice{Only: only, Skip: skip, Asking: true}.Parts()
	if len(parts) == 0 {
		return nil, errors.New("nothing is left to measure: --only and --skip leave out every part")
	}
	return parts, nil
}

// lookOptions are what can be said of things to look up.
type lookOptions struct {
	command     string
	music       drill.Music
	level       int
	seed        uint64
	progression string
	texture     string
	loudness    float64
	plays       string
	heard       string           // the option sound
	instrument  synth.Instrument // of that name
}

// flags defines the options of a thing to look up.
func (o *lookOptions) flags(f drill.Flags) {
	m := &o.music
	f.StringVar(&m.Key, "key", map[string]string{"key": "C major", "chords": "C major"}[o.command], "the `KEY`, like \"Ab major\", f#m or \"D dorian\"")
	f.Float64Var(&m.A4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&m.Tuning, "tuning", theory.Equal.String(), drill.TuningHelp)
	drill.AddLoudness(f, &o.loudness)
	drill.AddInstrument(f, &o.plays, synth.Piano)
	switch o.command {
	case "melody":
		f.IntVar(&o.level, "level", 1, "`LEVEL` of the melodies, 1 to 7")
		f.Uint64Var(&o.seed, "seed", 0, "number that draws the melodies; the same number, the same melodies")
		f.StringVar(&m.Names, "names", theory.Movable.String(), drill.NamesHelp()+"; none shows none")
		f.StringVar(&m.Voice, "voice", "", drill.VoiceHelp()+"; the melody keeps to its range")
		drill.AddSound(f, &o.heard)
	case "key":
		f.StringVar(&m.Names, "names", theory.Movable.String(), drill.NamesHelp())
		f.StringVar(&m.Scale, "scale", "", "a `SCALE` on the tonic")
	case "chords":
		m.Names = theory.Movable.String()
		f.StringVar(&o.progression, "progression", "full", "a `NAME`, or chords like \"I vi ii65 V7 I\"")
		f.StringVar(&o.texture, "texture", "keyboard", "four parts for a `KIND`: keyboard or choir")
	}
}

// lookAddress reads the address of a thing to look up.
func (e *Engine) lookAddress(text string) (*lookOptions, error) {
	at, err := drill.ReadAddress(text, Places...)
	if err != nil {
		return nil, err
	}
	o := &lookOptions{command: at.Command}
	switch at.Command {
	case "melody", "key", "chords":
	default:
		return nil, drill.NoCommand(at.Command, "melody", "key", "chords")
	}
	if err = at.Read(o.flags); err != nil {
		return nil, err
	}
	if o.instrument, err = drill.ReadInstrument(o.plays); err != nil {
		return nil, err
	}
	o.music.Known, o.music.Said = e.whatIsKnown().Profile, at.Said
	if o.command == "melody" && !at.Said("seed") {
		o.seed = e.host.Seed()
	}
	return o, nil
}
