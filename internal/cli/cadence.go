package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/synth"
	"singback/theory"
)

// maxChords bounds a progression on the command line.
const maxChords = 256

// harmony holds the flags of commands that voice chords.
type harmony struct {
	texture string
	shift   int
	parts   int // notes of a chord; 0: as the texture has them
	a4      float64
	tuning  string
	lufs    float64          // --loudness
	plays   string           // --instrument
	played  synth.Instrument // of that name
	chords  chordNames
	strict  bool
	tempo   float64 // of a band
	band    accompaniment

	soundFlags
	singer
	cmd *cobra.Command
}

func (h *harmony) addTuning(cmd *cobra.Command) {
	h.cmd = cmd
	h.singer.addFlag(cmd)
	f := cmd.Flags()
	f.Float64Var(&h.a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&h.tuning, "tuning", theory.Equal.String(), drill.TuningHelp)
	completed(cmd, "tuning", fixed(tuningWordList...))
}

func (h *harmony) readTuning(e *env) (theory.Tuning, error) {
	if err := h.know(e); err != nil {
		return theory.Tuning{}, err
	}
	a4 := h.instrument(h.cmd, h.a4)
	if _, err := theory.NewTuning(a4); err != nil {
		return theory.Tuning{}, usage(fmt.Errorf("--a4: %w", err))
	}
	t, err := theory.ParseTuning(h.tuning, a4)
	if err != nil {
		return t, usage(fmt.Errorf("--tuning: %w", err))
	}
	return t, nil
}

// readTexture reads --texture and --shift.
func (h *harmony) readTexture() (theory.Texture, error) {
	var t theory.Texture
	switch strings.ToLower(h.texture) {
	case "keyboard":
		t = theory.KeyboardTexture()
	case "choir":
		t = theory.ChoirTexture()
	default:
		return t, usagef("--texture: %q: want keyboard or choir", short(h.texture))
	}
	if h.shift < -24 || h.shift > 24 {
		return t, usagef("--shift: %d semitones is out of range: want -24 to 24", h.shift)
	}
	return t.Shift(h.shift), nil
}

func (h *harmony) addStrict(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&h.strict, "strict", false, "nothing is let pass: refuse where no voicing keeps the rules")
}

// voice sets chords, with licences where --strict does not forbid them.
func (h *harmony) voice(t theory.Texture, p []theory.Roman) ([]theory.Voicing, int, []theory.Licence, error) {
	if h.strict {
		v, cost, err := t.Voice(p)
		return v, cost, nil, err
	}
	return t.VoiceFreely(p)
}

// setting is a progression that is set: as a record, as text, and as sound.
type setting struct {
	record report.Voicing
	text   string
	phrase synth.Phrase
	chords [][]theory.Pitch
}

// voiced sets a progression in the texture that is asked for.
func (h *harmony) voiced(p []theory.Roman, tuning theory.Tuning, style report.Style) (setting, error) {
	how, key := strings.ToLower(h.texture), p[0].Key
	head := fmt.Sprintf("%s, %s\n\n", style.Key(key), how)
	if how == "band" {
		texture := h.twoHands()
		hands, cost, err := texture.Voice(p)
		switch {
		case err != nil && texture.Parts > theory.MinBandParts:
			return setting{}, fmt.Errorf("%w; try --parts %d", err, texture.Parts-1)
		case err != nil:
			return setting{}, err
		}
		notes := make([][]theory.Pitch, len(hands))
		for i := range hands {
			notes[i] = hands[i].Notes()
		}
		return setting{report.NewHands(p, hands, cost, how, tuning), head + style.Hands(p, hands), synth.ProgressionOf(key, tuning, notes), notes}, nil
	}
	texture, err := h.readTexture()
	if err != nil {
		return setting{}, err
	}
	voicing, cost, licences, err := h.voice(texture, p)
	if err != nil {
		return setting{}, err
	}
	text := head + style.Voicing(p, voicing)
	if free := style.Licences(p, licences); free != "" {
		text += "\n" + free
	}
	notes := make([][]theory.Pitch, len(voicing))
	for i := range voicing {
		notes[i] = voicing[i][:]
	}
	return setting{report.NewVoicing(p, voicing, cost, licences, how, tuning), text, synth.Progression(key, tuning, voicing), notes}, nil
}

// twoHands is the texture of two hands.
func (h *harmony) twoHands() theory.BandTexture {
	return theory.NewBandTexture(cmp.Or(h.parts, 5)).Shift(h.shift)
}

// checkTexture checks --texture, --parts and --shift together.
func (h *harmony) checkTexture() error {
	band := strings.EqualFold(h.texture, "band")
	switch {
	case !band && h.parts != 0 && h.parts != 4:
		return usagef("--parts: --texture %s has four parts; more are played with --texture band", short(h.texture))
	case band && h.parts != 0 && (h.parts < theory.MinBandParts || h.parts > theory.MaxBandParts):
		return usagef("--parts: %d is out of range: want %d to %d", h.parts, theory.MinBandParts, theory.MaxBandParts)
	case band && (h.shift < -24 || h.shift > 24):
		return usagef("--shift: %d semitones is out of range: want -24 to 24", h.shift)
	case band:
		return nil
	case !slices.Contains([]string{"keyboard", "choir"}, strings.ToLower(h.texture)):
		return usagef("--texture: %q: want keyboard, choir or band", short(h.texture))
	}
	_, err := h.readTexture()
	return err
}

func newCadence(e *env) *cobra.Command {
	var h harmony
	var key string
	var file chordFlags
	f := newFormat("text", "json")
	var names []string
	for _, c := range theory.Cadences() {
		names = append(names, c.Name)
	}
	cmd := &cobra.Command{
		Use:   "cadence --key KEY NAME | CHORDS | FILE",
		Short: "Set a progression in four parts, and sound it",
		Long: `Cadence sets a progression in four parts by the rules of voice leading: no
parallel fifths or octaves, no crossing, the leading tone not doubled and rising
to do, sevenths falling, and the upper parts moving as little as they can. It
finds the best voicing there is. Where none keeps the rules, it takes the fewest
licences it can, and names each; --strict refuses instead, and says between which
two chords.

The progression is a name (` + strings.Join(names, ", ") + `)
or chords: Roman numerals with figures (ii65, V7/V, bVII, viio7, N6, Ger65),
numbers as charts have them (1 4 6- 57, 4/1, 5sus), or chord symbols. Large numerals are major, small ones minor. A 7 is a minor
seventh; a major one is written IVmaj7. In minor VI and VII stand on the lowered
degrees, V and viio have the raised seventh.

Between chords stand spaces, bars, commas or dashes (I-IV-V, C - F). A dash
right behind a root is minor: C-7, and "A- F". A symbol that can be read in two
ways is refused, with what to write.

FILE is music with chord symbols (ABC, MusicXML, MXL): they are set, in the key of
the file, or moved into --to-key.

--texture keyboard has the bass in the left hand and three notes within an
octave in the right; --texture choir keeps the ranges of four voices. --texture
band is for two hands beside a band, and for chords with ninths and more: the
bass, or a shell of two notes, in the left hand, three or four notes in the
right, --parts of them in all. There thirds and sevenths always sound and move
least, the fifth is left out first, nothing that clashes is doubled, no interval
stands too low to be clear, and parallels are no fault.

With --backing a band plays the progression, a bar for each chord: bass, chords and
light percussion in a groove, at --tempo, counted in with --count-in.`,
		Example: `  singback cadence --key "Ab major" full
  singback cadence --key C --texture choir "I vi ii65 V7 I" --output cadence.wav
  singback cadence --key C --texture band "Dm9 G13 Cmaj9"
  singback cadence --key G --chords numbers "1 | 4/1 | 6-7 | 5sus 57 | 1"
  singback cadence --key "F# minor" "i iv6 V7/V V7 i" --format json
  singback cadence --key C "I vi IV V I" --backing gospel --tempo 72 --output turn.wav
  singback cadence hymn.abc --to-key Eb`,
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return names, cobra.ShellCompDirectiveDefault
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			chords, err := file.read(e, args, key)
			if err != nil {
				return err
			}
			if chords != nil {
				return h.set(cmd.Context(), e, chords.oneKey(e), chords.chords, f.value)
			}
			if key == "" {
				return usagef(`--key is missing: like "Ab major" or f#m`)
			}
			k, err := theory.ParseKey(key)
			if err != nil {
				return usage(fmt.Errorf("--key: %w", err))
			}
			return h.set(cmd.Context(), e, k, nil, f.value, args...)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&key, "key", "", "the `KEY`, like \"Ab major\" or f#m")
	file.add(cmd, true)
	fl.StringVar(&h.texture, "texture", "keyboard", "four parts for a `KIND`, keyboard or choir, or two hands for a band")
	fl.IntVar(&h.parts, "parts", 0, "`NUMBER` of notes in a chord, with --texture band 4 to 6 (else 5)")
	fl.IntVar(&h.shift, "shift", 0, "move the register by so many `SEMITONES`, -24 to 24")
	h.soundFlags.addOutput(cmd)
	drill.AddLoudness(fl, &h.lufs)
	drill.AddInstrument(fl, &h.plays, synth.Piano)
	fl.Lookup("output").Usage += " (else it is not sounded)"
	h.band.addBacking(cmd)
	h.band.addCountIn(cmd)
	fl.Float64Var(&h.tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (else that of the groove)")
	oldName(cmd, "level", "loudness")
	oldName(cmd, "style", "texture")
	h.addTuning(cmd)
	h.addStrict(cmd)
	h.chords.addFlag(cmd)
	addFormat(cmd, f)
	completed(cmd, "key", fixed(keyNames(false)...))
	completed(cmd, "instrument", fixed(synth.InstrumentNames()...))
	completed(cmd, "texture", fixed("keyboard", "choir", "band"))
	return cmd
}

// set sets chords in the texture: p, or where that is nil the progression that is named.
func (h *harmony) set(ctx context.Context, e *env, key theory.Key, p []theory.Roman, format string, named ...string) error {
	tuning, err := h.readTuning(e)
	if err != nil {
		return err
	}
	if err := h.checkTexture(); err != nil {
		return err
	}
	if h.played, err = drill.ReadInstrument(h.plays); err != nil {
		return err
	}
	if err := cmp.Or(drill.CheckLoudness(h.lufs), h.soundFlags.check("")); err != nil {
		return err
	}
	if err := h.checkBand(named...); err != nil {
		return err
	}
	style, err := h.chords.style(e, theory.Movable)
	if err != nil {
		return err
	}
	if chords := strings.Join(named, " "); p == nil {
		if strings.TrimSpace(chords) == "" {
			return usagef(`the progression is missing: a name like full, or chords like "I IV V7 I"`)
		}
		if p, err = theory.ReadProgression(chords, key); err != nil {
			return usage(err)
		}
	}
	if len(p) > maxChords {
		return usagef("%d chords are too many: want at most %d", len(p), maxChords)
	}
	set, err := h.voiced(p, tuning, style)
	if err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	var s stage
	defer s.close()
	if h.output != "" || h.outputDevice != "" {
		where := stageOptions{soundFlags: h.soundFlags}
		if err := where.openOutput(ctx, e, &s, "", nil); err != nil {
			return err
		}
	}
	if format == "json" {
		err = e.printIndented(set.record)
	} else {
		if notes := style.Respelled(p); notes != "" {
			set.text += "\n" + notes
		}
		err = e.print(set.text)
	}
	if err != nil {
		return err
	}
	if s.out == nil {
		return nil
	}
	keyboard := synth.Keyboard{SampleRate: s.out.SampleRate(), Level: h.lufs, Instrument: h.played}
	samples := keyboard.Render(set.phrase)
	if h.band.backing != "" {
		samples = h.bandOf(keyboard, set.chords, p[0].Key, tuning)
	}
	if err := s.out.Write(ctx, samples); err != nil {
		return err
	}
	return errors.Join(s.out.Drain(ctx), s.close())
}
